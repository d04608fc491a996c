//! `landfall completions SHELL`.

use super::{Cli, Failure, print_bytes};
use clap_complete::Shell;

/// Arguments of `completions`.
#[derive(Debug, clap::Args)]
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
