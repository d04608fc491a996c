//! The note that is being followed, remembered by its partials, so that its tail is not handed over to another string.
//!
//! A correlation hears everything at once: where a second string has become as loud as a dying note, the period that the two nearly share
//! is clearer than the note's own, and that is most often an octave down. But the note's partials still stand where they were. While the
//! sound is clear, their powers are written down; when it no longer is, they are looked for through a longer window along the note's
//! own glide. As long as most of them stand, within what a string loses by itself, and agree on a pitch, that pitch is offered to the path
//! as a clear one. A stroke ends the memory.

use super::candidates::{Candidate, Candidates};
use super::detector::OCTAVE_COST;
use super::partials::{PARTIALS, Partial, mean_off_hz, read};

/// Half the window that the partials are looked for through, s: a string half a tone away at 440 Hz is another line.
const HALF_S: f64 = 0.03;
/// From this clarity on the sound is believed, and its partials written down.
const CLEAR: f32 = 0.86;
/// The rank that the followed note has while its partials stand: a clear sound's, yet no rival of one that explains all there is.
const REMEMBERED: f32 = 0.8;
/// A candidate belongs to the note within this: a semitone.
const NEAR: f64 = 0.06;
/// And is what the memory expects within this: half of one.
const SAME: f64 = 0.03;
/// A period of two or three of the note's that is so clear may be a lower note that was read too high: if it has partials of its own.
const EXPLAINS: f32 = 0.7;
/// Within this of where it should be, a partial may be that of such a lower note, whose glide is not known.
const OWN: f64 = 0.04;
/// Less of the note's power than this between its partials is no lower note's.
const OWN_POWER: f32 = 0.03;
/// A string loses no more by itself, dB a second; a damped one loses 200.
const DECAY_DB_PER_S: f64 = 60.0;
/// A partial stands while it is no further than this under where it was, as a power: 4.5 dB.
const STANDS: f32 = 0.35;
/// So much of the written-down power must belong to partials that stand.
const MOST: f32 = 0.6;
/// Partials of one note agree on its pitch within this.
const AGREE: f64 = 0.015;
/// Less of all that sounds than this is no note that could be read, as a power: 12 dB under the rest.
const AUDIBLE: f32 = 0.06;
/// Hops between looks at a clear sound.
const LOOKS: u32 = 6;
/// Faster than this no string glides, octaves a second.
const FASTEST: f64 = 4.0;

/// What is remembered of one note.
#[derive(Clone, Copy, Debug)]
struct Note {
    /// Where it was last followed to, Hz.
    hz: f64,
    /// How long before the last hop that was, s.
    lag_s: f64,
    /// Its glide, octaves a second.
    slope: f64,
    /// Power of each partial as last written down; all 0 before.
    powers: [f32; PARTIALS],
    /// Hops since it was written down.
    ago: u32,
    /// The pitch that its partials say where they still stand, and how long before the hop that is.
    stood: Option<(f64, f64)>,
}

/// What still stands of it.
struct Standing {
    hz: f64,
    /// Power of the partials that stand.
    power: f32,
    /// Share of the written-down power that they had.
    share: f32,
}

/// The memory of the note being followed; see the module.
#[derive(Debug)]
pub struct Memory {
    rate: f64,
    hop_s: f64,
    half: usize,
    note: Option<Note>,
}

impl Memory {
    /// For a slow signal of so many frames a second and readings every `hop_s` seconds.
    #[must_use]
    pub fn new(slow_rate: f64, hop_s: f64) -> Self {
        Self { rate: slow_rate, hop_s, half: (HALF_S * slow_rate) as usize, note: None }
    }

    /// Slow samples to each side of the instant looked at.
    #[must_use]
    pub fn reach(&self) -> usize {
        self.half
    }

    /// Adds the remembered note to the candidates of the next hop where the sound is no longer clear and the note still stands. `x`: the
    /// slow samples within [`Self::reach`] of an instant `lag_s` before the hop's; `None` where there are not so many.
    pub fn remind(&mut self, candidates: &mut Candidates, x: Option<&[f32]>, lag_s: f64, struck: bool) {
        if struck {
            self.note = None;
        }
        let (Some(note), Some(x)) = (&mut self.note, x) else { return };
        let hz = note.hz * (note.slope * (self.hop_s + note.lag_s - lag_s)).exp2();
        note.ago += 1;
        note.stood = None;
        let best = candidates.as_slice().first();
        let is_clear = best.is_some_and(|best| best.clarity >= CLEAR && is_within(NEAR, self.rate / f64::from(best.period), hz));
        if is_clear && note.ago < LOOKS && note.powers[0] > 0.0 {
            return;
        }
        let partials = read(x, self.rate, hz, note.slope, self.half as f64);
        if is_clear {
            note.powers = partials.map(|p| p.power);
            note.ago = 0;
            return;
        }
        let stands = note.stands(&partials, hz, x);
        note.fade(&partials, self.hop_s);
        let Some(standing) = stands else { return };
        note.stood = Some((standing.hz, lag_s));
        let now = standing.hz * (note.slope * lag_s).exp2();
        let slope = note.slope;
        if !self.is_a_lower_note(candidates, x, hz, slope, standing.power) {
            self.offer(candidates, hz, now, standing.share);
        }
    }

    /// Whether one of the candidates is a note of which the remembered one, of `hz` and so much power, is a partial: it is clear and has partials of
    /// its own.
    fn is_a_lower_note(&self, candidates: &Candidates, x: &[f32], hz: f64, slope: f64, power: f32) -> bool {
        candidates.as_slice().iter().any(|candidate| {
            let lower = self.rate / f64::from(candidate.period);
            let times = (hz / lower).round();
            let fits = (2.0..=3.0).contains(&times) && is_within(NEAR, lower * times, hz) && candidate.clarity >= EXPLAINS;
            fits && between(&read(x, self.rate, lower, slope, self.half as f64), lower, times as usize, OWN) >= OWN_POWER * power
        })
    }

    /// Offers the note that was expected at `expected` Hz and stands at `stands` as a clear sound, or lifts the candidate that is the same.
    fn offer(&self, candidates: &mut Candidates, expected: f64, stands: f64, share: f32) {
        let rank = |period: f32| REMEMBERED - OCTAVE_COST * period.log2();
        match candidates.as_slice().iter().position(|candidate| is_within(SAME, self.rate / f64::from(candidate.period), expected)) {
            // Nothing else is clearer.
            Some(0) => {}
            // What the short window says is nearer in time.
            Some(at) => {
                let own = candidates.as_slice()[at];
                candidates.lift(own, CLEAR * share, own.rank.max(rank(own.period)));
            }
            None => {
                let period = (self.rate / stands) as f32;
                candidates.offer(Candidate { period, clarity: CLEAR * share, rank: rank(period) });
            }
        }
    }

    /// The path goes to this period (slow samples) now, or to none.
    pub fn follow(&mut self, period: Option<f32>) {
        let Some(period) = period else {
            self.note = None;
            return;
        };
        let hz = self.rate / f64::from(period);
        let Some(note) = &mut self.note else {
            self.note = Some(Note::new(hz));
            return;
        };
        // What stands is known better, though of an instant before: nothing that was said of now may come back as if it had been heard.
        let stood = note.stood.filter(|(pitch, lag_s)| (pitch * (note.slope * lag_s).exp2() / hz - 1.0).abs() < SAME);
        let (hz, lag_s) = stood.unwrap_or((hz, 0.0));
        let elapsed = self.hop_s + note.lag_s - lag_s;
        if elapsed > 0.5 * self.hop_s {
            let slope = (hz / note.hz).log2() / elapsed;
            if slope.abs() > 10.0 * FASTEST {
                self.note = Some(Note::new(hz));
                return;
            }
            note.slope = (0.8 * note.slope + 0.2 * slope).clamp(-FASTEST, FASTEST);
        }
        (note.hz, note.lag_s) = (hz, lag_s);
    }
}

impl Note {
    fn new(hz: f64) -> Self {
        Self { hz, lag_s: 0.0, slope: 0.0, powers: [0.0; PARTIALS], ago: LOOKS, stood: None }
    }

    /// A hop later no more can stand than what stands now, nor less than a string leaves.
    fn fade(&mut self, partials: &[Partial; PARTIALS], hop_s: f64) {
        let lost = 10f64.powf(-DECAY_DB_PER_S * hop_s / 10.0) as f32;
        for (old, new) in self.powers.iter_mut().zip(partials) {
            *old = (*old * lost).max(new.power.min(*old));
        }
    }

    /// What stands of the note, where that is most of it.
    fn stands(&self, partials: &[Partial; PARTIALS], hz: f64, x: &[f32]) -> Option<Standing> {
        let all: f32 = self.powers.iter().sum();
        let mut standing = [Partial::default(); PARTIALS];
        let (mut share, mut heard) = (0.0, 0.0);
        for (k, (now, then)) in partials.iter().zip(&self.powers).enumerate() {
            let off = f64::from(now.off_hz) / ((k + 1) as f64 * hz);
            if now.power > STANDS * then && off.abs() < AGREE {
                standing[k] = *now;
                share += then / all;
                heard += now.power;
            }
        }
        // A sine of amplitude 1 has the power 1/4 in its base band and 1/2 in its samples.
        let total = x.iter().map(|x| x * x).sum::<f32>() / x.len().max(1) as f32;
        let off = mean_off_hz(&standing)?;
        (share >= MOST && 2.0 * heard >= AUDIBLE * total).then_some(Standing { hz: hz + off, power: heard, share })
    }
}

/// Whether a frequency is another one within this share of it.
fn is_within(share: f64, hz: f64, other: f64) -> bool {
    (hz / other - 1.0).abs() < share
}

/// Power of the partials of a note of `hz`, as far as they are within `off` of it, that are none of the one `times` as high.
fn between(partials: &[Partial; PARTIALS], hz: f64, times: usize, off: f64) -> f32 {
    let own = |(k, p): (usize, &Partial)| {
        let number = k + 1;
        let agrees = (f64::from(p.off_hz) / (number as f64 * hz)).abs() < off;
        if agrees && !number.is_multiple_of(times) { p.power } else { 0.0 }
    };
    partials.iter().enumerate().map(own).sum()
}
