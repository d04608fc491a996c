//! The causal tracker: for the eye. Each reading needs only what was heard up to its `ready`.
//!
//! Which window is looked through follows the note that is being followed, not the hop's own candidates, or the two chase each other: while a
//! note from 160 Hz up sounds, half of the short window is the delay; a lower one, or a sound that the short window cannot tell, waits
//! for the long one.

use super::candidates::Candidates;
use super::detector::Detector;
use super::front::Front;
use super::memory::Memory;
use super::partials::{mean_off_hz, read, whole_periods};
use super::path::{Decision, Path, PathCosts};
use super::{Reading, Sounding, Tracker, hop_frames};
use crate::units::{FrameTime, SampleRate};

/// A note from here up is told by the short window alone.
const HIGH_HZ: f64 = 160.0;
/// Clarity from which the short window is believed without a note to follow.
const CLEAR: f32 = 0.8;
/// Half the window that the partials are read through, s; 2.2 periods where that is longer.
const HALF_S: f64 = 0.0112;
/// Under this level nothing sounds, dBFS.
pub(super) const SILENCE_DBFS: f32 = -75.0;

/// The tracker of the pitch as it sounds; see the module.
#[derive(Debug)]
pub struct Causal {
    rate: SampleRate,
    hop: usize,
    front: Front,
    detector: Detector,
    memory: Memory,
    path: Path,
    next: u64,
    /// Candidates of the next hop from the short window, while the long one is waited for.
    waiting: Option<Candidates>,
    following_hz: Option<f64>,
    /// Slope of what is followed, octaves a second.
    slope: f64,
    ready: u64,
}

impl Causal {
    /// For one take.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let front = Front::new(rate, 0.25);
        let neutral_period = (front.slow_rate() / 250.0) as f32;
        let costs = PathCosts { jump: 3.5, end: 0.5, start: 12.0, leap_up: 2.0, leap_down: 40.0, unpitched: 0.45, neutral_period };
        Self {
            rate,
            hop: hop_frames(rate),
            detector: Detector::new(front.slow_rate()),
            memory: Memory::new(front.slow_rate(), hop_frames(rate) as f64 / rate.as_f64()),
            path: Path::new(costs, 0),
            next: 0,
            waiting: None,
            following_hz: None,
            slope: 0.0,
            ready: 0,
            front,
        }
    }

    fn advance(&mut self, emit: &mut dyn FnMut(Reading)) {
        let factor = self.front.factor as u64;
        loop {
            let at = self.next * self.hop as u64;
            let centre = at / factor;
            let heard = self.front.full.end();
            let candidates = match self.waiting {
                None => {
                    // The window's last slow sample and the low-pass's reach behind it.
                    let needs = (centre + self.detector.short_reach() - 1) * factor + self.front.slow_delay() as u64;
                    if needs.max(at + self.half(HIGH_HZ)) >= heard {
                        return;
                    }
                    let high = self.detector.high(&self.front, centre);
                    let struck = self.front.struck_between(at.saturating_sub(self.rate.span(0.03).0), heard);
                    let best = high.as_slice().first();
                    let clear = best.is_some_and(|b| b.clarity > CLEAR && self.front.slow_rate() / f64::from(b.period) > HIGH_HZ);
                    let follows_high = self.following_hz.is_some_and(|hz| hz > HIGH_HZ);
                    let quiet = self.level(at).is_none_or(|l| l < SILENCE_DBFS);
                    if !(clear || quiet || (follows_high && !struck)) {
                        self.waiting = Some(high);
                        continue;
                    }
                    high
                }
                Some(mut high) => {
                    let needs = (centre + self.detector.reach() - 1) * factor + self.front.slow_delay() as u64;
                    if needs >= heard {
                        return;
                    }
                    self.detector.add_low(&self.front, centre, &mut high);
                    high
                }
            };
            self.waiting = None;
            self.say(at, &candidates, emit);
            self.next += 1;
        }
    }

    fn advance_now_and_then(&mut self, emit: &mut dyn FnMut(Reading)) {
        if self.front.full.end().is_multiple_of(32) {
            self.advance(emit);
        }
    }

    fn say(&mut self, at: u64, candidates: &Candidates, emit: &mut dyn FnMut(Reading)) {
        let heard = self.front.full.end();
        let free = self.front.struck_between(at.saturating_sub(self.rate.span(0.03).0), heard);
        let mut candidates = *candidates;
        self.remind(at, &mut candidates, free);
        let decision: Decision = self.path.push(&candidates, free).flatten();
        self.memory.follow(self.path.best());
        let level_dbfs = self.level(at);
        let sounding = match decision {
            _ if level_dbfs.is_none_or(|l| l < SILENCE_DBFS) => Sounding::Silent,
            None => Sounding::Unpitched,
            Some((period, clarity)) => {
                let hz = self.refined(at, self.front.slow_rate() / f64::from(period));
                Sounding::Pitched { hz, clarity }
            }
        };
        let hz = if let Sounding::Pitched { hz, .. } = sounding { Some(hz) } else { None };
        self.remember(hz);
        self.ready = self.ready.max(heard - 1);
        emit(Reading { at: FrameTime(at), ready: FrameTime(self.ready), level_dbfs, sounding });
    }

    /// The memory hears what was heard last: its window is longer than the others and ends where they do.
    fn remind(&mut self, at: u64, candidates: &mut Candidates, free: bool) {
        let reach = self.memory.reach() as u64;
        let end = self.front.slow.end();
        let centre = (at / self.front.factor as u64).min(end.saturating_sub(reach));
        let lag_s = (at as f64 - (centre * self.front.factor as u64) as f64) / self.rate.as_f64();
        let around = centre.checked_sub(reach).and_then(|from| self.front.slow.slice(from, 2 * reach as usize));
        self.memory.remind(candidates, around, lag_s, free);
    }

    fn remember(&mut self, hz: Option<f64>) {
        let per_second = self.rate.as_f64() / self.hop as f64;
        self.slope = match (self.following_hz, hz) {
            // No bend is faster than some three octaves a second.
            (Some(before), Some(now)) => {
                let slope = (now / before).log2() * per_second;
                if slope.abs() < 4.0 { 0.7 * self.slope + 0.3 * slope } else { 0.0 }
            }
            _ => 0.0,
        };
        self.following_hz = hz;
    }

    /// Half of the window for the partials of a note, in frames.
    fn half(&self, hz: f64) -> u64 {
        self.rate.span(HALF_S.max(2.2 / hz)).0
    }

    fn refined(&self, at: u64, hz: f64) -> f64 {
        // Never past what was heard, and as far back as forth.
        let reach = self.half(hz).min(self.front.full.end() - at).min(at);
        let half = whole_periods(reach as f64 / self.rate.as_f64(), hz) * self.rate.as_f64();
        let Some(x) = self.front.full.slice(at - reach, 2 * reach as usize) else { return hz };
        match mean_off_hz(&read(x, self.rate.as_f64(), hz, self.slope, half)) {
            // Further off than a quarter tone, the partials are another sound's.
            Some(off) if (off / hz).abs() < 0.03 => hz + off,
            _ => hz,
        }
    }

    fn level(&self, at: u64) -> Option<f32> {
        self.front.level(at, self.rate.span(0.01).0)
    }
}

impl Tracker for Causal {
    fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading)) {
        for &x in samples {
            self.front.push(x, &mut |_| ());
            self.advance_now_and_then(emit);
        }
    }

    fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Reading)) {
        self.front.lose(frames, &mut |_| ());
        for _ in 0..frames {
            self.front.skip();
            self.advance_now_and_then(emit);
        }
    }

    fn finish(&mut self, _: &mut dyn FnMut(Reading)) {}
}
