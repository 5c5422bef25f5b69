//! Random values that entries consist of.

use crate::entry::{
    Adapter, Attached, Counts, JournalId, NotCounted, Plateau, ReadBy, Reading, ReadingSlot, Seq,
    Standing, Tally, Verdicts,
};
use crate::quantity::{Area, Decimal, Dimension, Measured, Quantity, Unit, WallMicros};
use crate::spec::{
    ArmedSubject, AxisName, Crimp, FromSheet, GaugeBlock, Limits, Purpose, Sizes, SizingSystem,
    Verdict, WireSize,
};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use std::sync::Arc;

/// Any text, with what JSON must escape and what a terminal cannot show.
pub(super) fn text() -> BoxedStrategy<String> {
    prop_oneof![
        "[ -~]{0,20}",
        "[\\u{0}-\\u{1f}\"\\\\µ²±\\u{2028}😀]{0,6}",
        ".{0,10}"
    ]
    .boxed()
}

/// One of a few names, so that several entries are about the same thing.
pub(super) fn name() -> BoxedStrategy<String> {
    prop_oneof![
        8 => select(vec!["bench-1", "bench-2", "caliper-1", "T-07"]).prop_map(str::to_owned),
        1 => text(),
    ]
    .boxed()
}

pub(super) fn journal() -> BoxedStrategy<JournalId> {
    "[0-9a-f]{32}".prop_map(JournalId).boxed()
}

pub(super) fn seq() -> BoxedStrategy<Seq> {
    prop_oneof![1_u64..100, 1..=u64::MAX].prop_map(Seq).boxed()
}

pub(super) fn at() -> BoxedStrategy<WallMicros> {
    // 1677 to 2262, and two years that need more than four digits or a sign
    let usual = any::<i64>().prop_map(|nanos| nanos / 1000);
    prop_oneof![
        usual,
        select(vec![-65_000_000_000_000_000, 253_402_207_200_999_999])
    ]
    .prop_map(WallMicros)
    .boxed()
}

pub(super) fn bytes() -> BoxedStrategy<Vec<u8>> {
    vec(any::<u8>(), 0..12).boxed()
}

pub(super) fn unit() -> BoxedStrategy<Unit> {
    select(&Unit::ALL[..]).boxed()
}

pub(super) fn decimal() -> BoxedStrategy<Decimal> {
    prop_oneof![
        8 => (-10_000_i64..10_000, 0_u8..5),
        1 => (any::<i64>(), 0_u8..=18),
        1 => (-99_i64..99, 0_u8..=25),
    ]
    .prop_map(|(coefficient, decimals)| Decimal::new(coefficient, decimals))
    .boxed()
}

/// Any value that fits into 64 bits of the base unit.
pub(super) fn measured() -> BoxedStrategy<Measured> {
    (decimal(), unit())
        .prop_filter_map("too large", |(digits, unit)| Measured::new(digits, unit))
        .boxed()
}

pub(super) fn quantity() -> BoxedStrategy<Quantity> {
    let dimension = select(vec![Dimension::Length, Dimension::Force]);
    (dimension, any::<i64>())
        .prop_map(|(dimension, base)| Quantity::from_base(dimension, base))
        .boxed()
}

pub(super) fn limits() -> BoxedStrategy<Limits> {
    let base = || option::of(-5_000_000_i64..5_000_000);
    (base(), base(), base(), unit())
        .prop_filter_map("not limits", |(nominal, lower, upper, unit)| {
            let mut known: Vec<_> = [nominal, lower, upper].into_iter().flatten().collect();
            known.sort_unstable();
            let mut known = known.into_iter();
            let mut next = |part: Option<i64>| {
                let base = part.and_then(|_| known.next())?;
                Some(Quantity::from_base(unit.dimension(), base))
            };
            let (lower, nominal, upper) = (next(lower), next(nominal), next(upper));
            Limits::new(nominal, lower, upper, unit).ok()
        })
        .boxed()
}

pub(super) fn wire() -> BoxedStrategy<WireSize> {
    let area = prop_oneof![
        select(vec![350_000_u64, 2_000_000, 10_000_000, 3_308_000]),
        1..1_000_000_000_u64
    ];
    (area, option::of(text()), select(&SizingSystem::ALL[..]))
        .prop_map(|(area, gauge, sizing)| WireSize {
            area: Area::from_square_micrometres(area),
            gauge,
            sizing,
        })
        .boxed()
}

pub(super) fn crimp() -> BoxedStrategy<Crimp> {
    (text(), wire())
        .prop_map(|(terminal, wire)| Crimp { terminal, wire })
        .boxed()
}

fn from_sheet() -> BoxedStrategy<FromSheet> {
    let area = |um2| Area::from_square_micrometres(um2);
    let sizes = (1..1_000_000_u64, 1..1_000_000_u64)
        .prop_map(move |(from, more)| Sizes::range(area(from), area(from + more)).unwrap());
    (option::of(text()), option::of(text()), option::of(sizes))
        .prop_map(|(source, name, sizes)| FromSheet {
            source,
            name,
            sizes,
        })
        .boxed()
}

pub(super) fn subject() -> BoxedStrategy<ArmedSubject> {
    let nm = |base| Quantity::from_base(Dimension::Length, base);
    let block = (1_i64..1_000_000, 0_u8..5, option::of(1_i64..1_000)).prop_filter_map(
        "no block",
        move |(coefficient, decimals, uncertainty)| {
            let size = Measured::new(Decimal::new(coefficient, decimals), Unit::Millimetre)?;
            let uncertainty = uncertainty.map(nm);
            Some(GaugeBlock { size, uncertainty })
        },
    );
    prop_oneof![
        3 => (crimp(), from_sheet())
            .prop_map(|(crimp, sheet)| ArmedSubject::Crimps { crimp: Arc::new(crimp), sheet }),
        1 => vec(block, 0..3).prop_map(ArmedSubject::Blocks),
    ]
    .boxed()
}

pub(super) fn axis_name() -> BoxedStrategy<AxisName> {
    let known = select(vec!["core_crimp_height", "core_crimp_width", "pull_force"]);
    prop_oneof![9 => known.prop_map(str::to_owned), 1 => text()]
        .prop_map(AxisName::new)
        .boxed()
}

pub(super) fn verdict() -> BoxedStrategy<Verdict> {
    select(&Verdict::ALL[..]).boxed()
}

pub(super) fn slot() -> BoxedStrategy<ReadingSlot> {
    let purpose = select(&Purpose::ALL[..]);
    let judged = (limits(), option::of(quantity()), option::of(verdict()));
    (
        seq(),
        any::<u32>(),
        axis_name(),
        option::of(crimp()),
        purpose,
        judged,
    )
        .prop_map(
            |(series, piece, axis, crimp, purpose, (limits, deviation, verdict))| ReadingSlot {
                series,
                piece,
                axis,
                crimp: crimp.map(Arc::new),
                purpose,
                limits,
                deviation,
                verdict,
            },
        )
        .boxed()
}

pub(super) fn standing() -> BoxedStrategy<Standing> {
    let not_counted = (select(&NotCounted::ALL[..]), option::of(text()));
    prop_oneof![
        Just(Standing::Counted),
        not_counted.prop_map(|(reason, hint)| Standing::NotCounted { reason, hint }),
    ]
    .boxed()
}

pub(crate) fn reading() -> BoxedStrategy<Reading> {
    (
        name(),
        name(),
        measured(),
        bytes(),
        option::of(plateau()),
        option::weighted(0.9, slot()),
        standing(),
    )
        .prop_map(
            |(station, instrument, value, raw, plateau, slot, standing)| Reading {
                station: station.into(),
                instrument: instrument.into(),
                value,
                raw,
                plateau,
                slot,
                standing,
            },
        )
        .boxed()
}

fn plateau() -> BoxedStrategy<Plateau> {
    (quantity(), quantity(), quantity(), any::<u32>())
        .prop_map(|(median, least, greatest, frames)| Plateau {
            median,
            least,
            greatest,
            frames,
        })
        .boxed()
}

/// The counts of a series.
pub(super) fn counts() -> BoxedStrategy<Counts> {
    let of_verdicts = any::<[u64; 6]>().prop_map(
        |[pass, fail_low, fail_high, unsure_low, unsure_high, measured]| Verdicts {
            pass,
            fail_low,
            fail_high,
            unsure_low,
            unsure_high,
            measured,
        },
    );
    (any::<[u64; 3]>(), of_verdicts, option::of(any::<i64>()))
        .prop_map(
            |([slots, filled, doubted_left], verdicts, lowest_mn)| Counts {
                slots,
                filled,
                doubted_left,
                verdicts,
                lowest_mn,
            },
        )
        .boxed()
}

pub(super) fn tally() -> BoxedStrategy<Tally> {
    any::<[u32; 7]>()
        .prop_map(
            |[
                passed,
                failed,
                unsure,
                doubted,
                retracted,
                not_counted,
                measured,
            ]| Tally {
                passed,
                failed,
                unsure,
                doubted,
                retracted,
                not_counted,
                measured,
            },
        )
        .boxed()
}

pub(super) fn attached() -> BoxedStrategy<Attached> {
    let adapter = (option::of(text()), option::of(text()), any::<bool>());
    let read_by = (text(), text(), option::of(text()), text()).prop_map(
        |(format, unit, pattern, capture)| ReadBy {
            format,
            unit,
            pattern,
            capture,
        },
    );
    (
        name(),
        name(),
        text(),
        text(),
        adapter,
        option::of(read_by.prop_map(Box::new)),
    )
        .prop_map(
            |(instrument, station, port, line, (identity, socket, ambiguous), read_by)| Attached {
                station,
                instrument,
                port,
                line,
                identity,
                socket,
                ambiguous,
                read_by,
            },
        )
        .boxed()
}

pub(super) fn adapter() -> BoxedStrategy<Adapter> {
    (text(), text(), any::<bool>())
        .prop_map(|(usb, socket, ambiguous)| Adapter {
            usb,
            socket,
            ambiguous,
        })
        .boxed()
}
