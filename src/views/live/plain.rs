//! The same as lines of plain text, for a pipe or a screen reader: one line when there is something to say, nothing moving.

use super::{Ask, News, another, figures};
use crate::grading::{Attempt, Verdict};
use crate::practice::plan::a_bit_over;
use crate::theory::Note;
use crate::views::paragraph::hanging;

/// Turns news into lines.
#[derive(Clone, Debug, Default)]
pub struct PlainLines {
    said: Verdict,
    asked: Option<Ask>,
    graded: usize,
    place: Option<String>,
    cues: Vec<String>,
    resting: bool,
    /// Nothing is said of a note before its row.
    unseen: bool,
    /// The note that sounds is another than was asked for.
    is_another: bool,
}

impl PlainLines {
    /// What is to be said about the news: no line, or a few.
    pub fn lines(&mut self, news: &News) -> Vec<String> {
        match news {
            News::Ask(ask) if self.asked.as_ref() != Some(ask) => {
                self.asked = Some(ask.clone());
                let harmony = ask.harmony().map(|harmony| format!(" ({harmony})")).unwrap_or_default();
                vec![format!("{}{harmony}.", ask.sentence())]
            }
            News::Onset { .. } => {
                self.said = Verdict::default();
                self.is_another = false;
                Vec::new()
            }
            News::Aim { origin_cents, target_cents } => {
                let another = self.asked.as_ref().is_some_and(|ask| ask.is_another(*origin_cents, *target_cents));
                self.is_another |= self.said == Verdict::default() && another;
                Vec::new()
            }
            News::Verdict(_) if self.unseen => Vec::new(),
            News::Verdict(verdict) if self.is_another => self.not_asked(*verdict).into_iter().collect(),
            News::Verdict(verdict) => self.verdict(*verdict),
            News::Graded(row) => {
                self.graded += 1;
                self.attempt(row)
            }
            News::Lesson(lesson) => {
                self.unseen = lesson.unseen;
                let place = lesson.place();
                let mut lines = Vec::new();
                for sentence in [&lesson.told, &lesson.cue].into_iter().flatten() {
                    if !self.cues.contains(sentence) {
                        lines.push(sentence.clone());
                    }
                }
                self.cues = [&lesson.told, &lesson.cue].into_iter().flatten().cloned().collect();
                if lesson.rest_s.is_some() && !self.resting {
                    lines.push("Rest the hand now; play on when you like.".to_owned());
                }
                self.resting = lesson.rest_s.is_some();
                if self.place.as_ref() != Some(&place) {
                    lines.push(format!("{place}."));
                    lines.extend(lesson.first.clone());
                    self.place = Some(place);
                }
                lines
            }
            News::Notice(sentence) | News::Reminder(Some(sentence)) => vec![sentence.clone()],
            _ => Vec::new(),
        }
    }

    /// A row: which it is, its notes, the words, the figures, what to mend.
    fn attempt(&self, row: &Attempt) -> Vec<String> {
        // As it is fingered, which is how it was asked for.
        let higher = self.asked.as_ref().map_or(0, Ask::sounds_higher);
        let notes = row.origin_midi().zip(row.target_midi()).map(|(from, to)| {
            let from = Note::usual(from - higher);
            let to = if figures::is_curl(row) { a_bit_over(&from.to_string()) } else { Note::usual_from(from, to - higher).to_string() };
            if row.is_plain() { format!(", {from}") } else { format!(", {from} to {to}") }
        });
        let step = match row.step {
            Some(step) => format!(", step {step}"),
            None if self.place.is_some() => ", beside the drill".to_owned(),
            None => String::new(),
        };
        let number = self.graded;
        let head = match another(row) {
            Some(another) => format!("Attempt {number}{step}; {another}"),
            None => format!("Attempt {number}{step}{}: {}", notes.unwrap_or_default(), figures::words(row)),
        };
        let faults = row.faults.iter().map(|fault| fault.word().to_owned());
        let parts: Vec<String> = std::iter::once(head).chain(figures::of(row)).chain(faults).collect();
        // A line ends between two parts, not within one.
        let parts: Vec<String> = parts.iter().map(|part| part.replace(' ', "\u{a0}")).collect();
        hanging(&(parts.join("; ") + ".")).into_iter().map(|line| line.replace('\u{a0}', " ")).collect()
    }

    /// Another note than was asked for is not said to have landed.
    fn not_asked(&mut self, verdict: Verdict) -> Option<String> {
        let word = self.asked.as_ref().map(Ask::another_word);
        let first = self.said.arrival.is_none() && verdict.arrival.is_some();
        self.said.arrival = self.said.arrival.or(verdict.arrival);
        word.filter(|_| first)
    }

    fn verdict(&mut self, verdict: Verdict) -> Vec<String> {
        let mut lines = Vec::new();
        let parts = [
            (&mut self.said.arrival, verdict.arrival, ""),
            (&mut self.said.hold, verdict.hold, ""),
            (&mut self.said.release, verdict.release, "home: "),
        ];
        for (said, word, before) in parts {
            if let (None, Some(new)) = (*said, word) {
                *said = word;
                lines.push(format!("{before}{new}"));
            }
        }
        lines
    }
}
