//! What a drill may be given, in the words of the trade; every value is text, as on the command line, in a drill's file and beside a take.

use super::asked::bend_size;
use super::stage::{Feedback, Stage};
use crate::theory::chart::Metre;
use crate::theory::{Chord, Key, Note, Place, Tuning, nearest};
use std::collections::BTreeMap;

/// One parameter.
#[derive(Clone, Copy, Debug)]
pub struct Parameter {
    /// Its name on the command line (`--set name=value`) and in a file.
    pub name: &'static str,
    /// What it is, in one line.
    pub about: &'static str,
    /// What a value looks like.
    pub example: &'static str,
    check: fn(&str) -> Result<(), String>,
}

/// What is wrong with a drill.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DrillError {
    /// No drill and no kind of this name.
    #[error("there is no drill {found:?}{hint}; `landfall drill --list` names all of them")]
    Unknown {
        /// As written.
        found: String,
        /// The nearest.
        hint: String,
    },
    /// The kind has no such parameter.
    #[error("{kind} knows no {found:?}{hint}; it takes {known}")]
    Parameter {
        /// The kind.
        kind: String,
        /// As written.
        found: String,
        /// The nearest.
        hint: String,
        /// All that there are.
        known: String,
    },
    /// A value that cannot be.
    #[error("{name} cannot be {found:?}: {wanted}")]
    Value {
        /// The parameter.
        name: String,
        /// As written.
        found: String,
        /// What it should be.
        wanted: String,
    },
    /// Nothing on this neck fits.
    #[error("{0}")]
    NoPlace(String),
}

/// Values by name.
pub type Given = BTreeMap<String, String>;

/// Parameters of every kind.
pub const EVERY_KIND: &[&str] = &[
    "chord",
    "key",
    "tuning",
    "frets",
    "capo",
    "tuned-down",
    "position",
    "strings",
    "places",
    "sizes",
    "attempts",
    "each",
    "order",
    "seed",
    "unseen",
    "hear",
    "set",
    "rest",
    "feedback",
];

/// All parameters.
pub const PARAMETERS: &[Parameter] = &[
    Parameter { name: "chord", about: "the chord whose tones are reached", example: "Gm7", check: |text| ok(Chord::parse(text)) },
    Parameter {
        name: "chords",
        about: "chords in order, each with its turn",
        example: "Gm7 C7 F",
        check: |text| all(text, |word| ok(Chord::parse(word))),
    },
    Parameter {
        name: "degrees",
        about: "which tones of a chord, by number",
        example: "1 3 5",
        check: |text| all(text, |word| number(word, 1.0, 13.0)),
    },
    Parameter {
        name: "key",
        about: "the key: notes to bend from are of it, and without a chord those to reach",
        example: "D minor",
        check: |text| ok(text.parse::<Key>()),
    },
    Parameter {
        name: "tuning",
        about: "open strings from low to high, or a name",
        example: "drop D",
        check: |text| ok(text.parse::<Tuning>()),
    },
    Parameter { name: "frets", about: "frets on the neck", example: "22", check: |text| number(text, 5.0, 36.0) },
    Parameter { name: "capo", about: "capo at this fret; frets count from it", example: "2", check: |text| number(text, 0.0, 12.0) },
    Parameter {
        name: "tuned-down",
        about: "semitones that the guitar is tuned lower",
        example: "1",
        check: |text| number(text, 0.0, 12.0),
    },
    Parameter { name: "position", about: "only around this fret of the first finger", example: "7", check: |text| number(text, 1.0, 30.0) },
    Parameter { name: "strings", about: "which strings, 1 the highest", example: "1-3", check: |text| strings(text).map(|_| ()) },
    Parameter { name: "places", about: "string/fret, one or more", example: "2/8 3/7", check: |text| places(text).map(|_| ()) },
    Parameter {
        name: "sizes",
        about: "quarter, half, whole, one-and-a-half, two, or cents",
        example: "half whole",
        check: |text| sizes(text).map(|_| ()),
    },
    Parameter { name: "target", about: "the one note to reach", example: "A4", check: |text| ok(text.parse::<Note>()) },
    Parameter { name: "attempts", about: "how many in all", example: "8", check: |text| number(text, 1.0, 200.0) },
    Parameter {
        name: "each",
        about: "how many of each place and size, or of each tone",
        example: "6",
        check: |text| number(text, 0.0, 50.0),
    },
    Parameter {
        name: "order",
        about: "turns, blocks or shuffled; paired: the first size at the first place and so on",
        example: "shuffled",
        check: |text| all(text, |one| word(one, &["turns", "blocks", "paired", "shuffled"])),
    },
    Parameter { name: "seed", about: "another shuffle, another choice of places", example: "1", check: |text| number(text, 0.0, 1e9) },
    Parameter {
        name: "unseen",
        about: "attempts without the moving pitch: no, ends, all, or so many at first",
        example: "ends",
        check: unseen,
    },
    Parameter {
        name: "hear",
        about: "what is heard before each attempt: nothing or target",
        example: "target",
        check: |text| word(text, &["nothing", "target"]),
    },
    Parameter {
        name: "set",
        about: "attempts between two rests; 6 at starting, else 8, nine of nine",
        example: "8",
        check: |text| number(text, 1.0, 100.0),
    },
    Parameter { name: "rest", about: "seconds of rest between two sets", example: "30", check: |text| number(text, 0.0, 600.0) },
    Parameter {
        name: "feedback",
        about: "the moving pitch: live, after the note, or faded",
        example: "faded",
        check: |text| text.parse::<Feedback>().map(|_| ()),
    },
    Parameter { name: "hold", about: "seconds to hold", example: "1.5", check: |text| number(text, 0.2, 20.0) },
    Parameter { name: "hold-beats", about: "beats to hold", example: "1", check: |text| number(text, 0.25, 16.0) },
    Parameter { name: "rise", about: "longest rise in milliseconds", example: "140", check: |text| number(text, 30.0, 2000.0) },
    Parameter { name: "beats", about: "beats from the pick to the top", example: "4", check: |text| number(text, 1.0, 16.0) },
    Parameter {
        name: "metre",
        about: "the bars that are counted; a compound beat is the dotted note",
        example: "12/8",
        check: |text| ok(Metre::parse(text, None)),
    },
    Parameter { name: "tempo", about: "beats a minute", example: "60", check: |text| number(text, 20.0, 300.0) },
    Parameter { name: "straight", about: "seconds held straight before the shake", example: "1", check: |text| number(text, 0.0, 10.0) },
    Parameter { name: "shake", about: "seconds of shake", example: "2", check: |text| number(text, 0.5, 20.0) },
    Parameter { name: "rate", about: "swings a second, least-most", example: "4-6.5", check: |text| range(text).map(|_| ()) },
    Parameter {
        name: "width",
        about: "half width of the shake in cents, least-most",
        example: "12-35",
        check: |text| range(text).map(|_| ()),
    },
    Parameter { name: "rounds", about: "how often through the chords", example: "3", check: |text| number(text, 1.0, 50.0) },
    Parameter {
        name: "endings",
        about: "hold, release, again or shake, in turn",
        example: "hold release again shake",
        check: |text| all(text, |one| word(one, &["hold", "release", "again", "shake"])),
    },
];

/// A value's check; the stage is no parameter of a drill but is kept beside them.
///
/// # Errors
/// When the name is none of `known`, or the value cannot be.
pub fn check(kind: &str, known: &[&str], name: &str, value: &str) -> Result<(), DrillError> {
    let Some(parameter) = PARAMETERS.iter().find(|parameter| parameter.name == name && known.contains(&name)) else {
        let hint = nearest(name, known.iter().copied()).map_or_else(String::new, |near| format!("; did you mean {near}?"));
        return Err(DrillError::Parameter { kind: kind.to_owned(), found: name.to_owned(), hint, known: known.join(", ") });
    };
    (parameter.check)(value).map_err(|wanted| DrillError::Value { name: name.to_owned(), found: value.to_owned(), wanted })
}

fn ok<T, E: std::fmt::Display>(read: Result<T, E>) -> Result<(), String> {
    read.map(|_| ()).map_err(|error| error.to_string())
}

fn all(text: &str, check: impl Fn(&str) -> Result<(), String>) -> Result<(), String> {
    if words(text).next().is_none() {
        return Err("it is empty".to_owned());
    }
    words(text).try_for_each(check)
}

fn word(text: &str, known: &[&str]) -> Result<(), String> {
    if known.contains(&text) { Ok(()) } else { Err(format!("it is one of {}", known.join(", "))) }
}

fn number(text: &str, least: f64, most: f64) -> Result<(), String> {
    let good = text.trim().parse::<f64>().is_ok_and(|number| (least..=most).contains(&number));
    if good { Ok(()) } else { Err(format!("it is a number from {least} to {most}")) }
}

fn unseen(text: &str) -> Result<(), String> {
    if ["no", "ends", "all"].contains(&text) || text.parse::<u32>().is_ok() {
        return Ok(());
    }
    Err("it is no, ends, all, or how many at first".to_owned())
}

/// Words, separated by blanks or commas.
pub(super) fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split([' ', ',', '|']).filter(|word| !word.is_empty())
}

/// `4-6.5`, or one number.
pub(super) fn range(text: &str) -> Result<(f64, f64), String> {
    let wrong = || "it is least-most, such as 4-6.5".to_owned();
    let (low, high) = text.split_once('-').ok_or_else(wrong)?;
    let (low, high) = (low.trim().parse().map_err(|_| wrong())?, high.trim().parse().map_err(|_| wrong())?);
    if 0.0 < low && low < high && high < 1000.0 { Ok((low, high)) } else { Err(wrong()) }
}

pub(super) fn sizes(text: &str) -> Result<Vec<u32>, String> {
    let sizes = words(text).map(|word| bend_size(word).map(|cents| cents.round() as u32)).collect::<Result<Vec<_>, _>>()?;
    if sizes.is_empty() { Err("it is empty".to_owned()) } else { Ok(sizes) }
}

pub(super) fn places(text: &str) -> Result<Vec<Place>, String> {
    let wrong = || "it is string/fret, such as 2/8 3/7".to_owned();
    let place = |word: &str| {
        let (string, fret) = word.split_once('/').ok_or_else(wrong)?;
        let place = Place { string: string.parse().map_err(|_| wrong())?, fret: fret.parse().map_err(|_| wrong())? };
        if (1..=9).contains(&place.string) && (1..=36).contains(&place.fret) { Ok(place) } else { Err(wrong()) }
    };
    let places = words(text).map(place).collect::<Result<Vec<_>, String>>()?;
    if places.is_empty() { Err(wrong()) } else { Ok(places) }
}

pub(super) fn strings(text: &str) -> Result<Vec<u8>, String> {
    let wrong = || "write string numbers, 1 the highest: 1-3 or 1,2,4".to_owned();
    let number = |text: &str| text.trim().parse::<u8>().ok().filter(|n| (1..=9).contains(n)).ok_or_else(wrong);
    let mut found = Vec::new();
    for part in words(text) {
        match part.split_once('-') {
            Some((from, to)) => found.extend(number(from)?..=number(to)?),
            None => found.push(number(part)?),
        }
    }
    if found.is_empty() { Err(wrong()) } else { Ok(found) }
}

/// The stage that is kept with the parameters.
///
/// # Errors
/// When it is none.
pub fn stage(text: Option<&str>) -> Result<Stage, DrillError> {
    let Some(text) = text else { return Ok(Stage::default()) };
    text.parse().map_err(|wanted| DrillError::Value { name: "stage".to_owned(), found: text.to_owned(), wanted })
}
