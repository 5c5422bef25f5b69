//! Local time for people: a moment shown in a time zone.
//!
//! The zone is an argument: the edge looks it up (the system's, or `TZ`).

use super::WallMicros;
use jiff::tz::{Offset, TimeZone};

/// A time zone that was looked up at the edge.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zone(TimeZone);

impl Zone {
    /// The zone of entries and of data for programs.
    pub const UTC: Self = Self(TimeZone::UTC);

    /// A zone that was looked up.
    pub fn new(zone: TimeZone) -> Self {
        Self(zone)
    }

    /// A zone with the same offset all year, in minutes east of UTC; `None` beyond 25 hours.
    pub fn fixed(minutes_east: i32) -> Option<Self> {
        let offset = Offset::from_seconds(minutes_east.checked_mul(60)?).ok()?;
        Some(Self(TimeZone::fixed(offset)))
    }
}

impl WallMicros {
    /// For people: local time to the second with its offset from UTC, `2026-11-29 16:04:11 +01:00`.
    pub fn local(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d %H:%M:%S %:z")
    }

    /// As `local`, to the minute, for tables: `2026-11-29 16:04 +01:00`.
    pub fn local_minute(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d %H:%M %:z")
    }

    /// The local day alone: `2026-11-29`.
    pub fn local_day(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d")
    }

    fn in_zone(self, zone: &Zone, form: &str) -> String {
        match jiff::Timestamp::from_microsecond(self.0) {
            Ok(at) => at
                .to_zoned_datetime(zone.0.clone())
                .strftime(form)
                .to_string(),
            Err(_) => self.to_string(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_is_read_in_its_zone_with_the_offset_that_holds_then() {
        let at = |text: &str| text.parse::<WallMicros>().unwrap();
        let winter = at("2026-11-29T15:04:11.900000Z");
        assert_eq!(winter.local(&Zone::UTC), "2026-11-29 15:04:11 +00:00");
        let india = Zone::fixed(330).unwrap();
        assert_eq!(winter.local(&india), "2026-11-29 20:34:11 +05:30");
        let vienna = TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap();
        let vienna = Zone::new(vienna);
        assert_eq!(winter.local(&vienna), "2026-11-29 16:04:11 +01:00");
        let summer = at("2026-07-01T22:30:00Z");
        assert_eq!(summer.local_minute(&vienna), "2026-07-02 00:30 +02:00");
        assert_eq!(summer.local_day(&vienna), "2026-07-02");
        assert_eq!(Zone::fixed(10_000), None);
    }

    #[test]
    fn a_clock_that_is_far_off_is_shown_as_it_is_entered() {
        let far = WallMicros(i64::MAX);
        assert_eq!(far.local(&Zone::UTC), far.to_string());
    }
}
