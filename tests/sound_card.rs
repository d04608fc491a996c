//! Live, end to end: takes played into a virtual sound card while `landfall drill` listens, and the card's failures in the middle of a take.
//! Where no such card can be had, each test says that it was skipped.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod two_bends;
#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use landfall::logbook::sidecar::Sidecar;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::{Duration, Instant};
use two_bends::{RATE, two_bends};
use virtual_card::VirtualCard;

const LANDFALL: &str = env!("CARGO_BIN_EXE_landfall");

/// A drill that listens.
struct Drill {
    child: Child,
    lines: Receiver<String>,
}

impl Drill {
    /// Starts it and waits until sound arrives.
    fn listening(card: &VirtualCard, words: &[&str]) -> Self {
        let mut command = card.command(LANDFALL);
        command.args(["drill", "--plain"]).args(words).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (tell, lines) = channel();
        std::thread::spawn(move || out.lines().map_while(Result::ok).try_for_each(|line| tell.send(line)));
        let mut drill = Self { child, lines };
        drill.wait_for("Listening to");
        drill
    }

    /// Reads on until a line holds `words`.
    fn wait_for(&mut self, words: &str) {
        let mut read = Vec::new();
        while !read.last().is_some_and(|line: &String| line.contains(words)) {
            match self.lines.recv_timeout(Duration::from_secs(20)) {
                Ok(line) => read.push(line),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                    panic!("{words:?} was never said, but: {read:?} {}", self.errors())
                }
            }
        }
    }

    /// Until the card is heard again, and a while longer: a gap lies between two sounds, and a take that ends before more is heard has none.
    fn wait_for_sound_again(&mut self) {
        self.wait_for("heard again");
        std::thread::sleep(Duration::from_millis(400));
    }

    fn errors(&mut self) -> String {
        let mut errors = String::new();
        if let Some(mut stderr) = self.child.stderr.take() {
            let _ = self.child.kill();
            stderr.read_to_string(&mut errors).unwrap();
        }
        errors
    }

    fn interrupt(&self) {
        assert!(Command::new("kill").args(["-INT", &self.child.id().to_string()]).status().unwrap().success());
    }

    /// The rest of what it says, its errors, and how it ended.
    fn end(mut self) -> (String, String, ExitStatus) {
        let begun = Instant::now();
        while self.child.try_wait().unwrap().is_none() {
            if begun.elapsed() > Duration::from_secs(20) {
                let _ = self.child.kill();
                panic!("the drill does not end");
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        let said: Vec<String> = self.lines.iter().collect();
        let errors = self.errors();
        (said.join("\n"), errors, self.child.wait().unwrap())
    }
}

fn takes(card: &VirtualCard) -> Vec<PathBuf> {
    let mut takes: Vec<PathBuf> = fs::read_dir(card.data().join("takes"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "wav"))
        .collect();
    takes.sort();
    takes
}

/// The rows of a log without its head.
fn rows(log: &str) -> Vec<String> {
    log.lines().skip(1).map(str::to_owned).collect()
}

/// What stands in a row from `onset_s` on: the 15th cell. None of the cells before holds a comma here.
fn from_onset(row: &str) -> String {
    row.splitn(15, ',').nth(14).unwrap().to_owned()
}

fn graded(card: &VirtualCard, take: &Path) -> Vec<String> {
    let output = card.command(LANDFALL).args(["grade", "--csv", "-"]).arg(take).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    rows(&String::from_utf8(output.stdout).unwrap())
}

fn logged(card: &VirtualCard) -> Vec<String> {
    rows(&fs::read_to_string(card.data().join("attempts.csv")).unwrap())
}

fn cell(row: &str, name: &str) -> Option<f64> {
    let head = String::from_utf8(landfall::logbook::attempts::header()).unwrap();
    let place = head.trim_end().split(',').position(|column| column == name).unwrap();
    row.split(',').nth(place).unwrap().parse().ok()
}

#[test]
fn rows_logged_live_are_those_of_the_kept_take_and_of_what_was_played() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let played = two_bends(card.folder());
    let mut drill = Drill::listening(&card, &["--attempts", "2"]);
    card.play(&played).wait().unwrap();
    drill.wait_for("Attempt 2");
    let (_, errors, status) = drill.end();
    assert!(status.success() && errors.is_empty(), "{status} {errors}");

    let live = logged(&card);
    let [kept] = takes(&card).try_into().unwrap();
    let again = graded(&card, &kept);
    assert_eq!(live.len(), 2);
    assert_eq!(live.iter().map(|row| from_onset(row)).collect::<Vec<_>>(), again.iter().map(|row| from_onset(row)).collect::<Vec<_>>());

    let original = graded(&card, &played);
    assert_eq!(original.len(), 2);
    let offset = cell(&live[0], "onset_s").unwrap() - cell(&original[0], "onset_s").unwrap();
    for (live, original) in live.iter().zip(&original) {
        for name in ["onset_s", "bend_start_s", "arrival_s", "release_start_s"] {
            let (live, original) = (cell(live, name).unwrap(), cell(original, name).unwrap());
            assert!((live - offset - original).abs() <= 0.002, "{name}: {live} - {offset} against {original}");
        }
        for name in ["rise_ms", "release_ms"] {
            let (live, original) = (cell(live, name).unwrap(), cell(original, name).unwrap());
            assert!((live - original).abs() <= 2.0, "{name}: {live} against {original}");
        }
        for name in ["origin_error_cents", "arrival_error_cents", "hold_error_cents", "release_error_cents"] {
            let (live, original) = (cell(live, name).unwrap(), cell(original, name).unwrap());
            assert!((live - original).abs() <= 0.2, "{name}: {live} against {original}");
        }
    }
}

#[test]
fn a_card_that_sleeps_for_a_second_leaves_a_gap_of_a_second() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let mut drill = Drill::listening(&card, &[]);
    std::thread::sleep(Duration::from_millis(500));
    card.suspend(true);
    drill.wait_for("no sound arrives");
    std::thread::sleep(Duration::from_millis(700));
    card.suspend(false);
    drill.wait_for_sound_again();
    drill.interrupt();
    let (_, errors, status) = drill.end();
    assert!(status.success() && errors.is_empty(), "{status} {errors}");
    let [kept] = takes(&card).try_into().unwrap();
    let gaps = Sidecar::of(&kept).unwrap().unwrap().gaps;
    let lost: u64 = gaps.iter().map(|gap| gap.frames).sum();
    assert!((24_000..96_000).contains(&lost), "{gaps:?}");
}

#[test]
fn a_card_that_dies_and_comes_back_at_once_leaves_one_take_with_a_gap() {
    let Some(mut card) = VirtualCard::start(RATE) else { return };
    let mut drill = Drill::listening(&card, &[]);
    std::thread::sleep(Duration::from_millis(500));
    card.pull_out();
    drill.wait_for("the card is gone");
    card.plug_in().unwrap();
    drill.wait_for_sound_again();
    drill.interrupt();
    let (_, errors, status) = drill.end();
    assert!(status.success() && errors.is_empty(), "{status} {errors}");
    let [kept] = takes(&card).try_into().unwrap();
    assert_eq!(Sidecar::of(&kept).unwrap().unwrap().gaps.len(), 1);
}

#[test]
fn a_card_that_is_away_for_long_begins_another_take_and_rows_of_both_are_logged() {
    let Some(mut card) = VirtualCard::start(RATE) else { return };
    let played = two_bends(card.folder());
    let mut drill = Drill::listening(&card, &[]);
    card.play(&played).wait().unwrap();
    card.pull_out();
    drill.wait_for("the card is gone");
    std::thread::sleep(Duration::from_millis(2500));
    card.plug_in().unwrap();
    drill.wait_for("Listening to");
    card.play(&played).wait().unwrap();
    // Both bends are told at latest when the second has been silent for some time.
    drill.wait_for("Attempt");
    drill.wait_for("Attempt");
    drill.interrupt();
    let (_, errors, status) = drill.end();
    assert!(status.success() && errors.is_empty(), "{status} {errors}");
    let kept = takes(&card);
    assert_eq!(kept.len(), 2);
    let again: Vec<String> = kept.iter().flat_map(|take| graded(&card, take)).map(|row| from_onset(&row)).collect();
    assert_eq!(logged(&card).iter().map(|row| from_onset(row)).collect::<Vec<_>>(), again);
    assert!(again.len() >= 4, "{again:?}");
}

#[test]
fn a_sound_server_that_hangs_holds_up_neither_ctrl_c_nor_the_sound_before_it() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let mut drill = Drill::listening(&card, &[]);
    std::thread::sleep(Duration::from_millis(500));
    card.freeze(true);
    drill.wait_for("no sound arrives");
    drill.interrupt();
    let begun = Instant::now();
    let (said, errors, status) = drill.end();
    assert!(status.success() && errors.is_empty(), "{status} {errors}");
    assert!(begun.elapsed() < Duration::from_secs(3), "it took {:?}", begun.elapsed());
    assert!(said.contains("Take: "), "{said}");
    assert_eq!(takes(&card).len(), 1);
}

#[test]
fn a_sound_server_that_was_stuck_for_a_moment_costs_nothing() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let mut drill = Drill::listening(&card, &[]);
    std::thread::sleep(Duration::from_millis(500));
    card.freeze(true);
    drill.wait_for("no sound arrives");
    card.freeze(false);
    drill.wait_for_sound_again();
    drill.interrupt();
    let (_, errors, status) = drill.end();
    assert!(status.success() && errors.is_empty(), "{status} {errors}");
    let [kept] = takes(&card).try_into().unwrap();
    assert!(Sidecar::of(&kept).unwrap().unwrap().gaps.is_empty());
}

#[test]
fn without_a_card_one_clean_sentence_says_so() {
    let Some(mut card) = VirtualCard::start(RATE) else { return };
    card.pull_out();
    let output = card.command(LANDFALL).args(["drill", "--plain"]).stdin(Stdio::null()).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(said.starts_with("landfall: ") && said.lines().count() == 1 && said.contains("default"), "{said}");
    assert!(!card.data().join("takes").exists(), "nothing was begun");
}

#[test]
fn a_device_that_is_not_there_is_named() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let output = card.command(LANDFALL).args(["drill", "--plain", "--device", "moon"]).stdin(Stdio::null()).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1));
    assert!(said.contains("\"moon\"") && said.contains("landfall devices") && said.lines().count() == 1, "{said}");
}

#[test]
fn devices_lists_the_card_by_name_and_what_the_system_says_itself_is_not_heard() {
    let Some(card) = VirtualCard::start(RATE) else { return };
    let listed = |words: &[&str]| {
        let output = card.command(LANDFALL).args(words).output().unwrap();
        assert!(output.status.success());
        (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap())
    };
    let (said, beside) = listed(&["devices"]);
    assert!(said.lines().any(|line| line.starts_with("guitar ") && line.contains("the virtual guitar")), "{said}");
    // How many are left out depends on what is installed; nothing else is said beside the list.
    assert!(beside.lines().all(|line| line.starts_with("landfall: ") && line.contains("--all")) && beside.lines().count() <= 1, "{beside}");
    let (all, beside) = listed(&["devices", "--all"]);
    assert!(all.lines().count() >= said.lines().count() && beside.is_empty(), "{all}{beside}");
}
