//! From a graded attempt to its row.

use super::{PlayedAt, Row};
use crate::grading::Attempt;

/// What a row says besides what was measured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Setting {
    /// The take's file name without its ending.
    pub take: String,
    /// The instant of the take's first sample.
    pub started: Option<PlayedAt>,
    /// `card`, `file` or `synth`.
    pub source: Option<String>,
    /// The drill's name.
    pub drill: Option<String>,
    /// The drill's step, from 1.
    pub step: Option<u32>,
    /// The chord in force.
    pub chord: Option<String>,
    /// The string that was asked for, 1 is the highest.
    pub string: Option<u32>,
    /// The fret that was asked for.
    pub fret: Option<u32>,
}

impl Row {
    /// The row of an attempt; `spell` names the note of a MIDI number (`G4`, `Bb4`).
    #[must_use]
    pub fn graded(attempt: &Attempt, setting: &Setting, spell: impl Fn(i32) -> String) -> Self {
        let measures = &attempt.measures;
        Self {
            take: setting.take.clone(),
            attempt: Some(attempt.attempt),
            played_at: setting.started.and_then(|started| started.later(measures.onset_s.unwrap_or(0.0))),
            source: setting.source.clone(),
            drill: setting.drill.clone(),
            step: attempt.step.or(setting.step),
            chord: setting.chord.clone(),
            degree: attempt.degree.clone(),
            string: setting.string,
            fret: setting.fret,
            technique: (!attempt.is_plain()).then(|| attempt.technique.word().to_owned()),
            origin_note: attempt.origin_midi().map(&spell),
            target_note: attempt.target_midi().map(&spell),
            bend_cents: attempt.bend_cents,
            onset_s: measures.onset_s,
            origin_error_cents: measures.origin_error_cents,
            bend_start_s: measures.bend_start_s,
            arrival_s: measures.arrival_s,
            rise_ms: measures.rise_ms,
            arrival_error_cents: measures.arrival_error_cents,
            overshoot_cents: measures.overshoot_cents,
            hold_s: measures.hold_s,
            in_tune_s: measures.in_tune_s,
            hold_error_cents: measures.hold_error_cents,
            hold_drift_cents_per_s: measures.hold_drift_cents_per_s,
            hold_spread_cents: measures.hold_spread_cents,
            vibrato_rate_hz: measures.vibrato_rate_hz,
            vibrato_extent_cents: measures.vibrato_extent_cents,
            vibrato_centre_cents: measures.vibrato_centre_cents,
            release_start_s: measures.release_start_s,
            release_ms: measures.release_ms,
            release_error_cents: measures.release_error_cents,
            restrike: Some(attempt.restrike),
            restrike_error_cents: measures.restrike_error_cents,
            beat_error_ms: measures.beat_error_ms,
            score: attempt.score,
            faults: attempt.faults.iter().map(|fault| fault.word().to_owned()).collect(),
            tolerance_cents: Some(attempt.tolerance_cents),
            a4_hz: Some(attempt.a4.hz()),
            sample_rate_hz: Some(attempt.sample_rate.hz()),
            landing_note: attempt.landing_midi().map(&spell),
            repicks: Some(attempt.repicks),
            attack_beat_error_ms: measures.attack_beat_error_ms,
            vibrato_unevenness_pct: measures.vibrato_unevenness_pct,
            vibrato_delay_s: measures.vibrato_delay_s,
        }
    }
}
