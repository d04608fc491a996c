//! The intonation check: the page that asks and listens, and what was found as a table and in words.

use crate::practice::intonation::{Advice, Answer, Asked, Check, Found, Place, Readings, SCATTER_CENTS};
use crate::practice::tuner::OpenString;
use crate::theory::Note;
use crate::units::signed;
use crate::views::letters;
use crate::views::tune::text;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

/// The widest word of what is asked for.
const WIDEST: &str = "6 fret 12";

/// Said whenever saddles are to be moved.
pub const CAUTION: &str = "Loosen a string before you move its saddle, tune it again afterwards, and check again. Keep your face away from a tight string. \
                           Where a saddle will not move, or low frets stay sharp, leave it to an experienced repairer.";

/// Everything that the page shows.
#[derive(Clone, Debug)]
pub struct IntonationPage {
    /// What was read and is asked for.
    pub check: Check,
    /// What came of the last average.
    pub answer: Option<Answer>,
    /// A sentence that the player has to know.
    pub notice: Option<String>,
}

/// What to play, as a sentence.
#[must_use]
pub fn ask(check: &Check, asked: Asked) -> String {
    let OpenString { number, note, .. } = &check.strings()[asked.string];
    let what = match asked.place {
        Place::Open => "pluck the open string and let it ring".to_owned(),
        Place::Harmonic => "touch it over fret 12 without pressing: the harmonic".to_owned(),
        Place::Fret(fret) => format!("press fret {fret} as you do when you play, and let it ring"),
    };
    format!("String {number}, {note}: {what}.")
}

/// What came of the last average, as a sentence; `None` where there is nothing to say.
#[must_use]
pub fn answer(check: &Check, answer: Answer) -> Option<String> {
    let against = |cents: f64, place: Place, string: usize| {
        let raised = match place {
            Place::Open => 0.0,
            Place::Harmonic => 1200.0,
            Place::Fret(fret) => 100.0 * f64::from(fret),
        };
        cents - check.strings()[string].cents - raised
    };
    match answer {
        Answer::Taken(asked, cents) => {
            let OpenString { number, .. } = &check.strings()[asked.string];
            let off = against(cents, asked.place, asked.string);
            let off = signed(off, 1);
            Some(format!("Read: string {number}, {}, {off} c ({} of {}).", place(asked.place), asked.reading, check.readings()))
        }
        Answer::Settling => Some("Let it ring ...".to_owned()),
        Answer::Another(cents) => {
            let note = Note::usual((cents / 100.0).round() as i32);
            let open =
                check.asked().filter(|asked| asked.place == Place::Open).map(|asked| (against(cents, Place::Open, asked.string), asked));
            let near = open.filter(|(off, _)| off.abs() < 450.0);
            Some(near.map_or_else(
                || format!("That was {note}."),
                |(off, asked)| {
                    let wanted = check.strings()[asked.string].note;
                    format!("That was {note}, {off:+.0} c from open {wanted}: lift the fretting hand, or tune first.")
                },
            ))
        }
        Answer::Read => Some("Read. Pluck it again when it is asked for.".to_owned()),
        Answer::Done => None,
    }
}

fn place(place: Place) -> String {
    match place {
        Place::Open => "open".to_owned(),
        Place::Harmonic => "harmonic".to_owned(),
        Place::Fret(fret) => format!("fret {fret}"),
    }
}

/// What was found as a table of 80 columns: a head, and a line for each string and fret.
#[must_use]
pub fn table(check: &Check) -> Vec<String> {
    let head = format!(
        "{:<8}{:>4}{:>12}{:>13}{:>12}{:>7}{:>5}  {}",
        "string", "fret", "open c", "harmonic c", "fretted c", "off c", "±", "saddle"
    );
    let rows = check.found().into_iter().map(|found| {
        let OpenString { number, note, cents } = &check.strings()[found.string];
        let raised = 100.0 * f64::from(found.fret);
        let saddle = match (found.move_mm, found.advice) {
            (Some(mm), _) => format!("{} {:.1} mm", if mm > 0.0 { "back" } else { "forward" }, mm.abs()),
            (None, Advice::Leave) => "leave".to_owned(),
            _ => String::new(),
        };
        let line = format!(
            "{:<8}{:>4}{:>12}{:>13}{:>12}{:>7}{:>5}  {saddle}",
            format!("{number} {note}"),
            found.fret,
            read(&found.open, *cents),
            read(&found.harmonic, cents + 1200.0),
            read(&found.fretted, cents + raised),
            found.error_cents.map(|cents| signed(cents, 1)).unwrap_or_default(),
            found.uncertainty_cents.map(|cents| format!("{cents:.1}")).unwrap_or_default(),
        );
        line.trim_end().to_owned()
    });
    std::iter::once(head).chain(rows).collect()
}

/// Median and spread against equal temperament.
fn read(readings: &Readings, right: f64) -> String {
    match (readings.cents(), readings.spread_cents()) {
        (Some(cents), Some(spread)) => format!("{} s {spread:.1}", signed(cents - right, 1)),
        (Some(cents), None) => signed(cents - right, 1),
        (None, _) => String::new(),
    }
}

/// What to do about each string, a sentence each, and the caution where a saddle is to be moved.
#[must_use]
pub fn advice(check: &Check) -> Vec<String> {
    let found = check.found();
    let mut sentences: Vec<String> = found.iter().map(|found| sentence(check, found)).collect();
    if found.iter().any(|found| matches!(found.advice, Advice::Back | Advice::Forward | Advice::Repairer)) {
        sentences.push(CAUTION.to_owned());
    }
    sentences
}

fn sentence(check: &Check, found: &Found) -> String {
    let OpenString { number, .. } = &check.strings()[found.string];
    let right = if found.fret == 12 { "the harmonic" } else { "the open string" };
    let at = format!("String {number}: fret {}", found.fret);
    let (error, uncertainty) = (found.error_cents.unwrap_or_default(), found.uncertainty_cents.unwrap_or_default());
    let side = if error < 0.0 { "flat" } else { "sharp" };
    let off = format!("is {:.1} cents {side} of {right}, give or take {uncertainty:.1}", error.abs());
    let moved = found.move_mm.map(|mm| format!("{:.1} mm", mm.abs())).unwrap_or_default();
    match found.advice {
        Advice::Unfinished => format!("{at} was not read to the end."),
        Advice::TuneFirst => format!("String {number}: tune it first (landfall tune), then check it again."),
        Advice::Leave => {
            format!("{at} is right within {SCATTER_CENTS:.0} cents of {right}, as near as a finger presses twice: leave the saddle.")
        }
        Advice::ReadAgain => format!("{at} {off}: too little to tell; check it again, with more --readings."),
        Advice::Back if found.move_mm.is_some() => format!("{at} {off}: move the saddle back {moved}, away from the neck."),
        Advice::Forward if found.move_mm.is_some() => format!("{at} {off}: move the saddle forward {moved}, towards the neck."),
        Advice::Back | Advice::Forward => format!("{at} {off}: look at fret 12 before you move a saddle."),
        Advice::Repairer => {
            format!("{at} {off}: no saddle mends that; an old string, a pressing finger or a high nut can be behind it.")
        }
    }
}

/// What is asked for in large letters.
fn large(check: &Check, asked: Asked) -> String {
    let number = check.strings()[asked.string].number;
    match asked.place {
        Place::Open => format!("{number} open"),
        Place::Harmonic => format!("{number} touch"),
        Place::Fret(fret) => format!("{number} fret {fret}"),
    }
}

/// Draws the page into `area`.
pub fn draw(page: &IntonationPage, area: Rect, buffer: &mut Buffer) {
    let bold = Style::new().add_modifier(Modifier::BOLD);
    let check = &page.check;
    let mut row = area.y;
    if let Some(asked) = check.asked() {
        text(area, row, &ask(check, asked), bold, buffer);
        let room = area.height.saturating_sub(10);
        let rows = letters::tallest(WIDEST, area.width.saturating_sub(1), room.min(8));
        if let Some(rows) = rows {
            letters::draw(&large(check, asked), rows, bold, Rect { y: row + 2, height: rows, ..area }, buffer);
            row += rows + 2;
        }
        row += 1;
        text(area, row, &format!("Reading {} of {}.", asked.reading, check.readings()), Style::new(), buffer);
    } else {
        text(area, row, "Everything is read.", bold, buffer);
    }
    row += 1;
    if let Some(sentence) = page.answer.and_then(|last| answer(check, last)) {
        text(area, row, &sentence, Style::new(), buffer);
    }
    row += 2;
    let last = area.bottom().saturating_sub(1);
    let table = table(check);
    // Head, and of the rows the last ones that there is room for.
    let room = usize::from(last.saturating_sub(row)).saturating_sub(1);
    let skipped = (table.len() - 1).saturating_sub(room);
    let shown = table.first().into_iter().chain(table.iter().skip(1 + skipped));
    if table.len() > 1 {
        for (row, line) in (row..last).zip(shown) {
            text(area, row, line, Style::new(), buffer);
        }
    }
    if area.height > 2 {
        text(
            area,
            last,
            page.notice.as_deref().unwrap_or("space skips the string, left reads it anew, q ends and keeps what was read"),
            Style::new(),
            buffer,
        );
    }
}
