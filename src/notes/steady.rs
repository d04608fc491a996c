//! The sustained pitch of a ringing string: a slow, robust average with its uncertainty.
//!
//! # Conventions
//!
//! - A note begins with a stroke (the tracker reads no pitch around one), or where five readings in a row agree on another pitch. It ends after
//!   [`GAP_S`] without pitch. Single readings that stray are left out.
//! - The average is taken over a stretch that reaches from the newest reading back as far as the pitch stands still, [`LONGEST_S`] at most: the
//!   medians of its older and its newer half, `m1` and `m2`, are at most [`STILL_CENTS`] apart, or two standard errors of their difference.
//! - Drift is `m2 − m1` over half of the stretch, cents a second. The average is the median of the readings, each carried along the drift to the
//!   newest, so that it says where the string is and not where it was.
//! - Uncertainty: `2 · 2 · 1.253 · s / √n + |m2 − m1| / 4`, at least [`LEAST_UNCERTAINTY_CENTS`]: two standard errors of a median (1.253 times that
//!   of a mean, for normal scatter), twice as much at a line's end as in its middle, and a quarter of what the pitch moved, since no string drifts
//!   along a line. `s` is 1.4826 times the median distance of the carried readings from their median, `n` the number of readings that share
//!   nothing: one each [`SHARED_S`]. What a stiff string's pitch is by definition (see [`crate::pitch`]) is not part of it.
//! - A struck string is sharp at first and glides home: in the first [`OLD_S`] what it may still fall is said beside the uncertainty, so that both
//!   cover the pitch that the string comes to rest at. That is [`GLIDE_S`] of the fall that is measured, and [`UNSEEN_GLIDE_CENTS`] that dies away, since a
//!   glide may stand still for a moment. On 22 recorded notes it had 0.1 to 0.5 s of its fall to go after 0.2 s, and at most 10 cents.

use super::statistics::median;
use crate::pitch::Reading;
use crate::units::{A4, FrameTime, SampleRate};
use std::collections::VecDeque;

/// Without a pitch for so long, the note has ended, s.
pub const GAP_S: f64 = 0.1;
/// The longest stretch that is averaged, s.
pub const LONGEST_S: f64 = 0.8;
/// The halves of a stretch that stands still are at most so far apart, cents.
pub const STILL_CENTS: f64 = 1.0;
/// No average is said to be more certain than this, cents.
pub const LEAST_UNCERTAINTY_CENTS: f64 = 0.1;
/// Readings so far apart share little of what was heard: half of the tracker's window, s.
pub const SHARED_S: f64 = 0.07;

/// An average is said five times a second, the first one when so much has been heard, s.
const FIRST_S: f64 = 0.05;
const EVERY_S: f64 = 0.2;
/// Readings further from the ones before are set aside, cents.
const STRAY_CENTS: f64 = 35.0;
/// So many readings in a row that were set aside and agree are another note.
const ANOTHER: usize = 5;
/// Lengths of stretch that are tried, in readings of about 10 ms, longest first.
const LENGTHS: [usize; 9] = [75, 54, 40, 29, 21, 15, 11, 8, 5];
/// A string's pitch has settled when it moves by less than this, cents a second, over a stretch of [`SETTLED_S`].
const SETTLED_DRIFT: f64 = 4.0;
const SETTLED_S: f64 = 0.25;
/// After so long a note counts as settled however it moves, s.
pub const OLD_S: f64 = 1.5;
/// A string that glides home goes on falling as it does for so long, s.
pub const GLIDE_S: f64 = 0.4;
/// And by so much more than its fall says, cents, of which there is a part e less after each `UNSEEN_GLIDE_S`.
pub const UNSEEN_GLIDE_CENTS: f64 = 3.0;
const UNSEEN_GLIDE_S: f64 = 0.4;

/// What the string says now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steady {
    /// Notes of the take so far, this one included.
    pub note: u32,
    /// The instant of the newest reading.
    pub at: FrameTime,
    /// The last sample that was needed.
    pub ready: FrameTime,
    /// The average, in cents on the MIDI scale.
    pub cents: f64,
    /// Give or take so many cents; see the module.
    pub uncertainty_cents: f64,
    /// How far the string may still glide before it rests; see the module.
    pub still_to_fall_cents: f64,
    /// How the pitch moves, cents a second.
    pub drift_cents_per_s: f64,
    /// Length of the stretch that was averaged, s.
    pub stretch_s: f64,
    /// How long the note has been read, s.
    pub age_s: f64,
}

impl Steady {
    /// A settled average of one note, for tests.
    #[cfg(test)]
    pub(crate) fn settled(note: u32, cents: f64) -> Self {
        Self {
            note,
            at: FrameTime(0),
            ready: FrameTime(0),
            cents,
            uncertainty_cents: 0.3,
            still_to_fall_cents: 0.0,
            drift_cents_per_s: 0.0,
            stretch_s: 0.8,
            age_s: 1.0,
        }
    }

    /// Within so many cents of the average lies the pitch at which the string comes to rest.
    #[must_use]
    pub fn give_or_take_cents(&self) -> f64 {
        self.uncertainty_cents + self.still_to_fall_cents
    }

    /// Whether the attack's sharpness has gone: the pitch moves by less than 4 cents a second, or has sounded for one and a half.
    #[must_use]
    pub fn has_settled(&self) -> bool {
        self.age_s >= OLD_S || (self.stretch_s >= SETTLED_S && self.drift_cents_per_s.abs() < SETTLED_DRIFT)
    }
}

/// What a reading made known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sustain {
    /// An average.
    Steady(Steady),
    /// The note is no longer heard.
    Ended,
}

/// Averages the readings of one take.
#[derive(Debug)]
pub struct SteadyReader {
    rate: SampleRate,
    a4: A4,
    notes: u32,
    /// Instants and cents of the note that sounds.
    readings: VecDeque<(FrameTime, f64)>,
    /// What was set aside since the last reading that fitted.
    strays: Vec<(FrameTime, f64)>,
    began: FrameTime,
    said: Option<FrameTime>,
}

impl SteadyReader {
    /// For a take at a rate, in cents against a reference.
    #[must_use]
    pub fn new(rate: SampleRate, a4: A4) -> Self {
        Self { rate, a4, notes: 0, readings: VecDeque::new(), strays: Vec::new(), began: FrameTime(0), said: None }
    }

    /// Takes the next reading.
    pub fn hear(&mut self, reading: &Reading) -> Option<Sustain> {
        let Some(hz) = reading.hz() else { return self.nothing(reading.at) };
        let new = (reading.at, self.a4.cents(hz));
        if self.readings.back().is_some_and(|last| self.seconds(last.0, reading.at) > GAP_S) {
            self.end();
        }
        self.sort_in(new);
        let last = self.readings.back()?;
        let heard = self.seconds(self.began, last.0);
        let due = match self.said {
            None => heard >= FIRST_S,
            Some(said) => self.seconds(said, reading.at) >= EVERY_S,
        };
        if !due || !self.strays.is_empty() {
            return None;
        }
        let steady = self.average(reading.ready)?;
        if self.said.is_none() {
            self.notes += 1;
        }
        self.said = Some(reading.at);
        Some(Sustain::Steady(Steady { note: self.notes, ..steady }))
    }

    fn nothing(&mut self, at: FrameTime) -> Option<Sustain> {
        let last = self.readings.back()?;
        if self.seconds(last.0, at) <= GAP_S {
            return None;
        }
        let was_said = self.said.is_some();
        self.end();
        was_said.then_some(Sustain::Ended)
    }

    fn end(&mut self) {
        self.readings.clear();
        self.strays.clear();
        self.said = None;
    }

    fn seconds(&self, from: FrameTime, to: FrameTime) -> f64 {
        to.since(from).seconds(self.rate)
    }

    fn sort_in(&mut self, new: (FrameTime, f64)) {
        let near: Vec<f64> = self.readings.iter().rev().take(5).map(|reading| reading.1).collect();
        if median(&near).is_none_or(|middle| (new.1 - middle).abs() <= STRAY_CENTS) {
            self.strays.clear();
            self.push(new);
            return;
        }
        if self.strays.last().is_some_and(|last| (new.1 - last.1).abs() > STRAY_CENTS) {
            self.strays.clear();
        }
        self.strays.push(new);
        if self.strays.len() >= ANOTHER {
            let another = std::mem::take(&mut self.strays);
            self.end();
            for reading in another {
                self.push(reading);
            }
        }
    }

    fn push(&mut self, new: (FrameTime, f64)) {
        if self.readings.is_empty() {
            self.began = new.0;
        }
        self.readings.push_back(new);
        while self.readings.front().is_some_and(|first| self.seconds(first.0, new.0) > LONGEST_S) {
            self.readings.pop_front();
        }
    }

    fn average(&self, ready: FrameTime) -> Option<Steady> {
        let newest = self.readings.back()?;
        let all = self.readings.len();
        let lengths = std::iter::once(all).chain(LENGTHS).filter(|length| (LENGTHS[8]..=all).contains(length));
        let mut found = None;
        for length in lengths {
            let stretch: Vec<(f64, f64)> =
                self.readings.iter().skip(all - length).map(|reading| (self.seconds(reading.0, newest.0), reading.1)).collect();
            let span = stretch[0].0;
            let line = Line::through(&stretch)?;
            let drift = if span > 0.0 { line.moved / (span / 2.0) } else { 0.0 };
            let age_s = self.seconds(self.began, newest.0);
            found = Some(Steady {
                note: self.notes,
                at: newest.0,
                ready,
                cents: line.cents,
                uncertainty_cents: (4.0 * line.error + line.moved.abs() / 4.0).max(LEAST_UNCERTAINTY_CENTS),
                still_to_fall_cents: still_to_fall(drift, age_s),
                drift_cents_per_s: drift,
                stretch_s: span,
                age_s,
            });
            // Each half has half of the readings: the error of the difference is twice that of the whole.
            if line.moved.abs() <= STILL_CENTS.max(4.0 * line.error) {
                break;
            }
        }
        found
    }
}

/// How far a struck string may still glide, cents.
fn still_to_fall(drift_cents_per_s: f64, age_s: f64) -> f64 {
    if age_s >= OLD_S {
        return 0.0;
    }
    GLIDE_S * (-drift_cents_per_s).max(0.0) + UNSEEN_GLIDE_CENTS * (-age_s / UNSEEN_GLIDE_S).exp()
}

/// A robust line through a stretch.
struct Line {
    /// From the median of the older half to that of the newer.
    moved: f64,
    /// At the newest reading.
    cents: f64,
    /// Standard error of the median of all readings.
    error: f64,
}

impl Line {
    /// Through (seconds ago, cents), oldest first.
    fn through(stretch: &[(f64, f64)]) -> Option<Self> {
        let (older, newer) = stretch.split_at(stretch.len() / 2);
        let middle = |part: &[(f64, f64)]| median(&part.iter().map(|reading| reading.1).collect::<Vec<_>>());
        let moved = middle(newer)? - middle(older)?;
        let span = stretch.first()?.0;
        let drift = if span > 0.0 { moved / (span / 2.0) } else { 0.0 };
        let carried: Vec<f64> = stretch.iter().map(|(ago, cents)| cents + drift * ago).collect();
        let cents = median(&carried)?;
        let distances: Vec<f64> = carried.iter().map(|value| (value - cents).abs()).collect();
        let error = 1.253 * 1.4826 * median(&distances)? / (span / SHARED_S).max(1.0).sqrt();
        Some(Self { moved, cents, error })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Sounding;
    use proptest::prelude::*;

    const HOP: u64 = 512;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    fn reading(hop: u64, cents: Option<f64>) -> Reading {
        let sounding = cents.map_or(Sounding::Unpitched, |cents| Sounding::Pitched { hz: A4::default().hz_of(cents), clarity: 0.99 });
        Reading { at: FrameTime(hop * HOP), ready: FrameTime(hop * HOP + 4000), level_dbfs: Some(-20.0), sounding }
    }

    fn heard(pitches: impl IntoIterator<Item = Option<f64>>) -> Vec<Sustain> {
        let mut reader = SteadyReader::new(rate(), A4::default());
        (0..).zip(pitches).filter_map(|(hop, cents)| reader.hear(&reading(hop, cents))).collect()
    }

    fn last(said: &[Sustain]) -> Steady {
        let steady = said.iter().rev().find_map(|said| if let Sustain::Steady(steady) = said { Some(*steady) } else { None });
        steady.expect("an average was said")
    }

    #[test]
    fn the_first_average_comes_after_five_hundredths_and_then_five_a_second() {
        let said = heard((0..200).map(|_| Some(4000.0)));
        let at: Vec<u64> = said.iter().map(|said| if let Sustain::Steady(steady) = said { steady.at.0 / HOP } else { 0 }).collect();
        assert_eq!(at, [5, 24, 43, 62, 81, 100, 119, 138, 157, 176, 195]);
        assert!(last(&said).uncertainty_cents <= LEAST_UNCERTAINTY_CENTS);
    }

    #[test]
    fn a_single_stray_reading_changes_nothing() {
        let said = heard((0..60).map(|hop| Some(if hop == 30 { 5200.0 } else { 4000.0 })));
        assert_eq!((last(&said).cents, last(&said).note), (4000.0, 1));
    }

    #[test]
    fn another_pitch_without_a_stroke_is_another_note() {
        let said = heard((0..80).map(|hop| Some(if hop < 40 { 4000.0 } else { 4500.0 })));
        assert_eq!((last(&said).cents, last(&said).note), (4500.0, 2));
    }

    #[test]
    fn a_short_hole_is_bridged_and_a_long_one_ends_the_note() {
        let with_hole = |hole: u64| heard((0..100).map(move |hop| (!(40..40 + hole).contains(&hop)).then_some(4000.0)));
        assert_eq!(last(&with_hole(8)).note, 1);
        assert!(!with_hole(8).contains(&Sustain::Ended));
        assert_eq!(last(&with_hole(11)).note, 2);
        assert_eq!(with_hole(11).iter().filter(|said| **said == Sustain::Ended).count(), 1);
    }

    #[test]
    fn a_sharp_attack_is_not_settled_until_it_has_gone() {
        // Ten cents sharp, gone with a time constant of 0.3 s.
        let said = heard((0..200).map(|hop| Some(4000.0 + 10.0 * (-f64::from(hop) * 0.010_667 / 0.3).exp())));
        let Sustain::Steady(first) = said[0] else { panic!() };
        assert!(!first.has_settled() && first.drift_cents_per_s < -10.0);
        for said in &said {
            let Sustain::Steady(steady) = said else { panic!() };
            assert!((steady.cents - 4000.0).abs() <= steady.give_or_take_cents(), "it comes to rest outside of {steady:?}");
        }
        assert!(last(&said).has_settled() && (last(&said).cents - 4000.0).abs() < 0.5);
        let settled = said.iter().find_map(|said| if let Sustain::Steady(s) = said { s.has_settled().then_some(*s) } else { None });
        assert!((settled.unwrap().cents - 4000.0).abs() < 2.5, "{settled:?}");
    }

    proptest! {
        #[test]
        fn whatever_is_heard_nothing_panics_and_uncertainty_is_positive(
            pitches in prop::collection::vec(prop::option::weighted(0.9, 2000.0..9000.0_f64), 0..300),
        ) {
            for said in heard(pitches) {
                if let Sustain::Steady(steady) = said {
                    prop_assert!(steady.uncertainty_cents >= LEAST_UNCERTAINTY_CENTS && steady.cents.is_finite());
                    prop_assert!(steady.stretch_s <= LONGEST_S + 0.02);
                }
            }
        }

        #[test]
        fn of_scattered_readings_the_average_lies_within_its_uncertainty(
            scatter in 0.1..8.0_f64,
            noise in prop::collection::vec(-1.0..1.0_f64, 150),
        ) {
            let steady = last(&heard(noise.iter().map(|noise| Some(5000.0 + scatter * noise))));
            prop_assert!((steady.cents - 5000.0).abs() <= 1.5 * steady.uncertainty_cents, "{steady:?}");
        }

        #[test]
        fn a_transposed_note_is_averaged_to_the_same_place(shift in -1000.0..1000.0_f64, pitches in prop::collection::vec(4990.0..5010.0_f64, 20..100)) {
            let here = last(&heard(pitches.iter().copied().map(Some)));
            let there = last(&heard(pitches.iter().map(|cents| Some(cents + shift))));
            prop_assert!((there.cents - here.cents - shift).abs() < 1e-6);
            prop_assert!((there.uncertainty_cents - here.uncertainty_cents).abs() < 1e-6);
        }
    }
}
