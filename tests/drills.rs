//! The contract of every kind of drill: what each promises in the list, and how four players fare in it.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod drill_player;
#[allow(dead_code, reason = "each test uses a part of it")]
mod program;

use drill_player::{Player, graded, played, scenario};
use landfall::grading::{Fault, Verdict, Word};
use landfall::practice::drills::{Chosen, KINDS, NAMED};
use landfall::practice::parameters::{Given, PARAMETERS};
use landfall::practice::plan::Plan;
use landfall::practice::stage::Stage;
use program::Program;

fn plan(name: &str, most: usize) -> Plan {
    let mut plan = Chosen::find(name, &Given::new()).unwrap().plan(Stage::Steady, None).unwrap();
    plan.steps.truncate(most);
    plan
}

#[test]
fn every_kind_says_what_it_is_and_has_a_name_of_its_own() {
    let mut names = Vec::new();
    for kind in KINDS {
        for (what, text) in
            [("help", kind.help), ("training", kind.trains), ("end", kind.ends), ("sentence", kind.lead), ("heading", kind.title)]
        {
            assert!(text.len() > 8, "{} does not say its {what}", kind.name);
        }
        names.push(kind.name);
        for name in kind.more.iter().chain(kind.defaults.iter().map(|(name, _)| name)) {
            assert!(PARAMETERS.iter().any(|parameter| parameter.name == *name), "{}: {name} is no parameter", kind.name);
        }
        let given: Given = kind.defaults.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Chosen::find(kind.name, &given).unwrap_or_else(|error| panic!("{}: {error}", kind.name));
    }
    for named in NAMED {
        names.push(named.name);
        assert!(KINDS.iter().any(|kind| kind.name == named.kind), "{} has no kind", named.name);
        assert!(named.help.len() > 8);
    }
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "a name stands twice");
    assert!(NAMED.len() == 10 && names.iter().all(|name| name.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-')));
}

#[test]
fn a_perfect_player_answers_every_step_of_every_kind_with_95_or_more() {
    let mut wrong = Vec::new();
    for kind in KINDS {
        let plan = plan(kind.name, 6);
        let attempts = graded(&plan, &played(&scenario(&plan, Player::default())), 4096);
        let steps: Vec<Option<u32>> = attempts.iter().map(|attempt| attempt.step).collect();
        if steps != (1..=plan.steps.len() as u32).map(Some).collect::<Vec<_>>() {
            wrong.push(format!("{}: answered {steps:?} of {} steps", kind.name, plan.steps.len()));
        }
        for attempt in &attempts {
            if attempt.score.is_none_or(|score| score < 95.0) || !attempt.faults.is_empty() {
                wrong.push(format!(
                    "{} step {:?}: {:?} {:?} {:?}",
                    kind.name, attempt.step, attempt.score, attempt.faults, attempt.measures
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_flat_player_is_called_short_in_every_kind() {
    let mut wrong = Vec::new();
    for kind in KINDS {
        let plan = plan(kind.name, 3);
        let attempts = graded(&plan, &played(&scenario(&plan, Player { off_cents: -26.0, ..Player::default() })), 4096);
        if attempts.len() != plan.steps.len() {
            wrong.push(format!("{}: {} attempts at {} steps", kind.name, attempts.len(), plan.steps.len()));
        }
        for attempt in &attempts {
            // A slow rise is called to have arrived on its last cents, up to 10 under its top.
            let called = matches!(Verdict::of(attempt).arrival, Some(Word::Short(22..=36)));
            let flat = attempt.faults.contains(&Fault::Flat) || attempt.faults.contains(&Fault::ShakeOff);
            if !called || !flat || attempt.step.is_none() || attempt.score.is_none_or(|score| score > 85.0) {
                wrong.push(format!("{}: {:?} {:?} {:?}", kind.name, Verdict::of(attempt), attempt.faults, attempt.score));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn a_late_player_is_called_late_where_there_are_beats() {
    let mut with_beats = 0;
    for kind in KINDS {
        let plan = plan(kind.name, 3);
        if plan.steps.iter().all(|step| step.parts.beat > 0.0) {
            with_beats += 1;
            let attempts = graded(&plan, &played(&scenario(&plan, Player { late_s: 0.16, ..Player::default() })), 4096);
            assert_eq!(attempts.len(), plan.steps.len(), "{}", kind.name);
            for attempt in &attempts {
                let late = attempt.measures.late_ms().unwrap();
                assert!((late - 160.0).abs() < 15.0 && attempt.faults.contains(&Fault::Late), "{}: {late} {:?}", kind.name, attempt.faults);
                assert!(attempt.score.unwrap() < 85.0);
            }
        }
    }
    assert!(with_beats >= 2, "only {with_beats} kinds ask for beats");
}

#[test]
fn a_silent_player_gets_no_row_and_the_drill_ends_with_its_sound() {
    for kind in KINDS {
        assert!(graded(&plan(kind.name, 9), &vec![0.0; 48_000 * 3], 4096).is_empty(), "{}", kind.name);
    }
}

#[test]
fn rows_do_not_depend_on_how_the_sound_is_cut() {
    let plan = plan("endings", 4);
    let samples = played(&scenario(&plan, Player { off_cents: 7.0, ..Player::default() }));
    let whole = graded(&plan, &samples, samples.len());
    assert_eq!(whole, graded(&plan, &samples, 97));
    assert_eq!(whole.len(), 4);
}

#[test]
fn another_note_is_noted_without_a_step_and_the_drill_waits() {
    let plan = plan("hold", 2);
    let mut stray = plan.clone();
    let mut other = plan.steps[0].clone();
    other.place = Some(landfall::theory::Place { string: 1, fret: 12 });
    stray.steps.insert(1, other);
    let steps: Vec<Option<u32>> =
        graded(&plan, &played(&scenario(&stray, Player::default())), 4096).iter().map(|attempt| attempt.step).collect();
    assert_eq!(steps, [Some(1), None, Some(2)]);
}

#[test]
fn a_bend_from_the_fret_beside_the_right_one_is_another_bend_and_the_drill_waits() {
    let plan = plan("hold", 2);
    let mut stray = plan.clone();
    let mut beside = plan.steps[0].clone();
    // A fret higher and half a step less: the same top.
    let place = beside.place.unwrap();
    beside.place = Some(landfall::theory::Place { fret: place.fret + 1, ..place });
    beside.bend_cents -= 100.0;
    stray.steps.insert(1, beside);
    let attempts = graded(&plan, &played(&scenario(&stray, Player::default())), 4096);
    assert_eq!(attempts.iter().map(|attempt| attempt.step).collect::<Vec<_>>(), [Some(1), None, Some(2)]);
    let asked = attempts[1].instead_of.clone().unwrap();
    assert_eq!((asked.origin, asked.target), (plan.steps[1].origin.clone(), Some(plan.steps[1].target.clone())));
    assert!(!attempts[1].faults.contains(&Fault::StringOff), "{:?}", attempts[1].faults);
    assert!(attempts.iter().step_by(2).all(|attempt| attempt.instead_of.is_none()));
}

#[test]
fn a_string_that_is_out_by_less_than_half_a_fret_is_still_the_one_asked_for() {
    let plan = plan("hold", 1);
    let detuned = scenario(&plan, Player::default()).replace("damped_s", "detune_cents = -42.0\ndamped_s");
    let attempts = graded(&plan, &played(&detuned), 4096);
    assert_eq!(attempts.iter().map(|attempt| attempt.step).collect::<Vec<_>>(), [Some(1)]);
    assert!(attempts[0].faults.contains(&Fault::StringOff));
}

#[test]
fn what_is_played_behind_the_last_attempt_makes_no_row_but_its_restrike_counts() {
    for name in ["hold", "restrike"] {
        let (three, two) = (plan(name, 3), plan(name, 2));
        let attempts = graded(&two, &played(&scenario(&three, Player::default())), 4096);
        assert_eq!(attempts.iter().map(|attempt| attempt.step).collect::<Vec<_>>(), [Some(1), Some(2)], "{name}");
        assert_eq!(attempts[1].restrike, name == "restrike");
    }
}

/// A take of a drill on the disk.
fn take(folder: &std::path::Path, plan: &Plan, player: Player) -> std::path::PathBuf {
    let wav = folder.join("evening.wav");
    let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(&wav, spec).unwrap();
    for sample in played(&scenario(plan, player)) {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
    wav
}

/// Columns of a log from `onset_s` on, and the step.
fn measured(csv: &str) -> Vec<String> {
    let mut rows = csv.lines();
    let header: Vec<&str> = rows.next().unwrap().split(',').collect();
    let at = |name: &str| header.iter().position(|column| *column == name).unwrap();
    let (step, onset) = (at("step"), at("onset_s"));
    rows.map(|row| {
        let cells: Vec<&str> = row.split(',').collect();
        format!("{} {}", cells[step], cells[onset..].join(","))
    })
    .collect()
}

#[test]
fn a_drill_heard_live_and_its_saved_take_graded_give_the_same_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let take = take(folder.path(), &plan("endings", 4), Player { off_cents: -14.0, ..Player::default() });
    let program = Program::new();
    let (saved, log) = (folder.path().join("kept"), folder.path().join("live.csv"));
    let (saved_text, log_text, take_text) = (saved.to_str().unwrap(), log.to_str().unwrap(), take.to_str().unwrap());
    let arguments = ["drill", "endings", "--attempts", "4", "--input", take_text, "--fast", "--save", saved_text, "--log", log_text];
    program.run(&arguments).assert_succeeds();
    let kept =
        std::fs::read_dir(&saved).unwrap().map(|entry| entry.unwrap().path()).find(|path| path.extension().is_some_and(|end| end == "wav"));
    let graded = program.run(&["grade", "--csv", "-", kept.unwrap().to_str().unwrap()]);
    graded.assert_succeeds();
    let live = std::fs::read_to_string(&log).unwrap();
    assert_eq!(measured(&live), measured(&graded.stdout));
    assert_eq!(measured(&live).len(), 4);
    let by_option = program.run(&["grade", "--drill", "endings", "--csv", "-", take_text]);
    assert_eq!(measured(&by_option.stdout), measured(&live));
}

#[test]
fn at_playing_speed_a_drill_has_as_many_rows_as_it_asks_for_and_the_same_as_fast() {
    let folder = tempfile::tempdir().unwrap();
    // The third is played while the last page of two still stands.
    let take = take(folder.path(), &plan("bend-and-hold", 3), Player::default());
    let program = Program::new();
    let run = |log: &str, more: &[&str]| {
        let log = folder.path().join(log);
        let mut arguments = vec!["drill", "bend-and-hold", "--attempts", "2", "--no-check", "--plain", "--save", "off"];
        arguments.extend(["--input", take.to_str().unwrap(), "--log", log.to_str().unwrap()]);
        arguments.extend(more);
        let ran = program.run(&arguments);
        ran.assert_succeeds();
        assert!(ran.stdout.contains("\n2 attempts"), "{}", ran.stdout);
        (measured(&std::fs::read_to_string(log).unwrap()), ran.stdout)
    };
    let (fast, _) = run("fast.csv", &["--fast"]);
    let (paced, said) = run("paced.csv", &[]);
    assert_eq!(paced, fast);
    let (_, behind) = said.split_once("That was the last one.").unwrap();
    let (behind, ending) = behind.split_once("\n\n").unwrap();
    assert!(!behind.contains("landed") && !behind.contains("Attempt"), "{said}");
    assert!(ending.contains("2 bends, 2 landed, 2 without a fault."), "{said}");
}

#[test]
fn a_list_is_heard_from_one_take_drill_after_drill() {
    let program = Program::new();
    let (hold, release) = (plan("bend-and-hold", 2), plan("release", 2));
    let mut samples = played(&scenario(&hold, Player::default()));
    samples.extend(played(&scenario(&release, Player::default())));
    let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path("evening.wav"), spec).unwrap();
    for sample in &samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    let one = |kind: &str| format!("[[drill]]\nkind = \"{kind}\"\nattempts = 2\n");
    program.write("list.toml", format!("title = \"Evening\"\n{}{}{}", one("bend-and-hold"), one("release"), one("hold")));
    let ran = program.run(&["drill", "list.toml", "--input", "evening.wav", "--fast", "--save", "off", "--log", "log.csv"]);
    ran.assert_succeeds();
    let log = std::fs::read_to_string(program.path("log.csv")).unwrap();
    let rows: Vec<Vec<&str>> = log.lines().map(|line| line.split(',').collect()).collect();
    let at = |name: &str| rows[0].iter().position(|column| *column == name).unwrap();
    let played: Vec<(&str, &str)> = rows[1..].iter().map(|row| (row[at("drill")], row[at("step")])).collect();
    assert_eq!(played, [("bend-and-hold", "1"), ("bend-and-hold", "2"), ("release", "1"), ("release", "2")], "{}", ran.stdout);
    assert!(ran.stdout.contains("The take holds nothing more of this list; 1 drill is not in it."), "{}", ran.stdout);
    // By the drill's name, and by its kind: `landfall log --help` shows the second.
    for (named, count) in [("bend-and-hold", 2), ("hold", 2), ("release", 2), ("shake", 0)] {
        let listed = program.run(&["log", "log.csv", "--drill", named, "--csv", "-"]);
        listed.assert_succeeds();
        assert_eq!(listed.stdout.lines().count(), 1 + count, "{named}: {}", listed.stdout);
    }
}

#[cfg(unix)]
#[test]
fn an_interrupt_ends_a_list_that_is_heard_from_a_take() {
    use std::io::{BufRead, BufReader, Read};
    use std::process::{Command, Stdio};
    let hold = plan("bend-and-hold", 2);
    let samples = played(&scenario(&hold, Player::default()));
    // Before anything was answered, and between two attempts of the first drill.
    for heard_first in ["Listening to", "Attempt 1"] {
        let program = Program::new();
        let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
        let mut writer = hound::WavWriter::create(program.path("evening.wav"), spec).unwrap();
        for sample in samples.iter().chain(&vec![0.0; 48_000 * 60]) {
            writer.write_sample(*sample).unwrap();
        }
        writer.finalize().unwrap();
        let one = |title: &str| format!("[[drill]]\nkind = \"bend-and-hold\"\ntitle = \"{title}\"\nattempts = 2\n");
        program.write("list.toml", format!("{}{}", one("Before supper"), one("After supper")));
        let words = ["drill", "list.toml", "--input", "evening.wav", "--plain", "--save", "off", "--log", "log.csv"];
        let mut child = program.command(&words).stdout(Stdio::piped()).spawn().unwrap();
        let mut said = BufReader::new(child.stdout.take().unwrap());
        let (mut all, mut line) = (String::new(), String::new());
        while !line.contains(heard_first) {
            line.clear();
            assert!(said.read_line(&mut line).unwrap() > 0, "{heard_first} is not in: {all}");
            all.push_str(&line);
        }
        assert!(Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap().success());
        said.read_to_string(&mut all).unwrap();
        assert_eq!(child.wait().unwrap().code(), Some(0), "{all}");
        assert!(all.contains("attempts, in ") || all.contains("1 attempt, in "), "{all}");
        assert!(!all.contains("After supper") && !all.contains("nothing more"), "{all}");
    }
}

#[test]
fn all_drills_are_listed_and_each_can_be_written_and_played_from_its_file() {
    let program = Program::new();
    let listed = program.run(&["drill", "--list"]);
    listed.assert_succeeds();
    for (name, help) in KINDS.iter().map(|kind| (kind.name, kind.help)).chain(NAMED.iter().map(|named| (named.name, named.help))) {
        assert!(listed.stdout.lines().any(|line| line.trim_start().starts_with(&format!("{name} ")) && line.ends_with(help)), "{name}");
    }
    assert!(listed.stdout.lines().all(|line| line.chars().count() <= 100));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mine.toml");
    let file = file.to_str().unwrap();
    program.run(&["drill", "slow", "--set", "tempo=50", "--write", file]).assert_succeeds();
    let again = program.run(&["drill", file, "--list"]);
    again.assert_succeeds();
    assert!(again.stdout.contains("now 50"), "{}", again.stdout);
    let refused = program.run(&["drill", "slow", "--set", "tempoo=50", "--list"]);
    assert!(refused.status == Some(2) && refused.stderr.contains("did you mean tempo?"), "{}", refused.stderr);
    let refused = program.run(&["drill", "bend-and-hold", "--set", "pitch=3", "--list"]);
    assert_eq!(refused.status, Some(2));
    assert!(refused.stderr.contains("bend-and-hold knows no \"pitch\"; it takes chord, key, tuning"), "{}", refused.stderr);
    let unknown = program.run(&["drill", "holdd", "--list"]);
    assert!(unknown.status == Some(2) && unknown.stderr.contains("did you mean hold?"), "{}", unknown.stderr);
}

#[test]
fn the_files_that_readme_shows_can_be_read() {
    let readme = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap();
    let blocks: Vec<&str> = readme.split("```toml\n").skip(1).map(|rest| rest.split("```").next().unwrap()).collect();
    let drills: Vec<&&str> = blocks.iter().filter(|block| block.contains("kind = ")).collect();
    assert_eq!(drills.len(), 2);
    for block in drills {
        landfall::practice::drill_file::read("README", "mine", block).unwrap_or_else(|error| panic!("{error}\n{block}"));
    }
}

/// The notes of a key, as names in any octave.
fn key_of(name: &str) -> Vec<&str> {
    name.split(' ').collect()
}

#[test]
fn over_changes_bends_begin_on_notes_of_the_key_that_the_chords_are_in() {
    // F major, and D minor with the leading tone of its dominant left to the bend's top.
    let tunes = [("Gm7 C7 F", "F G A Bb C D E"), ("Dm Gm7 A7", "D E F G A Bb C"), ("Am7 D7 Gmaj7", "G A B C D E F#")];
    for (chords, key) in tunes {
        let given = Given::from([("chords".to_owned(), chords.to_owned())]);
        let plan = Chosen::find("changes", &given).unwrap().plan(Stage::Steady, None).unwrap();
        for step in &plan.steps {
            let name = step.origin.trim_end_matches(|letter: char| letter.is_ascii_digit());
            assert!(key_of(key).contains(&name), "{} to {} over {:?} in {chords}", step.origin, step.target, step.chord);
        }
    }
    let thirds = Chosen::find("thirds", &Given::new()).unwrap().plan(Stage::Steady, None).unwrap();
    let bends: Vec<(&str, &str)> = thirds.steps.iter().take(3).map(|step| (step.origin.as_str(), step.target.as_str())).collect();
    assert_eq!(bends[0], ("A4", "Bb4"), "{bends:?}");
}
