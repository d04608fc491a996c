//! `landfall` alone: how to start.

use super::{Failure, print};

const PAGE: &str = "\
landfall listens to a lead guitar and says, in cents and milliseconds, whether each bend landed.

  landfall --help           all commands

Keep headphones and amplifiers at a moderate level, and rest when a hand tires: pain is a reason to stop.
";

/// Prints how to start.
///
/// # Errors
/// When standard output cannot be written.
pub fn run() -> Result<(), Failure> {
    print(PAGE)
}
