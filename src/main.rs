//! Arguments → run → exit code, nothing else.

use clap::Parser;
use landfall::cli::{Cli, exit_code};
use std::process::ExitCode;

fn main() -> ExitCode {
    exit_code(Cli::parse().run())
}
