//! The strings to tune or to check, from the command line.

use super::fretboard::{Strings, strings};
use super::settings;
use super::{Failure, WrongUse};
use crate::practice::tuner::OpenString;
use crate::theory::{Note, Tuning};
use crate::units::A4;

/// What the tuner hears, Hz; below, it has no room for a string that is still flat.
const HEARD_HZ: std::ops::RangeInclusive<f64> = 30.0..=1400.0;
/// An offset larger than this is a slip of the pen, cents.
const LARGEST_OFFSET: f64 = 50.0;

/// Options of the guitar's strings.
#[derive(Debug, clap::Args)]
#[command(next_help_heading = "Guitar")]
pub struct OpenStrings {
    /// Open strings from low to high, or a name such as "drop D", "open G", "7 strings", "bass" [default: your setting, else standard]
    #[arg(long, value_name = "NOTES", value_parser = settings::tuning)]
    pub(super) tuning: Option<String>,
    /// Only these strings, 1 the highest: 1-3 or 1,2,4. With a single one, every note is taken for it
    #[arg(long, value_name = "LIST", value_parser = strings)]
    strings: Option<Strings>,
    /// Cents that single strings are wanted above or under equal temperament: "1=+2,6=-3"
    #[arg(long, value_name = "LIST", value_parser = offsets)]
    string_offset: Option<Offsets>,
    /// Capo at this fret: the open strings sound that much higher
    #[arg(long, value_name = "FRET", default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=24))]
    capo: u8,
    /// Semitones that the guitar is tuned lower than its notes are called
    #[arg(long, value_name = "SEMITONES", default_value_t = 0, value_parser = clap::value_parser!(u8).range(0..=12))]
    tuned_down: u8,
}

/// Offsets as typed: string and cents.
#[derive(Clone, Debug, PartialEq)]
pub struct Offsets(Vec<(u8, f64)>);

fn offsets(text: &str) -> Result<Offsets, String> {
    let one = |part: &str| {
        let (string, cents) = part.split_once('=')?;
        let string = string.trim().parse::<u8>().ok().filter(|string| (1..=12).contains(string))?;
        let cents = cents.trim().parse::<f64>().ok().filter(|cents| cents.abs() <= LARGEST_OFFSET)?;
        Some((string, cents))
    };
    let read =
        |part: &str| one(part).ok_or_else(|| format!("'{part}' is no offset; write string=cents, at most 50 cents, such as 1=+2,6=-3"));
    text.split(',').map(read).collect::<Result<_, _>>().map(Offsets)
}

impl OpenStrings {
    /// The strings from low to high, at the pitches that are wanted. `notes` stand over the tuning; `setting` is the player's own.
    ///
    /// # Errors
    /// For notes that are none, strings that there are not, or pitches that cannot be heard.
    pub fn wanted(&self, notes: &[String], setting: &str, a4: A4) -> Result<Vec<OpenString>, Failure> {
        let open = if notes.is_empty() { setting.parse::<Tuning>()?.low_to_high().to_vec() } else { typed(notes)? };
        let count = open.len() as u8;
        let missing = |string: u8| WrongUse(format!("there is no string {string}: this tuning has {count}, 1 the highest"));
        let kept = self.strings.as_ref().map(Strings::list);
        let offsets = self.string_offset.as_ref().map_or(&[][..], |offsets| &offsets.0);
        let named = kept.into_iter().flatten().copied().chain(offsets.iter().map(|(string, _)| *string));
        if let Some(string) = named.clone().find(|string| *string > count) {
            return Err(missing(string).into());
        }
        let moved = 100.0 * (f64::from(self.capo) - f64::from(self.tuned_down));
        let mut found = Vec::new();
        for (number, note) in (1..=count).rev().zip(open) {
            let offset: f64 = offsets.iter().filter(|(string, _)| *string == number).map(|(_, cents)| cents).sum();
            let cents = note.cents() + moved + offset;
            if !HEARD_HZ.contains(&a4.hz_of(cents)) {
                let hz = a4.hz_of(cents);
                return Err(
                    WrongUse(format!("string {number} ({note}) would sound at {hz:.1} Hz; strings from 30 to 1400 Hz are heard")).into()
                );
            }
            if kept.is_none_or(|kept| kept.contains(&number)) {
                found.push(OpenString { number, note, cents });
            }
        }
        Ok(found)
    }
}

/// Notes as typed, low to high: 1 to 12; without octaves where a tuning of so many strings says which are meant.
fn typed(notes: &[String]) -> Result<Vec<Note>, Failure> {
    let words: Vec<&str> = notes.iter().flat_map(|word| word.split([' ', ','])).filter(|word| !word.is_empty()).collect();
    if (4..=9).contains(&words.len()) {
        return Ok(words.join(" ").parse::<Tuning>()?.low_to_high().to_vec());
    }
    if words.is_empty() || words.len() > 12 {
        return Err(
            WrongUse(format!("{} notes are no tuning; write 1 to 12, from low to high, such as D2 A2 D3 G3 B3 E4", words.len())).into()
        );
    }
    words.iter().map(|word| word.parse::<Note>().map_err(Failure::from)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn options() -> OpenStrings {
        OpenStrings { tuning: None, strings: None, string_offset: None, capo: 0, tuned_down: 0 }
    }

    fn cents(strings: &[OpenString]) -> Vec<(u8, f64)> {
        strings.iter().map(|string| (string.number, string.cents)).collect()
    }

    #[test]
    fn offsets_capo_and_tuning_down_move_what_is_wanted() {
        let strings = OpenStrings { string_offset: Some(offsets("1=+2, 6=-3.5").unwrap()), capo: 2, tuned_down: 1, ..options() };
        let found = strings.wanted(&[], "standard", A4::default()).unwrap();
        assert_eq!(cents(&found), [(6, 4096.5), (5, 4600.0), (4, 5100.0), (3, 5600.0), (2, 6000.0), (1, 6502.0)]);
    }

    #[test]
    fn notes_stand_over_the_tuning_and_may_be_few() {
        let notes = |text: &str| text.split(' ').map(str::to_owned).collect::<Vec<_>>();
        let found = |text: &str| options().wanted(&notes(text), "standard", A4::default()).map(|found| cents(&found));
        assert_eq!(found("G3").unwrap(), [(1, 5500.0)]);
        assert_eq!(found("D A D G A D").unwrap()[..2], [(6, 3800.0), (5, 4500.0)]);
        assert_eq!(found("B0 E1 A1 D2 G2").unwrap()[0], (5, 2300.0));
        assert!(found("D A").unwrap_err().to_string().contains('D'));
        assert!(found("A0 E1 A1 D2 G2").unwrap_err().to_string().contains("27.5 Hz"));
    }

    #[test]
    fn only_some_strings_keep_their_numbers() {
        let strings = OpenStrings { strings: Some(strings("2-1").unwrap()), ..options() };
        assert_eq!(cents(&strings.wanted(&[], "standard", A4::default()).unwrap()), [(2, 5900.0), (1, 6400.0)]);
        let none = OpenStrings { strings: Some(super::strings("7").unwrap()), ..options() };
        assert!(none.wanted(&[], "standard", A4::default()).unwrap_err().to_string().contains("no string 7"));
    }

    #[test]
    fn a_wrong_offset_is_named() {
        for text in ["1", "1=x", "0=2", "1=+2,6", "3=80", "3=nan", ""] {
            assert!(offsets(text).is_err(), "{text}");
        }
    }
}
