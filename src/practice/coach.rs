//! The view's side of a drill: what to ask next, what to say of what was played, when to rest. Follows the rows; knows no clock but the take's.
//!
//! Moving pitch while playing helps at first and fails when it is taken away; shown on some attempts and not on others it helps and lasts
//! (reduced-frequency feedback against the guidance hypothesis; Winstein, Pohl and Lewthwaite, RQES 65, 316, 1994; Aoyagi et al., J. Phys. Ther.
//! Sci. 31, 687, 2019; beginners keep what a live display teaches: Blanco et al., Front. Psychol. 12, 684693, 2021). Guessing one's own error
//! before seeing it teaches more at either rate ("Estimation of error followed by knowledge of results", J. Phys. Educ.).

use super::advice::Complaint;
use super::course::{Course, Follower};
use super::plan::Step;
use super::play::{On, Timing};
use super::stage::Feedback;
use crate::grading::{Attempt, Told, Wishes, counted_error};
use crate::notes::statistics::median;
use crate::units::signed;

/// What is asked for now.
#[derive(Clone, Debug, PartialEq)]
pub struct Asking {
    /// From 0.
    pub index: usize,
    /// What to play.
    pub step: Step,
    /// No moving pitch before the note is over.
    pub unseen: bool,
}

/// How much of the moving pitch is shown: less as it gets better.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Fading {
    level: u32,
    since_shown: u32,
    missed: bool,
}

impl Fading {
    /// An attempt came out well or not.
    pub fn attempt(&mut self, good: bool, unseen: bool) {
        self.level = if good { (self.level + 1).min(6) } else { self.level.saturating_sub(2) };
        self.missed = !good;
        self.since_shown = if unseen { self.since_shown + 1 } else { 0 };
    }

    /// Whether the next one is hidden: none at first, then one of two, then two of three.
    #[must_use]
    pub fn hides(self) -> bool {
        match self.level {
            _ if self.missed => false,
            0 | 1 => false,
            2..=4 => self.since_shown == 0,
            _ => self.since_shown < 2,
        }
    }
}

/// Goes through a drill with a player.
pub struct Coach {
    title: String,
    follower: Follower,
    feedback: Feedback,
    fading: Fading,
    asked_unseen: bool,
    said: Option<String>,
    improved: Option<String>,
    resting_until_s: Option<f64>,
    /// Of each place: its errors in cents.
    by_place: Vec<(String, Vec<f64>)>,
    /// Of each attempt that a beat was wanted of: how late, in ms.
    late_ms: Vec<f64>,
}

impl Coach {
    /// At the beginning of a drill.
    #[must_use]
    pub fn new(course: Course, feedback: Feedback) -> Self {
        Self {
            title: course.plan().title.clone(),
            follower: Follower::of(course),
            feedback,
            fading: Fading::default(),
            asked_unseen: false,
            said: None,
            improved: None,
            resting_until_s: None,
            by_place: Vec::new(),
            late_ms: Vec::new(),
        }
    }

    /// Under a heading of the player's own.
    #[must_use]
    pub fn titled(mut self, title: &str) -> Self {
        title.clone_into(&mut self.title);
        self
    }

    /// The heading.
    #[must_use]
    pub fn title(&self) -> &str {
        &self.title
    }

    /// The drill's course.
    #[must_use]
    pub fn course(&self) -> &Course {
        self.follower.course()
    }

    /// What is asked for at an instant of the take; `None` when everything was played.
    pub fn ask(&mut self, at_s: f64) -> Option<Asking> {
        let (index, step) = self.follower.next(at_s)?;
        let hidden = match self.feedback {
            Feedback::Live => false,
            Feedback::After => true,
            Feedback::Faded => self.fading.hides(),
        };
        let unseen = step.unseen || hidden;
        self.asked_unseen = unseen;
        Some(Asking { index, step, unseen })
    }

    /// Something was told.
    pub fn told(&mut self, told: Told) {
        self.follower.told(told);
    }

    /// A row came.
    pub fn graded(&mut self, attempt: &Attempt) {
        let plan_step = attempt.step.and_then(|step| self.course().plan().steps.get(step as usize - 1)).cloned();
        self.follower.graded(attempt);
        self.improved = None;
        self.resting_until_s = None;
        let (Some(step), Some(number)) = (plan_step, attempt.step) else {
            self.said = Some("Another note than asked for: it does not count, and the drill waits.".to_owned());
            return;
        };
        self.late_ms.extend(attempt.measures.late_ms());
        let good = attempt.score.is_some_and(|score| score >= 80.0) && self.course().advice().cue().is_none();
        self.fading.attempt(good, self.asked_unseen);
        if let (Some(place), Some(error)) = (step.answered_from(attempt.origin_cents).place, attempt.measures.hold_error_cents) {
            let error = counted_error(attempt.bend_cents, error);
            let name = format!("string {}, fret {}", place.string, place.fret);
            match self.by_place.iter_mut().find(|(known, _)| *known == name) {
                Some((_, errors)) => errors.push(error),
                None => self.by_place.push((name, vec![error])),
            }
        }
        self.said = self.course().sentence();
        let index = number as usize - 1;
        let plan = self.course().plan();
        let ends_set = plan.in_set(index).1 + 1 == plan.set as usize || index + 1 == plan.steps.len();
        if ends_set {
            let more = index + 1 < plan.steps.len();
            let rest_s = plan.rest_s;
            self.improved = self.follower.end_set();
            let over_s = attempt.span.1.seconds(attempt.sample_rate);
            self.resting_until_s = more.then_some(over_s + rest_s).filter(|_| rest_s > 0.0);
        }
    }

    /// The one sentence under the page: what improved, or the cue.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        self.improved.clone().or_else(|| self.said.clone())
    }

    /// The complaint that the cue is about.
    #[must_use]
    pub fn cue(&self) -> Option<Complaint> {
        self.course().advice().cue()
    }

    /// Seconds of rest that are left; a note ends it.
    #[must_use]
    pub fn rest_s(&self, at_s: f64) -> Option<f64> {
        self.resting_until_s.map(|until| until - at_s).filter(|left| *left > 0.0)
    }

    /// A note was struck.
    pub fn struck(&mut self) {
        self.resting_until_s = None;
        self.improved = None;
    }

    /// Whether everything was played.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.course().is_over()
    }

    /// What the drill came to: its time against the click, from place to place, what improved, and the cue that still stands.
    #[must_use]
    pub fn came_to(&self) -> Option<String> {
        let improved = self.improved.as_ref().map(|improved| format!("{improved}\n"));
        let parts: Vec<String> = self.time().into_iter().chain(self.by_place()).chain(improved).chain(self.next_time()).collect();
        (!parts.is_empty()).then(|| parts.concat())
    }

    /// What to do next time. How the task became easier is of no use any more when it is over.
    fn next_time(&self) -> Option<String> {
        let advice = self.course().advice();
        let sentence = match advice.cue()? {
            Complaint::StringOff => advice.sentence()?,
            cue => cue.say().to_owned(),
        };
        Some(format!("Next time: {sentence}\n"))
    }

    /// Time against the click: where it lies on average is a style, only how it scatters is a fault.
    fn time(&self) -> Option<String> {
        let in_time = self.course().time()?;
        let timing = Timing::of(&self.late_ms)?;
        let what = if in_time.grid().on() == On::Top { "the tops" } else { "the picks" };
        let tolerance_ms = self.course().plan().steps.first().map_or(f64::INFINITY, |step| step.tolerance.beat_ms);
        let uncalibrated = if in_time.is_uncalibrated() {
            "The delay of the sound card is not known and is in the average: run landfall calibrate.\n"
        } else {
            ""
        };
        Some(format!("Time of {what}: {}.\n{uncalibrated}", timing.words("the beat", tolerance_ms)))
    }

    /// What the drill came to, from place to place where there were several: each one's middle error, and the scatter between them.
    #[must_use]
    pub fn by_place(&self) -> Option<String> {
        if self.by_place.len() < 2 {
            return None;
        }
        let middles: Vec<(String, f64)> = self.by_place.iter().filter_map(|(name, errors)| Some((name.clone(), median(errors)?))).collect();
        let (least, most) = middles.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), (_, m)| (least.min(*m), most.max(*m)));
        let lines: Vec<String> = middles.iter().map(|(name, middle)| format!("  {name:<20}{:>5} cents", signed(*middle, 0))).collect();
        Some(format!("From place to place, {:.0} cents apart:\n{}\n", most - least, lines.join("\n")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_moving_pitch_is_shown_less_as_it_gets_better_and_again_after_misses() {
        let mut fading = Fading::default();
        let mut shown = Vec::new();
        for good in [true, true, true, true, true, true, true, true, true, false, false, false] {
            shown.push(!fading.hides());
            let hidden = fading.hides();
            fading.attempt(good, hidden);
        }
        assert_eq!(shown, [true, true, false, true, false, false, true, false, false, true, true, true]);
    }
}
