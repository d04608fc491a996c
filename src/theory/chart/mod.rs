//! The chart of a tune: its chords bar by bar, with key, metre and tempo; read from TOML, checked, unfolded, timed.
//!
//! ```
//! use landfall::theory::chart::Chart;
//!
//! let chart = Chart::parse("tune.toml", r#"
//!     key = "D minor"
//!     metre = "12/8"
//!     tempo = 60
//!     bars = "|: Dm | Gm7 / C7 / :|"
//! "#)?;
//! let timeline = chart.timeline();
//! assert_eq!(timeline.bars.len(), 4);
//! assert_eq!(timeline.chord_at(6.5).unwrap().text, "C7");
//! # Ok::<(), landfall::theory::chart::ChartError>(())
//! ```

mod bars;
mod error;
mod examples;
mod feel;
mod file;
mod metre;
mod timeline;

pub use bars::{Bar, Entry};
pub use error::{ChartError, ChartFault, Spot};
pub use examples::{EXAMPLES, Example};
pub use feel::Feel;
pub use metre::Metre;
pub use timeline::{BeatAt, PlayedBar, PlayedChord, Timeline, Weight};

use super::{Chord, Key, NoteName};

/// A chart as written: parts and the order in which they are played.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// The title, if it has one.
    pub title: Option<String>,
    /// The parts, in the order of their first playing, then those that are not played. A chart without a form has one, unnamed.
    pub parts: Vec<Part>,
    /// Indices into `parts` in playing order.
    pub form: Vec<usize>,
}

/// One part of a tune.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// `A`, `B`, `bridge`; `None` for a chart without parts.
    pub name: Option<String>,
    /// Its key.
    pub key: Key,
    /// Its metre.
    pub metre: Metre,
    /// Beats a minute, of the metre's own beat.
    pub tempo: f64,
    /// How beats are divided.
    pub feel: Feel,
    /// Its bars as written.
    pub bars: Vec<Bar>,
}

impl Part {
    /// Indices of its bars in playing order, repeats unfolded.
    #[must_use]
    pub fn unfolded(&self) -> Vec<usize> {
        let mut order = Vec::with_capacity(self.bars.len());
        let mut opened = 0;
        for (index, bar) in self.bars.iter().enumerate() {
            if bar.opens_repeat {
                opened = order.len();
            }
            order.push(index);
            if bar.closes_repeat {
                order.extend_from_within(opened..);
            }
        }
        order
    }
}

impl Chart {
    /// Reads a chart from the text of a file; `file` is how errors call it.
    ///
    /// # Errors
    /// The first thing that is wrong, with its place and the nearest right word.
    pub fn parse(file: &str, text: &str) -> Result<Self, ChartError> {
        file::read(file, text)
    }

    /// A chart for chords that were given without a file: `Dm | Gm7 C7 | F`. Chords without any bar line are a bar each. Without a
    /// key it is guessed ([`Key::guess`]).
    ///
    /// # Errors
    /// As for [`Chart::parse`]; errors call the text `the chords`.
    pub fn from_chords(bars: &str, key: Option<Key>, metre: Metre, tempo: f64) -> Result<Self, ChartError> {
        let wrong =
            |bar, fault| ChartError { file: "the chords".to_string(), spot: Spot { part: None, bar, line: None }, fault: Box::new(fault) };
        if !(10.0..=1000.0).contains(&tempo) {
            return Err(wrong(None, ChartFault::Tempo { found: tempo.to_string() }));
        }
        let spaced = if bars.contains('|') { bars.to_string() } else { bars.split_whitespace().collect::<Vec<_>>().join(" | ") };
        let bars = bars::read(&spaced, &metre, None).map_err(|(bar, _, fault)| wrong(bar, fault))?;
        let chords: Vec<&Chord> = bars.iter().flat_map(|bar| &bar.entries).filter_map(|entry| entry.chord.as_ref()).collect();
        let key = key.or_else(|| Key::guess(&chords)).ok_or_else(|| wrong(None, ChartFault::Missing { field: "key" }))?;
        let part = Part { name: None, key, metre, tempo, feel: Feel::default(), bars };
        Ok(Self { title: None, parts: vec![part], form: vec![0] })
    }

    /// The same tune with another first tonic, everything moved alike; modes stay. Chords are then spelled as landfall spells them.
    #[must_use]
    pub fn on_tonic(&self, tonic: NoteName) -> Self {
        let Some(first) = self.form.first().and_then(|part| self.parts.get(*part)) else { return self.clone() };
        let interval = first.key.tonic().interval_to(tonic);
        let entry = |entry: &Entry| match &entry.chord {
            Some(chord) => {
                let moved = chord.up(interval);
                Entry { text: moved.to_string(), chord: Some(moved), ..entry.clone() }
            }
            None => entry.clone(),
        };
        let bar = |bar: &Bar| Bar { entries: bar.entries.iter().map(entry).collect(), ..bar.clone() };
        let part = |part: &Part| Part { key: part.key.up(interval), bars: part.bars.iter().map(bar).collect(), ..part.clone() };
        Self { parts: self.parts.iter().map(part).collect(), ..self.clone() }
    }

    /// The tune as played: repeats and form unfolded, every bar and chord with its time.
    #[must_use]
    pub fn timeline(&self) -> Timeline {
        timeline::unfold(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tune_on_another_tonic_keeps_its_mode_and_its_numerals() {
        let chart = Chart::from_chords("Gm7 C7/E Fmaj7 N.C.", Some("F major".parse().unwrap()), Metre::common(), 90.0).unwrap();
        let moved = chart.on_tonic("Ab".parse().unwrap());
        let texts: Vec<String> = moved.timeline().chords.iter().map(|chord| chord.text.clone()).collect();
        assert_eq!(texts, ["Bbm7", "Eb7/G", "Abmaj7", "N.C."]);
        assert_eq!(moved.parts[0].key.to_string(), "Ab major");
        let numerals = |chart: &Chart| chart.timeline().chords.iter().map(|chord| chord.roman.clone()).collect::<Vec<_>>();
        assert_eq!(numerals(&moved), numerals(&chart));
    }
}
