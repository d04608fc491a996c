//! What a bent note is to the chord of its moment: a tone of it, another note of its scale, or outside of both. A row names the nearest note; the
//! words on it do not praise what sounds wrong, however well it is in tune.

use crate::theory::{Chord, Key, Scale, choice};

/// What a note is to a chord.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Standing {
    /// A tone of the chord.
    Chord,
    /// Another note of the scale that fits the chord best.
    Scale,
    /// Neither.
    Outside,
}

/// A chord with the scale around it: what each of the twelve notes is to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Harmony([Standing; 12]);

impl Harmony {
    /// Of a chord in a key: the scale is the one that fits it best there.
    #[must_use]
    pub fn of(chord: &Chord, key: Key) -> Self {
        Self::within(chord, &[scale_over(chord, key)])
    }

    /// Of a chord alone. No key says which scale is meant, so the two that come first among those that hold the whole chord both count: over Gm7
    /// the sixth of either mode.
    #[must_use]
    pub fn of_chord_alone(chord: &Chord) -> Option<Self> {
        let key = Key::guess(&[chord])?;
        let whole = |scale: &Scale| scale.kind.degrees.len() >= 7 && chord.tones().iter().all(|tone| scale.contains(tone.name.class()));
        let scales: Vec<Scale> = choice::scales(key, chord).into_iter().map(|fit| fit.scale).filter(whole).take(2).collect();
        Some(if scales.is_empty() { Self::of(chord, key) } else { Self::within(chord, &scales) })
    }

    fn within(chord: &Chord, scales: &[Scale]) -> Self {
        let class = |class: usize| {
            let midi = class as i32;
            if chord.degree_of_pitch(midi).is_some() {
                Standing::Chord
            } else if scales.iter().any(|scale| scale.contains(midi)) {
                Standing::Scale
            } else {
                Standing::Outside
            }
        };
        Self(std::array::from_fn(class))
    }

    /// What a pitch in cents on the MIDI scale is; `None` between two notes.
    #[must_use]
    pub fn standing(&self, cents: f64) -> Option<Standing> {
        let note = (cents / 100.0).round();
        (note - cents / 100.0).abs().lt(&1e-9).then(|| self.0[(note as i32).rem_euclid(12) as usize])
    }
}

/// The scale that fits a chord best in a key; the key's own where none does.
#[must_use]
pub fn scale_over(chord: &Chord, key: Key) -> Scale {
    choice::scales(key, chord).first().map_or_else(|| key.scale(), |fit| fit.scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn standings(symbol: &str, key: &str, notes: &[i32]) -> Vec<Standing> {
        let harmony = Harmony::of(&Chord::parse(symbol).unwrap(), key.parse().unwrap());
        notes.iter().map(|midi| harmony.standing(100.0 * f64::from(*midi)).unwrap()).collect()
    }

    #[test]
    fn over_the_second_chord_of_b_flat_e_is_outside_and_the_ninth_is_of_the_scale() {
        // Cm7 is C Eb G Bb; Bb major has D, F and A besides. E4 is 64, D4 62, G4 67.
        assert_eq!(standings("Cm7", "Bb major", &[64, 62, 67]), [Standing::Outside, Standing::Scale, Standing::Chord]);
        // Over Bbmaj7, B is outside, G of the scale, D its third.
        assert_eq!(standings("Bbmaj7", "Bb major", &[71, 67, 62]), [Standing::Outside, Standing::Scale, Standing::Chord]);
    }

    #[test]
    fn between_two_notes_is_neither() {
        let harmony = Harmony::of_chord_alone(&Chord::parse("Gm7").unwrap()).unwrap();
        assert_eq!(harmony.standing(6850.0), None);
        // The major third is outside over a minor chord; the ninth, the sixth of the minor and that of the dorian scale are not.
        let standings = [7100.0, 6900.0, 6300.0, 6400.0].map(|cents| harmony.standing(cents).unwrap());
        assert_eq!(standings, [Standing::Outside, Standing::Scale, Standing::Scale, Standing::Scale]);
    }
}
