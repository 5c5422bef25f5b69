//! Finds the streams whose value does not stand still: the jaws are moving, and there is no reading yet.
//!
//! Out: the newest value of each such stream, so that clients can show that it moves. It is not a reading: it is
//! neither judged nor entered.

use super::Core;
use crate::quantity::{Measured, MonoMicros};
use std::time::Duration;

/// A stream that has sent nothing for this time is switched off, so it counts as moving no longer.
const LASTS: Duration = Duration::from_secs(2);

/// A value that does not stand still.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moving<'a> {
    /// The station of the instrument.
    pub station: &'a str,
    /// The instrument.
    pub instrument: &'a str,
    /// Its newest value.
    pub value: Measured,
    /// The value counts as moving until this time, unless another value comes.
    pub until: MonoMicros,
}

impl Core {
    /// The streams whose value does not stand still at `now`.
    pub fn moving(&self, now: MonoMicros) -> Vec<Moving<'_>> {
        let streams = self.live.iter();
        let moving = streams.filter_map(|(instrument, live)| {
            self.state.instruments.get(instrument)?.attached.as_ref()?;
            let (at, value) = live.capturing.moving()?;
            Some(Moving {
                station: &live.station,
                instrument,
                value,
                until: at.plus(LASTS),
            })
        });
        moving.filter(|one| now < one.until).collect()
    }
}
