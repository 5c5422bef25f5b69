//! Local time for people: a moment shown in a time zone.
//!
//! The zone is an argument: the edge looks it up (the system's, or `TZ`).

use super::WallMicros;
use jiff::tz::{Offset, TimeZone};

/// A time zone that was looked up at the edge, or what is listed of one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Zone(Known);

#[derive(Debug, Clone, PartialEq, Eq)]
enum Known {
    Rule(TimeZone),
    Listed(Vec<OffsetFrom>, Option<String>),
}

/// An offset, in seconds east of UTC, and from when on it holds; the first of a list holds before too.
pub type OffsetFrom = (WallMicros, i32);

/// Local mean time of the Philippines until 1844 was the furthest, 15:56:00 behind UTC (from memory).
const FURTHEST_SECONDS: i32 = 16 * 60 * 60;

impl Zone {
    /// The zone of entries and of data for programs.
    pub const UTC: Self = Self(Known::Rule(TimeZone::UTC));

    /// A zone that was looked up.
    pub fn new(zone: TimeZone) -> Self {
        Self(Known::Rule(zone))
    }

    /// What a page lists of its zone, and the name it gives it, so that its times can be made again where the zone
    /// is not known.
    /// `None` if one is further from UTC than any zone ever was, if they are not in order, or if there is none.
    pub fn listed(offsets: Vec<OffsetFrom>, name: Option<&str>) -> Option<Self> {
        let is_valid = |(_, seconds): &OffsetFrom| seconds.abs() <= FURTHEST_SECONDS;
        let is_ordered = offsets.is_sorted_by(|one, next| one.0 < next.0);
        let known = !offsets.is_empty() && offsets.iter().all(is_valid) && is_ordered;
        let name = name.map(str::to_owned);
        known.then_some(Self(Known::Listed(offsets, name)))
    }

    /// `Europe/Vienna`; `None` where only the rule or the offsets are known.
    pub fn name(&self) -> Option<&str> {
        match &self.0 {
            Known::Rule(zone) => zone.iana_name().filter(|_| !zone.is_unknown()),
            Known::Listed(_, name) => name.as_deref(),
        }
    }

    /// The offsets that hold from `from` to `to`; all that are listed where the zone is a list.
    pub fn offsets(&self, from: WallMicros, to: WallMicros) -> Vec<OffsetFrom> {
        let zone = match &self.0 {
            Known::Rule(zone) => zone,
            Known::Listed(offsets, _) => return offsets.clone(),
        };
        let mut offsets = vec![(from, self.offset(from).seconds())];
        if let Ok(begin) = jiff::Timestamp::from_microsecond(from.0) {
            let changes = zone.following(begin);
            let changes = changes.map(|change| {
                let at = WallMicros(change.timestamp().as_microsecond());
                (at, change.offset().seconds())
            });
            offsets.extend(changes.take_while(|(at, _)| *at <= to));
        }
        offsets
    }

    fn offset(&self, at: WallMicros) -> Offset {
        match &self.0 {
            Known::Rule(zone) => {
                jiff::Timestamp::from_microsecond(at.0).map_or(Offset::UTC, |at| zone.to_offset(at))
            }
            Known::Listed(offsets, _) => {
                let holds = offsets.iter().rev().find(|(from, _)| *from <= at);
                let holds = holds.or(offsets.first());
                let offset = holds.map(|(_, seconds)| Offset::from_seconds(*seconds));
                offset.and_then(Result::ok).unwrap_or(Offset::UTC)
            }
        }
    }

    /// A zone with the same offset all year, in minutes east of UTC; `None` beyond 25 hours.
    pub fn fixed(minutes_east: i32) -> Option<Self> {
        let offset = Offset::from_seconds(minutes_east.checked_mul(60)?).ok()?;
        Some(Self::new(TimeZone::fixed(offset)))
    }
}

impl WallMicros {
    /// For people: local time to the second with its offset from UTC, `2026-11-29 16:04:11 +01:00`.
    pub fn local(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d %H:%M:%S %:z")
    }

    /// The offset that holds then: `+01:00`.
    pub fn offset(self, zone: &Zone) -> String {
        self.in_zone(zone, "%:z")
    }

    /// As `local`, to the minute, for tables: `2026-11-29 16:04 +01:00`.
    pub fn local_minute(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d %H:%M %:z")
    }

    /// The local day alone: `2026-11-29`.
    pub fn local_day(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d")
    }

    /// As `local_day`, with the offset: `2026-11-29 +01:00`. A page whose zone nobody can look up names days so.
    pub fn local_day_with_offset(self, zone: &Zone) -> String {
        self.in_zone(zone, "%Y-%m-%d %:z")
    }

    fn in_zone(self, zone: &Zone, form: &str) -> String {
        match jiff::Timestamp::from_microsecond(self.0) {
            Ok(at) => at
                .to_zoned_datetime(TimeZone::fixed(zone.offset(self)))
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
    fn the_listed_offsets_give_the_same_times_as_the_rule() {
        let vienna = Zone::new(TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap());
        let at = |text: &str| text.parse::<WallMicros>().unwrap();
        let offsets = vienna.offsets(at("2026-01-01T00:00:00Z"), at("2026-11-29T12:00:00Z"));
        let seconds: Vec<_> = offsets.iter().map(|(_, seconds)| *seconds).collect();
        assert_eq!(seconds, [3_600, 7_200, 3_600]);
        let listed = Zone::listed(offsets.clone(), Some("Europe/Vienna")).unwrap();
        assert_eq!(listed.name(), Some("Europe/Vienna"));
        assert_eq!(vienna.name(), None, "a rule has no name");
        assert_eq!(Zone::UTC.name(), Some("UTC"));
        for text in [
            "2026-02-01T00:00:00Z",
            "2026-03-29T00:59:59.999999Z",
            "2026-03-29T01:00:00Z",
            "2026-07-01T22:30:00Z",
            "2026-10-25T01:00:00Z",
        ] {
            assert_eq!(at(text).local(&listed), at(text).local(&vienna));
        }
        assert_eq!(listed.offsets(at(AGO), at(AGO)), offsets);
        assert_eq!(Zone::listed(Vec::new(), None), None);
        assert_eq!(Zone::listed(vec![(at(AGO), 86_400)], None), None);
        let backwards = offsets.into_iter().rev().collect();
        assert_eq!(Zone::listed(backwards, None), None);
    }

    const AGO: &str = "2020-01-01T00:00:00Z";

    #[test]
    fn a_clock_that_is_far_off_is_shown_as_it_is_entered() {
        let far = WallMicros(i64::MAX);
        assert_eq!(far.local(&Zone::UTC), far.to_string());
    }
}
