//! The wall clock and the time zone; the only place where they are read.
//!
//! In: the zone that a configuration names. Out: the present time, and the zone of what people read.

#![expect(
    clippy::disallowed_methods,
    reason = "edge: reads the clock and the zone"
)]

use crate::quantity::{WallMicros, Zone};
use std::sync::RwLock;
use std::time::{Duration, SystemTime};

/// The zone that the configuration names, for this process.
static CONFIGURED: RwLock<Option<Zone>> = RwLock::new(None);

/// The zone of local times: that of the configuration, otherwise of `TZ`, otherwise the system's; UTC if none is known.
pub(crate) fn zone() -> Zone {
    let configured = CONFIGURED.read().ok().and_then(|zone| zone.clone());
    configured.unwrap_or_else(|| Zone::new(jiff::tz::TimeZone::system()))
}

/// Sets the zone that [`zone`] returns from now on; `None` is the system's.
pub(crate) fn read_by(zone: Option<Zone>) {
    if let Ok(mut configured) = CONFIGURED.write() {
        *configured = zone;
    }
}

/// The zone of this name.
///
/// # Errors
///
/// All known names, if it is not one of them.
pub(crate) fn zone_named(name: &str) -> Result<Zone, Vec<String>> {
    let known = jiff::tz::db();
    match known.get(name) {
        Ok(zone) => Ok(Zone::new(zone)),
        Err(_) => Err(known.available().map(|name| name.to_string()).collect()),
    }
}

/// The wall clock; negative before 1970.
pub(crate) fn wall() -> WallMicros {
    let micros = |duration: Duration| i64::try_from(duration.as_micros()).unwrap_or(i64::MAX);
    WallMicros(
        match SystemTime::now().duration_since(SystemTime::UNIX_EPOCH) {
            Ok(since) => micros(since),
            Err(error) => micros(error.duration()).saturating_neg(),
        },
    )
}
