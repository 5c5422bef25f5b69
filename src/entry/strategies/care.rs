//! Dates and counts of the care of instruments and tools.

use super::values::at;
use crate::quantity::{Date, WallMicros};
use crate::spec::{InstrumentCare, ToolCare, Verified};
use proptest::option;
use proptest::prelude::*;

fn date() -> BoxedStrategy<Date> {
    (0_i64..4_000_000_000)
        .prop_filter_map("no day", |seconds| {
            Date::of(WallMicros(seconds * 1_000_000))
        })
        .boxed()
}

pub(super) fn verified() -> BoxedStrategy<Verified> {
    (any::<u64>(), at(), any::<bool>())
        .prop_map(|(series, at, accepted)| Verified {
            series,
            at,
            accepted,
        })
        .boxed()
}

pub(super) fn instrument_care() -> BoxedStrategy<InstrumentCare> {
    (
        option::of(date()),
        option::of(date()),
        option::of(any::<u32>()),
    )
        .prop_map(
            |(calibrated, calibration_due, verify_every_days)| InstrumentCare {
                calibrated,
                calibration_due,
                verify_every_days,
            },
        )
        .boxed()
}

pub(super) fn tool_care() -> BoxedStrategy<ToolCare> {
    let counts = (
        option::of(any::<u32>()),
        any::<u64>(),
        option::of(any::<u64>()),
    );
    (option::of(date()), option::of(date()), counts)
        .prop_map(
            |(last_check, check_due, (check_every_crimps, crimps_before, crimps_at_check))| {
                ToolCare {
                    last_check,
                    check_due,
                    check_every_crimps,
                    crimps_before,
                    crimps_at_check,
                }
            },
        )
        .boxed()
}
