//! A tune as it is to be played: some bars of a chart, again and again, slower or faster.

use crate::logbook::sidecar::AskedTune;
use crate::practice::pulse::{Pulse, count_in, usual_count_in};
use crate::theory::chart::{Chart, PlayedBar, PlayedChord, Timeline};

/// The most bars that a run may have: an evening.
const MOST_BARS: usize = 20_000;

/// What lies within this of a count is on it, s, or within a quarter of an eighth where that is less (common practice, no source).
const IN_TIME_S: f64 = 0.06;

/// What cannot be played.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TuneError {
    /// Bars that the tune does not have.
    #[error("there are no bars {first}-{last}: the tune has {there_are}, counted from 1 as played")]
    Bars {
        /// As asked.
        first: usize,
        /// As asked.
        last: usize,
        /// As the chart has.
        there_are: usize,
    },
    /// A tempo that nobody plays.
    #[error("a tempo of {tempo} cannot be: it is 10 to 1000 beats a minute")]
    Tempo {
        /// As asked.
        tempo: f64,
    },
    /// An evening is over.
    #[error("{rounds} rounds of {bars} bars are too many: {MOST_BARS} bars at most")]
    TooLong {
        /// As asked.
        rounds: u32,
        /// Of the tune.
        bars: usize,
    },
}

/// A tune unfolded for a run.
#[derive(Clone, Debug, PartialEq)]
pub struct Tune {
    /// Its title, or what the file is called.
    pub title: String,
    /// Bars and chords of all rounds, numbered as played; score time.
    pub timeline: Timeline,
    /// The number of the first bar in the chart.
    pub first_bar: usize,
    /// Bars in a round.
    pub round_bars: usize,
    /// As the chart has it, at its own tempo: where a round lies in it.
    pub written: Written,
}

/// Where the bars of a round lie in the chart, at the chart's own tempo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Written {
    /// Seconds from the chart's first beat to the round's.
    pub from_s: f64,
    /// Seconds that the round takes.
    pub length_s: f64,
    /// Beats a minute of the chart's first bar.
    pub tempo: f64,
}

impl Tune {
    /// Unfolds a chart for a run.
    ///
    /// # Errors
    /// Bars or tempos that cannot be, too many rounds.
    pub fn new(chart: &Chart, name: &str, way: &AskedTune) -> Result<Self, TuneError> {
        let whole = chart.timeline();
        let there_are = whole.bars.len();
        let (first, last) = way.bars.unwrap_or((1, there_are));
        if first == 0 || first > last || last > there_are {
            return Err(TuneError::Bars { first, last, there_are });
        }
        let rounds = way.rounds.unwrap_or(1).max(1);
        let bars = &whole.bars[first - 1..last];
        if bars.len().saturating_mul(rounds as usize) > MOST_BARS {
            return Err(TuneError::TooLong { rounds, bars: bars.len() });
        }
        for tempo in way.tempo_from.iter().chain(&way.tempo_to) {
            if !(10.0..=1000.0).contains(tempo) {
                return Err(TuneError::Tempo { tempo: *tempo });
            }
        }
        let written = 60.0 / bars[0].beat_s;
        let from = way.tempo_from.unwrap_or(written);
        let to = way.tempo_to.unwrap_or(from);
        let mut timeline = Timeline { bars: Vec::new(), chords: Vec::new(), length_s: 0.0 };
        for round in 0..rounds {
            let share = if rounds > 1 { f64::from(round) / f64::from(rounds - 1) } else { 0.0 };
            let slower = written / (from + (to - from) * share);
            append(&mut timeline, bars, &whole.chords, slower);
        }
        let title = chart.title.clone().unwrap_or_else(|| name.to_owned());
        let from_s = bars[0].start_s;
        let end_s = whole.bars.get(last).map_or(whole.length_s, |bar| bar.start_s);
        let written = Written { from_s, length_s: end_s - from_s, tempo: 60.0 / whole.bars[0].beat_s };
        Ok(Self { title, timeline, first_bar: first, round_bars: bars.len(), written })
    }

    /// The bars of the tune as pulses.
    #[must_use]
    pub fn pulses(&self) -> Vec<Pulse> {
        self.timeline.bars.iter().map(Pulse::from).collect()
    }

    /// The count-in: so many bars, or as many as usual.
    #[must_use]
    pub fn count_in(&self, bars: Option<u32>) -> Vec<Pulse> {
        let Some(first) = self.timeline.bars.first().map(Pulse::from) else { return Vec::new() };
        count_in(&first, bars.unwrap_or_else(|| usual_count_in(&first)))
    }

    /// Seconds of count-in before the first bar.
    #[must_use]
    pub fn count_in_s(&self, bars: Option<u32>) -> f64 {
        self.count_in(bars).first().map_or(0.0, |bar| -bar.start_s)
    }

    /// Score times of the beats of the count-in, below 0, and then of the tune.
    #[must_use]
    pub fn beats_from_count_in(&self, bars: Option<u32>) -> Vec<f64> {
        let counted = self.count_in(bars);
        let before = counted.iter().flat_map(|bar| bar.beats().map(|(at_s, _)| at_s).collect::<Vec<_>>());
        before.chain(self.beats()).collect()
    }

    /// Score times of all beats.
    pub fn beats(&self) -> impl Iterator<Item = f64> + '_ {
        self.timeline.beats().map(|beat| beat.at_s)
    }

    /// The number in the chart of a bar as played, and the round, both from 1.
    #[must_use]
    pub fn place(&self, bar: usize) -> (usize, usize) {
        let index = bar.saturating_sub(1);
        (self.first_bar + index % self.round_bars, 1 + index / self.round_bars)
    }

    /// The bar in force: before the first the first, behind the last none.
    fn bar_around(&self, score_s: f64) -> Option<&PlayedBar> {
        if score_s < 0.0 { self.timeline.bars.first() } else { self.timeline.bar_at(score_s) }
    }

    /// The chord that something belongs to that is reached at `score_s` and held until `held_s`: the next one from an eighth before it on, where it is held
    /// over the change. `None` where there is no tune; a chord
    /// without notes for N.C.
    #[must_use]
    pub fn chord_for(&self, score_s: f64, held_s: f64) -> Option<&PlayedChord> {
        let now = self.timeline.chord_at(score_s);
        let sounding = now.and_then(|now| now.chord.as_ref());
        let after = self.timeline.chords.partition_point(|chord| chord.start_s <= score_s);
        let next = self.timeline.chords.get(after).filter(|next| next.chord.is_some() && next.chord.as_ref() != sounding);
        let eighth_s = self.bar_around(score_s).map_or(0.0, |bar| Pulse::from(bar).eighth_s());
        // Whoever is on that eighth lies around it.
        let earliest_s = eighth_s + IN_TIME_S.min(eighth_s / 4.0);
        let early = |next: &&PlayedChord| next.start_s - score_s <= earliest_s && held_s > next.start_s;
        next.filter(early).or(now)
    }

    /// The count (see [`Pulse::counts`]) nearest to an instant, the earlier of two; `None` where there is no tune.
    #[must_use]
    pub fn nearest_count(&self, score_s: f64) -> Option<f64> {
        let bar = self.bar_around(score_s)?;
        let pulse = Pulse::from(bar);
        if score_s < -pulse.beat_s {
            return None;
        }
        let counts = pulse.counts().chain([bar.end_s()]);
        counts.min_by(|a, b| (a - score_s).abs().total_cmp(&(b - score_s).abs()))
    }

    /// What [`Self::nearest_count`] counts, in words: `eighth`; where the tune changes between metres that are counted otherwise, `count`.
    #[must_use]
    pub fn count_name(&self) -> &'static str {
        let mut names = self.timeline.bars.iter().map(|bar| Pulse::from(bar).count_name());
        let Some(first) = names.next() else { return "count" };
        if names.all(|name| name == first) { first } else { "count" }
    }

    /// The chord after the one in force, and in how many beats it comes, rounded up, those of the count-in included; `None` when no other comes.
    #[must_use]
    pub fn next_change(&self, score_s: f64) -> Option<(&PlayedChord, u32)> {
        let sounding = self.timeline.chord_at(score_s).and_then(|now| now.chord.as_ref());
        let after = self.timeline.chords.partition_point(|chord| chord.start_s <= score_s);
        let next = self.timeline.chords[after..].iter().find(|next| next.chord.as_ref() != sounding)?;
        let beats = self.timeline.beats().skip_while(|beat| beat.at_s <= score_s).take_while(|beat| beat.at_s < next.start_s + 1e-9);
        // Beats before the first bar are of its length; the first bar's own first beat is among the tune's.
        let counted = self.timeline.bars.first().map_or(0.0, |bar| (-score_s / bar.beat_s - 1e-9).ceil() - 1.0).max(0.0);
        Some((next, beats.count() as u32 + counted as u32))
    }
}

/// One round more, `slower` times as long as written. Times come from counted beats of one length, not from added bars.
fn append(timeline: &mut Timeline, bars: &[PlayedBar], chords: &[PlayedChord], slower: f64) {
    let mut stretch: Option<(f64, f64, f64)> = None;
    for bar in bars {
        let beat_s = bar.beat_s * slower;
        let (from_s, beats) = match stretch {
            Some((length, from_s, beats)) if length.to_bits() == beat_s.to_bits() => (from_s, beats),
            _ => (timeline.length_s, 0.0),
        };
        let number = timeline.bars.len() + 1;
        let time = |beat: f64| from_s + (beats + beat) * beat_s;
        for chord in chords.iter().filter(|chord| chord.bar == bar.number) {
            let first = f64::from(chord.beat - 1);
            timeline.chords.push(PlayedChord {
                bar: number,
                start_s: time(first),
                end_s: time(first + f64::from(chord.beats)),
                ..chord.clone()
            });
        }
        let in_bar = f64::from(bar.metre.beats());
        timeline.bars.push(PlayedBar { number, start_s: time(0.0), beat_s, ..bar.clone() });
        timeline.length_s = time(in_bar);
        stretch = Some((beat_s, from_s, beats + in_bar));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::chart::{EXAMPLES, Example};

    fn tune(name: &str, way: &AskedTune) -> Tune {
        let example = Example::find(name).unwrap();
        Tune::new(&Chart::parse(name, example.text).unwrap(), name, way).unwrap()
    }

    fn text(chord: Option<&PlayedChord>) -> &str {
        chord.map_or("none", |chord| chord.text.as_str())
    }

    #[test]
    fn a_tune_played_once_as_written_is_its_chart() {
        for example in EXAMPLES {
            let chart = Chart::parse(example.name, example.text).unwrap();
            let (tune, whole) = (Tune::new(&chart, "x", &AskedTune::default()).unwrap(), chart.timeline());
            assert_eq!(tune.timeline.chords.len(), whole.chords.len(), "{}", example.name);
            for (a, b) in tune.timeline.chords.iter().zip(&whole.chords) {
                assert!((a.start_s - b.start_s).abs() < 1e-9 && (a.end_s - b.end_s).abs() < 1e-9 && a.text == b.text);
            }
        }
    }

    #[test]
    fn rounds_of_some_bars_grow_faster_from_the_first_to_the_last() {
        // Bars 3 and 4 of the ballad: 8 beats a round, at 40, 50 and 60.
        let way = AskedTune { bars: Some((3, 4)), rounds: Some(3), tempo_from: Some(40.0), tempo_to: Some(60.0), ..AskedTune::default() };
        let tune = tune("ballad", &way);
        let starts: Vec<f64> = tune.timeline.bars.iter().map(|bar| bar.start_s).collect();
        for (start, wanted) in starts.iter().zip([0.0, 6.0, 12.0, 16.8, 21.6, 25.6]) {
            assert!((start - wanted).abs() < 1e-9, "{starts:?}");
        }
        assert!((tune.timeline.length_s - 29.6).abs() < 1e-9);
        assert_eq!(tune.place(1), (3, 1));
        assert_eq!(tune.place(6), (4, 3));
        assert_eq!(text(tune.timeline.chord_at(12.5)), "Fmaj7");
    }

    #[test]
    fn what_is_reached_an_eighth_early_and_held_belongs_to_the_new_chord() {
        // Beats of 60/56 s in 12/8: an eighth is 0.357 s. Gm7 begins after four beats, at 4.2857 s.
        let tune = tune("ballad", &AskedTune::default());
        let change = 4.0 * 60.0 / 56.0;
        let eighth = 60.0 / 56.0 / 3.0;
        assert_eq!(text(tune.chord_for(change - eighth, change + 0.5)), "Gm7");
        assert_eq!(text(tune.chord_for(change - eighth, change - 0.01)), "Dm", "it was not held");
        for off_s in [-0.05, -0.02, 0.02] {
            assert_eq!(text(tune.chord_for(change - eighth + off_s, change + 0.5)), "Gm7", "{off_s} s from that eighth");
        }
        assert_eq!(text(tune.chord_for(change - eighth - 0.07, change + 0.5)), "Dm", "it was too early");
        assert_eq!(text(tune.chord_for(-eighth - 0.07, 0.5)), "none", "in the count-in");
        assert_eq!(text(tune.chord_for(change, change + 0.5)), "Gm7");
        assert_eq!(text(tune.chord_for(-0.3, 0.5)), "Dm", "early to the first chord");
        assert_eq!(text(tune.chord_for(-0.5, 0.5)), "none");
        assert_eq!(text(tune.chord_for(tune.timeline.length_s + 0.1, 1e9)), "none");
    }

    #[test]
    fn the_nearest_count_is_an_eighth_in_compound_metres() {
        let tune = tune("ballad", &AskedTune::default());
        let eighth = 60.0 / 56.0 / 3.0;
        for (at, wanted) in [(0.0, 0.0), (-0.2, 0.0), (1.4, 1.0), (1.6, 2.0), (4.9, 5.0), (11.8, 12.0), (12.2, 12.0)] {
            let count = tune.nearest_count(at * eighth).unwrap() / eighth;
            assert!((count - wanted).abs() < 1e-9, "{at} is near {count}");
        }
        assert_eq!(tune.nearest_count(-2.0), None);
    }

    #[test]
    fn the_next_chord_comes_in_so_many_beats() {
        let tune = tune("ballad", &AskedTune::default());
        let beat = 60.0 / 56.0;
        let next = |beats: f64| tune.next_change(beats * beat).map(|(chord, beats)| (chord.text.clone(), beats));
        assert_eq!(next(0.0), Some(("Gm7".into(), 4)));
        assert_eq!(next(3.5), Some(("Gm7".into(), 1)));
        assert_eq!(next(4.0), Some(("C7".into(), 2)));
        // One bar of four beats is counted in: a number less with each, also between them.
        let counted: Vec<_> = [-4.0, -3.5, -3.0, -2.2, -1.0, -0.5].map(next).into_iter().flatten().collect();
        let wanted = [4, 4, 3, 3, 1, 1].map(|beats| ("Dm".to_owned(), beats));
        assert_eq!(counted, wanted);
    }

    #[test]
    fn what_cannot_be_played_is_named() {
        let chart = Chart::parse("ballad", Example::find("ballad").unwrap().text).unwrap();
        let said = |way: AskedTune| Tune::new(&chart, "x", &way).unwrap_err().to_string();
        assert!(said(AskedTune { bars: Some((30, 40)), ..AskedTune::default() }).contains("has 32"));
        assert!(said(AskedTune { bars: Some((0, 4)), ..AskedTune::default() }).contains("0-4"));
        assert!(said(AskedTune { tempo_to: Some(5.0), ..AskedTune::default() }).contains("10 to 1000"));
        assert!(said(AskedTune { rounds: Some(10_000), ..AskedTune::default() }).contains("20000"));
    }
}
