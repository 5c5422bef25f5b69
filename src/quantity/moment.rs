//! A moment as a person writes it: a day, or a time by the clock on the wall; with an offset from UTC or without.
//!
//! A text without an offset is local time. The zone is an argument, as for times that are shown. Where the clock is
//! set, a local time may not exist or come twice: then the offset is wanted, nothing is guessed.

use super::{Date, WallMicros, Zone};
use jiff::civil::{DateTime, Time};

/// Why a text is no moment.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ParseMomentError {
    /// Neither a day nor a time.
    #[error(
        "want a day such as 2026-11-25, or a time such as 2026-11-25T09:14; both are local unless an offset follows the time, such as 2026-11-25T09:14Z or 2026-11-25T09:14+01:00"
    )]
    NoMoment,
    /// The clock was set forward over it.
    #[error(
        "this local time does not exist, since the clock was set forward over it; want it with an offset: {before} or {after}"
    )]
    Skipped {
        /// With the offset that held before.
        before: String,
        /// With the offset that held after.
        after: String,
    },
    /// The clock was set back over it.
    #[error(
        "this local time came twice, since the clock was set back; want it with its offset: {first} or {second}"
    )]
    Twice {
        /// With the offset that held before.
        first: String,
        /// With the offset that held after.
        second: String,
    },
}

/// What a local time is in a zone.
enum Local {
    Once(WallMicros),
    /// Both moments, the earlier first.
    Twice(WallMicros, WallMicros),
    /// When the clock was set forward over it.
    Skipped(WallMicros),
}

const DAY: i64 = 24 * 60 * 60 * 1_000_000;

impl WallMicros {
    /// A day is its first moment, also where that is not midnight, or where midnight came twice.
    pub fn of_person(text: &str, zone: &Zone) -> Result<Self, ParseMomentError> {
        if let Ok(day) = text.parse::<Date>() {
            let midnight = day.first_second();
            let start = local(midnight, zone).ok_or(ParseMomentError::NoMoment)?;
            return Ok(match start {
                Local::Once(at) | Local::Twice(at, _) | Local::Skipped(at) => at,
            });
        }
        if let Ok(at) = text.parse::<Self>() {
            return Ok(at);
        }
        let time = civil(text).ok_or(ParseMomentError::NoMoment)?;
        let with = |offset: Self| format!("{text}{}", offset.offset(zone));
        match local(time, zone).ok_or(ParseMomentError::NoMoment)? {
            Local::Once(at) => Ok(at),
            Local::Twice(first, second) => Err(ParseMomentError::Twice {
                first: with(first),
                second: with(second),
            }),
            Local::Skipped(set) => Err(ParseMomentError::Skipped {
                before: with(Self(set.0.saturating_sub(1))),
                after: with(set),
            }),
        }
    }
}

/// `2026-11-25T09:14`, `2026-11-25 09:14:03.5`: a day and a time, and nothing else.
fn civil(text: &str) -> Option<DateTime> {
    let (day, time) = text.split_once(['T', ' '])?;
    let day: Date = day.parse().ok()?;
    let is_plain = |c: char| c.is_ascii_digit() || matches!(c, ':' | '.');
    let is_time = time.contains(':') && time.chars().all(is_plain);
    let time: Time = time.parse().ok().filter(|_| is_time)?;
    Some(day.first_second().date().to_datetime(time))
}

/// `None` beyond the calendar.
fn local(time: DateTime, zone: &Zone) -> Option<Local> {
    let as_utc = jiff::tz::Offset::UTC.to_timestamp(time).ok()?;
    let as_utc = as_utc.as_microsecond();
    let by = |offset: i32| WallMicros(as_utc.saturating_sub(i64::from(offset) * 1_000_000));
    let near = |by: i64| WallMicros(as_utc.saturating_add(by));
    let offsets = zone.offsets(near(-2 * DAY), near(2 * DAY));
    let ends = offsets.iter().skip(1).map(|(from, _)| Some(*from));
    let spans = offsets.iter().zip(ends.chain([None]));
    let holds = spans.enumerate().filter(|(nth, ((from, offset), end))| {
        let at = by(*offset);
        (*nth == 0 || at >= *from) && end.is_none_or(|end| at < end)
    });
    let mut found = holds.map(|(_, ((_, offset), _))| by(*offset));
    match (found.next(), found.next()) {
        (Some(at), None) => Some(Local::Once(at)),
        (Some(one), Some(other)) => Some(Local::Twice(one.min(other), one.max(other))),
        (None, _) => {
            let changes = offsets.iter().zip(offsets.iter().skip(1));
            let mut over = changes
                .filter(|((_, before), (set, after))| by(*before) >= *set && by(*after) < *set);
            let (_, (set, _)) = over.next()?;
            Some(Local::Skipped(*set))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::tz::TimeZone;
    use proptest::prelude::*;

    fn zone(rule: &str) -> Zone {
        Zone::new(TimeZone::posix(rule).unwrap())
    }

    fn vienna() -> Zone {
        zone("CET-1CEST,M3.5.0,M10.5.0/3")
    }

    fn read(text: &str, zone: &Zone) -> Result<String, ParseMomentError> {
        WallMicros::of_person(text, zone).map(|at| at.to_string().replace(".000000", ""))
    }

    #[test]
    fn a_time_without_an_offset_is_local_and_one_with_an_offset_is_not() {
        for (text, want) in [
            ("2026-11-25", "2026-11-24T23:00:00Z"),
            ("2026-07-01", "2026-06-30T22:00:00Z"),
            ("2026-11-25T09:14", "2026-11-25T08:14:00Z"),
            ("2026-11-25 09:14:03", "2026-11-25T08:14:03Z"),
            ("2026-07-01T09:14:03", "2026-07-01T07:14:03Z"),
            ("2026-11-25T09:14Z", "2026-11-25T09:14:00Z"),
            ("2026-11-25T09:14:03Z", "2026-11-25T09:14:03Z"),
            ("2026-11-25T09:14:03-05:30", "2026-11-25T14:44:03Z"),
            ("2026-11-25 09:14+01:00", "2026-11-25T08:14:00Z"),
        ] {
            assert_eq!(read(text, &vienna()).unwrap(), want, "{text}");
        }
        for text in [
            "",
            "yesterday",
            "25.11.2026",
            "2026-11",
            "2026-11-31",
            "2026-11-25T",
            "2026-11-25T9",
            "2026-11-25T25:00",
            "2026-11-25T09:14 o'clock",
            "2026-11-25T09:14[America/Lima]",
            "2026-11-25T09:14+99:00",
        ] {
            assert_eq!(
                read(text, &vienna()),
                Err(ParseMomentError::NoMoment),
                "{text}"
            );
        }
    }

    #[test]
    fn a_day_on_which_the_clock_is_set_has_23_or_25_hours() {
        let hours = |from: &str, to: &str, zone: &Zone| {
            let at = |text| WallMicros::of_person(text, zone).unwrap().0;
            (at(to) - at(from)) / (DAY / 24)
        };
        assert_eq!(hours("2026-03-28", "2026-03-29", &vienna()), 24);
        assert_eq!(hours("2026-03-29", "2026-03-30", &vienna()), 23);
        assert_eq!(hours("2026-10-25", "2026-10-26", &vienna()), 25);
        // Midnight does not exist, and the day begins at 01:00.
        let chile = zone("<-04>4<-03>,M9.1.6/24,M4.1.6/24");
        assert_eq!(read("2026-09-06", &chile).unwrap(), "2026-09-06T04:00:00Z");
        assert_eq!(hours("2026-09-06", "2026-09-07", &chile), 23);
        assert_eq!(hours("2026-04-04", "2026-04-05", &chile), 25);
        // Midnight comes twice, and the day begins with the first.
        let cuba = zone("CST5CDT,M3.2.0/0,M11.1.0/1");
        assert_eq!(read("2026-11-01", &cuba).unwrap(), "2026-11-01T04:00:00Z");
        assert_eq!(hours("2026-11-01", "2026-11-02", &cuba), 25);
        // The clock is set from 23:30 to 00:30: a day begins when it is set.
        let odd = zone("<+01>-1<+02>,M3.5.6/23:30,M10.5.0/3");
        assert_eq!(read("2026-03-29", &odd).unwrap(), "2026-03-28T22:30:00Z");
    }

    #[test]
    fn a_local_time_that_does_not_exist_or_comes_twice_is_refused_with_the_texts_that_are_exact() {
        let refused = |text| read(text, &vienna()).unwrap_err();
        assert_eq!(
            refused("2026-03-29T02:30"),
            ParseMomentError::Skipped {
                before: "2026-03-29T02:30+01:00".to_owned(),
                after: "2026-03-29T02:30+02:00".to_owned(),
            }
        );
        assert_eq!(
            refused("2026-10-25T02:30:00"),
            ParseMomentError::Twice {
                first: "2026-10-25T02:30:00+02:00".to_owned(),
                second: "2026-10-25T02:30:00+01:00".to_owned(),
            }
        );
        for (text, want) in [
            ("2026-03-29T01:59:59", "2026-03-29T00:59:59Z"),
            ("2026-03-29T03:00", "2026-03-29T01:00:00Z"),
            ("2026-10-25T01:59", "2026-10-24T23:59:00Z"),
            ("2026-10-25T03:00", "2026-10-25T02:00:00Z"),
            ("2026-10-25T02:30+02:00", "2026-10-25T00:30:00Z"),
            ("2026-10-25T02:30+01:00", "2026-10-25T01:30:00Z"),
        ] {
            assert_eq!(read(text, &vienna()).unwrap(), want, "{text}");
        }
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_back(at in -2_208_988_800_i64..4_102_444_800, rule in 0_usize..4) {
            let rules = ["CET-1CEST,M3.5.0,M10.5.0/3", "<-04>4<-03>,M9.1.6/24,M4.1.6/24", "UTC0", "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0"];
            let zone = zone(rules[rule]);
            let at = WallMicros(at * 1_000_000);
            let shown = at.local(&zone);
            let (local, offset) = shown.rsplit_once(' ').unwrap();
            let exact = format!("{local}{offset}");
            prop_assert_eq!(WallMicros::of_person(&exact, &zone), Ok(at));
            match WallMicros::of_person(local, &zone) {
                Ok(read) => prop_assert_eq!(read, at),
                Err(ParseMomentError::Twice { first, second }) => prop_assert!(first == exact || second == exact),
                Err(other) => prop_assert!(false, "{other}"),
            }
        }
    }
}
