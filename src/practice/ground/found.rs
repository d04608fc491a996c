//! Places that the theory of the neck finds.

use super::super::parameters::DrillError;
use super::super::plan::Step;
use super::Ground;
use super::steps::Spot;
use crate::theory::bend::{ease, line_degree};
use crate::theory::{Chord, Ease, Key, Note, Place, bends};

/// Frets that are bent at, and fretted notes are asked for at, unless something else was asked for.
const FRETS: std::ops::RangeInclusive<u8> = 5..=15;
/// So many bends into tones of a chord are walked through, at most.
const MOST_IN_A_WALK: usize = 12;

impl Ground {
    /// Whether a bend lies well: plain strings 1 to 3, frets 5 to 15, unless other strings or two steps were asked for.
    fn lies_well(&self, ease: Ease, place: Place) -> bool {
        let rare = self.sizes().contains(&400) && place.string <= 3 && (7..=15).contains(&place.fret);
        ease == Ease::Easy || self.values.contains_key("strings") && ease <= Ease::Hard || rare
    }

    /// Bends of the sizes wanted into tones of a chord, the easiest first.
    fn reaching(&self, chord: &Chord, sizes: &[u32], degrees: Option<&[u8]>) -> Vec<Spot> {
        let wanted = |number: u8| degrees.map_or(number <= 5, |degrees| degrees.contains(&number));
        let scale = self.scale();
        let found = bends(&self.neck, &self.strings, chord, scale.as_ref(), sizes).into_iter();
        let found = found.filter(|bend| self.lies_well(bend.ease, bend.place) && self.is_allowed(bend.place) && wanted(bend.degree.number));
        let spot = |bend: crate::theory::Bend| Spot {
            origin: Some(bend.origin),
            target: Some(bend.target),
            ..Spot::at(bend.place, bend.cents, Some(chord.clone()))
        };
        let curls = if wanted(3) && sizes.contains(&50) { self.curls(chord) } else { Vec::new() };
        found.map(spot).chain(curls).collect()
    }

    /// Quarter curls: from the b3 over the chord, which is not corrected to 3.
    fn curls(&self, chord: &Chord) -> Vec<Spot> {
        let third = (chord.root().class() + 3).rem_euclid(12);
        let places = self.neck.places().filter(|place| FRETS.contains(&place.fret) && self.is_allowed(*place));
        let places = places.filter(|place| self.neck.midi(*place).rem_euclid(12) == third && self.is_in_key(*place, 50));
        places.map(|place| Spot::at(place, 50, Some(chord.clone()))).collect()
    }

    /// How a place lies for a bend: its ease, then the force; less is better. `None` where it is not to be used.
    fn rank(&self, place: Place, cents: u32) -> Option<(Ease, f64)> {
        if place.fret == 0 || !self.is_allowed(place) || !self.is_in_key(place, cents) {
            return None;
        }
        let ease = ease(&self.neck, &self.strings, place, cents);
        let force = self.strings.push(&self.neck, place, f64::from(cents)).map_or(f64::INFINITY, |push| push.newtons);
        self.lies_well(ease, place).then_some((ease, force))
    }

    /// Places at which bends of all sizes lie well, the easiest first, of equally easy ones one on each string first; for notes that are not bent (0 cents)
    /// those nearest to the drill's own places.
    pub(super) fn others(&self, sizes: &[u32], own: &[(Place, u32)]) -> Result<Vec<Place>, DrillError> {
        if sizes == [0] {
            let middle = own.iter().map(|(place, _)| i32::from(place.fret)).sum::<i32>() / own.len().max(1) as i32;
            let mut places: Vec<Place> = self.frettable().collect();
            places.sort_by_key(|place| (i32::from(place.fret) - middle).abs());
            return if places.is_empty() { Err(self.nothing(&[], None)) } else { Ok(places) };
        }
        let all = |place: Place| {
            let ranks = sizes.iter().map(|cents| self.rank(place, *cents)).collect::<Option<Vec<_>>>()?;
            let worst = ranks.iter().map(|(ease, _)| *ease).max()?;
            Some((worst, ranks.iter().map(|(_, force)| force).sum::<f64>(), place))
        };
        let mut found: Vec<(Ease, f64, Place)> = self.neck.places().filter_map(all).collect();
        found.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.cmp(&b.2)));
        let alike = |at: usize| found[..at].iter().filter(|one| one.0 == found[at].0 && one.2.string == found[at].2.string).count();
        let mut ranked: Vec<(Ease, usize, Place)> = (0..found.len()).map(|at| (found[at].0, alike(at), found[at].2)).collect();
        ranked.sort_by_key(|(ease, nth, _)| (*ease, *nth));
        if ranked.is_empty() { Err(self.nothing(sizes, None)) } else { Ok(ranked.into_iter().map(|(.., place)| place).collect()) }
    }

    /// Bends within the key, the easiest first: `neck --bends` ranks alike.
    fn within_key(&self, sizes: &[u32]) -> Vec<Spot> {
        let ranked = |place: Place| sizes.iter().filter_map(move |cents| Some((self.rank(place, *cents)?, *cents, place)));
        let mut found: Vec<((Ease, f64), u32, Place)> = self.neck.places().flat_map(ranked).collect();
        found.sort_by(|a, b| a.0.0.cmp(&b.0.0).then(a.1.cmp(&b.1)).then(a.0.1.total_cmp(&b.0.1)).then(a.2.cmp(&b.2)));
        found.into_iter().map(|(_, cents, place)| Spot::at(place, cents, None)).collect()
    }

    /// Degrees that were asked for are tones of the chord that they are asked of.
    fn has_degrees(&self, chord: &Chord) -> Result<(), DrillError> {
        let Some(none) = self.degrees().into_iter().flatten().find(|number| chord.tone(*number).is_none()) else { return Ok(()) };
        let tones: Vec<String> = chord.tones().iter().map(|tone| tone.degree.to_string()).collect();
        Err(self.no_degrees(format!("{chord} has no {none}, only {}", tones.join(" "))))
    }

    fn no_degrees(&self, wanted: String) -> DrillError {
        DrillError::Value { name: "degrees".to_owned(), found: self.text("degrees").unwrap_or_default().to_owned(), wanted }
    }

    /// Bends for as many attempts as are wanted, each at its place, nothing asked for yet but the pitch.
    ///
    /// # Errors
    /// When no place fits.
    pub fn bends(&self) -> Result<Vec<Step>, DrillError> {
        let (chord, degrees) = (self.chord(), self.degrees());
        if self.values.contains_key("places") {
            if degrees.is_some() {
                return Err(self.no_degrees("the places say which notes are reached; leave one of the two out".to_owned()));
            }
            let spots: Vec<Spot> = self.pairs().into_iter().map(|(place, cents)| Spot::at(place, cents, chord.clone())).collect();
            return self.laid_out(&spots);
        }
        let sizes = self.sizes();
        let found = match &chord {
            Some(chord) => {
                self.has_degrees(chord)?;
                self.reaching(chord, &sizes, degrees.as_deref())
            }
            None if degrees.is_some() => return Err(self.no_degrees("they are tones of a chord; name one with --chord".to_owned())),
            None => self.within_key(&sizes),
        };
        if found.is_empty() {
            return Err(self.nothing(&sizes, chord.as_ref().map(Chord::symbol)));
        }
        self.laid_out(&self.walk(found))
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
        chords.iter().try_for_each(|chord| self.has_degrees(chord))?;
        let count = self.number("attempts").map(|attempts| attempts as usize);
        let rounds = count.map_or(rounds, |count| count.div_ceil((chords.len() * degrees.len()).max(1)));
        let mut spots: Vec<Spot> = Vec::new();
        for _ in 0..rounds {
            for chord in chords {
                for degree in &degrees {
                    let found = self.reaching(chord, &sizes, Some(&[*degree]));
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
                    spots.push(near.ok_or_else(|| self.nothing(&sizes, Some(&format!("the {degree} of {chord}"))))?);
                }
            }
        }
        spots.truncate(count.unwrap_or(spots.len()));
        self.steps(&spots)
    }

    /// Easy bends that reach one note, `most` at most.
    ///
    /// # Errors
    /// When there are none.
    pub fn bends_to(&self, target: Note, most: usize) -> Result<Vec<Step>, DrillError> {
        let (mut sizes, chord) = (self.sizes(), self.chord());
        sizes.sort_unstable();
        sizes.dedup();
        let below = |spot: &(Place, u32)| self.neck.midi(spot.0) + (spot.1 / 100) as i32 == target.midi() && self.is_in_key(spot.0, spot.1);
        let all = self.neck.places().filter(|place| self.is_allowed(*place) && FRETS.contains(&place.fret));
        let all = all.flat_map(|place| sizes.iter().map(move |cents| (place, *cents))).filter(below);
        let spot = |(place, cents)| Spot { target: Some(target), ..Spot::at(place, cents, chord.clone()) };
        let mut spots: Vec<Spot> = all.map(spot).collect();
        spots.sort_by_key(|spot| (spot.place.string, spot.cents));
        spots.truncate(most);
        if spots.is_empty() {
            return Err(self.nothing(&sizes, Some(&target.to_string())));
        }
        self.laid_out(&spots)
    }

    /// Places to fret a note at.
    fn frettable(&self) -> impl Iterator<Item = Place> + '_ {
        self.neck.places().filter(|place| FRETS.contains(&place.fret) && self.is_allowed(*place) && self.is_in_key(*place, 0))
    }

    /// Notes to fret: at the places that are named, else tones of the chord or notes of the key.
    ///
    /// # Errors
    /// When none lies there.
    pub fn notes(&self) -> Result<Vec<Step>, DrillError> {
        let chord = self.chord();
        let spot = |place: Place| Spot::at(place, 0, chord.clone());
        if self.values.contains_key("places") {
            let spots: Vec<Spot> = self.pairs().into_iter().map(|(place, _)| spot(place)).collect();
            return self.laid_out(&spots);
        }
        let tone = |place: &Place| chord.as_ref().is_none_or(|chord| chord.degree_of_pitch(self.neck.midi(*place)).is_some());
        let mut spots: Vec<Spot> = self.frettable().filter(tone).map(spot).collect();
        if spots.is_empty() {
            return Err(self.nothing(&[], chord.as_ref().map(Chord::symbol)));
        }
        self.shuffle(&mut spots);
        self.laid_out(&spots)
    }

    /// From easiest-first to a walk through the tones: the easiest bend into each, then the next into each; where each is asked for so many times, the
    /// easiest alone.
    fn walk(&self, spots: Vec<Spot>) -> Vec<Spot> {
        let tone = |spot: &Spot| (self.neck.midi(spot.place) + (spot.cents / 100) as i32).rem_euclid(12);
        let rank: Vec<usize> =
            (0..spots.len()).map(|at| spots[..at].iter().filter(|other| tone(other) == tone(&spots[at])).count()).collect();
        let mut ranked: Vec<(usize, Spot)> = rank.into_iter().zip(spots).collect();
        ranked.sort_by_key(|(rank, _)| *rank);
        let easiest = self.number("each").is_some_and(|each| each > 0.0);
        let mut walk: Vec<Spot> =
            ranked.into_iter().filter(|(rank, _)| !easiest || *rank == 0).take(MOST_IN_A_WALK).map(|(_, spot)| spot).collect();
        if self.text("seed").is_some() {
            self.shuffle(&mut walk);
        }
        walk
    }

    /// The place over the chord of the note that a quarter curl starts from, where it is the b3: a curl has none of its own.
    pub(super) fn curled_degree(chord: &Chord, origin: Note) -> Option<String> {
        let is_third = origin.midi().rem_euclid(12) == (chord.root().class() + 3).rem_euclid(12);
        is_third.then(|| line_degree(chord, origin).to_string())
    }
}
