//! `landfall drill NAME --write FILE`: a drill as a file of the player's own.

use super::drill_options::DrillOptions;
use super::{Failure, WrongUse, meant, print};
use crate::practice::drill_file::{self, DrillFile};
use std::io;
use std::path::Path;

/// Writes a drill to a file that is not there yet.
pub(super) fn write(file: Option<&DrillFile>, to: &Path, setting: &DrillOptions) -> Result<(), Failure> {
    let Some(DrillFile::One(own)) = file else {
        return Err(WrongUse("--write takes the name of one drill; landfall drill --list names them".into()).into());
    };
    let text = meant(drill_file::write(&own.chosen, setting.stage.or(own.stage)))?;
    let mut new = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(to)
        .map_err(|error| format!("cannot write {}: {error}; name a file that is not there yet", to.display()))?;
    io::Write::write_all(&mut new, text.as_bytes()).map_err(|error| format!("cannot write {}: {error}; make room", to.display()))?;
    print(&format!("{} is yours to change; play it with: landfall drill {}\n", to.display(), to.display()))
}
