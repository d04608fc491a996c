//! What is true about a synthesised take: at every sample, and of every bend.
//!
//! Conventions. Pitch is the mean of `f_k / k` over the partials 1 to 12 that are being synthesised, weighted by power times k, in Hz or in cents
//! on the MIDI scale of the scenario's A4. Level is the RMS of the melody's string before the amplifier, without the pick's noise. A
//! bend's instants are found on its curve without vibrato, to the frame.

use std::sync::Arc;

use super::plan::{Cause, Plan, Voice};
use super::scenario::Gesture;
use super::string::{PITCH_PARTIALS, Partial};
use crate::units::{A4, FrameTime, SampleRate};

/// What is true about a take.
#[derive(Clone, Debug)]
pub struct Truth {
    plan: Arc<Plan>,
}

/// Something that happens at an instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Event {
    /// When.
    pub at: FrameTime,
    /// What.
    pub what: Happening,
    /// The pitch then, without vibrato and glide, in cents.
    pub cents: f64,
}

/// What can happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happening {
    /// A note speaks.
    Onset(Cause),
    /// The string begins to be pushed.
    BendStart,
    /// The bend is within 10 cents of where it settles, and stays.
    Arrival,
    /// The string begins to be let go.
    ReleaseStart,
    /// The release is within 10 cents of where it comes to rest.
    Landing,
    /// A shake begins.
    VibratoStart,
    /// A hand, the next attack or time begins to silence the note.
    End,
}

/// One bend as it was made, in the words of the attempt log.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueBend {
    /// Attack of its note.
    pub onset: FrameTime,
    /// Whether it was bent before the attack.
    pub pre_bend: bool,
    /// Median pitch from 30 ms after the attack to the push; the curve's start where that is under 40 ms; for a pre-bend, the fretted note.
    pub origin_cents: f64,
    /// The equal-tempered pitch of the fretted note.
    pub fret_cents: f64,
    /// Last instant within 10 cents of the pitch that it starts from; `None` for a pre-bend.
    pub start: Option<FrameTime>,
    /// First instant within 10 cents of where it settles, for good; for a pre-bend, the onset.
    pub arrival: FrameTime,
    /// Median pitch of the first 150 ms from the arrival.
    pub settled_cents: f64,
    /// Median pitch of the hold.
    pub held_cents: f64,
    /// Highest pitch from the start to 250 ms after the arrival over `held_cents`, 0 when it does not go above; `None` for a pre-bend.
    pub overshoot_cents: Option<f64>,
    /// End of the hold: release, next bend or end of the note.
    pub hold_end: FrameTime,
    /// Last instant within 10 cents of the hold's last pitch before it is let go.
    pub release_start: Option<FrameTime>,
    /// First instant within 10 cents of the landing.
    pub release_end: Option<FrameTime>,
    /// Where the release comes to rest.
    pub landing_cents: Option<f64>,
    /// Rate in Hz and half width in cents of a vibrato in the hold.
    pub vibrato: Option<(f64, f64)>,
}

impl Truth {
    pub(super) fn new(plan: Arc<Plan>) -> Self {
        Self { plan }
    }

    /// Frames of the take.
    #[must_use]
    pub fn length(&self) -> u64 {
        self.plan.length
    }

    /// Frames a second.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        SampleRate::new(self.plan.scenario.rate_hz).unwrap_or_else(|| unreachable!("a plan's rate was checked"))
    }

    /// The partials of the melody's string at a frame, lowest first, as they are synthesised; none where it is silent.
    pub fn partials(&self, frame: u64) -> impl Iterator<Item = Partial> + '_ {
        let sounding = self.plan.voice_at(frame).map(|voice| {
            let (f0, age, hz, gain) = (voice.f0(frame), voice.age(frame), voice.asked_hz(frame), voice.gain(frame));
            (0..voice.timbre.count()).map(move |index| Partial {
                number: index + 1,
                hz: f0 * voice.timbre.ratio(index),
                amplitude: gain * voice.timbre.amplitude(index, age, hz),
            })
        });
        sounding.into_iter().flatten().filter(|partial| partial.amplitude != 0.0)
    }

    /// The pitch at a frame in Hz; `None` where no note sounds.
    #[must_use]
    pub fn hz(&self, frame: u64) -> Option<f64> {
        let (mut sum, mut weights) = (0.0, 0.0);
        for partial in self.partials(frame).take_while(|partial| partial.number <= PITCH_PARTIALS) {
            let number = partial.number as f64;
            let weight = partial.amplitude.powi(2) * number;
            sum += weight * partial.hz / number;
            weights += weight;
        }
        (weights > 0.0).then(|| sum / weights)
    }

    /// The pitch at a frame in cents; `None` where no note sounds.
    #[must_use]
    pub fn cents(&self, frame: u64) -> Option<f64> {
        self.hz(frame).map(|hz| A4::new(self.plan.scenario.a4_hz).unwrap_or_default().cents(hz))
    }

    /// The pitch that the hands make at a frame, with vibrato and glide; [`Truth::cents`] says what the partials make of it.
    #[must_use]
    pub fn asked_cents(&self, frame: u64) -> Option<f64> {
        self.plan.voice_at(frame).map(|voice| voice.asked_cents(frame))
    }

    /// RMS level of the string at a frame in dB against full scale; `None` where no note sounds.
    #[must_use]
    pub fn level_dbfs(&self, frame: u64) -> Option<f64> {
        let power: f64 = self.partials(frame).map(|partial| partial.amplitude.powi(2) / 2.0).sum();
        (power > 0.0).then(|| 10.0 * power.log10())
    }

    /// RMS level of the melody while it sounds, in dB against full scale: what noise and backing are measured against.
    #[must_use]
    pub fn mean_level_dbfs(&self) -> f64 {
        10.0 * self.plan.power.log10()
    }

    /// Everything that happens, in order of time.
    #[must_use]
    pub fn events(&self) -> Vec<Event> {
        let mut events = Vec::new();
        for voice in &self.plan.melody {
            let mut add = |frame: u64, what| {
                events.push(Event { at: FrameTime(frame), what, cents: voice.curve().steady_cents(voice.note_time(frame)) });
            };
            add(voice.onset, Happening::Onset(voice.cause));
            add(voice.fade.0, Happening::End);
            if voice.cause == Cause::Pick {
                let note = &self.plan.scenario.notes[voice.note];
                for gesture in &note.gestures {
                    let start = self.frame_of(voice, gesture.at_s());
                    match *gesture {
                        Gesture::Hammer { .. } => add(start, Happening::Onset(Cause::Hammer)),
                        Gesture::Slide { takes_ms, at_s, .. } => {
                            add(self.frame_of(voice, at_s + takes_ms / 1000.0), Happening::Onset(Cause::Slide));
                        }
                        Gesture::Vibrato { .. } => add(start, Happening::VibratoStart),
                        Gesture::Bend { .. } | Gesture::Release { .. } | Gesture::Pick { .. } => {}
                    }
                }
            }
        }
        for bend in self.bends() {
            let mut add = |at: Option<FrameTime>, what, cents: f64| events.extend(at.map(|at| Event { at, what, cents }));
            add(bend.start, Happening::BendStart, bend.origin_cents);
            add(Some(bend.arrival), Happening::Arrival, bend.settled_cents);
            add(bend.release_start, Happening::ReleaseStart, bend.held_cents);
            add(bend.release_end, Happening::Landing, bend.landing_cents.unwrap_or(bend.origin_cents));
        }
        events.sort_by_key(|event| event.at);
        events
    }

    /// Every bend of the take, in order; a move of under 25 cents is none.
    #[must_use]
    pub fn bends(&self) -> Vec<TrueBend> {
        let mut bends = Vec::new();
        for (index, note) in self.plan.scenario.notes.iter().enumerate() {
            let Some(voice) = self.plan.melody.iter().find(|voice| voice.note == index) else { continue };
            let notes_end = self.plan.melody.iter().rfind(|last| last.note == index).map_or(voice.fade.0, |last| last.fade.0);
            let bent = Bent { truth: self, voice, gestures: &note.gestures, notes_end };
            if note.pre_bend_cents >= 25.0 {
                bends.push(bent.measure(None));
            }
            for (place, gesture) in note.gestures.iter().enumerate() {
                if let Gesture::Bend { at_s, cents, .. } = *gesture
                    && cents - (voice.curve().steady_cents(at_s) - voice.curve().fret_cents(at_s)) >= 25.0
                    && self.frame_of(voice, at_s) < notes_end
                {
                    bends.push(bent.measure(Some(place)));
                }
            }
        }
        bends
    }

    fn frame_of(&self, voice: &Voice, since_attack: f64) -> u64 {
        voice.onset + self.rate().span(since_attack).0
    }
}

/// One note whose bends are measured on its curve.
struct Bent<'a> {
    truth: &'a Truth,
    voice: &'a Voice,
    gestures: &'a [Gesture],
    notes_end: u64,
}

impl Bent<'_> {
    /// The bend of the gesture at `place`, or the pre-bend.
    fn measure(&self, place: Option<usize>) -> TrueBend {
        let voice = self.voice;
        let later = &self.gestures[place.map_or(0, |place| place + 1)..];
        let next = later.iter().find(|gesture| matches!(gesture, Gesture::Bend { .. } | Gesture::Release { .. }));
        let hold_end = next.map_or(self.notes_end, |gesture| self.frame(gesture.at_s())).min(self.notes_end);
        let (start, arrival, origin) = match place.map(|place| &self.gestures[place]) {
            Some(Gesture::Bend { at_s, takes_ms, settle_ms, overshoot_cents, .. }) => {
                let settling = if *overshoot_cents > 0.0 { *settle_ms } else { 0.0 };
                let moved = self.frame(at_s + (takes_ms + settling) / 1000.0).min(hold_end);
                let push = self.frame(*at_s);
                let from = self.steady(push);
                let left = (push..moved).find(|&frame| (self.steady(frame) - from).abs() > 10.0).unwrap_or(moved);
                let settled = self.steady(moved);
                let away = (push..moved).rev().find(|&frame| (self.steady(frame) - settled).abs() > 10.0);
                (Some(left.saturating_sub(1)), away.map_or(push, |frame| frame + 1), self.origin(place, push))
            }
            _ => (None, voice.onset, voice.curve().fret_cents(0.0)),
        };
        let held_cents = self.median(arrival, hold_end);
        let highest = start.map(|start| {
            let until = (arrival + self.truth.rate().span(0.25).0).min(hold_end);
            (start..until).map(|frame| self.steady(frame)).fold(held_cents, f64::max)
        });
        let released = next.and_then(|gesture| match *gesture {
            Gesture::Release { at_s, takes_ms, .. } => Some(self.release(self.frame(at_s), self.frame(at_s + takes_ms / 1000.0))),
            _ => None,
        });
        TrueBend {
            onset: FrameTime(voice.onset),
            pre_bend: place.is_none(),
            origin_cents: origin,
            fret_cents: 100.0 * self.truth.plan.scenario.midi(self.note().string, self.note().fret),
            start: start.map(FrameTime),
            arrival: FrameTime(arrival),
            settled_cents: self.median(arrival, (arrival + self.truth.rate().span(0.15).0).min(hold_end)),
            held_cents,
            overshoot_cents: highest.map(|highest| highest - held_cents),
            hold_end: FrameTime(hold_end),
            release_start: released.map(|(start, _, _)| FrameTime(start)),
            release_end: released.map(|(_, end, _)| FrameTime(end)),
            landing_cents: released.map(|(_, _, cents)| cents),
            vibrato: later.iter().take_while(|gesture| next.is_none_or(|next| *gesture != next)).find_map(|gesture| match *gesture {
                Gesture::Vibrato { rate_hz, half_width_cents, .. } => Some((rate_hz, half_width_cents)),
                _ => None,
            }),
        }
    }

    fn note(&self) -> &super::scenario::Note {
        &self.truth.plan.scenario.notes[self.voice.note]
    }

    fn frame(&self, since_attack: f64) -> u64 {
        self.truth.frame_of(self.voice, since_attack)
    }

    fn steady(&self, frame: u64) -> f64 {
        self.voice.curve().steady_cents(self.voice.note_time(frame))
    }

    fn origin(&self, place: Option<usize>, push: u64) -> f64 {
        let rate = self.truth.rate();
        let earlier_bend = self.gestures[..place.unwrap_or(0)].iter().any(|gesture| matches!(gesture, Gesture::Bend { .. }));
        let from = self.voice.onset + rate.span(0.03).0;
        if earlier_bend || push < from + rate.span(0.04).0 {
            return self.steady(push);
        }
        median((from..push).step_by(48).map(|frame| self.voice.asked_cents(frame)))
    }

    fn median(&self, from: u64, until: u64) -> f64 {
        median((from..until.max(from + 1)).step_by(24).map(|frame| self.steady(frame)))
    }

    /// Start, end and landing of the release from frame `from` to `to`.
    fn release(&self, from: u64, to: u64) -> (u64, u64, f64) {
        let (held, landing) = (self.steady(from), self.steady(to));
        let left = (from..to).find(|&frame| (self.steady(frame) - held).abs() > 10.0).unwrap_or(to);
        let away = (from..to).rev().find(|&frame| (self.steady(frame) - landing).abs() > 10.0);
        (left.saturating_sub(1), away.map_or(from, |frame| frame + 1), landing)
    }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}
