//! What hearing costs: a hop of each tracker beside the bare FFTs that it cannot do without, a minute graded, and the whole live path.
//!
//! `cargo bench --bench hop`; at the end all figures stand side by side, from the same run.

#![allow(clippy::unwrap_used, missing_docs, reason = "a bench that fails may stop; criterion's macros make public items")]

use criterion::{BenchmarkGroup, Criterion, measurement::WallTime};
use landfall::grading::Wish;
use landfall::live::ears::{Ears, Settles};
use landfall::live::hearing::ears;
use landfall::live::settled::SettledLoop;
use landfall::pitch::attack::{AttackFinder, Stage};
use landfall::pitch::causal::Causal;
use landfall::pitch::settled::Settled;
use landfall::pitch::{Tracker, hop_frames};
use landfall::sound::synth::{Scenario, render};
use landfall::sound::{Block, ChannelWish, Format, Heard, Mono, Next, SoundError, Source};
use landfall::units::{A4, SampleRate};
use rustfft::FftPlanner;
use rustfft::num_complex::Complex32;
use std::cell::Cell;
use std::hint::black_box;
use std::time::{Duration, Instant};

/// What a sound card gives at once.
const BLOCK: usize = 256;

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

/// A minute of lead guitar at 48 kHz: the ballad of the demonstration, from the beginning again when it is over.
fn minute() -> Vec<f32> {
    let text = include_str!("../test_signals/scenarios/ballad.toml");
    let played = render(&Scenario::from_toml(text).unwrap()).unwrap().samples;
    played.iter().copied().cycle().take(60 * 48_000).collect()
}

/// Times one thing with criterion and keeps the shortest time of a call, for the table: what other programs took is not its cost.
fn time(group: &mut BenchmarkGroup<'_, WallTime>, name: &str, mut call: impl FnMut()) -> Duration {
    let shortest = Cell::new(Duration::MAX);
    group.bench_function(name, |bencher| {
        bencher.iter_custom(|calls| {
            let began = Instant::now();
            (0..calls).for_each(|_| call());
            let took = began.elapsed();
            shortest.set(shortest.get().min(took / u32::try_from(calls).unwrap()));
            took
        });
    });
    shortest.get()
}

/// Feeds a hop at a time to a tracker that has long been listening, round and round.
fn hop_of(mut tracker: impl Tracker, sound: &[f32]) -> impl FnMut() {
    let hop = hop_frames(rate());
    let mut at = 0;
    move || {
        tracker.push(&sound[at..at + hop], &mut |reading| {
            black_box(reading);
        });
        at = (at + hop) % (sound.len() - hop);
    }
}

/// The transforms of one hop: forth and back for the window of the high notes and for that of the low ones.
fn bare_transforms() -> impl FnMut() {
    let mut planner = FftPlanner::new();
    let mut plans: Vec<_> = [512, 1024]
        .into_iter()
        .map(|size| (planner.plan_fft_forward(size), planner.plan_fft_inverse(size), vec![Complex32::new(0.1, 0.2); size]))
        .collect();
    let mut scratch = vec![Complex32::default(); 4096];
    move || {
        for (forth, back, buffer) in &mut plans {
            buffer.fill(Complex32::new(0.1, 0.2));
            forth.process_with_scratch(black_box(buffer), &mut scratch);
            back.process_with_scratch(black_box(buffer), &mut scratch);
        }
    }
}

/// Samples from memory.
struct Played {
    samples: Vec<f32>,
    given: usize,
}

impl Source for Played {
    fn format(&self) -> Format {
        Format { rate: rate(), channels: 1 }
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let filled = out.len().min(BLOCK).min(self.samples.len() - self.given);
        out[..filled].copy_from_slice(&self.samples[self.given..self.given + filled]);
        self.given += filled;
        Ok(if filled == 0 { Heard::Ended } else { Heard::Filled(filled) })
    }
}

fn each_block(sound: &[f32], mut hear: impl FnMut(&Block<'_>)) {
    let played = Played { samples: sound.to_vec(), given: 0 };
    let mut mono = Mono::new(Box::new(played), ChannelWish::Louder).unwrap();
    while let Next::Block(block) = mono.hear().unwrap() {
        hear(&block);
    }
}

/// All that `grade` does with the sound.
fn grade(sound: &[f32]) {
    let mut settled = SettledLoop::new(rate(), A4::default(), Wish::default());
    let mut attempts = 0;
    each_block(sound, |block| settled.hear(block, &mut |_| attempts += 1));
    settled.finish(&mut |_| attempts += 1);
    assert!(attempts > 5, "the bends of the ballad are found");
}

/// All that a live run does with the sound: for the eye and for the rows.
fn live(sound: &[f32]) {
    let Ears { mut causal, mut attacks, mut eye, mut settled, .. } = ears(A4::default(), Wish::default())(rate());
    let (mut said, mut attempts) = (0, 0);
    each_block(sound, |block| {
        let mut seen = |_| said += 1;
        attacks.push(block.samples, &mut |attack| {
            if attack.stage == Stage::Early && attack.struck {
                eye.stroke(attack.at, &mut seen);
            }
        });
        causal.push(block.samples, &mut |reading| eye.reading(&reading, &mut seen));
        settled.hear(block, &mut |_| attempts += 1);
    });
    settled.finish(&mut |_| attempts += 1);
    assert!(said > 5 && attempts > 5, "the bends of the ballad are seen and graded");
}

fn main() {
    let mut criterion = Criterion::default().configure_from_args();
    let sound = minute();
    let hop_ms = 1000.0 * hop_frames(rate()) as f64 / rate().as_f64();

    let mut group = criterion.benchmark_group("hop");
    group.warm_up_time(Duration::from_secs(1)).measurement_time(Duration::from_secs(4));
    let bare = time(&mut group, "bare FFTs", bare_transforms());
    let causal = time(&mut group, "causal", hop_of(Causal::new(rate()), &sound));
    let settled = time(&mut group, "settled", hop_of(Settled::new(rate()), &sound));
    let mut finder = AttackFinder::new(rate());
    let mut at = 0;
    let attacks = time(&mut group, "attacks", || {
        finder.push(&sound[at..at + hop_frames(rate())], &mut |attack| {
            black_box(attack);
        });
        at = (at + hop_frames(rate())) % (sound.len() - hop_frames(rate()));
    });
    group.finish();

    let mut group = criterion.benchmark_group("minute");
    group.sample_size(10).warm_up_time(Duration::from_secs(1)).measurement_time(Duration::from_secs(15));
    let graded = time(&mut group, "grade", || grade(&sound));
    let lived = time(&mut group, "live", || live(&sound));
    group.finish();
    criterion.final_summary();

    println!("at 48 kHz, a hop of {hop_ms:.2} ms; the shortest time of each:");
    let line = |name: &str, took: Duration| {
        let us = took.as_secs_f64() * 1e6;
        println!("  {name:<22} {us:>8.2} us   {:>6.2} times the bare FFTs", us / (bare.as_secs_f64() * 1e6));
    };
    line("bare FFTs of a hop", bare);
    line("hop, causal", causal);
    line("hop, settled", settled);
    line("hop, attacks alone", attacks);
    println!("  grade: {:.0} times real time", 60.0 / graded.as_secs_f64());
    println!("  live path: {:.2} % of one core", 100.0 * lived.as_secs_f64() / 60.0);
}
