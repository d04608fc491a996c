//! The band on the command line and in a sidecar: who plays along with a tune, and how loud.

use super::over_changes::Over;
use super::track::Laid;
use crate::live::masked::Replays;
use crate::logbook::sidecar::AskedBand;
use crate::practice::backing::{Backing, Manner, Players, Together};
use crate::practice::click::{Click, Every};
use crate::practice::drone::Drone;
use crate::practice::play::Tune;
use crate::practice::pulse::Pulses;
use crate::sound::out::{Level, Mixer, Part};
use crate::units::{A4, SampleRate};
use clap::ValueEnum;
use std::path::PathBuf;
use std::sync::Arc;

/// What sounds.
#[derive(Debug, Default, clap::Args)]
#[command(next_help_heading = "Band")]
pub struct Band {
    /// Leave players out: bass, chords, drums, or all
    #[arg(long, value_name = "PLAYERS", value_delimiter = ',')]
    without: Vec<Player>,
    /// A click besides: on each beat, each count, or every other beat (half time)
    #[arg(long, value_name = "WHERE", num_args = 0..=1, default_missing_value = "beat")]
    click: Option<ClickOn>,
    /// The backbeat comes half as often
    #[arg(long)]
    half_time: bool,
    /// A drone instead of the band: the first tonic, or it and its fifth
    #[arg(long, value_name = "WHAT", num_args = 0..=1, default_missing_value = "fifth")]
    drone: Option<DroneOf>,
    /// The band plays a little differently with another number
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// How loud, in dB: 0 is the loudest, -60 the softest [default: -20, quiet; with --out 0]
    #[arg(long, value_name = "DB", value_parser = level, allow_negative_numbers = true)]
    level: Option<Level>,
    /// The card that plays: its name in `landfall devices`, or a part of it [default: the one that the system prefers]
    #[arg(long, alias = "out-device", value_name = "NAME", conflicts_with_all = ["input", "out"])]
    pub output: Option<String>,
    /// Write what would sound to a WAV file, and listen to nothing
    #[arg(long, value_name = "FILE", conflicts_with = "input")]
    pub out: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum Player {
    Bass,
    Chords,
    Drums,
    All,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
enum ClickOn {
    Beat,
    Count,
    Half,
}

/// What a drone sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum DroneOf {
    /// The root.
    Root,
    /// The root and its fifth.
    Fifth,
}

/// A loudness as typed.
///
/// # Errors
/// What it should be.
pub fn level(text: &str) -> Result<Level, String> {
    text.trim().parse().ok().and_then(Level::db).ok_or_else(|| "it is in dB, from -60 to 0".into())
}

fn word<T: ValueEnum>(value: &T) -> String {
    value.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
}

impl Band {
    /// As a sidecar keeps it; `level` stands where none was given.
    #[must_use]
    pub fn asked(&self, level: Level) -> AskedBand {
        AskedBand {
            without: self.without.iter().map(word).collect(),
            click: self.click.as_ref().map(word),
            half_time: self.half_time,
            drone: self.drone.as_ref().map(word),
            seed: self.seed,
            level_db: self.level.unwrap_or(level).as_db(),
            track: None,
        }
    }
}

/// A band that plays a tune. What a sidecar says that this version does not know is left out.
#[derive(Clone)]
pub struct Playing {
    asked: AskedBand,
    tune: Arc<Tune>,
    count_in: Option<u32>,
    a4: A4,
    laid: Option<Laid>,
}

impl Playing {
    /// As it was asked for.
    #[must_use]
    pub fn new(asked: &AskedBand, over: &Over, a4: A4) -> Self {
        Self { asked: asked.clone(), tune: Arc::clone(&over.tune), count_in: over.count_in, a4, laid: None }
    }

    /// With the recording that was asked for, where there is one.
    #[must_use]
    pub fn over_recording(self, laid: Option<Laid>) -> Self {
        Self { laid, ..self }
    }

    /// How loud.
    #[must_use]
    pub fn level(&self) -> Level {
        Level::db(self.asked.level_db).unwrap_or_default()
    }

    /// Everything that sounds, from the count-in's first click at frame 0 on.
    #[must_use]
    pub fn part(&self, rate: SampleRate) -> Box<dyn Part> {
        let AskedBand { without, click, half_time, drone, seed, .. } = &self.asked;
        let known = |word: &Option<String>| word.as_deref().map(|word| ClickOn::from_str(word, true).unwrap_or(ClickOn::Beat));
        let every = match known(click) {
            Some(ClickOn::Count) => Every::Count,
            Some(ClickOn::Half) => Every::OtherBeat,
            Some(ClickOn::Beat) | None => Every::Beat,
        };
        let count_in = self.tune.count_in(self.count_in);
        let zero_s = self.tune.count_in_s(self.count_in);
        let clicked = if click.is_some() { self.tune.pulses() } else { Vec::new() };
        let mut parts: Vec<Box<dyn Part>> = vec![Box::new(Click::new(count_in, Pulses::Tune(clicked), every, zero_s, rate))];
        let timeline = &self.tune.timeline;
        if self.asked.track.is_some() {
            parts.extend(self.laid.as_ref().and_then(|laid| laid.part(rate)));
        } else if let (Some(drone), Some(first)) = (drone.as_deref(), timeline.bars.first()) {
            let seconds = zero_s + timeline.length_s;
            parts.push(Box::new(Drone::new(first.key.tonic(), drone != word(&DroneOf::Root), Some(seconds), self.a4, rate)));
        } else {
            let plays = |player: Player| !without.contains(&word(&player)) && !without.contains(&word(&Player::All));
            let players = Players { bass: plays(Player::Bass), comp: plays(Player::Chords), drums: plays(Player::Drums) };
            let manner = Manner { players, half_time: *half_time, seed: *seed };
            parts.push(Box::new(Backing::new(timeline, manner, self.a4, zero_s, rate)));
        }
        Box::new(Together::new(parts))
    }

    /// The same again, silently, for whoever takes it out of what is heard.
    #[must_use]
    pub fn replays(&self) -> Replays {
        let playing = self.clone();
        Arc::new(move |rate| {
            let mut mixer = Mixer::new(rate);
            mixer.set_level(playing.level());
            (mixer, playing.part(rate))
        })
    }
}
