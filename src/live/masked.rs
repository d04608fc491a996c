//! The ears beside a band of landfall's own: what the band plays is played again, silently, in the frames of the take, and taken out of what is heard.

use super::lag::{HALF, Lag, Search, at_place};
use super::own_sound::OwnSound;
use crate::sound::Block;
use crate::sound::mask::Mask;
use crate::sound::out::{Mixer, Part};
use crate::units::{FrameTime, SampleRate};
use std::collections::VecDeque;
use std::sync::Arc;

/// Makes what sounds anew: at the level that it sounds with, from its first beat on.
pub type Replays = Arc<dyn Fn(SampleRate) -> (Mixer, Box<dyn Part>) + Send + Sync>;

/// The mixer fades in before anything sounds: so many frames are rendered for nothing.
const FADED_IN: u64 = 4800;

/// The place of the first beat in the take is known to some ms (more where the card's delay is not known): within this the band is looked for, s.
const MOST_LAG_S: f64 = 0.05;

/// Two clocks drift apart: so much of what is played is kept around the place that is expected, s. It lasts for 20 minutes at 200 parts of a million.
const KEPT_S: f64 = 0.25;

/// A sound that has just begun may still move by some ms in the card: it is looked at from here on, s after the first beat.
const LOOKED_AT_FROM_S: f64 = 2.2;

/// So much says where the band lies, s.
const LOOKED_AT_S: f64 = 1.2;

/// So much of the beginning is kept, s: when it turns out that two clocks drift apart, the mask learns again from all of it.
const BEGINNING_S: f64 = 12.0;

/// One take's mask.
pub struct Masked {
    mask: Mask,
    rate: SampleRate,
    own: Arc<OwnSound>,
    replays: Replays,
    mixer: Option<Mixer>,
    /// The frame that is heard next.
    at: i64,
    kept: i64,
    /// What is played from `kept` frames before `at` to as many after it and a little more.
    played: VecDeque<f32>,
    /// How many frames later than expected the band is heard.
    lag: Lag,
    search: Search,
    /// The same from where it is looked at first, until that is long.
    beginning: Search,
    fresh: Vec<f32>,
    left: Vec<f32>,
}

impl Masked {
    /// For a take at `rate`, beside what `own` says of it.
    #[must_use]
    pub fn new(rate: SampleRate, own: Arc<OwnSound>, replays: Replays) -> Self {
        let kept = rate.span(KEPT_S).0 as i64;
        let window = 2 * kept as usize + Mask::ahead() + HALF + 1;
        Self {
            mask: Mask::new(rate),
            rate,
            own,
            replays,
            mixer: None,
            at: 0,
            kept,
            // At frame 0 nothing has been played yet; what comes is pushed behind.
            played: VecDeque::from(vec![0.0; window]),
            lag: Lag::default(),
            search: Search::default(),
            beginning: Search::default(),
            fresh: Vec::new(),
            left: Vec::new(),
        }
    }

    /// The block without the band.
    pub fn clean<'a>(&'a mut self, block: &Block<'a>) -> Block<'a> {
        let lost = block.lost_before.0 as usize;
        self.play(lost + block.samples.len());
        let begun = self.own.first_beat();
        for index in 0..lost {
            let played = self.step(index);
            self.mask.lose(std::iter::once(played));
            // What has a hole says nothing of the lag.
            (self.search, self.beginning) = (Search::default(), Search::default());
        }
        self.left.clear();
        for (index, heard) in block.samples.iter().enumerate() {
            let played = self.step(lost + index);
            if let Some(begun) = begun {
                self.look(*heard, begun);
            }
            let left = if self.lag.is_known() { self.mask.next(*heard, played) } else { *heard };
            self.left.push(left);
        }
        Block { samples: &self.left, ..*block }
    }

    /// The next frame: gives what is played as far before it as the mask wants.
    fn step(&mut self, index: usize) -> f32 {
        self.played.pop_front();
        self.played.push_back(self.fresh[index]);
        self.at += 1;
        self.at_lag(self.lag.at(self.at - 1))
    }

    /// What is played in step with a sound that is heard so many frames late, as far before it as the mask wants.
    fn at_lag(&self, lag: f64) -> f32 {
        let place = (self.kept as f64 - lag + Mask::ahead() as f64).clamp(HALF as f64, (self.played.len() - HALF - 1) as f64);
        at_place(place, |frame| self.played[frame])
    }

    /// Notes one frame of both sides, and says where the band lies when enough of them were noted.
    fn look(&mut self, heard: f32, begun: i64) {
        let now = self.at - 1;
        let most = self.rate.span(MOST_LAG_S).0 as i64;
        let from = self.rate.span(LOOKED_AT_FROM_S).0 as i64 - most;
        if now < begun + from {
            return;
        }
        if self.search.is_empty() {
            self.search = Search::around(self.lag.at(now).round() as i64);
        }
        if self.beginning.len() < self.rate.span(BEGINNING_S).0 as usize && self.beginning.len() as i64 == now - begun - from {
            self.beginning.note(heard, self.played[self.kept as usize]);
        }
        let place = (self.kept - self.search.middle()).clamp(0, self.played.len() as i64 - 1);
        self.search.note(heard, self.played[place as usize]);
        let long = self.rate.span(LOOKED_AT_S).0 as usize + 2 * most as usize;
        if self.search.len() < long {
            return;
        }
        let search = std::mem::take(&mut self.search);
        let Some(found) = search.lag(most as usize, self.rate) else { return };
        let known = self.lag.is_known();
        // A card that stumbled goes on elsewhere: what was learnt is of no use there.
        if self.lag.take_in(now - long as i64 / 2, found, self.rate) {
            self.mask = Mask::new(self.rate);
            if known && !self.lag.drifts() {
                self.beginning = Search::default();
            }
            // What was looked at teaches already: the band's first notes are gone as the others are. Where clocks drift, all of the beginning does.
            let all = self.lag.drifts() && !self.beginning.is_empty();
            let (taught, first) = if all { (&self.beginning, begun + from) } else { (&search, self.at - search.len() as i64) };
            for (heard, played) in taught.in_step(|index| self.lag.at(first + index), Mask::ahead()) {
                self.mask.next(heard, played);
            }
        }
    }

    /// What is played over the next `frames` frames, as far ahead as the window reaches.
    fn play(&mut self, frames: usize) {
        self.fresh.clear();
        self.fresh.resize(frames, 0.0);
        let first = self.at + self.played.len() as i64 - 1 - self.kept;
        if self.mixer.is_none() {
            self.begin(first);
        }
        let (Some(mixer), Some(begun)) = (&mut self.mixer, self.own.first_beat()) else { return };
        let silent = (begun - first).clamp(0, frames as i64) as usize;
        mixer.render(&mut self.fresh[silent..]);
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

    /// A take in which only the click is heard, as softly as by a microphone, so many frames later than frame 24000, where it is expected.
    fn left_of_a_click(block: usize, late: i64) -> (Vec<f32>, Vec<f32>) {
        let rate = SampleRate::new(48_000).unwrap();
        let (mut mixer, part) = replays()(rate);
        mixer.add(part, FrameTime((24_000 + late) as u64));
        let mut heard = vec![0.0; 288_000];
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
    fn a_click_that_comes_back_is_found_and_gone_however_late_it_is_and_however_the_take_is_cut() {
        for late in [0, -271, 76, 2100] {
            let (heard, left) = left_of_a_click(441, late);
            // Some beats are looked at, the next one teaches.
            let power = |samples: &[f32]| samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>();
            let removed = 10.0 * (power(&heard[240_000..]) / power(&left[240_000..])).log10();
            assert!(removed > 40.0, "{late} frames late, only {removed:.1} dB were taken out");
            assert_eq!(left, left_of_a_click(1024, late).1);
        }
    }

    #[test]
    fn a_click_that_is_not_heard_changes_nothing() {
        for hz in [8000, 16_000, 44_100, 48_000, 96_000] {
            let rate = SampleRate::new(hz).unwrap();
            // A tone of 229 Hz, and noise.
            let tone = |n: u64| 0.1 * (n as f32 * 1440.0 / hz as f32).sin();
            let noise = |n: u64| 0.2 * ((n.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40) as f32 / 16_777_216.0 - 0.5);
            for sound in [&tone as &dyn Fn(u64) -> f32, &noise] {
                let own = OwnSound::of(&Sidecar { beats_at: vec![0.5, 1.0], ..Sidecar::default() });
                own.begin_take(rate);
                let mut masked = Masked::new(rate, own, replays());
                let heard: Vec<f32> = (0..rate.span(5.2).0).map(sound).collect();
                let given = Block { start: FrameTime(0), samples: &heard, lost_before: FrameSpan(0), faults: &[] };
                assert!(masked.clean(&given).samples == heard, "at {hz} Hz");
            }
        }
    }

    /// The ballad's band, as it sounds.
    fn ballad() -> Replays {
        use crate::practice::backing::{Backing, Manner, Together};
        use crate::practice::pulse::{Pulse, count_in};
        use crate::theory::chart::{Chart, Example};
        Arc::new(|rate| {
            let timeline = Chart::parse("ballad", Example::find("ballad").unwrap().text).unwrap().timeline();
            let before = count_in(&Pulse::from(&timeline.bars[0]), 1);
            let zero_s = -before[0].start_s;
            let click = Click::count_in(before, zero_s, rate);
            let band = Backing::new(&timeline, Manner::default(), crate::units::A4::default(), zero_s, rate);
            let mut mixer = Mixer::new(rate);
            mixer.set_level(Level::db(0.0).unwrap());
            (mixer, Box::new(Together::new(vec![Box::new(click), Box::new(band)])) as Box<dyn Part>)
        })
    }

    /// How much of the ballad's band is taken out from 8 s on, in dB, where a guitar is 20 dB louder.
    #[test]
    fn a_band_20_db_under_a_guitar_is_taken_out() {
        use crate::sound::synth::{Scenario, render};
        let rate = SampleRate::new(48_000).unwrap();
        let text = "title = \"x\"\nlength_s = 14.0\n[[note]]\nat_s = 7.0\nstring = 2\nfret = 8\n[[note]]\nat_s = 9.0\nstring = 1\nfret = 8\n[[note]]\nat_s = 11.0\nstring = 3\nfret = 9\n";
        let guitar = render(&Scenario::from_toml(text).unwrap()).unwrap().samples;
        let (mut mixer, part) = ballad()(rate);
        mixer.add(part, FrameTime(24_137));
        let mut band = vec![0.0; guitar.len()];
        mixer.render(&mut band);
        let power = |samples: &[f32]| samples[400_000..].iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>();
        let softer = 0.1 * (power(&guitar) / power(&band)).sqrt() as f32;
        let back: Vec<f32> = band.iter().map(|sample| softer * sample).collect();
        let heard: Vec<f32> = guitar.iter().zip(&back).map(|(guitar, back)| guitar + back).collect();
        let own = OwnSound::of(&Sidecar { beats_at: vec![0.5, 1.0], ..Sidecar::default() });
        own.begin_take(rate);
        let mut masked = Masked::new(rate, own, ballad());
        let given = Block { start: FrameTime(0), samples: &heard, lost_before: FrameSpan(0), faults: &[] };
        let left = masked.clean(&given).samples.to_vec();
        let rest: Vec<f32> = left.iter().zip(&guitar).map(|(left, guitar)| left - guitar).collect();
        let removed = 10.0 * (power(&back) / power(&rest)).log10();
        assert!(removed > 30.0, "only {removed:.1} dB were taken out; found {:?}", masked.lag.at(masked.at));
    }
}
