//! The pitch of one note over time, on the tracker's regular grid.

use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::ops::Range;

/// What the tracker said at one instant of a note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ContourPoint {
    /// The instant described.
    pub at: FrameTime,
    /// Pitch in cents on the MIDI scale; `None` where none could be told.
    pub cents: Option<f64>,
    /// How sure the tracker was, 0 to 1; 0 where there is no pitch.
    pub clarity: f32,
    /// RMS level in dB against full scale; `None` for digital silence.
    pub level_dbfs: Option<f32>,
}

/// A pitch contour: one point a hop from `start`, without holes in time. Between points, instants are positions in hops
/// (`f64`), so that a measure can interpolate; only at the edge do they become seconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Contour {
    start: FrameTime,
    hop: FrameSpan,
    rate: SampleRate,
    cents: Vec<f64>,
    clarity: Vec<f32>,
    level_dbfs: Vec<f32>,
}

impl Contour {
    /// An empty contour whose first point will be at `start`; `hop` is at least 1 frame.
    #[must_use]
    pub fn new(start: FrameTime, hop: FrameSpan, rate: SampleRate) -> Self {
        let hop = FrameSpan(hop.0.max(1));
        Self { start, hop, rate, cents: Vec::new(), clarity: Vec::new(), level_dbfs: Vec::new() }
    }

    /// Adds the next hop. NaN and infinity count as unknown.
    pub fn push(&mut self, cents: Option<f64>, clarity: f32, level_dbfs: Option<f32>) {
        let cents = cents.filter(|c| c.is_finite());
        self.cents.push(cents.unwrap_or(f64::NAN));
        self.clarity.push(if cents.is_some() { clarity } else { 0.0 });
        self.level_dbfs.push(level_dbfs.unwrap_or(f32::NEG_INFINITY));
    }

    /// Adds a hop whose pitch is hidden (by a stroke on the string that sounds): as sure and as loud as the one before.
    pub fn push_hidden(&mut self) {
        self.cents.push(f64::NAN);
        self.clarity.push(self.clarity.last().copied().unwrap_or(0.0));
        self.level_dbfs.push(self.level_dbfs.last().copied().unwrap_or(f32::NEG_INFINITY));
    }

    /// Points so far.
    #[must_use]
    pub fn len(&self) -> usize {
        self.cents.len()
    }

    /// Whether nothing was heard yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.cents.is_empty()
    }

    /// The instant of the first point.
    #[must_use]
    pub fn start(&self) -> FrameTime {
        self.start
    }

    /// Frames a second.
    #[must_use]
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Frames from one point to the next.
    #[must_use]
    pub fn hop(&self) -> FrameSpan {
        self.hop
    }

    /// Seconds from one point to the next.
    #[must_use]
    pub fn hop_s(&self) -> f64 {
        self.hop.seconds(self.rate)
    }

    /// Hops in `milliseconds`, not rounded.
    #[must_use]
    pub fn hops(&self, milliseconds: f64) -> f64 {
        milliseconds / 1000.0 / self.hop_s()
    }

    /// One point; `None` behind the end.
    #[must_use]
    pub fn point(&self, index: usize) -> Option<ContourPoint> {
        let cents = *self.cents.get(index)?;
        let level = self.level_dbfs[index];
        Some(ContourPoint {
            at: self.start + FrameSpan(self.hop.0 * index as u64),
            cents: cents.is_finite().then_some(cents),
            clarity: self.clarity[index],
            level_dbfs: level.is_finite().then_some(level),
        })
    }

    /// All points in order.
    pub fn points(&self) -> impl Iterator<Item = ContourPoint> + '_ {
        (0..self.len()).filter_map(|index| self.point(index))
    }

    /// Pitches in cents, NaN where unknown: for formulas.
    #[must_use]
    pub fn cents(&self) -> &[f64] {
        &self.cents
    }

    /// Clarities, 0 where there is no pitch: for formulas.
    #[must_use]
    pub fn clarities(&self) -> &[f32] {
        &self.clarity
    }

    /// Forgets the pitch at one point: it was none of this note's.
    pub fn forget(&mut self, index: usize) {
        if let Some(cents) = self.cents.get_mut(index) {
            *cents = f64::NAN;
            self.clarity[index] = 0.0;
        }
    }

    /// Levels in dB against full scale, minus infinity for digital silence: for formulas.
    #[must_use]
    pub fn levels(&self) -> &[f32] {
        &self.level_dbfs
    }

    /// Seconds in the take of a position in hops.
    #[must_use]
    pub fn seconds(&self, position: f64) -> f64 {
        (self.start.0 as f64 + position * self.hop.0 as f64) / self.rate.as_f64()
    }

    /// The position in hops of an instant; negative before the first point.
    #[must_use]
    pub fn position(&self, at: FrameTime) -> f64 {
        (at.0 as f64 - self.start.0 as f64) / self.hop.0 as f64
    }

    /// The part of it over `range`, cut to what there is.
    #[must_use]
    pub fn part(&self, range: Range<usize>) -> Self {
        let end = range.end.min(self.len());
        let begin = range.start.min(end);
        Self {
            start: self.start + FrameSpan(self.hop.0 * begin as u64),
            hop: self.hop,
            rate: self.rate,
            cents: self.cents[begin..end].to_vec(),
            clarity: self.clarity[begin..end].to_vec(),
            level_dbfs: self.level_dbfs[begin..end].to_vec(),
        }
    }
}
