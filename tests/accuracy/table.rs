//! The tables in README: written from figures, and compared with what stands there.

use super::compare::{Errors, Pitch};
use std::fmt::Write as _;

/// The value under which so large a share of all sizes lies.
pub fn percentile(errors: &[f64], share: f64) -> f64 {
    let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let place = share * (sizes.len().max(1) - 1) as f64;
    let at = |index: usize| sizes.get(index).copied().unwrap_or(f64::NAN);
    let (below, above) = (at(place.floor() as usize), at(place.ceil() as usize));
    // What is infinite has no share.
    if above.is_finite() { below + (above - below) * place.fract() } else { above }
}

/// A number of a cell: shown with so many decimals.
#[derive(Clone, Copy, Debug)]
struct Figure {
    value: f64,
    decimals: usize,
}

/// A cell: figures with words between and behind them.
#[derive(Clone, Debug)]
struct Cell {
    figures: Vec<Figure>,
    /// `{}` stands for a figure.
    words: String,
}

impl Cell {
    /// What is shown; `hair` of its last decimal is added to each figure before it is rounded.
    fn shown(&self, hair: f64) -> String {
        let mut text = self.words.clone();
        for figure in &self.figures {
            let value = figure.value + hair * 0.1f64.powi(figure.decimals as i32);
            // Never "-0.0".
            text = text.replacen("{}", &format!("{:.*}", figure.decimals, value.max(0.0)), 1);
        }
        text
    }

    /// Whether the text is what is shown, up to a hair of the last decimal, which another processor may round the other way.
    fn is(&self, text: &str) -> bool {
        let pieces: Vec<&str> = self.words.split("{}").collect();
        let Some(mut rest) = text.strip_prefix(pieces[0]) else { return false };
        for (figure, behind) in self.figures.iter().zip(&pieces[1..]) {
            let end = rest.find(|letter: char| !letter.is_ascii_digit() && letter != '.').unwrap_or(rest.len());
            let close = [-0.05, 0.0, 0.05].map(|hair| Self { figures: vec![*figure], words: "{}".into() }.shown(hair));
            if !close.iter().any(|shown| *shown == rest[..end]) {
                return false;
            }
            let Some(after) = rest[end..].strip_prefix(behind) else { return false };
            rest = after;
        }
        rest.is_empty()
    }
}

/// A table of README.
pub struct Table {
    head: Vec<String>,
    rows: Vec<(String, Vec<Cell>)>,
}

fn cell(words: &str, decimals: usize, values: &[f64]) -> Cell {
    Cell { figures: values.iter().map(|&value| Figure { value, decimals }).collect(), words: words.into() }
}

fn counts(words: &str, values: &[usize]) -> Cell {
    let values: Vec<f64> = values.iter().map(|&value| value as f64).collect();
    cell(words, 0, &values)
}

impl Table {
    /// One line a measure, one column a set of takes.
    pub fn of_measures(sets: &[(&str, &Errors)]) -> Self {
        let head =
            ["95 of 100 within, unless said otherwise"].into_iter().chain(sets.iter().map(|(name, _)| *name)).map(str::to_owned).collect();
        let mut rows: Vec<(String, Vec<Cell>)> = Vec::new();
        let mut row =
            |name: &str, of: &dyn Fn(&Errors) -> Cell| rows.push((name.into(), sets.iter().map(|(_, errors)| of(errors)).collect()));
        row("bends found; invented", &|e| counts("{} of {}; {}", &[e.found, e.played, e.invented]));
        row("kind of bend told right", &|e| counts("{} of {}", &[e.technique_right, e.found]));
        row("picked again after the release: heard", &|e| counts("{} of {}", &[e.picked_again_seen, e.picked_again]));
        row("attack", &|e| cell("{} ms", 1, &[percentile(&e.attack_ms, 0.95)]));
        row("arrival: half of them; 95 of 100", &|e| {
            cell("{}; {} ms", 1, &[percentile(&e.arrival_ms, 0.5), percentile(&e.arrival_ms, 0.95)])
        });
        row("pitch of the hold, clean guitar: half; 95 of 100", &|e| cell("{}; {} cents", 2, &halves(&e.hold_clean)));
        row("the same, all conditions: half; 95 of 100; worst", &|e| {
            let [half, most] = halves(&e.hold);
            cell("{}; {}; {} cents", 2, &[half, most, percentile(&e.hold, 1.0)])
        });
        row("release begins", &|e| cell("{} ms", 1, &[percentile(&e.release_ms, 0.95)]));
        row("landing after the release", &|e| cell("{} cents", 1, &[percentile(&e.landing, 0.95)]));
        row("overshoot, where there is one", &|e| cell("{} cents", 1, &[percentile(&e.overshoot, 0.95)]));
        row("vibrato: rate", &|e| cell("{} Hz", 2, &[percentile(&e.vibrato_rate, 0.95)]));
        row("vibrato: half width", &|e| cell("{} cents", 1, &[percentile(&e.vibrato_half, 0.95)]));
        row("cells left empty that should not be", &|e| counts("{}", &[e.missing]));
        row("readings of another note: afterwards; live", &|e| cell("{}; {} in 100", 2, &[e.afterwards.gross_pct(), e.live.gross_pct()]));
        row("readings without a pitch while a note sounds: afterwards; live", &|e| {
            cell("{}; {} in 100", 1, &[e.afterwards.unsaid_pct(), e.live.unsaid_pct()])
        });
        row("pitch of standing notes: afterwards; live", &|e| {
            let most = |pitch: &Pitch| percentile(&pitch.sustained, 0.95);
            cell("{}; {} cents", 2, &[most(&e.afterwards), most(&e.live)])
        });
        row("a live reading is ready after the instant that it describes", &|e| cell("{} ms", 1, &[percentile(&e.ready_ms, 0.95)]));
        row("from the attack to the first live reading within 20 cents: half; 90 of 100", &|e| cell("{}; {} ms", 0, &shown(e)));
        Self { head, rows }
    }

    /// One line a stretch of the neck, with what the eye is told there.
    pub fn of_octaves(octaves: &[(&str, Errors)]) -> Self {
        let head =
            ["single notes", "ready after the instant", "attack to reading: half; 90 of 100", "standing notes, live: half; 95 of 100"];
        let rows = octaves.iter().map(|(name, e)| {
            let cells = vec![
                cell("{} ms", 1, &[percentile(&e.ready_ms, 0.95)]),
                cell("{}; {} ms", 0, &shown(e)),
                cell("{}; {} cents", 2, &halves(&e.live.sustained)),
            ];
            ((*name).to_owned(), cells)
        });
        Self { rows: rows.collect(), head: head.map(str::to_owned).into() }
    }

    /// As it stands in README.
    pub fn markdown(&self) -> String {
        let mut text = format!("| {} |\n|{}\n", self.head.join(" | "), " --- |".repeat(self.head.len()));
        for (name, cells) in &self.rows {
            let cells: Vec<String> = cells.iter().map(|cell| cell.shown(0.0)).collect();
            let _ = writeln!(text, "| {name} | {} |", cells.join(" | "));
        }
        text
    }

    /// The lines of a text that do not say what the table says.
    pub fn differences(&self, text: &str) -> Vec<String> {
        let (wanted, mut lines) = (self.markdown(), text.trim().lines());
        let mut wrong = Vec::new();
        for (number, wanted) in wanted.lines().enumerate() {
            let line = lines.next().unwrap_or_default();
            let same = number.checked_sub(2).and_then(|row| self.rows.get(row)).map_or(line == wanted, |(name, cells)| {
                let parts: Vec<&str> = line.trim_matches('|').split('|').map(str::trim).collect();
                parts.first() == Some(&name.as_str())
                    && parts.len() == cells.len() + 1
                    && cells.iter().zip(&parts[1..]).all(|(cell, part)| cell.is(part))
            });
            if !same {
                wrong.push(format!("  stands: {line}\n  is so:  {wanted}"));
            }
        }
        wrong.extend(lines.map(|line| format!("  stands, and should not: {line}")));
        wrong
    }
}

fn halves(errors: &[f64]) -> [f64; 2] {
    [percentile(errors, 0.5), percentile(errors, 0.95)]
}

fn shown(errors: &Errors) -> [f64; 2] {
    [percentile(&errors.shown_ms, 0.5), percentile(&errors.shown_ms, 0.9)]
}

#[test]
fn a_percentile_lies_between_its_neighbours() {
    let errors = [-4.0, 1.0, 2.0, -3.0, 0.0];
    assert!((percentile(&errors, 0.5) - 2.0).abs() < 1e-12);
    assert!((percentile(&errors, 1.0) - 4.0).abs() < 1e-12);
    assert!((percentile(&errors, 0.9) - 3.6).abs() < 1e-12);
}

#[test]
fn a_cell_is_told_from_another_but_not_by_a_hair() {
    let cell = cell("{}; {} ms", 1, &[0.449_999, 12.0]);
    assert_eq!(cell.shown(0.0), "0.4; 12.0 ms");
    assert!(cell.is("0.4; 12.0 ms") && cell.is("0.5; 12.0 ms"));
    for other in ["0.6; 12.0 ms", "0.3; 12.0 ms", "0.4; 12.1 ms", "0.4; 12.0 c", "0.4; 12.0 ms more", "", "0.4"] {
        assert!(!cell.is(other), "{other}");
    }
}

#[test]
fn a_table_with_a_wrong_figure_a_missing_line_or_one_too_many_is_told() {
    let table = Table {
        head: vec!["a".into(), "b".into()],
        rows: vec![("x".into(), vec![cell("{} ms", 1, &[1.0])]), ("y".into(), vec![cell("{}", 0, &[3.0])])],
    };
    let text = table.markdown();
    assert_eq!(table.differences(&text), Vec::<String>::new());
    assert_eq!(table.differences(&text.replace("1.0", "1.1")).len(), 1);
    assert_eq!(table.differences(&text.replace("| y | 3 |\n", "")).len(), 1);
    assert_eq!(table.differences(&format!("{text}| z | 1 |\n")).len(), 1);
}
