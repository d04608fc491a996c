//! How a drill is gone through, and what sounds in it.

use super::super::band::DroneOf;
use super::super::drill_stage::Sounding;
use super::super::{Failure, WrongUse, meant, remark, settings};
use super::{Args, Run, sounds_higher};
use crate::live::drill_sound::After;
use crate::practice::stage::Feedback;
use crate::practice::tones::Tone;
use crate::theory::{Chord, Key, NoteName};

/// How a drill is gone through.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Practising")]
pub(super) struct Practising {
    /// The moving pitch: live, after the note, or faded, less as it gets better [default: by stage]
    #[arg(long, value_name = "WHEN", value_parser = str::parse::<Feedback>)]
    pub(super) feedback: Option<Feedback>,
    /// Say short, in or over (down, space, up) before the verdict is shown
    #[arg(long, conflicts_with = "plain")]
    pub(super) guess: bool,
    /// Sound the note to reach where a drill asks for it, and after each attempt the target, or an answer: sharp or flat and how much, then the note;
    /// the up arrow plays the last bend again, as it was and as it should be
    #[arg(long, value_name = "target|answer", value_parser = str::parse::<After>)]
    pub(super) sound: Option<After>,
    /// With --sound: the note to reach is plucked, and dies away as a string does, or sustained [default: plucked]
    #[arg(long, value_name = "plucked|sustained", requires = "sound", value_parser = str::parse::<Tone>)]
    tone: Option<Tone>,
    /// A drone beside it: the root of --chord, else the tonic of --key, or it and its fifth; with headphones, since it is not taken out of what is heard
    #[arg(long, value_name = "root|fifth", num_args = 0..=1, default_missing_value = "fifth", conflicts_with = "input")]
    drone: Option<DroneOf>,
    /// Heed signs between attempts: the lowest string twice, once more; the next one twice, on; three muted taps, the end
    #[arg(long)]
    pub(super) hands_free: bool,
    /// End after so many minutes; a list begins no drill later [default: none; after the setting `minutes`, else 30, of playing it is said]
    #[arg(long, value_name = "MINUTES", value_parser = settings::minutes)]
    pub(super) minutes: Option<f64>,
    /// Begin a drill without the ten seconds for level, hum, gate and tuning
    #[arg(long)]
    pub(super) no_check: bool,
}

impl Args {
    /// What sounds beside a run.
    ///
    /// # Errors
    /// When a drone is asked for and has no root.
    pub(super) fn sounding(&self, run: &Run) -> Result<Sounding, Failure> {
        let after = self.practising.sound.filter(|_| run.lesson.is_some());
        if after != self.practising.sound {
            remark("--sound: free play has no note to reach that could sound; name a drill");
        }
        let drone = self.practising.drone.map(|of| Ok::<_, Failure>((self.root(run)?, of == DroneOf::Fifth))).transpose()?;
        Ok(Sounding { after, tone: self.practising.tone.unwrap_or_default(), drone })
    }

    /// That a drone that is asked for has a root.
    ///
    /// # Errors
    /// When it has none.
    pub(super) fn has_root(&self, run: &Run) -> Result<(), Failure> {
        self.practising.drone.map_or(Ok(()), |_| self.root(run).map(|_| ()))
    }

    /// The root of the chord, else the tonic of the key, as it sounds.
    fn root(&self, run: &Run) -> Result<NoteName, Failure> {
        let given = |name: &str| run.asked.parameters.get(name).cloned();
        let root = match (run.asked.chord.clone().or_else(|| given("chord")), given("key").or_else(|| self.setting.key.clone())) {
            (Some(chord), _) => meant(Chord::parse(&chord))?.root(),
            (None, Some(key)) => meant(key.parse::<Key>())?.tonic(),
            (None, None) => return Err(WrongUse("--drone: of which root? give --chord or --key".into()).into()),
        };
        let higher = sounds_higher(&run.asked.parameters);
        Ok(if higher == 0 { root } else { NoteName::usual(root.class() + higher) })
    }
}
