//! The command line: one file a command.

use clap::{CommandFactory, Parser, Subcommand};

pub mod completions;
pub mod man;

/// landfall listens to a lead guitar and says, in cents and milliseconds, whether each bend landed.
#[derive(Debug, Parser)]
#[command(name = "landfall", version, propagate_version = true, max_term_width = 100)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// All commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Print the completion script of a shell
    Completions(completions::Args),
    /// Print the manual page
    Man(man::Args),
}

/// A sentence for the player: what is wrong, where, and what to do. `main` prints it and exits with 1.
pub type Failure = Box<dyn std::error::Error + Send + Sync>;

impl Cli {
    /// Runs the command.
    ///
    /// # Errors
    /// Anything that ends the command early, as one sentence.
    pub fn run(self) -> Result<(), Failure> {
        match self.command {
            Command::Completions(args) => args.run(),
            Command::Man(args) => args.run(),
        }
    }

    /// The description of all commands, for completions and the manual page.
    #[must_use]
    pub fn definition() -> clap::Command {
        Self::command()
    }
}
