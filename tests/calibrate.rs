//! `landfall calibrate`, end to end: what is played into a virtual sound card is heard by it after a known delay.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use std::path::Path;
use std::process::{Output, Stdio};
use virtual_card::VirtualCard;

const RATE: u32 = 48_000;
/// What is asked of a beat's place. The sound server's own account of its delays is off by -0.1 to 0.3 ms on an idle machine and by up to 2 ms
/// on a busy one (measured).
const UNSURE_MS: f64 = 3.0;

fn calibrate(card: &VirtualCard, words: &[&str]) -> Output {
    card.command(env!("CARGO_BIN_EXE_landfall")).arg("calibrate").args(words).stdin(Stdio::null()).output().unwrap()
}

fn kept_ms(card: &VirtualCard) -> Vec<f64> {
    let text = std::fs::read_to_string(card.data().join("calibration.toml")).unwrap_or_default();
    text.lines().filter_map(|line| line.strip_prefix("round_trip_ms = ")).map(|number| number.parse().unwrap()).collect()
}

fn said(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

#[test]
fn a_known_delay_is_measured() {
    for delay_ms in [0.0, 7.5, 100.0] {
        let Some(card) = VirtualCard::start(RATE) else { return };
        if !card.delay_output(delay_ms) {
            eprintln!("skipped: no delay can be had: ladspa-sdk is not installed");
            return;
        }
        let output = calibrate(&card, &[]);
        assert!(output.status.success(), "{delay_ms} ms: {}", said(&output));
        let [measured] = kept_ms(&card).try_into().unwrap();
        println!("{delay_ms} ms: measured {measured} ms");
        assert!((measured - delay_ms).abs() < UNSURE_MS, "{delay_ms} ms: {}", said(&output));
    }
}

#[test]
fn a_delay_that_has_changed_is_said_and_the_new_one_stands() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let first = calibrate(&card, &[]);
    assert!(first.status.success() && !said(&first).contains("changed"), "{}", said(&first));
    if !card.delay_output(40.0) {
        return;
    }
    let second = calibrate(&card, &[]);
    assert!(second.status.success() && said(&second).contains("the delay has changed"), "{}", said(&second));
    let [measured] = kept_ms(&card).try_into().unwrap();
    assert!((measured - 40.0).abs() < UNSURE_MS, "{measured}");
}

#[test]
fn nothing_heard_is_refused_in_words_and_nothing_is_kept() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    assert!(card.play_elsewhere());
    let output = calibrate(&card, &[]);
    assert_eq!(output.status.code(), Some(1));
    let said = said(&output);
    assert!(said.contains("nothing of what was played is heard") && said.contains("cable") && said.contains("--by-playing"), "{said}");
    assert!(!Path::new(&card.data().join("calibration.toml")).exists());
}

#[test]
fn an_output_that_is_not_there_is_named() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let output = calibrate(&card, &["--out-device", "moon"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(said(&output).contains("moon") && said(&output).contains("landfall devices"), "{}", said(&output));
}
