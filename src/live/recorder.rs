//! One take on the disk: the analysed samples as 32-bit float WAV, and the sidecar beside it.
//!
//! The header is mended and the sidecar brought up to date twice a second, so a program that is killed loses less than a second, and what
//! is there opens. Lost sound is silence of its length, named in the sidecar. No file is ever written over.

use super::own_sound::OwnNews;
use crate::grading::Told;
use crate::logbook::sidecar::{Gap, Sidecar, Telling};
use crate::sound::{Fault, FaultKind, Heard, RingSource, Source};
use crate::units::SampleRate;
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How often the header is mended.
const MEND_EVERY: Duration = Duration::from_millis(500);

/// Makes `name.wav` in `folder`, or `name-2.wav` and so on where that is taken; the folder too where it is missing.
///
/// # Errors
/// What the system says.
pub fn reserve(folder: &Path, name: &str) -> io::Result<(PathBuf, File)> {
    std::fs::create_dir_all(folder)?;
    let mut number = 1;
    loop {
        let file = if number == 1 { format!("{name}.wav") } else { format!("{name}-{number}.wav") };
        let path = folder.join(file);
        // A sidecar without its take is somebody's too.
        let free = !Sidecar::beside(&path).exists();
        match OpenOptions::new().write(true).read(true).create_new(true).open(&path) {
            Ok(file) if free => return Ok((path, file)),
            Ok(_) => std::fs::remove_file(&path)?,
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
        number += 1;
    }
}

/// A take being written.
pub struct Recorder {
    path: PathBuf,
    writer: WavWriter<BufWriter<File>>,
    sound: RingSource,
    sidecar: Sidecar,
    frames: u64,
    mended: Duration,
    stale: bool,
    keep_free: u64,
}

/// How far a recorder got.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Recorded {
    /// There will be more.
    Going,
    /// The take has ended and is whole.
    Whole,
    /// The take cannot be written any further; it holds what came before, to half a second.
    CutShort(String),
}

impl Recorder {
    /// Begins the file with what is known. `keep_free` bytes of the disk are left to other things.
    ///
    /// # Errors
    /// What the system says; the file is then as it is.
    pub fn begin(path: PathBuf, file: File, sound: RingSource, sidecar: Sidecar, keep_free: u64) -> Result<Self, String> {
        if let Some(problem) = too_full(&path, keep_free) {
            // Nothing was written yet.
            let _ = std::fs::remove_file(&path);
            return Err(problem);
        }
        let spec = WavSpec { channels: 1, sample_rate: sound.format().rate.hz(), bits_per_sample: 32, sample_format: SampleFormat::Float };
        let mut writer = WavWriter::new(BufWriter::with_capacity(1 << 16, file), spec).map_err(|error| error.to_string())?;
        writer.flush().map_err(|error| error.to_string())?;
        sidecar.save(&path).map_err(|error| error.to_string())?;
        Ok(Self { path, writer, sound, sidecar, frames: 0, mended: Duration::ZERO, stale: false, keep_free })
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Seconds on the disk.
    #[must_use]
    pub fn seconds(&self) -> f64 {
        self.frames as f64 / self.rate().as_f64()
    }

    fn rate(&self) -> SampleRate {
        self.sound.format().rate
    }

    /// The channel was chosen.
    pub fn channel(&mut self, channel: u16) {
        self.sidecar.channel = Some(channel);
        self.stale = true;
    }

    /// Something was told: grading the take again must hear it too.
    pub fn told(&mut self, told: Told) {
        self.sidecar.asked.told.push(Telling::of(told));
        self.stale = true;
    }

    /// The sound had a fault; losses come with the sound itself.
    pub fn fault(&mut self, fault: &Fault) {
        let word = match fault.kind {
            FaultKind::Lost => return,
            FaultKind::Clipped => "clipped",
            FaultKind::NotANumber => {
                join(&mut self.sidecar.invalid, fault.at.0, fault.length.0);
                "invalid samples"
            }
        };
        self.name_fault(word);
    }

    /// What landfall itself sounds beside the take.
    pub fn own(&mut self, news: &OwnNews) {
        self.sidecar.own_sound.extend(news.closed.iter().map(|(from, to)| Gap { at_frame: *from, frames: to - from }));
        self.sidecar.beats_at.extend(&news.beats);
        self.sidecar.calibrated = news.calibrated;
        self.stale = true;
    }

    fn name_fault(&mut self, word: &str) {
        if !self.sidecar.faults.iter().any(|known| known == word) {
            self.sidecar.faults.push(word.to_owned());
        }
        self.stale = true;
    }

    /// Writes what has come. `now` is the session's clock.
    pub fn pump(&mut self, now: Duration) -> Recorded {
        match self.write_waiting().and_then(|ended| self.mend(now, ended).map(|()| ended)) {
            Ok(false) => Recorded::Going,
            Ok(true) => Recorded::Whole,
            Err(problem) => Recorded::CutShort(problem),
        }
    }

    fn write_waiting(&mut self) -> Result<bool, String> {
        let mut buffer = [0.0; 2048];
        loop {
            match self.sound.next(&mut buffer) {
                Ok(Heard::Filled(count)) => {
                    for sample in &buffer[..count] {
                        self.writer.write_sample(*sample).map_err(|error| error.to_string())?;
                    }
                    self.frames += count as u64;
                }
                Ok(Heard::Lost(frames)) => {
                    join(&mut self.sidecar.gaps, self.frames, frames);
                    self.name_fault("lost audio");
                    for _ in 0..frames {
                        self.writer.write_sample(0.0_f32).map_err(|error| error.to_string())?;
                    }
                    self.frames += frames;
                }
                Ok(Heard::Waiting) => return Ok(false),
                // The analysis breaks nothing off; whatever it was, the take ends here.
                Ok(Heard::Ended) | Err(_) => return Ok(true),
            }
        }
    }

    fn mend(&mut self, now: Duration, ended: bool) -> Result<(), String> {
        if !ended && now < self.mended + MEND_EVERY {
            return Ok(());
        }
        self.mended = now;
        self.writer.flush().map_err(|error| error.to_string())?;
        if self.stale || ended {
            self.stale = false;
            self.sidecar.save(&self.path).map_err(|error| error.to_string())?;
        }
        match too_full(&self.path, self.keep_free) {
            Some(problem) if !ended => Err(problem),
            _ => Ok(()),
        }
    }
}

/// Adds a stretch, joined to the one before where it touches it.
fn join(stretches: &mut Vec<Gap>, at_frame: u64, frames: u64) {
    match stretches.last_mut() {
        Some(last) if last.at_frame + last.frames == at_frame => last.frames += frames,
        _ => stretches.push(Gap { at_frame, frames }),
    }
}

fn too_full(path: &Path, keep_free: u64) -> Option<String> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    // Where the system does not tell, a full disk shows when it is written to.
    let free = fs4::available_space(folder).ok()?;
    (free < keep_free).then(|| format!("only {:.1} MB are free in {}", free as f64 / 1e6, folder.display()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::{Format, RingWriter, ring};
    use crate::units::{FrameSpan, FrameTime};

    fn begun(folder: &Path, keep_free: u64) -> Result<(Recorder, RingWriter), String> {
        let (writer, sound) = ring(Format { rate: SampleRate::new(48000).unwrap(), channels: 1 }, 10.0);
        let (path, file) = reserve(folder, "evening").unwrap();
        Recorder::begin(path, file, sound, Sidecar::default(), keep_free).map(|recorder| (recorder, writer))
    }

    fn samples(path: &Path) -> Vec<f32> {
        hound::WavReader::open(path).unwrap().into_samples().map(Result::unwrap).collect()
    }

    #[test]
    fn a_take_is_kept_sample_for_sample_with_silence_and_a_gap_where_sound_was_lost() {
        let folder = tempfile::tempdir().unwrap();
        let (mut recorder, mut writer) = begun(folder.path(), 0).unwrap();
        writer.write([0.1, -0.2, 1.5].into_iter());
        writer.lose(2);
        writer.write([1e-20].into_iter());
        recorder.channel(2);
        recorder.fault(&Fault { kind: FaultKind::NotANumber, at: FrameTime(1), length: FrameSpan(1) });
        drop(writer);
        assert_eq!(recorder.pump(Duration::ZERO), Recorded::Whole);
        let path = recorder.path().to_owned();
        drop(recorder);
        assert_eq!(samples(&path), [0.1, -0.2, 1.5, 0.0, 0.0, 1e-20]);
        let sidecar = Sidecar::of(&path).unwrap().unwrap();
        assert_eq!((sidecar.channel, sidecar.gaps), (Some(2), vec![Gap { at_frame: 3, frames: 2 }]));
        assert_eq!(sidecar.invalid, [Gap { at_frame: 1, frames: 1 }]);
        assert_eq!(sidecar.faults, ["invalid samples", "lost audio"]);
    }

    #[test]
    fn a_take_that_was_never_closed_opens_and_lacks_half_a_second_at_most() {
        let folder = tempfile::tempdir().unwrap();
        let (mut recorder, mut writer) = begun(folder.path(), 0).unwrap();
        for tenth in 0..23 {
            writer.write((0..4800).map(|n| n as f32 / 4800.0));
            assert_eq!(recorder.pump(Duration::from_millis(100 * tenth)), Recorded::Going);
        }
        let path = recorder.path().to_owned();
        // As a killed program leaves it: nothing is run that closes it.
        std::mem::forget(recorder);
        assert!(samples(&path).len() >= 23 * 4800 - 24000, "{} samples", samples(&path).len());
        assert!(Sidecar::of(&path).unwrap().is_some());
    }

    #[test]
    fn no_take_and_no_sidecar_is_written_over() {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("evening.wav"), "mine").unwrap();
        std::fs::write(folder.path().join("evening-2.toml"), "mine too").unwrap();
        assert_eq!(reserve(folder.path(), "evening").unwrap().0, folder.path().join("evening-3.wav"));
        assert_eq!(reserve(folder.path(), "evening").unwrap().0, folder.path().join("evening-4.wav"));
        assert_eq!(std::fs::read(folder.path().join("evening.wav")).unwrap(), b"mine");
        assert!(!folder.path().join("evening-2.wav").exists());
    }

    #[test]
    fn a_disk_that_is_too_full_is_refused_before_anything_is_written() {
        let folder = tempfile::tempdir().unwrap();
        let problem = begun(folder.path(), u64::MAX).map(|_| ()).unwrap_err();
        assert!(problem.contains("MB are free"), "{problem}");
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
