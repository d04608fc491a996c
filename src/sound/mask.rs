//! Takes what landfall itself plays out of what it hears.
//!
//! What is played is known to the sample; how it comes back (how loud, how delayed within a fraction of a millisecond, how coloured) is learnt as a
//! short filter by weighted least squares, and what that filter makes of it is subtracted. The weight of each stretch is one over the power that is left
//! there: where the player rests, in the count-in above all, the filter is learnt best, and loud playing hardly moves it. Both sides are differenced first,
//! so that the low end, where a guitar is loudest, does not decide alone. (Recursive least squares with a weight by the near end's power: the optimum for
//! Gaussian noise of known, changing power; Haykin, Adaptive Filter Theory, from memory.) What is not heard yet is filled by what rooms are like: the
//! sound that comes straight is the strongest, and its echoes die away. With weights of one over a power that is a variance of each tap, added as its inverse
//! to the diagonal (the mean of Bayes' rule for Gaussians).
//!
//! The filter spans 2.7 ms at 48 kHz, 2.2 ms of it after the delay that is known: it fits a cable, a loop inside the card, a near loudspeaker and its first echoes, not
//! all of a room. Results do not depend on block sizes. Where nothing is played, the samples pass as they are.

use crate::units::SampleRate;

/// Length of the filter, and how much of it lies before the delay that is known.
const TAPS: usize = 128;
const BEFORE: usize = 24;

/// The filter is learnt anew after so many frames; when it has been for a while, after so many times more.
const STRETCH: usize = 256;
const AT_FIRST: u64 = 64;
const LATER: u64 = 8;

/// What was learnt fades with this time constant, s.
const MEMORY_S: f64 = 60.0;

/// How large a tap may be before anything is heard (standard deviation), and how many taps further it is ten times smaller; no smaller near the
/// delay that is known.
const LARGEST: f64 = 0.5;
const TENTH_AFTER: f64 = 60.0;
const NEAR: f64 = 20.0;

/// Power that is there in any case: a converter's noise; and of what comes back, a share that no straight filter explains.
const FLOOR: f64 = 1e-13;
const UNEXPLAINED: f64 = 1e-6;

/// What lies before a stretch, of which the differences are needed too.
const HISTORY: usize = TAPS + 1;

/// The mask of one take.
#[derive(Clone, Debug)]
pub struct Mask {
    /// What was played: [`HISTORY`] frames, then those of the stretch under way, oldest first.
    played: Vec<f64>,
    /// Where the next frame goes.
    place: usize,
    /// What was heard in the stretch under way, differenced.
    heard: Vec<f64>,
    /// The filter, its last tap first.
    filter: Vec<f64>,
    /// Weighted sums of all stretches so far: products of the played with itself (a lower triangle in full rows), and with the heard.
    auto: Vec<f64>,
    cross: Vec<f64>,
    /// One over the variance of each tap before anything was heard.
    prior: Vec<f64>,
    lower: Vec<f64>,
    /// The system's solution, first tap first.
    solution: Vec<f64>,
    /// The differences of `played`; the first is of no use.
    differences: Vec<f64>,
    last_heard: f64,
    last_left: f64,
    /// What stays of the stretch under way: the power of the differences, and that of what came back.
    left_power: f64,
    back_power: f64,
    fade: f64,
    silent: bool,
    /// Frames were lost in the stretch under way.
    spoilt: bool,
    stretches: u64,
}

impl Mask {
    /// For a take at `rate`.
    #[must_use]
    pub fn new(rate: SampleRate) -> Self {
        let deviation = |tap: usize| LARGEST * 10_f64.powf(-((tap as f64 - BEFORE as f64).abs() - NEAR).max(0.0) / TENTH_AFTER);
        Self {
            played: vec![0.0; HISTORY + STRETCH],
            place: HISTORY,
            heard: vec![0.0; STRETCH],
            filter: vec![0.0; TAPS],
            auto: vec![0.0; TAPS * TAPS],
            cross: vec![0.0; TAPS],
            prior: (0..TAPS).map(|tap| deviation(tap).powi(-2)).collect(),
            lower: vec![0.0; TAPS * TAPS],
            solution: vec![0.0; TAPS],
            differences: vec![0.0; HISTORY + STRETCH],
            last_heard: 0.0,
            last_left: 0.0,
            left_power: 0.0,
            back_power: 0.0,
            fade: (-(STRETCH as f64) / rate.as_f64() / MEMORY_S).exp(),
            silent: true,
            spoilt: false,
            stretches: 0,
        }
    }

    /// Frames that the played side has to be ahead of the heard one.
    #[must_use]
    pub fn ahead() -> usize {
        BEFORE
    }

    /// The next frame: what was heard, and what was played [`Self::ahead`] frames later than what should come back in it. Gives what the player did.
    pub fn next(&mut self, heard: f32, played: f32) -> f32 {
        self.played[self.place] = f64::from(played);
        self.silent &= played == 0.0;
        let recent = &self.played[self.place + 1 - TAPS..=self.place];
        let comes_back: f64 = if self.silent { 0.0 } else { self.filter.iter().zip(recent).map(|(tap, played)| tap * played).sum() };
        let heard = f64::from(heard);
        let left = heard - comes_back;
        self.heard[self.place - HISTORY] = heard - self.last_heard;
        let (now, before) = (left - self.last_left, heard - self.last_heard);
        self.left_power += now.powi(2);
        self.back_power += (before - now).powi(2);
        (self.last_heard, self.last_left) = (heard, left);
        self.step();
        left as f32
    }

    /// `frames` frames were lost: the played side goes on, nothing is learnt.
    pub fn lose(&mut self, played: impl Iterator<Item = f32>) {
        for played in played {
            self.played[self.place] = f64::from(played);
            self.silent &= played == 0.0;
            self.spoilt = true;
            self.step();
        }
        (self.last_heard, self.last_left) = (0.0, 0.0);
    }

    fn step(&mut self) {
        self.place += 1;
        if self.place < self.played.len() {
            return;
        }
        if !self.silent && !self.spoilt {
            self.gather();
            self.stretches += 1;
            if self.stretches < AT_FIRST || self.stretches.is_multiple_of(LATER) {
                self.solve();
            }
        }
        self.spoilt = false;
        (self.left_power, self.back_power) = (0.0, 0.0);
        self.played.copy_within(STRETCH.., 0);
        self.place = HISTORY;
    }

    /// A stretch is over: it is weighed, and its products are added.
    ///
    /// The sum of `x[n - i - 1] x[n - j - 1]` over a stretch is that of `x[n - i] x[n - j]` but for the products at both ends: only the first row is summed.
    fn gather(&mut self) {
        let x = &mut self.differences;
        x[1..].iter_mut().zip(self.played.windows(2)).for_each(|(x, pair)| *x = pair[1] - pair[0]);
        let x = &self.differences;
        let (first, end) = (HISTORY, HISTORY + STRETCH);
        let against = |late: usize, other: &[f64]| x[first - late..end - late].iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
        let weight = 1.0 / ((self.left_power + UNEXPLAINED * self.back_power) / STRETCH as f64 + FLOOR);
        for late in 0..TAPS {
            self.cross[late] = self.fade * self.cross[late] + weight * against(late, &self.heard);
            let mut sum = against(late, &x[first..end]);
            for column in 0..TAPS - late {
                let row = column + late;
                let cell = &mut self.auto[row * TAPS + column];
                *cell = self.fade * *cell + weight * sum;
                if row + 1 < TAPS {
                    sum += x[first - 1 - row] * x[first - 1 - column] - x[end - 1 - row] * x[end - 1 - column];
                }
            }
        }
    }

    /// The filter that all stretches so far ask for: a symmetric, positive system (Cholesky). It stays as it was where there is none.
    fn solve(&mut self) {
        let lower = &mut self.lower;
        for i in 0..TAPS {
            for j in 0..=i {
                let (a, b) = (&lower[i * TAPS..i * TAPS + j], &lower[j * TAPS..j * TAPS + j]);
                let known: f64 = a.iter().zip(b).map(|(a, b)| a * b).sum();
                let rest = self.auto[i * TAPS + j] + if i == j { self.prior[i] } else { 0.0 } - known;
                lower[i * TAPS + j] = if i != j {
                    rest / lower[j * TAPS + j]
                } else if rest > 0.0 {
                    rest.sqrt()
                } else {
                    return;
                };
            }
        }
        let solution = &mut self.solution;
        solution.copy_from_slice(&self.cross);
        for i in 0..TAPS {
            let known: f64 = lower[i * TAPS..i * TAPS + i].iter().zip(solution.iter()).map(|(a, b)| a * b).sum();
            solution[i] = (solution[i] - known) / lower[i * TAPS + i];
        }
        for i in (0..TAPS).rev() {
            let known: f64 = (i + 1..TAPS).map(|k| lower[k * TAPS + i] * solution[k]).sum();
            solution[i] = (solution[i] - known) / lower[i * TAPS + i];
        }
        if solution.iter().all(|tap| tap.is_finite()) {
            self.filter.iter_mut().rev().zip(solution.iter()).for_each(|(tap, solved)| *tap = *solved);
        }
    }
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
        for late in [0, 3, 11, 90] {
            let removed = removed_db(late);
            assert!(removed > 30.0, "{late} frames late: only {removed:.1} dB were taken out");
        }
    }

    #[test]
    fn the_sums_of_a_stretch_are_those_of_the_textbook() {
        let band = band(HISTORY + 3 * STRETCH);
        let heard: Vec<f32> = (0..band.len()).map(|n| if n < 5 { 0.0 } else { 0.3 * band[n - 5] }).collect();
        let mut mask = Mask::new(SampleRate::new(RATE).unwrap());
        for n in 0..3 * STRETCH {
            mask.next(heard[n], band[n]);
        }
        // Each stretch anew, product by product, with the weights that its left power gives.
        let difference = |samples: &[f32], n: i64| {
            let at = |n: i64| usize::try_from(n).map_or(0.0, |n| f64::from(samples[n]));
            at(n) - at(n - 1)
        };
        let mut again = Mask::new(SampleRate::new(RATE).unwrap());
        let mut sums = vec![0.0; TAPS * TAPS];
        for stretch in 0..3 {
            let mut power = 0.0;
            let (mut last_left, mut last_heard) = (again.last_left, again.last_heard);
            for n in stretch * STRETCH..(stretch + 1) * STRETCH {
                again.next(heard[n], band[n]);
                let (left, back) = (again.last_left - last_left, again.last_heard - last_heard);
                power += left.powi(2) + UNEXPLAINED * (back - left).powi(2);
                (last_left, last_heard) = (again.last_left, again.last_heard);
            }
            let weight = 1.0 / (power / STRETCH as f64 + FLOOR);
            for (row, column) in [(0, 0), (5, 2), (TAPS - 1, 0), (TAPS - 1, TAPS - 1), (77, 31)] {
                let product = |n: usize| difference(&band, n as i64 - row as i64) * difference(&band, n as i64 - column as i64);
                let sum: f64 = (stretch * STRETCH..(stretch + 1) * STRETCH).map(product).sum();
                let cell: &mut f64 = &mut sums[row * TAPS + column];
                *cell = mask.fade * *cell + weight * sum;
            }
        }
        for (row, column) in [(0, 0), (5, 2), (TAPS - 1, 0), (TAPS - 1, TAPS - 1), (77, 31)] {
            let (found, wanted) = (mask.auto[row * TAPS + column], sums[row * TAPS + column]);
            let scale = (mask.auto[row * TAPS + row] * mask.auto[column * TAPS + column]).sqrt();
            assert!((found - wanted).abs() < 1e-9 * scale, "{row}, {column}: {found} is not {wanted}");
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
