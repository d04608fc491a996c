//! A take to play: its own synthesiser's, so that tests need no recording.

use landfall::sound::synth::{Scenario, render};
use std::path::{Path, PathBuf};

pub const RATE: u32 = 48_000;

/// Two bends of a whole step that are let down again, the second 20 cents flat; 6 s.
const SCENARIO: &str = r#"
title = "two bends"
seed = 7
length_s = 6.0
[[note]]
at_s = 0.5
string = 2
fret = 8
damped_s = 2.3
[[note.then]]
hand = "bend"
at_s = 0.4
cents = 200.0
takes_ms = 150.0
[[note.then]]
hand = "release"
at_s = 1.4
takes_ms = 150.0
[[note]]
at_s = 3.2
string = 2
fret = 8
damped_s = 2.3
[[note.then]]
hand = "bend"
at_s = 0.4
cents = 180.0
takes_ms = 150.0
[[note.then]]
hand = "release"
at_s = 1.4
takes_ms = 150.0
"#;

/// Writes it as a WAV into a folder.
pub fn two_bends(folder: &Path) -> PathBuf {
    let played = render(&Scenario::from_toml(SCENARIO).unwrap()).unwrap();
    let wav = folder.join("two_bends.wav");
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    played.samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
    wav
}
