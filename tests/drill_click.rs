//! Drills that are played to a click: players of known truth against its beats, heard from a file through the path of the card.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod program;

use landfall::sound::synth::{Scenario, render};
use program::{Program, Ran};
use std::fmt::Write;
use std::fs;

const RATE: u32 = 48_000;
/// The issue of a beat's place: within this, ms.
const RIGHT_MS: f64 = 3.0;

/// One bend: string, fret, struck at, cents, straight rise from and for (seconds after the stroke), let go after.
#[derive(Clone, Copy)]
struct Bend(u8, u8, f64, f64, f64, f64, f64);

/// Writes the player's take; the true arrivals and attacks in seconds.
fn player(program: &Program, bends: &[Bend]) -> Vec<(f64, f64)> {
    let end = bends.iter().map(|Bend(_, _, at_s, .., ends)| at_s + ends).fold(0.0, f64::max) + 2.0;
    let mut text = format!("title = \"to a click\"\nseed = 5\nlength_s = {end:?}\n[tone]\nglide_cents = 1.0\n[noise]\nsnr_db = 50.0\n");
    for Bend(string, fret, at_s, cents, from, takes, ends) in bends {
        write!(text, "[[note]]\nat_s = {at_s:?}\nstring = {string}\nfret = {fret}\ndamped_s = {ends:?}\n").unwrap();
        write!(
            text,
            "[[note.then]]\nhand = \"bend\"\nat_s = {from:?}\ncents = {cents:?}\ntakes_ms = {:?}\nshape = \"straight\"\n",
            1000.0 * takes
        )
        .unwrap();
    }
    let rendered = render(&Scenario::from_toml(&text).unwrap()).unwrap();
    let spec = hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path("player.wav"), spec).unwrap();
    for sample in &rendered.samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    let seconds = |frame: u64| frame as f64 / f64::from(RATE);
    rendered.truth.bends().iter().zip(bends).map(|(bend, Bend(_, _, at_s, ..))| (seconds(bend.arrival.0), *at_s)).collect()
}

fn drilled(program: &Program, words: &[&str]) -> Ran {
    let fixed = ["--input", "player.wav", "--fast", "--save", "takes", "--log", "log.csv"];
    let ran = program.run(&["drill"].iter().chain(words).chain(&fixed).copied().collect::<Vec<_>>());
    ran.assert_succeeds();
    ran
}

/// Rows of a CSV, each a map from column to cell.
struct Rows(Vec<Vec<String>>);

impl Rows {
    fn of(text: &str) -> Self {
        Self(text.lines().map(|line| line.split(',').map(str::to_owned).collect()).collect())
    }

    fn log(program: &Program) -> Self {
        Self::of(&fs::read_to_string(program.path("log.csv")).unwrap())
    }

    fn len(&self) -> usize {
        self.0.len() - 1
    }

    fn column(&self, name: &str) -> Vec<&str> {
        let place = self.0[0].iter().position(|column| column == name).unwrap();
        self.0[1..].iter().map(|row| row[place].as_str()).collect()
    }

    fn numbers(&self, name: &str) -> Vec<f64> {
        self.column(name).iter().map(|cell| cell.parse().unwrap_or(f64::NAN)).collect()
    }

    /// From `onset_s` on, as text.
    fn measured(&self) -> Vec<String> {
        let place = self.0[0].iter().position(|column| column == "onset_s").unwrap();
        self.0[1..].iter().map(|row| row[place..].join(",")).collect()
    }
}

/// The slow climb at 60: picked on beat 1 after a count-in of four, every other bar; the top `late_s` after the next beat 1.
fn climbs(late_s: &[f64]) -> Vec<Bend> {
    // A straight rise of 200 cents is within 10 of its end after 95 in 100 of its time.
    let climb = |(index, late): (usize, &f64)| Bend(3, 9, 4.0 + 8.0 * index as f64, 200.0, 0.3, (3.7 + late) / 0.95, 5.6);
    late_s.iter().enumerate().map(climb).collect()
}

fn near(found: &[f64], wanted: &[f64], within: f64) {
    assert_eq!(found.len(), wanted.len(), "{found:?} against {wanted:?}");
    for (found, wanted) in found.iter().zip(wanted) {
        assert!((found - wanted).abs() < within, "{found} where {wanted} is right");
    }
}

#[test]
fn a_climb_is_measured_against_the_click_and_not_against_its_pick() {
    for late_ms in [0.0, 80.0, -50.0] {
        let program = Program::new();
        // The note itself is so late; the arrival, within 10 cents of it, comes before.
        let arrival_ms = 0.95 * (3700.0 + late_ms) - 3700.0;
        let truth = player(&program, &climbs(&[arrival_ms / 1000.0; 3]));
        let ran = drilled(&program, &["slow-climb", "--click", "on", "--attempts", "3"]);
        let rows = Rows::log(&program);
        let wanted: Vec<f64> = truth.iter().enumerate().map(|(n, (arrival, _))| 1000.0 * (arrival - 8.0 - 8.0 * n as f64)).collect();
        assert!(wanted.iter().all(|wanted| (wanted - arrival_ms).abs() < 3.0), "the player is not where he should be: {wanted:?}");
        near(&rows.numbers("beat_error_ms"), &wanted, RIGHT_MS);
        assert_eq!(rows.column("step"), ["1", "2", "3"]);
        assert!(rows.column("faults").iter().all(|faults| !faults.contains("uncalibrated")), "a file has no card's delay");
        let late = rows.column("faults").iter().filter(|faults| faults.contains("late") || faults.contains("early")).count();
        assert_eq!(late > 0, late_ms > 60.0, "within 60 ms it is on the beat: {:?}", rows.column("faults"));
        let said = ran.stdout.split_once("Time of the tops: ").and_then(|(_, rest)| rest.split_once(" ms on average")).unwrap().0;
        near(&[said.parse().unwrap()], &[late_ms], RIGHT_MS);
    }
}

#[test]
fn a_late_pick_with_a_top_on_the_beat_is_on_the_beat() {
    let program = Program::new();
    // Struck 200 ms late, and up in time all the same: counted from the pick, the top would be 200 ms early.
    player(&program, &[Bend(3, 9, 4.2, 200.0, 0.3, 3.5 / 0.95, 5.4)]);
    drilled(&program, &["slow-climb", "--click", "on", "--attempts", "1"]);
    near(&Rows::log(&program).numbers("beat_error_ms"), &[0.0], RIGHT_MS);
    let program = Program::new();
    player(&program, &[Bend(3, 9, 4.2, 200.0, 0.3, 3.5 / 0.95, 5.4)]);
    drilled(&program, &["slow-climb", "--click", "off", "--attempts", "1"]);
    near(&Rows::log(&program).numbers("beat_error_ms"), &[-200.0], RIGHT_MS);
}

#[test]
fn the_pick_of_a_grace_bend_is_on_the_beat() {
    let program = Program::new();
    let late = [0.0, 0.08, -0.05];
    let graces: Vec<Bend> =
        (0..3).map(|n| Bend(2, 8, 4.0 + 4.0 * f64::from(n) + late[n as usize], 100.0 * f64::from(1 + n % 2), 0.02, 0.09, 1.4)).collect();
    player(&program, &graces);
    let ran = drilled(&program, &["grace-bend", "--click", "on", "--attempts", "3"]);
    let rows = Rows::log(&program);
    near(&rows.numbers("attack_beat_error_ms"), &[0.0, 80.0, -50.0], RIGHT_MS);
    assert_eq!(rows.column("beat_error_ms"), ["", "", ""], "its top is wanted at once, and on no beat");
    assert!(ran.stdout.contains("Time of the picks:"), "{}", ran.stdout);
}

#[test]
fn thirds_arrive_on_the_first_beat_of_a_bar_of_twelve_eighths_and_what_is_bent_in_the_count_in_does_not_count() {
    let program = Program::new();
    let beat = 60.0 / 58.0;
    let listed = program.run(&["drill", "thirds", "--list"]).stdout;
    // Lines are broken at 80 columns.
    let words: Vec<&str> = listed.split_whitespace().collect();
    assert!(words.join(" ").contains("now 12/8"), "{listed}");
    // A to Bb (Gm7), D to E (C7), G to A (F), wherever the drill has put them.
    program.write("thirds.toml", "kind = \"thirds\"\nrounds = 1\n");
    let plan =
        landfall::practice::drills::Chosen::find("thirds", &landfall::practice::parameters::Given::from([("rounds".into(), "1".into())]))
            .unwrap()
            .plan(landfall::practice::stage::Stage::Steady, None)
            .unwrap();
    let mut bends = vec![{
        // In the count-in, for the hand alone.
        let step = &plan.steps[0];
        let place = step.place.unwrap();
        Bend(place.string, place.fret, 0.5 * beat, step.bend_cents, 0.1, 0.2, 1.2)
    }];
    for (bar, step) in plan.steps.iter().enumerate() {
        let place = step.place.unwrap();
        // Picked on the last beat of the bar before.
        let share = 1.0 - 10.0 / step.bend_cents;
        bends.push(Bend(place.string, place.fret, beat * (3.0 + 4.0 * bar as f64), step.bend_cents, beat - 0.2 * share, 0.2, 3.4 * beat));
    }
    let truth = player(&program, &bends);
    drilled(&program, &["thirds", "--set", "rounds=1", "--click", "on"]);
    let rows = Rows::log(&program);
    assert_eq!(rows.column("chord"), ["Gm7", "C7", "F"]);
    assert_eq!(rows.column("degree"), ["b3", "3", "3"]);
    let wanted: Vec<f64> =
        truth[1..].iter().enumerate().map(|(bar, (arrival, _))| 1000.0 * (arrival - 4.0 * beat * (bar + 1) as f64)).collect();
    near(&rows.numbers("beat_error_ms"), &wanted, RIGHT_MS);
    assert!(wanted.iter().all(|wanted| wanted.abs() < 5.0), "{wanted:?}");
}

#[test]
fn a_saved_take_gives_the_same_bytes_graded_and_heard_again() {
    let program = Program::new();
    player(&program, &climbs(&[0.03, 0.0, 0.09]));
    drilled(&program, &["slow-climb", "--click", "on", "--attempts", "3", "--click-start", "4"]);
    let live = Rows::log(&program).measured();
    assert_eq!(live.len(), 3);
    let take = fs::read_dir(program.path("takes"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .find(|path| path.extension().unwrap() == "wav")
        .unwrap();
    let take = take.to_str().unwrap();
    let again = program.run(&["grade", take, "--csv", "-"]);
    again.assert_succeeds();
    assert_eq!(Rows::of(&again.stdout).measured(), live);
    let heard = program.run(&["drill", "slow-climb", "--attempts", "3", "--input", take, "--fast", "--save", "off", "--log", "again.csv"]);
    heard.assert_succeeds();
    assert_eq!(Rows::of(&fs::read_to_string(program.path("again.csv")).unwrap()).measured(), live);
}

#[test]
fn the_first_bar_may_begin_anywhere_in_a_recording() {
    let program = Program::new();
    player(&program, &climbs(&[0.02]));
    // Half a second earlier than the player thinks.
    drilled(&program, &["slow-climb", "--click", "on", "--attempts", "1", "--click-start", "3.5"]);
    near(&Rows::log(&program).numbers("beat_error_ms"), &[520.0], RIGHT_MS);
    assert_eq!(Rows::log(&program).len(), 1);
}

#[test]
fn a_click_where_nothing_is_in_time_is_refused_in_words() {
    let program = Program::new();
    player(&program, &climbs(&[0.0]));
    let ran = program.run(&["drill", "hold", "--click", "on", "--input", "player.wav", "--fast"]);
    assert_eq!(ran.status, Some(2), "{}", ran.stderr);
    assert!(ran.stderr.contains("no beats"), "{}", ran.stderr);
}

/// A list of drills, one attempt of each.
fn list_of(program: &Program, kinds: &[&str]) {
    let mut text = "title = \"Evening\"\n".to_owned();
    for kind in kinds {
        write!(text, "[[drill]]\nkind = \"{kind}\"\nattempts = 1\n").unwrap();
    }
    program.write("list.toml", text);
}

fn saved(program: &Program) -> String {
    let takes = fs::read_dir(program.path("takes")).unwrap().map(|entry| entry.unwrap().path());
    takes.into_iter().find(|path| path.extension().unwrap() == "wav").unwrap().to_str().unwrap().to_owned()
}

#[test]
fn the_beats_of_a_list_heard_from_one_take_go_on_where_the_take_has_them() {
    let late = [-0.06, 0.04];
    for words in [["--click", "on", "--click-start", "4"].as_slice(), &[]] {
        let program = Program::new();
        let truth = player(&program, &climbs(&late));
        let wanted: Vec<f64> = truth.iter().enumerate().map(|(n, (arrival, _))| 1000.0 * (arrival - 8.0 - 8.0 * n as f64)).collect();
        list_of(&program, &["slow-climb", "slow-climb"]);
        let mut take = "player.wav".to_owned();
        if words.is_empty() {
            // As it was recorded: with its beats beside it.
            drilled(&program, &["slow-climb", "--click", "on", "--attempts", "2"]);
            take = saved(&program);
            fs::remove_file(program.path("log.csv")).unwrap();
        }
        let fixed = ["drill", "list.toml", "--input", &take, "--fast", "--save", "listed", "--log", "log.csv"];
        let ran = program.run(&fixed.iter().chain(words).copied().collect::<Vec<_>>());
        ran.assert_succeeds();
        let rows = Rows::log(&program);
        near(&rows.numbers("beat_error_ms"), &wanted, RIGHT_MS);
        assert_eq!(rows.column("step"), ["1", "1"], "{}", ran.stdout);
        // Each drill of the list has a take of its own, with beats that lie before it.
        let takes = fs::read_dir(program.path("listed")).unwrap().map(|entry| entry.unwrap().path());
        let takes: Vec<_> = takes.filter(|path| path.extension().unwrap() == "wav").collect();
        let graded = |take: &std::path::PathBuf| {
            let graded = program.run(&["grade", take.to_str().unwrap(), "--csv", "-"]);
            graded.assert_succeeds();
            Rows::of(&graded.stdout).numbers("beat_error_ms")
        };
        let mut errors: Vec<f64> = takes.iter().flat_map(graded).collect();
        errors.sort_by(f64::total_cmp);
        near(&errors, &wanted, RIGHT_MS);
    }
}

#[test]
fn a_take_whose_click_never_became_known_has_no_beats_and_counts_none_from_the_pick() {
    let program = Program::new();
    // The output died before a beat was placed: what is struck after its four seconds counts, live as graded.
    player(&program, &[Bend(3, 9, 8.1, 200.0, 0.3, 3.9, 5.4), Bend(3, 9, 16.1, 200.0, 0.3, 3.9, 5.4)]);
    drilled(&program, &["slow-climb", "--click", "on", "--attempts", "2"]);
    assert!(Rows::log(&program).numbers("beat_error_ms").iter().all(|error| error.is_finite()));
    let take = saved(&program);
    let sidecar = std::path::Path::new(&take).with_extension("toml");
    let text = fs::read_to_string(&sidecar).unwrap();
    let without: Vec<&str> = text.lines().filter(|line| !line.starts_with("beats_at")).collect();
    assert!(without.len() + 1 == text.lines().count() && text.contains("[asked.click]"), "{text}");
    fs::write(&sidecar, without.join("\n")).unwrap();
    let graded = program.run(&["grade", &take, "--csv", "-"]);
    graded.assert_succeeds();
    let rows = Rows::of(&graded.stdout);
    assert_eq!(rows.column("step"), ["1", "2"]);
    assert_eq!(rows.column("beat_error_ms"), ["", ""]);
}

#[test]
fn in_a_list_a_drill_without_beats_has_no_click_and_a_list_without_any_is_refused() {
    let program = Program::new();
    player(&program, &climbs(&[0.0]));
    let heard = ["drill", "list.toml", "--click", "on", "--input", "player.wav", "--fast", "--save", "off", "--log", "log.csv"];
    list_of(&program, &["slow-climb", "bend-and-hold"]);
    let ran = program.run(&heard);
    ran.assert_succeeds();
    assert!(ran.stdout.contains("The take holds nothing more of this list; 1 drill is not in it."), "{}", ran.stdout);
    near(&Rows::log(&program).numbers("beat_error_ms"), &[0.0], RIGHT_MS);
    list_of(&program, &["hold", "bend-and-hold"]);
    let ran = program.run(&heard);
    assert!(ran.status == Some(2) && ran.stderr.contains("no beats"), "{}", ran.stderr);
}

#[test]
fn a_click_that_cannot_be_meant_is_told_before_anything_is_heard() {
    let program = Program::new();
    let ran = program.run(&["drill", "bend-and-hold", "--click", "on", "--device", "no such card"]);
    assert!(ran.status == Some(2) && ran.stderr.contains("no beats"), "{}", ran.stderr);
    assert!(!ran.stdout.contains("Ten seconds"), "{}", ran.stdout);
    // An output that is not there is answered with --out-device.
    program.run(&["drill", "slow-climb", "--list", "--out-device", "USB"]).assert_succeeds();
    // Nor is anybody asked to play where there is nobody who hears it.
    let ran = program.run(&["drill", "slow-climb", "--device", "no such card"]);
    assert!(ran.status == Some(1) && ran.stdout.is_empty(), "{}", ran.stdout);
    let ran = program.run(&["calibrate", "--device", "no such card"]);
    assert!(ran.status == Some(1) && !ran.stderr.contains("tones follow"), "{}", ran.stderr);
}
