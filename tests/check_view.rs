//! The page of the ten seconds before the first drill, at 80 by 24 and smaller.

use landfall::practice::check::Finding;
use landfall::views::check::{CheckPage, Step, draw};
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

fn page(step: Step, width: u16, height: u16) -> String {
    let area = Rect::new(0, 0, width, height);
    let mut buffer = Buffer::empty(area);
    draw(&CheckPage { step, notice: None }, area, &mut buffer);
    let row = |y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
    (0..height).map(row).collect::<Vec<_>>().join("\n")
}

fn found(findings: &[(&str, &str)]) -> Step {
    Step::Found(findings.iter().map(|(word, sentence)| Finding { word: (*word).to_owned(), sentence: (*sentence).to_owned() }).collect())
}

const NOISE: (&str, &str) =
    ("noise", "It is not quiet between notes (-50 dBFS): turn away from screens and transformers, and use less gain.");
const SHARP: (&str, &str) = ("2 sharp", "String 2 is 14 cents sharp: tune it first (`landfall tune`).");
const FLAT: (&str, &str) = ("6 flat", "String 6 is 9 cents flat: tune it first (`landfall tune`).");
const LOUD: (&str, &str) = ("too loud", "The level is high (-1 dBFS): turn the input down a little.");
const GATE: (&str, &str) = ("gate", "Notes are cut off, as by a noise gate: switch it off, or holds will seem short.");

fn steps() -> Vec<(&'static str, Step)> {
    vec![
        ("quiet", Step::Quiet(3)),
        ("pick", Step::Pick { left_s: 5, heard: vec![4, 5, 6], missing: vec![1, 2, 3] }),
        ("good", found(&[])),
        ("one", found(&[SHARP])),
        ("two", found(&[NOISE, SHARP])),
        ("all", found(&[LOUD, NOISE, GATE, SHARP, FLAT])),
    ]
}

#[test]
fn every_step_of_the_check_at_80_by_24() {
    for (name, step) in steps() {
        insta::assert_snapshot!(format!("80x24_check_{name}"), page(step, 80, 24));
    }
}

#[test]
fn every_finding_has_its_sentence_in_any_usual_size_and_no_size_makes_it_panic() {
    for (width, height) in [(80, 24), (100, 30), (60, 20)] {
        let text = page(found(&[LOUD, NOISE, GATE, SHARP, FLAT]), width, height);
        for part in ["level is high", "not quiet between", "noise gate", "String 2 is 14", "String 6 is 9"] {
            assert!(text.contains(part), "{part:?} at {width} by {height}:\n{text}");
        }
    }
    for (_, step) in steps() {
        for width in 1..90 {
            for height in 1..30 {
                page(step.clone(), width, height);
            }
        }
    }
}
