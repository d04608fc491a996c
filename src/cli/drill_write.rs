//! `landfall drill NAME --write FILE`: a drill as a file of the player's own.

use super::drill_options::DrillOptions;
use super::{Failure, WrongUse, meant, print};
use crate::practice::drill_file::{self, DrillFile, OwnDrill};
use std::io;
use std::path::Path;

/// Writes a drill to a file that is not there yet.
pub(super) fn write(file: Option<&DrillFile>, to: &Path, setting: &DrillOptions, minutes: Option<f64>) -> Result<(), Failure> {
    let Some(DrillFile::One(own)) = file else {
        return Err(WrongUse("--write takes the name of one drill; landfall drill --list names them".into()).into());
    };
    let own = OwnDrill { stage: setting.stage.or(own.stage), minutes: minutes.or(own.minutes), ..*own.clone() };
    let text = meant(drill_file::write(&own))?;
    let mut new = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(to)
        .map_err(|error| format!("cannot write {}: {error}; name a file that is not there yet", to.display()))?;
    io::Write::write_all(&mut new, text.as_bytes()).map_err(|error| format!("cannot write {}: {error}; make room", to.display()))?;
    print(&format!("{} is yours to change; play it with: landfall drill {}\n", to.display(), to.display()))
}
