//! `landfall demo` as a player starts it: on a terminal, into a pipe, and its take graded again.

#![expect(clippy::unwrap_used, reason = "a failed unwrap fails the test")]

use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::process::{Command, Output};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};

fn landfall(home: &Path, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_landfall"))
        .args(args)
        .env("LANDFALL_DATA_DIR", home.join("data"))
        .env("LANDFALL_CONFIG_DIR", home.join("config"))
        .output()
        .unwrap()
}

/// The cells of a CSV file that holds no quotes, line by line.
fn cells(text: &str) -> Vec<Vec<String>> {
    text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect()
}

fn number(rows: &[Vec<String>], row: usize, column: &str) -> f64 {
    let place = rows[0].iter().position(|name| name == column).unwrap();
    rows[row][place].parse().unwrap_or_else(|_| panic!("row {row} has no {column}: {:?}", rows[row][place]))
}

#[test]
fn a_fast_demo_says_of_each_bend_what_was_played_and_where_its_rows_are() {
    let home = tempfile::tempdir().unwrap();
    let run = landfall(home.path(), &["demo", "--fast"]);
    let said = String::from_utf8(run.stdout).unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let log = home.path().join("data").join("demo.csv");
    assert!(said.ends_with(&format!("9 bends, 6 landed, 4 without a fault.\nEvery measure of them is in {}\n", log.display())), "{said}");
    let (_, summary) = said.split_once("\n\n").unwrap();
    for (number, line) in said.lines().filter(|line| line.starts_with("Attempt ")).enumerate() {
        let words = line.split([':', ';']).nth(1).unwrap().trim();
        let again = summary.lines().find(|line| line.trim_start().starts_with(&format!("{}  ", number + 1))).unwrap();
        assert!(again.ends_with(words), "one bend, one verdict: {line:?} and {again:?}");
    }
    for line in summary.lines().filter(|line| !line.contains("Every measure")) {
        assert!(line.chars().count() <= 80, "too wide for a terminal: {line:?}");
    }
    let rows = cells(&std::fs::read_to_string(log).unwrap());
    assert_eq!(rows.len(), 10);
    // What test_signals/scenarios/ballad.toml plays, bend by bend: cents off the target.
    for (row, error) in [(1, 2.0), (2, -14.0), (3, 1.0), (4, -1.0), (6, 1.0), (7, 0.0), (8, 13.0), (9, 0.0)] {
        let found = number(&rows, row, "hold_error_cents");
        assert!((found - error).abs() < 1.0, "bend {row} was held {error} off, found {found}");
    }
    for (row, column, wanted, near) in [
        (3, "overshoot_cents", 34.0, 1.5),
        (4, "release_error_cents", 2.0, 1.0),
        (4, "restrike_error_cents", 2.0, 1.0),
        (5, "hold_drift_cents_per_s", -14.0, 0.5),
        (6, "release_error_cents", 17.0, 1.0),
        (7, "vibrato_rate_hz", 5.4, 0.05),
        (7, "vibrato_extent_cents", 17.0, 1.0),
    ] {
        let found = number(&rows, row, column);
        assert!((found - wanted).abs() < near, "{column} of bend {row} was {wanted}, found {found}");
    }
}

#[test]
fn the_take_of_a_demo_is_graded_again_to_the_same_bytes() {
    let home = tempfile::tempdir().unwrap();
    let takes = home.path().join("takes");
    assert!(landfall(home.path(), &["demo", "--fast", "--save", takes.to_str().unwrap()]).status.success());
    let take =
        std::fs::read_dir(&takes).unwrap().map(|entry| entry.unwrap().path()).find(|path| path.extension().is_some_and(|e| e == "wav"));
    let graded = landfall(home.path(), &["grade", "--csv", "-", take.unwrap().to_str().unwrap()]);
    assert!(graded.status.success(), "{}", String::from_utf8_lossy(&graded.stderr));
    let logged = cells(&std::fs::read_to_string(home.path().join("data").join("demo.csv")).unwrap());
    let graded = cells(&String::from_utf8(graded.stdout).unwrap());
    let from = logged[0].iter().position(|name| name == "onset_s").unwrap();
    assert_eq!(logged.len(), 10);
    assert_eq!(logged.len(), graded.len());
    for (logged, graded) in logged.iter().zip(&graded) {
        assert_eq!(logged[from..], graded[from..]);
    }
}

fn cells_of(count: u16) -> NonZero<u16> {
    NonZero::new(count).unwrap()
}

#[test]
fn a_demo_over_a_chart_is_graded_by_its_chords_and_by_the_slips_that_its_player_makes() {
    let home = tempfile::tempdir().unwrap();
    let run = landfall(home.path(), &["demo", "ii-V-I", "--fast"]);
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    let rows = cells(&std::fs::read_to_string(home.path().join("data").join("demo.csv")).unwrap());
    let column = |name: &str| {
        let place = rows[0].iter().position(|column| column == name).unwrap();
        rows[1..].iter().map(|row| row[place].as_str()).collect::<Vec<_>>()
    };
    // One chord a bar as `landfall chart ii-V-I` lists them; the turnaround in the last bar is too short for a bend on each of its chords.
    assert_eq!(column("chord")[..7], ["Gm7", "C7", "Fmaj7", "Fmaj7", "Gm7", "C7", "Fmaj7"]);
    assert!(column("degree").iter().all(|degree| ["1", "b3", "3", "5"].contains(degree)), "{:?}", column("degree"));
    assert!(column("source").iter().all(|source| *source == "synth"), "{:?}", column("source"));
    // What src/practice/play/example.rs says its player does: cents off, and late in ms.
    for (row, (cents, late)) in (1..).zip([(1.0, 0.0), (-14.0, 0.0), (2.0, 20.0), (-2.0, 90.0), (0.0, -10.0), (16.0, 0.0)]) {
        let (held, beat) = (number(&rows, row, "hold_error_cents"), number(&rows, row, "beat_error_ms"));
        assert!((held - cents).abs() < 1.0 && (beat - late).abs() < 10.0, "bend {row}: {held} c, {beat} ms");
    }
    let none = landfall(home.path(), &["demo", "no-such-chart", "--fast"]);
    assert!(!none.status.success() && String::from_utf8_lossy(&none.stderr).contains("no-such-chart"), "{none:?}");
}

/// A demo on a terminal of 80 by 24.
struct OnTerminal {
    child: Box<dyn Child + Send + Sync>,
    master: Box<dyn MasterPty + Send>,
    keys: Box<dyn Write + Send>,
    bytes: Receiver<Vec<u8>>,
    terminal: vt100::Parser,
}

impl OnTerminal {
    fn start(home: &Path) -> Self {
        let pair = native_pty_system().openpty(PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 }).unwrap();
        let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_landfall"));
        command.arg("demo");
        command.env("LANDFALL_DATA_DIR", home.join("data"));
        command.env("LANDFALL_CONFIG_DIR", home.join("config"));
        command.env("TERM", "xterm-256color");
        let child = pair.slave.spawn_command(command).unwrap();
        let mut out = pair.master.try_clone_reader().unwrap();
        let (tell, bytes) = channel();
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            while let Ok(count @ 1..) = out.read(&mut buffer) {
                if tell.send(buffer[..count].to_vec()).is_err() {
                    break;
                }
            }
        });
        Self {
            child,
            keys: pair.master.take_writer().unwrap(),
            master: pair.master,
            bytes,
            terminal: vt100::Parser::new(cells_of(24), cells_of(80), 200),
        }
    }

    /// The screen, once it holds `words`.
    fn wait_for(&mut self, words: &str) -> String {
        let began = Instant::now();
        while began.elapsed() < Duration::from_mins(1) {
            if let Ok(bytes) = self.bytes.recv_timeout(Duration::from_millis(50)) {
                self.terminal.process(&bytes);
            }
            let screen = self.terminal.screen().contents();
            if screen.contains(words) {
                return screen;
            }
        }
        panic!("{words:?} did not come:\n{}", self.terminal.screen().contents());
    }
}

/// The third row of the large word `landed` at five rows.
const LANDED: &str = "██       ██▄▄▄██  ██▀█▄██  ██   ██  ██████   ██   ██";

#[test]
fn a_demo_on_a_terminal_shows_the_page_follows_its_size_and_gives_the_terminal_back() {
    let home = tempfile::tempdir().unwrap();
    let mut demo = OnTerminal::start(home.path());
    demo.wait_for("Bend string 2, fret 8, a whole step up: G4 to A4");
    let screen = demo.wait_for(LANDED);
    assert!(screen.contains("Dm: the 5") && screen.contains("A4 ━━"), "{screen}");
    assert!(demo.terminal.screen().alternate_screen() && demo.terminal.screen().hide_cursor());
    demo.master.resize(PtySize { rows: 12, cols: 60, pixel_width: 0, pixel_height: 0 }).unwrap();
    demo.terminal.screen_mut().set_size(cells_of(12), cells_of(60));
    let screen = demo.wait_for("LANDED");
    assert!(screen.lines().all(|line| line.chars().count() <= 60), "{screen}");
    demo.keys.write_all(b"q").unwrap();
    demo.wait_for("demo.csv");
    assert!(!demo.terminal.screen().alternate_screen() && !demo.terminal.screen().hide_cursor(), "the terminal is given back");
    assert!(demo.child.wait().unwrap().success());
}

#[test]
fn ctrl_c_ends_a_demo_as_it_should() {
    let home = tempfile::tempdir().unwrap();
    let mut demo = OnTerminal::start(home.path());
    demo.wait_for(LANDED);
    demo.keys.write_all(b"\x03").unwrap();
    demo.wait_for("1 bend, 1 landed, 1 without a fault.");
    assert!(!demo.terminal.screen().alternate_screen());
    assert!(demo.child.wait().unwrap().success());
    assert_eq!(
        cells(&std::fs::read_to_string(home.path().join("data").join("demo.csv")).unwrap()).len(),
        2,
        "what was played is in the log"
    );
}
