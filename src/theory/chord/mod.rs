//! Chords: what a symbol means, tone by tone.
//!
//! The symbol is read by grammar, not from a list: root, quality, sixth or seventh, then alterations, suspensions, added and
//! missing tones in any order, then a bass after `/`. Where the trade disagrees, landfall reads:
//!
//! | symbol | tones | said otherwise |
//! | --- | --- | --- |
//! | `7alt` | 1 3 #5 b7 #9 | any of b5 #5 b9 #9 |
//! | `7b9b5` | 1 3 b5 b7 b9 | with #11 beside the 5 |
//! | `m7#5` | 1 b3 #5 b7 | b6 |
//! | `7b13`, `9b13` | with the 5 | without |
//! | `7#11`, `maj7#11` | without the 9 | with it |
//! | `11`, `maj11`, `m11` | 1 3 5 b7 9 11, the third kept | the third is often left out when playing |
//! | `13`, `maj13`, `m13` | with the 9, without the 11 | with the 11 |
//! | `sus` | sus4 | |
//! | `C^`, `CΔ` | maj7 | major triad |
//! | `+9` | 9#5 | 7#9 is written `7+9` or `7#9` |

mod formula;
mod symbol;

use super::degree::Degree;
use super::interval::Interval;
use super::note::NoteName;
use super::{Note, TheoryError};
use std::fmt;
use std::str::FromStr;

/// One tone of a chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Tone {
    /// Its place above the root.
    pub degree: Degree,
    /// Its name, spelled by the degree's letter.
    pub name: NoteName,
}

/// A chord: root, tones in order of degree, bass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Chord {
    symbol: String,
    suffix: String,
    root: NoteName,
    tones: Vec<Tone>,
    bass: Option<NoteName>,
}

impl Chord {
    /// Reads a symbol: `Am7`, `F#m7b5`, `Bb7#9`, `G/B`, `C6/9`, `DΔ`, `Eø7`.
    ///
    /// # Errors
    /// [`TheoryError::Chord`] with what is wrong and the nearest right symbol.
    pub fn parse(text: &str) -> Result<Self, TheoryError> {
        symbol::read(text)
    }

    fn build(symbol: String, suffix: String, root: NoteName, degrees: &[Degree], bass: Option<NoteName>) -> Self {
        let tones = degrees.iter().map(|&degree| Tone { degree, name: root.up(degree.interval()) }).collect();
        Self { symbol, suffix, root, tones, bass }
    }

    /// The symbol as it was written.
    #[must_use]
    pub fn symbol(&self) -> &str {
        &self.symbol
    }

    /// What follows the root, in landfall's spelling: `m7b5` for `Eø7`; empty for a major triad. No bass.
    #[must_use]
    pub fn suffix(&self) -> &str {
        &self.suffix
    }

    /// The root.
    #[must_use]
    pub fn root(&self) -> NoteName {
        self.root
    }

    /// The lowest note wanted: the one after `/`, else the root.
    #[must_use]
    pub fn bass(&self) -> NoteName {
        self.bass.unwrap_or(self.root)
    }

    /// The tones in order of degree, the root first. A bass that is no tone of the chord is not among them.
    #[must_use]
    pub fn tones(&self) -> &[Tone] {
        &self.tones
    }

    /// The tone that has the pitch class of a MIDI number.
    #[must_use]
    pub fn tone_of_pitch(&self, midi: i32) -> Option<Tone> {
        self.tones.iter().copied().find(|tone| tone.name.class() == midi.rem_euclid(12))
    }

    /// The degree of a MIDI number in the chord; `None` for a note outside it.
    #[must_use]
    pub fn degree_of_pitch(&self, midi: i32) -> Option<Degree> {
        self.tone_of_pitch(midi).map(|tone| tone.degree)
    }

    /// The chord tone nearest to a pitch in cents on the MIDI scale, as a sounding note (its octave included), the lower one of
    /// two that are equally near.
    #[must_use]
    pub fn nearest_tone(&self, cents: f64) -> (Tone, Note) {
        let middle = (cents / 100.0).round() as i32;
        let mut best = (f64::INFINITY, self.tones[0], Note { name: self.root, octave: 4 });
        for midi in middle - 6..=middle + 6 {
            if let Some((tone, note)) = self.tone_of_pitch(midi).and_then(|tone| Some((tone, tone.name.at(midi)?))) {
                let away = (f64::from(midi) * 100.0 - cents).abs();
                if away < best.0 {
                    best = (away, tone, note);
                }
            }
        }
        (best.1, best.2)
    }

    /// The tone of a degree number: 3 finds `3` and `b3`.
    #[must_use]
    pub fn tone(&self, number: u8) -> Option<Tone> {
        self.tones.iter().copied().find(|tone| tone.degree.number == number)
    }

    /// Whether the chord has a minor third (and so a small Roman numeral).
    #[must_use]
    pub fn is_minor(&self) -> bool {
        self.has(Degree::new(3, -1))
    }

    /// Whether the degree is a tone of the chord.
    #[must_use]
    pub fn has(&self, degree: Degree) -> bool {
        self.tones.iter().any(|tone| tone.degree == degree)
    }

    /// A dominant seventh: major third and minor seventh, whatever else.
    #[must_use]
    pub fn is_dominant(&self) -> bool {
        self.has(Degree::new(3, 0)) && self.has(Degree::new(7, -1))
    }

    /// A diminished seventh chord: 1 b3 b5 bb7.
    #[must_use]
    pub fn is_diminished_seventh(&self) -> bool {
        self.has(Degree::new(3, -1)) && self.has(Degree::new(5, -1)) && self.has(Degree::new(7, -2))
    }

    /// The strong notes: root, third (the 4 or 2 that stands for it in a suspended chord) and fifth, as far as the chord has them.
    #[must_use]
    pub fn strong(&self) -> Vec<Tone> {
        self.tones.iter().copied().filter(|tone| tone.degree.number <= 5).collect()
    }

    /// The same chord on a root `interval` higher, spelled by letters. Its symbol is landfall's spelling.
    #[must_use]
    pub fn up(&self, interval: Interval) -> Self {
        let root = self.root.up(interval);
        let bass = self.bass.map(|note| note.up(interval));
        let degrees: Vec<Degree> = self.tones.iter().map(|tone| tone.degree).collect();
        let symbol = format!("{root}{}{}", self.suffix, bass.map_or_else(String::new, |note| format!("/{note}")));
        Self::build(symbol, self.suffix.clone(), root, &degrees, bass)
    }
}

impl fmt::Display for Chord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.symbol)
    }
}

impl FromStr for Chord {
    type Err = TheoryError;

    fn from_str(text: &str) -> Result<Self, TheoryError> {
        Self::parse(text)
    }
}

#[cfg(test)]
mod tests {
    use super::Chord;

    fn degrees(symbol: &str) -> String {
        let chord = Chord::parse(symbol).unwrap();
        chord.tones().iter().map(|t| t.degree.to_string()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn one_chord_may_be_written_in_many_ways() {
        for (ways, tones) in [
            ("C CM Cmaj Cma CMaj Cmajor", "1 3 5"),
            ("Cm C- Cmin Cmi Cminor", "1 b3 5"),
            ("Cmaj7 CM7 Cma7 CΔ CΔ7 C^7 C^ CMaj7", "1 3 5 7"),
            ("Cm7 C-7 Cmin7 Cmi7", "1 b3 5 b7"),
            ("Cm7b5 Cø Cø7 C-7b5 Cm7(b5) Cmin7b5 Cm7-5", "1 b3 b5 b7"),
            ("Cdim Co C° Cmb5", "1 b3 b5"),
            ("Cdim7 Co7 C°7", "1 b3 b5 bb7"),
            ("CmMaj7 CmM7 Cm(maj7) C-Δ7 CminMaj7 Cmmaj7 Cm/maj7 Cm/M7", "1 b3 5 7"),
            ("Caug C+ C+5 C(#5)", "1 3 #5"),
            ("C7#5 C+7 C7+ C7+5 Caug7 C7aug C7(#5)", "1 3 #5 b7"),
            ("Cmaj7#5 C+maj7 CaugMaj7 CM7#5", "1 3 #5 7"),
            ("C6/9 C69 C6add9 C6(9)", "1 3 5 6 9"),
            ("C7sus4 C7sus Csus7 Csus4(7)", "1 4 5 b7"),
            ("C7b9 C7(b9) C7-9 C7♭9", "1 3 5 b7 b9"),
            ("C7#9 C7+9 C7(#9)", "1 3 5 b7 #9"),
            ("C7b9#5 C7#5b9 C7(b9,#5) C7(#5,b9)", "1 3 #5 b7 b9"),
            ("C13 Cdom13", "1 3 5 b7 9 13"),
            ("C7 Cdom Cdom7", "1 3 5 b7"),
            ("C7alt Calt", "1 3 #5 b7 #9"),
            ("Cadd9 C(add9) Cadd2", "1 3 5 9"),
            ("C7no5 C7(omit5)", "1 3 b7"),
            ("CdimM7 Co(maj7)", "1 b3 b5 7"),
        ] {
            for way in ways.split(' ') {
                assert_eq!(degrees(way), tones, "{way}");
            }
        }
    }

    #[test]
    fn flats_pile_up_where_the_letters_want_it() {
        let names = |symbol: &str| Chord::parse(symbol).unwrap().tones().iter().map(|t| t.name.to_string()).collect::<Vec<_>>().join(" ");
        assert_eq!(names("Ebdim7"), "Eb Gb Bbb Dbb");
        assert_eq!(names("Db7"), "Db F Ab Cb");
        assert_eq!(names("E#m"), "E# G# B#");
        assert_eq!(names("Fb7"), "Fb Ab Cb Ebb");
        assert_eq!(names("B##aug"), "B## D### F####");
    }

    #[test]
    fn a_wrong_symbol_is_named_with_the_nearest_right_one() {
        for (symbol, says) in [
            ("Hm7", "Bm7"),
            ("am7", "Am7"),
            ("Cmja7", "Cmaj7"),
            ("F/X", "bass"),
            ("C7b5#11", "same"),
            ("", "empty"),
            ("C2", "Csus2"),
            ("Cm7b", "Cm7"),
        ] {
            let error = Chord::parse(symbol).unwrap_err().to_string();
            assert!(error.contains(says) && error.contains(&format!("'{symbol}'")), "{symbol}: {error}");
        }
    }
}
