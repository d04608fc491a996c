//! The system's sound cards, through cpal: the one door to it.

use super::{Arrival, CardWish, DeviceName, Host, Opened, Stream};
use crate::sound::{Format, SoundError};
use crate::units::SampleRate;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, Data, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use std::time::Duration;

/// Frames asked for where the player asks for none: 5 ms at 48 kHz. Systems that cannot give it choose themselves.
const BUFFER: u32 = 256;

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
        let device = find(wish)?;
        let name = wish.device.clone().unwrap_or_else(|| "default".into());
        let offered = device.default_input_config().map_err(|error| refused(&name, &error))?;
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
            |error| refused(&name, &error),
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

/// The default, the device of that id, or the one that a part of the name fits.
fn find(wish: &CardWish) -> Result<cpal::Device, SoundError> {
    let host = cpal::default_host();
    let Some(wished) = &wish.device else {
        return host.default_input_device().ok_or(SoundError::NoDefaultCard);
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
    let mut fitting = devices.into_iter().filter(|(name, _)| name.input && fits(name));
    match (fitting.next(), fitting.next()) {
        (Some((_, device)), None) => Ok(device),
        (None, _) => Err(SoundError::NoSuchDevice { device: wished.clone(), problem: "no input is called that".into() }),
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
            let captured = Duration::from_nanos(info.timestamp().capture.as_nanos() as u64);
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
