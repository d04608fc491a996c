//! Two cards, two clocks: which frame of the take is which frame of the output.
//!
//! Each stream's callbacks say which frame was at the connector when ([`Stamps`]); on a busy machine they say it late, early
//! and sometimes badly. A straight line is fitted to each stream's stamps on the machine's one clock, so that neither a crooked stamp nor the
//! drift of one crystal against the other moves a beat:
//!
//! `take frame = input line⁻¹(output line(frame) + round trip)`
//!
//! The round trip is what `landfall calibrate` measured on top of the delays that the cards themselves tell of.

use crate::sound::card::{PlayPulse, Stamp, Stamps, TakeTime};
use crate::units::SampleRate;
use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Instant;

/// Stamps of so many seconds become one point: their median.
const POINT_S: f64 = 0.5;
/// Points that the line rests on: a minute, over which crystals are steady.
const POINTS: usize = 120;
/// Fewer points say nothing of a drift.
const ENOUGH: usize = 6;
/// Crystals are mostly within this of their rate: what is expected of a slope before anything is known.
const USUAL: f64 = 150e-6;
/// Stamps mostly scatter by so much, s, and this counts like so many points: what is expected of them before anything is known.
const USUAL_SCATTER_S: f64 = 0.3e-3;
const USUAL_COUNT: f64 = 2.0;
/// Crystals are better than this; a steeper line is a mistake.
const STEEPEST: f64 = 1e-3;
/// While a stream starts its stamps are unsteady, s.
const STARTING_S: f64 = 0.25;
/// Stamps before a first answer.
const FIRST: usize = 8;
/// Two points in a row this far off the line are no accident: the stream has skipped, s.
const SKIPPED_S: f64 = 0.004;

/// The time of each frame of one stream: a straight line through its stamps, in seconds on any clock.
///
/// Points that lie off are left out; a least-squares line through the others, its slope drawn towards none while it is not sure of it (ridge regression, Hoerl and
/// Kennard 1970, Technometrics 12: the penalty is the scatter of the points over what is expected of a crystal, each squared). A sound server's stamps go up and down by 2 ms
/// over a second or more: a slope that was believed after three seconds, or a single point, moved beats by as much.
#[derive(Clone, Debug)]
pub struct Fit {
    rate: f64,
    /// Frame, and how far its time is from frame / rate.
    fresh: Vec<(f64, f64)>,
    points: VecDeque<(f64, f64)>,
    /// Drift in seconds a frame, and offset at frame 0.
    line: Option<(f64, f64)>,
    astray: usize,
}

impl Fit {
    /// For a stream that calls itself `rate`.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self { rate: rate.as_f64(), fresh: Vec::new(), points: VecDeque::new(), line: None, astray: 0 }
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
            self.line = Some((0.0, median(self.fresh.iter().map(|(_, off)| *off))));
        }
    }

    /// When a frame passes.
    #[must_use]
    pub fn seconds(&self, frame: f64) -> Option<f64> {
        self.line.map(|(slope, offset)| frame / self.rate + slope * frame + offset)
    }

    /// The frame that passes then.
    #[must_use]
    pub fn frame(&self, at_s: f64) -> Option<f64> {
        self.line.map(|(slope, offset)| (at_s - offset) / (1.0 / self.rate + slope))
    }

    /// How fast the stream is against its own rate, in parts of a million; positive is fast.
    #[must_use]
    pub fn drift_ppm(&self) -> Option<f64> {
        (self.points.len() >= ENOUGH).then_some(())?;
        self.line.map(|(slope, _)| -slope * self.rate * 1e6)
    }

    fn close_point(&mut self) {
        let frame = self.fresh.iter().map(|(frame, _)| frame).sum::<f64>() / self.fresh.len() as f64;
        let off = median(self.fresh.iter().map(|(_, off)| *off));
        self.fresh.clear();
        let expected = self.seconds(frame).filter(|_| !self.points.is_empty()).map(|at| at - frame / self.rate);
        let stray = expected.is_some_and(|expected| (off - expected).abs() > SKIPPED_S);
        self.astray = if stray { self.astray + 1 } else { 0 };
        if self.points.len() == POINTS {
            self.points.pop_front();
        }
        self.points.push_back((frame, off));
        if self.astray == 2 {
            // What was before belongs to another line.
            self.astray = 0;
            self.points.drain(..self.points.len() - 2);
        }
        self.draw();
    }

    fn draw(&mut self) {
        let points = self.points.make_contiguous();
        let slope = self.line.map_or(0.0, |(slope, _)| slope);
        let middle = median(points.iter().map(|(frame, off)| off - slope * frame));
        let near = |(frame, off): &&(f64, f64)| (off - slope * frame - middle).abs() <= SKIPPED_S;
        let (frames, offs): (Vec<f64>, Vec<f64>) = points.iter().filter(near).copied().unzip();
        let count = frames.len() as f64;
        if frames.is_empty() {
            return;
        }
        let (mean_frame, mean_off) = (frames.iter().sum::<f64>() / count, offs.iter().sum::<f64>() / count);
        let (mut across, mut along, mut scatter) = (0.0, 0.0, USUAL_COUNT * USUAL_SCATTER_S.powi(2));
        for (frame, off) in frames.iter().zip(&offs) {
            let (away, beside) = (frame - mean_frame, off - mean_off);
            across += away * away;
            along += away * beside;
            scatter += (beside - slope * away).powi(2);
        }
        let penalty = scatter / (count + USUAL_COUNT) / (USUAL / self.rate).powi(2);
        let steepest = STEEPEST / self.rate;
        let slope = (along / (across + penalty)).clamp(-steepest, steepest);
        self.line = Some((slope, mean_off - slope * mean_frame));
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.filter(|value| value.is_finite()).collect();
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => 0.0,
        odd if odd % 2 == 1 => values[middle],
        _ => f64::midpoint(values[middle - 1], values[middle]),
    }
}

/// One stream and its line.
struct Follow {
    fit: Fit,
    read: u64,
}

impl Follow {
    fn new(rate: SampleRate) -> Self {
        Self { fit: Fit::new(rate), read: 0 }
    }

    fn look(&mut self, stamps: &Stamps, epoch: Instant) {
        let Self { fit, read } = self;
        stamps.read(read, &mut |Stamp { frame, at }| {
            let after = at.saturating_duration_since(epoch).as_secs_f64();
            fit.add(frame, after - epoch.saturating_duration_since(at).as_secs_f64());
        });
    }
}

/// The output of a run against the take of its input.
pub struct Clocks {
    epoch: Instant,
    output: Option<(Follow, Arc<PlayPulse>)>,
    input: Option<(Follow, crate::sound::card::TakeNow)>,
    take: TakeTime,
    round_trip_s: f64,
}

impl Clocks {
    /// `round_trip_s` as calibrated; 0 where it is not known.
    #[must_use]
    pub fn new(take: TakeTime, round_trip_s: f64) -> Self {
        Self { epoch: Instant::now(), output: None, input: None, take, round_trip_s }
    }

    /// Another output stream.
    pub fn follow_output(&mut self, pulse: Arc<PlayPulse>, rate: SampleRate) {
        self.output = Some((Follow::new(rate), pulse));
    }

    /// Takes in the stamps that have come since.
    pub fn look(&mut self) {
        if let Some((follow, pulse)) = &mut self.output {
            follow.look(pulse.stamps(), self.epoch);
        }
        let Some(now) = self.take.now() else { return };
        match &mut self.input {
            Some((follow, before)) if Arc::ptr_eq(&before.pulse, &now.pulse) => {
                *before = now;
                follow.look(before.pulse.stamps(), self.epoch);
            }
            input => *input = Some((Follow::new(now.rate), now)),
        }
    }

    /// The frame of the output's stream that is heard now.
    #[must_use]
    pub fn heard_now(&self) -> Option<f64> {
        self.output_frame(Instant::now())
    }

    /// The frame of the output's stream that is heard then.
    #[must_use]
    pub fn output_frame(&self, at: Instant) -> Option<f64> {
        let at_s = at.saturating_duration_since(self.epoch).as_secs_f64();
        self.output.as_ref()?.0.fit.frame(at_s)
    }

    /// Which take, and which of its frames holds what the output's stream plays at `frame`. `None` until both streams have run for a moment.
    #[must_use]
    pub fn take_frame(&self, frame: f64) -> Option<(u64, f64)> {
        let at_s = self.output.as_ref()?.0.fit.seconds(frame)?;
        let (input, now) = self.input.as_ref()?;
        let heard = input.fit.frame(at_s + self.round_trip_s)?;
        Some((now.take, heard + now.offset as f64))
    }

    /// How fast input and output are against their own rates, in parts of a million, once that is known.
    #[must_use]
    pub fn drift_ppm(&self) -> (Option<f64>, Option<f64>) {
        let input = self.input.as_ref().and_then(|(follow, _)| follow.fit.drift_ppm());
        (input, self.output.as_ref().and_then(|(follow, _)| follow.fit.drift_ppm()))
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

    /// As a sound server's stamps were seen to go: up by 4 ms in 1.2 s, then back.
    fn saw(at_s: f64) -> f64 {
        4e-3 * (at_s / 1.2).fract() - 2e-3
    }

    #[test]
    fn stamps_that_go_up_and_down_move_no_beat_by_a_millisecond_after_two_seconds_nor_by_half_of_one_after_ten() {
        for ppm in [-280.0, 0.0, 280.0] {
            let (mut at_first, mut later) = (0.0_f64, 0.0_f64);
            let mut crystal = Crystal::new(ppm);
            for step in 0..300 {
                let now = 7.0 + f64::from(step) / 10.0;
                while crystal.true_seconds(crystal.frame as f64) < now {
                    let at_s = crystal.true_seconds(crystal.frame as f64);
                    crystal.fit.add(crystal.frame, at_s + saw(at_s));
                    crystal.frame += 170;
                }
                let off = (crystal.fit.seconds(crystal.frame as f64).unwrap() - crystal.true_seconds(crystal.frame as f64)).abs();
                let worst = if now < 15.0 { &mut at_first } else { &mut later };
                *worst = worst.max(off);
            }
            println!("{ppm} ppm: {:.2} ms at first, {:.2} ms later", at_first * 1e3, later * 1e3);
            assert!(at_first < 1e-3 && later < 0.5e-3, "{ppm} ppm: {at_first} s, {later} s");
        }
    }

    #[test]
    fn the_drift_itself_is_known_after_a_while() {
        let mut crystal = Crystal::new(137.0);
        crystal.run_to(40.0, &mut || 0.0);
        assert!((crystal.fit.drift_ppm().unwrap() - 137.0).abs() < 0.1, "{:?}", crystal.fit.drift_ppm());
    }

    #[test]
    fn a_stream_that_skips_is_followed_within_two_seconds() {
        let mut crystal = Crystal::new(0.0);
        crystal.run_to(20.0, &mut || 0.0);
        crystal.run_to(22.0, &mut || 0.14);
        let frame = crystal.frame as f64;
        assert!((crystal.fit.seconds(frame).unwrap() - crystal.true_seconds(frame) - 0.14).abs() < 1e-3);
    }

    #[test]
    fn nothing_is_said_before_anything_is_known() {
        let fit = Fit::new(SampleRate::new(48_000).unwrap());
        assert_eq!((fit.seconds(3.0), fit.frame(1.0)), (None, None));
    }
}
