//! One attempt as one row: the columns of the attempt log, in their order.
//!
//! Names, order and meanings of the columns are a promise to other people's spreadsheets: one may be added at the end, none
//! renamed, moved or given another meaning.

use super::PlayedAt;
use super::cell::{Cell, CentsCell, Count, Hertz, Instant, Millis, Misread, Percent, Seconds, Set, Text, Words, YesNo};

/// One column of the log.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name in the header.
    pub name: &'static str,
    /// What it holds, in one line.
    pub about: &'static str,
    /// The cell of a row.
    pub write: fn(&Row) -> String,
    /// Puts a cell into a row.
    pub read: fn(&mut Row, &str) -> Result<(), Misread>,
}

macro_rules! columns {
    ($($(#[doc = $about:literal])+ $name:ident: $kind:ty as $cell:ty,)+) => {
        /// One graded attempt. All that is unknown is `None`; times are seconds from the take's first sample, errors are played minus wanted.
        #[derive(Clone, Debug, Default, PartialEq)]
        pub struct Row {
            $($(#[doc = $about])+ pub $name: $kind,)+
        }

        /// All columns, in the order of the file.
        pub const COLUMNS: &[Column] = &[
            $(Column {
                name: stringify!($name),
                about: concat!($($about),+),
                write: |row| <$cell as Cell<$kind>>::write(&row.$name),
                read: |row, text| { row.$name = <$cell as Cell<$kind>>::read(text)?; Ok(()) },
            },)+
        ];
    };
}

columns! {
    /// The take's file name without its ending.
    take: String as Text,
    /// The attempt's number in the take, from 1.
    attempt: Option<u32> as Count,
    /// When it was played (RFC 3339).
    played_at: Option<PlayedAt> as Instant,
    /// How it was recorded: `card`, `file` or `synth`.
    source: Option<String> as Text,
    /// The drill's name.
    drill: Option<String> as Text,
    /// The drill's step, from 1.
    step: Option<u32> as Count,
    /// The chord in force.
    chord: Option<String> as Text,
    /// The target's place in the chord, such as `b3`.
    degree: Option<String> as Text,
    /// The string that was asked for, 1 is the highest.
    string: Option<u32> as Count,
    /// The fret that was asked for.
    fret: Option<u32> as Count,
    /// `bend`, `bend-release`, `pre-bend` or `pre-bend-release`, as played.
    technique: Option<String> as Text,
    /// The fretted note, in scientific pitch notation.
    origin_note: Option<String> as Text,
    /// The note that the bend should reach.
    target_note: Option<String> as Text,
    /// Target minus origin, in cents.
    bend_cents: Option<f64> as Set,
    /// The attack, in seconds.
    onset_s: Option<f64> as Seconds,
    /// Played origin minus the origin, in cents.
    origin_error_cents: Option<f64> as CentsCell,
    /// Where the pitch begins to rise, in seconds.
    bend_start_s: Option<f64> as Seconds,
    /// Where the pitch has settled, in seconds.
    arrival_s: Option<f64> as Seconds,
    /// From the bend's start to the arrival, in milliseconds.
    rise_ms: Option<f64> as Millis,
    /// Pitch just after the arrival minus the target, in cents.
    arrival_error_cents: Option<f64> as CentsCell,
    /// How far the rise went above the hold, in cents.
    overshoot_cents: Option<f64> as CentsCell,
    /// Length of the hold, in seconds.
    hold_s: Option<f64> as Seconds,
    /// Time of the hold within the tolerance, in seconds.
    in_tune_s: Option<f64> as Seconds,
    /// Pitch of the hold minus the target, in cents.
    hold_error_cents: Option<f64> as CentsCell,
    /// Slope of the hold, in cents a second.
    hold_drift_cents_per_s: Option<f64> as CentsCell,
    /// Unsteadiness of the hold, in cents.
    hold_spread_cents: Option<f64> as CentsCell,
    /// Rate of the vibrato in the hold, in hertz.
    vibrato_rate_hz: Option<f64> as Hertz,
    /// Half of the vibrato's width, in cents.
    vibrato_extent_cents: Option<f64> as CentsCell,
    /// The vibrato's centre minus the target, in cents.
    vibrato_centre_cents: Option<f64> as CentsCell,
    /// Where the release begins, in seconds.
    release_start_s: Option<f64> as Seconds,
    /// From there to the landing, in milliseconds.
    release_ms: Option<f64> as Millis,
    /// Landing minus the origin, in cents.
    release_error_cents: Option<f64> as CentsCell,
    /// Whether the note was picked again where the release landed.
    restrike: Option<bool> as YesNo,
    /// The note picked again minus the origin, in cents.
    restrike_error_cents: Option<f64> as CentsCell,
    /// Arrival minus the beat that wanted it, in milliseconds.
    beat_error_ms: Option<f64> as Millis,
    /// 0 to 100.
    score: Option<f64> as Percent,
    /// What was wrong, in words.
    faults: Vec<String> as Words,
    /// The tolerance that was applied, in cents.
    tolerance_cents: Option<f64> as Set,
    /// The tuning reference, in hertz.
    a4_hz: Option<f64> as Set,
    /// Frames a second of the take.
    sample_rate_hz: Option<u32> as Count,
    /// The note nearest to the landing.
    landing_note: Option<String> as Text,
    /// How often the held note was picked again.
    repicks: Option<u32> as Count,
    /// Attack minus the beat that wanted it, in milliseconds.
    attack_beat_error_ms: Option<f64> as Millis,
    /// How much the vibrato's swings differ, in per cent.
    vibrato_unevenness_pct: Option<f64> as Percent,
    /// From the arrival to the vibrato's first swing, in seconds.
    vibrato_delay_s: Option<f64> as Seconds,
}

impl Row {
    /// All cells in the order of [`COLUMNS`], before any quoting.
    #[must_use]
    pub fn cells(&self) -> Vec<String> {
        COLUMNS.iter().map(|column| (column.write)(self)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_has_a_name_of_its_own_and_says_what_it_holds() {
        for (at, column) in COLUMNS.iter().enumerate() {
            assert!(COLUMNS[..at].iter().all(|other| other.name != column.name), "{} stands twice", column.name);
            assert!(column.about.len() > 5, "{} does not say what it holds", column.name);
        }
    }

    #[test]
    fn a_row_of_which_nothing_is_known_has_only_empty_cells() {
        assert!(Row::default().cells().iter().all(String::is_empty));
    }
}
