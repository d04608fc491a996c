//! `landfall completions SHELL`.

use super::{Cli, Failure, print_bytes};
use clap_complete::Shell;

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Print the script that lets a shell complete landfall's commands and options.",
    after_help = "Examples:\n  echo 'source <(landfall completions bash)' >> ~/.bashrc\n  \
                  landfall completions fish > ~/.config/fish/completions/landfall.fish"
)]
pub struct Args {
    /// The shell to complete in
    shell: Shell,
}

impl Args {
    /// Prints the script.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        let mut script = Vec::new();
        clap_complete::generate(self.shell, &mut Cli::definition(), "landfall", &mut script);
        print_bytes(&script)
    }
}
