//! A player's own drills and practice lists: TOML files.
//!
//! ```toml
//! kind = "hold"               # a kind or a drill of `landfall drill --list`
//! title = "Whole bends at fret nine"
//! stage = "steady"
//! places = ["2/9", "3/9"]
//! attempts = 6
//! minutes = 10                # it ends then, wherever it is
//! ```
//!
//! A list has a table for each drill, played in order with a rest between two:
//!
//! ```toml
//! title = "Before the band comes"
//! rest = 30                   # seconds between two drills
//! minutes = 15                # no drill begins later
//!
//! [[drill]]
//! kind = "bend-and-hold"
//!
//! [[drill]]
//! kind = "changes"
//! chords = "Dm Gm7 A7"
//! ```

use super::drills::{Chosen, KINDS, Kind};
use super::parameters::{DrillError, Given};
use super::stage::Stage;
use crate::theory::nearest;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

/// One drill of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnDrill {
    /// What to play.
    pub chosen: Chosen,
    /// The stage, where the file says one.
    pub stage: Option<Stage>,
    /// It ends after so many minutes.
    pub minutes: Option<f64>,
}

/// What a file holds.
#[derive(Clone, Debug, PartialEq)]
pub enum DrillFile {
    /// One drill.
    One(Box<OwnDrill>),
    /// Several in order.
    List {
        /// Its heading.
        title: String,
        /// The drills.
        drills: Vec<OwnDrill>,
        /// Seconds of rest between two.
        rest_s: f64,
        /// No drill begins after so many minutes.
        minutes: Option<f64>,
    },
}

/// What is wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file} line {line}: {problem}")]
pub struct FileError {
    /// As it was named.
    pub file: String,
    /// From 1.
    pub line: usize,
    /// What, and what to do.
    pub problem: String,
}

type Table = BTreeMap<Spanned<String>, Spanned<toml::Value>>;

#[derive(Deserialize)]
struct File {
    #[serde(default)]
    drill: Vec<Spanned<Table>>,
}

/// Reads a file; `name` is what its rows are called where it has no name of its own.
///
/// # Errors
/// The first thing that is wrong, with its line and the nearest right word.
pub fn read(file: &str, name: &str, text: &str) -> Result<DrillFile, FileError> {
    let at = |byte: usize, problem: String| FileError {
        file: file.to_owned(),
        line: 1 + text[..byte.min(text.len())].matches('\n').count(),
        problem,
    };
    let broken = |error: toml::de::Error| at(error.span().map_or(0, |span| span.start), error.message().replace('\n', " "));
    let whole: File = toml::from_str(text).map_err(broken)?;
    if whole.drill.is_empty() {
        let table: Table = toml::from_str(text).map_err(broken)?;
        return drill(name, &table).map(|own| DrillFile::One(Box::new(own))).map_err(|(byte, problem)| at(byte, problem));
    }
    // The keys of a list, with where they stand.
    let heads: BTreeMap<Spanned<String>, toml::Value> = toml::from_str(text).map_err(broken)?;
    let (mut title, mut rest_s, mut minutes) = (name.to_owned(), 30.0, None);
    for (key, value) in &heads {
        let byte = key.span().start;
        let number = || number(value);
        let wrong = |wanted: &str| at(byte, format!("{} cannot be {value}: it is {wanted}", key.get_ref()));
        match key.get_ref().as_str() {
            "drill" => {}
            "title" => value.as_str().unwrap_or(name).clone_into(&mut title),
            "rest" => rest_s = number().ok_or_else(|| wrong("seconds, 0 to 600"))?,
            "minutes" => minutes = Some(number().filter(|minutes| *minutes > 0.0).ok_or_else(|| wrong(MINUTES))?),
            other => {
                let known = ["title", "rest", "minutes", "drill"];
                let hint = nearest(other, known).map_or_else(String::new, |near| format!("; did you mean {near}?"));
                return Err(at(byte, format!("a list knows no {other:?}{hint} it has {}", known.join(", "))));
            }
        }
    }
    let drills = whole.drill.iter().map(|one| {
        let name = one.get_ref().iter().find(|(key, _)| key.get_ref() == "kind").and_then(|(_, kind)| kind.get_ref().as_str());
        drill(name.unwrap_or("drill"), one.get_ref())
            .and_then(|own| of_a_list(own, one.get_ref()))
            .map_err(|(byte, problem)| at(if byte == 0 { one.span().start } else { byte }, problem))
    });
    Ok(DrillFile::List { title, drills: drills.collect::<Result<_, _>>()?, rest_s, minutes })
}

/// What minutes are.
const MINUTES: &str = "minutes, over 0 and up to 600";

fn number(value: &toml::Value) -> Option<f64> {
    as_text(value).and_then(|text| text.parse::<f64>().ok()).filter(|number| (0.0..=600.0).contains(number))
}

/// A list has one length, not its drills.
fn of_a_list(own: OwnDrill, table: &Table) -> Result<OwnDrill, (usize, String)> {
    let minutes = table.keys().find(|key| key.get_ref() == "minutes");
    match minutes {
        Some(key) => Err((key.span().start, "minutes are those of the whole list: write them above its first [[drill]]".to_owned())),
        None => Ok(own),
    }
}

fn drill(name: &str, table: &Table) -> Result<OwnDrill, (usize, String)> {
    let (mut kind, mut title, mut stage, mut called, mut minutes) = (None, None, None, None, None);
    let mut given = Given::new();
    let mut places = BTreeMap::new();
    for (key, value) in table {
        let text = as_text(value.get_ref());
        let wrong = |problem: String| (key.span().start, problem);
        let text = text.ok_or_else(|| wrong(format!("{} is neither a word, a number nor a list of them", key.get_ref())))?;
        match key.get_ref().as_str() {
            "kind" => kind = Some((text, value.span().start)),
            "title" => title = Some(text),
            "name" => called = Some(text),
            "stage" => stage = Some(text.parse::<Stage>().map_err(|wanted| wrong(format!("stage cannot be {text:?}: {wanted}")))?),
            "minutes" => {
                let known = number(value.get_ref()).filter(|minutes| *minutes > 0.0);
                minutes = Some(known.ok_or_else(|| wrong(format!("minutes cannot be {text:?}: it is {MINUTES}")))?);
            }
            other => {
                places.insert(other.to_owned(), key.span().start);
                given.insert(other.to_owned(), text);
            }
        }
    }
    let Some((kind, kind_at)) = kind else {
        let all: Vec<&str> = KINDS.iter().map(|kind| kind.name).collect();
        return Err((0, format!("the drill has no kind; write one of: kind = \"{}\"", all.join("\", \""))));
    };
    let place = |error: &DrillError| match error {
        DrillError::Parameter { found, .. } => places.get(found).copied().unwrap_or(0),
        DrillError::Value { name, .. } => places.get(name).copied().unwrap_or(0),
        _ => kind_at,
    };
    let called = called.unwrap_or_else(|| name.to_owned());
    let mut chosen = Chosen::find(&kind, &given).map_err(|error| (place(&error), reworded(&error)))?;
    chosen.name = called;
    chosen.title = title.unwrap_or(chosen.title);
    Ok(OwnDrill { chosen, stage, minutes })
}

/// The words that a file's own keys add to what a kind knows.
fn reworded(error: &DrillError) -> String {
    match error {
        DrillError::Parameter { .. } => format!("{error}; and kind, name, title, stage and minutes"),
        other => other.to_string(),
    }
}

fn as_text(value: &toml::Value) -> Option<String> {
    Some(match value {
        toml::Value::String(text) => text.clone(),
        toml::Value::Integer(number) => number.to_string(),
        toml::Value::Float(number) => number.to_string(),
        toml::Value::Array(all) => all.iter().map(as_text).collect::<Option<Vec<_>>>()?.join(" "),
        _ => return None,
    })
}

/// A drill as a file that asks for the same steps, every value that holds named in it.
///
/// # Errors
/// When no place on the neck fits.
pub fn write(OwnDrill { chosen, stage, minutes }: &OwnDrill) -> Result<String, DrillError> {
    let mut lines = vec![format!("# {}", chosen.title)];
    let kind = Kind::find(chosen.kind);
    lines.extend(kind.into_iter().flat_map(|kind| [kind.trains, kind.ends]).map(|line| format!("# {line}")));
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    lines.push(format!("kind = {}", quoted(chosen.kind)));
    lines.push(format!("title = {}", quoted(&chosen.title)));
    lines.extend(stage.map(|stage| format!("stage = {}", quoted(stage.word()))));
    lines.extend(minutes.map(|minutes| format!("minutes = {minutes}")));
    let values = chosen.settled()?;
    lines.extend(values.iter().map(|(name, value)| format!("{name} = {}", quoted(value))));
    lines.push("\n# What else it takes:".to_owned());
    lines.extend(minutes.is_none().then(|| "# minutes = 10   # it ends then, wherever it is".to_owned()));
    let open: Vec<&str> = kind.map(Kind::parameters).into_iter().flatten().filter(|name| !values.contains_key(*name)).collect();
    let about = super::parameters::PARAMETERS.iter().filter(|parameter| open.contains(&parameter.name));
    lines.extend(about.map(|parameter| format!("# {} = {}   # {}", parameter.name, quoted(parameter.example), parameter.about)));
    Ok(lines.join("\n") + "\n")
}

#[cfg(test)]
mod tests {
    use super::super::drills::NAMED;
    use super::*;

    fn said(text: &str) -> String {
        read("my.toml", "my", text).unwrap_err().to_string()
    }

    #[test]
    fn a_wrong_key_is_named_with_its_line_and_the_nearest_right_word() {
        assert!(said("kind = \"hold\"\nsize = \"whole\"\n").starts_with("my.toml line 2: hold knows no \"size\"; did you mean sizes?"));
        assert!(said("kind = \"hold\"\n\nsizes = \"huge\"\n").starts_with("my.toml line 3: sizes cannot be \"huge\""));
        assert!(said("\nkind = \"hould\"\n").starts_with("my.toml line 2: there is no drill \"hould\"; did you mean hold?"));
        assert!(said("kind = \n").starts_with("my.toml line 1: "));
        assert!(said("sizes = \"whole\"\n").contains("has no kind"));
        assert!(said("kind = \"hold\"\nstage = \"loud\"\n").contains("line 2: stage cannot be"));
        assert!(
            said("rest = 5\nminuts = 3\n[[drill]]\nkind = \"hold\"\n")
                .contains("line 2: a list knows no \"minuts\"; did you mean minutes?")
        );
        assert!(
            said("rest = 5\n[[drill]]\nkind = \"hold\"\n[[drill]]\nkind = \"hold\"\ntempoo = 3\n")
                .contains("line 6: hold knows no \"tempoo\"")
        );
    }

    #[test]
    fn a_list_holds_its_drills_in_order() {
        let file = "title = \"Evening\"\nrest = 20\n[[drill]]\nkind = \"bend-and-hold\"\n[[drill]]\nkind = \"slow\"\ntempo = 50\n";
        let Ok(DrillFile::List { title, drills, rest_s, minutes }) = read("my.toml", "my", file) else { panic!("it is a list") };
        assert_eq!((title.as_str(), drills.len(), rest_s, minutes), ("Evening", 2, 20.0, None));
        assert_eq!((drills[0].chosen.kind, drills[0].chosen.name.as_str()), ("hold", "bend-and-hold"));
        assert_eq!(drills[1].chosen.given["tempo"], "50");
    }

    #[test]
    fn every_drill_reads_back_as_it_was_written() {
        for name in NAMED.iter().map(|named| named.name).chain(KINDS.iter().map(|kind| kind.name)) {
            let chosen = Chosen::find(name, &Given::new()).unwrap();
            let before = OwnDrill { chosen: chosen.clone(), stage: Some(Stage::Strong), minutes: Some(7.5) };
            let text = write(&before).unwrap();
            let Ok(DrillFile::One(own)) = read("my.toml", name, &text) else {
                panic!("{name}: {:?}\n{text}", read("my.toml", name, &text))
            };
            assert_eq!((own.stage, own.minutes), (before.stage, before.minutes));
            let (before, after) = (chosen.plan(Stage::Strong, None).unwrap(), own.chosen.plan(own.stage.unwrap(), None).unwrap());
            assert_eq!(before, after, "{name}");
        }
    }
}
