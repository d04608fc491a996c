//! Options that live commands share: where they listen, what they keep, how they show it.

use super::directories::{Directories, Environment};
use super::settings::{Colours, Given, Settings, a4, channel};
use super::{Failure, remark, stdout_failure};
use crate::live::analysis::Job;
use crate::live::feeder::Pace;
use crate::live::keyboard::Keyboard;
use crate::live::pages::{Asks, LinesView, PageView, Prompter};
use crate::live::session::{Input, LiveError, Outcome, View, run};
use crate::live::world::World;
use crate::logbook::log::{self, Log};
use crate::logbook::sidecar::{Gap, Sidecar};
use crate::practice::hand::Hand;
use crate::sound::card::CardWish;
use crate::sound::{ChannelWish, FileSource, Later, Origin, Source, WithGaps};
use crate::units::{A4, FrameTime, SampleRate};
use crate::views::live::Look;
use std::io::{IsTerminal, stdin, stdout};
use std::path::{Path, PathBuf};

/// A take's file never reaches 4 GiB, where a WAV's head runs out of digits.
pub const LARGEST: u64 = 4_000_000_000;
/// Left free for other things, the log among them, bytes.
pub const KEEP_FREE: u64 = 16_000_000;

/// Where a live command listens, and against which pitch.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct Hearing {
    /// Listen to a recorded take instead of the sound card
    #[arg(long, value_name = "TAKE", help_heading = "Listening")]
    pub input: Option<PathBuf>,
    /// Listen to the synthesiser, who plays an example.
    #[arg(skip)]
    pub example: bool,
    /// What lies before this in the recorded take was heard already, s.
    #[arg(skip)]
    pub from_s: f64,
    /// Hear the recorded take as fast as it can be analysed
    #[arg(long, requires = "input", help_heading = "Listening")]
    pub fast: bool,
    /// The sound card: its name in `landfall devices`, or a part of it
    #[arg(long, value_name = "NAME", conflicts_with = "input", help_heading = "Listening")]
    pub device: Option<String>,
    /// The channel to listen to, from 1 [default: the louder one over the first notes]
    #[arg(long, value_name = "N", value_parser = channel, help_heading = "Listening")]
    pub channel: Option<u16>,
    /// Frames that the card should hand over at a time [default: 256, or what it can]
    #[arg(long, value_name = "FRAMES", value_parser = clap::value_parser!(u32).range(16..=65536), conflicts_with = "input", help_heading = "Listening")]
    pub buffer: Option<u32>,
    /// The tuning reference in Hz [default: from the settings, else 440]
    #[arg(long, value_name = "HZ", value_parser = reference, help_heading = "Listening")]
    pub a4: Option<Reference>,
}

/// What pitch is measured against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reference {
    /// A frequency.
    Hz(A4),
    /// What the recording that is played over stands at.
    Track,
}

fn reference(text: &str) -> Result<Reference, String> {
    a4(text).map(Reference::Hz)
}

/// The same where a recording may be played over.
///
/// # Errors
/// What it should be.
pub fn reference_or_track(text: &str) -> Result<Reference, String> {
    if text.trim() == "track" { Ok(Reference::Track) } else { reference(text).map_err(|error| format!("{error}, or track")) }
}

/// What a live command keeps.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct Keeping {
    /// Add the rows to this log [default: your own]
    #[arg(long, value_name = "FILE", help_heading = "Keeping")]
    pub log: Option<PathBuf>,
    /// Keep takes in this folder, or keep none with `off` [default: your own]
    #[arg(long, value_name = "DIR|off", help_heading = "Keeping")]
    pub save: Option<PathBuf>,
}

/// How a live command shows what it hears, and for how long.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct Showing {
    /// End after so many seconds of sound
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub seconds: Option<f64>,
    /// Plain lines instead of the page, for a pipe or a screen reader
    #[arg(long)]
    pub plain: bool,
}

fn seconds(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|seconds| *seconds > 0.0 && *seconds <= 1e6).ok_or_else(|| "it is a number of seconds over 0".into())
}

impl Hearing {
    /// What a recorded take says of itself; nothing where the card is heard.
    ///
    /// # Errors
    /// When its sidecar is broken.
    pub fn recorded(&self) -> Result<Sidecar, Failure> {
        match &self.input {
            Some(take) => Ok(Sidecar::of(take)?.unwrap_or_default()),
            None => Ok(Sidecar::default()),
        }
    }

    /// The settings under these options; `more` holds the command's other flags, and the recording's A4 where that is the reference.
    ///
    /// # Errors
    /// When a setting cannot be.
    pub fn settings(&self, environment: &Environment, recorded: &Sidecar, more: Given) -> Result<Settings, Failure> {
        let a4 = match self.a4 {
            Some(Reference::Hz(a4)) => Some(a4),
            Some(Reference::Track) | None => more.a4,
        };
        let flags = Given { device: self.device.clone(), channel: self.channel, a4, ..more };
        let take = Given {
            a4: recorded.a4_hz.and_then(A4::new),
            tolerance: recorded.tolerance_cents.filter(|cents| *cents > 0.0),
            ..Given::default()
        };
        Settings::load(environment, flags, take)
    }

    /// Whether a player is heard now: not a recorded take, nor the synthesiser.
    #[must_use]
    pub fn is_live(&self) -> bool {
        self.input.is_none() && !self.example
    }

    /// What is heard.
    ///
    /// # Errors
    /// When the recorded take cannot be opened.
    pub fn open(&self, settings: &Settings, recorded: &Sidecar) -> Result<Input, Failure> {
        let Some(path) = &self.input else {
            return Ok(Input::Card(CardWish { device: settings.device.value.clone(), buffer: self.buffer }));
        };
        let stretches = |gaps: &[Gap]| gaps.iter().map(|gap| (gap.at_frame, gap.frames)).collect();
        let file = WithGaps::new(Box::new(FileSource::open(path)?), stretches(&recorded.gaps), stretches(&recorded.invalid));
        let FrameTime(from) = self.first(file.format().rate);
        let file: Box<dyn Source> = if from > 0 { Box::new(Later::new(Box::new(file), from)) } else { Box::new(file) };
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        let pace = if self.fast { Pace::Fast } else { Pace::AsPlayed };
        Ok(Input::Source { origin: Origin { kind: "file", name }, source: file, pace })
    }

    /// The first frame of the recorded take that is heard.
    #[must_use]
    pub fn first(&self, rate: SampleRate) -> FrameTime {
        FrameTime(rate.span(self.from_s).0)
    }

    /// The channel that is listened to.
    #[must_use]
    pub fn channel(settings: &Settings) -> ChannelWish {
        settings.channel.value.map_or(ChannelWish::Louder, ChannelWish::Fixed)
    }
}

impl Keeping {
    /// Opens the log, and says what it found.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub fn log(&self, directories: &Directories) -> Result<Log, Failure> {
        let log = Log::open(&self.log.clone().unwrap_or_else(|| directories.log_file()))?;
        log.notices().iter().for_each(remark);
        Ok(log)
    }

    /// The hand that plays, with what it did in the minutes before where the player is heard, and its session's length where nothing else `ends` it.
    #[must_use]
    pub fn hand(&self, directories: &Directories, settings: &Settings, ends: bool, is_live: bool) -> Hand {
        let hand = Hand::new(Some(settings.minutes.value).filter(|_| !ends));
        if is_live {
            // A log that cannot be read is told of where it is opened to be added to.
            let read = log::read(&self.log.clone().unwrap_or_else(|| directories.log_file())).unwrap_or_default();
            let played = read.iter().flat_map(|(_, attempts)| &attempts.rows).filter(|row| row.source.as_deref() == Some("card"));
            for (at, row) in played.filter_map(|row| row.played_at.zip(Some(row))) {
                let size = row.bend_cents.map(|wanted| wanted + row.hold_error_cents.unwrap_or(0.0));
                hand.remember(at.instant().as_second() as f64, size.unwrap_or(0.0));
            }
        }
        hand
    }

    /// Where takes are kept; `None` keeps none.
    #[must_use]
    pub fn takes(&self, directories: &Directories) -> Option<PathBuf> {
        match &self.save {
            None => Some(directories.takes()),
            Some(folder) if folder == Path::new("off") => None,
            Some(folder) => Some(folder.clone()),
        }
    }
}

impl Showing {
    /// Whether the page is drawn: on a terminal, unless plain lines are wanted.
    #[must_use]
    pub fn is_paged(&self) -> bool {
        !self.plain && stdout().is_terminal()
    }

    /// How the page may look.
    #[must_use]
    pub fn look(settings: &Settings, environment: &Environment) -> Look {
        Look { colour: settings.colours.value != Colours::Never && environment.get("NO_COLOR").is_none() }
    }

    /// The page with its keyboard, or the lines.
    ///
    /// # Errors
    /// When the terminal cannot be taken.
    pub fn view(
        &self,
        world: &mut World,
        settings: &Settings,
        look: Look,
        fast: bool,
        asks: Asks,
        prompter: Option<Box<dyn Prompter>>,
    ) -> Result<Box<dyn View>, Failure> {
        if !self.is_paged() {
            let lines = LinesView::new(stdout(), fast, settings.a4.value, asks);
            return Ok(match prompter {
                Some(prompter) => Box::new(lines.prompted(prompter)),
                None => Box::new(lines),
            });
        }
        if stdin().is_terminal() {
            world.keys = Box::new(Keyboard::listen());
        }
        let page = PageView::new(look, settings.a4.value, asks)?;
        Ok(match prompter {
            Some(prompter) => Box::new(page.prompted(prompter)),
            None => Box::new(page),
        })
    }
}

/// Runs a live command to its end.
///
/// # Errors
/// When nothing can be heard or shown.
pub fn live(world: World, input: Input, job: Job, log: Option<Log>, view: &mut dyn View) -> Result<Outcome, Failure> {
    match run(world, input, job, log, view) {
        Ok(outcome) => Ok(outcome),
        Err(LiveError::View(error)) => Err(stdout_failure(error)),
        Err(error) => Err(error.into()),
    }
}

/// Says what was kept and where.
///
/// # Errors
/// What could not be kept, or the sound that broke off.
pub fn summary(outcome: &Outcome, log: &Path) -> Result<(), Failure> {
    let rows = match outcome.kept.rows {
        1 => "1 attempt".to_owned(),
        rows => format!("{rows} attempts"),
    };
    let takes: String = outcome.kept.takes.iter().map(|take| ["Take: ", &take.display().to_string(), "\n"].concat()).collect();
    let text = format!("{rows}, in {}\n{takes}", log.display());
    super::print(&text)?;
    if let Some(broken) = &outcome.broken {
        return Err(broken.clone().into());
    }
    match outcome.kept.problems.as_slice() {
        [] => Ok(()),
        problems => Err(problems.join("; ").into()),
    }
}
