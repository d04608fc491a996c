//! Graded takes as one page for a browser or a printer: each bend's curve with what was wanted, and its figures. Black on white, nothing loaded.

use super::page::{Page, WIDTH};
use crate::grading::{Attempt, Fault, Verdict};
use crate::logbook::Row;
use std::fmt::Write as _;

/// The first line of the file, by which it is known again.
const FIRST_LINE: &str = "<!doctype html><!-- landfall: graded takes -->";
const STYLE: &str = "body{margin:2em auto;max-width:62em;padding:0 1em;font-family:Helvetica,Arial,sans-serif;color:#000;background:#fff}\
    svg{display:block;margin:1.2em 0;break-inside:avoid}h1{font-size:1.6em}";

const LEFT: f64 = 92.0;
const RIGHT: f64 = WIDTH - 64.0;
const HEIGHT: f64 = 230.0;
/// Room beside the first and last instant of an attempt, s.
const BESIDE_S: f64 = 0.12;
/// Room above and under what is drawn, cents.
const BESIDE_CENTS: f64 = 35.0;

/// One attempt with its curve.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// As it was graded.
    pub attempt: Attempt,
    /// As the log has it.
    pub row: Row,
    /// Seconds of the take and cents on the MIDI scale; `None` where no pitch could be told.
    pub curve: Vec<(f64, Option<f64>)>,
}

/// The file: a heading for each take, a drawing for each bend.
#[must_use]
pub fn page(takes: &[(String, Vec<Drawn>)]) -> String {
    let names: Vec<&str> = takes.iter().map(|(name, _)| name.as_str()).collect();
    let title = escaped(&format!("Bends of {}", names.join(", ")));
    let mut html = format!(
        "{FIRST_LINE}\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n\
         <title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n"
    );
    for (name, drawn) in takes {
        let _ = writeln!(html, "<h1>{}</h1>\n<p>{}</p>", escaped(name), count(drawn));
        for one in drawn {
            html.push_str(&drawing(one));
        }
    }
    html.push_str(
        "<p>The line is the pitch as it sounded. Dashes: the note that was wanted, with the tolerance in grey; thin: the fretted note. Cents \
         are hundredths of a semitone; plus is sharp, or late.</p>\n</body>\n</html>\n",
    );
    html
}

fn count(drawn: &[Drawn]) -> String {
    match drawn.len() {
        0 => "No bends were found.".into(),
        1 => "One bend.".into(),
        many => format!("{many} bends."),
    }
}

fn escaped(text: &str) -> String {
    let clean = text.chars().filter(|letter| !letter.is_control());
    clean.fold(String::new(), |mut out, letter| {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            letter => out.push(letter),
        }
        out
    })
}

/// One attempt as a drawing of its own.
#[must_use]
pub fn drawing(drawn: &Drawn) -> String {
    let heading = heading(drawn);
    let figures = figures(&drawn.row);
    let described: Vec<String> = figures.iter().map(|(name, value)| format!("{name} {value}")).collect();
    let mut page = Page::new(&heading, &described.join("; "));
    page.line(&subheading(drawn), 14.0, false);
    page.space(14.0);
    Plot::of(drawn, page.height()).draw(&mut page, drawn);
    for line in figures.chunks(4) {
        page.space(6.0);
        let cells: Vec<(f64, String)> =
            line.iter().enumerate().map(|(column, (name, value))| (30.0 + 240.0 * column as f64, format!("{name}: {value}"))).collect();
        let cells: Vec<(f64, &str)> = cells.iter().map(|(x, text)| (*x, text.as_str())).collect();
        page.columns(&cells, 14.0, false);
    }
    page.space(4.0);
    for fault in &drawn.attempt.faults {
        page.space(3.0);
        page.line(&sentence(*fault), 14.0, false);
    }
    page.finish()
}

fn sentence(fault: Fault) -> String {
    format!("{}: {}", fault.word(), fault.meaning())
}

fn heading(drawn: &Drawn) -> String {
    let row = &drawn.row;
    let number = row.attempt.map_or_else(String::new, |number| format!("{number}. "));
    let notes = row.origin_note.iter().chain(&row.target_note).cloned().collect::<Vec<_>>().join(" to ");
    let score = row.score.map_or_else(String::new, |score| format!(", score {score:.0}"));
    format!("{number}{notes}: {}{score}", words(&Verdict::of(&drawn.attempt)))
}

fn words(verdict: &Verdict) -> String {
    let said: Vec<String> = [
        verdict.arrival.map(|word| word.to_string()),
        verdict.hold.map(|word| word.to_string()),
        verdict.release.map(|word| format!("home {word}")),
    ]
    .into_iter()
    .flatten()
    .collect();
    if said.is_empty() { "not graded".into() } else { said.join(", ") }
}

fn subheading(drawn: &Drawn) -> String {
    let row = &drawn.row;
    let mut parts: Vec<String> = row.technique.clone().into_iter().collect();
    parts.extend(row.bend_cents.map(size));
    parts.extend(row.chord.as_ref().map(|chord| match &row.degree {
        Some(degree) => format!("the {degree} of {chord}"),
        None => format!("over {chord}"),
    }));
    parts.extend(row.onset_s.map(|onset| format!("at {onset:.2} s of the take")));
    parts.join(", ")
}

fn size(cents: f64) -> String {
    match cents.round() as i64 {
        50 => "a quarter".into(),
        100 => "a half step".into(),
        200 => "a whole step".into(),
        300 => "one and a half steps".into(),
        400 => "two whole steps".into(),
        other => format!("{other} cents"),
    }
}

/// Name and value of everything that is known.
fn figures(row: &Row) -> Vec<(&'static str, String)> {
    let signed = |value: f64| format!("{:+.1}", if value.abs() < 0.05 { 0.0 } else { value });
    let cents = |value: Option<f64>| value.map(|value| format!("{} c", signed(value)));
    let shake = row.vibrato_rate_hz.zip(row.vibrato_extent_cents).map(|(rate, half)| format!("{rate:.2} Hz, {half:.1} c each way"));
    let listed = [
        ("Fretted note", cents(row.origin_error_cents)),
        ("Rise", row.rise_ms.map(|ms| format!("{ms:.0} ms"))),
        ("Arrival", cents(row.arrival_error_cents)),
        ("Overshoot", row.overshoot_cents.map(|over| format!("{over:.1} c"))),
        ("Hold", cents(row.hold_error_cents)),
        ("Held", row.hold_s.map(|held| format!("{held:.2} s"))),
        ("In tune", row.in_tune_s.map(|tuned| format!("{tuned:.2} s"))),
        ("Drift", row.hold_drift_cents_per_s.map(|drift| format!("{} c a second", signed(drift)))),
        ("Unsteady by", row.hold_spread_cents.map(|spread| format!("{spread:.1} c"))),
        ("Shake", shake),
        ("Its centre", cents(row.vibrato_centre_cents)),
        ("Let down in", row.release_ms.map(|ms| format!("{ms:.0} ms"))),
        ("Home", cents(row.release_error_cents)),
        ("Picked again", cents(row.restrike_error_cents)),
        ("Against the beat", row.beat_error_ms.map(|ms| format!("{ms:+.0} ms"))),
        ("Tolerance", row.tolerance_cents.map(|cents| format!("{cents} c"))),
    ];
    listed.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
}

/// Where times and pitches lie on the page.
struct Plot {
    top: f64,
    from_s: f64,
    until_s: f64,
    low: f64,
    high: f64,
}

impl Plot {
    fn of(drawn: &Drawn, top: f64) -> Self {
        let (attempt, row) = (&drawn.attempt, &drawn.row);
        let rate = attempt.sample_rate;
        let onset = row.onset_s.unwrap_or_else(|| attempt.span.0.seconds(rate));
        let (from_s, until_s) = (onset - BESIDE_S, attempt.span.1.seconds(rate) + BESIDE_S);
        let wanted = attempt.origin_cents.iter().chain(&attempt.target_cents).copied();
        let (mut low, mut high) = wanted.fold((f64::MAX, f64::MIN), |(low, high), cents| (low.min(cents), high.max(cents)));
        if low > high {
            let any = drawn.curve.iter().find_map(|(_, cents)| *cents).unwrap_or(6900.0);
            (low, high) = (any, any);
        }
        // What leads far away belongs to another note.
        let near = (low - 150.0)..(high + 150.0);
        for cents in drawn.curve.iter().filter_map(|(_, cents)| *cents).filter(|cents| near.contains(cents)) {
            (low, high) = (low.min(cents), high.max(cents));
        }
        Self { top, from_s, until_s, low: low - BESIDE_CENTS, high: high + BESIDE_CENTS }
    }

    fn x(&self, seconds: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * (seconds - self.from_s) / (self.until_s - self.from_s).max(1e-3)
    }

    fn y(&self, cents: f64) -> f64 {
        self.top + HEIGHT * (self.high - cents) / (self.high - self.low)
    }

    fn bottom(&self) -> f64 {
        self.top + HEIGHT
    }

    fn draw(&self, page: &mut Page, drawn: &Drawn) {
        self.wanted(page, drawn);
        self.curve(page, drawn);
        self.instants(page, &drawn.row);
        self.seconds(page);
        page.space(HEIGHT + 66.0);
    }

    /// The fretted note, the target with its tolerance, and a scale of cents from it.
    fn wanted(&self, page: &mut Page, drawn: &Drawn) {
        let (attempt, row) = (&drawn.attempt, &drawn.row);
        if let Some(target) = attempt.target_cents {
            let (upper, lower) = (self.y(target + attempt.tolerance_cents), self.y(target - attempt.tolerance_cents));
            page.shade((LEFT, upper), (RIGHT, lower));
            page.dashes((LEFT, self.y(target)), (RIGHT, self.y(target)), 1.6);
            page.text_at(row.target_note.as_deref().unwrap_or_default(), 36.0, self.y(target) + 6.0, 18.0, true);
        }
        if let Some(origin) = attempt.origin_cents {
            page.rule((LEFT, self.y(origin)), (RIGHT, self.y(origin)), 0.8);
            page.text_at(row.origin_note.as_deref().unwrap_or_default(), 36.0, self.y(origin) + 6.0, 18.0, false);
        }
        let zero = attempt.target_cents.unwrap_or(f64::midpoint(self.low, self.high));
        let step = if self.high - self.low > 320.0 { 100 } else { 50 };
        for mark in (-12..=12).map(|k| k * step) {
            let cents = zero + f64::from(mark);
            if (self.low + 5.0..self.high - 5.0).contains(&cents) {
                page.rule((RIGHT, self.y(cents)), (RIGHT + 6.0, self.y(cents)), 1.0);
                let text = if mark == 0 { "0 c".to_owned() } else { format!("{mark:+}") };
                page.text_at(&text, RIGHT + 10.0, self.y(cents) + 4.5, 12.0, false);
            }
        }
        for (from, to) in [((LEFT, self.top), (LEFT, self.bottom())), ((RIGHT, self.top), (RIGHT, self.bottom()))] {
            page.rule(from, to, 1.0);
        }
        page.rule((LEFT, self.bottom()), (RIGHT, self.bottom()), 1.0);
    }

    fn curve(&self, page: &mut Page, drawn: &Drawn) {
        let inside = |&(seconds, cents): &(f64, Option<f64>)| {
            let cents = cents.filter(|cents| (self.low..=self.high).contains(cents) && (self.from_s..=self.until_s).contains(&seconds));
            cents.map(|cents| (self.x(seconds), self.y(cents)))
        };
        let points: Vec<Option<(f64, f64)>> = drawn.curve.iter().map(inside).collect();
        for stretch in points.split(Option::is_none) {
            let stretch: Vec<(f64, f64)> = stretch.iter().copied().flatten().collect();
            if stretch.len() > 1 {
                page.curve(&stretch, 2.0);
            }
        }
    }

    /// What happened when, under the curve; the hold as a thick line.
    fn instants(&self, page: &mut Page, row: &Row) {
        let end = row.release_start_s.zip(row.release_ms).map(|(start, ms)| start + ms / 1000.0);
        let hold_end = row.arrival_s.zip(row.hold_s).map(|(from, length)| from + length);
        let begins = row.bend_start_s;
        let told = [
            ("attack", row.onset_s),
            ("push", begins),
            ("there", row.arrival_s.filter(|_| begins.is_some())),
            ("let go", row.release_start_s),
            ("home", end),
        ];
        if let (Some(from), Some(to)) = (row.arrival_s, hold_end) {
            page.rule((self.x(from), self.bottom() + 7.0), (self.x(to), self.bottom() + 7.0), 6.0);
        }
        let mut free = [f64::MIN; 2];
        for (name, at) in told {
            let Some(at) = at.filter(|at| (self.from_s..=self.until_s).contains(at)) else { continue };
            let x = self.x(at);
            page.dots((x, self.top), (x, self.bottom() + 12.0), 1.0);
            // Names that would lie on each other stand one under the other.
            let row = usize::from(free[0] > x - 2.0);
            page.text_at(name, x + 2.0, self.bottom() + 26.0 + 14.0 * row as f64, 12.0, true);
            free[row] = x + 7.5 * name.chars().count() as f64 + 4.0;
        }
    }

    fn seconds(&self, page: &mut Page) {
        let step = if self.until_s - self.from_s > 6.0 { 1.0 } else { 0.5 };
        let first = (self.from_s / step).ceil() as i64;
        for mark in (first..).map(|k| k as f64 * step).take_while(|mark| *mark <= self.until_s) {
            page.rule((self.x(mark), self.bottom() - 5.0), (self.x(mark), self.bottom()), 1.0);
            let text = format!("{mark:.1} s");
            page.text_at(&text, self.x(mark) - 3.1 * text.len() as f64, self.bottom() + 56.0, 12.0, false);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_takes_cannot_break_the_page() {
        let page = page(&[("<b>&\u{7}".to_owned(), Vec::new())]);
        assert!(page.contains("<h1>&lt;b&gt;&amp;</h1>") && page.contains("No bends were found."));
        assert!(page.starts_with(FIRST_LINE));
    }
}
