//! Tests of the ledger: a table of sequences, and random sequences against a model that looks at all entries every
//! time.

mod model;
mod table;

use super::Need;
use super::{Disposition, Ledger, Series};
use crate::entry::glance::Glancer;
use crate::entry::line::{Digest, decode, encode};
use crate::entry::{
    Completed, Doubted, Entry, Means, NotCounted, OperatorSaid, Outcome, Reading, Restored,
    Resumed, Retracted, Seq, Stamped, Standing, Tally, ZeroRole, Zeroed, strategies,
};
use crate::quantity::{Decimal, Measured, Unit, WallMicros};
use crate::spec::{ArmedSpec, Lots};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::TestRunner;
use std::fmt::Write as _;
use std::sync::Arc;

/// An event at one of two stations; numbers refer to the entry of a series or reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    Armed,
    Counted(u64),
    Refused(u64),
    Loose,
    Doubted(u64, u64),
    Retracted(u64, u64),
    Restored(u64, u64),
    Completed(u64),
    Stopped(u64),
    Resumed(u64),
    ZeroOff,
    By(u64),
}

fn some<T: std::fmt::Debug>(strategy: &BoxedStrategy<T>) -> T {
    let mut runner = TestRunner::deterministic();
    strategy.new_tree(&mut runner).unwrap().current()
}

/// Entries 1, 2, 3, … of these steps, each at its station.
fn entries(steps: &[(u8, Step)]) -> Vec<Stamped> {
    let spec = some(&strategies::armed_spec());
    let slotted = strategies::reading().prop_filter("in a slot", |reading| reading.slot.is_some());
    let reading = some(&slotted.boxed());
    let stamped = |(seq, (station, step)): (u64, &(u8, Step))| Stamped {
        token: None,
        seq: Seq(seq),
        at: WallMicros(i64::try_from(seq).unwrap()),
        entry: entry(&format!("bench-{station}"), *step, &spec, &reading),
    };
    (1_u64..).zip(steps).map(stamped).collect()
}

fn entry(station: &str, step: Step, spec: &ArmedSpec, reading: &Reading) -> Entry {
    let station = station.to_owned();
    let by = Means::Card;
    let measured = |series: Option<u64>, standing: Standing| {
        let mut slot = reading.slot.clone();
        if let (Some(slot), Some(series)) = (&mut slot, series) {
            slot.series = Seq(series);
        }
        Entry::from(Arc::new(Reading {
            station: station.as_str().into(),
            instrument: "caliper-1".into(),
            slot: slot.filter(|_| series.is_some()),
            standing,
            ..reading.clone()
        }))
    };
    let refused = |reason| Standing::NotCounted { reason, hint: None };
    let completed = |series, resumable| {
        Entry::from(Completed {
            looks: None,
            station: station.clone(),
            series: Seq(series),
            outcome: Outcome::CutShort,
            tally: Tally::default(),
            resumable,
            reservations: None,
            counts: None,
        })
    };
    match step {
        Step::Armed => Entry::from(Arc::new(ArmedSpec {
            station,
            operator: Some("mara".to_owned()),
            ..spec.clone()
        })),
        Step::Counted(series) => measured(Some(series), Standing::Counted),
        Step::Refused(series) => measured(Some(series), refused(NotCounted::ZeroDue)),
        Step::Loose => measured(None, refused(NotCounted::NotArmed)),
        Step::Doubted(series, reading) => Entry::from(Doubted {
            station,
            series: Seq(series),
            readings: vec![Seq(reading)],
            reason: "the zero was off".to_owned(),
        }),
        Step::Retracted(series, reading) => Entry::from(Retracted {
            station,
            series: Seq(series),
            reading: Seq(reading),
            by: Some(by),
            slot: None,
            reason: None,
            spent: false,
        }),
        Step::Restored(series, reading) => Entry::from(Restored {
            station,
            series: Seq(series),
            reading: Seq(reading),
            by,
        }),
        Step::Completed(series) => completed(series, false),
        Step::Stopped(series) => completed(series, true),
        Step::Resumed(series) => Entry::from(Resumed {
            station,
            series: Seq(series),
            operator: None,
            lots: Lots::default(),
            by,
        }),
        Step::ZeroOff => Entry::from(Zeroed {
            station,
            instrument: "caliper-1".to_owned(),
            series: None,
            value: Measured::new(Decimal::new(2, 2), Unit::Millimetre).unwrap(),
            role: ZeroRole::Unasked,
            ok: false,
            opening: None,
            raw: Vec::new(),
        }),
        Step::By(series) => Entry::from(OperatorSaid {
            station,
            series: Some(Seq(series)),
            operator: "jon".to_owned(),
        }),
    }
}

/// One line for each series: `1 settled 4: #2 counted mara, #3 doubted 4 jon`.
fn words(series: &Series<()>) -> String {
    let is_closed = series.closed.is_some();
    let mut text = match (series.settled, is_closed) {
        (Some(by), true) => format!("{} settled {by}:", series.id),
        (Some(by), false) => format!("{} settled {by}, but not closed:", series.id),
        (None, true) => format!("{} stopped:", series.id),
        (None, false) => format!("{} open:", series.id),
    };
    for reading in &series.readings {
        let by = match reading.disposition {
            Disposition::Counted => String::new(),
            Disposition::NotCounted(reason) => format!(" {}", reason.name()),
            Disposition::Doubted(by) | Disposition::Retracted(by) => format!(" {by}"),
        };
        let (seq, name) = (reading.seq, reading.disposition.name());
        let who = series.operator(seq).unwrap_or("nobody");
        let _ = write!(text, " #{seq} {name}{by} {who}");
    }
    text
}

fn taken(entries: &[Stamped]) -> Vec<String> {
    let mut ledger = Ledger::default();
    let settled = entries.iter().filter_map(|one| ledger.take(one, Some(())));
    let settled: Vec<_> = settled.map(|series| words(&series)).collect();
    let left = ledger.finish().map(|series| words(&series));
    settled.into_iter().chain(left).collect()
}

#[test]
fn every_sequence_has_one_answer() {
    for (steps, want) in table::SEQUENCES {
        let steps: Vec<(u8, Step)> = steps.iter().map(|step| (1, *step)).collect();
        assert_eq!(taken(&entries(&steps)), *want, "{steps:?}");
    }
}

fn step() -> impl Strategy<Value = (u8, Step)> {
    let about = 1_u64..12;
    let two = || (about.clone(), about.clone());
    let step = prop_oneof![
        3 => Just(Step::Armed),
        4 => about.clone().prop_map(Step::Counted),
        1 => about.clone().prop_map(Step::Refused),
        1 => Just(Step::Loose),
        3 => two().prop_map(|(series, reading)| Step::Doubted(series, reading)),
        3 => two().prop_map(|(series, reading)| Step::Retracted(series, reading)),
        3 => two().prop_map(|(series, reading)| Step::Restored(series, reading)),
        1 => about.clone().prop_map(Step::Completed),
        2 => about.clone().prop_map(Step::Stopped),
        2 => about.clone().prop_map(Step::Resumed),
        1 => Just(Step::ZeroOff),
        1 => about.clone().prop_map(Step::By),
    ];
    (1_u8..=2, step)
}

/// As [`taken`], with glances wherever the ledger allows them.
fn glanced(entries: &[Stamped]) -> Vec<String> {
    let glancer = Glancer::default();
    let mut ledger = Ledger::default();
    let mut told_of = Vec::new();
    for stamped in entries {
        let line = encode(stamped, Digest::NONE);
        let settled = if let Some(glance) = glancer.reading(&line) {
            ledger.glance(&glance, Some(()))
        } else if ledger.needs(Need::of(&line)) {
            ledger.take(&decode(&line).unwrap().0, Some(()))
        } else {
            None
        };
        told_of.extend(settled.map(|series| words(&series)));
    }
    told_of.extend(ledger.finish().map(|series| words(&series)));
    told_of
}

proptest! {
    #[test]
    fn the_ledger_says_what_all_entries_together_say(steps in vec(step(), 0..60)) {
        let steps = sensible(steps);
        prop_assert_eq!(taken(&entries(&steps)), model::modelled(&steps));
    }

    #[test]
    fn glances_lead_to_the_same_ledger(steps in vec(step(), 0..60)) {
        let entries = entries(&sensible(steps));
        prop_assert_eq!(glanced(&entries), taken(&entries));
    }

    #[test]
    fn what_is_not_needed_changes_nothing(stamped in strategies::stamped(), steps in vec(step(), 0..12)) {
        let mut ledger = Ledger::default();
        for stamped in &entries(&sensible(steps)) {
            ledger.take(stamped, Some(()));
        }
        if !ledger.needs(Need::of(&encode(&stamped, Digest::NONE))) {
            let before = format!("{ledger:?}");
            prop_assert!(ledger.take(&stamped, Some(())).is_none());
            prop_assert_eq!(format!("{ledger:?}"), before);
        }
    }
}

/// The steps that a real journal can have: an entry about a series is about the open one at its station, which is
/// closed before the next is armed. A stopped series is resumed only while none is open.
fn sensible(steps: Vec<(u8, Step)>) -> Vec<(u8, Step)> {
    let mut sensible: Vec<(u8, Step)> = Vec::new();
    let mut open_at = [None; 3];
    for (station, step) in steps {
        let open = &mut open_at[usize::from(station)];
        let armed = (station, Step::Armed);
        let step = match (step, *open) {
            (Step::Loose | Step::ZeroOff, _) => step,
            (Step::Armed, None) => {
                *open = Some(u64::try_from(sensible.len()).unwrap() + 1);
                step
            }
            (Step::Resumed(series), None)
                if sensible.get(usize::try_from(series - 1).unwrap()) == Some(&armed) =>
            {
                *open = Some(series);
                step
            }
            (Step::Counted(_), Some(series)) => Step::Counted(series),
            (Step::Refused(_), Some(series)) => Step::Refused(series),
            (Step::By(_), Some(series)) => Step::By(series),
            (Step::Doubted(_, reading), Some(series)) => Step::Doubted(series, reading),
            (Step::Retracted(_, reading), Some(series)) => Step::Retracted(series, reading),
            (Step::Restored(_, reading), Some(series)) => Step::Restored(series, reading),
            (Step::Completed(_), Some(series)) => {
                *open = None;
                Step::Completed(series)
            }
            (Step::Stopped(_), Some(series)) => {
                *open = None;
                Step::Stopped(series)
            }
            (_, _) => continue,
        };
        sensible.push((station, step));
    }
    sensible
}
