//! How late the band comes back, and how that moves: two clocks drift apart, and a card that stumbles goes on elsewhere.

use crate::notes::statistics::median;
use crate::units::SampleRate;
use std::collections::VecDeque;

/// So many frames, where what is played moves most, are looked at.
const LOUDEST: usize = 2000;

/// Places this near to where they are expected are the same, frames: the mask's own filter reaches them.
const SAME_LAG: f64 = 3.0;

/// Along a drift, frames: what was learnt from the beginning on is in step within this.
const ON_THE_LINE: f64 = 0.25;

/// How far the best place stands out of all others, in their root mean square; those beside it are not looked at: a click is a tone, and is like itself a
/// period away.
const STANDS_OUT: f64 = 6.0;
const BESIDE_S: f64 = 0.03125;

/// Half of the frames that a sample between two frames is made of.
pub const HALF: usize = 8;

/// A drift rests on so many places at least, and on so many of late.
const ENOUGH: usize = 3;
const OF_LATE: usize = 24;

/// A slower drift is none: it is the certainty of a place over the time that a drift rests on, frames.
const UNSURE: f64 = 0.3;

/// Crystals are better than this; a steeper line is a mistake.
const STEEPEST: f64 = 1e-3;

/// The lag over the frames of a take.
#[derive(Clone, Debug, Default)]
pub struct Lag {
    /// Frame of the take, and how late the band was heard there, frames.
    points: VecDeque<(i64, f64)>,
    /// Lag at frame 0, and frames that it grows by with each frame; whole and 0 while no drift is told.
    line: Option<(f64, f64)>,
    astray: usize,
}

impl Lag {
    /// Whether the band was found at all.
    #[must_use]
    pub fn is_known(&self) -> bool {
        self.line.is_some()
    }

    /// Whether two clocks drift apart.
    #[must_use]
    pub fn drifts(&self) -> bool {
        self.line.is_some_and(|(_, slope)| slope != 0.0)
    }

    /// How many frames later than expected the band is heard at a frame of the take; 0 while it is not known.
    #[must_use]
    pub fn at(&self, frame: i64) -> f64 {
        self.line.map_or(0.0, |(offset, slope)| if slope == 0.0 { offset } else { offset + slope * frame as f64 })
    }

    /// The band was found around a frame. Whether it is elsewhere than was thought, so that what was learnt there is of no use.
    pub fn take_in(&mut self, frame: i64, found: f64, rate: SampleRate) -> bool {
        let expected = self.at(frame);
        let known = self.is_known();
        let drifts = self.points.len() < ENOUGH && (found - expected).abs() < STEEPEST * rate.as_f64() * 1.5 * ENOUGH as f64;
        if known && (found - expected).abs() > SAME_LAG && !drifts {
            // One place far away may be a mistake of the ear; two are a stumble.
            self.astray += 1;
            if self.astray < 2 {
                return false;
            }
            self.points.clear();
        }
        self.astray = 0;
        if self.points.len() == OF_LATE {
            self.points.pop_front();
        }
        self.points.push_back((frame, found));
        let before = self.line;
        let slope = self.slope();
        let line = match (before, slope) {
            (Some((offset, old)), None) if old == 0.0 && (found - offset).abs() <= SAME_LAG => (offset, 0.0),
            (_, None) => (found.round(), 0.0),
            (_, Some(slope)) => {
                let offsets: Vec<f64> = self.points.iter().map(|(at, lag)| lag - slope * *at as f64).collect();
                (median(&offsets).unwrap_or(found), slope)
            }
        };
        self.line = Some(line);
        // A line that is drawn a little better is no other place; where clocks drift, all that was learnt lies along the line.
        let same = if line.1 == 0.0 { SAME_LAG } else { ON_THE_LINE };
        !known || (self.at(frame) - expected).abs() > same || before.is_some_and(|(_, old)| (old == 0.0) != (line.1 == 0.0))
    }

    /// Frames a frame (Theil and Sen: the median of all slopes); `None` where there is no drift.
    fn slope(&self) -> Option<f64> {
        if self.points.len() < ENOUGH {
            return None;
        }
        let pairs =
            self.points.iter().enumerate().flat_map(|(n, a)| self.points.iter().skip(n + 1).map(move |b| (b.1 - a.1) / (b.0 - a.0) as f64));
        let slope = median(&pairs.collect::<Vec<_>>())?.clamp(-STEEPEST, STEEPEST);
        let (first, last) = (self.points.front()?, self.points.back()?);
        (slope.abs() * (last.0 - first.0) as f64 > UNSURE * 2.0).then_some(slope)
    }
}

/// A sound between two of its frames, at least [`HALF`] frames from its ends: sines over their arguments under a raised cosine.
pub fn at_place(place: f64, frame: impl Fn(usize) -> f32) -> f32 {
    let (whole, part) = (place.floor() as usize, place.fract());
    if part == 0.0 {
        return frame(whole);
    }
    let weight = |away: f64| {
        let angle = std::f64::consts::PI * away;
        if away.abs() < 1e-9 { 1.0 } else { angle.sin() / angle * (0.5 + 0.5 * (angle / HALF as f64).cos()) }
    };
    let tap = |tap: usize| f64::from(frame(whole + tap + 1 - HALF)) * weight(part + (HALF - 1) as f64 - tap as f64);
    (0..2 * HALF).map(tap).sum::<f64>() as f32
}

/// What is looked at to find the lag: the same frames of both sides, the played one already moved by what is expected.
#[derive(Default)]
pub struct Search {
    heard: Vec<f32>,
    played: Vec<f32>,
    middle: i64,
}

impl Search {
    /// Around a lag that is expected.
    #[must_use]
    pub fn around(middle: i64) -> Self {
        Self { middle, ..Self::default() }
    }

    /// The lag that is expected.
    #[must_use]
    pub fn middle(&self) -> i64 {
        self.middle
    }

    /// Frames noted.
    #[must_use]
    pub fn len(&self) -> usize {
        self.heard.len()
    }

    /// Whether nothing was noted.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.heard.is_empty()
    }

    /// One frame of both.
    pub fn note(&mut self, heard: f32, played: f32) {
        self.heard.push(heard);
        self.played.push(played);
    }

    /// Both sides in step, for a band that comes back so many frames late at each place: the played one so far ahead.
    pub fn in_step(&self, lag: impl Fn(i64) -> f64, ahead: usize) -> impl Iterator<Item = (f32, f32)> {
        let ahead = (ahead as i64 + self.middle) as f64;
        let last = self.played.len() as f64 - HALF as f64 - 1.0;
        let pair = move |(index, heard): (usize, &f32)| {
            let place = index as f64 + ahead - lag(index as i64);
            (HALF as f64..=last).contains(&place).then(|| (*heard, at_place(place, |frame| self.played[frame])))
        };
        self.heard.iter().enumerate().filter_map(pair)
    }

    /// Where the played side is found in the heard one, up to `most` frames from what is expected: the highest cross-correlation of both, differenced, between frames by
    /// a parabola. `None` where no place stands out.
    #[must_use]
    pub fn lag(&self, most: usize, rate: SampleRate) -> Option<f64> {
        let differences = |samples: &[f32]| samples.windows(2).map(|pair| pair[1] - pair[0]).collect::<Vec<f32>>();
        let (heard, played) = (differences(&self.heard), differences(&self.played));
        let inside = most..played.len().saturating_sub(most);
        let mut loud: Vec<usize> = inside.filter(|&n| played[n] != 0.0).collect();
        loud.sort_by(|&a, &b| played[b].abs().total_cmp(&played[a].abs()));
        loud.truncate(LOUDEST);
        let like = |lag: usize| loud.iter().map(|&n| f64::from(played[n]) * f64::from(heard[n + lag - most])).sum::<f64>();
        let likeness: Vec<f64> = (0..=2 * most).map(like).collect();
        let (best, height) = likeness.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        // Some others are left wherever the best place is.
        let beside = (rate.span(BESIDE_S).0 as usize).min(2 * most / 3);
        let others: Vec<f64> =
            likeness.iter().enumerate().filter(|(at, _)| at.abs_diff(best) > beside).map(|(_, like)| like * like).collect();
        if others.is_empty() {
            return None;
        }
        let spread = (others.iter().sum::<f64>() / others.len() as f64).sqrt();
        let whole = best as f64 - most as f64 + self.middle as f64;
        let next_to = |at: Option<usize>| at.and_then(|at| likeness.get(at)).map_or(0.0, |like| like * height.signum());
        let (before, after) = (next_to(best.checked_sub(1)), next_to(Some(best + 1)));
        let bend = before - 2.0 * height.abs() + after;
        let part = if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        (height.abs() > STANDS_OUT * spread && *height != 0.0).then_some(whole + part)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 48_000;
    const APART: i64 = 62_000;

    fn after(found: &[f64]) -> (Lag, Vec<bool>) {
        let mut lag = Lag::default();
        let rate = SampleRate::new(RATE).unwrap();
        let anew = (1..).zip(found).map(|(n, found)| lag.take_in(n * APART, *found, rate)).collect();
        (lag, anew)
    }

    #[test]
    fn a_sine_is_the_same_between_its_frames() {
        let sine = |at: f64| (at * 0.3).sin();
        for place in [20.0, 20.1, 33.5, 40.97] {
            let found = f64::from(at_place(place, |frame| sine(frame as f64) as f32));
            assert!((found - sine(place)).abs() < 2e-3, "{found} at {place}");
        }
    }

    #[test]
    fn one_clock_keeps_a_whole_lag() {
        let (lag, anew) = after(&[137.1, 136.9, 137.05, 136.95, 137.0, 137.1, 136.9]);
        assert_eq!(lag.at(1_000_000).to_bits(), 137.0_f64.to_bits());
        assert_eq!(anew, [true, false, false, false, false, false, false]);
    }

    #[test]
    fn two_clocks_are_told_from_a_few_places_and_followed() {
        for ppm in [-150.0, -20.0, 20.0, 150.0] {
            let place = |n: f64| 40.0 + n * APART as f64 * ppm * 1e-6;
            let (lag, _) = after(&(1..=8).map(|n| place(f64::from(n)) + 0.05 * f64::from(n % 2)).collect::<Vec<_>>());
            for n in [8, 20] {
                let off = lag.at(n * APART) - place(n as f64);
                assert!(off.abs() < 0.4, "{ppm}: {off} frames off at place {n}");
            }
        }
    }

    #[test]
    fn a_stumble_is_another_place_and_one_mistake_is_none() {
        let (lag, anew) = after(&[10.0, 10.0, 10.0, 10.0, 900.0, 10.0, 10.0]);
        assert!((lag.at(0) - 10.0).abs() < 1e-9 && anew[1..].iter().all(|anew| !anew));
        let (lag, anew) = after(&[10.0, 10.0, 10.0, 10.0, 500.0, 500.0]);
        assert!((lag.at(0) - 500.0).abs() < 1e-9 && anew == [true, false, false, false, false, true]);
    }
}
