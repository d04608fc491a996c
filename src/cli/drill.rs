//! `landfall drill`: bends, live.

use super::directories::{Directories, Environment};
use super::settings::{Colours, Given, Settings, a4, channel, tolerance};
use super::{Failure, WrongUse, remark, stdout_failure};
use crate::grading::{Technique, Tolerance};
use crate::live::analysis::Job;
use crate::live::feeder::Pace;
use crate::live::hearing;
use crate::live::keyboard::Keyboard;
use crate::live::pages::{Asks, LinesView, PageView};
use crate::live::session::{Input, LiveError, Outcome, RING_S, View, run};
use crate::live::world::World;
use crate::logbook::Row;
use crate::logbook::log::Log;
use crate::logbook::sidecar::{Asked, Sidecar};
use crate::practice::{Wanted, bend_size};
use crate::sound::card::CardWish;
use crate::sound::{ChannelWish, FileSource, Origin, WithGaps};
use crate::theory::Note;
use crate::units::A4;
use crate::views::live::{Ask, Look};
use std::io::{IsTerminal, stdin, stdout};
use std::path::{Path, PathBuf};

/// A take's file never reaches 4 GiB, where a WAV's head runs out of digits.
const LARGEST: u64 = 4_000_000_000;
/// Left free for other things, the log among them, bytes.
const KEEP_FREE: u64 = 16_000_000;

/// Arguments of `drill`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Play, and be told at once where each bend landed, how it held and where the release came home.\n\n\
                  Without a drill's name this is free play: bend what you like, towards the notes of --chord, to --target, by --bend, or to \
                  whatever note is nearest. Each attempt becomes a row of your log, and what you played is kept as a take. \
                  q or ctrl-C ends it; so does --attempts or --seconds. However it ends, the take is closed and every row is written.\n\n\
                  Keep headphones and amplifiers at a moderate level, and rest when a hand tires: pain is a reason to stop.",
    after_help = "Examples:\n  landfall drill                                 whatever you bend, from the sound card\n  \
                  landfall drill --chord Gm7 --attempts 10       ten bends into the notes of Gm7\n  \
                  landfall drill --bend whole --tolerance 7      whole steps, strictly\n  \
                  landfall drill --device USB --channel 2        the second input of the interface\n  \
                  landfall drill --input take.wav --plain        a recorded take, at playing speed, as plain lines\n\n\
                  Exit status: 0 when it ended as it should (also by ctrl-C, terminate or hang-up), 1 when sound, take or log failed, \
                  2 for a command line that cannot be meant."
)]
pub struct Args {
    /// The drill; left out, or `free`: free play
    #[arg(value_name = "DRILL")]
    drill: Option<String>,
    /// The chord that bends should land in, such as Gm7
    #[arg(long, value_name = "CHORD")]
    chord: Option<String>,
    /// The note that bends should reach: A4, or A in any octave
    #[arg(long, value_name = "NOTE", conflicts_with = "bend")]
    target: Option<String>,
    /// The size that bends should have: quarter, half, whole, one-and-a-half, two, or cents
    #[arg(long, value_name = "SIZE", value_parser = bend_size)]
    bend: Option<f64>,
    /// What is asked for: bend, bend-release, pre-bend or pre-bend-release; only pre-bend makes a row of one that is not let down
    #[arg(long, value_name = "NAME", value_parser = str::parse::<Technique>)]
    technique: Option<Technique>,
    /// How far off, in cents, still counts as in tune [default: from the settings, else 10]
    #[arg(long, value_name = "CENTS", value_parser = tolerance)]
    tolerance: Option<f64>,
    /// The tuning reference in Hz [default: from the settings, else 440]
    #[arg(long, value_name = "HZ", value_parser = a4)]
    a4: Option<A4>,
    /// The string that you bend, 1 the highest; noted in each row
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=12))]
    string: Option<u8>,
    /// End after so many attempts
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    attempts: Option<u32>,
    /// End after so many seconds of sound
    #[arg(long, value_name = "S", value_parser = seconds)]
    seconds: Option<f64>,
    /// Add the rows to this log [default: your own]
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Listen to a recorded take instead of the sound card
    #[arg(long, value_name = "TAKE")]
    input: Option<PathBuf>,
    /// Hear the recorded take as fast as it can be analysed
    #[arg(long, requires = "input")]
    fast: bool,
    /// Keep takes in this folder, or keep none with `off` [default: your own]
    #[arg(long, value_name = "DIR|off")]
    save: Option<PathBuf>,
    /// The sound card: its name in `landfall devices`, or a part of it
    #[arg(long, value_name = "NAME", conflicts_with = "input")]
    device: Option<String>,
    /// The channel to listen to, from 1 [default: the louder one over the first notes]
    #[arg(long, value_name = "N", value_parser = channel)]
    channel: Option<u16>,
    /// Frames that the card should hand over at a time [default: 256, or what it can]
    #[arg(long, value_name = "FRAMES", value_parser = clap::value_parser!(u32).range(16..=65536), conflicts_with = "input")]
    buffer: Option<u32>,
    /// Plain lines instead of the page, for a pipe or a screen reader
    #[arg(long)]
    plain: bool,
}

fn seconds(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|seconds| *seconds > 0.0 && *seconds <= 1e6).ok_or_else(|| "it is a number of seconds over 0".into())
}

impl Args {
    /// Listens until it is enough.
    ///
    /// # Errors
    /// When nothing can be heard, or a take or a row could not be kept.
    pub fn run(self) -> Result<(), Failure> {
        let environment = Environment::of_process();
        let directories = Directories::of(&environment)?;
        let recorded = self.recorded()?;
        let settings = self.settings(&environment, &recorded)?;
        let asked = self.asked();
        let tolerance = Tolerance { cents: settings.tolerance.value, ..Tolerance::default() };
        let wanted = Wanted::of(&asked, tolerance).map_err(|error| WrongUse(error.to_string()))?;
        let input = self.input(&settings, &recorded)?;
        let log = Log::open(&self.log.clone().unwrap_or_else(|| directories.log_file()))?;
        log.notices().iter().for_each(remark);
        let log_path = log.path().to_owned();
        // What is asked for stays the same for the whole run.
        let mut ask = Some(self.ask());
        let asks: Asks = Box::new(move |_, _| ask.take());
        let job = self.job(&settings, asked, wanted, &directories);
        let mut world = World::real()?;
        let paged = !self.plain && stdout().is_terminal();
        let outcome = if paged {
            if stdin().is_terminal() {
                world.keys = Box::new(Keyboard::listen());
            }
            let colour = settings.colours.value != Colours::Never && environment.get("NO_COLOR").is_none();
            let mut page = PageView::new(Look { colour }, settings.a4.value, asks)?;
            live(world, input, job, log, &mut page)
        } else {
            let mut plain = LinesView::new(stdout(), self.fast, settings.a4.value, asks);
            live(world, input, job, log, &mut plain)
        }?;
        summary(&outcome, &log_path)
    }

    /// What a recorded take says of itself.
    fn recorded(&self) -> Result<Sidecar, Failure> {
        match &self.input {
            Some(take) => Ok(Sidecar::of(take)?.unwrap_or_default()),
            None => Ok(Sidecar::default()),
        }
    }

    fn settings(&self, environment: &Environment, recorded: &Sidecar) -> Result<Settings, Failure> {
        let flags =
            Given { device: self.device.clone(), channel: self.channel, a4: self.a4, tolerance: self.tolerance, ..Given::default() };
        let take = Given {
            a4: recorded.a4_hz.and_then(A4::new),
            tolerance: recorded.tolerance_cents.filter(|cents| *cents > 0.0),
            ..Given::default()
        };
        Settings::load(environment, flags, take)
    }

    fn asked(&self) -> Asked {
        Asked {
            drill: self.drill.clone(),
            chord: self.chord.clone(),
            target: self.target.clone(),
            bend_cents: self.bend,
            technique: self.technique.map(|technique| technique.word().to_owned()),
            string: self.string,
        }
    }

    /// The same for the eye.
    fn ask(&self) -> Ask {
        let target = self.target.as_ref().and_then(|name| Some((name.parse::<Note>().ok()?.cents(), name.clone())));
        Ask { target, bend_cents: self.bend, technique: self.technique, chord: self.chord.clone(), ..Ask::default() }
    }

    fn input(&self, settings: &Settings, recorded: &Sidecar) -> Result<Input, Failure> {
        let Some(path) = &self.input else {
            return Ok(Input::Card(CardWish { device: settings.device.value.clone(), buffer: self.buffer }));
        };
        let stretches = |gaps: &[crate::logbook::sidecar::Gap]| gaps.iter().map(|gap| (gap.at_frame, gap.frames)).collect();
        let file = WithGaps::new(Box::new(FileSource::open(path)?), stretches(&recorded.gaps), stretches(&recorded.invalid));
        let name = path.file_name().map(|name| name.to_string_lossy().into_owned());
        let pace = if self.fast { Pace::Fast } else { Pace::AsPlayed };
        Ok(Input::Source { origin: Origin { kind: "file", name }, source: Box::new(file), pace })
    }

    fn job(&self, settings: &Settings, asked: Asked, wanted: Wanted, directories: &Directories) -> Job {
        let save = match &self.save {
            None => Some(directories.takes()),
            Some(folder) if folder == Path::new("off") => None,
            Some(folder) => Some(folder.clone()),
        };
        let namer = wanted.clone();
        Job {
            channel: settings.channel.value.map_or(ChannelWish::Louder, ChannelWish::Fixed),
            drill: self.drill.clone().unwrap_or_else(|| "free".into()),
            asked,
            a4: settings.a4.value,
            tolerance: settings.tolerance.value,
            attempts: self.attempts,
            seconds: self.seconds,
            save,
            ring_s: RING_S,
            largest: LARGEST,
            keep_free: KEEP_FREE,
            patient: self.fast,
            ears: hearing::ears(settings.a4.value, wanted),
            row: Box::new(move |attempt, setting| Row {
                degree: namer.degree(attempt),
                ..Row::graded(attempt, setting, |midi| namer.spell(midi))
            }),
        }
    }
}

fn live(world: World, input: Input, job: Job, log: Log, view: &mut dyn View) -> Result<Outcome, Failure> {
    match run(world, input, job, Some(log), view) {
        Ok(outcome) => Ok(outcome),
        Err(LiveError::View(error)) => Err(stdout_failure(error)),
        Err(error) => Err(error.into()),
    }
}

/// What was kept and where; what could not be is the failure.
fn summary(outcome: &Outcome, log: &Path) -> Result<(), Failure> {
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
