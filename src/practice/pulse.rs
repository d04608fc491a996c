//! The pulse of a bar: where its beats and their subdivisions lie in time.

use crate::theory::chart::{Feel, Metre, PlayedBar, Weight};
use crate::units::{FrameTime, SampleRate};

/// The frame nearest to an instant. Of two that are equally near, always the later one, however the instant was computed.
#[must_use]
pub fn frame_at(seconds: f64, rate: SampleRate) -> FrameTime {
    FrameTime((seconds * rate.as_f64() + 1e-6).round().max(0.0) as u64)
}

/// One bar.
#[derive(Clone, Debug, PartialEq)]
pub struct Pulse {
    /// Its first beat, seconds of score time.
    pub start_s: f64,
    /// The length of a beat.
    pub beat_s: f64,
    /// Its metre.
    pub metre: Metre,
    /// How its beats are divided.
    pub feel: Feel,
}

impl From<&PlayedBar> for Pulse {
    fn from(bar: &PlayedBar) -> Self {
        Self { start_s: bar.start_s, beat_s: bar.beat_s, metre: bar.metre.clone(), feel: bar.feel.clone() }
    }
}

impl Pulse {
    /// The end of the bar.
    #[must_use]
    pub fn end_s(&self) -> f64 {
        self.start_s + f64::from(self.metre.beats()) * self.beat_s
    }

    /// When a written position in the bar is played: beats from 0; between them with the feel's swing.
    #[must_use]
    pub fn time_of(&self, position: f64) -> f64 {
        let within = if self.metre.is_compound() { position.fract() } else { self.feel.played(position.fract()) };
        self.start_s + (position.trunc() + within) * self.beat_s
    }

    /// Each beat and how strong it is.
    pub fn beats(&self) -> impl Iterator<Item = (f64, Weight)> + '_ {
        (0..self.metre.beats()).map(|beat| (self.start_s + f64::from(beat) * self.beat_s, self.weight(beat)))
    }

    /// How strong a beat (from 0) is.
    #[must_use]
    pub fn weight(&self, beat: u32) -> Weight {
        match beat {
            0 => Weight::Bar,
            _ if self.metre.is_group_start(beat) => Weight::Group,
            _ => Weight::Beat,
        }
    }

    /// Into how many counts a beat is divided: three in compound metres, two where the beat is a quarter or longer, one where it is an eighth
    /// or shorter.
    #[must_use]
    pub fn counts_a_beat(&self) -> u32 {
        if self.metre.is_compound() {
            3
        } else if self.metre.quarters_per_beat() >= 1.0 {
            2
        } else {
            1
        }
    }

    /// The note value of a count, in words.
    #[must_use]
    pub fn count_name(&self) -> &'static str {
        let counts_a_quarter = f64::from(self.counts_a_beat()) / self.metre.quarters_per_beat();
        match (counts_a_quarter * 2.0).round() as i64 {
            1 => "half note",
            2 => "quarter",
            4 => "eighth",
            8 => "sixteenth",
            _ => "count",
        }
    }

    /// All counts of the bar in order, swung where the feel is.
    pub fn counts(&self) -> impl Iterator<Item = f64> + '_ {
        let each = self.counts_a_beat();
        (0..self.metre.beats() * each).map(move |count| self.time_of(f64::from(count) / f64::from(each)))
    }

    /// The length of an eighth note (of a beat that is one or is shorter: the beat's).
    #[must_use]
    pub fn eighth_s(&self) -> f64 {
        self.beat_s / (2.0 * self.metre.quarters_per_beat()).max(1.0)
    }
}

/// Bars, one after the other.
#[derive(Clone, Debug, PartialEq)]
pub enum Pulses {
    /// Those of a tune.
    Tune(Vec<Pulse>),
    /// The same bar again and again from score time 0 on.
    Steady {
        /// Its metre.
        metre: Metre,
        /// How its beats are divided.
        feel: Feel,
        /// Beats a minute.
        tempo: f64,
        /// How many bars; `None`: for ever.
        bars: Option<u64>,
    },
}

impl Pulses {
    /// A bar, from 0; `None` behind the end. The start of the n-th steady bar is computed at once, not added up.
    #[must_use]
    pub fn bar(&self, index: u64) -> Option<Pulse> {
        match self {
            Self::Tune(bars) => bars.get(usize::try_from(index).ok()?).cloned(),
            Self::Steady { metre, feel, tempo, bars } => {
                let beats = index as f64 * f64::from(metre.beats());
                bars.is_none_or(|bars| index < bars).then(|| Pulse {
                    start_s: beats * 60.0 / tempo,
                    beat_s: 60.0 / tempo,
                    metre: metre.clone(),
                    feel: feel.clone(),
                })
            }
        }
    }
}

/// The bars before a tune or a drill: `bars` of its first bar's metre and tempo, ending at score time 0.
#[must_use]
pub fn count_in(first: &Pulse, bars: u32) -> Vec<Pulse> {
    let beats = first.metre.beats();
    (1..=bars).rev().map(|before| Pulse { start_s: -f64::from(before * beats) * first.beat_s, ..first.clone() }).collect()
}

/// Bars that a count-in usually has: one, or two where one has fewer than three beats. Common practice, no source.
#[must_use]
pub fn usual_count_in(first: &Pulse) -> u32 {
    if first.metre.beats() < 3 { 2 } else { 1 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pulse(metre: &str, groups: Option<&str>, feel: &str) -> Pulse {
        Pulse { start_s: 10.0, beat_s: 1.0, metre: Metre::parse(metre, groups).unwrap(), feel: Feel::parse(feel).unwrap() }
    }

    #[test]
    fn a_count_is_called_by_its_note_value() {
        let name = |metre: &str| pulse(metre, None, "straight").count_name();
        assert_eq!(["4/4", "12/8", "7/8", "2/2", "3/16"].map(name), ["eighth", "eighth", "eighth", "quarter", "sixteenth"]);
    }

    #[test]
    fn compound_beats_have_three_counts_swung_ones_a_late_second_and_eighths_one() {
        let counts = |pulse: &Pulse| pulse.counts().take(4).map(|at| ((at - 10.0) * 1000.0).round()).collect::<Vec<_>>();
        assert_eq!(counts(&pulse("12/8", None, "straight")), [0.0, 333.0, 667.0, 1000.0]);
        assert_eq!(counts(&pulse("4/4", None, "straight")), [0.0, 500.0, 1000.0, 1500.0]);
        assert_eq!(counts(&pulse("4/4", None, "shuffle")), [0.0, 667.0, 1000.0, 1667.0]);
        assert_eq!(counts(&pulse("7/8", Some("2+2+3"), "straight")), [0.0, 1000.0, 2000.0, 3000.0]);
    }

    #[test]
    fn an_eighth_is_an_eighth_in_every_metre() {
        for (metre, groups, eighth) in [
            ("4/4", None, 0.5),
            ("3/4", None, 0.5),
            ("2/2", None, 0.25),
            ("12/8", None, 1.0 / 3.0),
            ("7/8", Some("2+2+3"), 1.0),
            ("9/8", Some("2+2+2+3"), 1.0),
            ("15/16", None, 2.0 / 3.0),
        ] {
            assert!((pulse(metre, groups, "straight").eighth_s() - eighth).abs() < 1e-12, "{metre}");
        }
    }

    #[test]
    fn a_count_in_ends_where_the_tune_begins() {
        let first = Pulse { start_s: 0.0, ..pulse("6/8", None, "straight") };
        let bars = count_in(&first, usual_count_in(&first));
        assert_eq!(bars.iter().map(|bar| bar.start_s).collect::<Vec<_>>(), [-4.0, -2.0]);
        assert!(bars[1].end_s().abs() < 1e-12);
    }

    #[test]
    fn ten_minutes_of_beats_are_off_by_no_frame() {
        let rate = SampleRate::new(44_100).unwrap();
        for tempo in [58.0, 97.0, 120.0, 133.3] {
            let steady = Pulses::Steady { metre: Metre::common(), feel: Feel::default(), tempo, bars: None };
            for n in 0..(10.0 * tempo) as u64 {
                let bar = steady.bar(n / 4).unwrap();
                let at = bar.beats().nth((n % 4) as usize).unwrap().0;
                // The n-th beat in whole numbers: n * 60 * rate / tempo, tempo in tenths.
                let tenths = (tempo * 10.0_f64).round() as u64;
                let (frames, rest) = (n * 600 * 44_100 / tenths, n * 600 * 44_100 % tenths);
                let wanted = frames + u64::from(rest * 2 >= tenths);
                assert_eq!(frame_at(at, rate).0, wanted, "beat {n} at {tempo}");
            }
        }
    }
}
