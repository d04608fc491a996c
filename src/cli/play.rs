//! `landfall play`: over the chords of a tune.

mod sides;

use super::band::{Band, Playing};
use super::directories::{Directories, Environment};
use super::fretboard;
use super::live_options::{Hearing, KEEP_FREE, Keeping, LARGEST, Reference, Showing, live, reference_or_track, summary};
use super::neck::columns;
use super::over_changes::{self, DRILL, Over, bars, by_own_beats, fixed, in_key, tempo, typed};
use super::settings::{self, Given, Settings, tolerance};
use super::track::{self, Read, Recording};
use super::{Failure, WrongUse, print, remark};
use crate::grading::{Attempt, Tolerance};
use crate::live::analysis::{Beats, Job};
use crate::live::ears::MakeEars;
use crate::live::feeder::Pace;
use crate::live::heard_notes::HeardNotes;
use crate::live::hearing;
use crate::live::keyboard::Keyboard;
use crate::live::masked::Replays;
use crate::live::own_sound::OwnSound;
use crate::live::play_pages::{Follower, PlayPage, PlayPlain, PlayView, Targets};
use crate::live::reminding::Minder;
use crate::live::session::{Input, RING_S};
use crate::live::speaker::{Begin, Ear, LEAD_S, Speaker};
use crate::live::world::World;
use crate::logbook::Row;
use crate::logbook::sidecar::{Asked, AskedBand, AskedTune, Sidecar};
use crate::practice::beat_map::BeatMap;
use crate::practice::play::{On, PlayWishes, ScoreTime, example};
use crate::practice::pulse::frame_at;
use crate::sound::Origin;
use crate::sound::card::CardWish;
use crate::sound::out::{Level, Mixer, render};
use crate::sound::synth::Synth;
use crate::theory::chart::Feel;
use crate::units::SampleRate;
use crate::views::paragraph::narrowed;
use sides::Sides;
use std::io::{IsTerminal, stdin, stdout};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Frames a second of a rendered file.
const OUT_RATE: u32 = 48_000;
/// What still rings when the tune is over, s.
const TAIL_S: f64 = 2.0;

const HELP: &str = "\
Examples:
  landfall play ii-V-I                              count-in, then Gm7, C7, F
  landfall play ballad --bars 1-4 --rounds 4        four bars again and again
  landfall play ballad --tempo-from 40 --tempo-to 60 --rounds 6
                                                    slowly first, then faster
  landfall play --chords \"Em7 A7 Dmaj7\" --tempo 66  chords of your own
  landfall play ii-V-I --key Bb --tuning \"drop D\"   another key and guitar
  landfall play ballad --track ours.flac --track-start 12.4
                                                    a recording, bar 1 at 12.4 s
  landfall play ballad --track ours.flac --tempo 45 --bars 5-8 --rounds 9
                                                    slowly, at its own pitch
  landfall play ballad --input take.wav --fast      over a recorded take
  landfall play ballad --out backing.wav            only write what would sound

What you bend is graded by the chord in force when the bend arrives; up to an eighth early and still held, it belongs to \
the new chord. Early and late are counted from the nearest eighth (in 2/2 the nearest quarter), less where you usually lie, 60 ms at most: laid back is a style, only the spread is a fault. \
The log's step is the bar of the chart. `landfall chart --list` shows the built-in charts, `landfall devices` the inputs.

A recording begins with bar 1, after the count-in, and goes at the chart's tempo unless --track-tempo says its own; a slower \
--tempo (down to half) keeps its pitch, softens its attacks, and lets close low notes waver. A loop plays exactly its bars. \
The recording's tuning is measured and said: --a4 track measures you against it.

Keep headphones and amplifiers at a moderate level, and rest when a hand tires: pain is a reason to stop.";

/// Arguments of `play`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Play over the chords of a tune. After the count-in the page shows the chord now and the next one, its tones on the neck and what \
                  you sound; each bend is graded by the chord of its moment, and one into a note that is no tone of it is \
                  said to be of its scale, or outside. At the end: where your phrases came to rest, how many notes were \
                  chord, scale or outside tones, how much space you left, and your time against the beat.",
    after_help = HELP,
    mut_arg("a4", |arg| arg.value_name("HZ|track").value_parser(reference_or_track).help("The tuning reference in Hz, or track: the recording's [default: from the settings, else 440]"))
)]
pub struct Args {
    /// A chart file, or the name of a built-in chart
    #[arg(value_name = "CHART")]
    chart: Option<PathBuf>,
    /// The chords themselves instead of a chart: "Gm7 C7 F", or with bars "Gm7 | C7 / F / |"
    #[arg(long, value_name = "CHORDS", conflicts_with = "chart")]
    chords: Option<String>,
    /// Another key: the tonic that the tune is moved to (a built-in one may change its mode too: "C minor"); with --chords: their key [default: as written; guessed]
    #[arg(long, value_name = "KEY")]
    key: Option<String>,
    /// With --chords: the metre
    #[arg(long, value_name = "METRE", conflicts_with = "chart", default_value = "4/4")]
    metre: String,
    /// With --chords: the feel, as a chart file says it: straight, shuffle, swing ...
    #[arg(long, value_name = "FEEL", conflicts_with = "chart", value_parser = over_changes::feel)]
    feel: Option<Feel>,
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
    #[arg(long, value_name = "S", requires = "input", allow_negative_numbers = true, value_parser = over_changes::instant)]
    chart_start: Option<f64>,
    /// End after so many minutes [default: with the tune; after the setting `minutes`, else 30, of playing it is said]
    #[arg(long, value_name = "MINUTES", value_parser = settings::minutes)]
    minutes: Option<f64>,
    #[command(flatten)]
    pub(super) showing: Showing,
    #[command(flatten)]
    band: Band,
    #[command(flatten)]
    recording: Recording,
    /// Open strings from low to high, or a name such as "drop D" [default: your setting, else standard]
    #[arg(long, value_name = "NOTES", help_heading = "Guitar", value_parser = settings::tuning)]
    tuning: Option<String>,
    /// Capo at this fret: chords and frets are typed and shown as you finger them, rows and the band are as it sounds
    #[arg(long, value_name = "FRET", default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=12), help_heading = "Guitar")]
    capo: u8,
    /// Semitones that the guitar is tuned lower: typed and shown as you finger them
    #[arg(long, value_name = "SEMITONES", default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=12), help_heading = "Guitar")]
    tuned_down: u8,
    /// Show targets around this position only
    #[arg(long, value_name = "FRET", help_heading = "Guitar")]
    position: Option<u8>,
    /// Draw for a left-handed guitar
    #[arg(long, help_heading = "Guitar")]
    left: bool,
    #[command(flatten)]
    pub(super) hearing: Hearing,
    #[command(flatten)]
    pub(super) keeping: Keeping,
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
        let asked = self.asked()?;
        let over = Over::of(&asked)?;
        let read = self.recording.read(&over)?;
        let stands = read.as_ref().and_then(Read::standing);
        let by_track = (self.hearing.a4 == Some(Reference::Track)).then(|| track::own_a4(read.as_ref(), stands)).transpose()?;
        let flags = Given { tolerance: self.tolerance, a4: by_track, ..Given::default() };
        let settings = self.hearing.settings(&environment, &recorded, flags)?;
        let said = read.as_ref().map_or_else(Vec::new, |read| read.said(stands, settings.a4.value));
        said.iter().for_each(remark);
        if let Some(file) = &self.band.out {
            return self.write_out(&over, read.as_ref(), &settings, file);
        }
        let targets = self.targets()?;
        let mut world = World::real()?;
        let Stage { input, asked, beats, score_time, own, speaker, replays } =
            self.stage(&world, &over, asked, &settings, (&recorded, read.as_ref()), &directories)?;
        let calibrated = own.as_ref().map_or(beats.calibrated, |own| own.calibrated());
        let uncalibrated = calibrated == Some(false);
        let notes = HeardNotes::default();
        let tolerance = Tolerance::of_cents(settings.tolerance.value);
        let wishes = over.wishes(Arc::clone(&score_time), tolerance).uncalibrated(uncalibrated).telling(notes.told());
        let log = self.keeping.log(&directories)?;
        let log_path = log.path().to_owned();
        let a4 = settings.a4.value;
        let ears = match own {
            Some(own) => {
                let ears = hearing::ears_beside(a4, wishes.clone(), Arc::clone(&own));
                match replays {
                    Some(replays) => hearing::masked(ears, own, replays),
                    None => ears,
                }
            }
            None => hearing::ears(a4, wishes.clone()),
        };
        let length_s = self.hearing.input.is_none().then(|| Self::length_s(&over));
        let wanted_s = self.showing.seconds.into_iter().chain(self.minutes.map(|minutes| 60.0 * minutes)).reduce(f64::min);
        let seconds = wanted_s.or(length_s);
        let hand = self.keeping.hand(&directories, &settings, self.minutes.is_some(), self.hearing.is_live());
        let minder = Minder::new(hand, Arc::clone(&world.clock));
        let job = Job { seconds, ..self.job(&settings, asked, &wishes, beats, ears, &directories) };
        let follower =
            Follower::new(Arc::clone(&over.shown), Arc::clone(&score_time), targets, a4).beside(speaker).noticing(said).minded(minder);
        let mut view = self.view(&mut world, &environment, &settings, follower)?;
        let outcome = live(world, input, job, Some(log), view.as_mut());
        // From here on the terminal is the shell's again.
        let (played, heard_s) = view.finish();
        let outcome = outcome?;
        let played: Vec<(&Attempt, &Row)> = played.iter().map(|(attempt, row)| (attempt, row)).collect();
        let graded = (tolerance.beat_ms, uncalibrated);
        let came_to = over_changes::came_to(&over, &score_time, (&notes, heard_s), &played, graded);
        print(&format!("\n{}", narrowed(&came_to, columns())))?;
        summary(&outcome, &log_path)
    }

    /// Where it is heard and what sounds: a recorded take in silence, or both sides of a sound card.
    fn stage(
        &self,
        world: &World,
        over: &Over,
        asked: AskedTune,
        settings: &Settings,
        (recorded, read): (&Sidecar, Option<&Read>),
        directories: &Directories,
    ) -> Result<Stage, Failure> {
        let a4 = settings.a4.value;
        if !self.hearing.is_live() {
            let input = if self.hearing.example { self.example(over)? } else { self.hearing.open(settings, recorded)? };
            let (at_s, same) = self.beats(over, &asked, recorded);
            let score_time = fixed(BeatMap::measured(over.beats(), at_s.iter().copied()));
            let beats = Beats { at_s, calibrated: recorded.calibrated };
            // What sounded while it was recorded is in it.
            let band = recorded.asked.tune.as_ref().filter(|_| same).and_then(|tune| tune.band.clone());
            let own = band.is_some().then(|| OwnSound::of(recorded));
            let laid = recorded.sample_rate_hz.and_then(SampleRate::new).and_then(|rate| track::again(band.as_ref(), over, rate));
            let replays = band.as_ref().map(|band| Playing::new(band, over, a4).over_recording(laid).replays());
            // What is remembered of the sound tells its beats itself.
            let beats = if own.is_some() { Beats::default() } else { beats };
            return Ok(Stage { input, asked: AskedTune { band, ..asked }, beats, score_time, own, speaker: None, replays });
        }
        let host = (world.hosts)()?;
        let wish = CardWish { device: settings.device.value.clone(), buffer: self.hearing.buffer };
        let recording = read.map(|read| (read, over));
        let Sides { card, takes, own, speaker, laid } = Sides::open(&host, &wish, self.band.output.as_ref(), directories, recording)?;
        let rate = card.opened().format.rate;
        let sounding = AskedBand { track: read.map(Read::asked), ..self.band.asked(Level::default()) };
        let playing = Playing::new(&sounding, over, a4).over_recording(laid);
        speaker.set_level(playing.level());
        let (scores, zero_s, out_rate) = (over.beats(), over.tune.count_in_s(over.count_in), speaker.rate());
        let beat = move |n: u64| scores.get(n as usize).map(|score_s| frame_at(zero_s + score_s, out_rate));
        speaker.begin(Begin { part: playing.part(out_rate), beats: Some(Box::new(beat)), in_s: LEAD_S, ear: Ear::Open });
        // At another rate it cannot be taken out of what is heard, sample by sample.
        let (band, replays) = if out_rate == rate { (Some(sounding), Some(playing.replays())) } else { (None, None) };
        let score_time = by_own_beats(over, Arc::clone(&own));
        let asked = AskedTune { band, ..asked };
        let (input, beats) = (Input::Opened(card, takes), Beats::default());
        Ok(Stage { input, asked, beats, score_time, own: Some(own), speaker: Some(speaker), replays })
    }

    /// The synthesiser, who plays a bend into each chord.
    fn example(&self, over: &Over) -> Result<Input, Failure> {
        let scenario = example(&over.tune, over.tune.count_in_s(over.count_in))?;
        let pace = if self.hearing.fast { Pace::Fast } else { Pace::AsPlayed };
        Ok(Input::Source { origin: Origin::synth(), source: Box::new(Synth::new(&scenario)?), pace })
    }

    /// How long a run on the card takes, s.
    fn length_s(over: &Over) -> f64 {
        2.0 * LEAD_S + over.tune.count_in_s(over.count_in) + over.tune.timeline.length_s + TAIL_S
    }

    /// The tune as asked for.
    fn asked(&self) -> Result<AskedTune, Failure> {
        let mut asked = match (&self.chart, &self.chords) {
            (Some(chart), _) => in_key(chart, self.key.as_deref())?,
            (None, Some(chords)) => {
                let chart = typed(chords, self.key.as_deref(), &self.metre, self.tempo.unwrap_or(90.0), self.feel.as_ref())?;
                AskedTune { name: "the chords".into(), chart, ..AskedTune::default() }
            }
            (None, None) => {
                return Err(WrongUse(
                    "name a chart, for instance ii-V-I (landfall chart --list shows all), or give chords: --chords \"Gm7 C7 F\"".into(),
                )
                .into());
            }
        };
        asked.bars = self.bars;
        asked.rounds = self.rounds;
        asked.tempo_from = self.tempo.or(self.tempo_from);
        asked.tempo_to = self.tempo_to;
        asked.on = Some(self.on.word().to_owned());
        asked.count_in = self.count_in;
        asked.sounds_semitones = Some(i32::from(self.capo) - i32::from(self.tuned_down)).filter(|offset| *offset != 0);
        Ok(asked)
    }

    /// The instants of all beats in a recorded take, and whether they are as it was recorded.
    fn beats(&self, over: &Over, asked: &AskedTune, recorded: &Sidecar) -> (Vec<f64>, bool) {
        let alike = |tune: &AskedTune| AskedTune { name: asked.name.clone(), band: None, ..tune.clone() } == *asked;
        let same = recorded.asked.tune.as_ref().is_some_and(alike) && self.chart_start.is_none() && !recorded.beats_at.is_empty();
        if same {
            return (recorded.beats_at.clone(), true);
        }
        let start_s = self.chart_start.unwrap_or_else(|| over.tune.count_in_s(over.count_in));
        (over.beats().into_iter().map(|beat| start_s + beat).collect(), false)
    }

    fn targets(&self) -> Result<Targets, Failure> {
        let guitar =
            fretboard::Options::few(self.tuning.clone(), self.position, self.left).fingered(self.capo, self.tuned_down).guitar()?;
        // As much of the neck as 80 columns hold; most bends lie between frets 5 and 15.
        let frets = guitar.window.frets().unwrap_or((0, 15.min(guitar.neck.frets())));
        Ok(Targets { neck: guitar.neck, frets, left_handed: guitar.left_handed })
    }

    fn view(
        &self,
        world: &mut World,
        environment: &Environment,
        settings: &Settings,
        follower: Follower,
    ) -> Result<Box<dyn PlayView>, Failure> {
        if !self.showing.is_paged() {
            return Ok(Box::new(PlayPlain::new(stdout(), self.hearing.fast, follower)));
        }
        if stdin().is_terminal() {
            world.keys = Box::new(Keyboard::listen());
        }
        Ok(Box::new(PlayPage::new(Showing::look(settings, environment), follower)?))
    }

    fn job(
        &self,
        settings: &Settings,
        tune: AskedTune,
        wishes: &PlayWishes,
        beats: Beats,
        ears: MakeEars,
        directories: &Directories,
    ) -> Job {
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
            ears,
            row: Box::new(move |attempt, setting| over_changes::row(&namer, attempt, setting)),
        }
    }

    /// Writes what would sound.
    fn write_out(&self, over: &Over, read: Option<&Read>, settings: &Settings, file: &Path) -> Result<(), Failure> {
        let rate = SampleRate::new(OUT_RATE).ok_or("no rate")?;
        let sounding = AskedBand { track: read.map(Read::asked), ..self.band.asked(Level::db(0.0).unwrap_or_default()) };
        let laid = read.map(|read| read.laid(over, rate)).transpose()?;
        let playing = Playing::new(&sounding, over, settings.a4.value).over_recording(laid);
        let mut mixer = Mixer::new(rate);
        mixer.set_level(playing.level());
        let zero_s = over.tune.count_in_s(over.count_in);
        let seconds = zero_s + over.tune.timeline.length_s + TAIL_S;
        render(mixer, vec![playing.part(rate)], seconds, file)?;
        print(&format!("{}: {seconds:.1} s; the first bar begins at {zero_s:.3} s\n", file.display()))
    }
}

/// Where a run is heard, and what sounds.
struct Stage {
    input: Input,
    asked: AskedTune,
    beats: Beats,
    score_time: ScoreTime,
    own: Option<Arc<OwnSound>>,
    speaker: Option<Speaker>,
    /// What sounds, to be taken out of what is heard.
    replays: Option<Replays>,
}
