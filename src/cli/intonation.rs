//! `landfall intonation`: the check of each string at fret 12.

use super::directories::{Directories, Environment};
use super::listening::Listening;
use super::live_options::{Hearing, Showing};
use super::open_strings::OpenStrings;
use super::settings::Given;
use super::{Failure, WrongUse, print, print_bytes, remark};
use crate::live::checking::Checking;
use crate::live::clock::{Clock, SystemClock};
use crate::logbook::intonation::{IntonationRow, keep, keep_as, table as csv_table};
use crate::practice::intonation::{Check, Found};
use crate::practice::tuner::OpenString;
use crate::units::A4;
use crate::views::intonation::{advice, table};
use std::io::{Write, stderr, stdout};
use std::path::{Path, PathBuf};

/// Arguments of `intonation`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Check the intonation: for each string it asks for the open string, the harmonic at fret 12, and the note pressed there, several times \
                  each, and says how far the pressed note is off and how far the saddle has to move. Your hands stay on the guitar: the next \
                  one is asked for when a steady note was read. Space, enter, page down or the right arrow leave a string out, page up, backspace or \
                  the left arrow read it anew.\n\n\
                  Harmonic and pressed note have the same pitch, so play what is asked for. Tune first, use new strings, hold the guitar as you \
                  play it, and press no harder than you play. Errors under 2 cents are the scatter of pressing a fret \
                  (Mottola, steel-string acoustic): no saddle is moved for those.\n\n\
                  The move is D = L (1 - r) / (2^(n/12) r - 1), r = 2^(-e/1200), for an error of e cents at fret n on a scale of L: at fret 12 of a \
                  648 mm scale 0.37 mm a cent. Sharp: back, away from the neck. Flat: forward.\n\n\
                  Loosen a string before you move its saddle, tune it again, and check again. Where a saddle will not move, or low frets stay sharp \
                  while fret 12 is right, leave it to an experienced repairer. The table of each check is kept in your data folder.",
    after_help = "Examples:\n  landfall intonation                           all strings, three times each\n  \
                  landfall intonation --strings 3 --readings 5  one string, more exactly\n  \
                  landfall intonation --frets 12,7              another fret too\n  \
                  landfall intonation --csv table.csv           a table to keep\n  \
                  landfall intonation --input take.wav --fast   played before, as asked"
)]
pub struct Args {
    /// Frets to check, 1 to 24; fret 12 with its harmonic, others against the open string
    #[arg(long, value_name = "LIST", default_value = "12", value_delimiter = ',', value_parser = clap::value_parser!(u8).range(1..=24))]
    frets: Vec<u8>,
    /// Readings of each place
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u32).range(1..=20))]
    readings: u32,
    /// The scale length in mm: twice from the nut to fret 12
    #[arg(long, value_name = "MM", default_value_t = 648.0, value_parser = scale_length)]
    scale_length: f64,
    /// Write the table as CSV to a new file, or to standard output with `-`
    #[arg(long, value_name = "FILE|-")]
    csv: Option<PathBuf>,
    #[command(flatten)]
    strings: OpenStrings,
    #[command(flatten)]
    hearing: Hearing,
    #[command(flatten)]
    showing: Showing,
}

fn scale_length(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|mm| (300.0..=1200.0).contains(mm)).ok_or_else(|| "it is from 300 to 1200 mm; guitars have 600 to 700".into())
}

impl Args {
    /// Asks and listens until all is read.
    ///
    /// # Errors
    /// When nothing can be heard or shown, or the table cannot be kept.
    pub fn run(self) -> Result<(), Failure> {
        let recorded = self.hearing.recorded()?;
        let environment = Environment::of_process();
        let folder = Directories::of(&environment)?.intonation();
        let given = Given { tuning: self.strings.tuning.clone(), ..Given::default() };
        let settings = self.hearing.settings(&environment, &recorded, given)?;
        let a4 = settings.a4.value;
        let strings = self.strings.wanted(&[], &settings.tuning.value, a4)?;
        if strings.is_empty() {
            return Err(WrongUse("no string is left to check; see --strings".into()).into());
        }
        if let Some(file) = self.csv.as_deref().filter(|file| file.as_os_str() != "-" && file.exists()) {
            return Err(format!("{} is there already and is left as it is; name another file", file.display()).into());
        }
        let mut frets = self.frets.clone();
        frets.dedup();
        let check = Check::new(strings, frets, self.readings, self.scale_length);
        let to_stdout = self.csv.as_deref() == Some(Path::new("-"));
        // Where the table goes to standard output, nothing else does.
        let lines: Box<dyn Write> = if to_stdout { Box::new(stderr()) } else { Box::new(stdout()) };
        let listening =
            Listening { name: "intonation", hearing: &self.hearing, showing: &self.showing, settings: &settings, recorded: &recorded };
        let listener = |_| Checking::new(check);
        let (checked, broken) = listening.listen(listener, lines)?;
        self.finish(checked.check(), a4, &folder)?;
        broken.map_or(Ok(()), |error| Err(error.into()))
    }

    /// Keeps and shows what was found.
    fn finish(&self, check: &Check, a4: A4, folder: &Path) -> Result<(), Failure> {
        if check.found().is_empty() {
            remark("nothing was read, so no table is kept: a reading takes a steady note of a second or two");
            return Ok(());
        }
        let now = SystemClock::default().calendar();
        let csv = csv_table(&rows(check, a4, &now.to_string()));
        let kept = keep(folder, &now.local().strftime("%Y-%m-%d_%H-%M-%S").to_string(), &csv)?;
        match self.csv.as_deref() {
            Some(file) if file.as_os_str() == "-" => return print_bytes(&csv),
            Some(file) => keep_as(file, &csv)?,
            None => {}
        }
        let legend =
            "Cents against equal temperament; s is the spread of the readings; off is pressed minus right, ± give or take.".to_owned();
        let text = [table(check), vec![legend, String::new()], advice(check)].concat().join("\n");
        print(&format!("\n{text}\nThis table is kept in {}\n", kept.display()))
    }
}

fn rows(check: &Check, a4: A4, checked_at: &str) -> Vec<IntonationRow> {
    let row = |found: Found| {
        let OpenString { number, note, .. } = &check.strings()[found.string];
        IntonationRow {
            checked_at: checked_at.to_owned(),
            string: *number,
            open_note: note.to_string(),
            fret: found.fret,
            readings: found.fretted.count(),
            open: (found.open.cents(), found.open.spread_cents()),
            harmonic: (found.harmonic.cents(), found.harmonic.spread_cents()),
            fretted: (found.fretted.cents(), found.fretted.spread_cents()),
            error_cents: found.error_cents,
            uncertainty_cents: found.uncertainty_cents,
            saddle_move_mm: found.move_mm,
            advice: found.advice.word(),
            scale_length_mm: check.scale_mm(),
            a4_hz: a4.hz(),
        }
    };
    check.found().into_iter().map(row).collect()
}
