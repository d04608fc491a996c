//! From what the tracker said to a curve without holes: slips dropped, short holes bridged, noise smoothed.

use super::statistics::median;

/// A reading further than this from the median around it is a slip of the tracker: bends move slower, steps are monotone.
const SLIP_CENTS: f64 = 70.0;

/// Half the stretch over which that median is taken, ms: longer slips are found as excursions.
const SLIP_HALF_WINDOW_MS: f64 = 30.0;

/// A jump to another octave or partial that comes back within this long is a slip too.
const EXCURSION_MS: f64 = 150.0;

/// A jump between neighbours that no finger makes on one string inside [`EXCURSION_MS`], there and back.
const EXCURSION_CENTS: f64 = 250.0;

/// The contour without slips and holes. `cents` has NaN where unknown; the result has none unless nothing was known at all.
#[must_use]
pub fn clean(cents: &[f64], hop_ms: f64) -> Vec<f64> {
    let mut curve = cents.to_vec();
    drop_excursions(&mut curve, (EXCURSION_MS / hop_ms) as usize);
    drop_slips(&mut curve, (SLIP_HALF_WINDOW_MS / hop_ms).round() as usize);
    bridge(&mut curve);
    curve
}

/// Makes runs unknown that jump away and come back to where they left.
fn drop_excursions(curve: &mut [f64], longest: usize) {
    let known: Vec<usize> = (0..curve.len()).filter(|&i| curve[i].is_finite()).collect();
    let mut k = 1;
    while k < known.len() {
        let before = curve[known[k - 1]];
        if (curve[known[k]] - before).abs() > EXCURSION_CENTS {
            let back = (k + 1..known.len())
                .take_while(|&j| known[j] - known[k] <= longest)
                .find(|&j| (curve[known[j]] - before).abs() < EXCURSION_CENTS / 2.0);
            if let Some(back) = back {
                for &i in &known[k..back] {
                    curve[i] = f64::NAN;
                }
                k = back;
            }
        }
        k += 1;
    }
}

fn drop_slips(curve: &mut [f64], half: usize) {
    let original = curve.to_vec();
    let mut around = Vec::with_capacity(2 * half + 1);
    for i in 0..original.len() {
        around.clear();
        let window = &original[i.saturating_sub(half)..(i + half + 1).min(original.len())];
        around.extend(window.iter().copied().filter(|c| c.is_finite()));
        if let Some(middle) = median(&around)
            && around.len() > half / 2
            && (original[i] - middle).abs() > SLIP_CENTS
            && !is_edge_of_a_step(&original, i, half)
        {
            curve[i] = f64::NAN;
        }
    }
}

/// Near a hammer-on or at either end of a fast bend the median lies on one side; there neighbours still agree with the point.
fn is_edge_of_a_step(curve: &[f64], i: usize, half: usize) -> bool {
    let near = |range: std::ops::Range<usize>| {
        let same = range.clone().filter(|&j| (curve[j] - curve[i]).abs() < SLIP_CENTS).count();
        range.len() >= 3 && same * 4 >= range.len() * 3
    };
    let quarter = (half / 2).max(3);
    near(i.saturating_sub(quarter)..i) || near((i + 1).min(curve.len())..(i + 1 + quarter).min(curve.len()))
}

/// Straight lines over the holes; the ends are held.
fn bridge(curve: &mut [f64]) {
    let Some(first) = curve.iter().position(|c| c.is_finite()) else { return };
    let head = curve[first];
    curve[..first].fill(head);
    let mut last = first;
    for i in first + 1..curve.len() {
        if curve[i].is_finite() {
            let (from, to) = (curve[last], curve[i]);
            for (step, hole) in curve[last + 1..i].iter_mut().enumerate() {
                *hole = from + (to - from) * (step + 1) as f64 / (i - last) as f64;
            }
            last = i;
        }
    }
    let tail = curve[last];
    curve[last + 1..].fill(tail);
}

/// Least-squares parabola over `half` points to each side, evaluated in the middle (Savitzky & Golay 1964): corners and vibrato
/// survive where a mean would round them. At the ends the window shrinks.
#[must_use]
pub fn smooth(curve: &[f64], half: usize) -> Vec<f64> {
    (0..curve.len())
        .map(|i| {
            let half = half.min(i).min(curve.len() - 1 - i);
            if half < 2 {
                return curve[i];
            }
            let m = half as f64;
            let (mut sum, mut weights) = (0.0, 0.0);
            for (j, value) in curve[i - half..=i + half].iter().enumerate() {
                let x = j as f64 - m;
                let weight = 3.0 * m * m + 3.0 * m - 1.0 - 5.0 * x * x;
                sum += weight * value;
                weights += weight;
            }
            sum / weights
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_octave_slip_of_twenty_hops_is_bridged() {
        let mut curve = vec![6700.0; 200];
        curve[80..100].fill(5500.0);
        assert!(clean(&curve, 2.7).iter().all(|c| (c - 6700.0).abs() < 1e-9));
    }

    #[test]
    fn a_hammer_on_survives_cleaning() {
        let mut curve = vec![6700.0; 100];
        curve.extend(vec![6900.0; 100]);
        assert_eq!(clean(&curve, 2.7), curve);
    }

    #[test]
    fn a_hole_is_bridged_by_a_straight_line() {
        let curve = [1.0, f64::NAN, f64::NAN, 4.0];
        assert_eq!(clean(&curve, 2.7), [1.0, 2.0, 3.0, 4.0]);
    }

    #[test]
    fn smoothing_keeps_a_parabola() {
        let curve: Vec<f64> = (0..30).map(|i| f64::from(i * i)).collect();
        for (smoothed, exact) in smooth(&curve, 5).iter().zip(&curve) {
            assert!((smoothed - exact).abs() < 1e-9);
        }
    }
}
