//! When something was played, as the player's calendar and clock had it.

use jiff::{SignedDuration, Timestamp, fmt::temporal::Pieces, tz::Offset};
use std::fmt;
use std::str::FromStr;

/// An instant to the second, with the offset from UTC that was in force where it was played: the evening of a practice is a local one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PlayedAt {
    instant: Timestamp,
    offset: Offset,
}

impl PlayedAt {
    /// An instant in a place that is `offset` ahead of UTC; fractions of a second are dropped.
    #[must_use]
    pub fn new(instant: Timestamp, offset: Offset) -> Self {
        let whole = Timestamp::from_second(instant.as_second()).unwrap_or(instant);
        Self { instant: whole, offset }
    }

    /// The instant, for ordering.
    #[must_use]
    pub fn instant(self) -> Timestamp {
        self.instant
    }

    /// So many seconds later; `None` beyond the calendar.
    #[must_use]
    pub fn later(self, seconds: f64) -> Option<Self> {
        let instant = self.instant.checked_add(SignedDuration::try_from_secs_f64(seconds).ok()?).ok()?;
        Some(Self::new(instant, self.offset))
    }

    /// Date and time where it was played.
    #[must_use]
    pub fn local(self) -> jiff::civil::DateTime {
        self.offset.to_datetime(self.instant)
    }
}

impl fmt::Display for PlayedAt {
    /// RFC 3339.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.instant.display_with_offset(self.offset).fmt(f)
    }
}

impl FromStr for PlayedAt {
    type Err = jiff::Error;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let instant: Timestamp = text.parse()?;
        let offset = Pieces::parse(text)?.to_numeric_offset().unwrap_or(Offset::UTC);
        Ok(Self::new(instant, offset))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of RFC 3339, section 5.8.
    #[test]
    fn the_example_of_rfc_3339_is_the_same_instant_in_both_spellings() {
        let pacific: PlayedAt = "1996-12-19T16:39:57-08:00".parse().unwrap();
        let utc: PlayedAt = "1996-12-20T00:39:57Z".parse().unwrap();
        assert_eq!(pacific.instant(), utc.instant());
        assert_eq!(pacific.to_string(), "1996-12-19T16:39:57-08:00");
        assert_eq!(utc.to_string(), "1996-12-20T00:39:57+00:00");
        assert_eq!(pacific.local().to_string(), "1996-12-19T16:39:57");
    }

    #[test]
    fn a_date_without_a_zone_is_refused() {
        assert!("1996-12-19T16:39:57".parse::<PlayedAt>().is_err());
    }
}
