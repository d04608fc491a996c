//! `landfall` alone: how to start.

use super::{Failure, print};

const PAGE: &str = "\
landfall listens to a lead guitar and says, in cents and milliseconds, whether
each bend landed.

  landfall demo                 watch it listen to nine bends; no guitar needed
  landfall devices              what can be heard from
  landfall tune                 tune before you bend
  landfall drill --list         ten drills to begin with
  landfall drill bend-and-hold  one of them
  landfall drill --chord Gm7    free play, bending into the notes of a chord
  landfall play ii-V-I          over Gm7, C7, F: each bend is graded by the
                                chord of its moment
  landfall neck --chord Gm7 --bends
                                where the bends into its notes are
  landfall log --last 20        how the last twenty went
  landfall --help               all commands; landfall drill --help is a page
                                about one

Keep headphones and amplifiers at a moderate level, and rest when a hand tires:
pain is a reason to stop.
";

/// Prints how to start.
///
/// # Errors
/// When standard output cannot be written.
pub fn run() -> Result<(), Failure> {
    print(PAGE)
}
