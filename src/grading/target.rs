//! Which origin and which target an attempt had: as wished, else as the bend itself says.

use super::{Aim, Target, Wish};

/// No target is nearer above the origin, cents.
const LEAST_BEND_CENTS: f64 = 50.0;

/// A settled pitch this near to the quarter tone above the origin aims at it, cents.
const QUARTER_NEAR_CENTS: f64 = 20.0;

/// A chord tone this near to the settled pitch is the target, cents.
const CHORD_NEAR_CENTS: f64 = 60.0;

/// Farther than this from any note the target is a guess, cents.
const GUESS_CENTS: f64 = 30.0;

/// Origin and target of one attempt, cents on the MIDI scale.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Meant {
    pub origin: Option<f64>,
    pub target: Option<f64>,
    pub degree: Option<String>,
    pub guessed: bool,
}

/// The part of an error in cents that counts: inside the zone of a quarter curl (25 to 70 cents above the origin) there is none.
#[must_use]
pub fn counted_error(bend_cents: Option<f64>, error: f64) -> f64 {
    match bend_cents {
        Some(size) if (size - 50.0).abs() < 1.0 => {
            let height = error + size;
            if height < 25.0 { height - 25.0 } else { (height - 70.0).max(0.0) }
        }
        _ => error,
    }
}

impl Meant {
    /// Target minus origin.
    pub fn size(&self) -> Option<f64> {
        self.target.zip(self.origin).map(|(target, origin)| target - origin)
    }
}

fn nearest_note(cents: f64) -> f64 {
    100.0 * (cents / 100.0 + 0.5).floor()
}

/// What was meant. `from` is the pitch before the bend (for a pre-bend its landing), `held` the settled pitch.
pub(super) fn meant(wish: &Wish, from: Option<f64>, held: f64) -> Meant {
    let asked = match &wish.aim {
        Aim::Pitch(target) => Some(target.clone()),
        _ => None,
    };
    let origin = wish.origin.or_else(|| from.map(nearest_note));
    let by_size = match (&wish.aim, origin) {
        (Aim::Above(size), Some(origin)) => Some(Target { cents: origin + size, degree: None }),
        _ => None,
    };
    if let Some(target) = asked.or(by_size) {
        return Meant { origin, target: Some(target.cents), degree: target.degree, guessed: false };
    }
    let allowed = |cents: f64| origin.is_none_or(|origin| cents >= origin + LEAST_BEND_CENTS);
    if let Aim::Chord(tones) = &wish.aim {
        let near = tones
            .iter()
            .filter(|tone| allowed(tone.cents) && (tone.cents - held).abs() <= CHORD_NEAR_CENTS)
            .min_by(|a, b| (a.cents - held).abs().total_cmp(&(b.cents - held).abs()));
        if let Some(tone) = near {
            return Meant { origin, target: Some(tone.cents), degree: tone.degree.clone(), guessed: false };
        }
    }
    let quarter = origin.map(|origin| origin + LEAST_BEND_CENTS);
    let is_chord = matches!(wish.aim, Aim::Chord(_));
    if let Some(quarter) = quarter
        && !is_chord
        && (held - quarter).abs() <= QUARTER_NEAR_CENTS
    {
        return Meant { origin, target: Some(quarter), degree: None, guessed: false };
    }
    let mut target = nearest_note(held);
    if !allowed(target) {
        target = match quarter {
            Some(quarter) if !is_chord && (held - quarter).abs() < (held - quarter - LEAST_BEND_CENTS).abs() => quarter,
            _ => origin.map_or(target, |origin| origin + 100.0),
        };
    }
    Meant { origin, target: Some(target), degree: None, guessed: (held - target).abs() > GUESS_CENTS }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_bend_of_180_cents_aims_at_the_whole_step() {
        let meant = meant(&Wish::default(), Some(6704.0), 6884.0);
        assert_eq!((meant.origin, meant.target, meant.guessed), (Some(6700.0), Some(6900.0), false));
    }

    #[test]
    fn a_bend_of_60_cents_aims_at_the_quarter_tone() {
        assert_eq!(meant(&Wish::default(), Some(6700.0), 6760.0).target, Some(6750.0));
    }

    #[test]
    fn a_bend_of_80_cents_aims_at_the_half_step() {
        assert_eq!(meant(&Wish::default(), Some(6700.0), 6780.0).target, Some(6800.0));
    }

    #[test]
    fn a_bend_that_ends_between_two_notes_is_guessed() {
        assert!(meant(&Wish::default(), Some(6700.0), 6860.0).guessed);
    }

    #[test]
    fn a_chord_tone_wins_over_a_nearer_note() {
        let tones = vec![Target { cents: 6900.0, degree: Some("3".into()) }];
        let wish = Wish { aim: Aim::Chord(tones), ..Wish::default() };
        let meant = meant(&wish, Some(6700.0), 6845.0);
        assert_eq!((meant.target, meant.degree.as_deref()), (Some(6900.0), Some("3")));
    }

    proptest! {
        #[test]
        fn no_target_is_nearer_than_fifty_cents_above_the_origin(from in 4000.0..9000.0, size in 20.0..450.0) {
            let meant = meant(&Wish::default(), Some(from), from + size);
            prop_assert!(meant.target.unwrap() >= meant.origin.unwrap() + 50.0);
        }

        #[test]
        fn an_octave_up_is_the_same_bend(from in 4000.0..7000.0, size in 30.0..450.0) {
            let (low, high) = (meant(&Wish::default(), Some(from), from + size), meant(&Wish::default(), Some(from + 1200.0), from + 1200.0 + size));
            prop_assert!((low.target.unwrap() + 1200.0 - high.target.unwrap()).abs() < 1e-6);
        }
    }
}
