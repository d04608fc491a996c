//! What to do next: one cue from the pattern of the last attempts.
//!
//! A cue is given when three of the last five attempts share a complaint, and stays until two attempts in a row are free of it. After three more
//! misses the task gets easier instead: the note to reach is heard first, then the bend is smaller, then slower. Within the tolerance there is
//! silence (speaking only outside of it led to smaller errors later: Cruz et al., Motricidade 14, 107, 2018). Complaints follow the drill: where
//! something does not count, nothing is said of it. The sentences are common practice, no source.

use super::plan::Step;
use crate::grading::{Attempt, Fault, Parts, counted_error};
use crate::notes::statistics::median;
use std::collections::VecDeque;

/// Attempts that are looked back on.
const LOOK_BACK: usize = 5;
/// So many of them with the same complaint are a pattern.
const PATTERN: usize = 3;
/// So many in a row without it are a cure.
const CURED: usize = 2;
/// So many misses more while a cue stands, and the task gets easier.
const PATIENCE: usize = 3;

macro_rules! complaints {
    ($($name:ident, $heard:literal, $say:literal;)+) => {
        /// What keeps going wrong.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
        pub enum Complaint {
            $(#[doc = $heard] $name,)+
        }

        impl Complaint {
            /// All of them; the first of several that are due is said.
            pub const ALL: &'static [Self] = &[$(Self::$name,)+];

            /// What is heard.
            #[must_use]
            pub fn heard(self) -> &'static str {
                match self { $(Self::$name => $heard,)+ }
            }

            /// The one sentence.
            #[must_use]
            pub fn say(self) -> &'static str {
                match self { $(Self::$name => $say,)+ }
            }
        }
    };
}

complaints! {
    StringOff, "every note of it wrong alike", "Tune this string; your hand is fine.";
    Scattered, "never the same twice", "Halve the size and the speed until five agree.";
    Corrected, "stops, then creeps up", "Hear the target first, then make one push.";
    Overshoot, "yelps, then comes back", "Slow the last third and meet the note from below.";
    Flat, "sour, just under", "Fret the note you want, hear it, then push until the bend is that note.";
    Sharp, "strained, above", "Ease off at the end: the last millimetre is worth a quarter of a semitone.";
    PressedSharp, "a fretted note, strained", "Press only as hard as the note needs to ring.";
    FrettedFlat, "a fretted note, under", "Tune this string; fretting alone cannot make it flat.";
    Sags, "true, then sinks", "Put two fingers behind the bending one and hold with the turn of the forearm.";
    Climbs, "true, then creeps up", "Stop the push at the note; hold with the forearm, not with the fingertip.";
    ShortHold, "let go too soon", "Keep pressing into the board until the bar reaches its mark.";
    LongHold, "held on for too long", "Count the beats of the hold aloud, and move on when they are over.";
    NoShake, "stays straight", "Turn the wrist, not the finger: small and slow first.";
    ShakeLow, "wobbles off the note", "Let every swing come back up to the note.";
    ShakeUneven, "nervous tremble", "Slow down to two equal swings a beat.";
    ShakeEarly, "shaken at once", "Hold the note straight first; the shake grows out of it.";
    ShakeLate, "straight for too long", "Count the straight part, and begin to shake when it is over.";
    ShakeShort, "the shake dies away", "Keep the swings going until the bar reaches its mark.";
    ShakeSize, "the swings are not as wide or as quick as asked", "Choose one width, and keep the wrist as slow as the beat.";
    NoRelease, "stays up", "Let the string come down while it still sounds.";
    ReleaseSharp, "not home", "Keep pressing and let the string come all the way straight.";
    ReleaseLost, "dies on the way", "Keep pressing and let the string come all the way straight.";
    ReleaseFlat, "comes home too low", "Come down without pulling the string past its place.";
    NoRestrike, "not picked again", "Pick it once more as soon as it is home.";
    LateSlow, "top after the beat", "Start sooner, not faster.";
    LatePick, "picked after the beat", "Count along, and let the pick fall on the beat.";
    LateGrace, "top after the beat", "Move with the pick.";
    Early, "top before the beat", "Give the climb all of its beats; arrive, do not wait.";
    Uneven, "rushes, then waits", "Count the beats aloud, and be halfway at half of them.";
    OtherTechnique, "another gesture", "Look at the page once more: this one asks for another way of bending.";
}

impl Complaint {
    /// Whether a string that is out may be all that it complains of.
    fn is_of_pitch(self) -> bool {
        matches!(self, Self::StringOff | Self::Scattered | Self::Flat | Self::Sharp | Self::PressedSharp | Self::FrettedFlat)
    }

    /// Whether a row shows it; the patterns over several rows, [`Self::Scattered`] and [`Self::StringOff`], are told elsewhere.
    fn is_in(self, attempt: &Attempt, step: &Step) -> bool {
        let parts = &step.parts;
        let plain = attempt.is_plain();
        let any = |faults: &[Fault]| faults.iter().any(|fault| attempt.faults.contains(fault));
        // What lies off the beat is the pick, not the top.
        let pick_counts = attempt.measures.beat_error_ms.is_none() && attempt.measures.attack_beat_error_ms.is_some();
        let rise = step.beats.and_then(|beats| beats.rise).is_some();
        match self {
            Self::StringOff | Self::Scattered => false,
            Self::Corrected => any(&[Fault::Corrected, Fault::SlowToSettle]) && parts.evenness <= 0.0,
            Self::Overshoot => any(&[Fault::Overshoot]),
            Self::Flat => any(&[Fault::Flat]) && !plain,
            Self::Sharp => any(&[Fault::Sharp]) && !plain,
            Self::PressedSharp => any(&[Fault::Sharp]) && plain,
            Self::FrettedFlat => any(&[Fault::Flat]) && plain,
            Self::Sags => any(&[Fault::Sags]) && parts.drift > 0.0,
            Self::Climbs => any(&[Fault::Climbs]) && parts.drift > 0.0,
            Self::ShortHold => any(&[Fault::ShortHold, Fault::LetGo]) && parts.length > 0.0 && step.shake.is_none(),
            Self::LongHold => any(&[Fault::LongHold]) && parts.length > 0.0,
            Self::NoShake => any(&[Fault::NoShake]),
            Self::ShakeLow => any(&[Fault::ShakeOff]) && shaken(parts),
            Self::ShakeUneven => any(&[Fault::ShakeUneven]) && shaken(parts),
            Self::ShakeEarly => any(&[Fault::ShakeEarly]) && shaken(parts),
            Self::ShakeLate => any(&[Fault::ShakeLate]) && shaken(parts),
            Self::ShakeShort => any(&[Fault::ShakeShort]) && shaken(parts),
            Self::ShakeSize => any(&[Fault::ShakeNarrow, Fault::ShakeWide, Fault::ShakeSlow, Fault::ShakeFast]) && shaken(parts),
            Self::NoRelease => any(&[Fault::NoRelease]) && parts.release > 0.0,
            Self::ReleaseSharp => any(&[Fault::ReleaseSharp, Fault::RestrikeSharp]) && parts.release > 0.0,
            Self::ReleaseLost => any(&[Fault::ReleaseLost]) && parts.release > 0.0,
            Self::ReleaseFlat => any(&[Fault::ReleaseFlat, Fault::RestrikeFlat]) && parts.release > 0.0,
            Self::NoRestrike => any(&[Fault::NoRestrike]) && step.restrike,
            Self::LateSlow => any(&[Fault::Late]) && rise,
            Self::LatePick => any(&[Fault::Late]) && pick_counts,
            Self::LateGrace => {
                (any(&[Fault::SlowRise]) || any(&[Fault::Late]) && !pick_counts) && !rise && (parts.rise > 0.0 || parts.beat > 0.0)
            }
            Self::Early => any(&[Fault::Early]) && parts.beat > 0.0,
            Self::Uneven => any(&[Fault::UnevenRise]),
            Self::OtherTechnique => any(&[Fault::OtherTechnique]),
        }
    }
}

fn shaken(parts: &Parts) -> bool {
    parts.shake_centre + parts.shake_evenness + parts.shake_width > 0.0
}

/// How much easier than planned the task is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Easing {
    /// As planned.
    #[default]
    No,
    /// The note to reach is heard first.
    Hear,
    /// And the bend is smaller.
    Smaller,
    /// And there is more time.
    Slower,
}

impl Easing {
    fn more(self) -> Self {
        match self {
            Self::No => Self::Hear,
            Self::Hear => Self::Smaller,
            Self::Smaller | Self::Slower => Self::Slower,
        }
    }
}

/// One attempt as far as advice needs it.
#[derive(Clone, Debug)]
struct Seen {
    complaints: Vec<Complaint>,
    /// Pitch error that counts, and the tolerance, cents.
    error: Option<f64>,
    tolerance: f64,
    /// How far was to be bent, in whole cents: only bends of one size are compared.
    size: Option<i64>,
    string: Option<u8>,
    /// The fretted note's own error, cents.
    origin_error: Option<f64>,
    release_error: Option<f64>,
    beat_error_ms: Option<f64>,
}

/// Looks back on the attempts of a drill.
#[derive(Clone, Debug, Default)]
pub struct Advice {
    last: VecDeque<Seen>,
    set: Vec<Seen>,
    cue: Option<Complaint>,
    misses: usize,
    easing: Easing,
    off_string: Option<(u8, f64)>,
}

impl Advice {
    /// Takes in an attempt that answered a step.
    pub fn attempt(&mut self, attempt: &Attempt, step: &Step) {
        let m = &attempt.measures;
        let error = if step.parts.shake_centre > 0.0 { m.arrival_error_cents } else { m.hold_error_cents };
        let home = m.release_error_cents.map(|error| error - m.origin_error_cents.unwrap_or(0.0));
        let seen = Seen {
            complaints: Complaint::ALL.iter().copied().filter(|complaint| complaint.is_in(attempt, step)).collect(),
            error: error.map(|error| counted_error(attempt.bend_cents, error)),
            tolerance: attempt.tolerance_cents,
            size: attempt.bend_cents.map(|cents| cents.round() as i64),
            string: step.place.map(|place| place.string),
            // A note that is not bent is its own origin.
            origin_error: if attempt.is_plain() { m.hold_error_cents } else { m.origin_error_cents },
            release_error: home.filter(|_| step.parts.release > 0.0),
            beat_error_ms: m.late_ms().filter(|_| step.parts.beat > 0.0),
        };
        self.set.push(seen.clone());
        self.last.push_back(seen);
        if self.last.len() > LOOK_BACK {
            self.last.pop_front();
        }
        self.off_string = self.string_off();
        self.decide();
    }

    fn decide(&mut self) {
        // Where the string is out the hand is not: nothing gets easier, and nothing is said of the hand's pitch.
        if self.off_string.is_some() && self.cue.is_none_or(Complaint::is_of_pitch) {
            (self.cue, self.easing, self.misses) = (Some(Complaint::StringOff), Easing::No, 0);
            return;
        }
        let due = self.due();
        let Some(cue) = self.cue else {
            self.cue = due;
            self.misses = 0;
            return;
        };
        if self.shows(cue, self.last.len() - 1) {
            self.misses += 1;
            if self.misses >= PATIENCE {
                self.misses = 0;
                self.easing = self.easing.more();
            }
            return;
        }
        let free = (1..=CURED).all(|back| self.last.len() >= back && !self.shows(cue, self.last.len() - back));
        if free {
            self.easing = Easing::No;
            self.misses = 0;
            // What went before the cure is not held against the player again.
            let keep = self.last.len().min(CURED);
            self.last.drain(..self.last.len() - keep);
            self.cue = self.due();
        }
    }

    /// The first complaint that is a pattern.
    fn due(&self) -> Option<Complaint> {
        Complaint::ALL.iter().copied().find(|complaint| match complaint {
            Complaint::StringOff => self.off_string.is_some(),
            Complaint::Scattered => self.is_scattered(),
            other => self.last.iter().filter(|seen| seen.complaints.contains(other)).count() >= PATTERN,
        })
    }

    /// Whether the attempt at a place of the last ones is a miss of the kind of a cue.
    fn shows(&self, cue: Complaint, at: usize) -> bool {
        let seen = &self.last[at];
        match cue {
            Complaint::StringOff => self.off_string.is_some(),
            Complaint::Scattered => seen.error.is_some_and(|error| error.abs() > seen.tolerance),
            other => seen.complaints.contains(&other),
        }
    }

    /// Three of the last five are off, and not alike: some flat, some sharp, or farther apart than four times the tolerance.
    fn is_scattered(&self) -> bool {
        let off: Vec<f64> = self.last.iter().filter_map(|seen| seen.error.filter(|error| error.abs() > seen.tolerance)).collect();
        if off.len() < PATTERN {
            return false;
        }
        let tolerance = self.last.back().map_or(10.0, |seen| seen.tolerance);
        let (least, most) =
            off.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), error| (least.min(*error), most.max(*error)));
        least < 0.0 && most > 0.0 || most - least > 4.0 * tolerance
    }

    /// A string on which every one of the last notes (three at least) is off to one side by nearly the same; of several, the one played last.
    fn string_off(&self) -> Option<(u8, f64)> {
        self.last.iter().rev().find_map(|seen| self.is_off(seen.string?))
    }

    fn is_off(&self, string: u8) -> Option<(u8, f64)> {
        let all: Vec<f64> = self.last.iter().filter(|seen| seen.string == Some(string)).filter_map(|seen| seen.origin_error).collect();
        let mean = all.iter().sum::<f64>() / all.len().max(1) as f64;
        let alike = all.iter().all(|error| (error - mean).abs() <= ALIKE_CENTS);
        (all.len() >= PATTERN && mean.abs() >= STRING_OFF_CENTS && alike).then_some((string, mean))
    }

    /// The cue that stands; none within the tolerance.
    #[must_use]
    pub fn cue(&self) -> Option<Complaint> {
        self.cue
    }

    /// How much easier the task is.
    #[must_use]
    pub fn easing(&self) -> Easing {
        self.easing
    }

    /// A string to tune, and how far off it is in cents.
    #[must_use]
    pub fn string_to_tune(&self) -> Option<(u8, f64)> {
        self.off_string
    }

    /// The cue that stands, as one sentence.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        if self.cue == Some(Complaint::StringOff)
            && let Some((string, cents)) = self.off_string
        {
            let way = if cents > 0.0 { "sharp" } else { "flat" };
            return Some(format!("Retune string {string}: its notes are all {:.0} cents {way}. Your hand is fine.", cents.abs()));
        }
        Some(self.cue?.say().to_owned())
    }

    /// A set ends: what improved in it, if anything did.
    pub fn end_set(&mut self) -> Option<String> {
        improved(&std::mem::take(&mut self.set))
    }
}

/// A string whose notes are off by less is in tune as far as a hand can tell (fretting alone scatters by 4 cents in 95 % of notes: Mottola).
const STRING_OFF_CENTS: f64 = 7.0;
/// Its notes are alike within this.
const ALIKE_CENTS: f64 = 4.0;

/// Something that may improve: how it is read, what is right, and how it is said.
type Measure = (fn(&Seen) -> Option<f64>, f64, &'static str, &'static str);

/// The first and the last attempts at each size of bend, as many of it on either side: a smaller bend that comes nearer is no better one.
fn halves(set: &[Seen]) -> (Vec<&Seen>, Vec<&Seen>) {
    let mut sizes: Vec<Option<i64>> = set.iter().map(|seen| seen.size).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let (mut first, mut last) = (Vec::new(), Vec::new());
    for size in sizes {
        let alike: Vec<&Seen> = set.iter().filter(|seen| seen.size == size).collect();
        first.extend(&alike[..alike.len() / 2]);
        last.extend(&alike[alike.len().div_ceil(2)..]);
    }
    (first, last)
}

/// What the second half of a set did better than the first: the median error of pitch, release or beat that fell by a third and by half of the
/// tolerance at least. The largest of them is named.
fn improved(set: &[Seen]) -> Option<String> {
    let (first, second) = halves(set);
    if first.len() < 2 {
        return None;
    }
    let tolerance = set[0].tolerance;
    let measures: [Measure; 3] = [
        (|seen| seen.error, tolerance, "Nearer to the note", "cents"),
        (|seen| seen.release_error, tolerance, "Nearer to home", "cents"),
        (|seen| seen.beat_error_ms, 6.0 * tolerance, "Nearer to the beat", "ms"),
    ];
    let better = |(measure, tolerance, words, unit): Measure| {
        let middle = |seen: &[&Seen]| median(&seen.iter().filter_map(|seen| measure(seen)).map(f64::abs).collect::<Vec<f64>>());
        let (before, after) = (middle(&first)?, middle(&second)?);
        let gain = before - after;
        let real = gain >= 0.5 * tolerance && gain >= before / 3.0;
        real.then(|| (gain / tolerance, format!("{words}: {before:.0} {unit} off at first, {after:.0} at the end of the set.")))
    };
    measures.into_iter().filter_map(better).max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, sentence)| sentence)
}
