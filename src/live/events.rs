//! From the analysis to the view.

use crate::grading::{Attempt, Glimpse, Told};
use crate::logbook::Row;
use crate::pitch::Reading;
use crate::sound::{Chosen, FaultKind, Origin, SoundError};
use crate::units::SampleRate;
use crossbeam_channel::{Receiver, Sender, TrySendError, bounded, unbounded};
use std::path::PathBuf;

/// What the view must hear of, in order, each once.
#[derive(Clone, Debug)]
pub enum Event {
    /// A take has begun.
    TakeBegan {
        /// Its name in the log.
        name: String,
        /// Where it is kept, if it is.
        file: Option<PathBuf>,
        /// Frames a second.
        rate: SampleRate,
        /// How it comes in.
        origin: Origin,
    },
    /// The channel was chosen from several.
    Channel(Chosen),
    /// What can be said of the note that sounds.
    Seen(Glimpse),
    /// The settled pitch of the attempt that is graded next: seconds of the take and cents on the MIDI scale.
    Curve(Vec<(f64, f64)>),
    /// An attempt was graded; the row is the one in the log.
    Graded(Box<(Attempt, Row)>),
    /// Something was told; it holds from this instant of the take on.
    Told(Told),
    /// The take has a fault of this kind, said once a take.
    Fault(FaultKind),
    /// The take has ended.
    TakeEnded {
        /// Its length.
        seconds: f64,
    },
    /// A sentence that the player should know.
    Notice(String),
    /// Nothing more comes. The sound may have broken off.
    Over(Option<SoundError>),
}

/// Readings that wait for the view; when it is slower, the oldest go.
const READINGS: usize = 256;

/// The analysis's end.
pub struct Teller {
    events: Sender<Event>,
    readings: Sender<Reading>,
    /// To take the oldest out.
    oldest: Receiver<Reading>,
}

/// The view's end.
pub struct Listener {
    /// None is ever dropped. Verdicts are few: their number is bounded by the notes that hands can play.
    pub events: Receiver<Event>,
    /// The latest win.
    pub readings: Receiver<Reading>,
}

/// Both ends.
#[must_use]
pub fn events() -> (Teller, Listener) {
    let (events, events_out) = unbounded();
    let (readings, readings_out) = bounded(READINGS);
    (Teller { events, readings, oldest: readings_out.clone() }, Listener { events: events_out, readings: readings_out })
}

impl Teller {
    /// Tells an event; when nobody listens any more, the run is about to be stopped.
    pub fn event(&self, event: Event) {
        let _ = self.events.send(event);
    }

    /// Tells a reading.
    pub fn reading(&self, reading: Reading) {
        if let Err(TrySendError::Full(reading)) = self.readings.try_send(reading) {
            let _ = self.oldest.try_recv();
            // The view may have made room itself; where it has not, one place is free now.
            let _ = self.readings.try_send(reading);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Sounding;
    use crate::units::FrameTime;

    #[test]
    fn the_latest_readings_win_and_no_event_is_dropped() {
        let (teller, listener) = events();
        for n in 0..1000 {
            let at = FrameTime(n);
            teller.reading(Reading { at, ready: at, level_dbfs: None, sounding: Sounding::Silent });
            teller.event(Event::Seen(Glimpse::Began(at)));
        }
        let readings: Vec<u64> = listener.readings.try_iter().map(|reading| reading.at.0).collect();
        assert_eq!(readings, (1000 - READINGS as u64..1000).collect::<Vec<_>>());
        assert_eq!(listener.events.try_iter().count(), 1000);
    }
}
