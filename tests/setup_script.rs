//! `.ci/setup` on machines that this one is not: its tools are stood in for by small scripts that write down how they were called.

#![cfg(unix)]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

struct Machine {
    folder: tempfile::TempDir,
}

impl Machine {
    /// A Linux with nothing on it, and these commands.
    fn with(commands: &[(&str, &str)]) -> Self {
        let machine = Self { folder: tempfile::tempdir().expect("a temporary folder can be made") };
        machine.command("uname", "echo Linux");
        for (name, script) in commands {
            machine.command(name, script);
        }
        machine
    }

    fn command(&self, name: &str, script: &str) {
        let path = self.folder.path().join(name);
        fs::write(&path, format!("#!/bin/sh\necho \"{name} $*\" >>\"$CALLS\"\n{script}\n")).expect("a script can be written");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).expect("a script can be made to run");
    }

    fn set_up(&self) -> (Output, String) {
        let calls = self.folder.path().join("calls");
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join(".ci/setup");
        let output = Command::new("/bin/sh").arg(script).env("PATH", self.folder.path()).env("CALLS", &calls).output().expect("sh runs");
        (output, fs::read_to_string(calls).unwrap_or_default())
    }
}

const ROOT: (&str, &str) = ("id", "echo 0");
const PLAYER: (&str, &str) = ("id", "echo 1000");
/// Says that ALSA is there once something was installed.
const PKG_CONFIG: (&str, &str) =
    ("pkg-config", "while read -r call; do case \"$call\" in *install*|*add*|*-S*) exit 0;; esac; done <\"$CALLS\"; exit 1");

#[test]
fn where_everything_is_there_nothing_is_done() {
    let (output, calls) = Machine::with(&[("pkg-config", "exit 0"), ("apt-get", ""), ROOT]).set_up();
    assert!(output.status.success() && output.stdout.is_empty());
    assert!(!calls.contains("apt-get"), "{calls}");
}

#[test]
fn elsewhere_than_on_linux_nothing_is_done() {
    let machine = Machine::with(&[("apt-get", ""), ROOT]);
    machine.command("uname", "echo Darwin");
    let (output, calls) = machine.set_up();
    assert!(output.status.success());
    assert!(!calls.contains("apt-get"), "{calls}");
}

#[test]
fn root_installs_by_the_package_manager_that_is_there() {
    for (manager, wanted) in [
        ("apt-get", "apt-get install -y --no-install-recommends libasound2-dev pkg-config"),
        ("dnf", "dnf install -y alsa-lib-devel pkgconf-pkg-config"),
        ("pacman", "pacman -S --needed --noconfirm alsa-lib pkgconf"),
        ("zypper", "zypper --non-interactive install alsa-devel pkg-config"),
        ("apk", "apk add alsa-lib-dev pkgconf"),
    ] {
        let (output, calls) = Machine::with(&[PKG_CONFIG, ROOT, (manager, ""), ("true", "")]).set_up();
        assert!(output.status.success(), "{manager}: {}", String::from_utf8_lossy(&output.stderr));
        assert!(calls.lines().any(|call| call == wanted), "{manager}: {calls}");
    }
}

#[test]
fn a_player_installs_with_sudo_where_that_asks_for_nothing() {
    let (output, calls) = Machine::with(&[PKG_CONFIG, PLAYER, ("apt-get", ""), ("sudo", "[ \"$1\" = -n ] || \"$@\"")]).set_up();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(calls.contains("sudo apt-get install"), "{calls}");
}

#[test]
fn who_cannot_install_reads_one_sentence_with_both_ways_out() {
    for commands in [&[PLAYER, ("apt-get", "")][..], &[PLAYER, ("apt-get", ""), ("sudo", "exit 1")], &[ROOT]] {
        let (output, calls) = Machine::with(commands).set_up();
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(1));
        assert_eq!(said.lines().count(), 1, "{said}");
        assert!(said.contains("--no-default-features") && said.to_lowercase().contains("alsa") | said.contains("libasound2-dev"), "{said}");
        assert!(!calls.contains("apt-get install"), "{calls}");
    }
}

#[test]
fn an_installation_that_fails_is_said() {
    let (output, _) = Machine::with(&[("pkg-config", "exit 1"), ROOT, ("apt-get", "exit 100"), ("true", "")]).set_up();
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&output.stderr).contains("--no-default-features"));
}
