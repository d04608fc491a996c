//! Where rows go that a command gives out: standard output, or a file that is never taken from another owner.

use super::{Failure, print_bytes, remark};
use crate::logbook::{LogbookError, Row, attempts, whole};
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// `--csv FILE` or `--csv -`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CsvTo {
    /// `-`
    Stdout,
    /// A file.
    File(PathBuf),
}

impl From<std::ffi::OsString> for CsvTo {
    fn from(name: std::ffi::OsString) -> Self {
        if name == "-" { Self::Stdout } else { Self::File(name.into()) }
    }
}

impl CsvTo {
    /// Writes header and rows. A file is exchanged whole or not at all, and only one that holds nothing but rows of the same takes:
    /// a repeated export may replace itself, never a log or anything else.
    ///
    /// # Errors
    /// When it cannot be written, or the file holds something else.
    pub fn write(&self, rows: &[Row]) -> Result<(), Failure> {
        let bytes = attempts::whole_file(rows);
        match self {
            Self::Stdout => print_bytes(&bytes),
            Self::File(path) => {
                let failed = |reason| LogbookError::unwritable(path, reason);
                match fs::metadata(path) {
                    // A pipe or a device is written to, not exchanged.
                    Ok(found) if !found.is_file() && !found.is_dir() => {
                        File::options().write(true).open(path).and_then(|mut file| file.write_all(&bytes))
                    }
                    Ok(_) if !may_replace(path, rows) => Err(io::Error::new(io::ErrorKind::AlreadyExists, "it holds something else")),
                    _ => whole::exchange(path, &bytes),
                }
                .map_err(failed)?;
                Ok(())
            }
        }
    }
}

fn may_replace(path: &Path, rows: &[Row]) -> bool {
    let Ok(bytes) = fs::read(path) else { return false };
    let Ok(found) = attempts::read(&bytes[..]) else { return false };
    found.troubles.is_empty() && found.rows.iter().all(|old| rows.iter().any(|new| new.take == old.take))
}

/// Several things may have failed: the last one ends the command, the others are said before it.
///
/// # Errors
/// When there is any.
pub fn one_of(mut failures: Vec<Failure>) -> Result<(), Failure> {
    let last = failures.pop();
    failures.iter().for_each(remark);
    last.map_or(Ok(()), Err)
}
