//! Signs on the guitar between attempts, as a player gives them: heard at playing speed, through the path of the card.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod program;

use landfall::logbook::sidecar::Sidecar;
use landfall::sound::synth::{Scenario, render};
use program::Program;
use std::fs;

const RATE: usize = 48_000;

/// Bends at 2/8, low notes, and taps: seconds of each.
fn player(bends: &[f64], lowest: &[f64], second: &[f64], taps: &[f64], length_s: f64) -> Vec<f32> {
    let mut text = format!("title = \"signs\"\nseed = 4\nlength_s = {length_s:?}\n[noise]\nsnr_db = 55.0\n");
    let mut notes: Vec<(f64, String)> = Vec::new();
    for at_s in bends {
        let bend = "[[note.then]]\nhand = \"bend\"\nat_s = 0.3\ncents = 200.0\ntakes_ms = 150.0\n";
        notes.push((*at_s, format!("[[note]]\nat_s = {at_s:?}\nstring = 2\nfret = 8\ndamped_s = 2.2\n{bend}")));
    }
    for (string, strokes) in [(6, lowest), (5, second)] {
        notes.extend(
            strokes.iter().map(|at_s| (*at_s, format!("[[note]]\nat_s = {at_s:?}\nstring = {string}\nfret = 0\ndamped_s = 0.35\n"))),
        );
    }
    notes.sort_by(|a, b| a.0.total_cmp(&b.0));
    for (_, note) in &notes {
        text += note;
    }
    let mut samples = render(&Scenario::from_toml(&text).unwrap()).unwrap().samples;
    // A muted tap: noise that is gone in some ms.
    let mut state = 7_u32;
    for at_s in taps {
        let from = (at_s * RATE as f64) as usize;
        for (n, sample) in samples[from..from + 2000].iter_mut().enumerate() {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *sample += 0.25 * ((state >> 8) as f32 / 8_388_608.0 - 1.0) * (-(n as f32) / 300.0).exp();
        }
    }
    samples
}

fn write(program: &Program, samples: &[f32]) {
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE as u32, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path("player.wav"), spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
}

#[test]
fn two_low_notes_repeat_two_of_the_next_string_skip_and_three_taps_end() {
    let program = Program::new();
    write(&program, &player(&[0.5, 6.2, 11.9], &[3.4, 3.9], &[9.1, 9.6], &[14.9, 15.3, 15.7], 26.0));
    let words = ["drill", "hold", "--hands-free", "--input", "player.wav", "--plain", "--save", "takes", "--log", "log.csv"];
    let ran = program.run(&words);
    ran.assert_succeeds();
    let log = fs::read_to_string(program.path("log.csv")).unwrap();
    let rows: Vec<Vec<&str>> = log.lines().map(|line| line.split(',').collect()).collect();
    let step = rows[0].iter().position(|column| *column == "step").unwrap();
    let steps: Vec<&str> = rows[1..].iter().map(|row| row[step]).collect();
    assert_eq!(steps, ["1", "1", "3"], "{}", ran.stdout);
    let take = fs::read_dir(program.path("takes"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().unwrap() == "wav")
        .unwrap();
    let told: Vec<String> = Sidecar::of(&take).unwrap().unwrap().asked.told.into_iter().map(|told| told.what).collect();
    assert_eq!(told, ["repeat", "skip"], "{}", ran.stdout);
    let seconds = f64::from(hound::WavReader::open(&take).unwrap().duration()) / RATE as f64;
    assert!((16.5..20.0).contains(&seconds), "the taps ended it after {seconds} s\n{}", ran.stdout);
    for said in ["Once more", "On to the next"] {
        assert!(ran.stdout.contains(said), "{said} is not in:\n{}", ran.stdout);
    }
}
