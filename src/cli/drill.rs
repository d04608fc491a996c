//! `landfall drill`: bends, live.

mod before;
mod list;
mod practising;

use super::click::Clicking;
use super::directories::{Directories, Environment};
use super::drill_list;
use super::drill_options::{AlsoGiven, DrillOptions, is_no_drill};
use super::drill_stage::Stage;
use super::drill_write::write;
use super::live_options::{Hearing, KEEP_FREE, Keeping, LARGEST, Showing, live, summary};
use super::neck::columns;
use super::over_changes::as_it_sounds;
use super::settings::{self, Settings, stage_tolerance, tolerance};
use super::{Failure, WrongUse, print};
use crate::grading::{Technique, Tolerance};
use crate::live::analysis::{Beats, Job};
use crate::live::coaching::{Coaching, Manner};
use crate::live::drill_sound::DrillSound;
use crate::live::hearing;
use crate::live::pages::collecting::Collecting;
use crate::live::pages::{Asks, Prompter};
use crate::live::reminding::{Minder, Reminding};
use crate::live::session::{Outcome, RING_S};
use crate::live::world::World;
use crate::logbook::sidecar::{Asked, Sidecar};
use crate::practice::coach::Coach;
use crate::practice::drill_file::{DrillFile, OwnDrill};
use crate::practice::hand::Hand;
use crate::practice::hands_free::HandsFree;
use crate::practice::parameters::{self, Given};
use crate::practice::stage::Feedback;
use crate::practice::{Wanted, bend_size};
use crate::theory::{Note, TheoryError, Tuning};
use crate::views::live::{Ask, Played, ending};
use crate::views::paragraph::narrowed;
use practising::Practising;
use std::path::PathBuf;
use std::sync::Arc;

/// Arguments of `drill`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Play, and be told at once where each bend landed, how it held and where the release came home.\n\n\
                  With a drill's name, landfall asks for one bend after the other and says one thing to do next; --list names all drills. \
                  Without one this is free play: bend what you like, towards the notes of --chord, to --target, by --bend, or to \
                  whatever note is nearest. Each attempt becomes a row of your log, and what you played is kept as a take. \
                  q or ctrl-C ends it; so does --attempts or --seconds. However it ends, the take is closed and every row is written.\n\n\
                  A drill that asks for beats counts in and clicks (--click); how early or late you are is measured against that click, less the delay that \
                  landfall calibrate found.\n\n\
                  On the page, the ticks at the left edge are your last landings (higher is sharper), the bar under the upper rule is the hold, and the \
                  stroke on that rule is how long it should be. At the end stand the attempts, what several of them share, and what to do next.\n\n\
                  In a drill, space, enter, page down or the right arrow go on, and page up, backspace or the left arrow ask once more: foot \
                  switches send these.\n\n\
                  Keep headphones and amplifiers at a moderate level, and rest when a hand tires: pain or numbness is a reason to stop, and to ask \
                  somebody licensed to treat it.",
    after_help = "Examples:\n  landfall drill                                 whatever you bend\n  \
                  landfall drill --list                          all drills, a line each\n  \
                  landfall drill bend-and-hold --stage starting  a drill, with less asked\n  \
                  landfall drill tone --chord Gm7 --position 8   the tones of Gm7 around fret 8\n  \
                  landfall drill slow --write my.toml            the drill as a file to change\n  \
                  landfall drill my.toml                         a drill or a list of your own\n  \
                  landfall drill slow-climb --click count-in     in time; silent after a bar\n  \
                  landfall drill --chord Gm7 --attempts 10       ten bends into notes of Gm7\n  \
                  landfall drill --bend whole --tolerance 7      whole steps, strictly\n  \
                  landfall drill --device USB --channel 2        the interface's second input\n  \
                  landfall drill --input take.wav --plain        a recorded take, as plain lines\n\n\
                  Exit status: 0 when it ended as it should (also by ctrl-C, terminate or hang-up), 1 when sound, take or log failed, \
                  2 for a command line that cannot be meant."
)]
pub struct Args {
    /// The drill: a name of --list, or a file of your own; left out, or `free`: free play
    #[arg(value_name = "DRILL")]
    drill: Option<String>,
    /// List all drills, or say what the named one takes
    #[arg(long)]
    list: bool,
    /// Write the drill, as it is set, to a file of your own
    #[arg(long, value_name = "FILE", requires = "drill")]
    write: Option<PathBuf>,
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
    /// End after so many attempts; in a drill, how many there are
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    attempts: Option<u32>,
    /// Take a drill's chords and tempo from a chart: a file, or the name of a built-in one
    #[arg(long, value_name = "CHART")]
    chart: Option<PathBuf>,
    #[command(flatten)]
    practising: Practising,
    #[command(flatten)]
    clicking: Clicking,
    #[command(flatten)]
    setting: DrillOptions,
    #[command(flatten)]
    showing: Showing,
    #[command(flatten)]
    hearing: Hearing,
    #[command(flatten)]
    keeping: Keeping,
    /// It is one of a list.
    #[arg(skip)]
    listed: bool,
}

/// Semitones from what is fingered to what sounds: up by a capo, down by the tuning.
fn sounds_higher(parameters: &Given) -> i32 {
    let number = |name: &str| parameters.get(name).and_then(|text| text.trim().parse().ok()).unwrap_or(0);
    number("capo") - number("tuned-down")
}

/// The guitar of a drill: its own tuning, else the player's.
fn tuned(parameters: &Given, otherwise: &str) -> Result<Tuning, TheoryError> {
    parameters.get("tuning").map_or(otherwise, String::as_str).parse()
}

/// The two lowest strings as they sound, cents.
fn two_lowest(parameters: &Given, otherwise: &str) -> Option<[f64; 2]> {
    let tuning = tuned(parameters, otherwise).ok()?;
    let sounds = |note: &Note| note.cents() + 100.0 * f64::from(sounds_higher(parameters));
    let low = tuning.low_to_high();
    Some([sounds(low.first()?), sounds(low.get(1)?)])
}

/// What every run of the command needs.
struct Table {
    environment: Environment,
    directories: Directories,
    recorded: Sidecar,
    settings: Settings,
    /// What the hand does, over all drills.
    hand: Hand,
}

/// One thing to play.
struct Run {
    asked: Asked,
    wanted: Wanted,
    tolerance: Tolerance,
    ask: Option<Ask>,
    /// A drill's heading, and how it is shown.
    lesson: Option<(String, Feedback)>,
}

impl Args {
    /// Listens until it is enough.
    ///
    /// # Errors
    /// When nothing can be heard, or a take or a row could not be kept.
    pub fn run(mut self) -> Result<(), Failure> {
        let drill = self.drill.clone().filter(|name| !is_no_drill(Some(name)));
        if self.list && drill.is_none() {
            return drill_list::all();
        }
        let environment = Environment::of_process();
        let recorded = self.hearing.recorded()?;
        let flags = settings::Given { tolerance: self.tolerance, tuning: self.setting.tuning.clone(), ..settings::Given::default() };
        let settings = self.hearing.settings(&environment, &recorded, flags)?;
        self.setting.of_settings(&settings);
        let file = drill.map(|name| self.setting.find(&name, &self.also())).transpose()?;
        if let Some(to) = &self.write {
            return write(file.as_ref(), to, &self.setting, self.practising.minutes);
        }
        if self.list {
            return match &file {
                Some(DrillFile::One(own)) => drill_list::one(&own.chosen),
                Some(DrillFile::List { drills, .. }) => drills.iter().try_for_each(|own| drill_list::one(&own.chosen)),
                None => Ok(()),
            };
        }
        if let Some(DrillFile::One(own)) = &file {
            self.practising.minutes = self.practising.minutes.or(own.minutes);
        }
        let directories = Directories::of(&environment)?;
        let ends = self.practising.minutes.is_some() || matches!(file, Some(DrillFile::List { minutes: Some(_), .. }));
        let hand = self.keeping.hand(&directories, &settings, ends, self.hearing.is_live());
        let table = Table { environment, directories, recorded, settings, hand };
        match file {
            None => self.play(&table, self.free(&table)?).map(|_| ()),
            Some(DrillFile::One(own)) => {
                // What cannot be meant is told before anything is heard.
                let run = self.drilled(&table, &own)?;
                self.clicking.of(&run.wanted)?;
                self.has_root(&run)?;
                if self.check(&table, Some(&own))? {
                    self.play(&table, run)?;
                }
                Ok(())
            }
            Some(DrillFile::List { title, drills, rest_s, minutes }) => {
                let runs = drills.iter().map(|own| self.drilled(&table, own)).collect::<Result<Vec<_>, _>>()?;
                // A click that is asked for sounds in the drills that have beats: one of them at least.
                runs.iter().map(|run| self.clicking.of(&run.wanted)).reduce(Result::or).transpose()?;
                runs.iter().try_for_each(|run| self.has_root(run))?;
                if self.check(&table, drills.first())? {
                    let minutes = self.practising.minutes.or(minutes);
                    self.play_list(&table, &title, &drills, rest_s, minutes)?;
                }
                Ok(())
            }
        }
    }

    fn also(&self) -> AlsoGiven {
        AlsoGiven {
            chord: self.chord.clone(),
            target: self.target.clone(),
            bend_cents: self.bend,
            attempts: self.attempts,
            chart: self.chart.clone(),
        }
    }

    fn free(&self, table: &Table) -> Result<Run, Failure> {
        let asked = self.asked();
        let tolerance = stage_tolerance(&table.settings, &asked);
        let wanted = Wanted::of(&asked, tolerance).map_err(|error| WrongUse(error.to_string()))?;
        Ok(Run { asked, wanted, tolerance, ask: Some(self.ask()), lesson: None })
    }

    fn drilled(&self, table: &Table, own: &OwnDrill) -> Result<Run, Failure> {
        let asked = self.setting.asked(own)?;
        let tolerance = stage_tolerance(&table.settings, &asked);
        let wanted = Wanted::of(&asked, tolerance).map_err(|error| WrongUse(error.to_string()))?;
        let stage = parameters::stage(asked.stage.as_deref())?;
        let own_feedback = own.chosen.text("feedback").and_then(|text| text.parse::<Feedback>().ok());
        let feedback = self.practising.feedback.or(own_feedback).unwrap_or(stage.numbers().feedback);
        let lesson = Some((own.chosen.title.clone(), feedback));
        Ok(Run { asked, wanted, tolerance, ask: None, lesson })
    }

    /// Somebody who goes through the drill with the player.
    fn coaching(&self, table: &Table, run: &Run, sound: Option<DrillSound>) -> Option<Coaching> {
        let ((title, feedback), course) = run.lesson.as_ref().zip(run.wanted.course())?;
        let manner = Manner { guess: self.practising.guess, hands_free: self.hands(table, run), ends: !self.hearing.fast };
        let coaching = Coaching::new(Coach::new(course.clone(), *feedback).titled(title), manner);
        Some(match sound {
            Some(sound) => coaching.sounding(sound),
            None => coaching,
        })
    }

    /// Signs are heard on the two lowest strings, as they sound.
    fn hands(&self, table: &Table, run: &Run) -> Option<HandsFree> {
        let [lowest, next] = two_lowest(&run.asked.parameters, &table.settings.tuning.value).filter(|_| self.practising.hands_free)?;
        Some(HandsFree::new(lowest, next))
    }

    /// One run; says what it came to.
    fn play(&self, table: &Table, mut run: Run) -> Result<Outcome, Failure> {
        let known = (&table.settings, &table.recorded, &table.directories);
        let sounding = self.sounding(&run)?;
        let stage = Stage::open(&self.hearing, &self.clicking, sounding, &run.wanted, known)?;
        run.wanted = stage.wanted(run.wanted);
        run.asked.click = stage.clicked.as_ref().map(|clicked| clicked.asked.clone());
        let log = self.keeping.log(&table.directories)?;
        let log_path = log.path().to_owned();
        let job = Job { ears: stage.ears(table.settings.a4.value, &run.wanted), ..self.job(table, &run) };
        // Free play has nobody who would sound anything; a drone goes on until the end.
        let (sound, _drone) = if run.lesson.is_some() { (stage.sound, None) } else { (None, stage.sound) };
        let coaching = self.coaching(table, &run, sound);
        let came_to = coaching.as_ref().map(Coaching::outcome);
        let mut ask = run.ask;
        let asks: Asks = Box::new(move |_, _| ask.take());
        let mut world = World::real()?;
        let look = Showing::look(&table.settings, &table.environment);
        let prompter = coaching.map(|coaching| Box::new(coaching) as Box<dyn Prompter>);
        let reminding = Reminding::new(prompter, Minder::new(table.hand.clone(), Arc::clone(&world.clock)));
        let prompter = Some(Box::new(reminding) as Box<dyn Prompter>);
        let mut view = Collecting::new(self.showing.view(&mut world, &table.settings, look, self.hearing.fast, asks, prompter)?);
        let outcome = live(world, stage.input, job, Some(log), &mut view);
        // From here on the terminal is the shell's again.
        let played = view.finish();
        let outcome = outcome?;
        let played: Vec<Played<'_>> = played.iter().map(|(attempt, row)| Played::of(attempt, row)).collect();
        let ended = ending(&played, run.lesson.is_some(), self.listed);
        let words = came_to.and_then(|came_to| came_to.lock().ok()?.take()).unwrap_or_default();
        if !ended.is_empty() {
            let table = if self.listed { String::new() } else { as_it_sounds(sounds_higher(&run.asked.parameters)) };
            print(&format!("\n{}", narrowed(&(table + &ended + &words), columns())))?;
        }
        summary(&outcome, &log_path)?;
        Ok(outcome)
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

    fn job(&self, table: &Table, run: &Run) -> Job {
        let settings = &table.settings;
        let namer = run.wanted.clone();
        let steps = run.wanted.course().map(|course| course.plan().steps.len() as u32);
        let eye = run.wanted.clone();
        let seconds = self.showing.seconds.into_iter().chain(self.practising.minutes.map(|minutes| 60.0 * minutes)).reduce(f64::min);
        Job {
            channel: Hearing::channel(settings),
            drill: run.asked.drill.clone().unwrap_or_else(|| "free".into()),
            asked: run.asked.clone(),
            beats: Beats::default(),
            a4: settings.a4.value,
            tolerance: run.tolerance.cents,
            attempts: self.attempts.filter(|_| steps.is_none()),
            // With a file, there is nobody who would look at the last page.
            last_step: steps.filter(|_| self.hearing.fast || self.listed && self.hearing.input.is_some()),
            seconds,
            save: self.keeping.takes(&table.directories),
            ring_s: RING_S,
            largest: LARGEST,
            keep_free: KEEP_FREE,
            patient: self.hearing.fast,
            ears: hearing::ears_apart(settings.a4.value, run.wanted.clone(), move || eye.for_the_eye()),
            row: Box::new(move |attempt, setting| namer.row(attempt, setting)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// D2 is 38 in MIDI, E2 40, A2 45.
    #[test]
    fn signs_and_the_check_are_those_of_the_guitar_that_the_drill_asks_for() {
        let given = |words: &[(&str, &str)]| words.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect::<Given>();
        let lowest = |words, otherwise| two_lowest(&given(words), otherwise).unwrap();
        assert!((lowest(&[], "standard")[0] - 4000.0).abs() < 1e-9);
        assert!((lowest(&[], "drop D")[0] - 3800.0).abs() < 1e-9);
        let [low, next] = lowest(&[("tuning", "drop D"), ("capo", "2")], "standard");
        assert!((low - 4000.0).abs() < 1e-9 && (next - 4700.0).abs() < 1e-9, "{low} {next}");
        assert_eq!(tuned(&given(&[("tuning", "drop D")]), "standard").unwrap().low_to_high()[0].midi(), 38);
    }
}
