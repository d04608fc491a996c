//! How long a question about the neck takes without the process around it: 20 ms is allowed for the largest neck, process and all, and 50 ms
//! for the way through a tune of 200 bars.

#![allow(clippy::unwrap_used, missing_docs, reason = "a bench that cannot be set up has nothing to say")]

use criterion::{Criterion, criterion_group, criterion_main};
use landfall::theory::chart::{Chart, Metre};
use landfall::theory::route::{Wishes, route};
use landfall::theory::triad::string_sets;
use landfall::theory::{Chord, Neck, StringSet, Triad, Tuning, bends, voicings};
use std::hint::black_box;

fn largest_neck(criterion: &mut Criterion) {
    let tuning: Tuning = "9 strings".parse().unwrap();
    let strings = StringSet::usual(&tuning);
    let neck = Neck::new(tuning, 24).unwrap();
    let chord = Chord::parse("C#13").unwrap();
    let triad = Triad::of(&chord).unwrap();
    let sets = string_sets(neck.strings(), true);
    criterion.bench_function("all triads of a 13th chord on 9 strings and 24 frets", |bench| {
        bench.iter(|| voicings(black_box(&neck), &triad, &sets));
    });
    criterion.bench_function("all bends into a 13th chord on 9 strings and 24 frets", |bench| {
        bench.iter(|| bends(black_box(&neck), &strings, &chord, None, &[100, 200, 300, 400]));
    });
}

fn long_route(criterion: &mut Criterion) {
    let neck = Neck::new(Tuning::standard(), 24).unwrap();
    let tune = Chart::from_chords(&"Dm7 G7 Cmaj7 A7b9 Em7b5 ".repeat(40), None, Metre::common(), 120.0).unwrap().timeline();
    assert_eq!(tune.bars.len(), 200);
    let chords: Vec<Option<&Chord>> = tune.chords.iter().map(|played| played.chord.as_ref()).collect();
    let wishes = Wishes::anywhere(&neck);
    criterion.bench_function("the route through 200 bars", |bench| bench.iter(|| route(black_box(&neck), &chords, &wishes)));
}

criterion_group!(neck, largest_neck, long_route);
criterion_main!(neck);
