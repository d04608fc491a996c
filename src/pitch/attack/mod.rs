//! Attacks: the instants at which a string is struck, from the sound alone, while it streams.
//!
//! # Conventions
//!
//! Evidence is the *rise*: how many decibels, in the mean over bands from 190 Hz to 12 kHz, the last 5 ms are louder than
//! anything in their own and the neighbouring bands during the 20 ms before them. That is spectral flux (Dixon, DAFx 2006) against a
//! frequency-maximum-filtered past (SuperFlux, Böck & Widmer, DAFx 2013), so that a bend or vibrato, which moves a partial into the
//! neighbouring band, is no rise; and against the loudest of 20 ms, more than a period of the lowest string, so that the pulses of a low
//! note and the beating of partials are none either. Each band counts at most 20 dB, so that no single one decides.
//!
//! The instant is the first at which the sound, high-passed at 300 Hz, exceeds a tenth of the peak it reaches in the next 50 ms,
//! after a stretch of 3 ms that stays below; where the old note, a backing or noise is louder than that, the lowest of a few higher
//! thresholds that such a stretch stays below and from which on the mean level is clearly higher than before. That is where a person
//! puts the cursor (common practice, no source).
//!
//! Not seen: a note struck again through heavy distortion with less than about 10 ms of damping before it. Nothing rises then; only
//! the phase of its partials starts anew, which whoever follows the pitch can tell.
//!
//! Each attack is said twice: [`Stage::Early`] as soon as it is proven (a few ms after it, for a tracker that must forget the
//! old note), [`Stage::Settled`] with the instant refined at most [`LOOK_AHEAD_S`] after it.

mod envelope;
mod rise;

use crate::units::{FrameTime, SampleRate};
use envelope::Envelope;
use rise::RiseMeter;

/// The most, in seconds, that a settled attack is said after its instant.
pub const LOOK_AHEAD_S: f64 = 0.1;

/// Rise in dB from which an attack is a pick stroke. Measured on 128 strokes of recorded electric guitars, clean, driven and under noise,
/// hum, backing and other strings: the weakest rises by 3.5 dB, hammer-ons and the entry of a backing by up to 2.3.
pub const STRUCK_RISE_DB: f32 = 2.4;

/// A soft sound must stand out more: dB of rise asked for each dB that its peak is below [`SOFT_DB`] under the loudest heard lately.
const SOFT_SLOPE: f32 = 0.3;
/// See [`SOFT_SLOPE`]; the backing that bleeds into a pickup is softer than this, the next note is not.
const SOFT_DB: f32 = -14.0;
/// After a stroke the string rattles: for so long a larger rise is asked for, which falls to [`STRUCK_RISE_DB`].
const RATTLE_S: f64 = 0.14;
/// It begins at half of the stroke's own rise, or here where its peak is lower than [`RATTLE_PEAK`] times the stroke's.
const RATTLE_RISE_DB: f32 = 10.0;
/// See [`RATTLE_RISE_DB`].
const RATTLE_PEAK: f32 = 0.6;
/// With less than this heard before it, an attack is an opening: the past that a rise is measured against is not complete.
const OPENING_S: f64 = 0.02;
/// Rise in dB asked of an opening.
const OPENING_RISE_DB: f32 = 6.0;
/// Rise in dB from which anything is said at all.
const WEAK_RISE_DB: f32 = 1.2;
/// A louder rise so soon after another belongs to the same stroke: distorted strings swell for 30 ms.
const SAME_STROKE_S: f64 = 0.035;
/// The settled instant waits so long after the largest rise for the peak that it is measured against.
const PEAK_WAIT_S: f64 = 0.045;
/// A stroke is settled at latest so long after its first evidence.
const STROKE_S: f64 = 0.085;

/// How final an attack is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Proven, but its instant may still move by some milliseconds and its rise may grow. Only pick strokes are said early.
    Early,
    /// Final.
    Settled,
}

/// One attack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attack {
    /// Its instant.
    pub at: FrameTime,
    /// The last sample that was needed to say this.
    pub ready: FrameTime,
    /// Early or settled: each struck attack comes as both, in this order.
    pub stage: Stage,
    /// The evidence: mean rise over the bands in dB (see the module's conventions), 0 to 20.
    pub rise_db: f32,
    /// Whether the evidence is that of a pick stroke; a weaker one may be a hammer-on, a slide or a noise of the hand.
    pub struck: bool,
    /// The take (or the sound after a loss) begins less than 20 ms before, so that a stroke and a cut into a sounding note, hum or
    /// noise look alike. Whoever knows what sounds next must judge.
    pub opening: bool,
}

/// A stroke that is being heard.
#[derive(Clone, Copy, Debug)]
struct Stroke {
    first: u64,
    largest: u64,
    rise_db: f32,
    early_said: bool,
}

/// Finds attacks in a stream of samples.
///
/// Results do not depend on how the samples are cut into calls. Memory is fixed by [`AttackFinder::new`]; no call after it allocates.
pub struct AttackFinder {
    rate: SampleRate,
    /// Frames of the take so far, lost ones included.
    heard: u64,
    rises: RiseMeter,
    envelope: Envelope,
    stroke: Option<Stroke>,
    /// The last settled stroke and its peak.
    last: Option<(Attack, f32)>,
}

impl AttackFinder {
    /// A finder that has heard nothing; plans its FFT and takes all its memory here.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        Self { rate, heard: 0, rises: RiseMeter::new(rate), envelope: Envelope::new(rate), stroke: None, last: None }
    }

    /// Takes the next samples and hands out what became certain.
    pub fn push(&mut self, samples: &[f32], emit: &mut dyn FnMut(Attack)) {
        for &sample in samples {
            self.heard += 1;
            self.envelope.push(sample);
            if let Some(rise_db) = self.rises.push(sample) {
                self.judge(rise_db, emit);
            }
        }
    }

    /// `frames` frames were lost here: what was being heard is settled with what is known, and what follows is an opening.
    pub fn lose(&mut self, frames: u64, emit: &mut dyn FnMut(Attack)) {
        self.settle(emit);
        self.heard += frames;
        self.rises.forget();
        self.envelope.restart(self.heard);
    }

    /// The take has ended: settles what was being heard.
    pub fn finish(&mut self, emit: &mut dyn FnMut(Attack)) {
        self.settle(emit);
    }

    fn frames(&self, seconds: f64) -> u64 {
        self.rate.span(seconds).0
    }

    fn judge(&mut self, rise_db: f32, emit: &mut dyn FnMut(Attack)) {
        let now = self.heard;
        if let Some(stroke) = self.stroke {
            let apart = now - stroke.largest > self.frames(SAME_STROKE_S);
            let next = apart && stroke.rise_db >= STRUCK_RISE_DB && rise_db >= STRUCK_RISE_DB;
            let waited = now - stroke.largest >= self.frames(PEAK_WAIT_S) || now - stroke.first >= self.frames(STROKE_S);
            if next || waited {
                self.settle(emit);
            }
        }
        match &mut self.stroke {
            Some(stroke) if rise_db > stroke.rise_db => {
                stroke.rise_db = rise_db;
                stroke.largest = now;
            }
            None if rise_db >= WEAK_RISE_DB => {
                self.stroke = Some(Stroke { first: now, largest: now, rise_db, early_said: false });
            }
            _ => {}
        }
        if let Some(stroke) = self.stroke.filter(|s| !s.early_said && s.rise_db >= STRUCK_RISE_DB)
            && let Some((attack, _)) = self.attack(stroke, Stage::Early).filter(|(attack, _)| attack.struck)
        {
            self.stroke = Some(Stroke { early_said: true, ..stroke });
            emit(attack);
        }
    }

    fn settle(&mut self, emit: &mut dyn FnMut(Attack)) {
        if let Some(stroke) = self.stroke.take()
            && let Some((attack, peak)) = self.attack(stroke, Stage::Settled)
        {
            if attack.struck {
                self.last = Some((attack, peak));
            }
            emit(attack);
        }
    }

    /// The stroke with its instant as far as it can be told now, and its peak; nothing where it is the tail of the attack before.
    fn attack(&self, stroke: Stroke, stage: Stage) -> Option<(Attack, f32)> {
        let onset = self.envelope.onset(stroke.largest);
        let mut asked = STRUCK_RISE_DB + SOFT_SLOPE * (SOFT_DB - 20.0 * onset.height.log10()).max(0.0);
        if let Some((last, peak)) = self.last {
            let since = FrameTime(onset.at).since(last.at).seconds(self.rate);
            if since < SAME_STROKE_S && !stroke.early_said {
                return None;
            }
            let start = if onset.peak < RATTLE_PEAK * peak { RATTLE_RISE_DB.max(last.rise_db / 2.0) } else { last.rise_db / 2.0 };
            asked = asked.max(start * (1.0 - since / RATTLE_S) as f32);
        }
        let opening = onset.before < self.frames(OPENING_S);
        if opening {
            asked = asked.max(OPENING_RISE_DB);
        }
        let struck = stroke.early_said || stroke.rise_db >= asked;
        let (at, ready) = (FrameTime(onset.at), FrameTime(self.heard));
        Some((Attack { at, ready, stage, rise_db: stroke.rise_db, struck, opening }, onset.peak))
    }
}

#[cfg(test)]
mod tests;
