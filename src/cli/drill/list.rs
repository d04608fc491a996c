//! A practice list: its drills in order, with a rest between two. From a recorded take, each goes on where the one before was answered.

use super::super::live_options::Showing;
use super::super::{Failure, print};
use super::{Args, Table};
use crate::live::keyboard::Keyboard;
use crate::live::resting::rest;
use crate::live::world::World;
use crate::practice::drill_file::OwnDrill;
use std::io::{IsTerminal, stdin};

impl Args {
    /// Plays the drills until the last, until the player ends one, or until it is enough for today.
    pub(super) fn play_list(
        mut self,
        table: &Table,
        title: &str,
        drills: &[OwnDrill],
        rest_s: f64,
        minutes: Option<f64>,
    ) -> Result<(), Failure> {
        let clock = World::real()?.clock;
        let begun = clock.now();
        let from_take = self.hearing.input.is_some();
        (self.listed, self.clicking.listed) = (true, true);
        print(&format!("{title}: {}.\n", many(drills.len())))?;
        for (index, own) in drills.iter().enumerate() {
            let left = drills.len() - index;
            if index > 0 && !from_take && !self.rest(table, &own.chosen.title, rest_s)? {
                return Ok(());
            }
            let played = (clock.now().saturating_sub(begun)).as_secs_f64() / 60.0;
            if !from_take && minutes.is_some_and(|minutes| played >= minutes) {
                let wait = if left == 1 { "waits" } else { "wait" };
                return print(&format!("{played:.0} minutes are enough for today; {} {wait} for another day.\n", many(left)));
            }
            if index > 0 {
                print(&format!("\n{}\n", own.chosen.title))?;
            }
            let run = self.drilled(table, own)?;
            let steps = run.wanted.course().map_or(0, |course| course.plan().steps.len()) as u32;
            let outcome = self.play(table, run)?;
            // From a take or from the card: whoever ends a drill ends the list.
            if outcome.ended {
                return Ok(());
            }
            match outcome.answered_until_s.filter(|_| from_take) {
                Some(until_s) => self.hearing.from_s += until_s,
                None if from_take => {
                    let are = if left == 1 { "is" } else { "are" };
                    return print(&format!("The take holds nothing more of this list; {} {are} not in it.\n", many(left)));
                }
                // Whoever is through long before the last step wants to end.
                None if outcome.graded * 2 < steps => return Ok(()),
                None => {}
            }
        }
        Ok(())
    }

    /// Rests before the next drill; false where the player ends here.
    fn rest(&self, table: &Table, next: &str, seconds: f64) -> Result<bool, Failure> {
        let mut world = World::real()?;
        let look = Showing::look(&table.settings, &table.environment);
        if !self.showing.is_paged() {
            print(&format!("\nRest the hand for {seconds:.0} s; then: {next}. ctrl-C ends.\n"))?;
        } else if stdin().is_terminal() {
            world.keys = Box::new(Keyboard::listen());
        }
        Ok(rest(&mut world, self.showing.is_paged().then_some(look), next, seconds)?)
    }
}

fn many(drills: usize) -> String {
    if drills == 1 { "1 drill".to_owned() } else { format!("{drills} drills") }
}
