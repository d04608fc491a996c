//! The causal tracker: for the eye. Each reading needs only what was heard up to its `ready`.
//!
//! A hop is told by the short window alone, and half of that is the delay, where it shows a clear note above 160 Hz, where nothing sounds, or where a note above
//! 160 Hz is being followed and no string was struck just before: there the note decides and not the hop's own candidates, or the two would chase each
//! other. Every other hop waits for the long window: a low note, or a sound that the short one cannot tell. One that is unclear just after a stroke does not
//! wait when a hop behind it is clear: it is the pick's noise, and passes with what the short window shows.

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
/// For so long after a stroke the path may go anywhere, s.
const FREE_S: f64 = 0.03;
/// For so long after a stroke what is unclear is the pick's noise, s: recorded picks are heard for 30 ms before the string is.
const ATTACK_S: f64 = 0.04;
/// Under this clarity.
const ATTACK_CLARITY: f32 = 0.6;
/// Hops that may wait for the long window, which reaches 11 ms further than the short one; a hop is 2 ms at least.
const AHEAD: usize = 16;
/// Half the window that the partials are read through, s; 2.2 periods where that is longer.
const HALF_S: f64 = 0.0112;
/// The partials are read along the candidate, and once more along what they said where that was further off than this: 0.2 cents. A low note's
/// candidate is off by more, and each partial then comes through the window less than its neighbours do.
const NEAR: f64 = 1.2e-4;
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
    /// Candidates from the short window of the hops from `next` up to `next_high`, which wait for the long one.
    ahead: [Candidates; AHEAD],
    next_high: u64,
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
            ahead: [Candidates::default(); AHEAD],
            next_high: 0,
            following_hz: None,
            slope: 0.0,
            ready: 0,
            front,
        }
    }

    fn advance(&mut self, emit: &mut dyn FnMut(Reading)) {
        loop {
            self.look_ahead();
            if self.next == self.next_high {
                return;
            }
            let (at, centre) = (self.next * self.hop as u64, self.centre(self.next));
            let mut candidates = self.ahead[self.next as usize % AHEAD];
            if self.is_told_by_short(at, &candidates) {
                // The partials are read through as much as the followed note asks for.
                if self.following_hz.is_some_and(|hz| hz > HIGH_HZ && at + self.half(hz) >= self.front.full.end()) {
                    return;
                }
            } else if self.is_heard(centre, self.detector.reach()) {
                self.detector.add_low(&self.front, centre, &mut candidates);
            } else if !self.is_noise_of_a_stroke(at) {
                return;
            }
            self.say(at, &candidates, emit);
            self.next += 1;
        }
    }

    /// Looks through the short window as far as the sound goes.
    fn look_ahead(&mut self) {
        while self.next_high < self.next + AHEAD as u64 && self.is_heard(self.centre(self.next_high), self.detector.short_reach()) {
            self.ahead[self.next_high as usize % AHEAD] = self.detector.high(&self.front, self.centre(self.next_high));
            self.next_high += 1;
        }
    }

    /// The slow sample at a hop.
    fn centre(&self, hop: u64) -> u64 {
        hop * self.hop as u64 / self.front.factor as u64
    }

    /// Whether a window's last slow sample and the low-pass's reach behind it are there.
    fn is_heard(&self, centre: u64, reach: u64) -> bool {
        (centre + reach - 1) * self.front.factor as u64 + (self.front.slow_delay() as u64) < self.front.full.end()
    }

    /// Whether the short window is enough for a hop.
    fn is_told_by_short(&self, at: u64, candidates: &Candidates) -> bool {
        let follows_high = self.following_hz.is_some_and(|hz| hz > HIGH_HZ);
        let quiet = self.level(at).is_none_or(|l| l < SILENCE_DBFS);
        self.is_clear(candidates) || quiet || (follows_high && !self.struck_within(at, FREE_S))
    }

    fn is_clear(&self, candidates: &Candidates) -> bool {
        let best = candidates.as_slice().first();
        best.is_some_and(|best| best.clarity > CLEAR && self.front.slow_rate() / f64::from(best.period) > HIGH_HZ)
    }

    /// Whether a hop that waits is the unclear beginning of a stroke that is clear by now: the note is shown rather than waited with.
    fn is_noise_of_a_stroke(&self, at: u64) -> bool {
        self.struck_within(at, ATTACK_S) && (self.next + 1..self.next_high).any(|hop| self.is_clear(&self.ahead[hop as usize % AHEAD]))
    }

    /// Whether a string was struck from so many seconds before an instant on.
    fn struck_within(&self, at: u64, seconds: f64) -> bool {
        self.front.struck_between(at.saturating_sub(self.rate.span(seconds).0), self.front.full.end())
    }

    fn advance_now_and_then(&mut self, emit: &mut dyn FnMut(Reading)) {
        if self.front.full.end().is_multiple_of(32) {
            self.advance(emit);
        }
    }

    fn say(&mut self, at: u64, candidates: &Candidates, emit: &mut dyn FnMut(Reading)) {
        let heard = self.front.full.end();
        let free = self.struck_within(at, FREE_S);
        let mut candidates = *candidates;
        self.remind(at, &mut candidates, free);
        let decision: Decision = self.path.push(&candidates, free).flatten();
        self.memory.follow(self.path.best());
        let level_dbfs = self.level(at);
        let sounding = match (level_dbfs.filter(|level| *level >= SILENCE_DBFS), decision) {
            (None, _) => Sounding::Silent,
            (_, None) => Sounding::Unpitched,
            (Some(level), Some((period, clarity))) => {
                let hz = self.refined(at, self.front.slow_rate() / f64::from(period));
                if self.front.is_hum(hz, level, clarity) || (clarity < ATTACK_CLARITY && self.struck_within(at, ATTACK_S)) {
                    Sounding::Unpitched
                } else {
                    Sounding::Pitched { hz, clarity }
                }
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
        let mut found = hz;
        for _ in 0..2 {
            match mean_off_hz(&read(x, self.rate.as_f64(), found, self.slope, half)) {
                // Further off than a quarter tone, the partials are another sound's.
                Some(off) if ((found + off) / hz - 1.0).abs() < 0.03 => {
                    found += off;
                    if (off / found).abs() < NEAR {
                        break;
                    }
                }
                _ => return hz,
            }
        }
        found
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
