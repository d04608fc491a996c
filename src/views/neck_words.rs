//! Triads, bends and paths in words and tables, 80 columns wide at most.

use super::neck::{Board, Kind, Mark};
use crate::theory::bend::{Way, size_name};
use crate::theory::choice::Fit;
use crate::theory::guide::Lead;
use crate::theory::path::{Reach, Technique};
use crate::theory::placed::Placed;
use crate::theory::{Bend, Chord, Degree, Inversion, Neck, Place, Scale, StringSet, Voicing, bend};
use std::fmt::Display;

/// Items with one space between them.
pub fn spaced<T: Display>(items: impl IntoIterator<Item = T>) -> String {
    items.into_iter().map(|item| item.to_string()).collect::<Vec<_>>().join(" ")
}

/// `Dm   D F A   1 b3 5`.
#[must_use]
pub fn chord_line(chord: &Chord) -> String {
    let names = spaced(chord.tones().iter().map(|tone| tone.name));
    let degrees = spaced(chord.tones().iter().map(|tone| tone.degree));
    let bass = if chord.bass() == chord.root() { String::new() } else { format!("   over {}", chord.bass()) };
    format!("{chord}   {names}   {degrees}{bass}")
}

/// `A minor pentatonic   A C D E G   1 b3 4 5 b7`.
#[must_use]
pub fn scale_line(scale: &Scale) -> String {
    let names = spaced(scale.notes().map(|(_, name)| name));
    let degrees = spaced(scale.notes().map(|(degree, _)| degree));
    format!("{scale}   {names}   {degrees}")
}

/// Strings and frets of a voicing: `10-10-10`.
#[must_use]
pub fn frets(voicing: &Voicing) -> String {
    dashed(&voicing.frets)
}

/// `3-2-1`.
#[must_use]
pub fn strings(voicing: &Voicing) -> String {
    dashed(&voicing.strings)
}

fn dashed(numbers: &[u8]) -> String {
    numbers.iter().map(u8::to_string).collect::<Vec<_>>().join("-")
}

/// All shapes, a line for each set of strings, a column for each inversion. Spread ones are marked with `~`.
#[must_use]
pub fn triad_table(voicings: &[Voicing], degrees: &[String; 3]) -> Vec<String> {
    let mut sets: Vec<[u8; 3]> = Vec::new();
    for voicing in voicings {
        if !sets.contains(&voicing.strings) {
            sets.push(voicing.strings);
        }
    }
    let columns = [Inversion::Root, Inversion::First, Inversion::Second];
    let head: Vec<String> = columns.iter().zip(degrees).map(|(inversion, degree)| format!("{inversion}, {degree} lowest")).collect();
    let mut lines = vec![format!("{:<9}{:<24}{:<24}{}", "strings", head[0], head[1], head[2])];
    // A solo is played on the high strings: they come first.
    sets.sort_by_key(|set| set.iter().copied().max());
    for set in sets {
        let shapes = |inversion: Inversion| -> Vec<String> {
            let here = voicings.iter().filter(|voicing| voicing.strings == set && voicing.inversion == inversion);
            here.map(|voicing| format!("{}{}", frets(voicing), if voicing.is_close() { "" } else { "~" })).collect()
        };
        let cells = columns.map(|inversion| wrapped(&shapes(inversion), 22));
        for row in 0..cells.iter().map(Vec::len).max().unwrap_or(0) {
            let cell = |column: usize| cells[column].get(row).map_or("", String::as_str);
            let name = if row == 0 { dashed(&set) } else { String::new() };
            lines.push(format!("{name:<9}{:<24}{:<24}{}", cell(0), cell(1), cell(2)).trim_end().to_string());
        }
    }
    lines
}

/// Words in lines of at most `width` characters, two spaces apart, one after a comma.
#[must_use]
pub fn wrapped(words: &[String], width: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 2 + word.chars().count() <= width => {
                line.push_str(if line.ends_with(',') { " " } else { "  " });
                line.push_str(word);
            }
            _ => lines.push(word.clone()),
        }
    }
    lines
}

/// A bend in one line of a table; the head is [`BEND_HEAD`].
#[must_use]
pub fn bend_line(bend: &Bend) -> String {
    let step = format!("{} to {}", bend.from, bend.degree);
    let notes = format!("{} to {}", bend.origin, bend.target);
    let way = match bend.way {
        Way::Push => "push",
        Way::Either => "either",
        Way::Pull => "pull",
    };
    let effort = bend.push.map_or_else(|| "too far".to_string(), |push| format!("{:>2.0} mm {:>2.0} N", push.mm, push.newtons));
    let (string, fret, size) = (bend.place.string, bend.place.fret, size_name(bend.cents));
    let line = format!("{string:>6} {fret:>5}   {size:<14} {step:<10} {notes:<12} {:<5} {effort:<11} {way}", bend.ease.to_string());
    line.trim_end().to_string()
}

/// The head of a table of bends.
pub const BEND_HEAD: &str = "string  fret   bend           degrees    notes        ease  effort      way";

/// The signs that bends have on a neck: half, whole, one and a half, two.
#[must_use]
pub fn bend_sign(cents: u32) -> &'static str {
    match cents {
        100 => "↑",
        200 => "⇑",
        300 => "⇑↑",
        400 => "⇑⇑",
        _ => "↟",
    }
}

/// From a voicing to the next ones: `3-2-1   10-10-10 first   10-11-10 second   moves 1`.
#[must_use]
pub fn step_lines(from: &Voicing, motion: u32, nearest: &[&Voicing]) -> Vec<String> {
    if nearest.is_empty() {
        return vec![format!("{:<9}{:<20}none on these strings", strings(from), format!("{} {}", frets(from), from.inversion))];
    }
    let voices = |next: &Voicing| -> String {
        let moves = from.midi.iter().zip(next.midi).map(|(a, b)| match b - a {
            0 => "=".to_string(),
            up @ 1.. => format!("+{up}"),
            down => down.to_string(),
        });
        moves.collect::<Vec<_>>().join(" ")
    };
    let line = |(index, next): (usize, &&Voicing)| {
        let begin =
            if index == 0 { format!("{:<9}{:<20}", strings(from), format!("{} {}", frets(from), from.inversion)) } else { " ".repeat(29) };
        format!("{begin}{:<20}{motion:>3}   {}", format!("{} {}", frets(next), next.inversion), voices(next))
    };
    nearest.iter().enumerate().map(line).collect()
}

/// The head of [`step_lines`].
#[must_use]
pub fn step_head(chord: &Chord, next: &Chord) -> String {
    format!("{:<9}{:<20}{:<20}moves, semitones (each string)", "strings", chord.to_string(), format!("to {next}"))
}

/// A strong note within reach, in words.
#[must_use]
pub fn reach_line(reach: &Reach, from: Place) -> String {
    let Place { string, fret } = reach.place;
    let how = match reach.technique {
        Technique::Fret if reach.place == from => "under your finger".to_string(),
        Technique::Fret if fret == 0 => "open string".to_string(),
        Technique::Fret => "fret it".to_string(),
        Technique::Slide => format!("slide {} {}", if fret > from.fret { "up" } else { "down" }, fret.abs_diff(from.fret)),
        Technique::Bend(bend) => format!("{} bend from {} ({}), {}", size_name(bend.cents), bend.origin, bend.from, bend.ease),
    };
    format!("{:>4}  {:<4} {:>5}/{:<4} {how}", reach.degree.to_string(), reach.note.to_string(), string, fret)
}

/// A guide tone's way: `b7 Bb > 3 A  -1`.
#[must_use]
pub fn lead_words(lead: &Lead) -> String {
    let motion = match lead.semitones {
        0 => "stays".to_string(),
        up @ 1.. => format!("up {up}"),
        down => format!("down {}", -down),
    };
    format!("{} {} to {} {} ({motion})", lead.from.degree, lead.from.name, lead.to.degree, lead.to.name)
}

/// Tuning, capo and the like where the guitar is no ordinary one.
#[must_use]
pub fn guitar_line(neck: &Neck) -> Option<String> {
    let mut words = Vec::new();
    if neck.tuning().name() != Some("standard") {
        words.push(neck.tuning().name().map_or_else(|| neck.tuning().to_string(), |name| format!("{name} ({})", neck.tuning())));
    }
    if neck.capo() > 0 {
        words.push(format!("capo at {}, frets counted from it", neck.capo()));
    }
    if neck.semitones_down() > 0 {
        words.push(format!("tuned down {}", neck.semitones_down()));
    }
    if neck.sounding_offset() != 0 {
        words.push(format!("sounds {:+} semitones", neck.sounding_offset()));
    }
    (!words.is_empty()).then(|| words.join("; "))
}

/// What stands on the neck for a chord tone or scale note. Over a chord, scale notes are counted from the chord's root.
#[must_use]
pub fn mark(placed: &Placed, chord: Option<&Chord>) -> Mark {
    let (text, kind) = match (placed.degree, chord, placed.scale_degree) {
        (Some(Degree::ROOT), _, _) | (None, None, Some(Degree::ROOT)) => ("1".to_string(), Kind::Root),
        (Some(degree), _, _) | (None, None, Some(degree)) => (degree.to_string(), Kind::Tone),
        (None, Some(chord), _) => (bend::line_degree(chord, placed.note).to_string(), Kind::Passing),
        (None, None, None) => (placed.note.name.to_string(), Kind::Passing),
    };
    Mark { place: placed.place, text, kind }
}

/// Where bends start, with their sign and the degree they reach; the roots stand between them to find one's way.
#[must_use]
pub fn bend_marks<'a>(bends: impl Iterator<Item = &'a Bend>, neck: &Neck, chord: &Chord) -> Vec<Mark> {
    let mut marks: Vec<Mark> =
        bends.map(|bend| Mark { place: bend.place, text: format!("{}{}", bend_sign(bend.cents), bend.degree), kind: Kind::Bend }).collect();
    let taken: Vec<Place> = marks.iter().map(|mark| mark.place).collect();
    let root = |place: &Place| chord.degree_of_pitch(neck.midi(*place)) == Some(Degree::ROOT) && !taken.contains(place);
    marks.extend(neck.places().filter(root).map(|place| Mark { place, text: "1".to_string(), kind: Kind::Root }));
    marks
}

/// The quarter curl that suits a major or dominant chord. Common practice, no source.
#[must_use]
pub fn curl_advice(chord: &Chord) -> Option<String> {
    chord.tone(3).filter(|tone| tone.degree.alter == 0)?;
    let third = chord.root().up(Degree::new(3, -1).interval());
    Some(format!("The b3, {third}, may be curled up by 25 to 70 cents: that is no missed 3."))
}

/// Where the figures for effort come from.
#[must_use]
pub fn effort_note(strings: &StringSet) -> [String; 2] {
    [
        "Effort: estimated without friction (Grimes, PLoS ONE 9, e102088, 2014), 648 mm,".to_string(),
        format!("strings {strings}; for wound ones a rough guess."),
    ]
}

/// A name, then words, in lines of 80 columns with the name standing out.
#[must_use]
pub fn hanging(name: &str, words: &[String]) -> Vec<String> {
    hanging_at(9, name, words)
}

/// [`hanging`] with `indent` columns for the name.
#[must_use]
pub fn hanging_at(indent: usize, name: &str, words: &[String]) -> Vec<String> {
    if words.is_empty() {
        return vec![format!("  {name:<indent$}none")];
    }
    // A name that is too long takes a space before the words, which then begin further right.
    let indent = indent.max(name.chars().count() + 1);
    let lines = wrapped(words, 78 - indent.min(40)).into_iter().enumerate();
    lines.map(|(row, line)| format!("  {:<indent$}{line}", if row == 0 { name } else { "" })).collect()
}

/// Scales that fit, those with the same reason together: `D minor (the key)`, `D dorian, D phrygian (the chord)`.
#[must_use]
pub fn fit_words(fits: &[Fit]) -> Vec<String> {
    let groups = fits.chunk_by(|a, b| a.why == b.why).flat_map(|group| {
        let last = group.len() - 1;
        group.iter().enumerate().map(
            move |(index, fit)| {
                if index == last { format!("{} ({})", fit.scale, fit.why) } else { format!("{},", fit.scale) }
            },
        )
    });
    groups.collect()
}

/// What the signs on a board mean, as far as they are on it.
#[must_use]
pub fn legend(board: &Board) -> Option<String> {
    let mut words = vec!["[1] root"];
    if board.marks.iter().any(|mark| mark.kind == Kind::Passing) {
        words.push("·4 scale note outside the chord, counted from its root");
    }
    if board.marks.iter().any(|mark| mark.kind == Kind::Bend) {
        words.push("fret and bend: ↑5 half, ⇑5 whole, to the 5");
    }
    (words.len() > 1).then(|| format!("        {}", words.join("   ")))
}
