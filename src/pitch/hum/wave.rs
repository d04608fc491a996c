//! The learnt waveform: one period of it, and where it stands.

use super::fit::Lines;
use rustfft::num_complex::Complex64;
use std::f64::consts::TAU;

/// Points of one period of the learnt waveform.
const TABLE: usize = 2048;

/// A period that is read round and round.
#[derive(Debug)]
struct Period {
    /// The last point is the first one again.
    table: Vec<f32>,
    /// Periods per full-rate sample, and the period's phase at the next sample.
    step: f64,
    phase: f64,
}

impl Period {
    fn next(&mut self) -> f32 {
        let at = self.phase * TABLE as f64;
        let i = (at as usize).min(TABLE - 1);
        let f = (at - i as f64) as f32;
        self.phase = (self.phase + self.step).fract();
        self.table[i] + (self.table[i + 1] - self.table[i]) * f
    }
}

/// The waveform that is taken out, and the one before it for fading over.
#[derive(Debug)]
pub(super) struct Wave {
    rate: f64,
    new: Period,
    old: Period,
    fade: f64,
    active: bool,
}

impl Wave {
    pub(super) fn new(rate: f64) -> Self {
        let silence = || Period { table: vec![0.0; TABLE + 1], step: 0.0, phase: 0.0 };
        Self { rate, new: silence(), old: silence(), fade: 0.0, active: false }
    }

    /// From the next sample on, these lines, as they stood `ago` seconds before it.
    pub(super) fn learn(&mut self, found: &Lines, ago: f64) {
        std::mem::swap(&mut self.new, &mut self.old);
        for (i, point) in self.new.table.iter_mut().enumerate() {
            let z = Complex64::from_polar(1.0, TAU * i as f64 / TABLE as f64);
            let mut power = z;
            let mut sum = 0.0;
            for line in &found.amplitudes {
                sum += (line * power).re;
                power *= z;
            }
            *point = sum as f32;
        }
        self.new.step = found.hz / self.rate;
        self.new.phase = (found.hz * ago).rem_euclid(1.0);
        self.fade = 0.0;
        self.active = true;
    }

    /// The sample without the hum.
    pub(super) fn take_out(&mut self, sample: f32) -> f32 {
        if !self.active {
            return sample;
        }
        let new = self.new.next();
        // 10 ms from the old waveform to the new one: no click for an attack detector to hear.
        self.fade = (self.fade + 100.0 / self.rate).min(1.0);
        let old = if self.fade < 1.0 { self.old.next() } else { 0.0 };
        let f = self.fade as f32;
        sample - (new * f + old * (1.0 - f))
    }
}
