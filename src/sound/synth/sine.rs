//! The sine of many phases at once.

/// `sin(2π turns)` to 1e-9, for any phase under 2^50 turns; written without branches so that it becomes vector code.
#[must_use]
pub fn sin_turns(turns: f64) -> f64 {
    // Adding and taking away 1.5·2^52 rounds to the nearest whole number.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    // sin(2πx) = cos(2π(x - 1/4)), which is even and has period 1, and cos(2πr) = sin(2π(1/4 - |r|)).
    let shifted = turns - 0.25;
    let rest = shifted - ((shifted + ROUND) - ROUND);
    let angle = (0.25 - rest.abs()) * std::f64::consts::TAU;
    // Taylor to x^13: the first term left out is (π/2)^15/15! = 7e-10.
    let square = angle * angle;
    let mut series = 1.0 / 6_227_020_800.0;
    series = series * square - 1.0 / 39_916_800.0;
    series = series * square + 1.0 / 362_880.0;
    series = series * square - 1.0 / 5_040.0;
    series = series * square + 1.0 / 120.0;
    series = series * square - 1.0 / 6.0;
    angle + angle * square * series
}

#[cfg(test)]
mod tests {
    use super::sin_turns;

    #[test]
    fn it_agrees_with_the_library_sine() {
        for step in -20_000..20_000 {
            let turns = f64::from(step) * 0.001_37;
            let wanted = (std::f64::consts::TAU * turns).sin();
            assert!((sin_turns(turns) - wanted).abs() < 2e-9, "{turns}: {} for {wanted}", sin_turns(turns));
        }
    }
}
