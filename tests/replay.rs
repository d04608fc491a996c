//! The last bend played again: what sounds is read back, and has the pitch that was played, overshoot, sinking hold and shake included; then the one that
//! should have been, as long in its rise.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::{Attempt, Wish};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::pitch::Tracker;
use landfall::pitch::settled::Settled;
use landfall::practice::replay::{as_it_was, replay};
use landfall::sound::Block;
use landfall::sound::out::{Level, Mixer, Part};
use landfall::sound::synth::{Scenario, Truth, render};
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};

/// G4, pushed slowly and 30 cents too far, held 12 cents flat and sinking, shaken at its end, let down 20 cents sharp.
const BEND: &str = r#"
title = "a bend with everything"
seed = 5
length_s = 4.5
[tone]
glide_cents = 0.0
[[note]]
at_s = 0.5
string = 2
fret = 8
damped_s = 3.4
[[note.then]]
hand = "bend"
at_s = 0.4
cents = 188.0
takes_ms = 420.0
overshoot_cents = 30.0
settle_ms = 120.0
drift_cents_per_s = -12.0
[[note.then]]
hand = "vibrato"
at_s = 1.6
until_s = 2.5
rate_hz = 5.0
half_width_cents = 18.0
[[note.then]]
hand = "release"
at_s = 2.6
lands_cents = 20.0
takes_ms = 200.0
"#;

fn rate() -> SampleRate {
    SampleRate::new(48_000).unwrap()
}

/// The attempt, the pitch that was kept of it, and what is true.
fn played() -> (Attempt, Vec<(f64, f64)>, Truth) {
    let rendered = render(&Scenario::from_toml(BEND).unwrap()).unwrap();
    let mut heard = SettledLoop::new(rate(), A4::default(), Wish::default());
    let mut attempts = Vec::new();
    for (n, samples) in rendered.samples.chunks(1024).enumerate() {
        let block = Block { start: FrameTime(n as u64 * 1024), samples, lost_before: FrameSpan(0), faults: &[] };
        heard.hear(&block, &mut |attempt| attempts.push(attempt));
    }
    heard.finish(&mut |attempt| attempts.push(attempt));
    assert_eq!(attempts.len(), 1);
    let curve = heard.curve(&attempts[0]);
    (attempts.remove(0), curve, rendered.truth)
}

/// What sounds, through the mixer in blocks of a size, and the seconds at which each pitch was read back from it.
fn sounded(part: Box<dyn Part>, seconds: f64, size: usize) -> (Vec<f32>, Vec<(f64, f64)>) {
    let mut mixer = Mixer::new(rate());
    mixer.set_level(Level::db(0.0).unwrap());
    mixer.add(part, FrameTime(0));
    let mut samples = vec![0.0; (seconds * rate().as_f64()) as usize];
    samples.chunks_mut(size).for_each(|block| mixer.render(block));
    assert!(mixer.is_over(), "nothing of it is left");
    let (mut tracker, mut read) = (Settled::new(rate()), Vec::new());
    let mut keep =
        |reading: landfall::pitch::Reading| read.extend(reading.hz().map(|hz| (reading.at.seconds(rate()), A4::default().cents(hz))));
    tracker.push(&samples, &mut keep);
    tracker.finish(&mut keep);
    (samples, read)
}

#[test]
fn the_bend_sounds_again_as_it_was_and_then_as_it_should_be_in_the_same_time() {
    let (attempt, curve, truth) = played();
    let part = replay(&attempt, &curve, rate(), A4::default()).unwrap();
    let lasts_s = part.length_s();
    let (samples, read) = sounded(Box::new(part.clone()), lasts_s + 0.5, 512);
    assert_eq!(samples, sounded(Box::new(part), lasts_s + 0.5, 331).0, "blocks change nothing");

    let (onset, end) = (attempt.span.0, as_it_was(&attempt, &curve).last().unwrap().0);
    let wanted = |at_s: f64| truth.cents(onset.0 + rate().span(at_s).0).unwrap();
    let mut off: Vec<f64> =
        read.iter().filter(|(at, _)| (0.1..end - 0.05).contains(at)).map(|(at, cents)| (cents - wanted(*at)).abs()).collect();
    off.sort_by(f64::total_cmp);
    assert!(off.len() > 900, "{} readings of {end:.2} s", off.len());
    // Let down, it falls by a cent each millisecond: what both readings smooth there is the tenth that is left out.
    let (most, worst) = (off[off.len() * 90 / 100], off[off.len() - 1]);
    assert!(most < 2.0 && worst < 15.0, "90 of 100: {most:.2} c, worst {worst:.2} c");
    // Not two steady tones: the overshoot, the sinking and the swings are in it.
    let inside = |from: f64, to: f64| read.iter().filter(move |(at, _)| (from..to).contains(at)).map(|(_, cents)| *cents);
    let highest = inside(0.7, 1.0).fold(f64::MIN, f64::max);
    assert!((highest - 6700.0 - 218.0).abs() < 4.0, "pushed to 218 cents, sounds {:.1}", highest - 6700.0);
    let swings = inside(1.8, 2.4).fold(f64::MIN, f64::max) - inside(1.8, 2.4).fold(f64::MAX, f64::min);
    assert!((swings - 36.0).abs() < 8.0, "shaken by 36 cents and what it sinks, sounds {swings:.1}");

    let second: Vec<(f64, f64)> = read.iter().filter(|(at, _)| *at > end + 0.3).map(|(at, cents)| (at - end - 0.5, *cents)).collect();
    let first_near = |of: f64| second.iter().find(|(_, cents)| (cents - of).abs() <= 10.0).unwrap().0;
    let top = first_near(6900.0);
    let left = second.iter().take_while(|(at, _)| *at < top).filter(|(_, cents)| (cents - 6700.0).abs() <= 10.0).last().unwrap().0;
    let rise_ms = attempt.measures.rise_ms.unwrap();
    assert!((1000.0 * (top - left) - rise_ms).abs() < 12.0, "rises in {:.0} ms, played in {rise_ms:.0}", 1000.0 * (top - left));
    let until = attempt.measures.release_start_s.unwrap() - onset.seconds(rate());
    for (at, cents) in &second {
        if (top + 0.1..until - 0.05).contains(at) {
            assert!((cents - 6900.0).abs() < 0.5, "held at {at:.2} s: {cents:.1}");
        }
    }
    let last = second.iter().rev().nth(60).unwrap().1;
    assert!((last - 6700.0).abs() < 1.0, "home: {last:.1}");
}

#[test]
fn whoever_closes_ears_hears_how_long_both_sound() {
    let (attempt, curve, _) = played();
    let mut part = replay(&attempt, &curve, rate(), A4::default()).unwrap();
    let lasts_s = part.length_s();
    let mut events = Vec::new();
    part.events(FrameTime(u64::MAX), &mut |event| events.push(event));
    assert_eq!(events.len(), 2);
    assert!(events.iter().all(|event| event.gain == 0.0));
    let end = (events[1].at + events[1].heard(rate())).seconds(rate());
    assert!((end - lasts_s).abs() < 0.01, "{end} of {lasts_s}");
}

#[test]
fn a_note_that_was_not_bent_is_not_replayed() {
    let (attempt, curve, _) = played();
    let plain = Attempt { target_cents: attempt.origin_cents, ..attempt.clone() };
    assert!(replay(&plain, &curve, rate(), A4::default()).is_none());
    assert!(replay(&attempt, &[], rate(), A4::default()).is_none());
}
