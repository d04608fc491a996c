//! `landfall tune`: the tuner.

use super::directories::Environment;
use super::listening::Listening;
use super::live_options::{Hearing, Showing};
use super::open_strings::OpenStrings;
use super::settings::Given;
use super::{Failure, WrongUse, print};
use crate::live::tuning::Tuning;
use crate::practice::tuner::Tuner;
use crate::views::tune::summary;
use std::io::stdout;

/// Arguments of `tune`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Tune: pluck one string, let it ring, and read which one it is and how far off. The string is recognised by itself, by its open \
                  note or its harmonic at fret 12; nothing has to be pressed.\n\n\
                  The pitch is that of the ringing string, averaged over up to 0.8 s: the first moment after the pick is left out, when every string \
                  is sharp. `in tune` is said when the string has settled within --within cents and the average is as certain as that, or at once when it is right to a tenth of a cent, and it stays \
                  until the string has left that by more than a cent for two averages; `nearly` is within, but not certain yet. What stands behind \
                  give or take is two standard errors of the average, what the pitch moved while it was taken, and what a struck string may still \
                  glide before it rests: `settling` stands where that leaves no number. \
                  Pitches from 30 Hz up are heard, so a five-string bass too.\n\n\
                  The strings are those of --tuning, or notes given as arguments from low to high. q or ctrl-C ends it.\n\n\
                  Come up to a note from below. A string tuned far above its pitch can break: keep your face away from it, and amplifiers and \
                  headphones low.",
    after_help = "Examples:\n  landfall tune                    your tuning, from the sound card\n  \
                  landfall tune --tuning \"drop D\"  another one by its name\n  \
                  landfall tune D2 A2 D3 G3 B3 E4  or by its notes, low to high\n  \
                  landfall tune --a4 442 --string-offset \"1=+2,6=-3\"\n  \
                  landfall tune --strings 6        one string alone, however slack\n  \
                  landfall tune --input take.wav --fast --plain\n                                   a recording, one line for each reading\n\n\
                  A line says when it was known (seconds of the take), the string, the word, the cents with their uncertainty, and the frequency.\n\
                  Exit status: 0 when it ended as it should (also by ctrl-C), 1 when the sound failed, 2 for a command line that cannot be meant."
)]
pub struct Args {
    /// The open strings from low to high, 1 to 12 notes such as D2 A2 D3 G3 B3 E4 [default: your tuning]
    #[arg(value_name = "NOTE", conflicts_with = "tuning")]
    notes: Vec<String>,
    /// In tune is within so many cents
    #[arg(long, value_name = "CENTS", default_value_t = 2.0, value_parser = within)]
    within: f64,
    #[command(flatten)]
    strings: OpenStrings,
    #[command(flatten)]
    hearing: Hearing,
    #[command(flatten)]
    showing: Showing,
}

fn within(text: &str) -> Result<f64, String> {
    text.parse().ok().filter(|cents| (0.5..=20.0).contains(cents)).ok_or_else(|| "it is from 0.5 to 20 cents".into())
}

impl Args {
    /// Listens until it is told to stop.
    ///
    /// # Errors
    /// When nothing can be heard or shown.
    pub fn run(self) -> Result<(), Failure> {
        let recorded = self.hearing.recorded()?;
        let given = Given { tuning: self.strings.tuning.clone(), ..Given::default() };
        let settings = self.hearing.settings(&Environment::of_process(), &recorded, given)?;
        let a4 = settings.a4.value;
        let strings = self.strings.wanted(&self.notes, &settings.tuning.value, a4)?;
        if strings.is_empty() {
            return Err(WrongUse("no string is left to tune; see --strings".into()).into());
        }
        let tuner = Tuner::new(strings, self.within);
        let listening =
            Listening { name: "tune", hearing: &self.hearing, showing: &self.showing, settings: &settings, recorded: &recorded };
        let listener = |look| Tuning::new(tuner, a4, look);
        let (tuned, broken) = listening.listen(listener, Box::new(stdout()))?;
        if self.showing.is_paged() {
            print(&summary(tuned.tuner()))?;
        }
        broken.map_or(Ok(()), |error| Err(error.into()))
    }
}
