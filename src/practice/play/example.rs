//! Somebody to watch: one bend into each chord of a tune, for the synthesiser, with the slips that a player makes.

use super::Tune;
use crate::sound::synth::{Scenario, SynthError};
use crate::theory::chart::PlayedChord;
use crate::theory::{Bend, Ease, Neck, StringSet, Tuning, bends};
use std::fmt::Write;

/// A chord that lasts less leaves no time for a bend, s.
const LEAST_S: f64 = 1.0;
/// Picked so long before the chord begins, s, and at the top on its first beat after so long a rise.
const PICK_BEFORE_S: f64 = 0.4;
const RISE_S: f64 = 0.13;
/// It is within 10 cents of the top so long before the rise is over, s.
const LAST_CENTS_S: f64 = 0.025;
/// Damped so long before the next chord, and after so long at most, s.
const REST_S: f64 = 0.8;
const LONGEST_S: f64 = 2.4;
/// Frets of the hand.
const FRETS: std::ops::RangeInclusive<u8> = 5..=14;

/// How far off the note, cents, how late, s, and whether it is let down: one after the other, over and over (invented).
const SLIPS: [(f64, f64, bool); 6] =
    [(1.0, 0.0, false), (-14.0, 0.0, false), (2.0, 0.02, true), (-2.0, 0.09, false), (0.0, -0.01, false), (16.0, 0.0, true)];

/// Bends into the third, fifth and root of the chords by turns, each near the one before it, the tops on the chord's first beat. `zero_s` is where the
/// tune begins in the take.
///
/// # Errors
/// When the synthesiser refuses it.
pub fn example(tune: &Tune, zero_s: f64) -> Result<Scenario, SynthError> {
    let strings = StringSet::usual(&Tuning::standard());
    let neck = Neck::new(Tuning::standard(), 22).map_err(|error| SynthError::Form(error.to_string()))?;
    let mut text = format!("title = {:?}\nseed = 17\n[noise]\nsnr_db = 48.0\n", tune.title);
    let (mut fret, mut number) = (8, 0);
    for played in tune.timeline.chords.iter().filter(|played| played.end_s - played.start_s >= LEAST_S) {
        let Some(bend) = chosen(&neck, &strings, played, number, fret) else { continue };
        let (off_cents, late_s, let_down) = SLIPS[number % SLIPS.len()];
        let pick_s = (zero_s + played.start_s - PICK_BEFORE_S).max(0.1);
        let lasts_s = (zero_s + played.end_s - REST_S - pick_s).min(LONGEST_S);
        let _ = write!(
            text,
            "[[note]]\nat_s = {pick_s:.3}\nstring = {}\nfret = {}\ndamped_s = {lasts_s:.3}\n[[note.then]]\nhand = \"bend\"\nat_s = {:.3}\n\
             cents = {:.1}\ntakes_ms = {:.0}\n",
            bend.place.string,
            bend.place.fret,
            zero_s + played.start_s + late_s + LAST_CENTS_S - RISE_S - pick_s,
            f64::from(bend.cents) + off_cents,
            1000.0 * RISE_S,
        );
        if let_down {
            let _ = write!(text, "[[note.then]]\nhand = \"release\"\nat_s = {:.3}\ntakes_ms = 160\nlands_cents = 2.0\n", lasts_s - 0.55);
        }
        (fret, number) = (bend.place.fret, number + 1);
    }
    Scenario::from_toml(&text)
}

fn chosen(neck: &Neck, strings: &StringSet, played: &PlayedChord, number: usize, fret: u8) -> Option<Bend> {
    let chord = played.chord.as_ref()?;
    let wanted = [3, 5, 1][number % 3];
    let found = bends(neck, strings, chord, Some(&played.key.scale()), &[100, 200]);
    let easy = found.into_iter().filter(|bend| bend.ease == Ease::Easy && FRETS.contains(&bend.place.fret));
    let farther = |bend: &Bend| (bend.degree.number != wanted, bend.place.fret.abs_diff(fret));
    easy.min_by_key(farther)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::sidecar::AskedTune;
    use crate::theory::chart::{Chart, Example};
    use crate::units::SampleRate;

    #[test]
    fn each_chord_of_a_tune_gets_a_bend_into_one_of_its_tones_on_its_first_beat() {
        let name = "ii-V-I";
        let tune = Tune::new(&Chart::parse(name, Example::find(name).unwrap().text).unwrap(), name, &AskedTune::default()).unwrap();
        let scenario = example(&tune, 2.0).unwrap();
        let truth = crate::sound::synth::render(&scenario).unwrap().truth;
        let long: Vec<&PlayedChord> = tune.timeline.chords.iter().filter(|played| played.end_s - played.start_s >= LEAST_S).collect();
        let bends = truth.bends();
        assert!(bends.len() == long.len() && bends.len() >= 3, "{} bends, {} chords", bends.len(), long.len());
        for (bend, played) in bends.iter().zip(long) {
            let chord = played.chord.as_ref().unwrap();
            let midi = (bend.held_cents / 100.0).round() as i32;
            assert!(chord.degree_of_pitch(midi).is_some(), "{midi} over {}", played.text);
            let late_s = bend.arrival.seconds(SampleRate::new(48_000).unwrap()) - 2.0 - played.start_s;
            assert!(late_s.abs() < 0.1, "{late_s} s late on {}", played.text);
        }
    }
}
