//! `landfall play --track`: a recording under the chords of a tune, heard to the sample, and where its tuning stands.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod program;

use program::Program;
use std::path::Path;

const RATE: u32 = 48_000;

/// The ballad goes at 56, four beats a bar.
const BAR_S: f64 = 240.0 / 56.0;

fn write(path: &Path, samples: &[f32]) {
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
}

fn read(path: &Path) -> Vec<f32> {
    hound::WavReader::open(path).unwrap().into_samples().map(Result::unwrap).collect()
}

/// No two stretches of it are alike.
fn noise(seconds: u32) -> Vec<f32> {
    let mut state = 5_u64;
    (0..seconds * RATE)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0) as f32 * 0.8
        })
        .collect()
}

fn frame(seconds: f64) -> usize {
    (seconds * f64::from(RATE) + 1e-6).round() as usize
}

#[test]
fn bars_of_a_recording_are_looped_to_the_sample_behind_a_count_in() {
    let program = Program::new();
    let recording = noise(32);
    write(&program.path("ours.wav"), &recording);
    let words = ["play", "ballad", "--track", "ours.wav", "--track-start", "2.5", "--bars", "5-6", "--rounds", "3", "--out", "x.wav"];
    program.run(&words).assert_succeeds();
    let heard = read(&program.path("x.wav"));
    // Four clicks, each on its beat, and nothing else before bar 5; what sounds first of all is faded in.
    assert!(heard[..500].iter().any(|sample| sample.abs() > 0.01), "beat 1");
    for beat in 1..4 {
        let at = frame(f64::from(beat) * BAR_S / 4.0);
        assert!(heard[at].abs() > 0.01 && heard[at - 1].abs() < 1e-6, "beat {}", beat + 1);
    }
    let from = frame(2.5 + 4.0 * BAR_S);
    let fade = frame(0.008);
    for round in 0..3 {
        let at = frame(BAR_S * f64::from(1 + 2 * round));
        let end = frame(BAR_S * f64::from(3 + 2 * round));
        for n in at..end - fade {
            assert_eq!(heard[n].to_bits(), (0.5 * recording[from + n - at]).to_bits(), "round {round}, frame {n}");
        }
        // In the last 8 ms what ends goes over into what comes: each a share, together no louder than both.
        let next = if round < 2 { from } else { 0 };
        for n in end - fade..end {
            let (ends, comes) = (recording[from + n - at].abs(), if next > 0 { recording[next - (end - n)].abs() } else { 0.0 });
            assert!(heard[n].abs() <= 0.5 * ends.max(comes) + 1e-6, "round {round}, frame {n}");
        }
    }
    let end = frame(BAR_S * 7.0);
    assert!(heard[end..].iter().all(|sample| *sample == 0.0), "behind the last bar it is silent");
}

#[test]
fn the_recording_can_be_softer_and_a_click_can_go_with_it() {
    let program = Program::new();
    let recording = noise(8);
    write(&program.path("ours.wav"), &recording);
    let words = ["play", "ballad", "--track", "ours.wav", "--bars", "1", "--track-gain", "-20", "--click", "--out", "x.wav"];
    program.run(&words).assert_succeeds();
    let heard = read(&program.path("x.wav"));
    let at = frame(BAR_S);
    // Before the next click the recording alone, a tenth as loud: what the limiter did under the click is over by then.
    let worst = (at + frame(0.95)..at + frame(1.05)).map(|n| (heard[n] - 0.05 * recording[n - at]).abs()).fold(0.0, f32::max);
    assert!(worst < 2e-6, "{worst}");
    assert!((heard[at] - 0.05 * recording[0]).abs() > 0.1, "a click on beat 1");
}

/// What is said on standard error of a recording that landfall's own band played at an A4.
fn said_of_a_band_at(program: &Program, a4: &str, more: &[&str]) -> String {
    let file = format!("band{a4}.wav");
    let made = [&["play", "ballad", "--bars", "1-8", "--a4", a4, "--out", &file], more].concat();
    program.run(&made).assert_succeeds();
    let start = format!("{BAR_S}");
    let ran = program.run(&["play", "ballad", "--bars", "1", "--track", &file, "--track-start", &start, "--out", &format!("over{file}")]);
    ran.assert_succeeds();
    ran.stderr
}

#[test]
fn where_a_recording_stands_is_measured_said_and_taken() {
    let program = Program::new();
    for a4 in [432.0, 437.0, 440.0, 446.0] {
        let said = said_of_a_band_at(&program, &a4.to_string(), &[]);
        let number = |after: &str| -> f64 {
            let rest = said.split(after).nth(1).unwrap_or_else(|| panic!("{after:?} is not in {said:?}"));
            rest.split([' ', ',', ':', '\n']).next().unwrap().parse().unwrap()
        };
        let (stands, give) = (number("stands at A4 = "), number("give or take "));
        // A tenth of a hertz is 0.4 cents.
        assert!((stands - a4).abs() <= 0.1001 && give < 0.5, "{said}");
        assert_eq!(said.contains("--a4 track"), (a4 - 440.0).abs() > 1.0, "it is offered where it is another: {said}");
    }
    let over = ["play", "ballad", "--track", "band432.wav", "--track-start", "4.2857", "--bars", "1"];
    let taken = program.run(&[&over[..], &["--a4", "track", "--out", "taken.wav"]].concat());
    taken.assert_succeeds();
    assert!(taken.stderr.contains("432.0 Hz") && !taken.stderr.contains("--a4 track"), "{}", taken.stderr);
}

#[test]
fn where_noise_or_drums_stand_cannot_be_told() {
    let program = Program::new();
    let drums = said_of_a_band_at(&program, "440", &["--without", "bass,chords"]);
    assert!(drums.contains("cannot be told"), "{drums}");
    write(&program.path("noise.wav"), &noise(20));
    let ran = program.run(&["play", "ballad", "--bars", "1", "--track", "noise.wav", "--out", "x.wav"]);
    ran.assert_succeeds();
    assert!(ran.stderr.contains("cannot be told") && ran.stderr.contains("440 Hz"), "{}", ran.stderr);
    program
        .run(&["play", "ballad", "--bars", "1", "--track", "noise.wav", "--a4", "track", "--out", "y.wav"])
        .assert_fails_saying(&["cannot be told", "--a4"]);
}

#[test]
fn at_another_tempo_the_beats_of_the_recording_lie_on_those_of_the_tune() {
    let program = Program::new();
    // Clicks alone, at 56.
    program.run(&["play", "ballad", "--bars", "1-4", "--without", "all", "--click", "--out", "clicks.wav"]).assert_succeeds();
    let start = format!("{BAR_S}");
    let words = ["play", "ballad", "--bars", "1-3", "--track", "clicks.wav", "--track-start", &start, "--tempo", "42", "--out", "slow.wav"];
    program.run(&words).assert_succeeds();
    let heard = read(&program.path("slow.wav"));
    let beat = 60.0 / 42.0;
    let late_ms: Vec<f64> = (4..16)
        .map(|n| {
            let at = frame(f64::from(n) * beat);
            // The click's own loudest millisecond, within 60 ms.
            let power = |from: usize| heard[from..from + 48].iter().map(|x| f64::from(*x).powi(2)).sum::<f64>();
            let found = (at - 2880..at + 2880).step_by(12).max_by(|a, b| power(*a).total_cmp(&power(*b))).unwrap();
            (found as f64 - at as f64) / f64::from(RATE) * 1e3
        })
        .collect();
    assert!(late_ms.iter().all(|late| late.abs() < 12.0), "{late_ms:.1?}");
    let mean = late_ms.iter().sum::<f64>() / late_ms.len() as f64;
    assert!(mean.abs() < 3.0, "{mean}: {late_ms:.1?}");
}

#[test]
fn what_cannot_be_is_said_in_one_sentence() {
    let program = Program::new();
    write(&program.path("ours.wav"), &noise(6));
    let status = |words: &[&str]| {
        let ran = program.run(&[&["play", "ballad"], words].concat());
        (ran.status, ran.stderr)
    };
    assert_eq!(status(&["--track-start", "3", "--out", "x.wav"]).0, Some(2));
    assert_eq!(status(&["--track", "ours.wav", "--drone", "--out", "x.wav"]).0, Some(2));
    assert_eq!(status(&["--a4", "track", "--out", "x.wav"]).0, Some(2));
    for (words, says) in [
        (&["--track", "moon.wav"][..], "moon.wav"),
        (&["--track", "ours.wav", "--track-start", "90"], "is 6.0 s long"),
        (&["--track", "ours.wav", "--bars", "1", "--tempo", "20"], "times its tempo"),
    ] {
        program.run(&[&["play", "ballad", "--out", "x.wav"], words].concat()).assert_fails_saying(&[says]);
    }
    let (ended, said) = status(&["--track", "ours.wav", "--track-start", "100000", "--out", "x.wav"]);
    assert!(ended == Some(2) && said.contains("-86400 to 86400"), "{said}");
    // Shorter than the tune: what there is is played, and it is said.
    let (ended, said) = status(&["--track", "ours.wav", "--out", "y.wav"]);
    assert!(ended == Some(0) && said.contains("6.0 s long") && said.contains("silent"), "{said}");
}

#[cfg(unix)]
#[test]
fn a_recording_whose_name_is_no_text_is_refused_before_a_take_could_be_lost() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let program = Program::new();
    let name = OsStr::from_bytes(b"ours\xff.wav");
    write(&program.path("ours.wav"), &noise(6));
    std::fs::rename(program.path("ours.wav"), program.folder().join(name)).unwrap();
    let mut command = program.command(&["play", "ballad", "--bars", "1", "--out", "x.wav", "--track"]);
    let ran = program::Ran::of(command.arg(name).output().unwrap());
    ran.assert_fails_saying(&["UTF-8", "rename it"]);
}
