//! How one value stands in one cell of a CSV file, and how it is read back.
//!
//! Conventions. Unknown is an empty cell, never 0; so is a number that is not finite. Numbers have a point, no thousands mark, no exponent and
//! no negative zero. Each unit has a fixed number of decimals, a little finer than the measures are true, so that a row is
//! the same bytes wherever it was written and a cell that was cut short can be told:
//!
//! | unit | decimals | example |
//! | --- | --- | --- |
//! | seconds | 4 | `1.2047` |
//! | milliseconds | 1 | `143.5` |
//! | cents, cents a second | 2 | `-3.18` |
//! | hertz of a vibrato | 3 | `5.512` |
//! | per cent, score | 1 | `86.4` |
//! | what a player or a drill set (bend size, tolerance, A4) | as many as needed, 3 at most | `200`, `442.5` |
//! | counts (attempt, fret, sample rate) | 0 | `48000` |

use super::PlayedAt;
use std::str::FromStr;

/// Why a cell could not be read, to be followed by what stood there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Misread(pub &'static str);

/// A way of writing values of type `T`.
pub trait Cell<T> {
    /// The cell's text, before any quoting; empty for unknown.
    fn write(value: &T) -> String;

    /// The value of a cell; an empty cell is unknown.
    ///
    /// # Errors
    /// What the text should have been.
    fn read(text: &str) -> Result<T, Misread>;
}

/// Words as they are.
#[derive(Debug)]
pub struct Text;

/// Several words in one cell, joined by `;`.
#[derive(Debug)]
pub struct Words;

/// A count.
#[derive(Debug)]
pub struct Count;

/// `yes` or `no`.
#[derive(Debug)]
pub struct YesNo;

/// An instant of the calendar, RFC 3339.
#[derive(Debug)]
pub struct Instant;

/// A measure with a fixed number of decimals.
#[derive(Debug)]
pub struct Measure<const DECIMALS: usize>;

/// A number that somebody set: 3 decimals at most, without the zeros at the end.
#[derive(Debug)]
pub struct Set;

/// Seconds inside a take.
pub type Seconds = Measure<4>;
/// Milliseconds.
pub type Millis = Measure<1>;
/// Cents, and cents a second.
pub type CentsCell = Measure<2>;
/// Hertz of something slow.
pub type Hertz = Measure<3>;
/// Per cent, and the score.
pub type Percent = Measure<1>;

impl Cell<String> for Text {
    fn write(value: &String) -> String {
        value.clone()
    }
    fn read(text: &str) -> Result<String, Misread> {
        Ok(text.to_owned())
    }
}

impl Cell<Option<String>> for Text {
    fn write(value: &Option<String>) -> String {
        value.clone().unwrap_or_default()
    }
    fn read(text: &str) -> Result<Option<String>, Misread> {
        Ok((!text.is_empty()).then(|| text.to_owned()))
    }
}

impl Cell<Vec<String>> for Words {
    fn write(value: &Vec<String>) -> String {
        value.join(";")
    }
    fn read(text: &str) -> Result<Vec<String>, Misread> {
        Ok(text.split(';').map(str::trim).filter(|word| !word.is_empty()).map(str::to_owned).collect())
    }
}

impl Cell<Option<u32>> for Count {
    fn write(value: &Option<u32>) -> String {
        value.map(|count| count.to_string()).unwrap_or_default()
    }
    fn read(text: &str) -> Result<Option<u32>, Misread> {
        parsed(text, "a whole number")
    }
}

impl Cell<Option<bool>> for YesNo {
    fn write(value: &Option<bool>) -> String {
        value.map(|yes| if yes { "yes" } else { "no" }.to_owned()).unwrap_or_default()
    }
    fn read(text: &str) -> Result<Option<bool>, Misread> {
        match text.trim() {
            "" => Ok(None),
            "yes" => Ok(Some(true)),
            "no" => Ok(Some(false)),
            _ => Err(Misread("yes or no")),
        }
    }
}

impl Cell<Option<PlayedAt>> for Instant {
    fn write(value: &Option<PlayedAt>) -> String {
        value.map(|when| when.to_string()).unwrap_or_default()
    }
    fn read(text: &str) -> Result<Option<PlayedAt>, Misread> {
        parsed(text, "a date and time such as 2025-03-09T20:15:00+01:00")
    }
}

impl<const DECIMALS: usize> Cell<Option<f64>> for Measure<DECIMALS> {
    fn write(value: &Option<f64>) -> String {
        known(*value).map(|number| unsigned_zero(format!("{number:.DECIMALS$}"))).unwrap_or_default()
    }
    fn read(text: &str) -> Result<Option<f64>, Misread> {
        number(text)
    }
}

impl Cell<Option<f64>> for Set {
    fn write(value: &Option<f64>) -> String {
        let digits = known(*value).map(|number| format!("{number:.3}")).unwrap_or_default();
        unsigned_zero(if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.').to_owned() } else { digits })
    }
    fn read(text: &str) -> Result<Option<f64>, Misread> {
        number(text)
    }
}

fn known(value: Option<f64>) -> Option<f64> {
    value.filter(|number| number.is_finite())
}

/// `-0.00` says nothing that `0.00` does not, and differs from it in bytes.
fn unsigned_zero(digits: String) -> String {
    let zero = digits.starts_with('-') && digits.bytes().all(|digit| matches!(digit, b'-' | b'0' | b'.'));
    if zero { digits[1..].to_owned() } else { digits }
}

fn number(text: &str) -> Result<Option<f64>, Misread> {
    let misread = Misread("a number");
    match parsed::<f64>(text, "a number")? {
        Some(value) if !value.is_finite() => Err(misread),
        value => Ok(value),
    }
}

fn parsed<T: FromStr>(text: &str, wanted: &'static str) -> Result<Option<T>, Misread> {
    match text.trim() {
        "" => Ok(None),
        text => text.parse().map(Some).map_err(|_| Misread(wanted)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn unknown_and_impossible_numbers_are_empty_cells() {
        assert_eq!(CentsCell::write(&None), "");
        assert_eq!(CentsCell::write(&Some(f64::NAN)), "");
        assert_eq!(Seconds::write(&Some(f64::INFINITY)), "");
        assert_eq!(CentsCell::read("").unwrap(), None);
        assert_eq!(CentsCell::read("NaN"), Err(Misread("a number")));
    }

    #[test]
    fn a_small_negative_error_is_a_plain_zero() {
        assert_eq!(CentsCell::write(&Some(-0.004)), "0.00");
        assert_eq!(Set::write(&Some(-0.0001)), "0");
        assert_eq!(CentsCell::write(&Some(-0.006)), "-0.01");
    }

    #[test]
    fn what_was_set_has_no_needless_zeros() {
        assert_eq!(Set::write(&Some(440.0)), "440");
        assert_eq!(Set::write(&Some(442.5)), "442.5");
        assert_eq!(Set::write(&Some(100.0)), "100");
    }

    proptest! {
        #[test]
        fn a_measure_reads_back_within_half_its_last_decimal(value in -1e9..1e9f64) {
            let text = CentsCell::write(&Some(value));
            prop_assert!(!text.contains(['e', 'E', ',']), "{text}");
            let back: f64 = CentsCell::read(&text).unwrap().unwrap();
            prop_assert!((back - value).abs() <= 0.005 + 1e-6);
            prop_assert_eq!(CentsCell::write(&Some(back)), text);
        }
    }
}
