//! The table of an intonation check as CSV: a row for each string and fret, unknown cells empty.
//!
//! `open_cents`, `harmonic_cents` and `fretted_cents` are medians on the MIDI scale against A4; each `_spread_cents` is the standard deviation of the
//! readings. `saddle_move_mm` is positive where the saddle goes back, away from the neck.

use super::LogbookError;
use super::cell::{Cell, CentsCell, Measure, Set};
use csv::{Terminator, WriterBuilder};
use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// One string at one fret.
#[derive(Clone, Debug, PartialEq)]
pub struct IntonationRow {
    /// When the check was made, RFC 3339.
    pub checked_at: String,
    /// 1 the highest.
    pub string: u8,
    /// The open string's note, as it is called.
    pub open_note: String,
    /// The fret.
    pub fret: u8,
    /// Readings of the fretted note.
    pub readings: usize,
    /// Median and spread of the open string, cents on the MIDI scale.
    pub open: (Option<f64>, Option<f64>),
    /// The same of the harmonic.
    pub harmonic: (Option<f64>, Option<f64>),
    /// The same of the fretted note.
    pub fretted: (Option<f64>, Option<f64>),
    /// Fretted minus right.
    pub error_cents: Option<f64>,
    /// Give or take.
    pub uncertainty_cents: Option<f64>,
    /// Millimetres back.
    pub saddle_move_mm: Option<f64>,
    /// What to do, in a word.
    pub advice: &'static str,
    /// Millimetres.
    pub scale_length_mm: f64,
    /// The tuning reference.
    pub a4_hz: f64,
}

const COLUMNS: [&str; 17] = [
    "checked_at",
    "string",
    "open_note",
    "fret",
    "readings",
    "open_cents",
    "open_spread_cents",
    "harmonic_cents",
    "harmonic_spread_cents",
    "fretted_cents",
    "fretted_spread_cents",
    "error_cents",
    "uncertainty_cents",
    "saddle_move_mm",
    "advice",
    "scale_length_mm",
    "a4_hz",
];

/// The table, with its header.
#[must_use]
pub fn table(rows: &[IntonationRow]) -> Vec<u8> {
    let mut writer = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory cannot fail, and every row has the header's length.
    let _ = writer.write_record(COLUMNS);
    for row in rows {
        let _ = writer.write_record([
            row.checked_at.clone(),
            row.string.to_string(),
            row.open_note.clone(),
            row.fret.to_string(),
            row.readings.to_string(),
            CentsCell::write(&row.open.0),
            CentsCell::write(&row.open.1),
            CentsCell::write(&row.harmonic.0),
            CentsCell::write(&row.harmonic.1),
            CentsCell::write(&row.fretted.0),
            CentsCell::write(&row.fretted.1),
            CentsCell::write(&row.error_cents),
            CentsCell::write(&row.uncertainty_cents),
            Measure::<2>::write(&row.saddle_move_mm),
            row.advice.to_owned(),
            Set::write(&Some(row.scale_length_mm)),
            Set::write(&Some(row.a4_hz)),
        ]);
    }
    writer.into_inner().unwrap_or_default()
}

/// Keeps a table in a folder under a name that nothing has yet; gives the file.
///
/// # Errors
/// When it cannot be written.
pub fn keep(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf, LogbookError> {
    std::fs::create_dir_all(folder).map_err(|reason| LogbookError::unwritable(folder, reason))?;
    let mut number = 1;
    loop {
        let file = folder.join(if number == 1 { format!("{name}.csv") } else { format!("{name}_{number}.csv") });
        match keep_as(&file, bytes) {
            Ok(()) => return Ok(file),
            Err(LogbookError::Unwritable { reason, .. }) if reason.kind() == ErrorKind::AlreadyExists => number += 1,
            Err(error) => return Err(error),
        }
    }
}

/// Writes a new file; one that is there already is left as it is.
///
/// # Errors
/// When it cannot be written, or is there already.
pub fn keep_as(file: &Path, bytes: &[u8]) -> Result<(), LogbookError> {
    let wrong = |reason| LogbookError::unwritable(file, reason);
    let mut out = OpenOptions::new().write(true).create_new(true).open(file).map_err(wrong)?;
    out.write_all(bytes).and_then(|()| out.sync_data()).map_err(wrong)
}
