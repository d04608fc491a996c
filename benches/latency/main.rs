//! How old what the screen shows is: from a sample at the card's connector to the frame that shows the reading made of it.
//!
//! `cargo bench --bench latency`. Single notes by landfall's own synthesiser are played into a card of software; this program, run once more
//! beside it (ALSA reads its settings once a process), hears them in a live run like any other and draws the page on a terminal of 80 by 24.
//! See `listening.rs` for what is noted.

#![allow(clippy::unwrap_used, reason = "a bench that fails may stop")]

mod listening;
#[path = "../../tests/virtual_card/mod.rs"]
#[allow(dead_code, reason = "tests use the rest")]
mod virtual_card;

use landfall::sound::synth::{Scenario, render};
use listening::{FROM_FRAME, RATE, SECONDS, Shown, WHERE};
use portable_pty::{CommandBuilder, PtySize, native_pty_system};
use std::fmt::Write;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use virtual_card::VirtualCard;

/// A fretted note each second; strings and frets of an ordinary neck.
const BELOW_G3: [(u8, u8); 20] = [
    (6, 0),
    (5, 3),
    (6, 5),
    (4, 2),
    (5, 0),
    (6, 8),
    (4, 4),
    (5, 7),
    (6, 2),
    (4, 0),
    (6, 10),
    (5, 5),
    (4, 3),
    (6, 3),
    (5, 8),
    (6, 12),
    (5, 2),
    (4, 1),
    (6, 7),
    (5, 9),
];
const ABOVE_G3: [(u8, u8); 20] = [
    (3, 2),
    (2, 5),
    (1, 12),
    (3, 7),
    (2, 10),
    (1, 3),
    (3, 12),
    (2, 3),
    (1, 8),
    (2, 13),
    (1, 0),
    (3, 5),
    (2, 8),
    (1, 15),
    (3, 9),
    (2, 1),
    (1, 17),
    (3, 14),
    (2, 15),
    (1, 10),
];
/// G3, in Hz.
const G3_HZ: f64 = 196.0;

fn main() {
    if let Some(folder) = std::env::var_os(WHERE) {
        return listening::listen(Path::new(&folder));
    }
    let Some(card) = VirtualCard::start(RATE) else {
        return println!("No virtual sound card can be had here, so nothing was measured.");
    };
    let (wav, seconds) = notes(card.folder());
    let heard = hear(&card, &wav, seconds);
    print!("{}", report(&heard));
}

/// The notes as a WAV, and how many seconds they take. Each shakes by 25 cents, so that nearly every frame differs from the one before.
fn notes(folder: &Path) -> (PathBuf, f64) {
    let places: Vec<(u8, u8)> = BELOW_G3.into_iter().zip(ABOVE_G3).flat_map(<[(u8, u8); 2]>::from).collect();
    let seconds = places.len() as f64 + 1.0;
    let mut text = format!("title = \"single notes\"\nlength_s = {seconds:.1}\n");
    for (n, (string, fret)) in places.iter().enumerate() {
        write!(text, "[[note]]\nat_s = {n}.5\nstring = {string}\nfret = {fret}\ndamped_s = 0.9\n").unwrap();
        text.push_str("[[note.then]]\nhand = \"vibrato\"\nat_s = 0.2\nrate_hz = 5.0\nhalf_width_cents = 25.0\nfade_ms = 100.0\n");
    }
    let played = render(&Scenario::from_toml(&text).unwrap()).unwrap();
    let wav = folder.join("notes.wav");
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    played.samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
    (wav, seconds)
}

/// Plays it to a listener of its own, and what that noted.
fn hear(card: &VirtualCard, wav: &Path, seconds: f64) -> String {
    let noted = card.folder().join("noted");
    fs::create_dir(&noted).unwrap();
    let pty = native_pty_system().openpty(PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 }).unwrap();
    let mut command = CommandBuilder::new(std::env::current_exe().unwrap());
    card.environment().into_iter().for_each(|(name, value)| command.env(name, value));
    command.env("TERM", "xterm-256color");
    command.env(WHERE, &noted);
    command.env(SECONDS, (seconds + 1.0).to_string());
    let mut child = pty.slave.spawn_command(command).unwrap();
    drop(pty.slave);
    let mut out = pty.master.try_clone_reader().unwrap();
    // Somebody reads what is drawn, as a terminal would.
    let reading = std::thread::spawn(move || {
        let (mut bytes, mut last) = ([0; 4096], Vec::new());
        while let Ok(count @ 1..) = out.read(&mut bytes) {
            last = bytes[..count].to_vec();
        }
        String::from_utf8_lossy(&last).into_owned()
    });
    let begun = Instant::now();
    while !noted.join(listening::LISTENS).exists() {
        assert!(begun.elapsed() < Duration::from_secs(10), "the listener hears nothing");
        std::thread::sleep(Duration::from_millis(20));
    }
    assert!(card.play(wav).wait().unwrap().success());
    child.wait().unwrap();
    drop(pty.master);
    let last = reading.join().unwrap();
    fs::read_to_string(noted.join(listening::NOTED)).unwrap_or_else(|_| panic!("the listener ended with: {last}"))
}

fn report(heard: &str) -> String {
    let (head, rows) = heard.split_once('\n').unwrap();
    let rows: Vec<Shown> = rows.lines().map(|row| row.parse().unwrap()).collect();
    let mut text = format!("{head}\n{} readings in {} frames\n", rows.len(), rows.iter().filter(|row| row.newest).count());
    writeln!(text, "ms from the sample at the connector to the frame on the terminal: median, p95, most").unwrap();
    let (above, below) = (|row: &Shown| row.hz > G3_HZ, |row: &Shown| row.hz < G3_HZ);
    let mut line = |name: &str, bar: f64, rows: &mut dyn Iterator<Item = f64>| {
        let mut values: Vec<f64> = rows.collect();
        values.sort_by(f64::total_cmp);
        let at = |share: f64| values[((values.len() as f64 * share).ceil() as usize).clamp(1, values.len()) - 1];
        let held = if at(0.95) <= bar { "held" } else { "MISSED" };
        writeln!(text, "  {name:<58} {:>5.1} {:>5.1} {:>5.1}   {bar} ms: {held}", at(0.5), at(0.95), at(1.0)).unwrap();
    };
    for (which, newest) in [("the newest reading of a frame", true), ("every reading", false)] {
        let some = || rows.iter().filter(move |row| row.newest || !newest);
        line(
            &format!("{which}, from the instant described, above G3"),
            50.0,
            &mut some().filter(|row| above(row)).map(|row| row.since_at_ms),
        );
        line(
            &format!("{which}, from the instant described, below G3"),
            70.0,
            &mut some().filter(|row| below(row)).map(|row| row.since_at_ms),
        );
        line(&format!("{which}, from its last sample (ready)"), 20.0, &mut some().map(|row| row.since_ready_ms));
    }
    let frames: Vec<f64> = rows.iter().filter(|row| row.newest).map(|row| row.frame_s).collect();
    let most = frames.windows(FROM_FRAME).map(|some| (FROM_FRAME - 1) as f64 / (some[FROM_FRAME - 1] - some[0])).fold(0.0, f64::max);
    writeln!(text, "frames a second while notes sound, at most (over {FROM_FRAME} frames): {most:.1}").unwrap();
    text
}
