//! What players hand in by mistake, and what disks and folders do: always a sentence or a row with a fault, never a panic, nothing lost.

mod program;

use hound::{SampleFormat, WavSpec, WavWriter};
use landfall::logbook::attempts;
use program::Program;
use std::f64::consts::TAU;
use std::fs;
use std::path::{Path, PathBuf};

const SPEC: WavSpec = WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: SampleFormat::Float };

fn write_wav(path: &Path, spec: WavSpec, samples: impl IntoIterator<Item = f64>) {
    let mut wav = WavWriter::create(path, spec).expect("a WAV can be begun");
    for sample in samples {
        match spec.sample_format {
            SampleFormat::Float => wav.write_sample(sample as f32),
            SampleFormat::Int => wav.write_sample((sample * f64::from((1_i32 << (spec.bits_per_sample - 1)) - 1)).round() as i32),
        }
        .expect("a sample can be written");
    }
    wav.finalize().expect("a WAV can be ended");
}

/// A string of twelve harmonics bent up by a whole step from G4, then held: the pitch in cents above G4 at `t`, then sound at `rate`.
fn bend(rate: u32) -> impl Iterator<Item = f64> {
    let step = 1.0 / f64::from(rate);
    let cents = |t: f64| match t {
        t if t < 0.6 => 0.0,
        t if t < 0.8 => 100.0 - 100.0 * ((t - 0.6) / 0.2 * std::f64::consts::PI).cos(),
        _ => 200.0,
    };
    let mut phase = 0.0;
    (0..rate * 2).map(move |frame| {
        let t = f64::from(frame) * step;
        phase += 391.995 * (cents(t) / 1200.0).exp2() * step;
        let highest = (0.45 * f64::from(rate) / 440.0).min(12.0) as u32;
        let wave: f64 = (1..=highest).map(|k| (TAU * phase * f64::from(k)).sin() / f64::from(k)).sum();
        if t < 0.2 { 0.0 } else { 0.3 * wave * (-(t - 0.2)).exp() }
    })
}

fn take(program: &Program, name: &str, spec: WavSpec, samples: impl IntoIterator<Item = f64>) -> PathBuf {
    let path = program.path(name);
    write_wav(&path, spec, samples);
    path
}

/// The rows that `grade --csv -` prints.
fn rows(program: &Program, name: &str) -> Vec<landfall::logbook::Row> {
    let ran = program.run(&["grade", name, "--csv", "-"]);
    ran.assert_succeeds();
    let read = attempts::read(ran.stdout.as_bytes()).expect("the output is a log");
    assert_eq!(read.troubles, []);
    read.rows
}

#[test]
fn files_that_are_no_takes_are_said_to_be_none() {
    let program = Program::new();
    program.write("empty.wav", "");
    program.write("words.wav", "this is not a recording, but a letter to my aunt\n".repeat(99));
    program.write("page.mp3", "<html><body>not found</body></html>");
    program.write("no_sample.wav", fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/seeds/sound/no_sample.wav")).unwrap());
    fs::create_dir(program.path("folder.wav")).unwrap();
    for command in ["grade", "trace"] {
        for name in ["missing.wav", "empty.wav", "words.wav", "page.mp3", "no_sample.wav", "folder.wav"] {
            program.run(&[command, name]).assert_fails_saying(&[name]);
        }
    }
}

#[test]
fn one_bad_take_among_good_ones_costs_nothing_but_itself() {
    let program = Program::new();
    take(&program, "good.wav", SPEC, bend(48_000));
    let ran = program.run(&["grade", "missing.wav", "good.wav", "--csv", "-"]);
    ran.assert_fails_saying(&["missing.wav"]);
    let read = attempts::read(ran.stdout.as_bytes()).unwrap();
    assert_eq!(read.rows.iter().map(|row| row.take.as_str()).collect::<Vec<_>>(), ["good"]);
}

#[test]
fn a_bend_is_a_bend_at_every_depth_and_rate() {
    let program = Program::new();
    let integer = |bits_per_sample, sample_rate| WavSpec { bits_per_sample, sample_rate, sample_format: SampleFormat::Int, channels: 1 };
    for (name, spec) in [
        ("float.wav", SPEC),
        ("8_bit.wav", integer(8, 44_100)),
        ("24_bit_96k.wav", integer(24, 96_000)),
        ("telephone.wav", integer(16, 8_000)),
    ] {
        take(&program, name, spec, bend(spec.sample_rate));
        let rows = rows(&program, name);
        assert_eq!(rows.len(), 1, "{name}: {rows:?}");
        let row = &rows[0];
        assert_eq!((row.origin_note.as_deref(), row.target_note.as_deref()), (Some("G4"), Some("A4")), "{name}");
        assert_eq!(row.sample_rate_hz, Some(spec.sample_rate));
        // The hold of the test's own curve is 200 cents over G4 to the last digit.
        assert!(row.hold_error_cents.unwrap().abs() < 1.0, "{name}: {:?}", row.hold_error_cents);
    }
}

#[test]
fn silence_and_noise_make_no_row() {
    let program = Program::new();
    let mut state = 1_u32;
    let mut noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1 << 24) - 0.5
    };
    take(&program, "silence.wav", SPEC, std::iter::repeat_n(0.0, 96_000));
    take(&program, "noise.wav", SPEC, (0..96_000).map(|_| noise()));
    for name in ["silence.wav", "noise.wav"] {
        assert_eq!(rows(&program, name), [], "{name}");
        let trace = program.run(&["trace", name]);
        trace.assert_succeeds();
        assert!(trace.stdout.lines().count() > 500, "{name}: a trace has a line each hop, sounding or not");
    }
}

#[test]
fn samples_that_are_no_numbers_are_a_fault_of_the_row() {
    let program = Program::new();
    let spoilt = bend(48_000).enumerate().map(|(frame, sample)| if frame == 60_000 { f64::NAN } else { sample });
    take(&program, "nan.wav", SPEC, spoilt);
    let rows = rows(&program, "nan.wav");
    assert_eq!(rows.len(), 1);
    assert!(rows[0].faults.iter().any(|fault| fault == "invalid samples"), "{:?}", rows[0].faults);
}

#[test]
fn a_clipped_bend_is_graded_and_says_so() {
    let program = Program::new();
    take(&program, "loud.wav", SPEC, bend(48_000).map(|sample| (6.0 * sample).clamp(-1.0, 1.0)));
    let rows = rows(&program, "loud.wav");
    assert_eq!(rows.len(), 1);
    assert!(rows[0].faults.iter().any(|fault| fault == "clipped"), "{:?}", rows[0].faults);
}

#[test]
fn lost_sound_that_the_sidecar_tells_of_is_a_fault_of_the_row() {
    let program = Program::new();
    let hole = 57_600..58_600;
    take(&program, "gap.wav", SPEC, bend(48_000).enumerate().map(|(frame, sample)| if hole.contains(&frame) { 0.0 } else { sample }));
    program.write("gap.toml", "source = \"card\"\n[[gaps]]\nat_frame = 57600\nframes = 1000\n");
    let rows = rows(&program, "gap.wav");
    assert!(!rows.is_empty() && rows[0].faults.iter().any(|fault| fault == "lost audio"), "{rows:?}");
    assert_eq!(rows[0].source.as_deref(), Some("card"));
}

#[test]
fn a_file_that_breaks_off_gives_what_it_holds_and_says_so() {
    let program = Program::new();
    let path = take(&program, "cut.wav", SPEC, bend(48_000));
    let bytes = fs::read(&path).unwrap();
    fs::write(&path, &bytes[..bytes.len() * 3 / 4]).unwrap();
    let ran = program.run(&["grade", "cut.wav", "--csv", "-"]);
    ran.assert_fails_saying(&["cut.wav", "breaks off"]);
    assert_eq!(attempts::read(ran.stdout.as_bytes()).unwrap().rows.len(), 1, "the bend before the break is graded");
    let ran = program.run(&["trace", "cut.wav"]);
    ran.assert_fails_saying(&["breaks off"]);
    assert!(ran.stdout.lines().count() > 400);
}

#[test]
fn a_channel_that_is_not_there_is_said() {
    let program = Program::new();
    take(&program, "mono.wav", SPEC, bend(48_000));
    program.run(&["grade", "mono.wav", "--channel", "3"]).assert_fails_saying(&["channel 3", "--channel"]);
}

#[test]
fn a_broken_sidecar_names_its_line_and_the_take_is_left_alone() {
    let program = Program::new();
    let path = take(&program, "asked.wav", SPEC, bend(48_000));
    let before = fs::read(&path).unwrap();
    program.write("asked.toml", "a4_hz = 440.0\nchannel = \"left\"\n");
    program.run(&["grade", "asked.wav"]).assert_fails_saying(&["asked.toml line 2"]);
    program.write("asked.toml", "[asked]\ndrill = \"from the future\"\n");
    program.run(&["grade", "asked.wav"]).assert_fails_saying(&["asked.wav", "from the future"]);
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn what_was_asked_is_read_from_the_sidecar_and_options_stand_over_it() {
    let program = Program::new();
    take(&program, "asked.wav", SPEC, bend(48_000));
    let sidecar = "started = \"2025-03-09T20:15:00+01:00\"\na4_hz = 442.0\ntolerance_cents = 20.0\n[asked]\nchord = \"Dm7\"\n";
    program.write("asked.toml", sidecar);
    let row = rows(&program, "asked.wav").remove(0);
    assert_eq!((row.a4_hz, row.tolerance_cents, row.degree.as_deref()), (Some(442.0), Some(20.0), Some("5")));
    assert_eq!(row.played_at.unwrap().to_string(), "2025-03-09T20:15:00+01:00");
    let ran = program.run(&["grade", "asked.wav", "--chord", "F", "--a4", "440", "--csv", "-"]);
    let row = attempts::read(ran.stdout.as_bytes()).unwrap().rows.remove(0);
    assert_eq!((row.a4_hz, row.tolerance_cents, row.degree.as_deref()), (Some(440.0), Some(20.0), Some("3")));
}

#[test]
fn options_that_cannot_be_meant_are_wrong_use() {
    let program = Program::new();
    for wrong in
        [["--chord", "Hm"], ["--target", "H4"], ["--bend", "huge"], ["--technique", "slide"], ["--tolerance", "-1"], ["--drill", "sleep"]]
    {
        let ran = program.run(&["grade", "missing.wav", wrong[0], wrong[1]]);
        assert_eq!(ran.status, Some(2), "{wrong:?} said: {}", ran.stderr);
        assert!(ran.stderr.contains(wrong[1]), "{wrong:?} said: {}", ran.stderr);
    }
}

#[test]
fn an_export_replaces_its_own_rows_and_nothing_else() {
    let program = Program::new();
    take(&program, "one.wav", SPEC, bend(48_000));
    take(&program, "two.wav", SPEC, bend(48_000));
    program.run(&["grade", "one.wav", "--csv", "out.csv"]).assert_succeeds();
    program.run(&["grade", "one.wav", "--csv", "out.csv"]).assert_succeeds();
    let before = fs::read(program.path("out.csv")).unwrap();
    program.run(&["grade", "two.wav", "--csv", "out.csv"]).assert_fails_saying(&["out.csv", "name another file"]);
    assert_eq!(fs::read(program.path("out.csv")).unwrap(), before);
    program.write("letter.csv", "Dear aunt,\n");
    program.run(&["grade", "one.wav", "--csv", "letter.csv"]).assert_fails_saying(&["letter.csv"]);
    assert_eq!(fs::read(program.path("letter.csv")).unwrap(), b"Dear aunt,\n");
}

#[test]
fn a_log_of_another_time_is_kept_and_rows_go_beside_it() {
    let program = Program::new();
    take(&program, "one.wav", SPEC, bend(48_000));
    let older = "take,attempt\r\nold,1\r\n";
    program.write("log.csv", older);
    let ran = program.run(&["grade", "one.wav", "--log", "log.csv"]);
    ran.assert_succeeds();
    assert!(ran.stderr.contains("log-2.csv"), "{}", ran.stderr);
    assert_eq!(fs::read(program.path("log.csv")).unwrap(), older.as_bytes());
    assert_eq!(attempts::read(fs::File::open(program.path("log-2.csv")).unwrap()).unwrap().rows.len(), 1);
}

#[cfg(unix)]
#[test]
fn a_folder_without_permission_is_said_and_nothing_is_left_there() {
    use std::os::unix::fs::PermissionsExt;
    let program = Program::new();
    take(&program, "one.wav", SPEC, bend(48_000));
    let locked = program.path("locked");
    fs::create_dir(&locked).unwrap();
    fs::set_permissions(&locked, fs::Permissions::from_mode(0o555)).unwrap();
    if fs::write(locked.join("probe"), "").is_ok() {
        // Root writes everywhere; a file in the way of a folder is refused to root as well.
        fs::remove_file(locked.join("probe")).unwrap();
        eprintln!("SKIPPED: this user may write anywhere; tried with a file in the way instead");
        program.write("file", "");
        program.run(&["grade", "one.wav", "--csv", "file/out.csv"]).assert_fails_saying(&["file/out.csv"]);
        program.run(&["grade", "one.wav", "--log", "file/log.csv"]).assert_fails_saying(&["file"]);
        return;
    }
    program.run(&["grade", "one.wav", "--csv", "locked/out.csv"]).assert_fails_saying(&["locked/out.csv", "write"]);
    program.run(&["grade", "one.wav", "--log", "locked/log.csv"]).assert_fails_saying(&["locked/log.csv", "write"]);
    assert_eq!(fs::read_dir(&locked).unwrap().count(), 0);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said() {
    let program = Program::new();
    take(&program, "one.wav", SPEC, bend(48_000));
    program.run(&["grade", "one.wav", "--csv", "/dev/full"]).assert_fails_saying(&["/dev/full", "space"]);
    program.run(&["grade", "one.wav", "--log", "/dev/full"]).assert_fails_saying(&["/dev/full"]);
    for command in ["trace", "grade"] {
        let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        program::Ran::of(program.command(&[command, "one.wav"]).stdout(full).output().unwrap()).assert_fails_saying(&["standard output"]);
    }
}

/// A limit on the size of files stands for a disk that is full in the middle of a row.
#[cfg(unix)]
#[test]
fn a_disk_that_is_full_in_the_middle_of_a_row_leaves_the_log_as_it_was() {
    let program = Program::new();
    take(&program, "one.wav", SPEC, bend(48_000));
    let log = program.path("log.csv");
    let mut before = Vec::new();
    for _ in 0..20 {
        let limited = "trap '' XFSZ; ulimit -f 2; exec \"$@\"";
        let mut command = std::process::Command::new("sh");
        command.args(["-c", limited, "sh", env!("CARGO_BIN_EXE_landfall"), "grade", "one.wav", "--log", "log.csv"]);
        command
            .current_dir(program.folder())
            .env("LANDFALL_CONFIG_DIR", program.path("config"))
            .env("LANDFALL_DATA_DIR", program.path("data"));
        let ran = program::Ran::of(command.output().unwrap());
        if ran.status != Some(0) {
            ran.assert_fails_saying(&["log.csv", "write"]);
            assert_eq!(fs::read(&log).unwrap(), before, "what was there before is unchanged");
            assert!(before.ends_with(b"\r\n"), "and was at least a header");
            return;
        }
        before = fs::read(&log).unwrap();
    }
    panic!("the limit was never reached");
}
