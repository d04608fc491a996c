//! Scenarios of `test_signals/scenarios/rows`, each with the rows that it should make: what must be told apart, and what must not be said.
//!
//! Conventions. `NAME.toml` is played by the synthesiser; `NAME.rows.toml` has one table for each row, in order. A bound is the least and the most that
//! the cell may say. Every value follows by hand from the numbers of the scenario; a cell that is not named is not judged.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::{Attempt, Wish};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::sound::Block;
use landfall::sound::synth::{Rendered, Scenario, render};
use landfall::units::{A4, FrameSpan, FrameTime};
use serde::Deserialize;
use std::fs;
use std::path::{Path, PathBuf};

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    #[serde(default, rename = "row")]
    rows: Vec<Row>,
}

/// Pitches are cents on the MIDI scale, instants seconds from the take's first sample.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    technique: String,
    origin_cents: Option<f64>,
    onset_s: Option<(f64, f64)>,
    arrival_s: Option<(f64, f64)>,
    early_cents: Option<(f64, f64)>,
    held_cents: Option<(f64, f64)>,
    overshoot_cents: Option<(f64, f64)>,
    drift_cents_per_s: Option<(f64, f64)>,
    vibrato_hz: Option<(f64, f64)>,
    release_s: Option<(f64, f64)>,
}

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("test_signals/scenarios/rows")
}

fn rows(played: &Rendered) -> Vec<Attempt> {
    let mut settled = SettledLoop::new(played.truth.rate(), A4::default(), Wish::default());
    let mut rows = Vec::new();
    for (index, samples) in played.samples.chunks(256).enumerate() {
        let block = Block { start: FrameTime(256 * index as u64), lost_before: FrameSpan(0), samples, faults: &[] };
        settled.hear(&block, &mut |row| rows.push(row));
    }
    settled.finish(&mut |row| rows.push(row));
    rows
}

/// What is wrong with a row, a line for each cell.
fn wrong(wanted: &Row, row: &Attempt) -> Vec<String> {
    let m = &row.measures;
    let above = |cents: Option<f64>, base: Option<f64>| cents.zip(base).map(|(cents, base)| base + cents);
    let mut lines = Vec::new();
    if row.technique.word() != wanted.technique {
        lines.push(format!("{} is called {}", wanted.technique, row.technique));
    }
    let exact = wanted.origin_cents.map(|cents| (cents, cents));
    for (name, bounds, said) in [
        ("origin", exact, row.origin_cents),
        ("onset_s", wanted.onset_s, m.onset_s),
        ("arrival_s", wanted.arrival_s, m.arrival_s),
        ("early pitch", wanted.early_cents, above(m.arrival_error_cents, row.target_cents)),
        ("held pitch", wanted.held_cents, above(m.hold_error_cents, row.target_cents)),
        ("overshoot_cents", wanted.overshoot_cents, m.overshoot_cents),
        ("hold_drift_cents_per_s", wanted.drift_cents_per_s, m.hold_drift_cents_per_s),
        ("vibrato_rate_hz", wanted.vibrato_hz, m.vibrato_rate_hz),
        ("release_start_s", wanted.release_s, m.release_start_s),
    ] {
        let Some((least, most)) = bounds else { continue };
        if !said.is_some_and(|said| (least..=most).contains(&said)) {
            lines.push(format!("{name} is {said:?}, not from {least} to {most}"));
        }
    }
    lines
}

#[test]
fn each_scenario_makes_the_rows_that_stand_beside_it() {
    let mut names: Vec<PathBuf> = fs::read_dir(folder()).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.retain(|path| !path.to_string_lossy().ends_with(".rows.toml"));
    names.sort();
    assert!(names.len() > 5, "the scenarios are there");
    let mut lines = Vec::new();
    for path in names {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let scenario = Scenario::from_toml(&fs::read_to_string(&path).unwrap()).unwrap_or_else(|error| panic!("{name}: {error}"));
        let wanted: Wanted = toml::from_str(&fs::read_to_string(path.with_extension("rows.toml")).unwrap()).unwrap();
        let said = rows(&render(&scenario).unwrap());
        if said.len() != wanted.rows.len() {
            let at: Vec<_> = said.iter().map(|row| (row.technique.word(), row.measures.arrival_s)).collect();
            lines.push(format!("{name}: {} rows, not {}: {at:?}", said.len(), wanted.rows.len()));
            continue;
        }
        for (index, (wanted, row)) in wanted.rows.iter().zip(&said).enumerate() {
            lines.extend(wrong(wanted, row).into_iter().map(|line| format!("{name}, row {}: {line}", index + 1)));
        }
    }
    assert!(lines.is_empty(), "\n{}", lines.join("\n"));
}
