//! A tune as played: every bar, chord and beat with its time.
//!
//! Times are seconds from the first beat of the first bar. Beats are even; swing moves only what lies between them.

use super::{Chart, Feel, Metre};
use crate::theory::{Chord, Key, roman};

/// A tune unfolded.
#[derive(Clone, Debug, PartialEq)]
pub struct Timeline {
    /// Every bar as played.
    pub bars: Vec<PlayedBar>,
    /// Every chord as played; a chord that lasts over a bar line is there once for each bar.
    pub chords: Vec<PlayedChord>,
    /// The end of the last bar.
    pub length_s: f64,
}

/// A bar as played.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedBar {
    /// From 1, as played.
    pub number: usize,
    /// Index of the part in the chart.
    pub part: usize,
    /// Index of the bar in the part.
    pub written: usize,
    /// Its first beat.
    pub start_s: f64,
    /// The length of a beat.
    pub beat_s: f64,
    /// Its metre.
    pub metre: Metre,
    /// How its beats are divided.
    pub feel: Feel,
    /// Its key.
    pub key: Key,
}

/// A chord as played in one bar.
#[derive(Clone, Debug, PartialEq)]
pub struct PlayedChord {
    /// The bar as played, from 1.
    pub bar: usize,
    /// The beat it begins on, from 1.
    pub beat: u32,
    /// Beats that it lasts in this bar.
    pub beats: u32,
    /// When it begins.
    pub start_s: f64,
    /// When the next one begins.
    pub end_s: f64,
    /// As written: `Gm7`, `N.C.`
    pub text: String,
    /// `None` for N.C.
    pub chord: Option<Chord>,
    /// The key here.
    pub key: Key,
    /// Its numeral; empty for N.C.
    pub roman: String,
    /// What it leads to, where it does.
    pub function: Option<String>,
}

/// How strong a beat is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Weight {
    /// Any other beat.
    Beat,
    /// The first of a group.
    Group,
    /// The first of the bar.
    Bar,
}

/// One beat.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeatAt {
    /// When.
    pub at_s: f64,
    /// The bar as played, from 1.
    pub bar: usize,
    /// The beat in the bar, from 1.
    pub beat: u32,
    /// How strong it is.
    pub weight: Weight,
}

impl PlayedBar {
    /// When a written position in the bar is played; beats from 0, with the feel's swing between them.
    #[must_use]
    pub fn time_of(&self, position: f64) -> f64 {
        let within = if self.metre.is_compound() { position.fract() } else { self.feel.played(position.fract()) };
        self.start_s + (position.trunc() + within) * self.beat_s
    }

    /// The end of the bar.
    #[must_use]
    pub fn end_s(&self) -> f64 {
        self.start_s + f64::from(self.metre.beats()) * self.beat_s
    }
}

impl Timeline {
    /// The chord in force at a time; `None` before the beginning and from the end on.
    #[must_use]
    pub fn chord_at(&self, at_s: f64) -> Option<&PlayedChord> {
        let after = self.chords.partition_point(|chord| chord.start_s <= at_s);
        self.chords.get(after.checked_sub(1)?).filter(|_| at_s < self.length_s)
    }

    /// The bar at a time; `None` before the beginning and from the end on.
    #[must_use]
    pub fn bar_at(&self, at_s: f64) -> Option<&PlayedBar> {
        let after = self.bars.partition_point(|bar| bar.start_s <= at_s);
        self.bars.get(after.checked_sub(1)?).filter(|_| at_s < self.length_s)
    }

    /// The chords where they change: N.C. left out, a chord that is held or played again at once counted where it begins.
    #[must_use]
    pub fn changes(&self) -> Vec<&PlayedChord> {
        let mut changes: Vec<&PlayedChord> = Vec::new();
        let mut sounding: Option<&Chord> = None;
        for played in &self.chords {
            if played.chord.as_ref() != sounding {
                changes.extend(played.chord.is_some().then_some(played));
            }
            sounding = played.chord.as_ref();
        }
        changes
    }

    /// Every beat in order.
    pub fn beats(&self) -> impl Iterator<Item = BeatAt> + '_ {
        self.bars.iter().flat_map(|bar| {
            (0..bar.metre.beats()).map(move |beat| BeatAt {
                at_s: bar.start_s + f64::from(beat) * bar.beat_s,
                bar: bar.number,
                beat: beat + 1,
                weight: match beat {
                    0 => Weight::Bar,
                    _ if bar.metre.is_group_start(beat) => Weight::Group,
                    _ => Weight::Beat,
                },
            })
        })
    }

    /// The beat nearest to a time, the earlier of two; `None` for an empty tune.
    #[must_use]
    pub fn nearest_beat(&self, at_s: f64) -> Option<BeatAt> {
        let bar = self.bars.partition_point(|bar| bar.start_s <= at_s).saturating_sub(1);
        let first = self.bars.get(bar)?.number;
        self.beats_from(bar).take_while(|beat| beat.bar <= first + 1).min_by(|a, b| (a.at_s - at_s).abs().total_cmp(&(b.at_s - at_s).abs()))
    }

    fn beats_from(&self, bar: usize) -> impl Iterator<Item = BeatAt> + '_ {
        let first = self.bars.get(bar).map_or(0, |bar| bar.number);
        self.beats().skip_while(move |beat| beat.bar < first)
    }
}

pub(super) fn unfold(chart: &Chart) -> Timeline {
    let mut bars = Vec::new();
    let mut chords: Vec<PlayedChord> = Vec::new();
    let mut start_s = 0.0;
    for &index in &chart.form {
        let part = &chart.parts[index];
        let beat_s = 60.0 / part.tempo;
        for written in part.unfolded() {
            let number = bars.len() + 1;
            for entry in &part.bars[written].entries {
                let begin = start_s + f64::from(entry.beat) * beat_s;
                chords.push(PlayedChord {
                    bar: number,
                    beat: entry.beat + 1,
                    beats: entry.beats,
                    start_s: begin,
                    end_s: begin + f64::from(entry.beats) * beat_s,
                    text: entry.text.clone(),
                    chord: entry.chord.clone(),
                    key: part.key,
                    roman: entry.chord.as_ref().map(|chord| roman::numeral(part.key.tonic(), chord)).unwrap_or_default(),
                    function: None,
                });
            }
            let (metre, feel) = (part.metre.clone(), part.feel.clone());
            let bar = PlayedBar { number, part: index, written, start_s, beat_s, metre, feel, key: part.key };
            start_s = bar.end_s();
            bars.push(bar);
        }
    }
    tell_functions(&mut chords);
    Timeline { bars, chords, length_s: start_s }
}

/// A chord's function comes from the next different chord; from the end backwards, so that a held chord finds it in one step.
fn tell_functions(chords: &mut [PlayedChord]) {
    let mut next: Option<Chord> = None;
    let mut after: Option<Chord> = None;
    for played in chords.iter_mut().rev() {
        let Some(chord) = &played.chord else {
            (next, after) = (None, None);
            continue;
        };
        if next.as_ref().is_some_and(|next| next.root() != chord.root() || next.tones() != chord.tones()) {
            after = next.take();
        }
        played.function = after.as_ref().and_then(|after| roman::function(played.key, chord, after));
        next = Some(chord.clone());
    }
}
