//! What a run came to, as lines of text: an attempt's verdict, and its figures beneath, so that nothing wraps at 80 columns.

use super::{counted, figures};
use crate::grading::Attempt;
use crate::logbook::Row;
use crate::practice::plan::a_bit_over;

/// One attempt of a summary.
#[derive(Clone, Debug, PartialEq)]
pub struct Played<'a> {
    /// As graded.
    pub row: &'a Attempt,
    /// The chord, where there was one.
    pub chord: Option<&'a str>,
    /// Name of the note that it started from.
    pub origin: Option<&'a str>,
    /// Name of the note to reach.
    pub target: Option<&'a str>,
}

impl<'a> Played<'a> {
    /// As its row names it.
    #[must_use]
    pub fn of(attempt: &'a Attempt, row: &'a Row) -> Self {
        let (chord, origin, target) = (row.chord.as_deref(), row.origin_note.as_deref(), row.target_note.as_deref());
        Self { row: attempt, chord, origin, target }
    }
}

/// A table of all attempts, with a last line that counts them.
#[must_use]
pub fn summary(played: &[Played<'_>]) -> String {
    table(played, 1) + &counted(played.iter().map(|attempt| attempt.row)) + "\n"
}

/// The attempts, numbered from `first`.
pub(super) fn table(played: &[Played<'_>], first: usize) -> String {
    let mut text = String::new();
    let longest = played.iter().filter_map(|attempt| attempt.chord).map(|chord| chord.chars().count() + 1).max();
    let wide = longest.map(|longest| longest.max(6));
    let broad = played.iter().map(|attempt| notes(attempt).chars().count() + 1).max().unwrap_or(0).max(12);
    for (number, attempt) in (first..).zip(played) {
        let words = figures::words(attempt.row);
        let notes = notes(attempt);
        let (chord, degree) = (attempt.chord.unwrap_or_default(), attempt.row.degree.as_deref().unwrap_or_default());
        let harmony = wide.map(|wide| format!("{chord:<wide$}{degree:<4}")).unwrap_or_default();
        text += format!("{number:>3}  {harmony}{notes:<broad$}{words}").trim_end();
        text.push('\n');
        let figures = figures::of(attempt.row).join(", ");
        if !figures.is_empty() {
            text.extend(["     ", &figures, "\n"]);
        }
    }
    text
}

/// From which note to which; a quarter curl ends at none.
fn notes(attempt: &Played<'_>) -> String {
    let origin = attempt.origin.unwrap_or("?");
    match (attempt.row.is_plain(), attempt.target) {
        (true, Some(note)) => note.to_owned(),
        _ if figures::is_curl(attempt.row) => a_bit_over(origin),
        (_, target) => format!("{origin} to {}", target.unwrap_or("?")),
    }
}
