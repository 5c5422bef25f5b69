//! Invariants of any sequence of presses, cards, commands, waits, set clocks, reloads and restarts. And: an
//! operator who does what the prompt says finishes the series.
//!
//! In the normal run a hundred sequences of each kind; a hundred thousand:
//!
//! ```text
//! PROPTEST_CASES=100000 cargo test --release --test suite station::invariants
//! ```

pub(crate) mod acts;
mod auditor;
mod following;
pub(crate) mod shop;
mod written;

use acts::{Act, act, arming, bench_act, off_zero, run};
use proptest::prelude::*;
use proptest::sample::select;
use shop::Shop;
use tallyjaw::entry::{Counts, Entry, SeriesEntry, State};

fn audited(shop: &Shop) -> usize {
    opened_empty(shop);
    auditor::audit(shop.entries.iter().zip(shop.times.iter().copied()))
}

/// Each entry `armed` opens an empty series, as docs/integrator.md says, so that it needs no counts of its own.
fn opened_empty(shop: &Shop) {
    let mut state = State::default();
    for stamped in &shop.entries {
        state.apply(stamped);
        if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry {
            let series = state.stations[&spec.station].series.as_ref();
            let counts = series.unwrap().counts();
            let slots = u64::from(spec.pieces) * u64::try_from(spec.axes.len()).unwrap();
            let empty = Counts {
                slots,
                ..Counts::default()
            };
            assert_eq!(counts, empty, "{}", stamped.seq);
        }
    }
}

/// How many sequences: what the environment says, or few enough for every day.
fn sequences() -> ProptestConfig {
    let config = ProptestConfig::default();
    let cases = if std::env::var_os("PROPTEST_CASES").is_some() {
        config.cases
    } else {
        crate::harness::cases(100)
    };
    ProptestConfig {
        cases,
        // A sequence that breaks something becomes a test of its own, under a name.
        failure_persistence: None,
        ..config
    }
}

proptest! {
    #![proptest_config(sequences())]

    #[test]
    fn no_sequence_counts_a_reading_without_spec_or_zero_or_fills_a_slot_twice(
        acts in prop::collection::vec(act(), 1..80)
    ) {
        let mut shop = Shop::new();
        for act in acts {
            run(&mut shop, act);
        }
        audited(&shop);
    }

    #[test]
    fn the_same_input_gives_the_same_entries(acts in prop::collection::vec(act(), 1..40)) {
        let (mut one, mut other) = (Shop::new(), Shop::new());
        for act in acts {
            run(&mut one, act.clone());
            run(&mut other, act);
        }
        prop_assert_eq!(&one.entries, &other.entries);
    }

    #[test]
    fn whatever_happened_whoever_does_what_the_prompt_says_fills_the_series(
        acts in prop::collection::vec(bench_act(), 1..40)
    ) {
        let mut shop = Shop::new();
        for act in acts {
            run(&mut shop, act);
        }
        for station in shop::STATIONS {
            following::to_the_end(&mut shop, station);
        }
        audited(&shop);
    }

    #[test]
    fn an_off_zero_near_the_end_leaves_no_reading_counted_that_no_good_one_vouches_for(
        begun in begun(),
        steps in prop::collection::vec((select(&shop::STATIONS[..]), -4i64..5), 1..16),
        near_the_end in prop::collection::vec(near_the_end(), 1..10),
    ) {
        let mut shop = Shop::new();
        for act in begun {
            run(&mut shop, act);
        }
        for (station, off) in steps {
            run(&mut shop, Act::Follow { station, off });
        }
        for act in near_the_end {
            run(&mut shop, act);
        }
        for station in shop::STATIONS {
            following::to_the_end(&mut shop, station);
        }
        audited(&shop);
    }
}

/// Both stations armed.
fn begun() -> impl Strategy<Value = Vec<Act>> {
    let arming = |station| {
        arming().prop_map(move |what| Act::Say {
            station: Some(station),
            what,
        })
    };
    let [one, other] = shop::STATIONS;
    (arming(one), arming(other)).prop_map(|(one, other)| vec![one, other])
}

/// Zeros that are off, between whatever the prompt asks for.
fn near_the_end() -> impl Strategy<Value = Act> {
    let station = select(&shop::STATIONS[..]);
    prop_oneof![
        4 => off_zero(),
        4 => (station, -4i64..5).prop_map(|(station, off)| Act::Follow { station, off }),
        1 => Just(Act::ZeroTwice),
        2 => bench_act(),
    ]
}

#[test]
fn the_random_sequences_count_readings_and_fill_series() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    use tallyjaw::entry::{Doubted, FrameEntry, Outcome, Retracted};
    let mut runner = TestRunner::deterministic();
    let (mut counted, mut filled, mut doubted, mut retracted) = (0, 0, 0, 0);
    let (mut restored, mut spent, mut resumed) = (0, 0, 0);
    let mut off = 0;
    for _ in 0..200 {
        let acts = prop::collection::vec(act(), 80)
            .new_tree(&mut runner)
            .unwrap()
            .current();
        let mut shop = Shop::new();
        for act in acts {
            run(&mut shop, act);
        }
        counted += audited(&shop);
        for stamped in &shop.entries {
            match &stamped.entry {
                Entry::Series(SeriesEntry::Completed(completed)) => {
                    filled += usize::from(completed.outcome != Outcome::CutShort);
                }
                Entry::Series(SeriesEntry::Doubted(Doubted { readings, .. })) => {
                    doubted += readings.len();
                }
                Entry::Series(SeriesEntry::Retracted(Retracted {
                    spent: is_spent, ..
                })) => {
                    retracted += 1;
                    spent += usize::from(*is_spent);
                }
                Entry::Series(SeriesEntry::Restored(_)) => restored += 1,
                Entry::Frame(FrameEntry::Zeroed(zeroed)) => off += usize::from(!zeroed.ok),
                Entry::Series(SeriesEntry::Resumed(_)) => resumed += 1,
                _ => {}
            }
        }
    }
    let found = format!(
        "{counted} counted, {filled} series, {doubted} doubted, {retracted} retracted, {restored} restored, {spent} spent, {resumed} resumed, {off} off zeros"
    );
    assert!(
        counted > 500
            && filled > 50
            && doubted > 20
            && retracted > 20
            && restored > 10
            && resumed > 10
            && spent > 1
            && off > 200,
        "{found}"
    );
}
