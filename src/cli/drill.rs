//! `landfall drill`: bends, live.

use super::directories::{Directories, Environment};
use super::live_options::{Hearing, KEEP_FREE, Keeping, LARGEST, Showing, live, summary};
use super::settings::{Given, Settings, tolerance};
use super::{Failure, WrongUse};
use crate::grading::{Technique, Tolerance};
use crate::live::analysis::{Beats, Job};
use crate::live::hearing;
use crate::live::pages::Asks;
use crate::live::session::RING_S;
use crate::live::world::World;
use crate::logbook::Row;
use crate::logbook::sidecar::Asked;
use crate::practice::{Wanted, bend_size};
use crate::theory::Note;
use crate::views::live::Ask;

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
    /// The string that you bend, 1 the highest; noted in each row
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=12))]
    string: Option<u8>,
    /// End after so many attempts
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    attempts: Option<u32>,
    #[command(flatten)]
    showing: Showing,
    #[command(flatten)]
    hearing: Hearing,
    #[command(flatten)]
    keeping: Keeping,
}

impl Args {
    /// Listens until it is enough.
    ///
    /// # Errors
    /// When nothing can be heard, or a take or a row could not be kept.
    pub fn run(self) -> Result<(), Failure> {
        let environment = Environment::of_process();
        let directories = Directories::of(&environment)?;
        let recorded = self.hearing.recorded()?;
        let flags = Given { tolerance: self.tolerance, ..Given::default() };
        let settings = self.hearing.settings(&environment, &recorded, flags)?;
        let asked = self.asked();
        let tolerance = Tolerance::of_cents(settings.tolerance.value);
        let wanted = Wanted::of(&asked, tolerance).map_err(|error| WrongUse(error.to_string()))?;
        let input = self.hearing.open(&settings, &recorded)?;
        let log = self.keeping.log(&directories)?;
        let log_path = log.path().to_owned();
        // What is asked for stays the same for the whole run.
        let mut ask = Some(self.ask());
        let asks: Asks = Box::new(move |_, _| ask.take());
        let job = self.job(&settings, asked, wanted, &directories);
        let mut world = World::real()?;
        let look = Showing::look(&settings, &environment);
        let mut view = self.showing.view(&mut world, &settings, look, self.hearing.fast, asks)?;
        let outcome = live(world, input, job, Some(log), view.as_mut());
        // From here on the terminal is the shell's again.
        drop(view);
        summary(&outcome?, &log_path)
    }

    fn asked(&self) -> Asked {
        Asked {
            drill: self.drill.clone(),
            chord: self.chord.clone(),
            target: self.target.clone(),
            bend_cents: self.bend,
            technique: self.technique.map(|technique| technique.word().to_owned()),
            string: self.string,
            ..Asked::default()
        }
    }

    /// The same for the eye.
    fn ask(&self) -> Ask {
        let target = self.target.as_ref().and_then(|name| Some((name.parse::<Note>().ok()?.cents(), name.clone())));
        Ask { target, bend_cents: self.bend, technique: self.technique, chord: self.chord.clone(), ..Ask::default() }
    }

    fn job(&self, settings: &Settings, asked: Asked, wanted: Wanted, directories: &Directories) -> Job {
        let namer = wanted.clone();
        Job {
            channel: Hearing::channel(settings),
            drill: self.drill.clone().unwrap_or_else(|| "free".into()),
            asked,
            beats: Beats::default(),
            a4: settings.a4.value,
            tolerance: settings.tolerance.value,
            attempts: self.attempts,
            seconds: self.showing.seconds,
            save: self.keeping.takes(directories),
            ring_s: RING_S,
            largest: LARGEST,
            keep_free: KEEP_FREE,
            patient: self.hearing.fast,
            ears: hearing::ears(settings.a4.value, wanted),
            row: Box::new(move |attempt, setting| Row {
                degree: namer.degree(attempt),
                ..Row::graded(attempt, setting, |midi| namer.spell(midi))
            }),
        }
    }
}
