//! The listener: a live run with the page, whose readings and frames are noted against the clock of the card's input.
//!
//! A frame is on the terminal when its bytes have been written there. A sample is at the connector when the card's own time says so; a line is
//! fitted through that (see `live/clocks.rs`), so that the card's buffer counts too and a late callback does not hide.

use landfall::grading::{Glimpse, Wish};
use landfall::live::analysis::{Beats, Job};
use landfall::live::events::Event;
use landfall::live::fit::Fit;
use landfall::live::hearing::ears;
use landfall::live::keyboard::Keyboard;
use landfall::live::pages::PageView;
use landfall::live::session::{Input, RING_S, View, run};
use landfall::live::world::World;
use landfall::logbook::Row;
use landfall::logbook::log::Log;
use landfall::logbook::sidecar::Asked;
use landfall::pitch::Reading;
use landfall::sound::ChannelWish;
use landfall::sound::card::{self, Card, CardWish, TakeTime};
use landfall::units::{A4, FrameTime, SampleRate};
use landfall::views::live::Look;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::time::Instant;

/// Names the folder to note into; makes the program the listener.
pub const WHERE: &str = "LANDFALL_LATENCY_IN";
/// For how many seconds of sound.
pub const SECONDS: &str = "LANDFALL_LATENCY_S";
/// A file that is there once sound arrives.
pub const LISTENS: &str = "listens";
/// What was noted.
pub const NOTED: &str = "noted.txt";
/// The card's rate.
pub const RATE: u32 = 48_000;
/// Frames over which the rate of drawing is taken.
pub const FROM_FRAME: usize = 31;

/// One reading on the screen.
pub struct Shown {
    pub hz: f64,
    /// From the instant that it describes to the frame.
    pub since_at_ms: f64,
    /// From the last sample that it needed to the frame.
    pub since_ready_ms: f64,
    /// The frame.
    pub frame_s: f64,
    /// The last reading of its frame: where the pitch stands in it.
    pub newest: bool,
}

impl FromStr for Shown {
    type Err = Box<dyn std::error::Error>;

    fn from_str(row: &str) -> Result<Self, Self::Err> {
        let cells: Vec<f64> = row.split(' ').map(str::parse).collect::<Result<_, _>>()?;
        let [hz, since_at_ms, since_ready_ms, frame_s, newest] = cells.try_into().map_err(|_| "five cells")?;
        Ok(Self { hz, since_at_ms, since_ready_ms, frame_s, newest: newest > 0.5 })
    }
}

/// The page, and when it showed what.
struct Noting {
    page: PageView,
    folder: PathBuf,
    epoch: Instant,
    time: TakeTime,
    stamps_read: u64,
    fit: Fit,
    onset: Option<FrameTime>,
    waiting: Vec<Reading>,
    /// Readings with their frame's instant; the last of each frame is marked.
    shown: Vec<(Reading, f64, bool)>,
    lost: bool,
    /// The processors' time and the instant, as long as all threads live.
    processor: [([f64; 2], f64); 2],
}

impl Noting {
    fn follow_the_clock(&mut self) {
        let Some(now) = self.time.now() else { return };
        let Self { stamps_read, fit, epoch, .. } = self;
        now.pulse.stamps().read(stamps_read, &mut |stamp| fit.add(stamp.frame, stamp.at.saturating_duration_since(*epoch).as_secs_f64()));
    }

    fn rows(&self) -> String {
        let offset = self.time.now().unwrap().offset as f64;
        let captured_s = |frame: FrameTime| self.fit.seconds(frame.0 as f64 - offset).unwrap();
        let row = |(reading, frame_s, newest): &(Reading, f64, bool)| {
            let since_ms = |frame| 1000.0 * (frame_s - captured_s(frame));
            let hz = reading.hz().unwrap();
            format!("{hz} {} {} {frame_s} {}\n", since_ms(reading.at), since_ms(reading.ready), u8::from(*newest))
        };
        self.shown.iter().map(row).collect()
    }
}

impl View for Noting {
    fn event(&mut self, event: &Event) -> io::Result<()> {
        match event {
            Event::TakeBegan { .. } => {
                self.processor[0] = (processor_s(), self.epoch.elapsed().as_secs_f64());
                fs::write(self.folder.join(LISTENS), "")?;
            }
            Event::Seen(Glimpse::Began(at)) => self.onset = Some(*at),
            Event::Fault(_) => self.lost = true,
            Event::TakeEnded { .. } => self.processor[1] = (processor_s(), self.epoch.elapsed().as_secs_f64()),
            _ => {}
        }
        self.page.event(event)
    }

    fn reading(&mut self, reading: &Reading) {
        // The page shows nothing before the first attack.
        if reading.hz().is_some() && self.onset.is_some_and(|onset| reading.at >= onset) {
            self.waiting.push(*reading);
        }
        self.page.reading(reading);
    }

    fn draw(&mut self) -> io::Result<()> {
        self.page.draw()?;
        let frame_s = self.epoch.elapsed().as_secs_f64();
        let count = self.waiting.len();
        self.shown.extend(self.waiting.drain(..).enumerate().map(|(n, reading)| (reading, frame_s, n + 1 == count)));
        self.follow_the_clock();
        Ok(())
    }
}

/// Listens to the card, and notes.
pub fn listen(folder: &Path) {
    let a4 = A4::default();
    let job = Job {
        channel: ChannelWish::Louder,
        drill: "free".into(),
        asked: Asked::default(),
        beats: Beats::default(),
        a4,
        tolerance: 10.0,
        attempts: None,
        last_step: None,
        seconds: Some(std::env::var(SECONDS).unwrap().parse().unwrap()),
        save: Some(folder.join("takes")),
        ring_s: RING_S,
        largest: u64::MAX,
        keep_free: 0,
        patient: false,
        ears: ears(a4, Wish::default()),
        row: Box::new(|attempt, setting| Row::graded(attempt, setting, |midi| midi.to_string())),
    };
    let log = Log::open(&folder.join("attempts.csv")).unwrap();
    let mut world = World::real().unwrap();
    world.keys = Box::new(Keyboard::listen());
    let epoch = Instant::now();
    let (card, takes) = Card::open(card::system().unwrap(), CardWish::default(), RING_S).unwrap();
    let buffer = card.opened().buffer;
    let mut view = Noting {
        page: PageView::new(Look { colour: true }, a4, Box::new(|_, _| None)).unwrap(),
        folder: folder.to_owned(),
        epoch,
        time: card.time(),
        stamps_read: 0,
        fit: Fit::new(SampleRate::new(RATE).unwrap()),
        onset: None,
        waiting: Vec::new(),
        shown: Vec::new(),
        lost: false,
        processor: [([0.0; 2], 0.0); 2],
    };
    run(world, Input::Opened(card, takes), job, Some(log), &mut view).unwrap();
    assert!(!view.lost, "sound was lost");
    let buffer = buffer.map_or_else(|| "unknown".to_owned(), |frames| frames.to_string());
    let [(before, begun_s), (after, ended_s)] = view.processor;
    let [library, own] = [0, 1].map(|part| 100.0 * (after[part] - before[part]) / (ended_s - begun_s));
    let head = format!(
        "frames a callback: {buffer}; of one core: {own:.1} % for landfall's threads, {library:.1} % for the audio library's that fetches the sound"
    );
    fs::write(folder.join(NOTED), format!("{head}\n{}", view.rows())).unwrap();
}

/// Seconds that this process has had of the processors so far, from Linux's count of hundredths: the thread on which the audio library
/// fetches the sound, and all others.
fn processor_s() -> [f64; 2] {
    let mut seconds = [0.0; 2];
    for thread in fs::read_dir("/proc/self/task").unwrap() {
        // A thread may end meanwhile.
        let Ok(stat) = fs::read_to_string(thread.unwrap().path().join("stat")) else { continue };
        let (name, rest) = stat.rsplit_once(')').unwrap();
        let ticks: f64 = rest.split_whitespace().skip(11).take(2).map(|ticks| ticks.parse::<f64>().unwrap()).sum();
        seconds[usize::from(!name.contains("cpal"))] += ticks / 100.0;
    }
    seconds
}
