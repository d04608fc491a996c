//! `landfall devices`.

use super::{Failure, print, remark};
use crate::sound::card;
use crate::views::paragraph::indented;
use std::fmt::Write;

/// Arguments of `devices`.
#[derive(Debug, clap::Args)]
#[command(after_help = "The name in the first column is what `--device` takes; a part of it will do where it fits one device alone.\n\
    Nothing is opened to make this list, so a device in use is listed like any other.\n\n\
    Examples:\n  landfall devices\n  landfall devices | grep -i usb\n  landfall devices --all  also what the system only converts sound with")]
pub struct Args {
    /// List also what is no card: converters of the system's, and its sink of silence
    #[arg(long)]
    all: bool,
}

impl Args {
    /// Prints the names.
    ///
    /// # Errors
    /// When there are no cards in this build, the system cannot be asked, or standard output cannot be written.
    pub fn run(self) -> Result<(), Failure> {
        let (names, left_out): (Vec<_>, Vec<_>) = card::system()?.names()?.into_iter().partition(|name| self.all || !name.is_converter());
        if names.is_empty() {
            return Err("the system names no sound device: connect one, and see that its sound server runs".into());
        }
        let width = names.iter().map(|name| name.id.chars().count()).max().unwrap_or(0).min(40);
        let mut table = String::new();
        for name in names {
            let can = match (name.input, name.output) {
                (true, true) => "in, out",
                (true, false) => "in",
                (false, true) => "out",
                (false, false) => "",
            };
            let line = format!("{:width$}  {can:7}  {}", name.id, name.about);
            let beneath = " ".repeat(width + 11);
            for part in indented(&line, "", &beneath) {
                writeln!(table, "{part}")?;
            }
        }
        print(&table)?;
        if !left_out.is_empty() {
            remark(format!("{} more are no cards: they change or swallow sound on its way to one (--all lists them)", left_out.len()));
        }
        Ok(())
    }
}
