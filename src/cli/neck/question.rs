//! What `landfall neck` finds for a question: shapes, bends, tables and boards.

use super::Args;
use crate::cli::fretboard::Guitar;
use crate::cli::{Failure, WrongUse};
use crate::theory::path::{across, lies_in, positions, up_the_set};
use crate::theory::placed::placed;
use crate::theory::triad::{nearest, string_sets};
use crate::theory::{Bend, Chord, Degree, Ease, Scale, Triad, Voicing, bends, voicings};
use crate::views::neck::{Board, Kind, Mark};
use crate::views::neck_words as words;

/// The bends that are drawn and printed without being asked for by size: those that the hand takes gladly.
const BENDS_SHOWN: usize = 14;

/// The question, with its words read.
pub(super) struct Question {
    pub(super) guitar: Guitar,
    pub(super) chord: Option<Chord>,
    pub(super) scale: Option<Scale>,
    pub(super) next: Option<Chord>,
}

impl Question {
    pub(super) fn chord(&self) -> Result<&Chord, Failure> {
        self.chord.as_ref().ok_or_else(|| WrongUse("name the chord with --chord, for instance --chord Dm".into()).into())
    }

    pub(super) fn inside(&self, voicing: &Voicing) -> bool {
        voicing.places().into_iter().all(|place| self.guitar.window.holds(place))
    }

    /// Every voicing of a chord's triad, in the window or not.
    pub(super) fn all_triads(&self, chord: &Chord, spread: bool) -> Result<Vec<Voicing>, Failure> {
        let sets = string_sets(self.guitar.neck.strings(), spread);
        Ok(voicings(&self.guitar.neck, &Triad::of(chord)?, &sets).into_iter().filter(Voicing::is_close).collect())
    }

    pub(super) fn close_triads(&self, spread: bool) -> Result<Vec<Voicing>, Failure> {
        Ok(self.all_triads(self.chord()?, spread)?.into_iter().filter(|voicing| self.inside(voicing)).collect())
    }

    /// Triads or shells in the window; a shell's tones lie too far apart for three neighbouring strings alone.
    pub(super) fn voicings(&self, shells: bool, spread: bool) -> Result<Vec<Voicing>, Failure> {
        let triad = if shells { Triad::shell(self.chord()?)? } else { Triad::of(self.chord()?)? };
        let sets = string_sets(self.guitar.neck.strings(), spread || shells);
        Ok(voicings(&self.guitar.neck, &triad, &sets).into_iter().filter(|voicing| self.inside(voicing)).collect())
    }

    pub(super) fn bends(&self, chord: &Chord, sizes: &[u32]) -> Vec<Bend> {
        let guitar = &self.guitar;
        let mut sizes = sizes.to_vec();
        sizes.sort_unstable();
        sizes.dedup();
        let found = bends(&guitar.neck, &guitar.strings, chord, self.scale.as_ref(), &sizes);
        found.into_iter().filter(|bend| guitar.window.holds(bend.place)).collect()
    }

    /// What was asked, spelled out, and the guitar where it is no ordinary one.
    pub(super) fn head(&self) -> Vec<String> {
        let mut lines: Vec<String> = self.chord.iter().map(words::chord_line).collect();
        lines.extend(self.scale.iter().map(words::scale_line));
        lines.extend(words::guitar_line(&self.guitar.neck));
        lines
    }

    /// The board with what was asked for: bends where those are wanted, else the triad's or the chord's tones and the scale.
    pub(super) fn board(&self, args: &Args) -> Board {
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
    pub(super) fn set_boards(&self, shells: bool, spread: bool) -> Result<Vec<Board>, Failure> {
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

    pub(super) fn voicing_table(&self, shells: bool, spread: bool) -> Result<Vec<String>, Failure> {
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

    pub(super) fn step_table(&self, next: &Chord, spread: bool) -> Result<Vec<String>, Failure> {
        let from = self.close_triads(spread)?;
        let to = self.all_triads(next, spread)?;
        let mut lines = vec![words::chord_line(next), String::new(), words::step_head(self.chord()?, next)];
        for voicing in &from {
            let (motion, nearest) = nearest(voicing, &to);
            lines.extend(words::step_lines(voicing, motion, &nearest));
        }
        Ok(lines)
    }

    pub(super) fn bend_table(&self, chord: &Chord, sizes: &[u32]) -> Vec<String> {
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

    pub(super) fn paths(&self, chord: &Chord) -> Result<Vec<String>, Failure> {
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
