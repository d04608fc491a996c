//! The contract of every kind of drill: what each promises in the list, and how four players fare in it.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod drill_player;

use drill_player::{Player, graded, played, scenario};
use landfall::grading::{Fault, Verdict, Word};
use landfall::practice::drills::{Chosen, KINDS, NAMED};
use landfall::practice::parameters::{Given, PARAMETERS};
use landfall::practice::plan::Plan;
use landfall::practice::stage::Stage;

fn plan(name: &str, most: usize) -> Plan {
    let mut plan = Chosen::find(name, &Given::new()).unwrap().plan(Stage::Steady, None).unwrap();
    plan.steps.truncate(most);
    plan
}

#[test]
fn every_kind_says_what_it_is_and_has_a_name_of_its_own() {
    let mut names = Vec::new();
    for kind in KINDS {
        for (what, text) in
            [("help", kind.help), ("training", kind.trains), ("end", kind.ends), ("sentence", kind.lead), ("heading", kind.title)]
        {
            assert!(text.len() > 8, "{} does not say its {what}", kind.name);
        }
        names.push(kind.name);
        for name in kind.more.iter().chain(kind.defaults.iter().map(|(name, _)| name)) {
            assert!(PARAMETERS.iter().any(|parameter| parameter.name == *name), "{}: {name} is no parameter", kind.name);
        }
        let given: Given = kind.defaults.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Chosen::find(kind.name, &given).unwrap_or_else(|error| panic!("{}: {error}", kind.name));
    }
    for named in NAMED {
        names.push(named.name);
        assert!(KINDS.iter().any(|kind| kind.name == named.kind), "{} has no kind", named.name);
        assert!(named.help.len() > 8);
    }
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "a name stands twice");
    assert!(NAMED.len() == 10 && names.iter().all(|name| name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-')));
}

#[test]
fn a_perfect_player_answers_every_step_of_every_kind_with_95_or_more() {
    let mut wrong = Vec::new();
    for kind in KINDS {
        let plan = plan(kind.name, 6);
        let attempts = graded(&plan, &played(&scenario(&plan, Player::default())), 4096);
        let steps: Vec<Option<u32>> = attempts.iter().map(|attempt| attempt.step).collect();
        if steps != (1..=plan.steps.len() as u32).map(Some).collect::<Vec<_>>() {
            wrong.push(format!("{}: answered {steps:?} of {} steps", kind.name, plan.steps.len()));
        }
        for attempt in &attempts {
            if attempt.score.is_none_or(|score| score < 95.0) || !attempt.faults.is_empty() {
                wrong.push(format!(
                    "{} step {:?}: {:?} {:?} {:?}",
                    kind.name, attempt.step, attempt.score, attempt.faults, attempt.measures
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_flat_player_is_called_short_in_every_kind() {
    let mut wrong = Vec::new();
    for kind in KINDS {
        let plan = plan(kind.name, 3);
        let attempts = graded(&plan, &played(&scenario(&plan, Player { off_cents: -26.0, ..Player::default() })), 4096);
        if attempts.len() != plan.steps.len() {
            wrong.push(format!("{}: {} attempts at {} steps", kind.name, attempts.len(), plan.steps.len()));
        }
        for attempt in &attempts {
            // A slow rise is called to have arrived on its last cents, up to 10 under its top.
            let called = matches!(Verdict::of(attempt).arrival, Some(Word::Short(22..=36)));
            let flat = attempt.faults.contains(&Fault::Flat) || attempt.faults.contains(&Fault::ShakeOff);
            if !called || !flat || attempt.step.is_none() || attempt.score.is_none_or(|score| score > 85.0) {
                wrong.push(format!("{}: {:?} {:?} {:?}", kind.name, Verdict::of(attempt), attempt.faults, attempt.score));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_late_player_is_called_late_where_there_are_beats() {
    let mut with_beats = 0;
    for kind in KINDS {
        let plan = plan(kind.name, 3);
        if plan.steps.iter().all(|step| step.parts.beat > 0.0) {
            with_beats += 1;
            let attempts = graded(&plan, &played(&scenario(&plan, Player { late_s: 0.16, ..Player::default() })), 4096);
            assert_eq!(attempts.len(), plan.steps.len(), "{}", kind.name);
            for attempt in &attempts {
                let late = attempt.measures.beat_error_ms.unwrap();
                assert!((late - 160.0).abs() < 15.0 && attempt.faults.contains(&Fault::Late), "{}: {late} {:?}", kind.name, attempt.faults);
                assert!(attempt.score.unwrap() < 85.0);
            }
        }
    }
    assert!(with_beats >= 2, "only {with_beats} kinds ask for beats");
}

#[test]
fn a_silent_player_gets_no_row_and_the_drill_ends_with_its_sound() {
    for kind in KINDS {
        assert!(graded(&plan(kind.name, 9), &vec![0.0; 48_000 * 3], 4096).is_empty(), "{}", kind.name);
    }
}

#[test]
fn rows_do_not_depend_on_how_the_sound_is_cut() {
    let plan = plan("endings", 4);
    let samples = played(&scenario(&plan, Player { off_cents: 7.0, ..Player::default() }));
    let whole = graded(&plan, &samples, samples.len());
    assert_eq!(whole, graded(&plan, &samples, 97));
    assert_eq!(whole.len(), 4);
}

#[test]
fn another_note_is_noted_without_a_step_and_the_drill_waits() {
    let plan = plan("hold", 2);
    let mut stray = plan.clone();
    let mut other = plan.steps[0].clone();
    other.place = Some(landfall::theory::Place { string: 1, fret: 12 });
    stray.steps.insert(1, other);
    let steps: Vec<Option<u32>> =
        graded(&plan, &played(&scenario(&stray, Player::default())), 4096).iter().map(|attempt| attempt.step).collect();
    assert_eq!(steps, [Some(1), None, Some(2)]);
}
