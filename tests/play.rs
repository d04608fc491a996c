//! `landfall play` and `grade --chart`: a player of known truth over the chords of a tune, what sounds, and every screen.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod program;

use landfall::sound::FileSource;
use landfall::sound::synth::{Scenario, render};
use landfall::sound::{Heard, Source};
use landfall::theory::{Chord, Neck, Tuning};
use landfall::views::letters;
use landfall::views::live::Look;
use landfall::views::play::{PlayState, Shown, draw, target_lines};
use program::Program;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use std::fmt::Write;
use std::fs;
use std::path::Path;

const RATE: u32 = 48_000;

/// Gm7, C7, Fmaj7, Fmaj7, a bar of four seconds each, after a count-in of one bar.
const CHART: &str = "title = \"Cadence\"\nkey = \"F major\"\nmetre = \"4/4\"\ntempo = 60\nbars = \"|: Gm7 | C7 | Fmaj7 | % :|\"\n";

/// String, fret, attack, start of the rise, its length in ms, cents, release (seconds after the attack, length in ms), end.
struct Bent(u32, u32, f64, f64, f64, f64, Option<f64>, f64);

/// What is played and what the rows have to say of it: chord, degree, size of the hold's error.
const PLAYED: &[(Bent, &str, &str, f64)] = &[
    // C5 to D5, the 5 of Gm7, a little after the beat.
    (Bent(1, 8, 4.5, 0.4, 150.0, 200.0, None, 2.0), "Gm7", "5", 0.0),
    // D4 to E4, the 3 of C7, on the beat and flat.
    (Bent(3, 7, 8.4, 0.45, 180.0, 185.0, None, 2.0), "C7", "3", -15.0),
    // G4 to A4 half a beat before Fmaj7, held into it: its 3.
    (Bent(2, 8, 11.0, 0.4, 150.0, 201.0, None, 2.2), "Fmaj7", "3", 1.0),
    // The same before Gm7, but let go before it comes: still Fmaj7.
    (Bent(2, 8, 19.0, 0.4, 150.0, 200.0, Some(0.82), 0.98), "Fmaj7", "3", 0.0),
    // F4 to G4, the root of Gm7.
    (Bent(2, 6, 21.0, 0.35, 160.0, 204.0, None, 1.8), "Gm7", "1", 4.0),
];

/// The take, the frame of each true arrival, and its file.
fn player(folder: &Path) -> Vec<f64> {
    let mut text = String::from("title = \"over a cadence\"\nseed = 3\nlength_s = 24.0\n[noise]\nsnr_db = 50.0\n");
    for (Bent(string, fret, at_s, rise_s, takes_ms, cents, release_s, damped_s), ..) in PLAYED {
        let _ = write!(text, "[[note]]\nat_s = {at_s:?}\nstring = {string}\nfret = {fret}\ndamped_s = {damped_s:?}\n");
        let _ = write!(text, "[[note.then]]\nhand = \"bend\"\nat_s = {rise_s:?}\ncents = {cents:?}\ntakes_ms = {takes_ms:?}\n");
        if let Some(release_s) = release_s {
            let _ = write!(text, "[[note.then]]\nhand = \"release\"\nat_s = {release_s:?}\ntakes_ms = 80.0\n");
        }
    }
    let rendered = render(&Scenario::from_toml(&text).unwrap()).unwrap();
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(folder.join("player.wav"), spec).unwrap();
    rendered.samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
    rendered.truth.bends().iter().map(|bend| bend.arrival.0 as f64 / f64::from(RATE)).collect()
}

fn cells(text: &str) -> Vec<Vec<String>> {
    text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn cell<'a>(rows: &'a [Vec<String>], row: usize, column: &str) -> &'a str {
    let place = rows[0].iter().position(|name| name == column).unwrap();
    &rows[row][place]
}

/// What follows from the column `onset_s` on.
fn from_onset(csv: &str) -> Vec<String> {
    let rows = cells(csv);
    let place = rows[0].iter().position(|name| name == "onset_s").unwrap();
    rows[1..].iter().map(|row| row[place..].join(",")).collect()
}

fn played(program: &Program, more: &[&str]) -> String {
    program.write("cadence.toml", CHART);
    player(program.folder());
    let mut arguments = vec!["play", "cadence.toml", "--input", "player.wav", "--fast", "--save", "takes", "--log", "log.csv"];
    arguments.extend(more);
    let ran = program.run(&arguments);
    ran.assert_succeeds();
    ran.stdout
}

#[test]
fn each_bend_is_graded_by_the_chord_and_the_count_of_its_moment() {
    let program = Program::new();
    let said = played(&program, &[]);
    let arrivals = player(program.folder());
    let rows = cells(&fs::read_to_string(program.path("log.csv")).unwrap());
    assert_eq!(rows.len(), 1 + PLAYED.len(), "{said}");
    for (index, (_, chord, degree, error)) in PLAYED.iter().enumerate() {
        let row = index + 1;
        assert_eq!((cell(&rows, row, "chord"), cell(&rows, row, "degree")), (*chord, *degree), "bend {row}");
        let found: f64 = cell(&rows, row, "hold_error_cents").parse().unwrap();
        assert!((found - error).abs() < 1.0, "bend {row} was held {error} off, found {found}");
        // Counts are eighths: half a second, from the end of the count-in on.
        let wanted = 1000.0 * (arrivals[index] - (arrivals[index] * 2.0).round() / 2.0);
        let found: f64 = cell(&rows, row, "beat_error_ms").parse().unwrap();
        assert!((found - wanted).abs() < 3.0, "bend {row} came {wanted} ms after its count, found {found}");
        assert!(!cell(&rows, row, "faults").contains("uncalibrated"), "a file has no card's delay");
    }
    let bars: Vec<&str> = (1..=PLAYED.len()).map(|row| cell(&rows, row, "step")).collect();
    assert_eq!(bars, ["1", "2", "3", "4", "5"]);
    assert!(said.contains("5 bends, 4 landed, 4 without a fault."), "{said}");
    assert!(said.contains("Phrases came to rest on the 5 of Gm7 (bar 1)"), "{said}");
    assert!(said.contains("Space: nothing played for"), "{said}");
    assert!(said.contains("ms on average"), "{said}");
    for line in said.lines().filter(|line| !line.contains(".csv") && !line.contains(".wav")) {
        assert!(line.chars().count() <= 80, "too wide for a terminal: {line:?}");
    }
}

#[test]
fn a_saved_take_is_graded_to_the_same_bytes_by_the_tune_beside_it() {
    let program = Program::new();
    played(&program, &["--rounds", "2", "--tempo", "60"]);
    let take =
        fs::read_dir(program.path("takes")).unwrap().map(|entry| entry.unwrap().path()).find(|path| path.extension().unwrap() == "wav");
    let again = program.run(&["grade", take.unwrap().to_str().unwrap(), "--csv", "-"]);
    again.assert_succeeds();
    assert_eq!(from_onset(&again.stdout), from_onset(&fs::read_to_string(program.path("log.csv")).unwrap()));
    let rows = cells(&again.stdout);
    assert_eq!((cell(&rows, 3, "chord"), cell(&rows, 3, "degree"), cell(&rows, 3, "drill")), ("Fmaj7", "3", "play"));
}

/// The summary from its first bend to its last line.
fn came_to(said: &str) -> String {
    let from = said.lines().skip_while(|line| !line.trim_start().starts_with("1  bar"));
    let until = from.take_while(|line| !line.contains("attempts, in"));
    until.collect::<Vec<_>>().join("\n").trim_end().to_owned()
}

#[test]
fn time_in_the_summary_follows_from_the_rows_and_grading_the_take_says_the_same() {
    let program = Program::new();
    let said = played(&program, &[]);
    let rows = cells(&fs::read_to_string(program.path("log.csv")).unwrap());
    let late: Vec<f64> = (1..rows.len()).map(|row| cell(&rows, row, "beat_error_ms").parse().unwrap()).collect();
    let mean = late.iter().sum::<f64>() / late.len() as f64;
    assert!(said.contains(&format!("Time: {mean:+.0} ms on average")), "{mean} is not in:\n{said}");
    let take =
        fs::read_dir(program.path("takes")).unwrap().map(|entry| entry.unwrap().path()).find(|path| path.extension().unwrap() == "wav");
    let graded = program.run(&["grade", take.unwrap().to_str().unwrap()]);
    graded.assert_succeeds();
    assert_eq!(came_to(&graded.stdout), came_to(&said));
    let by_chart = program.run(&["grade", "player.wav", "--chart", "cadence.toml", "--chart-start", "4"]);
    assert!(
        by_chart.stdout.contains("bar 2   C7       3   D4 to E4") && by_chart.stdout.contains("Space: nothing played"),
        "{}",
        by_chart.stdout
    );
}

#[test]
fn a_bend_in_the_count_in_is_in_time_with_nothing() {
    let program = Program::new();
    program.write("cadence.toml", CHART);
    player(program.folder());
    // The first bar begins at 8 s: what is bent at 4.5 s is bent in the count-in.
    let ran = program.run(&[
        "play",
        "cadence.toml",
        "--input",
        "player.wav",
        "--fast",
        "--chart-start",
        "8",
        "--save",
        "off",
        "--log",
        "log.csv",
    ]);
    ran.assert_succeeds();
    let rows = cells(&fs::read_to_string(program.path("log.csv")).unwrap());
    assert_eq!((cell(&rows, 1, "chord"), cell(&rows, 1, "step"), cell(&rows, 1, "beat_error_ms")), ("", "", ""));
    let late: Vec<f64> = (2..rows.len()).map(|row| cell(&rows, row, "beat_error_ms").parse().unwrap()).collect();
    let mean = late.iter().sum::<f64>() / late.len() as f64;
    assert!(ran.stdout.contains(&format!("Time: {mean:+.0} ms on average")), "{mean} is not in:\n{}", ran.stdout);
}

#[test]
fn tuned_down_a_tune_is_shown_as_fingered_and_graded_as_it_sounds() {
    let program = Program::new();
    // Fingered a semitone higher than it sounds: Abm7 Db7 Gbmaj7.
    program.write("cadence.toml", CHART.replace("F major", "Gb major").replace("Gm7 | C7 | Fmaj7", "Abm7 | Db7 | Gbmaj7"));
    player(program.folder());
    let ran = program.run(&[
        "play",
        "cadence.toml",
        "--tuned-down",
        "1",
        "--input",
        "player.wav",
        "--fast",
        "--save",
        "takes",
        "--log",
        "log.csv",
    ]);
    ran.assert_succeeds();
    let log = fs::read_to_string(program.path("log.csv")).unwrap();
    let rows = cells(&log);
    assert_eq!((cell(&rows, 2, "chord"), cell(&rows, 2, "degree"), cell(&rows, 2, "target_note")), ("C7", "3", "E4"));
    assert!(ran.stdout.contains("-1 semitones from what is fingered"), "{}", ran.stdout);
    let take =
        fs::read_dir(program.path("takes")).unwrap().map(|entry| entry.unwrap().path()).find(|path| path.extension().unwrap() == "wav");
    let again = program.run(&["grade", take.unwrap().to_str().unwrap(), "--csv", "-"]);
    assert_eq!(from_onset(&again.stdout), from_onset(&log));
}

#[test]
fn a_recording_is_graded_by_a_chart_that_begins_where_it_is_said() {
    let program = Program::new();
    program.write("cadence.toml", CHART);
    player(program.folder());
    let chart = |start: &str| {
        let ran = program.run(&["grade", "player.wav", "--chart", "cadence.toml", "--chart-start", start, "--csv", "-"]);
        ran.assert_succeeds();
        cells(&ran.stdout)
    };
    let right = chart("4");
    assert_eq!((cell(&right, 2, "chord"), cell(&right, 2, "degree")), ("C7", "3"));
    // A bar later the second bend comes over Gm7, of which E is no tone.
    let late = chart("8");
    assert_eq!((cell(&late, 2, "chord"), cell(&late, 2, "degree")), ("Gm7", ""));
    program.run(&["grade", "player.wav", "--chart", "nothing.toml"]).assert_fails_saying(&["nothing.toml", "ii-V-I"]);
}

#[test]
fn chords_that_are_typed_take_the_feel_that_a_chart_file_takes() {
    let program = Program::new();
    let sounds = |name: &str, words: &[&str]| {
        program.run(&[&["play"][..], words, &["--out", name]].concat()).assert_succeeds();
        fs::read(program.path(name)).unwrap()
    };
    let typed = ["--chords", "Gm7 C7", "--key", "F", "--tempo", "120"];
    let (straight, swung) = (sounds("straight.wav", &typed), sounds("swung.wav", &[&typed[..], &["--feel", "swing"]].concat()));
    program.write("two.toml", "key = \"F major\"\nmetre = \"4/4\"\ntempo = 120\nfeel = \"swing\"\nbars = \"Gm7 | C7\"\n");
    assert!(straight != swung && swung == sounds("two.wav", &["two.toml"]));
    let shown = program.run(&["chart", "--chords", "Gm7 C7", "--feel", "shuffle"]);
    assert!(shown.status == Some(0) && shown.stdout.contains("shuffle"), "{}", shown.stdout);
    for command in ["play", "chart"] {
        let refused = program.run(&[command, "--chords", "Gm7 C7", "--feel", "shufle"]);
        assert!(refused.status == Some(2) && refused.stderr.contains("did you mean shuffle?"), "{}", refused.stderr);
    }
}

#[test]
fn the_pick_may_be_what_is_on_the_beat() {
    let program = Program::new();
    played(&program, &["--on", "pick"]);
    let rows = cells(&fs::read_to_string(program.path("log.csv")).unwrap());
    assert_eq!(cell(&rows, 1, "beat_error_ms"), "");
    // Struck at 4.5, 8.4 and 11.0 s.
    for (row, wanted) in [(1, 0.0), (2, -100.0), (3, 0.0)] {
        let found: f64 = cell(&rows, row, "attack_beat_error_ms").parse().unwrap();
        assert!((found - wanted).abs() < 5.0, "bend {row} was struck {wanted} ms after its count, found {found}");
    }
}

#[test]
fn what_cannot_be_played_is_wrong_use_in_one_sentence() {
    let program = Program::new();
    let said = |arguments: &[&str], status: i32| {
        let ran = program.run(arguments);
        assert_eq!(ran.status, Some(status), "{}", ran.stderr);
        ran.stderr
    };
    assert!(said(&["play", "ii-V-I", "--bars", "7-90", "--out", "x.wav"], 2).contains("the tune has 8"));
    assert!(said(&["play", "--chords", "Gm7 H7", "--out", "x.wav"], 2).contains("'H7'"));
    assert!(said(&["play", "ballad", "--key", "Q", "--out", "x.wav"], 2).contains("'Q'"));
    assert!(said(&["play", "ballade", "--out", "x.wav"], 1).contains("did you mean ballad?"));
    assert!(said(&["play"], 2).contains("--chords"));
    assert!(said(&["play", "ii-V-I", "--tempo", "5"], 2).contains("10 to 1000"));
}

fn samples(path: &Path) -> Vec<f32> {
    let mut source = FileSource::open(path).unwrap();
    assert_eq!(source.format().rate.hz(), RATE);
    let (mut all, mut block) = (Vec::new(), vec![0.0; 4096]);
    while let Heard::Filled(count) = source.next(&mut block).unwrap() {
        all.extend_from_slice(&block[..count]);
    }
    all
}

#[test]
fn clicks_of_the_rendered_file_begin_on_their_beats_to_the_sample() {
    let program = Program::new();
    for (chart, beats_a_bar, beat_s) in [("ii-V-I", 4, 60.0 / 97.0), ("ballad", 4, 60.0 / 97.0), ("seven", 7, 60.0 / 97.0)] {
        let file = format!("{chart}.wav");
        let ran = program.run(&["play", chart, "--bars", "1-4", "--tempo", "97", "--without", "all", "--click", "--out", &file]);
        ran.assert_succeeds();
        let heard = samples(&program.path(&file));
        let beats = beats_a_bar * 5;
        for beat in 0..beats {
            let at = (f64::from(beat) * beat_s * f64::from(RATE)).round() as usize;
            let loudest = |from: usize, to: usize| {
                heard[from.min(heard.len())..to.min(heard.len())].iter().fold(0.0_f32, |most, x| most.max(x.abs()))
            };
            let before = loudest(at.saturating_sub(2000), at);
            let after = loudest(at, at + 100);
            assert!(before < 1e-4 && after > 0.01, "{chart}, beat {beat}: {before} before, {after} after frame {at}");
            let first = heard[at.saturating_sub(200)..].iter().position(|x| x.abs() > 1e-6).unwrap() + at.saturating_sub(200);
            assert!(first >= at && first <= at + 2, "{chart}, beat {beat} should begin at {at}, begins at {first}");
        }
    }
    program.run(&["play", "ii-V-I", "--out", "ballad.wav"]).assert_fails_saying(&["ballad.wav"]);
}

/// The page as text, without the spaces at the ends of its lines.
fn page(state: &PlayState, columns: u16, rows: u16) -> String {
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    draw(state, Look::default(), area, &mut buffer);
    let line = |row: u16| (0..columns).map(|column| buffer[(column, row)].symbol()).collect::<String>().trim_end().to_owned();
    (0..rows).map(line).collect::<Vec<_>>().join("\n")
}

fn shown(symbol: &str) -> Shown {
    let chord = Chord::parse(symbol).unwrap();
    let tones = chord.tones().iter().map(|tone| tone.name.to_string()).collect::<Vec<_>>().join(" ");
    Shown { text: symbol.into(), large: letters::of_chord(&chord), tones }
}

fn neck(symbol: &str, columns: usize) -> Vec<String> {
    let neck = Neck::new(Tuning::standard(), 22).unwrap();
    target_lines(&neck, (0, 15), false, Some(&Chord::parse(symbol).unwrap()), columns)
}

fn over_gm7(columns: usize) -> PlayState {
    PlayState {
        title: "Harbour lights out".into(),
        place: Some((2, 8, 1, 4, 56.0)),
        now: Some(shown("Gm7")),
        next: Some((shown("C7"), 2)),
        targets: neck("Gm7", columns),
        sounds: Some(("Bb4".into(), -4, Some("b3".into()))),
        last: Some("landed (the 5 of Dm): held +2 c for 1.9 s, +12 ms from the eighth".into()),
        ..PlayState::default()
    }
}

#[test]
fn screens_of_play() {
    let counting = PlayState {
        title: "Harbour lights out".into(),
        count: Some(3),
        next: Some((shown("Dm"), 2)),
        targets: neck("Dm", 80),
        ..PlayState::default()
    };
    let last = PlayState { next: None, place: Some((8, 8, 4, 4, 60.0)), last: None, sounds: None, ..over_gm7(80) };
    let long = PlayState { now: Some(shown("Ebm7b5")), next: Some((shown("Abmaj7"), 11)), targets: neck("Ebm7b5", 80), ..over_gm7(80) };
    let bent = PlayState { verdict: Some("short 14".into()), last: None, ..over_gm7(80) };
    let over = PlayState { over: true, place: None, now: None, next: None, targets: Vec::new(), ..over_gm7(80) };
    let silent = PlayState { now: Some(Shown { text: "N.C.".into(), large: "N.C.".into(), tones: String::new() }), ..over_gm7(80) };
    for (name, state, columns, rows) in [
        ("80x24_over_gm7", over_gm7(80), 80, 24),
        ("80x24_counting", counting, 80, 24),
        ("80x24_last_chord", last, 80, 24),
        ("80x24_long_symbols", long, 80, 24),
        ("80x24_no_chord", silent, 80, 24),
        ("80x24_bend_landed", bent.clone(), 80, 24),
        ("30x4_bend_landed", bent, 30, 4),
        ("80x24_tune_is_over", over, 80, 24),
        ("120x40_over_gm7", over_gm7(120), 120, 40),
        ("80x14_over_gm7", over_gm7(80), 80, 14),
        ("40x10_over_gm7", over_gm7(40), 40, 10),
        ("30x4_over_gm7", over_gm7(30), 30, 4),
    ] {
        insta::assert_snapshot!(name, page(&state, columns, rows));
    }
}

#[test]
fn a_narrow_page_leaves_out_what_does_not_fit_and_cuts_no_word() {
    let page = page(&over_gm7(60), 60, 20);
    assert!(page.lines().any(|line| line == "landed (the 5 of Dm): held +2 c for 1.9 s"), "{page}");
}

#[test]
fn no_size_of_terminal_breaks_the_page() {
    for columns in 0..60 {
        for rows in 0..40 {
            let _ = page(&over_gm7(80), columns * 3, rows);
        }
    }
}
