//! `landfall man`.

use super::{Cli, Failure, print_bytes};

/// Arguments of `man`.
#[derive(Debug, clap::Args)]
pub struct Args {}

impl Args {
    /// Prints the manual page in roff.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        let mut page = Vec::new();
        clap_mangen::Man::new(Cli::definition()).render(&mut page)?;
        print_bytes(&page)
    }
}
