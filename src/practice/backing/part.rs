//! From bars to events at exact frames.

use super::{Bar, Entry, Manner, Struck, bass, chance, comp, drums};
use crate::practice::pulse::{Pulse, frame_at};
use crate::sound::out::{Event, Part};
use crate::theory::Chord;
use crate::theory::chart::{PlayedChord, Timeline};
use crate::units::{A4, FrameTime, SampleRate};
use std::collections::VecDeque;

/// The band as a part.
#[derive(Clone, Debug)]
pub struct Backing {
    bars: Vec<Pulse>,
    chords: Vec<PlayedChord>,
    /// How the comping player holds each chord.
    voicings: Vec<Vec<i32>>,
    manner: Manner,
    a4: A4,
    zero_s: f64,
    rate: SampleRate,
    next_bar: usize,
    next_chord: usize,
    queue: VecDeque<Event>,
}

impl Backing {
    /// A backing for a tune whose first beat lies at `zero_s` of the output.
    #[must_use]
    pub fn new(timeline: &Timeline, manner: Manner, a4: A4, zero_s: f64, rate: SampleRate) -> Self {
        let mut held: Vec<i32> = Vec::new();
        let mut last: Option<&Chord> = None;
        let mut voicings = Vec::with_capacity(timeline.chords.len());
        for played in &timeline.chords {
            if let Some(chord) = &played.chord
                && last != Some(chord)
            {
                held = comp::voicing(chord, &held);
                last = Some(chord);
            }
            voicings.push(held.clone());
        }
        Self {
            bars: timeline.bars.iter().map(Pulse::from).collect(),
            chords: timeline.chords.clone(),
            voicings,
            manner,
            a4,
            zero_s,
            rate,
            next_bar: 0,
            next_chord: 0,
            queue: VecDeque::new(),
        }
    }

    /// The next bar's events go into the queue.
    fn refill(&mut self) {
        let Some(pulse) = self.bars.get(self.next_bar) else { return };
        let number = self.next_bar + 1;
        let last = self.chords[self.next_chord..].iter().take_while(|chord| chord.bar <= number).count() + self.next_chord;
        let entries = (self.next_chord..last).map(|index| self.entry(index)).collect();
        let bar = Bar { pulse, entries, half_time: self.manner.half_time, chance: chance(self.manner.seed, number as u64) };
        let mut struck: Vec<Struck> = Vec::new();
        let players = self.manner.players;
        if players.bass {
            struck.extend(bass::line(&bar));
        }
        if players.comp {
            struck.extend(comp::strokes(&bar));
        }
        if players.drums {
            struck.extend(drums::strokes(&bar));
        }
        struck.sort_by(|a, b| a.position.total_cmp(&b.position));
        let events: Vec<Event> = struck.iter().enumerate().map(|(index, struck)| self.event(pulse, struck, index)).collect();
        self.queue.extend(events);
        self.next_bar += 1;
        self.next_chord = last;
    }

    fn entry(&self, index: usize) -> Entry<'_> {
        let played = &self.chords[index];
        let next = self.chords.get(index + 1).and_then(|next| next.chord.as_ref()).filter(|next| Some(*next) != played.chord.as_ref());
        Entry { beat: played.beat - 1, beats: played.beats, chord: played.chord.as_ref(), voicing: &self.voicings[index], next }
    }

    fn event(&self, pulse: &Pulse, struck: &Struck, index: usize) -> Event {
        let at = frame_at(self.zero_s + pulse.time_of(struck.position), self.rate);
        let end = frame_at(self.zero_s + pulse.time_of(struck.until), self.rate);
        // Nobody strikes twice alike: a tenth up or down.
        let chance = chance(self.manner.seed ^ 0x5eed, (self.next_bar as u64) << 16 | index as u64);
        let gain = struck.gain * (0.9 + 0.2 * (chance % 1000) as f32 / 1000.0);
        let hz = if struck.midi > 0 { self.a4.hz_of(100.0 * f64::from(struck.midi)) } else { 0.0 };
        Event { at, length: end.since(at), voice: struck.voice, hz, gain }
    }
}

impl Part for Backing {
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        loop {
            while let Some(event) = self.queue.pop_front_if(|event| event.at < until) {
                emit(event);
            }
            if !self.queue.is_empty() || self.next_bar >= self.bars.len() {
                return;
            }
            self.refill();
        }
    }

    fn is_over(&self) -> bool {
        self.queue.is_empty() && self.next_bar >= self.bars.len()
    }
}

/// Several parts as one.
pub struct Together(Vec<Box<dyn Part>>);

impl Together {
    /// All of them at once.
    #[must_use]
    pub fn new(parts: Vec<Box<dyn Part>>) -> Self {
        Self(parts)
    }
}

impl Part for Together {
    fn events(&mut self, until: FrameTime, emit: &mut dyn FnMut(Event)) {
        let mut events = Vec::new();
        for part in &mut self.0 {
            part.events(until, &mut |event| events.push(event));
        }
        events.sort_by_key(|event| event.at);
        events.into_iter().for_each(emit);
    }

    fn sound(&mut self, from: FrameTime, out: &mut [f32]) {
        self.0.iter_mut().for_each(|part| part.sound(from, out));
    }

    fn is_over(&self) -> bool {
        self.0.iter().all(|part| part.is_over())
    }
}

#[cfg(test)]
mod tests {
    use super::super::Players;
    use super::*;
    use crate::sound::out::Voice;
    use crate::theory::Key;
    use crate::theory::chart::{Chart, EXAMPLES, Metre};

    const RATE: u32 = 48_000;

    fn played(timeline: &Timeline, manner: Manner, step: u64) -> Vec<Event> {
        let mut backing = Backing::new(timeline, manner, A4::default(), 0.0, SampleRate::new(RATE).unwrap());
        let (mut events, mut until) = (Vec::new(), 0);
        while !backing.is_over() {
            until += step;
            backing.events(FrameTime(until), &mut |event| events.push(event));
        }
        events
    }

    fn midi(event: &Event) -> i32 {
        (A4::default().cents(event.hz) / 100.0).round() as i32
    }

    fn of(chords: &str, metre: &str, groups: Option<&str>) -> Timeline {
        let metre = Metre::parse(metre, groups).unwrap();
        Chart::from_chords(chords, Some("C major".parse::<Key>().unwrap()), metre, 60.0).unwrap().timeline()
    }

    #[test]
    fn each_chord_of_every_built_in_tune_begins_with_its_bass_note_and_sounds_only_its_tones() {
        for example in EXAMPLES {
            let timeline = Chart::parse(example.name, example.text).unwrap().timeline();
            let events = played(&timeline, Manner::default(), 4800);
            assert!(events.is_sorted_by_key(|event| event.at), "{}", example.name);
            let mut bass = 0;
            for event in events.iter().filter(|event| matches!(event.voice, Voice::Bass | Voice::Comp)) {
                let at_s = event.at.0 as f64 / f64::from(RATE) + 1e-4;
                let now = timeline.chord_at(at_s).unwrap();
                let chord = now.chord.as_ref().unwrap_or_else(|| panic!("{}: somebody plays in N.C. at {at_s}", example.name));
                let class = midi(event).rem_euclid(12);
                let begins = (at_s - now.start_s).abs() < 0.001;
                let next = timeline.chord_at(now.end_s + 1e-4).and_then(|next| next.chord.as_ref());
                let into_next = next.is_some_and(|next| (class - next.bass().class() + 13).rem_euclid(12) <= 2);
                let is_tone = chord.tone_of_pitch(class).is_some() || class == chord.bass().class();
                match event.voice {
                    Voice::Bass if begins => {
                        bass += 1;
                        assert_eq!(class, chord.bass().class(), "{} {}", example.name, now.text);
                    }
                    Voice::Bass => assert!(is_tone || into_next, "{}: {class} under {}", example.name, now.text),
                    _ => assert!(is_tone, "{}: {class} over {}", example.name, now.text),
                }
            }
            assert!(bass >= timeline.chords.iter().filter(|chord| chord.chord.is_some()).count(), "{}", example.name);
        }
    }

    /// Frames of a voice within the first bar, in hundredths of a beat.
    fn places(chords: &str, metre: &str, groups: Option<&str>, voice: Voice, half_time: bool) -> Vec<u64> {
        let timeline = of(chords, metre, groups);
        let end = timeline.bars[0].end_s();
        let manner = Manner { half_time, ..Manner::default() };
        let first = |event: &Event| event.voice == voice && (event.at.0 as f64) < (end - 1e-6) * f64::from(RATE);
        played(&timeline, manner, 999).iter().filter(|event| first(event)).map(|event| event.at.0 / 480).collect()
    }

    #[test]
    fn the_drums_say_where_the_beat_is_in_every_metre() {
        assert_eq!(places("C C", "4/4", None, Voice::Kick, false), [0, 200]);
        assert_eq!(places("C C", "4/4", None, Voice::Snare, false), [100, 300]);
        assert_eq!(places("C C", "4/4", None, Voice::Snare, true), [200]);
        assert_eq!(places("C C", "12/8", None, Voice::Snare, false), [100, 300]);
        assert_eq!(places("C C", "12/8", None, Voice::Snare, true), [200]);
        assert_eq!(places("C C", "12/8", None, Voice::Hat, false).len(), 12);
        assert_eq!(places("C C", "6/8", None, Voice::Snare, false), [100]);
        assert_eq!(places("C C", "3/4", None, Voice::Kick, false), [0]);
        assert_eq!(places("C C", "7/8", Some("2+2+3"), Voice::Snare, false), [200, 400]);
        assert_eq!(places("C C", "7/8", Some("2+2+3"), Voice::Hat, false).len(), 7);
        assert_eq!(places("C C", "5/4", None, Voice::Snare, false), [300]);
    }

    #[test]
    fn swing_moves_what_lies_between_the_beats_and_nothing_else() {
        let text = "key = \"C major\"\nmetre = \"4/4\"\ntempo = 60\nfeel = \"shuffle\"\nbars = \"C | F\"";
        let timeline = Chart::parse("swung", text).unwrap().timeline();
        let hats: Vec<u64> = played(&timeline, Manner::default(), 4800)
            .iter()
            .filter(|event| event.voice == Voice::Hat)
            .map(|event| event.at.0)
            .take(4)
            .collect();
        assert_eq!(hats, [0, 32_000, 48_000, 80_000]);
        let bass: Vec<i32> = played(&timeline, Manner::default(), 4800)
            .iter()
            .filter(|event| event.voice == Voice::Bass)
            .map(|event| midi(event).rem_euclid(12))
            .take(5)
            .collect();
        assert_eq!(bass, [0, 4, 7, 4, 5], "C: root, third, fifth, half a step below F; then F");
    }

    #[test]
    fn one_seed_gives_one_backing_however_it_is_asked_for() {
        let timeline = of("Dm7 | G7 | Cmaj7 | Cmaj7", "4/4", None);
        let manner = Manner::default();
        assert_eq!(played(&timeline, manner, 100), played(&timeline, manner, 77_777));
        assert_ne!(played(&timeline, manner, 100), played(&timeline, Manner { seed: 2, ..manner }, 100));
        let none = Players { bass: false, comp: false, drums: false };
        assert_eq!(played(&timeline, Manner { players: none, ..manner }, 100), []);
    }
}
