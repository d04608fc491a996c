//! What landfall itself sounds beside the player, in frames of the take: stretches in which no attempt opens, and beats.
//!
//! The speaker says it before it is heard, the ears ask, the kept take's sidecar holds it. What was once said or answered stays: a stretch begins after the
//! last instant that the rows asked about, a beat lies behind the last one they looked at. So the kept take, which knows all of it from the
//! start, gives the same rows.

use crate::grading::{Attempt, HeardNote, Seen, Told, Wish, Wishes};
use crate::logbook::sidecar::Sidecar;
use crate::sound::card::TakeTime;
use crate::units::{FrameTime, SampleRate};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// No attempt opens until so long after a tone, s.
pub const AFTER_S: f64 = 0.2;

/// Beats that were heard so long ago stay where they are, whoever asks, s.
const STAYS_S: f64 = 3.0;

/// The frame of the output in which beat n after the first is, if there is one.
pub type BeatOf = Box<dyn FnMut(u64) -> Option<FrameTime> + Send>;

/// The same where the output's frames are the take's: beats are counted as far ahead as they are asked for; those before the take are negative.
pub type TakeBeatOf = Box<dyn FnMut(u64) -> Option<i64> + Send>;

/// What the sidecar does not hold yet.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OwnNews {
    /// First frame, and the first one after.
    pub closed: Vec<(u64, u64)>,
    /// Seconds of the take at which beats are heard.
    pub beats: Vec<f64>,
    /// Whether the beats are placed with a known delay.
    pub calibrated: Option<bool>,
}

#[derive(Default)]
struct Inside {
    rate: Option<SampleRate>,
    /// As the card counts takes; 0 where there is no card.
    take: u64,
    heard: u64,
    closed: Vec<(u64, u64)>,
    /// Seconds of the take.
    beats: Vec<f64>,
    calibrated: Option<bool>,
    /// The last frames that the rows asked about.
    asked: Option<u64>,
    asked_beats: Option<f64>,
    told: (usize, usize),
    /// Beats of a run whose output has the take's own frames.
    same: Option<TakeBeatOf>,
}

/// Shared by speaker, ears and analysis.
#[derive(Default)]
pub struct OwnSound {
    inside: Mutex<Inside>,
    time: Option<TakeTime>,
    /// All of it was read from a kept take.
    remembered: bool,
}

impl OwnSound {
    /// Beside a card.
    #[must_use]
    pub fn beside(time: TakeTime) -> Arc<Self> {
        Arc::new(Self { time: Some(time), ..Self::default() })
    }

    /// Beside a source whose frames are the output's frames too: a recorded take, the synthesiser.
    #[must_use]
    pub fn beside_take() -> Arc<Self> {
        Arc::default()
    }

    /// As a kept take remembers it.
    #[must_use]
    pub fn of(sidecar: &Sidecar) -> Arc<Self> {
        let closed = sidecar.own_sound.iter().map(|gap| (gap.at_frame, gap.at_frame.saturating_add(gap.frames))).collect();
        let inside = Inside { closed, beats: sidecar.beats_at.clone(), calibrated: sidecar.calibrated, ..Inside::default() };
        Arc::new(Self { inside: Mutex::new(inside), time: None, remembered: true })
    }

    fn locked(&self) -> MutexGuard<'_, Inside> {
        self.inside.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Another take begins: its frames count anew. A kept take's memory stays: it is that take, heard again.
    pub fn begin_take(&self, rate: SampleRate) {
        let take = self.time.as_ref().and_then(TakeTime::now).map_or(0, |now| now.take);
        let mut inside = self.locked();
        if self.remembered {
            inside.rate = Some(rate);
            return;
        }
        let (calibrated, same) = (inside.calibrated, inside.same.take());
        *inside = Inside { rate: Some(rate), take, calibrated, same, ..Inside::default() };
    }

    /// The analysis has heard everything before `at`.
    pub fn heard(&self, at: FrameTime) {
        let mut inside = self.locked();
        inside.heard = at.0;
        let at_s = inside.rate.map_or(0.0, |rate| at.seconds(rate));
        inside.extend(at_s);
    }

    /// Number, rate and length so far of the take under way; `None` before it has begun.
    #[must_use]
    pub fn take(&self) -> Option<(u64, SampleRate, FrameTime)> {
        let inside = self.locked();
        inside.rate.map(|rate| (inside.take, rate, FrameTime(inside.heard)))
    }

    /// A tone sounds from `from` to `to`: until [`AFTER_S`] later no attempt opens. Said late, it begins after what was already judged.
    pub fn close(&self, from: i64, to: i64) {
        let mut inside = self.locked();
        let Some(rate) = inside.rate else { return };
        let least = inside.asked.map_or(0, |asked| asked + 1);
        let from = (from.max(0) as u64).max(least);
        let to = to.max(0) as u64 + rate.span(AFTER_S).0;
        if to > from {
            inside.closed.push((from, to));
        }
    }

    /// The next beat lies at this frame; negative before the take. Its number; `None` before a take has begun.
    pub fn beat(&self, at: i64) -> Option<usize> {
        self.locked().beat(at)
    }

    /// A beat lies at this frame, as is known better by now. False where it stays as it was: the rows looked at it, or it is long past.
    pub fn move_beat(&self, number: usize, at: i64) -> bool {
        self.locked().move_beat(number, at)
    }

    /// Whether beats are placed with a known delay.
    pub fn set_calibrated(&self, calibrated: bool) {
        self.locked().calibrated = Some(calibrated);
    }

    /// Beats whose frames are the take's own.
    pub fn set_beats(&self, beats: TakeBeatOf) {
        self.locked().same = Some(beats);
    }

    /// Whether the beats of this take are placed with a known delay; `None` where nothing was played.
    #[must_use]
    pub fn calibrated(&self) -> Option<bool> {
        self.locked().calibrated
    }

    /// The instants of all beats up to `until_s`, seconds of the take, from the first one on. For the rows: what was answered stays, so the kept take gives
    /// the same.
    #[must_use]
    pub fn beats(&self, until_s: f64) -> Vec<f64> {
        let mut inside = self.locked();
        inside.extend(until_s);
        inside.asked_beats = Some(inside.asked_beats.map_or(until_s, |asked| asked.max(until_s)));
        inside.beats.iter().copied().take_while(|beat| *beat <= until_s).collect()
    }

    /// The frame of the first beat, negative before the take; `None` while it is not known. The answer stays.
    #[must_use]
    pub fn first_beat(&self) -> Option<i64> {
        let mut inside = self.locked();
        let (rate, first_s) = inside.rate.zip(inside.beats.first().copied())?;
        inside.asked_beats = Some(inside.asked_beats.map_or(first_s, |asked_s| asked_s.max(first_s)));
        Some((first_s * rate.as_f64()).round() as i64)
    }

    /// Whether a note that begins at this instant may be an attempt, for the rows: the answer stays.
    #[must_use]
    pub fn listens(&self, at_s: f64) -> bool {
        let mut inside = self.locked();
        let at = inside.frame(at_s);
        inside.asked = inside.asked.max(Some(at));
        inside.is_open(at)
    }

    /// The same for the eye: the answer may change.
    #[must_use]
    pub fn listens_for_now(&self, at_s: f64) -> bool {
        let inside = self.locked();
        inside.is_open(inside.frame(at_s))
    }

    /// What was said since this was last asked, and stays.
    #[must_use]
    pub fn news(&self) -> Option<OwnNews> {
        self.locked().news(Inside::stays)
    }

    /// The same at the end of the take: beats that might still move stay where they are.
    #[must_use]
    pub fn last_news(&self) -> Option<OwnNews> {
        self.locked().news(|_, _| true)
    }

    /// `wishes` that do not listen while landfall's own tones sound.
    #[must_use]
    pub fn hushed<W: Wishes>(self: &Arc<Self>, wishes: W) -> Hushed<W> {
        Hushed { wishes, own: Arc::clone(self), stays: true }
    }

    /// The same for the eye.
    #[must_use]
    pub fn hushed_for_the_eye<W: Wishes>(self: &Arc<Self>, wishes: W) -> Hushed<W> {
        Hushed { wishes, own: Arc::clone(self), stays: false }
    }
}

impl Inside {
    fn frame(&self, at_s: f64) -> u64 {
        self.rate.map_or(0, |rate| rate.span(at_s).0)
    }

    fn is_open(&self, at: u64) -> bool {
        !self.closed.iter().any(|(from, to)| (*from..*to).contains(&at))
    }

    /// The instant of a beat at this frame, behind all that was looked at.
    fn beat_s(&self, at: i64, rate: SampleRate) -> f64 {
        let first_free = self.asked_beats.map_or(i64::MIN, |asked_s| (asked_s * rate.as_f64()).floor() as i64 + 1);
        at.max(first_free) as f64 / rate.as_f64()
    }

    fn beat(&mut self, at: i64) -> Option<usize> {
        let beat_s = self.beat_s(at, self.rate?);
        self.beats.push(beat_s);
        Some(self.beats.len() - 1)
    }

    fn move_beat(&mut self, number: usize, at: i64) -> bool {
        let Some((rate, was_s)) = self.rate.zip(self.beats.get(number).copied()) else { return false };
        let moves = number >= self.told.1 && !self.stays(was_s);
        if moves {
            self.beats[number] = self.beat_s(at, rate);
        }
        moves
    }

    /// Whether a beat at this instant is not moved any more.
    fn stays(&self, beat_s: f64) -> bool {
        let heard_s = self.rate.map_or(0.0, |rate| FrameTime(self.heard).seconds(rate));
        self.same.is_some() || self.asked_beats.is_some_and(|asked_s| beat_s <= asked_s) || beat_s <= heard_s - STAYS_S
    }

    fn news(&mut self, stays: impl Fn(&Self, f64) -> bool) -> Option<OwnNews> {
        let (closed, beats) = self.told;
        let settled = beats + self.beats[beats..].iter().take_while(|beat_s| stays(self, **beat_s)).count();
        if (closed, beats) == (self.closed.len(), settled) {
            return None;
        }
        self.told = (self.closed.len(), settled);
        Some(OwnNews { closed: self.closed[closed..].to_vec(), beats: self.beats[beats..settled].to_vec(), calibrated: self.calibrated })
    }

    /// Counts beats that have the take's own frames, two seconds beyond `until_s`.
    fn extend(&mut self, until_s: f64) {
        let Some(rate) = self.rate else { return };
        let Some(mut beats) = self.same.take() else { return };
        while self.beats.last().is_none_or(|last| *last <= until_s + 2.0) {
            let Some(at) = beats(self.beats.len() as u64) else { break };
            self.beats.push(at as f64 / rate.as_f64());
        }
        self.same = Some(beats);
    }
}

/// Wishes beside landfall's own sound.
#[derive(Clone)]
pub struct Hushed<W> {
    wishes: W,
    own: Arc<OwnSound>,
    stays: bool,
}

impl<W: Wishes> Wishes for Hushed<W> {
    fn wish(&mut self, seen: &Seen) -> Wish {
        self.wishes.wish(seen)
    }

    fn wants_pre_bend(&mut self, at_s: f64) -> bool {
        self.wishes.wants_pre_bend(at_s)
    }

    fn listens(&mut self, at_s: f64) -> bool {
        let open = if self.stays { self.own.listens(at_s) } else { self.own.listens_for_now(at_s) };
        open && self.wishes.listens(at_s)
    }

    fn wants_plain(&mut self, at_s: f64) -> bool {
        self.wishes.wants_plain(at_s)
    }

    fn graded(&mut self, attempt: &Attempt) {
        self.wishes.graded(attempt);
    }

    fn told(&mut self, told: Told) {
        self.wishes.told(told);
    }

    fn heard(&mut self, note: &HeardNote) {
        self.wishes.heard(note);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::sidecar::Gap;

    fn begun() -> Arc<OwnSound> {
        let own = OwnSound::beside_take();
        own.begin_take(SampleRate::new(1000).unwrap());
        own
    }

    fn remembered(own: &OwnSound) -> Arc<OwnSound> {
        let news = own.last_news().unwrap_or_default();
        let own_sound = news.closed.iter().map(|(from, to)| Gap { at_frame: *from, frames: to - from }).collect();
        let again = OwnSound::of(&Sidecar { own_sound, beats_at: news.beats, calibrated: news.calibrated, ..Sidecar::default() });
        again.begin_take(SampleRate::new(1000).unwrap());
        again
    }

    #[test]
    fn no_attempt_opens_while_a_tone_sounds_and_200_ms_after() {
        let own = begun();
        own.close(1000, 3000);
        let heard: Vec<bool> = [0.999, 1.0, 2.999, 3.199, 3.2].iter().map(|at_s| own.listens(*at_s)).collect();
        assert_eq!(heard, [true, false, false, false, true]);
    }

    #[test]
    fn what_was_answered_stays_so_when_a_tone_is_said_late() {
        let own = begun();
        assert!(own.listens(1.5) && own.listens_for_now(2.5));
        own.close(1000, 3000);
        let instants = [0.5, 1.2, 1.5, 1.501, 2.5, 3.5];
        let live: Vec<bool> = instants.iter().map(|at_s| own.listens(*at_s)).collect();
        assert_eq!(live, [true, true, true, false, false, true]);
        let again = remembered(&own);
        assert_eq!(instants.iter().map(|at_s| again.listens(*at_s)).collect::<Vec<_>>(), live);
    }

    #[test]
    fn beats_that_were_looked_at_stay_as_they_were() {
        let own = begun();
        own.set_calibrated(true);
        for beat in [-500, 0, 500, 1000] {
            own.beat(beat);
        }
        let before = own.beats(0.7);
        assert_eq!(before, [-0.5, 0.0, 0.5]);
        own.beat(600);
        assert_eq!(own.beats(0.7), before);
        let again = remembered(&own);
        assert_eq!(again.beats(0.7), before);
        assert_eq!(again.beats(5.0), own.beats(5.0));
        assert_eq!(again.calibrated(), Some(true));
    }

    #[test]
    fn a_beat_moves_until_somebody_looked_at_it_or_it_is_long_past() {
        let own = begun();
        assert_eq!(OwnSound::beside_take().beat(500), None, "no take has begun");
        let numbers: Vec<usize> = [500, 1000, 1500, 9000].iter().filter_map(|at| own.beat(*at)).collect();
        assert_eq!(numbers, [0, 1, 2, 3]);
        assert_eq!(own.news(), None, "nothing stays yet");
        assert!(own.move_beat(0, 510) && own.move_beat(1, 1010));
        assert_eq!(own.beats(0.8), [0.51]);
        assert!(!own.move_beat(0, 520), "it was looked at");
        assert!(own.move_beat(1, 700), "not behind what was looked at");
        own.heard(FrameTime(4600));
        assert!(!own.move_beat(2, 1510), "it is long past");
        assert!(own.move_beat(3, 9010));
        let told = own.news().unwrap().beats;
        assert_eq!((told.len(), told[0], told[2]), (3, 0.51, 1.5));
        assert!(told[1] > 0.8);
        assert_eq!(own.last_news().unwrap().beats, [9.01]);
        assert!(!own.move_beat(3, 9020), "it was told");
    }

    #[test]
    fn beside_a_recorded_take_beats_are_known_however_fast_it_is_heard() {
        let own = begun();
        own.set_beats(Box::new(|n| (n < 100).then_some(n as i64 * 250)));
        assert_eq!(own.beats(1.0), [0.0, 0.25, 0.5, 0.75, 1.0]);
        assert_eq!(own.beats(1000.0).len(), 100);
    }
}
