//! The end of a drill or of free play: the attempts as a table, how many landed, and what several of them share.

use super::summary::{Played, table};
use super::{counted, tendency};
use crate::grading::Attempt;
use crate::views::paragraph::hanging;

/// More attempts than this are not all shown.
const MOST: usize = 12;
/// So many of them are, the last ones.
const LAST: usize = 8;

/// What a run came to. In a drill only what answers it counts; `short` leaves the table out.
#[must_use]
pub fn ending(played: &[Played<'_>], in_drill: bool, short: bool) -> String {
    let counts = |one: &&Played<'_>| !in_drill || one.row.step.is_some();
    let counting: Vec<Played<'_>> = played.iter().filter(counts).cloned().collect();
    let rows: Vec<&Attempt> = counting.iter().map(|one| one.row).collect();
    if counting.is_empty() {
        return String::new();
    }
    let mut text = String::new();
    if !short {
        let first = if counting.len() > MOST { counting.len() - LAST } else { 0 };
        if first > 0 {
            text.push_str(&["The last ", &LAST.to_string(), " of ", &counting.len().to_string(), ":\n"].concat());
        }
        text += &table(&counting[first..], first + 1);
    }
    let beside = match played.len() - counting.len() {
        0 => None,
        1 => Some("1 other bend was not asked for.".to_owned()),
        many => Some(format!("{many} other bends were not asked for.")),
    };
    for sentence in [Some(counted(rows.iter().copied())), beside, tendency(&rows)].into_iter().flatten() {
        text += &(hanging(&sentence).join("\n") + "\n");
    }
    text
}
