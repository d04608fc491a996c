//! Runs what wants sustained pitches and nothing else: the tuner, the intonation check.

use super::Failure;
use super::directories::Environment;
use super::live_options::{Hearing, Showing, live};
use super::settings::Settings;
use crate::live::keyboard::Keyboard;
use crate::live::steady_run::{Listens, SteadyView, job};
use crate::live::world::World;
use crate::logbook::sidecar::Sidecar;
use crate::sound::SoundError;
use crate::views::live::Look;
use std::io::{IsTerminal, Write, stdin};

/// Where a run listens, how it shows what it hears, and what it is called.
pub struct Listening<'a> {
    /// The command's name.
    pub name: &'a str,
    /// Where it listens.
    pub hearing: &'a Hearing,
    /// How it shows.
    pub showing: &'a Showing,
    /// What the player set.
    pub settings: &'a Settings,
    /// What a recorded take says of itself.
    pub recorded: &'a Sidecar,
}

impl Listening<'_> {
    /// Listens until it is enough; lines go to `lines` where no page is drawn. Gives back what has listened, and why the sound broke off where it did.
    ///
    /// # Errors
    /// When nothing can be heard or shown.
    pub fn listen<L: Listens>(&self, listener: impl FnOnce(Look) -> L, lines: Box<dyn Write>) -> Result<(L, Option<SoundError>), Failure> {
        let listener = listener(Showing::look(self.settings, &Environment::of_process()));
        let a4 = self.settings.a4.value;
        let input = self.hearing.open(self.settings, self.recorded)?;
        let (job, readings) = job(self.name, Hearing::channel(self.settings), a4, self.showing.seconds);
        let mut world = World::real()?;
        let mut view = if self.showing.is_paged() {
            if stdin().is_terminal() {
                world.keys = Box::new(Keyboard::listen());
            }
            SteadyView::page(listener, readings, a4)?
        } else {
            SteadyView::plain(listener, readings, a4, lines)
        };
        let outcome = live(world, input, job, None, &mut view)?;
        Ok((view.into_listener(), outcome.broken))
    }
}
