//! A drill against a click: on which beat a top or a pick is wanted.
//!
//! Conventions. Score time is seconds from the first beat after the count-in, at the click's tempo; the count-in lies before it, and bars follow each other
//! for as long as the drill lasts. A drill waits for its player, so any bar will do: a top is wanted on the first beat of the bar that is
//! nearest to where it would come if the rise took its beats. The pick says which bar that is, so that a top that comes two beats early is early and not late
//! for the bar before. Where the rise has no beats of its own, the pick is wanted on the beat nearest to it.

use super::plan::Plan;
use super::play::{On, ScoreTime};
use super::pulse::{Pulse, Pulses, count_in, usual_count_in};
use super::usual::Usual;
use crate::grading::{Attempt, Seen, Wish};
use crate::theory::chart::{Feel, Metre};
use std::fmt;

/// There is time for a pick until so long after its beat, in beats: then the next bar is meant.
const STILL_IN_TIME: f64 = 0.5;

/// A click that is not known by then does not come: its card has failed, and the drill goes on without beats, s.
const UNHEARD_S: f64 = 4.0;

/// The bars of a drill, counted for as long as it lasts.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    metre: Metre,
    tempo: f64,
    /// Beats from the pick to the top; `None`: the pick is on the beat.
    rise: Option<f64>,
}

impl Grid {
    /// That of a drill; `None` where it asks for no beats.
    #[must_use]
    pub fn of(plan: &Plan) -> Option<Self> {
        let beats = plan.steps.iter().find_map(|step| step.beats)?;
        Some(Self { metre: plan.metre.clone(), tempo: beats.tempo, rise: beats.rise })
    }

    /// What of a bend should be on the beat.
    #[must_use]
    pub fn on(&self) -> On {
        if self.rise.is_some() { On::Top } else { On::Pick }
    }

    /// Beats a minute.
    #[must_use]
    pub fn tempo(&self) -> f64 {
        self.tempo
    }

    /// Beats in a bar.
    #[must_use]
    pub fn beats(&self) -> u32 {
        self.metre.beats()
    }

    /// Seconds from beat to beat.
    #[must_use]
    pub fn beat_s(&self) -> f64 {
        60.0 / self.tempo
    }

    fn bar_s(&self) -> f64 {
        f64::from(self.beats()) * self.beat_s()
    }

    /// The bars after the count-in, for ever.
    #[must_use]
    pub fn pulses(&self) -> Pulses {
        Pulses::Steady { metre: self.metre.clone(), feel: Feel::default(), tempo: self.tempo, bars: None }
    }

    /// The bars of the count-in: so many, or as many as usual.
    #[must_use]
    pub fn count_in(&self, bars: Option<u32>) -> Vec<Pulse> {
        let first = Pulse { start_s: 0.0, beat_s: self.beat_s(), metre: self.metre.clone(), feel: Feel::default() };
        count_in(&first, bars.unwrap_or_else(|| usual_count_in(&first)))
    }

    /// The score time of the n-th beat, where the first of them comes `before` beats before the first bar. Computed at once, not added up.
    #[must_use]
    pub fn beat(&self, n: u64, before: u32) -> f64 {
        (n as f64 - f64::from(before)) * 60.0 / self.tempo
    }

    /// Beats of the usual count-in, or of so many bars.
    #[must_use]
    pub fn count_in_beats(&self, bars: Option<u32>) -> u32 {
        self.count_in(bars).len() as u32 * self.beats()
    }

    /// The score time that is wanted of a note struck at `struck_s`.
    #[must_use]
    pub fn wanted(&self, struck_s: f64) -> f64 {
        match self.rise {
            Some(rise) => ((struck_s + rise * self.beat_s()) / self.bar_s()).round() * self.bar_s(),
            None => (struck_s / self.beat_s()).round() * self.beat_s(),
        }
    }

    /// The score time that is wanted of a note not struck yet: the next first beat of a bar that can still be reached, half a bar of count-in heard before the pick.
    #[must_use]
    pub fn next(&self, now_s: f64) -> f64 {
        let pick = (now_s - STILL_IN_TIME * self.beat_s()).max(-0.5 * self.bar_s());
        let earliest = pick + self.rise.unwrap_or(0.0) * self.beat_s();
        (earliest / self.bar_s()).ceil().max(0.0) * self.bar_s()
    }

    /// What is counted at an instant, and in how many beats what is wanted comes. `struck_s`: since when the note sounds that is to be there.
    #[must_use]
    pub fn moment(&self, now_s: f64, struck_s: Option<f64>) -> Moment {
        let beats = i64::from(self.beats());
        // What is computed to lie on a beat has begun it.
        let gone = (now_s / self.beat_s() + 1e-6).floor() as i64;
        // A note that was struck a bar and more ago for another beat is over, whatever it was.
        let struck = struck_s.map(|struck| self.wanted(struck)).filter(|wanted| now_s < wanted + self.bar_s());
        let wanted = struck.unwrap_or_else(|| self.next(now_s));
        let left = (wanted - now_s) / self.beat_s();
        let to_go = (left > -1e-6).then(|| (left - 1e-6).ceil().max(0.0) as u32);
        Moment { beat: gone.rem_euclid(beats) as u32 + 1, counting_in: now_s < -1e-6, to_go }
    }
}

/// Where in the bar a drill is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    /// The beat that is counted, from 1.
    pub beat: u32,
    /// Before the first bar.
    pub counting_in: bool,
    /// Beats until the one that is wanted, rounded up; `None` when it is past.
    pub to_go: Option<u32>,
}

/// A drill whose beats are known in its take.
#[derive(Clone)]
pub struct InTime {
    grid: Grid,
    score_time: ScoreTime,
    uncalibrated: bool,
    usual: Usual,
}

impl fmt::Debug for InTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("InTime").field("grid", &self.grid).field("uncalibrated", &self.uncalibrated).finish_non_exhaustive()
    }
}

impl InTime {
    /// `uncalibrated`: the delay of the sound card is not known and stays in what is measured against the beat.
    #[must_use]
    pub fn new(grid: Grid, score_time: ScoreTime, uncalibrated: bool) -> Self {
        Self { grid, score_time, uncalibrated, usual: Usual::default() }
    }

    /// The bars.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// Whether the delay of the sound card is in what is measured against the beat.
    #[must_use]
    pub fn is_uncalibrated(&self) -> bool {
        self.uncalibrated
    }

    /// The wish with the click's own beat in place of one that is counted from the pick.
    #[must_use]
    pub fn placed(&self, wish: Wish, seen: &Seen) -> Wish {
        let instant = |at_s: f64| {
            let (struck, now) = ((self.score_time)(seen.onset_s)?, (self.score_time)(at_s)?);
            Some(at_s - (now - self.grid.wanted(struck)))
        };
        let (arrival_beat_s, attack_beat_s) = match self.grid.on() {
            On::Top => (instant(seen.arrival_s), None),
            On::Pick => (None, instant(seen.onset_s)),
        };
        Wish { arrival_beat_s, attack_beat_s, usual_late_ms: self.usual.late_ms(), uncalibrated: self.uncalibrated, ..wish }
    }

    /// Whether a note struck then may be an attempt: what belongs into the count-in is none.
    #[must_use]
    pub fn listens(&self, at_s: f64) -> bool {
        (self.score_time)(at_s).map_or(at_s > UNHEARD_S, |struck| self.grid.wanted(struck) > -1e-6)
    }

    /// An attempt was graded.
    pub fn learn(&mut self, attempt: &Attempt) {
        self.usual.learn(attempt);
    }

    /// What is counted at an instant of the take; `None` while no beat is known.
    #[must_use]
    pub fn moment(&self, at_s: f64, struck_s: Option<f64>) -> Option<Moment> {
        let now = (self.score_time)(at_s)?;
        Some(self.grid.moment(now, struck_s.and_then(|struck| (self.score_time)(struck))))
    }
}

#[cfg(test)]
mod tests {
    use super::super::drills::Chosen;
    use super::super::parameters::Given;
    use super::super::stage::Stage;
    use super::*;

    fn grid(drill: &str, more: &[(&str, &str)]) -> Grid {
        let given: Given = more.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Grid::of(&Chosen::find(drill, &given).unwrap().plan(Stage::Steady, None).unwrap()).unwrap()
    }

    #[test]
    fn a_climb_of_four_beats_is_wanted_on_the_bar_that_its_pick_means() {
        let slow = grid("slow-climb", &[]);
        assert_eq!(slow.on(), On::Top);
        // Picked on beat 1 of the first bar, a little early, a little late, two beats early.
        for (struck, wanted) in [(0.0, 4.0), (-0.2, 4.0), (1.9, 4.0), (2.1, 8.0), (-3.9, 0.0)] {
            assert!((slow.wanted(struck) - wanted).abs() < 1e-9, "struck at {struck}: {}", slow.wanted(struck));
        }
    }

    #[test]
    fn a_grace_bend_is_picked_on_the_nearest_beat() {
        let quick = grid("grace-bend", &[("tempo", "120")]);
        assert_eq!(quick.on(), On::Pick);
        for (struck, wanted) in [(0.1, 0.0), (0.3, 0.5), (7.74, 7.5), (-0.2, 0.0)] {
            assert!((quick.wanted(struck) - wanted).abs() < 1e-9, "struck at {struck}");
        }
    }

    #[test]
    fn thirds_are_counted_in_twelve_eighths() {
        let thirds = grid("thirds", &[]);
        let bar_s = 4.0 * 60.0 / 58.0;
        assert_eq!(thirds.beats(), 4);
        assert_eq!(thirds.count_in_beats(None), 4);
        assert!((thirds.wanted(0.8 * bar_s) - bar_s).abs() < 1e-9, "from the last beat to the next bar");
        assert!((thirds.beat(5, 4) - bar_s / 4.0).abs() < 1e-9);
    }

    #[test]
    fn beats_to_go_are_counted_to_the_next_bar_that_can_be_reached_and_to_the_one_of_a_note_that_sounds() {
        let slow = grid("slow-climb", &[]);
        let moment = |now: f64, struck: Option<f64>| {
            let Moment { beat, counting_in, to_go } = slow.moment(now, struck);
            (beat, counting_in, to_go)
        };
        assert_eq!(moment(-4.0, None), (1, true, Some(8)));
        assert_eq!(moment(-0.7, None), (4, true, Some(5)));
        assert_eq!(moment(0.0, None), (1, false, Some(4)));
        assert_eq!(moment(0.4, None), (1, false, Some(4)), "there is still time for the pick");
        assert_eq!(moment(0.6, None), (1, false, Some(8)));
        assert_eq!(moment(2.5, Some(0.1)), (3, false, Some(2)));
        assert_eq!(moment(4.5, Some(0.1)), (1, false, None));
        assert_eq!(moment(8.0, Some(0.1)), (1, false, Some(4)), "whatever was struck then is over");
    }

    #[test]
    fn what_belongs_into_the_count_in_is_no_attempt() {
        let in_time = |drill: &str| InTime::new(grid(drill, &[]), std::sync::Arc::new(|take_s| Some(take_s - 10.0)), false);
        let slow = in_time("slow-climb");
        let deaf = InTime::new(grid("slow-climb", &[]), std::sync::Arc::new(|_| None), true);
        assert!(!deaf.listens(1.0) && deaf.listens(5.0), "a click that never comes does not end the drill");
        assert!(slow.listens(10.0) && slow.listens(6.5), "four beats before the first bar, its top is there");
        assert!(!slow.listens(3.9));
        let quick = in_time("grace-bend");
        assert!(quick.listens(9.8) && !quick.listens(9.2));
    }
}
