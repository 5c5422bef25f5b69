//! Random qualification series in the state.

use super::values::{at, axis_name, limits, name, quantity, seq, unit, wire};
use crate::entry::qualifying::{Combination, Evidence, EvidenceAxis, Qualifying};
use crate::entry::{Outcome, Reservation};
use crate::spec::{QualificationRule, Qualified, QualifiedAxis};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;

fn axis() -> BoxedStrategy<EvidenceAxis> {
    let bases = vec(any::<i64>(), 0..4);
    (axis_name(), limits(), option::of(quantity()), unit(), bases)
        .prop_map(|(axis, limits, resolution, unit, bases)| EvidenceAxis {
            axis,
            limits,
            resolution,
            unit,
            bases,
        })
        .boxed()
}

pub(super) fn qualified() -> BoxedStrategy<Qualified> {
    let rule = (any::<u32>(), any::<u32>(), any::<bool>(), any::<u32>()).prop_map(
        |(pieces, ppk_hundredths, pull, months)| QualificationRule {
            pieces,
            ppk_hundredths,
            pull,
            months,
            require: true,
        },
    );
    let axis =
        (axis_name(), limits(), any::<u64>()).prop_map(|(axis, limits, series)| QualifiedAxis {
            axis,
            limits,
            series,
        });
    (rule, vec(axis, 0..3))
        .prop_map(|(rule, axes)| Qualified { rule, axes })
        .boxed()
}

fn evidence() -> BoxedStrategy<Evidence> {
    let outcome = (
        select(&Outcome::ALL[..]),
        any::<bool>(),
        vec(select(&Reservation::ALL[..]), 0..3),
    );
    (seq(), at(), wire(), outcome, vec(axis(), 0..3))
        .prop_map(
            |(series, at, wire, (outcome, is_bracketed, reservations), axes)| Evidence {
                journal: None,
                series,
                at,
                wire,
                outcome,
                is_bracketed,
                reservations,
                axes,
            },
        )
        .boxed()
}

pub(super) fn qualifying() -> BoxedStrategy<Qualifying> {
    let series = (name(), name(), option::of(name()), evidence());
    vec(series, 0..3)
        .prop_map(|all| {
            let mut found = Qualifying::default();
            for (terminal, tool, nest, evidence) in all {
                let of = Combination {
                    terminal,
                    wire: evidence.wire.area,
                    tool,
                    nest,
                };
                found.0.entry(of).or_default().push(evidence);
            }
            found
        })
        .boxed()
}
