//! `landfall neck`.

mod question;

use super::fretboard::Options;
use super::output::Targets;
use super::{Failure, WrongUse, meant, print};
use crate::logbook;
use crate::theory::path::within_reach;
use crate::theory::placed::{Placed, placed};
use crate::theory::triad::nearest;
use crate::theory::{Chord, Place};
use crate::views::neck_words as words;
use crate::views::page::Page;
use question::Question;

const HELP: &str = "\
Ask for one chord, and say what you want to see of it:

  landfall neck --chord Dm             its notes all over the neck, by degree
  landfall neck --chord Dm --triads    its triads: every shape on three strings
  landfall neck --chord A7 --bends     bends into its notes, the easiest first
  landfall neck --chord A7 --bends --scale \"D harmonic minor\"
                                       the same, from notes of the scale
  landfall neck --chord Gm7 --next C7  from each Gm triad the nearest one of C
  landfall neck --scale \"A minor pentatonic\"
                                       a scale, with or without --chord
  landfall neck --chord Dm --at 2/8    strong notes near string 2, fret 8
  landfall neck --chord Dm --path --scale \"D minor\"
                                       triads up, across, and by position

Add --position 5, --strings 1-3, --tuning \"drop D\", --capo 2 or --left to any of them, and --svg FILE for a page \
to print or --csv FILE for a table. [1] is the root; b3 is the minor third, b7 the minor seventh; a dot (·4) marks a \
scale note that is not in the chord. For the chords of a whole tune see `landfall chart --help`. \
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
    #[command(flatten)]
    targets: Targets,
}

fn place(text: &str) -> Result<Place, String> {
    let wrong = || "write string/fret, for instance 2/8".to_string();
    let (string, fret) = text.split_once('/').ok_or_else(wrong)?;
    let number = |text: &str| text.trim().parse::<u8>().map_err(|_| wrong());
    let place = Place { string: number(string)?, fret: number(fret)? };
    if (1..=9).contains(&place.string) && place.fret <= 36 { Ok(place) } else { Err(wrong()) }
}

impl Args {
    /// Answers.
    ///
    /// # Errors
    /// For words that cannot be read, and when nothing can be written.
    pub fn run(self) -> Result<(), Failure> {
        let chord = meant(self.chord.as_deref().map(Chord::parse).transpose())?;
        let scale = meant(self.scale.as_deref().map(str::parse).transpose())?;
        let next = meant(self.next.as_deref().map(Chord::parse).transpose())?;
        if chord.is_none() && scale.is_none() {
            return Err(WrongUse("name a chord or a scale: landfall neck --chord Dm, or landfall neck --scale \"D minor\"".into()).into());
        }
        let question = Question { guitar: self.guitar.guitar()?, chord, scale, next };
        if self.targets.are_none() {
            return print(&self.text(&question)?);
        }
        self.targets.write(|| self.table(&question), || self.page(&question))
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

/// Columns of the terminal, 80 where there is none; wider than 140 is not read in one glance.
pub(super) fn columns() -> usize {
    crate::views::terminal_columns().unwrap_or(80).clamp(40, 140)
}

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
