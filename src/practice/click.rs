//! The click: accents on the bar, marks on groups and beats, at exact frames.

use super::pulse::{Pulse, Pulses, frame_at};
use crate::sound::out::{Event, Part, Voice};
use crate::theory::chart::Weight;
use crate::units::{FrameTime, SampleRate};
use std::collections::VecDeque;

/// A click is this long, s.
const LONG_S: f64 = 0.03;

/// Height of the first beat of a bar, of a group, of other beats and of what lies between them, Hz. Without meaning for a voice that has
/// its own sound.
const HZ: [f64; 4] = [1760.0, 1318.5, 1174.7, 880.0];

/// How loud they are.
const GAINS: [f32; 4] = [0.9, 0.7, 0.5, 0.22];

/// What clicks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Every {
    /// Each beat.
    #[default]
    Beat,
    /// Each count: thirds of a compound beat, swung or straight halves of others.
    Count,
    /// Half time: the first of every two beats; where groups are uneven, the first of each group.
    OtherBeat,
}

/// A count-in and then a click for as long as its bars last.
#[derive(Clone, Debug)]
pub struct Click {
    before: Vec<Pulse>,
    bars: Pulses,
    every: Every,
    /// Where score time 0 lies, seconds of the output.
    zero_s: f64,
    rate: SampleRate,
    next_bar: u64,
    queue: VecDeque<Event>,
    over: bool,
}

impl Click {
    /// A click from score time 0 at `zero_s` of the output on. `before` are the bars of the count-in, which clicks each beat in any case.
    #[must_use]
    pub fn new(before: Vec<Pulse>, bars: Pulses, every: Every, zero_s: f64, rate: SampleRate) -> Self {
        Self { before, bars, every, zero_s, rate, next_bar: 0, queue: VecDeque::new(), over: false }
    }

    /// Only the count-in.
    #[must_use]
    pub fn count_in(before: Vec<Pulse>, zero_s: f64, rate: SampleRate) -> Self {
        Self::new(before, Pulses::Tune(Vec::new()), Every::Beat, zero_s, rate)
    }

    /// The next bar goes into the queue.
    fn refill(&mut self) {
        let counted = self.before.len() as u64;
        let in_count = self.next_bar < counted;
        let bar = if in_count { self.before.get(self.next_bar as usize).cloned() } else { self.bars.bar(self.next_bar - counted) };
        let Some(bar) = bar else {
            self.over = true;
            return;
        };
        self.next_bar += 1;
        let every = if in_count { Every::Beat } else { self.every };
        for (at_s, strength) in marks(&bar, every) {
            let at = frame_at(self.zero_s + at_s, self.rate);
            let voice = if strength == 0 { Voice::Accent } else { Voice::Click };
            self.queue.push_back(Event { at, length: self.rate.span(LONG_S), voice, hz: HZ[strength], gain: GAINS[strength] });
        }
    }
}

/// What clicks in a bar: when, and how strong (0 is the bar's first beat, 3 lies between beats).
fn marks(bar: &Pulse, every: Every) -> Vec<(f64, usize)> {
    let strength = |beat: u32| match bar.weight(beat) {
        Weight::Bar => 0,
        Weight::Group => 1,
        Weight::Beat => 2,
    };
    let uneven = !bar.metre.groups().is_empty();
    match every {
        Every::Beat => bar.beats().enumerate().map(|(beat, (at, _))| (at, strength(beat as u32))).collect(),
        Every::OtherBeat => {
            let comes = |beat: &u32| if uneven { bar.metre.is_group_start(*beat) } else { beat.is_multiple_of(2) };
            (0..bar.metre.beats()).filter(comes).map(|beat| (bar.time_of(f64::from(beat)), strength(beat))).collect()
        }
        Every::Count => {
            let each = bar.counts_a_beat() as usize;
            let of = |count: usize| if count.is_multiple_of(each) { strength((count / each) as u32) } else { 3 };
            bar.counts().enumerate().map(|(count, at)| (at, of(count))).collect()
        }
    }
}

impl Part for Click {
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        loop {
            while let Some(event) = self.queue.pop_front_if(|event| event.at < until) {
                emit(event);
            }
            if self.over || !self.queue.is_empty() {
                return;
            }
            self.refill();
        }
    }

    fn is_over(&self) -> bool {
        self.over && self.queue.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::pulse::{count_in, usual_count_in};
    use crate::theory::chart::{Feel, Metre};

    /// Frames and strengths, as digits.
    fn heard(metre: &str, groups: Option<&str>, feel: &str, every: Every, bars: u64) -> Vec<(u64, u8)> {
        let rate = SampleRate::new(48_000).unwrap();
        let metre = Metre::parse(metre, groups).unwrap();
        let pulses = Pulses::Steady { metre, feel: Feel::parse(feel).unwrap(), tempo: 60.0, bars: Some(bars) };
        let first = pulses.bar(0).unwrap();
        let before = count_in(&first, usual_count_in(&first));
        let zero_s = -before[0].start_s;
        let mut click = Click::new(before, pulses, every, zero_s, rate);
        let mut events = Vec::new();
        // In pieces of an odd length: results must not depend on it.
        let mut until = 0;
        while !click.is_over() {
            until += 4801;
            click.events(FrameTime(until), &mut |event| events.push(event));
        }
        assert!(events.is_sorted_by_key(|event| event.at));
        events
            .iter()
            .map(|event| (event.at.0, GAINS.iter().position(|gain| gain.to_bits() == event.gain.to_bits()).unwrap() as u8))
            .collect()
    }

    fn strengths(metre: &str, groups: Option<&str>, every: Every) -> String {
        heard(metre, groups, "straight", every, 1).iter().map(|(_, strength)| strength.to_string()).collect()
    }

    #[test]
    fn every_metre_counts_in_and_clicks_its_beats_groups_and_accents() {
        assert_eq!(strengths("4/4", None, Every::Beat), "0222".to_owned() + "0222");
        assert_eq!(strengths("3/4", None, Every::Beat), "022".to_owned() + "022");
        assert_eq!(strengths("6/8", None, Every::Beat), "0202".to_owned() + "02");
        assert_eq!(strengths("12/8", None, Every::Count), "0222".to_owned() + "033233233233");
        assert_eq!(strengths("7/8", Some("2+2+3"), Every::Beat), "0212122".to_owned() + "0212122");
        assert_eq!(strengths("7/8", Some("2+2+3"), Every::OtherBeat), "0212122".to_owned() + "011");
        assert_eq!(strengths("5/4", None, Every::OtherBeat), "02222".to_owned() + "022");
        assert_eq!(strengths("9/8", Some("2+2+2+3"), Every::Beat), "021212122".repeat(2));
        assert_eq!(strengths("4/4", None, Every::Count), "0222".to_owned() + "03232323");
    }

    #[test]
    fn clicks_lie_on_their_frames_and_swing_only_between_the_beats() {
        let straight = heard("4/4", None, "straight", Every::Count, 2);
        let wanted: Vec<u64> = (0..4).map(|n| n * 48_000).chain((0..16).map(|n| 4 * 48_000 + n * 24_000)).collect();
        assert_eq!(straight.iter().map(|(at, _)| *at).collect::<Vec<_>>(), wanted);
        let swung = heard("4/4", None, "shuffle", Every::Count, 1);
        assert_eq!(swung[5].0, 4 * 48_000 + 32_000);
        assert_eq!(swung[6].0, 5 * 48_000);
        let compound = heard("6/8", None, "straight", Every::Count, 1);
        assert_eq!(compound[4..].iter().map(|(at, _)| at - 4 * 48_000).collect::<Vec<_>>(), [0, 16_000, 32_000, 48_000, 64_000, 80_000]);
    }
}
