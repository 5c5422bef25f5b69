//! The short text of an entry that the page and the program of `announce` speak aloud, verdict first.

use super::{
    Entry, FrameEntry, ProductionEntry, Reading, ReadingSlot, SeriesEntry, reservation, words,
};
use crate::quantity::Measured;

/// The spoken text of an entry, in parts.
#[derive(Debug, Clone)]
pub struct Spoken<'e> {
    /// The verdict: `pass`, `fail, too low`, `not counted`, `zero`, `zero is off` or `series accepted`.
    pub verdict: String,
    /// The value, if one was measured.
    pub value: Option<Measured>,
    /// Name of the station in the configuration.
    pub station: &'e str,
    /// The slot of the reading; `None` for other entries.
    pub slot: Option<&'e ReadingSlot>,
}

/// The verdict of a counted reading, in words.
fn judged(reading: &Reading) -> Option<String> {
    let slot = reading.slot.as_ref()?;
    let said = words::verdict(reading.verdict()?, &slot.axis, &slot.limits);
    Some(said.to_lowercase().replace(':', ","))
}

/// The spoken text of an entry; `None` for kinds that are not spoken.
pub fn spoken(entry: &Entry) -> Option<Spoken<'_>> {
    match entry {
        Entry::Frame(FrameEntry::Reading(reading)) => Some(Spoken {
            verdict: judged(reading).unwrap_or_else(|| "not counted".to_owned()),
            value: Some(reading.value),
            station: &reading.station,
            slot: reading.slot.as_ref(),
        }),
        Entry::Frame(FrameEntry::Zeroed(zeroed)) => Some(Spoken {
            verdict: if zeroed.ok { "zero" } else { "zero is off" }.to_owned(),
            value: Some(zeroed.value),
            station: &zeroed.station,
            slot: None,
        }),
        Entry::Series(SeriesEntry::Completed(completed)) => {
            let outcome = words::outcome(completed.outcome).to_lowercase();
            let beside = match completed.reservations() {
                [] => String::new(),
                some => format!(", with reservations: {}", reservation::words(some)),
            };
            Some(Spoken {
                verdict: format!("series {outcome}{beside}"),
                value: None,
                station: &completed.station,
                slot: None,
            })
        }
        Entry::Production(ProductionEntry::Held(held)) => Some(Spoken {
            verdict: format!("{} crimps held", held.size()),
            value: None,
            station: &held.station,
            slot: None,
        }),
        Entry::Production(ProductionEntry::SampleDue(due)) => Some(Spoken {
            verdict: "sample due".to_owned(),
            value: None,
            station: &due.station,
            slot: None,
        }),
        Entry::Series(
            SeriesEntry::Armed(_)
            | SeriesEntry::Disarmed(_)
            | SeriesEntry::Resumed(_)
            | SeriesEntry::ZeroDue(_)
            | SeriesEntry::Doubted(_)
            | SeriesEntry::Retracted(_)
            | SeriesEntry::Restored(_)
            | SeriesEntry::Looked(_)
            | SeriesEntry::Pulled(_)
            | SeriesEntry::Pictured(_)
            | SeriesEntry::Alerted(_),
        )
        | Entry::Frame(FrameEntry::Unread(_))
        | Entry::Journal(_)
        | Entry::Port(_)
        | Entry::Said(_)
        | Entry::Production(
            ProductionEntry::RunOpened(_)
            | ProductionEntry::Crimped(_)
            | ProductionEntry::Settled(_)
            | ProductionEntry::RunClosed(_),
        ) => None,
    }
}
