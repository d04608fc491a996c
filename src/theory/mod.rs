//! What a lead guitarist knows before playing a note: notes, intervals, chords, scales, keys, tunings, the neck, triads, bends,
//! the way through a tune. Pure: no sound, no files, no clocks; the same question always has the same answer.
//!
//! Conventions. Pitch names are scientific (middle C is `C4` = MIDI 60; Young, JASA 11, 1939) and always the sounding pitch of
//! what is fingered, an octave under written guitar music. Spelling follows the letter: the b7 of Db7 is `Cb`. Degrees count
//! from the major scale of the root: `1 b3 5 b7`. String 1 is the last one of a tuning (the highest of an ordinary guitar).
//!
//! ```
//! use landfall::theory::{Chord, Neck, Scale, Tuning};
//!
//! let chord: Chord = "Em7b5".parse()?;
//! assert_eq!(chord.tones().iter().map(|t| t.name.to_string()).collect::<Vec<_>>(), ["E", "G", "Bb", "D"]);
//! assert_eq!(chord.degree_of_pitch(70).unwrap().to_string(), "b5");
//!
//! let scale: Scale = "A minor pentatonic".parse()?;
//! let neck = Neck::new(Tuning::standard(), 22)?;
//! assert!(neck.places().any(|place| scale.contains(neck.midi(place))));
//! # Ok::<(), landfall::theory::TheoryError>(())
//! ```

pub mod bend;
pub mod chart;
pub mod choice;
mod chord;
mod degree;
mod error;
pub mod guide;
mod interval;
mod key;
mod neck;
mod note;
pub mod path;
pub mod placed;
pub mod roman;
pub mod route;
pub mod saddle;
mod scale;
pub mod strings;
pub mod triad;
mod tuning;
mod words;

pub use bend::{Bend, Ease, bends};
pub use chord::{Chord, Tone};
pub use degree::Degree;
pub use error::TheoryError;
pub use interval::Interval;
pub use key::Key;
pub use neck::{Neck, Place};
pub use note::{Letter, Note, NoteName};
pub use roman::{function, numeral};
pub use scale::{SCALES, Scale, ScaleKind};
pub use strings::StringSet;
pub use triad::{Inversion, Triad, Voicing, voicings};
pub use tuning::{TUNINGS, Tuning};
pub use words::nearest;
