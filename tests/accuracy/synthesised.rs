//! The scenarios of `test_signals/scenarios/accuracy`, played by the synthesiser, which knows what is true of every sample.

use super::truth::{BAND, Bend, Curve, Piece};
use landfall::grading::Technique;
use landfall::sound::synth::{Cause, Gesture, Happening, Note, Rendered, Scenario, Swing, TrueBend, render};
use landfall::units::SampleRate;
use std::fs;
use std::path::Path;

/// Softer than this, a tail is not judged, dBFS.
const SOFTEST: f64 = -60.0;

/// The scenarios with bends, in the order of their names.
pub fn bends() -> Vec<Scenario> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("test_signals/scenarios/accuracy");
    let mut files: Vec<_> =
        fs::read_dir(folder).expect("the scenarios are there").map(|entry| entry.expect("a folder can be read").path()).collect();
    files.sort();
    files.retain(|path| !path.ends_with("every_note.toml"));
    files.iter().map(|path| scenario(&fs::read_to_string(path).expect("a scenario is text"), &path.display().to_string())).collect()
}

/// Every note of the neck, without bends.
pub fn every_note() -> Scenario {
    scenario(include_str!("../../test_signals/scenarios/accuracy/every_note.toml"), "every_note.toml")
}

fn scenario(text: &str, name: &str) -> Scenario {
    Scenario::from_toml(text).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Plays it.
pub fn piece(scenario: &Scenario) -> Piece {
    let Rendered { samples, truth } = render(scenario).unwrap_or_else(|error| panic!("{}: {error}", scenario.title));
    let rate = truth.rate();
    let frame = |millisecond: usize| (millisecond as f64 * rate.as_f64() / 1000.0).round() as u64;
    let last = (samples.len() as f64 / rate.as_f64() * 1000.0) as usize;
    let mut pitch = Curve::new((0..last).map(|ms| truth.cents(frame(ms))).collect());
    let events = truth.events();
    let (mut strokes, mut attack) = (Vec::new(), 0.0);
    for event in &events {
        let at = event.at.seconds(rate);
        match event.what {
            Happening::Onset(cause) => {
                match cause {
                    Cause::Pick | Cause::Again => strokes.push(at),
                    Cause::Hammer => pitch.leave_out(at - 0.02, at),
                    Cause::Slide => pitch.leave_out(at - 0.1, at),
                }
                attack = at;
            }
            Happening::End => pitch.judge(attack, at),
            _ => {}
        }
    }
    // A note is judged from its last attack to its end; what lies before a hammer-on or slide is short and stays out.
    for (ms, judged) in pitch.judged.iter_mut().enumerate() {
        *judged &= truth.level_dbfs(frame(ms)).is_some_and(|level| level >= SOFTEST);
    }
    let note_of = |bend: &TrueBend| {
        let at = bend.onset.seconds(rate);
        scenario.notes.iter().min_by(|a, b| (a.at_s - at).abs().total_cmp(&(b.at_s - at).abs())).expect("a bend has a note")
    };
    Piece {
        name: scenario.title.clone(),
        clean: scenario.noise.is_none()
            && scenario.hum.is_none()
            && scenario.drive.is_none()
            && scenario.pad.is_empty()
            && scenario.ringing.is_empty(),
        bends: truth.bends().iter().map(|bend| wanted(bend, note_of(bend), rate, &pitch)).collect(),
        strokes,
        rate,
        samples,
        pitch,
    }
}

fn wanted(bend: &TrueBend, note: &Note, rate: SampleRate, pitch: &Curve) -> Bend {
    let seconds = |at: landfall::units::FrameTime| at.seconds(rate);
    // A hammer-on or slide before the bend is the attack of the note that is bent: the last fret is reached in 4 ms.
    let approach = note.gestures.iter().find_map(|gesture| match *gesture {
        Gesture::Hammer { at_s, .. } => Some((at_s, at_s + 0.004)),
        Gesture::Slide { at_s, takes_ms, .. } => Some((at_s + takes_ms / 1000.0 - 0.004, at_s + takes_ms / 1000.0)),
        _ => None,
    });
    let onset = seconds(bend.onset);
    let shaken_sideways =
        note.gestures.iter().any(|gesture| matches!(gesture, Gesture::Vibrato { swing: Swing::Above | Swing::Below, .. }));
    assert!(!shaken_sideways, "the centre of such a vibrato is not the held pitch");
    let arrival = seconds(bend.arrival);
    let hold_end = seconds(bend.release_start.unwrap_or(bend.hold_end));
    let again = match (bend.start, bend.vibrato) {
        (Some(start), None) => pitch.arrival(seconds(start), hold_end, bend.settled_cents),
        _ => (arrival, arrival),
    };
    // A shaken bend is let go where it falls out of its own swing.
    let release_start = bend.release_start.map(|at| match bend.vibrato {
        Some((_, half)) => pitch.last_while(seconds(at) - 0.03, seconds(at) + 0.4, |cents| cents >= bend.held_cents - half - BAND),
        None => seconds(at),
    });
    Bend {
        technique: Technique::of(bend.pre_bend, bend.release_start.is_some()),
        attack: approach.map_or((onset, onset), |(from, until)| (onset + from, onset + until)),
        start: bend.start.map(seconds),
        arrival: (arrival.min(again.0), arrival.max(again.1)),
        held: bend.held_cents,
        hold_end,
        overshoot: bend.overshoot_cents.filter(|_| pushed_over(note)),
        release_start,
        landing: bend.landing_cents,
        picked_again: note.gestures.iter().any(|gesture| matches!(gesture, Gesture::Pick { .. })),
        vibrato: bend.vibrato,
    }
}

fn pushed_over(note: &Note) -> bool {
    note.gestures.iter().any(|gesture| matches!(gesture, Gesture::Bend { overshoot_cents, .. } if *overshoot_cents > 0.0))
}
