//! A drone on the command line: what sounds is read back from the file, and what has no root is refused.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test file uses a part of it")]
mod program;

use program::Program;

/// Amplitude of a frequency in two seconds from the middle of a file, against full scale.
fn amplitude(samples: &[f32], rate: f64, hz: f64) -> f64 {
    let from = samples.len() / 2;
    let stretch = &samples[from..from + 2 * rate as usize];
    let turn = std::f64::consts::TAU * hz / rate;
    let (mut re, mut im) = (0.0, 0.0);
    for (n, sample) in stretch.iter().enumerate() {
        // A Hann window: neighbours do not leak in.
        let window = 1.0 - (std::f64::consts::TAU * n as f64 / stretch.len() as f64).cos();
        let (sin, cos) = (turn * n as f64).sin_cos();
        re += f64::from(*sample) * window * cos;
        im -= f64::from(*sample) * window * sin;
    }
    2.0 * re.hypot(im) / stretch.len() as f64
}

/// D3 is 440 * 2^(-19/12) Hz and A3 220 Hz; A3 is no partial of D3.
#[test]
fn a_drone_sounds_the_first_tonic_alone_or_with_its_fifth() {
    let program = Program::new();
    let rendered = |words: &[&str], out: &str| {
        let tune = ["play", "--chords", "Dm Gm7 A7 Dm", "--key", "D minor", "--tempo", "90", "--out", out];
        program.run(&tune.iter().chain(words).copied().collect::<Vec<_>>()).assert_succeeds();
        let mut file = hound::WavReader::open(program.path(out)).unwrap();
        let rate = f64::from(file.spec().sample_rate);
        let samples: Vec<f32> = file.samples::<f32>().map(Result::unwrap).collect();
        (amplitude(&samples, rate, 146.832_38), amplitude(&samples, rate, 220.0))
    };
    let (root, no_fifth) = rendered(&["--drone", "root"], "root.wav");
    assert!(root > 0.05 && no_fifth < 0.001, "root {root:.4}, fifth {no_fifth:.4}");
    let (root, fifth) = rendered(&["--drone", "fifth"], "fifth.wav");
    assert!(root > 0.05 && fifth > 0.03, "root {root:.4}, fifth {fifth:.4}");
    let (_, without_word) = rendered(&["--drone"], "bare.wav");
    assert!((without_word - fifth).abs() < 1e-6, "the fifth is what is meant without a word");
}

#[test]
fn a_drone_in_a_drill_needs_a_root_and_a_card() {
    let program = Program::new();
    for (words, says) in [
        (&["drill", "--drone", "root"][..], "--chord or --key"),
        (&["drill", "hold", "--drone"], "--chord or --key"),
        (&["drill", "--drone", "third", "--chord", "Gm7"], "possible values: root, fifth"),
        (&["drill", "--drone", "--chord", "Gm7", "--input", "take.wav"], "--input"),
        (&["play", "--chords", "Gm7", "--drone", "third", "--out", "x.wav"], "possible values: root, fifth"),
    ] {
        let ran = program.run(words);
        assert!(ran.status == Some(2) && ran.stderr.contains(says), "{words:?}: {:?} {}", ran.status, ran.stderr);
    }
}
