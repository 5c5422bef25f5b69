//! Values that do not stand still, for those who look at the page.
//!
//! In: what the core says of its streams. Out: each of them at most ten times a second; at once when one begins to move,
//! stands still or has ended. Nothing of it is stored.

use super::hub::Hub;
use crate::message::page::MovingMessage;
use crate::quantity::MonoMicros;
use std::time::Duration;

/// No eye reads digits that change more often.
const EVERY: Duration = Duration::from_millis(100);

/// What was shown last.
#[derive(Debug, Default)]
pub(super) struct ShownMoving {
    instruments: Vec<String>,
    at: Option<MonoMicros>,
    until: Option<MonoMicros>,
}

impl ShownMoving {
    /// When a stream that sends nothing more has ended.
    pub(super) const fn due(&self) -> Option<MonoMicros> {
        self.until
    }
}

impl Hub {
    /// Shows which values do not stand still.
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
