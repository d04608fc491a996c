//! A card that gives sound faster than time passes is refused in words, and leaves no heap of takes.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::sound::card::{Arrival, Card, CardNotice, CardWish, Departure, DeviceName, Host, Opened, Outlet, OutputWish, Stream};
use landfall::sound::{Arriving, Format, Heard, SoundError, Source, Takes};
use landfall::units::SampleRate;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

const RATE: u32 = 48_000;
const FRAMES: u32 = 480;

fn format() -> Format {
    Format { rate: SampleRate::new(RATE).unwrap(), channels: 1 }
}

/// A card that keeps time for a while, and then goes so many times as fast.
struct Hasty {
    after: Duration,
    times: f64,
}

struct Running(Arc<AtomicBool>);

impl Stream for Running {
    fn opened(&self) -> Opened {
        Opened { device: "hasty".into(), format: format(), buffer: Some(FRAMES) }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.0.store(true, Ordering::SeqCst);
    }
}

impl Hasty {
    /// Calls back until the stream is dropped.
    fn run(&self, mut call: impl FnMut(u64) + Send + 'static) -> Box<dyn Stream> {
        let closed = Arc::new(AtomicBool::new(false));
        let stream = Running(Arc::clone(&closed));
        let (after_s, times) = (self.after.as_secs_f64(), self.times);
        std::thread::spawn(move || {
            let (opened, mut frame) = (Instant::now(), 0_u64);
            while !closed.load(Ordering::SeqCst) {
                call(frame);
                frame += u64::from(FRAMES);
                let sound_s = frame as f64 / f64::from(RATE);
                let due_s = sound_s.min(after_s) + (sound_s - after_s).max(0.0) / times;
                std::thread::sleep(Duration::from_secs_f64(due_s).saturating_sub(opened.elapsed()));
            }
        });
        Box::new(stream)
    }
}

impl Host for Hasty {
    fn names(&self) -> Result<Vec<DeviceName>, SoundError> {
        Ok(Vec::new())
    }

    fn open(&self, _: &CardWish, begin: &mut dyn FnMut(Format) -> Arrival) -> Result<Box<dyn Stream>, SoundError> {
        let mut arrival = begin(format());
        let captured = |frame: u64| Duration::from_secs_f64(frame as f64 / f64::from(RATE));
        Ok(self.run(move |frame| arrival.take(captured(frame), (0..FRAMES).map(|_| 0.1))))
    }

    fn open_output(&self, _: &OutputWish, begin: &mut dyn FnMut(Format) -> Departure) -> Result<Box<dyn Stream>, SoundError> {
        let mut departure = begin(format());
        Ok(self.run(move |_| departure.give(Duration::ZERO, &mut [0.0_f32; FRAMES as usize], |sample| sample)))
    }
}

#[test]
fn a_device_that_makes_up_sound_as_fast_as_it_is_asked_is_not_opened() {
    let host: Arc<dyn Host> = Arc::new(Hasty { after: Duration::ZERO, times: 1e6 });
    let said = Card::open(Arc::clone(&host), CardWish::default(), 2.0).err().unwrap().to_string();
    assert!(said.contains("hasty gives sound faster than time") && said.contains("--device"), "{said}");
    let said = Outlet::open(host, OutputWish::default(), 2.0).err().unwrap().to_string();
    assert!(said.contains("takes sound faster than time"), "{said}");
}

#[test]
fn a_card_that_keeps_time_is_opened_in_and_out() {
    let host: Arc<dyn Host> = Arc::new(Hasty { after: Duration::from_hours(1), times: 1.0 });
    assert!(Card::open(Arc::clone(&host), CardWish::default(), 2.0).is_ok());
    assert!(Outlet::open(host, OutputWish::default(), 2.0).is_ok());
}

#[test]
fn a_card_that_begins_to_run_ahead_ends_its_one_take_with_a_sentence() {
    let host = Arc::new(Hasty { after: Duration::from_millis(500), times: 8.0 });
    let (card, mut takes) = Card::open(host, CardWish::default(), 2.0).unwrap();
    let (begun, mut number, mut buffer) = (Instant::now(), 0, vec![0.0; 4096]);
    let mut refusal = None;
    let mut take: Option<Box<dyn Source>> = None;
    while begun.elapsed() < Duration::from_secs(10) {
        let Some(source) = &mut take else {
            match takes.poll() {
                Arriving::Take(fresh) => {
                    number += 1;
                    take = Some(fresh);
                }
                Arriving::NotYet => std::thread::sleep(Duration::from_millis(2)),
                Arriving::Over => break,
            }
            continue;
        };
        match source.next(&mut buffer) {
            Ok(Heard::Waiting) => std::thread::sleep(Duration::from_millis(2)),
            Ok(Heard::Ended) => take = None,
            Ok(_) => {}
            Err(error) => {
                refusal = Some(error);
                take = None;
            }
        }
    }
    assert!(matches!(refusal, Some(SoundError::CardTooFast { .. })), "{refusal:?} after {:?}", begun.elapsed());
    assert_eq!(number, 1);
    let notices: Vec<CardNotice> = std::iter::from_fn(|| card.notice()).collect();
    assert_eq!(notices, [CardNotice::TooFast]);
}
