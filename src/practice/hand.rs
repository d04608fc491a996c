//! What a hand has done: whole bends in ten minutes, bends of one and a half steps without a rest, and how long it has played. One count for as long
//! as the program runs, over drills, lists and tunes.
//!
//! There is no clock in here: instants are seconds of whoever counts, and only their differences mean something.

use std::cell::{RefCell, RefMut};
use std::collections::VecDeque;
use std::rc::Rc;

/// Whole bends in ten minutes, at most (common practice, no source).
const WHOLE_BENDS: usize = 40;
const TEN_MINUTES_S: f64 = 600.0;
/// Bends of one and a half steps without a rest, at most (common practice, no source).
const LARGE_BENDS: usize = 6;
/// A pause of so long rests the hand, and counts for no more as time played, s.
const REST_S: f64 = 20.0;
/// How long it is said that a session has been long enough, s.
const SAID_S: f64 = 30.0;

/// A session without a length of its own takes so many minutes of playing (common practice, no source).
pub const SESSION_MINUTES: f64 = 30.0;

/// The count; its clones are the same one.
#[derive(Clone, Debug, Default)]
pub struct Hand(Rc<RefCell<Count>>);

#[derive(Debug, Default)]
struct Count {
    /// When whole bends and larger ones were played.
    whole: VecDeque<f64>,
    large: usize,
    last_s: Option<f64>,
    played_s: f64,
    session_s: Option<f64>,
    /// When the session had been long enough.
    enough_at_s: Option<f64>,
}

impl Hand {
    /// A hand that has played so long in a session after `minutes`; `None` where something else ends the session.
    #[must_use]
    pub fn new(minutes: Option<f64>) -> Self {
        Self(Rc::new(RefCell::new(Count { session_s: minutes.map(|minutes| 60.0 * minutes), ..Count::default() })))
    }

    /// With a bend from before the program began.
    pub fn remember(&self, at_s: f64, bend_cents: f64) {
        let mut count = self.count();
        if is_whole(bend_cents) {
            count.whole.push_back(at_s);
            count.whole.make_contiguous().sort_by(f64::total_cmp);
        }
    }

    /// The instant at which a take begins, not before the end of the one before: a recorded take may be heard faster than it was played.
    #[must_use]
    pub fn begin(&self, now_s: f64) -> f64 {
        self.count().last_s.map_or(now_s, |last| last.max(now_s))
    }

    /// A string was struck.
    pub fn struck(&self, at_s: f64) {
        self.count().play(at_s);
    }

    /// A bend was played of the note that was struck at `at_s`.
    pub fn bent(&self, at_s: f64, bend_cents: f64) {
        let mut count = self.count();
        count.play(at_s);
        if is_whole(bend_cents) {
            count.whole.push_back(at_s);
        }
        count.large += usize::from(is_large(bend_cents));
    }

    /// What the player should be reminded of at an instant.
    #[must_use]
    pub fn reminder(&self, at_s: f64) -> Option<String> {
        let mut count = self.count();
        while count.whole.front().is_some_and(|first| at_s - first > TEN_MINUTES_S) {
            count.whole.pop_front();
        }
        if count.enough_at_s.is_some_and(|since| at_s - since < SAID_S) {
            let minutes = match count.session_s.unwrap_or(0.0) / 60.0 {
                one if (one - 1.0).abs() < 1e-9 => "1 minute".to_owned(),
                minutes => format!("{minutes} minutes"),
            };
            return Some(format!("{minutes} played: that is enough for one session."));
        }
        if count.whole.len() >= WHOLE_BENDS {
            return Some("Forty whole bends in ten minutes: rest the hand, or do something lighter.".to_owned());
        }
        (count.large >= LARGE_BENDS).then(|| "Six bends of one and a half steps without a rest: rest before the next.".to_owned())
    }

    fn count(&self) -> RefMut<'_, Count> {
        self.0.borrow_mut()
    }
}

impl Count {
    fn play(&mut self, at_s: f64) {
        let pause = self.last_s.map_or(0.0, |last| (at_s - last).max(0.0));
        self.last_s = Some(self.last_s.map_or(at_s, |last| last.max(at_s)));
        if pause >= REST_S {
            self.large = 0;
        }
        self.played_s += pause.min(REST_S);
        if self.session_s.is_some_and(|session| self.played_s >= session) {
            self.enough_at_s.get_or_insert(at_s);
        }
    }
}

/// A whole bend or a larger one: from the middle between half and whole on.
fn is_whole(bend_cents: f64) -> bool {
    bend_cents >= 150.0
}

/// One and a half steps or more: from the middle between them and a whole step on.
fn is_large(bend_cents: f64) -> bool {
    bend_cents >= 250.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(hand: &Hand, at_s: f64) -> String {
        hand.reminder(at_s).unwrap_or_default()
    }

    #[test]
    fn forty_whole_bends_in_ten_minutes_are_said_until_they_are_ten_minutes_past() {
        let hand = Hand::new(None);
        for n in 0..39 {
            hand.bent(10.0 * f64::from(n), 200.0);
            hand.bent(10.0 * f64::from(n) + 5.0, 100.0);
        }
        assert_eq!(said(&hand, 385.0), "", "half bends do not count");
        // From another take of the same program.
        hand.clone().bent(390.0, 400.0);
        assert!(said(&hand, 391.0).starts_with("Forty whole bends in ten minutes"));
        assert!(said(&hand, 600.0).starts_with("Forty whole bends"));
        assert_eq!(said(&hand, 601.0), "", "the first is more than ten minutes past");
    }

    #[test]
    fn bends_from_before_the_program_began_count_too() {
        let hand = Hand::new(None);
        (0..30).rev().for_each(|n| hand.remember(100.0 + f64::from(n), 200.0));
        (0..9).for_each(|n| hand.bent(500.0 + 2.0 * f64::from(n), 200.0));
        assert_eq!(said(&hand, 520.0), "");
        hand.bent(521.0, 200.0);
        assert!(said(&hand, 521.0).starts_with("Forty whole bends"));
    }

    #[test]
    fn six_bends_of_one_and_a_half_steps_are_said_until_a_rest() {
        let hand = Hand::new(None);
        (0..6).for_each(|n| hand.bent(4.0 * f64::from(n), 299.0));
        (0..6).for_each(|n| hand.bent(4.0 * f64::from(n) + 1.0, 249.0));
        assert!(said(&hand, 21.0).starts_with("Six bends of one and a half steps"));
        hand.struck(39.0);
        assert!(said(&hand, 39.0).starts_with("Six bends"), "19 seconds are no rest");
        hand.struck(60.0);
        assert_eq!(said(&hand, 60.0), "");
    }

    #[test]
    fn a_session_that_has_been_long_enough_is_said_once() {
        let hand = Hand::new(Some(2.0));
        // A note every three seconds, with a pause of ten minutes that counts for 20 s.
        (0..=20).for_each(|n| hand.struck(3.0 * f64::from(n)));
        hand.struck(660.0);
        assert_eq!(said(&hand, 660.0), "", "80 seconds were played");
        (1..=13).for_each(|n| hand.struck(660.0 + 3.0 * f64::from(n)));
        assert_eq!(said(&hand, 699.0), "");
        hand.struck(702.0);
        assert_eq!(said(&hand, 702.0), "2 minutes played: that is enough for one session.");
        hand.struck(733.0);
        assert_eq!(said(&hand, 733.0), "");
    }

    #[test]
    fn a_take_that_is_heard_faster_than_it_was_played_does_not_lie_over_the_next() {
        let hand = Hand::new(None);
        hand.bent(hand.begin(1000.0) + 60.0, 200.0);
        assert!((hand.begin(1001.0) - 1060.0).abs() < 1e-9 && (hand.begin(2000.0) - 2000.0).abs() < 1e-9);
    }
}
