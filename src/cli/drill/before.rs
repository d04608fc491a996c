//! Before the first drill: ten seconds for level, hum, gate and tuning.

use super::super::live_options::live;
use super::super::{Failure, print, remark};
use super::{Args, Run, Table, sounds_higher, tuned};
use crate::grading::Tolerance;
use crate::live::analysis::Job;
use crate::live::first_check::{CheckView, FirstCheck};
use crate::live::keyboard::Keyboard;
use crate::live::session::{Input, RING_S};
use crate::live::world::World;
use crate::logbook::sidecar::Asked;
use crate::practice::Wanted;
use crate::practice::check::{CHECK_S, Check};
use crate::practice::drill_file::OwnDrill;
use crate::sound::card::Card;
use std::io::{IsTerminal, stdin};

impl Args {
    /// Ten seconds of open strings and silence; says what should be mended. False where the player ended it.
    pub(super) fn check(&self, table: &Table, first: Option<&OwnDrill>) -> Result<bool, Failure> {
        if self.practising.no_check || self.hearing.input.is_some() {
            return Ok(true);
        }
        let values = first.map(|own| own.chosen.settled()).transpose()?.unwrap_or_default();
        let tuning = tuned(&values, &table.settings.tuning.value)?;
        let free = Run {
            asked: Asked::default(),
            wanted: Wanted::of(&Asked::default(), Tolerance::default())?,
            tolerance: Tolerance::default(),
            ask: None,
            lesson: None,
        };
        let paged = self.showing.is_paged();
        // On the page what was found stands until it has been seen.
        let job = Job { save: None, attempts: None, seconds: Some(CHECK_S).filter(|_| !paged), ..self.job(table, &free) };
        let check = Check::new(&tuning, sounds_higher(&values));
        let mut world = World::real()?;
        let input = match self.hearing.open(&table.settings, &table.recorded)? {
            // Nobody is asked to play before there is somebody who hears it.
            Input::Card(wish) => {
                let (card, takes) = Card::open((world.hosts)()?, wish, RING_S)?;
                Input::Opened(card, takes)
            }
            input => input,
        };
        if !paged {
            print(
                "Ten seconds first: leave the strings quiet for three, then pick each open string once. (--no-check leaves this out.)\n",
            )?;
        } else if stdin().is_terminal() {
            world.keys = Box::new(Keyboard::listen());
        }
        let mut view = CheckView::new(FirstCheck::new(check, table.settings.a4.value), paged)?;
        let outcome = live(world, input, job, None, &mut view);
        let found = view.followed.findings();
        // From here on the terminal is the shell's again.
        drop(view);
        let outcome = outcome?;
        if let Some(broken) = outcome.broken {
            return Err(broken.into());
        }
        if outcome.ended {
            return Ok(false);
        }
        if !paged {
            for finding in &found {
                remark(&finding.sentence);
            }
            if found.is_empty() {
                print("Level, quiet and tuning are good.\n")?;
            }
        }
        Ok(true)
    }
}
