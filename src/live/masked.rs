//! The ears beside a band of landfall's own: what the band plays is played again, silently, in the frames of the take, and taken out of what is heard.

use super::own_sound::OwnSound;
use crate::sound::Block;
use crate::sound::mask::Mask;
use crate::sound::out::{Mixer, Part};
use crate::units::{FrameTime, SampleRate};
use std::sync::Arc;

/// Makes what sounds anew: at the level that it sounds with, from its first beat on.
pub type Replays = Arc<dyn Fn(SampleRate) -> (Mixer, Box<dyn Part>) + Send + Sync>;

/// The mixer fades in before anything sounds: so many frames are rendered for nothing.
const FADED_IN: u64 = 4800;

/// One take's mask.
pub struct Masked {
    mask: Mask,
    rate: SampleRate,
    own: Arc<OwnSound>,
    replays: Replays,
    mixer: Option<Mixer>,
    /// The frame of the take that what is played next belongs to.
    next: i64,
    played: Vec<f32>,
    left: Vec<f32>,
}

impl Masked {
    /// For a take at `rate`, beside what `own` says of it.
    #[must_use]
    pub fn new(rate: SampleRate, own: Arc<OwnSound>, replays: Replays) -> Self {
        let next = Mask::ahead() as i64;
        Self { mask: Mask::new(rate), rate, own, replays, mixer: None, next, played: Vec::new(), left: Vec::new() }
    }

    /// The block without the band.
    pub fn clean<'a>(&'a mut self, block: &Block<'a>) -> Block<'a> {
        let lost = block.lost_before.0 as usize;
        self.play(lost + block.samples.len());
        if lost > 0 {
            self.mask.lose(self.played[..lost].iter().copied());
        }
        self.left.clear();
        let Self { mask, played, left, .. } = self;
        left.extend(block.samples.iter().zip(&played[lost..]).map(|(heard, played)| mask.next(*heard, *played)));
        Block { samples: &self.left, ..*block }
    }

    /// What is played over the next `frames` frames of the take.
    fn play(&mut self, frames: usize) {
        self.played.clear();
        self.played.resize(frames, 0.0);
        let first = self.next;
        self.next += frames as i64;
        if self.mixer.is_none() {
            self.begin(first);
        }
        let (Some(mixer), Some(begun)) = (&mut self.mixer, self.own.first_beat()) else { return };
        let silent = (begun - first).clamp(0, frames as i64) as usize;
        mixer.render(&mut self.played[silent..]);
    }

    /// As soon as it is known where the first beat lies, the band is played again from there; where that is past, from now on.
    fn begin(&mut self, now: i64) {
        let Some(begun) = self.own.first_beat() else { return };
        let (mut mixer, part) = (self.replays)(self.rate);
        mixer.add(part, FrameTime(FADED_IN));
        let mut unheard = [0.0; 512];
        let mut left = FADED_IN + (now - begun).max(0) as u64;
        while left > 0 {
            let some = left.min(unheard.len() as u64) as usize;
            mixer.render(&mut unheard[..some]);
            left -= some as u64;
        }
        self.mixer = Some(mixer);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::sidecar::Sidecar;
    use crate::practice::click::{Click, Every};
    use crate::practice::pulse::Pulses;
    use crate::sound::out::Level;
    use crate::theory::chart::{Feel, Metre};
    use crate::units::FrameSpan;

    fn replays() -> Replays {
        Arc::new(|rate| {
            let mut mixer = Mixer::new(rate);
            mixer.set_level(Level::db(-10.0).unwrap());
            let bars = Pulses::Steady { metre: Metre::common(), feel: Feel::default(), tempo: 120.0, bars: Some(8) };
            (mixer, Box::new(Click::new(Vec::new(), bars, Every::Beat, 0.0, rate)) as Box<dyn Part>)
        })
    }

    /// A take in which only the click is heard, as softly as by a microphone, from frame 24000 on.
    fn left_of_a_click(block: usize) -> (Vec<f32>, Vec<f32>) {
        let rate = SampleRate::new(48_000).unwrap();
        let (mut mixer, part) = replays()(rate);
        mixer.add(part, FrameTime(24_000));
        let mut heard = vec![0.0; 240_000];
        mixer.render(&mut heard);
        for sample in &mut heard {
            *sample *= 0.1;
        }
        let own = OwnSound::of(&Sidecar { beats_at: vec![0.5, 1.0], ..Sidecar::default() });
        own.begin_take(rate);
        let mut masked = Masked::new(rate, own, replays());
        let mut left = Vec::new();
        for (n, samples) in heard.chunks(block).enumerate() {
            let at = FrameTime((n * block) as u64);
            let given = Block { start: at, samples, lost_before: FrameSpan(0), faults: &[] };
            left.extend_from_slice(masked.clean(&given).samples);
        }
        (heard, left)
    }

    #[test]
    fn a_click_that_comes_back_is_gone_after_its_first_stroke_however_the_take_is_cut() {
        let (heard, left) = left_of_a_click(441);
        let power = |samples: &[f32]| samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>();
        let removed = 10.0 * (power(&heard[48_000..]) / power(&left[48_000..])).log10();
        assert!(removed > 40.0, "only {removed:.1} dB were taken out");
        assert_eq!(left, left_of_a_click(1024).1);
    }
}
