//! `landfall man`.

use super::{Cli, Failure};

/// Arguments of `man`.
#[derive(Debug, clap::Args)]
pub struct Args {}

impl Args {
    /// Prints the manual page in roff.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        clap_mangen::Man::new(Cli::definition()).render(&mut std::io::stdout())?;
        Ok(())
    }
}
