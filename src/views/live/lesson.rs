//! What a drill adds to the page: which step, the one cue, a guess that is waited for, a rest.

use super::{LiveState, Page};
use crate::grading::Word;

/// A player's guess before the verdict is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Guess {
    /// Under the note.
    Short,
    /// At the note.
    In,
    /// Over it.
    Over,
}

impl Guess {
    /// Whether a verdict says the same.
    #[must_use]
    pub fn is(self, word: Word) -> bool {
        matches!((self, word), (Self::Short, Word::Short(_) | Word::Fell(_)) | (Self::In, Word::Landed) | (Self::Over, Word::Over(_)))
    }

    /// Its word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Short => "short",
            Self::In => "in",
            Self::Over => "over",
        }
    }
}

/// Where a guess stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Guessing {
    /// None is asked for.
    #[default]
    No,
    /// The verdict is withheld until there is one.
    Asked,
    /// This was it.
    Said(Guess),
}

/// What is counted while a drill is played to a click.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Count {
    /// The beat of the bar, from 1.
    pub beat: u32,
    /// Before the first bar.
    pub counting_in: bool,
    /// What is wanted on the beat: `top` or `pick`.
    pub what: &'static str,
    /// Beats until it is wanted, rounded up; `None` when that is past.
    pub to_go: Option<u32>,
    /// Where chords change: the one now and the next.
    pub chords: Option<(String, String)>,
}

impl Count {
    /// `top in 3 beats`; over changes `Gm7 now, C7 in 3 beats`.
    #[must_use]
    pub fn words(&self) -> String {
        let beats = |beats: u32| match beats {
            0 => "now".to_owned(),
            1 => "on the next beat".to_owned(),
            beats => format!("in {beats} beats"),
        };
        let before = if self.counting_in { "count-in, " } else { "" };
        match (&self.chords, self.to_go) {
            (Some((now, next)), Some(to_go)) if now.is_empty() => format!("{before}{next} {}", beats(to_go)),
            (Some((now, next)), Some(to_go)) => format!("{now} now, {next} {}", beats(to_go)),
            (Some((now, _)), None) => format!("{now} now"),
            (None, Some(to_go)) => format!("{before}{} {}", self.what, beats(to_go)),
            (None, None) => String::new(),
        }
    }
}

/// The drill around the note on the page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Lesson {
    /// The drill's heading.
    pub title: String,
    /// Which step is asked for, from 1, and of how many.
    pub step: (usize, usize),
    /// What to do, in one sentence.
    pub lead: String,
    /// The one thing to do next, or what improved.
    pub cue: Option<String>,
    /// What was just told, shown for a moment: it can be taken back.
    pub told: Option<String>,
    /// No moving pitch before the note is over.
    pub unseen: bool,
    /// What is heard before the attempt, as a sentence.
    pub first: Option<String>,
    /// A guess.
    pub guess: Guessing,
    /// Whole seconds of rest left.
    pub rest_s: Option<u32>,
    /// What is counted, where there is a click.
    pub count: Option<Count>,
    /// Everything was played: what sounds from then on is no attempt.
    pub over: bool,
}

impl Lesson {
    /// Heading and step: `Bend and hold, 3 of 8`.
    #[must_use]
    pub fn place(&self) -> String {
        let unseen = if self.unseen { ", unseen" } else { "" };
        format!("{}, {} of {}{unseen}", self.title, self.step.0, self.step.1)
    }

    /// The step alone, for a narrow page: ` 3/8`.
    #[must_use]
    pub fn short_place(&self) -> String {
        format!(" {}/{}", self.step.0, self.step.1)
    }

    /// The line at the foot: what was told, the cue, else what to do.
    #[must_use]
    pub fn foot(&self) -> String {
        let said = self.told.as_ref().or(self.cue.as_ref()).or(self.first.as_ref());
        said.unwrap_or(&self.lead).clone()
    }
}

impl LiveState {
    /// Whether the verdict waits for a guess: not where one was made, nor of a note that the drill does not count.
    #[must_use]
    pub fn is_withheld(&self) -> bool {
        let asked = self.lesson.as_ref().is_some_and(|lesson| lesson.guess == Guessing::Asked);
        let of_another = |page: &Page| page.is_another || page.row.as_ref().is_some_and(|row| row.step.is_none());
        asked && !self.page.as_ref().is_some_and(|page| page.guess.is_some() || of_another(page))
    }

    /// The question, once there is a verdict to guess.
    #[must_use]
    pub fn question(&self) -> Option<&'static str> {
        let known = self.page.as_ref().is_some_and(|page| page.headline().is_some() && page.hold_end_s.is_some());
        (self.is_withheld() && known).then_some("Was it short, in or over?   down: short   space: in   up: over")
    }

    /// The guess beside what it was, for the line of figures.
    #[must_use]
    pub fn guessed(&self) -> Option<String> {
        let page = self.page.as_ref()?;
        let (guess, word) = (page.guess?, page.headline()?);
        Some(format!("you said {}, {}", guess.word(), if guess.is(word) { "and so it was" } else { "it was not" }))
    }

    /// Seconds of rest to show in place of the page.
    #[must_use]
    pub fn rest(&self) -> Option<u32> {
        self.lesson.as_ref()?.rest_s
    }
}
