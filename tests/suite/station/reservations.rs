//! What takes from the weight of an outcome stands in its entry, beside every word of it, and can be recomputed.

use super::desk::{Desk, HEIGHT, catalog, plan};
use crate::report::made;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::history::History;
use tallyjaw::entry::{Completed, Entry, Outcome, Reservation, Seq, SeriesEntry, State, words};
use tallyjaw::message::StateMessage;
use tallyjaw::message::series::SeriesMessage;
use tallyjaw::quantity::Measured;
use tallyjaw::spec::{AxisName, Catalog, Decision, InstrumentCare, Plan, ToolCare};

/// A good series of one piece; its closing entry. The desk's clock stands at 2025-11-24.
fn closed(catalog: Catalog, plan: Plan, value: &str) -> (Desk, Completed) {
    let mut desk = Desk::with(catalog);
    desk.arm(plan).unwrap();
    for value in ["0.00", value, "0.00"] {
        desk.press(value);
    }
    let Entry::Series(SeriesEntry::Completed(completed)) = desk.last().clone() else {
        panic!("{:?}", desk.last());
    };
    assert_eq!(completed.outcome, Outcome::Accepted);
    (desk, completed)
}

fn one(axis: &str) -> Plan {
    Plan {
        axes: vec![AxisName::new(axis)],
        pieces: 1,
        ..plan()
    }
}

fn with(instrument: InstrumentCare, tool: ToolCare) -> Catalog {
    let mut catalog = catalog();
    catalog.instruments[0].care = instrument;
    for known in &mut catalog.tools {
        known.care = tool;
    }
    catalog
}

fn overdue() -> (Desk, Completed) {
    let day = Some("2025-11-23".parse().unwrap());
    let instrument = InstrumentCare {
        calibration_due: day,
        verify_every_days: Some(30),
        ..InstrumentCare::default()
    };
    let tool = ToolCare {
        check_due: day,
        ..ToolCare::default()
    };
    let repair = Plan {
        tool: Some("R-02".to_owned()),
        ..one(HEIGHT)
    };
    closed(with(instrument, tool), repair, "1.62")
}

const OF_OVERDUE: [Reservation; 4] = [
    Reservation::CalibrationOverdue,
    Reservation::VerificationOverdue,
    Reservation::ToolCheckOverdue,
    Reservation::RepairClassTool,
];

#[test]
fn an_outcome_holds_what_takes_from_its_weight() {
    let (_, good) = closed(catalog(), one(HEIGHT), "1.62");
    assert_eq!(good.reservations, Some(Vec::new()));
    let (_, found) = overdue();
    assert_eq!(found.reservations(), OF_OVERDUE);
    // by crimps
    let worn = ToolCare {
        check_every_crimps: Some(100),
        crimps_before: 100,
        crimps_at_check: Some(0),
        ..ToolCare::default()
    };
    let (_, found) = closed(with(InstrumentCare::default(), worn), one(HEIGHT), "1.62");
    assert_eq!(found.reservations(), [Reservation::ToolCheckOverdue]);
    // ±0.05 mm with a caliper of 0.03 mm, by the simple rule and with limits drawn in
    let coarse = || {
        let mut catalog = catalog();
        catalog.instruments[0].max_error = Some("0.03 mm".parse::<Measured>().unwrap().quantity());
        catalog
    };
    let (_, found) = closed(coarse(), one(HEIGHT), "1.62");
    assert_eq!(found.reservations(), [Reservation::UncertaintyRatioLow]);
    let guarded = Plan {
        decision: Decision::Guarded { factor_milli: 100 },
        ..one(HEIGHT)
    };
    let (_, found) = closed(coarse(), guarded, "1.62");
    assert_eq!(found.reservations(), []);
}

#[test]
fn it_stands_beside_the_outcome_wherever_that_is_shown() {
    let (desk, completed) = overdue();
    let beside = "calibration overdue, verification overdue, tool check overdue, repair-class tool";
    let line = words::words(&Entry::from(completed.clone()));
    assert_eq!(
        line,
        format!("series {} ACCEPTED ({beside}): 1 passed", completed.series)
    );
    let mut history = History::default();
    let mut settled = desk
        .entries
        .iter()
        .filter_map(|stamped| history.take(stamped));
    let series = SeriesMessage::new(&settled.next().unwrap());
    assert_eq!(series.reservations, OF_OVERDUE.map(Reservation::name));
    assert_eq!(series.beside(), format!(" ({beside})"));
    let state = StateMessage::new(desk.core.state(), &catalog());
    let outcome = state.stations[0].outcome.as_ref().unwrap();
    assert_eq!(outcome.reservations, OF_OVERDUE.map(Reservation::name));
    assert_eq!(outcome.beside, format!(" ({beside})"));
    let page = made::whole(&desk.entries).html();
    let banner = page.split("<p class=\"outcome").nth(1).unwrap();
    let banner = banner.split("</p>").next().unwrap();
    assert!(
        banner.contains(&format!("with reservations: {beside}")),
        "{banner}"
    );
    assert!(page.contains(": accepted, with reservations</title>"));
    let mut twice = desk;
    twice.arm(one(HEIGHT)).unwrap();
    let page = made::whole(&twice.entries).html();
    let overview = page.split("Every series of this report").nth(1).unwrap();
    let overview = overview.split("</table>").next().unwrap();
    assert!(
        overview.contains(&format!("with reservations: {beside}")),
        "{overview}"
    );
}

#[test]
fn an_audit_finds_reservations_that_were_left_out_or_put_in() {
    let (desk, _) = overdue();
    let wrong = |change: fn(&mut Completed)| {
        let mut state = State::default();
        let mut found = Vec::new();
        for stamped in &desk.entries {
            let mut stamped = stamped.clone();
            if let Entry::Series(SeriesEntry::Completed(completed)) = &mut stamped.entry {
                change(completed);
            }
            found.extend(
                audit(&state, &stamped)
                    .into_iter()
                    .map(|one| (stamped.seq, one)),
            );
            state.apply(&stamped);
        }
        found
    };
    assert_eq!(wrong(|_| {}), []);
    // an entry of an older release says nothing of them
    assert_eq!(wrong(|completed| completed.reservations = None), []);
    let found = wrong(|completed| completed.reservations = Some(Vec::new()));
    let last: Seq = desk.entries.last().unwrap().seq;
    assert_eq!((found.len(), found[0].0), (1, last));
    assert_eq!(found[0].1.what, "reservations");
    assert_eq!(found[0].1.got, "none");
    let found = wrong(|completed| completed.reservations = Some(Reservation::ALL.to_vec()));
    assert_eq!(found.len(), 1);
}
