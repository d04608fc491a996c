//! The takes of `test_signals/recorded`: what the attempt log means by each measure, found on their curves.

use super::truth::{BAND, Bend, Curve, Piece, median};
use landfall::grading::Technique;
use landfall::sound::{ChannelWish, FileSource, Mono, Next};
use landfall::units::A4;
use serde::Deserialize;
use std::fs;
use std::path::{Path, PathBuf};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Facts {
    condition: String,
    sample_rate_hz: u32,
    note: Vec<Note>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Note {
    kind: String,
    approach: String,
    #[serde(default)]
    restrike: bool,
    fretted_midi: u32,
    asked_cents: Option<f64>,
    attack_s: f64,
    reached_s: f64,
    push_s: Option<f64>,
    arrival_s: Option<f64>,
    hold_ends_s: Option<f64>,
    let_go_s: Option<f64>,
    landed_s: Option<f64>,
    landing_ends_s: Option<f64>,
    damped_s: f64,
    vibrato: Option<Shake>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Shake {
    from_s: f64,
    until_s: f64,
    rate_hz: f64,
    half_width_cents: f64,
    centre_cents: f64,
}

/// All takes, in the order of their names.
pub fn pieces() -> Vec<Piece> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("test_signals/recorded");
    let mut takes: Vec<PathBuf> = fs::read_dir(&folder)
        .expect("the recordings are there")
        .map(|entry| entry.expect("a folder can be read").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "flac"))
        .collect();
    takes.sort();
    takes.iter().map(|take| piece(take)).collect()
}

fn piece(take: &Path) -> Piece {
    let name = take.file_stem().expect("a take has a name").to_string_lossy().into_owned();
    let beside = |ending: &str| {
        let path = take.with_file_name("truth").join(format!("{name}.{ending}"));
        fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
    };
    let facts: Facts = toml::from_str(&beside("toml")).unwrap_or_else(|error| panic!("{name}: {error}"));
    let mut pitch = Curve::new(curve(&beside("csv")));
    for note in &facts.note {
        pitch.judge(note.attack_s, note.damped_s);
        pitch.leave_out(note.attack_s, note.reached_s + 0.06);
    }
    let (rate, samples) = heard(take);
    assert_eq!(rate.hz(), facts.sample_rate_hz, "{name}");
    let bends = facts.note.iter().enumerate().filter(|(_, note)| note.kind != "plain").map(|(at, note)| {
        let again = facts.note.get(at + 1).is_some_and(|next| next.restrike);
        bend(&pitch, note, again)
    });
    Piece {
        clean: facts.condition == "clean",
        bends: bends.collect(),
        strokes: facts.note.iter().filter(|note| note.approach == "strike").map(|note| note.attack_s).collect(),
        rate,
        samples,
        pitch,
        name,
    }
}

/// `time_s,f0_hz`, a line for each millisecond at which a note sounds.
fn curve(text: &str) -> Vec<Option<f64>> {
    let mut cents = Vec::new();
    for line in text.lines().skip(1) {
        let (time, hz) = line.split_once(',').expect("two columns");
        let at = (time.parse::<f64>().expect("a time") * 1000.0).round() as usize;
        cents.resize(at, None);
        cents.push(Some(A4::default().cents(hz.parse().expect("a frequency"))));
    }
    cents
}

fn heard(take: &Path) -> (landfall::units::SampleRate, Vec<f32>) {
    let source = FileSource::open(take).unwrap_or_else(|error| panic!("{error}"));
    let mut mono = Mono::new(Box::new(source), ChannelWish::Louder).expect("it has a channel");
    let mut samples = Vec::new();
    while let Next::Block(block) = mono.hear().unwrap_or_else(|error| panic!("{error}")) {
        samples.extend_from_slice(block.samples);
    }
    (mono.rate(), samples)
}

fn bend(pitch: &Curve, note: &Note, picked_again: bool) -> Bend {
    // The last fret of a slide is reached in 12 ms, a hammer-on in 5: the attack is somewhere there.
    let attack = match note.approach.as_str() {
        "slide" => (note.reached_s - 0.006, note.reached_s),
        "hammer" => (note.reached_s - 0.005, note.reached_s),
        "strike" => (note.attack_s, note.attack_s),
        other => panic!("no approach is called {other}"),
    };
    let (push, hold_end) = (note.push_s.expect("a bend is pushed"), note.hold_ends_s.expect("a bend is held"));
    let origin = median(pitch.between(note.reached_s + 0.001, push));
    let start = pitch.last_while(push, hold_end, |cents| (cents - origin).abs() <= BAND);
    // Where nothing shakes, the level is beyond doubt in the second half of the hold; else just before the shake.
    let roughly = note.arrival_s.expect("a bend arrives");
    let settled = match &note.vibrato {
        Some(shake) => median(pitch.between(shake.from_s - 0.04, shake.from_s)),
        None => median(pitch.between(f64::midpoint(roughly, hold_end), hold_end)),
    };
    let arrival = pitch.arrival(push, hold_end, settled);
    let shaken = note.vibrato.as_ref().map(|shake| {
        // At full width: from the second cycle on.
        let cycle = 1.0 / shake.rate_hz;
        let steady = pitch.between(shake.from_s + cycle, shake.until_s);
        let (low, high) = steady.iter().fold((f64::MAX, f64::MIN), |(low, high), &cents| (low.min(cents), high.max(cents)));
        let whole = ((shake.until_s - shake.from_s) / cycle - 1.0).floor() * cycle;
        let cycles = pitch.between(shake.from_s + cycle, shake.from_s + cycle + whole);
        (shake.rate_hz, low, high, cycles.iter().sum::<f64>() / cycles.len() as f64)
    });
    let top = pitch.between(start, arrival.1 + 0.25).into_iter().fold(f64::MIN, f64::max);
    let lowest = shaken.map_or(settled, |(_, low, ..)| low);
    let held = shaken.map_or_else(|| median(pitch.between(arrival.0, hold_end)), |(.., centre)| centre);
    // The curve and what was asked of it say the same.
    let (fretted, asked) = (100.0 * f64::from(note.fretted_midi), note.asked_cents.expect("a bend has a size"));
    assert!(
        (origin - fretted).abs() < 30.0 && (held - fretted - asked).abs() < 60.0,
        "{origin} and {held} are not {fretted} and {asked} more"
    );
    if let (Some(shake), Some((_, low, high, centre))) = (&note.vibrato, shaken) {
        let (half, middle) = ((high - low) / 2.0, fretted + asked + shake.centre_cents);
        assert!((half - shake.half_width_cents).abs() < 0.5 && (centre - middle).abs() < 0.5, "a vibrato of {half} around {centre}");
    }
    Bend {
        technique: Technique::of(note.kind == "pre-bend", note.let_go_s.is_some()),
        attack,
        start: Some(start),
        arrival,
        held,
        hold_end,
        overshoot: (shaken.is_none() && top - settled > 5.0).then_some(top - settled),
        release_start: note.let_go_s.map(|let_go| pitch.last_while(let_go, note.damped_s, |cents| cents >= lowest - BAND)),
        landing: note.landed_s.zip(note.landing_ends_s).map(|(from, until)| median(pitch.between(from, until))),
        picked_again,
        vibrato: shaken.map(|(rate, low, high, _)| (rate, (high - low) / 2.0)),
    }
}
