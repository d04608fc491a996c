//! Laws that the rows of the log obey, whatever is played: what moves with the sound and what must not.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "other tests use the rest")]
mod program;
mod two_bends;

use landfall::grading::{Attempt, Wish};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::pitch::hop_frames;
use landfall::sound::Block;
use landfall::sound::synth::{Scenario, render};
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};
use proptest::prelude::*;
use std::sync::LazyLock;

/// A release, a pre-bend, an overshoot and a shake, on three strings.
const SCENARIO: &str = r#"
title = "four bends"
[noise]
snr_db = 50.0
[[note]]
at_s = 0.5
string = 2
fret = 8
damped_s = 1.9
[[note.then]]
hand = "bend"
at_s = 0.35
cents = 194.0
takes_ms = 150.0
[[note.then]]
hand = "release"
at_s = 1.2
takes_ms = 150.0
[[note]]
at_s = 2.7
string = 3
fret = 9
pre_bend_cents = 103.0
damped_s = 1.5
[[note.then]]
hand = "release"
at_s = 0.8
lands_cents = 6.0
takes_ms = 180.0
[[note]]
at_s = 4.5
string = 1
fret = 7
damped_s = 1.5
[[note.then]]
hand = "bend"
at_s = 0.35
cents = 200.0
takes_ms = 140.0
overshoot_cents = 30.0
[[note]]
at_s = 6.3
string = 2
fret = 10
damped_s = 2.2
[[note.then]]
hand = "bend"
at_s = 0.35
cents = 200.0
takes_ms = 160.0
[[note.then]]
hand = "vibrato"
at_s = 0.8
rate_hz = 5.5
half_width_cents = 20.0
"#;

fn played(frames_per_second: u32, shift_cents: f64) -> Vec<f32> {
    let mut scenario = Scenario::from_toml(SCENARIO).unwrap();
    scenario.rate_hz = frames_per_second;
    scenario.a4_hz = 440.0 * (shift_cents / 1200.0).exp2();
    render(&scenario).unwrap().samples
}

static PLAYED: LazyLock<Vec<f32>> = LazyLock::new(|| played(48_000, 0.0));
static ROWS: LazyLock<Vec<Attempt>> = LazyLock::new(|| rows(&PLAYED, 48_000, 512));

fn rows(samples: &[f32], frames_per_second: u32, block: usize) -> Vec<Attempt> {
    let mut settled = SettledLoop::new(SampleRate::new(frames_per_second).unwrap(), A4::default(), Wish::default());
    let mut rows = Vec::new();
    for (index, samples) in samples.chunks(block).enumerate() {
        let start = FrameTime((index * block) as u64);
        settled.hear(&Block { start, lost_before: FrameSpan(0), samples, faults: &[] }, &mut |row| rows.push(row));
    }
    settled.finish(&mut |row| rows.push(row));
    assert_eq!(rows.len(), 4, "the four bends are found");
    rows
}

/// Every instant of a row, s.
fn instants(row: &Attempt) -> Vec<Option<f64>> {
    let m = &row.measures;
    vec![m.onset_s, m.bend_start_s, m.arrival_s, m.release_start_s]
}

/// The instants that lie on the pitch's curve. A pre-bend arrives with its attack, which does not.
fn instants_of_pitch(row: &Attempt) -> Vec<Option<f64>> {
    let m = &row.measures;
    vec![m.bend_start_s, m.arrival_s.filter(|_| !row.technique.is_pre_bend()), m.release_start_s]
}

/// Every pitch of a row, cents on the MIDI scale.
fn pitches(row: &Attempt) -> Vec<Option<f64>> {
    let m = &row.measures;
    let over = |base: Option<f64>, error: Option<f64>| base.zip(error).map(|(base, error)| base + error);
    vec![
        over(row.origin_cents, m.origin_error_cents),
        over(row.target_cents, m.arrival_error_cents),
        over(row.target_cents, m.hold_error_cents),
        over(row.target_cents, m.vibrato_centre_cents),
        over(row.origin_cents, m.release_error_cents),
    ]
}

/// Every length of a row on the pitch's curve, ms.
fn lengths(row: &Attempt) -> Vec<Option<f64>> {
    let m = &row.measures;
    vec![m.rise_ms, m.hold_s.filter(|_| !row.technique.is_pre_bend()).map(|s| 1000.0 * s), m.release_ms]
}

/// Heights and widths, cents.
fn heights(row: &Attempt) -> Vec<Option<f64>> {
    vec![row.measures.overshoot_cents, row.measures.vibrato_extent_cents]
}

/// The same cells are filled in both, and differ by `by`, up to `near`.
fn assert_moved(
    first: &[Attempt],
    second: &[Attempt],
    cells: fn(&Attempt) -> Vec<Option<f64>>,
    by: f64,
    near: f64,
) -> Result<(), TestCaseError> {
    prop_assert_eq!(first.len(), second.len());
    for (a, b) in first.iter().zip(second) {
        prop_assert_eq!(a.technique, b.technique);
        for (cell, (a, b)) in cells(a).into_iter().zip(cells(b)).enumerate() {
            prop_assert_eq!(a.is_some(), b.is_some(), "cell {} is empty in one", cell);
            if let (Some(a), Some(b)) = (a, b) {
                prop_assert!((b - a - by).abs() <= near, "cell {}: {} became {}, not {} more", cell, a, b, by);
            }
        }
    }
    Ok(())
}

fn later(frames: usize) -> Vec<Attempt> {
    let mut samples = vec![0.0; frames];
    samples.extend_from_slice(&PLAYED);
    rows(&samples, 48_000, 512)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(8) })]

    #[test]
    fn a_guitar_tuned_higher_gives_the_same_rows_so_many_cents_higher(shift in -30.0f64..30.0) {
        let moved = rows(&played(48_000, shift), 48_000, 512);
        assert_moved(&ROWS, &moved, pitches, shift, 0.1)?;
        assert_moved(&ROWS, &moved, instants, 0.0, 0.001)?;
        assert_moved(&ROWS, &moved, heights, 0.0, 0.2)?;
    }

    #[test]
    fn whole_hops_of_silence_before_it_move_the_times_and_nothing_else(hops in 1usize..200) {
        let frames = hops * hop_frames(SampleRate::new(48_000).unwrap());
        let moved = later(frames);
        assert_moved(&ROWS, &moved, instants_of_pitch, frames as f64 / 48_000.0, 1e-6)?;
        // Attacks lie on a grid of their own, an eighth of a millisecond wide.
        assert_moved(&ROWS, &moved, instants, frames as f64 / 48_000.0, 0.000_126)?;
        assert_moved(&ROWS, &moved, pitches, 0.0, 1e-3)?;
        assert_moved(&ROWS, &moved, lengths, 0.0, 1e-3)?;
        assert_moved(&ROWS, &moved, heights, 0.0, 1e-3)?;
    }

    #[test]
    fn any_other_silence_before_it_moves_the_times_and_pitches_by_a_hair(frames in 1usize..20_000) {
        let moved = later(frames);
        assert_moved(&ROWS, &moved, instants, frames as f64 / 48_000.0, 0.0002)?;
        let straight = |row: &&Attempt| row.measures.vibrato_rate_hz.is_none();
        let (first, second): (Vec<_>, Vec<_>) = (ROWS.iter().filter(straight).cloned().collect(), moved.iter().filter(straight).cloned().collect());
        assert_moved(&first, &second, pitches, 0.0, 0.05)?;
        // The swings of a shake are found between hops: its centre is less sure.
        assert_moved(&ROWS, &moved, pitches, 0.0, 0.1)?;
    }

    #[test]
    fn blocks_of_any_size_give_the_same_rows(block in 1usize..6000) {
        prop_assert_eq!(&*ROWS, &rows(&PLAYED, 48_000, block));
    }

    #[test]
    fn a_gain_by_a_power_of_two_gives_the_same_rows(power in -3i32..=1) {
        let louder: Vec<f32> = PLAYED.iter().map(|x| x * 2f32.powi(power)).collect();
        prop_assert_eq!(&*ROWS, &rows(&louder, 48_000, 512));
    }
}

#[test]
fn sample_rates_give_the_same_rows_within_a_fifth_of_a_cent_and_a_millisecond() {
    for hz in [44_100, 88_200, 96_000] {
        let other = rows(&played(hz, 0.0), hz, 512);
        let near = |cells, near| assert_moved(&ROWS, &other, cells, 0.0, near).unwrap_or_else(|error| panic!("{hz} Hz: {error}"));
        near(pitches, 0.2);
        near(instants, 0.001);
        near(heights, 0.2);
    }
}

/// The cells from `onset_s` on of every line of a log.
fn from_onset(csv: &str) -> Vec<String> {
    let at = csv.lines().next().unwrap().split(',').position(|name| name == "onset_s").unwrap();
    csv.lines().skip(1).map(|line| line.splitn(at + 1, ',').last().unwrap().to_owned()).collect()
}

#[test]
fn a_take_played_at_its_own_pace_at_full_speed_and_graded_gives_the_same_bytes() {
    let program = program::Program::new();
    let take = two_bends::two_bends(program.folder());
    let take = take.to_str().unwrap();
    let graded = program.run(&["grade", "--csv", "-", take]);
    graded.assert_succeeds();
    let wanted = from_onset(&graded.stdout);
    assert_eq!(wanted.len(), 2);
    for pace in [&["--fast"][..], &[]] {
        let log = program.path(if pace.is_empty() { "paced.csv" } else { "fast.csv" });
        let run = program.run(&[&["drill", "--plain", "--input", take, "--log", log.to_str().unwrap()], pace].concat());
        run.assert_succeeds();
        assert_eq!(from_onset(&std::fs::read_to_string(&log).unwrap()), wanted, "{pace:?}");
    }
}
