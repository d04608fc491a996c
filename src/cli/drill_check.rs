//! The view of the ten seconds before the first drill: it hears and shows nothing.

use crate::live::events::Event;
use crate::live::session::View;
use crate::pitch::Reading;
use crate::practice::check::Check;
use crate::units::A4;
use std::io;

/// Hears the ten seconds before the first drill.
pub(super) struct CheckView {
    /// What is found.
    pub check: Check,
    /// The tuning reference.
    pub a4: A4,
}

impl View for CheckView {
    fn event(&mut self, _: &Event) -> io::Result<()> {
        Ok(())
    }

    fn reading(&mut self, reading: &Reading) {
        let level = reading.level_dbfs.map(f64::from);
        self.check.reading(level, reading.hz().map(|hz| self.a4.cents(hz)));
    }

    fn draw(&mut self) -> io::Result<()> {
        Ok(())
    }
}
