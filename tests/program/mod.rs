//! Runs the built program as a player's shell would, with folders of its own, so that nothing of the player's is touched.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// The program with a folder for settings and data.
pub struct Program {
    folder: tempfile::TempDir,
}

impl Program {
    pub fn new() -> Self {
        Self { folder: tempfile::tempdir().expect("a temporary folder can be made") }
    }

    /// The folder that holds `config/`, `data/` and whatever a test puts there; commands run in it.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The command, ready for more arguments, variables or pipes.
    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_landfall"));
        command
            .args(arguments)
            .current_dir(self.folder())
            .env("LANDFALL_CONFIG_DIR", self.path("config"))
            .env("LANDFALL_DATA_DIR", self.path("data"))
            .env_remove("RUST_BACKTRACE")
            .stdin(Stdio::null());
        for name in ["DEVICE", "CHANNEL", "A4", "TOLERANCE", "TUNING", "HANDEDNESS", "COLOURS", "MINUTES"] {
            command.env_remove(format!("LANDFALL_{name}"));
        }
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Ran {
        Ran::of(self.command(arguments).output().expect("the program starts"))
    }

    /// Writes a file into the folder, with the folders above it.
    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        std::fs::create_dir_all(path.parent().expect("a file has a folder")).expect("a folder can be made");
        std::fs::write(&path, bytes).expect("a file can be written");
        path
    }
}

/// How a run ended and what it said.
pub struct Ran {
    pub status: Option<i32>,
    pub stdout: String,
    pub stderr: String,
}

impl Ran {
    pub fn of(output: Output) -> Self {
        let text = |bytes| String::from_utf8(bytes).expect("all output is UTF-8");
        Self { status: output.status.code(), stdout: text(output.stdout), stderr: text(output.stderr) }
    }

    /// Ended with 1 and one sentence on standard error that holds all `parts`.
    pub fn assert_fails_saying(&self, parts: &[&str]) {
        assert_eq!(self.status, Some(1), "status; said: {}", self.stderr);
        assert_eq!(self.stderr.lines().count(), 1, "one sentence, not: {}", self.stderr);
        assert!(self.stderr.starts_with("landfall: "), "{}", self.stderr);
        for part in parts {
            assert!(self.stderr.contains(part), "{part:?} is not in: {}", self.stderr);
        }
    }

    pub fn assert_succeeds(&self) {
        assert_eq!(self.status, Some(0), "status; said: {}", self.stderr);
    }
}
