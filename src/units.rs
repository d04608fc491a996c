//! Instants, lengths and pitch: the units that everything else is written in.
//!
//! Conventions. Pitch is cents on the MIDI scale, `p = 6900 + 1200 log2(f / A4)` (ISO 16 for A4 = 440 Hz; the MIDI note
//! number times 100), so a difference of two pitches is an interval in cents (Ellis 1885: 1200 to the octave). Time inside a
//! take counts frames from its first sample; seconds appear only at the edges.

use std::ops::{Add, Sub};

/// Frames a second of one take, at least 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct SampleRate(u32);

impl SampleRate {
    /// `None` for 0, which is no rate.
    #[must_use]
    pub fn new(frames_per_second: u32) -> Option<Self> {
        (frames_per_second > 0).then_some(Self(frames_per_second))
    }

    /// Frames a second.
    #[must_use]
    pub fn hz(self) -> u32 {
        self.0
    }

    /// The same number for formulas.
    #[must_use]
    pub fn as_f64(self) -> f64 {
        f64::from(self.0)
    }

    /// The length of `seconds`, to the nearest frame; negative lengths are 0.
    #[must_use]
    pub fn span(self, seconds: f64) -> FrameSpan {
        FrameSpan((seconds * self.as_f64()).round().max(0.0) as u64)
    }
}

/// An instant: frames since the first sample of the take.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FrameTime(pub u64);

/// A length in frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FrameSpan(pub u64);

impl FrameTime {
    /// Seconds from the first sample.
    #[must_use]
    pub fn seconds(self, rate: SampleRate) -> f64 {
        self.0 as f64 / rate.as_f64()
    }

    /// The length from `earlier` to here; 0 where `earlier` is not earlier.
    #[must_use]
    pub fn since(self, earlier: FrameTime) -> FrameSpan {
        FrameSpan(self.0.saturating_sub(earlier.0))
    }
}

impl FrameSpan {
    /// Seconds of it.
    #[must_use]
    pub fn seconds(self, rate: SampleRate) -> f64 {
        self.0 as f64 / rate.as_f64()
    }
}

impl Add<FrameSpan> for FrameTime {
    type Output = FrameTime;
    fn add(self, span: FrameSpan) -> FrameTime {
        FrameTime(self.0 + span.0)
    }
}

impl Sub<FrameSpan> for FrameTime {
    type Output = FrameTime;
    fn sub(self, span: FrameSpan) -> FrameTime {
        FrameTime(self.0.saturating_sub(span.0))
    }
}

/// The tuning reference: the frequency of A above middle C in Hz, 400 to 480.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct A4(f64);

impl Default for A4 {
    /// 440 Hz (ISO 16:1975).
    fn default() -> Self {
        Self(440.0)
    }
}

impl A4 {
    /// `None` outside 400 to 480 Hz, which no instrument is tuned to.
    #[must_use]
    pub fn new(hz: f64) -> Option<Self> {
        (400.0..=480.0).contains(&hz).then_some(Self(hz))
    }

    /// The reference in Hz.
    #[must_use]
    pub fn hz(self) -> f64 {
        self.0
    }

    /// The pitch of a frequency above 0 Hz, in cents on the MIDI scale.
    #[must_use]
    pub fn cents(self, hz: f64) -> f64 {
        6900.0 + 1200.0 * (hz / self.0).log2()
    }

    /// The frequency of a pitch in cents on the MIDI scale.
    #[must_use]
    pub fn hz_of(self, cents: f64) -> f64 {
        self.0 * ((cents - 6900.0) / 1200.0).exp2()
    }
}

/// A number with its sign, in so many decimals: cents and milliseconds alike. What rounds to nothing has no sign.
#[must_use]
pub fn signed(value: f64, decimals: usize) -> String {
    let text = format!("{value:+.decimals$}");
    if text.bytes().any(|byte| (b'1'..=b'9').contains(&byte)) { text } else { text[1..].to_owned() }
}

#[cfg(test)]
mod tests {
    use super::signed;

    #[test]
    fn what_rounds_to_nothing_has_no_sign() {
        assert_eq!([-0.4, 0.0, 0.6, -7.5].map(|value| signed(value, 0)), ["0", "0", "+1", "-8"]);
        assert_eq!([-0.04, 0.05, -12.34].map(|value| signed(value, 1)), ["0.0", "+0.1", "-12.3"]);
    }
}
