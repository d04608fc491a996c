//! One cue from the pattern of the last attempts: scripted sequences, and what is said after each attempt.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::grading::{Attempt, Fault, Measures, Technique};
use landfall::practice::advice::Easing::{Hear, No, Slower, Smaller};
use landfall::practice::advice::{Advice, Complaint};
use landfall::practice::drills::Chosen;
use landfall::practice::parameters::Given;
use landfall::practice::plan::Step;
use landfall::practice::stage::Stage;
use landfall::theory::Place;
use landfall::units::{A4, FrameTime, SampleRate};

fn step(kind: &str) -> Step {
    Chosen::find(kind, &Given::new()).unwrap().plan(Stage::Steady, None).unwrap().steps[0].clone()
}

/// What a letter of a script means: the pitch error, the error of the fretted note, and the faults on the row.
fn played(letter: char) -> (f64, f64, &'static [Fault]) {
    match letter {
        '.' => (2.0, 1.0, &[]),
        'f' => (-20.0, 1.0, &[Fault::Flat]),
        's' => (20.0, 1.0, &[Fault::Sharp]),
        'o' => (0.0, 1.0, &[Fault::Overshoot]),
        'c' => (0.0, 1.0, &[Fault::Corrected]),
        'x' => (0.0, 1.0, &[Fault::SlowToSettle]),
        'd' => (-4.0, 1.0, &[Fault::Sags]),
        'h' => (0.0, 1.0, &[Fault::ShortHold]),
        'H' => (0.0, 1.0, &[Fault::LongHold]),
        'a' => (0.0, 1.0, &[Fault::ShakeEarly]),
        'b' => (0.0, 1.0, &[Fault::ShakeLate]),
        'k' => (0.0, 1.0, &[Fault::ShortHold, Fault::ShakeShort]),
        'w' => (0.0, 1.0, &[Fault::ShakeOff]),
        'u' => (0.0, 1.0, &[Fault::ShakeUneven]),
        'r' => (0.0, 1.0, &[Fault::ReleaseSharp]),
        'l' => (0.0, 1.0, &[Fault::ReleaseLost]),
        't' | 'T' => (0.0, 1.0, &[Fault::Late]),
        'R' => (0.0, 1.0, &[Fault::SlowRise]),
        'e' => (0.0, 1.0, &[Fault::Early]),
        // The hand is right, the string is not.
        'p' => (0.0, 13.0, &[Fault::StringOff]),
        // Nor is it here, though the top is as flat as the fret.
        'P' => (-20.0, -20.0, &[Fault::Flat, Fault::StringOff]),
        other => panic!("nobody plays {other}"),
    }
}

fn attempt(step: &Step, letter: char) -> Attempt {
    let (error, origin_error, faults) = played(letter);
    let measures = Measures {
        onset_s: Some(1.0),
        hold_error_cents: Some(error),
        arrival_error_cents: Some(error),
        origin_error_cents: Some(origin_error),
        attack_beat_error_ms: (letter == 'T').then_some(160.0),
        ..Measures::default()
    };
    Attempt {
        attempt: 1,
        step: Some(1),
        instead_of: None,
        span: (FrameTime(0), FrameTime(48_000)),
        technique: Technique::Bend,
        origin_cents: Some(step.origin_cents),
        target_cents: Some(step.target_cents()),
        bend_cents: Some(step.bend_cents),
        degree: None,
        standing: None,
        measures,
        restrike: false,
        landing_cents: None,
        repicks: 0,
        score: Some(if faults.is_empty() { 97.0 } else { 60.0 }),
        faults: faults.to_vec(),
        tolerance_cents: 10.0,
        release_tolerance_cents: 12.0,
        a4: A4::default(),
        sample_rate: SampleRate::new(48_000).unwrap(),
    }
}

/// The cue after each attempt of a script.
fn cues(kind: &str, script: &str) -> Vec<Option<Complaint>> {
    let (step, mut advice) = (step(kind), Advice::default());
    script
        .chars()
        .map(|letter| {
            advice.attempt(&attempt(&step, letter), &step);
            advice.cue()
        })
        .collect()
}

/// Drill, what is played, and after which attempts which cue stands: `-` none, `!` the one named.
const SCRIPTS: &[(&str, &str, &str, Complaint)] = &[
    ("hold", ".....", "-----", Complaint::Flat),
    ("hold", "fff", "--!", Complaint::Flat),
    ("hold", "f.f.f", "----!", Complaint::Flat),
    ("hold", "ff...f", "------", Complaint::Flat),
    ("hold", "fff.f..", "--!!!!-", Complaint::Flat),
    ("hold", "fff..f.f", "--!!----", Complaint::Flat),
    ("hold", "sss", "--!", Complaint::Sharp),
    ("hold", "fsf", "--!", Complaint::Scattered),
    ("hold", "s.f.s", "----!", Complaint::Scattered),
    ("hold", "ccc", "--!", Complaint::Corrected),
    ("hold", "xxx", "--!", Complaint::Corrected),
    ("hold", "ooo", "--!", Complaint::Overshoot),
    ("hold", "ddd", "--!", Complaint::Sags),
    ("hold", "hhh", "--!", Complaint::ShortHold),
    // One of the fault, two of another, three of neither: nothing is a pattern.
    ("hold", "fodfo", "-----", Complaint::Flat),
    // Faults follow the drill: what is drawn out is never slow, and what need not be held does not sag.
    ("slow", "xxx", "---", Complaint::Corrected),
    ("slow", "RRR", "---", Complaint::LateGrace),
    ("quick", "ddd", "---", Complaint::Sags),
    ("tone", "hhh", "---", Complaint::ShortHold),
    ("quick", "hhh", "--!", Complaint::ShortHold),
    ("restrike", "hhh", "--!", Complaint::ShortHold),
    ("pre-bend", "HHH", "--!", Complaint::LongHold),
    ("shake", "aaa", "--!", Complaint::ShakeEarly),
    ("shake", "bbb", "--!", Complaint::ShakeLate),
    ("shake", "kkk", "--!", Complaint::ShakeShort),
    // The pick is late, and not the push behind it.
    ("quick", "TTT", "--!", Complaint::LatePick),
    ("restrike", "TTT", "--!", Complaint::LatePick),
    ("hold", "rrr", "---", Complaint::ReleaseSharp),
    ("hold", "ttt", "---", Complaint::LateSlow),
    ("slow", "ttt", "--!", Complaint::LateSlow),
    ("slow", "eee", "--!", Complaint::Early),
    ("quick", "RRR", "--!", Complaint::LateGrace),
    ("shake", "www", "--!", Complaint::ShakeLow),
    ("shake", "uuu", "--!", Complaint::ShakeUneven),
    ("release", "rrr", "--!", Complaint::ReleaseSharp),
    ("release", "lll", "--!", Complaint::ReleaseLost),
    ("hold", "ppp", "--!", Complaint::StringOff),
    // Fretted notes that are all flat alike are the string's fault; pressed sharp, sometimes, is the hand's.
    ("fretted", "fff", "--!", Complaint::StringOff),
    ("fretted", "s.s.s", "----!", Complaint::PressedSharp),
];

#[test]
fn each_script_gets_its_cue_when_it_is_due_and_silence_otherwise() {
    for (kind, script, expected, complaint) in SCRIPTS {
        let said: String = cues(kind, script)
            .iter()
            .map(|cue| match cue {
                None => '-',
                Some(cue) if cue == complaint => '!',
                Some(_) => '?',
            })
            .collect();
        assert_eq!(said, *expected, "{kind}: {script} ({:?})", cues(kind, script));
    }
}

#[test]
fn after_three_more_misses_the_task_gets_easier_and_as_planned_again_when_it_comes() {
    let (step, mut advice) = (step("hold"), Advice::default());
    let mut easings = Vec::new();
    for letter in "fffffffffffff..".chars() {
        advice.attempt(&attempt(&step, letter), &step);
        easings.push(advice.easing());
    }
    let expected = [No, No, No, No, No, Hear, Hear, Hear, Smaller, Smaller, Smaller, Slower, Slower, Slower, No];
    assert_eq!(easings, expected);
}

#[test]
fn nothing_gets_easier_while_a_string_is_out_for_the_hand_is_fine() {
    let (step, mut advice) = (step("hold"), Advice::default());
    for letter in "PPPPPPPPPPPPPP".chars() {
        advice.attempt(&attempt(&step, letter), &step);
        assert_eq!(advice.easing(), No);
    }
    assert_eq!(advice.sentence().as_deref(), Some("Retune string 2: its notes are all 20 cents flat. Your hand is fine."));
    // Nor do notes on another string in between make it the hand's fault.
    let other = Step { place: step.place.map(|place| Place { string: 3, ..place }), ..step.clone() };
    for step in [&other, &step, &step, &other, &step, &step, &other] {
        advice.attempt(&attempt(step, if step.place == other.place { '.' } else { 'P' }), step);
        assert_eq!((advice.cue(), advice.easing()), (Some(Complaint::StringOff), No));
    }
    // Tuned, it is no matter any more.
    advice.attempt(&attempt(&step, '.'), &step);
    assert_eq!(advice.cue(), None);
}

#[test]
fn a_string_to_tune_is_named_with_how_far_it_is_off() {
    let (step, mut advice) = (step("hold"), Advice::default());
    "ppp".chars().for_each(|letter| advice.attempt(&attempt(&step, letter), &step));
    assert_eq!(advice.sentence().as_deref(), Some("Retune string 2: its notes are all 13 cents sharp. Your hand is fine."));
}

#[test]
fn what_improved_is_named_once_a_set_and_nothing_where_nothing_did() {
    let (step, mut advice) = (step("hold"), Advice::default());
    "ffff....".chars().for_each(|letter| advice.attempt(&attempt(&step, letter), &step));
    assert_eq!(advice.end_set().as_deref(), Some("Nearer to the note: 20 cents off at first, 2 at the end of the set."));
    assert_eq!(advice.end_set(), None);
    "........".chars().for_each(|letter| advice.attempt(&attempt(&step, letter), &step));
    assert_eq!(advice.end_set(), None);
}

#[test]
fn a_smaller_bend_that_comes_nearer_is_no_improvement() {
    let whole = step("hold");
    let half = Step { bend_cents: 100.0, ..whole.clone() };
    let off = |step: &Step, cents: f64| {
        let mut attempt = attempt(step, 'f');
        attempt.measures.hold_error_cents = Some(cents);
        attempt
    };
    let told = |played: &[(&Step, f64)]| {
        let mut advice = Advice::default();
        for (step, cents) in played {
            advice.attempt(&off(step, *cents), step);
        }
        advice.end_set()
    };
    let (far, near) = ((&whole, -75.0), (&half, -25.0));
    assert_eq!(told(&[far, far, far, far, far, near, near, near]), None);
    let nearer = Some("Nearer to the note: 75 cents off at first, 25 at the end of the set.".to_owned());
    let (far, near) = ((&whole, -75.0), (&whole, -25.0));
    assert_eq!(told(&[far, far, (&half, -40.0), (&half, -40.0), near, near]), nearer);
    assert_eq!(told(&[far, far, far, near, near, near]), nearer);
}

#[test]
fn every_complaint_has_a_sentence_that_fits_on_a_line() {
    for complaint in Complaint::ALL {
        assert!((10..=79).contains(&complaint.say().chars().count()), "{complaint:?}");
        assert!(complaint.say().ends_with('.') && !complaint.heard().is_empty());
    }
}
