//! Files of every kind that players have, and files that are none.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use hound::{SampleFormat, WavSpec, WavWriter};
use landfall::sound::{FileSource, Heard, SoundError, Source};
use std::path::{Path, PathBuf};

/// All samples, the frames reported lost, and how it ended.
fn decoded(path: &Path) -> Result<(Vec<f32>, u64, Option<SoundError>), SoundError> {
    let mut source = FileSource::open(path)?;
    let (mut all, mut lost, mut buffer) = (Vec::new(), 0, vec![0.0; 1000]);
    loop {
        match source.next(&mut buffer) {
            Ok(Heard::Filled(count)) => all.extend_from_slice(&buffer[..count]),
            Ok(Heard::Lost(frames)) => lost += frames,
            Ok(Heard::Waiting) => panic!("a file has nothing to wait for"),
            Ok(Heard::Ended) => return Ok((all, lost, None)),
            Err(error) => return Ok((all, lost, Some(error))),
        }
    }
}

fn bundled(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("test_signals/formats").join(name)
}

fn sound(name: &str) -> Vec<f32> {
    let (samples, lost, error) = decoded(&bundled(name)).unwrap();
    assert!(lost == 0 && error.is_none(), "{name} decodes without loss");
    samples
}

/// By an independent reader.
fn wav_by_hound(name: &str) -> Vec<f32> {
    hound::WavReader::open(bundled(name)).unwrap().samples::<i16>().map(|sample| f32::from(sample.unwrap()) / 32768.0).collect()
}

/// The shift of `b` against `a` in samples at which their shapes agree best (encoders may change the level), and the cosine between them there.
fn best_shift(a: &[f32], b: &[f32]) -> (isize, f64) {
    let span = 2000..20000_usize;
    let cosine = |shift: isize| -> f64 {
        let pairs = span.clone().map(|n| (f64::from(a[n]), f64::from(b[n.strict_add_signed(shift)])));
        let (mut dot, mut of_a, mut of_b) = (0.0, 0.0, 0.0);
        for (a, b) in pairs {
            dot += a * b;
            of_a += a * a;
            of_b += b * b;
        }
        dot / (of_a * of_b).sqrt()
    };
    let shift = (-1500..1500).max_by(|x, y| cosine(*x).total_cmp(&cosine(*y))).unwrap();
    (shift, cosine(shift))
}

#[test]
fn flac_gives_the_samples_of_the_wav_it_was_made_from() {
    let wav = sound("pluck.wav");
    assert_eq!(wav, wav_by_hound("pluck.wav"));
    assert_eq!(sound("pluck.flac"), wav);
}

#[test]
fn lossy_formats_start_at_the_first_sample_that_the_encoder_was_given_and_are_as_long() {
    let wav = wav_by_hound("pluck.wav");
    for name in ["pluck.mp3", "pluck.ogg"] {
        let lossy = sound(name);
        assert_eq!(lossy.len(), wav.len(), "{name}");
        let (shift, cosine) = best_shift(&wav, &lossy);
        assert_eq!(shift, 0, "{name}");
        assert!(cosine > 0.99, "{name} agrees to {cosine:.4} only");
    }
}

fn written<S: hound::Sample + Copy>(folder: &Path, spec: WavSpec, samples: &[S]) -> PathBuf {
    let path = folder.join(format!("{:?}{}_{}_{}.wav", spec.sample_format, spec.bits_per_sample, spec.channels, spec.sample_rate));
    let mut writer = WavWriter::create(&path, spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    path
}

#[test]
fn wav_of_every_depth_rate_and_channel_count_is_scaled_to_its_own_full_scale() {
    let folder = tempfile::tempdir().unwrap();
    for (bits, full_scale) in [(8, 128.0), (16, 32768.0), (24, 8_388_608.0), (32, 2_147_483_648.0)] {
        for (channels, sample_rate) in [(1, 8000), (2, 44100), (3, 96000), (6, 48000)] {
            let spec = WavSpec { channels, sample_rate, bits_per_sample: bits, sample_format: SampleFormat::Int };
            let given: Vec<i32> = (0..600).map(|n| (f64::from(n * 7919 % 601 - 300) / 301.0 * full_scale) as i32).collect();
            let path = written(folder.path(), spec, &given);
            let format = FileSource::open(&path).unwrap().format();
            assert_eq!((format.channels, format.rate.hz()), (channels, sample_rate));
            let wanted: Vec<f32> = given.iter().map(|sample| (f64::from(*sample) / full_scale) as f32).collect();
            assert_eq!(decoded(&path).unwrap().0, wanted, "{bits} bits, {channels} channels");
        }
    }
    let spec = WavSpec { channels: 1, sample_rate: 48000, bits_per_sample: 32, sample_format: SampleFormat::Float };
    let given = [0.0, 0.5, -1.5, 1e-20, f32::INFINITY];
    assert_eq!(decoded(&written(folder.path(), spec, &given)).unwrap().0, given, "floats are handed on as they are");
}

fn refused(path: &Path) -> String {
    FileSource::open(path).map(|_| ()).expect_err("this is no take").to_string()
}

#[test]
fn what_is_no_take_is_refused_in_one_sentence_that_names_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str, content: &[u8]| {
        let path = folder.path().join(name);
        std::fs::write(&path, content).unwrap();
        path
    };
    let random: Vec<u8> = (0..100_000_u64).map(|n| (n.wrapping_mul(6_364_136_223_846_793_005) >> 33) as u8).collect();
    let wav = std::fs::read(bundled("pluck.wav")).unwrap();
    for path in [
        folder.path().join("missing.wav"),
        folder.path().to_path_buf(),
        at("empty.wav", b""),
        at("text.wav", b"These are the chords: Dm Gm7 C7"),
        at("long_text.mp3", &b"Dm Gm7 C7 ".repeat(20000)),
        at("random.flac", &random),
        at("cut_in_the_head.wav", &wav[..30]),
        at("head_only.wav", &wav[..44]),
        at("zeros.mp3", &vec![0; 50_000]),
    ] {
        let sentence = refused(&path);
        assert!(sentence.contains(path.to_str().unwrap()), "{sentence}");
        assert!(
            !sentence.contains('\n') && !sentence.contains("symphonia") && sentence.len() > path.to_str().unwrap().len() + 20,
            "{sentence}"
        );
        eprintln!("{sentence}");
    }
}

#[test]
fn a_truncated_wav_or_flac_gives_what_is_there_and_then_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let whole = sound("pluck.wav");
    for (name, at_least) in [("pluck.wav", 16000), ("pluck.flac", 12000)] {
        let bytes = std::fs::read(bundled(name)).unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes[..bytes.len() * 3 / 4]).unwrap();
        let (samples, lost, error) = decoded(&path).unwrap();
        assert!(samples.len() >= at_least && lost == 0, "{name}: {} samples, {lost} lost", samples.len());
        assert_eq!(samples, whole[..samples.len()], "{name}");
        let sentence = error.expect("it must not pass as whole").to_string();
        assert!(sentence.contains("breaks off after"), "{sentence}");
    }
}

#[test]
fn a_damaged_stretch_is_lost_time_and_not_a_shift() {
    let folder = tempfile::tempdir().unwrap();
    let whole = sound("pluck.flac");
    let mut bytes = std::fs::read(bundled("pluck.flac")).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle..middle + 16].fill(0x55);
    let path = folder.path().join("damaged.flac");
    std::fs::write(&path, &bytes).unwrap();
    let (samples, lost, _) = decoded(&path).unwrap();
    assert_eq!(samples.len() as u64 + lost, whole.len() as u64, "{lost} frames lost");
}
