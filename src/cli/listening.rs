//! Where tuner and intonation check listen, and how they show what they hear.

use super::directories::Environment;
use super::settings::{Colours, Settings, channel};
use super::{Failure, stdout_failure};
use crate::live::feeder::Pace;
use crate::live::keyboard::Keyboard;
use crate::live::session::{Input, LiveError, run};
use crate::live::steady_run::{Listens, SteadyView, job};
use crate::live::world::World;
use crate::logbook::sidecar::{Gap, Sidecar};
use crate::sound::card::CardWish;
use crate::sound::{ChannelWish, FileSource, Origin, SoundError, WithGaps};
use crate::views::live::Look;
use std::io::{IsTerminal, Write, stdin, stdout};
use std::path::PathBuf;

/// Options of where to listen.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Listening")]
pub struct Listening {
    /// Listen to a recorded take instead of the sound card
    #[arg(long, value_name = "TAKE")]
    input: Option<PathBuf>,
    /// Hear the recorded take as fast as it can be analysed
    #[arg(long, requires = "input")]
    fast: bool,
    /// The sound card: its name in `landfall devices`, or a part of it
    #[arg(long, value_name = "NAME", conflicts_with = "input")]
    pub(super) device: Option<String>,
    /// The channel to listen to, from 1 [default: the louder one over the first notes]
    #[arg(long, value_name = "N", value_parser = channel)]
    pub(super) channel: Option<u16>,
    /// Frames that the card should hand over at a time [default: 256, or what it can]
    #[arg(long, value_name = "FRAMES", value_parser = clap::value_parser!(u32).range(16..=65536), conflicts_with = "input")]
    buffer: Option<u32>,
    /// Plain lines instead of the page, for a pipe or a screen reader
    #[arg(long)]
    plain: bool,
}

impl Listening {
    /// What a recorded take says of itself.
    ///
    /// # Errors
    /// When what lies beside it cannot be read.
    pub fn recorded(&self) -> Result<Sidecar, Failure> {
        match &self.input {
            Some(take) => Ok(Sidecar::of(take)?.unwrap_or_default()),
            None => Ok(Sidecar::default()),
        }
    }

    /// Whether a page is drawn: on a terminal, unless lines are asked for.
    #[must_use]
    pub fn is_paged(&self) -> bool {
        !self.plain && stdout().is_terminal()
    }

    fn input(&self, settings: &Settings, recorded: &Sidecar) -> Result<Input, SoundError> {
        let Some(path) = &self.input else {
            return Ok(Input::Card(CardWish { device: settings.device.value.clone(), buffer: self.buffer }));
        };
        let stretches = |gaps: &[Gap]| gaps.iter().map(|gap| (gap.at_frame, gap.frames)).collect();
        let file = WithGaps::new(Box::new(FileSource::open(path)?), stretches(&recorded.gaps), stretches(&recorded.invalid));
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        let pace = if self.fast { Pace::Fast } else { Pace::AsPlayed };
        Ok(Input::Source { origin: Origin { kind: "file", name }, source: Box::new(file), pace })
    }

    /// Listens until it is enough; lines go to `lines` where no page is drawn. Gives back what has listened, and why the sound broke off where it did.
    ///
    /// # Errors
    /// When nothing can be heard or shown.
    pub fn listen<L: Listens>(
        &self,
        name: &str,
        settings: &Settings,
        recorded: &Sidecar,
        listener: impl FnOnce(Look) -> L,
        lines: Box<dyn Write>,
    ) -> Result<(L, Option<SoundError>), Failure> {
        let colour = settings.colours.value != Colours::Never && Environment::of_process().get("NO_COLOR").is_none();
        let listener = listener(Look { colour });
        let a4 = settings.a4.value;
        let input = self.input(settings, recorded)?;
        let (job, readings) = job(name, settings.channel.value.map_or(ChannelWish::Louder, ChannelWish::Fixed), a4);
        let mut world = World::real()?;
        let mut view = if self.is_paged() {
            if stdin().is_terminal() {
                world.keys = Box::new(Keyboard::listen());
            }
            SteadyView::page(listener, readings, a4)?
        } else {
            SteadyView::plain(listener, readings, a4, lines)
        };
        match run(world, input, job, None, &mut view) {
            Ok(outcome) => Ok((view.into_listener(), outcome.broken)),
            Err(LiveError::View(error)) => Err(stdout_failure(error)),
            Err(error) => Err(error.into()),
        }
    }
}
