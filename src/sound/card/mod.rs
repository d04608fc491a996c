//! The sound card: what can be heard from, and a stream that is watched over while it runs.
//!
//! The system's audio library calls back on a thread of its own, where nothing may allocate, lock, log or wait: the [`Arrival`] copies into
//! the ring and counts. Whether sound still comes is judged by the frames that arrive ([`watcher`](self)), not by the errors that the library
//! reports: it reports some that mean nothing, and none for the worst failures.
//!
//! Opening and closing can hang for ever inside the library. Both happen on a thread of the stream's own, which nobody waits for.

mod arrival;
mod departure;
mod outlet;
mod pace;
mod patience;
mod stamps;
mod take_time;
mod takes;
mod watcher;

#[cfg(feature = "sound-card")]
mod system;

pub use arrival::{Arrival, Pulse};
pub use departure::{Departure, PlayPulse};
pub use outlet::{Outlet, OutputNotice, Playing};
pub use stamps::{Stamp, Stamps};
pub use take_time::{TakeNow, TakeTime};
pub use takes::CardTakes;
pub use watcher::{Card, CardNotice};

use super::{Format, SoundError};
use crate::units::SampleRate;

/// One device, by its name alone: nothing was opened to learn it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviceName {
    /// What `--device` takes.
    pub id: String,
    /// What the system says of it, on one line.
    pub about: String,
    /// Whether it says that it can be listened to; certain only once it has been opened.
    pub input: bool,
    /// Whether it says that it can be played to; certain only once it has been opened.
    pub output: bool,
}

/// What ALSA lists beside its cards, by its own names: devices that change sound on its way, or swallow it. None is heard or played to.
const CONVERTERS: [&str; 7] = ["null", "lavrate", "samplerate", "speexrate", "speex", "upmix", "vdownmix"];

impl DeviceName {
    /// Whether it is no card, but something that changes sound on its way to one.
    #[must_use]
    pub fn is_converter(&self) -> bool {
        CONVERTERS.contains(&self.id.as_str())
    }
}

/// What the player wishes of the card.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CardWish {
    /// A device's id, or a part of its id or name that fits one alone; `None` is the system's default.
    pub device: Option<String>,
    /// Frames a callback; `None` leaves it to landfall.
    pub buffer: Option<u32>,
}

/// What the player wishes of the card that plays.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OutputWish {
    /// As for the input.
    pub device: Option<String>,
    /// Frames a callback; `None` leaves it to landfall.
    pub buffer: Option<u32>,
    /// Frames a second where the card can; else it chooses.
    pub rate: Option<SampleRate>,
}

impl OutputWish {
    /// The device as it was wished.
    #[must_use]
    pub fn name(&self) -> String {
        self.device.clone().unwrap_or_else(|| "default".into())
    }
}

/// A stream that runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opened {
    /// The device, as it is called.
    pub device: String,
    /// What it gives.
    pub format: Format,
    /// Frames a callback, where the system tells.
    pub buffer: Option<u32>,
}

/// Something whose dropping closes the stream. That may take for ever: drop it where nobody waits.
pub trait Stream {
    /// What was opened.
    fn opened(&self) -> Opened;
}

/// Where cards come from: the system, or a test.
pub trait Host: Send + Sync {
    /// All devices by name, without opening any.
    ///
    /// # Errors
    /// When the system cannot be asked.
    fn names(&self) -> Result<Vec<DeviceName>, SoundError>;

    /// Opens an input and starts it. `begin` is asked for the state of the callback once the format is known, again for each further try; the
    /// last one counts.
    ///
    /// # Errors
    /// One sentence for the player.
    fn open(&self, wish: &CardWish, begin: &mut dyn FnMut(Format) -> Arrival) -> Result<Box<dyn Stream>, SoundError>;

    /// Opens an output and starts it, in the same way.
    ///
    /// # Errors
    /// One sentence for the player; also where the host only listens.
    fn open_output(&self, wish: &OutputWish, begin: &mut dyn FnMut(Format) -> Departure) -> Result<Box<dyn Stream>, SoundError> {
        let _ = begin;
        Err(SoundError::Output { device: wish.name(), problem: "cannot be played to".into() })
    }
}

/// The system's cards.
///
/// # Errors
/// When landfall was built without them.
#[cfg(feature = "sound-card")]
pub fn system() -> Result<std::sync::Arc<dyn Host>, SoundError> {
    Ok(std::sync::Arc::new(system::System))
}

/// The system's cards.
///
/// # Errors
/// Always: this build has none.
#[cfg(not(feature = "sound-card"))]
pub fn system() -> Result<std::sync::Arc<dyn Host>, SoundError> {
    Err(SoundError::NoCards)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As `aplay -L` names them.
    #[test]
    fn cards_and_sound_servers_are_no_converters() {
        let named = |id: &str| DeviceName { id: id.into(), about: String::new(), input: true, output: true };
        for id in ["default", "pulse", "pipewire", "jack", "sysdefault:CARD=PCH", "hw:CARD=USB,DEV=0", "plughw:CARD=USB,DEV=0"] {
            assert!(!named(id).is_converter(), "{id}");
        }
        for id in ["null", "lavrate", "samplerate", "speexrate", "speex", "upmix", "vdownmix"] {
            assert!(named(id).is_converter(), "{id}");
        }
    }
}
