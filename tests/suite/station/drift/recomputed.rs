//! Any sequence of presses, zeros, retractions, arming and restarts: the alerts raised are those of a
//! plain recomputation.

use super::{heights, texts};
use crate::harness::cases;
use crate::station::desk::{Desk, HEIGHT, WIDTH};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::time::Duration;
use tallyjaw::entry::audit::audit;
use tallyjaw::entry::{
    Alerted, Doubted, Entry, FrameEntry, Retracted, Seq, SeriesEntry, Standing, State,
};
use tallyjaw::spec::alert::{ALERTS, MOST_VALUES};
use tallyjaw::spec::{AxisName, Limits, Order, Plan, Purpose};
use tallyjaw::station::Input;

#[derive(Debug, Clone)]
enum Act {
    Press(i64),
    Retract(usize),
    Zero(i64),
    Arm(u8),
    NewSegment,
    Restart,
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        12 => (157i64..168).prop_map(Act::Press),
        1 => (0usize..5).prop_map(Act::Retract),
        1 => (0i64..3).prop_map(Act::Zero),
        1 => (0u8..4).prop_map(Act::Arm),
        1 => Just(Act::NewSegment),
        1 => Just(Act::Restart),
    ]
}

fn run(desk: &mut Desk, acts: &[Act], restarts: bool) {
    desk.arm(armed_as(0)).unwrap();
    let send = |desk: &mut Desk, hundredths: i64| {
        desk.wait(Duration::from_secs(11)); // longer than a doubtful value is remembered
        let bytes = format!("{}.{:02}\r", hundredths / 100, hundredths % 100).into_bytes();
        desk.input(Input::Bytes {
            instrument: "caliper-1",
            bytes: &bytes,
        });
    };
    for act in acts {
        match act {
            Act::Press(hundredths) | Act::Zero(hundredths) => send(desk, *hundredths),
            Act::Retract(back) => {
                let series = desk.core.state().stations["bench-1"].series.as_ref();
                let readings = series
                    .map(|series| series.readings.clone())
                    .unwrap_or_default();
                let seq = readings.iter().rev().nth(*back).map(|reading| reading.seq);
                if seq.is_some() {
                    desk.retract(seq).unwrap();
                }
            }
            Act::Arm(which) => desk.arm(armed_as(*which)).unwrap(),
            Act::NewSegment if restarts => desk.input(Input::SegmentFull),
            Act::Restart if restarts => desk.restart(),
            Act::NewSegment | Act::Restart => {}
        }
    }
}

fn armed_as(which: u8) -> Plan {
    let all: Vec<_> = ALERTS.iter().map(|rule| rule.name).collect();
    let plan = Plan {
        repeat: true,
        ..heights(7, &all)
    };
    match which {
        0 => plan,
        1 => Plan {
            tool: Some("R-02".to_owned()),
            ..plan
        },
        2 => Plan {
            axes: vec![AxisName::new(HEIGHT), AxisName::new(WIDTH)],
            order: Order::ByPiece,
            ..plan
        },
        _ => Plan {
            purpose: Purpose::LastOff,
            tool: None,
            nest: None,
            ..plan
        },
    }
}

/// One reading as the plain recomputation keeps it: series, piece, seq, value.
type Kept = (Seq, u32, Seq, i64);
/// What the readings of a run have in common, as text.
type Key = String;

/// The alerts that follow from the entries, computed anew at every reading from plain lists.
fn recomputed(desk: &Desk) -> Vec<(Seq, String, Vec<Seq>)> {
    let mut kept: BTreeMap<Key, (Limits, Vec<Kept>)> = BTreeMap::new();
    let mut holds: BTreeMap<(Key, &str), bool> = BTreeMap::new();
    let (mut spec, mut found) = (None, Vec::new());
    for stamped in &desk.entries {
        match &stamped.entry {
            Entry::Series(SeriesEntry::Armed(armed)) => spec = Some((stamped.seq, armed.clone())),
            Entry::Frame(FrameEntry::Reading(reading)) if reading.standing == Standing::Counted => {
                let slot = reading.slot.as_ref().unwrap();
                let (series, spec) = spec.as_ref().unwrap();
                let maker = spec.tool.as_ref().map(|tool| tool.id.clone());
                let maker = maker.unwrap_or_else(|| format!("series {series}"));
                let key = format!("{} by {maker}", slot.axis);
                let value = reading.value.quantity().base();
                let (limits, run) = kept
                    .entry(key.clone())
                    .or_insert_with(|| (slot.limits.clone(), Vec::new()));
                run.push((slot.series, slot.piece, stamped.seq, value));
                run.sort_unstable();
                let surplus = run.len().saturating_sub(MOST_VALUES);
                run.drain(..surplus);
                let values: Vec<i64> = run.iter().map(|(.., value)| *value).collect();
                for rule in ALERTS {
                    let sign = (rule.holds)(&values, limits);
                    let held = holds.insert((key.clone(), rule.name), sign.is_some());
                    if let Some(sign) = sign.filter(|_| held != Some(true)) {
                        let about = &run[run.len() - sign.values..];
                        let about = about.iter().map(|(_, _, seq, _)| *seq).collect();
                        found.push((stamped.seq, rule.name.to_owned(), about));
                    }
                }
            }
            Entry::Series(SeriesEntry::Retracted(Retracted { reading, .. })) => {
                take_out(&mut kept, &mut holds, &[*reading]);
            }
            Entry::Series(SeriesEntry::Doubted(Doubted { readings, .. })) => {
                take_out(&mut kept, &mut holds, readings);
            }
            _ => {}
        }
    }
    found
}

fn take_out(
    kept: &mut BTreeMap<Key, (Limits, Vec<Kept>)>,
    holds: &mut BTreeMap<(Key, &str), bool>,
    readings: &[Seq],
) {
    for (key, (limits, run)) in kept {
        run.retain(|(_, _, seq, _)| !readings.contains(seq));
        let values: Vec<i64> = run.iter().map(|(.., value)| *value).collect();
        for rule in ALERTS {
            // An alert that was reported is not reported again while it holds.
            let known = holds.get_mut(&(key.clone(), rule.name));
            if let Some(known) = known {
                *known &= (rule.holds)(&values, limits).is_some();
            }
        }
    }
}

/// The alerts as they were raised, each with the reading before it instead of its own number.
fn raised(desk: &Desk) -> Vec<(Seq, String, Vec<Seq>)> {
    let mut reading = Seq(0);
    let mut found = Vec::new();
    for stamped in &desk.entries {
        match &stamped.entry {
            Entry::Frame(FrameEntry::Reading(_)) => reading = stamped.seq,
            Entry::Series(SeriesEntry::Alerted(Alerted { rule, readings, .. })) => {
                found.push((reading, rule.clone(), readings.clone()));
            }
            _ => {}
        }
    }
    found
}

/// Alerts without the numbers of entries, which segments and starts shift.
fn sentences(desk: &Desk) -> Vec<String> {
    let without_series = |text: String| {
        let (before, after) = text.split_once(" of series ").unwrap_or((&text, ""));
        let after = after.trim_start_matches(|c: char| c.is_ascii_digit());
        format!("{before}{after}")
    };
    texts(desk).into_iter().map(without_series).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(200)))]

    #[test]
    fn the_alerts_raised_are_those_of_a_plain_recomputation_and_every_one_is_audited(
        acts in prop::collection::vec(act(), 1..90)
    ) {
        let mut desk = Desk::new();
        run(&mut desk, &acts, true);
        prop_assert_eq!(raised(&desk), recomputed(&desk));
        let mut state = State::default();
        for stamped in &desk.entries {
            prop_assert_eq!(audit(&state, stamped), vec![]);
            state.apply(stamped);
        }
    }

    #[test]
    fn restarts_and_new_segments_change_no_alert(acts in prop::collection::vec(act(), 1..90)) {
        let (mut with, mut without) = (Desk::new(), Desk::new());
        run(&mut with, &acts, true);
        run(&mut without, &acts, false);
        prop_assert_eq!(sentences(&with), sentences(&without));
    }
}
