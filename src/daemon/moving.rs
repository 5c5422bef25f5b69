//! Sends values that do not stand still to clients of the page.
//!
//! In: the moving streams of the core. Out: each value at most ten times a second, and at once when a stream begins to
//! move, stands still or ends. None of this is stored.

use super::hub::Hub;
use crate::message::page::MovingMessage;
use crate::quantity::MonoMicros;
use std::time::Duration;

/// Nobody can read digits that change more often.
const EVERY: Duration = Duration::from_millis(100);

/// The values that were sent last.
#[derive(Debug, Default)]
pub(super) struct ShownMoving {
    instruments: Vec<String>,
    at: Option<MonoMicros>,
    until: Option<MonoMicros>,
}

impl ShownMoving {
    /// The time at which a stream that sends nothing more counts as ended.
    pub(super) const fn due(&self) -> Option<MonoMicros> {
        self.until
    }
}

impl Hub {
    /// Sends the values that do not stand still.
    pub(super) fn show_moving(&mut self) {
        let now = self.now().mono;
        let moving = self.core.moving(now);
        self.moving.until = moving.iter().map(|one| one.until).min();
        let instruments = moving.iter().map(|one| one.instrument);
        let same = instruments.eq(self.moving.instruments.iter().map(String::as_str));
        let just_now = |at: MonoMicros| now.since(at) < EVERY;
        if same && (moving.is_empty() || self.moving.at.is_some_and(just_now)) {
            return;
        }
        self.moving.at = Some(now);
        self.moving.instruments = moving.iter().map(|one| one.instrument.to_owned()).collect();
        self.live
            .set_moving(moving.iter().map(MovingMessage::new).collect());
    }
}
