//! A tune over a recording: which part of the recording each round plays, and how much slower.
//!
//! Conventions. The chart's first bar begins at a second of the recording. The recording goes at one tempo, the chart's own unless said; where the chart changes its
//! tempo, so does the recording, in the same proportion. A round takes its bars of the recording in as long as the tune gives them.

use super::Tune;

/// How a recording lies under a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OverRecording {
    /// The second of the recording at which the chart's first bar begins.
    pub start_s: f64,
    /// The recording's tempo in that bar, beats a minute; `None` is the chart's.
    pub tempo: Option<f64>,
}

/// One round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Round {
    /// Score time of its first beat.
    pub at_s: f64,
    /// Score time of its end.
    pub end_s: f64,
    /// Where it begins in the recording, s.
    pub from_s: f64,
    /// How many times as long as recorded.
    pub slower: f64,
}

impl OverRecording {
    /// Where the bars of a round lie in the recording, s: from, to. All rounds play the same.
    #[must_use]
    pub fn stretch(&self, tune: &Tune) -> (f64, f64) {
        let written = tune.written;
        let share = self.tempo.map_or(1.0, |tempo| written.tempo / tempo);
        let from_s = self.start_s + share * written.from_s;
        (from_s, from_s + share * written.length_s)
    }

    /// All rounds of a tune.
    #[must_use]
    pub fn rounds(&self, tune: &Tune) -> Vec<Round> {
        let (from_s, to_s) = self.stretch(tune);
        let begins: Vec<f64> = tune.timeline.bars.iter().step_by(tune.round_bars.max(1)).map(|bar| bar.start_s).collect();
        let ends = begins.iter().skip(1).copied().chain([tune.timeline.length_s]);
        begins.iter().zip(ends).map(|(&at_s, end_s)| Round { at_s, end_s, from_s, slower: (end_s - at_s) / (to_s - from_s) }).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::sidecar::AskedTune;
    use crate::theory::chart::{Chart, Example};

    fn rounds(way: &AskedTune, over: OverRecording) -> Vec<[f64; 4]> {
        let chart = Chart::parse("ballad", Example::find("ballad").unwrap().text).unwrap();
        let tune = Tune::new(&chart, "ballad", way).unwrap();
        let shown = |x: f64| (x * 1e6).round() / 1e6;
        over.rounds(&tune).iter().map(|round| [round.at_s, round.end_s, round.from_s, round.slower].map(shown)).collect()
    }

    /// The ballad goes at 56, four beats a bar: a bar takes 4.285714 s.
    const BAR_S: f64 = 240.0 / 56.0;

    #[test]
    fn bars_lie_in_the_recording_where_the_chart_has_them_and_each_round_plays_them_again() {
        let way = AskedTune { bars: Some((5, 8)), rounds: Some(2), ..AskedTune::default() };
        let found = rounds(&way, OverRecording { start_s: 1.5, tempo: None });
        let shown = |x: f64| (x * 1e6).round() / 1e6;
        let from = shown(1.5 + 4.0 * BAR_S);
        assert_eq!(found, [[0.0, shown(4.0 * BAR_S), from, 1.0], [shown(4.0 * BAR_S), shown(8.0 * BAR_S), from, 1.0]]);
    }

    #[test]
    fn at_half_the_tempo_a_round_is_twice_as_long_and_the_part_of_the_recording_the_same() {
        let way = AskedTune { bars: Some((1, 2)), rounds: Some(3), tempo_from: Some(28.0), tempo_to: Some(56.0), ..AskedTune::default() };
        let slower: Vec<f64> = rounds(&way, OverRecording { start_s: 0.0, tempo: None }).iter().map(|round| round[3]).collect();
        assert_eq!(slower, [2.0, 1.333_333, 1.0]);
    }

    #[test]
    fn a_recording_at_a_tempo_of_its_own_has_its_bars_elsewhere() {
        // At 70, bar 3 begins 2 * 240 / 70 s into it; played at the chart's 56, it is 70/56 times as long.
        let way = AskedTune { bars: Some((3, 3)), ..AskedTune::default() };
        let [round] = rounds(&way, OverRecording { start_s: 10.0, tempo: Some(70.0) }).try_into().unwrap();
        assert_eq!(round[2..], [(1e6_f64 * (10.0 + 480.0 / 70.0)).round() / 1e6, 1.25]);
    }
}
