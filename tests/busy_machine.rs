//! Sound out and in while every processor is busy. In a file of its own: tests of one file run side by side, and what is measured beside this one would be
//! disturbed.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use std::process::{Child, Command, Stdio};
use virtual_card::VirtualCard;

const RATE: u32 = 48_000;

/// `LANDFALL_LISTEN_S` makes it longer, `LANDFALL_LISTEN_LOAD=off` leaves it to others to make the machine busy; see `.ci/listen_long`.
#[test]
fn nothing_is_missing_from_what_is_played_while_every_processor_is_busy() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let seconds: u32 = std::env::var("LANDFALL_LISTEN_S").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    let busy_already = std::env::var("LANDFALL_LISTEN_LOAD").is_ok_and(|load| load == "off");
    let busy: Vec<Busy> = (0..if busy_already { 0 } else { 4 }).map(|_| Busy::start()).collect();
    let mut check = card.command(env!("CARGO_BIN_EXE_landfall"));
    let output = check.args(["calibrate", "--check", &seconds.to_string()]).stdin(Stdio::null()).output().unwrap();
    drop(busy);
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success() && output.stderr.is_empty(), "{said}");
    println!("{seconds} s: {}", said.replace('\n', "; "));
    let numbers: Vec<i64> = said.split(|letter: char| !letter.is_ascii_digit()).filter_map(|word| word.parse().ok()).collect();
    let [played, by_clock, missing, _, heard, lost, _] = numbers.try_into().unwrap();
    assert_eq!((missing, lost), (0, 0), "{said}");
    // The card takes whole buffers, and a busy machine counts them late: a quarter of a second is no lost sound, which would add up.
    let late = i64::from(RATE) / 4;
    assert!((played - by_clock).abs() < late && (heard - by_clock).abs() < late * 5, "{said}");
}

/// A processor's worth of work, until it is dropped.
struct Busy(Child);

impl Busy {
    fn start() -> Self {
        Self(Command::new("sh").args(["-c", "while :; do :; done"]).spawn().unwrap())
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
