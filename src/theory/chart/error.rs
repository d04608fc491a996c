//! What can be wrong with a chart, and where.

use crate::theory::TheoryError;
use std::fmt;

/// A mistake in a chart: file, place, what was found, what to write.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}{spot}: {fault}")]
pub struct ChartError {
    /// The file as it was named.
    pub file: String,
    /// Where in it.
    pub spot: Spot,
    /// What is wrong.
    pub fault: Box<ChartFault>,
}

/// A place in a chart.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Spot {
    /// The part's name.
    pub part: Option<String>,
    /// The bar as written in its part, from 1.
    pub bar: Option<usize>,
    /// The line of the file, from 1.
    pub line: Option<usize>,
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut words = Vec::new();
        words.extend(self.part.as_ref().map(|part| format!("part {part}")));
        words.extend(self.bar.map(|bar| format!("bar {bar}")));
        match (words.is_empty(), self.line) {
            (true, None) => Ok(()),
            (true, Some(line)) => write!(f, ": line {line}"),
            (false, None) => write!(f, ": {}", words.join(", ")),
            (false, Some(line)) => write!(f, ": {} (line {line})", words.join(", ")),
        }
    }
}

/// What is wrong with a chart.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ChartFault {
    /// The file is no TOML.
    #[error("{message}")]
    Toml {
        /// What the reader says, on one line.
        message: String,
    },
    /// A field that charts do not have.
    #[error("there is no field '{found}'{hint}")]
    UnknownField {
        /// As written.
        found: String,
        /// `; did you mean …?`, or the fields there are.
        hint: String,
    },
    /// A field that is needed.
    #[error("the field {field} is missing{}", missing_example(field))]
    Missing {
        /// Its name.
        field: &'static str,
    },
    /// A field of the wrong type.
    #[error("{field} is {found}, but should be {wanted}")]
    WrongType {
        /// Its name.
        field: &'static str,
        /// The type found.
        found: String,
        /// What is wanted, with an example.
        wanted: &'static str,
    },
    /// A metre that cannot be.
    #[error("metre '{found}' cannot be counted: {reason}")]
    Metre {
        /// As written.
        found: String,
        /// Why.
        reason: String,
    },
    /// Groups that do not make up the bar.
    #[error("groups '{found}': {reason}")]
    Groups {
        /// As written.
        found: String,
        /// Why.
        reason: String,
    },
    /// A tempo outside what can be played.
    #[error("tempo {found} cannot be played: write beats a minute, 10 to 1000")]
    Tempo {
        /// As written.
        found: String,
    },
    /// A misspelt feel.
    #[error("feel '{found}' is not known; did you mean {nearest}?")]
    Feel {
        /// As written.
        found: String,
        /// The nearest one known.
        nearest: &'static str,
    },
    /// A key, chord or note that cannot be read.
    #[error("{field}{0}", field = if matches!(.0, TheoryError::Key { .. }) { "key " } else { "" })]
    Word(TheoryError),
    /// Nothing between two bar lines.
    #[error("there is nothing in it; write a chord, % or N.C.")]
    EmptyBar,
    /// No bars at all.
    #[error("bars holds no bar; write chords between bar lines: | Dm | Gm7 / C7 / |")]
    NoBars,
    /// More entries than beats.
    #[error("{entries} entries are more than the {beats} beats of {metre}; write at most one for each beat")]
    TooMany {
        /// Chords and slashes found.
        entries: usize,
        /// Beats in the bar.
        beats: u32,
        /// The metre as written.
        metre: String,
    },
    /// Entries that do not share the bar evenly.
    #[error("{entries} entries do not share {beats} beats evenly; write / for each beat that a chord is held")]
    Uneven {
        /// Chords and slashes found.
        entries: usize,
        /// Beats in the bar.
        beats: u32,
    },
    /// A slash with nothing to hold.
    #[error("it begins with /, but there is no chord before it to hold")]
    NothingToHold,
    /// A % with nothing before it.
    #[error("% repeats the bar before it, but there is none")]
    NothingToRepeat,
    /// A % beside chords.
    #[error("% repeats a whole bar and stands alone in it; found {found}")]
    NotAlone {
        /// The bar's text.
        found: String,
    },
    /// A repeat that is never closed.
    #[error("the repeat that opens here with |: is never closed with :|")]
    RepeatNotClosed,
    /// A repeat that was never opened.
    #[error("it closes a repeat with :|, but none is open; write |: where the repeat begins")]
    RepeatNotOpened,
    /// A repeat in a repeat.
    #[error("it opens a repeat with |: inside another one; close that with :| first")]
    RepeatInRepeat,
    /// A form that names no part.
    #[error("form names the part '{found}', which is not there{hint}")]
    NoSuchPart {
        /// As written.
        found: String,
        /// `; did you mean …?`, or what to do.
        hint: String,
    },
    /// Bars at the top and parts as well.
    #[error("there are both bars at the top and parts; put the bars in a part, [part.A], and name it in form")]
    BarsAndParts,
    /// Parts without a form.
    #[error("there are parts but no form; write the order they are played in: form = [\"A\", \"A\", \"B\"]")]
    NoForm,
    /// A tune longer than anybody plays.
    #[error("it unfolds to more than {most} bars; shorten the form")]
    TooLong {
        /// The most bars that are played.
        most: usize,
    },
}

fn missing_example(field: &str) -> &'static str {
    match field {
        "key" => "; write for instance key = \"D minor\"",
        "metre" => "; write for instance metre = \"12/8\"",
        "tempo" => "; write beats a minute, for instance tempo = 58",
        "bars" => "; write for instance bars = \"| Dm | Gm7 / C7 / |\"",
        _ => "",
    }
}
