//! Arguments → run → exit code, nothing else.

use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    match landfall::cli::Cli::parse().run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("landfall: {failure}");
            ExitCode::FAILURE
        }
    }
}
