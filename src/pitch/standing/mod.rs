//! At which A4 a recording stands: how far its partials lie from the semitones of A4 = 440 Hz.
//!
//! Conventions. The recording's own steady partials ([`peaks`](self)), each weighted by the root of its amplitude, are laid on one semitone, a circle of 100 cents
//! (Dressler & Streich, Tuning frequency estimation using circular statistics, ISMIR 2007, from memory; they take the circle's mean, which a few wrong notes
//! move). Where they lie closest, seen through a bell of 4 cents, is the place; the mean of those within 10 cents of it is the answer. A whole semitone cannot be
//! told from none: the answer lies within half a semitone of 440 Hz, 427.5 to 452.9.
//!
//! Its uncertainty is twice the standard error of the means of the pitch classes, and of stretches of 4 s: the larger one. It cannot be told, and is
//! `None`, where less than 45 in 100 of the weight lies within those 10 cents (a fifth does by chance; noise, drums and speech come to 20 to 37, bands and single
//! guitars to 53 to 93: measured), where fewer than four pitch classes' worth of notes say it, and where it is less certain than 3 cents.

mod peaks;

use self::peaks::{Peak, Peaks};
use crate::units::{A4, SampleRate};

/// The bell through which places are looked for, and how far from the place a partial may be, cents.
const BELL: f64 = 4.0;
const NEAR: f64 = 10.0;
/// What has to be near.
const SHARE: f64 = 0.45;
/// So many pitch classes have to say so.
const CLASSES: f64 = 4.0;
/// Less certain than this is not known, cents.
const CERTAIN: f64 = 3.0;
/// Stretches whose means are compared, s.
const STRETCH_S: f64 = 4.0;
/// No more than this is looked at, s.
const LONGEST_S: f64 = 180.0;

/// Where a recording stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// The A4 that its notes are in tune with.
    pub a4: A4,
    /// How uncertain that is, either way: 95 of 100 lie within, cents.
    pub uncertain_cents: f64,
}

impl Standing {
    /// The same uncertainty in hertz.
    #[must_use]
    pub fn uncertain_hz(&self) -> f64 {
        self.a4.hz() * ((self.uncertain_cents / 1200.0).exp2() - 1.0)
    }
}

/// A partial on the semitone's circle.
#[derive(Clone, Copy)]
struct Place {
    /// Cents above the note below, at A4 = 440 Hz.
    cents: f64,
    weight: f64,
    at_s: f64,
}

/// Measures the first three minutes; `None` where it cannot be told.
#[must_use]
pub fn standing(samples: &[f32], rate: SampleRate) -> Option<Standing> {
    let looked_at = &samples[..samples.len().min(rate.span(LONGEST_S).0 as usize)];
    let reference = A4::default();
    let place = |peak: Peak| Place { cents: reference.cents(peak.hz), weight: peak.size.sqrt(), at_s: peak.at_s };
    let places: Vec<Place> = Peaks::new(rate).of(looked_at).into_iter().map(place).collect();
    let middle = mean(&places, closest(&places)?)?;
    let near: Vec<Place> = places.iter().copied().filter(|place| off(place.cents, middle).abs() < NEAR).collect();
    let weight = |places: &[Place]| places.iter().map(|place| place.weight).sum::<f64>();
    if weight(&near) < SHARE * weight(&places) {
        return None;
    }
    let class = |place: &Place| ((place.cents - middle) / 100.0).round().rem_euclid(12.0) as usize;
    let by_class = Spread::of(&near, middle, class);
    let by_time = Spread::of(&near, middle, |place| (place.at_s / STRETCH_S) as usize);
    let uncertain_cents = 2.0 * by_class.error().max(by_time.error());
    if by_class.worth < CLASSES || uncertain_cents > CERTAIN {
        return None;
    }
    let a4 = A4::new(reference.hz() * (middle / 1200.0).exp2())?;
    Some(Standing { a4, uncertain_cents })
}

/// The way from `middle` to a pitch around the circle, -50 to 50 cents.
fn off(cents: f64, middle: f64) -> f64 {
    (cents - middle + 50.0).rem_euclid(100.0) - 50.0
}

/// Where on the circle most of the weight lies.
fn closest(places: &[Place]) -> Option<f64> {
    let density = |at: f64| places.iter().map(|place| place.weight * (-0.5 * (off(place.cents, at) / BELL).powi(2)).exp()).sum::<f64>();
    (0..200)
        .map(|step| f64::from(step) / 2.0 - 50.0)
        .map(|at| (at, density(at)))
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .filter(|(_, density)| *density > 0.0)
        .map(|(at, _)| at)
}

/// The mean of what is near, which moves what is near.
fn mean(places: &[Place], from: f64) -> Option<f64> {
    let mut middle = from;
    for _ in 0..5 {
        let near = places.iter().map(|place| (off(place.cents, middle), place.weight)).filter(|(off, _)| off.abs() < NEAR);
        let (sum, weight) = near.fold((0.0, 0.0), |(sum, all), (off, weight)| (sum + weight * off, all + weight));
        if weight <= 0.0 {
            return None;
        }
        middle += sum / weight;
    }
    Some(off(middle, 0.0))
}

/// How far the means of groups lie apart.
struct Spread {
    /// The weighted variance of their means, cents squared.
    variance: f64,
    /// So many groups of equal weight would say as much: the square of the sum over the sum of the squares.
    worth: f64,
}

impl Spread {
    fn of(near: &[Place], middle: f64, group: impl Fn(&Place) -> usize) -> Self {
        let mut groups: Vec<(f64, f64)> = Vec::new();
        for place in near {
            let number = group(place);
            if groups.len() <= number {
                groups.resize(number + 1, (0.0, 0.0));
            }
            groups[number].0 += place.weight;
            groups[number].1 += place.weight * off(place.cents, middle);
        }
        groups.retain(|(weight, _)| *weight > 0.0);
        let weight: f64 = groups.iter().map(|(weight, _)| weight).sum();
        let squares: f64 = groups.iter().map(|(weight, _)| weight * weight).sum();
        let spread: f64 = groups.iter().map(|(weight, sum)| sum * sum / weight).sum();
        Self { variance: spread / weight, worth: weight * weight / squares }
    }

    /// The standard error of the mean of all; without end where there is one group alone.
    fn error(&self) -> f64 {
        if self.worth > 1.0 + 1e-9 { (self.variance / (self.worth - 1.0)).sqrt() } else { f64::INFINITY }
    }
}
