//! The system's sound cards, through cpal: the one door to it.

use super::{Arrival, CardWish, Departure, DeviceName, Host, Opened, OutputWish, Stream};
use crate::sound::{Format, SoundError};
use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, Data, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use std::time::Duration;

/// Frames asked for where the player asks for none: 5 ms at 48 kHz. Systems that cannot give it choose themselves.
const BUFFER: u32 = 256;

/// The same for playing, where a moment more costs nothing and less would stutter on a busy machine: 512 is what comes of it through
/// a sound server that wants three periods (measured).
const OUTPUT_BUFFER: u32 = 768;

/// cpal's default host.
pub(super) struct System;

struct Running {
    /// Kept for its drop.
    _stream: cpal::Stream,
    opened: Opened,
}

impl Stream for Running {
    fn opened(&self) -> Opened {
        self.opened.clone()
    }
}

impl Host for System {
    fn names(&self) -> Result<Vec<DeviceName>, SoundError> {
        let _quiet = quiet();
        let devices = cpal::default_host().devices().map_err(|error| refused("the system's sound", &error))?;
        Ok(devices.filter_map(|device| named(&device)).collect())
    }

    fn open(&self, wish: &CardWish, begin: &mut dyn FnMut(Format) -> Arrival) -> Result<Box<dyn Stream>, SoundError> {
        let _quiet = quiet();
        let device = find(wish.device.as_ref(), Way::In)?;
        let name = wish.device.clone().unwrap_or_else(|| "default".into());
        let offered = device.default_input_config().map_err(|error| unheard(wish, &error))?;
        let Some(rate) = SampleRate::new(offered.sample_rate()) else {
            return Err(SoundError::CardUnusable { device: name, reason: "it names no sample rate".into() });
        };
        let format = Format { rate, channels: offered.channels().max(1) };
        let sizes = match wish.buffer {
            Some(frames) => vec![BufferSize::Fixed(frames)],
            None => vec![BufferSize::Fixed(BUFFER), BufferSize::Default],
        };
        let mut refusal = None;
        for buffer_size in sizes {
            let config = StreamConfig { channels: format.channels, sample_rate: rate.hz(), buffer_size };
            match start(&device, config, offered.sample_format(), begin(format)) {
                Ok(stream) => {
                    let opened = Opened { device: label(&device), format, buffer: stream.buffer_size().ok() };
                    return Ok(Box::new(Running { _stream: stream, opened }));
                }
                Err(error) => refusal = Some(error),
            }
        }
        Err(refusal.map_or_else(
            || SoundError::CardUnusable { device: name.clone(), reason: "no buffer size was tried".into() },
            |error| unheard(wish, &error),
        ))
    }

    fn open_output(&self, wish: &OutputWish, begin: &mut dyn FnMut(Format) -> Departure) -> Result<Box<dyn Stream>, SoundError> {
        let _quiet = quiet();
        let device = find(wish.device.as_ref(), Way::Out)?;
        let offered = device.default_output_config().map_err(|error| unplayed(wish, &error))?;
        let sizes = match wish.buffer {
            Some(frames) => vec![BufferSize::Fixed(frames)],
            None => vec![BufferSize::Fixed(OUTPUT_BUFFER), BufferSize::Default],
        };
        let rates = wish.rate.into_iter().chain(SampleRate::new(offered.sample_rate()).filter(|rate| wish.rate != Some(*rate)));
        let mut refusal = None;
        for rate in rates {
            let format = Format { rate, channels: offered.channels().max(1) };
            for buffer_size in &sizes {
                let config = StreamConfig { channels: format.channels, sample_rate: rate.hz(), buffer_size: *buffer_size };
                match start_output(&device, config, offered.sample_format(), begin(format)) {
                    Ok(stream) => {
                        let opened = Opened { device: label(&device), format, buffer: stream.buffer_size().ok() };
                        return Ok(Box::new(Running { _stream: stream, opened }));
                    }
                    Err(error) => refusal = Some(error),
                }
            }
        }
        Err(refusal.map_or_else(
            || SoundError::Output { device: wish.name(), problem: "names no sample rate".into() },
            |error| unplayed(wish, &error),
        ))
    }
}

/// ALSA writes to standard error; this thread's lines are kept off the player's screen.
#[cfg(target_os = "linux")]
fn quiet() -> impl Sized {
    alsa::Output::local_error_handler().ok()
}

#[cfg(not(target_os = "linux"))]
fn quiet() {}

fn named(device: &cpal::Device) -> Option<DeviceName> {
    let id = device.id().ok()?.id().to_owned();
    let description = device.description().ok()?;
    let mut lines: Vec<&str> = Vec::new();
    for line in std::iter::once(description.name()).chain(description.extended()).flat_map(str::lines) {
        if line != id && !lines.contains(&line) {
            lines.push(line);
        }
    }
    Some(DeviceName { about: lines.join(", "), input: description.supports_input(), output: description.supports_output(), id })
}

fn label(device: &cpal::Device) -> String {
    named(device).map_or_else(|| "default".into(), |name| name.id)
}

/// To listen, or to play.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    In,
    Out,
}

impl Way {
    fn fits(self, name: &DeviceName) -> bool {
        if self == Self::In { name.input } else { name.output }
    }

    fn word(self) -> &'static str {
        if self == Self::In { "input" } else { "output" }
    }
}

/// The default, the device of that id, or the one that a part of the name fits.
fn find(wished: Option<&String>, way: Way) -> Result<cpal::Device, SoundError> {
    let host = cpal::default_host();
    let Some(wished) = wished else {
        return match way {
            Way::In => host.default_input_device().ok_or(SoundError::NoDefaultCard),
            Way::Out => host.default_output_device().ok_or(SoundError::NoCardFound),
        };
    };
    let devices: Vec<_> =
        host.devices().map_err(|error| refused(wished, &error))?.filter_map(|device| named(&device).map(|name| (name, device))).collect();
    let fits = |name: &DeviceName| {
        let wished = wished.to_lowercase();
        name.id.to_lowercase().contains(&wished) || name.about.to_lowercase().contains(&wished)
    };
    let exact = |name: &DeviceName| name.id == *wished || wished.split_once(':').is_some_and(|(_, id)| name.id == id);
    if let Some((_, device)) = devices.iter().find(|(name, _)| exact(name)) {
        return Ok(device.clone());
    }
    let mut fitting = devices.into_iter().filter(|(name, _)| way.fits(name) && fits(name));
    match (fitting.next(), fitting.next()) {
        (Some((_, device)), None) => Ok(device),
        (None, _) => Err(SoundError::NoSuchDevice { device: wished.clone(), problem: format!("no {} is called that", way.word()) }),
        (Some((first, _)), Some((second, _))) => Err(SoundError::NoSuchDevice {
            device: wished.clone(),
            problem: format!("it fits {} and {}, among others", first.id, second.id),
        }),
    }
}

fn start(device: &cpal::Device, config: StreamConfig, format: SampleFormat, arrival: Arrival) -> Result<cpal::Stream, cpal::Error> {
    let stream = match format {
        SampleFormat::I8 => build::<i8>(device, config, arrival),
        SampleFormat::I16 => build::<i16>(device, config, arrival),
        SampleFormat::I24 => build::<cpal::I24>(device, config, arrival),
        SampleFormat::I32 => build::<i32>(device, config, arrival),
        SampleFormat::I64 => build::<i64>(device, config, arrival),
        SampleFormat::U8 => build::<u8>(device, config, arrival),
        SampleFormat::U16 => build::<u16>(device, config, arrival),
        SampleFormat::U24 => build::<cpal::U24>(device, config, arrival),
        SampleFormat::U32 => build::<u32>(device, config, arrival),
        SampleFormat::U64 => build::<u64>(device, config, arrival),
        SampleFormat::F64 => build::<f64>(device, config, arrival),
        _ => build::<f32>(device, config, arrival),
    }?;
    stream.play()?;
    Ok(stream)
}

fn build<T>(device: &cpal::Device, config: StreamConfig, mut arrival: Arrival) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let pulse = arrival.pulse();
    device.build_input_stream_raw(
        config,
        T::FORMAT,
        move |data: &Data, info: &cpal::InputCallbackInfo| {
            // Another format than the one asked for would be a fault of the library; silence from it is noticed by the watcher.
            let samples = data.as_slice::<T>().unwrap_or_default();
            let stamp = info.timestamp();
            let captured = Duration::from_nanos(stamp.capture.as_nanos() as u64);
            arrival.stamp(stamp.callback.checked_duration_since(stamp.capture).unwrap_or_default());
            arrival.take(captured, samples.iter().map(|sample| sample.to_sample::<f32>()));
        },
        move |error: cpal::Error| match error.kind() {
            ErrorKind::Xrun => pulse.count_overrun(),
            ErrorKind::RealtimeDenied | ErrorKind::DeviceChanged => {}
            _ => pulse.count_error(),
        },
        None,
    )
}

fn start_output(
    device: &cpal::Device,
    config: StreamConfig,
    format: SampleFormat,
    departure: Departure,
) -> Result<cpal::Stream, cpal::Error> {
    let stream = match format {
        SampleFormat::I8 => build_output::<i8>(device, config, departure),
        SampleFormat::I16 => build_output::<i16>(device, config, departure),
        SampleFormat::I24 => build_output::<cpal::I24>(device, config, departure),
        SampleFormat::I32 => build_output::<i32>(device, config, departure),
        SampleFormat::I64 => build_output::<i64>(device, config, departure),
        SampleFormat::U8 => build_output::<u8>(device, config, departure),
        SampleFormat::U16 => build_output::<u16>(device, config, departure),
        SampleFormat::U24 => build_output::<cpal::U24>(device, config, departure),
        SampleFormat::U32 => build_output::<u32>(device, config, departure),
        SampleFormat::U64 => build_output::<u64>(device, config, departure),
        SampleFormat::F64 => build_output::<f64>(device, config, departure),
        _ => build_output::<f32>(device, config, departure),
    }?;
    stream.play()?;
    Ok(stream)
}

fn build_output<T>(device: &cpal::Device, config: StreamConfig, mut departure: Departure) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample + FromSample<f32>,
{
    let pulse = departure.pulse();
    device.build_output_stream_raw(
        config,
        T::FORMAT,
        move |data: &mut Data, info: &cpal::OutputCallbackInfo| {
            let stamp = info.timestamp();
            let ahead = stamp.playback.checked_duration_since(stamp.callback).unwrap_or_default();
            departure.give(ahead, data.as_slice_mut::<T>().unwrap_or_default(), T::from_sample);
        },
        move |error: cpal::Error| match error.kind() {
            ErrorKind::Xrun => pulse.count_underrun(),
            ErrorKind::RealtimeDenied | ErrorKind::DeviceChanged => {}
            _ => pulse.count_error(),
        },
        None,
    )
}

/// Where none is named and the system's own choice is not there, there is no card at all.
fn is_no_card(device: Option<&String>, error: &cpal::Error) -> bool {
    device.is_none() && matches!(error.kind(), ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable)
}

/// Why an input cannot be had.
fn unheard(wish: &CardWish, error: &cpal::Error) -> SoundError {
    if is_no_card(wish.device.as_ref(), error) {
        return SoundError::NoCardFound;
    }
    refused(wish.device.as_deref().unwrap_or("default"), error)
}

/// The same for an output.
fn unplayed(wish: &OutputWish, error: &cpal::Error) -> SoundError {
    if is_no_card(wish.device.as_ref(), error) {
        return SoundError::NoCardFound;
    }
    SoundError::Output { device: wish.name(), problem: problem(error) }
}

/// What cpal says of an output, as the end of a sentence.
fn problem(error: &cpal::Error) -> String {
    match error.kind() {
        ErrorKind::DeviceBusy => "is in use by another program".into(),
        ErrorKind::PermissionDenied => "may not be used by this user".into(),
        ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => format!("is not there ({error})"),
        _ => format!("cannot be used ({error})"),
    }
}

/// What cpal says, as a sentence for the player.
fn refused(device: &str, error: &cpal::Error) -> SoundError {
    let device = device.to_owned();
    match error.kind() {
        ErrorKind::DeviceBusy => SoundError::CardBusy { device },
        ErrorKind::PermissionDenied => SoundError::CardDenied { device },
        ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => SoundError::CardAbsent { device, reason: error.to_string() },
        _ => SoundError::CardUnusable { device, reason: error.to_string() },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_there_is_no_card_at_all_a_player_is_told_what_to_do_without_one() {
        let absent = cpal::Error::new(ErrorKind::DeviceNotAvailable);
        for error in [unheard(&CardWish::default(), &absent), unplayed(&OutputWish::default(), &absent)] {
            let said = error.to_string();
            for part in ["no sound card was found", "plug one in", "--input", "landfall demo"] {
                assert!(said.contains(part), "{part} is not in: {said}");
            }
        }
        let named = CardWish { device: Some("USB".into()), buffer: None };
        assert!(unheard(&named, &absent).to_string().starts_with("the input USB is not there"));
        let busy = cpal::Error::new(ErrorKind::DeviceBusy);
        assert!(unheard(&CardWish::default(), &busy).to_string().contains("in use by another program"));
    }
}
