//! What is asked, what is taken, and what is advised.

use super::*;
use crate::theory::Note;
use proptest::prelude::*;

fn string(number: u8, name: &str) -> OpenString {
    let note: Note = name.parse().unwrap();
    OpenString { number, note, cents: note.cents() }
}

fn steady(note: u32, cents: f64) -> Steady {
    Steady::settled(note, cents)
}

fn one(readings: u32, frets: &[u8]) -> Check {
    Check::new(vec![string(3, "G3")], frets.to_vec(), readings, 648.0)
}

/// Plays these pitches, each a new note.
fn played(check: &mut Check, pitches: &[f64]) -> Vec<Answer> {
    (1..).zip(pitches).map(|(note, cents)| check.hear(&steady(note, *cents))).collect()
}

#[test]
fn open_harmonic_and_fretted_are_asked_for_in_order_and_each_so_often() {
    let mut check = Check::new(vec![string(6, "E2"), string(5, "A2")], vec![12, 7], 2, 648.0);
    let mut order = Vec::new();
    for note in 1.. {
        let Some(asked) = check.asked() else { break };
        order.push((asked.string, asked.place, asked.reading));
        let expected = check.expected(asked).0;
        assert!(matches!(check.hear(&steady(note, expected)), Answer::Taken(taken, _) if taken == asked));
    }
    let places = [Place::Open, Place::Harmonic, Place::Fret(12), Place::Fret(7)];
    let wanted: Vec<_> =
        (0..2).flat_map(|string| places.into_iter().flat_map(move |place| [1, 2].map(|reading| (string, place, reading)))).collect();
    assert_eq!(order, wanted);
    assert_eq!(check.hear(&steady(99, 4000.0)), Answer::Done);
}

#[test]
fn a_sharp_twelfth_fret_sends_the_saddle_back_by_the_published_millimetres() {
    let mut check = one(3, &[12]);
    played(&mut check, &[5500.0, 5500.1, 5499.9, 6700.0, 6700.1, 6699.9, 6704.8, 6705.0, 6705.2]);
    let found = &check.found()[0];
    assert!((found.error_cents.unwrap() - 5.0).abs() < 1e-9);
    assert_eq!(found.advice, Advice::Back);
    assert!((found.move_mm.unwrap() - 1.8796).abs() < 0.001, "{found:?}");
    assert!((found.fretted.spread_cents().unwrap() - 0.2).abs() < 1e-9);
}

#[test]
fn an_open_string_that_is_frets_away_is_another_note() {
    for off in [200.0, 400.0, -200.0] {
        let mut check = one(1, &[12]);
        assert_eq!(played(&mut check, &[5500.0 + off]), [Answer::Another(5500.0 + off)]);
    }
    let mut check = one(1, &[12]);
    assert!(matches!(played(&mut check, &[5600.0])[0], Answer::Taken(..)), "a string may be a semitone out of tune");
}

#[test]
fn a_string_is_skipped_and_read_anew() {
    let strings = vec![string(6, "E2"), string(5, "A2"), string(4, "D3")];
    let mut check = Check::new(strings, vec![12], 1, 648.0);
    let at = |check: &Check| check.asked().map(|asked| (asked.string, asked.place));
    played(&mut check, &[4000.0, 5200.0]);
    check.skip_string();
    assert_eq!(at(&check), Some((1, Place::Open)));
    check.repeat_string();
    assert_eq!(at(&check), Some((0, Place::Open)), "nothing was read of this one: the one before");
    assert!(check.found().is_empty(), "it is read anew");
    check.hear(&steady(10, 4000.0));
    check.repeat_string();
    assert_eq!((at(&check), check.found().len()), (Some((0, Place::Open)), 0));
    check.skip_string();
    check.skip_string();
    check.skip_string();
    assert_eq!(at(&check), None);
    check.repeat_string();
    assert_eq!(at(&check), Some((2, Place::Open)));
}

#[test]
fn two_cents_are_the_scatter_of_a_finger() {
    let mut check = one(1, &[12]);
    played(&mut check, &[5500.0, 6700.0, 6701.9]);
    let found = &check.found()[0];
    assert_eq!((found.advice, found.move_mm), (Advice::ReadAgain, None), "one reading tells nothing");
    let mut check = one(3, &[12]);
    played(&mut check, &[5500.0, 5500.0, 5500.0, 6700.0, 6700.0, 6700.0, 6701.0, 6701.9, 6702.5]);
    assert_eq!((check.found()[0].advice, check.found()[0].move_mm), (Advice::Leave, None));
}

#[test]
fn readings_that_scatter_move_no_saddle() {
    let mut check = one(3, &[12]);
    played(&mut check, &[5500.0, 5500.0, 5500.0, 6700.0, 6700.0, 6700.0, 6697.0, 6704.0, 6711.0]);
    assert_eq!((check.found()[0].advice, check.found()[0].move_mm), (Advice::ReadAgain, None));
}

#[test]
fn a_flat_one_sends_it_forward_and_an_impossible_one_to_the_repairer() {
    for (error, advice) in [(-6.0, Advice::Forward), (45.0, Advice::Repairer)] {
        let mut check = one(2, &[12]);
        played(&mut check, &[5500.0, 5500.0, 6700.0, 6700.0, 6700.0 + error, 6700.0 + error]);
        assert_eq!(check.found()[0].advice, advice);
        assert_eq!(check.found()[0].move_mm.is_some_and(|mm| mm < 0.0), advice == Advice::Forward);
    }
}

#[test]
fn a_string_out_of_tune_is_tuned_first() {
    let mut check = one(1, &[12]);
    played(&mut check, &[5480.0, 6680.0, 6688.0]);
    assert_eq!(check.found()[0].advice, Advice::TuneFirst);
}

#[test]
fn other_frets_are_compared_with_the_open_string() {
    let mut check = one(2, &[7]);
    played(&mut check, &[5503.0, 5503.0, 6209.0, 6209.0]);
    let found = &check.found()[0];
    assert!((found.error_cents.unwrap() - 6.0).abs() < 1e-9);
    assert_eq!(found.harmonic.count(), 0);
}

#[test]
fn another_note_an_unsettled_one_and_the_same_one_again_are_not_taken() {
    let mut check = one(2, &[12]);
    assert_eq!(check.hear(&steady(1, 5000.0)), Answer::Another(5000.0));
    assert_eq!(check.hear(&Steady { drift_cents_per_s: -9.0, ..steady(2, 5500.0) }), Answer::Settling);
    assert_eq!(check.hear(&Steady { uncertainty_cents: 4.0, ..steady(2, 5500.0) }), Answer::Settling);
    assert!(matches!(check.hear(&steady(2, 5500.0)), Answer::Taken(..)));
    assert_eq!(check.hear(&steady(2, 5500.0)), Answer::Read);
    assert!(matches!(check.hear(&steady(3, 5500.0)), Answer::Taken(..)));
    assert_eq!(check.hear(&steady(4, 5500.0)), Answer::Another(5500.0), "the open string, where the harmonic was asked for");
}

#[test]
fn unknown_stays_unknown() {
    let mut check = one(3, &[12]);
    assert!(check.found().is_empty());
    played(&mut check, &[5500.0]);
    let found = &check.found()[0];
    assert_eq!((found.advice, found.error_cents, found.uncertainty_cents, found.move_mm), (Advice::Unfinished, None, None, None));
    assert_eq!(found.open.spread_cents(), None);
}

proptest! {
    #[test]
    fn whatever_is_played_nothing_panics_and_no_place_gets_too_many(pitches in prop::collection::vec(5000.0..7000.0_f64, 0..60)) {
        let mut check = one(3, &[12, 7]);
        played(&mut check, &pitches);
        for found in check.found() {
            prop_assert!(found.open.count() <= 3 && found.harmonic.count() <= 3 && found.fretted.count() <= 3);
        }
    }

    #[test]
    fn a_guitar_tuned_higher_as_a_whole_gets_the_same_advice(shift in -14.0..14.0_f64, error in -20.0..20.0_f64) {
        let result = |shift: f64| {
            let mut check = one(1, &[12]);
            played(&mut check, &[5500.0 + shift, 6700.0 + shift, 6700.0 + shift + error]);
            check.found()[0].clone()
        };
        prop_assert_eq!(result(0.0).advice, result(shift).advice);
        prop_assert!((result(0.0).error_cents.unwrap() - result(shift).error_cents.unwrap()).abs() < 1e-9);
    }
}
