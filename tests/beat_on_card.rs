//! `beat_error_ms` through a sound card: a click is played into a virtual card, comes back a known time later, and a player of known truth plays beside it.
//!
//! The true beat is where the click is found in the kept take, the true arrival where the player's own file is found there: neither is taken from landfall.
//! `LANDFALL_BEAT_RUNS` says how many runs there are (DEVELOPERS.md).
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use landfall::logbook::sidecar::Sidecar;
use landfall::practice::click::{Click, Every};
use landfall::practice::pulse::Pulses;
use landfall::sound::out::{Level, Mixer};
use landfall::sound::synth::{Scenario, render};
use landfall::theory::chart::{Feel, Metre};
use landfall::units::{FrameTime, SampleRate};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use virtual_card::VirtualCard;

const RATE: u32 = 48_000;
/// What is asked of a beat's place, ms.
const RIGHT_MS: f64 = 3.0;
/// From the output to the input, beyond what the card tells of itself, ms.
const DELAY_MS: f64 = 25.0;
const TEMPO: f64 = 100.0;
/// The player's notes, s, each with a marker so long before it, of so many frames of noise: a virtual card may stumble between two notes.
const NOTES_S: [f64; 2] = [3.9, 6.43];
const MARKER_BEFORE_S: f64 = 0.4;
const MARKER: usize = 1500;

/// Noise that is like nothing else, another one for each note.
fn marker(note: u32) -> Vec<f32> {
    let mut state = 9 + 1000 * note;
    (0..MARKER)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            0.2 * ((state >> 8) as f32 / 8_388_608.0 - 1.0)
        })
        .collect()
}

/// The player's file, and its true arrivals in frames, each from its note's marker on.
fn player(path: &Path) -> Vec<u64> {
    let mut text = String::from("title = \"beside a click\"\nseed = 8\nlength_s = 8.6\n");
    for at_s in NOTES_S {
        write!(text, "[[note]]\nat_s = {at_s:?}\nstring = 2\nfret = 8\ndamped_s = 1.9\n").unwrap();
        text += "[[note.then]]\nhand = \"bend\"\nat_s = 0.3\ncents = 200.0\ntakes_ms = 700.0\nshape = \"straight\"\n";
    }
    let mut rendered = render(&Scenario::from_toml(&text).unwrap()).unwrap();
    let markers = NOTES_S.map(|at_s| ((at_s - MARKER_BEFORE_S) * f64::from(RATE)) as usize);
    for (note, from) in (0..).zip(markers) {
        rendered.samples[from..from + MARKER].copy_from_slice(&marker(note));
    }
    save(path, &rendered.samples);
    rendered.truth.bends().iter().zip(markers).map(|(bend, from)| bend.arrival.0 - from as u64).collect()
}

fn save(path: &Path, samples: &[f32]) {
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
}

/// Where `wanted` is found in `samples[from..to]`, both differenced: its first frame.
fn found(samples: &[f32], wanted: &[f32], from: usize, to: usize) -> usize {
    let differences = |samples: &[f32]| samples.windows(2).map(|pair| pair[1] - pair[0]).collect::<Vec<f32>>();
    let (heard, wanted) = (differences(&samples[from..to.min(samples.len())]), differences(wanted));
    let like = |at: usize| wanted.iter().zip(&heard[at..]).map(|(a, b)| a * b).sum::<f32>();
    from + (0..heard.len().saturating_sub(wanted.len())).max_by(|a, b| like(*a).total_cmp(&like(*b))).unwrap()
}

/// A click that is no bar's first beat, as it sounds.
fn click() -> Vec<f32> {
    let rate = SampleRate::new(RATE).unwrap();
    let bars = Pulses::Steady { metre: Metre::common(), feel: Feel::default(), tempo: 60.0, bars: Some(1) };
    let mut mixer = Mixer::new(rate);
    mixer.set_level(Level::default());
    mixer.add(Box::new(Click::new(Vec::new(), bars, Every::Beat, 0.0, rate)), FrameTime(0));
    let mut sound = vec![0.0; 2 * RATE as usize];
    mixer.render(&mut sound);
    sound[RATE as usize..RATE as usize + 1440].to_vec()
}

fn kept(card: &VirtualCard) -> (PathBuf, Vec<f32>, Sidecar) {
    let mut takes: Vec<PathBuf> = std::fs::read_dir(card.data().join("takes")).unwrap().map(|entry| entry.unwrap().path()).collect();
    takes.retain(|path| path.extension().is_some_and(|ending| ending == "wav"));
    takes.sort();
    let take = takes.pop().unwrap();
    let samples = hound::WavReader::open(&take).unwrap().into_samples::<f32>().map(Result::unwrap).collect();
    let sidecar = Sidecar::of(&take).unwrap().unwrap();
    (take, samples, sidecar)
}

/// One run: how far off each `beat_error_ms` is, ms.
fn run(card: &VirtualCard) -> Vec<f64> {
    let wav = card.folder().join("player.wav");
    let arrivals = player(&wav);
    let log = card.folder().join("run.csv");
    let _ = std::fs::remove_file(&log);
    let tempo = format!("tempo={TEMPO}");
    let words = ["drill", "slow", "--set", &tempo, "--set", "beats=2", "--set", "places=2/8", "--no-check", "--plain", "--attempts", "2"];
    let mut drill = card.command(env!("CARGO_BIN_EXE_landfall"));
    let told = card.played_to(drill.args(words).args(["--seconds", "9.5", "--log", log.to_str().unwrap()]), "Listening", &wav);
    let (_, samples, sidecar) = kept(card);
    assert_eq!(sidecar.calibrated, Some(true), "{told}");
    // Clicks 1 to 3 of the count-in, before the player begins.
    let frame = |at_s: f64| (at_s * f64::from(RATE)).round();
    let click = click();
    let mut offsets: Vec<f64> = (1..4)
        .map(|n| {
            let beat = frame(sidecar.beats_at[n]);
            found(&samples, &click, beat as usize - 4800, beat as usize + 6400) as f64 - beat
        })
        .collect();
    offsets.sort_by(f64::total_cmp);
    let first_click = frame(sidecar.beats_at[0]) + offsets[1];
    let markers = [0, 1].map(|note| found(&samples, &marker(note), 0, samples.len()));
    let text = std::fs::read_to_string(&log).unwrap();
    let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
    let column = |name: &str| rows[0].iter().position(|column| *column == name).unwrap();
    assert_eq!(rows.len(), 1 + arrivals.len(), "{told}");
    let bar = 4.0 * 60.0 / TEMPO * f64::from(RATE);
    rows[1..]
        .iter()
        .zip(arrivals.iter().zip(markers))
        .map(|(row, (arrival, marker))| {
            assert!(!row[column("faults")].contains("uncalibrated"), "{row:?}");
            let said: f64 = row[column("beat_error_ms")].parse().unwrap();
            let late = (marker as u64 + arrival) as f64 - first_click;
            // The bar is the nearest one to what landfall says: which one is meant is another test's matter.
            let bars = ((late - said * f64::from(RATE) / 1000.0) / bar).round();
            said - (late - bars * bar) * 1000.0 / f64::from(RATE)
        })
        .collect()
}

#[test]
fn against_the_click_of_a_card_whose_delay_was_calibrated_a_beats_error_is_right() {
    // Whatever else the machine does moves the sound of a virtual card by tens of milliseconds: this is measured on an idle one, when asked for.
    let Some(runs) = std::env::var("LANDFALL_BEAT_RUNS").ok().and_then(|text| text.parse::<usize>().ok()) else {
        eprintln!("skipped: LANDFALL_BEAT_RUNS says how many runs are made, on a machine that does nothing else");
        return;
    };
    let mut off = Vec::new();
    let mut card = None;
    for index in 0..runs {
        // Another card, and calibrated anew, every five runs.
        if index % 5 == 0 {
            let Some(fresh) = VirtualCard::start(RATE) else { return };
            if !fresh.delay_output(DELAY_MS) {
                eprintln!("skipped: no delay can be had: ladspa-sdk is not installed");
                return;
            }
            let calibrated = fresh.command(env!("CARGO_BIN_EXE_landfall")).arg("calibrate").stdin(Stdio::null()).output().unwrap();
            assert!(calibrated.status.success(), "{}", String::from_utf8_lossy(&calibrated.stderr));
            print!("calibrated: {}", String::from_utf8_lossy(&calibrated.stdout));
            card = Some(fresh);
        }
        let here = run(card.as_ref().unwrap());
        println!("run {}: off by {here:.2?} ms", index + 1);
        off.extend(here);
    }
    let mean = off.iter().sum::<f64>() / off.len() as f64;
    let sd = (off.iter().map(|off| (off - mean).powi(2)).sum::<f64>() / (off.len() - 1) as f64).sqrt();
    let worst = off.iter().fold(0.0_f64, |worst, off| worst.max(off.abs()));
    println!("{runs} runs, {} attempts: mean {mean:+.2} ms, standard deviation {sd:.2} ms, worst {worst:.2} ms", off.len());
    assert!(worst < RIGHT_MS, "{off:.2?}");
}
