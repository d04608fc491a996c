//! `landfall chart`.

mod one_chord;
mod sections;

use super::fretboard::{Guitar, Options};
use super::neck::columns;
use super::output::Targets;
use super::over_changes;
use super::{Failure, WrongUse, meant, print};
use crate::logbook;
use crate::theory::chart::{Chart, ChartError, ChartFault, EXAMPLES, Example, Feel, Metre, Spot, Timeline};
use crate::theory::{Key, nearest};
use crate::views::neck_words as words;
use crate::views::page::Page;
use crate::views::{chart as drawing, chart_page};
use std::path::{Path, PathBuf};

const HELP: &str = "\
Give a chart file, the name of a built-in chart, or just the chords, one a bar:

  landfall chart --list              the built-in charts
  landfall chart ballad              one of them, to read from a stand
  landfall chart tune.toml --triads  a triad for each chord, near the last one
  landfall chart tune.toml --bends --scales --guide
                                      bends, scales, guide tones of each chord

Where my triads are, and for the fifth chord its notes, scales and bends to try:

  landfall chart --chords \"Dm Bb Gm7 C7 F Gm A7 Dm\" --triads --over 5

A chart file:

  title = \"Slow ballad\"   # may be left out, as may feel and groups
  key   = \"D minor\"       # or dorian, phrygian ...
  metre = \"12/8\"          # compound: the beat is the dotted quarter
  tempo = 58              # in that beat
  feel  = \"shuffle\"
  groups = \"2+2+3\"        # where the foot comes down, in uneven metres
  bars = \"\"\"
  |: Dm | Gm7 / C7 / | % | Dm / / N.C. :|
  \"\"\"

One chord fills a bar; as many as beats are a beat each; / holds a beat more; % repeats the bar before; N.C. is no \
chord; G/B has another bass; |: :| is played twice. Longer tunes: form = [\"A\", \"A\", \"B\"] and [part.A] with its bars. \
The numeral below a chord counts from the major scale of the tonic. How hard a bend is, is an estimate. Rest when a \
hand tires; pain is a reason to stop.";

/// Arguments of `chart`.
#[derive(Debug, clap::Args)]
#[expect(clippy::struct_excessive_bools, reason = "each one is a switch of the command line")]
#[command(after_help = HELP)]
pub struct Args {
    /// A chart file, or the name of a built-in chart
    #[arg(value_name = "CHART", required_unless_present_any = ["list", "chords"])]
    chart: Option<PathBuf>,
    /// List the built-in charts
    #[arg(long, conflicts_with = "chart")]
    list: bool,
    /// The chords themselves instead of a file: "Dm Gm7 C7 F", or with bars "Dm | Gm7 C7 | F"
    #[arg(long, value_name = "CHORDS", conflicts_with_all = ["chart", "list"])]
    chords: Option<String>,
    /// Another key: the tonic that the tune is moved to (a built-in one may change its mode too: "C minor"); with --chords: their key [default: as written; guessed]
    #[arg(long, value_name = "KEY", conflicts_with = "list")]
    key: Option<String>,
    /// With --chords: the metre
    #[arg(long, value_name = "METRE", conflicts_with_all = ["chart", "list"], default_value = "4/4")]
    metre: String,
    /// With --chords: the feel, as a chart file says it: straight, shuffle, swing ...
    #[arg(long, value_name = "FEEL", conflicts_with_all = ["chart", "list"], value_parser = over_changes::feel)]
    feel: Option<Feel>,
    /// With --chords: beats a minute
    #[arg(long, value_name = "TEMPO", conflicts_with_all = ["chart", "list"], default_value_t = 90.0, value_parser = over_changes::tempo)]
    tempo: f64,
    /// Show a triad for each chord, with the least motion through the whole tune
    #[arg(long)]
    triads: bool,
    /// With --triads: the fret that the hand starts near
    #[arg(long, value_name = "FRET")]
    from: Option<u8>,
    /// Show bends into each chord's root, third and fifth, and bends that resolve into the next chord
    #[arg(long)]
    bends: bool,
    /// Show how the third and seventh of each chord lead on
    #[arg(long)]
    guide: bool,
    /// Show the scales that fit each chord, the first choice first
    #[arg(long)]
    scales: bool,
    /// Show one chord in full, counted from 1: its place on the neck, triads, scales and bends
    #[arg(long, value_name = "NUMBER")]
    over: Option<usize>,
    #[command(flatten)]
    guitar: Options,
    #[command(flatten)]
    targets: Targets,
}

/// What a chart is called, and its text.
///
/// # Errors
/// When there is neither a file nor a built-in chart, or the file is no text.
pub fn text(name: &Path) -> Result<(String, String), Failure> {
    let file = name.display().to_string();
    match std::fs::read(name) {
        Ok(bytes) => {
            let text = String::from_utf8(bytes).map_err(|error| {
                let line = error.as_bytes()[..error.utf8_error().valid_up_to()].split(|byte| *byte == b'\n').count();
                let message = "this is not UTF-8 text; save the chart as UTF-8".to_string();
                let spot = Spot { line: Some(line), ..Spot::default() };
                ChartError { file: file.clone(), spot, fault: Box::new(ChartFault::Toml { message }) }
            })?;
            Ok((file, text))
        }
        Err(error) => {
            if let Some(example) = Example::find(&file) {
                return Ok((example.name.to_string(), example.text.to_string()));
            }
            let known: Vec<&str> = EXAMPLES.iter().map(|example| example.name).collect();
            let hint = nearest(&file, known.iter().copied()).map_or_else(String::new, |name| format!("; did you mean {name}?"));
            let built_in = known.join(", ");
            let why = match error.kind() {
                std::io::ErrorKind::NotFound => format!("there is no chart {file}: no such file"),
                _ => format!("cannot read {file}: {error}"),
            };
            Err(format!("{why}, and no built-in chart of that name ({built_in}){hint}").into())
        }
    }
}

impl Args {
    /// Shows the chart.
    ///
    /// # Errors
    /// For a chart with a mistake, and when nothing can be written.
    pub fn run(self) -> Result<(), Failure> {
        if self.list {
            let lines = EXAMPLES.iter().map(|example| format!("{:<9} {}\n", example.name, example.about));
            return print(&lines.collect::<String>());
        }
        let chart = match (&self.chart, &self.chords) {
            (_, Some(chords)) => {
                let key = meant(self.key.as_deref().map(str::parse::<Key>).transpose())?;
                let mut chart = meant(Chart::from_chords(chords, key, meant(Metre::parse(&self.metre, None))?, self.tempo))?;
                let feel = self.feel.clone().unwrap_or_default();
                chart.parts.iter_mut().for_each(|part| part.feel = feel.clone());
                chart
            }
            (Some(name), None) => over_changes::chart(&over_changes::in_key(name, self.key.as_deref())?)?,
            (None, None) => return Err(WrongUse("name a chart, or give its chords with --chords".into()).into()),
        };
        let study = Study { timeline: chart.timeline(), chart, guitar: self.guitar.guitar()? };
        if self.targets.are_none() {
            return print(&study.text(&self)?);
        }
        self.targets.write(|| Ok(logbook::neck::chart(&study.timeline)), || study.page(&self))
    }
}

/// A tune on a guitar.
struct Study {
    chart: Chart,
    timeline: Timeline,
    guitar: Guitar,
}

impl Study {
    fn text(&self, args: &Args) -> Result<String, Failure> {
        let mut lines = drawing::heading(&self.chart);
        if args.chords.is_some() && args.key.is_none() {
            lines.push("the key is guessed; --key says otherwise".to_string());
        }
        for (index, part) in self.chart.parts.iter().enumerate() {
            lines.push(String::new());
            lines.push(drawing::part_line(part));
            lines.extend(drawing::played_as(&self.chart, index, &self.timeline));
            lines.push(String::new());
            lines.extend(drawing::part_lines(part, columns()));
        }
        for (heading, section) in self.sections(args) {
            lines.extend([heading, String::new()]);
            lines.extend(section);
            lines.push(String::new());
        }
        if let Some(number) = args.over {
            let (board, before, after) = self.one_chord(number)?;
            lines.extend(before);
            lines.push(String::new());
            lines.extend(board.lines(columns()));
            lines.extend(words::legend(&board));
            lines.extend(after);
            lines.push(String::new());
        }
        Ok(lines.join("\n"))
    }

    fn page(&self, args: &Args) -> Result<Vec<u8>, Failure> {
        let mut page: Page = chart_page::page(&self.chart);
        for (heading, section) in self.sections(args) {
            page.space(12.0);
            page.line(&heading, 15.0, true);
            for line in &section {
                page.fixed(line, 12.0);
            }
        }
        if let Some(number) = args.over {
            let (board, before, after) = self.one_chord(number)?;
            page.space(12.0);
            for line in &before {
                page.line(line, 14.0, false);
            }
            page.board(&board);
            for line in &after {
                page.fixed(line, 12.0);
            }
        }
        Ok(page.finish().into_bytes())
    }
}
