//! Landfall's own sound comes back into its input, whole runs through a virtual sound card: the sidecar says when it sounded, and the kept take is graded to the
//! bytes that were logged live. Where no such card can be had, each test says that it was skipped.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod two_bends;
#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use landfall::logbook::sidecar::Sidecar;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;
use two_bends::{RATE, two_bends};
use virtual_card::VirtualCard;

const LANDFALL: &str = env!("CARGO_BIN_EXE_landfall");

/// Runs landfall to its end while a take is played into its input once for each of `after_s`, in seconds from when it listens. Gives the kept take,
/// and what was said.
fn run(card: &VirtualCard, words: &[&str], take: &Path, after_s: &[f64]) -> (PathBuf, String) {
    let mut command = card.command(LANDFALL);
    command.args(words).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
    let mut said = Vec::new();
    while let Some(Ok(line)) = lines.next() {
        let listens = line.contains("Listening to");
        said.push(line);
        if listens {
            break;
        }
    }
    // What it goes on to say must not fill the pipe.
    let rest = std::thread::spawn(move || lines.map_while(Result::ok).collect::<Vec<String>>());
    let mut waited = 0.0;
    let mut players = Vec::new();
    for at_s in after_s {
        std::thread::sleep(Duration::from_secs_f64(at_s - waited));
        players.push(card.play(take));
        waited = *at_s;
    }
    let output = child.wait_with_output().unwrap();
    for mut player in players {
        player.wait().unwrap();
    }
    said.extend(rest.join().unwrap());
    said.push(String::from_utf8_lossy(&output.stderr).into_owned());
    assert!(output.status.success(), "{}", said.join("\n"));
    let takes = fs::read_dir(card.data().join("takes")).unwrap().map(|entry| entry.unwrap().path());
    let [kept] = takes.filter(|path| path.extension().is_some_and(|end| end == "wav")).collect::<Vec<_>>().try_into().unwrap();
    (kept, said.join("\n"))
}

/// What stands in each row from `onset_s` on: the 15th cell. None of the cells before holds a comma here.
fn rows(csv: &str) -> Vec<String> {
    csv.lines().skip(1).map(|row| row.splitn(15, ',').nth(14).unwrap().to_owned()).collect()
}

fn logged(card: &VirtualCard) -> Vec<String> {
    rows(&fs::read_to_string(card.data().join("attempts.csv")).unwrap())
}

/// The rows of the kept take, and what was said on standard error.
fn graded(card: &VirtualCard, take: &Path) -> (Vec<String>, String) {
    let output = card.command(LANDFALL).args(["grade", "--csv", "-"]).arg(take).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{said}");
    (rows(&String::from_utf8(output.stdout).unwrap()), said)
}

/// The root mean square of a stretch of the take.
fn loudness(take: &Path, from_s: f64, to_s: f64) -> f64 {
    let samples: Vec<f32> = hound::WavReader::open(take).unwrap().into_samples().map(Result::unwrap).collect();
    let frame = |seconds: f64| ((seconds.max(0.0) * f64::from(RATE)) as usize).min(samples.len());
    let stretch = &samples[frame(from_s)..frame(to_s)];
    (stretch.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / stretch.len().max(1) as f64).sqrt()
}

#[test]
fn over_a_band_that_is_heard_the_kept_take_gives_the_rows_that_were_logged() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let played = two_bends(card.folder());
    // A count-in of 3.3 s and two bars.
    let (kept, _) = run(&card, &["play", "ii-V-I", "--bars", "1-2", "--rounds", "2", "--plain"], &played, &[5.5]);
    let sidecar = Sidecar::of(&kept).unwrap().unwrap();
    assert_eq!(sidecar.beats_at.len(), 4 + 16, "{:?}", sidecar.beats_at);
    assert!(sidecar.asked.tune.as_ref().unwrap().band.is_some(), "the band that sounded is named");
    let first = sidecar.beats_at[0];
    let (before, clicks) = (loudness(&kept, first - 0.5, first - 0.05), loudness(&kept, first, first + 2.0));
    assert!(before < 1e-6 && clicks > 1e-4, "the count-in is in the input, and where the sidecar says: {before} before, {clicks} after");
    let live = logged(&card);
    assert!(live.len() >= 2, "{live:?}");
    assert_eq!(live, graded(&card, &kept).0);
}

#[test]
fn a_drill_that_sounds_notes_says_where_they_are_and_the_kept_take_gives_the_rows_that_were_logged() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let played = two_bends(card.folder());
    let (kept, said) =
        run(&card, &["drill", "bend-and-hold", "--no-check", "--sound", "target", "--seconds", "24", "--plain"], &played, &[1.0, 12.0]);
    let sidecar = Sidecar::of(&kept).unwrap().unwrap();
    assert!(!sidecar.own_sound.is_empty(), "after the first bend its target sounded; said: {said}");
    let rate = f64::from(RATE);
    for gap in &sidecar.own_sound {
        let (from, to) = (gap.at_frame as f64 / rate, (gap.at_frame + gap.frames) as f64 / rate);
        assert!(loudness(&kept, from, to) > 1e-4, "own sound from {from} to {to} s is heard there");
    }
    let live = logged(&card);
    assert!(live.len() >= 2, "{live:?}");
    assert_eq!(live, graded(&card, &kept).0);
}

#[test]
fn over_a_recording_that_is_heard_too_and_without_it_the_take_is_graded_all_the_same() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let played = two_bends(card.folder());
    let track = card.folder().join("ours.wav");
    let made = card.command(LANDFALL).args(["play", "ii-V-I", "--bars", "1-4", "--a4", "437", "--out"]).arg(&track).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let name = track.display().to_string();
    let words =
        ["play", "ii-V-I", "--bars", "1-2", "--rounds", "2", "--track", &name, "--track-start", "3.3333", "--a4", "track", "--plain"];
    let (kept, _) = run(&card, &words, &played, &[5.5]);
    let sidecar = Sidecar::of(&kept).unwrap().unwrap();
    let band = sidecar.asked.tune.as_ref().unwrap().band.as_ref().unwrap();
    assert_eq!(band.track.as_ref().unwrap().file, track);
    assert!((sidecar.a4_hz.unwrap() - 437.0).abs() < 0.2, "{:?}", sidecar.a4_hz);
    let live = logged(&card);
    assert!(live.len() >= 2, "{live:?}");
    let (again, said) = graded(&card, &kept);
    assert_eq!((&again, said.as_str()), (&live, ""));
    fs::remove_file(&track).unwrap();
    let (without, said) = graded(&card, &kept);
    assert!(said.contains("not at hand") && !without.is_empty(), "{said}");
}
