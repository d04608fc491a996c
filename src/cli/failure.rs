//! How a command ends: the exit status, and one sentence where something went wrong.

use std::error::Error;
use std::io::{self, Write};
use std::process::ExitCode;

/// A sentence for the player: what is wrong, where, and what to do.
pub type Failure = Box<dyn Error + Send + Sync>;

/// A command line that cannot be meant: exit status 2.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct WrongUse(pub String);

/// A word of the command line, read; one that cannot be is wrong use.
///
/// # Errors
/// What the word should be.
pub fn meant<T, E: std::fmt::Display>(read: Result<T, E>) -> Result<T, Failure> {
    read.map_err(|error| WrongUse(error.to_string()).into())
}

/// 0 done, 2 wrong use of the command line, 1 anything else, with one sentence on standard error. When whoever reads standard output
/// has enough (`landfall log | head`), that is no failure, and nothing is said.
#[must_use]
pub fn exit_code(result: Result<(), Failure>) -> ExitCode {
    let Err(failure) = result else { return ExitCode::SUCCESS };
    if is_closed_pipe(failure.as_ref()) {
        return ExitCode::SUCCESS;
    }
    // Standard error may be closed too; there is nobody left to tell.
    let _ = writeln!(io::stderr(), "landfall: {}", one_line(&failure.to_string()));
    if failure.is::<WrongUse>() { ExitCode::from(2) } else { ExitCode::FAILURE }
}

/// Writes text to standard output.
///
/// # Errors
/// When it cannot be written.
pub fn print(text: &str) -> Result<(), Failure> {
    print_bytes(text.as_bytes())
}

/// Writes bytes to standard output.
///
/// # Errors
/// When they cannot be written.
pub fn print_bytes(bytes: &[u8]) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    out.write_all(bytes).and_then(|()| out.flush()).map_err(stdout_failure)
}

/// Says on standard error what the player should know although all goes well.
pub fn remark(text: impl std::fmt::Display) {
    let _ = writeln!(io::stderr(), "landfall: {}", one_line(&text.to_string()));
}

/// What went wrong on standard output, as a sentence; a closed pipe stays what it is.
#[must_use]
pub fn stdout_failure(error: io::Error) -> Failure {
    if error.kind() == io::ErrorKind::BrokenPipe {
        return error.into();
    }
    format!("cannot write standard output: {error}; send it to a file that can be written, or to the terminal").into()
}

/// The system's sentences without the number of the error behind them, which helps nobody who plays.
fn without_numbers(text: &str) -> String {
    let mut parts = text.split(" (os error ");
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |so_far, part| so_far + part.split_once(')').map_or(part, |(_, rest)| rest))
}

fn is_closed_pipe(failure: &(dyn Error + Send + Sync + 'static)) -> bool {
    failure.downcast_ref::<io::Error>().is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
}

fn one_line(text: &str) -> String {
    without_numbers(text).lines().map(str::trim).filter(|line| !line.is_empty()).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_is_one_line_without_numbers_of_errors() {
        let said = one_line("cannot read a.wav: No such file or directory (os error 2);\n  check the name");
        assert_eq!(said, "cannot read a.wav: No such file or directory; check the name");
        assert_eq!(one_line("a (b) c"), "a (b) c");
    }
}
