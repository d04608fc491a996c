//! The analysis thread: take after take from the ring to the trackers, the recorder and the view.

use super::clock::Clock;
use super::ears::{Ears, MakeEars};
use super::events::{Event, Teller};
use super::keeper::Order;
use super::own_sound::OwnNews;
use super::recorder::{Recorder, reserve};
use crate::grading::{Attempt, Telling, Told};
use crate::logbook::sidecar::{Asked, Sidecar};
use crate::logbook::{PlayedAt, Row, Setting};
use crate::pitch::attack::{Attack, Stage};
use crate::sound::{Arriving, Block, ChannelWish, Chosen, FaultKind, Format, Mono, Next, RingWriter, SoundError, Takes, ring};
use crate::units::{A4, FrameSpan, FrameTime, SampleRate};
use crossbeam_channel::{Receiver, Sender};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// How often the ring is looked at: waking this thread from the callback would be a system call there.
const POLL: Duration = Duration::from_millis(1);
/// Sound that the disk may be behind.
const DISK_BEHIND_S: f64 = 30.0;

/// How a row is made of an attempt: the caller knows how notes are spelt.
pub type MakeRow = Box<dyn FnMut(&Attempt, &Setting) -> Row + Send>;

/// Where the beats of a click or a tune lie in a take, where that is known before it begins.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beats {
    /// Instants of the take, in seconds.
    pub at_s: Vec<f64>,
    /// Whether the delay of the sound card is taken off them; `None` where no card is in the way.
    pub calibrated: Option<bool>,
}

/// What is asked of a run.
pub struct Job {
    /// Which channel.
    pub channel: ChannelWish,
    /// The drill's name, for file names and rows.
    pub drill: String,
    /// What goes into rows and sidecar.
    pub asked: Asked,
    /// The beats of a click or a tune.
    pub beats: Beats,
    /// The tuning reference.
    pub a4: A4,
    /// The tolerance in cents.
    pub tolerance: f64,
    /// Ends after so many attempts.
    pub attempts: Option<u32>,
    /// Ends with the attempt that answers this step.
    pub last_step: Option<u32>,
    /// Ends after so many seconds of sound.
    pub seconds: Option<f64>,
    /// Where takes are kept; `None` keeps none.
    pub save: Option<PathBuf>,
    /// Seconds of sound that the analysis may be behind.
    pub ring_s: f64,
    /// Bytes of a take's file, at most; then another take begins.
    pub largest: u64,
    /// Bytes of the disk that are left alone.
    pub keep_free: u64,
    /// Whether the input can wait for the disk.
    pub patient: bool,
    /// The ears of a take.
    pub ears: MakeEars,
    /// Rows.
    pub row: MakeRow,
}

/// The thread's state.
pub struct Analysis {
    /// What is asked.
    pub job: Job,
    /// Where sound comes from.
    pub takes: Box<dyn Takes>,
    /// The keeper.
    pub orders: Sender<Order>,
    /// The view.
    pub teller: Teller,
    /// Time.
    pub clock: Arc<dyn Clock>,
    /// Set to end the run.
    pub stop: Arc<AtomicBool>,
    /// What the player tells meanwhile.
    pub told: Receiver<Telling>,
    /// Attempts of the run so far.
    pub graded: u32,
    /// The last step has been answered.
    pub answered: bool,
    /// Seconds of the run so far.
    pub heard_s: f64,
}

/// One take under way.
struct Running {
    rate: SampleRate,
    ears: Ears,
    setting: Setting,
    recorder: Option<RingWriter>,
    channel: Option<Chosen>,
    said: Vec<FaultKind>,
    frames: u64,
}

/// Why a take ends.
enum End {
    /// Its sound has ended, or broke off.
    Sound(Option<SoundError>),
    /// Its file is as large as it may be; the sound goes on.
    Full,
    /// The run is over.
    Run,
}

impl Analysis {
    /// Listens until the input is over, enough was played, or it is told to stop.
    pub fn run(mut self) {
        let broken = self.listen();
        self.teller.event(Event::Over(broken));
    }

    fn listen(&mut self) -> Option<SoundError> {
        while !self.stop.load(Ordering::Relaxed) {
            match self.takes.poll() {
                Arriving::Over => return None,
                Arriving::NotYet => self.clock.wait(POLL),
                Arriving::Take(source) => {
                    let mut mono = match Mono::new(source, self.job.channel) {
                        Ok(mono) => mono,
                        Err(error) => return Some(error),
                    };
                    loop {
                        match self.take(&mut mono) {
                            End::Full => mono.begin_anew(),
                            End::Run => return None,
                            End::Sound(None) => break,
                            End::Sound(broken) => return broken,
                        }
                    }
                }
            }
        }
        None
    }

    /// One take, from its first block to its last.
    fn take(&mut self, mono: &mut Mono) -> End {
        let mut running: Option<Running> = None;
        let end = loop {
            if self.stop.load(Ordering::Relaxed) {
                break End::Run;
            }
            let (rate, chosen) = (mono.rate(), mono.chosen());
            match mono.hear() {
                Ok(Next::Block(block)) => {
                    let running = running.get_or_insert_with(|| self.begin(rate));
                    if let Some(end) = self.block(running, chosen, &block) {
                        break end;
                    }
                }
                Ok(Next::Waiting) => self.clock.wait(POLL),
                Ok(Next::Ended) => break End::Sound(None),
                Err(error) => break End::Sound(Some(error)),
            }
        };
        if let Some(running) = running {
            self.end(running, mono.chosen());
        }
        end
    }

    fn begin(&mut self, rate: SampleRate) -> Running {
        let (instant, offset) = self.clock.instant();
        let started = PlayedAt::new(instant, offset);
        let second = started.local().strftime("%Y-%m-%d_%H-%M-%S");
        // What is kept finds a name that is free; what is not has the instant alone to tell it from the next.
        let mut name = match self.job.save {
            Some(_) => format!("{second}_{}", self.job.drill),
            None => format!("{second}-{:03}_{}", instant.as_millisecond().rem_euclid(1000), self.job.drill),
        };
        let origin = self.takes.origin();
        let mut recorder = None;
        let mut file = None;
        if let Some(folder) = self.job.save.clone() {
            let sidecar = Sidecar {
                landfall: Some(env!("CARGO_PKG_VERSION").into()),
                started: Some(started.to_string()),
                source: Some(origin.kind.into()),
                device: origin.name.clone(),
                sample_rate_hz: Some(rate.hz()),
                a4_hz: Some(self.job.a4.hz()),
                tolerance_cents: Some(self.job.tolerance),
                beats_at: self.job.beats.at_s.clone(),
                calibrated: self.job.beats.calibrated,
                asked: self.job.asked.clone(),
                ..Sidecar::default()
            };
            let (writer, sound) = ring(Format { rate, channels: 1 }, DISK_BEHIND_S);
            let begun = reserve(&folder, &name)
                .map_err(|error| format!("{}: {error}", folder.display()))
                .and_then(|(path, wav)| Recorder::begin(path, wav, sound, sidecar, self.job.keep_free));
            match begun {
                Ok(begun) => {
                    let path = begun.path().to_owned();
                    name = path.file_stem().map_or(name, |stem| stem.to_string_lossy().into_owned());
                    file = Some(path);
                    recorder = Some(writer);
                    let _ = self.orders.send(Order::Take(Box::new(begun)));
                }
                Err(problem) => {
                    self.teller.event(Event::Notice(format!("this take is not kept: {problem}; choose another folder with --save")));
                }
            }
        }
        self.teller.event(Event::TakeBegan { name: name.clone(), file, rate, origin: origin.clone() });
        let setting = Setting {
            take: name,
            started: Some(started),
            source: Some(origin.kind.into()),
            drill: self.job.asked.drill.clone(),
            chord: self.job.asked.chord.clone(),
            string: self.job.asked.string.map(u32::from),
            ..Setting::default()
        };
        Running { rate, ears: (self.job.ears)(rate), setting, recorder, channel: None, said: Vec::new(), frames: 0 }
    }

    /// Hears one block; `Some` when the take ends with it.
    fn block(&mut self, running: &mut Running, chosen: Option<Chosen>, block: &Block<'_>) -> Option<End> {
        let left = self.job.seconds.map(|seconds| running.rate.span((seconds - self.heard_s).max(0.0)).0);
        let block = cut(block, left);
        self.tell_channel(running, chosen);
        self.hear_telling(running);
        self.record(running, &block);
        for fault in block.faults {
            let _ = self.orders.send(Order::Fault(*fault));
            if !running.said.contains(&fault.kind) {
                running.said.push(fault.kind);
                self.teller.event(Event::Fault(fault.kind));
            }
        }
        let mut masked = running.ears.masked.take();
        let heard = masked.as_mut().map_or(block, |masked| masked.clean(&block));
        self.show(running, &heard);
        let mut attempts = Vec::new();
        running.ears.settled.hear(&heard, &mut |attempt| attempts.push(attempt));
        running.ears.masked = masked;
        self.keep(running, &attempts);
        self.keep_own(running, block.start + FrameSpan(block.samples.len() as u64));
        let frames = block.lost_before.0 + block.samples.len() as u64;
        running.frames += frames;
        self.heard_s += frames as f64 / running.rate.as_f64();
        let enough = self.answered || self.job.attempts.is_some_and(|attempts| self.graded >= attempts);
        if enough || left.is_some_and(|left| left <= frames) {
            return Some(End::Run);
        }
        // Head and four bytes a frame.
        (running.frames * 4 + 1024 >= self.job.largest).then_some(End::Full)
    }

    fn tell_channel(&mut self, running: &mut Running, chosen: Option<Chosen>) {
        if running.channel.is_none()
            && let Some(chosen) = chosen
        {
            running.channel = Some(chosen);
            let _ = self.orders.send(Order::Channel(chosen.channel));
            if chosen.of > 1 {
                self.teller.event(Event::Channel(chosen));
            }
        }
    }

    /// What was told holds from the next frame on: no attempt that begins there was asked about yet.
    fn hear_telling(&self, running: &mut Running) {
        for what in self.told.try_iter() {
            let told = Told { at_s: running.frames as f64 / running.rate.as_f64(), what };
            running.ears.settled.told(told);
            running.ears.eye.told(told);
            let _ = self.orders.send(Order::Told(told));
            self.teller.event(Event::Told(told));
        }
    }

    fn record(&self, running: &mut Running, block: &Block<'_>) {
        let Some(recorder) = &mut running.recorder else { return };
        recorder.lose(block.lost_before.0);
        let mut rest = block.samples;
        while self.job.patient && recorder.room() < rest.len() && !self.stop.load(Ordering::Relaxed) {
            let now = recorder.room().min(rest.len());
            recorder.write(rest[..now].iter().copied());
            rest = &rest[now..];
            self.clock.wait(POLL);
        }
        recorder.write(rest.iter().copied());
    }

    fn show(&self, running: &mut Running, block: &Block<'_>) {
        let Ears { causal, attacks, eye, .. } = &mut running.ears;
        let mut seen = |glimpse| self.teller.event(Event::Seen(glimpse));
        if block.lost_before.0 > 0 {
            eye.lost(block.start - block.lost_before, &mut seen);
            attacks.lose(block.lost_before.0, &mut |_| {});
            causal.lose(block.lost_before.0, &mut |reading| self.teller.reading(reading));
        }
        attacks.push(block.samples, &mut |attack: Attack| {
            if attack.stage == Stage::Early && attack.struck {
                eye.stroke(attack.at, &mut seen);
            }
        });
        causal.push(block.samples, &mut |reading| {
            eye.reading(&reading, &mut seen);
            self.teller.reading(reading);
        });
    }

    fn keep(&mut self, running: &mut Running, attempts: &[Attempt]) {
        if attempts.is_empty() {
            return;
        }
        for attempt in attempts {
            running.ears.eye.graded(attempt);
        }
        let rows: Vec<Row> = attempts.iter().map(|attempt| (self.job.row)(attempt, &running.setting)).collect();
        let _ = self.orders.send(Order::Rows(rows.clone()));
        for (attempt, row) in attempts.iter().zip(rows) {
            self.graded += 1;
            self.answered |= self.job.last_step.is_some() && attempt.step == self.job.last_step;
            self.teller.event(Event::Curve(running.ears.settled.curve(attempt)));
            self.teller.event(Event::Graded(Box::new((attempt.clone(), row))));
        }
    }

    /// Passes on what landfall itself is about to sound, so that the kept take knows what the ears knew.
    fn keep_own(&self, running: &Running, heard: FrameTime) {
        if let Some(own) = &running.ears.own {
            own.heard(heard);
            self.tell_own(own.news());
        }
    }

    fn tell_own(&self, news: Option<OwnNews>) {
        if let Some(news) = news {
            let _ = self.orders.send(Order::Own(news));
        }
    }

    fn end(&mut self, mut running: Running, chosen: Option<Chosen>) {
        self.tell_channel(&mut running, chosen);
        let mut attempts = Vec::new();
        running.ears.settled.finish(&mut |attempt| attempts.push(attempt));
        self.keep(&mut running, &attempts);
        self.keep_own(&running, FrameTime(running.frames));
        self.tell_own(running.ears.own.as_ref().and_then(|own| own.last_news()));
        self.teller.event(Event::TakeEnded { seconds: running.frames as f64 / running.rate.as_f64() });
    }
}

/// The block without what lies behind the end of the run.
fn cut<'a>(block: &Block<'a>, left: Option<u64>) -> Block<'a> {
    let Some(left) = left else { return *block };
    let most = left.saturating_sub(block.lost_before.0).min(block.samples.len() as u64) as usize;
    let end = block.start.0 + most as u64;
    let faults = block.faults.iter().take_while(|fault| fault.at.0 < end).count();
    Block { samples: &block.samples[..most], faults: &block.faults[..faults], ..*block }
}
