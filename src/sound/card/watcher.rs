//! Opens the card, judges by arriving frames whether it is heard, and opens it again when it is not.

use super::pace::Pace;
use super::patience::{BROKEN, LOOK_EVERY, OPENING, RETRY_BROKEN, RETRY_SELDOM, RETRY_STALLED, STALLED};
use super::takes::{OUTAGE_S, Part};
use super::{Arrival, CardTakes, CardWish, Host, Opened, Pulse, TakeTime};
use crate::sound::{RingGauge, RingSource, SoundError, Source, ring};
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded, unbounded};
use std::fmt;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

/// What the player should know of the card, each once and not over and over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CardNotice {
    /// Nothing arrives any more.
    Quiet,
    /// The stream broke; it is tried again until it opens.
    Gone,
    /// Sound arrives again.
    Back,
    /// What arrives is exactly zero.
    Dead,
    /// More arrives than time allows: it is let go.
    TooFast,
}

impl fmt::Display for CardNotice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Quiet => "no sound arrives from the card: is it suspended, or the sound server stuck?",
            Self::Gone => "the card is gone: waiting for it to come back",
            Self::Back => "the card is heard again",
            Self::Dead => "the input is dead silent: is it muted, unplugged, or the wrong one? `landfall devices` lists the others",
            Self::TooFast => "the input gives sound faster than time passes: it is no sound card, and is let go",
        })
    }
}

/// A card that is watched over. Dropping it lets go of the card without waiting for it.
pub struct Card {
    opened: Opened,
    notices: Receiver<CardNotice>,
    time: TakeTime,
    /// Its dropping ends the watcher.
    _stop: Sender<()>,
}

/// One stream on its thread.
struct Held {
    gauge: RingGauge,
    pulse: Arc<Pulse>,
    pace: Pace,
    /// Its dropping lets the thread drop the stream.
    _close: Sender<()>,
}

/// What an opening gives: the stream itself stays on its thread.
type Begun = (Opened, RingSource, Arc<Pulse>);

/// An opening under way.
struct Opening {
    outcome: Receiver<Result<Begun, SoundError>>,
    close: Sender<()>,
    since: Instant,
}

impl Card {
    /// Opens the card and waits until that is done or has failed. The analysis may be `ring_s` seconds behind before sound is lost.
    ///
    /// # Errors
    /// One sentence for the player.
    pub fn open(host: Arc<dyn Host>, wish: CardWish, ring_s: f64) -> Result<(Self, CardTakes), SoundError> {
        let opening = Opening::begin(&host, &wish, ring_s);
        let device = wish.device.clone().unwrap_or_else(|| "default".into());
        let (opened, source, pulse) =
            opening.outcome.recv_timeout(OPENING).unwrap_or_else(|_| Err(SoundError::CardHangs { device: device.clone() }))?;
        let (gauge, pace) = (source.gauge(), Pace::since(opening.since, opened.format.rate, opened.buffer.max(wish.buffer)));
        if pace.is_too_fast_at_first(|| gauge.arrived()) {
            return Err(SoundError::CardTooFast { device: opened.device });
        }
        let held = Held { gauge, pulse: Arc::clone(&pulse), pace, _close: opening.close };
        let (parts, parts_out) = unbounded();
        let (notice, notices) = bounded(64);
        let (stop, stopped) = bounded(0);
        let outage = Arc::new(AtomicBool::new(false));
        let refused = Arc::new(OnceLock::new());
        let time = TakeTime::default();
        let told = (notice.clone(), Arc::clone(&outage), Arc::clone(&refused));
        let takes = CardTakes::new(opened.device.clone(), parts_out, told, time.clone());
        // The receiver is alive: it was made above.
        let _ = parts.send(Part { ring: source, pulse, away_s: None });
        let watcher = Watcher::new((host, wish, ring_s), held, Outlets { parts, notice, outage, refused });
        std::thread::spawn(move || watcher.run(&stopped));
        Ok((Self { opened, notices, time, _stop: stop }, takes))
    }

    /// What was opened first.
    #[must_use]
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// Which frame of the take was captured when.
    #[must_use]
    pub fn time(&self) -> TakeTime {
        self.time.clone()
    }

    /// What happened to it since; never waits.
    #[must_use]
    pub fn notice(&self) -> Option<CardNotice> {
        self.notices.try_recv().ok()
    }
}

impl Opening {
    /// Opens on a thread of its own, which then keeps the stream until it is told to close it.
    fn begin(host: &Arc<dyn Host>, wish: &CardWish, ring_s: f64) -> Self {
        let (tell, outcome) = bounded(1);
        let (close, closed) = bounded::<()>(0);
        let (host, wish) = (Arc::clone(host), wish.clone());
        std::thread::spawn(move || {
            let mut last = None;
            let stream = host.open(&wish, &mut |format| {
                let (writer, source) = ring(format, ring_s);
                let pulse = Arc::new(Pulse::default());
                last = Some((source, Arc::clone(&pulse)));
                Arrival::new(writer, pulse, format.rate, format.channels)
            });
            let told = match (&stream, last) {
                (Ok(stream), Some((source, pulse))) => tell.send(Ok((stream.opened(), source, pulse))),
                (Err(error), _) => tell.send(Err(error.clone())),
                (Ok(_), None) => Ok(()),
            };
            if told.is_ok() && stream.is_ok() {
                let _ = closed.recv();
            }
            drop(stream);
        });
        Self { outcome, close, since: Instant::now() }
    }
}

struct Outlets {
    parts: Sender<Part>,
    notice: Sender<CardNotice>,
    outage: Arc<AtomicBool>,
    /// Why nothing more is taken from it.
    refused: Arc<OnceLock<SoundError>>,
}

struct Watcher {
    host: Arc<dyn Host>,
    wish: CardWish,
    ring_s: f64,
    outlets: Outlets,
    held: Option<Held>,
    opening: Option<Opening>,
    /// A stream that was opened in place of the held one and has not been heard yet.
    trial: Option<(Held, RingSource, Instant)>,
    arrived: u64,
    /// Errors told of up to the last look, and those of them after which frames came still: some mean nothing.
    errors: u64,
    outlived: u64,
    heard: Instant,
    told: Option<CardNotice>,
    retry_at: Instant,
    retry_after: Duration,
}

impl Watcher {
    fn new((host, wish, ring_s): (Arc<dyn Host>, CardWish, f64), held: Held, outlets: Outlets) -> Self {
        let now = Instant::now();
        Self {
            host,
            wish,
            ring_s,
            outlets,
            held: Some(held),
            opening: None,
            trial: None,
            arrived: 0,
            errors: 0,
            outlived: 0,
            heard: now,
            told: None,
            retry_at: now,
            retry_after: RETRY_BROKEN,
        }
    }

    fn run(mut self, stopped: &Receiver<()>) {
        while matches!(stopped.recv_timeout(LOOK_EVERY), Err(RecvTimeoutError::Timeout)) {
            self.look(Instant::now());
            if self.is_too_fast(Instant::now()) {
                let device = self.wish.device.clone().unwrap_or_else(|| "default".into());
                let _ = self.outlets.refused.set(SoundError::CardTooFast { device });
                self.tell(CardNotice::TooFast);
                return;
            }
        }
    }

    fn is_too_fast(&self, now: Instant) -> bool {
        self.held.as_ref().is_some_and(|held| held.pace.is_too_fast(held.gauge.arrived(), now))
    }

    fn look(&mut self, now: Instant) {
        if self.is_heard(now) {
            return;
        }
        let away = now.duration_since(self.heard);
        self.outlets.outage.store(away.as_secs_f64() > OUTAGE_S, Ordering::Relaxed);
        let broken = self.held.as_ref().is_none_or(|held| held.gauge.ended() || held.pulse.errors() > self.outlived);
        if away > BROKEN && broken && self.held.take().is_some() {
            self.retry_at = now;
            self.retry_after = RETRY_BROKEN;
            self.tell(CardNotice::Gone);
        } else if away > STALLED && self.told.is_none() {
            self.retry_at = self.heard + RETRY_STALLED;
            self.retry_after = RETRY_STALLED;
            self.tell(CardNotice::Quiet);
        }
        if self.told.is_some() {
            self.try_again(now);
        }
    }

    /// Whether frames came since the last look.
    fn is_heard(&mut self, now: Instant) -> bool {
        let Some(held) = &self.held else { return false };
        let (arrived, before) = (held.gauge.arrived(), std::mem::replace(&mut self.errors, held.pulse.errors()));
        if arrived == self.arrived {
            return false;
        }
        self.arrived = arrived;
        self.outlived = before;
        self.heard = held.pulse.last_arrival().unwrap_or(now).max(self.heard);
        self.outlets.outage.store(false, Ordering::Relaxed);
        if self.told.take().is_some() {
            let _ = self.outlets.notice.try_send(CardNotice::Back);
        }
        self.trial = None;
        self.opening = None;
        true
    }

    fn tell(&mut self, notice: CardNotice) {
        // A view that reads none of 64 notices does not want the next one either.
        let _ = self.outlets.notice.try_send(notice.clone());
        self.told = Some(notice);
    }

    fn try_again(&mut self, now: Instant) {
        if let Some((held, ..)) = &self.trial
            && held.gauge.arrived() > 0
        {
            self.take_over();
            return;
        }
        if let Some((.., since)) = &self.trial
            && now.duration_since(*since) > Duration::from_secs(1)
        {
            self.trial = None;
            self.postpone(now);
        }
        if let Some(opening) = &self.opening {
            match opening.outcome.try_recv() {
                Ok(Ok((opened, source, pulse))) => {
                    let (gauge, pace) =
                        (source.gauge(), Pace::since(opening.since, source.format().rate, opened.buffer.max(self.wish.buffer)));
                    self.trial = self.opening.take().map(|opening| (Held { gauge, pulse, pace, _close: opening.close }, source, now));
                }
                Ok(Err(_)) => {
                    self.opening = None;
                    self.postpone(now);
                }
                // It hangs: its thread is left to itself, and another is tried, seldom.
                Err(_) if now.duration_since(opening.since) > OPENING => {
                    self.opening = None;
                    self.retry_after = RETRY_SELDOM;
                    self.postpone(now);
                }
                Err(_) => {}
            }
        } else if self.trial.is_none() && now >= self.retry_at {
            self.opening = Some(Opening::begin(&self.host, &self.wish, self.ring_s));
        }
    }

    fn postpone(&mut self, now: Instant) {
        self.retry_at = now + self.retry_after;
        // A missing card answers at once, and is asked often: it should be back as soon as it is plugged in.
        if self.held.is_some() {
            self.retry_after = (self.retry_after * 2).min(RETRY_SELDOM);
        }
    }

    /// The trial is heard: it is the card now.
    fn take_over(&mut self) {
        let Some((held, ring, _)) = self.trial.take() else { return };
        let again = held.pulse.last_arrival().unwrap_or_else(Instant::now);
        // What has arrived by then was recorded before it.
        let since_begun = held.gauge.arrived() as f64 / ring.format().rate.as_f64();
        let away_s = (again.saturating_duration_since(self.heard).as_secs_f64() - since_begun).max(0.0);
        if self.outlets.parts.send(Part { ring, pulse: Arc::clone(&held.pulse), away_s: Some(away_s) }).is_ok() {
            self.held = Some(held);
            self.arrived = 0;
            (self.errors, self.outlived) = (0, 0);
        }
    }
}
