//! The speaker on an output of the test's own: beats stay where they should be when the output goes away and comes back.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::live::drill_sound::{After, DrillSound};
use landfall::live::own_sound::OwnSound;
use landfall::live::speaker::{Ahead, Begin, Ear, Speaker};
use landfall::sound::card::{Arrival, CardWish, Departure, DeviceName, Host, Opened, OutputWish, Stream, TakeTime};
use landfall::sound::out::{Event, Level, Listed, Voice, beat_frame};
use landfall::sound::{Format, SoundError};
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

const RATE: u32 = 48_000;
const FRAMES: u32 = 240;

/// An output that keeps what it is given, with the instant of each sample, and can be pulled out.
#[derive(Default)]
struct Amp {
    away: Arc<AtomicBool>,
    opened: Arc<AtomicU32>,
    /// It tells of an error that means nothing when it begins, as some do.
    coughs: bool,
    stands_still: Arc<AtomicBool>,
    heard: Arc<Mutex<Vec<(Instant, f32)>>>,
}

struct Wire;

impl Stream for Wire {
    fn opened(&self) -> Opened {
        let format = Format { rate: SampleRate::new(RATE).unwrap(), channels: 1 };
        Opened { device: "amp".into(), format, buffer: Some(FRAMES) }
    }
}

impl Host for Amp {
    fn names(&self) -> Result<Vec<DeviceName>, SoundError> {
        Ok(Vec::new())
    }

    fn open(&self, _: &CardWish, _: &mut dyn FnMut(Format) -> Arrival) -> Result<Box<dyn Stream>, SoundError> {
        Err(SoundError::NoDefaultCard)
    }

    fn open_output(&self, wish: &OutputWish, begin: &mut dyn FnMut(Format) -> Departure) -> Result<Box<dyn Stream>, SoundError> {
        if self.away.load(Ordering::SeqCst) {
            return Err(SoundError::Output { device: wish.name(), problem: "is not there".into() });
        }
        let mut departure = begin(Wire.opened().format);
        self.opened.fetch_add(1, Ordering::SeqCst);
        let (away, heard, still) = (Arc::clone(&self.away), Arc::clone(&self.heard), Arc::clone(&self.stands_still));
        if self.coughs {
            departure.pulse().count_error();
        }
        std::thread::spawn(move || {
            let begun = Instant::now();
            let mut frame = 0_u32;
            while !away.load(Ordering::SeqCst) {
                if still.load(Ordering::SeqCst) {
                    std::thread::sleep(Duration::from_millis(1));
                    continue;
                }
                let due = begun + Duration::from_secs_f64(f64::from(frame) / f64::from(RATE));
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
                let mut block = [0.0_f32; FRAMES as usize];
                departure.give(due.saturating_duration_since(Instant::now()), &mut block, |sample| sample);
                let at = |n: u32| due + Duration::from_secs_f64(f64::from(n) / f64::from(RATE));
                heard.lock().unwrap().extend((0..FRAMES).map(|n| (at(n), block[n as usize])));
                frame += FRAMES;
            }
            // As a real one does.
            departure.pulse().count_error();
        });
        Ok(Box::new(Wire))
    }
}

fn onsets(heard: &[(Instant, f32)]) -> Vec<Instant> {
    let mut quiet = 1000;
    let mut found = Vec::new();
    for (at, sample) in heard {
        if sample.abs() > 1e-6 && quiet > 500 {
            found.push(*at);
        }
        quiet = if sample.abs() > 1e-6 { 0 } else { quiet + 1 };
    }
    found
}

/// A click each quarter of a second on an output that goes away for a while: how far the clicks that are heard lie off the beat, ms, and which are heard.
fn clicks_around_an_outage(ahead: Ahead, away: Duration) -> (Vec<f64>, Vec<f64>) {
    let amp = Arc::new(Amp::default());
    let rate = SampleRate::new(RATE).unwrap();
    let host: Arc<dyn Host> = amp.clone();
    let speaker = Speaker::open(host, OutputWish::default(), TakeTime::default(), OwnSound::beside_take(), ahead, |_| None).unwrap();
    speaker.set_level(Level::db(0.0).unwrap());
    let clicks = (0..48)
        .map(|n| Event { at: beat_frame(FrameTime(0), n, 0.25, rate), length: FrameSpan(0), voice: Voice::Click, hz: 0.0, gain: 1.0 })
        .collect();
    speaker.begin(Begin { part: Box::new(Listed::new(clicks)), beats: None, in_s: 0.2, ear: Ear::Open });
    std::thread::sleep(Duration::from_millis(3100));
    amp.away.store(true, Ordering::SeqCst);
    std::thread::sleep(away);
    amp.away.store(false, Ordering::SeqCst);
    std::thread::sleep(Duration::from_secs(3));
    let mut notices = Vec::new();
    while let Some(notice) = speaker.notice() {
        notices.push(notice);
    }
    speaker.finish();
    let onsets = onsets(&amp.heard.lock().unwrap());
    let beats: Vec<f64> = onsets.iter().map(|at| at.duration_since(onsets[0]).as_secs_f64() / 0.25).collect();
    let off: Vec<f64> = beats.iter().map(|beat| (beat - beat.round()) * 250.0).collect();
    println!("{ahead:?}: beats {beats:.3?}, off by {off:.3?} ms");
    assert!(notices.len() == 2 && notices[0].contains("is gone") && notices[1].contains("plays again"), "{notices:?}");
    assert_eq!(amp.opened.load(Ordering::SeqCst), 2);
    (off, beats)
}

#[test]
fn an_output_that_goes_away_in_mid_song_comes_back_on_the_beat() {
    // Away for longer and for shorter than what is mixed ahead.
    for (ahead, away_ms) in [(Ahead::Answering, 1130), (Ahead::Planned, 1630), (Ahead::Planned, 480)] {
        let (off, beats) = clicks_around_an_outage(ahead, Duration::from_millis(away_ms));
        let missed = beats.windows(2).map(|pair| pair[1] - pair[0]).fold(0.0, f64::max);
        assert!(missed > 1.5, "some were missed: {beats:?}");
        let last = beats.last().copied().unwrap_or_default();
        assert!(beats.iter().filter(|beat| **beat > last - 5.5).count() >= 5, "it plays on: {beats:?}");
        assert!(off.iter().all(|off| off.abs() < 3.0), "off by {off:?} ms");
    }
}

#[test]
fn an_error_that_meant_nothing_does_not_make_a_moments_standstill_a_broken_output() {
    let amp = Arc::new(Amp { coughs: true, ..Amp::default() });
    let host: Arc<dyn Host> = amp.clone();
    let speaker =
        Speaker::open(host, OutputWish::default(), TakeTime::default(), OwnSound::beside_take(), Ahead::Planned, |_| None).unwrap();
    std::thread::sleep(Duration::from_millis(500));
    // Longer than a broken one is waited for, shorter than one that says nothing.
    amp.stands_still.store(true, Ordering::SeqCst);
    std::thread::sleep(Duration::from_millis(220));
    amp.stands_still.store(false, Ordering::SeqCst);
    std::thread::sleep(Duration::from_millis(500));
    let notices: Vec<String> = std::iter::from_fn(|| speaker.notice()).collect();
    assert!(notices.iter().all(|notice| !notice.contains("gone")), "{notices:?}");
    assert_eq!(amp.opened.load(Ordering::SeqCst), 1);
    speaker.finish();
}

#[test]
fn an_end_is_heard_at_once_however_far_ahead_was_mixed() {
    let amp = Arc::new(Amp::default());
    let rate = SampleRate::new(RATE).unwrap();
    let host: Arc<dyn Host> = amp.clone();
    let speaker =
        Speaker::open(host, OutputWish::default(), TakeTime::default(), OwnSound::beside_take(), Ahead::Planned, |_| None).unwrap();
    let tone = Event { at: FrameTime(0), length: FrameSpan(480_000), voice: Voice::Sustained, hz: 220.0, gain: 1.0 };
    speaker.begin(Begin { part: Box::new(Listed::new(vec![tone])), beats: None, in_s: 0.0, ear: Ear::Open });
    std::thread::sleep(Duration::from_millis(2500));
    let told = Instant::now();
    speaker.finish();
    std::thread::sleep(Duration::from_millis(200));
    let heard = amp.heard.lock().unwrap();
    let before = heard.iter().filter(|(at, _)| *at < told).map(|(_, sample)| sample.abs()).fold(0.0, f32::max);
    let after = heard.iter().filter(|(at, _)| *at > told + Duration::from_millis(150)).map(|(_, sample)| sample.abs()).fold(0.0, f32::max);
    assert!(before > 0.01 && after == 0.0, "{before} before, {after} after");
    // It fades: no step is larger than the tone's own at full strength.
    let steepest = before * std::f32::consts::TAU * 220.0 * 6.0 / rate.hz() as f32;
    assert!(heard.windows(2).all(|pair| (pair[1].1 - pair[0].1).abs() < steepest));
}

#[test]
fn a_tone_of_a_drill_that_ends_has_faded_when_the_drill_is_gone() {
    let amp = Arc::new(Amp::default());
    let host: Arc<dyn Host> = amp.clone();
    let speaker =
        Speaker::open(host, OutputWish::default(), TakeTime::default(), OwnSound::beside_take(), Ahead::Answering, |_| None).unwrap();
    let sound = DrillSound::new(speaker, Some(After::Target), A4::default());
    sound.reference(6900.0, 0.1);
    std::thread::sleep(Duration::from_millis(600));
    drop(sound);
    let heard = amp.heard.lock().unwrap();
    let loudest = |samples: &[(Instant, f32)]| samples.iter().map(|(_, sample)| sample.abs()).fold(0.0, f32::max);
    let (before, last) = heard.split_at(heard.len() - FRAMES as usize);
    assert!(loudest(before) > 0.001 && loudest(last) == 0.0, "{} before, {} at the end", loudest(before), loudest(last));
    let steepest = loudest(before) * std::f32::consts::TAU * 440.0 * 6.0 / RATE as f32;
    assert!(heard.windows(2).all(|pair| (pair[1].1 - pair[0].1).abs() < steepest), "it is cut off");
}

#[test]
fn beside_a_recorded_take_what_would_be_heard_is_kept_and_own_tones_close_the_ears() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("out.wav");
    let rate = SampleRate::new(RATE).unwrap();
    let own = OwnSound::beside_take();
    own.begin_take(rate);
    let speaker = Speaker::beside_take(rate, Arc::clone(&own), Some(&path)).unwrap();
    let tone = Event { at: FrameTime(0), length: FrameSpan(9600), voice: Voice::Sustained, hz: 220.0, gain: 1.0 };
    speaker.say(tone, 0.1, Ear::Closed);
    // The order is obeyed before the take goes on.
    std::thread::sleep(Duration::from_millis(100));
    own.heard(FrameTime(48_000));
    std::thread::sleep(Duration::from_millis(100));
    speaker.finish();
    let samples: Vec<f32> = hound::WavReader::open(&path).unwrap().into_samples().map(Result::unwrap).collect();
    assert_eq!(samples.len(), 48_000);
    assert_eq!(samples.iter().position(|sample| *sample != 0.0), Some(4800));
    let heard: Vec<bool> = [0.05, 0.15, 0.35, 0.9].iter().map(|at_s| own.listens(*at_s)).collect();
    assert_eq!(heard, [true, false, false, true]);
    let news = own.news().unwrap();
    assert_eq!(news.closed[0].0, 4800);
}
