//! The parts of the score: each error of an attempt in units of what is still right.
//!
//! Factors and weights are common practice, no source.

use super::score::Part;
use super::target::{Meant, counted_error};
use super::{Measures, Standing, Technique, Wish};

/// A drift that still counts as steady, cents a second.
pub(super) const STEADY_CENTS_PER_S: f64 = 10.0;

/// Swings may differ by so many per cent.
pub(super) const UNEVENNESS_PCT: f64 = 20.0;

/// A drawn-out rise is even when it is halfway within this much of half its time, as a share of it (35 to 65 %).
pub(super) const UNEVEN_RISE: f64 = 0.15;

/// A straight part before a vibrato may be shorter or longer by this share of it.
const STRAIGHT_OFF: f64 = 0.5;

/// A length that is short by this share of what was asked for counts like an error at the tolerance.
const MISSING: f64 = 0.25;

/// A vibrato's rate that is off by so many hertz counts like a width that is off by the tolerance.
const RATE_OFF_HZ: f64 = 0.5;

/// An attempt and what was wanted of it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Judged<'a> {
    pub wish: &'a Wish,
    pub meant: &'a Meant,
    pub measures: &'a Measures,
    pub technique: Technique,
    /// The top was only touched.
    pub touched: bool,
    /// How long it was shaken, s; `None` without a vibrato.
    pub shaken_s: Option<f64>,
    /// How far from half its time the rise was halfway, as a share of it; `None` without a rise.
    pub uneven_rise: Option<f64>,
}

impl Judged<'_> {
    /// The tolerance of this attempt's pitch.
    pub fn pitch_tolerance(&self) -> f64 {
        self.wish.tolerance.of_pitch(self.meant.size(), self.touched)
    }

    fn is_curl(&self) -> bool {
        self.meant.size().is_some_and(|size| (size - 50.0).abs() < 1.0)
    }

    /// Pitch error that counts. With a shake asked for, it is that of the straight part before it: the shake has parts of its own.
    pub fn pitch_error(&self) -> Option<f64> {
        let straight = self.wish.parts.shake_centre > 0.0;
        let early = self.measures.arrival_error_cents.filter(|_| straight);
        let error = early.or(self.measures.hold_error_cents);
        error.map(|error| counted_error(self.meant.size(), error))
    }

    /// How far off the note is, in units of what is still right. Over a chord, a note of its scale counts for half at most, and one outside of it not at all:
    /// however true it is, it is not where the bend was to land.
    fn note_error(&self) -> Option<f64> {
        let off = (self.pitch_error()? / self.pitch_tolerance()).abs();
        match self.wish.standing(self.meant.target) {
            Some(Standing::Outside) => None,
            Some(Standing::Scale) => Some(off.max(2.0)),
            Some(Standing::Chord) | None => Some(off),
        }
    }

    /// How far off a shake is, in cents, 0 or more. On a held bend it commonly swings down from the note and back, so its error is the centre
    /// where that is above, else what the centre lies deeper than the half width; on a fretted note its lowest point is the fret (common practice,
    /// no source).
    pub fn shake_off(&self) -> Option<f64> {
        let (centre, extent) = (self.measures.vibrato_centre_cents?, self.measures.vibrato_extent_cents.unwrap_or(0.0));
        Some(match (self.wish.shake_from_fret, centre >= 0.0) {
            (true, _) => (centre - extent).abs(),
            (false, true) => centre,
            (false, false) => (-centre - extent).max(0.0),
        })
    }

    /// How far width and rate of the shake are outside of what was asked for, whichever is further, in units of what is still right.
    fn shake_size(&self) -> Option<f64> {
        let outside = |range: Option<(f64, f64)>, value: f64| range.map_or(0.0, |(low, high)| (low - value).max(value - high).max(0.0));
        let width = outside(self.wish.shake_cents, self.measures.vibrato_extent_cents?) / self.wish.tolerance.cents;
        let rate = self.measures.vibrato_rate_hz.map_or(0.0, |rate| outside(self.wish.shake_hz, rate) / RATE_OFF_HZ);
        Some(width.max(rate))
    }

    /// Home is the fret's own pitch: the landing against the origin as played.
    pub fn release_error(&self) -> Option<f64> {
        Some(self.measures.release_error_cents? - self.measures.origin_error_cents.unwrap_or(0.0))
    }

    /// How far off the beat, ms, from the beat itself or from where the player usually lies, whichever is nearer: a usual lag is a style, and whoever
    /// leaves it for the beat makes no mistake.
    pub fn off_beat_ms(&self) -> Option<f64> {
        let nearer = |late: f64| if (late - self.wish.usual_late_ms).abs() < late.abs() { late - self.wish.usual_late_ms } else { late };
        self.measures.late_ms().map(nearer)
    }

    /// Half of the hold out of tune counts like an error at the tolerance. A curl has a zone and no one pitch to be held.
    fn hold_error(&self) -> Option<f64> {
        let (tuned, held) = self.measures.in_tune_s.zip(self.measures.hold_s)?;
        Some(if held > 0.0 { 2.0 * (1.0 - (tuned / held).min(1.0)) } else { 0.0 })
    }

    /// How much of what was asked for is missing, in units of what is still right.
    fn missing(heard_s: f64, wanted_s: f64) -> f64 {
        (1.0 - heard_s / wanted_s).max(0.0) / MISSING
    }

    /// How much longer than asked for it was straight before the vibrato, in units of what is still right; `None` without a vibrato.
    pub fn straight_off(&self) -> Option<f64> {
        let wanted = self.wish.straight_s.filter(|wanted| *wanted > 0.0)?;
        Some((self.measures.vibrato_delay_s? / wanted - 1.0) / STRAIGHT_OFF)
    }

    /// How much of the vibrato's time is missing, in units of what is still right.
    pub fn shake_missing(&self) -> Option<f64> {
        Some(Self::missing(self.shaken_s.unwrap_or(0.0), self.wish.shaken_s?))
    }

    /// How far off the hold's length is, in units of what is still right; with a shake, that of its straight or its shaken part, whichever is further.
    fn length_error(&self) -> Option<f64> {
        if let Some(missing) = self.shake_missing() {
            return Some(missing.max(self.straight_off().unwrap_or(0.0).abs()));
        }
        let (held, wanted) = (self.measures.held_s().unwrap_or(0.0), self.wish.hold_s?);
        let longest = if self.wish.is_let_down() { f64::INFINITY } else { 0.0 };
        Some(self.wish.hold_within_s.map_or_else(|| Self::missing(held, wanted), |within| ((held - wanted) / within).min(longest)))
    }

    /// All parts that were asked for.
    pub fn parts(&self) -> Vec<Part> {
        let (wish, m) = (self.wish, self.measures);
        let (want, cents) = (&wish.parts, wish.tolerance.cents);
        let mut parts = Vec::new();
        let mut part = |weight: f64, error: Option<f64>| {
            if weight > 0.0 {
                parts.push(Part { weight, error: error.map(f64::abs) });
            }
        };
        part(want.pitch, self.note_error());
        if !self.is_curl() {
            part(want.hold, self.hold_error());
        }
        part(want.length, self.length_error());
        if m.hold_drift_cents_per_s.is_some() || wish.hold_s.is_some() {
            part(want.drift, m.hold_drift_cents_per_s.map(|drift| drift / STEADY_CENTS_PER_S));
        }
        if let Some(longest) = wish.rise_ms {
            part(want.rise, m.rise_ms.map(|rise| (rise / longest - 1.0).max(0.0) * 2.0));
        }
        part(want.evenness, self.uneven_rise.map(|off| off / UNEVEN_RISE));
        if !self.technique.is_pre_bend() {
            part(want.overshoot, m.overshoot_cents.map(|over| over / wish.tolerance.overshoot_cents));
        }
        if wish.arrival_beat_s.is_some() || wish.attack_beat_s.is_some() {
            part(want.beat, self.off_beat_ms().map(|late| late / wish.tolerance.beat_ms));
        }
        if wish.technique.is_some_and(Technique::is_released) || m.release_start_s.is_some() {
            part(want.release, self.release_error().map(|error| error / wish.tolerance.release_cents));
        }
        part(want.restrike, m.restrike_error_cents.map(|error| error / cents));
        part(want.shake_centre, self.shake_off().map(|off| off / self.pitch_tolerance()));
        part(want.shake_evenness, m.vibrato_unevenness_pct.map(|uneven| uneven / UNEVENNESS_PCT));
        if wish.shake_cents.is_some() || wish.shake_hz.is_some() {
            part(want.shake_width, self.shake_size());
        }
        parts
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grading::Parts;
    use crate::grading::score::score;

    /// `hold -10, tuned 0.5`: the number behind a name.
    fn number(played: &str, name: &str) -> Option<f64> {
        let found = played.split(',').find_map(|part| part.trim().strip_prefix(name)?.strip_prefix(' '));
        found.map(|number| number.parse().unwrap())
    }

    fn wish(asked: &str) -> Wish {
        let free = Wish::default();
        match asked {
            _ if asked.starts_with("free, release asked") => Wish { technique: Some(Technique::BendRelease), ..free },
            _ if asked.starts_with("free") => free,
            "quick, within 140 ms" => {
                Wish { rise_ms: Some(140.0), parts: Parts { pitch: 5.0, rise: 3.0, overshoot: 2.0, ..Parts::default() }, ..free }
            }
            "shake of 12 to 35 cents" => {
                let parts = Parts { shake_centre: 3.0, shake_evenness: 3.0, shake_width: 2.0, pitch: 2.0, ..Parts::default() };
                Wish { shake_cents: Some((12.0, 35.0)), parts, ..free }
            }
            "chart" => Wish { arrival_beat_s: Some(1.0), parts: Parts { pitch: 4.0, beat: 4.0, hold: 2.0, ..Parts::default() }, ..free },
            other => panic!("nobody asks for {other}"),
        }
    }

    fn scored(asked: &str, played: &str) -> f64 {
        let number = |name: &str| number(played, name);
        let landing = number("landing");
        let measures = Measures {
            hold_error_cents: number("hold"),
            in_tune_s: number("tuned"),
            hold_s: number("held"),
            hold_drift_cents_per_s: number("drift"),
            origin_error_cents: number("origin"),
            release_start_s: landing.map(|_| 2.0),
            release_error_cents: landing,
            rise_ms: number("rise"),
            overshoot_cents: number("overshoot"),
            vibrato_centre_cents: number("centre"),
            vibrato_extent_cents: number("half"),
            vibrato_unevenness_pct: number("uneven"),
            beat_error_ms: number("late"),
            ..Measures::default()
        };
        let size = if asked.contains("300 cents") {
            300.0
        } else if asked.contains("curl") {
            50.0
        } else {
            200.0
        };
        let meant = Meant { origin: Some(6700.0), target: Some(6700.0 + size), degree: None, guessed: false };
        let technique = Technique::of(false, landing.is_some());
        score(
            &Judged {
                wish: &wish(asked),
                meant: &meant,
                measures: &measures,
                technique,
                touched: false,
                shaken_s: None,
                uneven_rise: None,
            }
            .parts(),
        )
        .unwrap()
    }

    #[test]
    fn a_usual_lag_is_taken_off_and_whoever_leaves_it_for_the_beat_makes_no_mistake() {
        let off = |late_ms: f64, usual_late_ms: f64| {
            let wish = Wish { usual_late_ms, ..wish("chart") };
            let measures = Measures { beat_error_ms: Some(late_ms), ..Measures::default() };
            let meant = Meant { origin: None, target: None, degree: None, guessed: false };
            let technique = Technique::of(false, false);
            let (touched, shaken_s, uneven_rise) = (false, None, None);
            Judged { wish: &wish, meant: &meant, measures: &measures, technique, touched, shaken_s, uneven_rise }.off_beat_ms().unwrap()
        };
        for (late, usual, right) in [(55.0, 50.0, 5.0), (2.0, 50.0, 2.0), (-30.0, 50.0, -30.0), (120.0, 60.0, 60.0), (-70.0, -60.0, -10.0)]
        {
            assert!((off(late, usual) - right).abs() < 1e-9, "{late} ms late, usually {usual}: {}", off(late, usual));
        }
    }

    /// `0.8^(4/8) * 0.5^(3/8)`, worked out.
    fn product(by_hand: &str) -> f64 {
        let power = |factor: &str| {
            let (base, exponent) = factor.trim().split_once('^').unwrap();
            let (over, under) = exponent.trim_matches(['(', ')']).split_once('/').unwrap();
            base.parse::<f64>().unwrap().powf(over.parse::<f64>().unwrap() / under.parse::<f64>().unwrap())
        };
        100.0 * by_hand.split('*').map(power).product::<f64>()
    }

    #[test]
    fn the_attempts_graded_by_hand_get_the_scores_that_stand_there() {
        let lines: Vec<&str> = include_str!("by_hand.md").lines().filter(|line| line.contains("->")).collect();
        assert_eq!(lines.len(), 12);
        for line in lines {
            let mut parts = line.split("->").map(str::trim);
            let (attempt, by_hand, stands) = (parts.next().unwrap(), parts.next().unwrap(), parts.next().unwrap());
            let (asked, played) = attempt.split_once(". ").unwrap().1.split_once(": ").unwrap();
            assert_eq!(format!("{:.1}", product(by_hand)), stands, "by hand: {line}");
            assert_eq!(format!("{:.1}", scored(asked, played)), stands, "by landfall: {line}");
        }
    }
}
