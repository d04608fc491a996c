//! Exit codes, standard output and settings, as a shell sees them.

mod program;

use landfall::cli::Cli;
use program::{Program, Ran};
use std::process::Stdio;

#[test]
fn without_a_command_it_says_how_to_start() {
    let ran = Program::new().run(&[]);
    ran.assert_succeeds();
    assert!(ran.stdout.contains("landfall --help") && ran.stderr.is_empty());
    assert!(ran.stdout.lines().all(|line| line.chars().count() <= 80), "wider than 80 columns: {}", ran.stdout);
}

#[test]
fn wrong_use_of_the_command_line_ends_with_2() {
    let program = Program::new();
    for arguments in [
        &["blow"][..],
        &["config", "--a4", "44"],
        &["config", "--channel", "0"],
        &["config", "--loud"],
        &["completions"],
        &["neck", "--chord", "H7"],
        &["neck", "--scale", "D nothing"],
        &["neck", "--chord", "Dm", "--tuning", "foo"],
        &["chart", "--chords", "Dm | H"],
        &["chart", "--chords", "Dm", "--key", "Q"],
        &["play", "ballad", "--key", "Q"],
        &["drill", "--tuning", "foo"],
        &["tune", "--tuning", "foo"],
        &["grade", "--chord", "H", "x.wav"],
    ] {
        let ran = program.run(arguments);
        assert_eq!((ran.status, ran.stdout.as_str()), (Some(2), ""), "{arguments:?} said {}", ran.stderr);
    }
}

#[test]
fn every_command_has_a_page_of_help() {
    let program = Program::new();
    for command in Cli::definition().get_subcommands() {
        let name = command.get_name();
        let ran = program.run(&[name, "--help"]);
        ran.assert_succeeds();
        assert!(ran.stdout.contains(&format!("Usage: landfall {name}")), "{name}: {}", ran.stdout);
        assert!(ran.stdout.contains(&format!("\n  landfall {name}")), "the page of {name} has no example");
        assert!(command.get_about().is_some_and(|about| about.to_string().len() > 10), "{name} has no line in the list");
        assert!(ran.stdout.lines().all(|line| line.chars().count() <= 80), "the page of {name} is wider than 80 columns");
    }
}

#[test]
fn what_is_said_of_necks_and_tunes_fits_80_columns() {
    let program = Program::new();
    let long = "Ebm7 Abmaj7#11 Dbm7b5 C7#9 F#m11 B13 E6/9 Am(maj7)";
    for arguments in [
        &["neck", "--chord", "Abm7b5", "--bends"][..],
        &["neck", "--chord", "C#13", "--triads", "--bends", "--spread", "--frets", "24"],
        &["neck", "--chord", "Gm7", "--bends", "--bend-cents", "50,100,200,300,400"],
        &["neck", "--chord", "Dm", "--triads", "--next", "Bbmaj7", "--left"],
        &["chart", "--chords", long, "--triads", "--over", "5"],
        &["chart", "--chords", long, "--triads", "--bends", "--guide", "--scales"],
        &["chart", "anthem"],
        &["chart", "seven"],
    ] {
        let ran = program.run(arguments);
        ran.assert_succeeds();
        let wide: Vec<&str> = ran.stdout.lines().filter(|line| line.chars().count() > 80).collect();
        assert!(wide.is_empty() && ran.stdout.lines().count() > 5, "{arguments:?}: {wide:#?}");
    }
}

#[test]
fn completions_and_manual_name_every_command_and_option() {
    let program = Program::new();
    let manual = program.run(&["man"]);
    manual.assert_succeeds();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = program.run(&["completions", shell]);
        script.assert_succeeds();
        for command in Cli::definition().get_subcommands() {
            let name = command.get_name();
            assert!(script.stdout.contains(name), "{shell} does not complete {name}");
            for option in command.get_arguments().filter_map(clap::Arg::get_long).filter(|option| *option != "help") {
                assert!(script.stdout.contains(option), "{shell} does not complete {name} --{option}");
            }
        }
    }
    let shown = manual.stdout.replace("\\-", "-");
    for command in Cli::definition().get_subcommands() {
        let name = command.get_name();
        assert!(shown.contains(name), "the manual does not name {name}");
        for option in command.get_arguments().filter_map(clap::Arg::get_long).filter(|option| *option != "help") {
            assert!(shown.contains(&format!("--{option}")), "the manual does not describe {name} --{option}");
        }
    }
}

#[test]
fn a_setting_says_where_it_came_from() {
    let program = Program::new();
    program.write("config/config.toml", "# mine\na4 = 442\ntolerance = 7.5\ndevice = \"USB \\\"two\\\"\"\n");
    let ran = Ran::of(program.command(&["config", "--tolerance", "12"]).env("LANDFALL_CHANNEL", "2").output().unwrap());
    ran.assert_succeeds();
    let line_of = |key: &str| ran.stdout.lines().find(|line| line.starts_with(key)).unwrap_or_default().to_owned();
    assert!(line_of("a4 = 442 ").ends_with("config.toml line 2"), "{}", ran.stdout);
    assert!(line_of("tolerance = 12 ").ends_with("# command line"), "{}", ran.stdout);
    assert!(line_of("channel = 2 ").ends_with("# LANDFALL_CHANNEL"), "{}", ran.stdout);
    assert!(line_of("handedness = \"right\"").ends_with("# default"), "{}", ran.stdout);
    assert!(line_of("device = ").contains("USB \"two\""), "{}", ran.stdout);
}

#[test]
fn what_config_prints_can_be_kept_as_config_toml() {
    let program = Program::new();
    program.write("config/config.toml", "a4 = 442\ntuning = \"D2 A2 D3 G3 B3 E4\"\n");
    let once = program.run(&["config"]);
    program.write("config/config.toml", &once.stdout);
    let twice = program.run(&["config"]);
    twice.assert_succeeds();
    let values = |ran: &Ran| ran.stdout.lines().map(|line| line.split('#').next().unwrap().trim().to_owned()).collect::<Vec<_>>();
    assert_eq!(values(&once), values(&twice));
}

#[test]
fn settings_that_cannot_be_are_refused_with_their_place() {
    let program = Program::new();
    program.write("config/config.toml", "a4 = 442\nvolume = 11\n");
    program.run(&["config"]).assert_fails_saying(&["config.toml line 2", "volume", "tolerance"]);
    program.write("config/config.toml", "a4 = = 442\n");
    program.run(&["config"]).assert_fails_saying(&["config.toml line 1"]);
    program.write("config/config.toml", "");
    let ran = Ran::of(program.command(&["config"]).env("LANDFALL_TOLERANCE", "a lot").output().unwrap());
    ran.assert_fails_saying(&["LANDFALL_TOLERANCE", "cents"]);
}

#[test]
fn a_closed_pipe_is_silent() {
    let program = Program::new();
    let mut child = program.command(&["completions", "zsh"]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop(child.stdout.take());
    let ran = Ran::of(child.wait_with_output().unwrap());
    assert_eq!((ran.status, ran.stderr.as_str()), (Some(0), ""));
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_behind_standard_output_is_said() {
    let program = Program::new();
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let ran = Ran::of(program.command(&["man"]).stdout(full).output().unwrap());
    ran.assert_fails_saying(&["standard output"]);
}

#[test]
fn the_log_is_listed_filtered_and_exported_and_its_broken_places_are_named() {
    let program = Program::new();
    let nothing = program.run(&["log"]);
    nothing.assert_succeeds();
    assert!(nothing.stdout.contains("nothing is logged"));
    let head = "take,attempt,played_at,drill,hold_error_cents\r\n";
    let rows = "monday,1,2025-03-03T20:00:00+01:00,hold,-3.00\r\nmonday,2\r\nfriday,1,2025-03-07T23:30:00-05:00,slow,4.00\r\n";
    program.write("data/attempts.csv", format!("{head}{rows}"));
    let all = program.run(&["log"]);
    all.assert_succeeds();
    assert!(all.stdout.contains("monday: 1 bend") && all.stdout.contains("friday: 1 bend"), "{}", all.stdout);
    assert!(all.stderr.contains("attempts.csv: line 3 has 2 cells"), "{}", all.stderr);
    // A day is that of the player's calendar: in UTC it was Saturday by then.
    let friday = program.run(&["log", "--until", "2025-03-07", "--since", "2025-03-07", "--csv", "-"]);
    friday.assert_succeeds();
    let lines: Vec<&str> = friday.stdout.lines().collect();
    assert_eq!((lines.len(), lines[1].starts_with("friday,1,2025-03-07T23:30:00-05:00,")), (2, true), "{}", friday.stdout);
    assert!(program.run(&["log", "--drill", "hold"]).stdout.contains("monday"));
    assert!(!program.run(&["log", "--last", "1"]).stdout.contains("monday"));
    program.run(&["log", "missing.csv"]).assert_fails_saying(&["missing.csv"]);
    program.write("words.csv", "Dear aunt,\n");
    program.run(&["log", "words.csv"]).assert_fails_saying(&["words.csv", "Dear aunt"]);
}

#[test]
fn help_breaks_no_example_and_no_paragraph_at_80_columns() {
    for command in landfall::cli::Cli::definition().get_subcommands() {
        let Some(help) = command.get_after_help() else { continue };
        for line in help.to_string().lines().filter(|line| !line.is_empty()) {
            let name = command.get_name();
            if line.starts_with(' ') {
                assert!(line.chars().count() <= 80, "{name}: {line}");
            } else {
                assert!(line.ends_with(['.', ':']), "{name}: a paragraph is one line, the terminal breaks it: {line}");
            }
        }
    }
}
