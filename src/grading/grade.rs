//! A bend as played and a wish make an attempt: measures, score and faults.

use super::origin::BAND_CENTS;
use super::parts::{Judged, STEADY_CENTS_PER_S, UNEVEN_RISE, UNEVENNESS_PCT};
use super::played::Played;
use super::score::score;
use super::target::{Meant, meant};
use super::{Attempt, Fault, Measures, Wish};
use crate::notes::Contour;
use crate::units::{A4, FrameTime};

/// From the first touch to the arrival, ms: longer is slow to settle.
const SETTLING_MS: f64 = 120.0;

/// What is known of the note after the bend.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct After {
    /// Settled pitch of the note picked again at the landing, in time and without a new bend.
    pub restruck: Option<f64>,
    /// Where the restruck note, or else the bent one, ends.
    pub end: FrameTime,
}

/// Everything that a grade needs.
pub(super) struct Case<'a> {
    pub attempt: u32,
    pub onset: FrameTime,
    pub contour: &'a Contour,
    pub played: &'a Played,
    pub repicks: u32,
    pub after: After,
    pub a4: A4,
    /// Faults of the sound and of the note's ending.
    pub heard: Vec<Fault>,
}

impl Case<'_> {
    /// The pitch that says the origin: before the bend, or where it landed.
    pub fn home_cents(&self) -> Option<f64> {
        let landing = self.played.release.and_then(|release| release.landing);
        match &self.played.before {
            Some(before) => Some(before.origin.unwrap_or_else(|| nearer_note(before.lowest, landing))),
            None => landing,
        }
    }

    /// Grades it.
    pub fn grade(self, wish: &Wish) -> Attempt {
        let meant = meant(wish, self.home_cents(), self.played.hold.level);
        let measures = self.measures(wish, &meant);
        let faults = self.faults(wish, &meant, &measures);
        let released = self.played.release.is_some();
        Attempt {
            attempt: self.attempt,
            step: wish.step,
            instead_of: wish.instead_of.clone(),
            span: (self.onset, self.after.end),
            technique: self.played.technique,
            origin_cents: meant.origin,
            target_cents: meant.target,
            bend_cents: meant.size(),
            degree: meant.degree.clone(),
            standing: wish.standing(meant.target),
            restrike: released && self.after.restruck.is_some(),
            landing_cents: self.played.release.and_then(|release| release.landing),
            repicks: self.repicks,
            score: score(&self.judged(wish, &meant, &measures).parts()),
            faults,
            tolerance_cents: self.pitch_tolerance(wish, &meant),
            release_tolerance_cents: wish.tolerance.release_cents,
            a4: self.a4,
            sample_rate: self.contour.rate(),
            measures,
        }
    }

    /// The tolerance of this attempt's pitch.
    fn pitch_tolerance(&self, wish: &Wish, meant: &Meant) -> f64 {
        wish.tolerance.of_pitch(meant.size(), self.played.arrival.touched_until.is_some())
    }

    fn measures(&self, wish: &Wish, meant: &Meant) -> Measures {
        let played = self.played;
        let at = |position: f64| self.contour.seconds(position);
        let ms = |hops: f64| 1000.0 * hops * self.contour.hop_s();
        let onset_s = self.onset.seconds(self.contour.rate());
        let arrival_s = if played.technique.is_pre_bend() { onset_s } else { at(played.arrival.at) };
        let against_target = |cents: f64| meant.target.map(|target| cents - target);
        let against_origin = |cents: f64| meant.origin.map(|origin| cents - origin);
        let vibrato = played.vibrato.as_ref();
        let release = played.release.as_ref();
        let held_from = if played.technique.is_pre_bend() { self.contour.position(self.onset) } else { played.hold.from };
        Measures {
            onset_s: Some(onset_s),
            origin_error_cents: played.before.and_then(|before| before.origin).and_then(against_origin),
            bend_start_s: played.before.map(|before| at(before.start)),
            arrival_s: Some(arrival_s),
            rise_ms: played.before.map(|before| ms(played.arrival.at - before.start)),
            arrival_error_cents: against_target(played.arrival.level),
            overshoot_cents: played.overshoot,
            hold_s: Some(ms(played.hold.to - held_from).max(0.0) / 1000.0),
            in_tune_s: meant.target.map(|target| played.hold.in_tune_s(target, self.pitch_tolerance(wish, meant))),
            hold_error_cents: against_target(played.hold.level),
            hold_drift_cents_per_s: played.hold.drift,
            hold_spread_cents: played.hold.spread,
            vibrato_rate_hz: vibrato.map(|v| v.rate_hz),
            vibrato_extent_cents: vibrato.map(|v| v.extent_cents),
            vibrato_centre_cents: vibrato.and_then(|v| against_target(v.centre_cents)),
            release_start_s: release.map(|release| at(release.start)),
            release_ms: release.and_then(|release| release.end.map(|end| ms(end - release.start))),
            release_error_cents: release.and_then(|release| release.landing).and_then(against_origin),
            restrike_error_cents: release.and(self.after.restruck).and_then(against_origin),
            beat_error_ms: wish.arrival_beat_s.map(|beat| 1000.0 * (arrival_s - beat)),
            attack_beat_error_ms: wish.attack_beat_s.map(|beat| 1000.0 * (onset_s - beat)),
            vibrato_unevenness_pct: vibrato.map(|v| v.unevenness_pct),
            vibrato_delay_s: vibrato.map(|v| (at(v.span.start as f64) - arrival_s).max(0.0)),
            last_cents_ms: self.last_cents().filter(|_| wish.parts.evenness > 0.0).map(ms),
        }
    }

    /// From the arrival, within a band of the top, to the top itself, hops: a third of what the three bands before it took.
    fn last_cents(&self) -> Option<f64> {
        let (arrived, points) = (self.played.arrival.at, self.contour.cents());
        let (from, to) = (self.played.before?.start.max(0.0).ceil() as usize, (arrived.max(0.0) as usize).min(points.len()));
        let three_below = points.get(to)? - 3.0 * BAND_CENTS;
        let below = (from..to).rev().find(|&i| points[i] < three_below)?;
        Some((arrived - below as f64) / 3.0)
    }

    /// How far from half its time the rise was halfway, as a share of it; `None` without a rise.
    fn unevenness(&self) -> Option<f64> {
        let before = self.played.before?;
        let (from, to) = (before.start, self.played.arrival.at);
        let half = f64::midpoint(before.origin.unwrap_or(before.lowest), self.played.arrival.level);
        let points = self.contour.cents();
        let mut span = from.max(0.0).ceil() as usize..(to.floor().max(0.0) as usize + 1).min(points.len());
        let at = span.find(|&i| points[i] >= half)?;
        (to - from > 1.0).then(|| (at as f64 - from) / (to - from) - 0.5)
    }

    /// What counts of it, and how.
    fn judged<'b>(&self, wish: &'b Wish, meant: &'b Meant, measures: &'b Measures) -> Judged<'b> {
        let (technique, touched) = (self.played.technique, self.played.arrival.touched_until.is_some());
        let shaken_s = self.played.vibrato.as_ref().map(|vibrato| vibrato.span.len() as f64 * self.contour.hop_s());
        Judged { wish, meant, measures, technique, touched, shaken_s, uneven_rise: self.unevenness() }
    }

    fn faults(&self, wish: &Wish, meant: &Meant, m: &Measures) -> Vec<Fault> {
        let judged = self.judged(wish, meant, m);
        let tolerance = judged.pitch_tolerance();
        let mut faults = self.heard.clone();
        let mut add = |is: bool, fault: Fault| {
            if is {
                faults.push(fault);
            }
        };
        let over = |value: Option<f64>, limit: f64| value.is_some_and(|value| value > limit);
        let shaken = m.vibrato_centre_cents.is_some();
        let pitch = judged.pitch_error().filter(|_| !shaken || wish.parts.shake_centre > 0.0);
        add(over(pitch.map(|e| -e), tolerance), Fault::Flat);
        add(over(pitch, tolerance), Fault::Sharp);
        let settling = 1000.0 * (self.played.arrival.at - self.played.arrival.touched) * self.contour.hop_s();
        // What is drawn out on purpose is never slow.
        add(settling > SETTLING_MS && wish.parts.evenness <= 0.0, Fault::SlowToSettle);
        add(wish.parts.evenness > 0.0 && judged.uneven_rise.is_some_and(|off| off.abs() > UNEVEN_RISE), Fault::UnevenRise);
        add(over(m.overshoot_cents, wish.tolerance.overshoot_cents), Fault::Overshoot);
        add(self.played.corrected, Fault::Corrected);
        add(over(m.hold_drift_cents_per_s.map(|drift| -drift), STEADY_CENTS_PER_S), Fault::Sags);
        add(over(m.hold_drift_cents_per_s, STEADY_CENTS_PER_S), Fault::Climbs);
        add(wish.shortest_hold_s().is_some_and(|least| m.held_s().unwrap_or(0.0) < least), Fault::ShortHold);
        add(wish.longest_hold_s().is_some_and(|most| over(m.held_s(), most)), Fault::LongHold);
        add(wish.rise_ms.is_some_and(|longest| over(m.rise_ms, longest)), Fault::SlowRise);
        add(over(judged.shake_off(), tolerance), Fault::ShakeOff);
        add(over(m.vibrato_unevenness_pct, UNEVENNESS_PCT), Fault::ShakeUneven);
        let asked_width = wish.shake_cents.unwrap_or((0.0, f64::INFINITY));
        add(m.vibrato_extent_cents.is_some_and(|width| width < asked_width.0), Fault::ShakeNarrow);
        add(over(m.vibrato_extent_cents, asked_width.1), Fault::ShakeWide);
        let asked_rate = wish.shake_hz.unwrap_or((0.0, f64::INFINITY));
        add(m.vibrato_rate_hz.is_some_and(|rate| rate < asked_rate.0), Fault::ShakeSlow);
        add(over(m.vibrato_rate_hz, asked_rate.1), Fault::ShakeFast);
        add(wish.parts.shake_centre + wish.parts.shake_width > 0.0 && !shaken, Fault::NoShake);
        let straight = judged.straight_off();
        add(over(straight.map(|off| -off), 1.0), Fault::ShakeEarly);
        add(over(straight, 1.0), Fault::ShakeLate);
        add(shaken && over(judged.shake_missing(), 1.0), Fault::ShakeShort);
        let asked = wish.technique;
        let wants_release = asked.is_some_and(super::Technique::is_released);
        add(wants_release && self.played.release.is_none(), Fault::NoRelease);
        let home = judged.release_error();
        add(over(home.map(|e| -e), wish.tolerance.release_cents), Fault::ReleaseFlat);
        add(over(home, wish.tolerance.release_cents), Fault::ReleaseSharp);
        add(self.played.release.is_some_and(|release| release.landing.is_none()), Fault::ReleaseLost);
        add(over(m.restrike_error_cents.map(|e| -e), wish.tolerance.cents), Fault::RestrikeFlat);
        add(over(m.restrike_error_cents, wish.tolerance.cents), Fault::RestrikeSharp);
        add(wish.parts.restrike > 0.0 && self.after.restruck.is_none(), Fault::NoRestrike);
        let off_beat = judged.off_beat_ms();
        add(over(off_beat.map(|late| -late), wish.tolerance.beat_ms), Fault::Early);
        add(over(off_beat, wish.tolerance.beat_ms), Fault::Late);
        add(wish.uncalibrated && off_beat.is_some(), Fault::Uncalibrated);
        add(over(m.origin_error_cents.map(f64::abs), wish.tolerance.cents), Fault::StringOff);
        add(asked.is_some_and(|asked| asked.is_pre_bend() != self.played.technique.is_pre_bend()), Fault::OtherTechnique);
        add(meant.guessed, Fault::TargetGuessed);
        faults.sort_unstable();
        faults.dedup();
        faults
    }
}

/// Without a steady part, the origin is the note near the lowest pitch heard; where that is between notes, the landing says it.
fn nearer_note(lowest: f64, landing: Option<f64>) -> f64 {
    let off = (lowest - 100.0 * (lowest / 100.0).round()).abs();
    match landing {
        Some(landing) if off > 35.0 || (landing - lowest).abs() > 60.0 => landing,
        _ => lowest,
    }
}
