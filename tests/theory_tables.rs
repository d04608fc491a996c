//! Spelling, numerals and frequencies against tables that general-purpose theory libraries made: `tests/theory/*.csv` name them with their versions.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::theory::{Chord, Interval, Note, Scale, numeral};
use landfall::units::A4;
use std::collections::BTreeSet;

/// The cells of a table without its notice and its head.
fn rows<const CELLS: usize>(table: &'static str) -> Vec<[&'static str; CELLS]> {
    let rows: Vec<_> = table
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').collect::<Vec<_>>().try_into().unwrap())
        .collect();
    assert!(table.starts_with("# ") && rows.len() > 40, "a table names its libraries and has rows");
    rows
}

#[test]
fn chords_have_the_tones_that_libraries_give_them() {
    for [symbol, notes, libraries] in rows(include_str!("theory/chords.csv")) {
        let chord: Chord = symbol.parse().unwrap();
        let ours: BTreeSet<String> = chord.tones().iter().map(|tone| tone.name.to_string()).collect();
        assert_eq!(ours, notes.split(' ').map(str::to_owned).collect(), "{symbol} by {libraries}");
    }
}

#[test]
fn scales_are_spelled_as_libraries_spell_them() {
    for [name, notes, libraries] in rows(include_str!("theory/scales.csv")) {
        let scale: Scale = name.parse().unwrap();
        let ours: Vec<String> = scale.notes().map(|(_, name)| name.to_string()).collect();
        assert_eq!(ours.join(" "), notes, "{name} by {libraries}");
    }
}

#[test]
fn intervals_lead_to_the_notes_and_frequencies_that_libraries_name() {
    for [from, interval, above, midi, hz] in rows(include_str!("theory/intervals.csv")) {
        let (from, interval): (Note, Interval) = (from.parse().unwrap(), interval.parse().unwrap());
        let reached = from.up(interval);
        assert_eq!((reached.to_string().as_str(), reached.midi().to_string().as_str()), (above, midi), "{from} up {interval}");
        // The table has six decimals.
        assert!((reached.hz(A4::default()) - hz.parse::<f64>().unwrap()).abs() < 1e-6, "{above}");
        assert_eq!(interval.to_string().parse::<Interval>().unwrap(), interval);
    }
}

#[test]
fn numerals_stand_on_the_degree_and_are_small_as_libraries_have_it() {
    for [tonic, symbol, wanted] in rows(include_str!("theory/numerals.csv")) {
        let numeral = numeral(tonic.parse().unwrap(), &symbol.parse().unwrap());
        // What follows is our own: o for diminished, the suffix for a seventh.
        let bare = numeral.trim_end_matches(['7', 'o']);
        assert_eq!(bare, wanted, "{symbol} in {tonic}: {numeral}");
    }
}
