use std::f64::consts::TAU;

use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

use super::*;

const RATE: u32 = 48_000;

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).unwrap()
}

/// Steady noise from a fixed seed, -1 to 1 (Knuth's linear congruential generator, MMIX constants).
fn noise(frames: usize, seed: u64) -> Vec<f64> {
    let mut state = seed;
    (0..frames)
        .map(|_| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
        })
        .collect()
}

/// A plucked string struck at `at_s`: partials 1 to 12 that decay, the higher the faster, with a bright start of a millisecond.
fn pluck(sound: &mut [f64], hz: u32, at_s: f64, f0: f64, loud: f64) {
    let first = (at_s * f64::from(hz)).ceil() as usize;
    for (i, sample) in sound.iter_mut().enumerate().skip(first) {
        let t = i as f64 / f64::from(hz) - at_s;
        let rise = (t / 0.001).min(1.0);
        for k in 1..=12 {
            let k = f64::from(k);
            if k * f0 < 0.45 * f64::from(hz) {
                *sample += loud * rise / k * (-t * (1.0 + 2.0 * k)).exp() * (TAU * k * f0 * t + 1.7 * k * k).sin();
            }
        }
    }
}

/// Silences what sounds from `from_s` within 2 ms, as a finger or the pick does.
fn damp(sound: &mut [f64], hz: u32, from_s: f64) {
    for (i, sample) in sound.iter_mut().enumerate() {
        let t = i as f64 / f64::from(hz) - from_s;
        *sample *= 1.0 - (t / 0.002).clamp(0.0, 1.0);
    }
}

/// A steady tone of 12 partials whose pitch follows `cents(t)`.
fn tone(frames: usize, hz: u32, f0: f64, cents: impl Fn(f64) -> f64) -> Vec<f64> {
    let mut phase = 0.0;
    (0..frames)
        .map(|i| {
            let t = i as f64 / f64::from(hz);
            phase += TAU * f0 * (cents(t) / 1200.0).exp2() / f64::from(hz);
            (1..=12).map(|k| 0.3 / f64::from(k) * (f64::from(k) * phase).sin()).sum()
        })
        .collect()
}

fn seconds(s: f64, hz: u32) -> usize {
    (s * f64::from(hz)).round() as usize
}

fn all(sound: &[f32], hz: u32, block: usize) -> Vec<Attack> {
    let mut finder = AttackFinder::new(rate(hz));
    let mut found = Vec::new();
    for samples in sound.chunks(block) {
        finder.push(samples, &mut |attack| found.push(attack));
    }
    finder.finish(&mut |attack| found.push(attack));
    found
}

fn narrow(sound: &[f64]) -> Vec<f32> {
    sound.iter().map(|&x| x as f32).collect()
}

/// The instants of settled pick strokes.
fn strokes(sound: &[f64], hz: u32) -> Vec<f64> {
    all(&narrow(sound), hz, 512)
        .iter()
        .filter(|attack| attack.stage == Stage::Settled && attack.struck && !attack.opening)
        .map(|attack| attack.at.seconds(rate(hz)))
        .collect()
}

#[track_caller]
fn assert_struck_at(sound: &[f64], hz: u32, wanted: &[f64]) {
    let found = strokes(sound, hz);
    let near = found.len() == wanted.len() && found.iter().zip(wanted).all(|(f, w)| (f - w).abs() < 0.001);
    assert!(near, "struck at {wanted:?}, found at {found:?}");
}

#[test]
fn a_note_after_silence_is_found_within_a_millisecond_at_every_rate() {
    for hz in [8_000, 11_025, 16_000, 22_050, 44_100, 48_000, 88_200, 96_000, 192_000] {
        let mut sound = vec![0.0; seconds(1.0, hz)];
        pluck(&mut sound, hz, 0.4, 196.0, 0.4);
        assert_struck_at(&sound, hz, &[0.4]);
    }
}

#[test]
fn every_string_is_found_once() {
    for f0 in [61.7, 82.4, 110.0, 146.8, 196.0, 246.9, 329.6, 659.3, 1318.5] {
        let mut sound = vec![0.0; seconds(1.5, RATE)];
        pluck(&mut sound, RATE, 0.3, f0, 0.3);
        assert_struck_at(&sound, RATE, &[0.3]);
    }
}

#[test]
fn a_new_note_over_one_that_rings_is_found() {
    let mut sound = vec![0.0; seconds(1.5, RATE)];
    pluck(&mut sound, RATE, 0.3, 110.0, 0.3);
    pluck(&mut sound, RATE, 0.8, 329.6, 0.3);
    assert_struck_at(&sound, RATE, &[0.3, 0.8]);
}

#[test]
fn the_same_note_struck_again_is_found() {
    let mut sound = vec![0.0; seconds(1.5, RATE)];
    pluck(&mut sound, RATE, 0.3, 196.0, 0.3);
    damp(&mut sound, RATE, 0.797);
    pluck(&mut sound, RATE, 0.8, 196.0, 0.3);
    assert_struck_at(&sound, RATE, &[0.3, 0.8]);
}

#[test]
fn a_note_in_noise_20_db_below_it_is_found() {
    let mut sound: Vec<f64> = noise(seconds(1.5, RATE), 7).iter().map(|x| 0.015 * x).collect();
    pluck(&mut sound, RATE, 0.5, 196.0, 0.3);
    assert_struck_at(&sound, RATE, &[0.5]);
}

#[test]
fn hum_and_noise_are_no_attacks() {
    let frames = seconds(3.0, RATE);
    for mains in [50.0, 60.0] {
        let hum: Vec<f64> = noise(frames, 3)
            .iter()
            .enumerate()
            .map(|(i, x)| {
                let t = i as f64 / f64::from(RATE);
                0.02 * x + (1..=13).map(|k| 0.02 / f64::from(k) * (TAU * mains * f64::from(k) * t).sin()).sum::<f64>()
            })
            .collect();
        assert_struck_at(&hum, RATE, &[]);
    }
}

#[test]
fn vibrato_bends_and_releases_are_no_attacks() {
    let frames = seconds(2.0, RATE);
    for f0 in [98.0, 220.0, 440.0, 880.0] {
        let vibrato = tone(frames, RATE, f0, |t| 50.0 * (TAU * 7.0 * t).sin());
        assert_struck_at(&vibrato, RATE, &[]);
        let bend = tone(frames, RATE, f0, |t| 200.0 * ((t - 0.8) / 0.08).clamp(0.0, 1.0) - 200.0 * ((t - 1.4) / 0.08).clamp(0.0, 1.0));
        assert_struck_at(&bend, RATE, &[]);
    }
}

#[test]
fn beating_partials_and_damping_are_no_attacks() {
    let frames = seconds(2.0, RATE);
    let second = tone(frames, RATE, 223.0, |_| 0.0);
    let mut beating: Vec<f64> = tone(frames, RATE, 220.0, |_| 0.0).iter().zip(second).map(|(a, b)| a + b).collect();
    damp(&mut beating, RATE, 1.6);
    assert_struck_at(&beating, RATE, &[]);
}

#[test]
fn an_early_word_comes_within_ten_milliseconds_and_the_last_word_within_the_look_ahead() {
    let mut sound = vec![0.0; seconds(2.0, RATE)];
    pluck(&mut sound, RATE, 0.3, 110.0, 0.3);
    pluck(&mut sound, RATE, 1.1, 440.0, 0.2);
    let found = all(&narrow(&sound), RATE, 64);
    let wait = |attack: &Attack| attack.ready.since(attack.at).seconds(rate(RATE));
    let stages: Vec<Stage> = found.iter().map(|attack| attack.stage).collect();
    assert_eq!(stages, [Stage::Early, Stage::Settled, Stage::Early, Stage::Settled]);
    for attack in &found {
        let most = if attack.stage == Stage::Early { 0.01 } else { LOOK_AHEAD_S };
        assert!(wait(attack) <= most, "{attack:?} waited {} s", wait(attack));
    }
}

#[test]
fn after_a_loss_times_go_on_and_the_sound_is_an_opening() {
    let mut before = vec![0.0; seconds(0.6, RATE)];
    pluck(&mut before, RATE, 0.3, 196.0, 0.3);
    let after = tone(seconds(0.7, RATE), RATE, 196.0, |_| 0.0);
    let mut finder = AttackFinder::new(rate(RATE));
    let mut found = Vec::new();
    finder.push(&narrow(&before), &mut |attack| found.push(attack));
    finder.lose(48_000, &mut |attack| found.push(attack));
    finder.push(&narrow(&after[seconds(0.3, RATE)..]), &mut |attack| found.push(attack));
    finder.finish(&mut |attack| found.push(attack));
    let settled: Vec<&Attack> = found.iter().filter(|attack| attack.stage == Stage::Settled).collect();
    assert_eq!(settled.len(), 2, "{settled:?}");
    assert!(!settled[0].opening && settled[1].opening);
    assert!((settled[1].at.seconds(rate(RATE)) - 1.6).abs() < 0.001);
}

#[test]
fn a_rattle_of_a_string_just_struck_is_no_stroke() {
    // Hiss, and 10 dB more of it for 8 ms in the ringing note.
    let rattle = seconds(0.36, RATE)..seconds(0.368, RATE);
    let hiss = noise(seconds(1.0, RATE), 11);
    let mut sound: Vec<f64> = hiss.iter().enumerate().map(|(i, x)| if rattle.contains(&i) { 0.0095 * x } else { 0.003 * x }).collect();
    pluck(&mut sound, RATE, 0.3, 220.0, 0.4);
    assert_struck_at(&sound, RATE, &[0.3]);
}

#[test]
fn a_backing_that_swells_20_db_softer_is_no_stroke() {
    let frames = seconds(2.5, RATE);
    let mut sound = vec![0.0; frames];
    pluck(&mut sound, RATE, 0.3, 220.0, 0.4);
    damp(&mut sound, RATE, 1.2);
    let chord = [146.8, 174.6, 220.0].map(|f0| tone(frames, RATE, f0, |_| 0.0));
    for (i, sample) in sound.iter_mut().enumerate() {
        let fade = ((i as f64 / f64::from(RATE) - 1.6) / 0.15).clamp(0.0, 1.0);
        *sample += 0.03 * fade * chord.iter().map(|tone| tone[i]).sum::<f64>();
    }
    assert_struck_at(&sound, RATE, &[0.3]);
}

#[test]
fn a_low_note_struck_again_with_a_finger_on_it_for_a_moment_is_found_through_distortion() {
    let mut sound = vec![0.0; seconds(1.5, RATE)];
    pluck(&mut sound, RATE, 0.3, 110.0, 0.3);
    damp(&mut sound, RATE, 0.775);
    pluck(&mut sound, RATE, 0.8, 110.0, 0.3);
    let driven: Vec<f64> = sound.iter().map(|x| 0.5 * (20.0 * x).tanh()).collect();
    assert_struck_at(&driven, RATE, &[0.3, 0.8]);
}

/// Two notes, the second over the first, from somewhere in the first second, in a little noise.
fn two_notes() -> impl Strategy<Value = Vec<f32>> {
    (0.1..0.5, 80.0..900.0, 0.1..0.4, 80.0..900.0, 0.05..0.4, any::<u64>()).prop_map(|(at, low, wait, high, loud, seed)| {
        let mut sound: Vec<f64> = noise(seconds(1.2, 16_000), seed).iter().map(|x| 5e-3 * x).collect();
        pluck(&mut sound, 16_000, at, low, 0.4);
        pluck(&mut sound, 16_000, at + wait, high, loud);
        narrow(&sound)
    })
}

proptest! {
    // The seeds of past failures lie beside this file.
    #![proptest_config(ProptestConfig { failure_persistence: Some(Box::new(FileFailurePersistence::WithSource("seeds"))), ..ProptestConfig::with_cases(24) })]

    #[test]
    fn how_the_samples_are_cut_changes_nothing(sound in two_notes(), block in 1_usize..2000) {
        prop_assert_eq!(all(&sound, 16_000, block), all(&sound, 16_000, 512));
    }

    #[test]
    fn each_early_stroke_is_settled_in_time(sound in two_notes()) {
        let found = all(&sound, 16_000, 512);
        for (i, attack) in found.iter().enumerate() {
            prop_assert!(attack.ready.since(attack.at).seconds(rate(16_000)) <= LOOK_AHEAD_S);
            if attack.stage == Stage::Early {
                prop_assert!(found.get(i + 1).is_some_and(|next| next.stage == Stage::Settled && next.struck), "{:?}", found);
            }
        }
    }

    #[test]
    fn a_gain_by_powers_of_two_changes_no_time(sound in two_notes(), power in -4_i32..3) {
        // Below a fixed level there is silence for the meter of rises, whatever the gain: the law holds well above it.
        let at_gain = |power: i32| sound.iter().map(|x| x * 2_f32.powi(4 + power)).collect::<Vec<f32>>();
        let times = |sound: &[f32]| all(sound, 16_000, 512).iter().map(|attack| (attack.at, attack.stage)).collect::<Vec<_>>();
        prop_assert_eq!(times(&at_gain(power)), times(&at_gain(0)));
    }

    #[test]
    fn a_later_signal_has_later_attacks(sound in two_notes(), steps in 1_usize..400) {
        // Steps of the rise (24 frames at 16 kHz) shift times only; digital silence before, so that nothing else changes.
        let hush = vec![0.0; seconds(0.1, 16_000)];
        let moved = vec![0.0; hush.len() + 24 * steps];
        let times = |hush: &[f32]| {
            let whole: Vec<f32> = hush.iter().chain(&sound).copied().collect();
            all(&whole, 16_000, 512).iter().map(|attack| attack.at.0).collect::<Vec<_>>()
        };
        let wanted: Vec<u64> = times(&hush).iter().map(|at| at + 24 * steps as u64).collect();
        prop_assert_eq!(times(&moved), wanted);
    }
}
