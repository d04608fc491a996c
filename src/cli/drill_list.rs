//! `landfall drill --list`: what there is to play, and what one drill takes.

use super::{Failure, print};
use crate::practice::drills::{Chosen, KINDS, Kind, NAMED};
use crate::practice::parameters::PARAMETERS;

/// All drills and kinds, a line each.
///
/// # Errors
/// When standard output cannot be written.
pub fn all() -> Result<(), Failure> {
    let mut text = "Ten drills to begin with:\n\n".to_owned();
    for named in NAMED {
        text += &format!("  {:<24}{}\n", named.name, named.help);
    }
    text += "\nKinds, for your own (landfall drill KIND, with --set, --chord, --key, --strings ...):\n\n";
    for kind in KINDS {
        text += &format!("  {:<24}{}\n", kind.name, kind.help);
    }
    text += "\nlandfall drill NAME --list says more about one; landfall drill NAME --write my.toml makes it a file of yours.\n";
    print(&text)
}

/// One drill: what it trains, how it ends, and what it takes.
///
/// # Errors
/// When standard output cannot be written.
pub fn one(chosen: &Chosen) -> Result<(), Failure> {
    let Some(kind) = Kind::find(chosen.kind) else { return Ok(()) };
    let mut text = format!("{}\n\n{}\n{}\nIt trains: {}\nIt ends: {}\n\n", chosen.title, kind.help, kind.lead, kind.trains, kind.ends);
    text += "It takes (--set NAME=VALUE, or the option of the same name):\n\n";
    for name in kind.parameters() {
        let Some(parameter) = PARAMETERS.iter().find(|parameter| parameter.name == name) else { continue };
        let value = chosen.given.get(name).or_else(|| chosen.defaults.get(name));
        let value = value.map_or_else(|| format!("for instance {}", parameter.example), |value| format!("now {value}"));
        text += &format!("  {name:<12}{}; {value}\n", parameter.about);
    }
    print(&text)
}
