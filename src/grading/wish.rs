//! What was wanted of an attempt. Everything is optional: with an empty wish the bend itself says what it meant.

use super::{Attempt, Harmony, Standing, Technique};

/// A pitch that may be aimed at.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// Pitch in cents on the MIDI scale.
    pub cents: f64,
    /// Its place in the chord (`1`, `b3`, `5` ...), where a chord was given.
    pub degree: Option<String>,
}

/// Which notes a bend may aim at.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Aim {
    /// Nothing was said: the nearest equal-tempered note, or the quarter tone.
    #[default]
    Nearest,
    /// One pitch, whatever was played.
    Pitch(Target),
    /// So many cents above the origin.
    Above(f64),
    /// The chord's tones in all octaves: the one within 60 cents of the settled pitch, else the nearest note.
    Chord(Vec<Target>),
}

/// How far off is still right, in the unit of each measure. The default is the steady stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Pitch of the hold, cents.
    pub cents: f64,
    /// Arrival against the beat, ms.
    pub beat_ms: f64,
    /// Pitch of a top that is only touched, cents.
    pub touched_cents: f64,
    /// Pitch of a bend of 300 cents and more, cents.
    pub large_cents: f64,
    /// Landing of a release, cents.
    pub release_cents: f64,
    /// Height above the settled pitch, cents.
    pub overshoot_cents: f64,
}

impl Tolerance {
    /// Everything in proportion to the pitch of the hold: 15 for a large bend, 12 for a release and 20 for an overshoot and a touched top where
    /// that is 10.
    #[must_use]
    pub fn of_cents(cents: f64) -> Self {
        Self {
            cents,
            beat_ms: 60.0,
            touched_cents: 2.0 * cents,
            large_cents: 1.5 * cents,
            release_cents: 1.2 * cents,
            overshoot_cents: 2.0 * cents,
        }
    }

    /// That of one pitch, cents: a top that is only touched and a bend of 300 cents and more are harder. `size_cents` is how far was to be bent.
    /// Words, faults, score and row all take it from here.
    #[must_use]
    pub fn of_pitch(&self, size_cents: Option<f64>, touched: bool) -> f64 {
        let touched_cents = if touched { self.touched_cents } else { 0.0 };
        let large_cents = if size_cents.is_some_and(|size| size >= LARGE_BEND_CENTS) { self.large_cents } else { 0.0 };
        self.cents.max(touched_cents).max(large_cents)
    }
}

/// A bend is large from here, cents.
const LARGE_BEND_CENTS: f64 = 300.0;

impl Default for Tolerance {
    fn default() -> Self {
        Self::of_cents(10.0)
    }
}

/// The parts of an attempt that are asked for, and their weight in the score (common practice, no source). 0: not asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Parts {
    /// Pitch of the hold.
    pub pitch: f64,
    /// Share of the hold in tune.
    pub hold: f64,
    /// Length of the hold; of a shaken one, how long it was straight and how long shaken. A drill that asks for it gives it a fifth of all weights.
    pub length: f64,
    /// Steadiness of the hold.
    pub drift: f64,
    /// Time of the rise.
    pub rise: f64,
    /// Evenness of a rise that is drawn out: halfway at half the time. Where this counts, a slow arrival is no fault.
    pub evenness: f64,
    /// Height above the settled pitch.
    pub overshoot: f64,
    /// Arrival on the beat.
    pub beat: f64,
    /// Landing of the release.
    pub release: f64,
    /// The note picked again.
    pub restrike: f64,
    /// Centre of the vibrato.
    pub shake_centre: f64,
    /// Evenness of the vibrato.
    pub shake_evenness: f64,
    /// Width and rate of the vibrato, whichever is further off.
    pub shake_width: f64,
}

impl Parts {
    /// Free play: pitch 4, hold 3, release 2 (where there is one), drift 1.
    #[must_use]
    pub fn free() -> Self {
        Self { pitch: 4.0, hold: 3.0, release: 2.0, drift: 1.0, ..Self::default() }
    }
}

/// What a drill asks for, in the names that it has for its notes.
#[derive(Clone, Debug, PartialEq)]
pub struct AskedFor {
    /// The fretted note.
    pub origin: String,
    /// The fretted pitch, cents on the MIDI scale.
    pub origin_cents: f64,
    /// The note to reach; `None` where nothing is bent, and where the ear is to find it.
    pub target: Option<String>,
}

/// A hold is long enough from this share of what was asked for.
const LONG_ENOUGH: f64 = 0.95;

/// What one attempt should be.
#[derive(Clone, Debug, PartialEq)]
pub struct Wish {
    /// The fretted pitch to start from, cents on the MIDI scale.
    pub origin: Option<f64>,
    /// Which pitch to reach.
    pub aim: Aim,
    /// The chord around the aim and the scale that fits it, where there is one: what the words say of a note that is no tone of it.
    pub harmony: Option<Harmony>,
    /// Which gesture; only `PreBend` makes a row of a pre-bend that is not released.
    pub technique: Option<Technique>,
    /// The instant, in seconds of the take, at which the arrival is wanted.
    pub arrival_beat_s: Option<f64>,
    /// The instant, in seconds of the take, at which the attack is wanted.
    pub attack_beat_s: Option<f64>,
    /// Length of a beat in seconds, where there is one: a restrike may come two beats after the release.
    pub beat_s: Option<f64>,
    /// Seconds to hold, where asked for.
    pub hold_s: Option<f64>,
    /// How far off the hold may be from that in seconds, to either side, where it was asked for in beats; `None`: a longer one does no harm.
    pub hold_within_s: Option<f64>,
    /// Longest rise in ms, where asked for.
    pub rise_ms: Option<f64>,
    /// Wanted half width of the vibrato in cents (low, high), where asked for.
    pub shake_cents: Option<(f64, f64)>,
    /// Where this player usually lies against the beat, ms: a style, so score and faults count from there. The columns count from the beat.
    pub usual_late_ms: f64,
    /// Whether the delay of the sound card is in what is measured against the beat.
    pub uncalibrated: bool,
    /// Wanted rate of the vibrato in hertz (low, high), where asked for.
    pub shake_hz: Option<(f64, f64)>,
    /// Seconds to be held straight before the vibrato, where asked for.
    pub straight_s: Option<f64>,
    /// Seconds of vibrato, where asked for.
    pub shaken_s: Option<f64>,
    /// The vibrato is on a fretted note: its lowest point is home.
    pub shake_from_fret: bool,
    /// Which step of the drill this is, from 1; `None` outside of it.
    pub step: Option<u32>,
    /// What the drill asks for, where the attempt is something else.
    pub instead_of: Option<AskedFor>,
    /// Everything that the drill asks for was played before: this is no attempt, and makes no row.
    pub after_the_end: bool,
    /// How far off is still right.
    pub tolerance: Tolerance,
    /// What counts in the score.
    pub parts: Parts,
}

impl Wish {
    /// The shortest hold that is long enough, s.
    pub(super) fn shortest_hold_s(&self) -> Option<f64> {
        let wanted = self.hold_s?;
        Some(self.hold_within_s.map_or(LONG_ENOUGH * wanted, |within| wanted - within))
    }

    /// Whether the bend is to be let down while it sounds: then it matters when, and holding on is a fault.
    #[must_use]
    pub fn is_let_down(&self) -> bool {
        self.technique.is_some_and(Technique::is_released)
    }

    /// The longest hold that is no longer than asked for, s; `None` where a longer one does no harm.
    pub(super) fn longest_hold_s(&self) -> Option<f64> {
        Some(self.hold_s? + self.hold_within_s.filter(|_| self.is_let_down())?)
    }

    /// What the target of a bend (cents on the MIDI scale) is to the chord. A pitch that was named is what it was meant to be, whatever the chord.
    pub(super) fn standing(&self, target: Option<f64>) -> Option<Standing> {
        if matches!(self.aim, Aim::Pitch(_)) { None } else { self.harmony?.standing(target?) }
    }
}

impl Default for Wish {
    /// Free play.
    fn default() -> Self {
        Self {
            origin: None,
            aim: Aim::Nearest,
            harmony: None,
            technique: None,
            arrival_beat_s: None,
            attack_beat_s: None,
            beat_s: None,
            hold_s: None,
            hold_within_s: None,
            rise_ms: None,
            shake_cents: None,
            usual_late_ms: 0.0,
            uncalibrated: false,
            shake_hz: None,
            straight_s: None,
            shaken_s: None,
            shake_from_fret: false,
            step: None,
            instead_of: None,
            after_the_end: false,
            tolerance: Tolerance::default(),
            parts: Parts::free(),
        }
    }
}

/// What is known of an attempt before it is graded: enough to say what was wanted of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Which attempt of the take, from 1.
    pub attempt: u32,
    /// Attack, seconds of the take.
    pub onset_s: f64,
    /// Arrival, seconds of the take.
    pub arrival_s: f64,
    /// Where the hold ends, seconds of the take; while it still sounds, how far it goes so far.
    pub held_until_s: f64,
    /// Pitch before the bend, cents on the MIDI scale, where there is any.
    pub origin_cents: Option<f64>,
    /// Settled pitch of the hold, cents on the MIDI scale.
    pub held_cents: f64,
    /// As played.
    pub technique: Technique,
    /// Whether the pitch before the bend stayed for long enough to say from which fret it began; else `origin_cents` is the lowest pitch heard.
    pub steady_origin: bool,
}

/// A note as played, bent or not: what is told of all notes, while attempts are bends alone. Times are seconds of the take, pitch cents on the MIDI
/// scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardNote {
    /// Its attack.
    pub onset_s: f64,
    /// Its end.
    pub end_s: f64,
    /// When its pitch was reached: the arrival of its last bend, else the attack.
    pub reached_s: f64,
    /// Until when that pitch was held.
    pub held_until_s: f64,
    /// The pitch that was reached.
    pub cents: f64,
    /// The pitch that it ended on: after a release, the landing.
    pub last_cents: f64,
    /// Whether it was bent.
    pub bent: bool,
}

/// Something that was told while a take was heard, at its instant of the take. It is kept beside the take, so that grading it again hears the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Told {
    /// Seconds of the take.
    pub at_s: f64,
    /// What.
    pub what: Telling,
}

/// What can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Telling {
    /// On to the next step.
    Skip,
    /// The last step once more.
    Repeat,
}

/// Whoever knows what is wanted: a drill, a chart, the command line. Must answer from what is asked alone (no clock), so that
/// a take graded later gets the same answers.
pub trait Wishes {
    /// What was wanted of the attempt that was seen.
    fn wish(&mut self, seen: &Seen) -> Wish;

    /// Whether a pre-bend that is not released makes a row around this instant (seconds of the take).
    fn wants_pre_bend(&mut self, at_s: f64) -> bool {
        let _ = at_s;
        false
    }

    /// Whether a note that is not bent makes a row around this instant (seconds of the take).
    fn wants_plain(&mut self, at_s: f64) -> bool {
        let _ = at_s;
        false
    }

    /// What was told between attempts: each once, before any attempt that begins after it is asked about.
    fn told(&mut self, told: Told) {
        let _ = told;
    }

    /// Whether a note struck at this instant (seconds of the take) may be an attempt. Not while landfall's own tones sound, and shortly after.
    fn listens(&mut self, at_s: f64) -> bool {
        let _ = at_s;
        true
    }

    /// A note was played; told once each, in order, before what is asked about its bends. Notes that nobody listens to are told too.
    fn heard(&mut self, note: &HeardNote) {
        let _ = note;
    }

    /// What became of an attempt, told once each, in order: where the next one is another step, this is what moves on.
    fn graded(&mut self, attempt: &Attempt) {
        let _ = attempt;
    }
}

/// Whoever it is.
impl<W: Wishes + ?Sized> Wishes for Box<W> {
    fn wish(&mut self, seen: &Seen) -> Wish {
        (**self).wish(seen)
    }

    fn wants_pre_bend(&mut self, at_s: f64) -> bool {
        (**self).wants_pre_bend(at_s)
    }

    fn wants_plain(&mut self, at_s: f64) -> bool {
        (**self).wants_plain(at_s)
    }

    fn told(&mut self, told: Told) {
        (**self).told(told);
    }

    fn listens(&mut self, at_s: f64) -> bool {
        (**self).listens(at_s)
    }

    fn heard(&mut self, note: &HeardNote) {
        (**self).heard(note);
    }

    fn graded(&mut self, attempt: &Attempt) {
        (**self).graded(attempt);
    }
}

/// The same wish for every attempt.
impl Wishes for Wish {
    fn wish(&mut self, _: &Seen) -> Wish {
        self.clone()
    }

    fn wants_pre_bend(&mut self, _: f64) -> bool {
        self.technique == Some(Technique::PreBend)
    }
}
