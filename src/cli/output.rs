//! Where a table or a page goes: standard output or a file.

use super::{Failure, print_bytes};
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Where the answer goes instead of the screen.
#[derive(Debug, clap::Args)]
pub struct Targets {
    /// Write the table to a file; - prints it
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write the drawing, a page to print, to a file; - prints it
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Targets {
    /// Whether the answer goes to the screen.
    pub fn are_none(&self) -> bool {
        self.csv.is_none() && self.svg.is_none()
    }

    /// Writes what is asked for. Everything is made before anything is written: a mistake leaves no half of the answer.
    ///
    /// # Errors
    /// When one of them cannot be made or written.
    pub fn write(
        &self,
        table: impl FnOnce() -> Result<Vec<u8>, Failure>,
        page: impl FnOnce() -> Result<Vec<u8>, Failure>,
    ) -> Result<(), Failure> {
        let table = self.csv.as_ref().map(|target| Ok::<_, Failure>((target, table()?))).transpose()?;
        let page = self.svg.as_ref().map(|target| Ok::<_, Failure>((target, page()?))).transpose()?;
        table.into_iter().chain(page).try_for_each(|(target, bytes)| write(target, &bytes))
    }
}

/// Writes bytes to a file, or to standard output for `-`. A file that is there already is replaced only when it begins like what
/// is written, so that a slip of the name costs no log, take or chart.
///
/// # Errors
/// When it cannot be written, or something else is there.
pub fn write(target: &Path, bytes: &[u8]) -> Result<(), Failure> {
    if target.as_os_str() == "-" {
        return print_bytes(bytes);
    }
    let name = target.display();
    let first_line = |bytes: &[u8]| bytes.split(|byte| *byte == b'\n').next().map(<[u8]>::to_vec);
    match fs::read(target) {
        Ok(there) if !there.is_empty() && first_line(&there) != first_line(bytes) && !same_kind(&there, bytes) => {
            return Err(format!("{name} is there already and holds something else; choose another name or move it away").into());
        }
        Ok(_) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(format!("cannot write {name}: {error}; name a file in a directory that you may write to").into()),
    }
    fs::write(target, bytes)
        .map_err(|error| format!("cannot write {name}: {error}; name a file in a directory that you may write to").into())
}

/// Two drawings: the first line of each holds its own size.
fn same_kind(there: &[u8], bytes: &[u8]) -> bool {
    there.starts_with(b"<svg") && bytes.starts_with(b"<svg")
}
