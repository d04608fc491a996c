//! The pitch curve of each attempt, for the page of a graded take.

use crate::grading::Attempt;
use crate::pitch::Tracker;
use crate::pitch::settled::Settled;
use crate::sound::Block;
use crate::units::{A4, SampleRate};
use std::collections::VecDeque;

/// The longest stretch that is kept, s: longer than any note, so that memory does not grow with the take.
const KEPT_S: f64 = 60.0;

/// A curve: seconds of the take and cents on the MIDI scale.
pub type Curve = Vec<(f64, Option<f64>)>;

/// Follows the pitch beside the grader and cuts out what an attempt was.
pub struct GradedCurves {
    tracker: Settled,
    rate: SampleRate,
    a4: A4,
    kept: VecDeque<(f64, Option<f64>)>,
}

impl GradedCurves {
    /// For one take.
    pub fn new(rate: SampleRate, a4: A4) -> Self {
        Self { tracker: Settled::new(rate), rate, a4, kept: VecDeque::new() }
    }

    /// Takes the block that the grader is going to hear.
    pub fn hear(&mut self, block: &Block<'_>) {
        let Self { tracker, rate, a4, kept } = self;
        let mut keep = |reading: crate::pitch::Reading| {
            let at = reading.at.seconds(*rate);
            kept.push_back((at, reading.hz().map(|hz| a4.cents(hz))));
            while kept.pop_front_if(|(earlier, _)| *earlier < at - KEPT_S).is_some() {}
        };
        if block.lost_before.0 > 0 {
            tracker.lose(block.lost_before.0, &mut keep);
        }
        tracker.push(block.samples, &mut keep);
    }

    /// The take has ended.
    pub fn finish(&mut self) {
        let Self { tracker, rate, a4, kept } = self;
        tracker.finish(&mut |reading| kept.push_back((reading.at.seconds(*rate), reading.hz().map(|hz| a4.cents(hz)))));
    }

    /// The curve of an attempt that was just graded, with a little before and behind.
    pub fn of(&self, attempt: &Attempt) -> Curve {
        const BESIDE_S: f64 = 0.2;
        let (from, to) = (attempt.span.0.seconds(self.rate) - BESIDE_S, attempt.span.1.seconds(self.rate) + BESIDE_S);
        self.kept.iter().filter(|(at, _)| (from..=to).contains(at)).copied().collect()
    }
}
