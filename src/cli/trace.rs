//! `landfall trace TAKE`.

use super::settings::{Given, a4, channel};
use super::take::Take;
use super::{Failure, stdout_failure};
use crate::logbook::trace::TraceWriter;
use crate::pitch::causal::Causal;
use crate::pitch::settled::Settled;
use crate::pitch::{Reading, Tracker};
use crate::sound::Next;
use crate::units::A4;
use std::io::{self, BufWriter};
use std::path::PathBuf;

/// Arguments of `trace`.
#[derive(Debug, clap::Args)]
#[command(
    long_about = "Print the pitch of a recorded take as CSV, one line for every reading: the instant in seconds, frequency, cents on the MIDI \
                  scale, clarity (0 to 1) and level. Frequency and cents are empty where no pitch sounds.",
    after_help = "Examples:\n  landfall trace solo.wav > solo.csv\n  landfall trace --live solo.wav  what the live view would have shown"
)]
pub struct Args {
    /// A WAV, FLAC, Ogg Vorbis or MP3 file
    take: PathBuf,
    /// Exactly what was known while playing, with the instant at which each reading was ready
    #[arg(long)]
    live: bool,
    /// The channel to listen to, from 1 [default: the louder one]
    #[arg(long, value_name = "N", value_parser = channel)]
    channel: Option<u16>,
    /// The tuning reference in Hz [default: as recorded, else 440]
    #[arg(long, value_name = "HZ", value_parser = a4)]
    a4: Option<A4>,
}

impl Args {
    /// Prints the trace.
    ///
    /// # Errors
    /// When the take cannot be used or standard output cannot be written. What was heard before a break is printed.
    pub fn run(self) -> Result<(), Failure> {
        let mut take = Take::open(&self.take, Given { channel: self.channel, a4: self.a4, ..Given::default() })?;
        let rate = take.sound.rate();
        let out = BufWriter::with_capacity(1 << 16, io::stdout().lock());
        let mut lines = TraceWriter::new(out, rate, take.settings.a4.value, self.live).map_err(stdout_failure)?;
        let mut tracker: Box<dyn Tracker> = if self.live { Box::new(Causal::new(rate)) } else { Box::new(Settled::new(rate)) };
        let mut written = Ok(());
        let mut emit = |reading: Reading| {
            if written.is_ok() {
                written = lines.write(&reading);
            }
        };
        let broke_off = loop {
            match take.sound.hear() {
                Ok(Next::Block(block)) => {
                    if block.lost_before.0 > 0 {
                        tracker.lose(block.lost_before.0, &mut emit);
                    }
                    tracker.push(block.samples, &mut emit);
                }
                Ok(Next::Waiting) => {}
                Ok(Next::Ended) => break None,
                Err(error) => break Some(error),
            }
        };
        tracker.finish(&mut emit);
        written.and_then(|()| lines.finish()).map_err(stdout_failure)?;
        take.say_channel();
        broke_off.map_or(Ok(()), |error| Err(error.into()))
    }
}
