//! An intonation check from its sound to its table: strings of known pitch, the moves of the saddle by the published formula.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "other tests write files with it")]
mod program;

use landfall::sound::synth::{Scenario, render};
use program::{Program, Ran};
use std::fmt::Write;
use std::path::Path;

/// Seconds from one note to the next.
const APART: f64 = 2.0;

/// Notes one after the other: string, fret, cents off.
fn take(path: &Path, notes: &[(usize, u32, f64)]) {
    let mut text = "title = \"an intonation check\"\n[tone]\nglide_cents = 4.0\n".to_owned();
    for (number, (string, fret, off)) in notes.iter().enumerate() {
        let at = 0.4 + APART * number as f64;
        let _ = write!(text, "[[note]]\nat_s = {at}\nstring = {string}\nfret = {fret}\ndetune_cents = {off}\ndamped_s = 1.7\n");
    }
    let scenario = Scenario::from_toml(&text).unwrap();
    let spec =
        hound::WavSpec { channels: 1, sample_rate: scenario.rate_hz, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    render(&scenario).unwrap().samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
}

fn check(program: &Program, more: &[&str]) -> Ran {
    let arguments: Vec<&str> = ["intonation", "--input", "check.wav", "--fast", "--plain"].iter().chain(more).copied().collect();
    program.run(&arguments)
}

/// The cells of a table, line by line.
fn cells(text: &str) -> Vec<Vec<String>> {
    text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn cell<'a>(table: &'a [Vec<String>], row: usize, column: &str) -> &'a str {
    &table[row][table[0].iter().position(|name| name == column).unwrap()]
}

fn number(table: &[Vec<String>], row: usize, column: &str) -> f64 {
    cell(table, row, column).parse().unwrap_or_else(|_| panic!("{column} of row {row} is {:?}", cell(table, row, column)))
}

/// A string whose twelfth fret is 6 cents sharp, then one that is right; a wrong note and the same note again come between.
const TWO_STRINGS: [(usize, u32, f64); 13] = [
    (3, 0, 1.0),
    (3, 0, 1.2),
    (3, 12, 1.1),
    (2, 0, 0.0),
    (3, 12, 1.1),
    (3, 12, 6.9),
    (3, 12, 7.3),
    (2, 0, -1.0),
    (2, 0, -1.0),
    (2, 12, -1.0),
    (2, 12, -1.0),
    (2, 12, -0.2),
    (2, 12, 0.2),
];

#[test]
fn each_string_is_asked_for_read_and_judged() {
    let program = Program::new();
    take(&program.path("check.wav"), &TWO_STRINGS);
    let ran = check(&program, &["--strings", "2,3", "--readings", "2"]);
    ran.assert_succeeds();
    let said: Vec<&str> = ran.stdout.lines().collect();
    let asks: Vec<&&str> =
        said.iter().filter(|line| line.starts_with("String") && (line.contains(", G3: ") || line.contains(", B3: "))).collect();
    assert_eq!(asks.len(), 6, "{}", ran.stdout);
    let wrong: Vec<&&str> = said.iter().filter(|line| line.starts_with("That was B3")).collect();
    let asked = "That was B3. String 3, G3: touch it over fret 12 without pressing: the harmonic.";
    assert_eq!(wrong, [&asked], "the wrong note is named once, and what is asked for:\n{}", ran.stdout);
    assert!(ran.stdout.contains("String 3: fret 12 is 6.0 cents sharp of the harmonic"), "{}", ran.stdout);
    assert!(ran.stdout.contains("move the saddle back 2.3 mm"), "{}", ran.stdout);
    assert!(ran.stdout.contains("String 2: fret 12 is right within 2 cents"), "{}", ran.stdout);
    assert!(ran.stdout.contains("Loosen a string before you move its saddle"), "{}", ran.stdout);
    let folder = program.path("data/intonation");
    let kept: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    assert_eq!(kept.len(), 1);
    let table = cells(&std::fs::read_to_string(&kept[0]).unwrap());
    assert_eq!(table.len(), 3);
    // The truth of the take; D = L (1 - r) / (2r - 1), r = 2^(-6/1200), on 648 mm, worked out apart.
    for (column, wanted, near) in [
        ("string", 3.0, 0.0),
        ("fret", 12.0, 0.0),
        ("readings", 2.0, 0.0),
        ("open_cents", 5501.1, 0.3),
        ("harmonic_cents", 6701.1, 0.3),
        ("fretted_cents", 6707.1, 0.3),
        ("error_cents", 6.0, 0.3),
        ("saddle_move_mm", 2.2574, 0.12),
        ("scale_length_mm", 648.0, 0.0),
        ("a4_hz", 440.0, 0.0),
    ] {
        let found = number(&table, 1, column);
        assert!((found - wanted).abs() <= near, "{column} is {wanted}, found {found}");
    }
    assert_eq!((cell(&table, 1, "advice"), cell(&table, 2, "advice")), ("back", "leave"));
    assert_eq!(cell(&table, 2, "saddle_move_mm"), "", "unknown is empty");
    assert!((number(&table, 2, "error_cents") - 1.0).abs() < 0.3);
}

#[test]
fn a_table_goes_where_it_is_asked_for_and_overwrites_nothing() {
    let program = Program::new();
    take(&program.path("check.wav"), &[(3, 0, 0.0), (3, 12, 0.0), (3, 12, 5.0)]);
    let with = |csv| check(&program, &["--strings", "3", "--readings", "1", "--csv", csv]);
    let ran = with("-");
    ran.assert_succeeds();
    assert!(ran.stdout.starts_with("checked_at,string,open_note,fret,"), "{}", ran.stdout);
    assert_eq!(ran.stdout.lines().count(), 2, "the table and nothing else");
    assert!(ran.stderr.contains("String 3, G3: pluck the open string"), "what to play goes elsewhere: {}", ran.stderr);
    with("table.csv").assert_succeeds();
    let first = std::fs::read(program.path("table.csv")).unwrap();
    with("table.csv").assert_fails_saying(&["table.csv", "already", "another"]);
    assert_eq!(std::fs::read(program.path("table.csv")).unwrap(), first);
    assert_eq!(std::fs::read_dir(program.path("data/intonation")).unwrap().count(), 2);
}

#[test]
fn what_was_read_is_kept_when_the_check_ends_early() {
    let program = Program::new();
    take(&program.path("check.wav"), &[(6, 0, 0.0), (6, 12, 0.0)]);
    let ran = check(&program, &["--readings", "1", "--frets", "12,7"]);
    ran.assert_succeeds();
    assert!(ran.stdout.contains("String 6: fret 12 was not read to the end."), "{}", ran.stdout);
    let kept = std::fs::read_dir(program.path("data/intonation")).unwrap().next().unwrap().unwrap().path();
    let table = cells(&std::fs::read_to_string(kept).unwrap());
    assert_eq!((table.len(), cell(&table, 1, "fretted_cents"), cell(&table, 1, "advice")), (3, "", "unfinished"));
    assert_eq!(cell(&table, 1, "open_spread_cents"), "", "one reading has no spread");
}

#[cfg(unix)]
#[test]
fn an_interrupted_check_prints_what_was_read() {
    use std::io::{BufRead, BufReader, Read};
    use std::process::{Command, Stdio};
    let program = Program::new();
    take(&program.path("check.wav"), &[(6, 0, 3.0), (6, 12, 3.0), (6, 12, 8.0), (5, 0, 0.0), (5, 12, 0.0)]);
    let words = ["intonation", "--input", "check.wav", "--plain", "--readings", "1"];
    let mut child = program.command(&words).stdout(Stdio::piped()).spawn().unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap());
    let (mut all, mut line) = (String::new(), String::new());
    while !line.starts_with("Read: string 6, open") {
        line.clear();
        assert!(said.read_line(&mut line).unwrap() > 0, "{all}");
        all.push_str(&line);
    }
    assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
    said.read_to_string(&mut all).unwrap();
    assert_eq!(child.wait().unwrap().code(), Some(0), "{all}");
    assert!(all.contains("String 6: fret 12 was not read to the end."), "{all}");
    let row = all.lines().find(|line| line.starts_with("6 E2 ")).unwrap_or_else(|| panic!("no table in {all}"));
    let open: f64 = row.split_whitespace().nth(3).unwrap().parse().unwrap();
    assert!((open - 3.0).abs() < 0.3, "{row}");
}

#[test]
fn nothing_played_keeps_no_table() {
    let program = Program::new();
    take(&program.path("check.wav"), &[(1, 3, 0.0)]);
    let ran = check(&program, &[]);
    ran.assert_succeeds();
    assert!(!program.path("data/intonation").exists());
    assert_eq!(ran.stdout.lines().next(), Some("String 6, E2: pluck the open string and let it ring."));
    assert!(ran.stderr.contains("nothing was read"), "{}", ran.stderr);
    for (more, says) in [(&["--frets", "0"][..], "1..=24"), (&["--scale-length", "50"], "300 to 1200"), (&["--readings", "0"], "1..=20")] {
        let ran = check(&program, more);
        assert_eq!(ran.status, Some(2), "{more:?}");
        assert!(ran.stderr.contains(says), "{more:?}: {}", ran.stderr);
    }
}

#[test]
fn a_fretted_note_in_place_of_the_open_string_is_refused_in_words() {
    let program = Program::new();
    take(&program.path("check.wav"), &[(3, 2, 0.0), (3, 4, 0.0), (3, 0, 0.0), (3, 12, 0.0), (3, 12, 5.0)]);
    let ran = check(&program, &["--strings", "3", "--readings", "1"]);
    ran.assert_succeeds();
    for refused in ["That was A3, +200 c from open G3", "That was B3, +400 c from open G3"] {
        assert!(ran.stdout.contains(refused), "{refused} is not in:\n{}", ran.stdout);
    }
    assert!(ran.stdout.contains("String 3: fret 12 is 5."), "{}", ran.stdout);
}
