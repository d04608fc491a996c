//! Two cards, two clocks: which frame of the take is which frame of the output.
//!
//! Each stream's callbacks say which frame was at the connector when ([`Stamps`]); on a busy machine they say it late, early
//! and sometimes badly, behind a sound server up and down by a callback's length over a second or more. A straight line is fitted to each stream's stamps on the
//! machine's one clock, so that neither a crooked stamp nor the drift of one crystal against the other moves a beat:
//!
//! `take frame = input line⁻¹(output line(frame) + round trip)`
//!
//! The round trip is what `landfall calibrate` measured on top of the delays that the cards themselves tell of.

use super::fit::Fit;
use crate::sound::card::{PlayPulse, Stamp, Stamps, TakeTime};
use crate::units::SampleRate;
use std::sync::Arc;
use std::time::Instant;

/// One stream and its line.
struct Follow {
    fit: Fit,
    read: u64,
}

impl Follow {
    fn new(rate: SampleRate) -> Self {
        Self { fit: Fit::new(rate), read: 0 }
    }

    fn look(&mut self, stamps: &Stamps, epoch: Instant) {
        let Self { fit, read } = self;
        stamps.read(read, &mut |Stamp { frame, at }| {
            let after = at.saturating_duration_since(epoch).as_secs_f64();
            fit.add(frame, after - epoch.saturating_duration_since(at).as_secs_f64());
        });
    }
}

/// The surer one says what is expected of the other's drift.
fn lead(one: &mut Fit, other: &mut Fit) {
    let ((drift, certainty), (other_drift, other_certainty)) = (one.drift(), other.drift());
    let (led, leader) = if certainty < other_certainty { (one, other_drift * other_certainty) } else { (other, drift * certainty) };
    led.expect(leader);
}

/// The output of a run against the take of its input.
pub struct Clocks {
    epoch: Instant,
    output: Option<(Follow, Arc<PlayPulse>)>,
    input: Option<(Follow, crate::sound::card::TakeNow)>,
    take: TakeTime,
    round_trip_s: f64,
}

impl Clocks {
    /// `round_trip_s` as calibrated; 0 where it is not known.
    #[must_use]
    pub fn new(take: TakeTime, round_trip_s: f64) -> Self {
        Self { epoch: Instant::now(), output: None, input: None, take, round_trip_s }
    }

    /// Another output stream.
    pub fn follow_output(&mut self, pulse: Arc<PlayPulse>, rate: SampleRate) {
        self.output = Some((Follow::new(rate), pulse));
    }

    /// Takes in the stamps that have come since.
    pub fn look(&mut self) {
        if let Some((follow, pulse)) = &mut self.output {
            follow.look(pulse.stamps(), self.epoch);
        }
        let Some(now) = self.take.now() else { return };
        match &mut self.input {
            Some((follow, before)) if Arc::ptr_eq(&before.pulse, &now.pulse) => {
                *before = now;
                follow.look(before.pulse.stamps(), self.epoch);
                if let Some((output, _)) = &mut self.output {
                    lead(&mut follow.fit, &mut output.fit);
                }
            }
            input => *input = Some((Follow::new(now.rate), now)),
        }
    }

    /// The frame of the output's stream that is heard now.
    #[must_use]
    pub fn heard_now(&self) -> Option<f64> {
        self.output_frame(Instant::now())
    }

    /// The frame of the output's stream that is heard then.
    #[must_use]
    pub fn output_frame(&self, at: Instant) -> Option<f64> {
        let at_s = at.saturating_duration_since(self.epoch).as_secs_f64();
        self.output.as_ref()?.0.fit.frame(at_s)
    }

    /// Which take, and which of its frames holds what the output's stream plays at `frame`. `None` until both streams have run for a moment.
    #[must_use]
    pub fn take_frame(&self, frame: f64) -> Option<(u64, f64)> {
        let at_s = self.output.as_ref()?.0.fit.seconds(frame)?;
        let (input, now) = self.input.as_ref()?;
        let heard = input.fit.frame(at_s + self.round_trip_s)?;
        Some((now.take, heard + now.offset as f64))
    }

    /// How fast input and output are against their own rates, in parts of a million, once that is known.
    #[must_use]
    pub fn drift_ppm(&self) -> (Option<f64>, Option<f64>) {
        let input = self.input.as_ref().and_then(|(follow, _)| follow.fit.drift_ppm());
        (input, self.output.as_ref().and_then(|(follow, _)| follow.fit.drift_ppm()))
    }
}
