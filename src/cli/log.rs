//! `landfall log`.

use super::directories::{Directories, Environment};
use super::rows_out::CsvTo;
use super::{Failure, print, remark};
use crate::logbook::{Row, log};
use crate::practice::drills;
use crate::views::rows::table;
use jiff::civil::Date;
use std::path::PathBuf;

/// Places of a broken log that are named one by one; the rest is counted.
const NAMED: usize = 5;

/// Arguments of `log`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "List what was played: the attempts of the log, by take. Options leave out what does not fit all of them; --csv gives the same \
                  rows to a spreadsheet. A log of an older version is read as far as it goes, and its places that cannot be read are named.",
    after_help = "Examples:\n  landfall log                         everything\n  \
                  landfall log --last 20               the last twenty attempts\n  \
                  landfall log --since 2025-03-01 --csv march.csv\n  \
                  landfall log pupil.csv --drill hold  of another log, one kind of drill\n\n\
                  The log is one file (landfall config says where); to delete what was logged, delete it."
)]
pub struct Args {
    /// Another log than the player's own
    log: Option<PathBuf>,
    /// Takes with this in their name
    #[arg(long, value_name = "TEXT")]
    take: Option<String>,
    /// Attempts in this drill, or in the ready drills of this kind
    #[arg(long, value_name = "NAME")]
    drill: Option<String>,
    /// Played on this day or later
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    since: Option<Date>,
    /// Played on this day or earlier
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    until: Option<Date>,
    /// The last so many of them
    #[arg(long, value_name = "N")]
    last: Option<usize>,
    /// Write them as CSV to a file, or to standard output with -
    #[arg(long, value_name = "FILE")]
    csv: Option<CsvTo>,
}

fn day(text: &str) -> Result<Date, String> {
    text.trim().parse().map_err(|_| "it is a day, written year-month-day: 2025-03-01".to_owned())
}

impl Args {
    /// Lists or exports the log.
    ///
    /// # Errors
    /// When the log cannot be read or the output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        let path = match &self.log {
            Some(path) => path.clone(),
            None => Directories::of(&Environment::of_process())?.log_file(),
        };
        if self.log.is_some() && !path.exists() {
            return Err(format!("there is no log {}; check the name, or leave it out for your own", path.display()).into());
        }
        let mut rows = Vec::new();
        for (part, attempts) in log::read(&path)? {
            for trouble in attempts.troubles.iter().take(NAMED) {
                remark(format_args!("{}: {trouble}", part.display()));
            }
            if attempts.troubles.len() > NAMED {
                remark(format_args!("{}: {} more places like that", part.display(), attempts.troubles.len() - NAMED));
            }
            rows.extend(attempts.rows);
        }
        rows.retain(|row| self.wants(row));
        let rows = &rows[rows.len().saturating_sub(self.last.unwrap_or(usize::MAX))..];
        match &self.csv {
            Some(to) => to.write(rows),
            None if rows.is_empty() => print("nothing is logged yet that fits; bends that are played are logged by themselves\n"),
            None => print(&rows.chunk_by(|one, next| one.take == next.take).map(heading_and_table).collect::<Vec<_>>().join("\n")),
        }
    }

    fn wants(&self, row: &Row) -> bool {
        let day = || row.played_at.map(|played| played.local().date());
        let fits = |wanted: &Option<String>, fits: &dyn Fn(&str) -> bool| wanted.as_deref().is_none_or(fits);
        fits(&self.take, &|text| row.take.contains(text))
            && fits(&self.drill, &|name| row.drill.as_deref().is_some_and(|drill| drill == name || is_of_kind(drill, name)))
            && self.since.is_none_or(|since| day().is_some_and(|day| day >= since))
            && self.until.is_none_or(|until| day().is_some_and(|day| day <= until))
    }
}

/// Whether a drill of landfall's own is of this kind.
fn is_of_kind(drill: &str, kind: &str) -> bool {
    drills::NAMED.iter().any(|named| named.name == drill && named.kind == kind)
}

fn heading_and_table(rows: &[Row]) -> String {
    table(&rows[0].take, rows)
}
