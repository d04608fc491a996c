//! Takes what landfall itself plays out of what it hears.
//!
//! What is played is known to the sample; how it comes back (how loud, how delayed within a fraction of a millisecond, how coloured) is learnt as a
//! short filter by weighted least squares, and what that filter makes of it is subtracted. The weight of each stretch is one over the power that is left
//! there: where the player rests, in the count-in above all, the filter is learnt best, and loud playing hardly moves it. Both sides are differenced first,
//! so that the low end, where a guitar is loudest, does not decide alone. (Recursive least squares with a weight by the near end's power: the optimum for
//! Gaussian noise of known, changing power; Haykin, Adaptive Filter Theory, from memory.)
//!
//! The filter spans half a millisecond around the delay that is known: it fits a cable, a loop inside the card, or a near loudspeaker's direct sound, not
//! a room's echoes. Results do not depend on block sizes. Where nothing is played, the samples pass as they are.

use crate::units::SampleRate;
use std::collections::VecDeque;

/// Length of the filter, and how much of it lies before the delay that is known.
const TAPS: usize = 24;
const BEFORE: usize = 8;

/// The filter is learnt anew after so many frames.
const STRETCH: usize = 256;

/// What was learnt fades with this time constant, s.
const MEMORY_S: f64 = 60.0;

/// Added to the diagonal, as a share of its mean: without a click or a drum much of the spectrum says nothing.
const RIDGE: f64 = 1e-8;

/// Power that is there in any case: a converter's noise.
const FLOOR: f64 = 1e-13;

/// The mask of one take.
#[derive(Clone, Debug)]
pub struct Mask {
    /// What was played, newest first: [`TAPS`] frames and one more for the difference.
    played: VecDeque<f64>,
    filter: [f64; TAPS],
    /// Weighted sums of all stretches so far: products of the played with itself (a lower triangle in full rows), and with the heard.
    auto: Box<[[f64; TAPS]; TAPS]>,
    cross: [f64; TAPS],
    /// The same of the stretch under way, without weight.
    part_auto: Box<[[f64; TAPS]; TAPS]>,
    part_cross: [f64; TAPS],
    part_power: f64,
    part_frames: usize,
    last_heard: f64,
    fade: f64,
    silent: bool,
}

impl Mask {
    /// For a take at `rate`.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let zeros = || Box::new([[0.0; TAPS]; TAPS]);
        Self {
            played: VecDeque::from(vec![0.0; TAPS + 1]),
            filter: [0.0; TAPS],
            auto: zeros(),
            cross: [0.0; TAPS],
            part_auto: zeros(),
            part_cross: [0.0; TAPS],
            part_power: 0.0,
            part_frames: 0,
            last_heard: 0.0,
            fade: (-(STRETCH as f64) / rate.as_f64() / MEMORY_S).exp(),
            silent: true,
        }
    }

    /// Frames that the played side has to be ahead of the heard one.
    #[must_use]
    pub fn ahead() -> usize {
        BEFORE
    }

    /// The next frame: what was heard, and what was played [`Self::ahead`] frames later than what should come back in it. Gives what the player did.
    pub fn next(&mut self, heard: f32, played: f32) -> f32 {
        self.played.rotate_right(1);
        self.played[0] = f64::from(played);
        self.silent &= played == 0.0;
        let heard = f64::from(heard);
        let (before, now) = (self.last_heard, heard);
        self.last_heard = heard;
        let comes_back: f64 = self.filter.iter().zip(&self.played).map(|(tap, played)| tap * played).sum();
        if !self.silent {
            self.learn(now - before);
        }
        (heard - comes_back) as f32
    }

    fn learn(&mut self, heard: f64) {
        let mut played = [0.0; TAPS];
        for (tap, difference) in played.iter_mut().enumerate() {
            *difference = self.played[tap] - self.played[tap + 1];
        }
        let left = heard - self.filter.iter().zip(&played).map(|(tap, played)| tap * played).sum::<f64>();
        self.part_power += left * left;
        for (row, a) in self.part_auto.iter_mut().zip(&played) {
            for (sum, b) in row.iter_mut().zip(&played) {
                *sum += a * b;
            }
        }
        for (sum, a) in self.part_cross.iter_mut().zip(&played) {
            *sum += a * heard;
        }
        self.part_frames += 1;
        if self.part_frames == STRETCH {
            self.settle();
        }
    }

    /// A stretch is over: it is weighed, and the filter learnt from all of them.
    fn settle(&mut self) {
        let weight = 1.0 / (self.part_power / STRETCH as f64 + FLOOR);
        for (row, part) in self.auto.iter_mut().zip(self.part_auto.iter_mut()) {
            for (sum, part) in row.iter_mut().zip(part.iter_mut()) {
                *sum = self.fade * *sum + weight * std::mem::take(part);
            }
        }
        for (sum, part) in self.cross.iter_mut().zip(self.part_cross.iter_mut()) {
            *sum = self.fade * *sum + weight * std::mem::take(part);
        }
        self.part_power = 0.0;
        self.part_frames = 0;
        let mean = (0..TAPS).map(|tap| self.auto[tap][tap]).sum::<f64>() / TAPS as f64;
        if let Some(filter) = solved(&self.auto, &self.cross, RIDGE * mean + 1e-3) {
            self.filter = filter;
        }
    }

    /// `frames` frames were lost: the played side goes on, nothing is learnt.
    pub fn lose(&mut self, played: impl Iterator<Item = f32>) {
        for played in played {
            self.played.rotate_right(1);
            self.played[0] = f64::from(played);
            self.silent &= played == 0.0;
        }
        self.last_heard = 0.0;
    }
}

/// Solves a symmetric, positive system with `ridge` on its diagonal (Cholesky); `None` where it is none.
fn solved(matrix: &[[f64; TAPS]; TAPS], right: &[f64; TAPS], ridge: f64) -> Option<[f64; TAPS]> {
    let mut lower = [[0.0; TAPS]; TAPS];
    for i in 0..TAPS {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let rest = matrix[i][j] + if i == j { ridge } else { 0.0 } - known;
            lower[i][j] = if i == j { Some(rest).filter(|rest| *rest > 0.0)?.sqrt() } else { rest / lower[j][j] };
        }
    }
    let mut forward = [0.0; TAPS];
    for i in 0..TAPS {
        let known: f64 = (0..i).map(|k| lower[i][k] * forward[k]).sum();
        forward[i] = (right[i] - known) / lower[i][i];
    }
    let mut solution = [0.0; TAPS];
    for i in (0..TAPS).rev() {
        let known: f64 = (i + 1..TAPS).map(|k| lower[k][i] * solution[k]).sum();
        solution[i] = (forward[i] - known) / lower[i][i];
    }
    solution.iter().all(|tap| tap.is_finite()).then_some(solution)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::synth::{Scenario, render};

    const RATE: u32 = 48_000;

    /// Clicks with a decaying tone, and a steady hiss under them: something like a band.
    fn band(frames: usize) -> Vec<f32> {
        let mut state = 1_u32;
        (0..frames)
            .map(|n| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let noise = (state >> 8) as f32 / 8_388_608.0 - 1.0;
                let since = n % 12_000;
                let tone = (n as f32 * std::f32::consts::TAU * 110.0 / RATE as f32).sin() * (-(since as f32) / 6000.0).exp();
                0.3 * tone + if since < 400 { 0.4 * noise } else { 0.01 * noise }
            })
            .collect()
    }

    fn guitar() -> Vec<f32> {
        let text = "title = \"x\"\nlength_s = 6.0\n[[note]]\nat_s = 2.5\nstring = 2\nfret = 8\n[[note.then]]\nhand = \"bend\"\nat_s = 0.4\ncents = 200.0\ntakes_ms = 150.0\n";
        render(&Scenario::from_toml(text).unwrap()).unwrap().samples
    }

    /// Power of what the band left in the second half, against what it had before, in dB. The band comes back `late` frames late and coloured.
    fn removed_db(late: usize) -> f64 {
        let guitar = guitar();
        let band = band(guitar.len() + TAPS);
        let back = |n: usize| if n < late + 1 { 0.0 } else { 0.08 * band[n - late] - 0.03 * band[n - late - 1] };
        let mut mask = Mask::new(SampleRate::new(RATE).unwrap());
        let (mut before, mut after) = (0.0, 0.0);
        for n in 0..guitar.len() {
            let heard = guitar[n] + back(n);
            let left = mask.next(heard, band[n + Mask::ahead()]);
            if n > guitar.len() / 2 {
                before += f64::from(back(n)).powi(2);
                after += f64::from(left - guitar[n]).powi(2);
            }
        }
        10.0 * (before / after).log10()
    }

    #[test]
    fn a_band_that_comes_back_within_the_filter_is_taken_out_under_a_playing_guitar() {
        for late in [0, 3, 11] {
            let removed = removed_db(late);
            assert!(removed > 30.0, "{late} frames late: only {removed:.1} dB were taken out");
        }
    }

    #[test]
    fn a_band_that_comes_back_later_than_the_filter_reaches_is_left_alone() {
        let removed = removed_db(400);
        assert!(removed > -3.0 && removed < 10.0, "{removed:.1} dB");
    }

    #[test]
    fn without_a_band_every_sample_passes_as_it_is() {
        let mut mask = Mask::new(SampleRate::new(RATE).unwrap());
        assert!(guitar().iter().all(|sample| mask.next(*sample, 0.0).to_bits() == sample.to_bits()));
    }
}
