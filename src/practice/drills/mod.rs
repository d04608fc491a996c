//! The kinds of drills: one file each, and one entry in [`KINDS`].

mod changes;
mod endings;
mod fret_first;
mod fret_shake;
mod fretted;
mod hold;
mod match_heard;
mod places;
mod pre_bend;
mod quick;
mod release;
mod restrike;
mod shake;
mod slow;
mod tone;
mod unseen;

pub(super) use slow::SLOWEST_CENTS_PER_S;

use super::ground::Ground;
use super::parameters::{self, DrillError, EVERY_KIND, Given};
use super::plan::{Hear, Plan, Step};
use super::stage::Stage;
use crate::theory::chart::Metre;
use crate::theory::nearest;

/// A kind of drill.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// Its name on the command line.
    pub name: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// One line for the list.
    pub help: &'static str,
    /// What it trains.
    pub trains: &'static str,
    /// When it ends.
    pub ends: &'static str,
    /// What to do, in one sentence for the page.
    pub lead: &'static str,
    /// Parameters beside those of every kind.
    pub more: &'static [&'static str],
    /// Those of every kind that would mean nothing here.
    pub lacks: &'static [&'static str],
    /// Its own values; what is not named here comes from the stage.
    pub defaults: &'static [(&'static str, &'static str)],
    /// From the values to the steps.
    pub steps: fn(&Ground) -> Result<Vec<Step>, DrillError>,
}

/// All kinds, in the order of the list.
pub const KINDS: &[Kind] = &[
    tone::KIND,
    hold::KIND,
    slow::KIND,
    quick::KIND,
    release::KIND,
    restrike::KIND,
    pre_bend::KIND,
    shake::KIND,
    places::KIND,
    changes::KIND,
    unseen::KIND,
    match_heard::KIND,
    fret_first::KIND,
    fretted::KIND,
    fret_shake::KIND,
    endings::KIND,
];

/// A drill with a name of its own: a kind with values.
#[derive(Clone, Copy, Debug)]
pub struct Named {
    /// Its name on the command line.
    pub name: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// One line for the list.
    pub help: &'static str,
    /// The kind.
    pub kind: &'static str,
    /// Values that stand over the kind's own.
    pub values: &'static [(&'static str, &'static str)],
}

/// Ten drills to begin with.
pub const NAMED: &[Named] = &[
    Named {
        name: "fret-then-bend",
        title: "Fret it, then bend it",
        help: "Half and whole bends to a note that you have just fretted",
        kind: "fret-first",
        values: &[],
    },
    Named {
        name: "bend-and-hold",
        title: "Bend and hold",
        help: "A whole bend on string 2, held still",
        kind: "hold",
        values: &[("places", "2/8"), ("sizes", "whole")],
    },
    Named {
        name: "slow-climb",
        title: "Slow climb",
        help: "A whole bend drawn out over four beats, the top on the beat",
        kind: "slow",
        values: &[("places", "3/9"), ("sizes", "whole"), ("attempts", "6")],
    },
    Named {
        name: "grace-bend",
        title: "Grace bend",
        help: "Pick on the beat and be at the top at once, half and whole in turn",
        kind: "quick",
        values: &[("places", "2/8"), ("sizes", "half whole")],
    },
    Named {
        name: "down-and-again",
        title: "Bend, let down, pick again",
        help: "A whole bend let down, and the note picked again, a beat each",
        kind: "restrike",
        values: &[("places", "2/8"), ("sizes", "whole"), ("tempo", "60")],
    },
    Named {
        name: "silent-pre-bend",
        title: "Silent pre-bend",
        help: "Bend without a sound, pick, let it down; the first three unseen",
        kind: "pre-bend",
        values: &[("places", "2/8"), ("attempts", "6"), ("unseen", "3")],
    },
    Named {
        name: "straight-then-shake",
        title: "Straight, then shake",
        help: "A second straight, two seconds shaken, every swing alike",
        kind: "shake",
        values: &[("places", "2/8"), ("attempts", "6")],
    },
    Named {
        name: "three-sizes",
        title: "Three sizes, one fret",
        help: "Half, whole, one and a half from one fret, shuffled and unseen",
        kind: "unseen",
        values: &[("places", "3/10"), ("sizes", "half whole one-and-a-half"), ("attempts", "9")],
    },
    Named {
        name: "one-pitch-three-places",
        title: "One pitch, three places",
        help: "A4 from three places; the scatter between them is the result",
        kind: "places",
        values: &[("places", "2/8 2/9 3/12"), ("sizes", "whole half whole"), ("order", "paired"), ("attempts", "9")],
    },
    Named {
        name: "thirds",
        title: "Third of each chord",
        help: "The third of Gm7, C7 and F, at the top on beat 1, three rounds",
        kind: "changes",
        values: &[("chords", "Gm7 C7 F"), ("degrees", "3"), ("metre", "12/8"), ("tempo", "58"), ("rounds", "3")],
    },
];

/// A drill of so many attempts is one set at every stage: a rest before the last one alone, or in the midst of three rounds, helps nobody.
const ONE_SET: usize = 9;

/// A drill that was asked for: what it is called, its kind, and what was given beside the kind's own values.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chosen {
    /// As it is called in rows.
    pub name: String,
    /// Its heading.
    pub title: String,
    /// Its kind's name.
    pub kind: &'static str,
    /// The kind's values with those of the named drill over them.
    pub defaults: Given,
    /// Given by the player.
    pub given: Given,
}

impl Kind {
    /// The names of all its parameters.
    #[must_use]
    pub fn parameters(&self) -> Vec<&'static str> {
        EVERY_KIND.iter().filter(|name| !self.lacks.contains(name)).chain(self.more).copied().collect()
    }

    /// The kind of a name.
    #[must_use]
    pub fn find(name: &str) -> Option<&'static Self> {
        KINDS.iter().find(|kind| kind.name == name)
    }
}

impl Chosen {
    /// Finds a drill or a kind by its name.
    ///
    /// # Errors
    /// When there is none; a parameter that the kind does not know; a value that cannot be.
    pub fn find(name: &str, given: &Given) -> Result<Self, DrillError> {
        if let Some(named) = NAMED.iter().find(|named| named.name == name) {
            let mut chosen = Self::of_kind(named.name, named.title, named.kind, given)?;
            chosen.defaults.extend(named.values.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())));
            return Ok(chosen);
        }
        if let Some(kind) = Kind::find(name) {
            return Self::of_kind(kind.name, kind.title, kind.name, given);
        }
        let all = NAMED.iter().map(|named| named.name).chain(KINDS.iter().map(|kind| kind.name));
        let hint = nearest(name, all).map_or_else(String::new, |near| format!("; did you mean {near}?"));
        Err(DrillError::Unknown { found: name.to_owned(), hint })
    }

    /// A drill of the player's own: a kind under a name.
    ///
    /// # Errors
    /// As [`Chosen::find`].
    pub fn of_kind(name: &str, title: &str, kind: &str, given: &Given) -> Result<Self, DrillError> {
        let Some(kind) = Kind::find(kind) else {
            let hint = nearest(kind, KINDS.iter().map(|kind| kind.name)).map_or_else(String::new, |near| format!("; did you mean {near}?"));
            return Err(DrillError::Unknown { found: kind.to_owned(), hint });
        };
        let (known, called) = (kind.parameters(), name);
        given.iter().try_for_each(|(name, value)| parameters::check(called, &known, name, value))?;
        let defaults = kind.defaults.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Ok(Self { name: name.to_owned(), title: title.to_owned(), kind: kind.name, defaults, given: given.clone() })
    }

    /// A value: given, or its own.
    #[must_use]
    pub fn text(&self, name: &str) -> Option<&str> {
        self.given.get(name).or_else(|| self.defaults.get(name)).map(String::as_str)
    }

    /// All values that hold, places that had to be found among them: given to its kind, they ask for the same steps.
    ///
    /// # Errors
    /// When no place on the neck fits.
    pub fn settled(&self) -> Result<Given, DrillError> {
        Ground::new(&self.given, &self.defaults, Stage::default(), None).map(|ground| ground.values().clone())
    }

    /// Lays it out for a player.
    ///
    /// # Errors
    /// When no place on the neck fits; when nothing shall be heard where the drill is about what is heard.
    pub fn plan(&self, stage: Stage, tolerance_cents: Option<f64>) -> Result<Plan, DrillError> {
        let kind = Kind::find(self.kind).ok_or_else(|| DrillError::Unknown { found: self.kind.to_owned(), hint: String::new() })?;
        let ground = Ground::new(&self.given, &self.defaults, stage, tolerance_cents)?;
        let mut steps = (kind.steps)(&ground)?;
        match ground.text("hear") {
            Some("target") => steps.iter_mut().for_each(|step| step.hear = Hear::Target),
            Some("nothing") if steps.iter().any(|step| step.hear != Hear::Nothing) => {
                let wanted = format!("{} is about a note that is heard first", self.name);
                return Err(DrillError::Value { name: "hear".to_owned(), found: "nothing".to_owned(), wanted });
            }
            _ => {}
        }
        let usual = if steps.len() == ONE_SET { ONE_SET } else { steps.len().min(ground.numbers.set as usize) };
        let set = ground.number_or("set", usual as f64) as u32;
        let mut plan = Plan {
            name: self.name.clone(),
            title: self.title.clone(),
            lead: kind.lead.to_owned(),
            steps,
            set: set.max(1),
            rest_s: ground.number_or("rest", ground.numbers.rest_s),
            metre: ground.text("metre").and_then(|text| Metre::parse(text, None).ok()).unwrap_or_else(Metre::common),
            frets: ground.neck.frets(),
        };
        let unseen = ground.text("unseen").unwrap_or("ends");
        for index in 0..plan.steps.len() {
            plan.steps[index].unseen = match unseen {
                "no" => false,
                "all" => true,
                "ends" => plan.is_at_an_end(index),
                first => index < first.parse().unwrap_or(0) || plan.is_at_an_end(index),
            };
        }
        Ok(plan)
    }
}
