//! Played over a chart's backing that comes back into what is heard, 20 dB under the guitar: bends are found and measured as without it.
//!
//! The guitar is that of `test_signals/recorded`, whose truth is known; the backing is what `landfall play` sounds, from the count-in on, and goes through the
//! ears of `play`. Limits are those that are asked of the takes alone.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "a part of it is used")]
#[path = "accuracy/compare.rs"]
mod compare;
#[path = "accuracy/recorded.rs"]
mod recorded;
#[allow(dead_code, reason = "a part of it is used")]
#[path = "accuracy/table.rs"]
mod table;
#[allow(dead_code, reason = "a part of it is used")]
#[path = "accuracy/truth.rs"]
mod truth;

#[cfg(target_os = "linux")]
#[allow(dead_code, reason = "each test file uses a part of it")]
mod virtual_card;

use compare::Errors;
use landfall::grading::{Attempt, Measures, Wish};
use landfall::live::ears::Settles;
use landfall::live::masked::{Masked, Replays};
use landfall::live::own_sound::OwnSound;
use landfall::live::settled::SettledLoop;
use landfall::logbook::sidecar::Sidecar;
use landfall::practice::backing::{Backing, Manner, Together};
use landfall::practice::click::Click;
use landfall::practice::pulse::{Pulse, count_in};
use landfall::sound::Block;
use landfall::sound::out::{Level, Mixer, Part};
use landfall::theory::chart::{Chart, Example};
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};
use std::sync::Arc;
use table::percentile;
use truth::Piece;

/// The first click of the count-in, s of the take.
const BEGUN_S: f64 = 0.5;
/// The guitar comes in a bar and a little later, with the band.
const LEAD_S: f64 = 5.0;
/// Beside another clock, later: how it drifts is known after some seconds.
const LEAD_BESIDE_ANOTHER_CLOCK_S: f64 = 10.0;
/// How loud the backing is beside the guitar.
const BLEED_DB: f64 = -20.0;

/// The ballad's band, as `play` sounds it.
fn band() -> Replays {
    Arc::new(|rate| {
        let timeline = Chart::parse("ballad", Example::find("ballad").unwrap().text).unwrap().timeline();
        let before = count_in(&Pulse::from(&timeline.bars[0]), 1);
        let zero_s = -before[0].start_s;
        let click = Click::count_in(before, zero_s, rate);
        let band = Backing::new(&timeline, Manner::default(), A4::default(), zero_s, rate);
        let mut mixer = Mixer::new(rate);
        mixer.set_level(Level::db(-10.0).unwrap());
        (mixer, Box::new(Together::new(vec![Box::new(click), Box::new(band)])) as Box<dyn Part>)
    })
}

/// How the band comes back.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Path {
    /// As it was played, so many frames late.
    Cable(usize),
    /// Between two frames, and duller: a near loudspeaker.
    Loudspeaker,
    /// The same with a small room's echoes for 12 ms, the first of them 9 dB down.
    Room,
    /// By a clock that is so many parts of a million slow.
    OtherClock(f64),
}

fn through(path: Path, band: &[f32], rate: SampleRate) -> Vec<f32> {
    let echoes = |taps: &[(f64, f64)]| {
        let at = |place: f64| {
            let (whole, part) = (place.floor(), place.fract());
            let sample = |index: f64| if index < 0.0 { 0.0 } else { band.get(index as usize).copied().map_or(0.0, f64::from) };
            // Cubic between four frames.
            let [a, b, c, d] = [-1.0, 0.0, 1.0, 2.0].map(|step| sample(whole + step));
            b + 0.5 * part * (c - a + part * (2.0 * a - 5.0 * b + 4.0 * c - d + part * (3.0 * (b - c) + d - a)))
        };
        let mut dull = 0.0;
        (0..band.len())
            .map(|n| {
                let sum: f64 = taps.iter().map(|(late, gain)| gain * at(n as f64 - late)).sum();
                dull += 0.55 * (sum - dull);
                dull as f32
            })
            .collect()
    };
    match path {
        Path::Cable(late) => (0..band.len()).map(|n| n.checked_sub(late).map_or(0.0, |n| band[n])).collect(),
        Path::Loudspeaker => echoes(&[(83.4, 1.0)]),
        Path::Room => {
            let ms = rate.as_f64() / 1000.0;
            echoes(&[
                (83.4, 1.0),
                (83.4 + 1.3 * ms, -0.35),
                (83.4 + 2.9 * ms, 0.25),
                (83.4 + 5.1 * ms, 0.18),
                (83.4 + 8.2 * ms, -0.1),
                (83.4 + 12.0 * ms, 0.06),
            ])
        }
        Path::OtherClock(ppm) => {
            // A sine over its argument under a raised cosine, 32 frames.
            let slow = 1.0 - ppm * 1e-6;
            let weight = |away: f64| {
                let angle = std::f64::consts::PI * away;
                if angle.abs() < 1e-9 { 1.0 } else { angle.sin() / angle * (0.5 + 0.5 * (angle / 16.0).cos()) }
            };
            let at = |place: f64| {
                let whole = place.floor();
                let tap = |step: i32| {
                    let index = whole + f64::from(step);
                    let sample = if index < 0.0 { 0.0 } else { band.get(index as usize).copied().map_or(0.0, f64::from) };
                    sample * weight(place - index)
                };
                (-15..=16).map(tap).sum::<f64>() as f32
            };
            (0..band.len()).map(|n| at(n as f64 * slow)).collect()
        }
    }
}

fn power(samples: &[f32]) -> f64 {
    samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / samples.len().max(1) as f64
}

fn lead_s(path: Path) -> f64 {
    if matches!(path, Path::OtherClock(_)) { LEAD_BESIDE_ANOTHER_CLOCK_S } else { LEAD_S }
}

/// What the card hears: the guitar after the lead, the band from [`BEGUN_S`] on.
fn heard(piece: &Piece, path: Path) -> Vec<f32> {
    let rate = piece.rate;
    let lead = rate.span(lead_s(path)).0 as usize;
    let frames = lead + piece.samples.len();
    let (mut mixer, part) = band()(rate);
    mixer.add(part, FrameTime(rate.span(BEGUN_S).0));
    let mut played = vec![0.0; frames];
    mixer.render(&mut played);
    let back = through(path, &played, rate);
    let softer = (power(&piece.samples) / power(&back[lead..])).sqrt() * 10_f64.powf(BLEED_DB / 20.0);
    let guitar = |n: usize| n.checked_sub(lead).map_or(0.0, |n| piece.samples[n]);
    back.iter().enumerate().map(|(n, back)| guitar(n) + softer as f32 * back).collect()
}

/// The beats as landfall would know them in that take.
fn own(path: Path, rate: SampleRate) -> Arc<OwnSound> {
    let drift = if let Path::OtherClock(ppm) = path { 1.0 / (1.0 - ppm * 1e-6) } else { 1.0 };
    let beat_s = 60.0 / 56.0;
    let beats_at = (0..200).map(|n| (BEGUN_S + beat_s * f64::from(n)) * drift).collect();
    let own = OwnSound::of(&Sidecar { beats_at, ..Sidecar::default() });
    own.begin_take(rate);
    own
}

/// The rows, with times counted from where the guitar's take begins.
fn rows(piece: &Piece, path: Path, masks: bool) -> Vec<Attempt> {
    let mut masked = masks.then(|| Masked::new(piece.rate, own(path, piece.rate), band()));
    let mut settled = SettledLoop::new(piece.rate, A4::default(), Wish::default());
    let mut rows = Vec::new();
    for (index, samples) in heard(piece, path).chunks(512).enumerate() {
        let block = Block { start: FrameTime(512 * index as u64), lost_before: FrameSpan(0), samples, faults: &[] };
        let block = masked.as_mut().map_or(block, |masked| masked.clean(&block));
        settled.hear(&block, &mut |row| rows.push(row));
    }
    settled.finish(&mut |row| rows.push(row));
    rows.into_iter().map(|row| earlier(row, lead_s(path))).collect()
}

/// The row with its times counted from `from_s` on.
fn earlier(row: Attempt, from_s: f64) -> Attempt {
    let earlier = |at_s: Option<f64>| at_s.map(|at_s| at_s - from_s);
    let m = &row.measures;
    let measures = Measures {
        onset_s: earlier(m.onset_s),
        bend_start_s: earlier(m.bend_start_s),
        arrival_s: earlier(m.arrival_s),
        release_start_s: earlier(m.release_start_s),
        ..*m
    };
    Attempt { measures, ..row }
}

fn errors(path: Path, masks: bool) -> Errors {
    let pieces = recorded::pieces();
    let (first, second) = pieces.split_at(pieces.len() / 2);
    let of = |pieces: &[Piece]| {
        let mut errors = Errors::default();
        for piece in pieces {
            errors.rows(piece, &rows(piece, path, masks));
        }
        errors
    };
    let mut all = std::thread::scope(|scope| {
        let rest = scope.spawn(|| of(second));
        let mut first = of(first);
        first.add(rest.join().unwrap());
        first
    });
    all.notes.sort();
    all
}

/// What is not as it should be, each with its figure. What is not played in the takes (no figure) is not judged; what was played and not measured is an empty cell.
fn outside(errors: &Errors) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut at_most = |what: &str, value: f64, limit: f64| {
        if value > limit {
            wrong.push(format!("{what}: {value:.3}, over {limit}"));
        }
    };
    let share = |part: usize, whole: usize| (whole - part) as f64 / whole.max(1) as f64;
    at_most("bends missed", (errors.played - errors.found) as f64, 0.0);
    at_most("bends invented", errors.invented as f64, 0.0);
    at_most("techniques wrong", share(errors.technique_right, errors.found), 0.03);
    at_most("restrikes missed", share(errors.picked_again_seen, errors.picked_again), 0.1);
    at_most("cells empty", errors.missing as f64, 0.0);
    let p95 = |errors: &[f64]| percentile(errors, 0.95);
    at_most("attack, ms", p95(&errors.attack_ms), 10.0);
    at_most("arrival, half of them, ms", percentile(&errors.arrival_ms, 0.5), 1.0);
    at_most("arrival, ms", p95(&errors.arrival_ms), 8.0);
    at_most("hold, half of them, cents", percentile(&errors.hold, 0.5), 0.2);
    at_most("hold, cents", p95(&errors.hold), 1.5);
    at_most("release, ms", p95(&errors.release_ms), 8.0);
    at_most("landing, cents", p95(&errors.landing), 3.0);
    at_most("overshoot, cents", p95(&errors.overshoot), 3.0);
    at_most("vibrato's rate, Hz", p95(&errors.vibrato_rate), 0.15);
    at_most("vibrato's half width, cents", p95(&errors.vibrato_half), 2.0);
    wrong
}

fn figures(errors: &Errors) -> String {
    let p95 = |errors: &[f64]| percentile(errors, 0.95);
    format!(
        "{} of {} found, {} invented, {} techniques, {} of {} restrikes, attack {:.1} ms, arrival {:.2}; {:.1} ms, hold {:.2}; {:.2} c, release {:.1} ms, landing {:.2} c, overshoot {:.2} c, vibrato {:.2} Hz, {:.2} c",
        errors.found,
        errors.played,
        errors.invented,
        errors.technique_right,
        errors.picked_again_seen,
        errors.picked_again,
        p95(&errors.attack_ms),
        percentile(&errors.arrival_ms, 0.5),
        p95(&errors.arrival_ms),
        percentile(&errors.hold, 0.5),
        p95(&errors.hold),
        p95(&errors.release_ms),
        p95(&errors.landing),
        p95(&errors.overshoot),
        p95(&errors.vibrato_rate),
        p95(&errors.vibrato_half),
    )
}

/// Each path, and what is still outside of the limits there. Of a room's later echoes enough is left that a note of the band may be taken for a bend while the guitar
/// rests. An output with a clock of its own is followed, but not nearly enough: every bend is found and its pitches are right, its instants not always.
const PATHS: &[(Path, &[&str])] = &[
    (Path::Cable(137), &[]),
    (Path::Loudspeaker, &[]),
    (Path::Room, &["bends invented"]),
    (Path::OtherClock(30.0), OF_ANOTHER_CLOCK),
    (Path::OtherClock(-150.0), OF_ANOTHER_CLOCK),
];
const OF_ANOTHER_CLOCK: &[&str] = &["bends invented", "techniques wrong", "cells empty", "attack, ms", "arrival, ms"];

#[test]
fn what_comes_back_of_the_band_changes_nothing() {
    let mut wrong = Vec::new();
    for (path, known) in PATHS {
        let errors = errors(*path, true);
        println!("{path:?}: {}\n    {}", figures(&errors), errors.notes.join("\n    "));
        assert!(!figures(&errors).contains("NaN"), "all that is judged is played in these takes");
        let new = outside(&errors).into_iter().filter(|one| !known.iter().any(|known| one.starts_with(known)));
        wrong.extend(new.map(|one| format!("{path:?}: {one}")));
        if errors.invented > 4 {
            wrong.push(format!("{path:?}: {} bends invented", errors.invented));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn without_the_mask_it_would() {
    let errors = errors(Path::Cable(137), false);
    println!("as heard: {}\n    {}", figures(&errors), errors.notes.join("\n    "));
    assert!(!outside(&errors).is_empty(), "the test above shows nothing");
}

/// One take played into a virtual card while `play` sounds the ballad into it, 20 dB softer: live rows, as they stand in the kept take.
#[cfg(target_os = "linux")]
#[test]
fn through_a_card_too() {
    // Sound that a loaded machine plays late is another sound than the mask knows.
    if std::env::var_os("LANDFALL_BLEED_ON_CARD").is_none() {
        eprintln!("skipped: with LANDFALL_BLEED_ON_CARD set it is played through a card, on a machine that does nothing else");
        return;
    }
    let piece = recorded::pieces().into_iter().find(|piece| piece.name == "quick_bends").unwrap();
    let Some(card) = virtual_card::VirtualCard::start(piece.rate.hz()) else { return };
    let wav = card.folder().join("guitar.wav");
    let spec = hound::WavSpec { channels: 1, sample_rate: piece.rate.hz(), bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    for sample in &piece.samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    // How loud the band is at -10 dB, from its first bar on.
    let (mut mixer, part) = band()(piece.rate);
    mixer.add(part, FrameTime(0));
    let mut played = vec![0.0; piece.samples.len() + piece.rate.span(LEAD_S).0 as usize];
    mixer.render(&mut played);
    let louder = 10.0 * (power(&piece.samples) / power(&played[piece.rate.span(LEAD_S).0 as usize..])).log10();
    let level = (louder + BLEED_DB - 10.0).clamp(-60.0, 0.0);
    let seconds = LEAD_S + 3.0 + piece.samples.len() as f64 / piece.rate.as_f64();
    let log = card.folder().join("log.csv");
    let (level_db, seconds) = (format!("{level:.2}"), format!("{seconds:.1}"));
    let words = ["play", "ballad", "--plain", "--level", &level_db, "--seconds", &seconds, "--log", log.to_str().unwrap()];
    let said = card.played_to(card.command(env!("CARGO_BIN_EXE_landfall")).args(words), "Bar 1,", &wav);
    let take = std::fs::read_dir(card.data().join("takes"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().unwrap() == "wav");
    let take = take.unwrap();
    let reader = hound::WavReader::open(&take).unwrap();
    assert_eq!(reader.spec().sample_rate, piece.rate.hz(), "the card has the rate of the take");
    let heard: Vec<f32> = reader.into_samples::<f32>().map(Result::unwrap).collect();
    // Where the guitar begins in it: two seconds of it, from its first stroke on, found again by every eighth sample.
    let first = (piece.strokes[0] * piece.rate.as_f64()) as usize;
    let wanted: Vec<(usize, f32)> = (0..2 * piece.rate.hz() as usize).step_by(8).map(|n| (n, piece.samples[first + n])).collect();
    let like = |at: usize| {
        let both =
            wanted.iter().fold((0.0, 1e-6), |(like, power), (n, sample)| (like + sample * heard[at + n], power + heard[at + n].powi(2)));
        both.0 / both.1.sqrt()
    };
    let found = (0..heard.len() - 2 * piece.rate.hz() as usize).max_by(|a, b| like(*a).total_cmp(&like(*b))).unwrap();
    let begun_s = (found as f64 - first as f64) / piece.rate.as_f64();
    let own = OwnSound::of(&Sidecar::of(&take).unwrap().unwrap());
    own.begin_take(piece.rate);
    let at_level: Replays = Arc::new(move |rate| {
        let (mut mixer, part) = band()(rate);
        mixer.set_level(Level::db((level * 100.0).round() / 100.0).unwrap());
        (mixer, part)
    });
    let mut masked = Masked::new(piece.rate, own, at_level);
    let mut settled = SettledLoop::new(piece.rate, A4::default(), Wish::default());
    let mut rows = Vec::new();
    for (index, samples) in heard.chunks(512).enumerate() {
        let block = Block { start: FrameTime(512 * index as u64), lost_before: FrameSpan(0), samples, faults: &[] };
        settled.hear(&masked.clean(&block), &mut |row| rows.push(row));
    }
    settled.finish(&mut |row| rows.push(row));
    let mut errors = Errors::default();
    let rows: Vec<Attempt> = rows.into_iter().map(|row| earlier(row, begun_s)).collect();
    errors.rows(&piece, &rows);
    println!("through a card, the band at {level:.1} dB: {}\n    {}", figures(&errors), errors.notes.join("\n    "));
    let logged = std::fs::read_to_string(&log).unwrap().lines().count() - 1;
    assert!(logged >= piece.bends.len(), "live, only {logged} of {} bends have a row:\n{said}", piece.bends.len());
    assert!(outside(&errors).is_empty(), "{}", outside(&errors).join("\n"));
}
