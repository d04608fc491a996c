//! The words of theory that people type and the charts they write: right ones, spoilt at random, and noise. Whatever comes in must end in an
//! answer or in an error on one line that names the place: the word for a symbol or a tuning, the file for a chart. No panic, no hang.
//!
//! `PROPTEST_CASES=1000000 cargo test --release --test theory_words` looks at a million of each.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::theory::chart::{Chart, EXAMPLES, Metre};
use landfall::theory::triad::string_sets;
use landfall::theory::{Chord, Key, Neck, Place, Scale, TUNINGS, Triad, Tuning, voicings};
use proptest::prelude::*;

/// Pieces of which chord symbols are made, and some of which none is.
const OF_CHORDS: &[&str] = &[
    "C",
    "F#",
    "Bb",
    "E##",
    "Abb",
    "Hm",
    "b",
    "m",
    "-",
    "maj",
    "M",
    "Δ",
    "^",
    "dim",
    "o",
    "°",
    "ø",
    "aug",
    "+",
    "dom",
    "sus",
    "sus2",
    "sus4",
    "add",
    "no",
    "omit",
    "alt",
    "(",
    ")",
    ",",
    "/",
    "#",
    "♯",
    "♭",
    "𝄫",
    "2",
    "3",
    "4",
    "5",
    "6",
    "7",
    "9",
    "11",
    "13",
    "69",
    "99999999999",
    "G",
    " ",
    "\t",
    "\u{0}",
    "é",
    "🎸",
    "\u{202e}",
];

const OF_TUNINGS: &[&str] = &[
    "E",
    "A",
    "D",
    "G",
    "B",
    "F#",
    "Bb",
    "E##",
    "e",
    "H",
    "-1",
    "0",
    "2",
    "3",
    "4",
    "9",
    "10",
    "99999999999",
    " ",
    "  ",
    ",",
    ";",
    "-",
    "_",
    "drop",
    "open",
    "standard",
    "ukulele",
    "\t",
    "\n",
    "\u{0}",
    "é",
    "♯",
    "🎸",
];

const OF_CHARTS: &[&str] = &[
    "key = \"D minor\"\n",
    "metre = \"12/8\"\n",
    "metre = \"7/8\"\n",
    "groups = \"2+2+3\"\n",
    "tempo = 58\n",
    "tempo = -1\n",
    "tempo = nan\n",
    "feel = \"swing\"\n",
    "title = \"x\"\n",
    "form = [\"A\", \"A\"]\n",
    "form = []\n",
    "[part.A]\n",
    "[part.\"é\"]\n",
    "bars = \"\"\"\n",
    "bars = '''",
    "\"\"\"\n",
    "'''\n",
    "| Dm ",
    "|: ",
    ":|",
    "||",
    "| % ",
    "/ ",
    "N.C. ",
    "Gm7/F ",
    "Hm ",
    "|",
    "\n",
    "\"",
    "\\u0000",
    "=",
    "[",
    "]",
    "0x10",
    "1e400",
    "🎸",
    "\u{0}",
    "\r",
];

fn pieces(of: &'static [&'static str], most: usize) -> impl Strategy<Value = String> {
    prop::collection::vec(prop::sample::select(of), 0..most).prop_map(|pieces| pieces.concat())
}

/// Noise, pieces in any order, or a right text with some characters changed, doubled or taken out.
fn texts(of: &'static [&'static str], most: usize, right: Vec<String>) -> impl Strategy<Value = String> {
    let slips = prop::collection::vec((0.0..1.0f64, 0u8..4, any::<char>()), 0..4);
    let spoilt = (prop::sample::select(right), slips).prop_map(|(text, slips)| {
        let mut text: Vec<char> = text.chars().collect();
        for (share, kind, new) in slips {
            let at = (text.len() as f64 * share) as usize;
            match kind {
                0 if at < text.len() => drop(text.remove(at)),
                1 => text.insert(at, new),
                2 if at < text.len() => text[at] = new,
                _ => text.truncate(at),
            }
        }
        text.into_iter().collect()
    });
    prop_oneof![2 => pieces(of, most), 2 => spoilt, 1 => any::<String>()]
}

/// A sentence on one line that says where.
fn names_a_place(error: &str, place: &str) -> Result<(), TestCaseError> {
    prop_assert!(error.contains(place), "{error:?} does not name {place:?}");
    prop_assert!(!error.chars().any(char::is_control), "{error:?} is not one line");
    Ok(())
}

/// How an error shows a word: on one line, cut after 60 characters.
fn shown(word: &str) -> String {
    let word: String = word.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).take(60).collect();
    format!("'{word}")
}

fn symbols() -> Vec<String> {
    ["Dm7", "F#m7b5", "Bb7#9", "G/B", "C6/9", "Am(maj7)", "EbΔ", "C7(b9,#5)", "D minor", "F# harmonic minor", "A minor pentatonic"]
        .map(str::to_owned)
        .into()
}

fn tuning_texts() -> Vec<String> {
    TUNINGS.iter().flat_map(|(name, notes)| [(*name).to_owned(), (*notes).to_owned()]).collect()
}

fn charts() -> Vec<String> {
    EXAMPLES.iter().map(|example| example.text.to_owned()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_symbol_scale_or_key_brings_the_reader_down(text in texts(OF_CHORDS, 9, symbols())) {
        match Chord::parse(&text) {
            Ok(chord) => {
                // What is read can be used, and landfall's own spelling of it is read alike.
                prop_assert!(!chord.tones().is_empty());
                let again = Chord::parse(&format!("{}{}", chord.root(), chord.suffix()));
                prop_assert_eq!(again.map(|again| again.tones().to_vec()), Ok(chord.tones().to_vec()), "{}", chord.suffix());
                if let Ok(triad) = Triad::of(&chord) {
                    let neck = Neck::new(Tuning::standard(), 12).unwrap();
                    prop_assert!(!voicings(&neck, &triad, &string_sets(6, false)).is_empty());
                }
            }
            Err(error) => names_a_place(&error.to_string(), &shown(&text))?,
        }
        if let Err(error) = text.parse::<Scale>() {
            names_a_place(&error.to_string(), &shown(&text))?;
        }
        if let Err(error) = text.parse::<Key>() {
            names_a_place(&error.to_string(), &shown(&text))?;
        }
    }

    #[test]
    fn no_tuning_brings_the_reader_down(text in texts(OF_TUNINGS, 20, tuning_texts())) {
        match text.parse::<Tuning>() {
            Ok(tuning) => {
                prop_assert!((4..=9).contains(&tuning.count()));
                prop_assert_eq!(tuning.to_string().parse::<Tuning>(), Ok(tuning.clone()));
                let neck = Neck::new(tuning, 36).unwrap();
                let highest = neck.midi(Place { string: 1, fret: 36 });
                prop_assert!(neck.places().count() == usize::from(neck.strings()) * 37 && highest < 160);
            }
            Err(error) => names_a_place(&error.to_string(), &shown(&text))?,
        }
    }

    #[test]
    fn no_chart_brings_the_reader_down(text in texts(OF_CHARTS, 24, charts())) {
        match Chart::parse("tune.toml", &text) {
            Ok(chart) => {
                let tune = chart.timeline();
                prop_assert!(tune.length_s.is_finite() && tune.length_s > 0.0 && tune.bars.len() <= 20_000);
                prop_assert!(tune.chords.iter().all(|chord| chord.end_s > chord.start_s));
            }
            Err(error) => {
                names_a_place(&error.to_string(), "tune.toml: ")?;
                let lines = text.split('\n').count();
                prop_assert!(error.spot.line.is_none_or(|line| (1..=lines).contains(&line)), "line {:?} of {lines}", error.spot.line);
            }
        }
        if let Err(error) = Chart::from_chords(&text, None, Metre::common(), 90.0) {
            names_a_place(&error.to_string(), "the chords")?;
        }
    }
}
