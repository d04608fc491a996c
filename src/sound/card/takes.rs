//! The card's rings, one after another, as takes: a short outage is a loss inside a take, a long one or another rate ends it.

use super::{CardNotice, Pulse, TakeTime};
use crate::sound::{Arriving, Format, Heard, Origin, RingSource, SoundError, Source, Takes};
use crossbeam_channel::{Receiver, Sender};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, OnceLock, PoisonError};

/// An outage of more than so many seconds ends the take.
pub(super) const OUTAGE_S: f64 = 2.0;

/// A stream that was opened: its ring, and how long nothing was heard before it.
pub(super) struct Part {
    pub(super) ring: RingSource,
    pub(super) pulse: Arc<Pulse>,
    /// Seconds since the sound before it; `None` for the first.
    pub(super) away_s: Option<f64>,
}

/// Exact zeros for so long are no quiet room: an open input always has some noise. A device that another one has silently taken the place
/// of looks like this, and so does a muted one.
const DEAD_S: f64 = 5.0;

struct Inside {
    parts: Receiver<Part>,
    notice: Sender<CardNotice>,
    /// Frames of exact zeros in a row.
    zeros: u64,
    /// Set by the watcher while nothing has come for longer than [`OUTAGE_S`].
    outage: Arc<AtomicBool>,
    /// Set by the watcher when nothing more is to be taken from the card.
    refused: Arc<OnceLock<SoundError>>,
    current: Option<(RingSource, Arc<Pulse>)>,
    next: Option<Part>,
    over: bool,
    time: TakeTime,
    takes: u64,
}

/// What a card gives over a session.
pub struct CardTakes {
    device: String,
    inside: Arc<Mutex<Inside>>,
}

/// One take of it. Only one lives at a time, and the lock is never contended: takes and session are read by one thread.
struct CardTake {
    format: Format,
    started: bool,
    ended: bool,
    /// Frames handed out, lost ones included.
    given: u64,
    number: u64,
    inside: Arc<Mutex<Inside>>,
}

/// What the watcher and the takes tell each other: notices, an outage, a refusal.
pub(super) type Told = (Sender<CardNotice>, Arc<AtomicBool>, Arc<OnceLock<SoundError>>);

impl CardTakes {
    pub(super) fn new(device: String, parts: Receiver<Part>, (notice, outage, refused): Told, time: TakeTime) -> Self {
        let inside = Inside { parts, notice, zeros: 0, outage, refused, current: None, next: None, over: false, time, takes: 0 };
        Self { device, inside: Arc::new(Mutex::new(inside)) }
    }
}

fn locked(inside: &Mutex<Inside>) -> MutexGuard<'_, Inside> {
    inside.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Inside {
    fn look(&mut self) {
        if self.next.is_none() {
            match self.parts.try_recv() {
                Ok(part) => self.next = Some(part),
                Err(crossbeam_channel::TryRecvError::Empty) => {}
                Err(crossbeam_channel::TryRecvError::Disconnected) => self.over = true,
            }
        }
    }
}

impl Inside {
    /// Says once a stretch that the input is dead.
    fn look_for_zeros(&mut self, samples: &[f32], format: Format) {
        let before = self.zeros;
        self.zeros =
            if samples.iter().all(|sample| *sample == 0.0) { before + (samples.len() / usize::from(format.channels)) as u64 } else { 0 };
        let dead = format.rate.span(DEAD_S).0;
        if before < dead && self.zeros >= dead {
            let _ = self.notice.try_send(CardNotice::Dead);
        }
    }
}

impl Takes for CardTakes {
    fn origin(&self) -> Origin {
        Origin { kind: "card", name: Some(self.device.clone()) }
    }

    fn poll(&mut self) -> Arriving {
        let mut inside = locked(&self.inside);
        inside.look();
        if inside.refused.get().is_some() {
            return Arriving::Over;
        }
        if let Some(part) = inside.next.take() {
            inside.current = Some((part.ring, part.pulse));
        }
        match &inside.current {
            // A take begins with its first sound.
            Some(_) if inside.outage.load(Ordering::Relaxed) => Arriving::NotYet,
            Some((ring, _)) => {
                let format = ring.format();
                inside.takes += 1;
                let number = inside.takes;
                Arriving::Take(Box::new(CardTake {
                    format,
                    started: false,
                    ended: false,
                    given: 0,
                    number,
                    inside: Arc::clone(&self.inside),
                }))
            }
            None if inside.over => Arriving::Over,
            None => Arriving::NotYet,
        }
    }
}

impl CardTake {
    fn end(&mut self) -> Heard {
        self.ended = true;
        Heard::Ended
    }

    /// A loss inside the take, or its end.
    fn lost(&mut self, frames: u64) -> Heard {
        if self.started && frames as f64 > OUTAGE_S * self.format.rate.as_f64() { self.end() } else { Heard::Lost(frames) }
    }
}

impl Source for CardTake {
    fn format(&self) -> Format {
        self.format
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        let heard = self.heard(out)?;
        self.given += match heard {
            Heard::Filled(samples) => (samples / usize::from(self.format.channels.max(1))) as u64,
            Heard::Lost(frames) => frames,
            Heard::Waiting | Heard::Ended => return Ok(heard),
        };
        let mut inside = locked(&self.inside);
        let Inside { current, time, .. } = &mut *inside;
        if let Some((ring, pulse)) = current {
            time.set(self.number, self.given as i64 - ring.position() as i64, pulse, self.format.rate);
        }
        drop(inside);
        Ok(heard)
    }
}

impl CardTake {
    fn heard(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        if self.ended {
            return Ok(Heard::Ended);
        }
        let shared = Arc::clone(&self.inside);
        let mut inside = locked(&shared);
        if let Some(refusal) = inside.refused.get() {
            self.ended = true;
            return Err(refusal.clone());
        }
        loop {
            inside.look();
            let heard = match &mut inside.current {
                Some((ring, _)) => ring.next(out)?,
                None => Heard::Ended,
            };
            match heard {
                Heard::Filled(count) => {
                    self.started = true;
                    inside.look_for_zeros(&out[..count], self.format);
                    return Ok(Heard::Filled(count));
                }
                // Before the first sound there is nothing to lose.
                Heard::Lost(_) if !self.started => {}
                Heard::Lost(frames) => return Ok(self.lost(frames)),
                Heard::Waiting | Heard::Ended => {
                    let Some(part) = inside.next.take_if(|part| part.ring.format() == self.format) else {
                        let away = inside.next.is_some() || inside.over || inside.outage.load(Ordering::Relaxed);
                        return Ok(if away { self.end() } else { Heard::Waiting });
                    };
                    inside.current = Some((part.ring, part.pulse));
                    let frames = part.away_s.map_or(0, |away| self.format.rate.span(away).0);
                    if self.started && frames > 0 {
                        return Ok(self.lost(frames));
                    }
                }
            }
        }
    }
}
