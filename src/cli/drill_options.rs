//! Which drill, and how it is set: options that `drill` and `grade` share.

use super::settings::{self, Origin, Settings};
use super::{Failure, WrongUse, meant};
use crate::logbook::sidecar::Asked;
use crate::practice::drill_file::{self, DrillFile, OwnDrill};
use crate::practice::drills::{Chosen, Kind};
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
    /// The key: notes to bend from are notes of it, and without --chord the notes to reach too
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
    /// The tuning of the player's settings, where they say one.
    #[arg(skip)]
    pub usual_tuning: Option<String>,
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
    /// Takes over what the player's settings say of the guitar.
    pub fn of_settings(&mut self, settings: &Settings) {
        let tuning = &settings.tuning;
        self.usual_tuning = Some(tuning.value.clone()).filter(|_| !matches!(tuning.origin, Origin::Default | Origin::Flag));
    }

    /// Everything given, by the names of parameters.
    ///
    /// # Errors
    /// When a value is not written as NAME=VALUE, or there is no such chart.
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
            let (name, text) = super::chart::text(file)?;
            let chart = Chart::parse(&name, &text)?;
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
        let mut given = self.given(also)?;
        let path = Path::new(name);
        if path.extension().is_none_or(|ending| ending != "toml") {
            if let Some(tuning) = &self.usual_tuning {
                given.entry("tuning".to_owned()).or_insert_with(|| tuning.clone());
            }
            let chosen = meant(Chosen::find(name, &Given::new()))?;
            means_something(&chosen, also)?;
            let chosen = meant(Chosen::find(name, &given))?;
            return Ok(DrillFile::One(Box::new(OwnDrill { chosen, stage: None, minutes: None })));
        }
        let text =
            std::fs::read_to_string(path).map_err(|error| format!("cannot read {}: {error}; name a drill's file", path.display()))?;
        let stem = path.file_stem().map_or_else(|| name.to_owned(), |stem| stem.to_string_lossy().into_owned());
        let mut file = drill_file::read(name, &stem, &text)?;
        match &mut file {
            DrillFile::One(own) => {
                means_something(&own.chosen, also)?;
                meant(Chosen::of_kind(&own.chosen.name, &own.chosen.title, own.chosen.kind, &given))?;
                self.stand_over(own, given)?;
            }
            DrillFile::List { drills, .. } => {
                let tuning: Given = given.remove("tuning").map(|tuning| ("tuning".to_owned(), tuning)).into_iter().collect();
                if let Some(other) = given.keys().next() {
                    return Err(WrongUse(format!("{name} is a list, and its drills say their own {other}; write it there")).into());
                }
                drills.iter_mut().try_for_each(|own| self.stand_over(own, tuning.clone()))?;
            }
        }
        Ok(file)
    }

    /// Puts what was given over what a drill's file says, which is the drill's own then.
    fn stand_over(&self, own: &mut OwnDrill, given: Given) -> Result<(), Failure> {
        let mut said = own.chosen.clone();
        if let Some(tuning) = &self.usual_tuning {
            said.given.entry("tuning".to_owned()).or_insert_with(|| tuning.clone());
        }
        own.chosen.defaults = meant(said.settled())?;
        own.chosen.given = given;
        Ok(())
    }

    /// What goes beside a take of one drill.
    ///
    /// # Errors
    /// When no place on the neck fits.
    pub fn asked(&self, own: &OwnDrill) -> Result<Asked, Failure> {
        let stage = self.stage.or(own.stage).unwrap_or_default();
        let chosen = &own.chosen;
        // What is landfall's own is found again by its name; the player's own is kept whole.
        let found = Chosen::find(&chosen.name, &chosen.given).is_ok_and(|found| found == *chosen);
        let parameters = if found { chosen.given.clone() } else { meant(chosen.settled())? };
        Ok(Asked {
            drill: Some(chosen.name.clone()),
            kind: (!found).then(|| chosen.kind.to_owned()),
            stage: Some(stage.word().to_owned()),
            parameters,
            ..Asked::default()
        })
    }
}

/// Options of free play that would mean nothing for a drill are named as they were given.
fn means_something(chosen: &Chosen, also: &AlsoGiven) -> Result<(), Failure> {
    let takes = |name: &str| Kind::find(chosen.kind).is_some_and(|kind| kind.parameters().contains(&name));
    let name = &chosen.name;
    let wrong = match (also.chart.is_some(), also.bend_cents.is_some(), also.chord.is_some()) {
        (true, ..) if !takes("chords") => format!("--chart: {name} goes through no chords in turn; changes and thirds do"),
        (_, true, _) if !takes("sizes") => format!("--bend: {name} asks for fretted notes, which are not bent"),
        (.., true) if !takes("chord") => format!("--chord: {name} goes through chords in turn; write them as --set chords=\"Gm7 C7 F\""),
        _ => return Ok(()),
    };
    Err(WrongUse(wrong).into())
}

/// Whether a name is that of free play or of the demonstration, which are no drills.
#[must_use]
pub fn is_no_drill(name: Option<&str>) -> bool {
    name.is_none_or(|name| name == "free" || name == tour::NAME || name == super::over_changes::DRILL)
}
