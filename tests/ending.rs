//! The words on a run and at its end: a bend into a note that is no tone of the chord is not said to have landed, whoever says it, while what the
//! row measures stays; and a drill says what it came to.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod program;

use landfall::sound::synth::{Scenario, render};
use program::Program;
use std::fmt::Write;
use std::fs;

const RATE: u32 = 48_000;

/// Gm7, C7, Fmaj7, a bar of four seconds each, after a count-in of one bar.
const CHART: &str = "key = \"F major\"\nmetre = \"4/4\"\ntempo = 60\nbars = \"Gm7 | C7 | Fmaj7\"\n";

/// String, fret, attack and cents of bends: A4 to B4, which is in neither Gm7 nor F major; D4 to E4, the 3 of C7; F4 to G4, of F major but not of
/// Fmaj7.
const BENDS: &[(u32, u32, f64, f64)] = &[(1, 5, 4.5, 200.0), (3, 7, 8.5, 200.0), (2, 6, 12.5, 200.0)];

fn take(program: &Program, file: &str, bends: &[(u32, u32, f64, f64)], length_s: f64) {
    let mut text = format!("title = \"outside\"\nseed = 3\nlength_s = {length_s:?}\n[noise]\nsnr_db = 50.0\n");
    for (string, fret, at_s, cents) in bends {
        let _ = write!(text, "[[note]]\nat_s = {at_s:?}\nstring = {string}\nfret = {fret}\ndamped_s = 2.0\n");
        let _ = write!(text, "[[note.then]]\nhand = \"bend\"\nat_s = 0.4\ncents = {cents:?}\ntakes_ms = 150.0\n");
    }
    let rendered = render(&Scenario::from_toml(&text).unwrap()).unwrap();
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path(file), spec).unwrap();
    rendered.samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
}

fn said(program: &Program, arguments: &[&str]) -> String {
    let ran = program.run(arguments);
    ran.assert_succeeds();
    ran.stdout
}

/// The words between the notes of each `Attempt` line and its first figure.
fn words(said: &str) -> Vec<&str> {
    let attempts = said.lines().filter(|line| line.starts_with("Attempt"));
    attempts.map(|line| line.split(": ").nth(1).unwrap().split(';').next().unwrap()).collect()
}

/// Text without its line breaks and what hangs in after them.
fn flowing(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

const COUNTED: &str = "3 bends, 1 landed, 1 without a fault. 1 went to a chord tone, 2 elsewhere: 1 of the scale, 1 outside.";

#[test]
fn over_a_tune_only_chord_tones_land_and_the_others_are_counted_apart() {
    let program = Program::new();
    program.write("cadence.toml", CHART);
    take(&program, "player.wav", BENDS, 16.0);
    let live = said(&program, &["play", "cadence.toml", "--input", "player.wav", "--fast", "--save", "off", "--log", "log.csv"]);
    assert_eq!(words(&live), ["outside", "landed", "scale"], "{live}");
    assert!(flowing(&live).contains(COUNTED), "{live}");
    assert!(flowing(&live).contains("3 notes, a bend counted by its top: 1 chord tone, 1 of the scale, 1 outside."), "{live}");
    // Each is 500 ms of an eighth from its neighbours; what a time is measured from is said beside it.
    assert!(live.contains("ms from the eighth") && live.contains("ms on average from the nearest eighth"), "{live}");
    let graded = said(&program, &["grade", "player.wav", "--chart", "cadence.toml", "--chart-start", "4"]);
    assert!(flowing(&graded).contains(COUNTED) && graded.contains("no tone of Gm7"), "{graded}");
    // The rows know nothing of it: the nearest note is the target, and no degree.
    let log = fs::read_to_string(program.path("log.csv")).unwrap();
    let rows: Vec<Vec<&str>> = log.lines().map(|line| line.split(',').collect()).collect();
    let cell = |row: usize, name: &str| rows[row][rows[0].iter().position(|column| *column == name).unwrap()];
    assert_eq!([1, 2, 3].map(|row| (cell(row, "target_note"), cell(row, "degree"))), [("B4", ""), ("E4", "3"), ("G4", "")]);
    let scores = [1, 3, 2].map(|row| cell(row, "score").parse::<f64>().unwrap());
    assert!(scores[0] < 31.0 && scores[0] < scores[1] && scores[1] < 76.0 && scores[1] < scores[2], "outside, scale, chord: {scores:?}");
}

#[test]
fn a_bend_over_a_bar_without_a_chord_is_counted_as_that() {
    let program = Program::new();
    program.write("ends.toml", CHART.replace("Fmaj7", "N.C."));
    take(&program, "player.wav", BENDS, 16.0);
    let graded = said(&program, &["grade", "player.wav", "--chart", "ends.toml", "--chart-start", "4"]);
    let wanted = "3 bends, 2 landed, 2 without a fault. 1 went to a chord tone, 1 elsewhere: 0 of the scale, 1 outside. 1 over no chord.";
    assert!(flowing(&graded).contains(wanted), "{graded}");
}

#[test]
fn towards_one_chord_the_eye_says_outside_before_the_row_does() {
    let program = Program::new();
    take(&program, "b.wav", &[(1, 5, 0.5, 200.0)], 3.2);
    let live = said(&program, &["drill", "--chord", "Gm7", "--input", "b.wav", "--save", "off", "--log", "log.csv"]);
    let lines: Vec<&str> = live.lines().collect();
    let first = |what: &str| lines.iter().position(|line| line.starts_with(what)).unwrap_or_else(|| panic!("no {what} in\n{live}"));
    assert!(first("outside") < first("Attempt 1, A4 to B4: outside"), "{live}");
    assert!(!live.contains("landed;"), "{live}");
    let graded = said(&program, &["grade", "b.wav", "--chord", "Gm7"]);
    assert!(graded.contains("1 bend, 0 landed, 0 without a fault. 0 went to chord tones, 1 elsewhere"), "{graded}");
    // Asked for by its name, the note is what was meant.
    let asked =
        said(&program, &["drill", "--chord", "Gm7", "--target", "B4", "--input", "b.wav", "--fast", "--save", "off", "--log", "l.csv"]);
    assert_eq!(words(&asked), ["landed"], "{asked}");
}

#[test]
fn a_named_chart_is_shown_in_the_key_that_is_asked_for() {
    let program = Program::new();
    let chart = |arguments: &[&str]| said(&program, &[&["chart", "ii-V-I"], arguments].concat());
    assert!(chart(&[]).contains("Gm7"));
    let flat = chart(&["--key", "Bb"]);
    assert!(flat.contains("Cm7") && flat.contains("F7") && flat.contains("Bbmaj7") && !flat.contains("Gm7"), "{flat}");
    assert!(chart(&["--key", "C minor"]).contains("Dm7b5"));
    let wrong = |arguments: &[&str]| {
        let ran = program.run(&[&["chart", "ii-V-I"], arguments].concat());
        assert_eq!(ran.status, Some(2), "{}", ran.stderr);
        ran.stderr
    };
    assert!(wrong(&["--key", "Q"]).contains("'Q'"));
    program.run(&["chart", "ballade", "--key", "Bb"]).assert_fails_saying(&["did you mean ballad?"]);
    assert!(wrong(&["--metre", "3/4"]).contains("--metre") && wrong(&["--tempo", "50"]).contains("--tempo"));
}

/// Three good whole bends from G4 and five that stop 20 to 25 cents short, 4 s apart.
fn flat_at_last(program: &Program) {
    let cents = [200.0, 201.0, 199.0, 178.0, 176.0, 180.0, 175.0, 177.0];
    let bends: Vec<(u32, u32, f64, f64)> =
        cents.iter().enumerate().map(|(index, cents)| (2, 8, 0.5 + 4.0 * index as f64, *cents)).collect();
    take(program, "hold.wav", &bends, 33.0);
}

#[test]
fn a_drill_ends_with_its_attempts_what_they_share_and_the_one_thing_to_do_next() {
    let program = Program::new();
    flat_at_last(&program);
    let drill = said(&program, &["drill", "bend-and-hold", "--input", "hold.wav", "--fast", "--save", "off", "--log", "log.csv"]);
    let (_, end) = drill.split_once("\n\n").unwrap_or_else(|| panic!("no ending in\n{drill}"));
    let lines: Vec<&str> = end.lines().collect();
    assert_eq!(lines[0], "  1  G4 to A4    landed", "{end}");
    assert!(lines[1].trim_start().starts_with("held ") && end.contains("  8  G4 to A4    short 23"), "{end}");
    assert!(end.contains("8 bends, 3 landed, 3 without a fault.\n5 of 8 were 20 to 25 c short.\n"), "{end}");
    assert!(flowing(end).contains("Next time: Fret the note you want, hear it, then push until the bend is that note. "), "{end}");
    assert!(end.contains("8 attempts, in log.csv"), "{end}");
    assert!(end.lines().all(|line| line.chars().count() <= 80), "{end}");
}

#[test]
fn a_drill_of_a_list_ends_in_few_words() {
    let program = Program::new();
    flat_at_last(&program);
    program.write("list.toml", "title = \"Before the band comes\"\n[[drill]]\nkind = \"bend-and-hold\"\n");
    let list = said(&program, &["drill", "list.toml", "--input", "hold.wav", "--fast", "--save", "off", "--log", "log.csv"]);
    assert!(list.starts_with("Before the band comes: 1 drill.\n"), "{list}");
    let (_, end) = list.split_once("\n\n").unwrap_or_else(|| panic!("no ending in\n{list}"));
    assert!(end.starts_with("8 bends, 3 landed, 3 without a fault.\n5 of 8 were 20 to 25 c short.\n"), "{end}");
}

#[test]
fn of_many_attempts_the_last_are_shown() {
    let program = Program::new();
    let bends: Vec<(u32, u32, f64, f64)> = (0..13).map(|index| (2, 8, 0.5 + 3.0 * f64::from(index), 200.0)).collect();
    take(&program, "many.wav", &bends, 40.0);
    let free = said(&program, &["drill", "--input", "many.wav", "--fast", "--save", "off", "--log", "log.csv"]);
    let (_, end) = free.split_once("\n\n").unwrap_or_else(|| panic!("no ending in\n{free}"));
    assert!(end.starts_with("The last 8 of 13:\n  6  G4 to A4    landed\n"), "{end}");
    assert!(end.contains("13 bends, 13 landed, 13 without a fault.\n") && !end.contains("Next time"), "{end}");
}
