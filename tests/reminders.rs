//! What is said for the hand's sake: to rest after forty whole bends, and when a session has been long enough, in drills, lists, free play and over tunes.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod program;

use landfall::sound::synth::{Scenario, render};
use program::Program;
use std::fmt::Write;

const FORTY: &str = "Forty whole bends in ten minutes: rest the hand, or do something lighter.";

/// Whole bends of string 2, fret 8, one every two seconds.
fn bends(program: &Program, count: usize, cents: f64) -> String {
    let mut text = format!("title = \"an evening\"\nseed = 4\nlength_s = {:.1}\n", 2.0 * count as f64 + 0.7);
    for bend in 0..count {
        let at_s = 0.5 + 2.0 * bend as f64;
        write!(text, "[[note]]\nat_s = {at_s:.1}\nstring = 2\nfret = 8\ndamped_s = 1.2\n").unwrap();
        write!(text, "[[note.then]]\nhand = \"bend\"\nat_s = 0.2\ncents = {cents:.1}\ntakes_ms = 110.0\n").unwrap();
    }
    let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let name = format!("{count}_bends_of_{cents}.wav");
    let mut writer = hound::WavWriter::create(program.path(&name), spec).unwrap();
    for sample in render(&Scenario::from_toml(&text).unwrap()).unwrap().samples {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
    name
}

/// What a run over a take says, and how many rows it logs.
fn said(program: &Program, words: &[&str], take: &str) -> (String, usize) {
    let log = program.path("log.csv");
    let _ = std::fs::remove_file(&log);
    let heard = ["--input", take, "--fast", "--plain", "--save", "off", "--log", "log.csv"];
    let ran = program.run(&words.iter().chain(&heard).copied().collect::<Vec<_>>());
    ran.assert_succeeds();
    let rows = std::fs::read_to_string(&log).map_or(0, |text| text.lines().count().saturating_sub(1));
    (ran.stdout, rows)
}

#[test]
fn forty_whole_bends_are_counted_over_the_drills_of_a_list() {
    let program = Program::new();
    let take = bends(&program, 44, 200.0);
    let one = |title: &str| format!("[[drill]]\nkind = \"hold\"\ntitle = \"{title}\"\nplaces = \"2/8\"\nattempts = 22\n");
    program.write("list.toml", format!("{}{}", one("Before supper"), one("After supper")));
    let (told, rows) = said(&program, &["drill", "list.toml"], &take);
    assert_eq!(rows, 44, "{told}");
    let (before, after) = told.split_once("\nAfter supper\n").unwrap();
    assert!(!before.contains(FORTY), "22 were played:\n{told}");
    assert_eq!(after.matches(FORTY).count(), 1, "{told}");
}

#[test]
fn forty_whole_bends_are_counted_in_free_play_and_over_a_tune() {
    let program = Program::new();
    let (forty, fewer) = (bends(&program, 41, 200.0), bends(&program, 38, 200.0));
    for words in [vec!["drill"], vec!["play", "--chords", "Am", "--rounds", "60"]] {
        let (told, rows) = said(&program, &words, &forty);
        assert!(rows == 41 && told.matches(FORTY).count() == 1, "{words:?}, {rows} rows:\n{told}");
        let (told, rows) = said(&program, &words, &fewer);
        assert!(rows == 38 && !told.contains(FORTY), "{words:?}, {rows} rows:\n{told}");
    }
}

#[test]
fn six_bends_of_one_and_a_half_steps_are_counted_in_free_play() {
    let program = Program::new();
    let take = bends(&program, 7, 300.0);
    let (told, rows) = said(&program, &["drill", "--bend", "one-and-a-half"], &take);
    assert!(rows == 7 && told.matches("Six bends of one and a half steps without a rest").count() == 1, "{told}");
}

/// Two notes in four seconds: what lies within the minutes is known.
#[test]
fn minutes_end_a_drill_free_play_a_tune_and_a_drill_of_a_file_and_a_setting_only_says_them() {
    let program = Program::new();
    let take = bends(&program, 20, 100.0);
    program.write("mine.toml", "kind = \"hold\"\nplaces = \"2/8\"\nsizes = \"half\"\nattempts = 20\nminutes = 0.34\n");
    let drill = ["drill", "hold", "--set", "places=2/8", "--bend", "half", "--attempts", "20"];
    let (free, tune) = (vec!["drill"], vec!["play", "--chords", "Am", "--rounds", "60"]);
    let enough = "minutes played: that is enough for one session.";
    // 20.4 s hold ten notes.
    for words in [drill.to_vec(), free.clone(), tune.clone()] {
        let (told, rows) = said(&program, &[&words[..], &["--minutes", "0.34"]].concat(), &take);
        assert!(rows == 10 && !told.contains(enough), "{words:?}, {rows} rows:\n{told}");
    }
    let (told, rows) = said(&program, &["drill", "mine.toml"], &take);
    assert!(rows == 10, "{rows} rows:\n{told}");
    let (told, rows) = said(&program, &["drill", "mine.toml", "--minutes", "0.54"], &take);
    assert!(rows == 16, "what is typed stands over the file, {rows} rows:\n{told}");
    program.write("config/config.toml", "minutes = 0.34\n");
    for words in [drill.to_vec(), free, tune] {
        let (told, rows) = said(&program, &words, &take);
        assert!(rows == 20 && told.matches(&format!("0.34 {enough}")).count() == 1, "{words:?}, {rows} rows:\n{told}");
    }
    for (file, wrong) in [
        ("kind = \"hold\"\nminutes = 0\n", "line 2: minutes cannot be"),
        ("minutes = 5\n[[drill]]\nkind = \"hold\"\nminutes = 5\n", "line 4: minutes are those of the whole list"),
    ] {
        program.write("wrong.toml", file);
        let ran = program.run(&["drill", "wrong.toml", "--list"]);
        assert!(ran.status == Some(1) && ran.stderr.contains(wrong), "{}", ran.stderr);
    }
}
