//! Where a table or a page goes: standard output or a file.

use super::{Failure, print_bytes};
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

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
