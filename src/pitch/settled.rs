//! The settled tracker: for rows and for `trace`.
//!
//! Four stages, each on a history of fixed size and as far as the one before allows: the likeliest path through the candidates, a smooth curve
//! through it, the partials read along that curve, and their mean smoothed as far as its noise. Together they look ahead by less than
//! [`LOOK_AHEAD_S`]; state only goes forward.

use super::attack::{Attack, Stage};
use super::causal::SILENCE_DBFS;
use super::detector::{Detector, LOWEST_HZ};
use super::front::Front;
use super::heterodyne::{Heterodyne, Slice, look};
use super::history::History;
use super::memory::Memory;
use super::partials::{mean_off_hz, whole_periods};
use super::path::{Decision, Path, PathCosts};
use super::{Reading, Sounding, Tracker, hop_frames, smooth};
use crate::units::{FrameTime, SampleRate};

/// No reading needs more of what follows its instant, s.
pub const LOOK_AHEAD_S: f64 = 0.5;

/// Slices a hop: 3000 a second at 48 kHz. At half of that, seven times 208 Hz folds back into the window of another partial.
const SLICES: usize = 8;
/// Half the length of the window that a partial's frequency is read through, s; longer where fewer than five periods would fit.
const HALF_S: f64 = 0.014;
/// Hops that the path looks ahead.
const LOOK_AHEAD: usize = 56;

/// Hops to each side that the curve is smoothed over before the partials are read along it: its own noise would come back.
const CURVE_HALF: usize = 8;
/// Neighbouring hops further apart than this are not one movement, cents.
const STEP_CENTS: f64 = 80.0;

#[derive(Clone, Copy, Debug, Default)]
struct Heard {
    /// What the path decided, cents above 1 Hz; `None` where there is no pitch.
    coarse: Option<f64>,
    clarity: f32,
    /// The smooth curve that the partials are read along, cents above 1 Hz.
    curve: Option<f64>,
    /// What the partials say, cents above 1 Hz.
    read: Option<f64>,
}

/// The tracker of the settled pitch; see the module.
#[derive(Debug)]
pub struct Settled {
    rate: SampleRate,
    hop: usize,
    front: Front,
    detector: Detector,
    memory: Memory,
    path: Path,
    heard: History<Heard>,
    heterodyne: Heterodyne,
    slices: History<Slice>,
    stretch: Vec<f64>,
    next_candidates: u64,
    next_curve: u64,
    next_slices: u64,
    next_read: u64,
    next_reading: u64,
    ended: bool,
}

fn hz(cents: f64) -> f64 {
    (cents / 1200.0).exp2()
}

impl Settled {
    /// For one take.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let hop = hop_frames(rate);
        let front = Front::new(rate, 1.5);
        let detector = Detector::new(front.slow_rate());
        let neutral_period = (front.slow_rate() / 250.0) as f32;
        let costs = PathCosts { jump: 3.5, end: 0.5, start: 12.0, leap_up: 2.0, leap_down: 40.0, unpitched: 0.45, neutral_period };
        Self {
            rate,
            hop,
            detector,
            memory: Memory::new(front.slow_rate(), hop as f64 / rate.as_f64()),
            path: Path::new(costs, LOOK_AHEAD),
            heard: History::new(512),
            heterodyne: Heterodyne::new(rate.as_f64()),
            slices: History::new(512 * SLICES),
            stretch: Vec::with_capacity(512),
            front,
            next_candidates: 0,
            next_curve: 0,
            next_slices: 0,
            next_read: 0,
            next_reading: 0,
            ended: false,
        }
    }

    fn decide(&mut self, decision: Decision) {
        let rate = self.front.slow_rate();
        self.heard.push(decision.map_or_else(Heard::default, |(period, clarity)| Heard {
            coarse: Some(1200.0 * (rate / f64::from(period)).log2()),
            clarity,
            ..Heard::default()
        }));
    }

    fn advance(&mut self, emit: &mut dyn FnMut(Reading)) {
        let per_hop = (self.hop / self.front.factor) as u64;
        // The stroke that a hop's candidates belong to must be known before the path takes them.
        let patience = (0.006 * self.front.slow_rate()) as u64;
        let memory_reach = self.memory.reach() as u64;
        while self.next_candidates * per_hop + self.detector.reach().max(memory_reach) + patience <= self.front.slow.end() {
            let centre = self.next_candidates * per_hop;
            let mut candidates = self.detector.at(&self.front, centre);
            let at = self.next_candidates * self.hop as u64;
            let (before, after) = (self.rate.span(0.05).0, self.rate.span(0.015).0);
            let free = self.front.struck_between(at.saturating_sub(before), at + after);
            self.next_candidates += 1;
            let around = centre.checked_sub(memory_reach).and_then(|from| self.front.slow.slice(from, 2 * memory_reach as usize));
            self.memory.remind(&mut candidates, around, 0.0, free);
            let decision = self.path.push(&candidates, free);
            self.memory.follow(self.path.best());
            if let Some(decision) = decision {
                self.decide(decision);
            }
        }
        self.refine(emit);
    }

    /// Each stage goes as far as the one before it allows.
    fn refine(&mut self, emit: &mut dyn FnMut(Reading)) {
        let wait = |n: usize| if self.ended { 0 } else { n as u64 };
        let (curve_wait, read_reach, smooth_wait) = (wait(CURVE_HALF), self.read_reach(), wait(smooth::REACH));
        let read_wait = wait(read_reach);
        while self.next_curve + curve_wait < self.heard.end() {
            self.smooth_curve();
        }
        while self.next_slices + u64::from(!self.ended) < self.next_curve {
            self.demodulate();
        }
        while self.next_read + read_wait < self.next_slices {
            self.read(read_reach as u64);
        }
        while self.next_reading + smooth_wait < self.next_read {
            self.say(emit);
        }
    }

    /// Hops to each side that the partials are read over at most: 2.5 periods of the lowest note.
    fn read_reach(&self) -> usize {
        (2.5 / LOWEST_HZ * self.rate.as_f64() / self.hop as f64).ceil() as usize + 1
    }

    /// Fills `stretch` with the values around hop `n` that belong to the same movement; gives the place of `n` among them.
    fn gather(&mut self, n: u64, reach: u64, value: impl Fn(&Heard) -> Option<f64>) -> Option<usize> {
        let from = n.saturating_sub(reach);
        let around = self.heard.slice(from, ((n + reach + 1).min(self.heard.end()) - from) as usize)?;
        let (before, after) = around.split_at((n - from) as usize);
        let one_movement = |last: &mut f64, heard: &Heard| {
            let next = value(heard).filter(|next| (next - *last).abs() < STEP_CENTS)?;
            *last = next;
            Some(next)
        };
        let here = value(after.first()?)?;
        self.stretch.clear();
        self.stretch.extend(before.iter().rev().scan(here, one_movement));
        self.stretch.reverse();
        let at = self.stretch.len();
        self.stretch.push(here);
        self.stretch.extend(after[1..].iter().scan(here, one_movement));
        Some(at)
    }

    fn smooth_curve(&mut self) {
        let n = self.next_curve;
        self.next_curve += 1;
        let Some(at) = self.gather(n, CURVE_HALF as u64, |h| h.coarse) else { return };
        let smooth = smooth::parabola(&self.stretch, at, CURVE_HALF).map_or(self.stretch[at], |(v, _)| v);
        if let Some(heard) = self.heard.get(n) {
            self.heard.set(n, Heard { curve: Some(smooth), ..heard });
        }
    }

    fn demodulate(&mut self) {
        let n = self.next_slices;
        self.next_slices += 1;
        let curve = |n: u64| self.heard.get(n).and_then(|h| h.curve);
        let (a, b) = (curve(n), curve(n + 1));
        let slices = &mut self.slices;
        match (a.or(b), b.or(a), self.front.full.slice(n * self.hop as u64, self.hop)) {
            (Some(a), Some(b), Some(x)) => {
                let (from, to) = if (a - b).abs() < STEP_CENTS { (hz(a), hz(b)) } else { (hz(a), hz(a)) };
                self.heterodyne.hop(x, from, to, SLICES, |slice| slices.push(slice));
            }
            _ => (0..SLICES).for_each(|_| slices.push(Slice::default())),
        }
    }

    fn read(&mut self, reach: u64) {
        let n = self.next_read;
        self.next_read += 1;
        let Some((heard, curve)) = self.heard.get(n).and_then(|h| Some((h, h.curve?))) else { return };
        let base = hz(curve);
        let half = whole_periods(HALF_S.max(2.5 / base), base);
        let step = self.hop as f64 / SLICES as f64 / self.rate.as_f64();
        let near = (((half / step + 1.0) / SLICES as f64).ceil() as u64).min(reach);
        let from = n.saturating_sub(near);
        let to = (n + near).min(self.next_slices);
        let first = (from as f64 - n as f64) * SLICES as f64 * step + 0.5 * step - 0.5 / self.rate.as_f64();
        let Some(slices) = self.slices.slice(from * SLICES as u64, (to - from) as usize * SLICES) else { return };
        let off = mean_off_hz(&look(slices, first, step, half)).filter(|off| (off / base).abs() < 0.03).unwrap_or(0.0);
        self.heard.set(n, Heard { read: Some(1200.0 * (base + off).log2()), ..heard });
    }

    fn say(&mut self, emit: &mut dyn FnMut(Reading)) {
        let n = self.next_reading;
        self.next_reading += 1;
        let at = FrameTime(n * self.hop as u64);
        let level_dbfs = self.front.level(at.0, self.rate.span(0.01).0);
        let clarity = self.heard.get(n).unwrap_or_default().clarity;
        let sounding = match (level_dbfs.filter(|level| *level >= SILENCE_DBFS), self.gather(n, smooth::REACH as u64, |h| h.read)) {
            (None, _) => Sounding::Silent,
            (_, None) => Sounding::Unpitched,
            (Some(level), Some(at)) => {
                let hz = hz(smooth::adaptive(&self.stretch, at));
                if self.front.is_hum(hz, level, clarity) { Sounding::Unpitched } else { Sounding::Pitched { hz, clarity } }
            }
        };
        emit(Reading { at, ready: FrameTime(self.front.full.end().saturating_sub(1)), level_dbfs, sounding });
    }
}

impl Settled {
    /// [`Tracker::push`] that hands out the strokes, too: each when its instant is final, at most [`attack::LOOK_AHEAD_S`] after it.
    ///
    /// [`attack::LOOK_AHEAD_S`]: super::attack::LOOK_AHEAD_S
    pub fn hear(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading), strike: &mut dyn FnMut(FrameTime)) {
        for &x in samples {
            self.front.push(x, &mut |attack| say_stroke(attack, strike));
            self.advance_at_a_hop(emit);
        }
    }

    /// [`Tracker::lose`] that hands out the stroke that was being heard.
    pub fn lose_sound(&mut self, frames: u64, emit: &mut dyn FnMut(Reading), strike: &mut dyn FnMut(FrameTime)) {
        self.front.lose(frames, &mut |attack| say_stroke(attack, strike));
        for _ in 0..frames {
            self.front.skip();
            self.advance_at_a_hop(emit);
        }
    }

    /// [`Tracker::finish`] that hands out the stroke that was being heard.
    pub fn end(&mut self, emit: &mut dyn FnMut(Reading), strike: &mut dyn FnMut(FrameTime)) {
        self.front.finish(&mut |attack| say_stroke(attack, strike));
        let mut open = Vec::new();
        self.path.finish(|d| open.push(d));
        for d in open {
            self.decide(d);
        }
        self.ended = true;
        self.refine(emit);
    }

    fn advance_at_a_hop(&mut self, emit: &mut dyn FnMut(Reading)) {
        if self.front.full.end().is_multiple_of(self.hop as u64) {
            self.advance(emit);
        }
    }
}

fn say_stroke(attack: Attack, strike: &mut dyn FnMut(FrameTime)) {
    if attack.stage == Stage::Settled && attack.struck {
        strike(attack.at);
    }
}

impl Tracker for Settled {
    fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading)) {
        self.hear(samples, emit, &mut |_| ());
    }

    fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Reading)) {
        self.lose_sound(frames, emit, &mut |_| ());
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Reading)) {
        self.end(emit, &mut |_| ());
    }
}
