//! The way through a tune: one triad for each chord, with the least motion of the hand in all.
//!
//! Motion from a voicing to the next: the sum of the frets that each of the three voices moves, plus two for each string that the set
//! of strings moves. On the same strings that is the motion in semitones of [`Voicing::motion_to`]. The least sum over the whole tune
//! is found by dynamic programming (Bellman 1957) and compared with trying every way in `tests/theory_laws.rs`.

use super::chord::Chord;
use super::neck::Neck;
use super::triad::{Triad, Voicing, string_sets, voicings};

/// What moving the hand by one string costs, in frets. Common practice, no source.
const STRING_COST: u32 = 2;

/// The motion of the hand from one voicing to another.
#[must_use]
pub fn hand_motion(from: &Voicing, to: &Voicing) -> u32 {
    let frets: u32 = from.frets.iter().zip(to.frets).map(|(a, b)| u32::from(a.abs_diff(b))).sum();
    let strings: u32 = from.strings.iter().zip(to.strings).map(|(a, b)| u32::from(a.abs_diff(b))).max().unwrap_or(0);
    frets + STRING_COST * strings
}

/// Where a route starts and what it may use.
#[derive(Clone, Debug)]
pub struct Wishes {
    /// The fret near which the hand starts; `None` to start anywhere.
    pub start: Option<u8>,
    /// The sets of strings that may be used.
    pub sets: Vec<[u8; 3]>,
    /// The first and last fret that may be used; `None` for all.
    pub frets: Option<(u8, u8)>,
}

impl Wishes {
    /// Anywhere on all sets of neighbouring strings; of ways that move as little, the one on the higher strings.
    #[must_use]
    pub fn anywhere(neck: &Neck) -> Self {
        Self { start: None, sets: string_sets(neck.strings(), false).into_iter().rev().collect(), frets: None }
    }

    fn first_cost(&self, voicing: &Voicing) -> u32 {
        self.start.map_or(0, |fret| voicing.frets.iter().map(|f| u32::from(f.abs_diff(fret))).sum())
    }
}

/// A route: a voicing for each chord, and what it all costs.
#[derive(Clone, Debug, PartialEq)]
pub struct Route {
    /// For each chord; `None` where it is none or has no triad: the hand stays.
    pub voicings: Vec<Option<Voicing>>,
    /// The motion in all, from the start if one was wished.
    pub motion: u32,
}

/// The close voicings that a route may take for a chord: none for a chord without a triad.
#[must_use]
pub fn candidates(neck: &Neck, chord: &Chord, wishes: &Wishes) -> Vec<Voicing> {
    let Ok(triad) = Triad::of(chord) else { return Vec::new() };
    let within =
        |voicing: &Voicing| wishes.frets.is_none_or(|(first, last)| voicing.lowest_fret() >= first && voicing.highest_fret() <= last);
    voicings(neck, &triad, &wishes.sets).into_iter().filter(|voicing| voicing.is_close() && within(voicing)).collect()
}

/// The route with the least motion. Of equal ones the first in the order of [`candidates`], compared from the end of the tune, so
/// that the same question has the same answer.
#[must_use]
pub fn route(neck: &Neck, chords: &[Option<&Chord>], wishes: &Wishes) -> Route {
    let all: Vec<(usize, Vec<Voicing>)> = chords
        .iter()
        .enumerate()
        .filter_map(|(index, chord)| Some((index, candidates(neck, (*chord)?, wishes))))
        .filter(|(_, voicings)| !voicings.is_empty())
        .collect();
    // For each chord and voicing: the least motion up to it, and the voicing before it on that way.
    let mut least: Vec<Vec<(u32, usize)>> = Vec::with_capacity(all.len());
    for (step, (_, here)) in all.iter().enumerate() {
        let costs = match least.last().zip(step.checked_sub(1).map(|before| &all[before].1)) {
            None => here.iter().map(|voicing| (wishes.first_cost(voicing), 0)).collect(),
            Some((so_far, before)) => here
                .iter()
                .map(|to| {
                    let ways = before.iter().zip(so_far).enumerate().map(|(i, (from, (cost, _)))| (cost + hand_motion(from, to), i));
                    ways.min().unwrap_or((0, 0))
                })
                .collect(),
        };
        least.push(costs);
    }
    let mut found = Route { voicings: vec![None; chords.len()], motion: 0 };
    let Some((end, (motion, _))) = least.last().and_then(|costs| costs.iter().enumerate().min_by_key(|(_, (cost, _))| *cost)) else {
        return found;
    };
    found.motion = *motion;
    let mut index = end;
    for ((chord, voicings), costs) in all.iter().zip(&least).rev() {
        found.voicings[*chord] = Some(voicings[index]);
        index = costs[index].1;
    }
    found
}
