//! `landfall neck`.

use super::fretboard::{Guitar, Options};
use super::{Failure, WrongUse, output, print};
use crate::logbook;
use crate::theory::path::{across, lies_in, positions, up_the_set, within_reach};
use crate::theory::placed::{Placed, placed};
use crate::theory::triad::{nearest, string_sets};
use crate::theory::{Bend, Chord, Degree, Ease, Place, Scale, Triad, Voicing, bends, voicings};
use crate::views::neck::{Board, Kind, Mark};
use crate::views::neck_words as words;
use crate::views::page::Page;
use std::path::PathBuf;

const HELP: &str = "\
Ask for one chord, and say what you want to see of it:

  landfall neck --chord Dm                          its notes all over the neck, by degree
  landfall neck --chord Dm --triads                 its triads: every shape on three strings
  landfall neck --chord A7 --bends                  bends into its notes, the easiest first
  landfall neck --chord A7 --bends --scale \"D harmonic minor\"
                                                    the same, starting from notes of the scale only
  landfall neck --chord Gm7 --next C7               from each Gm triad the nearest one of C
  landfall neck --scale \"A minor pentatonic\"        a scale, with or without --chord
  landfall neck --chord Dm --at 2/8                 strong notes within reach of string 2, fret 8
  landfall neck --chord Dm --path --scale \"D minor\"
                                                    triads up the neck, across it, and by position

Add --position 5, --strings 1-3, --tuning \"drop D\", --capo 2 or --left to any of them, and --svg FILE for a page
to print or --csv FILE for a table. [1] is the root; b3 is the minor third, b7 the minor seventh; a dot (·4) marks a
scale note that is not in the chord. For the chords of a whole tune see `landfall chart --help`.
How hard a bend is, is an estimate. Rest when a hand tires; pain is a reason to stop.";

/// Arguments of `neck`.
#[derive(Debug, clap::Args)]
#[expect(clippy::struct_excessive_bools, reason = "each one is a switch of the command line")]
#[command(after_help = HELP)]
pub struct Args {
    /// The chord: Dm, F#m7b5, Bb7#9, G/B
    #[arg(long, value_name = "CHORD")]
    chord: Option<String>,
    /// The scale: "A minor pentatonic", "D dorian"
    #[arg(long, value_name = "SCALE")]
    scale: Option<String>,
    /// Show the triad (1, 3, 5) in every place on three neighbouring strings
    #[arg(long, requires = "chord")]
    triads: bool,
    /// With --triads: also on three strings that skip one
    #[arg(long)]
    spread: bool,
    /// Show root, third and seventh on three strings
    #[arg(long, requires = "chord", conflicts_with = "triads")]
    shells: bool,
    /// From each triad, show the nearest one of this chord on the same strings
    #[arg(long, value_name = "CHORD", requires = "chord", conflicts_with_all = ["bends", "shells"])]
    next: Option<String>,
    /// Show the bends that reach a note of the chord
    #[arg(long, requires = "chord")]
    bends: bool,
    /// With --bends: sizes in cents; 100 is a half, 200 a whole bend
    #[arg(long, value_name = "LIST", value_delimiter = ',', default_value = "100,200", value_parser = clap::value_parser!(u32).range(25..=700))]
    bend_cents: Vec<u32>,
    /// Show paths to practise: triads up each set of strings and across, and with --scale the position that holds each
    #[arg(long, requires = "chord")]
    path: bool,
    /// Show the strong notes within reach of this place
    #[arg(long, value_name = "STRING/FRET", requires = "chord", value_parser = place)]
    at: Option<Place>,
    #[command(flatten)]
    guitar: Options,
    /// Write the table to a file; - prints it
    #[arg(long, value_name = "FILE")]
    csv: Option<PathBuf>,
    /// Write the drawing to a file; - prints it
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

fn place(text: &str) -> Result<Place, String> {
    let wrong = || "write string/fret, for instance 2/8".to_string();
    let (string, fret) = text.split_once('/').ok_or_else(wrong)?;
    let number = |text: &str| text.trim().parse::<u8>().map_err(|_| wrong());
    let place = Place { string: number(string)?, fret: number(fret)? };
    if (1..=9).contains(&place.string) && place.fret <= 36 { Ok(place) } else { Err(wrong()) }
}

/// The question, with its words read.
struct Question {
    guitar: Guitar,
    chord: Option<Chord>,
    scale: Option<Scale>,
    next: Option<Chord>,
}

impl Args {
    /// Answers.
    ///
    /// # Errors
    /// For words that cannot be read, and when nothing can be written.
    pub fn run(self) -> Result<(), Failure> {
        let chord = self.chord.as_deref().map(Chord::parse).transpose()?;
        let scale = self.scale.as_deref().map(str::parse).transpose()?;
        let next = self.next.as_deref().map(Chord::parse).transpose()?;
        if chord.is_none() && scale.is_none() {
            return Err(WrongUse("name a chord or a scale: landfall neck --chord Dm, or landfall neck --scale \"D minor\"".into()).into());
        }
        let question = Question { guitar: self.guitar.guitar()?, chord, scale, next };
        if self.csv.is_none() && self.svg.is_none() {
            return print(&self.text(&question)?);
        }
        // Everything is made before anything is written: a mistake leaves no half of the answer.
        let table = self.csv.as_ref().map(|target| Ok::<_, Failure>((target, self.table(&question)?))).transpose()?;
        let page = self.svg.as_ref().map(|target| Ok::<_, Failure>((target, self.page(&question)?))).transpose()?;
        for (target, bytes) in table.into_iter().chain(page) {
            output::write(target, &bytes)?;
        }
        Ok(())
    }

    fn wants_triads(&self) -> bool {
        self.triads || self.next.is_some() || self.spread
    }

    fn table(&self, question: &Question) -> Result<Vec<u8>, Failure> {
        let Question { guitar, scale, .. } = question;
        let kinds = [self.wants_triads(), self.shells, self.bends].into_iter().filter(|wanted| *wanted).count();
        if kinds > 1 || self.path || self.at.is_some() {
            return Err(WrongUse("--csv holds one table: places, --triads, --shells or --bends; ask for one of them".into()).into());
        }
        if let (true, Some(next)) = (self.wants_triads(), &question.next) {
            let from = question.close_triads(self.spread)?;
            let to = question.all_triads(next, self.spread)?;
            let steps = from.iter().map(|voicing| {
                let (motion, nearest) = nearest(voicing, &to);
                (voicing, motion, nearest)
            });
            return Ok(logbook::neck::steps(steps));
        }
        if self.wants_triads() || self.shells {
            return Ok(logbook::neck::voicings(question.voicings(self.shells, self.spread)?.iter()));
        }
        if let (true, Some(chord)) = (self.bends, &question.chord) {
            return Ok(logbook::neck::bends(question.bends(chord, &self.bend_cents).iter()));
        }
        let notes: Vec<Placed> = placed(&guitar.neck, question.chord.as_ref(), scale.as_ref());
        let notes: Vec<Placed> = notes.into_iter().filter(|note| guitar.window.holds(note.place)).collect();
        Ok(logbook::neck::places(&guitar.neck, &notes, guitar.a4))
    }
}

impl Question {
    fn chord(&self) -> Result<&Chord, Failure> {
        self.chord.as_ref().ok_or_else(|| WrongUse("name the chord with --chord, for instance --chord Dm".into()).into())
    }

    fn inside(&self, voicing: &Voicing) -> bool {
        voicing.places().into_iter().all(|place| self.guitar.window.holds(place))
    }

    /// Every voicing of a chord's triad, in the window or not.
    fn all_triads(&self, chord: &Chord, spread: bool) -> Result<Vec<Voicing>, Failure> {
        let sets = string_sets(self.guitar.neck.strings(), spread);
        Ok(voicings(&self.guitar.neck, &Triad::of(chord)?, &sets).into_iter().filter(Voicing::is_close).collect())
    }

    fn close_triads(&self, spread: bool) -> Result<Vec<Voicing>, Failure> {
        Ok(self.all_triads(self.chord()?, spread)?.into_iter().filter(|voicing| self.inside(voicing)).collect())
    }

    /// Triads or shells in the window; a shell's tones lie too far apart for three neighbouring strings alone.
    fn voicings(&self, shells: bool, spread: bool) -> Result<Vec<Voicing>, Failure> {
        let triad = if shells { Triad::shell(self.chord()?)? } else { Triad::of(self.chord()?)? };
        let sets = string_sets(self.guitar.neck.strings(), spread || shells);
        Ok(voicings(&self.guitar.neck, &triad, &sets).into_iter().filter(|voicing| self.inside(voicing)).collect())
    }

    fn bends(&self, chord: &Chord, sizes: &[u32]) -> Vec<Bend> {
        let guitar = &self.guitar;
        let mut sizes = sizes.to_vec();
        sizes.sort_unstable();
        sizes.dedup();
        let found = bends(&guitar.neck, &guitar.strings, chord, self.scale.as_ref(), &sizes);
        found.into_iter().filter(|bend| guitar.window.holds(bend.place)).collect()
    }
}

/// Columns of the terminal, 80 where there is none; wider than 140 is not read in one glance.
pub(super) fn columns() -> usize {
    crate::views::terminal_columns().unwrap_or(80).clamp(40, 140)
}

/// The bends that are drawn and printed without being asked for by size: those that the hand takes gladly.
const BENDS_SHOWN: usize = 14;

impl Args {
    /// The answer in words and drawings.
    fn text(&self, question: &Question) -> Result<String, Failure> {
        let Question { guitar, chord, scale, .. } = question;
        let mut lines = question.head();
        lines.push(String::new());
        let board = question.board(self);
        lines.extend(board.lines(columns()));
        lines.extend(words::legend(&board));
        if self.wants_triads() || self.shells {
            lines.push(String::new());
            lines.extend(match &question.next {
                Some(next) => question.step_table(next, self.spread)?,
                None => question.voicing_table(self.shells, self.spread)?,
            });
        }
        if let (true, Some(chord)) = (self.bends, chord) {
            lines.push(String::new());
            lines.extend(question.bend_table(chord, &self.bend_cents));
        }
        if let (true, Some(chord)) = (self.path, chord) {
            lines.push(String::new());
            lines.extend(question.paths(chord)?);
        }
        if let (Some(place), Some(chord)) = (self.at, chord) {
            if place.string > guitar.neck.strings() || place.fret > guitar.neck.frets() {
                return Err(WrongUse(format!("--at {}/{}: the neck has no such place", place.string, place.fret)).into());
            }
            lines.push(String::new());
            lines.push(format!("strong notes within reach of string {}, fret {}", place.string, place.fret));
            let reach = within_reach(&guitar.neck, &guitar.strings, chord, scale.as_ref(), place);
            lines.extend(reach.iter().map(|reach| words::reach_line(reach, place)));
        }
        lines.push(String::new());
        Ok(lines.join("\n"))
    }

    /// The answer as a page.
    fn page(&self, question: &Question) -> Result<Vec<u8>, Failure> {
        let head = question.head();
        let title = match (&question.chord, &question.scale) {
            (Some(chord), Some(scale)) => format!("{chord} in {scale}"),
            (Some(chord), None) => chord.to_string(),
            (None, Some(scale)) => scale.to_string(),
            (None, None) => String::new(),
        };
        let mut page = Page::new(&title, &head.join("; "));
        for line in &head {
            page.line(line, 15.0, false);
        }
        page.board(&question.board(self));
        if self.wants_triads() || self.shells {
            page.space(8.0);
            for board in question.set_boards(self.shells, self.spread)? {
                page.board(&board);
            }
        }
        if let (true, Some(next)) = (self.wants_triads(), &question.next) {
            for line in question.step_table(next, self.spread)? {
                page.fixed(&line, 12.0);
            }
        }
        if let (true, Some(chord)) = (self.bends, &question.chord) {
            for line in question.bend_table(chord, &self.bend_cents) {
                page.fixed(&line, 12.0);
            }
        }
        if let (true, Some(chord)) = (self.path, &question.chord) {
            for line in question.paths(chord)? {
                page.fixed(&line, 12.0);
            }
        }
        Ok(page.finish().into_bytes())
    }
}

impl Question {
    /// What was asked, spelled out, and the guitar where it is no ordinary one.
    fn head(&self) -> Vec<String> {
        let mut lines: Vec<String> = self.chord.iter().map(words::chord_line).collect();
        lines.extend(self.scale.iter().map(words::scale_line));
        lines.extend(words::guitar_line(&self.guitar.neck));
        lines
    }

    /// The board with what was asked for: bends where those are wanted, else the triad's or the chord's tones and the scale.
    fn board(&self, args: &Args) -> Board {
        let guitar = &self.guitar;
        let mut board = Board::of(&guitar.neck, guitar.left_handed).between(guitar.window.frets());
        if let (true, Some(chord)) = (args.bends, &self.chord) {
            let gladly = |bend: &&Bend| bend.ease < Ease::Hard || args.bend_cents.len() == 1;
            board.marks = words::bend_marks(self.bends(chord, &args.bend_cents).iter().filter(gladly), &guitar.neck, chord);
            return board;
        }
        let triad = self.chord.as_ref().filter(|_| args.wants_triads() || args.path).and_then(|chord| Triad::of(chord).ok());
        for note in placed(&guitar.neck, self.chord.as_ref(), self.scale.as_ref()) {
            let skipped = triad.is_some_and(|triad| !triad.tones.iter().any(|tone| Some(tone.degree) == note.degree));
            if guitar.window.holds(note.place) && (!skipped || note.scale_degree.is_some() && !args.wants_triads()) {
                board.marks.push(words::mark(&note, self.chord.as_ref()));
            }
        }
        board
    }

    /// One board for each set of strings, its shapes joined.
    fn set_boards(&self, shells: bool, spread: bool) -> Result<Vec<Board>, Failure> {
        let voicings = self.voicings(shells, spread)?;
        let mut boards: Vec<Board> = Vec::new();
        for chunk in voicings.chunk_by(|a, b| a.strings == b.strings) {
            let Some(first) = chunk.first() else { continue };
            let mut board = Board::of(&self.guitar.neck, self.guitar.left_handed).between(self.guitar.window.frets());
            board.caption = format!("strings {}", words::strings(first));
            board.strings.retain(|(string, _)| (first.strings[2]..=first.strings[0]).contains(string));
            for voicing in chunk {
                board.shapes.push(voicing.places());
                for (place, tone) in voicing.places().into_iter().zip(voicing.tones) {
                    let kind = if tone.degree == Degree::ROOT { Kind::Root } else { Kind::Tone };
                    let mark = Mark { place, text: tone.degree.to_string(), kind };
                    if !board.marks.contains(&mark) {
                        board.marks.push(mark);
                    }
                }
            }
            boards.push(board);
        }
        Ok(boards)
    }

    fn voicing_table(&self, shells: bool, spread: bool) -> Result<Vec<String>, Failure> {
        let triad = if shells { Triad::shell(self.chord()?)? } else { Triad::of(self.chord()?)? };
        let voicings = self.voicings(shells, spread)?;
        if voicings.is_empty() {
            return Ok(vec!["no such shape here; look at more frets or strings".to_string()]);
        }
        let mut lines = vec!["frets from the lowest string to the highest".to_string()];
        lines.extend(words::triad_table(&voicings, &triad.tones.map(|tone| tone.degree.to_string())));
        if voicings.iter().any(|voicing| !voicing.is_close()) {
            lines.push("~ spread wider than an octave".to_string());
        }
        Ok(lines)
    }

    fn step_table(&self, next: &Chord, spread: bool) -> Result<Vec<String>, Failure> {
        let from = self.close_triads(spread)?;
        let to = self.all_triads(next, spread)?;
        let mut lines = vec![words::chord_line(next), String::new(), words::step_head(self.chord()?, next)];
        for voicing in &from {
            let (motion, nearest) = nearest(voicing, &to);
            lines.extend(words::step_lines(voicing, motion, &nearest));
        }
        Ok(lines)
    }

    fn bend_table(&self, chord: &Chord, sizes: &[u32]) -> Vec<String> {
        let bends = self.bends(chord, sizes);
        let mut lines = vec![words::BEND_HEAD.to_string()];
        lines.extend(bends.iter().take(BENDS_SHOWN).map(words::bend_line));
        if bends.is_empty() {
            lines = vec![format!("no bend of that size reaches a note of {chord} here")];
        } else if bends.len() > BENDS_SHOWN {
            lines.push(format!("and {} more, harder or further up: --csv - prints them all", bends.len() - BENDS_SHOWN));
        }
        lines.extend(words::curl_advice(chord));
        lines.extend(words::effort_note(&self.guitar.strings));
        lines
    }

    fn paths(&self, chord: &Chord) -> Result<Vec<String>, Failure> {
        let (neck, triad) = (&self.guitar.neck, Triad::of(chord)?);
        let shape = |voicing: &Voicing| format!("{} {}", words::frets(voicing), voicing.inversion);
        let mut lines = vec!["up each set of strings, inversion after inversion".to_string()];
        for set in string_sets(neck.strings(), false) {
            let way: Vec<Voicing> = up_the_set(neck, &triad, set).into_iter().filter(|voicing| self.inside(voicing)).collect();
            lines.extend(words::hanging(&format!("{}-{}-{}", set[0], set[1], set[2]), &way.iter().map(shape).collect::<Vec<_>>()));
        }
        lines.push(String::new());
        lines.push("across, with the hand in one place".to_string());
        for hand in [3, 7, 10].into_iter().filter(|hand| *hand <= neck.frets()) {
            let way: Vec<String> =
                across(neck, &triad, hand).iter().map(|v| format!("{}: {}", words::strings(v), words::frets(v))).collect();
            lines.extend(words::hanging(&format!("fret {hand}"), &way));
        }
        if let Some(scale) = &self.scale {
            lines.push(String::new());
            lines.push(format!("{scale}, position by position, and the triads that lie in it"));
            let all = self.all_triads(chord, false)?;
            for position in positions(neck, scale) {
                let here = all.iter().filter(|voicing| lies_in(voicing, position) && voicing.lowest_fret() <= 14);
                let way: Vec<String> = here.map(|v| format!("{}: {}", words::strings(v), words::frets(v))).collect();
                lines.extend(words::hanging(&format!("at {position}"), &way));
            }
        }
        Ok(lines)
    }
}
