//! Block letters that can be read from two metres: strokes of a pen, drawn at any height from five rows up.
//!
//! A letter is a few lines in a box 10 high, drawn with a pen 2 wide. One terminal cell shows two square points, one above the other
//! (`▀`, `▄`, `█`), so that a row of text is two points high.

use crate::theory::Chord;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

/// Height of the box, in pen units.
const BOX: f64 = 10.0;
/// Half the width of the pen.
const PEN: f64 = 1.0;
/// Space between two letters.
const APART: f64 = 2.0;

/// Least height in rows: smaller than this, a letter's strokes run together.
pub const LEAST_ROWS: u16 = 5;

/// Width of a letter's box and its strokes, each a chain of points.
type Letter = (f64, &'static [&'static [(f64, f64)]]);

/// Capitals stand for small letters too: at five rows, a small `e` would have no room for its three strokes.
fn letter(which: char) -> Option<Letter> {
    Some(match which.to_ascii_uppercase() {
        'A' => (7.0, &[&[(1.0, 9.0), (1.0, 3.0), (2.5, 1.0), (4.5, 1.0), (6.0, 3.0), (6.0, 9.0)], &[(1.0, 6.0), (6.0, 6.0)]]),
        'B' => (
            7.0,
            &[
                &[(1.0, 1.0), (1.0, 9.0), (5.0, 9.0), (6.0, 8.0), (6.0, 6.0), (5.0, 5.0), (1.0, 5.0)],
                &[(1.0, 1.0), (4.5, 1.0), (5.5, 2.0), (5.5, 4.0), (5.0, 5.0)],
            ],
        ),
        'C' => (7.0, &[&[(6.0, 2.0), (5.0, 1.0), (2.5, 1.0), (1.0, 2.5), (1.0, 7.5), (2.5, 9.0), (5.0, 9.0), (6.0, 8.0)]]),
        'D' => (7.0, &[&[(1.0, 1.0), (4.0, 1.0), (6.0, 3.0), (6.0, 7.0), (4.0, 9.0), (1.0, 9.0), (1.0, 1.0)]]),
        'E' => (7.0, &[&[(6.0, 1.0), (1.0, 1.0), (1.0, 9.0), (6.0, 9.0)], &[(1.0, 5.0), (5.0, 5.0)]]),
        'F' => (7.0, &[&[(6.0, 1.0), (1.0, 1.0), (1.0, 9.0)], &[(1.0, 5.0), (5.0, 5.0)]]),
        'G' => (7.0, &[&[(6.0, 2.0), (5.0, 1.0), (2.5, 1.0), (1.0, 2.5), (1.0, 7.5), (2.5, 9.0), (6.0, 9.0), (6.0, 5.0), (4.0, 5.0)]]),
        'H' => (7.0, &[&[(1.0, 1.0), (1.0, 9.0)], &[(6.0, 1.0), (6.0, 9.0)], &[(1.0, 5.0), (6.0, 5.0)]]),
        'I' => (2.0, &[&[(1.0, 1.0), (1.0, 9.0)]]),
        'J' => (6.0, &[&[(5.0, 1.0), (5.0, 7.5), (3.5, 9.0), (2.0, 9.0), (1.0, 8.0)]]),
        'K' => (7.0, &[&[(1.0, 1.0), (1.0, 9.0)], &[(6.0, 1.0), (2.5, 5.0), (6.0, 9.0)], &[(1.0, 5.0), (2.5, 5.0)]]),
        'L' => (7.0, &[&[(1.0, 1.0), (1.0, 9.0), (6.0, 9.0)]]),
        'M' => (9.0, &[&[(1.0, 9.0), (1.0, 1.0), (4.5, 5.0), (8.0, 1.0), (8.0, 9.0)]]),
        'N' => (7.0, &[&[(1.0, 9.0), (1.0, 1.0), (6.0, 9.0), (6.0, 1.0)]]),
        'O' => (7.0, &[&[(2.5, 1.0), (4.5, 1.0), (6.0, 2.5), (6.0, 7.5), (4.5, 9.0), (2.5, 9.0), (1.0, 7.5), (1.0, 2.5), (2.5, 1.0)]]),
        'P' => (7.0, &[&[(1.0, 9.0), (1.0, 1.0), (4.5, 1.0), (6.0, 2.5), (6.0, 4.5), (4.5, 6.0), (1.0, 6.0)]]),
        'Q' => (
            7.0,
            &[
                &[(2.5, 1.0), (4.5, 1.0), (6.0, 2.5), (6.0, 7.5), (4.5, 9.0), (2.5, 9.0), (1.0, 7.5), (1.0, 2.5), (2.5, 1.0)],
                &[(4.0, 6.5), (6.0, 9.0)],
            ],
        ),
        'R' => (7.0, &[&[(1.0, 9.0), (1.0, 1.0), (4.5, 1.0), (6.0, 2.5), (6.0, 4.0), (4.5, 5.5), (1.0, 5.5)], &[(3.5, 5.5), (6.0, 9.0)]]),
        'S' => (
            7.0,
            &[&[(6.0, 1.0), (2.0, 1.0), (1.0, 2.0), (1.0, 4.0), (2.0, 5.0), (5.0, 5.0), (6.0, 6.0), (6.0, 8.0), (5.0, 9.0), (1.0, 9.0)]],
        ),
        'T' => (8.0, &[&[(1.0, 1.0), (7.0, 1.0)], &[(4.0, 1.0), (4.0, 9.0)]]),
        'U' => (7.0, &[&[(1.0, 1.0), (1.0, 7.5), (2.5, 9.0), (4.5, 9.0), (6.0, 7.5), (6.0, 1.0)]]),
        'V' => (8.0, &[&[(1.0, 1.0), (1.0, 4.0), (4.0, 9.0), (7.0, 4.0), (7.0, 1.0)]]),
        'W' => (
            10.0,
            &[
                &[(1.0, 1.0), (1.0, 8.0), (2.0, 9.0), (4.0, 9.0), (5.0, 8.0), (5.0, 4.0)],
                &[(5.0, 8.0), (6.0, 9.0), (8.0, 9.0), (9.0, 8.0), (9.0, 1.0)],
            ],
        ),
        'X' => (7.0, &[&[(1.0, 1.0), (6.0, 9.0)], &[(6.0, 1.0), (1.0, 9.0)]]),
        'Y' => (8.0, &[&[(1.0, 1.0), (4.0, 5.0), (7.0, 1.0)], &[(4.0, 5.0), (4.0, 9.0)]]),
        'Z' => (7.0, &[&[(1.0, 1.0), (6.0, 1.0), (1.0, 9.0), (6.0, 9.0)]]),
        other => return sign(other),
    })
}

fn sign(which: char) -> Option<Letter> {
    Some(match which {
        '0' => (7.0, &[&[(2.5, 1.0), (4.5, 1.0), (6.0, 2.5), (6.0, 7.5), (4.5, 9.0), (2.5, 9.0), (1.0, 7.5), (1.0, 2.5), (2.5, 1.0)]]),
        '1' => (6.0, &[&[(1.0, 3.0), (3.0, 1.0), (3.0, 9.0)], &[(1.0, 9.0), (5.0, 9.0)]]),
        '2' => (7.0, &[&[(1.0, 2.5), (2.5, 1.0), (4.5, 1.0), (6.0, 2.5), (6.0, 4.0), (1.0, 9.0), (6.0, 9.0)]]),
        '3' => (
            7.0,
            &[
                &[(1.0, 1.0), (5.0, 1.0), (6.0, 2.0), (6.0, 4.0), (5.0, 5.0), (2.5, 5.0)],
                &[(5.0, 5.0), (6.0, 6.0), (6.0, 8.0), (5.0, 9.0), (1.0, 9.0)],
            ],
        ),
        '4' => (7.0, &[&[(5.0, 9.0), (5.0, 1.0), (1.0, 6.0), (6.0, 6.0)]]),
        '5' => (7.0, &[&[(6.0, 1.0), (1.0, 1.0), (1.0, 4.5), (4.5, 4.5), (6.0, 6.0), (6.0, 7.5), (4.5, 9.0), (1.0, 9.0)]]),
        '6' => (
            7.0,
            &[&[(5.5, 1.0), (3.0, 1.0), (1.0, 3.0), (1.0, 8.0), (2.0, 9.0), (5.0, 9.0), (6.0, 8.0), (6.0, 6.0), (5.0, 5.0), (1.0, 5.0)]],
        ),
        '7' => (7.0, &[&[(1.0, 1.0), (6.0, 1.0), (6.0, 2.0), (3.0, 6.0), (3.0, 9.0)]]),
        '8' => (
            7.0,
            &[
                &[(2.0, 1.0), (5.0, 1.0), (6.0, 2.0), (6.0, 4.0), (5.0, 5.0), (2.0, 5.0), (1.0, 4.0), (1.0, 2.0), (2.0, 1.0)],
                &[(5.0, 5.0), (6.0, 6.0), (6.0, 8.0), (5.0, 9.0), (2.0, 9.0), (1.0, 8.0), (1.0, 6.0), (2.0, 5.0)],
            ],
        ),
        '9' => (
            7.0,
            &[&[(1.5, 9.0), (4.0, 9.0), (6.0, 7.0), (6.0, 2.0), (5.0, 1.0), (2.0, 1.0), (1.0, 2.0), (1.0, 4.0), (2.0, 5.0), (6.0, 5.0)]],
        ),
        ' ' => (3.0, &[]),
        '-' => (6.0, &[&[(1.0, 5.0), (5.0, 5.0)]]),
        '+' => (7.0, &[&[(1.0, 5.0), (6.0, 5.0)], &[(3.5, 2.5), (3.5, 7.5)]]),
        '.' => (2.0, &[&[(1.0, 9.0), (1.0, 9.0)]]),
        // Signs of chords; a small m, since a large one would mean major.
        'ₘ' => (
            10.0,
            &[
                &[(1.0, 9.0), (1.0, 4.0)],
                &[(1.0, 5.0), (2.5, 4.0), (4.0, 4.0), (5.0, 5.0), (5.0, 9.0)],
                &[(5.0, 5.0), (6.5, 4.0), (8.0, 4.0), (9.0, 5.0), (9.0, 9.0)],
            ],
        ),
        '♭' => (6.0, &[&[(1.0, 1.0), (1.0, 9.0), (3.0, 9.0), (5.0, 7.5), (5.0, 6.0), (4.0, 5.0), (1.0, 5.5)]]),
        'Δ' => (9.0, &[&[(4.5, 1.0), (1.0, 9.0), (8.0, 9.0), (4.5, 1.0)]]),
        '°' => (6.0, &[&[(1.0, 1.0), (5.0, 1.0), (5.0, 4.5), (1.0, 4.5), (1.0, 1.0)]]),
        '/' => (6.0, &[&[(5.0, 1.0), (1.0, 9.0)]]),
        '#' => (10.0, &[&[(3.0, 1.0), (3.0, 9.0)], &[(7.0, 1.0), (7.0, 9.0)], &[(1.0, 3.0), (9.0, 3.0)], &[(1.0, 7.0), (9.0, 7.0)]]),
        _ => return None,
    })
}

/// A chord's symbol in letters that are here: root and signs as they are, `ₘ` for minor, `Δ` for maj, `°` for dim, `♭` for b.
#[must_use]
pub fn of_chord(chord: &Chord) -> String {
    let sign = |text: String| text.replace('b', "♭");
    let suffix = chord.suffix().replace("maj", "Δ").replace("dim", "°").replace("aug", "+").replace('m', "ₘ");
    let bass = if chord.bass() == chord.root() { String::new() } else { format!("/{}", chord.bass()) };
    format!("{}{}{}", sign(chord.root().to_string()), sign(suffix), sign(bass))
}

/// Words with the names of notes in letters that are here: `♭` for b.
#[must_use]
pub fn of_notes(words: &str) -> String {
    let one = |word: &str| if word.starts_with(char::is_uppercase) { word.replace('b', "♭") } else { word.to_owned() };
    words.split(' ').map(one).collect::<Vec<_>>().join(" ")
}

/// Columns that `text` takes at a height of `rows`.
#[must_use]
pub fn width(text: &str, rows: u16) -> u16 {
    let units: f64 = text.chars().filter_map(letter).map(|(wide, _)| wide + APART).sum();
    ((units - APART).max(0.0) * scale(rows)).ceil() as u16
}

/// The greatest height in rows, up to `most`, at which `text` fits in `columns`; `None` where it does not even at five rows.
#[must_use]
pub fn tallest(text: &str, columns: u16, most: u16) -> Option<u16> {
    (LEAST_ROWS..=most).rev().find(|&rows| width(text, rows) <= columns)
}

/// Draws `text` into the upper left of `area`, `rows` rows high; what has no letter is left out, what does not fit is cut.
pub fn draw(text: &str, rows: u16, style: Style, area: Rect, buffer: &mut Buffer) {
    let area = area.intersection(buffer.area);
    let scale = scale(rows);
    let mut left = 0.0;
    for (wide, strokes) in text.chars().filter_map(letter) {
        let columns = (left * scale) as u16..(((left + wide) * scale).ceil() as u16).min(area.width);
        for column in columns {
            let x = (f64::from(column) + 0.5) / scale - left;
            for row in 0..rows.min(area.height) {
                let inked = |half: f64| strokes.iter().any(|stroke| under_pen(stroke, x, (f64::from(row) * 2.0 + half + 0.5) / scale));
                let shape = match (inked(0.0), inked(1.0)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => continue,
                };
                buffer[(area.x + column, area.y + row)].set_char(shape).set_style(style);
            }
        }
        left += wide + APART;
    }
}

/// Points a pen unit.
fn scale(rows: u16) -> f64 {
    f64::from(rows) * 2.0 / BOX
}

fn under_pen(stroke: &[(f64, f64)], x: f64, y: f64) -> bool {
    stroke.windows(2).any(|line| {
        let ((x0, y0), (x1, y1)) = (line[0], line[1]);
        let (dx, dy) = (x1 - x0, y1 - y0);
        let along = (((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy).max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        (x - x0 - along * dx).hypot(y - y0 - along * dy) <= PEN
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(text: &str, rows: u16) -> String {
        let area = Rect::new(0, 0, width(text, rows), rows);
        let mut buffer = Buffer::empty(area);
        draw(text, rows, Style::new(), area, &mut buffer);
        let line = |row: u16| (0..area.width).map(|column| buffer[(column, row)].symbol()).collect::<String>().trim_end().to_owned();
        (0..rows).map(line).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn every_verdict_fits_in_eighty_columns_at_five_rows() {
        for word in ["landed", "scale", "outside"] {
            assert!(width(word, 5) <= 66, "{word}");
        }
        for word in ["fell", "short", "over"] {
            assert!(width(word, 5) <= 78, "{word}");
            for cents in 1..100 {
                let verdict = format!("{word} {cents}");
                assert!(width(&verdict, 5) <= 78, "{verdict} is {} wide", width(&verdict, 5));
            }
        }
    }

    #[test]
    fn no_two_letters_look_alike() {
        let mut seen = std::collections::BTreeMap::new();
        for which in ('A'..='Z').chain('1'..='9').chain("-+./#ₘ♭Δ°".chars()) {
            if let Some(other) = seen.insert(drawn(&which.to_string(), 5), which) {
                panic!("{which} looks like {other}");
            }
        }
    }

    #[test]
    fn a_minor_chord_is_never_written_with_a_large_m() {
        let written = |symbol: &str| of_chord(&symbol.parse().unwrap());
        assert_eq!(written("Gm7"), "Gₘ7");
        assert_eq!(written("Bbmaj7"), "B♭Δ7");
        assert_eq!(written("Em7b5"), "Eₘ7♭5");
        assert_eq!(written("C#dim7"), "C#°7");
        assert_eq!(written("G/B"), "G/B");
        for symbol in ["Ebm7b5", "F#m7", "Bbmaj7"] {
            assert!(width(&written(symbol), 5) <= 66, "{symbol}");
        }
    }

    #[test]
    fn the_alphabet_at_five_rows_and_a_word_at_eight() {
        let lines = ["ABCDEFGHIJ", "KLMNOPQRS", "TUVWXYZ+-./#", "0123456789"].map(|text| drawn(text, 5)).join("\n\n");
        insta::assert_snapshot!(format!("{lines}\n\n{}", drawn("landed", 8)));
    }
}
