//! A live run on a terminal, ended in every way that there is: the terminal is given back, the take is closed, rows are written.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod two_bends;

use landfall::grading::Wish;
use landfall::live::analysis::{Beats, Job};
use landfall::live::feeder::Pace;
use landfall::live::hearing::ears;
use landfall::live::pages::PageView;
use landfall::live::session::{Input, RING_S, run};
use landfall::live::world::World;
use landfall::logbook::Row;
use landfall::logbook::log::Log;
use landfall::logbook::sidecar::Asked;
use landfall::sound::{ChannelWish, FileSource, Heard, Origin, Source};
use landfall::units::A4;
use landfall::views::live::Look;
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use two_bends::two_bends;

const LANDFALL: &str = env!("CARGO_BIN_EXE_landfall");

/// A terminal of 80 by 24 in which a program runs.
struct Terminal {
    folder: tempfile::TempDir,
    master: Box<dyn MasterPty + Send>,
    keys: Box<dyn Write + Send>,
    screen: Arc<Mutex<vt100::Parser>>,
    child: Box<dyn Child + Send + Sync>,
}

impl Terminal {
    /// `landfall drill` on a take at playing speed.
    fn drill() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let take = two_bends(folder.path());
        let mut command = CommandBuilder::new(LANDFALL);
        command.args(["drill", "--input"]);
        command.arg(take);
        Self::run(folder, command)
    }

    fn run(folder: tempfile::TempDir, mut command: CommandBuilder) -> Self {
        command.env("LANDFALL_DATA_DIR", folder.path());
        command.env("LANDFALL_CONFIG_DIR", folder.path());
        command.env("TERM", "xterm-256color");
        command.cwd(folder.path());
        let pty = native_pty_system().openpty(PtySize { rows: 24, cols: 80, pixel_width: 0, pixel_height: 0 }).unwrap();
        let child = pty.slave.spawn_command(command).unwrap();
        drop(pty.slave);
        let screen = Arc::new(Mutex::new(vt100::Parser::default()));
        let mut out = pty.master.try_clone_reader().unwrap();
        let seen = Arc::clone(&screen);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count @ 1..) = out.read(&mut bytes) {
                seen.lock().unwrap().process(&bytes[..count]);
            }
        });
        let keys = pty.master.take_writer().unwrap();
        Self { folder, master: pty.master, keys, screen, child }
    }

    fn process(&self) -> u32 {
        self.child.process_id().unwrap()
    }

    fn press(&mut self, key: u8) {
        self.keys.write_all(&[key]).unwrap();
    }

    fn signal(&self, name: &str) {
        assert!(Command::new("kill").args([name, &self.process().to_string()]).status().unwrap().success());
    }

    /// Whether the page has the terminal: the alternate screen, no cursor, and no line editing.
    fn is_taken(&self) -> bool {
        self.marks().iter().all(|mark| *mark)
    }

    /// Whether the shell can use it as before.
    fn is_given_back(&self) -> bool {
        self.marks().iter().all(|mark| !*mark)
    }

    fn marks(&self) -> [bool; 4] {
        let termios = self.master.get_termios().unwrap();
        let flags = format!("{:?}", termios.local_flags);
        let parser = self.screen.lock().unwrap();
        [parser.screen().alternate_screen(), parser.screen().hide_cursor(), !flags.contains("ICANON"), !flags.contains("ECHO ")]
    }

    fn wait_until(&self, what: &str, is: impl Fn(&Self) -> bool) {
        let begun = Instant::now();
        while !is(self) {
            assert!(begun.elapsed() < Duration::from_secs(20), "never {what}:\n{}", self.screen.lock().unwrap().screen().contents());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// The page is there, and the first bend is held.
    fn wait_for_the_first_bend(&self) {
        self.wait_until("taken", Self::is_taken);
        std::thread::sleep(Duration::from_millis(1700));
    }

    /// Its exit status.
    fn ended(&mut self) -> u32 {
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status.exit_code();
            }
            assert!(begun.elapsed() < Duration::from_secs(20), "it does not end");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    fn text(&self) -> String {
        self.screen.lock().unwrap().screen().contents()
    }
}

fn takes(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder.join("takes")) else { return Vec::new() };
    entries.map(|entry| entry.unwrap().path()).filter(|path| path.extension().is_some_and(|extension| extension == "wav")).collect()
}

/// Seconds of the one take; panics where its head promises more than is there.
fn seconds_kept(folder: &Path) -> f64 {
    let [take] = takes(folder).try_into().unwrap();
    let mut source = FileSource::open(&take).unwrap();
    let (mut frames, mut buffer) = (0, vec![0.0; 4096]);
    while let Heard::Filled(count) = source.next(&mut buffer).unwrap() {
        frames += count;
    }
    frames as f64 / 48_000.0
}

fn rows(folder: &Path) -> usize {
    let log = fs::read_to_string(folder.join("attempts.csv")).unwrap();
    assert!(log.ends_with("\r\n"), "whole rows only");
    log.lines().count() - 1
}

/// However it ended during the first bend: take closed, row written.
fn kept(folder: &Path) {
    let seconds = seconds_kept(folder);
    assert!((1.0..5.0).contains(&seconds), "{seconds} s are kept");
    assert!(rows(folder) >= 1);
}

#[test]
fn ctrl_c_is_the_usual_end() {
    let mut terminal = Terminal::drill();
    terminal.wait_for_the_first_bend();
    terminal.press(0x03);
    assert_eq!(terminal.ended(), 0);
    terminal.wait_until("given back", Terminal::is_given_back);
    kept(terminal.folder.path());
    assert!(terminal.text().contains("Take: "), "{}", terminal.text());
}

#[test]
fn keys_are_heard_in_the_second_drill_of_a_list_too() {
    let folder = tempfile::tempdir().unwrap();
    let take = two_bends(folder.path());
    // A minute in which nothing would end it but a key.
    let mut longer = hound::WavWriter::append(&take).unwrap();
    (0..60 * two_bends::RATE).for_each(|_| longer.write_sample(0.0_f32).unwrap());
    longer.finalize().unwrap();
    let one = |title: &str| format!("[[drill]]\nkind = \"release\"\ntitle = \"{title}\"\nplaces = \"2/8\"\nattempts = 1\n");
    fs::write(folder.path().join("list.toml"), [one("Before supper"), one("After supper"), one("Later")].concat()).unwrap();
    let mut command = CommandBuilder::new(LANDFALL);
    command.args(["drill", "list.toml", "--input"]);
    command.arg(take);
    let mut terminal = Terminal::run(folder, command);
    terminal.wait_until("in the third drill", |terminal| terminal.is_taken() && terminal.text().contains("Later"));
    terminal.press(b'q');
    assert_eq!(terminal.ended(), 0);
    terminal.wait_until("given back", Terminal::is_given_back);
}

#[test]
fn interrupt_terminate_and_hang_up_end_in_order() {
    for signal in ["-INT", "-TERM", "-HUP"] {
        let mut terminal = Terminal::drill();
        terminal.wait_for_the_first_bend();
        terminal.signal(signal);
        assert_eq!(terminal.ended(), 0, "{signal}");
        terminal.wait_until("given back", Terminal::is_given_back);
        kept(terminal.folder.path());
    }
}

#[test]
fn a_closed_terminal_ends_the_run_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let take = two_bends(folder.path());
    // `script` (util-linux) is the terminal here, and is killed.
    let mut window = Command::new("script")
        .args(["-q", "-c", &format!("exec {LANDFALL} drill --input {}", take.display()), "/dev/null"])
        .env("LANDFALL_DATA_DIR", folder.path())
        .env("LANDFALL_CONFIG_DIR", folder.path())
        .env("TERM", "xterm-256color")
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let begun = Instant::now();
    while takes(folder.path()).is_empty() {
        assert!(begun.elapsed() < Duration::from_secs(20), "it does not begin");
        std::thread::sleep(Duration::from_millis(20));
    }
    std::thread::sleep(Duration::from_millis(1700));
    let children = fs::read_to_string(format!("/proc/{0}/task/{0}/children", window.id())).unwrap();
    window.kill().unwrap();
    window.wait().unwrap();
    let closed = Instant::now();
    while Path::new("/proc").join(children.trim()).join("exe").exists() {
        assert!(closed.elapsed() < Duration::from_secs(3), "it goes on without a terminal");
        std::thread::sleep(Duration::from_millis(20));
    }
    kept(folder.path());
}

#[test]
fn ctrl_z_gives_the_terminal_back_until_it_goes_on() {
    let mut terminal = Terminal::drill();
    terminal.wait_for_the_first_bend();
    terminal.press(0x1a);
    let stat = format!("/proc/{}/stat", terminal.process());
    terminal.wait_until("stopped", |_| fs::read_to_string(&stat).unwrap().contains(") T "));
    terminal.wait_until("given back", Terminal::is_given_back);
    terminal.signal("-CONT");
    terminal.wait_until("taken again", Terminal::is_taken);
    terminal.wait_until("drawn again", |terminal| terminal.text().contains("Bend any note"));
    terminal.press(b'q');
    assert_eq!(terminal.ended(), 0);
    terminal.wait_until("given back", Terminal::is_given_back);
    kept(terminal.folder.path());
}

#[test]
fn kill_9_leaves_a_take_that_opens_and_lacks_a_second_at_most() {
    let mut terminal = Terminal::drill();
    terminal.wait_for_the_first_bend();
    terminal.signal("-KILL");
    terminal.ended();
    let seconds = seconds_kept(terminal.folder.path());
    assert!(seconds > 0.7, "{seconds} s are kept of 1.7 or more");
    rows(terminal.folder.path());
}

#[test]
fn a_full_disk_keeps_what_fitted_and_every_row() {
    // A limit on the size of files stands for a disk: writing beyond it fails alike.
    let folder = tempfile::tempdir().unwrap();
    let take = two_bends(folder.path());
    let mut shell = Command::new("sh");
    shell.args(["-c", "trap '' XFSZ; ulimit -f 1000; exec \"$@\"", "sh", LANDFALL, "drill", "--plain", "--input"]).arg(take);
    shell.env("LANDFALL_DATA_DIR", folder.path()).env("LANDFALL_CONFIG_DIR", folder.path()).stdin(Stdio::null());
    let output = shell.output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(said.starts_with("landfall: the take ") && said.contains("s only") && said.lines().count() == 1, "{said}");
    // 1000 blocks of 512 bytes hold 2.66 s of 48 kHz in floats.
    let seconds = seconds_kept(folder.path());
    assert!((1.6..2.7).contains(&seconds), "{seconds} s are kept");
    assert_eq!(rows(folder.path()), 2);
}

#[test]
fn a_closed_pipe_is_silent_and_loses_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let take = two_bends(folder.path());
    let mut drill = Command::new(LANDFALL)
        .args(["drill", "--plain", "--input"])
        .arg(take)
        .env("LANDFALL_DATA_DIR", folder.path())
        .env("LANDFALL_CONFIG_DIR", folder.path())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(drill.stdout.take().unwrap());
    out.read_line(&mut String::new()).unwrap();
    drop(out);
    let output = drill.wait_with_output().unwrap();
    assert_eq!((output.status.code(), output.stderr.len()), (Some(0), 0));
    assert!(seconds_kept(folder.path()) > 0.0);
    assert!(rows(folder.path()) <= 2);
}

/// What the next test runs in its terminal: a live run whose analysis breaks at its second attempt. Alone it does nothing.
#[test]
fn a_run_that_breaks_inside() {
    let Some(folder) = std::env::var_os("LANDFALL_TEST_BREAKS_IN").map(PathBuf::from) else { return };
    let a4 = A4::default();
    let job = Job {
        channel: ChannelWish::Louder,
        drill: "free".into(),
        asked: Asked::default(),
        beats: Beats::default(),
        a4,
        tolerance: 10.0,
        attempts: None,
        last_step: None,
        seconds: None,
        save: Some(folder.join("takes")),
        ring_s: RING_S,
        largest: u64::MAX,
        keep_free: 0,
        patient: false,
        ears: ears(a4, Wish::default()),
        row: Box::new(|attempt, setting| {
            assert!(attempt.attempt == 1, "a fault of the test's making");
            Row::graded(attempt, setting, |midi| midi.to_string())
        }),
    };
    let source = FileSource::open(&folder.join("two_bends.wav")).unwrap();
    let input = Input::Source { origin: Origin { kind: "file", name: None }, source: Box::new(source), pace: Pace::AsPlayed };
    let log = Log::open(&folder.join("attempts.csv")).unwrap();
    let mut page = PageView::new(Look::default(), a4, Box::new(|_, _| None)).unwrap();
    let failed = run(World::real().unwrap(), input, job, Some(log), &mut page);
    drop(page);
    println!("outcome: {}", failed.unwrap_err());
}

#[test]
fn a_panic_gives_the_terminal_back_closes_the_take_and_keeps_the_rows_before_it() {
    let folder = tempfile::tempdir().unwrap();
    two_bends(folder.path());
    let mut command = CommandBuilder::new(std::env::current_exe().unwrap());
    command.args(["--exact", "a_run_that_breaks_inside", "--nocapture"]);
    command.env("LANDFALL_TEST_BREAKS_IN", folder.path());
    command.env("RUST_BACKTRACE", "0");
    let mut terminal = Terminal::run(folder, command);
    terminal.wait_until("taken", Terminal::is_taken);
    terminal.ended();
    terminal.wait_until("given back", Terminal::is_given_back);
    let text = terminal.text();
    assert!(text.contains("a fault of the test's making"), "{text}");
    assert!(text.contains("outcome: the analysis failed inside"), "{text}");
    assert!(seconds_kept(terminal.folder.path()) > 3.0);
    assert_eq!(rows(terminal.folder.path()), 1);
}
