//! How exact landfall is, over recorded takes and over its own synthesiser, and whether README says so.
//!
//! Truth is what the takes were made from (`test_signals/recorded/NOTICE.md`) and what the synthesiser played; each measure is found on
//! the true curve by the definition that the attempt log gives it, by code that is used nowhere else. README's tables are written by
//! `LANDFALL_WRITE_TABLE=1 cargo test --test accuracy`; without it, a test fails where they differ.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

mod compare;
mod recorded;
mod synthesised;
mod table;
mod truth;

use compare::{Errors, rows};
use std::fs;
use std::path::Path;
use std::sync::LazyLock;
use table::{Table, percentile};
use truth::Piece;

static RECORDED: LazyLock<Errors> = LazyLock::new(|| Errors::of(&recorded::pieces()));
static SYNTHESISED: LazyLock<Errors> = LazyLock::new(|| {
    let pieces: Vec<Piece> = synthesised::bends().iter().map(synthesised::piece).collect();
    Errors::of(&pieces)
});
static OCTAVES: LazyLock<Vec<(&str, Errors)>> = LazyLock::new(octaves);

/// The neck from its lowest note: half an octave below A, then every octave.
const OCTAVES_OF_MIDI: [(&str, i64, i64); 5] =
    [("E2 to A2", 40, 45), ("Bb2 to A3", 46, 57), ("Bb3 to A4", 58, 69), ("Bb4 to A5", 70, 81), ("Bb5 to E6", 82, 88)];

/// Every note of the neck by itself, gathered by octave.
fn octaves() -> Vec<(&'static str, Errors)> {
    let scenario = synthesised::every_note();
    let midi = |note: &landfall::sound::synth::Note| scenario.tuning_midi[note.string - 1].round() as i64 + i64::from(note.fret);
    let of = |(name, lowest, highest): (&'static str, i64, i64)| {
        let mut part = scenario.clone();
        part.notes.retain(|note| (lowest..=highest).contains(&midi(note)));
        assert!(part.notes.len() >= 18, "{name}: three times six notes at least");
        (name, Errors::of_live(&synthesised::piece(&part)))
    };
    OCTAVES_OF_MIDI.map(of).into()
}

const BEGIN: &str = "<!-- written by tests/accuracy: do not type here -->\n";
const END: &str = "<!-- end -->\n";

#[test]
fn readme_says_how_exact_landfall_is() {
    let measures = Table::of_measures(&[("recorded guitar", &RECORDED), ("synthesised", &SYNTHESISED)]);
    let octaves = Table::of_octaves(&OCTAVES);
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    let readme = fs::read_to_string(&path).unwrap();
    let (head, rest) = readme.split_once(BEGIN).expect("README has the place of its tables");
    let (stands, tail) = rest.split_once(END).expect("README has the end of its tables");
    if std::env::var_os("LANDFALL_WRITE_TABLE").is_some_and(|value| value == "1") {
        let text = format!("{head}{BEGIN}{}\n{}{END}{tail}", measures.markdown(), octaves.markdown());
        fs::write(&path, text).unwrap();
        return;
    }
    let (first, second) = stands.split_once("\n\n").unwrap_or((stands, ""));
    let wrong = [measures.differences(first), octaves.differences(second)].concat();
    assert!(
        wrong.is_empty(),
        "README's tables are not what is measured; `LANDFALL_WRITE_TABLE=1 cargo test --test accuracy` writes them anew:\n{}",
        wrong.join("\n")
    );
}

/// What has to hold, whatever README says.
fn must(name: &str, errors: &Errors) {
    println!("{name}:\n  {}", errors.notes.join("\n  "));
    let share = |part: usize, whole: usize| part as f64 / whole.max(1) as f64;
    let at_most = |what: &str, value: f64, limit: f64| assert!(value <= limit, "{name}: {what} is {value:.3}, over {limit}");
    assert_eq!(errors.found, errors.played, "{name}: bends found");
    assert!(errors.invented <= 1, "{name}: {} invented", errors.invented);
    assert!(share(errors.technique_right, errors.found) >= 0.97, "{name}: {} of {} techniques", errors.technique_right, errors.found);
    assert!(
        share(errors.picked_again_seen, errors.picked_again) >= 0.9,
        "{name}: {} of {} restrikes",
        errors.picked_again_seen,
        errors.picked_again
    );
    at_most("attack, ms", percentile(&errors.attack_ms, 0.95), 10.0);
    at_most("arrival, ms", percentile(&errors.arrival_ms, 0.95), 8.0);
    at_most("hold, cents", percentile(&errors.hold, 0.95), 1.5);
    at_most("hold, clean, cents", percentile(&errors.hold_clean, 0.95), 1.0);
    at_most("release, ms", percentile(&errors.release_ms, 0.95), 8.0);
    at_most("landing, cents", percentile(&errors.landing, 0.95), 3.0);
    at_most("overshoot, cents", percentile(&errors.overshoot, 0.95), 3.0);
    at_most("vibrato's rate, Hz", percentile(&errors.vibrato_rate, 0.95), 0.15);
    at_most("vibrato's half width, cents", percentile(&errors.vibrato_half, 0.95), 2.0);
    at_most("readings of another note afterwards, in 100", errors.afterwards.gross_pct(), 0.5);
    at_most("readings of another note live, in 100", errors.live.gross_pct(), 0.5);
    at_most("live readings, ms late", percentile(&errors.ready_ms, 0.95), 25.0);
}

#[test]
fn recorded_bends_are_measured_as_they_were_played() {
    assert!(RECORDED.played >= 25 && RECORDED.picked_again >= 4 && !RECORDED.vibrato_half.is_empty() && RECORDED.overshoot.len() >= 4);
    must("recorded", &RECORDED);
}

#[test]
fn synthesised_bends_are_measured_as_they_were_played() {
    assert!(
        SYNTHESISED.played >= 100
            && SYNTHESISED.picked_again >= 15
            && SYNTHESISED.vibrato_half.len() >= 6
            && SYNTHESISED.overshoot.len() >= 6
    );
    must("synthesised", &SYNTHESISED);
}

#[test]
fn a_comparison_with_a_wrong_truth_says_no() {
    let mut piece = recorded::pieces().remove(0);
    let rows = rows(&piece);
    let mut right = Errors::default();
    right.rows(&piece, &rows);
    assert!(right.found == piece.bends.len() && percentile(&right.hold, 1.0) < 1.0 && percentile(&right.arrival_ms, 1.0) < 8.0);
    let mut wrong = Errors::default();
    piece.bends[0].held += 5.0;
    let shift = |bend: &mut truth::Bend, by: f64| bend.arrival = (bend.arrival.0 + by, bend.arrival.1 + by);
    shift(&mut piece.bends[0], 0.02);
    shift(&mut piece.bends[1], 10.0);
    piece.bends[1].hold_end += 10.0;
    wrong.rows(&piece, &rows);
    assert_eq!((wrong.found, wrong.invented), (right.found - 1, right.invented + 1));
    assert!(percentile(&wrong.hold, 1.0) > 4.0 && percentile(&wrong.arrival_ms, 1.0) > 12.0);
}
