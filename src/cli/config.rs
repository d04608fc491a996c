//! `landfall config`.

use super::directories::{Directories, Environment};
use super::settings::{Colours, Given, Handedness, Setting, Settings, a4, channel, minutes, tolerance};
use super::{Failure, print};
use crate::units::A4;
use clap::ValueEnum;
use std::fmt::Write;

/// Arguments of `config`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Show every setting, its value and where it came from, as lines that config.toml takes.\n\n\
                  An option stands over an environment variable (LANDFALL_A4 and so on), that over config.toml, that over the default. \
                  The first line names the file; it need not exist.",
    after_help = "Examples:\n  landfall config     what holds now\n  \
                  LANDFALL_A4=442 landfall config       what a variable changes\n\n\
                  A config.toml of a player who tunes to 442 and plugs into the second input:\n  a4 = 442\n  channel = 2"
)]
pub struct Args {
    /// Part of the sound card's name
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// The input the guitar is plugged into, from 1
    #[arg(long, value_name = "N", value_parser = channel)]
    channel: Option<u16>,
    /// The tuning reference in Hz
    #[arg(long, value_name = "HZ", value_parser = a4)]
    a4: Option<A4>,
    /// How far off, in cents, still counts as in tune
    #[arg(long, value_name = "CENTS", value_parser = tolerance)]
    tolerance: Option<f64>,
    /// Notes from the lowest string to the highest
    #[arg(long, value_name = "NOTES")]
    tuning: Option<String>,
    /// The hand that picks
    #[arg(long, value_enum)]
    handedness: Option<Handedness>,
    /// When to use colour
    #[arg(long, value_enum)]
    colours: Option<Colours>,
    /// After how many minutes of playing a session has been long enough
    #[arg(long, value_name = "MINUTES", value_parser = minutes)]
    minutes: Option<f64>,
}

impl Args {
    /// Prints the settings.
    ///
    /// # Errors
    /// When a setting cannot be, or standard output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        let environment = Environment::of_process();
        let directories = Directories::of(&environment)?;
        let given = Given {
            device: self.device,
            channel: self.channel,
            a4: self.a4,
            tolerance: self.tolerance,
            tuning: self.tuning,
            handedness: self.handedness,
            colours: self.colours,
            minutes: self.minutes,
        };
        let settings = Settings::load(&environment, given, Given::default())?;
        print(&format!("{}{}", places(&directories)?, listing(&settings)?))
    }
}

fn places(directories: &Directories) -> Result<String, std::fmt::Error> {
    let mut text = String::new();
    let file = directories.config_file();
    writeln!(text, "# settings: {}{}", file.display(), if file.exists() { "" } else { " (not there: nothing is set in it)" })?;
    writeln!(text, "# log:      {}", directories.log_file().display())?;
    writeln!(text, "# takes:    {}", directories.takes().display())?;
    Ok(text)
}

fn listing(settings: &Settings) -> Result<String, std::fmt::Error> {
    let quoted = |text: &str| toml::Value::from(text).to_string();
    let word = |value: Option<clap::builder::PossibleValue>| value.map(|value| quoted(value.get_name())).unwrap_or_default();
    let mut text = String::new();
    line(&mut text, "device", &settings.device, settings.device.value.as_deref().map(quoted), "the one that the system prefers")?;
    line(&mut text, "channel", &settings.channel, settings.channel.value.map(|n| n.to_string()), "the louder one")?;
    line(&mut text, "a4", &settings.a4, Some(settings.a4.value.hz().to_string()), "")?;
    line(&mut text, "tolerance", &settings.tolerance, Some(settings.tolerance.value.to_string()), "")?;
    line(&mut text, "tuning", &settings.tuning, Some(quoted(&settings.tuning.value)), "")?;
    line(&mut text, "handedness", &settings.handedness, Some(word(settings.handedness.value.to_possible_value())), "")?;
    line(&mut text, "colours", &settings.colours, Some(word(settings.colours.value.to_possible_value())), "")?;
    line(&mut text, "minutes", &settings.minutes, Some(settings.minutes.value.to_string()), "")?;
    Ok(text)
}

/// `key = value  # origin`; what has no value yet is a comment.
fn line<T>(text: &mut String, key: &str, setting: &Setting<T>, value: Option<String>, otherwise: &str) -> std::fmt::Result {
    let origin = &setting.origin;
    match value {
        Some(value) => writeln!(text, "{:<34} # {origin}", format!("{key} = {value}")),
        None => writeln!(text, "{:<34} # {origin}: {otherwise}", format!("# {key} =")),
    }
}
