//! What a live run is tried with: ears that write down what they hear, a source that numbers its frames, a card whose thread plays it, a view and keys that
//! need no terminal.

use landfall::grading::{Attempt, Measures, Provisional, Technique, Wish};
use landfall::live::analysis::{Beats, Job};
use landfall::live::clock::SystemClock;
use landfall::live::ears::{Ears, Settles};
use landfall::live::events::Event;
use landfall::live::feeder::Pace;
use landfall::live::session::{Input, LiveError, Outcome, View, run};
use landfall::live::signals::Signals;
use landfall::live::world::{Key, Keys, World};
use landfall::logbook::Row;
use landfall::logbook::log::Log;
use landfall::logbook::sidecar::{Asked, Sidecar};
use landfall::pitch::attack::AttackFinder;
use landfall::pitch::{Reading, Tracker};
use landfall::sound::card::{Arrival, CardWish, DeviceName, Host, Opened, Stream};
use landfall::sound::{Block, ChannelWish, FileSource, Format, Heard, Mono, Next, Origin, SoundError, Source};
use landfall::units::{A4, FrameTime, SampleRate};
use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

pub const RATE: u32 = 8000;

pub fn rate() -> SampleRate {
    SampleRate::new(RATE).unwrap()
}

/// Notes everything: a sample as it is, a lost frame as `None`.
#[derive(Clone, Default)]
pub struct Notebook(pub Arc<Mutex<Vec<Vec<Option<f32>>>>>);

/// Each thousand samples are one attempt, so that rows appear while it runs.
pub struct Scribe {
    pub notebook: Notebook,
    pub take: usize,
    pub samples: u32,
    pub told: u32,
    pub slow: Duration,
}

impl Scribe {
    pub fn begin(notebook: &Notebook, slow: Duration) -> Self {
        let mut takes = notebook.0.lock().unwrap();
        takes.push(Vec::new());
        Self { notebook: notebook.clone(), take: takes.len() - 1, samples: 0, told: 0, slow }
    }

    pub fn tell(&mut self, emit: &mut dyn FnMut(Attempt)) {
        while (self.told + 1) * 1000 <= self.samples {
            self.told += 1;
            emit(attempt(self.told));
        }
    }
}

pub fn attempt(number: u32) -> Attempt {
    Attempt {
        attempt: number,
        step: None,
        instead_of: None,
        span: (FrameTime(0), FrameTime(0)),
        technique: Technique::Bend,
        origin_cents: None,
        target_cents: None,
        bend_cents: None,
        degree: None,
        standing: None,
        measures: Measures { onset_s: Some(f64::from(number)), ..Measures::default() },
        restrike: false,
        landing_cents: None,
        repicks: 0,
        score: None,
        faults: Vec::new(),
        tolerance_cents: 10.0,
        release_tolerance_cents: 12.0,
        a4: A4::default(),
        sample_rate: rate(),
    }
}

impl Settles for Scribe {
    fn hear(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt)) {
        std::thread::sleep(self.slow);
        let mut takes = self.notebook.0.lock().unwrap();
        let page = &mut takes[self.take];
        page.extend((0..block.lost_before.0).map(|_| None));
        assert_eq!(block.start.0, page.len() as u64);
        page.extend(block.samples.iter().copied().map(Some));
        drop(takes);
        self.samples += u32::try_from(block.samples.len()).unwrap();
        self.tell(emit);
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Attempt)) {
        self.samples = (self.samples / 1000 + 1) * 1000;
        self.tell(emit);
    }
}

/// Hears nothing.
pub struct Deaf;

impl Tracker for Deaf {
    fn push(&mut self, _: &[f32], _: &mut dyn FnMut(Reading)) {}
    fn lose(&mut self, _: u64, _: &mut dyn FnMut(Reading)) {}
    fn finish(&mut self, _: &mut dyn FnMut(Reading)) {}
}

/// Numbers its frames; loses as many as it says, where it says, and may break down or never end.
#[derive(Clone, Default)]
pub struct Counting {
    pub at: u64,
    pub until: u64,
    pub loss: Option<(u64, u64)>,
    pub mute: bool,
}

impl Source for Counting {
    fn format(&self) -> Format {
        Format { rate: rate(), channels: 1 }
    }

    fn next(&mut self, out: &mut [f32]) -> Result<Heard, SoundError> {
        if let Some((place, frames)) = self.loss.take_if(|(place, _)| *place == self.at) {
            self.at = place + frames;
            return Ok(Heard::Lost(frames));
        }
        let end = self.loss.map_or(self.until, |(place, _)| place);
        let count = out.len().min(usize::try_from(end - self.at).unwrap());
        for sample in &mut out[..count] {
            *sample = if self.mute { 0.0 } else { sample_of(self.at) };
            self.at += 1;
        }
        Ok(if count == 0 { Heard::Ended } else { Heard::Filled(count) })
    }
}

pub fn sample_of(frame: u64) -> f32 {
    ((frame % 10_007) as f32 + 1.0) / 20_000.0
}

/// A card whose thread plays a source at its speed.
pub struct FakeCard {
    pub source: Counting,
    pub frozen: Arc<AtomicBool>,
}

pub struct FakeStream(pub Arc<AtomicBool>);

impl Stream for FakeStream {
    fn opened(&self) -> Opened {
        Opened { device: "fake".into(), format: Format { rate: rate(), channels: 1 }, buffer: Some(80) }
    }
}

impl Drop for FakeStream {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Host for FakeCard {
    fn names(&self) -> Result<Vec<DeviceName>, SoundError> {
        Ok(Vec::new())
    }

    fn open(&self, _: &CardWish, begin: &mut dyn FnMut(Format) -> Arrival) -> Result<Box<dyn Stream>, SoundError> {
        let mut arrival = begin(self.source.format());
        let (mut source, frozen, closed) = (self.source.clone(), Arc::clone(&self.frozen), Arc::new(AtomicBool::new(false)));
        let stream = FakeStream(Arc::clone(&closed));
        std::thread::spawn(move || {
            let opened = Instant::now();
            let mut buffer = [0.0; 80];
            while !closed.load(Ordering::Relaxed) {
                if frozen.load(Ordering::Relaxed) {
                    std::thread::sleep(Duration::from_millis(5));
                    continue;
                }
                let captured = Duration::from_secs_f64(source.at as f64 / f64::from(RATE));
                match source.next(&mut buffer) {
                    Ok(Heard::Filled(count)) => arrival.take(captured, buffer[..count].iter().copied()),
                    Ok(Heard::Lost(_)) => {}
                    _ => return,
                }
                std::thread::sleep(captured.saturating_sub(opened.elapsed()));
            }
        });
        Ok(Box::new(stream))
    }
}

/// Shows nothing and remembers what it was told; presses `q` after a while if it is told to.
#[derive(Default)]
pub struct Silent {
    pub told: Vec<Event>,
    pub fails: bool,
}

impl View for Silent {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        self.told.push(event.clone());
        if self.fails { Err(io::ErrorKind::BrokenPipe.into()) } else { Ok(()) }
    }

    fn reading(&mut self, _: &Reading) {}

    fn draw(&mut self) -> io::Result<()> {
        Ok(())
    }
}

pub struct PressesQ(pub Instant);

impl Keys for PressesQ {
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        std::thread::sleep(wait);
        Ok((Instant::now() > self.0).then_some(Key::End))
    }
}

pub fn world(q_after: Duration) -> World {
    World {
        clock: Arc::new(SystemClock::default()),
        signals: Signals::default(),
        keys: Box::new(PressesQ(Instant::now() + q_after)),
        hosts: Box::new(|| Err(SoundError::NoCards)),
    }
}

pub struct Run {
    pub folder: tempfile::TempDir,
    pub notebook: Notebook,
    pub view: Silent,
    pub outcome: Result<Outcome, LiveError>,
}

pub const LONG: Duration = Duration::from_mins(1);

pub fn run_with(input: Input, world: World, slow: Duration, change: impl FnOnce(&mut Job)) -> Run {
    run_seen(input, world, slow, Silent::default(), change)
}

pub fn run_seen(input: Input, world: World, slow: Duration, mut view: Silent, change: impl FnOnce(&mut Job)) -> Run {
    let folder = tempfile::tempdir().unwrap();
    let notebook = Notebook::default();
    let ears = notebook.clone();
    let mut job = Job {
        channel: ChannelWish::Louder,
        drill: "free".into(),
        asked: Asked::default(),
        beats: Beats::default(),
        a4: A4::default(),
        tolerance: 10.0,
        attempts: None,
        last_step: None,
        seconds: None,
        save: Some(folder.path().join("takes")),
        ring_s: 12.0,
        largest: u64::MAX,
        keep_free: 0,
        patient: false,
        ears: Box::new(move |rate| Ears {
            causal: Box::new(Deaf),
            attacks: AttackFinder::new(rate),
            eye: Provisional::new(rate, A4::default(), Box::new(Wish::default())),
            settled: Box::new(Scribe::begin(&ears, slow)),
            masked: None,
            own: None,
        }),
        row: Box::new(|attempt, setting| Row::graded(attempt, setting, |midi| midi.to_string())),
    };
    change(&mut job);
    let log = Log::open(&folder.path().join("log.csv")).unwrap();
    let outcome = run(world, input, job, Some(log), &mut view);
    Run { folder, notebook, view, outcome }
}

impl Run {
    pub fn takes(&self) -> Vec<Vec<Option<f32>>> {
        self.notebook.0.lock().unwrap().clone()
    }

    /// What the kept takes hold, as their sidecars explain it.
    pub fn kept(&self) -> Vec<Vec<Option<f32>>> {
        self.outcome.as_ref().unwrap().kept.takes.iter().map(|take| heard_again(take)).collect()
    }

    pub fn rows(&self) -> usize {
        let text = std::fs::read_to_string(self.folder.path().join("log.csv")).unwrap();
        text.lines().count() - 1
    }
}

/// A kept take: its samples, with `None` where the sidecar says that sound was lost.
pub fn heard_again(take: &Path) -> Vec<Option<f32>> {
    let mut mono = Mono::new(Box::new(FileSource::open(take).unwrap()), ChannelWish::Louder).unwrap();
    let mut all = Vec::new();
    loop {
        match mono.hear().unwrap() {
            Next::Block(block) => all.extend(block.samples.iter().copied().map(Some)),
            Next::Waiting => {}
            Next::Ended => break,
        }
    }
    for gap in Sidecar::of(take).unwrap().unwrap().gaps {
        for frame in &mut all[usize::try_from(gap.at_frame).unwrap()..][..usize::try_from(gap.frames).unwrap()] {
            assert_eq!(*frame, Some(0.0), "lost sound is silence");
            *frame = None;
        }
    }
    all
}

pub fn played(source: Counting, pace: Pace) -> Input {
    Input::Source { origin: Origin { kind: "synth", name: None }, source: Box::new(source), pace }
}

pub fn card(source: Counting, frozen: &Arc<AtomicBool>) -> (Input, World) {
    let host: Arc<dyn Host> = Arc::new(FakeCard { source, frozen: Arc::clone(frozen) });
    (Input::Card(CardWish::default()), World { hosts: Box::new(move || Ok(Arc::clone(&host))), ..world(LONG) })
}

pub fn wanted(until: u64, lost: std::ops::Range<u64>) -> Vec<Option<f32>> {
    (0..until).map(|frame| (!lost.contains(&frame)).then_some(sample_of(frame))).collect()
}
