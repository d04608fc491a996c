//! Which scales fit a chord.
//!
//! Rules, in this order; a scale is offered once, by the first rule that names it. Common practice, no source.
//!
//! 1. The key's own scale, on its tonic, where it holds every tone of the chord.
//! 2. In a minor key, harmonic minor on the tonic for the dominant on 5 and the diminished seventh on 7.
//! 3. By the chord's quality, on its root (the table [`FOR_QUALITY`]): those that hold all its tones first, of them the ones with
//!    seven notes, of them the ones with the fewest notes foreign to the key.
//! 4. The pentatonic on the root that has the chord's third, where it holds root, third and fifth.

use super::chord::Chord;
use super::degree::Degree;
use super::interval::Interval;
use super::key::Key;
use super::scale::{SCALES, Scale, ScaleKind};

/// A scale that fits, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fit {
    /// The scale.
    pub scale: Scale,
    /// Why, in a few words.
    pub why: &'static str,
    /// Notes of it that are not in the key.
    pub foreign: usize,
}

/// Degrees that a chord must have.
type Having = &'static [(u8, i8)];

/// Scales by quality: degrees that the chord must have, and what is played on its root. The first entry that fits is taken.
pub const FOR_QUALITY: &[(Having, &[&str])] = &[
    (&[(3, -1), (5, -1), (7, -2)], &["diminished whole-half", "altered diminished"]),
    (&[(3, -1), (5, -1), (7, -1)], &["locrian", "locrian natural 2"]),
    (&[(3, -1), (5, -1)], &["locrian", "diminished whole-half"]),
    (&[(3, -1), (7, 0)], &["melodic minor", "harmonic minor"]),
    (&[(3, -1)], &["minor", "dorian", "phrygian", "melodic minor", "harmonic minor"]),
    (&[(3, 0), (5, 1), (7, -1)], &["altered", "whole tone"]),
    (&[(3, 0), (5, 1)], &["lydian augmented", "ionian augmented", "whole tone"]),
    (&[(3, 0), (5, -1), (7, -1)], &["lydian dominant", "whole tone", "altered"]),
    (&[(3, 0), (7, -1), (9, -1)], &["phrygian dominant", "diminished half-whole", "altered"]),
    (&[(3, 0), (7, -1), (9, 1)], &["diminished half-whole", "altered", "blues"]),
    (&[(3, 0), (7, -1), (11, 1)], &["lydian dominant", "diminished half-whole"]),
    (&[(3, 0), (7, -1), (13, -1)], &["mixolydian b6", "phrygian dominant"]),
    (&[(3, 0), (7, -1)], &["mixolydian", "lydian dominant", "phrygian dominant", "blues", "major blues"]),
    (&[(4, 0), (7, -1), (9, -1)], &["phrygian", "phrygian dominant"]),
    (&[(4, 0)], &["mixolydian", "major", "dorian"]),
    (&[(11, 1)], &["lydian"]),
    (&[(3, 0)], &["major", "lydian", "mixolydian"]),
    (&[(2, 0)], &["major", "mixolydian", "dorian"]),
    (&[(1, 0)], &["minor", "major", "mixolydian", "dorian"]),
];

/// The scales that fit a chord in a key, the first choice first. Every one holds root, third and fifth of the chord.
#[must_use]
pub fn scales(key: Key, chord: &Chord) -> Vec<Fit> {
    let mut fits: Vec<Fit> = Vec::new();
    let mut offer = |scale: Scale, why: &'static str| {
        let classes = |scale: &Scale| {
            let mut classes: Vec<i32> = scale.notes().map(|(_, name)| name.class()).collect();
            classes.sort_unstable();
            classes
        };
        let holds = chord.strong().iter().all(|tone| scale.contains(tone.name.class()) || is_blue(&scale, chord, tone.degree));
        if holds && !fits.iter().any(|fit| classes(&fit.scale) == classes(&scale)) {
            let foreign = scale.notes().filter(|(_, name)| !key.scale().contains(name.class())).count();
            fits.push(Fit { scale, why, foreign });
        }
    };
    if key.holds(chord) {
        offer(key.scale(), "the key");
    }
    if key.is_minor() && leads_home(key, chord) {
        offer(named("harmonic minor", key.tonic()), "the key, with its leading tone");
    }
    let has = |degrees: &[(u8, i8)]| degrees.iter().all(|&(number, alter)| chord.has(Degree::new(number, alter)));
    if let Some((_, names)) = FOR_QUALITY.iter().find(|(degrees, _)| has(degrees)) {
        let mut scales: Vec<Scale> = names.iter().map(|name| named(name, chord.root())).collect();
        scales.sort_by_key(|scale| {
            let holds_all = chord.tones().iter().all(|tone| scale.contains(tone.name.class()));
            let foreign = scale.notes().filter(|(_, name)| !key.scale().contains(name.class())).count();
            (!holds_all, scale.kind.degrees.len() < 7, foreign)
        });
        for scale in scales {
            offer(scale, "the chord");
        }
    }
    let pentatonic = if chord.is_minor() { "minor pentatonic" } else { "major pentatonic" };
    offer(named(pentatonic, chord.root()), "the triad and two more");
    fits
}

/// The blues scale has no major third: players bend its b3 towards it.
fn is_blue(scale: &Scale, chord: &Chord, degree: Degree) -> bool {
    degree == Degree::new(3, 0) && chord.is_dominant() && scale.name() == "blues" && scale.tonic == chord.root()
}

/// The dominant on 5, or the diminished seventh on 7.
fn leads_home(key: Key, chord: &Chord) -> bool {
    let up = |semitones: i32| key.tonic().up(Interval::new(0, semitones)).class() == chord.root().class();
    let holds = || chord.tones().iter().all(|tone| named("harmonic minor", key.tonic()).contains(tone.name.class()));
    (chord.has(Degree::new(3, 0)) && up(7) || chord.is_diminished_seventh() && up(11)) && holds()
}

fn named(name: &str, tonic: super::NoteName) -> Scale {
    Scale::new(tonic, ScaleKind::find(name).unwrap_or(&SCALES[0]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_scale_named_in_the_rules_exists() {
        for name in FOR_QUALITY.iter().flat_map(|(_, names)| *names) {
            assert!(ScaleKind::find(name).is_some(), "no scale is called {name}");
        }
    }

    #[test]
    fn the_trade_finds_its_usual_choices() {
        let first = |key: &str, chord: &str| scales(key.parse().unwrap(), &chord.parse().unwrap())[0].scale.to_string();
        for (key, chord, scale) in [
            ("D minor", "Dm", "D minor"),
            ("D minor", "A7", "D harmonic minor"),
            ("D minor", "C7", "D minor"),
            ("D minor", "C#dim7", "D harmonic minor"),
            ("G major", "G7", "G mixolydian"),
            ("G major", "E7", "E mixolydian"),
            ("Bb major", "Edim7", "E diminished whole-half"),
            ("C major", "Fmaj7#11", "C major"),
            ("C major", "D7#11", "D lydian dominant"),
            ("E minor", "B7#9", "B diminished half-whole"),
        ] {
            assert_eq!(first(key, chord), scale, "{chord} in {key}");
        }
        let blues: Vec<String> =
            scales("G major".parse().unwrap(), &"G7".parse().unwrap()).iter().map(|fit| fit.scale.to_string()).collect();
        assert!(blues.contains(&"G blues".to_string()) && blues.contains(&"G major pentatonic".to_string()), "{blues:?}");
    }
}
