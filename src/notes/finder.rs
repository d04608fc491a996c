//! From readings and attacks to notes, one after the other, for hours.

use super::clean::clean;
use super::contour::Contour;
use super::note::{Cause, Ending, Note};
use super::steps::steps;
use super::{BRIDGED_GAP_S, LONGEST_NOTE_S};
use crate::pitch::{Reading, Sounding, hop_frames};
use crate::units::{A4, FrameSpan, FrameTime, SampleRate};

/// A note shorter than this is none, s.
const SHORTEST_NOTE_S: f64 = 0.04;

/// An attack so early in the take may be the beginning of the recording, s.
const OPENING_S: f64 = 0.02;

/// After an attack a pitch must follow within this, s.
const ATTACK_TO_PITCH_S: f64 = 0.15;

/// Finds notes. Takes the settled readings in order, each attack before the first reading that is not earlier than it, and hands
/// out each note when it has ended. Keeps at most [`LONGEST_NOTE_S`] of one note.
#[derive(Debug)]
pub struct NoteFinder {
    rate: SampleRate,
    hop: FrameSpan,
    a4: A4,
    open: Option<Open>,
    attack: Option<FrameTime>,
    /// The last stroke: what is read just before it has heard it already.
    struck_at: Option<FrameTime>,
}

/// A note that still sounds.
#[derive(Debug)]
struct Open {
    onset: FrameTime,
    cause: Cause,
    contour: Contour,
    /// Points since the last pitch.
    hole: usize,
    pitched: usize,
    silent: bool,
}

impl NoteFinder {
    /// A finder for a take at `rate`, whose pitches are counted against `a4`.
    #[must_use]
    pub fn new(rate: SampleRate, a4: A4) -> Self {
        Self { rate, hop: FrameSpan(hop_frames(rate) as u64), a4, open: None, attack: None, struck_at: None }
    }

    /// Where the note that still sounds began.
    #[must_use]
    pub fn sounding_since(&self) -> Option<FrameTime> {
        self.open.as_ref().map(|open| open.onset)
    }

    /// The contour of the note that still sounds.
    #[must_use]
    pub fn sounding(&self) -> Option<&Contour> {
        self.open.as_ref().map(|open| &open.contour)
    }

    /// The notes that the sound so far makes, as if it ended here: the last one still sounds, the ones before it were ended by a finger.
    pub fn so_far(&self, emit: &mut dyn FnMut(Note)) {
        if let Some(open) = &self.open {
            let end = open.contour.start() + FrameSpan(self.hop.0 * open.contour.len() as u64);
            self.close(open, end, Ending::TakeEnded, emit);
        }
    }

    /// The string was picked.
    pub fn attack(&mut self, at: FrameTime, emit: &mut dyn FnMut(Note)) {
        self.struck_at = Some(at);
        if let Some(open) = self.open.take() {
            let ending = if open.hole == 0 { Ending::NextNote } else { Ending::LetGo };
            self.close(&open, at, ending, emit);
        }
        // At the very beginning a stroke and a cut into a sounding string look alike.
        self.attack = (at.seconds(self.rate) > OPENING_S).then_some(at);
    }

    /// Sound was lost: whatever sounded ends here.
    pub fn lost(&mut self, at: FrameTime, emit: &mut dyn FnMut(Note)) {
        if let Some(open) = self.open.take() {
            self.close(&open, at, Ending::LostAudio, emit);
        }
        self.attack = None;
    }

    /// The next reading.
    pub fn reading(&mut self, reading: &Reading, emit: &mut dyn FnMut(Note)) {
        let cents = reading.hz().map(|hz| self.a4.cents(hz));
        if self.open.is_none() {
            if cents.is_none() {
                return;
            }
            let recent = self.attack.take().filter(|at| reading.at.since(*at).seconds(self.rate) < ATTACK_TO_PITCH_S);
            let onset = recent.unwrap_or(reading.at);
            let cause = if recent.is_some() { Cause::Pick } else { Cause::Unheard };
            self.open =
                Some(Open { onset, cause, contour: Contour::new(reading.at, self.hop, self.rate), hole: 0, pitched: 0, silent: false });
        }
        let Some(open) = self.open.as_mut() else { return };
        let clarity = if let Sounding::Pitched { clarity, .. } = reading.sounding { clarity } else { 0.0 };
        open.contour.push(cents, clarity, reading.level_dbfs);
        if cents.is_some() {
            open.hole = 0;
            open.pitched += 1;
            open.silent = false;
        } else {
            open.hole += 1;
            open.silent = reading.sounding == Sounding::Silent;
        }
        let (hole_s, note_s) = (open.hole as f64 * open.contour.hop_s(), open.contour.len() as f64 * open.contour.hop_s());
        if hole_s > BRIDGED_GAP_S
            && let Some(open) = self.open.take()
        {
            self.close(&open, reading.at, Ending::RangOut, emit);
        } else if note_s > LONGEST_NOTE_S
            && let Some(open) = self.open.take()
        {
            self.close(&open, reading.at, Ending::TooLong, emit);
        }
    }

    /// The take has ended.
    pub fn finish(&mut self, emit: &mut dyn FnMut(Note)) {
        if let Some(open) = self.open.take() {
            let end = open.contour.start() + FrameSpan(self.hop.0 * open.contour.len() as u64);
            self.close(&open, end, Ending::TakeEnded, emit);
        }
    }

    /// Ends a note, takes its damped end off, and cuts it where fingers made new notes of it.
    fn close(&self, open: &Open, until: FrameTime, ending: Ending, emit: &mut dyn FnMut(Note)) {
        let mut whole = open.contour.part(0..open.contour.len() - open.hole);
        forget_the_stroke(&mut whole, open.onset);
        let mut whole = whole.part(0..sure_end(&whole));
        if self.struck_at == Some(until) {
            forget_before(&mut whole, until);
        }
        if whole.len() as f64 * whole.hop_s() < SHORTEST_NOTE_S || open.pitched * 2 < whole.len() {
            return;
        }
        let (kept, how) = damped_end(&whole);
        let ending = match (ending, how) {
            (Ending::RangOut, Some(damped)) => damped,
            (other, _) => other,
        };
        let contour = whole.part(0..kept);
        let end = (contour.start() + FrameSpan(self.hop.0 * kept as u64)).min(until);
        let mut from = 0;
        let mut cause = open.cause;
        let blended = contour.hops(BLENDED_MS).round() as usize;
        let hop = self.hop;
        let instant = |point: usize| if point == 0 { open.onset } else { contour.start() + FrameSpan(hop.0 * point as u64) };
        for leap in leaps(&contour) {
            let mut part = contour.part(from..leap);
            forget_before(&mut part, instant(leap));
            self.cut_at_steps(&part, instant(from), cause, (instant(leap), Ending::HandedOver), emit);
            (from, cause) = ((leap + blended).min(contour.len()), Cause::Unheard);
        }
        self.cut_at_steps(&contour.part(from..contour.len()), instant(from), cause, (end, ending), emit);
    }

    /// Hands out a note, or the notes that fingers made of it.
    fn cut_at_steps(&self, contour: &Contour, picked: FrameTime, by: Cause, end: (FrameTime, Ending), emit: &mut dyn FnMut(Note)) {
        let hop_ms = 1000.0 * contour.hop_s();
        let curve = clean(contour.cents(), hop_ms);
        let mut from = 0;
        let (mut onset, mut cause) = (picked, by);
        let mut send = |onset, (end, ending), cause, part: Contour| {
            if part.len() as f64 * part.hop_s() >= SHORTEST_NOTE_S {
                emit(Note { onset, end, cause, ending, contour: part, repicks: Vec::new() });
            }
        };
        for step in steps(&curve, hop_ms) {
            let at = FrameTime(((contour.start().0 as f64) + step.onset * self.hop.0 as f64).round() as u64);
            let cut = step.span.start.max(from + 1);
            let begin = from;
            from = step.span.end.min(contour.len() - 1);
            // What steps under the pick is the stroke: the note that follows is the one that was picked.
            if at.since(picked).seconds(self.rate) * 1000.0 < STROKE_MS && onset == picked {
                continue;
            }
            send(onset, (at, Ending::NextNote), cause, contour.part(begin..cut));
            (onset, cause) = (at, step.cause);
        }
        send(onset, end, cause, contour.part(from..contour.len()));
    }
}

/// The points at which the pitch leaps by more than a hand does and does not come back: the tracker went over to another sound.
fn leaps(contour: &Contour) -> Vec<usize> {
    let cents = clean(contour.cents(), 1000.0 * contour.hop_s());
    let near = contour.hops(12.0).round() as usize;
    let mut found = Vec::new();
    let mut i = near;
    while i + near < cents.len() {
        if (cents[i + near] - cents[i - near]).abs() > LEAP_CENTS {
            found.push(i);
            i += 2 * near;
        }
        i += 1;
    }
    found
}

/// A fourth and more in one step is another string or another sound, not a finger on this one, cents.
const LEAP_CENTS: f64 = 560.0;

/// How long a stroke may hide the pitch, ms.
const STROKE_MS: f64 = 70.0;

/// Where the tracker is so much less sure than over the note, what it says is the stroke's, or the room's.
const SURE: f32 = 0.8;

/// While the pick is on the string there is no pitch, but the tracker may say one: forgets what it says until it is as sure as it
/// is over the note.
fn forget_the_stroke(contour: &mut Contour, onset: FrameTime) {
    let attack = contour.position(onset).max(0.0) as usize;
    let hops = |ms: f64| contour.hops(ms).round() as usize;
    let reach = (attack + hops(STROKE_MS)).min(contour.len());
    let usual = usual_clarity(&contour.clarities()[reach.min(contour.len())..(reach + hops(150.0)).min(contour.len())]);
    let Some(least) = usual.map(|clarity| SURE * clarity) else { return };
    let sure = |k: usize| contour.clarities()[k] >= least;
    let first = (attack..reach).find(|&k| (k..(k + 3).min(reach)).all(sure)).unwrap_or(reach);
    for k in 0..first {
        contour.forget(k);
    }
}

/// One behind the last point at which the tracker is still as sure as it was over the note's last quarter of a second.
fn sure_end(contour: &Contour) -> usize {
    let n = contour.len();
    let hops = |ms: f64| contour.hops(ms).round() as usize;
    let from = n.saturating_sub(hops(350.0));
    let Some(usual) = usual_clarity(&contour.clarities()[from..n.saturating_sub(hops(80.0)).max(from)]) else { return n };
    let sure = |k: usize| contour.clarities()[k] >= SURE * usual;
    (from..n).rev().find(|&k| (k.saturating_sub(2)..=k).all(sure)).map_or(n, |k| k + 1)
}

/// After the tracker went over to another sound, its readings blend the two for this long, ms.
const BLENDED_MS: f64 = 50.0;

/// A reading is the mean over at least this to either side, ms, and over so many periods.
const READING_HALF_MS: f64 = 12.0;
const READING_HALF_PERIODS: f64 = 2.5;

/// Forgets what was read with the stroke at `until` already in the window.
fn forget_before(contour: &mut Contour, until: FrameTime) {
    let Some(cents) = contour.cents().iter().rev().copied().find(|c| c.is_finite()) else { return };
    let period_ms = 1000.0 / A4::default().hz_of(cents);
    let reach = contour.hops(READING_HALF_MS.max(READING_HALF_PERIODS * period_ms));
    let from = (contour.position(until) - reach).max(1.0).floor() as usize;
    for k in from..contour.len() {
        contour.forget(k);
    }
}

/// The median clarity where there is a pitch.
fn usual_clarity(clarities: &[f32]) -> Option<f32> {
    let pitched: Vec<f64> = clarities.iter().filter(|c| **c > 0.0).map(|c| f64::from(*c)).collect();
    super::statistics::median(&pitched).map(|clarity| clarity as f32)
}

/// Points that are left when a damped end is taken off, and how it was damped: a string dies by some dB in 40 ms at most, a finger
/// or a gate takes it away at once.
fn damped_end(contour: &Contour) -> (usize, Option<Ending>) {
    let levels = contour.levels();
    let hops = |ms: f64| contour.hops(ms).round() as usize;
    let (near, far) = (hops(15.0), hops(60.0));
    let n = levels.len();
    if n <= far + 1 {
        return (n, None);
    }
    let falls = |k: usize| {
        let before = &levels[k.saturating_sub(far)..k.saturating_sub(near).max(1)];
        let mean = before.iter().sum::<f32>() / before.len() as f32;
        levels[k] < mean - 3.0
    };
    let mut kept = n;
    while kept > far + 1 && n - kept < hops(150.0) && falls(kept - 1) {
        kept -= 1;
    }
    let drop = levels[kept - 1] - levels[n - 1];
    let how = (kept < n && drop > 9.0).then(|| if levels[n - 1].is_infinite() { Ending::Gated } else { Ending::LetGo });
    (kept, how)
}
