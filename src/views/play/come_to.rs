//! What a run over a tune came to, in words and figures.

use crate::grading::Attempt;
use crate::practice::play::{CameTo, Landing, Timing};
use crate::theory::Note;
use crate::units::signed;
use crate::views::live::{counted, figures, words};
use crate::views::paragraph::hanging;
use std::fmt::Write;

/// A bend of the run.
#[derive(Clone, Copy, Debug)]
pub struct Bend<'a> {
    /// As graded.
    pub attempt: &'a Attempt,
    /// The bar of the chart.
    pub bar: Option<u32>,
    /// The chord of its moment.
    pub chord: Option<&'a str>,
    /// The target's place in it.
    pub degree: Option<&'a str>,
    /// Its notes by name.
    pub notes: (Option<&'a str>, Option<&'a str>),
}

/// Bends, phrases, notes, space and time. `tolerance_ms` is what still counts as on the beat, `count` the note value that each bend was measured from.
#[must_use]
pub fn summary(bends: &[Bend<'_>], run: &CameTo, (count, tolerance_ms): (&str, f64), uncalibrated: bool) -> String {
    let mut text = String::new();
    for (number, bend) in bends.iter().enumerate() {
        text += &line(number + 1, bend, count);
    }
    text += &hanging_lines(&counted(bends.iter().map(|bend| bend.attempt)));
    if !run.landings.is_empty() {
        text += &wrapped("Phrases came to rest on ", &run.landings.iter().map(landing).collect::<Vec<_>>());
    }
    let shares = run.shares;
    if shares.all() > 0 {
        let notes = if shares.all() == 1 { "note" } else { "notes" };
        let tones = if shares.chord == 1 { "chord tone" } else { "chord tones" };
        let tops = if run.bent { ", a bend counted by its top" } else { "" };
        let of =
            format!("{} {notes}{tops}: {} {tones}, {} of the scale, {} outside.", shares.all(), shares.chord, shares.scale, shares.outside);
        text += &hanging_lines(&of);
    }
    if let Some((left, of)) = run.space_s {
        let _ = writeln!(text, "Space: nothing played for {left:.0} s of {of:.0} s.");
    }
    let late: Vec<f64> = bends.iter().filter_map(|bend| bend.attempt.measures.late_ms()).collect();
    if let Some(timing) = Timing::of(&late) {
        text += &hanging_lines(&format!("Time: {}.", timing.words(&format!("the nearest {count}"), tolerance_ms)));
        if uncalibrated {
            text += "The delay of the sound card is not known and is in the average: run landfall calibrate.\n";
        }
    }
    text
}

fn line(number: usize, bend: &Bend<'_>, count: &str) -> String {
    let notes = format!("{} to {}", bend.notes.0.unwrap_or("?"), bend.notes.1.unwrap_or("?"));
    let bar = bend.bar.map(|bar| format!("bar {bar}")).unwrap_or_default();
    let (chord, degree) = (bend.chord.unwrap_or("no chord"), bend.degree.unwrap_or_default());
    let head = format!("{number:>3}  {bar:<8}{chord:<8} {degree:<4}{notes:<12}{}", words(bend.attempt)).trim_end().to_owned();
    let beat = bend.attempt.measures.late_ms().map(|late| format!("{} ms from the {count}", signed(late, 0)));
    let figures: Vec<String> = figures::of(bend.attempt).into_iter().chain(beat).collect();
    if figures.is_empty() { format!("{head}\n") } else { format!("{head}\n     {}\n", figures.join(", ")) }
}

/// `the 3 of F (bar 4)`, `D4 over Cm7 (bar 1, let down, of the scale)`.
fn landing(landing: &Landing) -> String {
    let (note, chord) = (Note::usual(landing.midi), &landing.chord);
    let (what, standing) = match (landing.degree, landing.scale_degree) {
        (Some(degree), _) => (format!("the {degree} of {chord}"), ""),
        (None, Some(_)) => (format!("{note} over {chord}"), ", of the scale"),
        (None, None) => (format!("{note} over {chord}"), ", outside"),
    };
    let let_down = if landing.let_down { ", let down" } else { "" };
    format!("{what} (bar {}{let_down}{standing})", landing.bar)
}

fn hanging_lines(sentence: &str) -> String {
    hanging(sentence).join("\n") + "\n"
}

/// Words with commas between them, in lines of 80 characters at most.
fn wrapped(head: &str, parts: &[String]) -> String {
    let mut lines = vec![head.to_owned()];
    for (index, part) in parts.iter().enumerate() {
        let part = format!("{part}{}", if index + 1 == parts.len() { "." } else { ", " });
        match lines.last_mut() {
            Some(line) if line.chars().count() + part.trim_end().chars().count() <= 80 => *line += &part,
            _ => lines.push(format!("  {part}")),
        }
    }
    lines.iter().map(|line| line.trim_end()).collect::<Vec<_>>().join("\n") + "\n"
}
