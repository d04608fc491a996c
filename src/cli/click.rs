//! The click of a drill: options, what sounds, and where its beats lie in a take.

use super::{Failure, WrongUse};
use crate::live::masked::Replays;
use crate::live::own_sound::OwnSound;
use crate::logbook::sidecar::{AskedClick, Sidecar};
use crate::practice::beat_map::BeatMap;
use crate::practice::click::{Click, Every};
use crate::practice::in_time::{Grid, InTime};
use crate::practice::play::ScoreTime;
use crate::practice::pulse::{Pulses, frame_at};
use crate::practice::{Wanted, play::On};
use crate::sound::out::{Level, Mixer, Part};
use crate::units::{FrameTime, SampleRate};
use clap::ValueEnum;
use std::sync::Arc;

/// The click of a drill that asks for beats.
#[derive(Debug, Default, clap::Args)]
#[command(next_help_heading = "Click")]
pub struct Clicking {
    /// Where a drill asks for beats: a count-in and a click on each beat, the count-in alone, or neither (then the pick counts as a beat)
    /// [default: on; with --input as it was recorded, else off]
    #[arg(long, value_name = "on|count-in|off")]
    click: Option<ClickWish>,
    /// Bars of count-in [default: 1, or 2 where one has two beats]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=8))]
    count_in: Option<u32>,
    /// How loud landfall is, in dB: 0 is the loudest, -60 the softest [default: -20, quiet]
    #[arg(long, value_name = "DB", value_parser = super::band::level, allow_negative_numbers = true)]
    pub level: Option<Level>,
    /// The card that plays: its name in `landfall devices`, or a part of it [default: the one that the system prefers]
    #[arg(long, alias = "out-device", value_name = "NAME", conflicts_with = "input")]
    pub output: Option<String>,
    /// With --input and --click: seconds of the take at which the first bar begins [default: after the count-in]
    #[arg(long, value_name = "S", requires_all = ["input", "click"], value_parser = start)]
    click_start: Option<f64>,
    /// A drill of a list has no click where it has no beats.
    #[arg(skip)]
    pub listed: bool,
}

/// When it clicks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ClickWish {
    /// From the count-in on.
    On,
    /// In the count-in only.
    CountIn,
    /// Never.
    Off,
}

fn start(text: &str) -> Result<f64, String> {
    text.trim().parse().ok().filter(|at: &f64| (0.0..=1e6).contains(at)).ok_or_else(|| "it is a number of seconds, 0 or more".into())
}

/// A click to play to.
pub struct Clicked {
    /// The bars.
    pub grid: Grid,
    /// As a sidecar keeps it.
    pub asked: AskedClick,
}

impl Clicking {
    /// Whether a click was asked for in so many words.
    #[must_use]
    pub fn is_asked(&self) -> bool {
        matches!(self.click, Some(ClickWish::On | ClickWish::CountIn))
    }

    /// The click for a drill through a card; `None` where there is none.
    ///
    /// # Errors
    /// When one is asked for and the drill, which is none of a list, has no beats.
    pub fn of(&self, wanted: &Wanted) -> Result<Option<Clicked>, Failure> {
        if self.click == Some(ClickWish::Off) {
            return Ok(None);
        }
        let Some(grid) = wanted.course().and_then(|course| Grid::of(course.plan())) else {
            return if self.is_asked() && !self.listed {
                Err(WrongUse(
                    "there is nothing to click to: what is played has no beats; drills with a tempo have (landfall drill NAME --list)"
                        .into(),
                )
                .into())
            } else {
                Ok(None)
            };
        };
        let asked = AskedClick {
            before: grid.count_in_beats(self.count_in),
            only_count_in: self.click == Some(ClickWish::CountIn),
            level_db: Some(self.level.unwrap_or_default().as_db()),
        };
        Ok(Some(Clicked { grid, asked }))
    }

    /// The click beside a recorded take that is heard from frame `first` on, and where its beats lie there: as it was recorded, or counted from its beginning
    /// where one is asked for.
    ///
    /// # Errors
    /// As [`Self::of`].
    pub fn beside(
        &self,
        wanted: &Wanted,
        recorded: &Sidecar,
        (first, rate): (FrameTime, SampleRate),
    ) -> Result<Option<(Clicked, Arc<OwnSound>)>, Failure> {
        let Some(clicked) = self.of(wanted)? else { return Ok(None) };
        let placed = !recorded.beats_at.is_empty() && self.click_start.is_none();
        let then = recorded_with(recorded).filter(|then| placed && then.grid == clicked.grid);
        if let Some(then) = then {
            return Ok(Some((then, OwnSound::of(&recorded.heard_from(first, rate)))));
        }
        if !self.is_asked() {
            return Ok(None);
        }
        let Clicked { grid, mut asked } = clicked;
        let beat_s = grid.beat_s();
        let start_s = self.click_start.unwrap_or(f64::from(asked.before) * beat_s);
        asked.before = asked.before.min((start_s / beat_s + 1e-9).floor() as u32);
        // It is counted, but nothing sounds that would be in the take.
        asked.level_db = None;
        let own = OwnSound::beside_take();
        let (counted, before) = (grid.clone(), asked.before);
        // What came before `first` was counted too.
        own.set_beats(Box::new(move |n| Some(frame_at(start_s + counted.beat(n, before), rate).0 as i64 - first.0 as i64)));
        Ok(Some((Clicked { grid, asked }, own)))
    }
}

/// The click that a take was recorded with, also where none of its beats became known: the rows were told then that there is one.
#[must_use]
pub fn recorded_with(recorded: &Sidecar) -> Option<Clicked> {
    let asked = recorded.asked.click.clone()?;
    let wanted = Wanted::of(&recorded.asked, crate::grading::Tolerance::default()).ok()?;
    Some(Clicked { grid: Grid::of(wanted.course()?.plan())?, asked })
}

impl Clicked {
    /// The same for a card that hears at one rate and plays at another, or at the same. At another it cannot be taken out of what is heard, sample by
    /// sample, neither now nor when the take is graded again.
    #[must_use]
    pub fn through(mut self, heard: SampleRate, played: SampleRate) -> Self {
        if heard != played {
            self.asked.level_db = None;
        }
        self
    }

    /// Score time beside a click whose beats become known while the take goes on.
    fn score_time(&self, own: Arc<OwnSound>) -> ScoreTime {
        let (grid, before) = (self.grid.clone(), self.asked.before);
        Arc::new(move |take_s| {
            let beats = own.beats(take_s);
            // The last beat before the instant is all that counts.
            let (last, at_s) = (beats.len().checked_sub(1)? as u64, *beats.last()?);
            BeatMap::measured([grid.beat(last, before)], [at_s]).score_of(take_s)
        })
    }

    /// What a drill has to know of it.
    #[must_use]
    pub fn in_time(&self, own: &Arc<OwnSound>) -> InTime {
        InTime::new(self.grid.clone(), self.score_time(Arc::clone(own)), own.calibrated() == Some(false))
    }

    /// How loud.
    #[must_use]
    pub fn level(&self) -> Level {
        self.asked.level_db.and_then(Level::db).unwrap_or_default()
    }

    /// Seconds from its first click to the first bar.
    fn zero_s(&self) -> f64 {
        f64::from(self.asked.before) * self.grid.beat_s()
    }

    /// All clicks, from the count-in's first at frame 0 on.
    #[must_use]
    pub fn part(&self, rate: SampleRate) -> Box<dyn Part> {
        let bars = self.asked.before / self.grid.beats().max(1);
        let after = if self.asked.only_count_in { Pulses::Tune(Vec::new()) } else { self.grid.pulses() };
        Box::new(Click::new(self.grid.count_in(Some(bars)), after, Every::Beat, self.zero_s(), rate))
    }

    /// The frame of each beat from the first click on.
    #[must_use]
    pub fn beats(&self, rate: SampleRate) -> crate::live::own_sound::BeatOf {
        let grid = self.grid.clone();
        Box::new(move |n| Some(frame_at(grid.beat(n, 0), rate)))
    }

    /// The same again, silently, for whoever takes it out of what is heard; `None` where it did not sound beside the take.
    #[must_use]
    pub fn replays(self: &Arc<Self>) -> Option<Replays> {
        self.asked.level_db?;
        let clicked = Arc::clone(self);
        Some(Arc::new(move |rate| {
            let mut mixer = Mixer::new(rate);
            mixer.set_level(clicked.level());
            (mixer, clicked.part(rate))
        }))
    }

    /// One sentence for the player.
    #[must_use]
    pub fn sentence(&self) -> String {
        let (beats, tempo) = (self.grid.beats(), self.grid.tempo());
        let what = match self.grid.on() {
            On::Top => "the top on beat 1",
            On::Pick => "the pick on a beat",
        };
        let clicks = if self.asked.only_count_in { "then it is silent" } else { "then a click" };
        format!("{} beats of count-in, {clicks}: {beats} in a bar, {tempo:.0} a minute; {what}.", self.asked.before)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::grading::Tolerance;
    use crate::logbook::sidecar::Asked;

    #[test]
    fn a_click_at_another_rate_than_the_takes_is_taken_out_neither_live_nor_when_the_take_is_graded() {
        let rate = |hz| SampleRate::new(hz).unwrap();
        let asked = Asked { drill: Some("slow-climb".into()), ..Asked::default() };
        let wanted = Wanted::of(&asked, Tolerance::default()).unwrap();
        for (heard, played, comes_out) in [(48_000, 48_000, true), (48_000, 44_100, false), (44_100, 48_000, false)] {
            let clicked = Clicking::default().of(&wanted).unwrap().unwrap().through(rate(heard), rate(played));
            let recorded = Sidecar { asked: Asked { click: Some(clicked.asked.clone()), ..asked.clone() }, ..Sidecar::default() };
            let graded = Arc::new(recorded_with(&recorded).unwrap());
            assert_eq!(
                (Arc::new(clicked).replays().is_some(), graded.replays().is_some()),
                (comes_out, comes_out),
                "{played} beside {heard}"
            );
        }
    }
}
