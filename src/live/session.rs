//! A live run from beginning to end, on the main thread: what is heard, shown, pressed and told.

use super::analysis::{Analysis, Job};
use super::events::{Event, Listener, events};
use super::feeder::{Pace, feed};
use super::keeper::{Keeper, Kept};
use super::signals::stop_here;
use super::world::{Key, World};
use crate::grading::Telling;
use crate::logbook::log::Log;
use crate::pitch::Reading;
use crate::sound::card::{Card, CardTakes, CardWish};
use crate::sound::{OneTake, Origin, SoundError, Source, Takes};
use crossbeam_channel::{Sender, TryRecvError, unbounded};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// From one look to the next: sixty a second, and no more.
const LOOK: Duration = Duration::from_nanos(16_666_667);
/// Seconds of sound that the analysis may be behind: a sound server that was stuck hands out what it kept (11 s, measured) in one burst.
pub const RING_S: f64 = 12.0;

/// Where a run listens.
pub enum Input {
    /// The sound card.
    Card(CardWish),
    /// A sound card that was opened already: whoever plays beside it needs its time.
    Opened(Card, CardTakes),
    /// A file or the synthesiser, through the same ring as a card's sound.
    Source {
        /// What it is.
        origin: Origin,
        /// Its sound.
        source: Box<dyn Source>,
        /// How fast.
        pace: Pace,
    },
}

/// What a player wants of a run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Want {
    /// To tell whoever knows what is asked for.
    Tell(Telling),
    /// To end.
    End,
}

/// What shows a run. None of it may block for long.
pub trait View {
    /// Something happened.
    ///
    /// # Errors
    /// When it cannot be shown any more: the terminal or the pipe is closed.
    fn event(&mut self, event: &Event) -> io::Result<()>;

    /// What sounds now; not every reading comes here.
    fn reading(&mut self, reading: &Reading);

    /// Shows what has changed, sixty times a second at most.
    ///
    /// # Errors
    /// When it cannot be shown any more.
    fn draw(&mut self) -> io::Result<()>;

    /// Whether what was wanted has been heard: the run ends.
    fn has_enough(&self) -> bool {
        false
    }

    /// A key was pressed that the session itself does not take.
    fn key(&mut self, key: Key) {
        let _ = key;
    }

    /// What the player wants by now; asked for again and again.
    fn wants(&mut self) -> Vec<Want> {
        Vec::new()
    }

    /// Gives the terminal back before the process stops.
    fn lend(&mut self) {}

    /// Takes it again afterwards.
    ///
    /// # Errors
    /// When it cannot be had.
    fn take_again(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// How a run went.
#[derive(Debug, Default)]
pub struct Outcome {
    /// Attempts graded.
    pub graded: u32,
    /// What was kept.
    pub kept: Kept,
    /// The sound broke off; what came before was used.
    pub broken: Option<SoundError>,
    /// Where the last note that answers a step of a drill is over, seconds of the take.
    pub answered_until_s: Option<f64>,
    /// The player or the system ended it.
    pub ended: bool,
}

/// Why a run failed; takes and rows are kept all the same.
#[derive(Debug, thiserror::Error)]
pub enum LiveError {
    /// No sound.
    #[error(transparent)]
    Sound(#[from] SoundError),
    /// The view is gone.
    #[error(transparent)]
    View(io::Error),
    /// A fault of landfall itself.
    #[error("{0} failed inside; what was played until then is kept in {1}")]
    Inside(&'static str, String),
}

/// Runs until the input is over, enough was played, or the player or the system ends it.
///
/// # Errors
/// When nothing can be heard, or nothing can be shown any more, or a part failed; what was played is kept.
pub fn run(mut world: World, input: Input, job: Job, log: Option<Log>, view: &mut dyn View) -> Result<Outcome, LiveError> {
    let stop = Arc::new(AtomicBool::new(false));
    let (takes, card) = open(&world, input, job.ring_s, &stop)?;
    let keeper = Keeper::start(log, Arc::clone(&world.clock));
    let (teller, listener) = events();
    let (tell, told) = unbounded();
    let analysis = Analysis {
        job,
        takes,
        orders: keeper.orders(),
        teller,
        clock: Arc::clone(&world.clock),
        stop: Arc::clone(&stop),
        told,
        graded: 0,
        answered: false,
        heard_s: 0.0,
    };
    let thread = std::thread::spawn(move || analysis.run());
    let mut desk = Desk { listener, card, keeper: &keeper, tell, stop, outcome: Outcome::default(), over: false };
    let shown = desk.attend(&mut world, view);
    let Desk { mut outcome, .. } = desk;
    let analysed = thread.join();
    outcome.kept = keeper.finish().map_err(|_| LiveError::Inside("keeping", "the takes and the log as far as it came".into()))?;
    if analysed.is_err() {
        let takes: Vec<String> = outcome.kept.takes.iter().map(|take| take.display().to_string()).collect();
        return Err(LiveError::Inside("the analysis", if takes.is_empty() { "no take".into() } else { takes.join(", ") }));
    }
    shown.map_err(LiveError::View)?;
    Ok(outcome)
}

fn open(world: &World, input: Input, ring_s: f64, stop: &Arc<AtomicBool>) -> Result<(Box<dyn Takes>, Option<Card>), SoundError> {
    match input {
        Input::Card(wish) => {
            let (card, takes) = Card::open((world.hosts)()?, wish, ring_s)?;
            Ok((Box::new(takes), Some(card)))
        }
        Input::Opened(card, takes) => Ok((Box::new(takes), Some(card))),
        Input::Source { origin, source, pace } => {
            let ring = feed(source, pace, ring_s, Arc::clone(&world.clock), Arc::clone(stop));
            Ok((Box::new(OneTake::new(origin, Box::new(ring))), None))
        }
    }
}

struct Desk<'a> {
    listener: Listener,
    card: Option<Card>,
    keeper: &'a Keeper,
    tell: Sender<Telling>,
    stop: Arc<AtomicBool>,
    outcome: Outcome,
    over: bool,
}

impl Desk<'_> {
    /// Until the analysis is over. A view that fails ends the run; the first failure is told.
    fn attend(&mut self, world: &mut World, view: &mut dyn View) -> io::Result<()> {
        let mut shown = Ok(());
        let mut next = world.clock.now();
        while !self.over {
            // Kept to the beat: what drawing takes is not added to the age of what is seen. A look that came too late is not made up for.
            next = (next + LOOK).max(world.clock.now());
            let now = self.look(view).and_then(|()| self.obey(world, view, next));
            if let Err(error) = now {
                self.stop.store(true, Ordering::Relaxed);
                shown = shown.and(Err(error));
                world.clock.wait(LOOK);
            }
        }
        shown
    }

    fn look(&mut self, view: &mut dyn View) -> io::Result<()> {
        let mut shown = Ok(());
        loop {
            match self.listener.events.try_recv() {
                Ok(event) => {
                    match &event {
                        Event::Graded(graded) => {
                            self.outcome.graded += 1;
                            let attempt = &graded.0;
                            if attempt.step.is_some() {
                                self.outcome.answered_until_s = Some(attempt.span.1.seconds(attempt.sample_rate));
                            }
                        }
                        Event::Over(broken) => {
                            self.over = true;
                            self.outcome.broken.clone_from(broken);
                        }
                        _ => {}
                    }
                    shown = shown.and(view.event(&event));
                }
                Err(TryRecvError::Empty) => break,
                Err(TryRecvError::Disconnected) => {
                    self.over = true;
                    break;
                }
            }
        }
        for reading in self.listener.readings.try_iter() {
            view.reading(&reading);
        }
        if let Some(notice) = self.card.as_ref().and_then(Card::notice) {
            shown = shown.and(view.event(&Event::Notice(notice.to_string())));
        }
        if let Some(notice) = self.keeper.notice() {
            shown = shown.and(view.event(&Event::Notice(notice)));
        }
        shown?;
        for want in view.wants() {
            match want {
                Want::Tell(telling) => {
                    let _ = self.tell.send(telling);
                }
                Want::End => self.stop.store(true, Ordering::Relaxed),
            }
        }
        view.draw()
    }

    /// Keys and signals, until the next look; this is where the main thread waits.
    fn obey(&mut self, world: &mut World, view: &mut dyn View, next: Duration) -> io::Result<()> {
        if self.over {
            return Ok(());
        }
        loop {
            let left = next.saturating_sub(world.clock.now());
            let key = world.keys.next(left)?;
            let ended = key == Some(Key::End) || world.signals.end_wanted();
            self.outcome.ended |= ended;
            if ended || view.has_enough() {
                self.stop.store(true, Ordering::Relaxed);
            }
            if let Some(key) = key.filter(|key| !matches!(key, Key::End | Key::Stop)) {
                view.key(key);
            }
            if key == Some(Key::Stop) || world.signals.stop_wanted() {
                view.lend();
                stop_here();
                view.take_again()?;
            }
            if key.is_none() || left.is_zero() {
                return Ok(());
            }
        }
    }
}
