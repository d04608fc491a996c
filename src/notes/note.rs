//! One note: why it began, what it did, why it ended.

use super::contour::Contour;
use crate::units::FrameTime;

/// How a note began.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Cause {
    /// The string was picked.
    Pick,
    /// A pitch appeared and no stroke was heard: a soft entry, another string that comes through, hum.
    Unheard,
    /// Picked again at the pitch that already sounded.
    Restrike,
    /// A finger came down on a higher fret: one step up of 80 cents or more in under 15 ms.
    Hammer,
    /// A finger left a lower fret sounding: the same step down.
    PullOff,
    /// The finger moved along the frets: stairs of about 100 cents, 10 to 20 ms each; the note begins on the last stair.
    Slide,
}

/// How a note ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ending {
    /// The next attack, hammer-on, pull-off or slide.
    NextNote,
    /// The finger left or damped the string: the level fell by 12 dB within 60 ms.
    LetGo,
    /// The string died away until its pitch could not be told.
    RangOut,
    /// A gate cut it: straight to digital silence or by 30 dB in a hop or two.
    Gated,
    /// The pitch that is told became another sound's.
    HandedOver,
    /// The take ended while it sounded.
    TakeEnded,
    /// Sound was lost here.
    LostAudio,
    /// It went on for longer than is kept ([`super::LONGEST_NOTE_S`]).
    TooLong,
}

/// One note, with its contour from the attack to the end.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// The instant of the attack, the hammer-on, or the end of the slide.
    pub onset: FrameTime,
    /// The last instant at which it sounded.
    pub end: FrameTime,
    /// How it began.
    pub cause: Cause,
    /// How it ended.
    pub ending: Ending,
    /// Its pitch, from the onset to the end.
    pub contour: Contour,
    /// Strokes after the first, at the pitch that sounded: they belong to this note.
    pub repicks: Vec<FrameTime>,
}
