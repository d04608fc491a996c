//! The few statistics that contours need. All take pitches in cents without NaN.

/// The median; `None` of nothing.
#[must_use]
pub fn median(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    let mut sorted = values.to_vec();
    let middle = sorted.len() / 2;
    let (below, &mut upper, _) = sorted.select_nth_unstable_by(middle, f64::total_cmp);
    if values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = below.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    Some(f64::midpoint(lower, upper))
}

/// The arithmetic mean; `None` of nothing.
#[must_use]
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Least-squares slope a point; `None` under three points.
#[must_use]
pub fn slope(values: &[f64]) -> Option<f64> {
    if values.len() < 3 {
        return None;
    }
    let middle = (values.len() - 1) as f64 / 2.0;
    let centre = mean(values)?;
    let (mut top, mut bottom) = (0.0, 0.0);
    for (i, &value) in values.iter().enumerate() {
        let x = i as f64 - middle;
        top += x * (value - centre);
        bottom += x * x;
    }
    Some(top / bottom)
}

/// Standard deviation around the least-squares line; `None` under three points.
#[must_use]
pub fn spread_around_line(values: &[f64]) -> Option<f64> {
    let slope = slope(values)?;
    let middle = (values.len() - 1) as f64 / 2.0;
    let centre = mean(values)?;
    let squares: f64 = values.iter().enumerate().map(|(i, value)| (value - centre - slope * (i as f64 - middle)).powi(2)).sum();
    Some((squares / values.len() as f64).sqrt())
}

/// Noise of a contour as a standard deviation: the median of its second differences, which a smooth curve hardly has
/// (second differences of white noise have `sqrt(6)` times its deviation; 0.6745 turns a median into a deviation).
#[must_use]
pub fn noise(values: &[f64]) -> f64 {
    let second: Vec<f64> = values.windows(3).map(|w| (w[0] - 2.0 * w[1] + w[2]).abs()).collect();
    median(&second).unwrap_or(0.0) / 0.6745 / 6.0_f64.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_an_even_count_is_the_middle_of_the_two() {
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Some(2.5));
        assert_eq!(median(&[3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&[]), None);
    }

    #[test]
    fn a_line_has_its_slope_and_no_spread() {
        let line: Vec<f64> = (0..10).map(|i| 3.0 + 0.5 * f64::from(i)).collect();
        assert!((slope(&line).unwrap() - 0.5).abs() < 1e-12);
        assert!(spread_around_line(&line).unwrap() < 1e-12);
    }
}
