//! The tuner on recorded notes that nobody has straightened: they are sharp after the pick and glide home.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::notes::steady::{Steady, SteadyReader, Sustain};
use landfall::pitch::Tracker;
use landfall::pitch::sustained::Sustained;
use landfall::practice::tuner::{OpenString, Tuner, TuningWord};
use landfall::theory::Note;
use landfall::units::{A4, SampleRate};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What is true of a note: `truth.toml` says how it is known.
#[derive(Deserialize)]
struct Truth {
    attack_s: f64,
    from_s: f64,
    until_s: f64,
    hz: f64,
}

fn folder() -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/test_signals/plain"))
}

fn notes() -> BTreeMap<String, Truth> {
    let notes: BTreeMap<String, Truth> = toml::from_str(&std::fs::read_to_string(folder().join("truth.toml")).unwrap()).unwrap();
    assert_eq!(notes.len(), 4);
    notes
}

/// Each average, and the seconds at which it was known.
fn averages(name: &str) -> Vec<(f64, Steady)> {
    let mut file = hound::WavReader::open(folder().join(format!("{name}.wav"))).unwrap();
    let rate = SampleRate::new(file.spec().sample_rate).unwrap();
    let samples: Vec<f32> = file.samples::<i16>().map(|sample| f32::from(sample.unwrap()) / 32768.0).collect();
    let (mut tracker, mut reader, mut said) = (Sustained::new(rate), SteadyReader::new(rate, A4::default()), Vec::new());
    tracker.push(&samples, &mut |reading| {
        if let Some(Sustain::Steady(steady)) = reader.hear(&reading) {
            said.push((reading.ready.seconds(rate), steady));
        }
    });
    assert!(said.len() >= 6, "{name}: {} averages", said.len());
    said
}

fn cents(hz: f64) -> f64 {
    6900.0 + 1200.0 * (hz / 440.0).log2()
}

#[test]
fn in_the_middle_a_recorded_note_is_read_within_half_a_cent_and_never_an_octave_off() {
    for (name, truth) in notes() {
        let said = averages(&name);
        let off = |steady: &Steady| steady.cents - cents(truth.hz);
        assert!(said.iter().all(|(_, steady)| off(steady).abs() < 50.0), "{name}");
        let within = |at: &f64| (truth.from_s..=truth.until_s + 0.1).contains(at);
        let mut off: Vec<f64> = said.iter().filter(|(at, _)| within(at)).map(|(_, steady)| off(steady)).collect();
        off.sort_by(f64::total_cmp);
        let middle = f64::midpoint(off[(off.len() - 1) / 2], off[off.len() / 2]);
        assert!(middle.abs() < 0.5, "{name}: {middle:+.2} c");
    }
}

#[test]
fn the_first_average_comes_within_300_ms_and_its_give_or_take_covers_where_the_note_comes_to_rest() {
    for (name, truth) in notes() {
        let said = averages(&name);
        let (at, _) = said[0];
        assert!(at - truth.attack_s < 0.3, "{name}: {:.0} ms", 1000.0 * (at - truth.attack_s));
        for (at, steady) in said.iter().filter(|(at, _)| *at <= truth.until_s) {
            let off = steady.cents - cents(truth.hz);
            assert!(off.abs() <= steady.give_or_take_cents(), "{name} at {at:.2} s: {off:+.2} ± {:.2} c", steady.give_or_take_cents());
        }
    }
}

#[test]
fn no_word_of_a_recorded_note_is_further_off_than_it_comes_to_rest() {
    for (name, truth) in notes() {
        let note = Note::usual((cents(truth.hz) / 100.0).round() as i32);
        // A string that is wanted 5 cents under where the note comes to rest.
        let mut tuner = Tuner::new(vec![OpenString { number: 1, note, cents: cents(truth.hz) - 5.0 }], 2.0);
        for (at, steady) in averages(&name).iter().filter(|(at, _)| *at <= truth.until_s) {
            let word = tuner.hear(*steady).word;
            assert!(matches!(word, TuningWord::Sharp(4..=6) | TuningWord::Settling), "{name} at {at:.2} s: {word}");
        }
    }
}
