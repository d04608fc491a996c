//! Measures the round trip: plays, listens, and compares what was heard with where the clocks expected it.

use super::own_sound::OwnSound;
use super::speaker::{Ahead, Begin, Ear, Speaker, SpeakerError};
use crate::logbook::round_trips::Pair;
use crate::pitch::attack::{AttackFinder, Stage};
use crate::sound::card::{Card, CardWish, Host, Opened, OutputWish};
use crate::sound::out::{Event, Level, Listed, Place, Voice, beat_frame, find, sweep_samples};
use crate::sound::{Arriving, Heard, SoundError, Source, Takes};
use crate::units::{FrameSpan, FrameTime, SampleRate};
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Before the first sound the clocks must be known, and their drift too: they say where each sound is expected 1.5 s before it, s.
const BEFORE_S: f64 = 5.0;
/// After the last one, s.
const AFTER_S: f64 = 0.8;
/// A round trip is longer than this and shorter than that, s: cards tell part of it themselves, some too much.
const SHORTEST_S: f64 = -0.08;
const LONGEST_S: f64 = 0.6;
/// Less than this is not the sweep; noise alone reaches 0.15.
const LIKENESS: f64 = 0.25;
/// Single measurements that agree with their median within this count, s.
const AGREE_S: f64 = 0.001;
/// By hand.
const HANDS_AGREE_S: f64 = 0.04;

/// How it is measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum By {
    /// Sweeps out, found in the input.
    Sweeps,
    /// Clicks out, and the player plays on them.
    Playing,
}

/// What was measured.
#[derive(Clone, Debug)]
pub struct Measured {
    /// The devices as opened.
    pub pair: Pair,
    /// The median round trip, s.
    pub round_trip_s: f64,
    /// Half of the range of those that agree, s.
    pub spread_s: f64,
    /// So many agree.
    pub agree: usize,
    /// Of so many.
    pub of: usize,
    /// The loudest sample that was heard.
    pub loudest: f32,
}

/// Why nothing was measured.
#[derive(Debug, thiserror::Error)]
pub enum CalibrateError {
    /// No input.
    #[error(transparent)]
    Input(#[from] SoundError),
    /// No output.
    #[error(transparent)]
    Output(#[from] SpeakerError),
    /// The input stopped.
    #[error("the input stopped while it was measured; look at the card and try again")]
    Stopped,
    /// Nothing was found.
    #[error(
        "nothing of what was played is heard ({found} of {of} found, {level}): lead a cable from the output to the input, or hold the microphone to the \
         loudspeaker, raise the volume a little, and try again; or play along with --by-playing"
    )]
    NotHeard {
        /// So many were found.
        found: usize,
        /// Of so many.
        of: usize,
        /// How loud the input was.
        level: String,
    },
    /// Found, but never in the same place.
    #[error("what was heard does not agree: {agree} of {of} lie within {within_ms:.0} ms of each other; {advice}")]
    Disagree {
        /// So many agree.
        agree: usize,
        /// Of so many.
        of: usize,
        /// Within this, ms.
        within_ms: f64,
        /// What to do.
        advice: &'static str,
    },
}

/// Which pair of devices this is.
#[must_use]
pub fn pair(input: &Opened, output: &Opened) -> Pair {
    Pair {
        input: input.device.clone(),
        output: output.device.clone(),
        sample_rate_hz: input.format.rate.hz(),
        output_rate_hz: output.format.rate.hz(),
        input_buffer: input.buffer.unwrap_or(0),
        output_buffer: output.buffer.unwrap_or(0),
    }
}

/// Plays so many sounds and measures; `opened` is called when they are about to begin.
///
/// # Errors
/// When a device cannot be opened, or nothing certain was heard.
pub fn measure(
    host: &Arc<dyn Host>,
    (input, output): (CardWish, OutputWish),
    (by, times): (By, u32),
    level: Level,
    opened: impl FnOnce(),
) -> Result<Measured, CalibrateError> {
    let (card, mut takes) = Card::open(Arc::clone(host), input, 2.0)?;
    let wish = OutputWish { rate: Some(card.opened().format.rate), ..output };
    let own = OwnSound::beside(card.time());
    let speaker = Speaker::open(Arc::clone(host), wish, card.time(), Arc::clone(&own), Ahead::Planned, |_| None)?;
    speaker.set_level(level);
    opened();
    let pair = match speaker.opened() {
        Some(opened) => pair(card.opened(), opened),
        None => Pair::default(),
    };
    let out_rate = speaker.rate();
    let (voice, apart_s) = match by {
        By::Sweeps => (Voice::Sweep, 0.9),
        By::Playing => (Voice::Click, 0.75),
    };
    let places: Vec<FrameTime> = (0..u64::from(times)).map(|n| place(n, by, apart_s, out_rate)).collect();
    let events = places.iter().map(|at| Event { at: *at, length: FrameSpan(0), voice, hz: 0.0, gain: 1.0 }).collect();
    let seconds = BEFORE_S + f64::from(times) * apart_s + AFTER_S;
    let beats = Box::new(move |n: u64| places.get(n as usize).copied());
    speaker.begin(Begin { part: Box::new(Listed::new(events)), beats: Some(beats), in_s: BEFORE_S, ear: Ear::Open });
    let heard = listen(&mut takes, &own, seconds)?;
    speaker.finish();
    let expected = own.beats(f64::INFINITY);
    let loudest = heard.channels.iter().flatten().fold(0.0_f32, |loudest, sample| loudest.max(sample.abs()));
    let found: Vec<f64> = match by {
        By::Sweeps => expected.iter().filter_map(|at_s| sweep_after(&heard, *at_s)).collect(),
        By::Playing => attacks_near(&heard, &expected),
    };
    let of = expected.len().max(times as usize);
    judge(found, of, by, loudest).map(|(round_trip_s, spread_s, agree)| Measured { pair, round_trip_s, spread_s, agree, of, loudest })
}

/// What was counted over a long run.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Endured {
    /// Frames that the output took.
    pub played: u64,
    /// Frames that passed by the clock meanwhile.
    pub by_clock: f64,
    /// Frames that the output asked for and landfall did not have.
    pub missing: u64,
    /// Underruns that the system told of.
    pub underruns: u64,
    /// When they were, s after the beginning.
    pub underruns_at_s: Vec<f64>,
    /// The longest time between two callbacks of the output, s.
    pub longest_wait_s: f64,
    /// Frames that were heard.
    pub heard: u64,
    /// Frames that the input lost.
    pub lost: u64,
}

/// Plays a soft click and listens for so many seconds, and counts what did not arrive in time. `tell` is given what happens meanwhile.
///
/// # Errors
/// When a device cannot be opened.
pub fn endure(
    host: &Arc<dyn Host>,
    input: CardWish,
    output: OutputWish,
    seconds: f64,
    tell: &mut dyn FnMut(&str),
) -> Result<Endured, CalibrateError> {
    let (card, mut takes) = Card::open(Arc::clone(host), input, 2.0)?;
    let own = OwnSound::beside(card.time());
    let speaker = Speaker::open(Arc::clone(host), output, card.time(), own, Ahead::Planned, |_| None)?;
    let rate = speaker.rate();
    let clicks = (0..(seconds * 2.0) as u64)
        .map(|n| Event { at: beat_frame(FrameTime(0), n, 0.5, rate), length: FrameSpan(0), voice: Voice::Click, hz: 0.0, gain: 0.3 })
        .collect();
    speaker.begin(Begin { part: Box::new(Listed::new(clicks)), beats: None, in_s: 0.5, ear: Ear::Open });
    let (mut counted, mut source, mut buffer) = (Endured::default(), None::<Box<dyn Source>>, vec![0.0; 8192]);
    // While streams start, they take frames in bursts.
    let opened = Instant::now();
    while opened.elapsed() < Duration::from_secs(1) {
        std::thread::sleep(Duration::from_millis(2));
        hear_on(&mut takes, &mut source, &mut buffer)?;
    }
    let (begun, before) = (Instant::now(), speaker.counts());
    let _ = speaker.take_longest_wait();
    while begun.elapsed().as_secs_f64() < seconds {
        let told = speaker.counts().underruns - before.underruns;
        if told > counted.underruns {
            counted.underruns = told;
            counted.underruns_at_s.push(begun.elapsed().as_secs_f64());
        }
        speaker.notice().into_iter().chain(card.notice().map(|notice| notice.to_string())).for_each(|notice| tell(&notice));
        match hear_on(&mut takes, &mut source, &mut buffer)? {
            Heard::Filled(count) => {
                let channels = source.as_ref().map_or(1, |source| usize::from(source.format().channels.max(1)));
                counted.heard += (count / channels) as u64;
            }
            Heard::Lost(frames) => counted.lost += frames,
            Heard::Waiting | Heard::Ended => std::thread::sleep(Duration::from_millis(2)),
        }
    }
    let after = speaker.counts();
    counted.by_clock = begun.elapsed().as_secs_f64() * rate.as_f64();
    counted.played = after.played - before.played;
    counted.missing = after.missing - before.missing;
    counted.underruns = after.underruns - before.underruns;
    counted.longest_wait_s = speaker.take_longest_wait().as_secs_f64();
    speaker.finish();
    Ok(counted)
}

/// What is heard next; where a take has ended or none has begun, the next one is waited for.
fn hear_on(takes: &mut impl Takes, source: &mut Option<Box<dyn Source>>, buffer: &mut [f32]) -> Result<Heard, CalibrateError> {
    let heard = match source {
        Some(source) => source.next(buffer)?,
        None => Heard::Ended,
    };
    if heard == Heard::Ended {
        *source = if let Arriving::Take(take) = takes.poll() { Some(take) } else { None };
    }
    Ok(heard)
}

/// Sweeps are not evenly apart, so that one is not taken for the next; clicks are, for hands to follow.
fn place(n: u64, by: By, apart_s: f64, rate: SampleRate) -> FrameTime {
    let even = beat_frame(FrameTime(0), n, apart_s, rate);
    if by == By::Sweeps { even + rate.span(0.013 * (n * n % 7) as f64) } else { even }
}

struct HeardAll {
    rate: SampleRate,
    channels: Vec<Vec<f32>>,
}

/// All that is heard over so many seconds.
fn listen(takes: &mut impl Takes, own: &OwnSound, seconds: f64) -> Result<HeardAll, CalibrateError> {
    let begun = Instant::now();
    let longest = Duration::from_secs_f64(seconds + 5.0);
    let mut source: Option<Box<dyn Source>> = None;
    let mut heard: Option<HeardAll> = None;
    let mut buffer = vec![0.0; 8192];
    while begun.elapsed() < longest {
        let Some(from) = &mut source else {
            match takes.poll() {
                Arriving::Take(take) => source = Some(take),
                Arriving::NotYet => std::thread::sleep(Duration::from_millis(2)),
                Arriving::Over => return Err(CalibrateError::Stopped),
            }
            continue;
        };
        let format = from.format();
        let channels = usize::from(format.channels.max(1));
        let got = from.next(&mut buffer)?;
        if got == Heard::Waiting {
            std::thread::sleep(Duration::from_millis(2));
            continue;
        }
        let all = heard.get_or_insert_with(|| {
            own.begin_take(format.rate);
            HeardAll { rate: format.rate, channels: vec![Vec::new(); channels] }
        });
        match got {
            Heard::Filled(count) => {
                for (channel, into) in all.channels.iter_mut().enumerate() {
                    into.extend(buffer[..count].iter().skip(channel).step_by(channels));
                }
            }
            Heard::Lost(frames) => all.channels.iter_mut().for_each(|into| into.extend((0..frames).map(|_| 0.0))),
            Heard::Waiting | Heard::Ended => return Err(CalibrateError::Stopped),
        }
        if all.channels[0].len() as f64 >= seconds * format.rate.as_f64() {
            break;
        }
    }
    heard.ok_or(CalibrateError::Stopped)
}

/// How long after `at_s` the sweep is heard, on the channel where it is heard best.
fn sweep_after(heard: &HeardAll, at_s: f64) -> Option<f64> {
    let sound = sweep_samples(heard.rate);
    let from = heard.rate.span(at_s + SHORTEST_S).0 as usize;
    let to = heard.rate.span(at_s + LONGEST_S).0 as usize + sound.len();
    let places = heard.channels.iter().filter_map(|channel| find(channel.get(from..to.min(channel.len()))?, &sound, heard.rate));
    let best: Place = places.max_by(|a, b| a.likeness.total_cmp(&b.likeness))?;
    (best.likeness >= LIKENESS).then(|| (from as f64 + best.at) / heard.rate.as_f64() - at_s)
}

/// How long after each beat the player struck; beats without a stroke are left out.
fn attacks_near(heard: &HeardAll, beats_s: &[f64]) -> Vec<f64> {
    let mut strokes = Vec::new();
    let loudest = heard.channels.iter().max_by(|a, b| energy(a).total_cmp(&energy(b)));
    let mut finder = AttackFinder::new(heard.rate);
    let mut note = |attack: crate::pitch::attack::Attack| {
        if attack.stage == Stage::Settled && attack.struck {
            strokes.push(attack.at.seconds(heard.rate));
        }
    };
    if let Some(channel) = loudest {
        finder.push(channel, &mut note);
        finder.finish(&mut note);
    }
    beats_s
        .iter()
        .filter_map(|beat| {
            let nearest = strokes.iter().map(|stroke| stroke - beat).min_by(|a, b| a.abs().total_cmp(&b.abs()))?;
            (nearest.abs() < 0.3).then_some(nearest)
        })
        .collect()
}

fn energy(samples: &[f32]) -> f64 {
    samples.iter().map(|sample| f64::from(*sample).powi(2)).sum()
}

/// Median, spread and number of those that agree.
fn judge(mut found: Vec<f64>, of: usize, by: By, loudest: f32) -> Result<(f64, f64, usize), CalibrateError> {
    let enough = (of / 2).max(3);
    if found.len() < enough {
        let level =
            if loudest > 0.0 { format!("the input's peak is {:.0} dBFS", 20.0 * loudest.log10()) } else { "the input is silent".into() };
        return Err(CalibrateError::NotHeard { found: found.len(), of, level });
    }
    let (within, advice) = match by {
        By::Sweeps => (AGREE_S, "make the room quieter or use a cable, close what loads the machine, and try again"),
        By::Playing => (HANDS_AGREE_S, "play one short muted note on each click, and try again"),
    };
    found.sort_by(f64::total_cmp);
    let (heard, middle) = (found.len(), found[found.len() / 2]);
    let agree: Vec<f64> = found.into_iter().filter(|trip| (trip - middle).abs() <= within).collect();
    // Half of them elsewhere, alike, would be as good an answer: a card that stumbled in the middle.
    if agree.len() < enough.max(heard / 2 + 1) {
        return Err(CalibrateError::Disagree { agree: agree.len(), of, within_ms: within * 1e3, advice });
    }
    let (first, last) = (agree[0], agree[agree.len() - 1]);
    let median = f64::midpoint(agree[(agree.len() - 1) / 2], agree[agree.len() / 2]);
    Ok((median, (last - first) / 2.0, agree.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strays_are_left_out_and_too_few_are_refused() {
        let (median, spread, agree) = judge(vec![0.0100, 0.0101, 0.0102, 0.0101, 0.3, 0.2], 8, By::Sweeps, 0.1).unwrap();
        assert!((median - 0.0101).abs() < 5e-5 && spread < 2e-4 && agree == 4);
        let few = judge(vec![0.01, 0.01], 8, By::Sweeps, 0.0).unwrap_err().to_string();
        assert!(few.contains("silent") && few.contains("cable"), "{few}");
        let apart = judge(vec![0.01, 0.05, 0.1, 0.2, 0.3], 8, By::Sweeps, 0.1).unwrap_err().to_string();
        assert!(apart.contains("does not agree"), "{apart}");
        let stumbled = [0.1000, 0.1001, 0.1002, 0.1001, 0.1035, 0.1036, 0.1035, 0.1034].to_vec();
        assert!(judge(stumbled, 8, By::Sweeps, 0.1).is_err(), "half of them are elsewhere, alike");
    }

    #[test]
    fn what_was_played_on_the_clicks_is_found_stroke_by_stroke() {
        let note = |n| format!("[[note]]\nat_s = {}\nstring = 3\nfret = 5\n", 1.023 + 0.75 * f64::from(n));
        let notes: Vec<String> = (0..8).map(note).collect();
        let text = format!("title = \"along\"\nlength_s = 8.0\n{}", notes.concat());
        let take = crate::sound::synth::render(&crate::sound::synth::Scenario::from_toml(&text).unwrap()).unwrap();
        let heard = HeardAll { rate: SampleRate::new(48_000).unwrap(), channels: vec![take.samples] };
        let beats: Vec<f64> = (0..8).map(|n| 1.0 + 0.75 * f64::from(n)).collect();
        let (median, spread, _) = judge(attacks_near(&heard, &beats), 8, By::Playing, 0.1).unwrap();
        assert!((median - 0.023).abs() < 0.004 && spread < 0.005, "{median} {spread}");
    }
}
