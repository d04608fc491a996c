//! Where on the neck a drill is played: the places that the player named, or those that the theory of the neck finds.

use super::parameters::{self, DrillError, Given};
use super::plan::{Gesture, Hear, Step};
use super::stage::{Numbers, Stage};
use crate::grading::{Parts, Technique, Tolerance};
use crate::theory::bend::size_name;
use crate::theory::{Chord, Ease, Key, Neck, Note, Place, Scale, StringSet, Tuning, bends};

/// A drill's values, settled: given ones stand over the kind's own.
pub struct Ground {
    given: Given,
    defaults: Given,
    /// The numbers of the player's stage, its tolerance replaced where another was set.
    pub numbers: Numbers,
    /// The neck.
    pub neck: Neck,
    strings: StringSet,
}

/// A place, how far to bend there, and what for.
#[derive(Clone, Debug)]
struct Spot {
    place: Place,
    cents: u32,
    origin: Option<Note>,
    target: Option<Note>,
    chord: Option<Chord>,
}

impl Ground {
    /// Settles a drill's values. `given` must have been checked.
    ///
    /// # Errors
    /// When the neck cannot be.
    pub fn new(given: Given, defaults: Given, stage: Stage, tolerance_cents: Option<f64>) -> Result<Self, DrillError> {
        let mut numbers = stage.numbers();
        if let Some(cents) = tolerance_cents.filter(|cents| (cents - numbers.tolerance.cents).abs() > 1e-9) {
            numbers.tolerance = Tolerance { beat_ms: numbers.tolerance.beat_ms, ..Tolerance::of_cents(cents) };
        }
        let text = |name: &str| given.get(name).or_else(|| defaults.get(name)).map(String::as_str);
        let number = |name: &str, usual: u8| text(name).and_then(|text| text.parse().ok()).unwrap_or(usual);
        let wrong = |error: crate::theory::TheoryError| DrillError::NoPlace(error.to_string());
        let tuning = text("tuning").map_or(Ok(Tuning::standard()), str::parse).map_err(wrong)?;
        let strings = StringSet::usual(&tuning);
        let neck = Neck::new(tuning, number("frets", 22)).and_then(|neck| neck.with_capo(number("capo", 0))).map_err(wrong)?;
        let neck = neck.tuned_down(number("tuned-down", 0)).map_err(wrong)?;
        Ok(Self { given, defaults, numbers, neck, strings })
    }

    /// A value as text: given, or the kind's own.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<&str> {
        self.given.get(name).or_else(|| self.defaults.get(name)).map(String::as_str)
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

    /// The chord: the one named, else the key's own.
    #[must_use]
    pub fn chord(&self) -> Option<Chord> {
        let of_key = || {
            let key = self.text("key")?.parse::<Key>().ok()?;
            Chord::parse(&format!("{}{}", key.tonic(), if key.is_minor() { "m" } else { "" })).ok()
        };
        // A key that was given stands over a chord that was not.
        let own = || self.defaults.get("chord").and_then(|text| Chord::parse(text).ok());
        self.given.get("chord").and_then(|text| Chord::parse(text).ok()).or_else(of_key).or_else(own)
    }

    fn scale(&self) -> Option<Scale> {
        self.text("key")?.parse::<Key>().ok().map(Key::scale)
    }

    fn sizes(&self) -> Vec<u32> {
        self.text("sizes").and_then(|text| parameters::sizes(text).ok()).unwrap_or_else(|| vec![200])
    }

    /// The places that stand fixed: those given, or the kind's own where nothing about the neck or the harmony was given.
    fn fixed_places(&self) -> Option<Vec<Place>> {
        let free = ["chord", "chords", "key", "position", "strings", "tuning", "target"].iter().any(|name| self.given.contains_key(*name));
        let own = self.defaults.get("places").filter(|_| !free);
        self.given.get("places").or(own).and_then(|text| parameters::places(text).ok())
    }

    fn is_allowed(&self, place: Place) -> bool {
        let strings = self.text("strings").and_then(|text| parameters::strings(text).ok()).unwrap_or_else(|| vec![1, 2, 3]);
        let near = self.number("position").is_none_or(|position| {
            let fret = f64::from(place.fret);
            fret >= position - 1.0 && fret <= position + 4.0
        });
        strings.contains(&place.string) && near
    }

    /// Bends of the sizes wanted into tones of a chord, the easiest first: plain strings 1 to 3, frets 5 to 15 unless asked for otherwise.
    fn found(&self, chord: &Chord, sizes: &[u32], degrees: Option<&[u8]>) -> Vec<Spot> {
        let asked_strings = self.given.contains_key("strings");
        let asked_rare = self.given.contains_key("sizes") && sizes.contains(&400);
        let good = |ease: Ease, place: Place| {
            ease == Ease::Easy || asked_strings && ease <= Ease::Hard || asked_rare && place.string <= 3 && (7..=15).contains(&place.fret)
        };
        let strong = |number: u8| degrees.map_or(number <= 5, |degrees| degrees.contains(&number));
        let scale = self.scale();
        bends(&self.neck, &self.strings, chord, scale.as_ref(), sizes)
            .into_iter()
            .filter(|bend| good(bend.ease, bend.place) && self.is_allowed(bend.place) && strong(bend.degree.number))
            .map(|bend| Spot {
                place: bend.place,
                cents: bend.cents,
                origin: Some(bend.origin),
                target: Some(bend.target),
                chord: Some(chord.clone()),
            })
            .chain(self.curls(chord, sizes))
            .collect()
    }

    /// Quarter curls: from the b3 over the chord, which is not corrected to 3.
    fn curls(&self, chord: &Chord, sizes: &[u32]) -> Vec<Spot> {
        if !sizes.contains(&50) {
            return Vec::new();
        }
        let third = (chord.root().class() + 3).rem_euclid(12);
        let places = self.neck.places().filter(|place| (5..=15).contains(&place.fret) && self.is_allowed(*place));
        places
            .filter(|place| self.neck.midi(*place).rem_euclid(12) == third)
            .map(|place| Spot { place, cents: 50, origin: None, target: None, chord: Some(chord.clone()) })
            .collect()
    }

    fn nothing(&self, sizes: &[u32], what: &str) -> DrillError {
        let sizes: Vec<String> = sizes.iter().map(|cents| size_name(*cents)).collect();
        let strings = self.text("strings").unwrap_or("1-3");
        let near = self.text("position").map_or_else(String::new, |position| format!(" around fret {position}"));
        DrillError::NoPlace(format!(
            "no bend ({}) into {what} lies easily on strings {strings}{near}; choose another --position, --strings or --chord, or name --set places=2/8",
            sizes.join(", ")
        ))
    }

    /// Bends for as many attempts as are wanted, each at its place, nothing asked for yet but the pitch.
    ///
    /// # Errors
    /// When no place fits.
    pub fn bends(&self) -> Result<Vec<Step>, DrillError> {
        let sizes = self.sizes();
        let count = self.number_or("attempts", f64::from(self.numbers.set)) as usize;
        let Some(places) = self.fixed_places() else {
            let chord = self.chord().or_else(|| Chord::parse("Dm").ok()).ok_or_else(|| self.nothing(&sizes, "a chord"))?;
            let degrees = self.degrees();
            let mut found = self.found(&chord, &sizes, degrees.as_deref());
            if found.is_empty() {
                return Err(self.nothing(&sizes, chord.symbol()));
            }
            self.vary(&mut found);
            let mut spots: Vec<Spot> = found.iter().cycle().take(count).cloned().collect();
            if self.text("order") == Some("shuffled") {
                self.shuffle(&mut spots);
            }
            return self.finished(&spots);
        };
        let spot = |(place, cents): (Place, u32)| Spot { place, cents, origin: None, target: None, chord: self.chord_given() };
        let all: Vec<(Place, u32)> = if self.text("order") == Some("paired") {
            places.iter().copied().zip(sizes.iter().copied().cycle()).collect()
        } else {
            places.iter().flat_map(|place| sizes.iter().map(|cents| (*place, *cents))).collect()
        };
        let each = self.number("each").filter(|each| *each > 0.0 && !self.given.contains_key("attempts"));
        let count = each.map_or(count, |each| each as usize * all.len());
        let mut spots: Vec<Spot> = if self.text("order") == Some("blocks") {
            let each = count.div_ceil(all.len());
            all.iter().flat_map(|one| std::iter::repeat_n(*one, each)).take(count).map(spot).collect()
        } else {
            all.iter().copied().cycle().take(count).map(spot).collect()
        };
        if self.text("order") == Some("shuffled") {
            self.shuffle(&mut spots);
        }
        self.finished(&spots)
    }

    /// One bend into each wanted tone of each chord in turn, near to the one before; where no key was given, from notes of the key that the chords
    /// are taken to be in, as far as they reach.
    ///
    /// # Errors
    /// When a chord has none within reach.
    pub fn bends_into(&self, chords: &[Chord], rounds: usize) -> Result<Vec<Step>, DrillError> {
        let sizes = self.sizes();
        let degrees = self.degrees().unwrap_or_else(|| vec![3]);
        let guessed = || Key::guess(&chords.iter().collect::<Vec<_>>()).map(Key::scale);
        let scale = self.scale().or_else(guessed);
        let mut spots: Vec<Spot> = Vec::new();
        for _ in 0..rounds {
            for chord in chords {
                for degree in &degrees {
                    let found = self.found(chord, &sizes, Some(&[*degree]));
                    let away = |spot: &Spot| {
                        let last = spots.last().map_or(8, |last| last.place.fret);
                        (spot.place.fret.abs_diff(last), spot.place.string)
                    };
                    let inside = |spot: &&Spot| scale.is_none_or(|scale| scale.contains(self.neck.midi(spot.place)));
                    let spelled = |spot: &Spot| Spot {
                        origin: scale.and_then(|scale| scale.spell(self.neck.midi(spot.place))).or(spot.origin),
                        ..spot.clone()
                    };
                    let near = found.iter().filter(inside).min_by_key(|spot| away(spot)).map(spelled);
                    let near = near.or_else(|| found.iter().min_by_key(|spot| away(spot)).cloned());
                    spots.push(near.ok_or_else(|| self.nothing(&sizes, &format!("the {degree} of {chord}")))?);
                }
            }
        }
        self.finished(&spots)
    }

    /// Every easy bend that reaches one note, the easiest first.
    ///
    /// # Errors
    /// When there are none.
    pub fn bends_to(&self, target: Note, most: usize) -> Result<Vec<Step>, DrillError> {
        let sizes = &self.sizes();
        let below = |spot: &(Place, u32)| self.neck.midi(spot.0) + (spot.1 / 100) as i32 == target.midi();
        let all = self.neck.places().filter(|place| self.is_allowed(*place) && (5..=15).contains(&place.fret));
        let all = all.flat_map(|place| sizes.iter().map(move |cents| (place, *cents))).filter(below);
        let mut spots: Vec<Spot> =
            all.map(|(place, cents)| Spot { place, cents, origin: None, target: Some(target), chord: self.chord_given() }).collect();
        spots.sort_by_key(|spot| (spot.place.string, spot.cents));
        spots.truncate(most);
        if spots.is_empty() {
            return Err(self.nothing(sizes, &target.to_string()));
        }
        let count = self.number_or("attempts", f64::from(self.numbers.set)) as usize;
        let spots: Vec<Spot> = spots.iter().cycle().take(count).cloned().collect();
        self.finished(&spots)
    }

    /// Notes to fret: tones of the chord, or those at the fixed places.
    ///
    /// # Errors
    /// When none lies there.
    pub fn notes(&self) -> Result<Vec<Step>, DrillError> {
        let chord = self.chord();
        let reach = |place: &Place| (5..=15).contains(&place.fret) && self.is_allowed(*place);
        let tone = |place: &Place| chord.as_ref().is_none_or(|chord| chord.degree_of_pitch(self.neck.midi(*place)).is_some());
        let places = self.fixed_places().unwrap_or_else(|| self.neck.places().filter(|place| reach(place) && tone(place)).collect());
        let mut spots: Vec<Spot> =
            places.iter().map(|place| Spot { place: *place, cents: 0, origin: None, target: None, chord: chord.clone() }).collect();
        if spots.is_empty() {
            return Err(self.nothing(&[], "a fretted note"));
        }
        if self.fixed_places().is_none() {
            self.shuffle(&mut spots);
        }
        let count = self.number_or("attempts", f64::from(self.numbers.set)) as usize;
        let spots: Vec<Spot> = spots.iter().cycle().take(count).cloned().collect();
        self.finished(&spots)
    }

    /// The one note to reach, where one was given.
    #[must_use]
    pub fn target(&self) -> Option<Note> {
        self.text("target")?.parse().ok()
    }

    fn degrees(&self) -> Option<Vec<u8>> {
        let text = self.text("degrees")?;
        Some(parameters::words(text).filter_map(|word| word.parse().ok()).collect())
    }

    fn chord_given(&self) -> Option<Chord> {
        self.given.get("chord").and_then(|text| Chord::parse(text).ok())
    }

    /// From easiest-first to a walk through the tones: the easiest bend into each, then the next into each.
    fn vary(&self, spots: &mut Vec<Spot>) {
        let tone = |spot: &Spot| (self.neck.midi(spot.place) + (spot.cents / 100) as i32).rem_euclid(12);
        let rank: Vec<usize> =
            (0..spots.len()).map(|at| spots[..at].iter().filter(|other| tone(other) == tone(&spots[at])).count()).collect();
        let mut ranked: Vec<(usize, Spot)> = rank.into_iter().zip(spots.drain(..)).collect();
        ranked.sort_by_key(|(rank, _)| *rank);
        spots.extend(ranked.into_iter().take(12).map(|(_, spot)| spot));
        if self.text("seed").is_some() {
            self.shuffle(spots);
        }
    }

    /// The same order for the same seed (SplitMix64: Steele, Lea and Flood, OOPSLA 2014; constants from memory).
    fn shuffle<T>(&self, all: &mut [T]) {
        let mut state = self.number_or("seed", 1.0) as u64;
        let mut random = move || {
            state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = state;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            z ^ (z >> 31)
        };
        for last in (1..all.len()).rev() {
            all.swap(last, (random() % (last as u64 + 1)) as usize);
        }
    }

    fn finished(&self, spots: &[Spot]) -> Result<Vec<Step>, DrillError> {
        spots.iter().map(|spot| self.step(spot)).collect()
    }

    fn step(&self, spot: &Spot) -> Result<Step, DrillError> {
        let Place { string, fret } = spot.place;
        if string > self.neck.strings() || fret > self.neck.frets() {
            let (strings, frets) = (self.neck.strings(), self.neck.frets());
            return Err(DrillError::NoPlace(format!(
                "there is no string {string}, fret {fret} on this neck of {strings} strings and {frets} frets"
            )));
        }
        let midi = self.neck.midi(spot.place);
        let reached = midi + (f64::from(spot.cents) / 100.0).round() as i32;
        let chord = spot.chord.as_ref();
        let spelled = |midi: i32| {
            let tone = chord.and_then(|chord| chord.tone_of_pitch(midi)).and_then(|tone| tone.name.at(midi));
            tone.or_else(|| self.scale().and_then(|scale| scale.spell(midi))).unwrap_or_else(|| Note::usual(midi))
        };
        let heard = |note: Note| self.neck.sounding_note(note).to_string();
        Ok(Step {
            place: Some(spot.place),
            origin: heard(spot.origin.unwrap_or_else(|| spelled(midi))),
            target: heard(spot.target.unwrap_or_else(|| spelled(reached))),
            origin_cents: 100.0 * f64::from(self.neck.sounding(spot.place)),
            bend_cents: f64::from(spot.cents),
            chord: chord.map(|chord| chord.symbol().to_owned()),
            degree: chord.and_then(|chord| chord.degree_of_pitch(reached)).map(|degree| degree.to_string()),
            gesture: if spot.cents == 0 { Gesture::Plain } else { Gesture::Bend(Technique::Bend) },
            restrike: false,
            hold_s: None,
            rise_ms: None,
            beats: None,
            shake: None,
            unseen: false,
            by_ear: false,
            hear: Hear::Nothing,
            parts: Parts { pitch: 1.0, ..Parts::default() },
            tolerance: self.numbers.tolerance,
        })
    }
}
