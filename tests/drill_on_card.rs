//! A drill on a sound card as a player goes through it: ten seconds of open strings, then bends with an answer in tones after each.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use landfall::logbook::sidecar::Sidecar;
use landfall::sound::synth::{Scenario, render};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use virtual_card::VirtualCard;

const RATE: u32 = 48_000;

/// Six open strings, the second 14 cents sharp; quiet; then two bends of string 2, fret 8, the second 30 cents flat. The guitar stays as it is tuned: bends are at 2/8
/// of a string that is right by then.
fn player(path: &Path) {
    let mut text = String::from("title = \"an evening\"\nseed = 2\nlength_s = 24.0\n");
    for (index, string) in (1..=6).rev().enumerate() {
        let off = if string == 2 { 14.0 } else { 0.0 };
        let at_s = 0.7 + 1.1 * index as f64;
        write!(text, "[[note]]\nat_s = {at_s:?}\nstring = {string}\nfret = 0\ndetune_cents = {off:?}\ndamped_s = 1.0\n").unwrap();
    }
    for (at_s, cents) in [(12.5, 200.0), (19.0, 170.0)] {
        write!(text, "[[note]]\nat_s = {at_s:?}\nstring = 2\nfret = 8\ndamped_s = 2.1\n").unwrap();
        write!(text, "[[note.then]]\nhand = \"bend\"\nat_s = 0.3\ncents = {cents:?}\ntakes_ms = 150.0\n").unwrap();
    }
    let rendered = render(&Scenario::from_toml(&text).unwrap()).unwrap();
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in rendered.samples {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
}

#[test]
fn the_check_names_the_string_that_is_off_and_tones_between_the_attempts_are_none() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let (wav, log) = (card.folder().join("player.wav"), card.folder().join("evening.csv"));
    player(&wav);
    let words = ["drill", "hold", "--attempts", "2", "--sound", "answer", "--plain", "--seconds", "13", "--log", log.to_str().unwrap()];
    let told = card.played_to(card.command(env!("CARGO_BIN_EXE_landfall")).args(words), "Ten seconds first", &wav);
    let found: Vec<&str> =
        told.lines().filter(|line| line.contains("tune it first") || line.contains("level is") || line.contains("gate")).collect();
    assert!(found.len() == 1 && found[0].contains("String 2 is 14 cents sharp"), "{told}");
    let text = std::fs::read_to_string(&log).unwrap();
    let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
    let column = |name: &str| rows[0].iter().position(|column| *column == name).unwrap();
    let steps: Vec<&str> = rows[1..].iter().map(|row| row[column("step")]).collect();
    assert_eq!(steps, ["1", "2"], "{told}");
    let off: Vec<f64> = rows[1..].iter().map(|row| row[column("hold_error_cents")].parse().unwrap()).collect();
    assert!(off[0].abs() < 1.0 && (off[1] + 30.0).abs() < 1.0, "{off:?}\n{told}");
    let takes: Vec<PathBuf> = std::fs::read_dir(card.data().join("takes")).unwrap().map(|entry| entry.unwrap().path()).collect();
    let take = takes.iter().find(|path| path.extension().is_some_and(|ending| ending == "wav")).unwrap();
    let sidecar = Sidecar::of(take).unwrap().unwrap();
    // The note alone after the first, which was right; a flat tone and the note after the second.
    assert!(sidecar.own_sound.len() >= 2, "{:?}\n{told}", sidecar.own_sound);
}
