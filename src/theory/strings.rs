//! Strings as steel: how far and how hard a bend has to be pushed.
//!
//! Estimates from ideal strings; they leave out friction at the nut, the string behind nut and bridge, and the fret's height.
//!
//! - Mersenne: `f = sqrt(T/mu) / 2L`, so `T = mu (2 L f)^2`; plain steel `mu = rho pi d^2 / 4`, rho 7850 kg/m3, E 200 GPa.
//! - Bend at a fret by a push `y` (Hooke, Mersenne and mass conservation; at fret 12 the formula of Grimes, PLoS ONE 9(7) e102088,
//!   2014): `b = L 2^(-fret/12)`, `a = L - b`, `S = sqrt(a^2 + y^2) + sqrt(b^2 + y^2)`, `T' = T + EA (S - L)/L`, `mu' = mu L/S`,
//!   `cents = 1200 log2(b/b' sqrt(T'/T mu/mu'))` with `b' = sqrt(b^2 + y^2)`, force `F = T' (y/sqrt(a^2+y^2) + y/sqrt(b^2+y^2))`.
//! - Wound strings: the wrap adds mass but hardly stiffness (Kemp, PLoS ONE 12(9) e0184803, 2017), so the core alone is stretched.
//!   Core 0.4 of the diameter and 0.85 of the mass of solid steel are from memory, no source: a rough guess.

use super::TheoryError;
use super::neck::{Neck, Place};
use super::tuning::Tuning;
use super::words::quotable;
use crate::units::A4;
use std::fmt;
use std::str::FromStr;

const DENSITY: f64 = 7850.0;
const YOUNG: f64 = 200e9;
const INCH: f64 = 0.0254;
/// Of a wound string, from memory: core diameter over whole diameter, mass over that of solid steel.
const CORE: f64 = 0.4;
const WOUND_FILL: f64 = 0.85;
/// A common scale length of electric guitars, metres.
pub const SCALE_LENGTH: f64 = 0.648;

/// A common string for each pitch: MIDI number, thousandths of an inch, wound. Common practice, no source.
const USUAL: [(i32, f64, bool); 12] = [
    (23, 130.0, true),
    (25, 90.0, true),
    (28, 80.0, true),
    (30, 74.0, true),
    (35, 59.0, true),
    (40, 46.0, true),
    (45, 36.0, true),
    (50, 26.0, true),
    (55, 17.0, false),
    (59, 13.0, false),
    (64, 10.0, false),
    (69, 8.0, false),
];

/// One string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// Diameter in thousandths of an inch, as strings are sold: 5 to 150.
    pub thousandths: f64,
    /// Whether it is wound.
    pub wound: bool,
}

/// What it takes to bend a string so far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Push {
    /// Millimetres sideways at the fret.
    pub mm: f64,
    /// Newtons that the finger holds.
    pub newtons: f64,
}

impl Gauge {
    /// The string that is usually put on for an open pitch.
    #[must_use]
    pub fn usual(midi: i32) -> Self {
        let near = USUAL.iter().min_by_key(|(known, ..)| known.abs_diff(midi)).unwrap_or(&USUAL[10]);
        Self { thousandths: near.1, wound: near.2 }
    }

    /// Mass of a metre, kg.
    fn linear_density(self) -> f64 {
        let diameter = self.thousandths / 1000.0 * INCH;
        let solid = DENSITY * std::f64::consts::PI * diameter * diameter / 4.0;
        if self.wound { solid * WOUND_FILL } else { solid }
    }

    /// Young's modulus times the cross-section that is stretched, N.
    fn stiffness(self) -> f64 {
        let diameter = self.thousandths / 1000.0 * INCH * if self.wound { CORE } else { 1.0 };
        YOUNG * std::f64::consts::PI * diameter * diameter / 4.0
    }

    /// The push that raises the string at `fret` by `cents`, where it sounds `open_hz` over `length` metres when open. `None` for
    /// the open string and for bends that no neck is wide enough for (60 mm).
    #[must_use]
    pub fn push(self, open_hz: f64, length: f64, fret: u8, cents: f64) -> Option<Push> {
        let tension = self.linear_density() * (2.0 * length * open_hz).powi(2);
        let sounding = length * (-f64::from(fret) / 12.0).exp2();
        let behind = length - sounding;
        let stretched = |push: f64| {
            let (front, back) = (sounding.hypot(push), behind.hypot(push));
            let whole = front + back;
            let tension_now = tension + self.stiffness() * (whole - length) / length;
            let ratio = sounding / front * (tension_now / tension * whole / length).sqrt();
            (1200.0 * ratio.log2(), tension_now * (push / back + push / front))
        };
        let (mut low, mut high) = (0.0, 0.06);
        if fret == 0 || stretched(high).0 < cents {
            return None;
        }
        // Pitch rises with the push all the way: halving 40 times is finer than an atom.
        for _ in 0..40 {
            let middle = f64::midpoint(low, high);
            if stretched(middle).0 < cents { low = middle } else { high = middle }
        }
        Some(Push { mm: high * 1000.0, newtons: stretched(high).1 })
    }
}

impl fmt::Display for Gauge {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.thousandths, if self.wound { "w" } else { "" })
    }
}

/// The strings of a neck, in the order of its tuning.
#[derive(Clone, Debug, PartialEq)]
pub struct StringSet {
    gauges: Vec<Gauge>,
}

impl StringSet {
    /// The strings that are usually put on for a tuning.
    #[must_use]
    pub fn usual(tuning: &Tuning) -> Self {
        Self { gauges: tuning.low_to_high().iter().map(|note| Gauge::usual(note.midi())).collect() }
    }

    /// Reads gauges such as `10 13 17 26w 36w 46w`, one for each string, from either side; w is wound.
    ///
    /// # Errors
    /// [`TheoryError::Gauges`] naming the word that is wrong.
    pub fn parse(text: &str, tuning: &Tuning) -> Result<Self, TheoryError> {
        let wrong = |reason: String| TheoryError::Gauges { found: quotable(text), reason };
        let words = text.split([' ', ',', '-']).filter(|word| !word.is_empty());
        let gauges: Result<Vec<Gauge>, TheoryError> = words.map(|word| word.parse().map_err(wrong)).collect();
        let mut gauges = gauges?;
        if gauges.len() != tuning.low_to_high().len() {
            return Err(wrong(format!("there are {} for {} strings", gauges.len(), tuning.count())));
        }
        let thin_first = gauges.first().zip(gauges.last()).is_some_and(|(first, last)| first.thousandths < last.thousandths);
        let low_first = tuning.low_to_high().first().zip(tuning.low_to_high().last()).is_some_and(|(low, high)| low.midi() <= high.midi());
        if thin_first == low_first {
            gauges.reverse();
        }
        Ok(Self { gauges })
    }

    /// The gauge of a string; 1 is the highest.
    #[must_use]
    pub fn gauge(&self, string: u8) -> Option<Gauge> {
        self.gauges.len().checked_sub(usize::from(string)).filter(|_| string > 0).map(|index| self.gauges[index])
    }

    /// The push for a bend at a place of a neck with the common scale length. A capo shortens the string and leaves its tension.
    #[must_use]
    pub fn push(&self, neck: &Neck, place: Place, cents: f64) -> Option<Push> {
        let open = neck.midi(Place { string: place.string, fret: 0 }) + neck.sounding_offset();
        let length = SCALE_LENGTH * (-f64::from(neck.capo()) / 12.0).exp2();
        let open_hz = A4::default().hz_of(f64::from(open) * 100.0);
        self.gauge(place.string)?.push(open_hz, length, place.fret, cents)
    }
}

impl fmt::Display for StringSet {
    /// From the highest string, as sets are sold: `10 13 17 26w 36w 46w`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.gauges.iter().rev().map(Gauge::to_string).collect::<Vec<_>>().join(" "))
    }
}

impl FromStr for Gauge {
    type Err = String;

    fn from_str(word: &str) -> Result<Self, String> {
        let number = word.trim_end_matches(['w', 'W']);
        let wound = number.len() < word.len();
        let value = number.parse::<f64>().ok().filter(|value| value.is_finite());
        // `.010` and `10` are the same string.
        let thousandths = value.map(|value| if value < 1.0 { value * 1000.0 } else { value }).filter(|value| (5.0..=150.0).contains(value));
        let thousandths =
            thousandths.ok_or_else(|| format!("'{word}' is no gauge; write thousandths of an inch, 5 to 150, with w for wound"))?;
        Ok(Self { thousandths, wound })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pushes_agree_with_the_worked_table() {
        // The formula above worked out apart for E 200 GPa, rho 7850 kg/m3, 648 mm: millimetres and newtons, half a per cent.
        for (midi, gauge, fret, cents, mm, newtons) in [
            (55, 17.0, 7, 50.0, 5.30, 2.89),
            (55, 17.0, 7, 100.0, 7.60, 4.40),
            (55, 17.0, 7, 200.0, 11.08, 7.19),
            (55, 17.0, 7, 300.0, 13.99, 10.19),
            (59, 13.0, 8, 200.0, 14.31, 8.21),
            (59, 11.0, 8, 200.0, 14.31, 5.88),
            (59, 13.0, 8, 300.0, 18.07, 11.63),
            (64, 10.0, 12, 200.0, 19.87, 11.22),
            (64, 9.0, 12, 300.0, 25.10, 12.89),
            // Grimes 2014 at the midpoint: B3 .013 pushed 14.85 mm rises 199.93 cents.
            (59, 13.0, 12, 199.93, 14.85, f64::NAN),
        ] {
            let open = A4::default().hz_of(f64::from(midi) * 100.0);
            let push = Gauge { thousandths: gauge, wound: false }.push(open, SCALE_LENGTH, fret, cents).unwrap();
            assert!((push.mm / mm - 1.0).abs() < 0.005, "{midi} {gauge} {cents}: {} mm, not {mm}", push.mm);
            assert!(
                newtons.is_nan() || (push.newtons / newtons - 1.0).abs() < 0.005,
                "{midi} {gauge} {cents}: {} N, not {newtons}",
                push.newtons
            );
        }
    }

    #[test]
    fn gauges_are_read_from_either_side() {
        let tuning = Tuning::standard();
        let set = StringSet::parse("46w 36w 26w .017 13 10", &tuning).unwrap();
        assert_eq!(set.to_string(), "10 13 17 26w 36w 46w");
        assert_eq!(StringSet::parse("10 13 17 26w 36w 46w", &tuning).unwrap(), set);
        assert_eq!(StringSet::usual(&tuning), set);
        for text in ["10 13 17", "10 13 17 26w 36w x", "10 13 17 26w 36w 4600"] {
            assert!(StringSet::parse(text, &tuning).unwrap_err().to_string().contains(text));
        }
    }

    #[test]
    fn the_open_string_cannot_be_bent_at_a_fret() {
        assert_eq!(Gauge::usual(64).push(330.0, SCALE_LENGTH, 0, 100.0), None);
    }
}
