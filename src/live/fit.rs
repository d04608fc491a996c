//! When which frame of a stream passes: a straight line through what its callbacks say.

use crate::notes::statistics::median;
use crate::units::SampleRate;
use std::collections::VecDeque;

/// Stamps of so many seconds become one point.
const POINT_S: f64 = 0.5;
/// Points that the line rests on: a minute, over which crystals are steady.
const POINTS: usize = 120;
/// Fewer points say nothing of a drift.
const ENOUGH: usize = 6;
/// A crystal is mostly within this of its rate, or of the other stream's drift, once that is known, since both mostly hang on one crystal; seconds a second (common practice,
/// no source).
const USUAL: f64 = 100e-6;
/// Stamps mostly scatter by so much, s (measured on a quiet machine), and this counts like so many points: what is expected of them before anything is known.
const USUAL_SCATTER_S: f64 = 0.3e-3;
const USUAL_COUNT: f64 = 2.0;
/// Crystals are better than this, seconds a second; a steeper line is a mistake.
const STEEPEST: f64 = 1e-3;
/// While a stream starts its stamps are unsteady, s.
const STARTING_S: f64 = 0.25;
/// They may be off by 2 ms for so long, s (measured behind a sound server): as soon as there are so many other points, they are left out.
const UNSETTLED_S: f64 = 1.0;
const OTHERS: usize = 3;
/// One in so many of a point's stamps may be astray at either end, and one in so many points: what is left of them says where they lie.
const STAMPS_ASTRAY: usize = 5;
const POINTS_ASTRAY: usize = 10;
/// Stamps before a first answer.
const FIRST: usize = 8;
/// Two points in a row this far off the line are no accident: the stream has skipped, s.
const SKIPPED_S: f64 = 0.004;

/// Half a second of stamps: where they lie, and how far their times are from frame / rate.
#[derive(Clone, Copy, Debug)]
struct Point {
    frame: f64,
    low: f64,
    middle: f64,
    high: f64,
}

impl Point {
    fn of(stamps: &[(f64, f64)]) -> Self {
        let frame = stamps.iter().map(|(frame, _)| frame).sum::<f64>() / stamps.len() as f64;
        let mut off: Vec<f64> = stamps.iter().map(|(_, off)| *off).collect();
        off.sort_by(f64::total_cmp);
        let ends = off.len() / STAMPS_ASTRAY;
        Self { frame, low: off[ends], middle: off[off.len() / 2], high: off[off.len() - 1 - ends] }
    }
}

/// How far the time of a frame is from frame / rate: the drift in seconds a frame, and the offset at frame 0.
type Line = (f64, f64);

/// The time of each frame of one stream: a straight line through its stamps, in seconds on any clock.
///
/// Its slope is that of a least-squares line through the points' middles, drawn towards what is expected while it is not sure of itself (ridge regression, Hoerl and
/// Kennard 1970, Technometrics 12; the penalty is the scatter of the points over that of crystals, each squared). It lies halfway between the highest and the lowest
/// points: a server that hands over its own blocks in callbacks of another length lets the stamps wander between two bounds, one callback apart, for a second or more
/// at a time, and their mean with them.
#[derive(Clone, Debug)]
pub struct Fit {
    rate: f64,
    /// Frame, and how far its time is from frame / rate.
    fresh: Vec<(f64, f64)>,
    points: VecDeque<Point>,
    line: Option<Line>,
    /// The line that held before the stream skipped last, and the frame up to which it did: what was before the skip stays where it was.
    former: Option<(f64, Line)>,
    /// The slope that is expected, s a frame.
    expected: f64,
    /// How sure the slope is of itself, from 0 to 1.
    certainty: f64,
    astray: usize,
}

impl Fit {
    /// For a stream that calls itself `rate`.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let (fresh, points) = (Vec::new(), VecDeque::new());
        Self { rate: rate.as_f64(), fresh, points, line: None, former: None, expected: 0.0, certainty: 0.0, astray: 0 }
    }

    /// One stamp, in order.
    pub fn add(&mut self, frame: u64, at_s: f64) {
        let frame = frame as f64;
        if frame < STARTING_S * self.rate {
            return;
        }
        if self.fresh.first().is_some_and(|(first, _)| frame - first >= POINT_S * self.rate) {
            self.close_point();
        }
        self.fresh.push((frame, at_s - frame / self.rate));
        if self.points.is_empty() && self.fresh.len() >= FIRST {
            self.line = Some((self.expected, Point::of(&self.fresh).middle - self.expected * frame));
        }
    }

    /// What its drift is taken for while it does not know itself: seconds a second, positive where frames come late.
    pub fn expect(&mut self, drift: f64) {
        self.expected = drift / self.rate;
    }

    /// Its drift as far as it is sure of it, seconds a second, and how sure it is, from 0 to 1.
    #[must_use]
    pub fn drift(&self) -> (f64, f64) {
        (self.line.map_or(0.0, |(slope, _)| slope * self.rate), self.certainty)
    }

    /// When a frame passes.
    #[must_use]
    pub fn seconds(&self, frame: f64) -> Option<f64> {
        let former = self.former.filter(|(until, _)| frame < *until).map(|(_, line)| line);
        former.or(self.line).map(|(slope, offset)| frame / self.rate + slope * frame + offset)
    }

    /// The frame that passes then; the last one before a skip while the stream stood still.
    #[must_use]
    pub fn frame(&self, at_s: f64) -> Option<f64> {
        let on = |(slope, offset): Line| (at_s - offset) / (1.0 / self.rate + slope);
        let frame = on(self.line?);
        Some(self.former.filter(|(until, _)| frame < *until).map_or(frame, |(until, line)| on(line).min(until)))
    }

    /// How fast the stream is against its own rate, in parts of a million; positive is fast.
    #[must_use]
    pub fn drift_ppm(&self) -> Option<f64> {
        (self.points.len() >= ENOUGH).then_some(())?;
        self.line.map(|(slope, _)| -slope * self.rate * 1e6)
    }

    fn close_point(&mut self) {
        let point = Point::of(&self.fresh);
        self.fresh.clear();
        let expected = self.seconds(point.frame).filter(|_| !self.points.is_empty()).map(|at| at - point.frame / self.rate);
        let stray = expected.is_some_and(|expected| (point.middle - expected).abs() > SKIPPED_S);
        self.astray = if stray { self.astray + 1 } else { 0 };
        if self.points.len() == POINTS {
            self.points.pop_front();
        }
        self.points.push_back(point);
        if self.astray == 2 {
            // What was before belongs to another line, up to the point that strayed first: the skip is somewhere in its first half.
            self.astray = 0;
            let last = self.points.len() - 1;
            self.former = self.line.map(|line| (self.points[last - 1].frame, line));
            self.points.drain(..last);
        }
        let unsettled = self.points.iter().take_while(|point| point.frame < UNSETTLED_S * self.rate).count();
        if self.points.len() >= unsettled + OTHERS {
            self.points.drain(..unsettled);
        }
        self.draw();
    }

    fn draw(&mut self) {
        let slope = self.line.map_or(self.expected, |(slope, _)| slope);
        let points = self.near(slope);
        let (slope, certainty) = self.slope(&points, slope);
        let ends = points.len() / POINTS_ASTRAY;
        let sorted = |of: fn(&Point) -> f64| {
            let mut offsets: Vec<f64> = points.iter().map(|point| of(point) - slope * point.frame).collect();
            offsets.sort_by(f64::total_cmp);
            offsets
        };
        let (lows, highs) = (sorted(|point| point.low), sorted(|point| point.high));
        if let (Some(low), Some(high)) = (lows.get(ends), highs.iter().rev().nth(ends)) {
            self.line = Some((slope, f64::midpoint(*low, *high)));
            self.certainty = certainty;
        }
    }

    /// The points that lie on a line of this slope, as nearly as those of one stream do, from end to end: none in which it skipped.
    fn near(&self, slope: f64) -> Vec<Point> {
        let offsets: Vec<f64> = self.points.iter().map(|point| point.middle - slope * point.frame).collect();
        let Some(middle) = median(&offsets) else { return Vec::new() };
        let is_near = |point: &&Point| [point.low, point.high].iter().all(|at| (at - slope * point.frame - middle).abs() <= SKIPPED_S);
        self.points.iter().filter(is_near).copied().collect()
    }

    /// The slope of these points, s a frame, and how sure it is of itself; they scatter around `before`.
    fn slope(&self, points: &[Point], before: f64) -> (f64, f64) {
        let count = points.len() as f64;
        let mean = |of: fn(&Point) -> f64| points.iter().map(of).sum::<f64>() / count;
        let (mean_frame, mean_middle) = (mean(|point| point.frame), mean(|point| point.middle));
        let (mut across, mut along, mut scatter) = (0.0, 0.0, USUAL_COUNT * USUAL_SCATTER_S.powi(2));
        for point in points {
            let (away, beside) = (point.frame - mean_frame, point.middle - mean_middle);
            across += away * away;
            along += away * beside;
            scatter += (beside - before * away).powi(2);
        }
        let penalty = scatter / (count + USUAL_COUNT) / (USUAL / self.rate).powi(2);
        let steepest = STEEPEST / self.rate;
        (((along + penalty * self.expected) / (across + penalty)).clamp(-steepest, steepest), across / (across + penalty))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    const RATE: f64 = 48_000.0;

    /// A stream whose crystal is `ppm` fast, whose callbacks take 512 frames, and whose stamps are late by what `late` says.
    struct Crystal {
        ppm: f64,
        fit: Fit,
        frame: u64,
    }

    impl Crystal {
        fn new(ppm: f64) -> Self {
            Self { ppm, fit: Fit::new(SampleRate::new(48_000).unwrap()), frame: 0 }
        }

        fn true_seconds(&self, frame: f64) -> f64 {
            5.0 + frame / (RATE * (1.0 + self.ppm * 1e-6))
        }

        fn true_frame(&self, at_s: f64) -> f64 {
            (at_s - 5.0) * RATE * (1.0 + self.ppm * 1e-6)
        }

        fn run_to(&mut self, at_s: f64, late: &mut dyn FnMut() -> f64) {
            while self.true_seconds(self.frame as f64) < at_s {
                let at_s = self.true_seconds(self.frame as f64) + late();
                self.fit.add(self.frame, at_s);
                self.frame += 512;
            }
        }
    }

    /// Largest error in seconds of mapping the frame that is played a second from now, asked once a second over ten minutes.
    fn worst(input_ppm: f64, output_ppm: f64) -> f64 {
        let (mut input, mut output) = (Crystal::new(input_ppm), Crystal::new(output_ppm));
        let mut state = 88_172_645_463_325_252_u64;
        let mut random = move || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1_u64 << 53) as f64
        };
        // Mostly under a millisecond; one in twenty late by up to 60 ms, as measured on a machine with every processor busy.
        let mut late = move || {
            let (usual, rare) = (random(), random());
            1e-3 * usual + if rare > 0.95 { 60e-3 * random() } else { 0.0 }
        };
        let mut worst = 0.0_f64;
        for second in 2..600 {
            let now = 5.0 + f64::from(second);
            input.run_to(now, &mut late);
            output.run_to(now, &mut late);
            let frame = output.true_frame(now + 1.0);
            let mapped = input.fit.frame(output.fit.seconds(frame).unwrap()).unwrap();
            worst = worst.max((mapped - input.true_frame(now + 1.0)).abs() / RATE);
        }
        worst
    }

    #[test]
    fn two_hundred_parts_of_a_million_over_ten_minutes_move_no_beat_by_half_a_millisecond() {
        for (input, output) in [(100.0, -100.0), (-100.0, 100.0), (200.0, 0.0), (0.0, 200.0), (0.0, 0.0)] {
            let worst = worst(input, output);
            println!("{input} against {output} ppm: {:.3} ms at worst", worst * 1e3);
            assert!(worst < 0.5e-3, "{input} against {output}: {worst}");
        }
    }

    /// As a sound server's stamps of the input were seen to go: up by one callback of 170 frames in 1.2 s, then back, or held at the upper end for seconds.
    fn wandering(at_s: f64, held: bool) -> f64 {
        let up = 170.0 / RATE;
        if held && (7.0..10.0).contains(&at_s) { up / 2.0 } else { up * ((at_s / 1.2).fract() - 0.5) }
    }

    #[test]
    fn stamps_that_wander_by_a_callback_move_no_beat_by_a_millisecond() {
        for (ppm, held) in [(-280.0, false), (0.0, false), (280.0, false), (0.0, true), (-280.0, true)] {
            let mut worst = 0.0_f64;
            let (mut crystal, mut output) = (Crystal::new(ppm), Crystal::new(ppm));
            for step in 0..400 {
                let now = 7.0 + f64::from(step) / 20.0;
                output.run_to(now, &mut || 0.0);
                while crystal.true_seconds(crystal.frame as f64) < now {
                    let at_s = crystal.true_seconds(crystal.frame as f64);
                    crystal.fit.add(crystal.frame, at_s + wandering(at_s, held));
                    crystal.frame += 170;
                }
                let (drift, certainty) = output.fit.drift();
                crystal.fit.expect(drift * certainty);
                let off = (crystal.fit.seconds(crystal.frame as f64).unwrap() - crystal.true_seconds(crystal.frame as f64)).abs();
                worst = worst.max(off);
            }
            println!("{ppm} ppm{}: {:.2} ms at worst", if held { ", held" } else { "" }, worst * 1e3);
            assert!(worst < 1e-3, "{ppm} ppm, {held}: {worst} s");
        }
    }

    #[test]
    fn the_drift_itself_is_known_after_a_while() {
        let mut crystal = Crystal::new(137.0);
        crystal.run_to(40.0, &mut || 0.0);
        assert!((crystal.fit.drift_ppm().unwrap() - 137.0).abs() < 0.1, "{:?}", crystal.fit.drift_ppm());
    }

    #[test]
    fn a_stream_that_skips_is_followed_within_two_seconds_and_what_was_before_stays() {
        for skip in [0.14, 0.013, -0.013] {
            let mut crystal = Crystal::new(50.0);
            crystal.run_to(20.0, &mut || 0.0);
            let before = crystal.frame as f64;
            crystal.run_to(22.0, &mut || skip);
            let now = crystal.frame as f64;
            for (frame, late) in [(now, skip), (before - 24_000.0, 0.0), (before - 300_000.0, 0.0)] {
                let at_s = crystal.true_seconds(frame) + late;
                assert!((crystal.fit.seconds(frame).unwrap() - at_s).abs() < 1e-3, "{skip}: frame {frame}");
                assert!((crystal.fit.frame(at_s).unwrap() - frame).abs() < 48.0, "{skip}: at {at_s} s");
            }
        }
        // While it stood still for 140 ms, its next frame had not come.
        let mut crystal = Crystal::new(0.0);
        crystal.run_to(20.0, &mut || 0.0);
        let before = crystal.frame as f64;
        crystal.run_to(22.0, &mut || 0.14);
        let frame = crystal.fit.frame(crystal.true_seconds(before) + 0.07).unwrap();
        assert!((frame - before).abs() < 0.5 * POINT_S * RATE, "{frame} and not {before}");
    }

    #[test]
    fn nothing_is_said_before_anything_is_known() {
        let fit = Fit::new(SampleRate::new(48_000).unwrap());
        assert_eq!((fit.seconds(3.0), fit.frame(1.0)), (None, None));
    }
}
