//! The scales by name: one entry makes one known everywhere.

use super::ScaleKind;

macro_rules! scales {
    ($([$($name:literal),+]: $($degree:expr),+;)+) => {
        /// All scales. Degrees 1 to 7; seven-note scales use each letter once.
        pub const SCALES: &[ScaleKind] = &[$(ScaleKind { names: &[$($name),+], degrees: &[$($degree),+] }),+];
    };
}

scales! {
    ["major", "ionian", "major scale", "maj"]: (1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (7, 0);
    ["minor", "natural minor", "aeolian", "minor scale", "min"]: (1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, -1), (7, -1);
    ["dorian"]: (1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, 0), (7, -1);
    ["phrygian"]: (1, 0), (2, -1), (3, -1), (4, 0), (5, 0), (6, -1), (7, -1);
    ["lydian"]: (1, 0), (2, 0), (3, 0), (4, 1), (5, 0), (6, 0), (7, 0);
    ["mixolydian"]: (1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, 0), (7, -1);
    ["locrian"]: (1, 0), (2, -1), (3, -1), (4, 0), (5, -1), (6, -1), (7, -1);
    ["minor pentatonic", "pentatonic minor"]: (1, 0), (3, -1), (4, 0), (5, 0), (7, -1);
    ["major pentatonic", "pentatonic major", "pentatonic"]: (1, 0), (2, 0), (3, 0), (5, 0), (6, 0);
    ["blues", "minor blues", "blues scale"]: (1, 0), (3, -1), (4, 0), (5, -1), (5, 0), (7, -1);
    ["major blues"]: (1, 0), (2, 0), (3, -1), (3, 0), (5, 0), (6, 0);
    ["harmonic minor"]: (1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, -1), (7, 0);
    ["locrian natural 6", "locrian 6", "locrian #6"]: (1, 0), (2, -1), (3, -1), (4, 0), (5, -1), (6, 0), (7, -1);
    ["ionian augmented", "ionian #5", "major #5"]: (1, 0), (2, 0), (3, 0), (4, 0), (5, 1), (6, 0), (7, 0);
    ["dorian #4", "ukrainian dorian", "dorian #11"]: (1, 0), (2, 0), (3, -1), (4, 1), (5, 0), (6, 0), (7, -1);
    ["phrygian dominant", "phrygian major"]: (1, 0), (2, -1), (3, 0), (4, 0), (5, 0), (6, -1), (7, -1);
    ["lydian #9", "lydian #2"]: (1, 0), (2, 1), (3, 0), (4, 1), (5, 0), (6, 0), (7, 0);
    ["altered diminished", "ultralocrian", "altered bb7"]: (1, 0), (2, -1), (3, -1), (4, -1), (5, -1), (6, -1), (7, -2);
    ["melodic minor", "jazz minor"]: (1, 0), (2, 0), (3, -1), (4, 0), (5, 0), (6, 0), (7, 0);
    ["dorian b2", "phrygian #6", "phrygian natural 6"]: (1, 0), (2, -1), (3, -1), (4, 0), (5, 0), (6, 0), (7, -1);
    ["lydian augmented", "lydian #5"]: (1, 0), (2, 0), (3, 0), (4, 1), (5, 1), (6, 0), (7, 0);
    ["lydian dominant", "lydian b7", "mixolydian #4"]: (1, 0), (2, 0), (3, 0), (4, 1), (5, 0), (6, 0), (7, -1);
    ["mixolydian b6", "aeolian dominant", "mixolydian b13"]: (1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, -1), (7, -1);
    ["locrian natural 2", "locrian 2", "locrian #2", "half-diminished"]: (1, 0), (2, 0), (3, -1), (4, 0), (5, -1), (6, -1), (7, -1);
    ["altered", "super locrian", "superlocrian", "altered dominant"]: (1, 0), (2, -1), (3, -1), (4, -1), (5, -1), (6, -1), (7, -1);
    ["harmonic major"]: (1, 0), (2, 0), (3, 0), (4, 0), (5, 0), (6, -1), (7, 0);
    ["double harmonic major", "double harmonic", "byzantine"]: (1, 0), (2, -1), (3, 0), (4, 0), (5, 0), (6, -1), (7, 0);
    ["hungarian minor", "double harmonic minor"]: (1, 0), (2, 0), (3, -1), (4, 1), (5, 0), (6, -1), (7, 0);
    ["whole tone", "whole-tone"]: (1, 0), (2, 0), (3, 0), (4, 1), (5, 1), (6, 1);
    ["diminished whole-half", "whole-half", "whole-half diminished", "diminished"]:
        (1, 0), (2, 0), (3, -1), (4, 0), (5, -1), (6, -1), (6, 0), (7, 0);
    ["diminished half-whole", "half-whole", "half-whole diminished", "dominant diminished"]:
        (1, 0), (2, -1), (3, -1), (3, 0), (4, 1), (5, 0), (6, 0), (7, -1);
    ["chromatic"]:
        (1, 0), (2, -1), (2, 0), (3, -1), (3, 0), (4, 0), (5, -1), (5, 0), (6, -1), (6, 0), (7, -1), (7, 0);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::theory::Degree;
    use std::collections::HashSet;

    #[test]
    fn no_two_scales_share_a_name_or_a_sound() {
        let mut names = HashSet::new();
        for kind in SCALES {
            for name in kind.names {
                assert!(names.insert(*name), "two scales are called {name}");
                assert_eq!(*name, name.to_lowercase(), "names are found in small letters");
            }
        }
        let sounds: HashSet<Vec<i32>> = SCALES.iter().map(|kind| kind.degrees().map(Degree::class).collect()).collect();
        assert_eq!(sounds.len(), SCALES.len(), "two entries are the same scale");
    }

    #[test]
    fn seven_note_scales_use_each_letter_once_and_all_scales_rise() {
        for kind in SCALES {
            let classes: Vec<i32> = kind.degrees().map(Degree::class).collect();
            assert!(classes.is_sorted_by(|a, b| a < b) && classes[0] == 0, "{:?} does not rise from 1", kind.names);
            if kind.degrees.len() == 7 {
                assert_eq!(kind.degrees.iter().map(|d| d.0).collect::<Vec<_>>(), [1, 2, 3, 4, 5, 6, 7], "{:?}", kind.names);
            }
        }
    }
}
