//! One tolerance for what is said, what is cued and what stands on the row: that of the bend, which is wider for large ones and for touched tops.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[allow(dead_code, reason = "each test uses a part of it")]
mod drill_player;
#[allow(dead_code, reason = "each test uses a part of it")]
mod program;

use drill_player::{Player, played, scenario};
use landfall::grading::{Attempt, Fault, Verdict, Wish, Word};
use landfall::live::ears::Settles;
use landfall::live::settled::SettledLoop;
use landfall::practice::drills::Chosen;
use landfall::practice::parameters::Given;
use landfall::practice::stage::Stage;
use landfall::sound::Block;
use landfall::units::{A4, FrameSpan, FrameTime, SampleRate};
use program::Program;

const LARGE: &[(&str, &str)] = &[("places", "3/10"), ("sizes", "one-and-a-half"), ("attempts", "5")];

/// Five bends of one and a half steps, each so far off.
fn large(stage: Stage, off_cents: [f64; 5]) -> Vec<f32> {
    let given: Given = LARGE.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    let mut plan = Chosen::find("hold", &given).unwrap().plan(stage, None).unwrap();
    plan.steps.iter_mut().zip(off_cents).for_each(|(step, off)| step.bend_cents += off);
    played(&scenario(&plan, Player::default()))
}

/// What the drill says of it, and its log.
fn drilled(stage: &str, samples: &[f32]) -> (String, String) {
    let program = Program::new();
    let spec = hound::WavSpec { channels: 1, sample_rate: 48_000, bits_per_sample: 32, sample_format: hound::SampleFormat::Float };
    let mut writer = hound::WavWriter::create(program.path("large.wav"), spec).unwrap();
    for sample in samples {
        writer.write_sample(*sample).unwrap();
    }
    writer.finalize().unwrap();
    let mut words = vec!["drill".to_owned(), "hold".to_owned(), "--stage".to_owned(), stage.to_owned()];
    words.extend(LARGE.iter().flat_map(|(name, value)| ["--set".to_owned(), format!("{name}={value}")]));
    words.extend(["--input", "large.wav", "--fast", "--plain", "--save", "off", "--log", "log.csv"].map(str::to_owned));
    let ran = program.run(&words.iter().map(String::as_str).collect::<Vec<_>>());
    ran.assert_succeeds();
    (ran.stdout, std::fs::read_to_string(program.path("log.csv")).unwrap())
}

fn column(log: &str, name: &str) -> Vec<String> {
    let mut rows = log.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let at = rows.next().unwrap().iter().position(|column| *column == name).unwrap();
    rows.map(|row| row[at].to_owned()).collect()
}

fn numbers(log: &str, name: &str) -> Vec<f64> {
    column(log, name).iter().map(|cell| cell.parse().unwrap()).collect()
}

#[test]
fn a_large_bend_within_its_own_tolerance_has_landed_in_word_cue_fault_score_and_row() {
    // The large tolerance of each stage, and an error between the usual one and that.
    for (stage, word, tolerance, off) in
        [(Stage::Starting, "starting", 30.0, 25.0), (Stage::Steady, "steady", 15.0, 13.0), (Stage::Strong, "strong", 10.0, 8.5)]
    {
        let (said, log) = drilled(word, &large(stage, [-off, -off, -off, -off, off]));
        assert!(
            said.contains("5 bends, 5 landed, 5 without a fault.") && !said.contains("short") && !said.contains("Next time"),
            "{word}: {said}"
        );
        assert_eq!(column(&log, "faults"), [""; 5], "{word}");
        assert!(numbers(&log, "tolerance_cents").iter().all(|cents| (cents - tolerance).abs() < 1e-9), "{word}: {log}");
        for (tuned, held) in numbers(&log, "in_tune_s").iter().zip(numbers(&log, "hold_s")) {
            assert!(*tuned > 0.95 * held, "{word}: {tuned} of {held} s in tune");
        }
        assert!(numbers(&log, "score").iter().all(|score| *score > 90.0), "{word}: {:?}", numbers(&log, "score"));
    }
}

#[test]
fn a_large_bend_outside_of_it_has_not() {
    let (said, log) = drilled("steady", &large(Stage::Steady, [-18.0; 5]));
    assert!(said.contains("5 bends, 0 landed, 0 without a fault.") && said.contains("Next time"), "{said}");
    assert!(column(&log, "faults").iter().all(|faults| faults.contains("flat")), "{log}");
}

/// A whole bend of string 2 that is let down at once, so far off at its top; `stays_s`: for how long it stays there.
fn graded(off_cents: f64, stays_s: f64) -> Attempt {
    let text = format!(
        "title = \"a top\"\n[[note]]\nat_s = 0.2\nstring = 2\nfret = 8\ndamped_s = 2.5\n[[note.then]]\nhand = \"bend\"\nat_s = 0.3\n\
         cents = {:.1}\ntakes_ms = 100.0\n[[note.then]]\nhand = \"release\"\nat_s = {:.3}\ntakes_ms = 120.0\n",
        200.0 + off_cents,
        0.4 + stays_s
    );
    let samples = played(&text);
    let mut settled = SettledLoop::new(SampleRate::new(48_000).unwrap(), A4::default(), Wish::default());
    let mut rows = Vec::new();
    settled.hear(&Block { start: FrameTime(0), samples: &samples, lost_before: FrameSpan(0), faults: &[] }, &mut |row| rows.push(row));
    settled.finish(&mut |row| rows.push(row));
    assert_eq!(rows.len(), 1);
    rows.remove(0)
}

#[test]
fn a_top_that_is_only_touched_may_be_off_by_twice_as_much_and_its_row_says_so() {
    let touched = graded(-16.0, 0.0);
    assert!(touched.measures.hold_s.unwrap() < 0.05, "{:?}", touched.measures);
    assert_eq!((Verdict::of(&touched).arrival, touched.tolerance_cents), (Some(Word::Landed), 20.0));
    assert!(!touched.faults.contains(&Fault::Flat), "{:?}", touched.faults);
    let held = graded(-16.0, 0.5);
    assert!(matches!(Verdict::of(&held).arrival, Some(Word::Short(15..=17))), "{:?}", Verdict::of(&held));
    assert!(held.faults.contains(&Fault::Flat) && (held.tolerance_cents - 10.0).abs() < 1e-9);
}
