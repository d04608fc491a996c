//! Which drill, and how it is set: options that `drill` and `grade` share.

use super::settings;
use super::{Failure, WrongUse};
use crate::logbook::sidecar::Asked;
use crate::practice::drill_file::{self, DrillFile, OwnDrill};
use crate::practice::drills::Chosen;
use crate::practice::parameters::Given;
use crate::practice::stage::Stage;
use crate::practice::tour;
use crate::theory::bend::size_name;
use crate::theory::chart::{Chart, Metre};
use std::path::{Path, PathBuf};

/// How a drill is set.
#[derive(Clone, Debug, Default, clap::Args)]
#[command(next_help_heading = "Setting a drill")]
pub struct DrillOptions {
    /// How much is asked: starting, steady or strong [default: steady]
    #[arg(long, value_name = "STAGE", value_parser = str::parse::<Stage>)]
    pub stage: Option<Stage>,
    /// The key: notes to bend from are notes of it
    #[arg(long, value_name = "KEY")]
    pub key: Option<String>,
    /// Open strings from low to high, or a name such as "drop D" [default: your setting, else standard]
    #[arg(long, value_name = "NOTES", value_parser = settings::tuning)]
    pub tuning: Option<String>,
    /// Only around this fret of the first finger
    #[arg(long, value_name = "FRET")]
    pub position: Option<String>,
    /// Only these strings, 1 the highest: 1-3 or 1,2,4
    #[arg(long, value_name = "LIST")]
    pub strings: Option<String>,
    /// Another choice and order of places
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<String>,
    /// Any other value of the drill, as `landfall drill NAME --list` names them; may be given again
    #[arg(long = "set", value_name = "NAME=VALUE")]
    pub values: Vec<String>,
}

/// Options of free play that mean something for a drill too.
#[derive(Clone, Debug, Default)]
pub struct AlsoGiven {
    /// `--chord`.
    pub chord: Option<String>,
    /// `--target`.
    pub target: Option<String>,
    /// `--bend`, in cents.
    pub bend_cents: Option<f64>,
    /// `--attempts`.
    pub attempts: Option<u32>,
    /// `--chart`.
    pub chart: Option<PathBuf>,
}

impl DrillOptions {
    /// Everything given, by the names of parameters.
    ///
    /// # Errors
    /// When a value is not written as NAME=VALUE, or the chart cannot be read.
    pub fn given(&self, also: &AlsoGiven) -> Result<Given, Failure> {
        let mut given = Given::new();
        let attempts = also.attempts.map(|attempts| attempts.to_string());
        let sizes = also.bend_cents.map(|cents| size_name(cents.round() as u32).trim_end_matches(" cents").to_owned());
        let named = [
            ("key", &self.key),
            ("tuning", &self.tuning),
            ("position", &self.position),
            ("strings", &self.strings),
            ("seed", &self.seed),
            ("chord", &also.chord),
            ("target", &also.target),
            ("attempts", &attempts),
            ("sizes", &sizes),
        ];
        given.extend(named.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value.clone()?))));
        if let Some(file) = &also.chart {
            let text = std::fs::read_to_string(file).map_err(|error| format!("cannot read {}: {error}; name a chart", file.display()))?;
            let chart = Chart::parse(&file.display().to_string(), &text)?;
            let chords: Vec<String> =
                chart.timeline().chords.iter().filter_map(|chord| Some(chord.chord.as_ref()?.symbol().to_owned())).collect();
            given.insert("chords".to_owned(), chords.join(" "));
            given.insert("tempo".to_owned(), chart.parts[0].tempo.to_string());
            given.insert("rounds".to_owned(), "1".to_owned());
            // Where the foot comes down inside of a bar means nothing to a drill; where it changes the beat itself, bars of four do.
            let metre = chart.parts[0].metre.to_string();
            if Metre::parse(&metre, None).is_ok_and(|plain| plain.beats() == chart.parts[0].metre.beats()) {
                given.insert("metre".to_owned(), metre);
            }
        }
        for text in &self.values {
            let (name, value) =
                text.split_once('=').ok_or_else(|| WrongUse(format!("--set {text}: write NAME=VALUE, such as --set places=2/8")))?;
            given.insert(name.trim().to_owned(), value.trim().to_owned());
        }
        Ok(given)
    }

    /// Finds what a name or a file means: the drills to play, in order, and how a list rests.
    ///
    /// # Errors
    /// When there is no such drill, or the file or a value cannot be.
    pub fn find(&self, name: &str, also: &AlsoGiven) -> Result<DrillFile, Failure> {
        let given = self.given(also)?;
        let path = Path::new(name);
        if path.extension().is_none_or(|ending| ending != "toml") {
            let chosen = Chosen::find(name, &given).map_err(|error| WrongUse(error.to_string()))?;
            return Ok(DrillFile::One(Box::new(OwnDrill { chosen, stage: None, minutes: None })));
        }
        let text =
            std::fs::read_to_string(path).map_err(|error| format!("cannot read {}: {error}; name a drill's file", path.display()))?;
        let stem = path.file_stem().map_or_else(|| name.to_owned(), |stem| stem.to_string_lossy().into_owned());
        let mut file = drill_file::read(name, &stem, &text)?;
        if let DrillFile::One(own) = &mut file {
            let mut all = own.chosen.given.clone();
            all.extend(given);
            let chosen =
                Chosen::of_kind(&own.chosen.name, &own.chosen.title, own.chosen.kind, &all).map_err(|error| WrongUse(error.to_string()))?;
            own.chosen.given = chosen.given;
        }
        Ok(file)
    }

    /// What goes beside a take of one drill.
    #[must_use]
    pub fn asked(&self, own: &OwnDrill) -> Asked {
        let stage = self.stage.or(own.stage).unwrap_or_default();
        let chosen = &own.chosen;
        // What is landfall's own is found again by its name; the player's own is kept whole.
        let found = Chosen::find(&chosen.name, &chosen.given).is_ok_and(|found| found == *chosen);
        let mut parameters = chosen.given.clone();
        if !found {
            for (name, value) in &chosen.defaults {
                parameters.entry(name.clone()).or_insert_with(|| value.clone());
            }
        }
        Asked {
            drill: Some(chosen.name.clone()),
            kind: (!found).then(|| chosen.kind.to_owned()),
            stage: Some(stage.word().to_owned()),
            parameters,
            ..Asked::default()
        }
    }
}

/// Whether a name is that of free play or of the demonstration, which are no drills.
#[must_use]
pub fn is_no_drill(name: Option<&str>) -> bool {
    name.is_none_or(|name| name == "free" || name == tour::NAME || name == super::over_changes::DRILL)
}
