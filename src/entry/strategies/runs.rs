//! Runs and alerts.

use super::values::{axis_name, limits, measured, name, seq, text, wire};
use crate::entry::runs::{Alert, Maker, Point, Run};
use crate::spec::AlertRule;
use crate::spec::alert::ALERTS;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::subsequence;

pub(super) fn rules() -> BoxedStrategy<Vec<&'static AlertRule>> {
    subsequence(ALERTS, 0..=ALERTS.len()).boxed()
}

pub(super) fn alert() -> BoxedStrategy<Alert> {
    (seq(), text(), text(), vec(seq(), 0..4))
        .prop_map(|(seq, rule, text, readings)| Alert {
            seq,
            rule,
            text,
            readings,
        })
        .boxed()
}

pub(super) fn run() -> BoxedStrategy<Run> {
    let maker = prop_oneof![
        (text(), option::of(text())).prop_map(|(id, nest)| Maker::Tool { id, nest }),
        text().prop_map(Maker::Plan),
        seq().prop_map(Maker::Series),
    ];
    let point =
        (seq(), seq(), any::<u32>(), measured()).prop_map(|(seq, series, piece, value)| Point {
            seq,
            series,
            piece,
            value,
        });
    let crimp = (text(), wire()).prop_map(|(terminal, wire)| (terminal, wire.area));
    let what = (option::of(crimp), maker, axis_name(), name(), limits());
    (what, vec(point, 0..4), rules())
        .prop_map(
            |((crimp, maker, axis, instrument, limits), points, signalled)| Run {
                crimp,
                maker,
                axis,
                instrument,
                limits,
                points,
                signalled,
            },
        )
        .boxed()
}
