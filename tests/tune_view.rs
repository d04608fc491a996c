//! Every screen of the tuner and of the intonation check with fixed input, as a player would see it.

use landfall::notes::steady::Steady;
use landfall::practice::intonation::Check;
use landfall::practice::tuner::{OpenString, Tuner};
use landfall::theory::Tuning;
use landfall::units::FrameTime;
use landfall::views::intonation::{self, IntonationPage};
use landfall::views::live::Look;
use landfall::views::tune::{self, TunePage};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Color;

fn picture(draw: &dyn Fn(Rect, &mut Buffer), columns: u16, rows: u16) -> Buffer {
    let area = Rect::new(0, 0, columns, rows);
    let mut buffer = Buffer::empty(area);
    draw(area, &mut buffer);
    buffer
}

/// As text, without the spaces at the ends of its lines.
fn text(buffer: &Buffer) -> String {
    let Rect { width, height, .. } = buffer.area;
    let line = |row: u16| (0..width).map(|column| buffer[(column, row)].symbol()).collect::<String>().trim_end().to_owned();
    (0..height).map(line).collect::<Vec<_>>().join("\n")
}

fn strings(tuning: &str) -> Vec<OpenString> {
    let tuning: Tuning = tuning.parse().expect("a tuning");
    let open = |number| {
        let note = tuning.open(number).expect("a string");
        OpenString { number, note, cents: note.cents() }
    };
    (1..=tuning.count()).rev().map(open).collect()
}

fn steady(note: u32, cents: f64) -> Steady {
    Steady {
        note,
        at: FrameTime(0),
        ready: FrameTime(0),
        cents,
        uncertainty_cents: 0.4,
        still_to_fall_cents: 0.0,
        drift_cents_per_s: 0.0,
        stretch_s: 0.8,
        age_s: 1.0,
    }
}

fn tuned(tuning: &str, pitches: &[f64]) -> TunePage {
    let mut tuner = Tuner::new(strings(tuning), 2.0);
    for (note, cents) in (1..).zip(pitches) {
        tuner.hear(steady(note, *cents));
        tuner.hear(steady(note, *cents));
    }
    TunePage { tuner, sounding: !pitches.is_empty(), notice: None }
}

fn tuner_screens() -> Vec<(&'static str, TunePage)> {
    vec![
        ("waiting", tuned("standard", &[])),
        ("flat", tuned("standard", &[3992.8])),
        ("sharp", tuned("standard", &[3992.8, 4500.6, 5003.1])),
        ("in_tune", tuned("standard", &[3992.8, 4500.6, 4999.4])),
        ("rung_out", TunePage { sounding: false, ..tuned("standard", &[4500.6]) }),
        ("far_off", tuned("half step down", &[3900.0, 5587.8, 5000.0])),
        ("harmonic", tuned("standard", &[5188.0])),
        ("no_string", tuned("standard", &[6995.0])),
        ("nine_strings", tuned("9 strings", &[2499.0, 3012.0, 3588.0])),
        ("card_lost", TunePage { notice: Some("The sound card is gone: put its plug back.".to_owned()), ..tuned("standard", &[3992.8]) }),
    ]
}

fn checked(pitches: &[f64]) -> IntonationPage {
    let mut page = IntonationPage { check: Check::new(strings("standard"), vec![12], 2, 648.0), answer: None, notice: None };
    for (note, cents) in (1..).zip(pitches) {
        page.answer = Some(page.check.hear(&steady(note, *cents)));
    }
    page
}

const SIXTH: [f64; 6] = [4001.0, 4001.2, 5201.1, 5201.3, 5206.2, 5206.6];

fn intonation_screens() -> Vec<(&'static str, IntonationPage)> {
    let and = |more: &[f64]| checked(&[&SIXTH, more].concat());
    let all: Vec<f64> = (0..5).zip([4500.0, 5000.0, 5500.0, 5900.0, 6400.0]).fold(SIXTH.to_vec(), |mut all, (n, open)| {
        let off = f64::from(n) - 1.0;
        all.extend([open, open, open + 1200.0, open + 1200.0, open + 1200.0 + 3.0 * off, open + 1200.4 + 3.0 * off]);
        all
    });
    vec![
        ("open", checked(&[])),
        ("harmonic", checked(&SIXTH[..3])),
        ("fretted", checked(&SIXTH[..4])),
        ("another_note", and(&[4500.0, 5500.0])),
        ("last_string", checked(&all[..33])),
        ("done", checked(&all)),
    ]
}

#[test]
fn every_screen_of_the_tuner_at_80_by_24() {
    for (name, page) in tuner_screens() {
        let buffer = picture(&|area, buffer| tune::draw(&page, Look::default(), area, buffer), 80, 24);
        insta::assert_snapshot!(format!("80x24_{name}"), text(&buffer));
    }
}

#[test]
fn the_tuner_in_every_size() {
    let page = tuned("standard", &[3992.8, 4500.6]);
    for (columns, rows) in [(120, 40), (200, 60), (60, 24), (80, 12), (40, 10), (30, 4)] {
        let buffer = picture(&|area, buffer| tune::draw(&page, Look::default(), area, buffer), columns, rows);
        insta::assert_snapshot!(format!("{columns}x{rows}_in_tune"), text(&buffer));
    }
}

#[test]
fn every_screen_of_the_intonation_check_at_80_by_24() {
    for (name, page) in intonation_screens() {
        let buffer = picture(&|area, buffer| intonation::draw(&page, area, buffer), 80, 24);
        insta::assert_snapshot!(format!("80x24_intonation_{name}"), text(&buffer));
    }
}

#[test]
fn the_table_and_the_advice_fit_a_terminal() {
    let page = intonation_screens().pop().expect("the last one").1;
    let table = intonation::table(&page.check);
    assert!(table.iter().all(|line| line.chars().count() <= 80), "{table:#?}");
    insta::assert_snapshot!("intonation_table", [table, vec![String::new()], intonation::advice(&page.check)].concat().join("\n"));
}

#[test]
fn no_size_makes_them_panic() {
    let sizes = || (0..90).step_by(7).flat_map(|columns| (0..30).map(move |rows| (columns, rows)));
    for (columns, rows) in sizes() {
        for (_, page) in tuner_screens() {
            picture(&|area, buffer| tune::draw(&page, Look { colour: true }, area, buffer), columns, rows);
        }
        for (_, page) in intonation_screens() {
            picture(&|area, buffer| intonation::draw(&page, area, buffer), columns, rows);
        }
    }
}

#[test]
fn without_colour_nothing_is_coloured_and_nothing_is_lost() {
    for (name, page) in tuner_screens() {
        let with = |colour| picture(&|area, buffer| tune::draw(&page, Look { colour }, area, buffer), 80, 24);
        let (plain, coloured) = (with(false), with(true));
        for (plain, coloured) in plain.content().iter().zip(coloured.content()) {
            assert_eq!((plain.fg, plain.bg), (Color::Reset, Color::Reset), "{name}");
            assert_eq!(coloured.bg, Color::Reset, "{name}: the terminal's own ground stays, light or dark");
            assert_eq!(plain.symbol(), coloured.symbol(), "{name}: colour alone says nothing");
        }
    }
}

#[test]
fn a_sounding_string_of_the_same_word_changes_nothing_but_the_sentence() {
    let (here, there) = (tuned("standard", &[3992.8]), tuned("standard", &[3993.1]));
    let draw = |page: &TunePage| picture(&|area, buffer| tune::draw(page, Look::default(), area, buffer), 80, 24);
    let changed = draw(&here).diff(&draw(&there)).iter().map(|(_, row, _)| *row).collect::<Vec<_>>();
    assert!(!changed.is_empty() && changed.iter().all(|row| *row == 0), "{changed:?}");
}

#[test]
fn what_rounds_to_nothing_in_the_check_has_no_sign() {
    let said = |off: f64| {
        let mut check = Check::new(strings("standard"), vec![12], 2, 648.0);
        let answer = check.hear(&steady(1, 4000.0 + off));
        intonation::answer(&check, answer).unwrap_or_default()
    };
    assert_eq!(said(-0.04), "Read: string 6, open, 0.0 c (1 of 2).");
    assert_eq!(said(0.04), "Read: string 6, open, 0.0 c (1 of 2).");
    assert_eq!(said(-0.06), "Read: string 6, open, -0.1 c (1 of 2).");
}

#[test]
fn what_rounds_to_nothing_is_on_no_side() {
    let first = |off: f64| {
        let page = tuned("standard", &[5000.0 + off]);
        text(&picture(&|area, buffer| tune::draw(&page, Look::default(), area, buffer), 80, 24))
            .lines()
            .next()
            .unwrap_or_default()
            .to_owned()
    };
    assert_eq!(first(0.03), "String 4 D3: 0.0 cents off, give or take 0.4.");
    assert_eq!(first(-0.03), "String 4 D3: 0.0 cents off, give or take 0.4.");
    assert_eq!(first(0.06), "String 4 D3: 0.1 cents sharp, give or take 0.4.");
}
