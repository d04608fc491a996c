//! How far a saddle has to move.
//!
//! A fretted note at fret `n` of a string in tune is off by `e` cents against the open string raised by `n` semitones. Moving the saddle back by `D`
//! on a scale of `L` and tuning the open string again changes that by `1200 log2((1 + D/L) / (1 + D/L · 2^(n/12)))`: the frets stay where they are,
//! and the share of the string above them grows. It is right for `D/L = (1 − r) / (2^(n/12) r − 1)`, `r = 2^(−e/1200)`; at fret 12,
//! `(1 − r) / (2r − 1)`, about 0.37 mm a cent on 648 mm. Derived from Mersenne's law alone; that a fretted string is sharp without such
//! compensation: Byers, "Intonation research"; Beausoleil, JASA 156, 683 (2024). The stretch under the finger is taken to stay the same.

/// Millimetres that the saddle goes back (away from the neck; negative: forward) on a scale of `scale_mm`, for a note at `fret` that is
/// `error_cents` sharp. `None` at fret 0, and for errors over a quarter tone: no saddle mends those.
#[must_use]
pub fn move_mm(scale_mm: f64, fret: u8, error_cents: f64) -> Option<f64> {
    if fret == 0 || error_cents.is_nan() || error_cents.abs() > 50.0 {
        return None;
    }
    let r = (-error_cents / 1200.0).exp2();
    let shortened = (f64::from(fret) / 12.0).exp2();
    let below = shortened * r - 1.0;
    let moved = scale_mm * (1.0 - r) / below;
    (below > 0.0 && moved.abs() < scale_mm / 10.0).then_some(moved)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_moves_at_fret_12_of_a_648_scale_are_those_of_the_formula_worked_out_apart() {
        for (cents, mm) in [(1.0, 0.3746), (2.0, 0.7499), (5.0, 1.8796), (10.0, 3.7757)] {
            let found = move_mm(648.0, 12, cents).unwrap();
            assert!((found - mm).abs() < 0.001, "{cents} c: {found} mm, not {mm}");
        }
    }

    #[test]
    fn a_string_cannot_be_compensated_where_it_is_open_or_far_off() {
        assert_eq!(move_mm(648.0, 0, 5.0), None);
        assert_eq!(move_mm(648.0, 12, 60.0), None);
        assert_eq!(move_mm(648.0, 1, 40.0), None);
        assert_eq!(move_mm(648.0, 12, f64::NAN), None);
    }

    proptest! {
        #[test]
        fn after_the_move_the_fret_is_right(scale in 500.0..900.0_f64, fret in 5..24_u8, error in -15.0..15.0_f64) {
            let moved = move_mm(scale, fret, error).unwrap();
            // From lengths alone: the open string is tuned again, the fretted part grows by the same millimetres.
            let fretted = scale * (-f64::from(fret) / 12.0).exp2();
            let before = 1200.0 * (scale / fretted).log2();
            let after = 1200.0 * ((scale + moved) / (fretted + moved)).log2();
            prop_assert!((after - before + error).abs() < 1e-6);
        }

        #[test]
        fn sharp_goes_back_and_flat_goes_forward(fret in 5..24_u8, error in 0.1..15.0_f64) {
            prop_assert!(move_mm(648.0, fret, error).unwrap() > 0.0);
            prop_assert!(move_mm(648.0, fret, -error).unwrap() < 0.0);
        }
    }
}
