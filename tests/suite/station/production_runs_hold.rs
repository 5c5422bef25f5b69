//! No sequence of samples, counts, decisions, kills and set clocks leaves a crimp that is not in exactly one place:
//! vouched for, held, settled or open. The crimps are followed here one by one, by the rules as a person would say them.

use super::desk::Desk;
use super::production::{follows, shop};
use crate::harness::cases;
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use tallyjaw::entry::production::history::Fate;
use tallyjaw::entry::{
    Entry, FrameEntry, Means, Outcome, ProductionEntry, Seq, SeriesEntry, Standing,
};
use tallyjaw::spec::{SampleRole, Settlement};
use tallyjaw::station::{Armable, Command, Input, Settling};

#[derive(Debug, Clone)]
enum Act {
    /// A plan is armed.
    Arm(&'static str),
    /// A value of the caliper.
    Press(&'static str),
    /// The open series is stopped early.
    Stop,
    /// The series that the last arming stopped is opened again.
    Resume,
    /// The last reading is retracted.
    Retract,
    /// A person counts.
    Count(u32),
    /// The counter sends so many lines.
    Lines(u8),
    /// So many of the first, or of the last held crimps are settled.
    Settle(bool, u64, Settlement),
    Wait(u64),
    StepClock(i64),
    NewSegment,
    /// So many of the last entries were not on the disk.
    Kill(usize),
}

fn act() -> impl Strategy<Value = Act> {
    let plans = vec![
        "day-first_off",
        "day-in_process",
        "day-in_process",
        "day-in_process",
        "day-last_off",
        "night-first_off",
        "night-in_process",
    ];
    prop_oneof![
        6 => select(plans).prop_map(Act::Arm),
        16 => select(vec!["1.62", "1.62", "1.62", "1.70"]).prop_map(Act::Press),
        1 => Just(Act::Stop),
        1 => Just(Act::Resume),
        1 => Just(Act::Retract),
        6 => (1u32..60).prop_map(Act::Count),
        4 => (1u8..9).prop_map(Act::Lines),
        3 => (any::<bool>(), 1u64..40, select(&Settlement::ALL[..]))
            .prop_map(|(last, crimps, how)| Act::Settle(last, crimps, how)),
        2 => (0u64..9_000).prop_map(Act::Wait),
        1 => (-20_000i64..20_000).prop_filter("slewing is no step", |by| by.abs() > 1)
            .prop_map(Act::StepClock),
        1 => Just(Act::NewSegment),
        2 => (0usize..4).prop_map(Act::Kill),
    ]
}

fn run(desk: &mut Desk, act: &Act) {
    let station = None;
    let by = Means::Command;
    // What the station refuses changes nothing; that is not looked at here.
    let _ = match act {
        Act::Arm(plan) => desk.command(Command::Arm {
            station,
            what: Armable::Named((*plan).to_owned()),
            operator: None,
            cut: true,
        }),
        Act::Press(value) => {
            desk.press(value);
            Ok(())
        }
        Act::Stop => desk.command(Command::Disarm { station }),
        Act::Resume => desk.command(Command::Resume { station, by }),
        Act::Retract => desk.command(Command::Retract {
            station,
            seq: None,
            reason: None,
            by,
        }),
        Act::Count(crimps) => desk.command(Command::Crimps {
            station,
            crimps: *crimps,
            by,
        }),
        Act::Lines(lines) => {
            desk.input(Input::Bytes {
                instrument: "counter-1",
                bytes: "1\r".repeat(usize::from(*lines)).as_bytes(),
            });
            Ok(())
        }
        Act::Settle(last, crimps, settlement) => {
            let holds = desk.core.state().stations.get("bench-1");
            let mut holds = holds
                .into_iter()
                .flat_map(|known| known.production.holds.keys());
            let held = if *last { holds.last() } else { holds.next() };
            let held = held.copied();
            desk.command(Command::Settle {
                station,
                what: Settling {
                    held,
                    crimps: Some(*crimps),
                    settlement: *settlement,
                    reason: "sorted".to_owned(),
                    by,
                },
            })
        }
        Act::Wait(seconds) => {
            desk.wait(Duration::from_secs(*seconds));
            Ok(())
        }
        Act::StepClock(seconds) => {
            desk.set_clock(*seconds);
            Ok(())
        }
        Act::NewSegment => {
            desk.input(Input::SegmentFull);
            Ok(())
        }
        Act::Kill(lost) => {
            let kept = desk.entries.len().saturating_sub(*lost).max(2);
            desk.entries.truncate(kept);
            desk.restart_with_what_is_kept();
            Ok(())
        }
    };
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Crimp {
    Open,
    Vouched,
    /// To be held by the next entry.
    ToHold,
    Held(Seq),
}

/// A run, crimp by crimp.
#[derive(Debug, Default)]
struct Run {
    id: String,
    crimps: Vec<Crimp>,
    is_bad: bool,
    /// How many of each hold are settled.
    settled: BTreeMap<Seq, u64>,
}

impl Run {
    fn turn(&mut self, upto: usize, to: Crimp) {
        for crimp in self.crimps.iter_mut().take(upto) {
            if *crimp == Crimp::Open {
                *crimp = to;
            }
        }
    }
}

/// Follows each crimp of the entries.
fn followed(desk: &Desk) -> BTreeMap<Seq, Run> {
    let mut runs: BTreeMap<Seq, Run> = BTreeMap::new();
    let mut open: Option<Seq> = None;
    // Of each series that is a sample: its run, its part, and how many crimps there were before its first reading.
    let mut samples: BTreeMap<Seq, (String, SampleRole, Option<usize>)> = BTreeMap::new();
    for stamped in &desk.entries {
        match &stamped.entry {
            Entry::Series(SeriesEntry::Armed(spec)) => {
                if let Some(sample) = &spec.sample {
                    let of = (sample.run.id.clone(), sample.role, None);
                    samples.insert(stamped.seq, of);
                }
            }
            Entry::Frame(FrameEntry::Reading(reading)) if reading.standing == Standing::Counted => {
                let series = reading.slot.as_ref().map(|slot| slot.series);
                let sample = series.and_then(|series| samples.get_mut(&series));
                if let (Some((_, _, before)), Some(open)) = (sample, open) {
                    before.get_or_insert(runs[&open].crimps.len());
                }
            }
            Entry::Series(SeriesEntry::Completed(completed)) => {
                let Some((id, role, before)) = samples.get(&completed.series) else {
                    continue;
                };
                let is_bad = completed.tally.failed > 0;
                let is_good = !is_bad
                    && completed.outcome == Outcome::Accepted
                    && completed.tally.doubted == 0;
                let Some(run) = open.and_then(|open| runs.get_mut(&open)) else {
                    continue;
                };
                let all = run.crimps.len();
                if run.id != *id {
                    if is_good && *role == SampleRole::FirstOff {
                        run.turn(all, Crimp::ToHold);
                    }
                } else if is_bad {
                    run.turn(all, Crimp::ToHold);
                    run.is_bad = true;
                } else if is_good {
                    let vouches = before.unwrap_or(all);
                    let to = if run.is_bad {
                        Crimp::ToHold
                    } else {
                        Crimp::Vouched
                    };
                    run.turn(vouches, to);
                    run.is_bad = false;
                    if *role == SampleRole::LastOff {
                        run.turn(all, Crimp::ToHold);
                    }
                }
            }
            Entry::Production(entry) => match entry {
                ProductionEntry::RunOpened(opened) => {
                    let id = opened.settings.id.clone();
                    runs.insert(
                        stamped.seq,
                        Run {
                            id,
                            ..Run::default()
                        },
                    );
                    open = Some(stamped.seq);
                }
                ProductionEntry::Crimped(crimped) => {
                    assert_eq!(crimped.run, open);
                    if let Some(run) = open.and_then(|open| runs.get_mut(&open)) {
                        let crimps = usize::try_from(crimped.crimps).unwrap();
                        run.crimps.extend(std::iter::repeat_n(Crimp::Open, crimps));
                    }
                }
                ProductionEntry::Held(held) => {
                    let run = runs.get_mut(&held.run).unwrap();
                    for number in held.first..=held.last {
                        let crimp = &mut run.crimps[usize::try_from(number).unwrap() - 1];
                        assert_eq!(*crimp, Crimp::ToHold, "crimp {number}, {held:?}");
                        *crimp = Crimp::Held(stamped.seq);
                    }
                    run.settled.insert(stamped.seq, 0);
                }
                ProductionEntry::Settled(settled) => {
                    let run = runs.get_mut(&settled.run).unwrap();
                    *run.settled.get_mut(&settled.held).unwrap() += settled.crimps;
                }
                ProductionEntry::RunClosed(closed) => {
                    let run = &runs[&closed.run];
                    assert!(!run.crimps.contains(&Crimp::Open), "{closed:?}");
                    open = None;
                }
                ProductionEntry::SampleDue(due) => assert_eq!(Some(due.run), open),
            },
            _ => {}
        }
    }
    runs
}

fn assert_each_crimp_is_in_one_place(desk: &Desk) {
    let history = follows(desk);
    let runs = followed(desk);
    let mut unsettled = BTreeSet::new();
    for (id, run) in &runs {
        let said = history.run(*id).unwrap();
        let count = |is: &dyn Fn(&Crimp) -> bool| run.crimps.iter().filter(|one| is(one)).count();
        let to_hold = count(&|one| *one == Crimp::ToHold);
        assert_eq!(to_hold, 0, "a sample whose crimps are not held");
        let vouched = count(&|one| *one == Crimp::Vouched);
        let open = count(&|one| *one == Crimp::Open);
        let mut held = 0;
        for (entry, settled) in &run.settled {
            let of_it = u64::try_from(count(&|one| *one == Crimp::Held(*entry))).unwrap();
            assert!(*settled <= of_it, "{settled} of {of_it} settled");
            held += of_it - settled;
            if *settled < of_it {
                unsettled.insert(*entry);
            }
        }
        let settled: u64 = run.settled.values().sum();
        let said_settled: u64 = Settlement::ALL.iter().map(|how| said.settled(*how)).sum();
        let got = (said.vouched, said.held(), said_settled, said.open());
        let want = (
            u64::try_from(vouched).unwrap(),
            held,
            settled,
            u64::try_from(open).unwrap(),
        );
        assert_eq!(got, want, "vouched, held, settled, open of run {id}");
        let all = got.0 + got.1 + got.2 + got.3;
        assert_eq!(all, u64::try_from(run.crimps.len()).unwrap());
        // The spans name each crimp once, and as it was followed.
        let mut next = 1;
        for span in said.spans() {
            assert_eq!(span.first, next, "{:?}", said.spans());
            for number in span.first..=span.last {
                let crimp = run.crimps[usize::try_from(number).unwrap() - 1];
                let want = match span.fate {
                    Fate::Vouched => Crimp::Vouched,
                    Fate::Open => Crimp::Open,
                    Fate::Held(held) | Fate::Settled(held) => Crimp::Held(held),
                };
                assert_eq!(crimp, want, "crimp {number}");
            }
            next = span.last + 1;
        }
        assert_eq!(next, said.crimps + 1);
    }
    let known = desk.core.state().stations.get("bench-1");
    let holds: Option<BTreeSet<Seq>> =
        known.map(|known| known.production.holds.keys().copied().collect());
    assert_eq!(holds.unwrap_or_default(), unsettled);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(150), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_sequence_leaves_a_crimp_that_is_not_in_exactly_one_place(
        acts in prop::collection::vec(act(), 1..120)
    ) {
        let mut desk = Desk::with(shop());
        // Most sequences begin with an open run.
        let opened = [Act::Arm("day-first_off"), Act::Press("1.62"), Act::Press("1.62")];
        for act in opened.iter().chain(&acts) {
            run(&mut desk, act);
        }
        assert_each_crimp_is_in_one_place(&desk);
    }
}
