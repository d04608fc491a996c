//! What can be said of a bend while the string still rings: the grader's own measures, taken on the causal contour as far as it goes.
//!
//! Conventions. Words are said once and stay. They rest on what the player can be told early, so they come from the eye's tracker and may differ
//! from the row by the last cent; the row stands.

use super::look::Look;
use super::played::Played;
use super::target::{Meant, counted_error, meant};
use super::{Attempt, Seen, Told, Verdict, Wish, Wishes, Word};
use crate::notes::statistics::median;
use crate::notes::{Bend, Note, NoteFinder, SLOWEST_CLIMB_CENTS_PER_S};
use crate::pitch::Reading;
use crate::units::{A4, FrameTime, SampleRate};

/// A rise has stopped when it has stood for this long, ms, and for so many times what it took over 20 cents: a shorter pause in a slow climb is a
/// hesitation, and on the way up its last cents lie as close together as those of a hold.
const STOPPED_MS: f64 = 60.0;
const STOPPED_TIMES: f64 = 1.5;

/// A climb that took so long over 20 cents, ms, has not stopped while it still creeps up: a rise that rushes and then crawls is one.
const SLOW_CROSSING_MS: f64 = 100.0;

/// The hold may begin to grow when the pitch has stayed for this long, ms.
const ARRIVED_MS: f64 = 60.0;

/// What the bend reached is said after this much of the hold: the same stretch that the row's arrival rests on, ms.
const SAID_MS: f64 = 150.0;

/// A top that is left sooner may be an overshoot on its way back or the first swing of a vibrato: what it is shows after this, ms.
const SETTLED_MS: f64 = 300.0;

/// A smaller rise may be the first swing of a vibrato, cents.
const SWING_CENTS: f64 = 60.0;

/// Where the release came home is said after this much of the landing, ms.
const HOME_MS: f64 = 100.0;

/// The end of a hold that says whether it sank, ms.
const LATE_MS: f64 = 150.0;

/// Where so many cents more or less would mean another target, the bend is not spoken of before its row: the word could turn out wrong.
const UNSURE_CENTS: f64 = 12.0;

/// A note is looked at this often, and no more than once in this share of its length: a long note costs no more than a short one.
const LOOK_S: f64 = 0.02;
const LOOK_SHARE: f64 = 0.03;

/// Two looks at one note place its beginning this close together, s.
const SAME_NOTE_S: f64 = 0.04;

/// A pitch so soon after a stroke is that stroke's note, s.
const STROKE_TO_PITCH_S: f64 = 0.15;

/// Something seen in a note that still sounds, or has just ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Glimpse {
    /// A note has begun.
    Began(FrameTime),
    /// A bend has arrived; told again when its place is known better.
    Arrived {
        /// Beginning of its note.
        onset: FrameTime,
        /// When it arrived.
        at: FrameTime,
        /// Where it was meant to start from, cents on the MIDI scale.
        origin_cents: Option<f64>,
        /// What it was meant to reach, cents on the MIDI scale.
        target_cents: Option<f64>,
    },
    /// The hold is over.
    HoldEnded(FrameTime),
    /// The words so far.
    Said(Verdict),
}

/// Watches the readings of the eye's tracker.
pub struct Provisional {
    rate: SampleRate,
    wishes: Box<dyn Wishes + Send>,
    finder: NoteFinder,
    /// When the sounding note was last looked at.
    looked: FrameTime,
    /// The last note that was told to have begun.
    began: Option<FrameTime>,
    said: Option<Said>,
    bends: u32,
}

/// What was already said of one bend.
#[derive(Clone, Copy, Debug)]
struct Said {
    onset: FrameTime,
    bend: usize,
    number: u32,
    arrived: bool,
    ended: bool,
    verdict: Verdict,
}

impl Provisional {
    /// For one take. `wishes` answers as the grader's does.
    #[must_use]
    pub fn new(rate: SampleRate, a4: A4, wishes: Box<dyn Wishes + Send>) -> Self {
        let finder = NoteFinder::new(rate, a4);
        Self { rate, wishes, finder, looked: FrameTime(0), began: None, said: None, bends: 0 }
    }

    /// A string was struck.
    pub fn stroke(&mut self, at: FrameTime, emit: &mut dyn FnMut(Glimpse)) {
        let mut ended = Vec::new();
        self.finder.attack(at, &mut |note| ended.push(note));
        self.look_at(&ended, true, emit);
        self.begin(at, emit);
    }

    /// Something was told while the take is heard.
    pub fn told(&mut self, told: Told) {
        self.wishes.told(told);
    }

    /// An attempt has its row: what is wanted next may be something else.
    pub fn graded(&mut self, attempt: &Attempt) {
        self.wishes.graded(attempt);
    }

    /// Sound was lost.
    pub fn lost(&mut self, at: FrameTime, emit: &mut dyn FnMut(Glimpse)) {
        let mut ended = Vec::new();
        self.finder.lost(at, &mut |note| ended.push(note));
        self.look_at(&ended, true, emit);
    }

    /// The next reading of the causal tracker.
    pub fn reading(&mut self, reading: &Reading, emit: &mut dyn FnMut(Glimpse)) {
        let sounded = self.finder.sounding_since();
        let mut notes = Vec::new();
        self.finder.reading(reading, &mut |note| notes.push(note));
        self.look_at(&notes, true, emit);
        let Some(onset) = self.finder.sounding_since() else { return };
        if sounded.is_none() {
            self.looked = reading.at;
            if self.began.is_none_or(|began| onset.since(began).seconds(self.rate) > STROKE_TO_PITCH_S) {
                self.begin(onset, emit);
            }
        }
        let long = reading.at.since(onset).seconds(self.rate);
        if reading.at.since(self.looked).seconds(self.rate) >= LOOK_S.max(LOOK_SHARE * long) {
            self.looked = reading.at;
            notes.clear();
            self.finder.so_far(&mut |note| notes.push(note));
            self.look_at(&notes, false, emit);
        }
    }

    fn begin(&mut self, at: FrameTime, emit: &mut dyn FnMut(Glimpse)) {
        self.began = Some(at);
        if self.wishes.listens(at.seconds(self.rate)) {
            emit(Glimpse::Began(at));
        }
    }

    /// `over`: the last of the notes has ended too.
    fn look_at(&mut self, notes: &[Note], over: bool, emit: &mut dyn FnMut(Glimpse)) {
        for (k, note) in notes.iter().enumerate() {
            if !self.wishes.listens(note.onset.seconds(self.rate)) {
                continue;
            }
            let Some(look) = Look::at(note, f32::NEG_INFINITY) else { continue };
            let mut bends = look.bends.clone();
            let onset_s = note.onset.seconds(self.rate);
            let unbent = bends.is_empty() && look.shape.moves.is_empty();
            if unbent && (self.wishes.wants_pre_bend(onset_s) || self.wishes.wants_plain(onset_s)) {
                bends.extend(look.held_throughout());
            }
            let over = over || k + 1 < notes.len();
            for (index, bend) in bends.iter().enumerate().filter(|(_, bend)| over || has_stopped(&look, bend)) {
                if let Some(played) = Played::of(&look.shape, bend, look.attack, look.end, None) {
                    let glance = Glance { note, look: &look, played: &played, over };
                    self.tell(&glance, index, emit);
                }
            }
        }
    }

    fn tell(&mut self, glance: &Glance<'_>, bend: usize, emit: &mut dyn FnMut(Glimpse)) {
        let Some(mut said) = self.said_of(glance, bend) else { return };
        let contour = &glance.note.contour;
        let seen = Seen {
            attempt: said.number,
            onset_s: glance.note.onset.seconds(self.rate),
            arrival_s: contour.seconds(glance.played.arrival.at),
            held_until_s: contour.seconds(glance.played.hold.to),
            origin_cents: glance.played.before.map(|before| before.origin.unwrap_or(before.lowest)),
            held_cents: glance.played.hold.level,
            technique: glance.played.technique,
            steady_origin: glance.played.has_steady_origin(),
        };
        let wish = self.wishes.wish(&seen);
        if wish.after_the_end {
            return;
        }
        let from = seen.origin_cents.or_else(|| glance.played.release.and_then(|release| release.landing));
        let meant = meant(&wish, from, glance.played.arrival.level);
        let before = said.verdict;
        let frame = |position: f64| self.rate.span(contour.seconds(position));
        let elsewhere = |off: f64| super::target::meant(&wish, from, glance.played.arrival.level + off).target != meant.target;
        let unsure = elsewhere(UNSURE_CENTS) || elsewhere(-UNSURE_CENTS);
        let elsewhere = Word::of_standing(wish.standing(meant.target));
        let words = glance.words(&meant, elsewhere, &wish);
        let words = if unsure { Verdict { arrival: None, hold: None, ..words } } else { words };
        if glance.has_arrived() && (!said.arrived || before.arrival.is_none() && words.arrival.is_some()) {
            said.arrived = true;
            let at = FrameTime(frame(glance.played.arrival.at).0);
            emit(Glimpse::Arrived { onset: glance.note.onset, at, origin_cents: meant.origin, target_cents: meant.target });
        }
        said.verdict.arrival = before.arrival.or(words.arrival);
        if said.arrived && !said.ended && glance.is_let_go() {
            said.ended = true;
            emit(Glimpse::HoldEnded(FrameTime(frame(glance.played.hold.to).0)));
            // Only the whole hold says that it sank.
            said.verdict.hold = words.hold;
        }
        said.verdict.release = before.release.or(words.release);
        if said.verdict != before {
            emit(Glimpse::Said(said.verdict));
        }
        self.said = Some(said);
        self.bends = said.number;
    }

    /// What was said of this bend; `None` when a later one was already spoken of.
    fn said_of(&mut self, glance: &Glance<'_>, bend: usize) -> Option<Said> {
        let onset = glance.note.onset;
        if let Some(said) = self.said {
            let apart = (onset.seconds(self.rate) - said.onset.seconds(self.rate)).abs();
            if apart < SAME_NOTE_S && bend == said.bend {
                return Some(said);
            }
            if apart < SAME_NOTE_S && bend < said.bend || apart >= SAME_NOTE_S && onset < said.onset {
                return None;
            }
        }
        // A rise that has not stopped yet is none to speak of.
        if !glance.has_arrived() {
            return None;
        }
        Some(Said { onset, bend, number: self.bends + 1, arrived: false, ended: false, verdict: Verdict::default() })
    }
}

/// Whether a bend has stopped rising, as far as its note goes.
fn has_stopped(look: &Look, bend: &Bend) -> bool {
    let Some(rise) = bend.rise.as_ref().filter(|_| bend.release.is_none()) else { return true };
    let shape = &look.shape;
    let ms = |hops: usize| hops as f64 * shape.hop_ms;
    let cents = (shape.smooth[rise.end - 1] - shape.smooth[rise.start]).max(1.0);
    let crossing_ms = 20.0 * ms(rise.len()) / cents;
    let stood_ms = ms(look.end.saturating_sub(rise.end));
    let last = look.end.clamp(rise.end, shape.smooth.len()) - 1;
    let crept = shape.smooth[last] - shape.smooth[rise.end - 1];
    let creeps = crossing_ms > SLOW_CROSSING_MS && crept > SLOWEST_CLIMB_CENTS_PER_S * stood_ms / 1000.0;
    stood_ms >= STOPPED_MS.max(STOPPED_TIMES * crossing_ms) && !creeps
}

/// One bend as far as it has gone.
struct Glance<'a> {
    note: &'a Note,
    look: &'a Look,
    played: &'a Played,
    /// The note has ended.
    over: bool,
}

impl Glance<'_> {
    fn ms_since(&self, position: f64) -> f64 {
        (self.look.end as f64 - position) * self.look.shape.hop_ms
    }

    /// Whether the pitch has stayed for long enough to let the hold grow.
    fn has_arrived(&self) -> bool {
        let arrival = &self.played.arrival;
        let small = self.played.before.and_then(|before| before.origin).is_some_and(|origin| arrival.level - origin < SWING_CENTS);
        let held = if small { self.played.hold.seconds() * 1000.0 } else { self.ms_since(arrival.at) };
        self.over || held >= if small { SAID_MS } else { ARRIVED_MS }
    }

    /// Whether enough of the hold is known, or all there will be.
    fn has_held(&self) -> bool {
        let (since, held) = (self.ms_since(self.played.arrival.at), self.played.hold.seconds() * 1000.0);
        self.over || since >= SETTLED_MS || self.played.release.is_none() && since >= SAID_MS || held >= SAID_MS
    }

    fn is_let_go(&self) -> bool {
        self.over || self.played.release.is_some() && self.has_held()
    }

    /// `elsewhere`: the word on a target that is no tone of the chord.
    fn words(&self, meant: &Meant, elsewhere: Option<Word>, wish: &Wish) -> Verdict {
        let Some(target) = meant.target else { return Verdict::default() };
        let tolerance = wish.tolerance.of_pitch(meant.size(), self.played.arrival.touched_until.is_some());
        // The first 150 ms behind the arrival of a climb over beats still rise.
        let reached = if wish.parts.evenness > 0.0 { self.played.hold.level } else { self.played.arrival.level };
        let arrival_error = counted_error(meant.size(), reached - target);
        let late = self.late_level().filter(|_| self.is_let_go());
        let landing = self.played.release.and_then(|release| {
            let landed = self.over || self.ms_since(release.end?) >= HOME_MS;
            release.landing.filter(|_| landed)
        });
        let home = self.played.before.and_then(|before| before.origin).or(meant.origin);
        Verdict {
            arrival: self.has_held().then(|| elsewhere.unwrap_or_else(|| Word::of_error(arrival_error, tolerance))),
            hold: late
                .filter(|_| elsewhere.is_none())
                .and_then(|late| Verdict::sank(arrival_error, counted_error(meant.size(), late - target), tolerance)),
            release: landing.zip(home).map(|(landing, home)| Word::of_error(landing - home, wish.tolerance.release_cents)),
        }
    }

    /// Settled pitch of the end of the hold, its vibrato taken out.
    fn late_level(&self) -> Option<f64> {
        let calm = self.look.shape.without_vibrato();
        let to = (self.played.hold.to.floor().max(0.0) as usize + 1).min(calm.len());
        let from =
            to.saturating_sub(self.look.shape.hops(LATE_MS)).max(self.played.hold.from.ceil().max(0.0) as usize).min(to.saturating_sub(1));
        median(&calm[from..to])
    }
}
