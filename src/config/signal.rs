//! Reads the keys of scanners, pedals and counters.

use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use crate::spec::{InstrumentKind, PedalAction, Signal, SignalKind};

/// The scanner, pedal or counter; `None` for other kinds, or after a fault.
pub(super) fn read(
    table: &mut Table<'_>,
    faults: &mut Faults,
    kind: InstrumentKind,
    name: Option<&At<String>>,
    station: Option<&At<String>>,
) -> Option<Signal> {
    let kind = match kind {
        InstrumentKind::Scanner => SignalKind::Scanner {
            line_end: table
                .boolean(faults, "line_end")
                .is_none_or(|said| said.value),
        },
        InstrumentKind::Pedal => SignalKind::Pedal {
            does: does(table, faults)?,
        },
        InstrumentKind::Counter => SignalKind::Counter,
        InstrumentKind::Caliper | InstrumentKind::Force => return None,
    };
    Some(Signal {
        name: name?.value.clone(),
        station: station?.value.clone(),
        kind,
    })
}

fn does(table: &mut Table<'_>, faults: &mut Faults) -> Option<PedalAction> {
    let Some(text) = table.text(faults, "does") else {
        if !table.has("does") {
            table.missing(faults, "does", PedalAction::WANT);
        }
        return None;
    };
    let action = PedalAction::from_text(&text.value);
    if action.is_none() {
        let got = format!("does is {}", quoted(&text.value));
        faults.add(
            &text.place,
            Fault::new(got, format!("want {}", PedalAction::WANT)),
        );
    }
    action
}
