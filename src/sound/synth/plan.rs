//! A scenario laid out in frames: every attack, when it falls silent, and what sounds along. Computed once, before the first sample.

use std::sync::Arc;

use super::curve::Curve;
use super::scenario::{Gesture, Note, Scenario, Tone};
use super::string::{Timbre, half_cosine, rise};
use crate::units::A4;

/// Frames between two settings of the partials' amplitudes and of the string's tuning; both go straight between.
pub const BLOCK: usize = 64;

/// A string is silent when it has fallen this far.
const SILENT_DB: f64 = 70.0;

/// What made a note speak.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A pick on a string that was not sounding, or another note than before.
    Pick,
    /// A pick on the string while it sounds, without a new fretting.
    Again,
    /// A hammer-on or pull-off.
    Hammer,
    /// The end of a slide.
    Slide,
}

/// One attack of one string.
#[derive(Clone, Debug)]
pub struct Voice {
    /// Frame of the attack.
    pub onset: u64,
    /// What made it speak.
    pub cause: Cause,
    /// Frames over which a hand or the pick silences it; it is silent from the second on.
    pub fade: (u64, u64),
    /// Which note of the melody it belongs to.
    pub note: usize,
    note_onset: u64,
    curve: Arc<Curve>,
    /// How it sounds.
    pub timbre: Arc<Timbre>,
    glide_cents: f64,
    glide_s: f64,
    rate: f64,
    a4: A4,
}

impl Voice {
    /// Frames a second.
    #[must_use]
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Seconds since the attack; before it, 0.
    #[must_use]
    pub fn age(&self, frame: u64) -> f64 {
        frame.saturating_sub(self.onset) as f64 / self.rate
    }

    /// Whether it is heard at `frame`.
    #[must_use]
    pub fn sounds_at(&self, frame: u64) -> bool {
        (self.onset..self.fade.1).contains(&frame)
    }

    /// Seconds since the attack of its note.
    #[must_use]
    pub fn note_time(&self, frame: u64) -> f64 {
        (frame as f64 - self.note_onset as f64) / self.rate
    }

    /// What the hands do to its note.
    #[must_use]
    pub fn curve(&self) -> &Curve {
        &self.curve
    }

    /// The pitch asked for, in cents, with glide and vibrato.
    #[must_use]
    pub fn asked_cents(&self, frame: u64) -> f64 {
        let glided = self.age(frame) / self.glide_s;
        // After 25 time constants a glide of 100 cents has shrunk to 1e-9.
        let glide = if glided < 25.0 { self.glide_cents * (-glided).exp() } else { 0.0 };
        self.curve.cents(self.note_time(frame)) + glide
    }

    /// The pitch asked for, in Hz.
    #[must_use]
    pub fn asked_hz(&self, frame: u64) -> f64 {
        self.a4.hz_of(self.asked_cents(frame))
    }

    /// The string's pitch over its `f_0` at a frame where it is set anew.
    #[must_use]
    pub fn set_pitch_over_f0(&self, frame: u64) -> f64 {
        self.timbre.pitch_over_f0(self.age(frame), self.asked_hz(frame))
    }

    /// `f_0` of the stiff string at any frame: the pitch asked for over what the partials make of it.
    #[must_use]
    pub fn f0(&self, frame: u64) -> f64 {
        let block = BLOCK as u64;
        let before = frame / block * block;
        let share = (frame - before) as f64 / block as f64;
        let (low, high) = (self.set_pitch_over_f0(before), self.set_pitch_over_f0(before + block));
        self.asked_hz(frame) / (low + (high - low) * share)
    }

    /// What attack and damping make of the amplitude, 0 to 1.
    #[must_use]
    pub fn gain(&self, frame: u64) -> f64 {
        let (start, end) = self.fade;
        let gone = (frame as f64 - start as f64) / (end as f64 - start as f64).max(1.0);
        rise(self.age(frame)) * (1.0 - half_cosine(gone))
    }
}

/// A short noise of pick or finger.
#[derive(Clone, Copy, Debug)]
pub struct Burst {
    /// Its first frame.
    pub at: u64,
    /// Its amplitude.
    pub gain: f64,
}

/// The whole take.
#[derive(Clone, Debug)]
pub struct Plan {
    /// What was asked for.
    pub scenario: Scenario,
    /// Frames of the take.
    pub length: u64,
    /// The attacks of the melody, in order.
    pub melody: Vec<Voice>,
    /// Other strings.
    pub ringing: Vec<Voice>,
    /// Pick and finger noises, in order.
    pub bursts: Vec<Burst>,
    /// The melody's mean power while it sounds: what noise and backing are measured against.
    pub power: f64,
}

impl Plan {
    /// Lays out a scenario that was checked.
    #[must_use]
    pub fn new(scenario: &Scenario) -> Self {
        let rate = f64::from(scenario.rate_hz);
        let frames = |seconds: f64| (seconds * rate).round().max(0.0) as u64;
        let tone = &scenario.tone;
        let mut melody: Vec<Voice> = Vec::new();
        let mut bursts = Vec::new();
        for (index, note) in scenario.notes.iter().enumerate() {
            let stops = scenario.notes.get(index + 1).map_or(f64::INFINITY, |next| next.at_s - note.at_s);
            let stops = note.damped_s.map_or(stops, |damped| damped.min(stops));
            let layout = Layout { scenario, tone, note, index, rate, stops };
            layout.attacks(&mut melody);
            layout.bursts(&mut bursts);
        }
        silence_before_the_next(&mut melody, frames(tone.touch_ms / 1000.0));
        let power = mean_power(&melody);
        let level = 10.0 * power.log10();
        let ringing = scenario.ringing.iter().map(|other| {
            let note = Note {
                at_s: other.at_s,
                string: other.string,
                fret: other.fret,
                level_db: 0.0,
                detune_cents: other.detune_cents,
                pre_bend_cents: 0.0,
                damped_s: None,
                gestures: Vec::new(),
            };
            let tone = Tone { level_dbfs: level - other.below_db, decay_s: other.decay_s, glide_cents: 0.0, ..tone.clone() };
            let layout = Layout { scenario, tone: &tone, note: &note, index: 0, rate, stops: f64::INFINITY };
            layout.voice(0.0, 0.0, Cause::Pick, &Arc::new(Curve::of(scenario, &note, f64::INFINITY)))
        });
        let ringing: Vec<Voice> = ringing.collect();
        let last = melody.iter().map(|voice| voice.fade.1).max().unwrap_or(0);
        let length = scenario.length_s.map_or(last + frames(1.0), frames);
        bursts.sort_by_key(|burst: &Burst| burst.at);
        Self { scenario: scenario.clone(), length, melody, ringing, bursts, power }
    }

    /// The attack of the melody that is heard at `frame`.
    #[must_use]
    pub fn voice_at(&self, frame: u64) -> Option<&Voice> {
        let after = self.melody.partition_point(|voice| voice.onset <= frame);
        after.checked_sub(1).map(|index| &self.melody[index]).filter(|voice| voice.sounds_at(frame))
    }
}

struct Layout<'a> {
    scenario: &'a Scenario,
    tone: &'a Tone,
    note: &'a Note,
    index: usize,
    rate: f64,
    /// Seconds from the attack until a hand or the next note silences it.
    stops: f64,
}

impl Layout<'_> {
    fn frame(&self, since_attack: f64) -> u64 {
        ((self.note.at_s + since_attack) * self.rate).round() as u64
    }

    fn voice(&self, since_attack: f64, level_db: f64, cause: Cause, curve: &Arc<Curve>) -> Voice {
        let level = self.tone.level_dbfs + level_db;
        let timbre = Timbre::new(self.scenario, self.tone, self.note.string, self.note.fret, level);
        let dies = since_attack + timbre.seconds_to_fall(SILENT_DB);
        let damping = self.tone.damp_ms / 1000.0;
        let fade = if self.stops < dies {
            (self.frame(self.stops), self.frame(self.stops + damping))
        } else {
            (self.frame(dies - 0.05), self.frame(dies))
        };
        Voice {
            onset: self.frame(since_attack),
            cause,
            fade,
            note: self.index,
            note_onset: self.frame(0.0),
            curve: Arc::clone(curve),
            timbre: Arc::new(timbre),
            glide_cents: self.tone.glide_cents,
            glide_s: self.tone.glide_s,
            rate: self.rate,
            a4: A4::new(self.scenario.a4_hz).unwrap_or_default(),
        }
    }

    fn attacks(&self, melody: &mut Vec<Voice>) {
        let curve = Arc::new(Curve::of(self.scenario, self.note, self.stops));
        melody.push(self.voice(0.0, self.note.level_db, Cause::Pick, &curve));
        for gesture in &self.note.gestures {
            if let Gesture::Pick { at_s, level_db } = *gesture
                && at_s < self.stops
            {
                melody.push(self.voice(at_s, level_db, Cause::Again, &curve));
            }
        }
    }

    fn bursts(&self, bursts: &mut Vec<Burst>) {
        let gain = |level_db: f64| 10f64.powf((self.tone.level_dbfs + level_db + self.tone.pick_db) / 20.0);
        bursts.push(Burst { at: self.frame(0.0), gain: gain(self.note.level_db) });
        for gesture in &self.note.gestures {
            if gesture.at_s() >= self.stops {
                continue;
            }
            match *gesture {
                Gesture::Pick { at_s, level_db } => bursts.push(Burst { at: self.frame(at_s), gain: gain(level_db) }),
                // A finger on a fret sounds much softer than a pick.
                Gesture::Hammer { at_s, .. } => bursts.push(Burst { at: self.frame(at_s), gain: gain(-14.0) }),
                Gesture::Slide { at_s, takes_ms, to_fret } => {
                    let steps = to_fret.abs_diff(self.note.fret).max(1);
                    bursts.extend((1..=steps).map(|step| {
                        let share = f64::from(step) / f64::from(steps);
                        Burst { at: self.frame(at_s + share * takes_ms / 1000.0), gain: gain(-20.0) }
                    }));
                }
                Gesture::Bend { .. } | Gesture::Release { .. } | Gesture::Vibrato { .. } => {}
            }
        }
    }
}

/// The pick rests on the string for `touch` frames before it plucks it anew.
fn silence_before_the_next(melody: &mut [Voice], touch: u64) {
    for index in 1..melody.len() {
        let next = melody[index].onset;
        let voice = &mut melody[index - 1];
        if voice.fade.1 > next {
            voice.fade = (next.saturating_sub(touch).max(voice.onset), next);
        }
    }
}

fn mean_power(melody: &[Voice]) -> f64 {
    let (mut sum, mut count) = (0.0, 0_u64);
    for voice in melody {
        let mut frame = voice.onset + BLOCK as u64;
        while frame < voice.fade.1 {
            sum += voice.gain(frame).powi(2) * voice.timbre.power(voice.age(frame), voice.asked_hz(frame));
            count += 1;
            frame += 4 * BLOCK as u64;
        }
    }
    // Without a melody, everything is measured against the level of a usual note.
    if count > 0 { sum / count as f64 } else { 0.01 }
}
