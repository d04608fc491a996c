//! The way through a drill: which step an attempt answers.
//!
//! It depends on the attempts before and on what was told between them, each at its instant of the take, and on no clock: grading the saved take
//! again gives the same rows. Three of these run at once: the settled loop's is the authority, and its steps come with the rows; the eye's and
//! the view's follow them ([`Follower`]).

use super::advice::Advice;
use super::easing::{eased, easier};
use super::in_time::InTime;
use super::plan::{Gesture, Plan, Step};
use crate::grading::{Attempt, Parts, Seen, Telling, Told, Tolerance, Wish, Wishes};
use std::sync::Arc;

/// Where a player is in a drill.
#[derive(Clone, Debug)]
pub struct Course {
    plan: Arc<Plan>,
    /// The step that is asked for next, from 0; the number of steps when all were played.
    next: usize,
    told: Vec<Told>,
    /// Those of `told` that have moved `next`.
    obeyed: usize,
    advice: Advice,
    /// Where the beats of a click lie; without one, the pick is a beat.
    in_time: Option<InTime>,
}

impl Course {
    /// At the first step. `told` is what is known to have been told, in order: that of a recorded take.
    #[must_use]
    pub fn new(plan: Arc<Plan>, told: &[Told]) -> Self {
        Self { plan, next: 0, told: told.to_vec(), obeyed: 0, advice: Advice::default(), in_time: None }
    }

    /// The same beside a click.
    #[must_use]
    pub fn in_time(mut self, in_time: Option<InTime>) -> Self {
        self.in_time = in_time;
        self
    }

    /// Where the beats of a click lie.
    #[must_use]
    pub fn time(&self) -> Option<&InTime> {
        self.in_time.as_ref()
    }

    /// The drill.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// What the last attempts say.
    #[must_use]
    pub fn advice(&self) -> &Advice {
        &self.advice
    }

    /// The step that is asked for at an instant, and its place from 0; `None` when all were played.
    pub fn at(&mut self, at_s: f64) -> Option<(usize, Step)> {
        self.obey(at_s);
        self.step(self.next).map(|step| (self.next, step))
    }

    /// A step as it is asked for now, made easier where it does not come.
    #[must_use]
    pub fn step(&self, index: usize) -> Option<Step> {
        self.plan.steps.get(index).map(|step| eased(step, self.advice.easing(), self.plan.frets, self.in_time.is_some()))
    }

    /// What is to be said now, as one sentence: what has become easier in the next step, where something has, else the cue.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        let cue = self.advice.sentence()?;
        let (planned, asked) = (self.plan.steps.get(self.next), self.step(self.next));
        Some(planned.zip(asked).and_then(|(planned, asked)| easier(planned, &asked)).unwrap_or(cue))
    }

    /// Whether everything was played.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.next >= self.plan.steps.len()
    }

    fn obey(&mut self, until_s: f64) {
        while let Some(told) = self.told.get(self.obeyed).filter(|told| told.at_s <= until_s) {
            self.obeyed += 1;
            self.next = match told.what {
                Telling::Skip => (self.next + 1).min(self.plan.steps.len()),
                Telling::Repeat => self.next.saturating_sub(1),
            };
        }
    }

    /// The wish for an attempt that answers step `index`, or none.
    fn wish_of(&self, index: Option<usize>, seen: &Seen) -> Wish {
        let noted = || Wish { parts: Parts::free(), tolerance: self.tolerance(), ..Wish::default() };
        let step = index.and_then(|index| self.step(index).map(|step| (index, step)));
        let Some((index, step)) = step else { return noted() };
        let wish = step.wish(index as u32 + 1, seen);
        match self.in_time.as_ref().filter(|_| step.beats.is_some()) {
            Some(in_time) => in_time.placed(wish, seen),
            None => wish,
        }
    }

    fn tolerance(&self) -> Tolerance {
        self.plan.steps.first().map(|step| step.tolerance).unwrap_or_default()
    }

    /// Takes up the place that a row came from.
    fn follow(&mut self, attempt: &Attempt) {
        if let (Some(step), Some(onset)) = (attempt.step, attempt.measures.onset_s) {
            self.obeyed = self.told.partition_point(|told| told.at_s <= onset);
            self.next = step as usize;
        }
        self.learn(attempt);
    }

    fn learn(&mut self, attempt: &Attempt) {
        if let Some(step) = attempt.step.and_then(|step| self.plan.steps.get(step as usize - 1)) {
            self.advice.attempt(attempt, step);
            if let Some(in_time) = &mut self.in_time {
                in_time.learn(attempt);
            }
        }
    }

    fn asks(&mut self, at_s: f64, what: impl Fn(&Step) -> bool) -> bool {
        self.at(at_s).is_some_and(|(_, step)| what(&step))
    }
}

/// Whoever plays on when everything was played makes no attempts: a drill has as many as it asks for.
fn after_the_end() -> Wish {
    Wish { after_the_end: true, ..Wish::default() }
}

/// The authority: each attempt is asked about once, in order.
impl Wishes for Course {
    fn wish(&mut self, seen: &Seen) -> Wish {
        let Some((index, step)) = self.at(seen.onset_s) else { return after_the_end() };
        if !step.is_meant_by(seen) {
            return Wish { instead_of: Some(step.asked()), ..self.wish_of(None, seen) };
        }
        let wish = self.wish_of(Some(index), seen);
        self.next += 1;
        wish
    }

    fn wants_pre_bend(&mut self, at_s: f64) -> bool {
        self.asks(at_s, Step::is_pre_bend)
    }

    fn wants_plain(&mut self, at_s: f64) -> bool {
        self.asks(at_s, |step| step.gesture == Gesture::Plain)
    }

    fn listens(&mut self, at_s: f64) -> bool {
        self.in_time.as_ref().is_none_or(|in_time| in_time.listens(at_s))
    }

    fn graded(&mut self, attempt: &Attempt) {
        self.learn(attempt);
    }

    fn told(&mut self, told: Told) {
        self.told.push(told);
    }
}

/// The eye's and the view's: told of rows, it goes where they are; an attempt may be asked about many times while it sounds.
#[derive(Clone, Debug)]
pub struct Follower {
    course: Course,
    /// Attempts seen that have no row yet: number, attack and the step that they seem to answer.
    ahead: Vec<(u32, f64, Option<usize>)>,
}

/// An attack that was seen and one of a row are the same within this, s.
const SAME_ATTACK_S: f64 = 0.06;

impl Follower {
    /// Behind a course.
    #[must_use]
    pub fn of(course: Course) -> Self {
        Self { course, ahead: Vec::new() }
    }

    /// The course as far as rows have come.
    #[must_use]
    pub fn course(&self) -> &Course {
        &self.course
    }

    /// A set ends: what improved in it.
    pub fn end_set(&mut self) -> Option<String> {
        self.course.advice.end_set()
    }

    /// What is asked for at an instant, what sounds or has just ended counted as played.
    pub fn next(&mut self, at_s: f64) -> Option<(usize, Step)> {
        self.course.obey(at_s);
        let ahead = self.ahead.iter().filter(|(_, _, step)| step.is_some()).count();
        let index = self.course.next + ahead;
        self.course.step(index).map(|step| (index, step))
    }

    /// Asks the step that a note struck then answers: the one that was found when it was first seen, else the next.
    fn asks(&mut self, at_s: f64, what: impl Fn(&Step) -> bool) -> bool {
        let known = self.ahead.iter().find(|(_, onset, _)| (onset - at_s).abs() < SAME_ATTACK_S).map(|(_, _, step)| *step);
        match known {
            Some(step) => step.and_then(|index| self.course.step(index)).is_some_and(|step| what(&step)),
            None => self.next(at_s).is_some_and(|(_, step)| what(&step)),
        }
    }
}

impl Wishes for Follower {
    fn wish(&mut self, seen: &Seen) -> Wish {
        let known = self.ahead.iter().find(|(number, ..)| *number == seen.attempt).map(|(_, _, step)| *step);
        if let Some(step) = known {
            return self.course.wish_of(step, seen);
        }
        let Some((index, step)) = self.next(seen.onset_s) else { return after_the_end() };
        let meant = step.is_meant_by(seen).then_some(index);
        self.ahead.push((seen.attempt, seen.onset_s, meant));
        self.course.wish_of(meant, seen)
    }

    fn wants_pre_bend(&mut self, at_s: f64) -> bool {
        self.asks(at_s, Step::is_pre_bend)
    }

    fn wants_plain(&mut self, at_s: f64) -> bool {
        self.asks(at_s, |step| step.gesture == Gesture::Plain)
    }

    fn listens(&mut self, at_s: f64) -> bool {
        self.course.listens(at_s)
    }

    fn graded(&mut self, attempt: &Attempt) {
        self.course.follow(attempt);
        let onset = attempt.measures.onset_s.unwrap_or(0.0);
        self.ahead.retain(|(_, at_s, _)| *at_s > onset + SAME_ATTACK_S);
    }

    fn told(&mut self, told: Told) {
        self.course.told(told);
    }
}

#[cfg(test)]
mod tests {
    use super::super::drills::Chosen;
    use super::super::parameters::Given;
    use super::super::stage::Stage;
    use super::*;
    use crate::grading::Technique;

    fn plan() -> Arc<Plan> {
        Arc::new(Chosen::find("hold", &Given::new()).unwrap().plan(Stage::Steady, None).unwrap())
    }

    fn seen(attempt: u32, onset_s: f64) -> Seen {
        let technique = Technique::Bend;
        Seen {
            attempt,
            onset_s,
            arrival_s: onset_s + 0.3,
            origin_cents: Some(6702.0),
            held_cents: 6896.0,
            held_until_s: onset_s + 2.0,
            technique,
            steady_origin: true,
        }
    }

    fn steps(course: &mut dyn Wishes) -> Vec<Option<u32>> {
        (1..=4).map(|n| course.wish(&seen(n, 10.0 * f64::from(n))).step).collect()
    }

    #[test]
    fn what_was_told_holds_for_what_is_played_from_then_on_live_and_from_the_take() {
        let told = [(15.0, Telling::Skip), (35.0, Telling::Repeat)].map(|(at_s, what)| Told { at_s, what });
        let mut kept = Course::new(plan(), &told);
        assert_eq!(steps(&mut kept), [Some(1), Some(3), Some(4), Some(4)]);
        let mut live = Course::new(plan(), &[]);
        let mut heard = Vec::new();
        for (n, told) in [None, Some(told[0]), None, Some(told[1])].into_iter().enumerate() {
            if let Some(told) = told {
                live.told(told);
            }
            heard.push(live.wish(&seen(n as u32 + 1, 10.0 * (n as f64 + 1.0))).step);
        }
        assert_eq!(heard, steps(&mut Course::new(plan(), &told)));
    }

    #[test]
    fn the_eye_may_ask_about_one_attempt_many_times() {
        let mut eye = Follower::of(Course::new(plan(), &[]));
        let asked: Vec<Option<u32>> = [1, 1, 1, 2, 2].iter().map(|n| eye.wish(&seen(*n, 10.0 * f64::from(*n))).step).collect();
        assert_eq!(asked, [Some(1), Some(1), Some(1), Some(2), Some(2)]);
    }
}
