//! The pitch trace as CSV: one line a reading, in the order in which the tracker gave them.

use super::cell::{Cell, Measure};
use crate::pitch::Reading;
use crate::units::{A4, SampleRate};
use std::io::{self, Write};

/// Writes readings as lines of a trace.
#[derive(Debug)]
pub struct TraceWriter<W: Write> {
    out: W,
    rate: SampleRate,
    a4: A4,
    with_ready: bool,
}

impl<W: Write> TraceWriter<W> {
    /// Writes the header; `with_ready` adds the instant of the last sample that each reading needed.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn new(mut out: W, rate: SampleRate, a4: A4, with_ready: bool) -> io::Result<Self> {
        write!(out, "time_s,f0_hz,midi_cents,clarity,level_dbfs{}\r\n", if with_ready { ",ready_s" } else { "" })?;
        Ok(Self { out, rate, a4, with_ready })
    }

    /// One line. Without a pitch, frequency, cents and clarity are empty; in digital silence the level is too.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&mut self, reading: &Reading) -> io::Result<()> {
        let hz = reading.hz();
        // Times to the microsecond, finer than a sample: the grid of the hop stays even. 0.0001 Hz is 0.003 cent at 60 Hz.
        let seconds = Measure::<6>::write(&Some(reading.at.seconds(self.rate)));
        let clarity = match reading.sounding {
            crate::pitch::Sounding::Pitched { clarity, .. } => Some(f64::from(clarity)),
            _ => None,
        };
        write!(
            self.out,
            "{seconds},{},{},{},{}",
            Measure::<4>::write(&hz),
            Measure::<3>::write(&hz.map(|hz| self.a4.cents(hz))),
            Measure::<4>::write(&clarity),
            Measure::<2>::write(&reading.level_dbfs.map(f64::from)),
        )?;
        if self.with_ready {
            write!(self.out, ",{}", Measure::<6>::write(&Some(reading.ready.seconds(self.rate))))?;
        }
        self.out.write_all(b"\r\n")
    }

    /// Hands everything on to where it is written.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn finish(mut self) -> io::Result<()> {
        self.out.flush()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pitch::Sounding;
    use crate::units::FrameTime;

    #[test]
    fn a_reading_without_pitch_has_empty_cells() {
        let mut out = Vec::new();
        let mut writer = TraceWriter::new(&mut out, SampleRate::new(48_000).unwrap(), A4::default(), true).unwrap();
        let at = |frame| FrameTime(frame);
        writer.write(&Reading { at: at(128), ready: at(600), level_dbfs: None, sounding: Sounding::Silent }).unwrap();
        let note = Sounding::Pitched { hz: 440.0, clarity: 0.98 };
        writer.write(&Reading { at: at(256), ready: at(728), level_dbfs: Some(-12.5), sounding: note }).unwrap();
        writer.finish().unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(
            text,
            "time_s,f0_hz,midi_cents,clarity,level_dbfs,ready_s\r\n\
             0.002667,,,,,0.012500\r\n\
             0.005333,440.0000,6900.000,0.9800,-12.50,0.015167\r\n"
        );
    }
}
