//! A simple band for a tune: bass, chords, drums. The same tune, options and seed give the same events.
//!
//! What each plays is common practice, no source: the bass says the root and walks to the next one, the chords move as little as they can,
//! the drums say where two and four are. Nothing here is meant to be listened to alone.

mod bass;
mod comp;
mod drums;
mod part;

pub use comp::voicing;
pub use part::{Backing, Together};

use super::pulse::Pulse;
use crate::sound::out::Voice;
use crate::theory::Chord;

/// Who plays along.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Players {
    /// Low notes.
    pub bass: bool,
    /// Chords.
    pub comp: bool,
    /// Drums.
    pub drums: bool,
}

impl Default for Players {
    /// All of them.
    fn default() -> Self {
        Self { bass: true, comp: true, drums: true }
    }
}

/// How they play.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Manner {
    /// Who plays.
    pub players: Players,
    /// The backbeat comes half as often.
    pub half_time: bool,
    /// Two backings with one seed are the same.
    pub seed: u64,
}

impl Default for Manner {
    fn default() -> Self {
        Self { players: Players::default(), half_time: false, seed: 1 }
    }
}

/// A bar as the players read it.
struct Bar<'a> {
    pulse: &'a Pulse,
    entries: Vec<Entry<'a>>,
    half_time: bool,
    /// A number of this bar's own, from the seed.
    chance: u64,
}

/// A chord in a bar.
#[derive(Clone, Copy)]
struct Entry<'a> {
    /// Its first beat, from 0.
    beat: u32,
    /// How many beats it has in this bar.
    beats: u32,
    chord: Option<&'a Chord>,
    /// As the comping player holds it.
    voicing: &'a [i32],
    /// The chord after it, where that is another one.
    next: Option<&'a Chord>,
}

/// One note or stroke, in beats of its bar.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Struck {
    /// Written position in the bar, beats from 0.
    position: f64,
    /// Where it is let go, the same way.
    until: f64,
    voice: Voice,
    /// MIDI number; 0 for drums.
    midi: i32,
    gain: f32,
}

/// How a bar is felt: this decides the patterns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Motion {
    /// Beats of three.
    Compound,
    /// Swung beats of two: the bass walks.
    Swung,
    /// Straight beats of two.
    Straight,
    /// Beats that are not divided, in groups.
    Groups,
}

impl Bar<'_> {
    fn motion(&self) -> Motion {
        match self.pulse.counts_a_beat() {
            3 => Motion::Compound,
            1 => Motion::Groups,
            _ if self.pulse.feel.is_swung() => Motion::Swung,
            _ => Motion::Straight,
        }
    }

    fn beats(&self) -> u32 {
        self.pulse.metre.beats()
    }
}

/// A number that looks random and is a function of its seeds (Steele, Lea & Flood, OOPSLA 2014: SplitMix64).
fn chance(seed: u64, index: u64) -> u64 {
    let mut z = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(index.wrapping_mul(0xd1b5_4a32_d192_ed03));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}
