//! `landfall man`.

use super::{Cli, Failure, print_bytes};
use clap_mangen::Man;
use std::io;

/// Arguments of `man`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Print the manual page, for man(1). It holds all commands and all their options.",
    after_help = "Examples:\n  landfall man | man -l -\n  landfall man > ~/.local/share/man/man1/landfall.1"
)]
pub struct Args {}

impl Args {
    /// Prints the manual page in roff.
    ///
    /// # Errors
    /// When standard output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        print_bytes(page(Cli::definition())?.as_bytes())
    }
}

/// One page: the program, then a section for each command.
fn page(mut program: clap::Command) -> io::Result<String> {
    program.build();
    let mut roff = Vec::new();
    let man = Man::new(program.clone());
    man.render_title(&mut roff)?;
    man.render_name_section(&mut roff)?;
    man.render_synopsis_section(&mut roff)?;
    man.render_description_section(&mut roff)?;
    let mut page = text(&roff);
    for command in program.get_subcommands() {
        let name = command.get_bin_name().unwrap_or(command.get_name()).to_uppercase();
        page.extend([".SH \"", &name, "\"\n"]);
        let mut roff = Vec::new();
        let man = Man::new(command.clone());
        man.render_synopsis_section(&mut roff)?;
        man.render_description_section(&mut roff)?;
        man.render_options_section(&mut roff)?;
        man.render_extra_section(&mut roff)?;
        // A section of the command's own page is a part of its section here.
        page.push_str(&text(&roff).replace("\n.SH ", "\n.SS ").replace("\n.SS EXTRA", "\n.SS EXAMPLES"));
    }
    Ok(page)
}

fn text(roff: &[u8]) -> String {
    String::from_utf8_lossy(roff).into_owned()
}
