//! The settled loop: from a take's blocks to its attempts. Live runs and `grade` go through here, so their rows cannot differ.
//!
//! The tracker and the attack finder look ahead by different spans. Whoever judges hears everything in the order of time: losses and other
//! faults, then strokes, then the reading of the same instant.

use crate::grading::Attempt;
use crate::pitch::attack::{Attack, AttackFinder, LOOK_AHEAD_S, Stage};
use crate::pitch::{Reading, Tracker};
use crate::sound::{Block, Fault};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::collections::VecDeque;

/// From readings and strokes to attempts; told everything in the order of time.
pub trait Judge: Send {
    /// The sound had a fault; told before the first reading that is not earlier than its beginning.
    fn fault(&mut self, fault: &Fault, emit: &mut dyn FnMut(Attempt));
    /// The string was struck; told before the first reading that is not earlier.
    fn stroke(&mut self, at: FrameTime, emit: &mut dyn FnMut(Attempt));
    /// The next settled reading.
    fn reading(&mut self, reading: &Reading, emit: &mut dyn FnMut(Attempt));
    /// The take has ended.
    fn finish(&mut self, emit: &mut dyn FnMut(Attempt));
}

/// From blocks to attempts.
pub trait Settles: Send {
    /// Takes the next block, which follows the one before.
    fn block(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt));
    /// The take has ended: hands out what is left.
    fn finish(&mut self, emit: &mut dyn FnMut(Attempt));
}

/// See the module.
pub struct SettledLoop<T, J> {
    rate: SampleRate,
    tracker: T,
    attacks: AttackFinder,
    judge: J,
    heard: FrameTime,
    readings: VecDeque<Reading>,
    strokes: VecDeque<FrameTime>,
    faults: VecDeque<Fault>,
}

impl<T: Tracker + Send, J: Judge> SettledLoop<T, J> {
    /// For one take, from its first sample.
    #[must_use]
    pub fn new(rate: SampleRate, tracker: T, judge: J) -> Self {
        Self {
            rate,
            tracker,
            attacks: AttackFinder::new(rate),
            judge,
            heard: FrameTime(0),
            readings: VecDeque::new(),
            strokes: VecDeque::new(),
            faults: VecDeque::new(),
        }
    }

    /// Tells the judge everything before `certain`.
    fn tell(&mut self, certain: FrameTime, emit: &mut dyn FnMut(Attempt)) {
        while let Some(reading) = self.readings.front().copied().filter(|reading| reading.at < certain) {
            self.readings.pop_front();
            self.tell_until(reading.at, emit);
            self.judge.reading(&reading, emit);
        }
    }

    /// Faults and strokes up to and with `at`.
    fn tell_until(&mut self, at: FrameTime, emit: &mut dyn FnMut(Attempt)) {
        loop {
            let fault = self.faults.front().copied().filter(|fault| fault.at <= at);
            let stroke = self.strokes.front().copied().filter(|stroke| *stroke <= at);
            match (fault, stroke) {
                (Some(fault), stroke) if stroke.is_none_or(|stroke| fault.at <= stroke) => {
                    self.faults.pop_front();
                    self.judge.fault(&fault, emit);
                }
                (_, Some(stroke)) => {
                    self.strokes.pop_front();
                    self.judge.stroke(stroke, emit);
                }
                _ => return,
            }
        }
    }
}

fn keep(strokes: &mut VecDeque<FrameTime>, attack: Attack) {
    if attack.stage == Stage::Settled && attack.struck {
        strokes.push_back(attack.at);
    }
}

impl<T: Tracker + Send, J: Judge> Settles for SettledLoop<T, J> {
    fn block(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt)) {
        let (readings, strokes) = (&mut self.readings, &mut self.strokes);
        if block.lost_before.0 > 0 {
            self.tracker.lose(block.lost_before.0, &mut |reading| readings.push_back(reading));
            self.attacks.lose(block.lost_before.0, &mut |attack| keep(strokes, attack));
        }
        self.faults.extend(block.faults);
        self.tracker.push(block.samples, &mut |reading| readings.push_back(reading));
        self.attacks.push(block.samples, &mut |attack| keep(strokes, attack));
        self.heard = block.start + FrameSpan(block.samples.len() as u64);
        self.tell(self.heard - self.rate.span(LOOK_AHEAD_S), emit);
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Attempt)) {
        let (readings, strokes) = (&mut self.readings, &mut self.strokes);
        self.tracker.finish(&mut |reading| readings.push_back(reading));
        self.attacks.finish(&mut |attack| keep(strokes, attack));
        self.tell(FrameTime(u64::MAX), emit);
        self.tell_until(FrameTime(u64::MAX), emit);
        self.judge.finish(emit);
    }
}
