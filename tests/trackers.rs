//! The two trackers against tones of known pitch, and the fast difference function against its textbook twin.
//!
//! The tones are sums of sines written down here; nothing of landfall makes them.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::pitch::causal::Causal;
use landfall::pitch::correlation::{Transform, Window};
use landfall::pitch::partials::{PARTIALS, read};
use landfall::pitch::settled::{LOOK_AHEAD_S, Settled};
use landfall::pitch::{Reading, Tracker, hop_frames};
use landfall::units::{A4, SampleRate};
use proptest::prelude::*;
use std::f64::consts::TAU;

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).unwrap()
}

/// A tone whose fundamental follows `hz(t)`, with partials `k` of amplitude `1/k` at `k sqrt(1 + B k²)` times it (Fletcher 1964), decaying in
/// a second to a third, after 0.1 s of silence.
fn tone(frames_per_second: u32, seconds: f64, partials: u32, stiffness: f64, hz: impl Fn(f64) -> f64) -> Vec<f32> {
    const SILENCE_S: f64 = 0.1;
    let fs = f64::from(frames_per_second);
    let mut turns = 0.0;
    (0..(seconds * fs) as usize)
        .map(|n| {
            let t = n as f64 / fs - SILENCE_S;
            if t < 0.0 {
                return 0.0;
            }
            let f = hz(t);
            turns += f / fs;
            let sum: f64 = (1..=partials)
                .map(|k| (f64::from(k), f64::from(k) * (1.0 + stiffness * f64::from(k * k)).sqrt()))
                .filter(|(_, multiple)| multiple * f < 0.45 * fs)
                .map(|(k, multiple)| (TAU * multiple * turns).sin() / k)
                .sum();
            (0.15 * (-1.1 * t).exp() * sum * (t / 0.002).min(1.0)) as f32
        })
        .collect()
}

fn follow(mut tracker: impl Tracker, samples: &[f32], block: usize) -> Vec<Reading> {
    let mut readings = Vec::new();
    for part in samples.chunks(block) {
        tracker.push(part, &mut |reading| readings.push(reading));
    }
    tracker.finish(&mut |reading| readings.push(reading));
    readings
}

fn settled(samples: &[f32], hz: u32) -> Vec<Reading> {
    follow(Settled::new(rate(hz)), samples, 512)
}

fn causal(samples: &[f32], hz: u32) -> Vec<Reading> {
    follow(Causal::new(rate(hz)), samples, 512)
}

/// Pitch in cents of the readings between two seconds; each must have one.
fn between(readings: &[Reading], hz: u32, from: f64, to: f64) -> Vec<(f64, f64)> {
    let inside = readings.iter().map(|r| (r.at.seconds(rate(hz)), r)).filter(|(t, _)| (from..to).contains(t));
    inside.map(|(t, r)| (t, A4::default().cents(r.hz().unwrap_or_else(|| panic!("no pitch at {t} s"))))).collect()
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn median_pitch(readings: &[Reading], hz: u32) -> f64 {
    median(between(readings, hz, 0.4, 0.8).into_iter().map(|(_, cents)| cents).collect())
}

/// The formula as it stands in the head of `correlation.rs`, sum by sum.
fn difference_twin(x: &[f64], taper: &[f64], lag: usize) -> f64 {
    let (mut product, mut energy) = (0.0, 0.0);
    for j in 0..x.len() - lag {
        let w = taper[j] * taper[j + lag];
        product += 2.0 * w * x[j] * x[j + lag];
        energy += w * (x[j] * x[j] + x[j + lag] * x[j + lag]);
    }
    product / energy
}

#[test]
fn the_twin_gives_the_values_of_mcleod_and_wyvill() {
    // x = 1, 2, 3, 2 ..., 16 samples, flat window: computed from the formula of McLeod & Wyvill (ICMC 2005) outside this project.
    let x: Vec<f64> = [1.0, 2.0, 3.0, 2.0].into_iter().cycle().take(16).collect();
    for (lag, wanted) in [(1, 0.892_086), (2, 0.777_778), (3, 0.884_956), (4, 1.0)] {
        assert!((difference_twin(&x, &[1.0; 16], lag) - wanted).abs() < 1e-6, "lag {lag}");
    }
}

/// What [`read`] says, sum by sum: the power of each partial under the Hann window and its frequency above that of the tone.
fn read_twin(x: &[f32], rate: f64, hz: f64, octaves_per_s: f64, half: f64) -> Vec<(f64, f64)> {
    let within = (half.floor() as i64).min(x.len() as i64 / 2);
    let partial = |k: usize| {
        let ([mut re, mut im], [mut slope_re, mut slope_im], mut weight) = ([0.0; 2], [0.0; 2], 0.0);
        for n in -within..within {
            let t = n as f64 / rate;
            let angle = -TAU * k as f64 * hz * (t + 0.5 * octaves_per_s * std::f64::consts::LN_2 * t * t);
            let phase = std::f64::consts::PI * n as f64 / half;
            let (w, d) = (0.5 + 0.5 * phase.cos(), -0.5 * std::f64::consts::PI / half * phase.sin());
            let sample = f64::from(x[(x.len() as i64 / 2 + n) as usize]);
            re += w * sample * angle.cos();
            im += w * sample * angle.sin();
            slope_re += d * sample * angle.cos();
            slope_im += d * sample * angle.sin();
            weight += w;
        }
        let power = re * re + im * im;
        (power / (weight * weight), -(slope_im * re - slope_re * im) / power * rate / TAU)
    };
    (1..=PARTIALS).map(partial).collect()
}

#[test]
fn the_fast_look_at_the_partials_is_the_slow_one() {
    for (hz, glide, half) in [(82.41, 0.0, 1287.5), (220.0, 1.5, 545.2), (987.77, -3.0, 537.6)] {
        let tone = tone(48_000, 0.5, 12, 1e-4, |t| hz * 1.004 * (glide * (t - 0.15)).exp2());
        let x = &tone[12_000 - 1400..12_000 + 1400];
        let slow = read_twin(x, 48_000.0, hz, glide, half);
        for (k, (fast, (power, off_hz))) in read(x, 48_000.0, hz, glide, half).iter().zip(slow).enumerate() {
            assert!((f64::from(fast.power) / power - 1.0).abs() < 1e-3, "{hz} Hz, partial {}: power {} for {power}", k + 1, fast.power);
            // A hundredth of a cent of each partial.
            let cents = 1200.0 * ((f64::from(fast.off_hz) - off_hz) / ((k + 1) as f64 * hz) + 1.0).log2();
            assert!(cents.abs() < 0.01, "{hz} Hz, partial {}: {cents} cents off", k + 1);
        }
    }
}

#[test]
fn every_fret_of_every_string_is_read_within_a_cent_and_never_an_octave_off() {
    // Equal temperament, ISO 16: MIDI 40 to 88.
    for midi in 40..=88 {
        let wanted = 100.0 * f64::from(midi);
        let samples = tone(48_000, 1.0, 5, 0.0, |_| A4::default().hz_of(wanted));
        for (name, readings) in [("settled", settled(&samples, 48_000)), ("causal", causal(&samples, 48_000))] {
            for (t, cents) in between(&readings, 48_000, 0.25, 0.85) {
                assert!((cents - wanted).abs() < 1.0, "{name}, MIDI {midi} at {t} s: {:+.2} c", cents - wanted);
            }
        }
    }
}

#[test]
fn a_stiff_string_has_the_mean_of_its_partials_weighted_by_power_times_number() {
    let (b, hz) = (1e-4, 196.0);
    let (mut sum, mut weights) = (0.0, 0.0);
    for k in 1..=12 {
        let k = f64::from(k);
        // Power 1/k², times k.
        sum += (1.0 + b * k * k).sqrt() / k;
        weights += 1.0 / k;
    }
    let wanted = A4::default().cents(hz * sum / weights);
    let read = median_pitch(&settled(&tone(48_000, 1.0, 12, b, |_| hz), 48_000), 48_000);
    assert!((read - wanted).abs() < 0.05, "{:+.3} c", read - wanted);
}

#[test]
fn a_vibrato_keeps_its_whole_width_at_every_rate() {
    // A window of 43 ms would leave 22.4 of 25 c at 6 Hz, by sinc(rate × window).
    for turns in [4.0, 5.0, 6.0, 7.0, 8.0] {
        let hz = |t: f64| 440.0 * (25.0 / 1200.0 * (TAU * turns * t).sin()).exp2();
        let readings = settled(&tone(48_000, 1.6, 8, 0.0, hz), 48_000);
        let cents: Vec<f64> = between(&readings, 48_000, 0.35, 1.35).into_iter().map(|(_, cents)| cents).collect();
        let (low, high) = cents.iter().fold((f64::MAX, f64::MIN), |(l, h), &c| (l.min(c), h.max(c)));
        let half = (high - low) / 2.0;
        assert!((half - 25.0).abs() < 1.0, "{turns} Hz: half width {half:.2} c");
    }
}

#[test]
fn no_reading_of_the_settled_tracker_looks_ahead_further_than_it_says() {
    for hz in [8_000, 44_100, 48_000, 96_000] {
        let most = settled(&tone(hz, 2.0, 8, 0.0, |_| 330.0), hz).iter().map(|r| r.ready.since(r.at).seconds(rate(hz))).fold(0.0, f64::max);
        assert!(most <= LOOK_AHEAD_S, "{hz}: {most} s");
        assert!(most > 0.1, "{hz}: {most} s cannot be all that it needs");
    }
}

#[test]
fn a_live_reading_of_a_note_above_g3_is_ready_within_12_ms_and_of_a_low_one_within_23() {
    for (hz, most) in [(82.41, 0.023), (123.47, 0.023), (196.0, 0.0121), (440.0, 0.0121), (1318.5, 0.0121)] {
        let readings = causal(&tone(48_000, 1.0, 8, 0.0, |_| hz), 48_000);
        let waits =
            readings.iter().filter(|r| (0.3..0.9).contains(&r.at.seconds(rate(48_000)))).map(|r| r.ready.since(r.at).seconds(rate(48_000)));
        let longest = waits.fold(0.0, f64::max);
        assert!(longest > 0.01 && longest <= most, "{hz} Hz: {longest} s");
    }
}

#[test]
fn the_noise_of_a_pick_is_shown_as_no_note_and_holds_up_none() {
    // 25 ms of noise between the stroke and the string, as on recorded guitars.
    const NOISE_S: f64 = 0.025;
    for hz in [220.0, 440.0, 660.0] {
        let mut samples = vec![0.0f32; (NOISE_S * 48_000.0) as usize];
        samples.extend(tone(48_000, 0.6, 8, 0.0, |_| hz));
        let (mut seed, mut before) = (1u32, 0.0f32);
        for sample in &mut samples[4800..4800 + (NOISE_S * 48_000.0) as usize] {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let white = (seed >> 8) as f32 / 8_388_608.0 - 1.0;
            *sample += 0.1 * (white - before);
            before = white;
        }
        let readings = causal(&samples, 48_000);
        let cents = |r: &Reading| r.hz().map(|read| 1200.0 * (read / hz).log2().abs());
        let in_attack = readings.iter().filter(|r| (0.1..0.16).contains(&r.at.seconds(rate(48_000))));
        let another: Vec<_> = in_attack.filter(|r| cents(r).is_some_and(|off| off > 50.0)).collect();
        assert!(another.is_empty(), "{hz} Hz: {another:?}");
        let shown = readings.iter().find(|r| r.at.seconds(rate(48_000)) > 0.1 && cents(r).is_some_and(|off| off < 20.0)).unwrap();
        let after = shown.ready.seconds(rate(48_000)) - 0.1 - NOISE_S;
        assert!(after < 0.025, "{hz} Hz is shown {after} s after the string begins");
    }
}

#[test]
fn what_the_causal_tracker_said_does_not_change_when_the_take_is_cut() {
    let samples = tone(48_000, 1.0, 8, 0.0, |t| 220.0 * (200.0 / 1200.0 * (t / 0.5).min(1.0)).exp2());
    let whole = causal(&samples, 48_000);
    let cut = causal(&samples[..30_000], 48_000);
    assert!(cut.len() > 150, "{} readings", cut.len());
    assert_eq!(cut[..], whole[..cut.len()]);
    assert!(cut.iter().all(|r| r.ready.0 < 30_000));
}

#[test]
fn readings_lie_on_the_grid_each_once_and_in_order() {
    for hz in [8_000, 22_050, 44_100, 48_000, 192_000] {
        let samples = tone(hz, 0.7, 8, 0.0, |_| 330.0);
        for readings in [settled(&samples, hz), causal(&samples, hz)] {
            assert!(readings.len() > 100);
            for (n, r) in readings.iter().enumerate() {
                assert_eq!(r.at.0, (n * hop_frames(rate(hz))) as u64);
            }
        }
    }
}

#[test]
fn sample_rates_agree_within_a_fifth_of_a_cent() {
    let read = |hz: u32| median_pitch(&settled(&tone(hz, 1.0, 6, 0.0, |_| 311.127), hz), hz);
    let reference = read(48_000);
    for hz in [44_100, 88_200, 96_000] {
        assert!((read(hz) - reference).abs() < 0.2, "{hz}: {:+.3} c", read(hz) - reference);
    }
}

#[test]
fn hum_is_taken_out_and_a_steady_note_is_not_taken_for_hum() {
    let hum = |n: usize| -> f64 { (1..=9).map(f64::from).map(|k| 0.006 / k * (TAU * 50.02 * k * n as f64 / 48_000.0 + k).sin()).sum() };
    // B1 is 61.7 Hz; 329.6, 349.2 and 659.3 Hz lie within a few cents of multiples of 50 or 60.
    for hz in [98.0, 123.47, 329.63, 349.23, 659.26] {
        // Half a second of hum alone first, so that it can be learnt.
        let mut clean = vec![0.0f32; 24_000];
        clean.extend(tone(48_000, 2.5, 6, 0.0, |_| hz));
        let dirty: Vec<f32> = clean.iter().enumerate().map(|(n, x)| (f64::from(*x) + hum(n)) as f32).collect();
        let wanted = A4::default().cents(hz);
        for (name, samples) in [("clean", clean), ("in hum", dirty)] {
            for (t, cents) in between(&settled(&samples, 48_000), 48_000, 0.9, 2.7) {
                assert!((cents - wanted).abs() < 1.0, "{hz} Hz {name} at {t} s: {:+.2} c", cents - wanted);
            }
        }
    }
}

#[test]
fn silence_has_no_pitch() {
    let silence = vec![0.0; 48_000];
    for readings in [settled(&silence, 48_000), causal(&silence, 48_000)] {
        assert!(!readings.is_empty() && readings.iter().all(|r| r.hz().is_none() && r.level_dbfs.is_none()));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(16) })]

    #[test]
    fn the_fast_difference_function_is_the_slow_one(x in prop::collection::vec(-1.0f32..1.0, 264)) {
        let (mut long, mut short) = (Window::new(264, 120), Window::new(130, 60));
        let mut transform = Transform::new(&long);
        let is_slow = |values: &[f32], x: &[f32]| {
            let n = x.len();
            let taper: Vec<f64> = (0..n).map(|i| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n as f64).cos()).collect();
            let x: Vec<f64> = x.iter().map(|x| f64::from(*x)).collect();
            values.iter().enumerate().all(|(lag, value)| (f64::from(*value) - difference_twin(&x, &taper, lag)).abs() < 2e-5)
        };
        prop_assert!(is_slow(transform.of(&mut long, &x), &x));
        // A sound a thousand times softer beside it changes nothing, nor does it suffer.
        let soft: Vec<f32> = x[70..200].iter().map(|x| 0.001 * x).collect();
        let (first, second) = transform.of_both(&mut long, &x, &mut short, &soft);
        prop_assert!(is_slow(first, &x));
        prop_assert!(is_slow(second, &soft));
    }

    #[test]
    fn shifting_the_tone_shifts_the_pitch_as_far(midi in 45.0f64..84.0, shift in 1.0f64..300.0) {
        let read = |midi: f64| median_pitch(&settled(&tone(48_000, 1.0, 6, 0.0, |_| A4::default().hz_of(100.0 * midi)), 48_000), 48_000);
        let moved = read(midi + shift / 100.0) - read(midi);
        prop_assert!((moved - shift).abs() < 0.1, "{} c for {}", moved, shift);
    }

    #[test]
    fn blocks_change_nothing_and_gain_by_powers_of_two_only_the_level(block in 1usize..3000, power in 1i32..4) {
        let samples = tone(48_000, 0.8, 6, 0.0, |t| 247.0 * (t / 3.0).exp2());
        let softer: Vec<f32> = samples.iter().map(|x| x * 0.5f32.powi(power)).collect();
        let whole = settled(&samples, 48_000);
        prop_assert_eq!(&whole, &follow(Settled::new(rate(48_000)), &samples, block));
        prop_assert_eq!(causal(&samples, 48_000), follow(Causal::new(rate(48_000)), &samples, block));
        for (a, b) in whole.iter().zip(settled(&softer, 48_000)).filter(|(a, _)| (0.2..0.7).contains(&a.at.seconds(rate(48_000)))) {
            prop_assert_eq!(a.hz(), b.hz());
        }
    }

    #[test]
    fn whole_hops_of_silence_before_it_shift_only_the_times(hops in 1usize..60) {
        let samples = tone(48_000, 0.8, 6, 0.0, |t| 330.0 * (t / 4.0).exp2());
        let mut later = vec![0.0; hops * hop_frames(rate(48_000))];
        later.extend_from_slice(&samples);
        let (first, second) = (settled(&samples, 48_000), settled(&later, 48_000));
        for (a, b) in first.iter().zip(&second[hops..]).filter(|(a, _)| (0.15..0.7).contains(&a.at.seconds(rate(48_000)))) {
            let (a, b) = (a.hz().unwrap(), b.hz().unwrap());
            prop_assert!((1200.0 * (a / b).log2()).abs() < 1e-3);
        }
    }
}

#[test]
fn a_dying_note_is_not_handed_over_to_a_string_that_rings_on() {
    // An octave under 444 Hz lies near the third partial of an open E2 (247 Hz), which here grows as loud as the note within a second.
    const FS: f64 = 48_000.0;
    let db = |level: f64| 10f64.powf(level / 20.0);
    let note = [(1.0, -22.0), (2.0, -23.0), (3.0, -34.0)];
    let low_e = [(1.0, -46.0), (2.0, -47.0), (3.0, -38.0), (4.0, -44.0)];
    let samples: Vec<f32> = (0..96_000)
        .map(|n| {
            let t = f64::from(n) / FS;
            let sines =
                |partials: &[(f64, f64)], hz: f64| -> f64 { partials.iter().map(|(k, level)| db(*level) * (TAU * k * hz * t).sin()).sum() };
            let struck = ((t - 0.1).max(0.0) / 0.002).min(1.0);
            (struck * db(-14.0 * (t - 0.1)) * sines(&note, 444.0) + (t / 0.05).min(1.0) * sines(&low_e, 82.41)) as f32
        })
        .collect();
    for readings in [settled(&samples, 48_000), causal(&samples, 48_000)] {
        for reading in readings.iter().filter(|reading| (0.25..1.7).contains(&reading.at.seconds(rate(48_000)))) {
            let off = reading.hz().map(|hz| 1200.0 * (hz / 444.0).log2());
            assert!(off.is_some_and(|off| off.abs() < 50.0), "{off:?} cents off at {} s", reading.at.seconds(rate(48_000)));
        }
    }
}
