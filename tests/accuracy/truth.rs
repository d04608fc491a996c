//! What is true of a take, however it is known: the pitch at every millisecond, and the row that each bend should have.

use landfall::grading::Technique;
use landfall::units::SampleRate;

/// The band around a settled pitch, cents.
pub const BAND: f64 = 10.0;

/// A take and what is true of it.
pub struct Piece {
    pub name: String,
    /// Nothing but the guitar sounds, without distortion.
    pub clean: bool,
    pub rate: SampleRate,
    pub samples: Vec<f32>,
    pub pitch: Curve,
    pub bends: Vec<Bend>,
    /// Instants of picked notes, s.
    pub strokes: Vec<f64>,
}

/// The true row of one bend. Pitches are cents on the MIDI scale, times are seconds; an instant is known to lie between two.
#[derive(Clone, Debug)]
pub struct Bend {
    pub technique: Technique,
    pub attack: (f64, f64),
    /// `None` for a bend before the attack.
    pub start: Option<f64>,
    /// What the definition gives: the level and the instant lean on each other, so it may give two.
    pub arrival: (f64, f64),
    pub held: f64,
    pub hold_end: f64,
    /// Height of the top above the hold where it was pushed over; `None` where it was not.
    pub overshoot: Option<f64>,
    pub release_start: Option<f64>,
    pub landing: Option<f64>,
    pub picked_again: bool,
    /// Swings a second, and half width in cents.
    pub vibrato: Option<(f64, f64)>,
}

/// Pitch in cents every millisecond, and where it may be judged.
pub struct Curve {
    pub cents: Vec<Option<f64>>,
    /// Not in the first 60 ms after an attack, not in the last 20 ms of a note, not on the way between two frets.
    pub judged: Vec<bool>,
}

impl Curve {
    /// A curve that may be judged nowhere yet.
    pub fn new(cents: Vec<Option<f64>>) -> Self {
        Self { judged: vec![false; cents.len()], cents }
    }

    /// May be judged from a note's attack to its end.
    pub fn judge(&mut self, attack: f64, end: f64) {
        self.mark(attack + 0.06, end - 0.02, true);
    }

    /// May not be judged here.
    pub fn leave_out(&mut self, from: f64, until: f64) {
        self.mark(from, until, false);
    }

    fn mark(&mut self, from: f64, until: f64, judged: bool) {
        let index = |seconds: f64| (seconds.max(0.0) * 1000.0).round() as usize;
        for at in index(from)..index(until).min(self.judged.len()) {
            self.judged[at] = judged;
        }
    }

    /// The pitch at an instant; `None` where no note sounds.
    pub fn at(&self, seconds: f64) -> Option<f64> {
        let place = seconds * 1000.0;
        let before = place.floor();
        let at = |index: f64| self.cents.get(index as usize).copied().flatten();
        let (a, b) = (at(before)?, at(before + 1.0)?);
        Some(a + (b - a) * (place - before))
    }

    /// The pitch at an instant that may be judged, and whether it moves faster than 30 cents a second there.
    pub fn judged_at(&self, seconds: f64) -> Option<(f64, bool)> {
        if !self.judged.get((seconds * 1000.0).round() as usize).is_some_and(|judged| *judged) {
            return None;
        }
        let slope = (self.at(seconds + 0.02)? - self.at((seconds - 0.02).max(0.0))?) / 0.04;
        Some((self.at(seconds)?, slope.abs() >= 30.0))
    }

    /// The first instant in the stretch from which the pitch stays near the level for 50 ms, or to its end.
    pub fn first_to_stay(&self, from: f64, until: f64, level: f64) -> Option<f64> {
        let near = |t: f64| self.at(t).is_none_or(|cents| (cents - level).abs() <= BAND);
        millis(from, until).find(|&t| self.at(t).is_some() && millis(t, (t + 0.05).min(until)).all(near))
    }

    /// The last instant from `from` on before which every pitch fits.
    pub fn last_while(&self, from: f64, until: f64, fits: impl Fn(f64) -> bool) -> f64 {
        millis(from, until).take_while(|&t| self.at(t).is_some_and(&fits)).last().unwrap_or(from)
    }

    /// The arrival at a level that is beyond doubt, and at the level that the definition names: the median of the 150 ms after the arrival.
    pub fn arrival(&self, push: f64, hold_end: f64, beyond_doubt: f64) -> (f64, f64) {
        let first = self.first_to_stay(push, hold_end, beyond_doubt).expect("a bend arrives");
        let early = median(self.between(first, (first + 0.15).min(hold_end)));
        let second = self.first_to_stay(push, hold_end, early).unwrap_or(first);
        // Further apart, it is another arrival.
        if (first - second).abs() < 0.025 { (first.min(second), first.max(second)) } else { (first, first) }
    }

    /// All pitches between two instants.
    pub fn between(&self, from: f64, until: f64) -> Vec<f64> {
        let index = |seconds: f64| ((seconds.max(0.0) * 1000.0).round() as usize).min(self.cents.len());
        self.cents[index(from)..index(until).max(index(from))].iter().copied().flatten().collect()
    }
}

fn millis(from: f64, until: f64) -> impl Iterator<Item = f64> {
    (0..).map(move |k| from + 0.001 * f64::from(k)).take_while(move |t| *t < until)
}

/// The middle of all values.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().expect("a median of something")
}
