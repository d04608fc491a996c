//! `landfall play`: over the chords of a tune.

use super::directories::{Directories, Environment};
use super::fretboard;
use super::live_options::{Hearing, KEEP_FREE, Keeping, LARGEST, Showing, live, summary};
use super::over_changes::{self, DRILL, Over, bars, fixed, named, tempo, typed};
use super::settings::{Given, Settings, tolerance};
use super::{Failure, WrongUse, print};
use crate::grading::Tolerance;
use crate::live::analysis::{Beats, Job};
use crate::live::heard_notes::HeardNotes;
use crate::live::hearing;
use crate::live::keyboard::Keyboard;
use crate::live::play_pages::{Follower, PlayPage, PlayPlain, PlayView, Targets};
use crate::live::session::RING_S;
use crate::live::world::World;
use crate::logbook::sidecar::{Asked, AskedTune, Sidecar};
use crate::practice::backing::{Backing, Manner, Players};
use crate::practice::beat_map::BeatMap;
use crate::practice::click::{Click, Every};
use crate::practice::drone::Drone;
use crate::practice::play::{CameTo, On, PlayWishes, ScoreTime};
use crate::practice::pulse::{Pulse, Pulses};
use crate::sound::out::{Level, Mixer, Part, render};
use crate::theory::NoteName;
use crate::units::{A4, SampleRate};
use crate::views::play::{self as page, Bend};
use std::io::{IsTerminal, stdin, stdout};
use std::path::PathBuf;
use std::sync::Arc;

/// Frames a second of a rendered file.
const OUT_RATE: u32 = 48_000;
/// What still rings when the tune is over, s.
const TAIL_S: f64 = 2.0;

const HELP: &str = "\
Examples:
  landfall play ii-V-I                                 Gm7, C7, Fmaj7: count-in, then play over it
  landfall play ballad --bars 1-4 --rounds 4           four bars again and again
  landfall play ballad --tempo-from 40 --tempo-to 60 --rounds 6
                                                       slowly at first, faster each round
  landfall play --chords \"Em7 A7 Dmaj7\" --tempo 66     chords of your own
  landfall play ii-V-I --key Bb --tuning \"drop D\"      in another key, on another guitar
  landfall play ballad --input take.wav --fast         over a recorded take, as fast as it can be analysed
  landfall play ballad --out backing.wav               only write what would sound

What you bend is graded by the chord in force when the bend arrives; up to an eighth early and still held, it belongs to
the new chord. Early and late are counted from where you usually lie: laid back is a style, only the spread is a fault.
The log's step is the bar of the chart. `landfall chart --list` shows the built-in charts, `landfall devices` the inputs.

Keep headphones and amplifiers at a moderate level, and rest when a hand tires: pain is a reason to stop.";

/// Arguments of `play`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Play over the chords of a tune. After the count-in the page shows the chord now and the next one, its tones on the neck and what \
                  you sound; each bend is graded by the chord of its moment. At the end: where your phrases came to rest, how many notes were \
                  chord, scale or outside tones, how much space you left, and your time against the beat.",
    after_help = HELP
)]
pub struct Args {
    /// A chart file, or the name of a built-in chart
    #[arg(value_name = "CHART", required_unless_present = "chords")]
    chart: Option<PathBuf>,
    /// The chords themselves instead of a chart: "Gm7 C7 F", or with bars "Gm7 | C7 / F / |"
    #[arg(long, value_name = "CHORDS", conflicts_with = "chart")]
    chords: Option<String>,
    /// Another key: the tonic that the tune is moved to; with --chords: their key [default: as written; guessed]
    #[arg(long, value_name = "KEY")]
    key: Option<String>,
    /// With --chords: the metre
    #[arg(long, value_name = "METRE", requires = "chords", default_value = "4/4")]
    metre: String,
    /// Only these bars, counted as played
    #[arg(long, value_name = "BARS", value_parser = bars)]
    bars: Option<(usize, usize)>,
    /// How often they are played
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=10_000))]
    rounds: Option<u32>,
    /// Beats a minute [default: the chart's; 90 with --chords]
    #[arg(long, value_name = "TEMPO", value_parser = tempo)]
    tempo: Option<f64>,
    /// Beats a minute in the first round; the others go evenly to --tempo-to
    #[arg(long, value_name = "TEMPO", value_parser = tempo, conflicts_with = "tempo")]
    tempo_from: Option<f64>,
    /// Beats a minute in the last round
    #[arg(long, value_name = "TEMPO", value_parser = tempo, requires = "rounds", conflicts_with = "tempo")]
    tempo_to: Option<f64>,
    /// Bars of count-in [default: 1, or 2 where one has two beats]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=8))]
    count_in: Option<u32>,
    /// What of a bend should be on the beat: its top or its pick
    #[arg(long, value_name = "top|pick", value_parser = str::parse::<On>, default_value = "top")]
    on: On,
    /// How far off, in cents, still counts as in tune [default: from the settings, else 10]
    #[arg(long, value_name = "CENTS", value_parser = tolerance)]
    tolerance: Option<f64>,
    /// With --input: seconds of the take at which the first bar begins [default: as recorded, else after the count-in]
    #[arg(long, value_name = "S", requires = "input", allow_negative_numbers = true)]
    chart_start: Option<f64>,
    #[command(flatten)]
    band: Band,
    #[command(flatten)]
    showing: Showing,
    /// Open strings from low to high, or a name such as "drop D" [default: your setting, else standard]
    #[arg(long, value_name = "NOTES", help_heading = "Guitar")]
    tuning: Option<String>,
    /// Show targets around this position only
    #[arg(long, value_name = "FRET", help_heading = "Guitar")]
    position: Option<u8>,
    /// Draw for a left-handed guitar
    #[arg(long, help_heading = "Guitar")]
    left: bool,
    #[command(flatten)]
    hearing: Hearing,
    #[command(flatten)]
    keeping: Keeping,
}

/// What sounds.
#[derive(Debug, Default, clap::Args)]
#[command(next_help_heading = "Band")]
struct Band {
    /// Leave players out: bass, chords, drums, or all
    #[arg(long, value_name = "PLAYERS", value_delimiter = ',')]
    without: Vec<Player>,
    /// A click besides: on each beat, each count, or every other beat (half time)
    #[arg(long, value_name = "WHERE", num_args = 0..=1, default_missing_value = "beat")]
    click: Option<ClickOn>,
    /// The backbeat comes half as often
    #[arg(long)]
    half_time: bool,
    /// A drone instead of the band: the first tonic, or it and its fifth
    #[arg(long, value_name = "WHAT", num_args = 0..=1, default_missing_value = "fifth")]
    drone: Option<DroneOf>,
    /// The band plays a little differently with another number
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// How loud, in dB: 0 is the loudest, -60 the softest [default: -20, quiet; with --out 0]
    #[arg(long, value_name = "DB", value_parser = level, allow_negative_numbers = true)]
    level: Option<Level>,
    /// Write what would sound to a WAV file, and listen to nothing
    #[arg(long, value_name = "FILE", conflicts_with = "input")]
    out: Option<PathBuf>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Player {
    Bass,
    Chords,
    Drums,
    All,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum ClickOn {
    Beat,
    Count,
    Half,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum DroneOf {
    Root,
    Fifth,
}

fn level(text: &str) -> Result<Level, String> {
    text.trim().parse().ok().and_then(Level::db).ok_or_else(|| "it is in dB, from -60 to 0".into())
}

impl Band {
    fn manner(&self) -> Manner {
        let plays = |player: Player| !self.without.contains(&player) && !self.without.contains(&Player::All);
        let players = Players { bass: plays(Player::Bass), comp: plays(Player::Chords), drums: plays(Player::Drums) };
        Manner { players, half_time: self.half_time, seed: self.seed }
    }

    /// Everything that sounds; score time 0 is `zero_s` of the output.
    fn parts(&self, over: &Over, count_in: &[Pulse], zero_s: f64, a4: A4, rate: SampleRate) -> Vec<Box<dyn Part>> {
        let every = match self.click {
            Some(ClickOn::Count) => Every::Count,
            Some(ClickOn::Half) => Every::OtherBeat,
            Some(ClickOn::Beat) | None => Every::Beat,
        };
        let clicked = if self.click.is_some() { over.tune.pulses() } else { Vec::new() };
        let mut parts: Vec<Box<dyn Part>> = vec![Box::new(Click::new(count_in.to_vec(), Pulses::Tune(clicked), every, zero_s, rate))];
        let timeline = &over.tune.timeline;
        match (self.drone, timeline.bars.first()) {
            (Some(drone), Some(first)) => {
                let seconds = zero_s + timeline.length_s;
                parts.push(Box::new(Drone::new(first.key.tonic(), drone == DroneOf::Fifth, Some(seconds), a4, rate)));
            }
            _ => parts.push(Box::new(Backing::new(timeline, self.manner(), a4, zero_s, rate))),
        }
        parts
    }
}

impl Args {
    /// Plays.
    ///
    /// # Errors
    /// A chart with a mistake; when nothing can be heard, or a take or a row could not be kept.
    pub fn run(self) -> Result<(), Failure> {
        let environment = Environment::of_process();
        let directories = Directories::of(&environment)?;
        let recorded = self.hearing.recorded()?;
        let flags = Given { tolerance: self.tolerance, ..Given::default() };
        let settings = self.hearing.settings(&environment, &recorded, flags)?;
        let asked = self.asked()?;
        let over = Over::of(&asked)?;
        let count_in = over.tune.count_in(self.count_in);
        let zero_s = count_in.first().map_or(0.0, |bar| -bar.start_s);
        if let Some(file) = &self.band.out {
            return self.write_out(&over, &count_in, zero_s, &settings, file);
        }
        let targets = self.targets()?;
        let map = self.map(&over, &asked, &recorded, zero_s);
        let calibrated = if self.hearing.input.is_some() { recorded.calibrated } else { Some(false) };
        let notes = HeardNotes::default();
        let tolerance = Tolerance::of_cents(settings.tolerance.value);
        let score_time = fixed(map.clone());
        let uncalibrated = calibrated == Some(false);
        let wishes = over.wishes(Arc::clone(&score_time), tolerance).uncalibrated(uncalibrated).telling(notes.told());
        let input = self.hearing.open(&settings, &recorded)?;
        let log = self.keeping.log(&directories)?;
        let log_path = log.path().to_owned();
        let beats = Beats { at_s: over.tune.beats().filter_map(|beat| map.take_of(beat)).collect(), calibrated };
        let job = self.job(&settings, asked, &wishes, beats, &directories);
        let mut world = World::real()?;
        let mut view = self.view(&mut world, &environment, &settings, &over, &score_time, targets)?;
        let outcome = live(world, input, job, Some(log), view.as_mut());
        // From here on the terminal is the shell's again.
        let (played, heard_s) = view.finish();
        let outcome = outcome?;
        let came_to = CameTo::of(&over.tune, &score_time, over.on, &notes.all(), heard_s);
        let bends: Vec<Bend<'_>> = played
            .iter()
            .map(|(attempt, row)| Bend {
                attempt,
                bar: row.step,
                chord: row.chord.as_deref(),
                degree: row.degree.as_deref(),
                notes: (row.origin_note.as_deref(), row.target_note.as_deref()),
            })
            .collect();
        print(&format!("\n{}", page::summary(&bends, &came_to, tolerance.beat_ms, uncalibrated)))?;
        summary(&outcome, &log_path)
    }

    /// The tune as asked for.
    fn asked(&self) -> Result<AskedTune, Failure> {
        let mut asked = match (&self.chart, &self.chords) {
            (Some(chart), _) => named(chart)?,
            (None, Some(chords)) => {
                let chart = typed(chords, self.key.as_deref(), &self.metre, self.tempo.unwrap_or(90.0))?;
                AskedTune { name: "the chords".into(), chart, ..AskedTune::default() }
            }
            (None, None) => return Err(WrongUse("name a chart, or give its chords with --chords".into()).into()),
        };
        asked.bars = self.bars;
        asked.rounds = self.rounds;
        asked.tempo_from = self.tempo.or(self.tempo_from);
        asked.tempo_to = self.tempo_to;
        asked.on = Some(self.on.word().to_owned());
        if self.chords.is_none()
            && let Some(key) = &self.key
        {
            // Only the tonic is moved: `Bb minor` says which one as well as `Bb`.
            let tonic = key.split_whitespace().next().unwrap_or_default();
            asked.tonic = Some(tonic.parse::<NoteName>()?.to_string());
        }
        Ok(asked)
    }

    /// Where the tune lies in the take.
    fn map(&self, over: &Over, asked: &AskedTune, recorded: &Sidecar, zero_s: f64) -> BeatMap {
        let same = recorded.asked.tune.as_ref().is_some_and(|tune| AskedTune { name: asked.name.clone(), ..tune.clone() } == *asked);
        let beats: Vec<f64> = if same && self.chart_start.is_none() && !recorded.beats_at.is_empty() {
            recorded.beats_at.clone()
        } else {
            let start_s = self.chart_start.unwrap_or(zero_s);
            over.tune.beats().map(|beat| start_s + beat).collect()
        };
        BeatMap::measured(over.tune.beats(), beats)
    }

    fn targets(&self) -> Result<Targets, Failure> {
        let guitar = fretboard::Options::few(self.tuning.clone(), self.position, self.left).guitar()?;
        // As much of the neck as 80 columns hold; most bends lie between frets 5 and 15.
        let frets = guitar.window.frets().unwrap_or((0, 15.min(guitar.neck.frets())));
        Ok(Targets { neck: guitar.neck, frets, left_handed: guitar.left_handed })
    }

    fn view(
        &self,
        world: &mut World,
        environment: &Environment,
        settings: &Settings,
        over: &Over,
        score_time: &ScoreTime,
        targets: Targets,
    ) -> Result<Box<dyn PlayView>, Failure> {
        let follower = Follower::new(Arc::clone(&over.tune), Arc::clone(score_time), targets, settings.a4.value);
        if !self.showing.is_paged() {
            return Ok(Box::new(PlayPlain::new(stdout(), self.hearing.fast, follower)));
        }
        if stdin().is_terminal() {
            world.keys = Box::new(Keyboard::listen());
        }
        Ok(Box::new(PlayPage::new(Showing::look(settings, environment), follower)?))
    }

    fn job(&self, settings: &Settings, tune: AskedTune, wishes: &PlayWishes, beats: Beats, directories: &Directories) -> Job {
        let namer = wishes.clone();
        Job {
            channel: Hearing::channel(settings),
            drill: DRILL.into(),
            asked: Asked { drill: Some(DRILL.into()), tune: Some(tune), ..Asked::default() },
            beats,
            a4: settings.a4.value,
            tolerance: settings.tolerance.value,
            attempts: None,
            last_step: None,
            seconds: self.showing.seconds,
            save: self.keeping.takes(directories),
            ring_s: RING_S,
            largest: LARGEST,
            keep_free: KEEP_FREE,
            patient: self.hearing.fast,
            ears: hearing::ears(settings.a4.value, wishes.clone()),
            row: Box::new(move |attempt, setting| over_changes::row(&namer, attempt, setting)),
        }
    }

    /// Writes what would sound.
    fn write_out(&self, over: &Over, count_in: &[Pulse], zero_s: f64, settings: &Settings, file: &std::path::Path) -> Result<(), Failure> {
        let rate = SampleRate::new(OUT_RATE).ok_or("no rate")?;
        let mut mixer = Mixer::new(rate);
        mixer.set_level(self.band.level.or(Level::db(0.0)).unwrap_or_default());
        let parts = self.band.parts(over, count_in, zero_s, settings.a4.value, rate);
        let seconds = zero_s + over.tune.timeline.length_s + TAIL_S;
        render(mixer, parts, seconds, file)?;
        print(&format!("{}: {seconds:.1} s; the first bar begins at {zero_s:.3} s\n", file.display()))
    }
}
