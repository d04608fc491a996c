//! Options of every command that looks at a neck.

use super::directories::Environment;
use super::settings::{self, Given, Handedness, Settings};
use super::{Failure, WrongUse, meant};
use crate::theory::{Neck, Place, StringSet, Tuning};
use crate::units::A4;

/// The guitar, and which part of its neck to look at.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Guitar")]
pub struct Options {
    /// Open strings from low to high, or a name such as "drop D", "open G", "7 strings" [default: your setting, else standard]
    #[arg(long, value_name = "NOTES", value_parser = settings::tuning)]
    tuning: Option<String>,
    /// Frets on the neck
    #[arg(long, value_name = "COUNT", default_value_t = 22)]
    frets: u8,
    /// Capo at this fret: chords and frets are typed and shown as you finger them, counted from the capo
    #[arg(long, value_name = "FRET", default_value_t = 0)]
    capo: u8,
    /// Semitones that the guitar is tuned lower: typed and shown as you finger them
    #[arg(long, value_name = "SEMITONES", default_value_t = 0)]
    tuned_down: u8,
    /// Draw for a left-handed guitar, nut on the right
    #[arg(long, conflicts_with = "right")]
    left: bool,
    /// Draw for a right-handed guitar, where your settings say left
    #[arg(long)]
    right: bool,
    /// String gauges for the effort of bends, in thousandths of an inch, w for wound: "10 13 17 26w 36w 46w"
    #[arg(long, value_name = "LIST")]
    gauges: Option<String>,
    /// Frequency of A4 in Hz
    #[arg(long, value_name = "HZ", value_parser = settings::a4)]
    a4: Option<A4>,
    /// Only these strings, 1 the highest: 1-3 or 1,2,4
    #[arg(long, value_name = "LIST", value_parser = strings)]
    strings: Option<Strings>,
    /// Only around this position: the first finger's fret, four frets, and one to stretch either side
    #[arg(long, value_name = "FRET")]
    position: Option<u8>,
}

/// Strings as typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Strings(Vec<u8>);

impl Strings {
    /// The numbers, lowest first.
    #[must_use]
    pub fn list(&self) -> &[u8] {
        &self.0
    }
}

pub(super) fn strings(text: &str) -> Result<Strings, String> {
    let wrong = || "write string numbers from 1 (the highest) to 9, for instance 1-3 or 1,2,4".to_string();
    let number = |text: &str| text.trim().parse::<u8>().ok().filter(|n| (1..=9).contains(n)).ok_or_else(wrong);
    let mut found = Vec::new();
    for part in text.split(',') {
        if let Some((from, to)) = part.split_once('-') {
            let (from, to) = (number(from)?, number(to)?);
            found.extend(from.min(to)..=from.max(to));
        } else {
            found.push(number(part)?);
        }
    }
    found.sort_unstable();
    found.dedup();
    Ok(Strings(found))
}

/// The guitar that the options describe.
pub struct Guitar {
    /// The neck.
    pub neck: Neck,
    /// What is strung on it.
    pub strings: StringSet,
    /// The tuning reference.
    pub a4: A4,
    /// Whether the nut is drawn on the right.
    pub left_handed: bool,
    /// The part that is looked at.
    pub window: Window,
}

/// A part of the neck.
#[derive(Clone, Debug, Default)]
pub struct Window {
    strings: Option<Vec<u8>>,
    frets: Option<(u8, u8)>,
}

impl Window {
    /// Whether a place is in it.
    #[must_use]
    pub fn holds(&self, place: Place) -> bool {
        self.holds_string(place.string) && self.frets.is_none_or(|(first, last)| (first..=last).contains(&place.fret))
    }

    /// Whether a string is in it.
    #[must_use]
    pub fn holds_string(&self, string: u8) -> bool {
        self.strings.as_ref().is_none_or(|strings| strings.contains(&string))
    }

    /// Its first and last fret.
    #[must_use]
    pub fn frets(&self) -> Option<(u8, u8)> {
        self.frets
    }
}

impl Options {
    /// The options of a command that has only a few of them.
    #[must_use]
    pub fn few(tuning: Option<String>, position: Option<u8>, left: bool) -> Self {
        Self { tuning, frets: 22, capo: 0, tuned_down: 0, left, right: false, gauges: None, a4: None, strings: None, position }
    }

    /// With a capo, or tuned lower than it is called.
    #[must_use]
    pub fn fingered(self, capo: u8, tuned_down: u8) -> Self {
        Self { capo, tuned_down, ..self }
    }

    /// The guitar; what is not given comes from the player's settings.
    ///
    /// # Errors
    /// For a tuning, gauges, capo or window that cannot be.
    pub fn guitar(&self) -> Result<Guitar, Failure> {
        let handedness = match (self.left, self.right) {
            (true, _) => Some(Handedness::Left),
            (_, true) => Some(Handedness::Right),
            _ => None,
        };
        let given = Given { a4: self.a4, tuning: self.tuning.clone(), handedness, ..Given::default() };
        let settings = Settings::load(&Environment::of_process(), given, Given::default())?;
        let tuning: Tuning = settings.tuning.value.parse()?;
        let strings = match &self.gauges {
            Some(text) => meant(StringSet::parse(text, &tuning))?,
            None => StringSet::usual(&tuning),
        };
        let neck = meant(
            Neck::new(tuning, self.frets).and_then(|neck| neck.with_capo(self.capo)).and_then(|neck| neck.tuned_down(self.tuned_down)),
        )?;
        if let Some(none) = self.strings.iter().flat_map(|list| &list.0).find(|string| **string > neck.strings()) {
            return Err(WrongUse(format!("--strings {none}: this tuning has {} strings, 1 to {0}", neck.strings())).into());
        }
        let frets = self.position.map(|position| (position.saturating_sub(1), position.saturating_add(4).min(neck.frets())));
        if let Some(position) = self.position.filter(|position| *position > neck.frets()) {
            return Err(WrongUse(format!("--position {position}: the neck ends at fret {}", neck.frets())).into());
        }
        let window = Window { strings: self.strings.as_ref().map(|list| list.0.clone()), frets };
        Ok(Guitar { neck, strings, a4: settings.a4.value, left_handed: settings.handedness.value == Handedness::Left, window })
    }
}
