//! The measures of one attempt: what the log's columns say, in their units. Unknown, absent or not applicable is `None`.

/// Every measured column, by its name in the log. Times are seconds from the take's first sample; an error is played minus
/// wanted, so positive is sharp or late.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Measures {
    /// Instant of the attack (pick, hammer-on or slide end) of the note that is bent.
    pub onset_s: Option<f64>,
    /// Played origin minus the origin.
    pub origin_error_cents: Option<f64>,
    /// Last instant within 10 cents of the played origin before the rise.
    pub bend_start_s: Option<f64>,
    /// First instant within 10 cents of the settled pitch at the beginning of the hold, to stay.
    pub arrival_s: Option<f64>,
    /// `arrival_s - bend_start_s`.
    pub rise_ms: Option<f64>,
    /// Settled pitch in the first 150 ms after arrival, minus the target.
    pub arrival_error_cents: Option<f64>,
    /// Highest pitch until 250 ms after arrival, minus the settled pitch; 0 when it does not go above.
    pub overshoot_cents: Option<f64>,
    /// Length of the hold.
    pub hold_s: Option<f64>,
    /// Time of the hold within the tolerance of the target, vibrato taken out.
    pub in_tune_s: Option<f64>,
    /// Settled pitch over the hold, minus the target.
    pub hold_error_cents: Option<f64>,
    /// Slope over the hold without its first and last 50 ms.
    pub hold_drift_cents_per_s: Option<f64>,
    /// Standard deviation over the same stretch after drift and vibrato are removed.
    pub hold_spread_cents: Option<f64>,
    /// Rate of the vibrato in the hold.
    pub vibrato_rate_hz: Option<f64>,
    /// Half of its peak-to-peak width at full width.
    pub vibrato_extent_cents: Option<f64>,
    /// Its centre minus the target.
    pub vibrato_centre_cents: Option<f64>,
    /// Last instant within 10 cents of the settled pitch of the hold's last 150 ms before the fall.
    pub release_start_s: Option<f64>,
    /// From there to the first instant within 10 cents of the landing.
    pub release_ms: Option<f64>,
    /// Settled landing pitch minus the origin.
    pub release_error_cents: Option<f64>,
    /// Settled pitch of the restruck note minus the origin.
    pub restrike_error_cents: Option<f64>,
    /// `arrival_s` minus the beat that wants the arrival; early is negative.
    pub beat_error_ms: Option<f64>,
    /// Added: `onset_s` minus the beat that wants the attack; early is negative.
    pub attack_beat_error_ms: Option<f64>,
    /// Added: standard deviation of the vibrato's swings in per cent of their mean.
    pub vibrato_unevenness_pct: Option<f64>,
    /// Added: from the arrival to the beginning of the vibrato.
    pub vibrato_delay_s: Option<f64>,
    /// Of a climb that was to be drawn out: from its arrival, within 10 cents, to the note itself at the pace that it came with, ms. No column.
    pub last_cents_ms: Option<f64>,
}

impl Measures {
    /// What the bend reached, minus the target: its settled pitch in the first 150 ms, which of a drawn-out climb still rises, so that there it is the hold's.
    #[must_use]
    pub fn reached_error_cents(&self) -> Option<f64> {
        let early = self.arrival_error_cents.filter(|_| self.last_cents_ms.is_none());
        early.or(self.hold_error_cents).or(self.arrival_error_cents)
    }

    /// How long it was held, s: of a drawn-out climb from the note itself on, as its beat is.
    #[must_use]
    pub fn held_s(&self) -> Option<f64> {
        self.hold_s.map(|held| held - self.last_cents_ms.unwrap_or(0.0) / 1000.0)
    }

    /// How late it came, ms, early is negative: the top where a beat wants it, else the attack. Of a drawn-out climb the note itself counts: an even one
    /// of four seconds arrives a fifth of a second before it, and lies on the beat all the same.
    #[must_use]
    pub fn late_ms(&self) -> Option<f64> {
        let top = self.beat_error_ms.map(|late| late + self.last_cents_ms.unwrap_or(0.0));
        top.or(self.attack_beat_error_ms)
    }
}
