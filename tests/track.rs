//! A recording is heard from its place on, at its own speed untouched, at another one in tune and in time.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use hound::{SampleFormat, WavSpec, WavWriter};
use landfall::sound::out::seam;
use landfall::sound::track::{Lap, Track};
use landfall::units::{FrameSpan, FrameTime, SampleRate};
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::sync::Arc;

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).unwrap()
}

/// A file of so many channels, all alike.
fn file(folder: &Path, hz: u32, channels: u16, samples: &[f32]) -> PathBuf {
    let path = folder.join("track.wav");
    let spec = WavSpec { channels, sample_rate: hz, bits_per_sample: 32, sample_format: SampleFormat::Float };
    let mut writer = WavWriter::create(&path, spec).unwrap();
    for sample in samples {
        for _ in 0..channels {
            writer.write_sample(*sample).unwrap();
        }
    }
    writer.finalize().unwrap();
    path
}

fn lap(at: u64, length: u64, from_s: f64, slower: f64) -> Lap {
    Lap { at: FrameTime(at), length: FrameSpan(length), from_s, slower }
}

#[test]
fn at_its_own_tempo_and_rate_each_sample_is_the_recordings_own() {
    let folder = tempfile::tempdir().unwrap();
    let samples: Vec<f32> = (0..48_000 * 4_u32).map(|n| (n % 9973) as f32 / 10_000.0).collect();
    let track = Track::open(&file(folder.path(), 48_000, 2, &samples), 1.5, 2.5).unwrap();
    let passes = track.passes(&[lap(100, 48_000, 1.5, 1.0), lap(48_100, 48_000, 1.5, 1.0)], rate(48_000)).unwrap();
    assert!(Arc::ptr_eq(&passes[0].samples, &passes[1].samples));
    for pass in &passes {
        assert_eq!(pass.samples[pass.from..pass.from + 48_000], samples[72_000..120_000]);
        assert!(pass.from >= seam(rate(48_000)).0 as usize, "the fade has its samples");
    }
}

#[test]
fn a_recording_that_begins_before_its_file_is_silent_first() {
    let folder = tempfile::tempdir().unwrap();
    let track = Track::open(&file(folder.path(), 48_000, 1, &vec![0.5; 48_000]), -0.25, 0.5).unwrap();
    let [pass] = track.passes(&[lap(0, 36_000, -0.25, 1.0)], rate(48_000)).unwrap().try_into().unwrap();
    let heard = &pass.samples[pass.from..];
    assert_eq!(heard[..36_000], [vec![0.0; 12_000], vec![0.5; 24_000]].concat());
}

#[test]
fn what_cannot_be_played_is_said_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(folder.path(), 48_000, 1, &vec![0.1; 48_000]);
    assert!(Track::open(&path, 3.0, 4.0).unwrap_err().to_string().contains("is 1.0 s long"));
    let track = Track::open(&path, 0.0, 4.0).unwrap();
    assert_eq!(track.length_s(), Some(1.0));
    let said = track.passes(&[lap(0, 48_000, 0.0, 5.0)], rate(48_000)).unwrap_err().to_string();
    assert!(said.contains("0.20 times its tempo") && said.contains("--track-tempo"), "{said}");
    assert!(Track::open(&folder.path().join("moon.wav"), 0.0, 1.0).is_err());
}

#[test]
fn a_recording_that_breaks_off_before_it_begins_is_called_damaged_and_not_short() {
    let folder = tempfile::tempdir().unwrap();
    let path = file(folder.path(), 48_000, 1, &vec![0.1; 4 * 48_000]);
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, &whole[..whole.len() - 3 * 48_000 * 4]).unwrap();
    assert!(Track::open(&path, 0.5, 3.0).unwrap().broken().is_some());
    let said = Track::open(&path, 2.0, 3.0).unwrap_err().to_string();
    assert!(said.contains("breaks off after 1.0 s") && said.contains("before the 2.0 s") && !said.contains("long"), "{said}");
}

#[test]
fn more_than_half_an_hour_at_other_tempos_is_refused_and_a_loop_at_one_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let track = Track::open(&file(folder.path(), 48_000, 1, &vec![0.1; 48_000]), 0.0, 4.0).unwrap();
    let minute = 60 * 48_000;
    let laps = |tempos: u64| (0..40).map(|n| lap(n * minute, minute, 0.0, 1.5 + 0.01 * (n % tempos) as f64)).collect::<Vec<_>>();
    assert!((track.work_s(&laps(1), rate(48_000)).unwrap() - 60.0).abs() < 1e-6, "each round is made once");
    assert!((track.work_s(&laps(30), rate(48_000)).unwrap() - 1800.0).abs() < 1e-6);
    let said = track.passes(&laps(31), rate(48_000)).unwrap_err().to_string();
    assert!(said.contains("31 minutes") && said.contains("--rounds") && said.contains("one tempo"), "{said}");
}

/// Two tones, and a click each half second, from `hz` frames a second.
fn tones_and_clicks(hz: u32, seconds: u32) -> Vec<f32> {
    let at = |n: u32| f64::from(n) / f64::from(hz);
    let mut samples: Vec<f32> =
        (0..hz * seconds).map(|n| (0.1 * (TAU * 220.0 * at(n)).sin() + 0.1 * (TAU * 493.9 * at(n)).sin()) as f32).collect();
    for beat in 1..2 * seconds {
        for n in 0..hz / 40 {
            samples[(beat * hz / 2 + n) as usize] += (0.5 * (TAU * 2500.0 * at(n)).cos() * (-at(n) / 0.004).exp()) as f32;
        }
    }
    samples
}

/// How strong a frequency is around a sample: a Hann window of `half` frames to each side.
fn strength(samples: &[f32], middle: usize, half: usize, hz: f64, rate: f64) -> (f64, f64) {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, sample) in samples.iter().enumerate().take(middle + half).skip(middle - half) {
        let window = 0.5 + 0.5 * (std::f64::consts::PI * (n as f64 - middle as f64) / half as f64).cos();
        let turn = TAU * hz * n as f64 / rate;
        re += window * f64::from(*sample) * turn.cos();
        im -= window * f64::from(*sample) * turn.sin();
    }
    (re, im)
}

/// How late a click is: the steepest rise of its band within 50 ms of an instant.
fn late_ms(heard: &[f32], at_s: f64, rate: f64) -> f64 {
    let half = (rate / 1000.0) as usize;
    let band = |n: usize| {
        let (re, im) = strength(heard, n, half, 2500.0, rate);
        re.hypot(im)
    };
    let rise = |n: &usize| band(n + half) - band(n - half);
    let wanted = at_s * rate;
    let around = (wanted - 0.05 * rate) as usize..(wanted + 0.05 * rate) as usize;
    let found = around.step_by((rate / 8000.0) as usize).max_by(|a, b| rise(a).total_cmp(&rise(b))).unwrap();
    (found as f64 - wanted) / rate * 1e3
}

#[test]
fn slower_it_stays_in_tune_and_on_the_beat() {
    let folder = tempfile::tempdir().unwrap();
    let all = [0.95, 0.7, 0.5, 1.2];
    for (file_hz, hz, shares) in [(48_000, 48_000, &all[..]), (44_100, 44_100, &[0.7]), (44_100, 48_000, &[0.9]), (48_000, 96_000, &[0.6])]
    {
        let track = Track::open(&file(folder.path(), file_hz, 1, &tones_and_clicks(file_hz, 12)), 0.25, 11.75).unwrap();
        for share in shares {
            let (slower, per_s) = (1.0 / share, f64::from(hz));
            let length = (11.0 * slower * per_s) as u64;
            let [pass] = track.passes(&[lap(0, length, 0.25, slower)], rate(hz)).unwrap().try_into().unwrap();
            let heard = &pass.samples[pass.from..];
            assert!(heard.len() >= length as usize);
            let late: Vec<f64> = (1..22).map(|beat| late_ms(heard, (f64::from(beat) * 0.5 - 0.25) * slower, per_s)).collect();
            let mut sizes: Vec<f64> = late.iter().map(|late| late.abs()).collect();
            sizes.sort_by(f64::total_cmp);
            assert!(sizes[10] < 1.5 && sizes[20] < 12.0, "{share} of the tempo at {hz}: clicks are late by {late:.1?} ms");
            // Tones: how far their phase has moved against the wanted one between two places.
            for tone in [220.0, 493.9] {
                let half = hz as usize / 2;
                let places = [hz as usize, 7 * hz as usize];
                let [a, b] = places.map(|place| strength(heard, place, half, tone, per_s));
                let moved = (b.1.atan2(b.0) - a.1.atan2(a.0)).rem_euclid(TAU);
                let turned = if moved > TAU / 2.0 { moved - TAU } else { moved };
                let off_hz = turned / TAU / 6.0;
                let cents = 1200.0 * ((tone + off_hz) / tone).log2();
                assert!(cents.abs() < 0.5, "{share} of the tempo at {hz}: {tone} Hz is {cents:.2} cents off");
            }
        }
    }
}
