//! Smoothing that widens where the pitch stands still and narrows where it moves.
//!
//! A parabola is fitted around the instant, by least squares, over wider and wider stretches; the widest whose estimate still agrees with all
//! narrower ones within their noise is taken: the intersection of confidence intervals (Goldenshluger & Nemirovski 1997, from
//! memory). So a hold is averaged over 150 ms, and the corner of a fast bend over 15.

/// Half widths that are tried, hops.
const HALVES: [usize; 5] = [2, 5, 9, 16, 28];
/// Neighbouring readings share most of what was heard: so many hops count as one independent reading.
const SHARED: f64 = 5.0;
/// Width of the confidence intervals in standard deviations.
const TRUST: f64 = 1.2;
/// Hops between the readings that the noise is judged from: far enough to share little.
const APART: usize = 4;
/// Hops to each side that the noise is judged over.
const NOISE_REACH: usize = 44;

/// Hops to each side that a smoothed value depends on.
pub const REACH: usize = NOISE_REACH;

/// The smoothed value at `centre`. `values` are one note's, all known, in cents.
#[must_use]
pub fn adaptive(values: &[f64], centre: usize) -> f64 {
    let noise = noise(values, centre);
    let mut low = f64::NEG_INFINITY;
    let mut high = f64::INFINITY;
    let mut best = values[centre];
    for half in HALVES {
        let Some((estimate, gain)) = parabola(values, centre, half) else { break };
        let margin = TRUST * noise * (SHARED * gain).min(1.0).sqrt();
        low = low.max(estimate - margin);
        high = high.min(estimate + margin);
        if low > high {
            break;
        }
        best = estimate;
    }
    best
}

/// Standard deviation of the readings' noise around `centre`: from fifth differences, and of those the lower part, since a movement only
/// enlarges them. Of a vibrato of 25 c at 8 Hz a third difference would see 0.8 c, a fifth sees 0.07.
fn noise(values: &[f64], centre: usize) -> f64 {
    const BINOMIAL: [f64; 6] = [1.0, -5.0, 10.0, -10.0, 5.0, -1.0];
    /// Sum of the squares of the above: how much larger the difference's variance is than the readings'.
    const VARIANCE: f64 = 252.0;
    let from = centre.saturating_sub(NOISE_REACH);
    let to = (centre + NOISE_REACH + 1).min(values.len()).saturating_sub(5 * APART);
    let mut found = [0.0f64; 2 * NOISE_REACH + 1];
    let mut n = 0;
    for i in from..to {
        found[n] = BINOMIAL.iter().enumerate().map(|(k, b)| b * values[i + k * APART]).sum::<f64>().abs();
        n += 1;
    }
    if n < 8 {
        return 0.0;
    }
    let at = n * 2 / 5;
    let (_, quantile, _) = found[..n].select_nth_unstable_by(at, f64::total_cmp);
    // Two fifths of normal values lie within 0.524 standard deviations.
    *quantile / 0.524 / VARIANCE.sqrt()
}

/// The value at `centre` of the parabola through up to `half` values to each side, tapered towards the ends, and the sum of
/// the squares of its weights. `None` with fewer than five values.
#[must_use]
pub fn parabola(values: &[f64], centre: usize, half: usize) -> Option<(f64, f64)> {
    let from = centre.saturating_sub(half);
    let to = (centre + half + 1).min(values.len());
    if to - from < 5 {
        return None;
    }
    let mut m = [0.0f64; 5];
    let mut b = [0.0f64; 3];
    let scale = 1.0 / (half as f64 + 1.0);
    let weight = |t: f64| 1.0 - t * t;
    for (i, value) in values[from..to].iter().enumerate() {
        let t = ((from + i) as f64 - centre as f64) * scale;
        let w = weight(t);
        let mut power = w;
        for (k, m) in m.iter_mut().enumerate() {
            *m += power;
            if k < 3 {
                b[k] += power * (value - values[centre]);
            }
            power *= t;
        }
    }
    // First row of the inverse of the moment matrix: the weights of the value at t = 0.
    let det = m[0] * (m[2] * m[4] - m[3] * m[3]) - m[1] * (m[1] * m[4] - m[2] * m[3]) + m[2] * (m[1] * m[3] - m[2] * m[2]);
    if det.abs() < 1e-12 {
        return None;
    }
    let row = [(m[2] * m[4] - m[3] * m[3]) / det, (m[2] * m[3] - m[1] * m[4]) / det, (m[1] * m[3] - m[2] * m[2]) / det];
    let estimate = values[centre] + row[0] * b[0] + row[1] * b[1] + row[2] * b[2];
    let gain = (from..to)
        .map(|i| {
            let t = (i as f64 - centre as f64) * scale;
            let l = weight(t) * (row[0] + row[1] * t + row[2] * t * t);
            l * l
        })
        .sum();
    Some((estimate, gain))
}
