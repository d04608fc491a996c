//! Both sides of the sound card for a tune: what is heard, what plays, and the recording as it sounds through them.

use super::super::Failure;
use super::super::calibrate::round_trip;
use super::super::directories::Directories;
use super::super::over_changes::Over;
use super::super::track::{Laid, Read};
use crate::live::letting_go::while_let_go;
use crate::live::own_sound::OwnSound;
use crate::live::session::RING_S;
use crate::live::speaker::{Ahead, Speaker};
use crate::sound::card::{Card, CardTakes, CardWish, Host, OutputWish};
use std::sync::Arc;

/// A card that offers another rate each time it is opened is none to play over a recording with.
const OPENINGS: usize = 3;

/// What is open.
pub(super) struct Sides {
    /// What is heard.
    pub card: Card,
    /// Its takes.
    pub takes: CardTakes,
    /// What landfall sounds, for the ears.
    pub own: Arc<OwnSound>,
    /// What plays.
    pub speaker: Speaker,
    /// The recording at the speaker's rate.
    pub laid: Option<Laid>,
}

impl Sides {
    /// Opens both. A take counts from the opening, so a recording that takes its time to be made is made before: at the rate of a first opening, which is
    /// let go.
    ///
    /// # Errors
    /// When a side cannot be opened, or the recording cannot be made.
    pub fn open(
        host: &Arc<dyn Host>,
        input: &CardWish,
        output: Option<&String>,
        directories: &Directories,
        recording: Option<(&Read, &Over)>,
    ) -> Result<Self, Failure> {
        let mut laid: Option<Laid> = None;
        for _ in 0..OPENINGS {
            let (card, takes) = Card::open(Arc::clone(host), input.clone(), RING_S)?;
            let own = OwnSound::beside(card.time());
            let wish = OutputWish { device: output.cloned(), buffer: input.buffer, rate: Some(card.opened().format.rate) };
            let delay = round_trip(directories, card.opened())?;
            let speaker = Speaker::open(Arc::clone(host), wish, card.time(), Arc::clone(&own), Ahead::Planned, delay)?;
            let rate = speaker.rate();
            if let Some((read, over)) = recording.filter(|_| laid.as_ref().is_none_or(|laid| laid.rate() != rate)) {
                let at_once = read.is_made_at_once(over, rate);
                if !at_once {
                    drop((card, takes, own));
                    speaker.finish();
                    laid = Some(while_let_go(|| read.laid(over, rate))?);
                    continue;
                }
                laid = Some(read.laid(over, rate)?);
            }
            return Ok(Self { card, takes, own, speaker, laid });
        }
        Err("the sound card plays at another rate each time it is opened; name another with --output (`landfall devices` lists them)"
            .into())
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::directories::Environment;
    use super::*;
    use crate::logbook::sidecar::AskedTune;
    use crate::sound::card::{Arrival, Departure, DeviceName, Opened, Stream};
    use crate::sound::{Format, SoundError};
    use crate::theory::chart::Example;
    use crate::units::SampleRate;
    use clap::Parser;
    use std::sync::Mutex;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::time::{Duration, Instant};

    /// A card at 48 kHz that keeps time, and remembers when each input was opened and that it was closed.
    #[derive(Default)]
    struct Timely {
        inputs: Mutex<Vec<(Instant, Arc<AtomicBool>)>>,
    }

    struct Running(Arc<AtomicBool>);

    fn format() -> Format {
        Format { rate: SampleRate::new(48_000).unwrap(), channels: 1 }
    }

    impl Stream for Running {
        fn opened(&self) -> Opened {
            Opened { device: "timely".into(), format: format(), buffer: Some(480) }
        }
    }

    impl Drop for Running {
        fn drop(&mut self) {
            self.0.store(true, Ordering::SeqCst);
        }
    }

    fn every_10_ms(closed: &Arc<AtomicBool>, mut call: impl FnMut(Duration) + Send + 'static) {
        let closed = Arc::clone(closed);
        std::thread::spawn(move || {
            let begun = Instant::now();
            for n in 1.. {
                if closed.load(Ordering::SeqCst) {
                    return;
                }
                let due = Duration::from_millis(10 * n);
                std::thread::sleep(due.saturating_sub(begun.elapsed()));
                call(due);
            }
        });
    }

    impl Host for Timely {
        fn names(&self) -> Result<Vec<DeviceName>, SoundError> {
            Ok(Vec::new())
        }

        fn open(&self, _: &CardWish, begin: &mut dyn FnMut(Format) -> Arrival) -> Result<Box<dyn Stream>, SoundError> {
            let closed = Arc::new(AtomicBool::new(false));
            self.inputs.lock().unwrap().push((Instant::now(), Arc::clone(&closed)));
            let mut arrival = begin(format());
            every_10_ms(&closed, move |due| arrival.take(due, (0..480).map(|_| 0.0)));
            Ok(Box::new(Running(closed)))
        }

        fn open_output(&self, _: &OutputWish, begin: &mut dyn FnMut(Format) -> Departure) -> Result<Box<dyn Stream>, SoundError> {
            let closed = Arc::new(AtomicBool::new(false));
            let mut departure = begin(format());
            every_10_ms(&closed, move |_| departure.give(Duration::ZERO, &mut [0.0_f32; 480], |sample| sample));
            Ok(Box::new(Running(closed)))
        }
    }

    /// The command line of `play`, as far as a recording goes.
    #[derive(Parser)]
    struct Words {
        #[command(flatten)]
        play: super::super::Args,
    }

    /// Openings of a tune over a recording of 40 s, the time between the first and the last one, and from the last one until all was ready.
    fn opened_at(tempo: f64) -> (Vec<bool>, [Duration; 2]) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("ours.wav");
        let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
        let mut writer = hound::WavWriter::create(&path, spec).unwrap();
        (0..40 * 48_000_u32).for_each(|n| writer.write_sample((n % 997) as f32 / 2000.0).unwrap());
        writer.finalize().unwrap();
        let chart = Example::find("ballad").unwrap().text.to_owned();
        let asked = AskedTune { name: "ballad".into(), chart, tempo_from: Some(tempo), bars: Some((1, 8)), ..AskedTune::default() };
        let over = Over::of(&asked).unwrap();
        let words = Words::parse_from(["play", "ballad", "--track", path.to_str().unwrap()]);
        let read = words.play.recording.read(&over).unwrap().unwrap();
        let timely = Arc::new(Timely::default());
        let host: Arc<dyn Host> = Arc::<Timely>::clone(&timely);
        let place = folder.path().to_str().unwrap().to_owned();
        let environment: Environment =
            [("LANDFALL_CONFIG_DIR".to_owned(), place.clone()), ("LANDFALL_DATA_DIR".to_owned(), place)].into_iter().collect();
        let directories = Directories::of(&environment).unwrap();
        let sides = Sides::open(&host, &CardWish::default(), None, &directories, Some((&read, &over))).unwrap();
        let inputs = timely.inputs.lock().unwrap();
        let (first, last) = (inputs[0].0, inputs[inputs.len() - 1].0);
        let times = [last - first, last.elapsed()];
        assert_eq!(sides.laid.as_ref().map(Laid::rate), SampleRate::new(48_000));
        (inputs.iter().map(|(_, closed)| closed.load(Ordering::SeqCst)).collect(), times)
    }

    #[test]
    fn a_recording_that_has_to_be_slowed_down_is_ready_before_the_take_begins() {
        // At half the tempo 80 s are made, in seconds; what is opened then has just begun.
        let (closed, [making, since]) = opened_at(28.0);
        assert_eq!(closed, [true, false]);
        assert!(since < making, "made in {making:?}, and {since:?} of the take were gone");
        // At its own tempo nothing has to be made.
        assert_eq!(opened_at(56.0).0, [false]);
    }
}
