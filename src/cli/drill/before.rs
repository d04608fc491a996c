//! Before the first drill: ten seconds for level, hum, gate and tuning.

use super::super::drill_check::CheckView;
use super::super::live_options::live;
use super::super::{Failure, print, remark};
use super::{Args, Run, Table, sounds_higher, tuned};
use crate::grading::Tolerance;
use crate::live::analysis::Job;
use crate::live::session::{Input, RING_S};
use crate::live::world::World;
use crate::logbook::sidecar::Asked;
use crate::practice::Wanted;
use crate::practice::check::{CHECK_S, Check};
use crate::practice::drill_file::OwnDrill;
use crate::sound::card::Card;

impl Args {
    /// Ten seconds of open strings and silence; says what should be mended. False where the player ended it.
    pub(super) fn check(&self, table: &Table, first: Option<&OwnDrill>) -> Result<bool, Failure> {
        if self.practising.no_check || self.hearing.input.is_some() {
            return Ok(true);
        }
        let given = first.map(|own| own.chosen.given.clone()).unwrap_or_default();
        let tuning = tuned(&given, &table.settings.tuning.value)?;
        let free = Run {
            asked: Asked::default(),
            wanted: Wanted::of(&Asked::default(), Tolerance::default())?,
            tolerance: Tolerance::default(),
            ask: None,
            lesson: None,
        };
        let job = Job { save: None, attempts: None, seconds: Some(CHECK_S), ..self.job(table, &free) };
        let mut view = CheckView { check: Check::new(&tuning, sounds_higher(&given)), a4: table.settings.a4.value };
        let world = World::real()?;
        let input = match self.hearing.open(&table.settings, &table.recorded)? {
            // Nobody is asked to play before there is somebody who hears it.
            Input::Card(wish) => {
                let (card, takes) = Card::open((world.hosts)()?, wish, RING_S)?;
                Input::Opened(card, takes)
            }
            input => input,
        };
        print("Ten seconds first: pick each open string once, then be still. (--no-check leaves this out.)\n")?;
        let outcome = live(world, input, job, None, &mut view)?;
        if let Some(broken) = outcome.broken {
            return Err(broken.into());
        }
        if outcome.ended {
            return Ok(false);
        }
        let found = view.check.findings();
        found.iter().for_each(remark);
        if found.is_empty() {
            print("Level, quiet and tuning are good.\n")?;
        }
        Ok(true)
    }
}
