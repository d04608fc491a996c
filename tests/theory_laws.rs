//! Laws of theory, and the slow obvious way beside each quick one: every fret tried, every route walked.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use landfall::theory::chart::Chart;
use landfall::theory::path::up_the_set;
use landfall::theory::route::{Wishes, candidates, hand_motion, route};
use landfall::theory::triad::{nearest, string_sets};
use landfall::theory::{
    Chord, Degree, Interval, Inversion, Letter, Neck, Note, NoteName, Place, SCALES, Scale, StringSet, Triad, Tuning, Voicing, bends,
    numeral, voicings,
};
use proptest::prelude::*;

const SUFFIXES: &[&str] = &[
    "", "m", "dim", "aug", "5", "sus2", "sus4", "6", "m6", "6/9", "7", "maj7", "m7", "m7b5", "dim7", "mMaj7", "7sus4", "add9", "9", "maj9",
    "m9", "7b9", "7#9", "7#11", "7b13", "7b9#5", "11", "m11", "13", "maj13", "13b9", "7alt", "maj7#11", "7b5", "maj7#5",
];

fn names() -> impl Strategy<Value = NoteName> {
    (0usize..7, -2i8..=2).prop_map(|(letter, alter)| NoteName::new(Letter::ALL[letter], alter))
}

fn notes() -> impl Strategy<Value = Note> {
    (names(), 0i32..=8).prop_map(|(name, octave)| Note { name, octave })
}

/// Intervals of an octave and a half at most, up to doubly augmented or diminished.
fn intervals() -> impl Strategy<Value = Interval> {
    (0i32..11, -2i32..=2).prop_map(|(steps, alter)| Interval::new(steps, Interval::natural(steps) + alter))
}

fn chords() -> impl Strategy<Value = Chord> {
    // Roots with one accidental at most: the letters of what stands on them stay readable.
    (0usize..7, -1i8..=1, prop::sample::select(SUFFIXES))
        .prop_map(|(letter, alter, suffix)| Chord::parse(&format!("{}{suffix}", NoteName::new(Letter::ALL[letter], alter))).unwrap())
}

/// Tunings of 4 to 9 strings, rising or not.
fn tunings() -> impl Strategy<Value = Tuning> {
    prop::collection::vec(28i32..=67, 4..=9)
        .prop_map(|midi| midi.iter().map(|midi| Note::usual(*midi).to_string()).collect::<Vec<_>>().join(" ").parse().unwrap())
}

fn necks() -> impl Strategy<Value = Neck> {
    let usual = prop::sample::select(&["standard", "open G", "DADGAD", "ukulele", "7 strings"][..]).prop_map(|name| name.parse().unwrap());
    (prop_oneof![usual, tunings()], 5u8..=24).prop_map(|(tuning, frets)| Neck::new(tuning, frets).unwrap())
}

/// The cost of the least of all routes, each walked to its end.
fn walk(ways: &[Vec<Voicing>], from: Option<&Voicing>, start: Option<u8>) -> u32 {
    let Some((here, rest)) = ways.split_first() else { return 0 };
    let step = |to: &Voicing| match (from, start) {
        (Some(from), _) => hand_motion(from, to),
        (None, Some(start)) => to.frets.iter().map(|fret| u32::from(fret.abs_diff(start))).sum(),
        (None, None) => 0,
    };
    here.iter().map(|to| step(to) + walk(rest, Some(to), start)).min().unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_goes_up_by_an_interval_comes_down_by_it(note in notes(), interval in intervals(), other in intervals()) {
        prop_assert_eq!(note.up(interval).up(-interval), note);
        prop_assert_eq!(note.up(interval).up(other), note.up(interval + other));
        prop_assert_eq!(note.up(interval).midi(), note.midi() + interval.semitones);
    }

    #[test]
    fn an_interval_and_its_inversion_make_an_octave(steps in 0i32..=7, alter in -2i32..=2) {
        let interval = Interval::new(steps, Interval::natural(steps) + alter);
        prop_assert_eq!(interval + interval.inverted(), Interval::OCTAVE);
        prop_assert_eq!(interval.inverted().inverted(), interval);
    }

    #[test]
    fn what_is_written_reads_back(note in notes(), interval in intervals(), number in 1u8..=13, alter in -2i8..=2) {
        prop_assert_eq!(note.to_string().parse::<Note>().unwrap(), note);
        prop_assert_eq!(interval.to_string().parse::<Interval>().unwrap(), interval);
        let degree = Degree::new(number, alter);
        prop_assert_eq!(degree.to_string().parse::<Degree>().unwrap(), degree);
    }

    #[test]
    fn spelling_a_chord_and_then_moving_it_is_moving_it_and_then_spelling_it(chord in chords(), interval in intervals()) {
        let moved = chord.up(interval);
        let one_by_one: Vec<NoteName> = chord.tones().iter().map(|tone| tone.name.up(interval)).collect();
        prop_assert_eq!(moved.tones().iter().map(|tone| tone.name).collect::<Vec<_>>(), one_by_one);
    }

    #[test]
    fn the_spelling_that_landfall_gives_a_chord_is_read_as_the_same_chord(chord in chords()) {
        let again = Chord::parse(&format!("{}{}", chord.root(), chord.suffix())).unwrap();
        prop_assert_eq!(again.tones(), chord.tones());
    }

    #[test]
    fn a_numeral_stays_when_chord_and_key_move_together(chord in chords(), tonic in names(), interval in intervals()) {
        prop_assume!(Degree::of(tonic.interval_to(chord.root())).alter.abs() <= 1);
        prop_assert_eq!(numeral(tonic, &chord), numeral(tonic.up(interval), &chord.up(interval)));
    }

    #[test]
    fn a_scale_moves_note_by_note(kind in 0..SCALES.len(), tonic in names(), interval in intervals()) {
        let scale = Scale::new(tonic, &SCALES[kind]);
        let one_by_one: Vec<NoteName> = scale.notes().map(|(_, name)| name.up(interval)).collect();
        prop_assert_eq!(scale.up(interval).notes().map(|(_, name)| name).collect::<Vec<_>>(), one_by_one);
    }

    #[test]
    fn three_inversions_up_a_set_of_strings_are_an_octave(chord in chords(), set in 0usize..4) {
        let Ok(triad) = Triad::of(&chord) else { return Ok(()) };
        let neck = Neck::new(Tuning::standard(), 24).unwrap();
        let way = up_the_set(&neck, &triad, string_sets(6, false)[set]);
        for (low, high) in way.iter().zip(way.iter().skip(3)) {
            prop_assert_eq!(high.frets, low.frets.map(|fret| fret + 12));
            prop_assert_eq!(high.inversion, low.inversion);
        }
        prop_assert!(way.len() >= 4, "a neck of two octaves has every inversion");
        prop_assert!(way.windows(2).all(|pair| pair[0].inversion != pair[1].inversion));
    }

    #[test]
    fn triads_are_those_that_trying_every_fret_finds(neck in necks(), chord in chords(), spread in any::<bool>()) {
        let Ok(triad) = Triad::of(&chord) else { return Ok(()) };
        let class = |midi: i32| midi.rem_euclid(12);
        let wanted: Vec<i32> = triad.tones.iter().map(|tone| tone.name.class()).collect();
        let sets = string_sets(neck.strings(), spread);
        let mut found: Vec<_> = voicings(&neck, &triad, &sets).iter().map(|v| (v.strings, v.frets, v.inversion)).collect();
        let mut tried = Vec::new();
        for &strings in &sets {
            let midi = |i: usize, fret: u8| neck.midi(Place { string: strings[i], fret });
            for a in 0..=neck.frets() {
                for b in a.saturating_sub(4)..=neck.frets().min(a + 4) {
                    for c in a.max(b).saturating_sub(4)..=neck.frets().min(a.min(b) + 4) {
                        let sounds = [midi(0, a), midi(1, b), midi(2, c)];
                        if wanted.iter().all(|tone| sounds.iter().any(|sound| class(*sound) == *tone)) {
                            let lowest = class(*sounds.iter().min().unwrap());
                            let inversion = [Inversion::Root, Inversion::First, Inversion::Second][wanted.iter().position(|t| *t == lowest).unwrap()];
                            tried.push((strings, [a, b, c], inversion));
                        }
                    }
                }
            }
        }
        found.sort_unstable();
        tried.sort_unstable();
        prop_assert_eq!(found, tried);
    }

    #[test]
    fn the_nearest_triad_moves_least(neck in necks(), chord in chords(), next in chords()) {
        let (Ok(from), Ok(to)) = (Triad::of(&chord), Triad::of(&next)) else { return Ok(()) };
        let sets = string_sets(neck.strings(), false);
        let to = voicings(&neck, &to, &sets);
        for from in voicings(&neck, &from, &sets) {
            let (motion, chosen) = nearest(&from, &to);
            for other in to.iter().filter(|other| other.strings == from.strings) {
                let moves: i32 = (0..3).map(|i| (from.midi[i] - other.midi[i]).abs()).sum();
                prop_assert_eq!(moves.unsigned_abs() == motion, chosen.contains(&other));
                prop_assert!(moves.unsigned_abs() >= motion);
            }
        }
    }

    #[test]
    fn bends_are_those_that_trying_every_fret_finds_and_the_easiest_come_first(neck in necks(), chord in chords(), kind in 0..SCALES.len()) {
        let scale = Scale::new(chord.root(), &SCALES[kind]);
        let found = bends(&neck, &StringSet::usual(neck.tuning()), &chord, Some(&scale), &[100, 200]);
        let mut tried = 0;
        for string in 1..=neck.strings() {
            for fret in 1..=neck.frets() {
                let midi = neck.midi(Place { string, fret });
                let holds = |midi: i32| chord.tones().iter().any(|tone| tone.name.class() == midi.rem_euclid(12));
                if scale.notes().any(|(_, name)| name.class() == midi.rem_euclid(12)) {
                    tried += usize::from(holds(midi + 1)) + usize::from(holds(midi + 2));
                }
            }
        }
        prop_assert_eq!(found.len(), tried);
        for bend in &found {
            prop_assert_eq!(bend.target.midi() * 100, bend.origin.midi() * 100 + bend.cents.cast_signed());
            prop_assert_eq!(bend.origin.midi(), neck.midi(bend.place));
        }
        prop_assert!(found.is_sorted_by_key(|bend| bend.ease));
    }

    #[test]
    fn the_route_is_as_short_as_the_best_of_all_routes(
        chords in prop::collection::vec(chords(), 1..=4), start in prop::option::of(0u8..=12), frets in 5u8..=9,
    ) {
        let neck = Neck::new(Tuning::standard(), 12).unwrap();
        let wishes = Wishes { start, frets: Some((2, frets)), ..Wishes::anywhere(&neck) };
        let wanted: Vec<Option<&Chord>> = chords.iter().map(Some).collect();
        let found = route(&neck, &wanted, &wishes);
        let ways: Vec<_> = chords.iter().map(|chord| candidates(&neck, chord, &wishes)).filter(|ways| !ways.is_empty()).collect();
        prop_assume!(ways.iter().map(Vec::len).product::<usize>() < 200_000);
        prop_assert_eq!(found.motion, walk(&ways, None, start));
        let taken: Vec<_> = found.voicings.iter().flatten().collect();
        let walked: u32 = taken.windows(2).map(|pair| hand_motion(pair[0], pair[1])).sum();
        let to_start = start.zip(taken.first()).map_or(0, |(start, first)| first.frets.iter().map(|fret| u32::from(fret.abs_diff(start))).sum());
        prop_assert_eq!(walked + to_start, found.motion);
    }

    #[test]
    fn a_capo_and_a_lower_tuning_move_what_is_heard_and_nothing_else(neck in necks(), capo in 0u8..=3, down in 0u8..=12) {
        let moved = neck.clone().with_capo(capo).unwrap().tuned_down(down).unwrap();
        prop_assert_eq!(moved.frets(), neck.frets() - capo);
        for place in moved.places() {
            prop_assert_eq!(moved.midi(place), neck.midi(place));
            prop_assert_eq!(moved.sounding(place), neck.midi(place) + i32::from(capo) - i32::from(down));
        }
    }

    #[test]
    fn bars_follow_each_other_without_gap_or_overlap(
        metre in prop::sample::select(&[("4/4", ""), ("12/8", ""), ("7/8", "2+2+3"), ("9/8", "2+2+2+3"), ("3/4", ""), ("5/4", "3+2")][..]),
        tempo in 20u32..300, bars in prop::collection::vec(prop::sample::select(&["Dm", "%", "N.C.", "Gm7"][..]), 1..12), repeat in any::<bool>(),
    ) {
        let groups = if metre.1.is_empty() { String::new() } else { format!("groups = \"{}\"\n", metre.1) };
        let (open, close) = if repeat { ("|:", ":|") } else { ("|", "|") };
        let text = format!("key = \"D minor\"\nmetre = \"{}\"\n{groups}tempo = {tempo}\nbars = \"{open} Dm | {} {close}\"\n", metre.0, bars.join(" | "));
        let chart = Chart::parse("tune.toml", &text).unwrap();
        let tune = chart.timeline();
        let played = (bars.len() + 1) * if repeat { 2 } else { 1 };
        prop_assert_eq!(tune.bars.len(), played);
        // By hand: compound bars count dotted quarters, uneven ones what their metre is written in.
        let beats = match metre.0 { "4/4" | "12/8" => 4, "7/8" => 7, "9/8" => 9, "3/4" => 3, _ => 5 };
        let length = f64::from(beats) * 60.0 / f64::from(tempo) * played as f64;
        prop_assert!((tune.length_s - length).abs() < 1e-6, "{} s, not {length} s", tune.length_s);
        prop_assert!(tune.chords.windows(2).all(|pair| (pair[0].end_s - pair[1].start_s).abs() < 1e-9));
        prop_assert!(tune.beats().count() == played * beats as usize);
    }
}
