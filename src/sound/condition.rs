//! What no analysis can bear is replaced, and said: samples that are no numbers, and runs at full scale.

use super::{Fault, FaultKind};
use crate::units::{FrameSpan, FrameTime};

/// Beyond 60 dB over full scale a number is no sound any more; squares and filters downstream would overflow.
const ABSURD: f32 = 1000.0;
/// Converters clip at their own full scale, which for 8 bits is 127/128 of ours.
const FULL_SCALE: f32 = 0.98;
/// So many equal samples in a row at full scale are a flat top. A full-scale sine of 60 Hz at 48 kHz in 16 bits has three at most
/// (neighbours of its peak differ by 3e-5, one step).
const FLAT_RUN: u64 = 4;

/// Looks at each sample once, in order; results do not depend on how the samples are cut into calls.
#[derive(Debug, Default)]
pub struct Conditioner {
    flat_value: f32,
    flat_run: u64,
}

impl Conditioner {
    /// Replaces in place and appends what was found to `faults`, oldest first; neighbouring ones are one.
    pub fn run(&mut self, start: FrameTime, samples: &mut [f32], faults: &mut Vec<Fault>) {
        for (offset, sample) in samples.iter_mut().enumerate() {
            let at = start + FrameSpan(offset as u64);
            if sample.is_nan() || sample.abs() > ABSURD {
                *sample = 0.0;
                note(faults, FaultKind::NotANumber, at, 1);
            } else if sample.is_subnormal() {
                // Inaudible (under -750 dB), and slow in every filter.
                *sample = 0.0;
            }
            self.watch_full_scale(at, *sample, faults);
        }
    }

    fn watch_full_scale(&mut self, at: FrameTime, sample: f32, faults: &mut Vec<Fault>) {
        if sample.abs() < FULL_SCALE || sample.to_bits() != self.flat_value.to_bits() {
            self.flat_value = sample;
            self.flat_run = u64::from(sample.abs() >= FULL_SCALE);
            return;
        }
        self.flat_run += 1;
        if self.flat_run == FLAT_RUN {
            note(faults, FaultKind::Clipped, at - FrameSpan(FLAT_RUN - 1), FLAT_RUN);
        } else if self.flat_run > FLAT_RUN {
            note(faults, FaultKind::Clipped, at, 1);
        }
    }
}

/// Joins what touches, so that a stretch of a thousand bad samples is one fault.
pub(super) fn note(faults: &mut Vec<Fault>, kind: FaultKind, at: FrameTime, frames: u64) {
    if let Some(last) = faults.last_mut()
        && last.kind == kind
        && last.at + last.length == at
    {
        last.length = FrameSpan(last.length.0 + frames);
        return;
    }
    faults.push(Fault { kind, at, length: FrameSpan(frames) });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn conditioned(samples: &[f32]) -> (Vec<f32>, Vec<Fault>) {
        let (mut samples, mut faults) = (samples.to_vec(), Vec::new());
        Conditioner::default().run(FrameTime(100), &mut samples, &mut faults);
        (samples, faults)
    }

    fn fault(kind: FaultKind, at: u64, length: u64) -> Fault {
        Fault { kind, at: FrameTime(at), length: FrameSpan(length) }
    }

    #[test]
    fn nan_and_infinity_become_zero_and_one_fault_a_stretch() {
        let (samples, faults) = conditioned(&[0.1, f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 0.2, f32::NAN]);
        assert_eq!(samples, [0.1, 0.0, 0.0, 0.0, 0.2, 0.0]);
        assert_eq!(faults, [fault(FaultKind::NotANumber, 101, 3), fault(FaultKind::NotANumber, 105, 1)]);
    }

    #[test]
    fn a_flat_top_at_full_scale_is_clipped_and_the_samples_stay() {
        let (samples, faults) = conditioned(&[0.5, 1.0, 1.0, 1.0, 1.0, 1.0, 0.5]);
        assert_eq!(samples[1..6], [1.0; 5]);
        assert_eq!(faults, [fault(FaultKind::Clipped, 101, 5)]);
    }

    #[test]
    fn a_full_scale_sine_of_60_hz_in_16_bits_is_not_clipped() {
        let sine: Vec<f32> =
            (0..4800).map(|n| ((std::f64::consts::TAU * 60.0 * f64::from(n) / 48000.0).sin() * 32767.0).round() as f32 / 32768.0).collect();
        assert_eq!(conditioned(&sine).1, []);
    }

    #[test]
    fn subnormals_become_zero_and_are_no_fault() {
        let (samples, faults) = conditioned(&[1e-39, -1e-42, 1e-30]);
        assert_eq!((samples, faults), (vec![0.0, 0.0, 1e-30], vec![]));
    }

    #[test]
    fn a_flat_top_cut_into_single_samples_is_found_alike() {
        let samples = [0.0, -1.0, -1.0, -1.0, -1.0, -1.0, -1.0, 0.0];
        let (mut conditioner, mut faults) = (Conditioner::default(), Vec::new());
        for (n, sample) in samples.iter().enumerate() {
            conditioner.run(FrameTime(100 + n as u64), &mut [*sample], &mut faults);
        }
        assert_eq!(faults, conditioned(&samples).1);
    }
}
