//! The settled loop: from samples to attempts. A live run and a graded take go through this one, so they cannot differ.

use super::ears::Settles;
use crate::grading::{Attempt, Grader, Told, Trouble, Wishes};
use crate::pitch::Reading;
use crate::pitch::attack;
use crate::pitch::settled::Settled;
use crate::sound::{Block, Fault, FaultKind};
use crate::units::{A4, FrameSpan, FrameTime, SampleRate};
use std::collections::VecDeque;

/// Readings whose pitch is kept, for the curve of an attempt: 20 s of them, longer than a string rings.
const KEPT: usize = 8192;

/// Grades a take while it is heard. Results do not depend on how it is cut into blocks.
///
/// The readings, the attacks and the troubles of the sound each come after a delay of their own; the grader hears them in the order of
/// the take: a trouble, then an attack, then the reading of the same instant.
pub struct SettledLoop<W> {
    rate: SampleRate,
    tracker: Settled,
    grader: Grader<W>,
    heard: FrameTime,
    readings: VecDeque<Reading>,
    struck: VecDeque<FrameTime>,
    troubles: VecDeque<Fault>,
    /// Where the pitch was, cents, of the last [`KEPT`] readings that have one.
    kept: VecDeque<(FrameTime, f64)>,
    a4: A4,
}

impl<W: Wishes> SettledLoop<W> {
    /// A loop for one take: everything that listens is planned here.
    #[must_use]
    pub fn new(rate: SampleRate, a4: A4, wishes: W) -> Self {
        Self {
            rate,
            tracker: Settled::new(rate),
            grader: Grader::new(rate, a4, wishes),
            heard: FrameTime(0),
            readings: VecDeque::new(),
            struck: VecDeque::new(),
            troubles: VecDeque::new(),
            kept: VecDeque::with_capacity(KEPT),
            a4,
        }
    }

    /// Who says what is wanted.
    pub fn wishes(&mut self) -> &mut W {
        self.grader.wishes()
    }

    fn hand_on(&mut self, certain: FrameTime, emit: &mut dyn FnMut(Attempt)) {
        while let Some(reading) = self.readings.pop_front_if(|reading| reading.at < certain) {
            while let Some(fault) = self.troubles.pop_front_if(|fault| fault.at <= reading.at) {
                self.grader.trouble(fault.at, fault.at + fault.length, trouble(fault.kind));
            }
            while let Some(at) = self.struck.pop_front_if(|at| *at <= reading.at) {
                self.grader.attack(at);
            }
            if let Some(hz) = reading.hz() {
                if self.kept.len() == KEPT {
                    self.kept.pop_front();
                }
                self.kept.push_back((reading.at, self.a4.cents(hz)));
            }
            self.grader.reading(&reading, emit);
        }
    }
}

impl<W: Wishes + Send> Settles for SettledLoop<W> {
    fn hear(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt)) {
        let Self { tracker, readings, struck, .. } = self;
        let mut read = |reading| readings.push_back(reading);
        let mut strike = |at| struck.push_back(at);
        if block.lost_before.0 > 0 {
            tracker.lose_sound(block.lost_before.0, &mut read, &mut strike);
        }
        tracker.hear(block.samples, &mut read, &mut strike);
        self.troubles.extend(block.faults);
        self.heard = block.start + FrameSpan(block.samples.len() as u64);
        // An attack may still come for the last stretch of what was heard.
        let certain = self.heard - self.rate.span(attack::LOOK_AHEAD_S);
        self.hand_on(certain, emit);
    }

    fn curve(&self, attempt: &Attempt) -> Vec<(f64, f64)> {
        let (from, to) = attempt.span;
        let inside = self.kept.iter().filter(|(at, _)| (from..=to).contains(at));
        inside.map(|(at, cents)| (at.seconds(self.rate), *cents)).collect()
    }

    fn told(&mut self, told: Told) {
        self.wishes().told(told);
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Attempt)) {
        let Self { tracker, readings, struck, .. } = self;
        tracker.end(&mut |reading| readings.push_back(reading), &mut |at| struck.push_back(at));
        self.hand_on(FrameTime(u64::MAX), emit);
        self.grader.finish(emit);
    }
}

fn trouble(kind: FaultKind) -> Trouble {
    match kind {
        FaultKind::Lost => Trouble::Lost,
        FaultKind::Clipped => Trouble::Clipped,
        FaultKind::NotANumber => Trouble::Invalid,
    }
}
