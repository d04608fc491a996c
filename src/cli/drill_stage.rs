//! What a drill hears, and what sounds beside it: a click, tones, both or nothing.

use super::calibrate::round_trip;
use super::click::{Clicked, Clicking};
use super::directories::Directories;
use super::live_options::Hearing;
use super::settings::Settings;
use super::{Failure, remark};
use crate::live::drill_sound::{After, DrillSound};
use crate::live::ears::MakeEars;
use crate::live::hearing;
use crate::live::own_sound::OwnSound;
use crate::live::session::{Input, RING_S};
use crate::live::speaker::{Ahead, Begin, Ear, LEAD_S, Speaker};
use crate::live::world::World;
use crate::logbook::sidecar::Sidecar;
use crate::practice::Wanted;
use crate::practice::drone::Drone;
use crate::practice::tones::Tone;
use crate::sound::card::{Card, CardWish, OutputWish};
use crate::theory::NoteName;
use crate::units::A4;
use std::sync::Arc;

/// What is to sound beside a click.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Sounding {
    /// After each attempt.
    pub after: Option<After>,
    /// The note to reach.
    pub tone: Tone,
    /// A drone's root, and whether its fifth sounds too.
    pub drone: Option<(NoteName, bool)>,
}

impl Sounding {
    fn is_nothing(self) -> bool {
        self.after.is_none() && self.drone.is_none()
    }
}

/// Where a drill is heard, and what sounds.
pub(super) struct Stage {
    /// What is heard.
    pub input: Input,
    /// What landfall sounds, where it does.
    pub sound: Option<DrillSound>,
    /// The click, where there is one.
    pub clicked: Option<Arc<Clicked>>,
    own: Option<Arc<OwnSound>>,
}

impl Stage {
    /// With nothing that sounds.
    fn quiet(input: Input) -> Self {
        Self { input, sound: None, clicked: None, own: None }
    }

    /// Opens both sides of the card, or the recorded take.
    ///
    /// # Errors
    /// When nothing can be heard; when sound that was asked for cannot be had.
    pub fn open(
        hearing: &Hearing,
        clicking: &Clicking,
        sounding: Sounding,
        wanted: &Wanted,
        (settings, recorded, directories): (&Settings, &Sidecar, &Directories),
    ) -> Result<Self, Failure> {
        match hearing.open(settings, recorded)? {
            Input::Card(wish) => Self::beside_card(wish, clicking, sounding, wanted, (settings, directories)),
            input @ Input::Opened(..) => Ok(Self::quiet(input)),
            Input::Source { origin, source, pace } => {
                if sounding.after.is_some() {
                    remark("--sound: beside a recorded take nothing sounds");
                }
                let rate = source.format().rate;
                let beside = clicking.beside(wanted, recorded, (hearing.first(rate), rate))?;
                let (clicked, own) = beside.map(|(clicked, own)| (Arc::new(clicked), own)).unzip();
                let input = Input::Source { origin, source, pace };
                Ok(Self { clicked, own, ..Self::quiet(input) })
            }
        }
    }

    fn beside_card(
        wish: CardWish,
        clicking: &Clicking,
        sounding: Sounding,
        wanted: &Wanted,
        (settings, directories): (&Settings, &Directories),
    ) -> Result<Self, Failure> {
        let clicked = clicking.of(wanted)?;
        if clicked.is_none() && sounding.is_nothing() {
            return Ok(Self::quiet(Input::Card(wish)));
        }
        let host = (World::real()?.hosts)()?;
        let (card, takes) = Card::open(Arc::clone(&host), wish.clone(), RING_S)?;
        let rate = card.opened().format.rate;
        let own = OwnSound::beside(card.time());
        let output = OutputWish { device: clicking.output.clone(), buffer: wish.buffer, rate: Some(rate) };
        let round_trip = round_trip(directories, card.opened())?;
        let opened = Speaker::open(host, output, card.time(), Arc::clone(&own), Ahead::Answering, round_trip);
        let input = Input::Opened(card, takes);
        let speaker = match opened {
            Ok(speaker) => speaker,
            // Nobody asked for a click: the drill can do without.
            Err(error) if sounding.is_nothing() && !clicking.is_asked() => {
                remark(format!("{error}: no click then, and the pick counts as a beat"));
                return Ok(Self::quiet(input));
            }
            Err(error) => return Err(error.into()),
        };
        remark("headphones low first: landfall begins quietly, and its level adds to your guitar's");
        speaker.set_level(clicking.level.unwrap_or_default());
        let out_rate = speaker.rate();
        let clicked = clicked.map(|clicked| Arc::new(clicked.through(rate, out_rate)));
        if let Some(clicked) = &clicked {
            remark(clicked.sentence());
            let begin = Begin { part: clicked.part(out_rate), beats: Some(clicked.beats(out_rate)), in_s: LEAD_S, ear: Ear::Open };
            speaker.begin(begin);
        }
        if let Some((root, with_fifth)) = sounding.drone {
            let drone = Drone::new(root, with_fifth, None, settings.a4.value, out_rate);
            speaker.begin(Begin { part: Box::new(drone), beats: None, in_s: LEAD_S, ear: Ear::Open });
        }
        let sound = Some(DrillSound::new(speaker, sounding.after, settings.a4.value).toned(sounding.tone));
        Ok(Self { input, sound, clicked, own: Some(own) })
    }

    /// What is wanted, with the beats of the click.
    #[must_use]
    pub fn wanted(&self, wanted: Wanted) -> Wanted {
        let both = self.clicked.as_ref().zip(self.own.as_ref());
        wanted.in_time(both.map(|(clicked, own)| clicked.in_time(own)))
    }

    /// Ears that know what landfall sounds.
    #[must_use]
    pub fn ears(&self, a4: A4, wanted: &Wanted) -> MakeEars {
        let eye = wanted.clone();
        let eye = move || eye.for_the_eye();
        let Some(own) = &self.own else { return hearing::ears_apart(a4, wanted.clone(), eye) };
        let ears = hearing::ears_apart_beside(a4, wanted.clone(), eye, Arc::clone(own));
        match self.clicked.as_ref().and_then(Clicked::replays) {
            Some(click) => hearing::masked(ears, Arc::clone(own), click),
            None => ears,
        }
    }
}
