//! `landfall drill --list`: what there is to play, and what one drill takes.

use super::{Failure, meant, print};
use crate::practice::drills::{Chosen, KINDS, Kind, NAMED};
use crate::practice::parameters::PARAMETERS;
use crate::views::paragraph::{hanging, indented};

/// All drills and kinds, a line each.
///
/// # Errors
/// When standard output cannot be written.
pub fn all() -> Result<(), Failure> {
    let line = |(name, help): (&str, &str)| format!("  {name:<24}{help}");
    let mut lines = vec!["Ten drills to begin with:".to_owned(), String::new()];
    lines.extend(NAMED.iter().map(|named| line((named.name, named.help))));
    lines.extend([String::new(), "Kinds, for your own (landfall drill KIND, with --chord, --key, --set ...):".to_owned(), String::new()]);
    lines.extend(KINDS.iter().map(|kind| line((kind.name, kind.help))));
    lines.push(
        "\nlandfall drill NAME --list says more about one.\nlandfall drill NAME --write my.toml makes it a file of your own.\n".to_owned(),
    );
    print(&lines.join("\n"))
}

/// One drill: what it trains, how it ends, and what it takes.
///
/// # Errors
/// When no place on the neck fits, or standard output cannot be written.
pub fn one(chosen: &Chosen) -> Result<(), Failure> {
    let Some(kind) = Kind::find(chosen.kind) else { return Ok(()) };
    let said = [kind.help.to_owned(), kind.lead.to_owned(), format!("It trains: {}", kind.trains), format!("It ends: {}", kind.ends)];
    let said: Vec<String> = said.iter().flat_map(|sentence| hanging(sentence)).collect();
    let mut lines = vec![
        format!("{}\n\n{}", chosen.title, said.join("\n")),
        "\nIt takes (--set NAME=VALUE, or the option of the same name):\n".to_owned(),
    ];
    let values = meant(chosen.settled())?;
    for name in kind.parameters() {
        let Some(parameter) = PARAMETERS.iter().find(|parameter| parameter.name == name) else { continue };
        let value = values.get(name).map_or_else(|| format!("for instance {}", parameter.example), |value| format!("now {value}"));
        lines.extend(indented(&format!("{name:<12}{}; {value}", parameter.about), "  ", "              "));
    }
    print(&(lines.join("\n") + "\n"))
}
