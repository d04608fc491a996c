//! Periods that a window could have: the peaks of its correlation, with what speaks for each.

use std::sync::LazyLock;

/// One possible pitch of one hop.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Candidate {
    /// Period in samples of the decimated signal, between samples.
    pub period: f32,
    /// Height of the correlation there, 0 to 1.
    pub clarity: f32,
    /// Clarity less the octave cost: a sound of period T has the periods 2T, 3T ... as well.
    pub rank: f32,
}

/// At most this many are kept, the best.
pub const MOST: usize = 6;

/// The candidates of one hop, best first.
#[derive(Clone, Copy, Debug, Default)]
pub struct Candidates {
    list: [Candidate; MOST],
    count: usize,
}

impl Candidates {
    /// The candidates, best first.
    #[must_use]
    pub fn as_slice(&self) -> &[Candidate] {
        &self.list[..self.count]
    }

    /// Keeps a candidate if it is among the best; one that stands within a quarter tone of a better one is the same.
    pub fn offer(&mut self, new: Candidate) {
        const SAME: f32 = 1.015;
        if let Some(old) = self.list[..self.count].iter().position(|c| c.period < new.period * SAME && new.period < c.period * SAME) {
            if self.list[old].rank >= new.rank {
                return;
            }
            self.list.copy_within(old + 1..self.count, old);
            self.count -= 1;
        }
        let at = self.list[..self.count].iter().position(|c| c.rank < new.rank).unwrap_or(self.count);
        if at == MOST {
            return;
        }
        let last = self.count.min(MOST - 1);
        self.list.copy_within(at..last, at + 1);
        self.list[at] = new;
        self.count = last + 1;
    }

    /// Gives one of the candidates another rank, and a clarity that is no less than `clarity`.
    pub fn lift(&mut self, candidate: Candidate, clarity: f32, rank: f32) {
        if let Some(at) = self.list[..self.count].iter().position(|c| *c == candidate) {
            self.list.copy_within(at + 1..self.count, at);
            self.count -= 1;
            self.offer(Candidate { rank, clarity: candidate.clarity.max(clarity), ..candidate });
        }
    }

    /// Offers every peak of `correlation` (index = lag) between the two lags that is at least `least` high.
    pub fn offer_peaks(&mut self, correlation: &[f32], shortest: f32, longest: f32, least: f32, octave_cost: f32) {
        let from = (shortest.floor() as usize).max(2);
        let to = (longest.ceil() as usize).min(correlation.len().saturating_sub(2));
        for lag in from..=to {
            let (a, b, c) = (correlation[lag - 1], correlation[lag], correlation[lag + 1]);
            if b < least || b < a || b <= c {
                continue;
            }
            let (period, clarity) = top(correlation, lag);
            if period >= shortest && period < longest {
                let clarity = clarity.min(1.0);
                self.offer(Candidate { period, clarity, rank: clarity - octave_cost * period.log2() });
            }
        }
    }
}

/// Period and height of the peak around a lag. A high note's period is a few samples long and its partials turn within three, where a
/// parabola through the samples is far too low: the band-limited curve between them is what counts (as in Boersma 1993).
fn top(correlation: &[f32], lag: usize) -> (f32, f32) {
    const STEP: f32 = 0.2;
    let (mut middle, _) = parabola(correlation[lag - 1], correlation[lag], correlation[lag + 1]);
    let mut height = correlation[lag];
    for step in [STEP, 0.5 * STEP] {
        let (a, b, c) =
            (between(correlation, lag, middle - step), between(correlation, lag, middle), between(correlation, lag, middle + step));
        let (offset, h) = parabola(a, b, c);
        middle += offset.clamp(-1.0, 1.0) * step;
        height = h;
    }
    (lag as f32 + middle, height)
}

/// Half the length of the interpolating kernel, samples.
const HALF: isize = 6;
/// Offsets between two samples that the kernel is worked out for.
const FINE: f32 = 512.0;

/// Hann-windowed sincs over 12 samples, one for each offset from -1 to 1.
static KERNELS: LazyLock<Vec<[f32; 2 * HALF as usize]>> = LazyLock::new(|| {
    use std::f32::consts::PI;
    let kernel = |offset: f32, j: isize| {
        let t = offset - j as f32;
        let sinc = if t.abs() < 1e-6 { 1.0 } else { (PI * t).sin() / (PI * t) };
        if t.abs() < HALF as f32 { sinc * (0.5 + 0.5 * (PI * t / HALF as f32).cos()) } else { 0.0 }
    };
    (0..=2 * FINE as usize).map(|i| std::array::from_fn(|j| kernel(i as f32 / FINE - 1.0, j as isize + 1 - HALF))).collect()
});

/// Works the kernels out, so that no hop has to.
pub fn prepare() {
    LazyLock::force(&KERNELS);
}

/// The band-limited curve through the samples at `lag + offset`, offset from -1 to 1.
fn between(correlation: &[f32], lag: usize, offset: f32) -> f32 {
    let at = ((offset + 1.0) * FINE).round().clamp(0.0, 2.0 * FINE) as usize;
    let kernel = &KERNELS[at];
    let first = lag as isize + 1 - HALF;
    // The correlation is even in its lag.
    kernel.iter().enumerate().map(|(j, k)| k * correlation.get((first + j as isize).unsigned_abs()).unwrap_or(&0.0)).sum()
}

/// Offset (in steps, within one) and height of the top of the parabola through three values, the middle one highest
/// (YIN step 5).
#[must_use]
pub fn parabola(a: f32, b: f32, c: f32) -> (f32, f32) {
    let bend = a - 2.0 * b + c;
    if bend >= 0.0 {
        return (0.0, b);
    }
    let offset = (0.5 * (a - c) / bend).clamp(-1.0, 1.0);
    (offset, b - 0.25 * (a - c) * offset)
}
