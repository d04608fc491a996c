//! The tuner's words.

use super::*;
use crate::theory::Tuning;
use proptest::prelude::*;

fn strings(tuning: &str) -> Vec<OpenString> {
    let tuning: Tuning = tuning.parse().unwrap();
    (1..=tuning.count())
        .rev()
        .map(|number| {
            let note = tuning.open(number).unwrap();
            OpenString { number, note, cents: f64::from(note.midi()) * 100.0 }
        })
        .collect()
}

fn steady(note: u32, cents: f64) -> Steady {
    Steady::settled(note, cents)
}

fn fresh(note: u32, cents: f64) -> Steady {
    Steady { drift_cents_per_s: -12.0, stretch_s: 0.1, age_s: 0.1, ..steady(note, cents) }
}

fn standard() -> Tuner {
    Tuner::new(strings("standard"), 2.0)
}

/// Number of the string and the word.
fn said(tuner: &mut Tuner, steady: Steady) -> (Option<u8>, String) {
    let tuned = tuner.hear(steady);
    (tuned.sounds.string().map(|string| tuner.strings()[string].number), tuned.word.to_string())
}

#[test]
fn the_nearest_string_is_recognised_and_its_error_said() {
    let mut tuner = standard();
    for (note, (cents, number, word)) in (1..).zip([
        (3993.0, 6, "flat 7"),
        (4503.4, 5, "sharp 3"),
        (5110.0, 4, "sharp 110"),
        (5488.0, 3, "flat 12"),
        (5800.0, 2, "flat 100"),
        (6404.6, 1, "sharp 5"),
        (3500.0, 6, "flat 500"),
    ]) {
        assert_eq!(said(&mut tuner, steady(note, cents)), (Some(number), word.to_owned()));
    }
}

#[test]
fn in_tune_is_said_at_the_second_settled_average_within() {
    let mut tuner = standard();
    assert_eq!(said(&mut tuner, fresh(1, 4001.0)).1, "nearly");
    assert_eq!(said(&mut tuner, steady(1, 4001.0)).1, "nearly");
    assert_eq!(said(&mut tuner, steady(1, 4001.5)).1, "in tune");
}

#[test]
fn what_rounds_to_nothing_and_is_certain_is_in_tune_at_once_and_not_nearly() {
    for (error, uncertainty, word) in
        [(0.04, 0.1, "in tune"), (-0.04, 0.5, "in tune"), (0.06, 0.1, "nearly"), (0.0, 0.6, "nearly"), (-0.3, 0.1, "nearly")]
    {
        let first = Steady { uncertainty_cents: uncertainty, ..fresh(1, 4000.0 + error) };
        assert_eq!(said(&mut standard(), first).1, word, "{error} ± {uncertainty}");
    }
}

#[test]
fn in_tune_stays_through_the_sharp_attack_of_the_next_pick() {
    let mut tuner = standard();
    said(&mut tuner, steady(1, 4000.5));
    said(&mut tuner, steady(1, 4000.5));
    for cents in [4012.0, 4009.0, 4006.0] {
        assert_eq!(said(&mut tuner, fresh(2, cents)).1, "in tune");
    }
    assert_eq!(said(&mut tuner, steady(2, 4002.8)).1, "in tune", "within what it takes to leave");
    assert_eq!(said(&mut tuner, steady(2, 4004.0)).1, "in tune", "once is not enough");
    assert_eq!(said(&mut tuner, steady(2, 4004.0)).1, "sharp 4");
}

#[test]
fn a_turned_peg_is_seen_at_once() {
    let mut tuner = standard();
    said(&mut tuner, steady(1, 4000.5));
    said(&mut tuner, steady(1, 4000.5));
    assert_eq!(said(&mut tuner, fresh(1, 4025.0)).1, "sharp 25");
}

#[test]
fn an_uncertain_average_is_never_in_tune() {
    let mut tuner = standard();
    for _ in 0..5 {
        assert_eq!(said(&mut tuner, Steady { uncertainty_cents: 3.0, ..steady(1, 4000.0) }).1, "nearly");
    }
}

#[test]
fn a_string_that_glides_has_no_number_before_it_can_be_one_unless_it_is_plainly_off() {
    for (error, uncertainty, word) in
        [(18.0, 9.0, "settling"), (-7.0, 3.5, "settling"), (18.0, 2.9, "sharp 18"), (37.0, 9.0, "sharp 37"), (1.5, 9.0, "nearly")]
    {
        let first = Steady { uncertainty_cents: uncertainty, ..fresh(1, 4000.0 + error) };
        assert_eq!(said(&mut standard(), first).1, word, "{error} ± {uncertainty}");
    }
}

#[test]
fn a_number_does_not_flicker() {
    let mut tuner = standard();
    let words: Vec<String> = [4007.4, 4007.6, 4007.4, 4007.7, 4007.9].iter().map(|cents| said(&mut tuner, steady(1, *cents)).1).collect();
    assert_eq!(words, ["sharp 7", "sharp 7", "sharp 7", "sharp 7", "sharp 8"]);
}

#[test]
fn the_harmonic_at_fret_12_tunes_its_string() {
    let mut tuner = standard();
    let tuned = tuner.hear(steady(1, 5193.0));
    assert_eq!((tuned.sounds, tuned.word), (Sounds::Harmonic(0), TuningWord::Flat(7)));
    assert_eq!(tuner.hear(steady(2, 5100.0)).sounds, Sounds::Open(2), "a D string a semitone sharp is none");
}

#[test]
fn a_note_far_from_every_string_is_named_as_it_is() {
    let mut tuner = standard();
    let tuned = tuner.hear(steady(1, 6995.0));
    assert_eq!((tuned.sounds, tuned.nearest_midi, tuned.word), (Sounds::Other, 70, TuningWord::Other));
}

#[test]
fn a_string_that_is_tuned_up_stays_itself_while_it_rings() {
    let mut tuner = standard();
    for cents in (5000..5280).step_by(20) {
        assert_eq!(tuner.hear(steady(1, f64::from(cents))).sounds, Sounds::Open(2), "{cents}");
    }
}

proptest! {
    #[test]
    fn every_open_string_of_every_tuning_is_itself_within_a_quarter_tone(
        which in 0..crate::theory::TUNINGS.len(), string in 0..9_usize, off in -49.0..49.0_f64,
    ) {
        let strings = strings(crate::theory::TUNINGS[which].0);
        let string = string % strings.len();
        let wanted = strings[string].cents;
        let tuned = Tuner::new(strings, 2.0).hear(steady(1, wanted + off));
        prop_assert_eq!(tuned.sounds, Sounds::Open(string));
        prop_assert!((tuned.error_cents - off).abs() < 1e-9);
    }

    #[test]
    fn flat_and_sharp_are_mirror_images(error in 2.1..19.0_f64) {
        let word = |cents| standard().hear(steady(1, cents)).word;
        let (flat, sharp) = (word(4000.0 - error), word(4000.0 + error));
        prop_assert!(matches!((flat, sharp), (TuningWord::Flat(a), TuningWord::Sharp(b)) if a == b));
    }

    #[test]
    fn moving_all_strings_and_the_sound_changes_no_word(offset in -300.0..300.0_f64, error in -49.0..49.0_f64) {
        let mut moved = strings("standard");
        for string in &mut moved {
            string.cents += offset;
        }
        let here = standard().hear(steady(1, 4500.0 + error));
        let there = Tuner::new(moved, 2.0).hear(steady(1, 4500.0 + offset + error));
        prop_assert_eq!(here.sounds, there.sounds);
        prop_assert!((here.error_cents - there.error_cents).abs() < 1e-9);
    }
}
