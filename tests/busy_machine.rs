//! Sound out and in while every processor is busy. In a file of its own: tests of one file run side by side, and what is measured beside this one would be
//! disturbed.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use std::num::NonZero;
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime};
use virtual_card::VirtualCard;

const RATE: u32 = 48_000;

/// `LANDFALL_LISTEN_S` makes it longer, `LANDFALL_LISTEN_LOAD=off` leaves it to others to make the machine busy; see `.ci/listen_long`.
#[test]
fn nothing_is_missing_from_what_is_played_while_every_processor_is_busy() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let seconds: u32 = std::env::var("LANDFALL_LISTEN_S").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    let processors = std::thread::available_parallelism().map_or(2, NonZero::get);
    let busy_already = std::env::var("LANDFALL_LISTEN_LOAD").is_ok_and(|load| load == "off");
    let busy: Vec<Busy> = (0..if busy_already { 0 } else { 2 * processors }).map(|_| Busy::start()).collect();
    let mut check = card.command(env!("CARGO_BIN_EXE_landfall"));
    let output = check.args(["calibrate", "--check", &seconds.to_string()]).stdin(Stdio::null()).output().unwrap();
    drop(busy);
    let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success() && output.stderr.is_empty(), "{said}");
    println!("{seconds} s: {}", said.replace('\n', "; "));
    let counted = said.lines().take(3).collect::<Vec<_>>().join("\n");
    let numbers: Vec<i64> = counted.split(|letter: char| !letter.is_ascii_digit()).filter_map(|word| word.parse().ok()).collect();
    let [played, by_clock, missing, _, heard, lost, _] = numbers.try_into().unwrap();
    assert_eq!((missing, lost), (0, 0), "{said}");
    // What is heard is what the card took from its start on, silence where nothing was there in time. The card takes whole buffers, and a busy machine
    // counts them late: a quarter of a second is no lost sound, which would add up.
    let late = i64::from(RATE) / 4;
    assert!((played - heard).abs() < late, "{said}");
    // Its clock counts each buffer in whole microseconds, and is fast by some 0.25 in 1000 (86 420 690 frames in 1800 s).
    assert!((heard - by_clock).abs() < late + by_clock / 2000, "{said}");
}

/// A processor's worth of work, until it is dropped.
struct Busy {
    over: Arc<AtomicBool>,
    worker: Option<JoinHandle<()>>,
}

/// All rest in the last 5 of each 100 ms. A virtual machine that takes all of its processors is stopped by its host for up to 100 ms, which no buffer of 512 frames
/// outlasts (measured: each such stop was an underrun, and no underrun was without one).
const ROUND_MS: u128 = 100;
const BUSY_MS: u128 = 95;

impl Busy {
    fn start() -> Self {
        let over = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&over);
        let worker = std::thread::spawn(move || {
            while !told.load(Ordering::Relaxed) {
                let into = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap().as_millis() % ROUND_MS;
                if into >= BUSY_MS {
                    std::thread::sleep(Duration::from_millis((ROUND_MS - into) as u64));
                }
            }
        });
        Self { over, worker: Some(worker) }
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        self.worker.take().map(JoinHandle::join);
    }
}
