//! What must never wait: the audio callback, and each hop of the trackers, allocate nothing once they run, and the callback's files name
//! nothing that locks.
#![allow(unsafe_code, reason = "an allocator cannot be written without it; it hands everything on to the system's")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::pitch::Tracker;
use landfall::pitch::attack::AttackFinder;
use landfall::pitch::causal::Causal;
use landfall::pitch::settled::Settled;
use landfall::pitch::sustained::Sustained;
use landfall::sound::card::{Arrival, Departure, Pulse};
use landfall::sound::out::{Event, Listed, Mixer, Pass, Recorded, Voice};
use landfall::sound::synth::{Scenario, render};
use landfall::sound::{Format, Heard, Mono, Next, Source, ring};
use landfall::units::{FrameSpan, FrameTime, SampleRate};
use ringbuf::HeapRb;
use ringbuf::traits::{Producer, Split};
use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::hint::black_box;
use std::sync::Arc;
use std::time::Duration;

/// Counts what a watched thread asks for or gives back.
struct Counting;

thread_local! {
    static WATCHED: Cell<bool> = const { Cell::new(false) };
    static COUNT: Cell<u64> = const { Cell::new(0) };
}

fn count() {
    if WATCHED.try_with(Cell::get).unwrap_or(false) {
        let _ = COUNT.try_with(|count| count.set(count.get() + 1));
    }
}

// SAFETY: every call is handed on unchanged; counting touches thread-locals that need no allocation.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count();
        // SAFETY: the caller's promise is the system's.
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        count();
        // SAFETY: as above.
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        count();
        // SAFETY: as above.
        unsafe { System.realloc(pointer, layout, size) }
    }

    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        count();
        // SAFETY: as above.
        unsafe { System.dealloc(pointer, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// How often `work` asked for memory or gave it back.
fn allocations(work: impl FnOnce()) -> u64 {
    COUNT.set(0);
    WATCHED.set(true);
    work();
    WATCHED.set(false);
    COUNT.get()
}

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

/// Four seconds with two attacks, a bend and noise.
fn played() -> Vec<f32> {
    let text = "title = \"a bend\"\nlength_s = 4.0\n[noise]\nsnr_db = 40.0\n[[note]]\nat_s = 0.3\nstring = 2\nfret = 8\n\
                [[note.then]]\nhand = \"bend\"\nat_s = 0.4\ncents = 200.0\ntakes_ms = 150.0\n[[note]]\nat_s = 2.2\nstring = 5\nfret = 3\n";
    render(&Scenario::from_toml(text).unwrap()).unwrap().samples
}

#[test]
fn the_counter_finds_each_kind_of_allocation() {
    assert_eq!(allocations(|| drop(black_box(Box::new(5)))), 2);
    assert!(allocations(|| drop(black_box(format!("{}", black_box(7))))) >= 2);
    let mut grows: Vec<u8> = Vec::with_capacity(1);
    assert!(allocations(|| grows.extend_from_slice(black_box(&[0; 100]))) >= 1);
    assert_eq!(allocations(|| ()), 0);
}

#[test]
fn the_audio_callback_never_allocates_also_while_it_loses_sound() {
    let (writer, mut source) = ring(Format { rate: rate(), channels: 2 }, 0.1);
    let mut arrival = Arrival::new(writer, Arc::new(Pulse::default()), rate(), 2);
    let pulse = arrival.pulse();
    let samples = [0.25_f32; 512];
    let counted = allocations(|| {
        for n in 0..100_u64 {
            // The card skips half a second once, and the ring overflows all the time.
            let captured = Duration::from_millis(5 * n + if n > 50 { 500 } else { 0 });
            arrival.take(captured, samples.iter().copied());
            pulse.count_error();
            pulse.count_overrun();
        }
    });
    assert_eq!(counted, 0);
    let mut buffer = [0.0; 4096];
    let mut lost = 0;
    while let Ok(heard @ (Heard::Filled(_) | Heard::Lost(_))) = source.next(&mut buffer) {
        lost += if let Heard::Lost(frames) = heard { frames } else { 0 };
    }
    assert_eq!(lost, 0, "the losses are told with the next sound");
    arrival.take(Duration::from_secs(1), samples.iter().copied());
    assert!(matches!(source.next(&mut buffer), Ok(Heard::Lost(40_000..))));
}

#[test]
fn the_callback_that_plays_never_allocates_also_while_nothing_is_there_and_at_the_end() {
    let (mut into, out) = HeapRb::<f32>::new(9600).split();
    let mut departure = Departure::new(out, Arc::default(), rate(), 2);
    let pulse = departure.pulse();
    into.push_slice(&vec![0.25; 4800]);
    pulse.start_at(100);
    let mut block = [0.0_f32; 512];
    let counted = allocations(|| {
        for n in 0..100_u64 {
            departure.give(Duration::from_millis(n), &mut block, |sample| sample);
            pulse.count_underrun();
            if n == 15 {
                pulse.hush();
            }
        }
    });
    assert_eq!(counted, 0);
    assert!(pulse.missing() > 0 && pulse.played() == 25_600);
}

#[test]
fn the_way_from_the_ring_to_the_block_never_allocates_once_it_runs() {
    let (mut writer, source) = ring(Format { rate: rate(), channels: 2 }, 1.0);
    let mut mono = Mono::new(Box::new(source), landfall::sound::ChannelWish::Fixed(1)).unwrap();
    let counted = allocations(|| {
        for _ in 0..200 {
            writer.write([0.1_f32; 480].into_iter());
            while let Ok(Next::Block(block)) = mono.hear() {
                black_box(block.samples.len());
            }
        }
    });
    assert_eq!(counted, 0);
}

/// Allocations of a tracker from its second second on, in which it says at least so many readings.
fn of_tracker(mut tracker: impl Tracker, least: usize) -> u64 {
    let samples = played();
    let mut readings = 0;
    tracker.push(&samples[..48_000], &mut |_| readings += 1);
    let counted = allocations(|| {
        for block in samples[48_000..].chunks(96) {
            tracker.push(block, &mut |_| readings += 1);
        }
    });
    assert!(readings > least);
    counted
}

#[test]
fn no_hop_of_a_tracker_allocates_once_it_runs() {
    assert_eq!(of_tracker(Causal::new(rate()), 500), 0, "for the eye");
    assert_eq!(of_tracker(Settled::new(rate()), 500), 0, "for the rows");
    assert_eq!(of_tracker(Sustained::new(rate()), 200), 0, "for tuning");
}

#[test]
fn the_attack_finder_never_allocates_once_it_runs() {
    let samples = played();
    let mut finder = AttackFinder::new(rate());
    let mut found = 0;
    finder.push(&samples[..9_600], &mut |_| found += 1);
    let counted = allocations(|| {
        for block in samples[9_600..].chunks(96) {
            finder.push(block, &mut |_| found += 1);
        }
    });
    assert!(found >= 2);
    assert_eq!(counted, 0);
}

#[test]
fn the_mixer_never_allocates_once_it_runs() {
    let events = (0..4000_u64)
        .map(|n| Event {
            at: FrameTime(n * 48),
            length: FrameSpan(24_000),
            voice: Voice::ALL[n as usize % Voice::ALL.len()],
            hz: 80.0 + (n % 900) as f64,
            gain: 1.0,
        })
        .collect();
    let mut mixer = Mixer::new(rate());
    mixer.add(Box::new(Listed::new(events)), FrameTime(0));
    let pass = |at| Pass { at: FrameTime(at), length: FrameSpan(90_000), samples: played().into(), from: 9000 };
    mixer.add(Box::new(Recorded::new(vec![pass(100), pass(90_100)], 1.0, rate())), FrameTime(48));
    let mut out = [0.0; 512];
    let counted = allocations(|| {
        for _ in 0..500 {
            mixer.render(&mut out);
        }
        mixer.skip(5000);
        mixer.render(&mut out);
    });
    assert_eq!((counted, mixer.dropped()), (0, 0));
    assert!(mixer.is_over() || mixer.position().0 > 200_000);
}

#[test]
fn what_runs_in_the_audio_callback_names_nothing_that_locks_waits_or_prints() {
    for path in ["src/sound/ring.rs", "src/sound/card/arrival.rs", "src/sound/card/departure.rs"] {
        let text = std::fs::read_to_string(std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).unwrap();
        let code = text.split("#[cfg(test)]").next().unwrap();
        for word in ["Mutex", "RwLock", "Condvar", "channel(", "Sender", "unpark", "sleep", "println", "format!", "lock()"] {
            assert!(!code.contains(word), "{path} names {word}");
        }
    }
}
