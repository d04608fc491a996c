//! From notes to attempts: the one loop that live runs and graded takes share.

use super::grade::{After, Case};
use super::look::Look;
use super::played::Played;
use super::repick::{REPICK_GAP_S, continues, is_held, joined, repicks_in};
use super::{Attempt, Fault, HeardNote, Seen, Wish, Wishes};
use crate::notes::{Bend, Cause, Contour, Ending, Note, NoteFinder};
use crate::pitch::{Reading, hop_frames};
use crate::units::{A4, FrameTime, SampleRate};
use std::collections::VecDeque;

/// A restrike comes within this after the release, or two beats where they are longer, s.
const RESTRIKE_S: f64 = 1.0;

/// A restrike is at the landing pitch within this, cents: a landing may be off by as much as half a semitone.
const RESTRIKE_NEAR_CENTS: f64 = 60.0;

/// How fast the memory of a loud sound fades, dB a second.
const LOUDEST_FALLS_DB_PER_S: f32 = 1.0;

/// What kind of trouble a stretch of sound had.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// Louder than full scale.
    Clipped,
    /// Frames were lost.
    Lost,
    /// NaN or infinity.
    Invalid,
}

/// Grades a take: readings and attacks in, attempts out, in order. Memory is bounded by the longest note kept.
pub struct Grader<W> {
    rate: SampleRate,
    a4: A4,
    wishes: W,
    finder: NoteFinder,
    /// A bend that was held when its note ended: the next stroke may continue it.
    held: Option<Note>,
    waiting: VecDeque<Waiting>,
    troubles: VecDeque<(FrameTime, FrameTime, Trouble)>,
    attempts: u32,
    /// The loudest of late: falls slowly, so that it is that of the last seconds.
    loudest_dbfs: f32,
}

/// An attempt that waits for its restrike.
struct Waiting {
    contour: Contour,
    played: Played,
    wish: Wish,
    onset: FrameTime,
    end: FrameTime,
    ending: Ending,
    repicks: u32,
    attempt: u32,
    /// A restrike must begin before this; `None`: none can follow.
    until_s: Option<f64>,
    restruck: Option<f64>,
}

impl<W: Wishes> Grader<W> {
    /// A grader for one take.
    #[must_use]
    pub fn new(rate: SampleRate, a4: A4, wishes: W) -> Self {
        let finder = NoteFinder::new(rate, a4);
        Self {
            rate,
            a4,
            wishes,
            finder,
            held: None,
            waiting: VecDeque::new(),
            troubles: VecDeque::new(),
            attempts: 0,
            loudest_dbfs: f32::NEG_INFINITY,
        }
    }

    /// Who says what is wanted.
    pub fn wishes(&mut self) -> &mut W {
        &mut self.wishes
    }

    /// The string was picked: told before the first reading that is not earlier.
    pub fn attack(&mut self, at: FrameTime) {
        let mut notes = Vec::new();
        self.finder.attack(at, &mut |note| notes.push(note));
        self.take_in(notes);
    }

    /// The sound had trouble over this stretch: the attempts that it touches say so.
    pub fn trouble(&mut self, from: FrameTime, to: FrameTime, trouble: Trouble) {
        if let Some(last) = self.troubles.back_mut()
            && last.2 == trouble
            && from.since(last.1).seconds(self.rate) < 0.05
        {
            last.1 = last.1.max(to);
        } else {
            self.troubles.push_back((from, to, trouble));
        }
        if self.troubles.len() > 1000 {
            self.troubles.pop_front();
        }
        if trouble == Trouble::Lost {
            let mut notes = Vec::new();
            self.finder.lost(from, &mut |note| notes.push(note));
            self.take_in(notes);
        }
    }

    /// The next settled reading.
    pub fn reading(&mut self, reading: &Reading, emit: &mut dyn FnMut(Attempt)) {
        let fallen = self.loudest_dbfs - LOUDEST_FALLS_DB_PER_S * hop_frames(self.rate) as f32 / self.rate.hz() as f32;
        self.loudest_dbfs = reading.level_dbfs.map_or(fallen, |level| level.max(fallen));
        let mut notes = Vec::new();
        self.finder.reading(reading, &mut |note| notes.push(note));
        self.take_in(notes);
        let sounding = self.finder.sounding_since();
        if let Some(held) = &self.held
            && sounding.is_none()
            && reading.at.since(held.end).seconds(self.rate) > REPICK_GAP_S
        {
            self.settle_held();
        }
        self.give_out(Some((reading.at, sounding)), emit);
    }

    /// The take has ended: everything left is graded.
    pub fn finish(&mut self, emit: &mut dyn FnMut(Attempt)) {
        let mut notes = Vec::new();
        self.finder.finish(&mut |note| notes.push(note));
        self.take_in(notes);
        self.settle_held();
        self.give_out(None, emit);
    }

    fn take_in(&mut self, notes: Vec<Note>) {
        for note in notes {
            let note = match self.held.take() {
                Some(held) if continues(&held, &note) => joined(held, &note),
                Some(held) => {
                    self.note(&held);
                    note
                }
                None => note,
            };
            self.held = Some(note);
            // Only a bend that is still held can be continued.
            let loudest_dbfs = self.loudest_dbfs;
            if !self.held.as_ref().is_some_and(|held| is_held(held, loudest_dbfs)) {
                self.settle_held();
            }
        }
    }

    fn settle_held(&mut self) {
        if let Some(held) = self.held.take() {
            self.note(&held);
        }
    }

    /// One finished note: may be the restrike of the attempts before, may hold attempts.
    fn note(&mut self, note: &Note) {
        let Some(seen) = Look::at(note, self.loudest_dbfs) else { return };
        self.tell(note, &seen);
        if !self.wishes.listens(note.onset.seconds(self.rate)) {
            return;
        }
        let mut found = seen.bends.clone();
        let onset_s = note.onset.seconds(self.rate);
        if found.is_empty() && seen.shape.moves.is_empty() && (self.wishes.wants_pre_bend(onset_s) || self.wishes.wants_plain(onset_s)) {
            found.extend(seen.held_throughout());
        }
        self.restrike(note, &seen, found.is_empty());
        let last = found.len().saturating_sub(1);
        for (k, bend) in found.iter().enumerate() {
            self.bend(note, &seen, bend, k == last);
        }
    }

    /// Tells what the note was, bent or not. A pitch without a stroke or a finger is another string or the room.
    fn tell(&mut self, note: &Note, look: &Look) {
        if note.cause == Cause::Unheard {
            return;
        }
        let (onset_s, end_s) = (note.onset.seconds(self.rate), note.end.seconds(self.rate));
        let bend = look.bends.last().and_then(|bend| Played::of(&look.shape, bend, look.attack, look.end, None));
        let told = if let Some(played) = bend {
            HeardNote {
                onset_s,
                end_s,
                reached_s: if played.technique.is_pre_bend() { onset_s } else { note.contour.seconds(played.arrival.at) },
                held_until_s: note.contour.seconds(played.hold.to),
                cents: played.hold.level,
                last_cents: played.release.and_then(|release| release.landing).unwrap_or(played.hold.level),
                bent: true,
            }
        } else {
            let cents = look.settled_pitch();
            HeardNote { onset_s, end_s, reached_s: onset_s, held_until_s: end_s, cents, last_cents: cents, bent: false }
        };
        self.wishes.heard(&told);
    }

    fn restrike(&mut self, note: &Note, seen: &Look, is_plain: bool) {
        let onset_s = note.onset.seconds(self.rate);
        for waiting in &mut self.waiting {
            // A note that goes on by hammer or slide into a new bend was not the restrike.
            if note.cause != Cause::Pick
                && !is_plain
                && waiting.restruck.is_some()
                && waiting.end.since(note.onset).0 + note.onset.since(waiting.end).0 < 20 * note.contour.hop().0
            {
                waiting.restruck = None;
            }
            let Some(until_s) = waiting.until_s.take() else { continue };
            let landing = waiting.played.release.and_then(|release| release.landing);
            let near = landing.is_some_and(|landing| (seen.settled_pitch() - landing).abs() <= RESTRIKE_NEAR_CENTS);
            if onset_s <= until_s && note.cause == Cause::Pick && is_plain && near {
                waiting.restruck = Some(seen.settled_pitch());
                waiting.end = note.end;
            }
        }
    }

    fn bend(&mut self, note: &Note, look: &Look, bend: &Bend, is_last: bool) {
        let Some(played) = Played::of(&look.shape, bend, look.attack, look.end, None) else { return };
        let contour = &note.contour;
        let seen = Seen {
            attempt: self.attempts + 1,
            onset_s: note.onset.seconds(self.rate),
            arrival_s: contour.seconds(played.arrival.at),
            held_until_s: contour.seconds(played.hold.to),
            origin_cents: played.before.map(|before| before.origin.unwrap_or(before.lowest)),
            held_cents: played.hold.level,
            technique: played.technique,
            steady_origin: played.has_steady_origin(),
        };
        let wish = self.wishes.wish(&seen);
        if wish.after_the_end {
            return;
        }
        self.attempts += 1;
        let played = match wish.origin {
            Some(origin) => Played::of(&look.shape, bend, look.attack, look.end, Some(origin)).unwrap_or(played),
            None => played,
        };
        let released = played.release.as_ref().map(|release| contour.seconds(release.end.unwrap_or(release.start)));
        let within = RESTRIKE_S.max(2.0 * wish.beat_s.unwrap_or(0.0));
        self.waiting.push_back(Waiting {
            contour: contour.clone(),
            wish,
            onset: note.onset,
            end: note.end,
            ending: note.ending,
            repicks: repicks_in(note, &played),
            attempt: self.attempts,
            until_s: released.filter(|_| is_last).map(|end| end + within),
            restruck: None,
            played,
        });
    }

    /// Hands out, in order, the attempts that nothing can add to. `now`: the last reading, and since when a note sounds.
    fn give_out(&mut self, now: Option<(FrameTime, Option<FrameTime>)>, emit: &mut dyn FnMut(Attempt)) {
        while let Some(first) = self.waiting.front() {
            let waits = match (first.until_s, now) {
                (Some(until_s), Some((at, sounding))) => {
                    let earliest = self.held.as_ref().map(|held| held.onset).or(sounding).unwrap_or(at);
                    earliest.seconds(self.rate) <= until_s
                }
                _ => false,
            };
            if waits {
                break;
            }
            if let Some(waiting) = self.waiting.pop_front() {
                let attempt = self.grade(&waiting);
                self.wishes.graded(&attempt);
                emit(attempt);
            }
        }
    }

    fn grade(&mut self, waiting: &Waiting) -> Attempt {
        while self.troubles.front().is_some_and(|(_, to, _)| *to < waiting.onset) {
            self.troubles.pop_front();
        }
        let touches = |(from, to, _): &&(FrameTime, FrameTime, Trouble)| *from <= waiting.end && *to >= waiting.onset;
        let mut heard: Vec<Fault> = self
            .troubles
            .iter()
            .filter(touches)
            .map(|(_, _, trouble)| match trouble {
                Trouble::Clipped => Fault::Clipped,
                Trouble::Lost => Fault::LostAudio,
                Trouble::Invalid => Fault::InvalidSamples,
            })
            .collect();
        // A hold that was long enough may end as it likes.
        let cut_short = waiting.wish.shortest_hold_s().is_some_and(|least| waiting.played.hold.seconds() < least);
        if waiting.played.release.is_none() && cut_short {
            heard.extend(match waiting.ending {
                Ending::Gated => Some(Fault::Gated),
                Ending::RangOut => Some(Fault::RangOut),
                Ending::LetGo => Some(Fault::LetGo),
                _ => None,
            });
        }
        let case = Case {
            attempt: waiting.attempt,
            onset: waiting.onset,
            contour: &waiting.contour,
            played: &waiting.played,
            repicks: waiting.repicks,
            after: After { restruck: waiting.restruck, end: waiting.end },
            a4: self.a4,
            heard,
        };
        case.grade(&waiting.wish)
    }
}
