//! The tuner hears strings of known pitch, from the low B of a bass up, through the readings that `landfall tune` shows.
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "other tests write files with it")]
mod program;

use landfall::notes::steady::{Steady, SteadyReader, Sustain};
use landfall::pitch::Tracker;
use landfall::pitch::sustained::Sustained;
use landfall::practice::tuner::{OpenString, Sounds, Tuner, TuningWord};
use landfall::sound::synth::{Scenario, render};
use landfall::theory::Tuning;
use landfall::units::{A4, SampleRate};
use program::{Program, Ran};
use std::path::PathBuf;

/// One open string, plucked at 0.3 s. A string that rests after 3 s is `glide` cents sharp at first.
fn plucked(midi: f64, detune: f64, more: &str) -> Scenario {
    let text = format!(
        "title = \"an open string\"\nlength_s = 3.3\ntuning_midi = [{midi}, 59.0, 55.0, 50.0, 45.0, 40.0]\n{more}\n\
         [[note]]\nat_s = 0.3\nstring = 1\nfret = 0\ndetune_cents = {detune}\n"
    );
    Scenario::from_toml(&text).unwrap()
}

/// B, glide in cents; the rest as the synthesiser's usual string.
fn tone(inharmonicity: f64, glide: f64) -> String {
    format!("[tone]\ninharmonicity = {inharmonicity}\nglide_cents = {glide}\nglide_s = 0.25")
}

/// All averages, with the seconds at which each was known.
fn averages(scenario: &Scenario) -> Vec<(f64, Steady)> {
    let rate = SampleRate::new(scenario.rate_hz).unwrap();
    let samples = render(scenario).unwrap().samples;
    let (mut tracker, mut reader) = (Sustained::new(rate), SteadyReader::new(rate, A4::default()));
    let mut said = Vec::new();
    tracker.push(&samples, &mut |reading| {
        if let Some(Sustain::Steady(steady)) = reader.hear(&reading) {
            said.push((reading.ready.seconds(rate), steady));
        }
    });
    said
}

/// Low strings with the stiffness of thick ones, and ordinary ones: MIDI number and B. B of wound bass strings is from memory.
const STRINGS: [(f64, f64); 11] = [
    (23.0, 2e-4),
    (25.0, 2e-4),
    (28.0, 1.5e-4),
    (30.0, 1.3e-4),
    (35.0, 1.3e-4),
    (40.0, 1.3e-4),
    (45.0, 7e-5),
    (50.0, 4e-5),
    (55.0, 1.08e-4),
    (64.0, 1.3e-5),
    (76.0, 5e-5),
];

#[test]
fn stiff_strings_from_31_hz_up_are_read_within_half_a_cent_and_never_an_octave_off() {
    for (midi, b) in STRINGS {
        for detune in [-37.0, 0.0, 12.0] {
            let said = averages(&plucked(midi, detune, &tone(b, 0.0)));
            let wanted = 100.0 * midi + detune;
            assert!(said.len() >= 10, "{midi}: {} averages", said.len());
            for (at, steady) in said {
                let error = steady.cents - wanted;
                assert!(error.abs() < 0.5, "{midi} {detune:+} at {at:.2} s: {error:+.2} c");
            }
        }
    }
}

#[test]
fn the_first_average_is_there_300_ms_after_the_pick() {
    for (midi, b) in STRINGS {
        let (at, _) = averages(&plucked(midi, 0.0, &tone(b, 8.0)))[0];
        assert!(at - 0.3 < 0.3, "{midi}: {:.0} ms", 1000.0 * (at - 0.3));
    }
}

#[test]
fn a_string_that_glides_home_is_followed_and_its_uncertainty_says_so() {
    for (midi, b) in STRINGS {
        let said = averages(&plucked(midi, 0.0, &tone(b, 10.0)));
        for (at, steady) in &said {
            // What the newest reading heard lies half a window before it was known.
            let true_cents = 100.0 * midi + 10.0 * (-(at - 0.075 - 0.3) / 0.25).exp();
            let error = (steady.cents - true_cents).abs();
            assert!(error < 1.0 && error < 0.3 + steady.uncertainty_cents, "{midi} at {at:.2}: {error:.2} c, {steady:?}");
        }
        let rest = said.last().unwrap().1;
        assert!((rest.cents - 100.0 * midi).abs() < 0.3 && rest.uncertainty_cents < 0.5 && rest.has_settled(), "{midi}: {rest:?}");
    }
}

#[test]
fn noise_hum_and_another_string_ringing_are_no_reason_for_another_note() {
    for (midi, b) in [(35.0, 1.3e-4), (40.0, 1.3e-4), (55.0, 1.08e-4), (64.0, 1.3e-5)] {
        for (spoilt, allowed) in [
            ("[noise]\nsnr_db = 30.0", 1.0),
            ("[hum]\nmains_hz = 50.0\nlevel_dbfs = -45.0", 1.5),
            ("[[ringing]]\nstring = 5\nfret = 0\nat_s = 0.3\nbelow_db = 25.0", 1.5),
        ] {
            for (at, steady) in averages(&plucked(midi, 5.0, &format!("{}\n{spoilt}", tone(b, 0.0)))) {
                let error = (steady.cents - 100.0 * midi - 5.0).abs();
                assert!(error < allowed, "{midi} with {spoilt} at {at:.2}: {error:.2} c");
            }
        }
    }
}

#[test]
fn readings_do_not_depend_on_how_the_sound_is_cut() {
    let scenario = plucked(40.0, 3.0, &tone(1.3e-4, 6.0));
    let rate = SampleRate::new(scenario.rate_hz).unwrap();
    let samples = render(&scenario).unwrap().samples;
    let read = |sizes: &[usize]| {
        let (mut tracker, mut readings, mut rest) = (Sustained::new(rate), Vec::new(), &samples[..]);
        for size in sizes.iter().cycle() {
            let (now, later) = rest.split_at((*size).min(rest.len()));
            tracker.push(now, &mut |reading| readings.push(reading));
            rest = later;
            if rest.is_empty() {
                break;
            }
        }
        readings
    };
    let whole = read(&[samples.len()]);
    assert!(whole.len() > 250);
    assert_eq!(whole, read(&[1, 17, 480, 4096]));
    assert!(whole.windows(2).all(|two| two[0].at < two[1].at && two[0].ready <= two[1].ready && two[0].ready > two[0].at));
}

#[test]
fn every_string_of_a_five_string_bass_and_an_eight_string_guitar_is_recognised_from_its_sound() {
    for (name, off) in [("5-string bass", -21.0), ("8 strings", 14.0)] {
        let tuning: Tuning = name.parse().unwrap();
        let strings: Vec<OpenString> = (1..=tuning.count())
            .rev()
            .map(|number| {
                let note = tuning.open(number).unwrap();
                OpenString { number, note, cents: note.cents() }
            })
            .collect();
        for (place, string) in strings.iter().enumerate() {
            let said = averages(&plucked(f64::from(string.note.midi()), off, &tone(1.2e-4, 4.0)));
            let mut tuner = Tuner::new(strings.clone(), 2.0);
            let mut last = None;
            for (_, steady) in said {
                let tuned = tuner.hear(steady);
                assert_eq!(tuned.sounds, Sounds::Open(place), "{name}, string {}", string.number);
                last = Some(tuned.word);
            }
            assert_eq!(
                last,
                Some(if off < 0.0 { TuningWord::Flat(21) } else { TuningWord::Sharp(14) }),
                "{name}, string {}",
                string.number
            );
        }
    }
}

fn take(program: &Program, scenario: &Scenario) -> PathBuf {
    let path = program.path("open.wav");
    let spec =
        hound::WavSpec { channels: 1, sample_rate: scenario.rate_hz, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&path, spec).unwrap();
    render(scenario).unwrap().samples.iter().for_each(|sample| writer.write_sample(*sample).unwrap());
    writer.finalize().unwrap();
    path
}

fn tune(program: &Program, more: &[&str]) -> Ran {
    let arguments: Vec<&str> = ["tune", "--input", "open.wav", "--fast", "--plain"].iter().chain(more).copied().collect();
    program.run(&arguments)
}

#[test]
fn plain_lines_say_string_word_cents_uncertainty_and_frequency() {
    let program = Program::new();
    take(&program, &plucked(40.0, -7.0, &tone(1.3e-4, 0.0)));
    let ran = tune(&program, &[]);
    ran.assert_succeeds();
    assert_eq!(ran.stderr, "");
    let lines: Vec<&str> = ran.stdout.lines().collect();
    assert!((12..=16).contains(&lines.len()), "five a second:\n{}", ran.stdout);
    for line in lines {
        assert!(line.contains(" s: string 6 E2 flat 7 (-7.") || line.contains(" s: string 6 E2 flat 7 (-6.9"), "{line}");
        assert!(line.ends_with(" Hz)") && line.contains(" ± "), "{line}");
        // Picked at 0.3 s: what a string may still glide is soon little.
        let at_s: f64 = line.split(" s: ").next().unwrap().parse().unwrap();
        assert!(at_s < 1.3 || line.contains(" ± 0."), "{line}");
    }
}

#[test]
fn what_is_wanted_moves_with_reference_offset_capo_and_tuning() {
    let program = Program::new();
    take(&program, &plucked(40.0, 0.0, &tone(1.3e-4, 0.0)));
    for (more, says) in [
        (&[][..], "string 6 E2 in tune"),
        (&["--a4", "442"], "string 6 E2 flat 8"),
        (&["--string-offset", "6=-5,1=+2"], "string 6 E2 sharp 5"),
        (&["--tuned-down", "2"], "string 6 E2 sharp 200"),
        (&["--tuning", "drop D"], "string 6 D2 sharp 200"),
        (&["--strings", "5"], "string 5 A2 flat 500"),
        (&["D2", "A2", "D3", "G3", "B3", "E4"], "string 6 D2 sharp 200"),
        (&["Eb2"], "string 1 Eb2 sharp 100"),
        (&["--within", "0.5"], "string 6 E2 in tune"),
    ] {
        let ran = tune(&program, more);
        ran.assert_succeeds();
        assert!(ran.stdout.lines().last().unwrap().contains(says), "{more:?}: {}", ran.stdout);
    }
}

#[test]
fn a_command_line_that_cannot_be_meant_is_refused_with_a_sentence() {
    let program = Program::new();
    take(&program, &plucked(40.0, 0.0, ""));
    for (more, says) in [
        (&["--a4", "390"][..], "400 to 480"),
        (&["--string-offset", "6=99"], "string=cents"),
        (&["--string-offset", "7=1"], "no string 7"),
        (&["--strings", "8"], "no string 8"),
        (&["A0", "E1", "A1", "D2", "G2"], "27.5 Hz"),
        (&["--within", "0"], "0.5 to 20"),
    ] {
        let ran = tune(&program, more);
        assert_eq!(ran.status, Some(2), "{more:?}: {}", ran.stderr);
        assert!(ran.stderr.contains(says), "{more:?}: {}", ran.stderr);
    }
    assert_eq!(program.run(&["tune", "--fast"]).status, Some(2), "--fast wants a take");
    program.run(&["tune", "--input", "none.wav", "--plain"]).assert_fails_saying(&["none.wav"]);
}
