//! `landfall calibrate`.

use super::directories::{Directories, Environment};
use super::settings::{Given, Settings};
use super::{Failure, print, remark};
use crate::live::calibrate::{By, Measured, endure, measure, pair};
use crate::live::clock::{Clock, SystemClock};
use crate::logbook::round_trips::{RoundTrip, RoundTrips};
use crate::sound::card::{CardWish, Opened, OutputWish, system};
use crate::sound::out::Level;

/// Another delay than before by more than this is worth a word, ms.
const CHANGED_MS: f64 = 1.0;
const CHANGED_BY_HAND_MS: f64 = 15.0;

/// Arguments of `calibrate`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Measure the delay from what landfall plays to what it hears, so that early and late are yours and not the sound card's.\n\n\
                  Lead a cable from the output to the input, or hold a microphone to the loudspeaker (or the headphones). Eight short rising tones are \
                  played, each is looked for in the input, and the median is kept for this pair of devices, their rates and buffers. \
                  With neither: --by-playing gives sixteen clicks to play along with, one short muted note on each; it measures your hands too, \
                  and is right to some 10 ms at best.\n\n\
                  Turn headphones and amplifiers low before it begins: it starts quiet (--level -20), and a cable can whistle when the output is also \
                  heard by the input.",
    after_help = "Examples:\n  landfall calibrate               the devices that the system prefers\n  \
                  landfall calibrate --device USB --out-device USB\n  \
                  landfall calibrate --by-playing  without a cable or a microphone\n  \
                  landfall calibrate --check 60    does the machine keep up?\n\n\
                  Exit status: 0 when the delay was measured and kept, 1 when nothing certain was heard."
)]
pub struct Args {
    /// Play along with clicks instead of a cable or a microphone
    #[arg(long)]
    by_playing: bool,
    /// Measure nothing, but play a soft click and listen for so many seconds, and count what did not arrive in time
    #[arg(long, value_name = "S", conflicts_with_all = ["by_playing", "level"], value_parser = clap::value_parser!(u32).range(1..=86_400))]
    check: Option<u32>,
    /// The sound card to listen to: its name in `landfall devices`, or a part of it
    #[arg(long, value_name = "NAME")]
    device: Option<String>,
    /// The sound card to play to
    #[arg(long, value_name = "NAME")]
    out_device: Option<String>,
    /// Frames that the input should hand over at a time, as you will play with [default: 256, or what it can]
    #[arg(long, value_name = "FRAMES", value_parser = clap::value_parser!(u32).range(16..=65536))]
    buffer: Option<u32>,
    /// How loud, in dB: 0 is the loudest, -60 the softest [default: -20, quiet]
    #[arg(long, value_name = "DB", value_parser = level, allow_negative_numbers = true)]
    level: Option<Level>,
}

/// The delay that was measured for this input and the output that is opened beside it, in seconds; says where it was measured under other conditions only.
///
/// # Errors
/// When the file of measurements is broken.
pub fn round_trip(directories: &Directories, input: &Opened) -> Result<impl FnOnce(&Opened) -> Option<f64>, Failure> {
    let known = RoundTrips::load(&directories.round_trips())?;
    let input = input.clone();
    Ok(move |output: &Opened| {
        let pair = pair(&input, output);
        let measured = known.of(&pair).map(|trip| trip.round_trip_ms / 1e3);
        if let (None, Some(nearly)) = (measured, known.nearly(&pair)) {
            remark(nearly);
        }
        measured
    })
}

fn level(text: &str) -> Result<Level, String> {
    text.trim().parse().ok().and_then(Level::db).ok_or_else(|| "it is in dB, from -60 to 0".into())
}

impl Args {
    /// Measures and keeps.
    ///
    /// # Errors
    /// When nothing certain was heard, or it cannot be kept.
    pub fn run(self) -> Result<(), Failure> {
        let environment = Environment::of_process();
        let directories = Directories::of(&environment)?;
        let settings = Settings::load(&environment, Given { device: self.device.clone(), ..Given::default() }, Given::default())?;
        let path = directories.round_trips();
        let mut known = RoundTrips::load(&path)?;
        if let Some(seconds) = self.check {
            return self.check(&settings, f64::from(seconds));
        }
        let host = system()?;
        let (by, times) = if self.by_playing { (By::Playing, 16) } else { (By::Sweeps, 8) };
        // Said when both sides are open: where there is no card, nothing follows.
        let opened = || {
            remark(if self.by_playing {
                "play one short muted note on each of sixteen clicks; keep headphones and amplifiers low"
            } else {
                "eight short tones follow; keep headphones and amplifiers low"
            });
        };
        let input = CardWish { device: settings.device.value.clone(), buffer: self.buffer };
        let output = OutputWish { device: self.out_device.clone(), ..OutputWish::default() };
        let measured = measure(&host, (input, output), (by, times), self.level.unwrap_or_default(), opened)?;
        let fresh = entry(&measured, by);
        let said = said(&measured);
        let before = known.keep(fresh.clone());
        known.save(&path)?;
        if let Some(before) = before {
            let changed = (before.round_trip_ms - fresh.round_trip_ms).abs();
            if changed > if self.by_playing { CHANGED_BY_HAND_MS } else { CHANGED_MS } {
                remark(format!(
                    "the delay has changed: it was {:.2} ms on {}; times against the beat in takes recorded since the change hold the difference",
                    before.round_trip_ms, before.measured
                ));
            }
        }
        print(&said)
    }
}

impl Args {
    /// Whether machine and cards keep up.
    fn check(&self, settings: &Settings, seconds: f64) -> Result<(), Failure> {
        let input = CardWish { device: settings.device.value.clone(), buffer: self.buffer };
        let output = OutputWish { device: self.out_device.clone(), ..OutputWish::default() };
        let counted = endure(&system()?, input, output, seconds, &mut |notice| remark(notice))?;
        print(&format!(
            "played {} frames, by the clock {:.0}; missing {}, underruns told {}\nheard {} frames, lost {}\nlongest wait between two callbacks {:.0} ms\n",
            counted.played,
            counted.by_clock,
            counted.missing,
            counted.underruns,
            counted.heard,
            counted.lost,
            counted.longest_wait_s * 1e3
        ))?;
        // To look for what else the machine did then.
        let at: Vec<String> = counted.underruns_at_s.iter().map(|at_s| format!("{at_s:.1}")).collect();
        if at.is_empty() { Ok(()) } else { print(&format!("underruns at {} s\n", at.join(", "))) }
    }
}

fn entry(measured: &Measured, by: By) -> RoundTrip {
    let hundredth = |seconds: f64| (seconds * 1e5).round() / 100.0;
    RoundTrip {
        pair: measured.pair.clone(),
        round_trip_ms: hundredth(measured.round_trip_s),
        spread_ms: hundredth(measured.spread_s),
        by: if by == By::Sweeps { "sweeps" } else { "playing" }.into(),
        measured: SystemClock::default().calendar().to_string(),
    }
}

fn said(measured: &Measured) -> String {
    let pair = &measured.pair;
    format!(
        "{} to {}: {:.2} ms, give or take {:.2} ms, beyond what the cards tell of themselves ({} of {} agree)\n\
         at {} Hz, with {} frames in and {} out; kept for this pair\n",
        pair.output,
        pair.input,
        measured.round_trip_s * 1e3,
        measured.spread_s * 1e3,
        measured.agree,
        measured.of,
        pair.sample_rate_hz,
        pair.input_buffer,
        pair.output_buffer
    )
}
