//! The two doors through which other people's files come in: sound and attempt logs. Seeds (`tests/seeds/`, `test_signals/formats/`) are cut, spliced
//! and spoilt at random; whatever comes in must end in samples, rows or an error, never in a panic or without end.
//!
//! `PROPTEST_CASES=100000 cargo test --release --test fuzz` looks longer. What is ever found becomes a seed.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::logbook::attempts;
use landfall::sound::{ChannelWish, FileSource, Mono, Next};
use proptest::prelude::*;
use std::fs;
use std::path::Path;

fn seeds(folders: &[&str]) -> Vec<Vec<u8>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files: Vec<_> =
        folders.iter().flat_map(|folder| fs::read_dir(root.join(folder)).unwrap()).map(|file| file.unwrap().path()).collect();
    files.retain(|file| file.extension().is_none_or(|extension| extension != "md"));
    files.sort();
    assert!(!files.is_empty(), "no seeds in {folders:?}");
    files.iter().map(|file| fs::read(file).unwrap()).collect()
}

/// One way of spoiling a file; places are shares of its length.
#[derive(Clone, Debug)]
enum Spoil {
    Cut(f64),
    Byte(f64, u8),
    Head(u8, u8),
    Insert(f64, Vec<u8>),
    Splice(f64, f64),
}

fn spoils() -> impl Strategy<Value = Vec<Spoil>> {
    let place = || 0.0..1.0f64;
    prop::collection::vec(
        prop_oneof![
            place().prop_map(Spoil::Cut),
            (place(), any::<u8>()).prop_map(|(at, byte)| Spoil::Byte(at, byte)),
            // Heads hold the sizes and rates on which readers rely.
            (0u8..64, prop_oneof![Just(0), Just(1), Just(255), any::<u8>()]).prop_map(|(at, byte)| Spoil::Head(at, byte)),
            (place(), prop::collection::vec(any::<u8>(), 1..9)).prop_map(|(at, bytes)| Spoil::Insert(at, bytes)),
            (place(), place()).prop_map(|(from, to)| Spoil::Splice(from, to)),
        ],
        1..6,
    )
}

fn spoilt(mut bytes: Vec<u8>, spoils: &[Spoil]) -> Vec<u8> {
    for spoil in spoils {
        let place = |share: &f64| (bytes.len() as f64 * share) as usize;
        match spoil {
            Spoil::Cut(at) => bytes.truncate(place(at)),
            Spoil::Byte(at, byte) => {
                let at = place(at);
                bytes.iter_mut().skip(at).take(1).for_each(|old| *old = *byte);
            }
            Spoil::Head(at, byte) => bytes.iter_mut().skip(usize::from(*at)).take(1).for_each(|old| *old = *byte),
            Spoil::Insert(at, new) => {
                let at = place(at);
                bytes.splice(at..at, new.iter().copied());
            }
            Spoil::Splice(from, to) => {
                let (from, to) = (place(from).min(place(to)), place(from).max(place(to)));
                let part = bytes[from..to].to_vec();
                bytes.extend(part);
            }
        }
    }
    bytes
}

/// Hears a file to its end. Samples must be finite and no more than a file of this size can hold.
fn hear(bytes: &[u8]) -> Result<(), String> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("take");
    fs::write(&path, bytes).unwrap();
    let Ok(source) = FileSource::open(&path) else { return Ok(()) };
    let Ok(mut sound) = Mono::new(Box::new(source), ChannelWish::Louder) else { return Ok(()) };
    for _ in 0..1_000_000 {
        match sound.hear() {
            Ok(Next::Block(block)) if block.samples.iter().all(|sample| sample.is_finite()) => {}
            Ok(Next::Block(_)) => return Err("a sample that is no number".into()),
            Ok(Next::Ended) | Err(_) => return Ok(()),
            Ok(Next::Waiting) => return Err("a file waits".into()),
        }
    }
    Err("no end".into())
}

fn read_rows(bytes: &[u8]) -> Result<(), String> {
    let Ok(found) = attempts::read(bytes) else { return Ok(()) };
    let again = attempts::read(&attempts::whole_file(&found.rows)[..]).map_err(|error| format!("{error:?}"))?;
    let whole = again.troubles.is_empty() && again.rows.len() == found.rows.len();
    let lines = bytes.iter().filter(|byte| matches!(byte, b'\n' | b'\r')).count() as u64 + 1;
    if !found.troubles.iter().all(|trouble| (1..=lines).contains(&trouble.line)) {
        return Err(format!("a place outside the file: {:?}", found.troubles));
    }
    if whole { Ok(()) } else { Err(format!("what was read is not written whole: {:?}", again.troubles)) }
}

#[test]
fn every_seed_is_taken_as_it_is() {
    for seed in seeds(&["test_signals/formats", "tests/seeds/sound"]) {
        hear(&seed).unwrap();
    }
    for seed in seeds(&["tests/seeds/attempts"]) {
        read_rows(&seed).unwrap();
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_sound_file_brings_the_door_down(seed in prop::sample::select(seeds(&["test_signals/formats", "tests/seeds/sound"])), spoils in spoils()) {
        hear(&spoilt(seed, &spoils)).map_err(TestCaseError::fail)?;
    }

    #[test]
    fn no_log_brings_the_reader_down(seed in prop::sample::select(seeds(&["tests/seeds/attempts"])), spoils in spoils()) {
        read_rows(&spoilt(seed, &spoils)).map_err(TestCaseError::fail)?;
    }

    #[test]
    fn no_bytes_at_all_bring_either_down(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        hear(&bytes).map_err(TestCaseError::fail)?;
        read_rows(&bytes).map_err(TestCaseError::fail)?;
        read_rows(&[b"take,attempt,hold_s\r\n", &bytes[..]].concat()).map_err(TestCaseError::fail)?;
    }
}
