//! What every detector hears: the samples without their direct current, at full rate and slowed down.

use super::attack::{Attack, AttackFinder, Stage};
use super::decimate::Decimator;
use super::history::History;
use super::hum::Hum;
use crate::units::SampleRate;

/// From one look for hum to the next, s: the settled tracker's look-ahead ends not long after the first one that can find it.
const HUM_LOOKS_S: f64 = 0.1;

/// The signal's last stretch at full rate and at about 12 kHz.
pub struct Front {
    /// Full rate, direct current removed.
    pub full: History<f32>,
    /// Every `factor`-th sample of the low-passed signal: sample `m` describes full-rate sample `m * factor`.
    pub slow: History<f32>,
    /// Full-rate samples per slow one, a power of two.
    pub factor: usize,
    attacks: AttackFinder,
    /// The last strokes, latest last.
    strokes: [Option<u64>; 8],
    decimator: Decimator,
    hum: Hum,
    /// The slow signal with its hum.
    raw: History<f32>,
    /// The hum that was taken out of the last samples, as far back as the slow signal is behind them.
    taken: History<f32>,
    next_look: u64,
    rate: SampleRate,
    retained: f64,
    last_in: f64,
    last_out: f64,
}

impl std::fmt::Debug for Front {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Front").field("rate", &self.rate).field("factor", &self.factor).finish_non_exhaustive()
    }
}

impl Front {
    /// Keeps `seconds` of signal.
    #[must_use]
    pub fn new(rate: SampleRate, seconds: f64) -> Self {
        let factor = 1usize << (rate.hz() / 11_000).max(1).ilog2();
        let frames = rate.span(seconds).0 as usize;
        // One pole at 10 Hz: far under the lowest string, so that it neither weakens nor delays a fundamental noticeably.
        let retained = (-std::f64::consts::TAU * 10.0 / rate.as_f64()).exp();
        let slow_rate = rate.as_f64() / factor as f64;
        let hum = Hum::new(rate.as_f64(), slow_rate);
        let decimator = Decimator::new(factor);
        Self {
            raw: History::new(hum.needs()),
            taken: History::new(decimator.delay() + 1),
            next_look: hum.needs() as u64,
            hum,
            full: History::new(frames),
            slow: History::new(frames / factor),
            factor,
            attacks: AttackFinder::new(rate),
            strokes: [None; 8],
            decimator,
            rate,
            retained,
            last_in: 0.0,
            last_out: 0.0,
        }
    }

    /// Takes one sample; hands out the attacks that became certain.
    pub fn push(&mut self, sample: f32, strike: &mut dyn FnMut(Attack)) {
        let y = self.keep(sample);
        let strokes = &mut self.strokes;
        self.attacks.push(&[y], &mut |attack| {
            note_stroke(strokes, attack);
            strike(attack);
        });
    }

    /// `frames` frames are lost here, each of which is to be [skipped](Self::skip): what was being struck is settled with what is known.
    pub fn lose(&mut self, frames: u64, strike: &mut dyn FnMut(Attack)) {
        self.attacks.lose(frames, strike);
    }

    /// One lost frame: time goes on, nothing was heard.
    pub fn skip(&mut self) {
        self.keep(0.0);
    }

    /// The take has ended: hands out the attack that was being heard.
    pub fn finish(&mut self, strike: &mut dyn FnMut(Attack)) {
        self.attacks.finish(strike);
    }

    /// The sample without direct current and hum, which the histories then hold.
    fn keep(&mut self, sample: f32) -> f32 {
        let x = f64::from(sample);
        let y = x - self.last_in + self.retained * self.last_out;
        self.last_in = x;
        // Subnormal numbers slow some processors down a hundredfold.
        self.last_out = if y.abs() < 1e-30 { 0.0 } else { y };
        let x = self.last_out as f32;
        let y = self.hum.take_out(x);
        self.full.push(y);
        self.taken.push(x - y);
        if let Some(slow) = self.decimator.push(y) {
            self.slow.push(slow);
            // The low-pass lets the lines of hum through as they are: what was taken out at that instant makes the raw signal again.
            let hum = self.taken.get(self.taken.end() - 1 - self.decimator.delay() as u64);
            self.raw.push(slow + hum.unwrap_or(0.0));
            if self.raw.end() == self.next_look {
                self.next_look += (HUM_LOOKS_S * self.slow_rate()) as u64;
                self.look_for_hum();
            }
        }
        y
    }

    /// Whether a string was struck between two full-rate samples, as far as is known now.
    #[must_use]
    pub fn struck_between(&self, from: u64, to: u64) -> bool {
        self.strokes.iter().flatten().any(|&at| (from..=to).contains(&at))
    }

    fn look_for_hum(&mut self) {
        let n = self.hum.needs();
        let ago = (self.full.end() - (self.raw.end() - 1) * self.factor as u64) as f64 / self.rate.as_f64();
        if let Some(x) = self.raw.slice(self.raw.end() - n as u64, n) {
            self.hum.look(x, ago);
        }
    }

    /// Whether a reading is that of mains hum that is known by now; see [`Hum::is_heard`].
    #[must_use]
    pub fn is_hum(&self, hz: f64, level_dbfs: f32, clarity: f32) -> bool {
        self.hum.is_heard(hz, level_dbfs, clarity)
    }

    /// RMS level of the frames within `half` of an instant that are known, dBFS; `None` for digital silence.
    #[must_use]
    pub fn level(&self, at: u64, half: u64) -> Option<f32> {
        let from = at.saturating_sub(half);
        let x = self.full.slice(from, (at + half).min(self.full.end()).saturating_sub(from) as usize)?;
        let power = x.iter().map(|x| x * x).sum::<f32>() / x.len().max(1) as f32;
        (power > 0.0).then(|| 10.0 * power.log10())
    }

    /// Rate of the slow signal, frames a second.
    #[must_use]
    pub fn slow_rate(&self) -> f64 {
        self.rate.as_f64() / self.factor as f64
    }

    /// Full-rate frames after an instant that the slow signal needs to describe it.
    #[must_use]
    pub fn slow_delay(&self) -> usize {
        self.decimator.delay()
    }
}

fn note_stroke(strokes: &mut [Option<u64>; 8], attack: Attack) {
    if attack.struck && attack.stage == Stage::Early {
        strokes.rotate_left(1);
        strokes[7] = Some(attack.at.0);
    }
}
