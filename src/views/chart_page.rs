//! A chart on a page to print.

use super::chart::{cell, heading, part_line, played_as};
use super::page::{Page, WIDTH};
use crate::theory::chart::Chart;

const MARGIN: f64 = 30.0;

/// The page, to which sections can be added.
#[must_use]
pub fn page(chart: &Chart) -> Page {
    let title = chart.title.as_deref().unwrap_or("Chords");
    let head = heading(chart);
    let parts: Vec<String> = chart.parts.iter().map(part_line).collect();
    let mut page = Page::new(title, &format!("Chord chart. {}. {}", head.join("; "), parts.join("; ")));
    for line in head.iter().skip(1) {
        page.line(line, 14.0, false);
    }
    let timeline = chart.timeline();
    for (index, part) in chart.parts.iter().enumerate() {
        page.space(10.0);
        page.line(&part_line(part), 15.0, true);
        if let Some(bars) = played_as(chart, index, &timeline) {
            page.line(&bars, 12.0, false);
        }
        let room = (WIDTH - 2.0 * MARGIN) / 4.0;
        for (row, bars) in part.bars.chunks(4).enumerate() {
            page.space(30.0);
            let top = page.height();
            for (column, bar) in bars.iter().enumerate() {
                let left = MARGIN + room * column as f64;
                page.text_at(&(row * 4 + column + 1).to_string(), left + 4.0, top - 4.0, 10.0, false);
                page.rule((left, top), (left, top + 46.0), 1.2);
                if bar.opens_repeat {
                    page.rule((left + 4.0, top), (left + 4.0, top + 46.0), 3.0);
                }
                if bar.closes_repeat {
                    page.rule((left + room - 4.0, top), (left + room - 4.0, top + 46.0), 3.0);
                }
                let texts = cell(part, bar);
                let longest = texts.iter().map(|(_, chord, _)| chord.chars().count()).max().unwrap_or(1).max(2) as f64;
                let share = (room - 16.0) / texts.len().max(1) as f64;
                let size = (share / longest * 1.55).clamp(9.0, 22.0);
                for (beat, chord, numeral) in texts {
                    let x = left + 10.0 + (room - 16.0) * f64::from(beat) / f64::from(part.metre.beats().max(1));
                    page.text_at(&chord, x, top + 24.0, size, true);
                    page.text_at(&numeral, x, top + 42.0, (size * 0.62).max(9.0), false);
                }
            }
            let right = MARGIN + room * bars.len() as f64;
            page.rule((right, top), (right, top + 46.0), 1.2);
            page.space(50.0);
        }
    }
    page
}
