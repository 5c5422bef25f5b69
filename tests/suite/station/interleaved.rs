//! Two stations, a caliper each, their bytes interleaved and cut anywhere.

use super::desk::{catalog, instrument, plan};
use proptest::prelude::*;
use std::sync::Arc;
use tallyjaw::entry::{Attached, Entry, FrameEntry, Reading, State};
use tallyjaw::quantity::{MonoMicros, Now, Unit, WallMicros};
use tallyjaw::spec::{Capture, InstrumentKind};
use tallyjaw::station::{Armable, Command, Core, Input, Output};

/// Station n (1 or 2) measures only values whose last digit has the parity of n.
fn frames(station: u8, count: usize) -> Vec<u8> {
    let mut bytes = b"+0.00\r".to_vec();
    for index in 0..count {
        let hundredths = 158 + (index % 4) * 2 + usize::from(station % 2);
        bytes.extend_from_slice(format!("+1.{:02}\r", hundredths - 100).as_bytes());
    }
    bytes
}

fn two_stations() -> Core {
    let mut catalog = catalog();
    catalog.stations.push("bench-2".to_owned());
    let mut second = instrument(
        "caliper-2",
        InstrumentKind::Caliper,
        Unit::Millimetre,
        "0.01 mm",
    );
    second.station = "bench-2".to_owned();
    catalog.instruments.push(second);
    for instrument in &mut catalog.instruments {
        instrument.capture = Capture::Press {
            bounce: std::time::Duration::ZERO,
        };
    }
    Core::new(Arc::new(catalog), State::default())
}

fn drain(core: &mut Core, readings: &mut Vec<Reading>) {
    while let Output::Append(stamped) = core.poll() {
        if let Entry::Frame(FrameEntry::Reading(reading)) = stamped.entry {
            readings.push(Arc::unwrap_or_clone(reading));
        }
    }
}

proptest! {
    #[test]
    fn no_reading_ends_at_the_wrong_station(
        cuts in prop::collection::vec((any::<bool>(), 1usize..9), 1..200)
    ) {
        let mut core = two_stations();
        let mut now = Now { wall: WallMicros(0), mono: MonoMicros(0) };
        let mut readings = Vec::new();
        for station in ["bench-1", "bench-2"] {
            let name = station.replace("bench", "caliper");
            core.handle(now, Input::PortOpened(Attached {
                instrument: name, station: station.to_owned(), port: "p".to_owned(),
                line: "9600 8N1".to_owned(), identity: None, socket: None, ambiguous: false, read_by: None,
            }));
            let mut plan = plan();
            plan.pieces = 500;
            let what = Armable::Inline(Box::new(plan));
            core.command(now, Command::Arm { station: Some(station.to_owned()), what, operator: None, cut: true }).unwrap();
        }
        let mut left = [frames(1, 100), frames(2, 100)];
        let mut cuts = cuts.iter().cycle();
        while left.iter().any(|bytes| !bytes.is_empty()) {
            let (second, length) = *cuts.next().unwrap();
            let (index, name) = if second { (1, "caliper-2") } else { (0, "caliper-1") };
            let (index, name) = if left[index].is_empty() { (1 - index, if second { "caliper-1" } else { "caliper-2" }) } else { (index, name) };
            let length = length.min(left[index].len());
            let bytes: Vec<u8> = left[index].drain(..length).collect();
            now.mono.0 += 1_000;
            now.wall.0 += 1_000;
            core.handle(now, Input::Bytes { instrument: name, bytes: &bytes });
            drain(&mut core, &mut readings);
        }
        prop_assert_eq!(readings.len(), 200);
        for reading in readings {
            let number: i64 = reading.station.strip_prefix("bench-").unwrap().parse().unwrap();
            prop_assert_eq!(reading.value.digits().coefficient() % 2, number % 2);
            let expected = format!("caliper-{number}");
            prop_assert_eq!(&*reading.instrument, expected);
            let series = core.state().stations[&*reading.station].series.as_ref().unwrap().id;
            prop_assert_eq!(reading.slot.unwrap().series, series);
        }
    }
}
