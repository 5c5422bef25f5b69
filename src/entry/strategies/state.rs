//! Random armed specifications and states.

use super::care::{instrument_care, tool_care, verified};
use super::runs;
use super::values::{
    adapter, at, attached, axis_name, counts, journal, limits, measured, name, quantity, reading,
    seq, subject, tally, text, unit, verdict,
};
use super::{digest, job, lots, production, qualifying};
use crate::entry::answers::Answers;
use crate::entry::repeat::Repeat;
use crate::entry::resume::Stopped;
use crate::entry::runs::Runs;
use crate::entry::state::{
    CountedReading, InstrumentState, SeriesState, State, StationState, ToolState, ZeroState,
};
use crate::entry::undo::RetractedReading;
use crate::entry::{
    Answer, KeyInUse, Outcome, PictureKept, RefusedSaying, Reservation, ToolInHand,
};
use crate::quantity::Length;
use crate::spec::Papers;
use crate::spec::{
    ArmedAxis, ArmedInstrument, ArmedSpec, ArmedTool, Decision, Guard, Look, LooksPer, OpeningZero,
    Order, PullMode, Purpose, Questions, ToolClass, ZeroPolicy,
};
use proptest::collection::{btree_map, btree_set, vec};
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use std::sync::Arc;
use std::time::Duration;

pub(super) fn armed_axis() -> BoxedStrategy<ArmedAxis> {
    let guard = (
        name(),
        any::<i64>(),
        option::of(any::<u32>()),
        option::of(name()),
    )
        .prop_map(
            |(instrument, width, test_uncertainty_ratio_hundredths, budget)| Guard {
                instrument,
                width,
                test_uncertainty_ratio_hundredths,
                budget,
            },
        );
    let plausible = option::of((quantity(), quantity()));
    (
        axis_name(),
        limits(),
        option::of(name()),
        plausible,
        vec(guard, 0..3),
    )
        .prop_map(|(name, limits, limits_from, plausible, guards)| ArmedAxis {
            name,
            limits,
            limits_from,
            plausible,
            guards,
        })
        .boxed()
}

pub(super) fn armed_instrument() -> BoxedStrategy<ArmedInstrument> {
    let errors = (option::of(quantity()), option::of(quantity()));
    let range = option::of((quantity(), quantity()));
    let papers = (option::of(text()), option::of(text()), option::of(text()));
    let papers = papers.prop_map(|(serial, certificate, maker_sheet)| Papers {
        serial,
        certificate,
        maker_sheet,
    });
    let more = (
        any::<bool>(),
        instrument_care(),
        papers,
        option::of(verified()),
    );
    (name(), unit(), quantity(), errors, range, more)
        .prop_map(
            |(name, unit, resolution, (max_error, repeatability), range, more)| {
                let (zero_must_be_said, care, papers, verified) = more;
                ArmedInstrument {
                    name,
                    unit,
                    resolution,
                    max_error,
                    repeatability,
                    range,
                    zero_must_be_said,
                    care,
                    papers,
                    verified,
                }
            },
        )
        .boxed()
}

pub(super) fn zero_policy() -> BoxedStrategy<ZeroPolicy> {
    let every = prop_oneof![
        (0..u64::MAX / 2).prop_map(Duration::from_secs),
        (0..u64::MAX / 2).prop_map(Duration::from_nanos),
    ];
    let counts = (option::of(any::<u32>()), any::<u32>(), any::<u32>());
    (any::<[bool; 3]>(), counts, option::of(every), any::<i64>())
        .prop_map(
            |(
                [before_first, closing, double_retracts],
                (every_pieces, band_counts, limit_counts),
                every,
                attempt,
            )| {
                ZeroPolicy {
                    attempt: Length::from_nanometres(attempt),
                    before_first,
                    every_pieces,
                    every,
                    closing,
                    band_counts,
                    limit_counts,
                    double_retracts,
                }
            },
        )
        .boxed()
}

pub(crate) fn armed_spec() -> BoxedStrategy<ArmedSpec> {
    let tool = (text(), select(&ToolClass::ALL[..]), option::of(text()))
        .prop_map(|(id, class, nest)| (id, class, nest));
    let tool = (
        tool,
        tool_care(),
        option::of(any::<u64>()),
        option::of(text()),
    )
        .prop_map(|((id, class, nest), care, crimps, needs)| ArmedTool {
            id,
            class,
            nest,
            care,
            crimps,
            needs,
        });
    let decision = prop_oneof![
        Just(Decision::Simple),
        any::<u32>().prop_map(|factor_milli| Decision::Guarded { factor_milli }),
    ];
    let opening_zero =
        (name(), any::<u64>(), at()).prop_map(|(instrument, zeroed, at)| OpeningZero {
            instrument,
            zeroed,
            at,
        });
    let names = (
        name(),
        option::of(text()),
        option::of(text()),
        option::of(job()),
        lots(),
    );
    let what = (
        subject(),
        select(&Purpose::ALL[..]),
        option::of(tool),
        vec(armed_axis(), 0..3),
    );
    let how = (
        select(&Order::ALL[..]),
        any::<u32>(),
        decision,
        zero_policy(),
        (
            any::<bool>(),
            runs::rules(),
            questions(),
            option::of(production::sample_of()),
            option::of(qualifying::qualified()),
        ),
        vec(opening_zero, 0..3),
    );
    let strands = select(vec![None, Some("19x0.37"), Some("7 x 0.0126 in")]);
    let strands = strands.prop_map(|text| text.map(|text| text.parse().unwrap()));
    let rest = (vec(armed_instrument(), 0..3), vec(text(), 0..3), strands);
    (names, what, how, rest)
        .prop_map(
            |(
                (station, plan, operator, job, lots),
                (subject, purpose, tool, axes),
                (
                    order,
                    pieces,
                    decision,
                    zero,
                    (repeat, alerts, questions, sample, qualified),
                    opening_zeros,
                ),
                (instruments, warnings, strands),
            )| ArmedSpec {
                station,
                plan,
                operator,
                job,
                lots,
                sample,
                subject,
                strands,
                purpose,
                tool,
                qualified: qualified.map(Box::new),
                axes,
                order,
                pieces,
                decision,
                zero,
                questions,
                repeat,
                opening_zeros,
                alerts,
                instruments,
                warnings,
            },
        )
        .boxed()
}

fn counted() -> BoxedStrategy<CountedReading> {
    (
        seq(),
        any::<u32>(),
        axis_name(),
        name(),
        measured(),
        verdict(),
    )
        .prop_map(
            |(seq, piece, axis, instrument, value, verdict)| CountedReading {
                seq,
                piece,
                axis,
                instrument: instrument.into(),
                value,
                verdict,
            },
        )
        .boxed()
}

pub(super) fn series_state() -> BoxedStrategy<SeriesState> {
    let retracted =
        (counted(), any::<bool>()).prop_map(|(reading, spent)| RetractedReading { reading, spent });
    let zero = (
        option::of((seq(), at())),
        any::<[bool; 3]>(),
        option::of(seq()),
        option::of(quantity()),
    )
        .prop_map(
            |(last_good, [off, closed, time_due], retracts, off_by)| ZeroState {
                last_good,
                off,
                off_by,
                closed,
                time_due,
                retracts,
            },
        );
    let zeros = btree_map(name(), zero, 0..3);
    (
        seq(),
        at(),
        armed_spec(),
        (vec(counted(), 0..3), vec(counted(), 0..3)),
        tally(),
        zeros,
        vec(runs::alert(), 0..2),
        (
            btree_set(any::<u32>(), 0..3),
            btree_set(any::<u32>(), 0..3),
            option::of(retracted),
            (answers(), pictures()),
        ),
    )
        .prop_map(
            |(
                id,
                since,
                spec,
                (readings, doubted),
                tally,
                zeros,
                alerts,
                (crimped, spent, retracted, (answers, pictures)),
            )| {
                SeriesState {
                    id,
                    since,
                    spec,
                    readings,
                    tally,
                    doubted,
                    zeros,
                    alerts,
                    crimped,
                    spent,
                    retracted,
                    answers,
                    pictures,
                }
            },
        )
        .boxed()
}

fn questions() -> BoxedStrategy<Questions> {
    let look = (option::of(name()), text()).prop_map(|(name, question)| Look { name, question });
    let looks = vec(look, 0..3);
    (looks, select(&LooksPer::ALL[..]), any::<bool>())
        .prop_map(|(looks, per, pull_mode)| Questions {
            // This is stored only if there are checks.
            looks_per: if looks.is_empty() {
                LooksPer::default()
            } else {
                per
            },
            looks,
            pull_mode,
        })
        .boxed()
}

fn answers() -> BoxedStrategy<Answers> {
    let which = (option::of(any::<u32>()), any::<u32>());
    let looks = btree_map(which, select(&Answer::ALL[..]), 0..3);
    let pulls = btree_map(seq(), select(&PullMode::ALL[..]), 0..3);
    (looks, pulls)
        .prop_map(|(looks, pulls)| Answers { looks, pulls })
        .boxed()
}

fn repeat() -> BoxedStrategy<Repeat> {
    (armed_spec(), at())
        .prop_map(|(spec, since)| Repeat {
            spec: Box::new(spec),
            since,
        })
        .boxed()
}

pub(super) fn tool_in_hand() -> BoxedStrategy<ToolInHand> {
    (text(), select(&ToolClass::ALL[..]), option::of(text()))
        .prop_map(|(id, class, nest)| ToolInHand { id, class, nest })
        .boxed()
}

/// Pictures of a series, as the state keeps them.
fn pictures() -> BoxedStrategy<Vec<PictureKept>> {
    let kept = (seq(), option::of(any::<u32>()), digest())
        .prop_map(|(seq, piece, shown)| PictureKept { seq, piece, shown });
    vec(kept, 0..3).boxed()
}

fn refused_saying() -> BoxedStrategy<RefusedSaying> {
    (text(), text(), option::of(text()))
        .prop_map(|(said, reason, remedy)| RefusedSaying {
            said,
            reason,
            remedy,
        })
        .boxed()
}

/// Any state, also one that no entries could lead to.
pub(crate) fn state() -> BoxedStrategy<State> {
    let outcome = (seq(), select(&Outcome::ALL[..]), tally());
    let outcome = (outcome, option::of(at()), option::of(counts()));
    let stopped = (series_state(), any::<bool>()).prop_map(|(series, is_followed)| {
        Box::new(Stopped {
            series,
            is_followed,
        })
    });
    let station = (
        option::of(series_state()),
        option::of((seq(), reading().prop_map(Arc::new))),
        option::of(outcome),
        option::of(text()),
        (
            (option::of(tool_in_hand()), option::of(job()), lots()),
            option::of(refused_saying()),
            vec(runs::run(), 0..3).prop_map(Runs),
            option::of(repeat()),
            option::of(stopped),
            (vec(select(&Reservation::ALL[..]), 0..3), pictures()),
            production::production(),
        ),
    )
        .prop_map(|(series, last_reading, outcome, operator, rest)| {
            let ((tool, job, lots), refused, runs, repeat, stopped, last, production) = rest;
            let (last_reservations, last_pictures) = last;
            let closed_at = outcome.and_then(|(_, at, _)| at);
            let last_counts = outcome.and_then(|(.., counts)| counts);
            StationState {
                series,
                last_reading,
                last_outcome: outcome.map(|(outcome, ..)| outcome),
                closed_at,
                last_counts,
                last_reservations,
                last_pictures,
                operator,
                tool,
                job,
                lots,
                refused,
                runs,
                repeat,
                stopped,
                production,
            }
        });
    let instrument = (
        name(),
        option::of(attached()),
        option::of(text()),
        any::<bool>(),
        (option::of(quantity()), option::of(verified())),
        (option::of(adapter()), vec(text(), 0..2)),
    )
        .prop_map(
            |(station, attached, detached_because, zero_said, (opening, verified), port)| {
                let (adapter, rivals) = port;
                InstrumentState {
                    station,
                    attached,
                    detached_because,
                    zero_said,
                    opening,
                    adapter,
                    rivals,
                    verified,
                }
            },
        );
    let stations = btree_map(name(), station, 0..3);
    let instruments = btree_map(name(), instrument, 0..3);
    let tool = (any::<u64>(), btree_map(text(), any::<u64>(), 0..3))
        .prop_map(|(crimps, nests)| ToolState { crimps, nests });
    let tools = btree_map(name(), tool, 0..3);
    (
        option::of(journal()),
        option::of(seq()),
        stations,
        instruments,
        tools,
        qualifying::qualifying(),
        option::of((text(), option::of(seq())).prop_map(|(key, up_to)| KeyInUse { key, up_to })),
    )
        .prop_map(
            |(journal, last, stations, instruments, tools, qualifying, key)| State {
                journal,
                last,
                stations,
                instruments,
                tools,
                qualifying,
                key,
            },
        )
        .boxed()
}
