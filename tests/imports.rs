//! The folders of `src/` see each other in one direction only, outside crates have one door each, and threads, clocks and locks stay
//! where they belong. Each line that breaks this is named.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// What each folder may see. `lib.rs` and `main.rs` see all.
const SEES: &[(&str, &[&str])] = &[
    ("units", &[]),
    ("theory", &["units"]),
    ("sound", &["units"]),
    ("pitch", &["units"]),
    ("notes", &["pitch", "units"]),
    ("grading", &["notes", "pitch", "theory", "units"]),
    ("logbook", &["grading", "notes", "pitch", "theory", "units"]),
    ("practice", &["logbook", "grading", "notes", "pitch", "theory", "sound", "units"]),
    ("views", &["practice", "logbook", "grading", "notes", "pitch", "theory", "units"]),
    ("live", &["views", "practice", "logbook", "grading", "notes", "pitch", "theory", "sound", "units", "cli"]),
    ("cli", &["live", "views", "practice", "logbook", "grading", "notes", "pitch", "theory", "sound", "units"]),
];

/// Where each outside crate may be named: a folder, or one file.
const DOORS: &[(&str, &[&str])] = &[
    ("clap", &["cli"]),
    ("clap_complete", &["cli"]),
    ("clap_mangen", &["cli"]),
    ("cpal", &["sound/card"]),
    ("crossbeam_channel", &["live", "sound/card"]),
    ("crossterm", &["views", "live"]),
    ("csv", &["logbook"]),
    ("etcetera", &["cli"]),
    ("fs4", &["live"]),
    ("hound", &["live", "sound"]),
    ("jiff", &["logbook", "live", "cli", "practice"]),
    ("ratatui", &["views", "live"]),
    ("ringbuf", &["sound", "live"]),
    ("rubato", &["sound/track/resampled.rs"]),
    ("rustfft", &["pitch"]),
    ("serde", &["cli", "logbook", "theory", "practice", "live", "sound/synth"]),
    ("signal_hook", &["live"]),
    ("strsim", &["theory"]),
    ("svg", &["views"]),
    ("symphonia", &["sound/file.rs"]),
    ("tempfile", &["logbook", "live"]),
    ("textwrap", &["views/paragraph.rs"]),
    ("thiserror", &[""]),
    ("timestretch", &["sound/track/stretched.rs"]),
    ("toml", &["cli", "logbook", "theory", "practice", "live", "sound/synth"]),
];

/// Only these places know other threads and the time of day.
const THREADS_AND_CLOCKS: &[&str] = &["live", "sound/card"];
const THREAD_OR_CLOCK: &[&str] =
    &["std::thread", "std::time::Instant", "std::time::SystemTime", "std::sync::Mutex", "std::sync::RwLock", "std::sync::mpsc"];

#[test]
fn every_import_points_the_right_way() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let wrong: Vec<String> = sources(&root)
        .into_iter()
        .flat_map(|path| {
            let text = fs::read_to_string(&path).unwrap();
            findings(path.strip_prefix(&root).unwrap(), &text)
        })
        .collect();
    assert!(wrong.is_empty(), "\n{}\n", wrong.join("\n"));
}

#[test]
fn every_outside_crate_has_a_door() {
    let manifest = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")).unwrap();
    let dependencies = manifest.split("\n[dependencies]\n").nth(1).unwrap().split("\n[").next().unwrap();
    let named: BTreeSet<String> =
        dependencies.lines().filter_map(|line| line.split_once(" =")).map(|(name, _)| name.replace('-', "_")).collect();
    let doors: BTreeSet<String> = DOORS.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(named, doors, "Cargo.toml and the list of doors differ");
}

#[test]
fn a_wrong_import_is_found_however_it_is_written() {
    let found = |path: &str, text: &str| !findings(Path::new(path), text).is_empty();
    assert!(found("pitch/yin.rs", "use crate::views::Meter;"));
    assert!(found("pitch/yin.rs", "fn f() { crate::notes::g() }"));
    assert!(found("pitch/mod.rs", "use super::notes::Note;"));
    assert!(found("pitch/deep/er.rs", "use super::super::super::notes::Note;"));
    assert!(found("theory/mod.rs", "use crate::{units::A4, sound::Mono};"));
    assert!(found("views/meter.rs", "use std::time::{Duration, Instant};"));
    assert!(found("views/meter.rs", "let t = std::thread::current();"));
    assert!(found("grading/row.rs", "use csv::Writer;"));
    assert!(found("sound/ring.rs", "fn f() { cpal::default_host() }"));
    assert!(!found("pitch/yin.rs", "use crate::units::A4; // crate::views is elsewhere"));
    assert!(!found("pitch/yin.rs", "use crate::units::A4;\n#[cfg(test)]\nmod tests { use crate::sound::Mono; }\nuse super::Reading;"));
    assert!(!found("sound/file.rs", "use symphonia::core; use super::Format; const X: &str = \"crate::views\";"));
    assert!(!found("logbook/attempts.rs", "use csv::Writer;"));
}

fn sources(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("src can be listed") {
        let path = entry.expect("src can be listed").path();
        if path.is_dir() {
            found.extend(sources(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// One sentence for each place of a file (named from `src/`) that breaks a rule.
fn findings(path: &Path, text: &str) -> Vec<String> {
    let place = path.to_string_lossy().replace('\\', "/");
    let folder = place.split(['/', '.']).next().unwrap_or_default();
    let Some((_, seen)) = SEES.iter().find(|(name, _)| *name == folder) else { return Vec::new() };
    // How many `super::` lead from this module to the top of the crate.
    let depth = place.matches('/').count() + usize::from(!place.ends_with("/mod.rs"));
    let mut wrong = Vec::new();
    for (line, path) in paths(&code_only(text)) {
        let mut say = |what: String| wrong.push(format!("src/{place}:{line}: {what}"));
        let ups = path.iter().take_while(|part| *part == "super").count();
        let at_top = path[0] == "crate" || (ups > 0 && ups == depth);
        let own = if path[0] == "crate" { path.get(1) } else { path.get(ups) };
        if let Some(other) = own.filter(|_| at_top)
            && SEES.iter().any(|(name, _)| name == other)
            && other != folder
            && !seen.contains(&other.as_str())
        {
            say(format!("{folder} must not see {other}"));
        }
        if let Some((name, doors)) = DOORS.iter().find(|(name, _)| *name == path[0])
            && !doors.iter().any(|door| within(&place, door))
        {
            say(format!("{name} is named outside {}", doors.join(", ")));
        }
        let whole = path.join("::");
        if THREAD_OR_CLOCK.iter().any(|name| whole == *name || whole.starts_with(&format!("{name}::")))
            && !THREADS_AND_CLOCKS.iter().any(|allowed| within(&place, allowed))
        {
            say(format!("{whole} is named outside {}", THREADS_AND_CLOCKS.join(", ")));
        }
    }
    wrong
}

fn within(place: &str, door: &str) -> bool {
    door.is_empty() || place == door || place.strip_prefix(door).is_some_and(|rest| rest.starts_with('/') || rest == ".rs")
}

/// The text with comments, strings and test-only items blanked out; lines stay where they are.
fn code_only(text: &str) -> String {
    without_tests(&without_comments_and_strings(text))
}

fn without_comments_and_strings(text: &str) -> String {
    let bytes = text.as_bytes();
    let mut out = bytes.to_vec();
    let mut blank =
        |from: usize, to: usize| out[from..to.min(bytes.len())].iter_mut().filter(|byte| **byte != b'\n').for_each(|byte| *byte = b' ');
    let mut at = 0;
    while at < bytes.len() {
        let rest = &text.as_bytes()[at..];
        let length = if rest.starts_with(b"//") {
            rest.iter().position(|byte| *byte == b'\n').unwrap_or(rest.len())
        } else if rest.starts_with(b"/*") {
            rest.windows(2).position(|pair| pair == b"*/").map_or(rest.len(), |end| end + 2)
        } else if rest.starts_with(b"\"") {
            let mut end = 1;
            while end < rest.len() && rest[end] != b'"' {
                end += if rest[end] == b'\\' { 2 } else { 1 };
            }
            end + 1
        } else if rest.starts_with(b"'\"'") || rest.starts_with(b"b'\"'") {
            rest.iter().skip(2).position(|byte| *byte == b'\'').map_or(1, |end| end + 3)
        } else {
            at += 1;
            continue;
        };
        blank(at, at + length);
        at += length;
    }
    String::from_utf8_lossy(&out).into_owned()
}

fn without_tests(text: &str) -> String {
    let mut out = text.to_owned();
    while let Some(start) = out.find("#[cfg(test)]") {
        let rest = &out[start..];
        let brace = rest.find('{').unwrap_or(rest.len());
        let end = match rest.find(';') {
            Some(semicolon) if semicolon < brace => semicolon + 1,
            _ => {
                let mut open = 0_i32;
                let close = rest.char_indices().skip(brace).find(|(_, letter)| {
                    open += i32::from(*letter == '{') - i32::from(*letter == '}');
                    open == 0
                });
                close.map_or(rest.len(), |(at, _)| at + 1)
            }
        };
        let blank: String = out[start..start + end].chars().map(|letter| if letter == '\n' { '\n' } else { ' ' }).collect();
        out.replace_range(start..start + end, &blank);
    }
    out
}

/// All `a::b::c` with their lines; `a::{b, c::d}` becomes `a::b` and `a::c::d`.
fn paths(code: &str) -> Vec<(usize, Vec<String>)> {
    let mut found = Vec::new();
    let mut at = 0;
    while at < code.len() {
        let begins = code[at..].starts_with(|letter: char| letter.is_alphabetic() || letter == '_');
        if !begins {
            at += code[at..].chars().next().map_or(1, char::len_utf8);
            continue;
        }
        let line = 1 + code[..at].matches('\n').count();
        let (end, branches) = path_at(code, at);
        found.extend(branches.into_iter().filter(|path| path.len() > 1).map(|path| (line, path)));
        at = end;
    }
    found
}

/// The path that begins at `at`, branched at braces, and where it ends.
fn path_at(code: &str, mut at: usize) -> (usize, Vec<Vec<String>>) {
    let mut stem = Vec::new();
    loop {
        let word: String = code[at..].chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect();
        at += word.len();
        stem.push(word);
        let Some(after) = code[at..].strip_prefix("::") else { return (at, vec![stem]) };
        at += 2;
        if after.starts_with('{') {
            let mut branches = vec![];
            at += 1;
            loop {
                let skipped = code[at..].find(|letter: char| !letter.is_whitespace() && letter != ',').unwrap_or(code.len() - at);
                at += skipped;
                if !code[at..].starts_with(|letter: char| letter.is_alphabetic() || letter == '_') {
                    return ((at + 1).min(code.len()), branches);
                }
                let (end, inner) = path_at(code, at);
                branches.extend(inner.into_iter().map(|tail| [stem.clone(), tail].concat()));
                at = end;
            }
        }
        if !after.starts_with(|letter: char| letter.is_alphabetic() || letter == '_') {
            return (at, vec![stem]);
        }
    }
}
