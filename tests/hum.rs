//! Mains hum is no note: neither before it is learnt, nor what is left of it after a note; and no note is taken for it.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::Wish;
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::pitch::causal::Causal;
use landfall::pitch::settled::Settled;
use landfall::pitch::{Reading, Tracker};
use landfall::sound::Block;
use landfall::sound::synth::{Happening, Rendered, Scenario, render};
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};
use std::f64::consts::TAU;

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

fn follow(mut tracker: impl Tracker, samples: &[f32]) -> Vec<Reading> {
    let mut readings = Vec::new();
    tracker.push(samples, &mut |reading| readings.push(reading));
    tracker.finish(&mut |reading| readings.push(reading));
    readings
}

fn seconds(reading: &Reading) -> f64 {
    reading.at.seconds(rate())
}

/// Three notes with rests between them, in hum that strays by a thousandth and begins at `hum_from`.
fn played_in_hum(mains: f64, hum_from: f64) -> Rendered {
    let text = format!(
        "title = \"in hum\"\nlength_s = 8.0\n[hum]\nmains_hz = {mains:.1}\nlevel_dbfs = -45.0\ndrift = 0.001\nat_s = {hum_from:.1}\n\
         [[note]]\nat_s = 1.0\nstring = 2\nfret = 8\ndamped_s = 1.5\n[[note.then]]\nhand = \"bend\"\nat_s = 0.4\ncents = 200.0\ntakes_ms = 150.0\n\
         [[note]]\nat_s = 3.5\nstring = 5\nfret = 3\ndamped_s = 1.0\n[[note]]\nat_s = 5.5\nstring = 1\nfret = 12\ndamped_s = 1.5\n"
    );
    render(&Scenario::from_toml(&text).unwrap()).unwrap()
}

/// Stretches without a note: from 60 ms after a note's end, when its tail is over, to 30 ms before the next attack.
fn rests(played: &Rendered) -> Vec<(f64, f64)> {
    let (mut rests, mut from) = (Vec::new(), 0.0);
    for event in played.truth.events() {
        match event.what {
            Happening::Onset(_) => rests.push((from, event.at.seconds(rate()) - 0.03)),
            Happening::End => from = event.at.seconds(rate()) + 0.06,
            _ => {}
        }
    }
    rests.push((from, played.samples.len() as f64 / 48_000.0));
    rests
}

fn attempts(samples: &[f32]) -> usize {
    let mut settled = SettledLoop::new(rate(), A4::default(), Wish::default());
    let mut attempts = 0;
    for (n, samples) in samples.chunks(256).enumerate() {
        settled.hear(&Block { start: FrameTime(256 * n as u64), samples, lost_before: FrameSpan(0), faults: &[] }, &mut |_| attempts += 1);
    }
    settled.finish(&mut |_| attempts += 1);
    attempts
}

/// The first reading in a rest, from `after` seconds on, that has a pitch.
fn pitch_in_a_rest(played: &Rendered, readings: &[Reading], after: f64) -> Option<(f64, f64)> {
    let rests = rests(played);
    let rest = |t: f64| t >= after && rests.iter().any(|(from, to)| (*from..*to).contains(&t));
    readings.iter().find_map(|reading| reading.hz().map(|hz| (seconds(reading), hz)).filter(|(t, _)| rest(*t)))
}

#[test]
fn no_rest_in_hum_has_a_pitch_wherever_the_hum_begins_and_the_only_bend_is_the_only_row() {
    for mains in [50.0, 60.0] {
        // In the silence before, within the first note, within the second.
        for hum_from in [0.0, 1.7, 4.0] {
            let played = played_in_hum(mains, hum_from);
            let found = pitch_in_a_rest(&played, &follow(Settled::new(rate()), &played.samples), 0.0);
            assert_eq!(found, None, "{mains} Hz from {hum_from} s: seconds and Hz");
            assert_eq!(attempts(&played.samples), 1, "{mains} Hz from {hum_from} s");
        }
    }
}

#[test]
fn the_eye_is_told_of_no_pitch_in_hum_that_is_learnt() {
    for mains in [50.0, 60.0] {
        let played = played_in_hum(mains, 0.0);
        let found = pitch_in_a_rest(&played, &follow(Causal::new(rate()), &played.samples), 0.45);
        assert_eq!(found, None, "{mains} Hz: seconds and Hz");
    }
}

/// Hum of -45 dBFS in both halves of a mains period alike, so that its second line is as strong as its first.
fn hum(mains: f64, n: usize) -> f64 {
    (1..=9).map(f64::from).map(|k| 0.0065 / k.max(2.0) * (TAU * mains * k * n as f64 / 48_000.0 + k).sin()).sum()
}

/// A note of `hz` from 1 s on with partials `k` of amplitude `1/k`, that loses so many dB a second.
fn note(hz: f64, amplitude: f64, db_per_s: f64, n: usize) -> f64 {
    let t = n as f64 / 48_000.0 - 1.0;
    if t < 0.0 {
        return 0.0;
    }
    let level = amplitude * 10f64.powf(-db_per_s * t / 20.0) * (t / 0.002).min(1.0);
    level * (1..=6).map(f64::from).map(|k| (TAU * hz * k * t).sin() / k).sum::<f64>()
}

#[test]
fn a_steady_note_near_a_line_or_at_it_that_is_louder_than_the_hum_is_read_as_it_is() {
    // B1, G2, and notes at lines themselves.
    for (mains, hz) in [(60.0, 61.74), (50.0, 98.0), (50.0, 100.0), (60.0, 120.0), (50.0, 150.0)] {
        let samples: Vec<f32> = (0..192_000).map(|n| (hum(mains, n) + note(hz, 0.05, 3.0, n)) as f32).collect();
        for (name, readings) in [("settled", follow(Settled::new(rate()), &samples)), ("causal", follow(Causal::new(rate()), &samples))] {
            for reading in readings.iter().filter(|reading| (1.1..3.8).contains(&seconds(reading))) {
                let off = reading.hz().map(|read| 1200.0 * (read / hz).log2());
                assert!(off.is_some_and(|off| off.abs() < 5.0), "{name}, {hz} Hz in {mains}: {off:?} cents at {} s", seconds(reading));
            }
        }
    }
}

#[test]
fn a_note_at_a_line_that_dies_in_the_hum_is_read_while_it_stands_above_it() {
    for (mains, hz) in [(50.0, 100.0), (60.0, 120.0), (50.0, 150.0)] {
        let samples: Vec<f32> = (0..240_000).map(|n| (hum(mains, n) + note(hz, 0.1, 12.0, n)) as f32).collect();
        let readings = follow(Settled::new(rate()), &samples);
        // From -21 dBFS it falls to -39 within 1.5 s: 6 dB above all of the hum.
        for reading in readings.iter().filter(|reading| (1.1..2.5).contains(&seconds(reading))) {
            let off = reading.hz().map(|read| 1200.0 * (read / hz).log2());
            assert!(off.is_some_and(|off| off.abs() < 10.0), "{hz} Hz in {mains}: {off:?} cents at {} s", seconds(reading));
        }
    }
}

#[test]
fn hum_that_is_switched_off_is_not_taken_out_any_more() {
    let samples: Vec<f32> = (0..240_000)
        .map(|n| (if n < 96_000 { hum(60.0, n) } else { 0.0 } + if n < 48_000 { 0.0 } else { note(440.0, 0.05, 60.0, n) }) as f32)
        .collect();
    let last = follow(Settled::new(rate()), &samples).into_iter().filter(|reading| seconds(reading) > 4.0).collect::<Vec<_>>();
    assert!(last.len() > 300 && last.iter().all(|reading| reading.hz().is_none()));
    assert!(last.iter().all(|reading| reading.level_dbfs.is_none_or(|level| level < -90.0)), "{:?} dBFS", last[0].level_dbfs);
}
