//! Calendar days, for due dates of calibrations and tool checks.

use super::WallMicros;
use jiff::ToSpan as _;
use jiff::civil;
use std::fmt;
use std::str::FromStr;

/// A calendar day in UTC.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date(civil::Date);

impl Date {
    /// Whether the day is over at this time.
    pub fn is_over(self, at: WallMicros) -> bool {
        day_of(at).is_some_and(|day| day > self.0)
    }

    /// Whether the day has not begun at this time.
    pub fn is_ahead(self, at: WallMicros) -> bool {
        day_of(at).is_some_and(|day| day < self.0)
    }

    /// Midnight, before a zone says which moment that is.
    pub(super) fn first_second(self) -> civil::DateTime {
        self.0.to_datetime(civil::Time::midnight())
    }

    /// The day of this time; `None` beyond the calendar.
    pub fn of(at: WallMicros) -> Option<Self> {
        day_of(at).map(Self)
    }

    /// The day that is `days` later; `None` beyond the calendar.
    pub fn plus_days(self, days: u32) -> Option<Self> {
        self.0.checked_add(i64::from(days).days()).ok().map(Self)
    }

    /// The day before; `None` beyond the calendar.
    pub fn before(self) -> Option<Self> {
        self.0.yesterday().ok().map(Self)
    }

    /// The Monday of its week; `None` beyond the calendar.
    pub fn monday(self) -> Option<Self> {
        let days = i64::from(self.0.weekday().to_monday_zero_offset());
        self.0.checked_sub(days.days()).ok().map(Self)
    }

    /// The first day of its month.
    #[must_use]
    pub fn first_of_month(self) -> Self {
        Self(self.0.first_of_month())
    }

    /// The day that is `months` later, or the last day of a month that has no such day; `None` beyond the calendar.
    pub fn plus_months(self, months: u32) -> Option<Self> {
        self.0
            .checked_add(i64::from(months).months())
            .ok()
            .map(Self)
    }
}

fn day_of(at: WallMicros) -> Option<civil::Date> {
    let timestamp = jiff::Timestamp::from_microsecond(at.0).ok()?;
    Some(jiff::tz::Offset::UTC.to_datetime(timestamp).date())
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A text is not a day.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("got {got:?}, want a day such as \"2026-11-25\"")]
pub struct ParseDateError {
    /// The text.
    got: String,
}

impl FromStr for Date {
    type Err = ParseDateError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let day = text.parse::<civil::Date>().ok();
        // The text must be the day alone: a time after it would be lost.
        day.filter(|day| day.to_string() == text)
            .map(Self)
            .ok_or_else(|| ParseDateError {
                got: text.to_owned(),
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_is_over_at_midnight_and_reads_back() {
        let day: Date = "2026-11-25".parse().unwrap();
        assert_eq!(day.to_string(), "2026-11-25");
        let at = |text: &str| text.parse::<WallMicros>().unwrap();
        assert!(!day.is_over(at("2026-11-25T23:59:59Z")));
        assert!(day.is_over(at("2026-11-26T00:00:00Z")));
        assert!(day.is_ahead(at("2026-11-24T23:59:59Z")));
        assert_eq!(day.plus_days(30).unwrap().to_string(), "2026-12-25");
        let last: Date = "2026-11-30".parse().unwrap();
        assert_eq!(last.plus_months(3).unwrap().to_string(), "2027-02-28");
        for text in [
            "2026-02-30",
            "25.11.2026",
            "2026-11-25T10:00",
            "2026-11",
            "",
        ] {
            assert!(text.parse::<Date>().is_err(), "{text}");
        }
    }
}
