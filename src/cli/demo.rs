//! `landfall demo`: the bundled ballad through the live path.

use super::directories::{Directories, Environment};
use super::failure::{print, remark};
use super::live_options::{Hearing, Reference};
use super::neck::columns;
use super::play;
use super::settings::{Colours, Given, Settings};
use super::{Failure, WrongUse, stdout_failure};
use crate::grading::{Attempt, Tolerance};
use crate::live::analysis::{Beats, Job};
use crate::live::feeder::Pace;
use crate::live::hearing;
use crate::live::keyboard::Keyboard;
use crate::live::pages::collecting::Collecting;
use crate::live::pages::{Asks, LinesView, PageView};
use crate::live::session::{Input, LiveError, Outcome, RING_S, View, run};
use crate::live::world::World;
use crate::logbook::log::Log;
use crate::logbook::sidecar::Asked;
use crate::logbook::{Row, Setting};
use crate::practice::Wanted;
use crate::practice::tour::{self, Step, Tour};
use crate::sound::synth::{Scenario, Synth};
use crate::sound::{ChannelWish, Origin};
use crate::theory::Note;
use crate::units::A4;
use crate::views::live::{Ask, Look, Played, summary};
use crate::views::paragraph::narrowed;
use clap::Parser as _;
use std::io::{IsTerminal, stdin, stdout};
use std::path::{Path, PathBuf};

const BALLAD: &str = include_str!("../../test_signals/scenarios/ballad.toml");

/// `play` as it is without options.
#[derive(clap::Parser)]
struct Playing {
    #[command(flatten)]
    play: play::Args,
}

/// Arguments of `demo`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Watch landfall listen to nine bends of a ballad in D minor, played by its own synthesiser: some land, one is flat, one shoots \
                  over and settles, one sinks, one is let down sharp, one is shaken. Nothing is heard and no sound card is opened; everything \
                  else is as when you play. It takes 40 seconds; q ends it.",
    after_help = "Examples:\n  landfall demo          the page that you see when you play\n  \
                  landfall demo ii-V-I   over a chart; landfall chart --list shows all\n  \
                  landfall demo --plain  lines of text, for a screen reader\n  \
                  landfall demo --fast   only the result, in a second or two"
)]
pub struct Args {
    /// Over the changes of this chart instead: a bend into each chord, with the page and the words of `landfall play`
    #[arg(value_name = "CHART")]
    chart: Option<PathBuf>,
    /// Lines of text instead of the page
    #[arg(long)]
    plain: bool,
    /// As fast as it can be analysed, as lines of text
    #[arg(long)]
    fast: bool,
    /// The log that the rows are added to [default: demo.csv in landfall's data folder]
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    /// Keep the sound as a WAV in this folder
    #[arg(long, value_name = "DIR")]
    save: Option<PathBuf>,
}

impl Args {
    /// Runs the demonstration.
    ///
    /// # Errors
    /// When the log or the terminal cannot be used.
    pub fn run(self) -> Result<(), Failure> {
        let environment = Environment::of_process();
        let settings = Settings::load(&environment, Given::default(), Given::default())?;
        let log = match &self.log {
            Some(path) => path.clone(),
            None => Directories::of(&environment)?.demo_log_file(),
        };
        if let Some(chart) = &self.chart {
            return self.over(chart, log);
        }
        // The ballad is played at 440 Hz, whatever the player's own reference is.
        let a4 = A4::default();
        let log = Log::open(&log)?;
        log.notices().iter().for_each(remark);
        let path = log.path().to_owned();
        let (input, job) = (self.input()?, self.job(a4)?);
        let mut world = World::real()?;
        let page = stdout().is_terminal() && !self.plain && !self.fast;
        let look = Look { colour: settings.colours.value != Colours::Never && environment.get("NO_COLOR").is_none() };
        let inner: Box<dyn View> = if page {
            if stdin().is_terminal() {
                world.keys = Box::new(Keyboard::listen());
            }
            let view = PageView::new(look, a4, asks());
            Box::new(view.map_err(|error| WrongUse(format!("cannot draw on this terminal: {error}; try --plain")))?)
        } else {
            // At more than playing speed, what is asked for would no longer stand before what was played.
            let asks = if self.fast { Box::new(|_, _| None) } else { asks() };
            Box::new(LinesView::new(stdout(), self.fast, a4, asks))
        };
        let mut view = Collecting::new(inner);
        let outcome = run(world, input, job, Some(log), &mut view);
        // From here on the terminal is the shell's again.
        let played = view.finish();
        match outcome {
            Ok(outcome) => finish(&outcome, &played, &path),
            Err(LiveError::View(error)) => Err(stdout_failure(error)),
            Err(error) => Err(error.into()),
        }
    }

    /// Over a chart.
    fn over(&self, chart: &Path, log: PathBuf) -> Result<(), Failure> {
        let words = [std::ffi::OsStr::new("play"), std::ffi::OsStr::new("--"), chart.as_os_str()];
        let mut playing = Playing::try_parse_from(words).map_err(|error| WrongUse(error.to_string()))?.play;
        playing.hearing = Hearing { example: true, fast: self.fast, a4: Some(Reference::Hz(A4::default())), ..Hearing::default() };
        playing.showing.plain = self.plain || self.fast;
        playing.keeping.log = Some(log);
        playing.keeping.save = Some(self.save.clone().unwrap_or_else(|| PathBuf::from("off")));
        playing.run()
    }

    fn input(&self) -> Result<Input, Failure> {
        let source = Synth::new(&Scenario::from_toml(BALLAD)?)?;
        let pace = if self.fast { Pace::Fast } else { Pace::AsPlayed };
        Ok(Input::Source { origin: Origin::synth(), source: Box::new(source), pace })
    }

    fn job(&self, a4: A4) -> Result<Job, Failure> {
        let asked = Asked { drill: Some(tour::NAME.to_owned()), ..Asked::default() };
        let wanted = Wanted::of(&asked, Tolerance::default())?;
        Ok(Job {
            channel: ChannelWish::default(),
            drill: tour::NAME.to_owned(),
            asked,
            beats: Beats::default(),
            a4,
            tolerance: 10.0,
            attempts: None,
            last_step: None,
            seconds: None,
            save: self.save.clone(),
            ring_s: RING_S,
            largest: u64::MAX,
            keep_free: 0,
            patient: self.fast,
            ears: hearing::ears(a4, wanted),
            row: Box::new(row),
        })
    }
}

fn spell(midi: i32) -> String {
    Note::usual(midi).to_string()
}

/// The row of an attempt, with the step that it answers.
fn row(attempt: &Attempt, setting: &Setting) -> Row {
    let tour = Tour::ballad();
    let step = attempt.measures.onset_s.and_then(|onset| tour.at(onset));
    let setting = Setting {
        step: step.map(|(number, _)| number),
        chord: step.map(|(_, step)| step.chord.clone()),
        string: step.map(|(_, step)| u32::from(step.string)),
        fret: step.map(|(_, step)| u32::from(step.fret)),
        ..setting.clone()
    };
    Row::graded(attempt, &setting, spell)
}

/// What the page asks for, by the time of the take.
fn asks() -> Asks {
    let tour = Tour::ballad();
    let mut last = None;
    Box::new(move |seconds, _| {
        let (number, step) = tour.at(seconds)?;
        (last.replace(number) != Some(number)).then(|| ask(step))
    })
}

fn ask(step: &Step) -> Ask {
    let named = |cents: f64| (cents, spell((cents / 100.0).round() as i32));
    Ask {
        place: Some((step.string, step.fret)),
        origin: Some(named(step.origin_cents())),
        target: Some(named(step.target_cents())),
        bend_cents: Some(step.bend_cents),
        technique: step.technique(),
        chord: Some(step.chord.clone()),
        degree: Some(step.degree.clone()),
        hold_s: None,
        ..Ask::default()
    }
}

fn finish(outcome: &Outcome, played: &[(Attempt, Row)], log: &Path) -> Result<(), Failure> {
    let lines: Vec<Played<'_>> = played.iter().map(|(attempt, row)| Played::of(attempt, row)).collect();
    print(&format!("\n{}", narrowed(&summary(&lines), columns())))?;
    if outcome.kept.rows > 0 {
        print(&format!("Every measure of them is in {}\n", log.display()))?;
    }
    for take in &outcome.kept.takes {
        print(&format!("The sound is in {}\n", take.display()))?;
    }
    outcome.kept.problems.iter().for_each(remark);
    match &outcome.broken {
        Some(error) => Err(error.to_string().into()),
        None => Ok(()),
    }
}
