//! Random entries of every kind, for property tests.

mod care;
mod production;
mod qualifying;
mod runs;
mod stamped;
mod state;
mod values;

pub(crate) use stamped::stamped;
pub(crate) use state::{armed_spec, state};
pub(crate) use values::reading;

use super::line::Digest;
use super::{
    AdapterChanged, AdapterSaid, Alerted, Answer, Begun, ClockStepped, Completed,
    ConfigurationEdited, DamageAccepted, Detached, Disarmed, Disturbed, Doubted, Entry, FileEdited,
    Gap, JobSaid, JournalId, KeyBegun, LookTally, Looked, LotSaid, Means, Noted, OperatorSaid,
    Outcome, Paired, Pictured, Pulled, Refused, Reservation, Restored, Resumed, Retracted, Revoked,
    RolledBack, Sealed, Segment, Slot, Started, Stopped, TabletSaid, ToolSaid, Unread, ZeroDue,
    ZeroRole, ZeroSaid, Zeroed,
};
use crate::pictures::PictureFormat;
use crate::spec::{Job, Lots, Material, PullMode};
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::sample::select;
use state::tool_in_hand;
use std::sync::Arc;
use values::{
    at, attached, axis_name, bytes, counts, journal, measured, name, quantity, seq, tally, text,
};

/// An entry of any kind.
pub(crate) fn entry() -> BoxedStrategy<Entry> {
    let about_journal = prop_oneof![
        journal().prop_map(|journal| Entry::from(Begun { journal })),
        (journal(), state()).prop_map(|(journal, state)| Entry::from(Segment {
            journal,
            state: Box::new(state),
        })),
    ];
    prop_oneof![1 => about_journal, 9 => inner_entry()].boxed()
}

/// An entry of any kind that does not open a segment.
pub(crate) fn inner_entry() -> BoxedStrategy<Entry> {
    let operator = prop_oneof![3 => operator_entry(), 1 => said_entry(), 1 => production::entry()];
    prop_oneof![1 => daemon_entry(), 1 => operator, 2 => measured_entry()].boxed()
}

fn daemon_entry() -> BoxedStrategy<Entry> {
    prop_oneof![
        (text(), text()).prop_map(|(version, config_digest)| Entry::from(Started {
            version,
            config_digest,
        })),
        text().prop_map(|reason| Entry::from(Stopped { reason })),
        attached().prop_map(Entry::from),
        port_entry(),
        (name(), name(), text()).prop_map(|(instrument, station, reason)| Entry::from(Detached {
            station,
            instrument,
            reason,
        })),
        any::<i64>().prop_map(|by_micros| Entry::from(ClockStepped { by_micros })),
        (at(), any::<u64>(), text()).prop_map(|(since, frames, reason)| Entry::from(Gap {
            since,
            frames,
            reason,
        })),
        (seq(), text()).prop_map(|(seq, reason)| Entry::from(DamageAccepted { seq, reason })),
        (text(), seq(), seq(), text()).prop_map(|(journal, known, end, reason)| {
            Entry::from(RolledBack {
                journal: JournalId(journal),
                known,
                end,
                reason,
            })
        }),
        name().prop_map(|tablet| Entry::from(Paired { tablet })),
        name().prop_map(|tablet| Entry::from(Revoked { tablet })),
        (name(), seq(), seq()).prop_map(|(tablet, first_entry, last_entry)| {
            Entry::from(TabletSaid {
                tablet,
                first_entry,
                last_entry,
            })
        }),
        configuration_edited(),
        key_begun(),
        sealed(),
    ]
    .boxed()
}

fn key_begun() -> BoxedStrategy<Entry> {
    (text(), text(), option::of(text()), option::of(text()))
        .prop_map(|(public_key, key, key_before, signature)| {
            Entry::from(KeyBegun {
                public_key,
                key,
                key_before,
                signature,
            })
        })
        .boxed()
}

fn sealed() -> BoxedStrategy<Entry> {
    (journal(), seq(), text(), text(), text())
        .prop_map(|(journal, up_to, digest, key, signature)| {
            Entry::from(Sealed {
                journal,
                up_to,
                digest,
                key,
                signature,
            })
        })
        .boxed()
}

fn configuration_edited() -> BoxedStrategy<Entry> {
    let file = (text(), option::of(text()), text(), option::of(text())).prop_map(
        |(file, before, after, copy)| FileEdited {
            file,
            before,
            after,
            copy,
        },
    );
    let said = (text(), text(), text(), text());
    (said, vec(file, 0..3))
        .prop_map(|((who, change, list, name), files)| {
            Entry::from(ConfigurationEdited {
                who,
                change,
                list,
                name,
                files,
            })
        })
        .boxed()
}

/// Entries about adapters and other programs at a port.
fn port_entry() -> BoxedStrategy<Entry> {
    let by = select(&Means::ALL[..]);
    prop_oneof![
        (name(), name(), text(), text()).prop_map(|(station, instrument, was, is)| {
            Entry::from(AdapterChanged {
                station,
                instrument,
                was,
                is,
            })
        }),
        (name(), name(), text(), by).prop_map(|(station, instrument, adapter, by)| {
            Entry::from(AdapterSaid {
                station,
                instrument,
                adapter,
                by,
            })
        }),
        (name(), name(), vec(text(), 0..3), option::of(text())).prop_map(
            |(station, instrument, holders, settings)| Entry::from(Disturbed {
                station,
                instrument,
                holders,
                settings,
            })
        ),
    ]
    .boxed()
}

fn answer_entry() -> BoxedStrategy<Entry> {
    let look = (option::of(any::<u32>()), any::<u32>(), text());
    let looked = (
        name(),
        seq(),
        look,
        select(&Answer::ALL[..]),
        select(&Means::ALL[..]),
    );
    let pull = (any::<u32>(), seq(), select(&PullMode::ALL[..]));
    let pulled = (name(), seq(), pull, select(&Means::ALL[..]));
    prop_oneof![
        pictured().prop_map(Entry::from),
        looked.prop_map(
            |(station, series, (piece, look, question), answer, by)| Entry::from(Looked {
                station,
                series,
                piece,
                look,
                question,
                answer,
                by,
            })
        ),
        pulled.prop_map(
            |(station, series, (piece, reading, mode), by)| Entry::from(Pulled {
                station,
                series,
                piece,
                reading,
                mode,
                by,
            })
        ),
    ]
    .boxed()
}

fn pictured() -> BoxedStrategy<Pictured> {
    let about = (name(), seq(), option::of(any::<u32>()));
    let sizes = (any::<u64>(), any::<u32>(), any::<u32>());
    let said = (text(), select(&Means::ALL[..]));
    let format = select(&PictureFormat::ALL[..]);
    (about, digest(), format, sizes, digest(), said)
        .prop_map(
            |((station, series, piece), picture, picture_format, sizes, shown, said)| Pictured {
                station,
                series,
                piece,
                picture,
                picture_format,
                size_bytes: sizes.0,
                width_px: sizes.1,
                height_px: sizes.2,
                shown,
                file_name: said.0,
                by: said.1,
            },
        )
        .boxed()
}

fn digest() -> BoxedStrategy<Digest> {
    bytes().prop_map(|bytes| Digest::of(&bytes)).boxed()
}

fn completed_entry() -> BoxedStrategy<Entry> {
    let outcome = select(&Outcome::ALL[..]);
    let reservations = option::of(vec(select(&Reservation::ALL[..]), 0..3));
    let look_tally = (any::<u32>(), any::<u32>()).prop_map(|(good, bad)| LookTally { good, bad });
    let look_tally = option::of(look_tally);
    let completed = (
        name(),
        seq(),
        outcome,
        tally(),
        (
            any::<bool>(),
            reservations,
            look_tally,
            option::of(counts().prop_map(Box::new)),
        ),
    );
    completed
        .prop_map(
            |(station, series, outcome, tally, (resumable, reservations, looks, counts))| {
                Entry::from(Completed {
                    station,
                    series,
                    outcome,
                    tally,
                    looks,
                    resumable,
                    reservations,
                    counts,
                })
            },
        )
        .boxed()
}

fn operator_entry() -> BoxedStrategy<Entry> {
    let doubted = (name(), seq(), vec(seq(), 0..4), text());
    let by = option::of(select(&Means::ALL[..]));
    let slot = option::of((any::<u32>(), axis_name()));
    let retracted = (
        name(),
        seq(),
        seq(),
        by,
        (slot, option::of(text()), any::<bool>()),
    );
    let restored = (name(), seq(), seq(), select(&Means::ALL[..]));
    let resumed = (
        name(),
        seq(),
        option::of(text()),
        lots(),
        select(&Means::ALL[..]),
    );
    let refused = (name(), name(), text(), text(), option::of(text()));
    let alerted = (name(), seq(), text(), text(), vec(seq(), 0..4));
    prop_oneof![
        armed_spec().prop_map(|spec| Entry::from(Arc::new(spec))),
        (name(), seq()).prop_map(|(station, series)| Entry::from(Disarmed { station, series })),
        completed_entry(),
        answer_entry(),
        resumed.prop_map(
            |(station, series, operator, lots, by)| Entry::from(Resumed {
                station,
                series,
                operator,
                lots,
                by,
            })
        ),
        (name(), name()).prop_map(|(station, instrument)| Entry::from(ZeroSaid {
            station,
            instrument,
        })),
        doubted.prop_map(|(station, series, readings, reason)| Entry::from(Doubted {
            station,
            series,
            readings,
            reason,
        })),
        retracted.prop_map(|(station, series, reading, by, (slot, reason, spent))| {
            Entry::from(Retracted {
                station,
                series,
                reading,
                by,
                slot: slot.map(|(piece, axis)| Slot { piece, axis }),
                reason,
                spent,
            })
        }),
        restored.prop_map(|(station, series, reading, by)| Entry::from(Restored {
            station,
            series,
            reading,
            by,
        })),
        (name(), option::of(seq()), text()).prop_map(|(station, series, text)| Entry::from(
            Noted {
                station,
                series,
                text,
            }
        )),
        refused.prop_map(
            |(station, instrument, said, reason, remedy)| Entry::from(Refused {
                station,
                instrument,
                said,
                reason,
                remedy,
            })
        ),
        alerted.prop_map(
            |(station, series, rule, text, readings)| Entry::from(Alerted {
                station,
                series,
                rule,
                text,
                readings,
            })
        ),
    ]
    .boxed()
}

pub(super) fn lots() -> BoxedStrategy<Lots> {
    (option::of(text()), option::of(text()))
        .prop_map(|(terminal, wire)| Lots { terminal, wire })
        .boxed()
}

pub(super) fn job() -> BoxedStrategy<Job> {
    let about = || option::of(text());
    (text(), about(), about(), about(), about())
        .prop_map(|(id, customer, item, serial, reference)| Job {
            id,
            customer,
            item,
            serial,
            reference,
        })
        .boxed()
}

/// Entries about operators, jobs, lots, tools and zeros that became due.
fn said_entry() -> BoxedStrategy<Entry> {
    let tool_said = (name(), option::of(seq()), tool_in_hand(), any::<bool>());
    let job_said = (
        name(),
        option::of(seq()),
        option::of(job()),
        option::of(text()),
    );
    let lot_said = (
        name(),
        option::of(seq()),
        select(&Material::ALL[..]),
        option::of(text()),
    );
    prop_oneof![
        (name(), seq(), name(), text()).prop_map(|(station, series, instrument, reason)| {
            Entry::from(ZeroDue {
                station,
                instrument,
                series,
                reason,
            })
        }),
        (name(), option::of(seq()), text()).prop_map(|(station, series, operator)| {
            Entry::from(OperatorSaid {
                station,
                series,
                operator,
            })
        }),
        job_said.prop_map(|(station, series, job, warning)| Entry::from(JobSaid {
            station,
            series,
            job,
            warning,
        })),
        lot_said.prop_map(|(station, series, material, lot)| Entry::from(LotSaid {
            station,
            series,
            material,
            lot,
        })),
        tool_said.prop_map(|(station, series, tool, as_planned)| Entry::from(ToolSaid {
            station,
            series,
            tool,
            as_planned,
        })),
    ]
    .boxed()
}

fn measured_entry() -> BoxedStrategy<Entry> {
    let zeroed = (
        name(),
        name(),
        option::of(seq()),
        measured(),
        select(&ZeroRole::ALL[..]),
        any::<bool>(),
        option::of(quantity()),
        bytes(),
    );
    let unread = (
        name(),
        name(),
        bytes(),
        any::<u64>(),
        any::<u64>(),
        text(),
        option::of(text()),
    );
    prop_oneof![
        1 => zeroed.prop_map(
            |(station, instrument, series, value, role, ok, opening, raw)| Entry::from(Zeroed {
                station,
                instrument,
                series,
                value,
                role,
                ok,
                opening,
                raw,
            })
        ),
        3 => reading().prop_map(|reading| Entry::from(Arc::new(reading))),
        1 => unread.prop_map(
            |(station, instrument, raw, bytes, times, reason, remedy)| Entry::from(Unread {
                station,
                instrument,
                raw,
                bytes,
                times,
                reason,
                remedy,
            })
        ),
    ]
    .boxed()
}
