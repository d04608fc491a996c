//! Opens the card to play, judges by the frames that it takes whether it plays, and opens it again when it does not.

use super::pace::Pace;
use super::patience::{BROKEN, LOOK_EVERY, OPENING, RETRY_BROKEN, RETRY_SELDOM, RETRY_STALLED, STALLED};
use super::{Departure, Host, Opened, OutputWish, PlayPulse};
use crate::sound::SoundError;
use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded, unbounded};
use ringbuf::traits::Split;
use ringbuf::{HeapProd, HeapRb};
use std::fmt;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// What the player should know of the output, each once and not over and over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OutputNotice {
    /// It takes no more frames.
    Stuck,
    /// The stream broke; it is tried again until it opens.
    Gone,
    /// It plays again.
    Back,
}

impl fmt::Display for OutputNotice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Stuck => "the output plays nothing any more: is it suspended, or the sound server stuck?",
            Self::Gone => "the output is gone: waiting for it to come back",
            Self::Back => "the output plays again",
        })
    }
}

/// A stream that plays what is put into its ring.
pub struct Playing {
    /// One channel, in the stream's rate.
    pub ring: HeapProd<f32>,
    /// Its counts and times.
    pub pulse: Arc<PlayPulse>,
    /// What was opened.
    pub opened: Opened,
}

/// An output that is watched over. Dropping it lets go of the card without waiting for it.
pub struct Outlet {
    opened: Opened,
    streams: Receiver<Playing>,
    notices: Receiver<OutputNotice>,
    _stop: Sender<()>,
}

/// One stream on its thread.
struct Held {
    pulse: Arc<PlayPulse>,
    /// Its dropping lets the thread drop the stream.
    _close: Sender<()>,
}

struct Opening {
    outcome: Receiver<Result<Playing, SoundError>>,
    close: Sender<()>,
    since: Instant,
}

impl Opening {
    /// Opens on a thread of its own, which then keeps the stream until it is told to close it.
    fn begin(host: &Arc<dyn Host>, wish: &OutputWish, ring_s: f64) -> Self {
        let (tell, outcome) = bounded(1);
        let (close, closed) = bounded::<()>(0);
        let (host, wish) = (Arc::clone(host), wish.clone());
        std::thread::spawn(move || {
            let mut last = None;
            let stream = host.open_output(&wish, &mut |format| {
                let (ring, out) = HeapRb::new(format.rate.span(ring_s).0.max(1) as usize).split();
                let pulse = Arc::new(PlayPulse::default());
                last = Some((ring, Arc::clone(&pulse)));
                Departure::new(out, pulse, format.rate, format.channels)
            });
            let told = match (&stream, last) {
                (Ok(stream), Some((ring, pulse))) => tell.send(Ok(Playing { ring, pulse, opened: stream.opened() })),
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

impl Outlet {
    /// Opens the output and waits until that is done or has failed. `ring_s` is the most that can be put in ahead.
    ///
    /// # Errors
    /// One sentence for the player.
    pub fn open(host: Arc<dyn Host>, wish: OutputWish, ring_s: f64) -> Result<Self, SoundError> {
        let opening = Opening::begin(&host, &wish, ring_s);
        let hangs = || SoundError::Output { device: wish.name(), problem: "does not answer; restart the sound server".into() };
        let playing = opening.outcome.recv_timeout(OPENING).unwrap_or_else(|_| Err(hangs()))?;
        let opened = playing.opened.clone();
        let pace = Pace::since(opening.since, opened.format.rate, opened.buffer.max(wish.buffer));
        if pace.is_too_fast_at_first(|| playing.pulse.played()) {
            let problem = "takes sound faster than time passes, so nothing is heard in time".into();
            return Err(SoundError::Output { device: wish.name(), problem });
        }
        let held = Held { pulse: Arc::clone(&playing.pulse), _close: opening.close };
        let (give, streams) = unbounded();
        let (notice, notices) = bounded(64);
        let (stop, stopped) = bounded(0);
        // The receiver is alive: it was made above.
        let _ = give.send(playing);
        let now = Instant::now();
        let watcher = Watcher {
            host,
            // It comes back with the rate that it had, or not at all: what is rendered has that rate.
            wish: OutputWish { rate: Some(opened.format.rate), ..wish },
            ring_s,
            give,
            notice,
            held: Some(held),
            opening: None,
            trial: None,
            played: 0,
            errors: 0,
            outlived: 0,
            moved: now,
            told: false,
            retry_at: now,
            retry_after: RETRY_BROKEN,
        };
        std::thread::spawn(move || watcher.run(&stopped));
        Ok(Self { opened, streams, notices, _stop: stop })
    }

    /// What was opened first.
    #[must_use]
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// A stream that was opened since this was last asked: it takes the place of the one before. Never waits.
    #[must_use]
    pub fn stream(&self) -> Option<Playing> {
        self.streams.try_recv().ok()
    }

    /// What happened; never waits.
    #[must_use]
    pub fn notice(&self) -> Option<OutputNotice> {
        self.notices.try_recv().ok()
    }
}

struct Watcher {
    host: Arc<dyn Host>,
    wish: OutputWish,
    ring_s: f64,
    give: Sender<Playing>,
    notice: Sender<OutputNotice>,
    held: Option<Held>,
    opening: Option<Opening>,
    /// Opened in place of the held one; it has not played yet.
    trial: Option<(Held, Playing, Instant)>,
    played: u64,
    /// Errors told of up to the last look, and those of them after which frames were taken still: some mean nothing.
    errors: u64,
    outlived: u64,
    moved: Instant,
    told: bool,
    retry_at: Instant,
    retry_after: Duration,
}

impl Watcher {
    fn run(mut self, stopped: &Receiver<()>) {
        while matches!(stopped.recv_timeout(LOOK_EVERY), Err(RecvTimeoutError::Timeout)) {
            self.look(Instant::now());
        }
    }

    fn look(&mut self, now: Instant) {
        if self.plays(now) {
            return;
        }
        let away = now.duration_since(self.moved);
        let broken = self.held.as_ref().is_none_or(|held| held.pulse.errors() > self.outlived);
        if away > BROKEN && broken && self.held.take().is_some() {
            self.retry_at = now;
            self.retry_after = RETRY_BROKEN;
            self.tell(OutputNotice::Gone);
        } else if away > STALLED && !self.told {
            self.retry_at = self.moved + RETRY_STALLED;
            self.retry_after = RETRY_STALLED;
            self.tell(OutputNotice::Stuck);
        }
        if self.told {
            self.try_again(now);
        }
    }

    /// Whether frames were taken since the last look.
    fn plays(&mut self, now: Instant) -> bool {
        let Some(held) = &self.held else { return false };
        let (played, before) = (held.pulse.played(), std::mem::replace(&mut self.errors, held.pulse.errors()));
        if played == self.played {
            return false;
        }
        self.played = played;
        self.outlived = before;
        self.moved = now;
        if self.told {
            self.told = false;
            let _ = self.notice.try_send(OutputNotice::Back);
        }
        self.trial = None;
        self.opening = None;
        true
    }

    fn tell(&mut self, notice: OutputNotice) {
        let _ = self.notice.try_send(notice);
        self.told = true;
    }

    fn try_again(&mut self, now: Instant) {
        if let Some((held, playing, since)) = self.trial.take() {
            if held.pulse.played() > 0 {
                self.played = 0;
                (self.errors, self.outlived) = (0, 0);
                self.held = Some(held);
                let _ = self.give.send(playing);
            } else if now.duration_since(since) <= Duration::from_secs(1) {
                self.trial = Some((held, playing, since));
            } else {
                self.postpone(now);
            }
            return;
        }
        if let Some(opening) = &self.opening {
            match opening.outcome.try_recv() {
                Ok(Ok(playing)) => {
                    let pulse = Arc::clone(&playing.pulse);
                    self.trial = self.opening.take().map(|opening| (Held { pulse, _close: opening.close }, playing, now));
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
        } else if now >= self.retry_at {
            self.opening = Some(Opening::begin(&self.host, &self.wish, self.ring_s));
        }
    }

    fn postpone(&mut self, now: Instant) {
        self.retry_at = now + self.retry_after;
        if self.held.is_some() {
            self.retry_after = (self.retry_after * 2).min(RETRY_SELDOM);
        }
    }
}
