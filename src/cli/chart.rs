//! `landfall chart`.

use super::fretboard::{Guitar, Options};
use super::neck::columns;
use super::{Failure, WrongUse, output, print};
use crate::logbook;
use crate::theory::chart::{Chart, ChartError, ChartFault, EXAMPLES, Example, Metre, PlayedChord, Spot, Timeline};
use crate::theory::guide::{leads, resolving_bends};
use crate::theory::placed::placed;
use crate::theory::route::{Route, Wishes, hand_motion, route};
use crate::theory::triad::string_sets;
use crate::theory::{Bend, Chord, Ease, Key, Scale, Triad, Voicing, bends, choice, nearest, voicings};
use crate::views::neck::Board;
use crate::views::neck_words as words;
use crate::views::page::Page;
use crate::views::{chart as drawing, chart_page};
use std::path::{Path, PathBuf};

const HELP: &str = "\
Give a chart file, the name of a built-in chart, or just the chords, one a bar:

  landfall chart --list                                    the built-in charts
  landfall chart ballad                                    one of them, to read from a stand
  landfall chart tune.toml --triads                        a triad for each chord, near the last one
  landfall chart --chords \"Dm Bb Gm7 C7 F Gm A7 Dm\" --triads --over 5
                                                           where my triads are, and for the fifth chord its
                                                           notes, scales and the bends to try
  landfall chart tune.toml --bends --scales --guide        for every chord: bends, scales, guide tones

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

One chord fills a bar; as many as beats are a beat each; / holds a beat more; % repeats the bar before; N.C. is no
chord; G/B has another bass; |: :| is played twice. Longer tunes: form = [\"A\", \"A\", \"B\"] and [part.A] with its bars.
The numeral below a chord counts from the major scale of the tonic. How hard a bend is, is an estimate. Rest when a
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
    /// With --chords: the key [default: guessed]
    #[arg(long, value_name = "KEY", requires = "chords")]
    key: Option<String>,
    /// With --chords: the metre
    #[arg(long, value_name = "METRE", requires = "chords", default_value = "4/4")]
    metre: String,
    /// With --chords: beats a minute
    #[arg(long, value_name = "TEMPO", requires = "chords", default_value_t = 90.0)]
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
    /// Write the chords as played, bar by bar with their times, to a file; - prints them
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write a page for the stand to a file; - prints it
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

/// Reads a chart file, or a built-in chart where no file has that name.
///
/// # Errors
/// When there is neither, or the chart has a mistake.
pub fn open(name: &Path) -> Result<Chart, Failure> {
    let (file, text) = text(name)?;
    Ok(Chart::parse(&file, &text)?)
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
            Err(format!("cannot read {file}: {error}, and no built-in chart has that name ({built_in}){hint}").into())
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
                let key = self.key.as_deref().map(str::parse::<Key>).transpose()?;
                Chart::from_chords(chords, key, Metre::parse(&self.metre, None)?, self.tempo)?
            }
            (Some(name), None) => open(name)?,
            (None, None) => return Err(WrongUse("name a chart, or give its chords with --chords".into()).into()),
        };
        let study = Study { timeline: chart.timeline(), chart, guitar: self.guitar.guitar()? };
        if self.csv.is_none() && self.svg.is_none() {
            return print(&study.text(&self)?);
        }
        // Everything is made before anything is written.
        let page = self.svg.as_ref().map(|target| Ok::<_, Failure>((target, study.page(&self)?))).transpose()?;
        let table = self.csv.as_ref().map(|target| (target, logbook::neck::chart(&study.timeline)));
        for (target, bytes) in table.into_iter().chain(page) {
            output::write(target, &bytes)?;
        }
        Ok(())
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
        for part in &self.chart.parts {
            lines.push(String::new());
            lines.push(drawing::part_line(part));
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

    fn changes(&self) -> Vec<(&PlayedChord, &Chord)> {
        self.timeline.changes().into_iter().filter_map(|played| Some((played, played.chord.as_ref()?))).collect()
    }

    fn route(&self, from: Option<u8>) -> Route {
        let neck = &self.guitar.neck;
        let inside = |set: &[u8; 3]| set.iter().all(|string| self.guitar.window.holds_string(*string));
        let anywhere = Wishes::anywhere(neck);
        let sets = anywhere.sets.into_iter().filter(inside).collect();
        let wishes = Wishes { start: from, sets, frets: self.guitar.window.frets() };
        let chords: Vec<Option<&Chord>> = self.changes().into_iter().map(|(_, chord)| Some(chord)).collect();
        route(neck, &chords, &wishes)
    }

    /// The sections asked for: a heading and its lines.
    fn sections(&self, args: &Args) -> Vec<(String, Vec<String>)> {
        let changes = self.changes();
        let mut sections = Vec::new();
        if args.triads {
            let route = self.route(args.from);
            let heading = format!("Triads, the way with the least motion: {} frets and strings in all", route.motion);
            sections.push((heading, route_lines(&changes, &route)));
        }
        if args.scales {
            let lines = changes.iter().enumerate().flat_map(|(index, (played, chord))| {
                words::hanging_at(14, &counted(index, chord), &words::fit_words(&choice::scales(played.key, chord)))
            });
            sections.push(("Scales that fit, the first choice first".to_string(), lines.collect()));
        }
        if args.guide {
            let lines = changes.windows(2).enumerate().map(|(index, pair)| {
                let ways: Vec<String> = leads(pair[0].1, pair[1].1).iter().map(words::lead_words).collect();
                format!("  {:<12}{}", counted(index, pair[0].1), ways.join("     "))
            });
            sections.push(("Guide tones, how they lead on".to_string(), lines.collect()));
        }
        if args.bends {
            sections.push(("Bends, string/fret, the easiest first".to_string(), self.bend_lines(&changes)));
        }
        sections
    }

    /// For each chord three bends into its strong notes and two that resolve into the next chord.
    fn bend_lines(&self, changes: &[(&PlayedChord, &Chord)]) -> Vec<String> {
        let short = |bend: &Bend| {
            let size = crate::theory::bend::size_name(bend.cents);
            format!(
                "{}/{} {size} {} to {} ({} to {})",
                bend.place.string, bend.place.fret, bend.origin.name, bend.target.name, bend.from, bend.degree
            )
        };
        let over = |bend: &Bend, chord: &Chord, next: &Chord| {
            let step = format!("{} to {} ({} of {chord}, {} of {next})", bend.origin.name, bend.target.name, bend.from, bend.degree);
            format!("{}/{} {} {step}", bend.place.string, bend.place.fret, crate::theory::bend::size_name(bend.cents))
        };
        let mut lines = Vec::new();
        for (index, (played, chord)) in changes.iter().enumerate() {
            let scale = first_choice(played.key, chord);
            let into = distinct(self.strong_bends(chord, scale.as_ref()), 3);
            lines.extend(words::hanging_at(14, &counted(index, chord), &into.iter().map(short).collect::<Vec<_>>()));
            let Some((_, next)) = changes.get(index + 1) else { continue };
            let on = distinct(self.resolving(chord, next), 2);
            if !on.is_empty() {
                lines.extend(words::hanging_at(
                    14,
                    &format!(" on to {next}"),
                    &on.iter().map(|bend| over(bend, chord, next)).collect::<Vec<_>>(),
                ));
            }
        }
        lines
    }

    /// Bends into root, third and fifth that the hand takes gladly.
    fn strong_bends(&self, chord: &Chord, scale: Option<&Scale>) -> Vec<Bend> {
        let strong = chord.strong();
        let guitar = &self.guitar;
        let mut found = bends(&guitar.neck, &guitar.strings, chord, scale, &[100, 200]);
        found.retain(|bend| {
            bend.ease < Ease::Hard && guitar.window.holds(bend.place) && strong.iter().any(|tone| tone.degree == bend.degree)
        });
        found
    }

    fn resolving(&self, chord: &Chord, next: &Chord) -> Vec<Bend> {
        let guitar = &self.guitar;
        let mut found = resolving_bends(&guitar.neck, &guitar.strings, chord, next);
        found.retain(|bend| bend.ease < Ease::Hard && guitar.window.holds(bend.place));
        found
    }

    /// One chord in full: the neck, what stands above it, what stands below.
    fn one_chord(&self, number: usize) -> Result<(Board, Vec<String>, Vec<String>), Failure> {
        let changes = self.changes();
        let Some((played, chord)) = number.checked_sub(1).and_then(|index| changes.get(index)).copied() else {
            return Err(WrongUse(format!("--over {number}: the tune has {} chords, counted from 1", changes.len())).into());
        };
        let guitar = &self.guitar;
        let fits = choice::scales(played.key, chord);
        let scale = fits.first().map(|fit| fit.scale);
        let function = played.function.as_ref().map_or_else(String::new, |function| format!(", {function}"));
        let mut before = vec![format!("Chord {number}, bar {}: {} in {}{function}", played.bar, played.roman, played.key)];
        before.push(words::chord_line(chord));
        before.extend(words::hanging("scales", &words::fit_words(&fits)));
        before.extend(words::guitar_line(&guitar.neck));
        let mut board = Board::of(&guitar.neck, guitar.left_handed).between(guitar.window.frets());
        let notes = placed(&guitar.neck, Some(chord), scale.as_ref());
        board.marks = notes.iter().filter(|note| guitar.window.holds(note.place)).map(|note| words::mark(note, Some(chord))).collect();
        let mut after = vec![String::new()];
        if let Ok(triad) = Triad::of(chord) {
            let inside = |voicing: &Voicing| voicing.is_close() && voicing.places().into_iter().all(|place| guitar.window.holds(place));
            let sets = string_sets(guitar.neck.strings(), false);
            let shapes: Vec<Voicing> = voicings(&guitar.neck, &triad, &sets).into_iter().filter(inside).collect();
            after.push("Triads, frets from the lowest string to the highest".to_string());
            after.extend(words::triad_table(&shapes, &triad.tones.map(|tone| tone.degree.to_string())));
        }
        let origins = scale.map_or_else(String::new, |scale| format!(" from notes of {scale}"));
        after.extend([String::new(), format!("Bends into its root, third and fifth{origins}"), words::BEND_HEAD.to_string()]);
        after.extend(self.strong_bends(chord, scale.as_ref()).iter().take(8).map(words::bend_line));
        after.extend(words::curl_advice(chord));
        if let Some((_, next)) = changes.get(number) {
            let on = distinct(self.resolving(chord, next), 4);
            if !on.is_empty() {
                after.extend([
                    String::new(),
                    format!("Bends that resolve into {next}: from a degree of {chord} to one of {next}"),
                    words::BEND_HEAD.to_string(),
                ]);
                after.extend(on.iter().map(words::bend_line));
            }
        }
        after.extend(words::effort_note(&guitar.strings));
        Ok((board, before, after))
    }
}

fn counted(index: usize, chord: &Chord) -> String {
    format!("{} {chord}", index + 1)
}

fn first_choice(key: Key, chord: &Chord) -> Option<Scale> {
    choice::scales(key, chord).first().map(|fit| fit.scale)
}

/// The first few bends that reach different notes from different degrees: the same bend an octave up is not told twice.
fn distinct(bends: Vec<Bend>, most: usize) -> Vec<Bend> {
    let mut kept: Vec<Bend> = Vec::new();
    for bend in bends {
        if kept.len() < most && !kept.iter().any(|other| (other.from, other.degree) == (bend.from, bend.degree)) {
            kept.push(bend);
        }
    }
    kept
}

fn route_lines(changes: &[(&PlayedChord, &Chord)], route: &Route) -> Vec<String> {
    let mut lines =
        vec![format!("{:>4} {:>5}   {:<12} {:<9} {:<11} {:<11} {}", "no", "bar", "chord", "strings", "frets", "inversion", "moves")];
    let mut before: Option<&Voicing> = None;
    for (index, ((played, chord), voicing)) in changes.iter().zip(&route.voicings).enumerate() {
        let start = format!("{:>4} {:>5}   {:<12}", index + 1, played.bar, chord.to_string());
        lines.push(match voicing {
            Some(voicing) => {
                let moves = before.map_or_else(String::new, |before| hand_motion(before, voicing).to_string());
                before = Some(voicing);
                let (strings, frets) = (words::strings(voicing), words::frets(voicing));
                format!("{start} {strings:<9} {frets:<11} {:<11} {moves:>5}", voicing.inversion.to_string()).trim_end().to_string()
            }
            None => format!("{start} no triad here: stay where you are"),
        });
    }
    lines
}
