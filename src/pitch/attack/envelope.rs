//! The fine envelope of the last tenths of a second, and the instant at which a stroke begins in it.

use super::LOOK_AHEAD_S;
use crate::units::SampleRate;

/// Kept: a stroke's longest wait, what is searched before it, and some.
const KEPT_S: f64 = 0.2;
/// Resolution of the envelope.
const BLOCK_S: f64 = 1.0 / 8000.0;
/// Corner of the high-pass: hum and the fundamental of a ringing string stay below.
const CORNER_HZ: f64 = 300.0;
/// A stroke begins at most so long before its largest rise (distorted strings swell).
const SEARCH_S: f64 = 0.045;
/// The stretch before it that must be quieter.
const QUIET_S: f64 = 0.003;
/// The peak is looked for so long after the largest rise.
const PEAK_S: f64 = 0.05;
/// The largest rise is measured over a window about so long.
const WINDOW_S: f64 = 0.006;
/// At these parts of its peak a stroke has begun: at the first one, unless that is a pulse of the old note.
const BEGUN: [f32; 2] = [0.5, 0.9];
/// Parts of the peak, tried from the lowest: a tenth where nothing else sounds.
const THRESHOLDS: [f32; 8] = [0.1, 0.14, 0.2, 0.28, 0.4, 0.56, 0.7, 0.85];
/// The mean level steps by this factor where a stroke begins (4 dB).
const CLEAR_STEP: f32 = 1.6;
/// Part of the largest step that an earlier one must have.
const COMPARABLE: f32 = 0.4;
/// The means are taken over so long on each side.
const SIDE_S: f64 = 0.01;
/// How fast the loudest is forgotten: a player gets softer, too.
const FORGET_DB_PER_S: f64 = 3.0;

/// Where a stroke begins.
#[derive(Clone, Copy, Debug)]
pub(super) struct Onset {
    pub(super) at: u64,
    /// Its peak, high-passed.
    pub(super) peak: f32,
    /// Its peak against the loudest heard lately (itself included): 1 or less.
    pub(super) height: f32,
    /// Frames heard before it.
    pub(super) before: u64,
}

/// Largest magnitude of the high-passed sound in each eighth of a millisecond.
pub(super) struct Envelope {
    block: usize,
    in_block: usize,
    largest: f32,
    blocks: Vec<f32>,
    /// Blocks since the start or the last loss.
    count: u64,
    start: u64,
    high_pass: [HighPass; 2],
    search: u64,
    look_back: u64,
    quiet: u64,
    side: u64,
    peak: u64,
    window: u64,
    loudest: f32,
    fade: f32,
}

/// One pole and a zero at 0 Hz.
#[derive(Clone, Copy)]
struct HighPass {
    keep: f32,
    before: f32,
    out: f32,
}

impl HighPass {
    fn next(&mut self, sample: f32) -> f32 {
        // A subnormal tail would cost a hundred times as much.
        self.out = self.keep * (self.out + sample - self.before);
        if self.out.abs() < f32::MIN_POSITIVE {
            self.out = 0.0;
        }
        self.before = sample;
        self.out
    }
}

impl Envelope {
    pub(super) fn new(rate: SampleRate) -> Self {
        let block = ((BLOCK_S * rate.as_f64()).round() as usize).max(1);
        let blocks = |seconds: f64| ((seconds * rate.as_f64() / block as f64).round() as u64).max(1);
        let keep = (-std::f64::consts::TAU * CORNER_HZ / rate.as_f64()).exp() as f32;
        Self {
            block,
            in_block: 0,
            largest: 0.0,
            blocks: vec![0.0; blocks(KEPT_S) as usize],
            count: 0,
            start: 0,
            high_pass: [HighPass { keep, before: 0.0, out: 0.0 }; 2],
            search: blocks(SEARCH_S),
            look_back: blocks(LOOK_AHEAD_S) - 1,
            quiet: blocks(QUIET_S),
            side: blocks(SIDE_S),
            peak: blocks(PEAK_S),
            window: blocks(WINDOW_S),
            loudest: 0.0,
            fade: 10_f64.powf(-FORGET_DB_PER_S / 20.0 * block as f64 / rate.as_f64()) as f32,
        }
    }

    /// What follows begins at `frame`, with nothing known of what was before.
    pub(super) fn restart(&mut self, frame: u64) {
        self.blocks.fill(0.0);
        self.count = 0;
        self.start = frame;
        self.in_block = 0;
        self.largest = 0.0;
        for filter in &mut self.high_pass {
            filter.before = 0.0;
            filter.out = 0.0;
        }
    }

    pub(super) fn push(&mut self, sample: f32) {
        let high = self.high_pass.iter_mut().fold(sample, |x, filter| filter.next(x));
        self.largest = self.largest.max(high.abs());
        self.in_block += 1;
        if self.in_block == self.block {
            let place = (self.count % self.blocks.len() as u64) as usize;
            self.blocks[place] = self.largest;
            self.count += 1;
            self.loudest = (self.loudest * self.fade).max(self.largest);
            self.in_block = 0;
            self.largest = 0.0;
        }
    }

    fn value(&self, block: u64) -> f32 {
        self.blocks[(block % self.blocks.len() as u64) as usize]
    }

    /// The beginning of the stroke whose largest rise was measured over the window that ends at `frame`.
    pub(super) fn onset(&self, frame: u64) -> Onset {
        let near = (frame.saturating_sub(self.start) / self.block as u64).min(self.count);
        let oldest = self.count.saturating_sub(self.look_back);
        let from = near.saturating_sub(self.search).max(oldest);
        // The window of the largest rise holds the stroke; what sounded before it may be louder and is not its peak.
        let window = near.saturating_sub(self.window).max(from);
        let to = (near + self.peak).min(self.count);
        let peak = (window..to).map(|block| self.value(block)).fold(0.0, f32::max);
        let at = self.begin(from, window, to);
        Onset {
            at: self.start + at * self.block as u64,
            peak,
            height: if self.loudest > 0.0 { (peak / self.loudest).min(1.0) } else { 1.0 },
            before: at * self.block as u64,
        }
    }

    /// The earliest of the instants after quiet stretches at which the level steps clearly and not much less than at any of them.
    fn begin(&self, from: u64, window: u64, to: u64) -> u64 {
        let peak = (window..to).map(|block| self.value(block)).fold(0.0, f32::max);
        let mut candidates = [[(window, 0.0); THRESHOLDS.len()]; BEGUN.len()];
        for (row, height) in candidates.iter_mut().zip(BEGUN) {
            let begun = (window..to).find(|&block| self.value(block) >= height * peak).unwrap_or(window);
            for (candidate, part) in row.iter_mut().zip(THRESHOLDS) {
                if let Some(at) = self.quiet_end(from, begun, part * peak) {
                    *candidate = (at, self.step(at));
                }
            }
        }
        let largest = candidates.as_flattened().iter().map(|c| c.1).fold(0.0, f32::max);
        let clear = (COMPARABLE * largest).max(CLEAR_STEP.min(largest));
        candidates.as_flattened().iter().find(|c| c.1 >= clear).map_or(window, |c| c.0)
    }

    /// The mean level of the 10 ms after `at` over that of the 10 ms before: the pulses of an old low note are no step.
    fn step(&self, at: u64) -> f32 {
        let mean = |from: u64, to: u64| (from..to).map(|block| self.value(block)).sum::<f32>() / (to - from).max(1) as f32;
        let oldest = self.count.saturating_sub(self.blocks.len() as u64);
        let before = mean(at.saturating_sub(self.side).max(oldest), at);
        let after = mean(at, (at + self.side).min(self.count));
        if before > 0.0 { after / before } else { f32::MAX }
    }

    /// The end of the last quiet stretch before `begun`. Before the first sample all was quiet, for all that is known.
    fn quiet_end(&self, from: u64, begun: u64, threshold: f32) -> Option<u64> {
        let mut run = 0;
        let mut end = begun;
        for block in (from..begun).rev() {
            if self.value(block) < threshold {
                run += 1;
                if run == self.quiet {
                    return Some(end);
                }
            } else {
                run = 0;
                end = block;
            }
        }
        (from == 0).then_some(end)
    }
}
