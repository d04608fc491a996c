//! Somebody who plays a drill: from the steps of its plan to a scenario for the synthesiser.

use landfall::grading::{Attempt, Technique};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::practice::course::Course;
use landfall::practice::in_time::InTime;
use landfall::practice::plan::{Gesture, Plan, Step};
use landfall::sound::Block;
use landfall::sound::synth::{Scenario, render};
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};
use std::fmt::Write;
use std::sync::Arc;

/// How somebody plays.
#[derive(Clone, Copy, Debug, Default)]
pub struct Player {
    /// Every pitch that the hand makes is off by so many cents.
    pub off_cents: f64,
    /// Every top comes so many seconds after its time; where the pick is wanted on a beat, the pick.
    pub late_s: f64,
    /// A climb over beats is halfway after this share of its time; `None` is an even one.
    pub halfway: Option<f64>,
    /// Every hold lasts so many seconds longer than it should.
    pub longer_s: f64,
    /// And where it is shaken, its straight and its shaken part.
    pub straight_longer_s: f64,
    pub shaken_longer_s: f64,
}

/// What it is to play a whole plan to a click that begins with the take: every pick on a beat, as far as the player is not late.
pub fn scenario_to_a_click(plan: &Plan, player: Player, beat_s: f64) -> String {
    laid_out(plan, player, |ready_s| (ready_s / beat_s).ceil() * beat_s + player.late_s)
}

/// What it is to play a whole plan.
pub fn scenario(plan: &Plan, player: Player) -> String {
    laid_out(plan, player, |ready_s| ready_s)
}

/// `picked`: when a player who is ready picks.
fn laid_out(plan: &Plan, player: Player, picked: impl Fn(f64) -> f64) -> String {
    let mut text = "title = \"a drill\"\nseed = 3\n[tone]\nglide_cents = 1.0\n".to_owned();
    let mut at_s = 0.5;
    for step in &plan.steps {
        at_s = picked(at_s);
        at_s += note(&mut text, step, player, at_s) + 1.1;
    }
    text
}

/// Writes one attempt; how long it lasts.
fn note(text: &mut String, step: &Step, player: Player, at_s: f64) -> f64 {
    let place = step.place.expect("the player needs a place");
    let top = step.bend_cents + player.off_cents;
    let rise_s = step.beats.and_then(|beats| Some(beats.rise? * beats.beat_s()));
    // A straight rise is within 10 cents of its end after this share of it.
    let share = if top > 20.0 { 1.0 - 10.0 / top } else { 1.0 };
    let (begins, takes) = match rise_s {
        // A beat from the pick to the top: the push itself is short.
        Some(rise) if rise < 1.5 => (rise + player.late_s - 0.2 * share, 0.2),
        // An even climb, the note itself on the beat.
        Some(rise) if step.parts.evenness > 0.0 => (0.3, rise + player.late_s - 0.3),
        Some(rise) => (0.3, (rise + player.late_s - 0.3) / share),
        None => (0.25, 0.11),
    };
    // Of an even climb the note itself counts.
    let arrives = begins + if step.parts.evenness > 0.0 { takes } else { takes * share };
    // What need not end at a given time may last a little longer.
    let more_s = if step.hold_within_s.is_some() { 0.0 } else { 0.15 };
    let straight_s = step.shake.map_or(0.0, |shake| shake.straight_s + player.straight_longer_s);
    let asked_s = step.shake.map_or(step.hold_s.unwrap_or(0.8), |shake| straight_s + shake.shaken_s + player.shaken_longer_s);
    let hold_s = asked_s + more_s + player.longer_s;
    let gesture = match step.gesture {
        Gesture::Plain => None,
        Gesture::Bend(technique) => Some(technique),
    };
    let pre = gesture.is_some_and(Technique::is_pre_bend);
    let held_until = if pre {
        step.hold_s.unwrap_or(1.0) + player.longer_s
    } else if gesture.is_none() {
        hold_s
    } else {
        arrives + hold_s
    };
    let released = gesture.is_some_and(Technique::is_released);
    let ends = held_until + if released { 1.0 } else { 0.0 } + if step.restrike { 0.9 } else { 0.0 };
    write!(text, "[[note]]\nat_s = {at_s:.4}\nstring = {}\nfret = {}\ndamped_s = {ends:.4}\n", place.string, place.fret).unwrap();
    match gesture {
        None => writeln!(text, "detune_cents = {:.3}", player.off_cents).unwrap(),
        Some(_) if pre => writeln!(text, "pre_bend_cents = {top:.3}").unwrap(),
        Some(_) => {
            let mut climb = |at_s: f64, to: f64, takes_s: f64| {
                write!(
                    text,
                    "[[note.then]]\nhand = \"bend\"\nat_s = {at_s:.4}\ncents = {to:.3}\ntakes_ms = {:.3}\nshape = \"straight\"\n",
                    1000.0 * takes_s
                )
                .unwrap();
            };
            match player.halfway.filter(|_| step.parts.evenness > 0.0) {
                Some(share) => {
                    climb(begins, top / 2.0, share * takes);
                    climb(begins + share * takes, top, (1.0 - share) * takes);
                }
                None => climb(begins, top, takes),
            }
        }
    }
    if let Some(shake) = step.shake {
        let (from, swing) = if gesture.is_none() { (straight_s, "above") } else { (arrives + straight_s, "both") };
        let wide = f64::midpoint(shake.cents.0, shake.cents.1);
        write!(
            text,
            "[[note.then]]\nhand = \"vibrato\"\nat_s = {from:.4}\nrate_hz = 5.3\nhalf_width_cents = {wide:.2}\nswing = \"{swing}\"\n"
        )
        .unwrap();
    }
    if released {
        write!(text, "[[note.then]]\nhand = \"release\"\nat_s = {held_until:.4}\ntakes_ms = 220.0\n").unwrap();
    }
    if step.restrike {
        write!(text, "[[note.then]]\nhand = \"pick\"\nat_s = {:.4}\n", held_until + 0.75).unwrap();
    }
    ends
}

/// Samples of a scenario.
pub fn played(text: &str) -> Vec<f32> {
    render(&Scenario::from_toml(text).unwrap_or_else(|error| panic!("{error}\n{text}"))).unwrap().samples
}

/// The attempts of a take, heard in blocks of `size` by the loop that live runs and grading share.
pub fn graded(plan: &Plan, samples: &[f32], size: usize) -> Vec<Attempt> {
    graded_in_time(plan, None, samples, size)
}

/// The same beside a click.
pub fn graded_in_time(plan: &Plan, in_time: Option<InTime>, samples: &[f32], size: usize) -> Vec<Attempt> {
    let rate = SampleRate::new(48_000).unwrap();
    let mut settled = SettledLoop::new(rate, A4::default(), Course::new(Arc::new(plan.clone()), &[]).in_time(in_time));
    let mut attempts = Vec::new();
    let mut start = 0;
    for samples in samples.chunks(size) {
        let block = Block { start: FrameTime(start), samples, lost_before: FrameSpan(0), faults: &[] };
        settled.hear(&block, &mut |attempt| attempts.push(attempt));
        start += samples.len() as u64;
    }
    settled.finish(&mut |attempt| attempts.push(attempt));
    attempts
}
