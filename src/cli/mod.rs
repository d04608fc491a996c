//! The command line: one file a command.

use clap::{CommandFactory, Parser, Subcommand};

mod band;
pub mod calibrate;
pub mod chart;
mod click;
pub mod completions;
pub mod config;
pub mod demo;
pub mod devices;
pub mod directories;
pub mod drill;
mod drill_list;
pub mod drill_options;
mod drill_stage;
mod drill_write;
mod failure;
mod fretboard;
pub mod grade;
mod graded_curves;
pub mod intonation;
mod listening;
pub mod live_options;
pub mod log;
pub mod man;
pub mod neck;
mod open_strings;
mod output;
mod over_changes;
pub mod play;
mod rows_out;
pub mod settings;
mod start;
mod take;
pub mod trace;
mod track;
pub mod tune;

pub use failure::{Failure, WrongUse, exit_code};
use failure::{meant, print, print_bytes, remark, stdout_failure};

/// landfall listens to a lead guitar and says, in cents and milliseconds, whether each bend landed.
#[derive(Debug, Parser)]
#[command(name = "landfall", version, propagate_version = true, max_term_width = 80, disable_help_subcommand = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// All commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Watch landfall listen to nine bends, or over a chart (demo ii-V-I): no guitar and no sound card needed
    Demo(demo::Args),
    /// Play, and be told at once how each bend went
    Drill(drill::Args),
    /// Play over the chords of a tune: bends are graded by the chord of their moment
    Play(Box<play::Args>),
    /// Tune: which string sounds, and how far off it is
    Tune(tune::Args),
    /// Check the intonation at fret 12, string by string, and how far to move each saddle
    Intonation(intonation::Args),
    /// Grade the bends of recorded takes
    Grade(grade::Args),
    /// List or export the attempts that were logged
    Log(log::Args),
    /// Show chord tones, triads, scales and bends on the neck
    Neck(neck::Args),
    /// Show the chords of a tune, with triads, scales and bends for each
    Chart(chart::Args),
    /// The pitch of a recorded take, reading by reading, as CSV
    Trace(trace::Args),
    /// Measure the delay from what is played to what is heard
    Calibrate(calibrate::Args),
    /// List what can be heard from and played to
    Devices(devices::Args),
    /// Show the settings and where each came from
    Config(config::Args),
    /// Print the completion script of a shell
    Completions(completions::Args),
    /// Print the manual page
    Man(man::Args),
}

impl Cli {
    /// Runs the command.
    ///
    /// # Errors
    /// Anything that ends the command early, as one sentence.
    pub fn run(self) -> Result<(), Failure> {
        match self.command {
            None => start::run(),
            Some(Command::Demo(args)) => args.run(),
            Some(Command::Drill(args)) => args.run(),
            Some(Command::Play(args)) => args.run(),
            Some(Command::Tune(args)) => args.run(),
            Some(Command::Intonation(args)) => args.run(),
            Some(Command::Grade(args)) => args.run(),
            Some(Command::Log(args)) => args.run(),
            Some(Command::Neck(args)) => args.run(),
            Some(Command::Chart(args)) => args.run(),
            Some(Command::Trace(args)) => args.run(),
            Some(Command::Calibrate(args)) => args.run(),
            Some(Command::Devices(args)) => args.run(),
            Some(Command::Config(args)) => args.run(),
            Some(Command::Completions(args)) => args.run(),
            Some(Command::Man(args)) => args.run(),
        }
    }

    /// The description of all commands, for completions and the manual page.
    #[must_use]
    pub fn definition() -> clap::Command {
        Self::command()
    }
}
