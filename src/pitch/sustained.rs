//! The tracker of sustained pitch: for tuning, from [`LOWEST_HZ`] upward.
//!
//! A tuned string stands still, so one long window serves all pitches: four periods of the lowest. The likeliest period is the best peak of the
//! window's correlation (see [`super::correlation`]). What a note has been for 0.3 s it stays until the next stroke, as long as the sound could be
//! it: a tail of which only even partials are left is no octave up. An octave read wrong in the noise of an attack is not kept.
//!
//! Each partial is then read at its own place: a stiff string's twelfth lies up to a third of the fundamental's frequency above twelve times that,
//! which a long window would not let through there. The first look, through a short window that lets it through, gives the fundamental and the
//! stretch (`f_k / k = a + b k²`, Fletcher, JASA 36, 203, 1964, to first order in B).
//!
//! No reading is made of the 40 ms after a stroke, when a string is sharp and the pick still sounds, nor of what sounded before it. What sounds
//! without a stroke is said only after half a second: hum is known by then.

use super::candidates::{self, Candidate, Candidates};
use super::causal::SILENCE_DBFS;
use super::correlation::{Transform, Window};
use super::detector::{HIGHEST_HZ, OCTAVE_COST};
use super::front::Front;
use super::partials::{PARTIALS, Partial, mean_off_hz, read, whole_periods};
use super::{Reading, Sounding, Tracker, hop_frames};
use crate::units::{FrameTime, SampleRate};
use rustfft::num_complex::Complex64;

/// Lowest pitch that is read, Hz: the low B of a bass (30.87 Hz), 170 cents flat.
pub const LOWEST_HZ: f64 = 28.0;

/// Length of the window, s: four periods of [`LOWEST_HZ`].
const WINDOW_S: f64 = 0.143;
/// Left out after a stroke, s.
const AFTER_STROKE_S: f64 = 0.04;
/// Hops of the other trackers from one reading to the next: 10.7 ms at 48 kHz.
const HOPS: usize = 4;
/// Peaks under this height are no candidates.
const LEAST_CLARITY: f32 = 0.5;
/// A note that has been read alike so long is held on to, s.
const KNOWN_S: f64 = 0.3;
/// What was never struck is said after so long, s.
const UNSTRUCK_S: f64 = 0.5;
/// It is held while its candidate's rank is at most so far under the best one's.
const HELD_RANK: f32 = 0.2;
/// It is let go when the sound has been another for so many readings.
const ANOTHER: u32 = 10;
/// Readings further apart are not alike: 80 cents.
const ALIKE: f64 = 0.8 / 12.0;
/// Half the window of the first look at the partials, s; 2.2 periods where that is longer.
const FIRST_HALF_S: f64 = 0.0112;

/// The tracker of the pitch of a string that rings; see the module.
#[derive(Debug)]
pub struct Sustained {
    rate: SampleRate,
    hop: usize,
    front: Front,
    window: Window,
    transform: Transform,
    /// Frames from the middle of the window to its end.
    half: u64,
    next: u64,
    held: Held,
}

/// What the sounding note has been.
#[derive(Clone, Copy, Debug, Default)]
struct Held {
    /// The last reading, Hz.
    hz: Option<f64>,
    /// Readings alike in a row.
    alike: u32,
    /// Readings in a row that were another note.
    others: u32,
    /// Whether a string was struck since it was silent.
    struck: bool,
}

impl Held {
    fn is_near(self, hz: f64) -> bool {
        self.hz.is_some_and(|held| (hz / held).log2().abs() < ALIKE)
    }

    /// Takes a reading in; so many alike make a note that is held.
    fn remember(&mut self, hz: f64, known: u32) {
        if self.is_near(hz) {
            *self = Self { hz: Some(hz), alike: self.alike + 1, others: 0, ..*self };
        } else if self.alike >= known && self.others < ANOTHER {
            self.others += 1;
        } else {
            *self = Self { hz: Some(hz), alike: 1, others: 0, ..*self };
        }
    }

    /// Whether it is a note: struck, or heard alike for so many readings.
    fn counts(self, unstruck: u32) -> bool {
        self.struck || self.alike >= unstruck
    }
}

impl Sustained {
    /// For one take.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        candidates::prepare();
        let front = Front::new(rate, 0.4);
        let length = ((WINDOW_S * front.slow_rate() / 2.0).round() as usize * 2).max(16);
        let window = Window::new(length, (front.slow_rate() / LOWEST_HZ).ceil() as usize + 2);
        let half = (length / 2 * front.factor) as u64;
        Self { rate, hop: HOPS * hop_frames(rate), front, transform: Transform::new(&window), window, half, next: 0, held: Held::default() }
    }

    fn advance(&mut self, emit: &mut dyn FnMut(Reading)) {
        loop {
            let at = self.next * self.hop as u64;
            let ready = at + self.half + self.front.slow_delay() as u64;
            if ready >= self.front.full.end() {
                return;
            }
            self.next += 1;
            let level_dbfs = self.front.level(at, self.half);
            let silent = level_dbfs.is_none_or(|level| level < SILENCE_DBFS);
            let from = at.saturating_sub(self.half + self.rate.span(AFTER_STROKE_S).0);
            let struck = self.front.struck_between(from, self.front.full.end());
            if silent || struck {
                self.held = Held { struck, ..Held::default() };
            }
            let sounding = match self.period(at) {
                _ if silent => Sounding::Silent,
                Some((hz, clarity)) if !struck && self.held.counts(self.readings_in(UNSTRUCK_S)) => {
                    Sounding::Pitched { hz: self.refined(at, hz), clarity }
                }
                _ => Sounding::Unpitched,
            };
            emit(Reading { at: FrameTime(at), ready: FrameTime(ready), level_dbfs, sounding });
        }
    }

    fn readings_in(&self, seconds: f64) -> u32 {
        (seconds * self.rate.as_f64() / self.hop as f64) as u32
    }

    /// The likeliest frequency around an instant, Hz, and its clarity.
    fn period(&mut self, at: u64) -> Option<(f64, f32)> {
        let slow_rate = self.front.slow_rate();
        let n = self.window.length();
        let start = (at / self.front.factor as u64).checked_sub(n as u64 / 2)?;
        let x = self.front.slow.slice(start, n)?;
        let mut found = Candidates::default();
        let (from, to) = ((slow_rate / HIGHEST_HZ) as f32, (slow_rate / LOWEST_HZ) as f32);
        found.offer_peaks(self.transform.of(&mut self.window, x), from, to, LEAST_CLARITY, OCTAVE_COST);
        let hz = |candidate: &Candidate| slow_rate / f64::from(candidate.period);
        let known = self.readings_in(KNOWN_S);
        let best = found.as_slice().first()?;
        let held = found.as_slice().iter().find(|candidate| self.held.is_near(hz(candidate)) && candidate.rank > best.rank - HELD_RANK);
        let chosen = held.filter(|_| self.held.alike >= known).unwrap_or(best);
        self.held.remember(hz(chosen), known);
        Some((hz(chosen), chosen.clarity))
    }

    fn refined(&self, at: u64, hz: f64) -> f64 {
        let rate = self.rate.as_f64();
        let reach = self.half.min(at);
        let Some(x) = self.front.full.slice(at - reach, 2 * reach as usize) else { return hz };
        let short = whole_periods(FIRST_HALF_S.max(2.2 / hz).min(reach as f64 / rate), hz) * rate;
        let within = (short.ceil() as usize).min(reach as usize);
        let first = read(&x[reach as usize - within..reach as usize + within], rate, hz, 0.0, short);
        let Some((root, stretch)) = stretched(&first, hz) else { return hz };
        let half = whole_periods(reach as f64 / rate, hz) * rate;
        let mut partials = [Partial::default(); PARTIALS];
        for (i, partial) in partials.iter_mut().enumerate() {
            let k = (i + 1) as f64;
            let place = k * (root + stretch * k * k);
            if place < 0.46 * rate {
                let found = read_one(x, rate, place, half);
                *partial = Partial { off_hz: found.off_hz + (place - k * hz) as f32, ..found };
            }
        }
        match mean_off_hz(&partials) {
            // Further off than a quarter tone, the partials are another sound's.
            Some(off) if (off / hz).abs() < 0.03 => hz + off,
            _ => hz,
        }
    }
}

/// Root `a` and stretch `b` of `f_k / k = a + b k²`, fitted to the partials by their power; a string is never compressed, so `b` is at least 0.
fn stretched(partials: &[Partial; PARTIALS], hz: f64) -> Option<(f64, f64)> {
    let loudest = partials.iter().map(|partial| partial.power).fold(0.0, f32::max);
    let (mut n, mut x, mut y, mut xx, mut xy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (i, partial) in partials.iter().enumerate() {
        let k = (i + 1) as f64;
        let value = hz + f64::from(partial.off_hz) / k;
        // Weak partials are noise; one further off than the short window reaches is another's.
        if partial.power <= 1e-3 * loudest || (value / hz - 1.0).abs() > 0.04 {
            continue;
        }
        let weight = f64::from(partial.power);
        n += weight;
        x += weight * k * k;
        y += weight * value;
        xx += weight * k.powi(4);
        xy += weight * k * k * value;
    }
    if n <= 0.0 {
        return None;
    }
    let spread = xx - x * x / n;
    let slope = if spread > 1e-9 * xx { (xy - x * y / n) / spread } else { 0.0 };
    // B of the stiffest strings is under 0.001.
    let slope = slope.clamp(0.0, 0.0005 * hz);
    Some(((y - slope * x) / n, slope))
}

/// One partial at `hz`, through a Hann window of `half` frames to each side of the middle of `x`; see [`read`].
fn read_one(x: &[f32], rate: f64, hz: f64, half: f64) -> Partial {
    let middle = x.len() / 2;
    let within = (half.floor() as usize).min(middle);
    let step = Complex64::from_polar(1.0, -std::f64::consts::TAU * hz / rate);
    let mut z = Complex64::from_polar(1.0, std::f64::consts::TAU * hz / rate * within as f64);
    let turn = Complex64::from_polar(1.0, std::f64::consts::PI / half);
    let mut angle = Complex64::from_polar(1.0, -std::f64::consts::PI / half * within as f64);
    let (mut sum, mut slope, mut weight) = (Complex64::default(), Complex64::default(), 0.0);
    for &sample in &x[middle - within..middle + within] {
        let w = 0.5 + 0.5 * angle.re;
        let value = z * f64::from(sample);
        sum += value * w;
        slope -= value * (0.5 * std::f64::consts::PI / half * angle.im);
        weight += w;
        z *= step;
        angle *= turn;
    }
    let power = sum.norm_sqr();
    if power <= 0.0 || weight <= 0.0 {
        return Partial::default();
    }
    let turning = -(slope * sum.conj()).im / power;
    Partial { power: (power / (weight * weight)) as f32, off_hz: (turning * rate / std::f64::consts::TAU) as f32 }
}

impl Tracker for Sustained {
    fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Reading)) {
        for &x in samples {
            self.front.push(x, &mut |_| ());
            if self.front.full.end().is_multiple_of(64) {
                self.advance(emit);
            }
        }
    }

    fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Reading)) {
        for _ in 0..frames {
            self.push(&[0.0], emit);
        }
    }

    fn finish(&mut self, _: &mut dyn FnMut(Reading)) {}
}
