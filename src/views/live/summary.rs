//! What a run came to, as lines of text: an attempt's verdict, and its figures beneath, so that nothing wraps at 80 columns.

use super::figures;
use crate::grading::Attempt;

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

/// A table of all attempts, with a last line that counts them.
#[must_use]
pub fn summary(played: &[Played<'_>]) -> String {
    let mut text = String::new();
    let mut landed = 0;
    for (number, attempt) in played.iter().enumerate() {
        let words = figures::words(attempt.row);
        landed += usize::from(words == "landed");
        let notes = format!("{} to {}", attempt.origin.unwrap_or("?"), attempt.target.unwrap_or("?"));
        let (chord, degree) = (attempt.chord.unwrap_or_default(), attempt.row.degree.as_deref().unwrap_or_default());
        text += format!("{:>3}  {chord:<6}{degree:<4}{notes:<12}{words}", number + 1).trim_end();
        text.push('\n');
        let figures = figures::of(attempt.row).join(", ");
        if !figures.is_empty() {
            text.extend(["     ", &figures, "\n"]);
        }
    }
    let bends = if played.len() == 1 { "bend" } else { "bends" };
    text + &format!("{} {bends}, {landed} landed and held.\n", played.len())
}
