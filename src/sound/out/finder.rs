//! Where a known sound lies in what was heard, to a fraction of a sample.
//!
//! A matched filter: the correlation of what was heard with the sound itself, divided by the loudness of both, is 1 where nothing else is heard and near 0
//! in noise. Between samples the peak is a parabola's.

use super::rhythm::sweep;
use crate::units::SampleRate;

/// A reflection can be louder than what comes straight: an earlier peak of this share of the highest one is the sound itself...
const STRAIGHT: f64 = 0.6;
/// ...if it is no side lobe, which all lie within this, s.
const LOBES_S: f64 = 0.0015;

/// The sweep as it is played at gain 1.
#[must_use]
pub fn sweep_samples(rate: SampleRate) -> Vec<f32> {
    (0..).map_while(|frame| sweep(frame, rate)).map(|sample| sample as f32).collect()
}

/// A place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Where the sound begins, in samples from the start of what was heard.
    pub at: f64,
    /// How much of what was heard there is the sound: 0 to 1.
    pub likeness: f64,
}

/// Finds `sound` in `heard`, in either polarity; `None` where there is no room for it or nothing is heard at all.
#[must_use]
pub fn find(heard: &[f32], sound: &[f32], rate: SampleRate) -> Option<Place> {
    let last = heard.len().checked_sub(sound.len())?;
    let energy = |samples: &[f32]| samples.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>();
    let own = energy(sound);
    let mut here = energy(&heard[..sound.len()]);
    let likeness: Vec<f64> = (0..=last)
        .map(|at| {
            let product: f64 = heard[at..at + sound.len()].iter().zip(sound).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum();
            let like = product.abs() / (own * here.max(0.0)).sqrt();
            if at < last {
                here += f64::from(heard[at + sound.len()]).powi(2) - f64::from(heard[at]).powi(2);
            }
            // Sums that run leave dust where nothing is heard.
            if like.is_finite() && here > own * 1e-12 { like.min(1.0) } else { 0.0 }
        })
        .collect();
    let highest = peak(&likeness, 0, likeness.len())?;
    let before = highest.saturating_sub(rate.span(LOBES_S).0 as usize);
    let first = (0..before).find(|at| likeness[*at] >= STRAIGHT * likeness[highest]);
    let at = first.and_then(|at| peak(&likeness, at, (at + rate.span(LOBES_S).0 as usize).min(before))).unwrap_or(highest);
    let mut between = 0.0;
    if at > 0 && at + 1 < likeness.len() {
        let (left, middle, right) = (likeness[at - 1], likeness[at], likeness[at + 1]);
        let bend = left - 2.0 * middle + right;
        if bend < 0.0 {
            between = (0.5 * (left - right) / bend).clamp(-0.5, 0.5);
        }
    }
    (likeness[at] > 0.0).then_some(Place { at: at as f64 + between, likeness: likeness[at] })
}

fn peak(likeness: &[f64], from: usize, to: usize) -> Option<usize> {
    (from..to).max_by(|a, b| likeness[*a].total_cmp(&likeness[*b]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rate() -> SampleRate {
        SampleRate::new(48_000).unwrap()
    }

    /// The sweep `late` samples late (sinc, 64 taps), at `level`, in noise of `noise`.
    fn heard(late: f64, level: f64, noise: f64) -> Vec<f32> {
        let sound = sweep_samples(rate());
        let mut state = 3_u64;
        (0..9000)
            .map(|n| {
                let at = f64::from(n) - late;
                let near = at.floor() as i64;
                let sample: f64 = (near - 32..near + 32)
                    .filter(|k| (0..sound.len() as i64).contains(k))
                    .map(|k| {
                        let x = std::f64::consts::PI * (at - k as f64);
                        f64::from(sound[k as usize]) * if x.abs() < 1e-9 { 1.0 } else { x.sin() / x }
                    })
                    .sum();
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                let random = (state >> 33) as f64 / f64::from(1_u32 << 30) - 1.0;
                (level * sample + noise * random) as f32
            })
            .collect()
    }

    #[test]
    fn a_delay_between_samples_is_found_to_a_twentieth_of_one() {
        for late in [0.0, 100.0, 1234.25, 2000.5, 3333.8] {
            let place = find(&heard(late, 0.1, 0.0), &sweep_samples(rate()), rate()).unwrap();
            assert!((place.at - late).abs() < 0.05, "{late}: {place:?}");
            // Half a sample beside the peak, a sweep around 2.8 kHz is like itself by cos(2 pi 2800 / 96000) = 0.983.
            assert!(place.likeness > 0.98, "{place:?}");
        }
    }

    #[test]
    fn it_is_found_upside_down_and_in_noise_as_loud_as_itself() {
        let place = find(&heard(2500.4, -0.05, 0.02), &sweep_samples(rate()), rate()).unwrap();
        assert!((place.at - 2500.4).abs() < 1.0 && place.likeness > 0.4, "{place:?}");
    }

    #[test]
    fn noise_and_silence_are_not_like_it() {
        let noise = find(&heard(0.0, 0.0, 0.1), &sweep_samples(rate()), rate()).unwrap();
        assert!(noise.likeness < 0.15, "{noise:?}");
        assert_eq!(find(&vec![0.0; 9000], &sweep_samples(rate()), rate()), None);
        assert_eq!(find(&[0.1; 10], &sweep_samples(rate()), rate()), None);
    }

    #[test]
    fn what_comes_straight_counts_and_not_its_louder_reflection() {
        let mut both = heard(1000.0, 0.07, 0.0);
        both.iter_mut().zip(heard(1800.0, 0.1, 0.0)).for_each(|(sum, later)| *sum += later);
        let place = find(&both, &sweep_samples(rate()), rate()).unwrap();
        assert!((place.at - 1000.0).abs() < 1.0, "{place:?}");
    }
}
