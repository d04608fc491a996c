//! Where on the neck a drill is played: at places that the player named, at the drill's own, or where the theory of the neck finds some.
//!
//! What is given stands over what is the drill's own. A chord or a note to reach puts the drill's own places aside. Strings, a position, a tuning or a key
//! keep those of them that lie there, and where none does for a size, others are found for it. A chord is aimed at only where one was given or is the
//! drill's own. [`Ground::values`] is what came of it: a drill that has these values asks for the same steps.

mod found;
mod own;
mod steps;

use super::parameters::{self, DrillError, Given};
use super::plan::Step;
use super::stage::{Numbers, Stage};
use crate::grading::Tolerance;
use crate::theory::bend::size_name;
use crate::theory::{Chord, Key, Neck, Note, Place, Scale, StringSet, TheoryError, Tuning};

/// A drill's values, settled.
pub struct Ground {
    values: Given,
    /// The numbers of the player's stage, its tolerance replaced where another was set.
    pub numbers: Numbers,
    /// The neck.
    pub neck: Neck,
    strings: StringSet,
}

fn tuning(text: Option<&String>) -> Result<Tuning, DrillError> {
    text.map_or(Ok(Tuning::standard()), |text| text.parse()).map_err(|error: TheoryError| DrillError::NoPlace(error.to_string()))
}

impl Ground {
    /// Settles a drill's values: `given` ones stand over its `own`. All must have been checked.
    ///
    /// # Errors
    /// When the neck cannot be, or nothing that was asked for lies on it.
    pub fn new(given: &Given, own: &Given, stage: Stage, tolerance_cents: Option<f64>) -> Result<Self, DrillError> {
        let mut numbers = stage.numbers();
        if let Some(cents) = tolerance_cents.filter(|cents| (cents - numbers.tolerance.cents).abs() > 1e-9) {
            numbers.tolerance = Tolerance { beat_ms: numbers.tolerance.beat_ms, ..Tolerance::of_cents(cents) };
        }
        let values = own::over(given, own);
        let number = |name: &str, usual: u8| values.get(name).and_then(|text| text.trim().parse().ok()).unwrap_or(usual);
        let tuned = tuning(values.get("tuning"))?;
        let strings = StringSet::usual(&tuned);
        let neck = Neck::new(tuned, number("frets", 22)).and_then(|neck| neck.with_capo(number("capo", 0)));
        let neck = neck.and_then(|neck| neck.tuned_down(number("tuned-down", 0)));
        let neck = neck.map_err(|error| DrillError::NoPlace(error.to_string()))?;
        let mut ground = Self { values, numbers, neck, strings };
        ground.has_what_is_asked_for()?;
        if given.contains_key("places") {
            ground.keep_named()?;
        } else if ground.values.contains_key("places") {
            ground.keep_own(&tuning(own.get("tuning"))?)?;
        }
        Ok(ground)
    }

    /// All values that hold.
    #[must_use]
    pub fn values(&self) -> &Given {
        &self.values
    }

    /// A value as text.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<&str> {
        self.values.get(name).map(String::as_str)
    }

    /// A value as a number.
    #[must_use]
    pub fn number(&self, name: &str) -> Option<f64> {
        self.text(name)?.trim().parse().ok()
    }

    /// A value as a number, else the usual one.
    #[must_use]
    pub fn number_or(&self, name: &str, usual: f64) -> f64 {
        self.number(name).unwrap_or(usual)
    }

    /// A value as least and most.
    #[must_use]
    pub fn range(&self, name: &str, usual: (f64, f64)) -> (f64, f64) {
        self.text(name).and_then(|text| parameters::range(text).ok()).unwrap_or(usual)
    }

    /// Seconds to hold: given, else the stage's; a clean string above fret 15 sounds no longer than 0.7 s.
    #[must_use]
    pub fn hold_s(&self, step: &Step) -> f64 {
        let high = step.place.is_some_and(|place| place.fret + self.neck.capo() > 15);
        self.number_or("hold", if high { self.numbers.hold_s.min(0.7) } else { self.numbers.hold_s })
    }

    /// Chords by a parameter's name.
    #[must_use]
    pub fn chords(&self, name: &str) -> Vec<Chord> {
        self.text(name).map(parameters::words).into_iter().flatten().filter_map(|word| Chord::parse(word).ok()).collect()
    }

    /// The chord that is aimed at, where there is one.
    #[must_use]
    pub fn chord(&self) -> Option<Chord> {
        self.text("chord").and_then(|text| Chord::parse(text).ok())
    }

    /// The one note to reach, where there is one.
    #[must_use]
    pub fn target(&self) -> Option<Note> {
        self.text("target")?.parse().ok()
    }

    fn key(&self) -> Option<Key> {
        self.text("key")?.parse().ok()
    }

    fn scale(&self) -> Option<Scale> {
        self.key().map(Key::scale)
    }

    /// Sizes in cents; none where notes are fretted and not bent.
    fn sizes(&self) -> Vec<u32> {
        self.text("sizes").and_then(|text| parameters::sizes(text).ok()).unwrap_or_default()
    }

    fn degrees(&self) -> Option<Vec<u8>> {
        let text = self.text("degrees")?;
        Some(parameters::words(text).filter_map(|word| word.parse().ok()).collect())
    }

    fn strings_asked_for(&self) -> Option<Vec<u8>> {
        self.text("strings").and_then(|text| parameters::strings(text).ok())
    }

    /// Whether the order is in a word of its parameter.
    fn is_in_order(&self, word: &str) -> bool {
        self.text("order").is_some_and(|text| parameters::words(text).any(|one| one == word))
    }

    /// Whether a place lies on the strings and around the fret that were asked for.
    fn is_asked_for(&self, place: Place) -> bool {
        let near = self.number("position").is_none_or(|position| {
            let fret = f64::from(place.fret);
            fret >= position - 1.0 && fret <= position + 4.0
        });
        near && self.strings_asked_for().is_none_or(|strings| strings.contains(&place.string))
    }

    /// The same, on strings 1 to 3 unless others were asked for.
    fn is_allowed(&self, place: Place) -> bool {
        self.is_asked_for(place) && (place.string <= 3 || self.values.contains_key("strings"))
    }

    /// Whether the notes of a bend, or of a fretted note (0 cents), are of the key, where one was given. Where a quarter tone ends is no note.
    fn is_in_key(&self, place: Place, cents: u32) -> bool {
        let midi = self.neck.midi(place);
        let reached = if cents.is_multiple_of(100) { midi + (cents / 100) as i32 } else { midi };
        self.scale().is_none_or(|scale| scale.contains(midi) && scale.contains(reached))
    }

    /// Strings and frets that were asked for are on the neck.
    fn has_what_is_asked_for(&self) -> Result<(), DrillError> {
        let strings = self.neck.strings();
        if let Some(none) = self.strings_asked_for().into_iter().flatten().find(|string| *string > strings) {
            return Err(DrillError::NoPlace(format!("there is no string {none}: this guitar has {strings}; name some of 1 to {strings}")));
        }
        let frets = self.neck.frets();
        match self.number("position").filter(|position| *position > f64::from(frets)) {
            Some(position) => Err(DrillError::NoPlace(format!("there is no fret {position}: this neck ends at fret {frets}"))),
            None => Ok(()),
        }
    }

    /// Nothing fits: said by what was asked for, and by nothing else.
    fn nothing(&self, sizes: &[u32], into: Option<&str>) -> DrillError {
        let named: Vec<String> = sizes.iter().map(|cents| size_name(*cents)).collect();
        let what = if sizes.is_empty() { "no note".to_owned() } else { format!("no bend ({})", named.join(", ")) };
        let into = into.map(|into| format!(" into {into}")).unwrap_or_default();
        let asked = [
            ("strings", " on strings ", "--strings"),
            ("position", " around fret ", "--position"),
            ("key", " in ", "--key"),
            ("tuning", " in the tuning ", "--tuning"),
        ];
        let (mut lies, mut others) = (String::new(), Vec::new());
        for (name, before, option) in asked {
            if let Some(value) = self.text(name) {
                lies += before;
                lies += value;
                others.push(option);
            }
        }
        let change = if others.is_empty() { "--set sizes".to_owned() } else { others.join(" or ") };
        let strings = if others.contains(&"--strings") { "" } else { "; --strings takes others than 1 to 3" };
        DrillError::NoPlace(format!("{what}{into} lies easily{lies}: change {change}{strings}"))
    }
}
