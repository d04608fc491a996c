//! What several bends of a run share, in plain words: `4 of 8 were 20 to 25 c short.`

use crate::grading::{Attempt, Verdict, Word};

/// So many alike are a tendency.
const FEWEST: usize = 3;

/// How a word is read as an error of one kind, in cents, and how several of them are said; `#` stands for how far.
type Kind = (fn(&Verdict) -> Option<u16>, &'static str);

const KINDS: [Kind; 5] = [
    (short, "were # c short"),
    (over, "were # c over"),
    (sank, "landed and then sank by # c"),
    (home_over, "came home # c over the fret"),
    (home_under, "came home # c under the fret"),
];

fn short(verdict: &Verdict) -> Option<u16> {
    if let Some(Word::Short(cents)) = verdict.headline() { Some(cents) } else { None }
}

fn over(verdict: &Verdict) -> Option<u16> {
    if let Some(Word::Over(cents)) = verdict.headline() { Some(cents) } else { None }
}

fn sank(verdict: &Verdict) -> Option<u16> {
    if let Some(Word::Fell(cents)) = verdict.headline() { Some(cents) } else { None }
}

fn home_over(verdict: &Verdict) -> Option<u16> {
    if let Some(Word::Over(cents)) = verdict.release { Some(cents) } else { None }
}

fn home_under(verdict: &Verdict) -> Option<u16> {
    if let Some(Word::Short(cents)) = verdict.release { Some(cents) } else { None }
}

/// What most of the attempts share that were not right; `None` where fewer than three do.
#[must_use]
pub fn tendency(attempts: &[&Attempt]) -> Option<String> {
    let verdicts: Vec<Verdict> = attempts.iter().map(|attempt| Verdict::of(attempt)).collect();
    let off = |kind: &Kind| verdicts.iter().filter_map(kind.0).collect::<Vec<u16>>();
    let all: Vec<(Vec<u16>, &str)> = KINDS.iter().map(|kind| (off(kind), kind.1)).collect();
    // The first of several that are equally many.
    let (cents, words) = all.iter().rev().max_by_key(|(cents, _)| cents.len()).filter(|(cents, _)| cents.len() >= FEWEST)?;
    let (least, most) = (cents.iter().min()?, cents.iter().max()?);
    let far = if least == most { least.to_string() } else { format!("{least} to {most}") };
    Some(format!("{} of {} {}.", cents.len(), attempts.len(), words.replace('#', &far)))
}
