//! Calendar periods: days, weeks and months in a row.

use super::{Date, named};

named! {
    /// A calendar period.
    pub enum Period {
        /// From midnight to midnight.
        Day = "day",
        /// From Monday on, as in ISO 8601.
        Week = "week",
        /// From the first of the month on.
        Month = "month",
    }
}

impl Period {
    /// The last `count` of these periods in their order, each with its first day and the first day after it. The last one
    /// has `today` in it. Fewer where the calendar ends.
    pub fn last(self, today: Date, count: u32) -> Vec<(Date, Date)> {
        let Some((mut first, mut after)) = self.around(today) else {
            return Vec::new();
        };
        let mut periods = Vec::new();
        for _ in 0..count {
            periods.push((first, after));
            let before = first.before().and_then(|day| self.around(day));
            let Some((earlier, _)) = before else { break };
            (first, after) = (earlier, first);
        }
        periods.reverse();
        periods
    }

    /// The first day of the period with this day in it, and the first day after it; `None` beyond the calendar.
    fn around(self, day: Date) -> Option<(Date, Date)> {
        Some(match self {
            Self::Day => (day, day.plus_days(1)?),
            Self::Week => {
                let first = day.monday()?;
                (first, first.plus_days(7)?)
            }
            Self::Month => {
                let first = day.first_of_month();
                (first, first.plus_months(1)?)
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn last(period: Period, today: &str, count: u32) -> Vec<String> {
        let periods = period.last(today.parse().unwrap(), count);
        let shown = periods
            .iter()
            .map(|(first, after)| format!("{first}/{after}"));
        shown.collect()
    }

    #[test]
    fn periods_follow_each_other_without_a_gap_and_the_last_has_today() {
        // 2026-11-30 is a Monday; 2028 is a leap year.
        assert_eq!(
            last(Period::Day, "2028-03-01", 2),
            ["2028-02-29/2028-03-01", "2028-03-01/2028-03-02"]
        );
        assert_eq!(
            last(Period::Week, "2026-11-30", 2),
            ["2026-11-23/2026-11-30", "2026-11-30/2026-12-07"]
        );
        assert_eq!(
            last(Period::Week, "2027-01-03", 1),
            ["2026-12-28/2027-01-04"]
        );
        assert_eq!(
            last(Period::Month, "2028-03-31", 2),
            ["2028-02-01/2028-03-01", "2028-03-01/2028-04-01"]
        );
        assert!(last(Period::Week, "2026-11-30", 0).is_empty());
    }

    #[test]
    fn where_the_calendar_ends_there_are_fewer() {
        assert!(last(Period::Month, "-009999-01-15", 5).len() == 1);
        assert!(last(Period::Day, "9999-12-31", 5).is_empty());
    }
}
