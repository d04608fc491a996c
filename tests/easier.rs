//! What a drill does where something does not come: the bend gets smaller, and stays a bend into the same note of the same chord.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod drill_player;
#[allow(dead_code, reason = "each test uses a part of it")]
mod program;

use drill_player::{Player, played, scenario};
use landfall::practice::drills::Chosen;
use landfall::practice::parameters::Given;
use landfall::practice::plan::{Plan, Step};
use landfall::practice::stage::Stage;
use landfall::theory::Place;
use program::Program;

const ATTEMPTS: usize = 16;
/// Three flat ones make the cue, three more let the note be heard first, three more make the bend smaller: so many are played as planned.
const AS_PLANNED: usize = 9;

/// Sixteen whole bends from G4 at string 2, fret 8 into A4, the 5 of Dm, each so many cents flat.
fn plan(flat_cents: f64) -> Plan {
    let given = [("chord", "Dm"), ("places", "2/8"), ("sizes", "whole"), ("attempts", "16")];
    let given: Given = given.into_iter().map(|(name, value)| (name.to_owned(), value.to_owned())).collect();
    let mut plan = Chosen::find("tone", &given).unwrap().plan(Stage::Steady, None).unwrap();
    for step in &mut plan.steps {
        step.bend_cents -= flat_cents;
    }
    plan
}

/// The rows of the drill on what was played for `plan`, each a function of a column, and what was said.
fn drilled(plan: &Plan) -> (Vec<Vec<(String, String)>>, String) {
    let program = Program::new();
    let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path("flat.wav"), spec).unwrap();
    for sample in played(&scenario(plan, Player::default())) {
        writer.write_sample(sample).unwrap();
    }
    writer.finalize().unwrap();
    let drill = ["drill", "tone", "--chord", "Dm", "--set", "places=2/8", "--set", "sizes=whole", "--set", "set=16", "--attempts", "16"];
    let heard = ["--input", "flat.wav", "--fast", "--plain", "--save", "off", "--log", "log.csv"];
    let ran = program.run(&[&drill[..], &heard[..]].concat());
    ran.assert_succeeds();
    let log = std::fs::read_to_string(program.path("log.csv")).unwrap();
    let mut lines = log.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
    let header = lines.next().unwrap();
    (lines.map(|cells| header.iter().cloned().zip(cells).collect()).collect(), ran.stdout)
}

fn column(rows: &[Vec<(String, String)>], name: &str) -> Vec<String> {
    rows.iter().map(|row| row.iter().find(|(column, _)| column == name).unwrap().1.clone()).collect()
}

fn assert_all(rows: &[Vec<(String, String)>], name: &str, wanted: &str) {
    assert!(column(rows, name).iter().all(|cell| cell == wanted), "{name}: {:?}", column(rows, name));
}

fn assert_into_the_same_note(rows: &[Vec<(String, String)>]) {
    assert_eq!(column(rows, "step"), (1..=ATTEMPTS).map(|step| step.to_string()).collect::<Vec<_>>());
    for (name, wanted) in [("chord", "Dm"), ("degree", "5"), ("target_note", "A4"), ("string", "2")] {
        assert_all(rows, name, wanted);
    }
}

#[test]
fn a_smaller_bend_goes_to_the_same_tone_of_the_chord_from_a_fret_higher() {
    let mut plan = plan(75.0);
    for step in &mut plan.steps[AS_PLANNED..] {
        *step = Step { place: Some(Place { string: 2, fret: 9 }), origin_cents: 6800.0, bend_cents: 100.0 - 25.0, ..step.clone() };
    }
    let (rows, said) = drilled(&plan);
    assert_into_the_same_note(&rows);
    let (first, eased) = rows.split_at(AS_PLANNED);
    for (rows, fret, origin, size) in [(first, "8", "G4", "200"), (eased, "9", "G#4", "100")] {
        for (name, wanted) in [("fret", fret), ("origin_note", origin), ("bend_cents", size)] {
            assert_all(rows, name, wanted);
        }
    }
    assert!(!said.contains("Nearer to the note"), "25 of a half step is no better than 75 of a whole one: {said}");
    assert!(said.contains("string 2, fret 8") && said.contains("string 2, fret 9"), "{said}");
}

#[test]
fn whoever_goes_on_with_the_bend_as_planned_has_answered_the_step() {
    let (rows, _) = drilled(&plan(26.0));
    assert_into_the_same_note(&rows);
    for (name, wanted) in [("fret", "8"), ("origin_note", "G4"), ("bend_cents", "200")] {
        assert_all(&rows, name, wanted);
    }
}
