//! Files that are written whole or not at all.

use std::fs::Permissions;
use std::io::{self, Write};
use std::path::Path;

/// Puts a file in place in one step; what stood there under this name stays until the new one is on the disk.
///
/// # Errors
/// When it cannot be written; nothing has changed then.
pub fn exchange(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut making = tempfile::Builder::new();
    making.prefix(".landfall-");
    if let Some(permissions) = usual() {
        making.permissions(permissions);
    }
    let mut file = making.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_data()?;
    file.persist(path).map(drop).map_err(|error| error.error)
}

/// As any new file: readable as the user's mask allows, unlike a temporary one.
#[cfg(unix)]
#[allow(clippy::unnecessary_wraps, reason = "other systems have none")]
fn usual() -> Option<Permissions> {
    use std::os::unix::fs::PermissionsExt;
    Some(Permissions::from_mode(0o666))
}

#[cfg(not(unix))]
fn usual() -> Option<Permissions> {
    None
}
