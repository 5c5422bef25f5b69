//! A value that does not stand still. It is shown while the jaws move; it is not a reading and in no entry.

use crate::station::Moving;
use schemars::JsonSchema;
use serde::Serialize;

/// The newest value of a stream that does not stand still.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct MovingMessage {
    /// Name of the station.
    pub station: String,
    /// Name of the instrument.
    pub instrument: String,
    /// The value with its unit.
    pub value: String,
}

impl MovingMessage {
    /// The message for a moving value of the core.
    pub fn new(moving: &Moving<'_>) -> Self {
        Self {
            station: moving.station.to_owned(),
            instrument: moving.instrument.to_owned(),
            value: moving.value.to_string(),
        }
    }
}
