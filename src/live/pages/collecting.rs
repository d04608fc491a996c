//! A view that keeps what was graded, for the words at the end of a run.

use super::super::events::Event;
use super::super::session::{View, Want};
use super::super::world::Key;
use crate::grading::Attempt;
use crate::logbook::Row;
use crate::pitch::Reading;
use std::io;

/// Shows what another view shows.
pub struct Collecting {
    inner: Box<dyn View>,
    played: Vec<(Attempt, Row)>,
}

impl Collecting {
    /// Around a view.
    #[must_use]
    pub fn new(inner: Box<dyn View>) -> Self {
        Self { inner, played: Vec::new() }
    }

    /// What was graded, in order; the terminal is given back.
    #[must_use]
    pub fn finish(self) -> Vec<(Attempt, Row)> {
        self.played
    }
}

impl View for Collecting {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        if let Event::Graded(graded) = event {
            self.played.push((**graded).clone());
        }
        self.inner.event(event)
    }

    fn reading(&mut self, reading: &Reading) {
        self.inner.reading(reading);
    }

    fn draw(&mut self) -> io::Result<()> {
        self.inner.draw()
    }

    fn has_enough(&self) -> bool {
        self.inner.has_enough()
    }

    fn key(&mut self, key: Key) {
        self.inner.key(key);
    }

    fn wants(&mut self) -> Vec<Want> {
        self.inner.wants()
    }

    fn lend(&mut self) {
        self.inner.lend();
    }

    fn take_again(&mut self) -> io::Result<()> {
        self.inner.take_again()
    }
}
