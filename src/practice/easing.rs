//! A step made easier where it does not come: towards the same note over the same chord.

use super::advice::Easing;
use super::drills::SLOWEST_CENTS_PER_S;
use super::plan::{Beats, Hear, Step};

/// The tempo of a step that has more time, as a share of its own.
const SLOWER: f64 = 0.8;

/// A step made easier: first the note to reach is heard, then the bend to it is smaller, from a fret higher, then there is more time for it. Target and
/// chord stay what they are. A bend made before the pick stays as wide: from which fret it was is told by its landing alone. A click does not wait:
/// beside one the beats stay as they are.
pub(super) fn eased(step: &Step, easing: Easing, frets: u8, clicked: bool) -> Step {
    let mut step = step.clone();
    if easing >= Easing::Hear && step.hear == Hear::Nothing {
        step.hear = Hear::Target;
    }
    let has_room = step.place.is_some_and(|place| place.fret < frets);
    if easing >= Easing::Smaller && step.bend_cents >= 200.0 && has_room && !step.is_pre_bend() {
        step = Some(step.from_higher(1)).filter(can_be_told).unwrap_or(step);
    }
    if easing >= Easing::Slower {
        step.rise_ms = step.rise_ms.map(|ms| 1.5 * ms);
        if !clicked {
            step.beats = step.beats.map(|beats| Beats { tempo: SLOWER * beats.tempo, ..beats });
            if step.hold_within_s.is_some() {
                (step.hold_s, step.hold_within_s) = (step.hold_s.map(|s| s / SLOWER), step.hold_within_s.map(|s| s / SLOWER));
            }
        }
    }
    step
}

/// Whether a climb that is drawn out over beats still goes up fast enough to be told from a drift.
fn can_be_told(step: &Step) -> bool {
    let rise_s = step.beats.and_then(|beats| Some(beats.rise? * beats.beat_s())).filter(|_| step.parts.evenness > 0.0);
    rise_s.is_none_or(|rise_s| step.bend_cents >= SLOWEST_CENTS_PER_S * rise_s)
}

/// What has become easier, as a sentence; `None` where nothing has.
pub(super) fn easier(planned: &Step, asked: &Step) -> Option<String> {
    let heard = asked.hear != planned.hear;
    let smaller = asked.bend_cents < planned.bend_cents;
    let slower = asked.rise_ms != planned.rise_ms || asked.beats != planned.beats;
    if heard && !smaller && !slower {
        return Some("Easier now: hear the note first, then bend.".to_owned());
    }
    let words = [(heard, "the note first"), (smaller, "a smaller bend to the same note"), (slower, "more time")];
    let words: Vec<&str> = words.into_iter().filter_map(|(is, words)| is.then_some(words)).collect();
    let (last, before) = words.split_last()?;
    Some(if before.is_empty() { format!("Easier now: {last}.") } else { format!("Easier now: {}, and {last}.", before.join(", ")) })
}

#[cfg(test)]
mod tests {
    use super::super::drills::Chosen;
    use super::super::parameters::Given;
    use super::super::stage::Stage;
    use super::*;

    #[test]
    fn a_step_made_easier_is_heard_first_then_smaller_then_slower() {
        let plan = Chosen::find("slow", &Given::new()).unwrap().plan(Stage::Steady, None).unwrap();
        let step = &plan.steps[0];
        let eased = |easing| eased(step, easing, 22, false);
        assert_eq!(&eased(Easing::No), step);
        assert_eq!(eased(Easing::Hear).hear, Hear::Target);
        // From E4 at fret 9 to F#4; the same F#4 from a fret higher.
        let smaller = eased(Easing::Smaller);
        assert_eq!((smaller.bend_cents, smaller.origin.as_str(), smaller.target.as_str()), (100.0, "F4", "F#4"));
        assert_eq!((smaller.place.unwrap().string, smaller.place.unwrap().fret), (3, 10));
        assert!(eased(Easing::Slower).beats.unwrap().tempo < step.beats.unwrap().tempo);
    }

    #[test]
    fn what_has_become_easier_is_said_and_nothing_that_has_not() {
        let said = |drill: &str, size: &str, easing| {
            let given = Given::from([("sizes".to_owned(), size.to_owned())]);
            let plan = Chosen::find(drill, &given).unwrap().plan(Stage::Steady, None).unwrap();
            easier(&plan.steps[0], &eased(&plan.steps[0], easing, plan.frets, false)).unwrap_or_default()
        };
        assert_eq!(said("hold", "whole", Easing::No), "");
        assert_eq!(said("hold", "whole", Easing::Hear), "Easier now: hear the note first, then bend.");
        assert_eq!(said("hold", "whole", Easing::Smaller), "Easier now: the note first, and a smaller bend to the same note.");
        assert_eq!(said("hold", "half", Easing::Slower), "Easier now: hear the note first, then bend.");
        assert_eq!(said("match", "half", Easing::Slower), "");
        let all = said("quick", "whole", Easing::Slower);
        assert_eq!(all, "Easier now: the note first, a smaller bend to the same note, and more time.");
        assert!(all.len() <= 79);
    }

    #[test]
    fn a_bend_is_made_no_smaller_where_the_neck_ends_nor_before_the_pick() {
        let smaller = |drill: &str, frets: &str| {
            let given = Given::from([("places".to_owned(), "2/12".to_owned()), ("frets".to_owned(), frets.to_owned())]);
            let plan = Chosen::find(drill, &given).unwrap().plan(Stage::Steady, None).unwrap();
            eased(&plan.steps[0], Easing::Smaller, plan.frets, false).bend_cents
        };
        assert_eq!((smaller("hold", "12"), smaller("hold", "13"), smaller("pre-bend", "22")), (200.0, 100.0, 200.0));
        // A half step in ten seconds would be a drift.
        let given = Given::from([("beats".to_owned(), "10".to_owned())]);
        let plan = Chosen::find("slow", &given).unwrap().plan(Stage::Steady, None).unwrap();
        assert_eq!(eased(&plan.steps[0], Easing::Smaller, plan.frets, false), eased(&plan.steps[0], Easing::Hear, plan.frets, false));
    }
}
