//! Where a drill is played: its own places, as far as they lie where the player wants to play, and what chord, key, capo and tuning make of them.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod drill_player;
#[allow(dead_code, reason = "each test uses a part of it")]
mod program;

use drill_player::{Player, played, scenario};
use landfall::practice::drill_file::{self, DrillFile, OwnDrill};
use landfall::practice::drills::{Chosen, KINDS, Kind, NAMED};
use landfall::practice::parameters::{DrillError, Given, PARAMETERS};
use landfall::practice::plan::{Plan, Step};
use landfall::practice::stage::Stage;
use landfall::theory::{Note, Place};
use program::Program;

fn given(values: &[(&str, &str)]) -> Given {
    values.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
}

fn plan(name: &str, values: &[(&str, &str)]) -> Result<Plan, DrillError> {
    Chosen::find(name, &given(values))?.plan(Stage::Steady, None)
}

fn place(step: &Step) -> (u8, u8) {
    let Place { string, fret } = step.place.unwrap();
    (string, fret)
}

/// String/fret and size of the first steps.
fn bends(plan: &Plan, most: usize) -> Vec<String> {
    plan.steps.iter().take(most).map(|step| format!("{}/{} {}", place(step).0, place(step).1, step.bend_cents)).collect()
}

fn has_no_chord(plan: &Plan) -> bool {
    plan.steps.iter().all(|step| step.chord.is_none() && step.degree.is_none())
}

/// Pitch classes by name.
fn is_of(name: &str, key: &str) -> bool {
    key.split(' ').any(|one| one == name.trim_end_matches(|letter: char| letter.is_ascii_digit()))
}

#[test]
fn a_drill_keeps_those_of_its_places_that_lie_where_the_player_wants_to_play() {
    for (name, values, wanted) in [
        // Only the sixth string is another one.
        ("hold", &[("tuning", "drop D")][..], &["2/8 200", "2/8 200"][..]),
        ("grace-bend", &[("strings", "2")], &["2/8 100", "2/8 200", "2/8 100", "2/8 200"]),
        ("one-pitch-three-places", &[("strings", "2")], &["2/8 200", "2/9 100", "2/8 200"]),
        ("one-pitch-three-places", &[("strings", "2,3")], &["2/8 200", "2/9 100", "3/12 200"]),
        // G4 to A4, both of E minor; fret 8 lies around position 9.
        ("hold", &[("key", "E minor")], &["2/8 200", "2/8 200"]),
        ("hold", &[("position", "9")], &["2/8 200", "2/8 200"]),
        ("fret-then-bend", &[("strings", "3")], &["3/7 100"]),
    ] {
        let plan = plan(name, values).unwrap_or_else(|error| panic!("{name} {values:?}: {error}"));
        assert_eq!(bends(&plan, wanted.len()), wanted, "{name} {values:?}");
        assert!(has_no_chord(&plan), "{name} {values:?}: nobody asked for a chord");
    }
    let own = plan("three-sizes", &[]).unwrap();
    assert_eq!(plan("three-sizes", &[("tuning", "drop D")]).unwrap().steps, own.steps);
}

#[test]
fn where_none_is_left_easy_places_take_the_same_sizes_in_the_same_order_and_no_chord_comes_in() {
    let third = plan("hold", &[("strings", "3")]).unwrap();
    assert!(third.steps.iter().all(|step| place(step).0 == 3 && (5..=15).contains(&place(step).1)), "{:?}", bends(&third, 9));
    assert!(third.steps.iter().all(|step| (step.bend_cents - 200.0).abs() < 1e-9) && has_no_chord(&third));
    // Three sizes stay at one fret.
    let first = plan("three-sizes", &[("strings", "1")]).unwrap();
    let mut sizes: Vec<i32> = first.steps.iter().take(9).map(|step| step.bend_cents as i32).collect();
    sizes.sort_unstable();
    assert_eq!(sizes, [100, 100, 100, 200, 200, 200, 300, 300, 300]);
    assert!(first.steps.iter().all(|step| place(step) == place(&first.steps[0]) && place(step).0 == 1), "{:?}", bends(&first, 9));
    assert!(has_no_chord(&first));
    let grace = plan("grace-bend", &[("strings", "1")]).unwrap();
    let sizes: Vec<i32> = grace.steps.iter().take(4).map(|step| step.bend_cents as i32).collect();
    assert_eq!(sizes, [100, 200, 100, 200]);
    let high = plan("hold", &[("position", "12")]).unwrap();
    assert!(high.steps.iter().all(|step| (11..=16).contains(&place(step).1)), "{:?}", bends(&high, 9));
    // Fretted notes too.
    let shaken = plan("fret-shake", &[("strings", "4")]).unwrap();
    assert!(shaken.steps.iter().all(|step| place(step).0 == 4) && has_no_chord(&shaken));
}

#[test]
fn one_pitch_stays_one_pitch_in_another_tuning() {
    // DADGAD leaves the third string alone: from there and from elsewhere, always A4.
    let plan = plan("one-pitch-three-places", &[("tuning", "DADGAD")]).unwrap();
    let mut places: Vec<(u8, u8)> = plan.steps.iter().map(place).collect();
    places.sort_unstable();
    places.dedup();
    assert!(places.len() > 1, "{places:?}");
    for step in &plan.steps {
        assert!((step.target_cents() - 6900.0).abs() < 1e-9 && step.target == "A4", "{step:?}");
    }
}

#[test]
fn a_key_alone_says_where_bends_begin_and_end_and_brings_no_chord() {
    let (e_minor, c_major) = ("E F# G A B C D", "C D E F G A B");
    for (name, key, notes) in [("tone", "E minor", e_minor), ("three-sizes", "E minor", e_minor), ("quick", "C", c_major)] {
        let plan = plan(name, &[("key", key)]).unwrap();
        assert!(has_no_chord(&plan), "{name}");
        for step in &plan.steps {
            assert!(is_of(&step.origin, notes) && is_of(&step.target, notes), "{name}: {} to {}", step.origin, step.target);
        }
    }
    // A half step and a whole step never lead from one note of a key to two others: both sizes are there all the same.
    let quick = plan("quick", &[("key", "C")]).unwrap();
    let sizes: Vec<i32> = quick.steps.iter().take(4).map(|step| step.bend_cents as i32).collect();
    assert_eq!(sizes, [100, 200, 100, 200], "{:?}", bends(&quick, 4));
    assert_eq!(place(&quick.steps[1]), (2, 8));
}

#[test]
fn a_chord_is_aimed_at_where_one_is_given() {
    let plan = plan("hold", &[("chord", "Gm7"), ("strings", "1-3")]).unwrap();
    for step in &plan.steps {
        assert_eq!(step.chord.as_deref(), Some("Gm7"));
        assert!(is_of(&step.target, "G Bb D F") && step.degree.is_some(), "{} {:?}", step.target, step.degree);
    }
}

#[test]
fn what_cannot_be_played_is_told_by_what_was_given_and_by_nothing_else() {
    let said = |name: &str, values: &[(&str, &str)]| plan(name, values).map(|plan| bends(&plan, 3)).unwrap_err().to_string();
    assert_eq!(said("hold", &[("strings", "9")]), "there is no string 9: this guitar has 6; name some of 1 to 6");
    assert_eq!(said("hold", &[("position", "30")]), "there is no fret 30: this neck ends at fret 22");
    let wound = said("hold", &[("position", "20")]);
    assert!(wound.starts_with("no bend (whole) lies easily around fret 20: change --position") && !wound.contains("Dm"), "{wound}");
    let both = said("hold", &[("places", "2/8"), ("strings", "3")]);
    assert_eq!(both, "of the places 2/8 none lies on strings 3: leave one of the two out");
    assert!(said("thirds", &[("chord", "Am")]).starts_with("thirds knows no \"chord\"; did you mean chords?"));
    assert!(said("changes", &[("places", "2/8")]).starts_with("changes knows no \"places\""));
    assert!(said("fretted", &[("sizes", "whole")]).starts_with("fretted knows no \"sizes\""));
    assert!(said("match", &[("hear", "nothing")]).contains("heard first"));
}

#[test]
fn over_changes_there_are_as_many_attempts_as_are_asked_for() {
    assert_eq!(plan("thirds", &[("attempts", "4")]).unwrap().steps.len(), 4);
    assert_eq!(plan("thirds", &[]).unwrap().steps.len(), 9);
}

#[test]
fn a_quarter_curl_starts_from_the_b3_and_is_not_corrected_to_the_3() {
    // Over G7 from Bb.
    let plan = plan("tone", &[("chord", "G7"), ("sizes", "quarter")]).unwrap();
    for step in &plan.steps {
        assert!(is_of(&step.origin, "Bb") && step.target_words() == format!("{} and a bit", step.origin), "{step:?}");
        assert_eq!(step.degree.as_deref(), Some("b3"));
    }
}

/// A drill's file, and its values as they lie beside a take: both must ask for the same steps.
fn plays_the_same(name: &str, values: &[(&str, &str)]) -> bool {
    let Ok(chosen) = Chosen::find(name, &given(values)) else { return false };
    let Ok(plan) = chosen.plan(Stage::Strong, None) else { return false };
    let own = OwnDrill { chosen: chosen.clone(), stage: Some(Stage::Strong), minutes: None };
    let text = drill_file::write(&own).unwrap();
    let DrillFile::One(own) = drill_file::read("my.toml", name, &text).unwrap() else { panic!("{name} is one drill") };
    let from_file = own.chosen.plan(own.stage.unwrap(), None).unwrap();
    assert_eq!(bends(&from_file, 99), bends(&plan, 99), "{name} {values:?}\n{text}");
    assert_eq!(from_file, plan, "{name} {values:?}\n{text}");
    let beside = Chosen::of_kind(name, &chosen.title, chosen.kind, &chosen.settled().unwrap()).unwrap();
    assert_eq!(beside.plan(Stage::Strong, None).unwrap(), plan, "{name} {values:?}");
    true
}

#[test]
fn a_file_plays_what_the_command_that_wrote_it_plays_for_every_kind_and_parameter() {
    let names = || KINDS.iter().map(|kind| kind.name).chain(NAMED.iter().map(|named| named.name));
    let mut alone = 0;
    for name in names() {
        let kind = Chosen::find(name, &Given::new()).unwrap().kind;
        for parameter in PARAMETERS {
            let known = Kind::find(kind).unwrap().parameters().contains(&parameter.name);
            let same = plays_the_same(name, &[(parameter.name, parameter.example)]);
            assert!(same == known || parameter.name == "hear", "{name} {}={}: known {known}", parameter.name, parameter.example);
            alone += usize::from(same);
        }
        for values in [
            &[("strings", "3")][..],
            &[("strings", "1"), ("key", "C")],
            &[("position", "9"), ("key", "E minor")],
            &[("position", "12")],
            &[("tuning", "DADGAD")],
            &[("tuning", "open D"), ("each", "2")],
            &[("chord", "Gm7"), ("strings", "2,3")],
            &[("chord", "Am"), ("each", "2"), ("order", "blocks")],
            &[("places", "2/9 3/9 1/8"), ("strings", "2-3")],
            &[("sizes", "half whole one-and-a-half"), ("key", "G"), ("order", "shuffled")],
            &[("chord", "G7"), ("sizes", "quarter"), ("tuned-down", "1")],
        ] {
            plays_the_same(name, values);
        }
    }
    assert!(alone > 400, "{alone}");
}

/// A take as somebody plays it.
fn take(program: &Program, name: &str, text: &str) {
    let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path(name), spec).unwrap();
    for sample in played(text) {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
}

fn rows(program: &Program, log: &str, columns: &[&str]) -> Vec<String> {
    let text = std::fs::read_to_string(program.path(log)).unwrap();
    let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
    let at = |name: &&str| rows[0].iter().position(|column| column == name).unwrap();
    rows[1..].iter().map(|row| columns.iter().map(|name| row[at(name)]).collect::<Vec<_>>().join(",")).collect()
}

#[test]
fn tuned_down_the_page_says_what_is_fingered_and_the_row_what_sounds() {
    let program = Program::new();
    let values = [("chord", "Am"), ("tuned-down", "1"), ("strings", "3"), ("position", "12"), ("sizes", "half"), ("attempts", "2")];
    let lower = plan("tone", &values).unwrap();
    assert_eq!(bends(&lower, 1), ["3/13 100"]);
    take(&program, "evening.wav", &scenario(&lower, Player::default()).replace("damped_s", "detune_cents = -100.0\ndamped_s"));
    let words = ["drill", "tone", "--chord", "Am", "--strings", "3", "--position", "12", "--bend", "half", "--attempts", "2"];
    // At playing speed, or nothing would be asked for between two rows.
    let rest = ["--input", "evening.wav", "--no-check", "--plain", "--save", "off", "--log", "log.csv", "--set", "tuned-down=1"];
    let ran = program.run(&[&words[..], &rest].concat());
    ran.assert_succeeds();
    let said = ran.stdout;
    assert!(said.contains("string 3, fret 13, a half step up: G#4 to A4 (Am: the 1)."), "{said}");
    assert!(said.contains("-1 semitones from what is fingered"), "{said}");
    let columns = ["chord", "degree", "string", "fret", "origin_note", "target_note"];
    // A semitone under A minor is Ab minor: G4 to Ab4.
    assert_eq!(rows(&program, "log.csv", &columns)[0], "Abm,1,3,13,G4,Ab4", "{said}");
}

#[test]
fn a_curl_is_called_so_in_lines_and_table_and_its_row_keeps_the_nearest_note() {
    let program = Program::new();
    let values = [("chord", "G7"), ("sizes", "quarter"), ("attempts", "2"), ("strings", "3")];
    take(&program, "curls.wav", &scenario(&plan("tone", &values).unwrap(), Player::default()));
    let words = ["drill", "tone", "--chord", "G7", "--bend", "quarter", "--attempts", "2", "--strings", "3", "--input", "curls.wav"];
    let ran = program.run(&[&words[..], &["--no-check", "--plain", "--save", "off", "--log", "log.csv"]].concat());
    ran.assert_succeeds();
    assert!(ran.stdout.contains("a quarter tone up: Bb4 to Bb4 and a bit (G7: the b3)."), "{}", ran.stdout);
    assert!(ran.stdout.contains("Attempt 1, step 1, Bb4 to Bb4 and a bit: landed"), "{}", ran.stdout);
    assert!(ran.stdout.contains("  1  G7    b3  Bb4 and a bit landed"), "{}", ran.stdout);
    assert_eq!(rows(&program, "log.csv", &["degree", "target_note", "bend_cents"])[0], "b3,B4,50");
}

#[test]
fn what_is_given_stands_over_a_file_as_over_a_drill() {
    let program = Program::new();
    program.run(&["drill", "hold", "--write", "mine.toml"]).assert_succeeds();
    let listed = |words: &[&str]| {
        let ran = program.run(&[words, &["--list"]].concat());
        ran.assert_succeeds();
        let of = |name: &str| ran.stdout.lines().find(|line| line.trim_start().starts_with(&format!("{name} "))).unwrap().trim().to_owned();
        (of("places"), of("chord"), of("tuning"))
    };
    assert!(listed(&["drill", "mine.toml"]).0.ends_with("now 2/8"));
    for more in [&["--strings", "3"][..], &["--chord", "Gm7"], &["--tuning", "open D"], &["--key", "C", "--strings", "1"]] {
        let (from_file, direct) = (listed(&[&["drill", "mine.toml"], more].concat()), listed(&[&["drill", "hold"], more].concat()));
        assert_eq!(from_file, direct, "{more:?}");
        assert!(!from_file.0.ends_with("now 2/8"), "{more:?}: {}", from_file.0);
    }
    let refused = program.run(&["drill", "thirds", "--chord", "Am", "--list"]);
    assert!(refused.status == Some(2) && refused.stderr.contains("--chord: thirds goes through chords"), "{}", refused.stderr);
    let refused = program.run(&["drill", "hold", "--chart", "ii-V-I", "--list"]);
    assert!(refused.status == Some(2) && refused.stderr.contains("--chart: hold"), "{}", refused.stderr);
    program.write("list.toml", "[[drill]]\nkind = \"hold\"\n");
    let refused = program.run(&["drill", "list.toml", "--strings", "3", "--list"]);
    assert!(refused.status == Some(2) && refused.stderr.contains("list.toml is a list"), "{}", refused.stderr);
}

#[test]
fn the_tuning_of_the_settings_reaches_drills_files_and_lists_and_a_file_of_another_tuning_keeps_it() {
    let program = Program::new();
    program.write("config/config.toml", "tuning = \"open D\"\n");
    program.write("own.toml", "kind = \"hold\"\n");
    program.write("other.toml", "kind = \"hold\"\ntuning = \"drop D\"\n");
    program.write("list.toml", "[[drill]]\nkind = \"hold\"\n");
    let line = |words: &[&str], name: &str| {
        let ran = program.run(&[words, &["--list"]].concat());
        ran.assert_succeeds();
        ran.stdout.lines().find(|line| line.trim_start().starts_with(&format!("{name} "))).unwrap().to_owned()
    };
    for name in ["hold", "own.toml", "list.toml"] {
        assert!(line(&["drill", name], "tuning").ends_with("now open D"), "{name}");
        // String 2 is A there: 2/8 is another note.
        let places = line(&["drill", name], "places");
        assert!(places.contains("now ") && !places.contains("now 2/8"), "{name}: {places}");
    }
    assert!(line(&["drill", "other.toml"], "tuning").ends_with("now drop D"));
    assert!(line(&["drill", "other.toml"], "places").ends_with("now 2/8"));
    assert!(line(&["drill", "other.toml", "--tuning", "standard"], "tuning").ends_with("now standard"));
    // A take that no drill was recorded with is graded on the same guitar.
    let held = plan("hold", &[("tuning", "open D"), ("attempts", "1")]).unwrap();
    let (string, fret) = place(&held.steps[0]);
    let lower = held.steps[0].origin.parse::<Note>().unwrap().midi() - [64, 59, 55][usize::from(string) - 1] - i32::from(fret);
    let text = scenario(&held, Player::default()).replace("damped_s", &format!("detune_cents = {}.0\ndamped_s", 100 * lower));
    take(&program, "held.wav", &text);
    let ran = program.run(&["grade", "held.wav", "--drill", "hold", "--csv", "graded.csv"]);
    ran.assert_succeeds();
    assert_eq!(rows(&program, "graded.csv", &["string", "fret", "step"]), [format!("{string},{fret},1")]);
}

#[test]
fn a_take_of_a_drill_of_ones_own_is_graded_by_the_steps_that_were_asked_for() {
    let program = Program::new();
    program.write("mine.toml", "kind = \"hold\"\nplaces = \"2/9 1/8\"\nattempts = 2\n");
    let asked = plan("hold", &[("places", "1/8"), ("attempts", "2")]).unwrap();
    take(&program, "evening.wav", &scenario(&asked, Player::default()));
    let words = ["drill", "mine.toml", "--strings", "1", "--input", "evening.wav", "--fast", "--save", "takes", "--log", "log.csv"];
    program.run(&words).assert_succeeds();
    let mut kept = std::fs::read_dir(program.path("takes")).unwrap().map(|entry| entry.unwrap().path());
    let kept = kept.find(|path| path.extension().is_some_and(|ending| ending == "wav")).unwrap();
    let graded = |more: &[&str]| {
        program.run(&[&["grade", kept.to_str().unwrap(), "--csv", "graded.csv"][..], more].concat()).assert_succeeds();
        let found = rows(&program, "graded.csv", &["step", "string", "fret", "chord", "target_note", "hold_error_cents"]);
        std::fs::remove_file(program.path("graded.csv")).unwrap();
        found
    };
    let live = rows(&program, "log.csv", &["step", "string", "fret", "chord", "target_note", "hold_error_cents"]);
    assert!(live[0].starts_with("1,1,8,,D5,") && live[1].starts_with("2,1,8,,D5,"), "{live:?}");
    assert_eq!(graded(&[]), live);
    // Over G the D is the 5; a chord puts the places aside, so that no step was answered unless it asks for that bend.
    assert!(graded(&["--chord", "G"]).iter().all(|row| !row.contains(",1,8,,")), "{:?}", graded(&["--chord", "G"]));
}

#[test]
fn a_drill_takes_a_built_in_chart_by_its_name() {
    let program = Program::new();
    let ran = program.run(&["drill", "changes", "--chart", "ii-V-I", "--list"]);
    ran.assert_succeeds();
    let chords = ran.stdout.lines().find(|line| line.trim_start().starts_with("chords ")).unwrap();
    assert!(chords.contains("now Gm7 C7 Fmaj7 "), "{chords}");
    program.run(&["drill", "changes", "--chart", "ii-V", "--list"]).assert_fails_saying(&["there is no chart ii-V", "ii-V-I"]);
}

#[test]
fn tones_are_asked_for_by_their_degree_and_only_where_the_chord_has_them() {
    let sevenths = plan("tone", &[("chord", "Gm7"), ("degrees", "7")]).unwrap();
    assert!(sevenths.steps.iter().all(|step| step.degree.as_deref() == Some("b7") && is_of(&step.target_words(), "F")), "{sevenths:?}");
    for (name, values, wanted) in [
        ("tone", &[("chord", "Dm"), ("degrees", "1 7")][..], "degrees cannot be \"1 7\": Dm has no 7, only 1 b3 5"),
        ("changes", &[("degrees", "9")], "degrees cannot be \"9\": Gm7 has no 9, only 1 b3 5 b7"),
        (
            "tone",
            &[("chord", "Dm"), ("places", "2/8"), ("degrees", "5")],
            "degrees cannot be \"5\": the places say which notes are reached; leave one of the two out",
        ),
        ("tone", &[("key", "D minor"), ("degrees", "5")], "degrees cannot be \"5\": they are tones of a chord; name one with --chord"),
    ] {
        assert_eq!(plan(name, values).unwrap_err().to_string(), wanted);
    }
}
