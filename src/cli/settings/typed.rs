//! Values of settings as they are typed, on the command line or in `config.toml`.

use crate::theory::Tuning;
use crate::units::A4;

/// A tuning reference as typed: 400 to 480 Hz.
///
/// # Errors
/// What it should be.
pub fn a4(text: &str) -> Result<A4, String> {
    text.trim().parse().ok().and_then(A4::new).ok_or_else(|| "it is the frequency of A4 in Hz, from 400 to 480, usually 440".into())
}

/// A tuning as typed: one that there is.
///
/// # Errors
/// What it should be.
pub fn tuning(text: &str) -> Result<String, String> {
    text.parse::<Tuning>().map(|_| text.to_owned()).map_err(|error| error.to_string())
}

/// A tolerance as typed: over 0, up to 100 cents.
///
/// # Errors
/// What it should be.
pub fn tolerance(text: &str) -> Result<f64, String> {
    let cents = text.trim().parse().ok().filter(|cents| *cents > 0.0 && *cents <= 100.0);
    cents.ok_or_else(|| "it is in cents, over 0 and up to 100, usually 10".into())
}

/// A length of a session as typed.
///
/// # Errors
/// What it should be.
pub fn minutes(text: &str) -> Result<f64, String> {
    let minutes = text.trim().parse().ok().filter(|minutes| *minutes > 0.0 && *minutes <= 600.0);
    minutes.ok_or_else(|| "it is a number of minutes, over 0 and up to 600".into())
}

/// A channel as typed, counted from 1.
///
/// # Errors
/// What it should be.
pub fn channel(text: &str) -> Result<u16, String> {
    text.trim().parse().ok().filter(|channel| *channel > 0).ok_or_else(|| "channels are counted from 1".into())
}

/// One of the words that a setting has.
///
/// # Errors
/// All of them.
pub(super) fn word<T: clap::ValueEnum>(text: &str) -> Result<T, String> {
    T::from_str(text.trim(), true).map_err(|_| {
        let names: Vec<String> =
            T::value_variants().iter().filter_map(clap::ValueEnum::to_possible_value).map(|value| value.get_name().to_owned()).collect();
        format!("it is one of {}", names.join(", "))
    })
}
