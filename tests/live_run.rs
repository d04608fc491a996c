//! A live run as a whole, with ears that know what they should have heard: what comes in by any door arrives at the ears and on the disk
//! alike, or is a loss at its place.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]
#![allow(clippy::float_cmp, reason = "samples are compared bit for bit")]

use landfall::grading::{Attempt, Measures, Provisional, Technique, Wish};
use landfall::live::analysis::{Beats, Job};
use landfall::live::clock::{Clock, SystemClock};
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

const RATE: u32 = 8000;

fn rate() -> SampleRate {
    SampleRate::new(RATE).unwrap()
}

/// Notes everything: a sample as it is, a lost frame as `None`.
#[derive(Clone, Default)]
struct Notebook(Arc<Mutex<Vec<Vec<Option<f32>>>>>);

/// Each thousand samples are one attempt, so that rows appear while it runs.
struct Scribe {
    notebook: Notebook,
    take: usize,
    samples: u32,
    told: u32,
    slow: Duration,
}

impl Scribe {
    fn begin(notebook: &Notebook, slow: Duration) -> Self {
        let mut takes = notebook.0.lock().unwrap();
        takes.push(Vec::new());
        Self { notebook: notebook.clone(), take: takes.len() - 1, samples: 0, told: 0, slow }
    }

    fn tell(&mut self, emit: &mut dyn FnMut(Attempt)) {
        while (self.told + 1) * 1000 <= self.samples {
            self.told += 1;
            emit(attempt(self.told));
        }
    }
}

fn attempt(number: u32) -> Attempt {
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
struct Deaf;

impl Tracker for Deaf {
    fn push(&mut self, _: &[f32], _: &mut dyn FnMut(Reading)) {}
    fn lose(&mut self, _: u64, _: &mut dyn FnMut(Reading)) {}
    fn finish(&mut self, _: &mut dyn FnMut(Reading)) {}
}

/// Numbers its frames; loses as many as it says, where it says, and may break down or never end.
#[derive(Clone, Default)]
struct Counting {
    at: u64,
    until: u64,
    loss: Option<(u64, u64)>,
    mute: bool,
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

fn sample_of(frame: u64) -> f32 {
    ((frame % 10_007) as f32 + 1.0) / 20_000.0
}

/// A card whose thread plays a source at its speed.
struct FakeCard {
    source: Counting,
    frozen: Arc<AtomicBool>,
}

struct FakeStream(Arc<AtomicBool>);

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
struct Silent {
    told: Vec<Event>,
    fails: bool,
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

struct PressesQ(Instant);

impl Keys for PressesQ {
    fn next(&mut self, wait: Duration) -> io::Result<Option<Key>> {
        std::thread::sleep(wait);
        Ok((Instant::now() > self.0).then_some(Key::End))
    }
}

fn world(q_after: Duration) -> World {
    World {
        clock: Arc::new(SystemClock::default()),
        signals: Signals::default(),
        keys: Box::new(PressesQ(Instant::now() + q_after)),
        hosts: Box::new(|| Err(SoundError::NoCards)),
    }
}

struct Run {
    folder: tempfile::TempDir,
    notebook: Notebook,
    view: Silent,
    outcome: Result<Outcome, LiveError>,
}

const LONG: Duration = Duration::from_mins(1);

fn run_with(input: Input, world: World, slow: Duration, change: impl FnOnce(&mut Job)) -> Run {
    run_seen(input, world, slow, Silent::default(), change)
}

fn run_seen(input: Input, world: World, slow: Duration, mut view: Silent, change: impl FnOnce(&mut Job)) -> Run {
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
    fn takes(&self) -> Vec<Vec<Option<f32>>> {
        self.notebook.0.lock().unwrap().clone()
    }

    /// What the kept takes hold, as their sidecars explain it.
    fn kept(&self) -> Vec<Vec<Option<f32>>> {
        self.outcome.as_ref().unwrap().kept.takes.iter().map(|take| heard_again(take)).collect()
    }

    fn rows(&self) -> usize {
        let text = std::fs::read_to_string(self.folder.path().join("log.csv")).unwrap();
        text.lines().count() - 1
    }
}

/// A kept take: its samples, with `None` where the sidecar says that sound was lost.
fn heard_again(take: &Path) -> Vec<Option<f32>> {
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

fn played(source: Counting, pace: Pace) -> Input {
    Input::Source { origin: Origin { kind: "synth", name: None }, source: Box::new(source), pace }
}

fn card(source: Counting, frozen: &Arc<AtomicBool>) -> (Input, World) {
    let host: Arc<dyn Host> = Arc::new(FakeCard { source, frozen: Arc::clone(frozen) });
    (Input::Card(CardWish::default()), World { hosts: Box::new(move || Ok(Arc::clone(&host))), ..world(LONG) })
}

fn wanted(until: u64, lost: std::ops::Range<u64>) -> Vec<Option<f32>> {
    (0..until).map(|frame| (!lost.contains(&frame)).then_some(sample_of(frame))).collect()
}

#[test]
fn a_loss_in_any_kind_of_input_is_a_gap_of_its_length_at_its_place() {
    let source = Counting { until: 9000, loss: Some((4000, 1300)), ..Counting::default() };
    let frozen = Arc::default();
    let (from_card, card_world) = card(source.clone(), &frozen);
    let folder = tempfile::tempdir().unwrap();
    let wav = folder.path().join("take.wav");
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    (0..9000).for_each(|frame| writer.write_sample(sample_of(frame)).unwrap());
    writer.finalize().unwrap();
    let file = landfall::sound::WithGaps::new(Box::new(FileSource::open(&wav).unwrap()), vec![(4000, 1300)], Vec::new());
    let file = Input::Source { origin: Origin { kind: "file", name: None }, source: Box::new(file), pace: Pace::Fast };
    let synth = played(source.clone(), Pace::AsPlayed);
    for (kind, input, world) in [("card", from_card, card_world), ("file", file, world(LONG)), ("fake", synth, world(LONG))] {
        let run = run_with(input, world, Duration::ZERO, |job| job.seconds = Some(9000.0 / f64::from(RATE)));
        assert!(run.outcome.is_ok(), "{kind}: {:?}", run.outcome);
        assert!(run.takes() == [wanted(9000, 4000..5300)], "{kind}: the ears");
        assert!(run.kept() == run.takes(), "{kind}: the take on the disk");
        assert!(run.view.told.iter().any(|event| matches!(event, Event::Fault(landfall::sound::FaultKind::Lost))), "{kind}: said");
        assert_eq!(run.rows(), run.view.told.iter().filter(|event| matches!(event, Event::Graded(_))).count(), "{kind}");
    }
}

#[test]
fn an_analysis_that_is_too_slow_loses_sound_at_its_place_and_says_so() {
    let source = Counting { until: 16_000, ..Counting::default() };
    let frozen = Arc::default();
    let (from_card, card_world) = card(source.clone(), &frozen);
    for (kind, input, world) in [("card", from_card, card_world), ("played", played(source, Pace::AsPlayed), world(LONG))] {
        let run = run_with(input, world, Duration::ZERO, |job| {
            job.seconds = Some(2.0);
            job.ring_s = 0.05;
            // 0.2 s away from the ring, once in a while.
            let mut ears = std::mem::replace(&mut job.ears, Box::new(|_| unreachable!()));
            job.ears = Box::new(move |rate| {
                let ears = ears(rate);
                Ears { settled: Box::new(Drowsy(ears.settled, 0)), ..ears }
            });
        });
        let takes = run.takes();
        assert_eq!(takes.len(), 1, "{kind}");
        let lost = takes[0].iter().filter(|frame| frame.is_none()).count();
        assert!(lost > 500, "{kind}: {lost} frames lost");
        let in_place = takes[0]
            .iter()
            .enumerate()
            .all(|(frame, sample)| sample.is_none_or(|sample| sample.to_bits() == sample_of(frame as u64).to_bits()));
        assert!(in_place, "{kind}: every frame is heard at its place or lost");
        assert!(run.kept() == takes, "{kind}: the take on the disk");
    }
}

/// Falls asleep at each tenth block.
struct Drowsy(Box<dyn Settles>, u32);

impl Settles for Drowsy {
    fn hear(&mut self, block: &Block<'_>, emit: &mut dyn FnMut(Attempt)) {
        self.1 += 1;
        if self.1.is_multiple_of(10) {
            std::thread::sleep(Duration::from_millis(200));
        }
        self.0.hear(block, emit);
    }

    fn finish(&mut self, emit: &mut dyn FnMut(Attempt)) {
        self.0.finish(emit);
    }
}

#[test]
fn a_fast_file_is_heard_whole_however_slow_the_ears() {
    let source = Counting { until: 200_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::from_millis(2), |job| job.patient = true);
    assert!(run.takes() == [wanted(200_000, 0..0)] && run.kept() == run.takes());
    assert_eq!(run.rows(), 201);
}

#[test]
fn q_ends_the_run_with_the_take_closed_and_every_row_written() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let run = run_with(played(source, Pace::AsPlayed), world(Duration::from_millis(500)), Duration::ZERO, |_| {});
    let takes = run.takes();
    assert!(takes[0].len() > 2000 && takes[0].len() < 40_000, "{} frames", takes[0].len());
    assert!(run.kept() == takes);
    assert_eq!(run.rows(), takes[0].len() / 1000 + 1);
}

#[test]
fn enough_attempts_end_the_run_and_what_was_begun_is_still_graded() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::ZERO, |job| job.attempts = Some(3));
    assert!(run.rows() >= 4, "three, and the one that was under way");
    assert!(run.kept() == run.takes());
}

#[test]
fn a_view_that_is_gone_ends_the_run_and_loses_nothing() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let gone = Silent { fails: true, ..Silent::default() };
    let run = run_seen(played(source, Pace::AsPlayed), world(LONG), Duration::ZERO, gone, |_| {});
    assert!(matches!(run.outcome, Err(LiveError::View(ref error)) if error.kind() == io::ErrorKind::BrokenPipe));
    let takes: Vec<_> = std::fs::read_dir(run.folder.path().join("takes")).unwrap().map(|entry| entry.unwrap().path()).collect();
    let wav = takes.iter().find(|path| path.extension().is_some_and(|extension| extension == "wav")).unwrap();
    assert!(heard_again(wav) == run.takes()[0]);
    assert_eq!(run.rows(), run.takes()[0].len() / 1000 + 1);
}

#[test]
fn a_file_as_large_as_it_may_be_is_closed_and_another_begun_without_losing_a_sample() {
    let source = Counting { until: 20_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::ZERO, |job| job.largest = 40_000);
    let takes = run.takes();
    assert!(takes.len() >= 2, "{} takes", takes.len());
    assert!(takes.concat() == wanted(20_000, 0..0));
    assert!(run.kept() == takes);
}

#[test]
fn a_full_disk_costs_the_take_and_not_the_rows() {
    let source = Counting { until: 20_000, ..Counting::default() };
    let run = run_with(played(source, Pace::Fast), world(LONG), Duration::ZERO, |job| job.keep_free = u64::MAX);
    assert_eq!(run.rows(), 21);
    assert!(run.outcome.unwrap().kept.takes.is_empty());
    assert!(run.view.told.iter().any(|event| matches!(event, Event::Notice(sentence) if sentence.contains("MB are free"))));
}

#[test]
fn a_panic_in_the_analysis_is_a_failure_and_the_take_is_closed() {
    let source = Counting { until: 1_000_000, ..Counting::default() };
    let run = run_with(played(source, Pace::AsPlayed), world(LONG), Duration::ZERO, |job| {
        let mut row = std::mem::replace(&mut job.row, Box::new(|_, _| unreachable!()));
        job.row = Box::new(move |attempt, setting| {
            assert!(attempt.attempt < 3, "a fault of the test's making");
            row(attempt, setting)
        });
    });
    let sentence = run.outcome.unwrap_err().to_string();
    assert!(sentence.contains("failed inside") && sentence.contains(".wav"), "{sentence}");
    let text = std::fs::read_to_string(run.folder.path().join("log.csv")).unwrap();
    assert_eq!(text.lines().count(), 3, "two rows and the head");
}

#[test]
fn an_outage_of_the_card_of_over_two_seconds_begins_another_take() {
    let frozen: Arc<AtomicBool> = Arc::default();
    let source = Counting { until: 1_000_000, loss: None, ..Counting::default() };
    let (input, world) = card(source, &frozen);
    let freezer = Arc::clone(&frozen);
    let freezing = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(500));
        freezer.store(true, Ordering::Relaxed);
        std::thread::sleep(Duration::from_millis(2600));
        freezer.store(false, Ordering::Relaxed);
    });
    let run = run_with(input, world, Duration::ZERO, |job| job.seconds = Some(1.5));
    freezing.join().unwrap();
    let takes = run.takes();
    assert_eq!(takes.len(), 2);
    // This card goes on where it stopped, so nothing is lost.
    assert!(takes.concat() == wanted(12_000, 0..0));
    assert!(run.kept() == takes);
    let notices: Vec<&str> =
        run.view.told.iter().filter_map(|event| if let Event::Notice(sentence) = event { Some(sentence.as_str()) } else { None }).collect();
    assert!(notices.iter().any(|notice| notice.contains("no sound arrives")), "{notices:?}");
    assert!(notices.iter().any(|notice| notice.contains("heard again")), "{notices:?}");
}

/// A clock whose calendar is stopped at an instant.
struct Stopped(SystemClock, jiff::Timestamp);

impl Clock for Stopped {
    fn now(&self) -> Duration {
        self.0.now()
    }

    fn instant(&self) -> (jiff::Timestamp, jiff::tz::Offset) {
        (self.1, jiff::tz::Offset::UTC)
    }

    fn wait(&self, span: Duration) {
        self.0.wait(span);
    }
}

#[test]
fn takes_of_one_second_that_are_not_kept_have_names_of_their_own() {
    let names = ["2025-03-09T20:15:00.020Z", "2025-03-09T20:15:00.470Z"].map(|instant| {
        let clock = Stopped(SystemClock::default(), instant.parse().unwrap());
        let source = Counting { until: 8000, ..Counting::default() };
        let world = World { clock: Arc::new(clock), ..world(LONG) };
        let run = run_with(played(source, Pace::Fast), world, Duration::ZERO, |job| job.save = None);
        let begun =
            run.view.told.iter().find_map(|event| if let Event::TakeBegan { name, .. } = event { Some(name.clone()) } else { None });
        begun.unwrap()
    });
    assert_eq!(names, ["2025-03-09_20-15-00-020_free", "2025-03-09_20-15-00-470_free"]);
}

#[test]
fn an_input_of_exact_zeros_is_called_dead_once() {
    let source = Counting { until: 1_000_000, mute: true, ..Counting::default() };
    let (input, world) = card(source, &Arc::default());
    let run = run_with(input, world, Duration::ZERO, |job| job.seconds = Some(5.6));
    let dead = run.view.told.iter().filter(|event| matches!(event, Event::Notice(sentence) if sentence.contains("dead silent"))).count();
    assert_eq!(dead, 1);
}
