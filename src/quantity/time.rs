//! Two times that do not mix: one for people, one for waiting. No clock is read in here.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

/// Microseconds of the wall clock since 1970-01-01T00:00:00Z; may jump. For people.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WallMicros(pub i64);

/// Microseconds of a monotonic clock from an arbitrary start. For waiting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct MonoMicros(pub u64);

/// The moment an input came, on both clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// For people.
    pub wall: WallMicros,
    /// For waiting.
    pub mono: MonoMicros,
}

impl MonoMicros {
    /// The moment `duration` later.
    #[must_use]
    pub fn plus(self, duration: Duration) -> Self {
        Self(
            self.0
                .saturating_add(u64::try_from(duration.as_micros()).unwrap_or(u64::MAX)),
        )
    }

    /// The time since `earlier`; zero if this moment is not later.
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_micros(self.0.saturating_sub(earlier.0))
    }
}

impl fmt::Display for WallMicros {
    /// RFC 3339 in UTC with six digits of the second: `2026-11-25T09:14:03.120456Z`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_microsecond(self.0) {
            Ok(timestamp) => write!(f, "{timestamp:.6}"),
            Err(_) => write!(f, "{} us", self.0),
        }
    }
}

impl FromStr for WallMicros {
    type Err = jiff::Error;

    /// RFC 3339, or the form in which a time outside its range is shown.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        if let Some(micros) = text.strip_suffix(" us")
            && let Ok(micros) = micros.parse()
        {
            return Ok(Self(micros));
        }
        Ok(Self(text.parse::<jiff::Timestamp>()?.as_microsecond()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wall_time_is_rfc_3339_both_ways() {
        let text = "2026-11-25T09:14:03.120456Z";
        let time: WallMicros = text.parse().unwrap();
        assert_eq!(time.to_string(), text);
        assert_eq!(WallMicros(0).to_string(), "1970-01-01T00:00:00.000000Z");
        for far_off in [i64::MIN, i64::MAX, -377_705_116_800_000_001] {
            let time = WallMicros(far_off);
            assert_eq!(time.to_string().parse::<WallMicros>().unwrap(), time);
        }
    }
}
