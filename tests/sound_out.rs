//! Sound out, heard sample by sample: what begins where, how it is tuned, and how loud it can ever be.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::sound::out::{Event, FADE_S, Level, Listed, Mixer, PEAK, Part, Voice, beat_frame, render};
use landfall::units::{FrameSpan, FrameTime, SampleRate};
use proptest::prelude::*;
use rustfft::FftPlanner;
use rustfft::num_complex::Complex;
use std::f64::consts::TAU;

fn rate(hz: u32) -> SampleRate {
    SampleRate::new(hz).unwrap()
}

fn event(at: u64, voice: Voice) -> Event {
    Event { at: FrameTime(at), length: FrameSpan(4800), voice, hz: 220.0, gain: 1.0 }
}

fn loud(rate: SampleRate, events: Vec<Event>) -> Mixer {
    let mut mixer = Mixer::new(rate);
    mixer.set_level(Level::db(0.0).unwrap());
    mixer.add(Box::new(Listed::new(events)), FrameTime(0));
    mixer
}

fn heard(mut mixer: Mixer, frames: usize, block: usize) -> Vec<f32> {
    let mut out = vec![0.0; frames];
    out.chunks_mut(block.max(1)).for_each(|block| mixer.render(block));
    out
}

#[test]
fn each_voice_begins_exactly_at_its_frame_at_every_rate() {
    for hz in [8_000, 44_100, 48_000, 96_000, 192_000] {
        for voice in Voice::ALL {
            for at in [0, 1, 5000, 5255, 5256, 5257] {
                let out = heard(loud(rate(hz), vec![event(at, voice)]), 6000, 512);
                let first = out.iter().position(|sample| *sample != 0.0);
                assert_eq!(first, Some(at as usize), "{voice:?} at {at} of {hz} Hz");
            }
        }
    }
}

#[test]
fn each_voice_is_over_by_the_time_that_it_says() {
    for voice in Voice::ALL {
        let event = event(2000, voice);
        let end = (event.at + event.heard(rate(48_000))).0 as usize;
        let out = heard(loud(rate(48_000), vec![event]), end + 30_000, 512);
        let peak = out.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
        let after = out[end..].iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
        assert!(peak > 0.05 && after < peak * 2e-3, "{voice:?}: {peak} then {after}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    #[test]
    fn samples_do_not_depend_on_the_sizes_of_blocks(
        events in prop::collection::vec((0_u64..9000, 0_usize..Voice::ALL.len(), 60.0_f64..1500.0, 0.0_f32..1.0, 0_u64..3000), 1..150),
        sizes in prop::collection::vec(1_usize..2000, 1..20),
        second in 0_u64..5000,
    ) {
        let mixer = || {
            let events: Vec<Event> = events.iter().map(|(at, voice, hz, gain, length)| {
                Event { at: FrameTime(*at), length: FrameSpan(*length), voice: Voice::ALL[*voice], hz: *hz, gain: *gain }
            }).collect();
            let mut mixer = loud(rate(44_100), events.clone());
            mixer.add(Box::new(Listed::new(events)), FrameTime(second));
            mixer
        };
        let whole = heard(mixer(), 12_000, 12_000);
        let (mut mixer, mut pieces, mut sizes) = (mixer(), vec![0.0; 12_000], sizes.iter().cycle());
        let mut at = 0;
        while at < pieces.len() {
            let to = (at + sizes.next().unwrap()).min(pieces.len());
            mixer.render(&mut pieces[at..to]);
            at = to;
        }
        prop_assert!(whole.iter().zip(&pieces).all(|(a, b)| a.to_bits() == b.to_bits()));
    }
}

#[test]
fn all_voices_at_full_gain_at_once_stay_under_the_peak_and_use_it() {
    let mut events = Vec::new();
    for strike in 0..40 {
        for voice in Voice::ALL {
            for k in 0..8_u32 {
                let hz = 55.0 * f64::from(k + 1);
                events.push(Event { at: FrameTime(strike * 1200), length: FrameSpan(48_000), voice, hz, gain: 1.0 });
            }
        }
    }
    let out = heard(loud(rate(48_000), events), 60_000, 333);
    let peak = out.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
    assert!(peak <= PEAK, "{peak}");
    assert!(peak > 0.95 * PEAK, "a limiter that holds it lower than promised wastes loudness: {peak}");
    assert!((20.0 * f64::from(PEAK).log10() + 6.02).abs() < 0.01, "the peak that is promised is 6 dB under full scale");
}

/// Frequency of the strongest line near `hz` from how far its phase turns between two windows: needs no fit, and nothing of how the tone is made.
fn by_phase(samples: &[f32], hz: f64, rate: f64) -> f64 {
    const WINDOW: usize = 1 << 15;
    const APART: usize = 1 << 14;
    let fft = FftPlanner::new().plan_fft_forward(WINDOW);
    let bin = (hz / rate * WINDOW as f64).round() as usize;
    let phase = |from: usize| {
        let mut window: Vec<Complex<f64>> = (0..WINDOW)
            .map(|n| {
                let hann = 0.5 - 0.5 * (TAU * n as f64 / WINDOW as f64).cos();
                Complex::new(f64::from(samples[from + n]) * hann * hann, 0.0)
            })
            .collect();
        fft.process(&mut window);
        window[bin].arg()
    };
    let turned = phase(APART) - phase(0);
    let expected = hz / rate * APART as f64;
    let off = (turned / TAU - expected) - (turned / TAU - expected).round();
    (expected + off) * rate / APART as f64
}

/// Cents between what was asked for and what an outside FFT (the crate rustfft) hears.
fn detuned(voice: Voice, hz: f64, rate_hz: u32) -> f64 {
    let long = Event { at: FrameTime(0), length: FrameSpan(u64::from(rate_hz) * 4), voice, hz, gain: 1.0 };
    let mut mixer = Mixer::new(rate(rate_hz));
    mixer.add(Box::new(Listed::new(vec![long])), FrameTime(0));
    let out = heard(mixer, 70_000, 480);
    1200.0 * (by_phase(&out[10_000..], hz, f64::from(rate_hz)) / hz).log2()
}

#[test]
fn tones_are_in_tune_within_a_hundredth_of_a_cent() {
    for rate_hz in [44_100, 48_000, 96_000] {
        for cents in [4000.0, 4512.3, 5500.0, 6200.0, 6700.0, 6900.0, 6933.3, 7650.0, 8800.0] {
            let hz = 440.0 * f64::exp2((cents - 6900.0) / 1200.0);
            let off = detuned(Voice::Sustained, hz, rate_hz);
            assert!(off.abs() < 0.01, "{hz} Hz at {rate_hz}: {off} cents");
        }
    }
    // A struck tone dies away while it is looked at, and its letting go is long after.
    let off = detuned(Voice::Pluck, 196.0, 48_000);
    assert!(off.abs() < 0.01, "plucked: {off} cents");
}

#[test]
fn a_tone_that_is_a_fiftieth_of_a_cent_off_would_be_found() {
    let hz = 220.0 * f64::exp2(0.02 / 1200.0);
    let long = Event { at: FrameTime(0), length: FrameSpan(200_000), voice: Voice::Sustained, hz, gain: 1.0 };
    let out = heard(loud(rate(48_000), vec![long]), 70_000, 480);
    let off = 1200.0 * (by_phase(&out[10_000..], 220.0, 48_000.0) / 220.0).log2();
    assert!((off - 0.02).abs() < 0.005, "{off}");
}

#[test]
fn clicks_lie_on_the_beat_to_the_sample_over_ten_minutes() {
    for (rate_hz, beats_a_minute) in [(48_000_u32, 97_u64), (44_100, 58)] {
        let beats = 10 * beats_a_minute;
        let beat_s = 60.0 / beats_a_minute as f64;
        let first = FrameTime(4410);
        let clicks = (0..beats).map(|n| event(beat_frame(first, n, beat_s, rate(rate_hz)).0, Voice::Click)).collect();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("clicks.wav");
        let mut mixer = Mixer::new(rate(rate_hz));
        mixer.set_level(Level::db(0.0).unwrap());
        render(mixer, vec![Box::new(Listed::new(clicks))], 601.0, &path).unwrap();
        let samples: Vec<f32> = hound::WavReader::open(&path).unwrap().into_samples().map(Result::unwrap).collect();
        assert_eq!(samples.len(), 601 * rate_hz as usize);
        let mut onsets = Vec::new();
        let mut quiet = 10_000;
        for (frame, sample) in samples.iter().enumerate() {
            if *sample == 0.0 {
                quiet += 1;
                continue;
            }
            if quiet > 1000 {
                onsets.push(frame as u64);
            }
            quiet = 0;
        }
        // In whole numbers, half a frame up: what the beat is, without a rounded step anywhere.
        let wanted: Vec<u64> =
            (0..beats).map(|n| 4410 + (2 * n * 60 * u64::from(rate_hz) + beats_a_minute) / (2 * beats_a_minute)).collect();
        assert_eq!(onsets, wanted);
    }
}

#[test]
fn what_is_skipped_is_not_heard_and_what_follows_stays_on_the_beat() {
    let events: Vec<Event> = (0..20).map(|n| event(n * 4800 + 2400, Voice::Click)).collect();
    let mut mixer = loud(rate(48_000), events);
    let mut before = vec![0.0; 10_000];
    mixer.render(&mut before);
    let at = mixer.position().0;
    mixer.skip(30_000);
    assert_eq!(mixer.position().0, at + 30_000);
    let mut after = vec![0.0; 20_000];
    mixer.render(&mut after);
    let onsets: Vec<u64> = (1000..after.len())
        .filter(|n| after[*n] != 0.0 && after[n - 1000..*n].iter().all(|sample| *sample == 0.0))
        .map(|n| n as u64 + 40_000)
        .collect();
    assert_eq!(onsets, [45_600, 50_400, 55_200]);
}

#[test]
fn it_starts_quiet_and_fades_in_and_out() {
    let drone = || Box::new(Listed::new(vec![Event { length: FrameSpan(480_000), ..event(0, Voice::Sustained) }]));
    let mut mixer = Mixer::new(rate(48_000));
    mixer.add(drone(), FrameTime(0));
    let mut out = vec![0.0_f32; 48_000];
    mixer.render(&mut out);
    let peak = out.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
    assert!(peak < 0.1, "20 dB under full: {peak}");
    assert!((Level::default().as_db() + 20.0).abs() < 1e-9);
    mixer.set_audible(false);
    let mut out = vec![0.0_f32; 9600];
    mixer.render(&mut out);
    let faded = (FADE_S * 48_000.0) as usize + 200;
    assert!(out[faded..].iter().all(|sample| *sample == 0.0), "gone after the fade");
    let step = out.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
    assert!(step < 0.02, "no edge: {step}");
    mixer.set_audible(true);
    mixer.render(&mut out);
    assert!(out[faded..].iter().any(|sample| sample.abs() > 0.02));
}

#[test]
fn a_single_event_is_heard_where_it_was_said_and_a_late_one_at_once() {
    let mut mixer = Mixer::new(rate(48_000));
    mixer.say(event(7000, Voice::Click));
    let mut out = vec![0.0; 12_000];
    mixer.render(&mut out[..10_000]);
    let now = mixer.earliest().0 as usize;
    mixer.say(event(3, Voice::Click));
    mixer.render(&mut out[10_000..]);
    assert_eq!(out.iter().position(|sample| *sample != 0.0), Some(7000));
    assert!(out[9990..now].iter().all(|sample| *sample == 0.0) && out[now] != 0.0);
    assert!(!mixer.is_over());
    mixer.render(&mut out);
    assert!(mixer.is_over() && mixer.dropped() == 0);
}

#[test]
fn a_file_that_is_there_is_not_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.wav");
    std::fs::write(&path, "mine").unwrap();
    let said = render(Mixer::new(rate(48_000)), Vec::new(), 1.0, &path).unwrap_err().to_string();
    assert!(said.contains("mine.wav") && said.contains("--out"), "{said}");
    assert_eq!(std::fs::read(&path).unwrap(), b"mine");
}

#[test]
fn a_part_is_asked_for_each_stretch_once_and_in_order() {
    struct Asked(std::sync::mpsc::Sender<u64>);
    impl Part for Asked {
        fn events(&mut self, until: FrameTime, _: &mut dyn FnMut(Event)) {
            self.0.send(until.0).unwrap();
        }
        fn is_over(&self) -> bool {
            false
        }
    }
    let (tell, told) = std::sync::mpsc::channel();
    let mut mixer = Mixer::new(rate(48_000));
    mixer.add(Box::new(Asked(tell)), FrameTime(100));
    let mut out = [0.0; 1000];
    mixer.render(&mut out);
    let asked: Vec<u64> = told.try_iter().collect();
    assert!(asked.windows(2).all(|pair| pair[0] < pair[1]), "{asked:?}");
    assert_eq!(*asked.last().unwrap(), mixer.earliest().0 - 100);
}
