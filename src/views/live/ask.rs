//! What to play, in plain words.

use crate::grading::{Technique, nearest_midi};
use crate::practice::plan::{NEAR_CENTS, OTHER_FRET_CENTS};
use crate::theory::Note;
use crate::views::paragraph::cut;

/// What is asked for. What is left open is up to the player.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ask {
    /// String (1 the highest) and fret.
    pub place: Option<(u8, u8)>,
    /// The fretted note, in cents on the MIDI scale, and its name.
    pub origin: Option<(f64, String)>,
    /// Another fretted pitch that does as well, cents on the MIDI scale: the one that was planned, where the bend was made smaller.
    pub also_from_cents: Option<f64>,
    /// The note to reach, in cents on the MIDI scale, and its name.
    pub target: Option<(f64, String)>,
    /// How far, in cents.
    pub bend_cents: Option<f64>,
    /// Which gesture.
    pub technique: Option<Technique>,
    /// The chord of the moment.
    pub chord: Option<String>,
    /// The target's place in it.
    pub degree: Option<String>,
    /// How long to hold, in seconds.
    pub hold_s: Option<f64>,
    /// What is done at the top, where a drill changes it from bend to bend.
    pub then: Option<&'static str>,
    /// A fretted note, not bent.
    pub plain: bool,
    /// How far is not told: the ear finds it.
    pub by_ear: bool,
}

impl Ask {
    /// Where the rules stand before anything was heard.
    pub(super) fn aim(&self) -> Option<(f64, f64)> {
        // A note that is not bent stands on the upper rule, two frets over the lower one.
        if let Some((cents, _)) = self.origin.as_ref().filter(|_| self.plain) {
            return Some((cents - 200.0, *cents));
        }
        if self.by_ear {
            return None;
        }
        let origin = self.origin.as_ref().map(|(cents, _)| *cents);
        let target = self.target.as_ref().map(|(cents, _)| *cents);
        let far = self.bend_cents;
        let origin = origin.or_else(|| Some(target? - far?))?;
        Some((origin, target.or_else(|| Some(origin + far?))?))
    }

    /// Semitones from what is fingered to what sounds: the name is that of what is fingered, the pitch what sounds.
    pub(super) fn sounds_higher(&self) -> i32 {
        let fretted = self.origin.as_ref().and_then(|(cents, name)| Some((*cents, name.parse::<Note>().ok()?)));
        fretted.map_or(0, |(cents, note)| nearest_midi(cents) - note.midi())
    }

    /// Whether a bend from and to these pitches (cents on the MIDI scale) is none that was asked for: it starts from another fret, or without a
    /// place neither starts nor ends where it should.
    pub(super) fn is_another(&self, origin_cents: f64, target_cents: f64) -> bool {
        let off = |asked: Option<&(f64, String)>, heard: f64, most: f64| asked.is_some_and(|(cents, _)| (cents - heard).abs() > most);
        let elsewhere = |most: f64| {
            let planned = self.also_from_cents.is_some_and(|cents| (cents - origin_cents).abs() <= most);
            off(self.origin.as_ref(), origin_cents, most) && !planned
        };
        self.place.is_some() && elsewhere(OTHER_FRET_CENTS) || elsewhere(NEAR_CENTS) && off(self.target.as_ref(), target_cents, NEAR_CENTS)
    }

    /// The large word on another note: the one that was asked for, or that it is another.
    #[must_use]
    pub(super) fn another_word(&self) -> String {
        let asked = self.origin.as_ref().map(|(_, name)| format!("not {name}"));
        asked.filter(|word| word.chars().count() <= 8).unwrap_or_else(|| "other".to_owned())
    }

    /// How far, in one word for the large letters.
    #[must_use]
    pub fn size_word(&self) -> Option<&'static str> {
        if self.by_ear || self.plain {
            return None;
        }
        match self.bend_cents?.round() as i64 {
            50 => Some("quarter"),
            100 => Some("half"),
            200 => Some("whole"),
            300 => Some("1 1/2"),
            400 => Some("2 steps"),
            _ => None,
        }
    }

    /// How far, in words.
    #[must_use]
    pub fn size(&self) -> Option<String> {
        let cents = self.bend_cents?.round();
        Some(match cents as i64 {
            50 => "a quarter tone".to_owned(),
            100 => "a half step".to_owned(),
            200 => "a whole step".to_owned(),
            300 => "one and a half steps".to_owned(),
            400 => "two steps".to_owned(),
            _ => format!("{cents} cents"),
        })
    }

    /// One sentence: what to do, where, how far, from which note to which.
    #[must_use]
    pub fn sentence(&self) -> String {
        self.said(true, true)
    }

    /// The same in so many columns: the size goes first, since it stands large on the page and follows from the notes; then the place becomes
    /// `2/8`, string and fret; the notes stay longest.
    #[must_use]
    pub fn sentence_within(&self, columns: usize) -> String {
        let forms = [(true, true), (true, false), (false, false)].map(|(long, size)| self.said(long, size));
        let fitting = forms.iter().find(|form| form.chars().count() <= columns);
        fitting.cloned().unwrap_or_else(|| cut(&forms[2], columns))
    }

    fn said(&self, long_place: bool, with_size: bool) -> String {
        let pre_bend = self.technique.is_some_and(Technique::is_pre_bend);
        let place =
            self.place.map(|(string, fret)| if long_place { format!("string {string}, fret {fret}") } else { format!("{string}/{fret}") });
        if self.plain {
            let note = self.origin.as_ref().map(|(_, name)| format!(": {name}")).unwrap_or_default();
            let then = self.then.map(|then| format!(", and {then}")).unwrap_or_default();
            return format!("Fret {}{note}{then}", place.unwrap_or_else(|| "the note".to_owned()));
        }
        if self.by_ear {
            return format!("Bend {} to the note that you heard", place.unwrap_or_else(|| "any note".to_owned()));
        }
        let what = match (place, pre_bend) {
            (Some(place), false) => format!("Bend {place}"),
            (Some(place), true) => format!("Bend first, then pick {place}"),
            (None, false) => "Bend any note".to_owned(),
            (None, true) => "Bend any note first, then pick it".to_owned(),
        };
        let size = self.size().filter(|_| with_size || self.target.is_none()).map(|size| format!(", {size} up")).unwrap_or_default();
        let notes = match (&self.origin, &self.target) {
            (Some((_, origin)), Some((_, target))) => format!(": {origin} to {target}"),
            (None, Some((_, target))) => format!(" to {target}"),
            (_, None) => String::new(),
        };
        let home = if self.technique.is_some_and(Technique::is_released) { Some("let it down") } else { None };
        let then = self.then.or(home).map(|then| format!(", and {then}")).unwrap_or_default();
        format!("{what}{size}{notes}{then}")
    }

    /// The chord and the target's place in it.
    #[must_use]
    pub fn harmony(&self) -> Option<String> {
        let chord = self.chord.as_ref()?;
        Some(self.degree.as_ref().map_or_else(|| chord.clone(), |degree| format!("{chord}: the {degree}")))
    }
}
