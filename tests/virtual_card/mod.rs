//! A sound card of software for tests: a PulseAudio daemon that belongs to one test, in a folder of its own, with one silent sink whose
//! monitor is the guitar. ALSA's default leads to it. A WAV in the card's rate arrives bit for bit.
//!
//! Nothing outside the folder is touched, so tests may run side by side. Shared memory is off: with it, a client whose daemon dies hangs for
//! ever inside the client library.

use std::fs;
use std::io::{self, BufRead, BufReader, Write};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The programs that it is made of.
const NEEDED: [&str; 4] = ["pulseaudio", "pactl", "paplay", "setpriv"];
const SINK: &str = "amp";

pub struct VirtualCard {
    folder: tempfile::TempDir,
    rate: u32,
    daemon: Option<Child>,
}

impl VirtualCard {
    /// A card at `rate`; `None` where it cannot be had, which is said on standard error.
    pub fn start(rate: u32) -> Option<Self> {
        match Self::try_start(rate) {
            Ok(card) => Some(card),
            Err(problem) => {
                // Past the test harness, which keeps what passing tests print to itself.
                let _ = writeln!(
                    io::stderr(),
                    "skipped: {}: no virtual sound card: {problem}",
                    std::thread::current().name().unwrap_or("a test")
                );
                None
            }
        }
    }

    fn try_start(rate: u32) -> Result<Self, String> {
        let path = std::env::var_os("PATH").unwrap_or_default();
        for program in NEEDED {
            if !std::env::split_paths(&path).any(|folder| folder.join(program).exists()) {
                return Err(format!("{program} is not installed"));
            }
        }
        if !cfg!(feature = "sound-card") {
            return Err("this build has no sound card".into());
        }
        let folder = tempfile::Builder::new().prefix("lf").tempdir_in("/tmp").map_err(|error| error.to_string())?;
        fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o700)).map_err(|error| error.to_string())?;
        let mut card = Self { folder, rate, daemon: None };
        card.configure().map_err(|error| error.to_string())?;
        card.plug_in()?;
        Ok(card)
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    fn configure(&self) -> io::Result<()> {
        for folder in ["runtime", "state", "config", "data"] {
            fs::create_dir(self.folder().join(folder))?;
        }
        fs::write(self.folder().join("client.conf"), "autospawn = no\nenable-shm = no\nenable-memfd = no\n")?;
        let pcm = |name: &str| {
            format!(
                "pcm.{name} {{ type pulse server \"{}\" device \"{SINK}.monitor\" hint {{ show on description \"the virtual guitar\" }} }}\n",
                self.server()
            )
        };
        // The default plays to the sink that the server prefers and listens to the source that it prefers.
        let default = format!("pcm.!default {{ type pulse server \"{}\" }}\n", self.server());
        let text = format!("</usr/share/alsa/alsa.conf>\n{default}{}", pcm("guitar"));
        fs::write(self.folder().join("asound.conf"), text)
    }

    /// What is played to the default reaches the guitar so much later; false where that cannot be had.
    pub fn delay_output(&self, milliseconds: f64) -> bool {
        let control = format!("control={},1", milliseconds / 1000.0);
        let sink = format!("master={SINK}");
        self.control(&["load-module", "module-ladspa-sink", "sink_name=delayed", &sink, "plugin=delay", "label=delay_5s", &control])
            && self.control(&["set-default-sink", "delayed"])
    }

    /// What is played to the default is not heard by the guitar.
    pub fn play_elsewhere(&self) -> bool {
        let rate = format!("rate={}", self.rate);
        self.control(&["load-module", "module-null-sink", "sink_name=elsewhere", &rate, "channels=2", "format=float32le"])
            && self.control(&["set-default-sink", "elsewhere"])
    }

    fn server(&self) -> String {
        format!("unix:{}", self.folder().join("socket").display())
    }

    /// Starts the daemon, also again after [`Self::pull_out`].
    pub fn plug_in(&mut self) -> Result<(), String> {
        let _ = fs::remove_file(self.folder().join("socket"));
        let sink = format!("module-null-sink sink_name={SINK} rate={} channels=2 format=float32le norewinds=1", self.rate);
        let protocol =
            format!("module-native-protocol-unix auth-anonymous=1 auth-cookie-enabled=0 socket={}", self.folder().join("socket").display());
        let log = fs::File::create(self.folder().join("daemon.log")).map_err(|error| error.to_string())?;
        let daemon = self
            // The daemon ends with the test, even with a killed one.
            .command("setpriv")
            .args(["--pdeathsig", "KILL", "pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"])
            .args(["--disallow-exit", "--realtime=yes", "--high-priority=yes", "--log-target=stderr"])
            .args(["-L", &protocol, "-L", &sink])
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .map_err(|error| error.to_string())?;
        self.daemon = Some(daemon);
        let begun = Instant::now();
        while begun.elapsed() < Duration::from_secs(10) {
            if self.folder().join("socket").exists()
                && self.control(&["info"])
                && self.control(&["set-default-sink", SINK])
                && self.control(&["set-default-source", &format!("{SINK}.monitor")])
            {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        Err(format!("the daemon does not answer: {}", fs::read_to_string(self.folder().join("daemon.log")).unwrap_or_default()))
    }

    /// The daemon dies.
    pub fn pull_out(&mut self) {
        if let Some(mut daemon) = self.daemon.take() {
            let _ = daemon.kill();
            let _ = daemon.wait();
        }
    }

    /// The daemon stops answering, or goes on.
    pub fn freeze(&self, frozen: bool) {
        let Some(daemon) = &self.daemon else { return };
        let signal = if frozen { "-STOP" } else { "-CONT" };
        assert!(Command::new("kill").args([signal, &daemon.id().to_string()]).status().is_ok_and(|status| status.success()));
    }

    /// The card sleeps, or wakes.
    pub fn suspend(&self, asleep: bool) {
        assert!(self.control(&["suspend-sink", SINK, if asleep { "1" } else { "0" }]));
    }

    fn control(&self, words: &[&str]) -> bool {
        let mut pactl = self.command("timeout");
        pactl.args(["5", "pactl"]).args(words).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        pactl.status().is_ok_and(|status| status.success())
    }

    /// A program that sees the card, and landfall's folders inside the card's own.
    pub fn command(&self, program: &str) -> Command {
        let mut command = Command::new(program);
        command.envs(self.environment());
        command
    }

    pub fn environment(&self) -> Vec<(&'static str, String)> {
        let inside = |name: &str| self.folder().join(name).display().to_string();
        vec![
            ("PULSE_SERVER", self.server()),
            ("PULSE_RUNTIME_PATH", inside("runtime")),
            ("PULSE_STATE_PATH", inside("state")),
            ("PULSE_COOKIE", inside("cookie")),
            ("PULSE_CLIENTCONFIG", inside("client.conf")),
            ("ALSA_CONFIG_PATH", inside("asound.conf")),
            ("LANDFALL_CONFIG_DIR", inside("config")),
            ("LANDFALL_DATA_DIR", inside("data")),
        ]
    }

    /// Plays a WAV into the guitar input; done when all of it has been played.
    pub fn play(&self, wav: &Path) -> Child {
        self.command("paplay")
            .arg(format!("--device={SINK}"))
            .arg("--latency-msec=50")
            .arg(wav)
            .stdin(Stdio::null())
            .spawn()
            .expect("paplay can be started")
    }

    /// Starts a program, plays a file into the card once it has said a line that begins with `cue`, and waits for its end: all that it said.
    pub fn played_to(&self, program: &mut Command, cue: &str, wav: &Path) -> String {
        let program = program.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut listener = program.spawn().expect("the program starts");
        let mut lines = BufReader::new(listener.stdout.take().expect("its output is piped")).lines().map(|line| line.expect("text"));
        assert!(lines.by_ref().any(|line| line.starts_with(cue)), "it never said {cue:?}");
        let mut playing = self.play(wav);
        let said: Vec<String> = lines.collect();
        let ended = listener.wait_with_output().expect("it ends");
        let _ = playing.wait();
        let told = format!("{}\n{}", said.join("\n"), String::from_utf8_lossy(&ended.stderr));
        assert!(ended.status.success(), "{told}");
        told
    }

    pub fn data(&self) -> PathBuf {
        self.folder().join("data")
    }
}

impl Drop for VirtualCard {
    fn drop(&mut self) {
        self.freeze(false);
        self.pull_out();
    }
}
