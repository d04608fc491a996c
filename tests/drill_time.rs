//! What a drill asks for on paper is what is asked and measured: its sets, how long a bend is held, how long it is straight before it is shaken and how
//! long shaken, where the pick lies, and how slowly a bend may climb.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod drill_player;

use drill_player::{Player, graded, graded_in_time, played, scenario, scenario_to_a_click};
use landfall::grading::Fault;
use landfall::practice::drills::{Chosen, KINDS};
use landfall::practice::in_time::{Grid, InTime};
use landfall::practice::parameters::Given;
use landfall::practice::plan::Plan;
use landfall::practice::play::On;
use landfall::practice::stage::Stage;
use std::sync::Arc;

const LENGTHS: [Fault; 5] = [Fault::ShortHold, Fault::LongHold, Fault::ShakeEarly, Fault::ShakeLate, Fault::ShakeShort];

fn plan(name: &str, most: usize) -> Plan {
    let mut plan = Chosen::find(name, &Given::new()).unwrap().plan(Stage::Steady, None).unwrap();
    plan.steps.truncate(most);
    plan
}

/// Holds by so many seconds longer than the drill asks for, and what is wrong with them.
const HOLDS: &[(&str, f64, Option<Fault>)] = &[
    // One beat at 60.
    ("down-and-again", 0.0, None),
    ("down-and-again", -0.2, None),
    ("down-and-again", 0.2, None),
    ("down-and-again", -0.4, Some(Fault::ShortHold)),
    ("down-and-again", -0.8, Some(Fault::ShortHold)),
    ("down-and-again", 3.0, Some(Fault::LongHold)),
    ("silent-pre-bend", 0.0, None),
    ("silent-pre-bend", -0.7, Some(Fault::ShortHold)),
    ("silent-pre-bend", 3.0, Some(Fault::LongHold)),
    ("slow-climb", 0.0, None),
    ("slow-climb", -0.5, Some(Fault::ShortHold)),
    ("slow-climb", 1.5, None),
    ("grace-bend", 0.0, None),
    ("grace-bend", -0.5, Some(Fault::ShortHold)),
    ("grace-bend", 1.5, None),
    // Two beats at 58.
    ("thirds", 0.0, None),
    ("thirds", -1.0, Some(Fault::ShortHold)),
    ("thirds", 1.5, None),
    // Seconds, not beats: whoever holds on does no harm, as above where nothing is let down on a beat.
    ("bend-and-hold", 1.5, None),
];

/// The straight and the shaken part of a shake by so many seconds longer, and what is wrong with it.
const SHAKES: &[(&str, f64, f64, Option<Fault>)] = &[
    // A second straight, two shaken.
    ("straight-then-shake", 0.0, 0.0, None),
    ("straight-then-shake", -0.3, 1.0, None),
    ("straight-then-shake", -0.96, 0.0, Some(Fault::ShakeEarly)),
    ("straight-then-shake", 1.2, 0.0, Some(Fault::ShakeLate)),
    ("straight-then-shake", 0.0, -1.4, Some(Fault::ShakeShort)),
    ("straight-then-shake", 1.4, -1.4, Some(Fault::ShakeShort)),
    // Half a second straight, two shaken.
    ("fret-shake", 0.0, 0.0, None),
    ("fret-shake", -0.45, 0.0, Some(Fault::ShakeEarly)),
    ("fret-shake", 0.0, -1.4, Some(Fault::ShakeShort)),
];

/// What is not right in two attempts at a drill by this player, where `wanted` is wrong with them.
fn heard(drill: &str, player: Player, wanted: Option<Fault>) -> Vec<String> {
    let plan = plan(drill, 2);
    let attempts = graded(&plan, &played(&scenario(&plan, player)), 4096);
    let mut wrong = Vec::new();
    if attempts.len() != 2 {
        wrong.push(format!("{drill} {player:?}: {} attempts", attempts.len()));
    }
    for attempt in &attempts {
        let about: Vec<Fault> = attempt.faults.iter().copied().filter(|fault| LENGTHS.contains(fault)).collect();
        let told = wanted.map_or(about.is_empty(), |fault| about.contains(&fault));
        let score = attempt.score.unwrap();
        if !told || (score < 92.0) != wanted.is_some() {
            let m = &attempt.measures;
            wrong.push(format!("{drill} {player:?}: {about:?} {score:.1}, held {:?}, straight {:?}", m.hold_s, m.vibrato_delay_s));
        }
    }
    wrong
}

#[test]
fn sets_have_the_stages_number_of_attempts_and_a_drill_of_nine_is_one_set() {
    let unseen = |drill: &str, attempts: Option<&str>, stage| {
        let given: Given = attempts.iter().map(|count| ("attempts".to_owned(), (*count).to_owned())).collect();
        let plan = Chosen::find(drill, &given).unwrap().plan(stage, None).unwrap();
        let unseen = plan.steps.iter().enumerate().filter(|(_, step)| step.unseen).map(|(index, _)| index + 1).collect::<Vec<_>>();
        (plan.set, unseen)
    };
    assert_eq!(unseen("hold", Some("20"), Stage::Starting), (6, vec![1, 6, 7, 12, 13, 18, 19, 20]));
    for stage in [Stage::Steady, Stage::Strong] {
        assert_eq!(unseen("hold", Some("20"), stage), (8, vec![1, 8, 9, 16, 17, 20]));
    }
    for stage in Stage::ALL {
        for drill in ["three-sizes", "one-pitch-three-places", "thirds"] {
            assert_eq!(unseen(drill, None, stage).0, 9, "{drill}");
        }
        assert_eq!(unseen("thirds", None, stage).1, [1, 9]);
    }
}

#[test]
fn a_hold_that_is_counted_in_beats_is_wrong_where_it_is_much_shorter_or_longer() {
    let play = |&(drill, longer_s, wanted): &(&str, f64, Option<Fault>)| heard(drill, Player { longer_s, ..Player::default() }, wanted);
    let wrong: Vec<String> = HOLDS.iter().flat_map(play).collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_shake_is_wrong_that_begins_at_once_or_late_or_dies_away() {
    let wrong: Vec<String> = SHAKES
        .iter()
        .flat_map(|&(drill, straight_longer_s, shaken_longer_s, wanted)| {
            heard(drill, Player { straight_longer_s, shaken_longer_s, ..Player::default() }, wanted)
        })
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_late_pick_is_called_late_where_the_pick_is_wanted_on_the_beat() {
    let mut kinds = Vec::new();
    for kind in KINDS {
        let plan = plan(kind.name, 3);
        let Some(grid) = Grid::of(&plan).filter(|grid| grid.on() == On::Pick) else { continue };
        kinds.push(kind.name);
        for late_s in [0.0, 0.16] {
            let scenario = scenario_to_a_click(&plan, Player { late_s, ..Player::default() }, grid.beat_s());
            let in_time = InTime::new(grid.clone(), Arc::new(Some), false);
            let attempts = graded_in_time(&plan, Some(in_time), &played(&scenario), 4096);
            assert_eq!(attempts.len(), 3, "{}", kind.name);
            for attempt in &attempts {
                let late = attempt.measures.attack_beat_error_ms.unwrap();
                let (right, is_late) = ((late - 1000.0 * late_s).abs() < 3.0, attempt.faults.contains(&Fault::Late));
                assert!(right && is_late == (late_s > 0.0), "{} {late_s}: {late} {:?}", kind.name, attempt.faults);
                assert_eq!(attempt.measures.beat_error_ms, None, "{}: its top is wanted on no beat", kind.name);
            }
        }
    }
    assert_eq!(kinds, ["quick", "restrike", "pre-bend"]);
}

/// A climb over beats: bend, beats, tempo.
fn climb(bend: &str, beats: &str, tempo: &str, stage: Stage) -> Plan {
    let given = [("sizes", bend), ("beats", beats), ("tempo", tempo), ("attempts", "2")];
    let given: Given = given.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    Chosen::find("slow", &given).unwrap().plan(stage, None).unwrap()
}

#[test]
fn a_climb_is_heard_however_slow_a_drill_may_ask_for_it() {
    for (bend, beats, tempo) in [("half", "4", "60"), ("half", "4", "40"), ("whole", "6", "60"), ("whole", "4", "50")] {
        for stage in [Stage::Starting, Stage::Steady, Stage::Strong] {
            let plan = climb(bend, beats, tempo, stage);
            let attempts = graded(&plan, &played(&scenario(&plan, Player::default())), 4096);
            let what = format!("{bend} over {beats} at {tempo}");
            assert_eq!(attempts.iter().map(|attempt| attempt.step).collect::<Vec<_>>(), [Some(1), Some(2)], "{what}");
            for attempt in attempts {
                assert!(attempt.score.unwrap() >= 95.0 && attempt.faults.is_empty(), "{what}: {:?} {:?}", attempt.score, attempt.faults);
                assert!(attempt.measures.late_ms().unwrap().abs() < 25.0, "{what}: {:?}", attempt.measures);
            }
        }
    }
    let given: Given = [("sizes", "half"), ("beats", "8")].iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    let refused = Chosen::find("slow", &given).unwrap().plan(Stage::Steady, None).unwrap_err().to_string();
    assert!(refused.contains("fewer beats") && refused.contains("6.2 s"), "{refused}");
}

#[test]
fn a_climb_that_rushes_and_then_crawls_is_uneven_and_not_short() {
    for halfway in [0.30, 0.25, 0.20] {
        let plan = climb("whole", "4", "60", Stage::Steady);
        let attempts = graded(&plan, &played(&scenario(&plan, Player { halfway: Some(halfway), ..Player::default() })), 4096);
        assert_eq!(attempts.len(), 2, "halfway at {halfway}");
        for attempt in attempts {
            let m = &attempt.measures;
            assert_eq!(attempt.faults, [Fault::UnevenRise], "halfway at {halfway}: {m:?}");
            assert!(m.hold_error_cents.unwrap().abs() < 2.0 && m.beat_error_ms.unwrap().abs() < 400.0, "halfway at {halfway}: {m:?}");
        }
    }
}
