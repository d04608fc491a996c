//! `landfall grade TAKE...`.

use super::band::Playing;
use super::click::{Clicked, recorded_with};
use super::drill_options::{AlsoGiven, DrillOptions, is_no_drill};
use super::graded_curves::{Curve, GradedCurves};
use super::neck::columns;
use super::over_changes::{self, Over, fixed};
use super::rows_out::{CsvTo, one_of};
use super::settings::{Given, Settings, a4, channel, stage_tolerance, tolerance};
use super::take::Take;
use super::{Failure, WrongUse, meant, output, print, remark, track};
use crate::grading::{Attempt, Technique, Tolerance, Wishes};
use crate::live::ears::Settles;
use crate::live::heard_notes::HeardNotes;
use crate::live::masked::{Masked, Replays};
use crate::live::own_sound::OwnSound;
use crate::live::settled::SettledLoop;
use crate::logbook::log::Log;
use crate::logbook::sidecar::{Asked, AskedTune};
use crate::logbook::{Row, Setting};
use crate::practice::beat_map::BeatMap;
use crate::practice::drill_file::DrillFile;
use crate::practice::drills::Chosen;
use crate::practice::{AskedError, Wanted, bend_size};
use crate::sound::Next;
use crate::units::A4;
use crate::views::live::counted;
use crate::views::paragraph::{hanging, narrowed};
use crate::views::rows::table;
use crate::views::take_page::{self, Drawn};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Arguments of `grade`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Grade the bends of recorded takes: each bent note is one line, with where it landed, how it held and where the release came home, \
                  in cents (negative is flat) and seconds.\n\n\
                  Without --chord, --target or --bend each bend says itself what it meant: the note nearest to where it was held. \
                  What a take of landfall's own was recorded with holds here too, unless an option says otherwise. \
                  A scoop with the bar sounds like a bend and is graded as one.",
    after_help = "Examples:\n  landfall grade solo.wav                     a table\n  \
                  landfall grade --chord Gm7 solo.flac        bends are meant for notes of Gm7\n  \
                  landfall grade --bend whole solo.wav        bends are meant to be whole steps\n  \
                  landfall grade --chart ballad solo.wav      the chord of each moment decides\n  \
                  landfall grade --csv - *.wav > all.csv      all measures, for a spreadsheet\n  \
                  landfall grade --report solo.html solo.wav  the curve of each bend, on a page\n  \
                  landfall grade --log attempts.csv solo.wav  add the rows to a log"
)]
pub struct Args {
    /// WAV, FLAC, Ogg Vorbis or MP3 files
    #[arg(required = true, value_name = "TAKE")]
    takes: Vec<PathBuf>,
    /// The drill that was played
    #[arg(long, value_name = "NAME")]
    drill: Option<String>,
    /// The tune that was played over: a chart file or the name of a built-in chart; the chord of the moment decides where a bend should land
    #[arg(long, value_name = "CHART", conflicts_with_all = ["chord", "target", "bend", "technique", "drill"])]
    chart: Option<PathBuf>,
    /// With --chart: seconds of the take at which its first bar begins [default: 0]
    #[arg(long, value_name = "S", requires = "chart", allow_negative_numbers = true, value_parser = over_changes::instant)]
    chart_start: Option<f64>,
    /// The chord that bends should land in, such as Gm7
    #[arg(long, value_name = "CHORD")]
    chord: Option<String>,
    /// The note that bends should reach: A4, or A in any octave
    #[arg(long, value_name = "NOTE", conflicts_with = "bend")]
    target: Option<String>,
    /// The size that bends should have: quarter, half, whole, one-and-a-half, two, or cents
    #[arg(long, value_name = "SIZE", value_parser = bend_size)]
    bend: Option<f64>,
    /// What was asked for: bend, bend-release, pre-bend or pre-bend-release
    #[arg(long, value_name = "NAME", value_parser = str::parse::<Technique>)]
    technique: Option<Technique>,
    /// How far off, in cents, still counts as in tune [default: as recorded, else 10]
    #[arg(long, value_name = "CENTS", value_parser = tolerance)]
    tolerance: Option<f64>,
    /// The tuning reference in Hz [default: as recorded, else 440]
    #[arg(long, value_name = "HZ", value_parser = a4)]
    a4: Option<A4>,
    /// The channel to listen to, from 1 [default: the louder one]
    #[arg(long, value_name = "N", value_parser = channel)]
    channel: Option<u16>,
    /// Write the rows as CSV to a file, or to standard output with -
    #[arg(long, value_name = "FILE")]
    csv: Option<CsvTo>,
    /// Write a page with the curve and the figures of each bend, for a browser or a printer (HTML), or to standard output with -
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Add the rows to a log
    #[arg(long, value_name = "FILE")]
    log: Option<PathBuf>,
    #[command(flatten)]
    setting: DrillOptions,
}

impl Args {
    /// Grades the takes.
    ///
    /// # Errors
    /// When a take, an option or an output cannot be used. Takes that can be graded are graded all the same.
    pub fn run(self) -> Result<(), Failure> {
        self.check()?;
        let page_to_stdout = self.report.as_ref().is_some_and(|target| target.as_os_str() == "-");
        let quiet = matches!(self.csv, Some(CsvTo::Stdout)) || page_to_stdout;
        let (mut rows, mut drawn, mut failures) = (Vec::new(), Vec::new(), Vec::new());
        for path in &self.takes {
            let Graded { take, came_to, failure } = self.grade(path);
            if let Some(failure) = failure {
                failures.push(failure);
            }
            if let Some((take, attempts)) = take {
                let graded: Vec<Row> = attempts.iter().map(|attempt| attempt.row.clone()).collect();
                if !quiet {
                    print(&table(&take, &graded))?;
                    print(&narrowed(&came_to, columns()))?;
                }
                if self.report.is_some() {
                    drawn.push((take, attempts));
                }
                rows.extend(graded);
            }
        }
        if let Some(target) = &self.report {
            output::write(target, take_page::page(&drawn).as_bytes())?;
        }
        if let Some(to) = &self.csv {
            to.write(&rows)?;
        }
        if let Some(path) = &self.log {
            let mut log = Log::open(path)?;
            log.append(&rows)?;
            log.notices().iter().for_each(remark);
        }
        one_of(failures)
    }

    /// The rows of a take that was played over a tune.
    fn over_changes(&self, mut take: Take, asked: &Asked, tune: &AskedTune) -> Result<Graded, Failure> {
        let notes = HeardNotes::default();
        let over = Over::of(tune)?;
        let tolerance = Tolerance::of_cents(take.settings.tolerance.value);
        let map = match &self.chart {
            Some(_) => BeatMap::straight(self.chart_start.unwrap_or(0.0)),
            None => over.map(&take.sidecar, None),
        };
        let uncalibrated = self.chart.is_none() && take.sidecar.calibrated == Some(false);
        let score_time = fixed(map);
        let wishes = over.wishes(Arc::clone(&score_time), tolerance).uncalibrated(uncalibrated).telling(notes.told());
        // What sounded while it was recorded is taken out again; of another chart nothing is known to have sounded.
        let laid = track::again(tune.band.as_ref(), &over, take.sound.rate());
        let band = tune.band.as_ref().map(|band| Playing::new(band, &over, take.settings.a4.value).over_recording(laid).replays());
        let setting = setting(&take, asked);
        let own = OwnSound::of(&take.sidecar);
        let heard = hear(&mut take, wishes.clone(), &own, band, self.report.is_some());
        take.say_channel();
        let drawn = drawn(heard.attempts, |attempt| over_changes::row(&wishes, attempt, &setting));
        let played: Vec<(&Attempt, &Row)> = drawn.iter().map(|drawn| (&drawn.attempt, &drawn.row)).collect();
        let graded = (tolerance.beat_ms, uncalibrated);
        let came_to = over_changes::came_to(&over, &score_time, (&notes, heard.seconds), &played, graded);
        Ok(Graded { take: Some((take.stem(), drawn)), came_to, failure: heard.failure })
    }

    /// Options that cannot be meant are wrong use, before any take is opened.
    fn check(&self) -> Result<(), Failure> {
        if self.report.as_ref().is_some_and(|target| target.as_os_str() == "-") && matches!(self.csv, Some(CsvTo::Stdout)) {
            return Err(WrongUse("--csv - and --report - cannot both go to standard output; name a file for one of them".into()).into());
        }
        if let Some(chart) = &self.chart {
            return over_changes::in_key(chart, self.setting.key.as_deref()).map(|_| ());
        }
        match Wanted::of(&self.asked(Asked::default(), None)?, Tolerance::default()) {
            Err(error) => Err(WrongUse(error.to_string()).into()),
            Ok(_) => Ok(()),
        }
    }

    /// The tune that was played over: the one that is named, else the one of the sidecar where nothing else is asked for.
    fn tune(&self, asked: &Asked) -> Result<Option<AskedTune>, Failure> {
        let other = self.drill.is_some() || self.chord.is_some() || self.target.is_some() || self.bend.is_some();
        match &self.chart {
            Some(chart) => over_changes::in_key(chart, self.setting.key.as_deref()).map(Some),
            None => Ok(asked.tune.clone().filter(|_| !other)),
        }
    }

    /// What was asked when it was recorded; options stand over it.
    fn asked(&self, recorded: Asked, settings: Option<&Settings>) -> Result<Asked, Failure> {
        let drill = self.drill.as_deref().or(recorded.drill.as_deref()).filter(|name| !is_no_drill(Some(name))).map(str::to_owned);
        if let Some(drill) = drill {
            return self.asked_of_a_drill(&drill, recorded, settings);
        }
        let fixed = self.target.is_some() || self.bend.is_some();
        Ok(Asked {
            drill: self.drill.clone().or(recorded.drill).filter(|drill| drill != over_changes::DRILL),
            chord: self.chord.clone().or(recorded.chord),
            target: self.target.clone().or(recorded.target.filter(|_| !fixed)),
            bend_cents: self.bend.or(recorded.bend_cents.filter(|_| !fixed)),
            technique: self.technique.map(|technique| technique.word().to_owned()).or(recorded.technique),
            ..recorded
        })
    }

    /// The same for a drill: what was told while it was recorded holds as long as it is the same drill.
    fn asked_of_a_drill(&self, drill: &str, recorded: Asked, settings: Option<&Settings>) -> Result<Asked, Failure> {
        let also = AlsoGiven { chord: self.chord.clone(), target: self.target.clone(), bend_cents: self.bend, ..AlsoGiven::default() };
        if recorded.drill.as_deref() == Some(drill) {
            let mut asked = recorded;
            let given = self.setting.given(&also)?;
            match asked.kind.as_deref().filter(|_| !given.is_empty()) {
                // What is kept of a drill of the player's own is the drill's own: what is given stands over it.
                Some(kind) => {
                    let mut chosen = meant(Chosen::of_kind(drill, drill, kind, &given))?;
                    chosen.defaults = asked.parameters;
                    asked.parameters = meant(chosen.settled())?;
                }
                None => asked.parameters.extend(given),
            }
            asked.stage = self.setting.stage.map(|stage| stage.word().to_owned()).or(asked.stage);
            return Ok(asked);
        }
        let mut setting = self.setting.clone();
        if let Some(settings) = settings {
            setting.of_settings(settings);
        }
        match setting.find(drill, &also)? {
            DrillFile::One(own) => setting.asked(&own),
            DrillFile::List { .. } => Err(WrongUse(format!("{drill} is a list; name one of its drills with --drill")).into()),
        }
    }

    /// The rows of one take, and what went wrong; a take that breaks off is graded up to there.
    fn grade(&self, path: &Path) -> Graded {
        let flags = Given { a4: self.a4, tolerance: self.tolerance, channel: self.channel, ..Given::default() };
        let mut take = match Take::open(path, flags) {
            Ok(take) => take,
            Err(failure) => return failure.into(),
        };
        let asked = match self.asked(take.sidecar.asked.clone(), Some(&take.settings)) {
            Ok(asked) => asked,
            Err(failure) => return failure.into(),
        };
        match self.tune(&asked) {
            Ok(None) => {}
            Ok(Some(tune)) => {
                let asked = Asked { drill: Some(over_changes::DRILL.into()), ..asked };
                return self.over_changes(take, &asked, &tune).unwrap_or_else(Graded::from);
            }
            Err(failure) => return failure.into(),
        }
        let tolerance = stage_tolerance(&take.settings, &asked);
        let wanted = match Wanted::of(&asked, tolerance) {
            Ok(wanted) => wanted,
            Err(error) => return beside(path, &error).into(),
        };
        let setting = setting(&take, &asked);
        let own = OwnSound::of(&take.sidecar);
        // The beats of the click are those of the drill that it was recorded for.
        let clicked = asked.click.as_ref().and_then(|_| recorded_with(&take.sidecar)).map(Arc::new);
        let wanted = wanted.in_time(clicked.as_ref().map(|clicked| clicked.in_time(&own)));
        let click = clicked.as_ref().and_then(Clicked::replays);
        let heard = hear(&mut take, wanted.clone(), &own, click, self.report.is_some());
        take.say_channel();
        let drawn = drawn(heard.attempts, |attempt: &Attempt| wanted.row(attempt, &setting));
        // Towards a chord, what landed is not the whole of it.
        let graded = drawn.iter().map(|drawn| &drawn.attempt);
        let towards = graded.clone().any(|attempt| attempt.standing.is_some());
        let came_to = if towards { hanging(&counted(graded)).join("\n") + "\n" } else { String::new() };
        Graded { take: Some((take.stem(), drawn)), came_to, failure: heard.failure }
    }
}

/// What was made of one take.
#[derive(Default)]
struct Graded {
    /// Its name and its attempts.
    take: Option<(String, Vec<Drawn>)>,
    /// Over chords: what it came to, in words.
    came_to: String,
    /// What went wrong.
    failure: Option<Failure>,
}

impl From<Failure> for Graded {
    fn from(failure: Failure) -> Self {
        Self { failure: Some(failure), ..Self::default() }
    }
}

/// What was heard of one take.
struct Heard {
    attempts: Vec<(Attempt, Curve)>,
    seconds: f64,
    failure: Option<Failure>,
}

fn beside(path: &Path, error: &AskedError) -> Failure {
    format!("{}: its sidecar asks for what is not known: {error}", path.display()).into()
}

/// The whole take through the settled loop, and each attempt's curve where it is drawn.
fn hear(take: &mut Take, wishes: impl Wishes + Send, own: &Arc<OwnSound>, band: Option<Replays>, draws: bool) -> Heard {
    let (rate, a4) = (take.sound.rate(), take.settings.a4.value);
    let mut curves = draws.then(|| GradedCurves::new(rate, a4));
    own.begin_take(rate);
    let mut settled = SettledLoop::new(rate, a4, own.hushed(wishes));
    let mut masked = band.map(|band| Masked::new(rate, Arc::clone(own), band));
    let (mut attempts, mut frames) = (Vec::new(), 0);
    let mut keep = |attempt: Attempt, curves: Option<&GradedCurves>| {
        let curve = curves.map(|curves| curves.of(&attempt)).unwrap_or_default();
        attempts.push((attempt, curve));
    };
    let broke_off = loop {
        match take.sound.hear() {
            Ok(Next::Block(block)) => {
                frames = block.start.0 + block.samples.len() as u64;
                let block = masked.as_mut().map_or(block, |masked| masked.clean(&block));
                if let Some(curves) = &mut curves {
                    curves.hear(&block);
                }
                settled.hear(&block, &mut |attempt| keep(attempt, curves.as_ref()));
            }
            Ok(Next::Waiting) => {}
            Ok(Next::Ended) => break None,
            Err(error) => break Some(error),
        }
    };
    if let Some(curves) = &mut curves {
        curves.finish();
    }
    settled.finish(&mut |attempt| keep(attempt, curves.as_ref()));
    Heard { attempts, seconds: frames as f64 / rate.as_f64(), failure: broke_off.map(Into::into) }
}

/// Attempts with their rows.
fn drawn(heard: Vec<(Attempt, Curve)>, row: impl Fn(&Attempt) -> Row) -> Vec<Drawn> {
    heard.into_iter().map(|(attempt, curve)| Drawn { row: row(&attempt), attempt, curve }).collect()
}

fn setting(take: &Take, asked: &Asked) -> Setting {
    Setting {
        take: take.stem(),
        started: take.sidecar.started.as_deref().and_then(|started| started.parse().ok()),
        source: Some(take.sidecar.source.clone().unwrap_or_else(|| "file".into())),
        drill: asked.drill.clone(),
        chord: asked.chord.clone(),
        string: asked.string.map(u32::from),
        ..Setting::default()
    }
}
