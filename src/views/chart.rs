//! A chart as a player reads it from a stand: bars as written, chords on their beats, numerals below.

use super::neck_words::spaced;
use crate::theory::chart::{Bar, Chart, Part, Timeline};
use crate::theory::roman;

/// What stands above a tune: title, length, form.
#[must_use]
pub fn heading(chart: &Chart) -> Vec<String> {
    let timeline = chart.timeline();
    let seconds = timeline.length_s.round() as u64;
    let bars = timeline.bars.len();
    let length = format!("{bars} {} as played, {}:{:02}", if bars == 1 { "bar" } else { "bars" }, seconds / 60, seconds % 60);
    let mut lines =
        vec![format!("{}   {length}", chart.title.as_deref().map_or_else(|| "Chords".to_string(), one_line)).trim_start().to_string()];
    if chart.parts.iter().any(|part| part.name.is_some()) {
        let form = chart.form.iter().filter_map(|index| chart.parts[*index].name.as_deref()).map(one_line);
        lines.push(format!("form   {}", spaced(form)));
    }
    lines
}

/// Key, metre, tempo and feel of a part.
#[must_use]
pub fn part_line(part: &Part) -> String {
    let mut words: Vec<String> = part.name.iter().map(|name| one_line(name)).collect();
    words.push(part.key.to_string());
    words.push(part.metre.to_string());
    if !part.metre.groups().is_empty() {
        words.push(part.metre.groups().iter().map(u32::to_string).collect::<Vec<_>>().join("+"));
    }
    words.push(format!("{} = {}", part.metre.beat_name(), part.tempo));
    if part.feel.text() != "straight" {
        words.push(part.feel.text().to_string());
    }
    words.join("   ")
}

/// `played as bars 1-8, 9-16, 25-32`, where the bars of the part with this index are counted otherwise than they are played.
#[must_use]
pub fn played_as(chart: &Chart, index: usize, timeline: &Timeline) -> Option<String> {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    let mut before = None;
    for bar in timeline.bars.iter().filter(|bar| bar.part == index) {
        match (&mut runs[..], before) {
            ([.., (_, last)], Some(written)) if bar.written > written && bar.number == *last + 1 => *last = bar.number,
            _ => runs.push((bar.number, bar.number)),
        }
        before = Some(bar.written);
    }
    if runs == [(1, chart.parts[index].bars.len())] {
        return None;
    }
    let run = |(first, last): &(usize, usize)| if first == last { first.to_string() } else { format!("{first}-{last}") };
    let bars = if runs.len() == 1 && runs[0].0 == runs[0].1 { "bar" } else { "bars" };
    Some(format!("played as {bars} {}", runs.iter().map(run).collect::<Vec<_>>().join(", ")))
}

/// A title on one line, without control characters.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// What stands in a bar: the beat (from 0) and two texts, above and below.
pub type Cell = Vec<(u32, String, String)>;

/// The chords of a bar with their numerals; `%` for a bar like the one before it.
#[must_use]
pub fn cell(part: &Part, bar: &Bar) -> Cell {
    if bar.is_same_again {
        return vec![(0, "%".to_string(), String::new())];
    }
    let numeral = |chord| roman::numeral(part.key.tonic(), chord);
    bar.entries.iter().map(|entry| (entry.beat, entry.text.clone(), entry.chord.as_ref().map(numeral).unwrap_or_default())).collect()
}

/// A part in lines of at most `width` characters where a bar is no wider than that: number, chords and numerals of each bar, four
/// bars in a line, or two, or one.
#[must_use]
pub fn part_lines(part: &Part, width: usize) -> Vec<String> {
    let cells: Vec<Cell> = part.bars.iter().map(|bar| cell(part, bar)).collect();
    let needed = cells.iter().map(|cell| cell.iter().map(|(_, a, b)| a.chars().count().max(b.chars().count()) + 1).sum::<usize>()).max();
    let fits = |bars: &&usize| (width - 1) / **bars >= needed.unwrap_or(0) + 3;
    let across = *[4, 2, 1].iter().find(fits).unwrap_or(&1);
    let room = ((width - 1) / across).min(34).max(needed.unwrap_or(0) + 3);
    let mut lines = Vec::new();
    for (row, bars) in part.bars.chunks(across).enumerate() {
        let mut parts: [Vec<String>; 3] = Default::default();
        for (column, bar) in bars.iter().enumerate() {
            let index = row * across + column;
            let (above, below) = on_beats(&cells[index], part.metre.beats(), room - 3);
            let begin = if bar.opens_repeat { "|: " } else { "|  " };
            let end = if bar.closes_repeat { ":" } else { "" };
            let (text, keep) = (format!("{begin}{above}"), room - end.len());
            parts[0].push(format!("{:<room$}", format!("   {}", index + 1)));
            parts[1].push(format!("{text:<keep$}{end}"));
            parts[2].push(format!("{:<room$}", format!("   {below}")));
        }
        parts[1].push("|".to_string());
        lines.extend(parts.map(|line| line.concat().trim_end().to_string()));
        lines.push(String::new());
    }
    lines
}

/// Texts at their beats in two lines of the same width, each at least one space from the one before.
fn on_beats(cell: &Cell, beats: u32, room: usize) -> (String, String) {
    let (mut above, mut below) = (String::new(), String::new());
    for (beat, chord, numeral) in cell {
        let wanted = room * *beat as usize / beats.max(1) as usize;
        let taken = above.chars().count().max(below.chars().count());
        let at = if taken == 0 { 0 } else { wanted.max(taken + 1) };
        for (line, text) in [(&mut above, chord), (&mut below, numeral)] {
            let pad = at - line.chars().count();
            line.push_str(&" ".repeat(pad));
            line.push_str(text);
        }
    }
    (above, below)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn played(text: &str) -> Vec<Option<String>> {
        let chart = Chart::parse("tune.toml", text).unwrap();
        let timeline = chart.timeline();
        (0..chart.parts.len()).map(|index| played_as(&chart, index, &timeline)).collect()
    }

    #[test]
    fn a_part_tells_where_its_bars_are_played() {
        let parts = "key = \"D minor\"\nmetre = \"4/4\"\ntempo = 60\nform = [\"A\", \"B\", \"A\"]\n[part.A]\nbars = \"|: Dm | Gm7 :| A7 |\"\n[part.B]\nbars = \"| Bb | C |\"\n";
        let wanted = ["played as bars 1-2, 3-5, 8-9, 10-12", "played as bars 6-7"];
        assert_eq!(played(parts), wanted.map(|bars| Some(bars.to_owned())));
        assert_eq!(played("key = \"D minor\"\nmetre = \"4/4\"\ntempo = 60\nbars = \"Dm | Gm7 | A7 | Dm\"\n"), [None]);
    }
}
