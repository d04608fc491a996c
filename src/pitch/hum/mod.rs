//! Mains hum: learnt while nothing is played, taken out while something is.
//!
//! Hum is a set of lines at multiples of the mains frequency (50 or 60 Hz, within 0.3 %) whose amplitude and phase stand still. It is looked
//! for in windows of a fifth of a second: each line's frequency from the turn of its phase between two windows, their common
//! fundamental as the mean weighted by power times k² (the least-squares fit). A tone is taken for hum only when it is quiet, explains most of what
//! sounds, has lines among the three lowest, and neither grows nor decays between the two windows, as a string always does. The learnt
//! waveform is subtracted, which leaves a note that crosses a line as it was: a notch would turn its phase.
//!
//! What is left of it is not silence: the mains frequency has wandered while a note sounded, and before it was learnt it was all there. So a
//! [reading](Hum::is_heard) at one of its lines that is no louder than the hum itself is the hum's.

mod fit;
mod wave;

use fit::{Fit, LINES, Lines};
use wave::Wave;

/// Nothing louder than this is learnt as hum (dBFS of the whole window).
const LOUDEST_DBFS: f64 = -28.0;
/// A reading is at a line within this share of its frequency; that of a low line, over few of its periods, within more.
const AT_LINE: f64 = 0.005;
/// See [`AT_LINE`]; a low B (61.7 Hz) is further than this from 60 Hz.
const AT_FIRST_LINE: f64 = 0.02;
/// Over one and a fifth of its periods, hum is up to so much louder than over many, dB.
const RIPPLE_DB: f64 = 3.0;
/// Louder than before: so many times the power.
const LOUDER: f64 = 2.0;
/// With the same lines: the likeness of their powers.
const LIKE: f64 = 0.95;
/// Else no more than this of it may move from one window to the next: a string that loses 4 dB a second moves by twice as much.
const OTHER_MOVED: f64 = 0.0007;
/// And so much of it must be in the three lowest lines.
const OTHER_LOW: f64 = 0.4;
/// In a sound of so much less power than its own it is not there any more: its cause was switched off, or the volume turned down.
const GONE: f64 = 0.1;
/// Of so much less than the hum, dB, is what it may leave when it is taken out...
const LEFT_DB: f64 = 15.0;
/// ... and such a sound is a note only when it is at least so clear.
const LEFT_CLARITY: f32 = 0.7;

/// Hum that is learnt, taken out and told from notes; see the module.
#[derive(Debug)]
pub struct Hum {
    fit: Fit,
    wave: Wave,
    known: Option<Lines>,
}

impl Hum {
    /// At a full rate, learning from a slow signal.
    #[must_use]
    pub fn new(rate: f64, slow_rate: f64) -> Self {
        Self { fit: Fit::new(slow_rate), wave: Wave::new(rate), known: None }
    }

    /// Slow samples that one look takes.
    #[must_use]
    pub fn needs(&self) -> usize {
        self.fit.needs()
    }

    /// Looks at the last [`Self::needs`] slow samples of the untouched signal, which ended `ago` seconds before the next full-rate sample.
    pub fn look(&mut self, x: &[f32], ago: f64) {
        let power = x.iter().map(|x| f64::from(x * x)).sum::<f64>() / x.len().max(1) as f64;
        if self.known.is_some_and(|known| power < GONE * known.power(1)) {
            self.wave.learn(&Lines::silent(), ago);
            self.known = None;
        }
        if power <= 1e-10 || 10.0 * power.log10() > LOUDEST_DBFS {
            return;
        }
        let fits = [50.0, 60.0].into_iter().filter_map(|mains| self.fit.lines(x, mains, power));
        if let Some(found) = fits.max_by(|a, b| a.power(1).total_cmp(&b.power(1))).filter(|found| self.is_hum_still(found)) {
            self.wave.learn(&found, ago);
            self.known = Some(found);
        }
    }

    /// What is louder than the hum that is known, or has other lines, could be that with a note at one of its lines: it must stand as still as no
    /// string does, and most of it must be where no guitar plays.
    fn is_hum_still(&self, found: &Lines) -> bool {
        let as_known = self.known.is_none_or(|known| found.power(1) < LOUDER * known.power(1) && found.likeness(&known) > LIKE);
        as_known || (found.moved < OTHER_MOVED && found.low > OTHER_LOW)
    }

    /// The sample without the hum.
    pub fn take_out(&mut self, sample: f32) -> f32 {
        self.wave.take_out(sample)
    }

    /// Whether a reading of `hz` in a sound of so much level and clarity is the known hum's: it is at one of its lines and no louder than the lines
    /// that it would be made of, or it is unclear and no louder than what is left where the hum was taken out. A note at a line is read while it
    /// stands above the hum.
    #[must_use]
    pub fn is_heard(&self, hz: f64, level_dbfs: f32, clarity: f32) -> bool {
        let Some(known) = &self.known else { return false };
        let level = f64::from(level_dbfs);
        let line = (hz / known.hz).round();
        let within = if line > 1.0 { AT_LINE } else { AT_FIRST_LINE };
        let at_line = (1.0..=LINES as f64).contains(&line) && (hz / (line * known.hz) - 1.0).abs() < within;
        if at_line && level <= dbfs(known.power(line as usize)) + RIPPLE_DB {
            return true;
        }
        clarity < LEFT_CLARITY && level <= dbfs(known.power(1)) - LEFT_DB
    }
}

fn dbfs(power: f64) -> f64 {
    10.0 * power.log10()
}
