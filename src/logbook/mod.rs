//! Rows and takes: kept, read, given out. One file per format; `csv` is used nowhere else.

pub mod attempts;
pub mod cell;
mod graded;
pub mod intonation;
pub mod log;
pub mod neck;
mod played_at;
pub mod round_trips;
pub mod row;
pub mod sidecar;
pub mod trace;
pub mod whole;

pub use graded::Setting;
pub use played_at::PlayedAt;
pub use row::Row;

use std::io;
use std::path::{Path, PathBuf};

/// What can go wrong with files of rows.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// The file could not be read.
    #[error("cannot read {path}: {reason}")]
    Unreadable {
        /// The file as it was named.
        path: PathBuf,
        /// What the system said.
        #[source]
        reason: io::Error,
    },
    /// Nothing or not everything could be written; what stood there before is untouched.
    #[error("cannot write {path}: {reason}; {advice}")]
    Unwritable {
        /// The file as it was named.
        path: PathBuf,
        /// What the system said.
        #[source]
        reason: io::Error,
        /// What to do next.
        advice: &'static str,
    },
    /// The file is no attempt log.
    #[error("{path} is not an attempt log: {found}; name a CSV file with the columns that `landfall grade --csv` writes")]
    NotALog {
        /// The file as it was named.
        path: PathBuf,
        /// What was found instead of a header.
        found: String,
    },
    /// A device or a directory stands where a file should.
    #[error("{path} is not an ordinary file, so rows cannot be kept there; name a file")]
    NotAFile {
        /// What was named.
        path: PathBuf,
    },
    /// The sidecar beside a take is broken.
    #[error("{path} line {line}: {problem}; mend the line or move the file away to grade the take without it")]
    Sidecar {
        /// The sidecar.
        path: PathBuf,
        /// Counted from 1.
        line: usize,
        /// What the reader of TOML says.
        problem: String,
    },
}

impl LogbookError {
    pub(crate) fn unreadable(path: &Path, reason: io::Error) -> Self {
        Self::Unreadable { path: path.to_owned(), reason }
    }

    pub(crate) fn unwritable(path: &Path, reason: io::Error) -> Self {
        let advice = match reason.kind() {
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => "choose a place that you may write to",
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => "free some space; what was written before is whole",
            io::ErrorKind::NotFound | io::ErrorKind::NotADirectory => "make the folder first, or name another",
            io::ErrorKind::AlreadyExists => "it is left as it is: name another file, or move it away first",
            _ => "what was written before is untouched",
        };
        Self::Unwritable { path: path.to_owned(), reason, advice }
    }
}
