//! Random entries and states of production runs.

use super::values::{at, name, seq, text};
use crate::entry::production::fold::{Hold, OpenRun, Owed, Production, Sample};
use crate::entry::{
    Crimped, Entry, Held, HoldCause, Means, RunClosed, RunEnd, RunOpened, SampleDue, Settled,
};
use crate::spec::{ProductionRun, SampleOf, SampleRole, Settlement};
use proptest::collection::{btree_map, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

fn settings() -> BoxedStrategy<ProductionRun> {
    let every = (option::of(any::<u32>()), option::of(any::<u32>()));
    (name(), name(), name(), name(), every)
        .prop_map(
            |(id, first_off, in_process, last_off, (every_crimps, every_minutes))| ProductionRun {
                id,
                first_off,
                in_process,
                last_off,
                every_crimps,
                every_minutes,
            },
        )
        .boxed()
}

pub(super) fn sample_of() -> BoxedStrategy<SampleOf> {
    (settings(), select(&SampleRole::ALL[..]))
        .prop_map(|(run, role)| SampleOf { run, role })
        .boxed()
}

fn opened() -> BoxedStrategy<RunOpened> {
    (name(), seq(), settings())
        .prop_map(|(station, series, settings)| RunOpened {
            station,
            series,
            settings,
        })
        .boxed()
}

fn held() -> BoxedStrategy<Held> {
    let numbers = (any::<u64>(), any::<u64>());
    (name(), seq(), seq(), numbers, select(&HoldCause::ALL[..]))
        .prop_map(|(station, run, series, (first, last), cause)| Held {
            station,
            run,
            series,
            first,
            last,
            cause,
        })
        .boxed()
}

fn closed() -> BoxedStrategy<RunClosed> {
    (name(), seq(), seq(), select(&RunEnd::ALL[..]))
        .prop_map(|(station, run, series, end)| RunClosed {
            station,
            run,
            series,
            end,
        })
        .boxed()
}

fn settled() -> BoxedStrategy<Settled> {
    let about = (name(), seq(), seq(), any::<u64>());
    let how = (select(&Settlement::ALL[..]), select(&Means::ALL[..]));
    (about, how, text(), option::of(text()))
        .prop_map(
            |((station, run, held, crimps), (settlement, by), reason, operator)| Settled {
                station,
                run,
                held,
                crimps,
                settlement,
                reason,
                operator,
                by,
            },
        )
        .boxed()
}

/// An entry of each kind about production runs.
pub(super) fn entry() -> BoxedStrategy<Entry> {
    let by = option::of(select(&Means::ALL[..]));
    let crimped = (
        name(),
        option::of(seq()),
        any::<u32>(),
        option::of(name()),
        by,
    );
    prop_oneof![
        opened().prop_map(Entry::from),
        held().prop_map(Entry::from),
        closed().prop_map(Entry::from),
        settled().prop_map(Entry::from),
        crimped.prop_map(
            |(station, run, crimps, instrument, by)| Entry::from(Crimped {
                station,
                run,
                crimps,
                instrument,
                by,
            })
        ),
        (name(), seq(), text()).prop_map(|(station, run, reason)| Entry::from(SampleDue {
            station,
            run,
            reason,
        })),
    ]
    .boxed()
}

fn sample() -> BoxedStrategy<Sample> {
    (seq(), sample_of(), option::of(any::<u64>()))
        .prop_map(|(series, of, crimps)| Sample { series, of, crimps })
        .boxed()
}

/// The production runs of a station.
pub(super) fn production() -> BoxedStrategy<Production> {
    let counts = (any::<u64>(), any::<u64>(), any::<u64>());
    let good = (seq(), at());
    let rest = (option::of(seq()), any::<bool>());
    let run = (seq(), settings(), at(), counts, good, rest).prop_map(
        |(id, settings, since, (crimps, decided, vouched), last_good, (bad, time_due))| OpenRun {
            id,
            settings,
            since,
            crimps,
            decided,
            vouched,
            last_good,
            bad,
            time_due,
        },
    );
    let hold = (held(), any::<u64>()).prop_map(|(held, settled)| Hold {
        run: held.run,
        series: held.series,
        first: held.first,
        last: held.last,
        cause: held.cause,
        settled,
    });
    let owed = prop_oneof![
        held().prop_map(Owed::Hold),
        closed().prop_map(Owed::Close),
        opened().prop_map(Owed::Open),
    ];
    let samples = (option::of(sample()), option::of(sample()));
    let holds = btree_map(seq(), hold, 0..3);
    (
        option::of(run),
        holds,
        any::<u64>(),
        vec(owed, 0..3),
        samples,
    )
        .prop_map(
            |(run, holds, without_run, owed, (sample, stopped))| Production {
                run,
                holds,
                without_run,
                owed: owed.into(),
                sample,
                stopped,
            },
        )
        .boxed()
}
