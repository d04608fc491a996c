//! Counts what the hand does in a run, and has it said when it should rest: beside a drill, in free play, over a tune.

use super::clock::Clock;
use super::events::Event;
use super::pages::Prompter;
use super::session::Want;
use super::world::Key;
use crate::grading::Glimpse;
use crate::practice::hand::Hand;
use crate::units::{FrameTime, SampleRate};
use crate::views::live::News;
use std::sync::Arc;

/// Puts what happens in a run into the count of the hand.
pub struct Minder {
    hand: Hand,
    clock: Arc<dyn Clock>,
    rate: Option<SampleRate>,
    /// When the take began.
    begun_s: f64,
}

impl Minder {
    /// Counts for a hand.
    #[must_use]
    pub fn new(hand: Hand, clock: Arc<dyn Clock>) -> Self {
        Self { hand, clock, rate: None, begun_s: 0.0 }
    }

    /// Something happened.
    pub fn event(&mut self, event: &Event) {
        match event {
            Event::TakeBegan { rate, .. } => {
                self.rate = Some(*rate);
                self.begun_s = self.hand.begin(self.clock.instant().0.as_millisecond() as f64 / 1000.0);
            }
            Event::Seen(Glimpse::Began(at)) => self.hand.struck(self.begun_s + self.seconds(*at)),
            Event::Graded(graded) => {
                let measures = &graded.0.measures;
                if let (Some(onset), Some(wanted)) = (measures.onset_s, graded.0.bend_cents) {
                    // What tires is what was played, not what was wanted.
                    self.hand.bent(self.begun_s + onset, wanted + measures.hold_error_cents.unwrap_or(0.0));
                }
            }
            _ => {}
        }
    }

    /// What the player should be reminded of when so many seconds of the take have been heard.
    #[must_use]
    pub fn reminder(&self, seconds: f64) -> Option<String> {
        self.hand.reminder(self.begun_s + seconds)
    }

    fn seconds(&self, at: FrameTime) -> f64 {
        self.rate.map_or(0.0, |rate| at.seconds(rate))
    }
}

/// A drill, or free play, with somebody who minds the hand.
pub struct Reminding {
    drill: Option<Box<dyn Prompter>>,
    minder: Minder,
    said: Option<String>,
}

impl Reminding {
    /// Beside a drill, where there is one.
    #[must_use]
    pub fn new(drill: Option<Box<dyn Prompter>>, minder: Minder) -> Self {
        Self { drill, minder, said: None }
    }
}

impl Prompter for Reminding {
    fn event(&mut self, event: &Event, seconds: f64) -> Vec<News> {
        self.minder.event(event);
        self.drill.as_mut().map(|drill| drill.event(event, seconds)).unwrap_or_default()
    }

    fn reading(&mut self, at_s: f64, cents: Option<f64>) {
        if let Some(drill) = &mut self.drill {
            drill.reading(at_s, cents);
        }
    }

    fn key(&mut self, key: Key, seconds: f64) {
        if let Some(drill) = &mut self.drill {
            drill.key(key, seconds);
        }
    }

    fn now(&mut self, seconds: f64) -> Vec<News> {
        let mut news = self.drill.as_mut().map(|drill| drill.now(seconds)).unwrap_or_default();
        let due = self.minder.reminder(seconds);
        if due != self.said {
            self.said.clone_from(&due);
            news.push(News::Reminder(due));
        }
        news
    }

    fn wants(&mut self) -> Vec<Want> {
        self.drill.as_mut().map(|drill| drill.wants()).unwrap_or_default()
    }
}
