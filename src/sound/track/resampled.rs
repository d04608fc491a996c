//! Another number of frames a second. The one door to the library that does it.

use crate::units::SampleRate;
use rubato::audioadapter_buffers::owned::InterleavedOwned;
use rubato::{Fft, FixedSync, Resampler};

/// Frames that are taken at a time.
const CHUNK: usize = 1024;

/// The same sound at rate `to`: sample n of what comes lies at `n / to` seconds, as sample n of what was given lies at `n / from`.
///
/// # Errors
/// What the library says.
pub(super) fn resampled(samples: Vec<f32>, from: SampleRate, to: SampleRate) -> Result<Vec<f32>, String> {
    if from == to || samples.is_empty() {
        return Ok(samples);
    }
    let (from_hz, to_hz) = (from.hz() as usize, to.hz() as usize);
    let least = from_hz / common_divisor(from_hz, to_hz);
    // An odd number of blocks would be half a frame late: the library's delay is counted in whole frames.
    let chunk = least * CHUNK.div_ceil(least).next_multiple_of(2);
    let mut resampler = Fft::<f32>::new(from_hz, to_hz, chunk, 1, FixedSync::Both).map_err(|error| error.to_string())?;
    let frames = samples.len();
    let given = InterleavedOwned::new_from(samples, 1, frames).map_err(|error| error.to_string())?;
    let made = resampler.process_all(&given, frames, None).map_err(|error| error.to_string())?;
    Ok(made.take_data())
}

/// Euclid's.
fn common_divisor(a: usize, b: usize) -> usize {
    if b == 0 { a } else { common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_tone_is_the_same_tone_at_the_same_instants_at_every_rate() {
        let rate = |hz| SampleRate::new(hz).unwrap();
        let tone = |hz: u32| (0..hz * 2).map(|n| (TAU * 997.0 * f64::from(n) / f64::from(hz)).sin() as f32 * 0.5).collect::<Vec<f32>>();
        for (from, to) in [(44_100, 48_000), (48_000, 44_100), (96_000, 48_000), (22_050, 48_000)] {
            let made = resampled(tone(from), rate(from), rate(to)).unwrap();
            let wanted = tone(to);
            assert!(made.len().abs_diff(wanted.len()) <= 1, "{from} to {to}: {} samples", made.len());
            // The ends ring.
            let inside = 4000..wanted.len() - 4000;
            let worst = inside.map(|n| (made[n] - wanted[n]).abs()).fold(0.0, f32::max);
            // -100 dB of the tone.
            assert!(worst < 5e-6, "{from} to {to}: off by {worst}");
        }
    }
}
