//! The settled tracker: for rows and for `trace`.

use super::detector::Detector;
use super::front::Front;
use super::history::History;
use super::partials::{Heterodyne, PARTIALS, Slice, look, mean_off_hz};
use super::path::{Decision, Path, PathCosts};
use super::{Reading, Sounding, Tracker, hop_frames};
use crate::units::{FrameTime, SampleRate};

/// Slices a hop.
const SLICES: usize = 4;
/// Half the length of the window that a partial's frequency is read through, s; longer where fewer than five periods would fit.
const HALF_S: f64 = 0.014;
/// Hops that the path looks ahead.
const LOOK_AHEAD: usize = 56;

#[derive(Clone, Copy, Debug, Default)]
struct Coarse {
    hz: f64,
    clarity: f32,
}

/// See the module.
#[derive(Debug)]
pub struct Settled {
    rate: SampleRate,
    hop: usize,
    front: Front,
    detector: Detector,
    path: Path,
    coarse: History<Coarse>,
    heterodyne: Heterodyne,
    slices: History<Slice>,
    next_candidates: u64,
    next_slices: u64,
    next_reading: u64,
}

impl Settled {
    /// For one take.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let hop = hop_frames(rate);
        let front = Front::new(rate, 1.5);
        let detector = Detector::new(front.slow_rate());
        let neutral_period = (front.slow_rate() / 250.0) as f32;
        let costs = PathCosts { jump: 3.5, end: 0.5, start: 4.0, leap: 15.0, unpitched: 0.45, neutral_period };
        Self {
            rate,
            hop,
            detector,
            path: Path::new(costs, LOOK_AHEAD),
            coarse: History::new(512),
            heterodyne: Heterodyne::new(rate.as_f64()),
            slices: History::new(512 * SLICES),
            front,
            next_candidates: 0,
            next_slices: 0,
            next_reading: 0,
        }
    }

    fn decide(&mut self, decision: Decision) {
        let coarse =
            decision.map_or_else(Coarse::default, |(period, clarity)| Coarse { hz: self.front.slow_rate() / f64::from(period), clarity });
        self.coarse.push(coarse);
    }

    fn advance(&mut self, emit: &mut dyn FnMut(Reading)) {
        let per_hop = (self.hop / self.front.factor) as u64;
        // The stroke that a hop's candidates belong to must be known before the path takes them.
        let patience = (0.006 * self.front.slow_rate()) as u64;
        while self.next_candidates * per_hop + self.detector.reach() + patience <= self.front.slow.end() {
            let candidates = self.detector.at(&self.front, self.next_candidates * per_hop);

            let at = self.next_candidates * self.hop as u64;
            let (before, after) = (self.rate.span(0.025).0, self.rate.span(0.015).0);
            let free = self.front.struck_between(at.saturating_sub(before), at + after);
            self.next_candidates += 1;
            if let Some(decision) = self.path.push(&candidates, free) {
                self.decide(decision);
            }
        }
        self.refine(emit);
    }

    fn refine(&mut self, emit: &mut dyn FnMut(Reading)) {
        while self.next_slices + 1 < self.coarse.end() {
            let n = self.next_slices;
            let (a, b) = (self.coarse.get(n).unwrap_or_default().hz, self.coarse.get(n + 1).unwrap_or_default().hz);
            let len = self.hop / SLICES;
            for i in 0..SLICES {
                let from = n * self.hop as u64 + (i * len) as u64;
                let mut slice = Slice::default();
                if let (true, Some(x)) = (a > 0.0 || b > 0.0, self.front.full.slice(from, len)) {
                    let (a, b) = (if a > 0.0 { a } else { b }, if b > 0.0 { b } else { a });
                    let (u, v) = (i as f64 / SLICES as f64, (i + 1) as f64 / SLICES as f64);
                    slice = self.heterodyne.block(x, a + (b - a) * u, a + (b - a) * v);
                }
                self.slices.push(slice);
            }
            self.next_slices += 1;
        }
        let half: f64 = HALF_S;
        let reach = (half.max(0.04) * self.rate.as_f64() / self.hop as f64).ceil() as u64;
        while self.next_reading + reach < self.next_slices {
            self.emit(half, reach, emit);
        }
    }

    fn emit(&mut self, half: f64, reach: u64, emit: &mut dyn FnMut(Reading)) {
        let n = self.next_reading;
        self.next_reading += 1;
        let coarse = self.coarse.get(n).unwrap_or_default();
        let at = n * self.hop as u64;
        let mut sounding = Sounding::Unpitched;
        if coarse.hz > 0.0 {
            let half = half.max(2.5 / coarse.hz);
            let from = n.saturating_sub(reach);
            let to = (n + reach).min(self.next_slices);
            let step = self.hop as f64 / SLICES as f64 / self.rate.as_f64();
            let first = (from as f64 - n as f64) * SLICES as f64 * step + 0.5 * step - 0.5 / self.rate.as_f64();
            let mut hz = coarse.hz;
            if let Some(slices) = self.slices.slice(from * SLICES as u64, ((to - from) as usize) * SLICES) {
                let partials: [_; PARTIALS] = look(slices, first, step, half);
                if let Some(off) = mean_off_hz(&partials) {
                    hz += off;
                }
            }
            sounding = Sounding::Pitched { hz, clarity: coarse.clarity };
        }
        let level_dbfs = self.front.level(at, self.rate.span(0.01).0);
        emit(Reading { at: FrameTime(at), ready: FrameTime(at), level_dbfs, sounding });
    }
}

impl Tracker for Settled {
    fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading)) {
        for &x in samples {
            self.front.push(x);
            if self.front.full.end().is_multiple_of(self.hop as u64) {
                self.advance(emit);
            }
        }
    }

    fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Reading)) {
        for _ in 0..frames {
            self.push(&[0.0], emit);
        }
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Reading)) {
        let mut open = Vec::new();
        self.path.finish(|d| open.push(d));
        for d in open {
            self.decide(d);
        }
        self.refine(emit);
    }
}
