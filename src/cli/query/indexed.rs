//! Reads only the lines that some series need, by the index.
//!
//! The index is made first where it is missing and may be written: once it is there, no later command needs to read
//! all. A command of somebody who may not write the state folder works without.

use super::{Filter, lines};
use crate::cli::Failure;
use crate::cli::progress::Progress;
use crate::config::DaemonConfig;
use crate::entry::{Seq, Stamped, line};
use crate::index::{Index, Lacking, Plan};
use crate::journal::StoredLine;
use std::collections::BTreeSet;
use std::ops::ControlFlow;

/// The index of the journal; empty where it cannot be read, which then shows when the journal is read.
pub(in crate::cli) fn index(daemon: &DaemonConfig) -> Index {
    let (state_dir, durable) = (&daemon.state_dir, lines::durable_end(daemon));
    if let Ok(Some(lacking)) = Lacking::find(state_dir, durable) {
        let mut progress = Progress::of_bytes("indexing the journal", lacking.bytes());
        lacking.make_all(|bytes| progress.advance(bytes));
    }
    Index::open(state_dir, durable).unwrap_or_else(|_| Index::none(state_dir))
}

/// The series that may have a reading that matches: those that are named, or all that the index does not exclude.
pub(in crate::cli) fn candidates(index: &mut Index, filter: &Filter<'_>) -> BTreeSet<Seq> {
    if !filter.ids().is_empty() {
        return filter.ids().iter().copied().map(Seq).collect();
    }
    let mut found = BTreeSet::new();
    index.each_row(|row| {
        if filter.may_have(&row) {
            found.insert(row.id);
        }
    });
    found.extend(index.unknown());
    found
}

/// Gives every durable entry of the plan to `take`, with its line.
pub(in crate::cli) fn each(
    daemon: &DaemonConfig,
    plan: &Plan,
    take: impl FnMut(&Stamped, StoredLine<'_>),
) -> Result<(), Failure> {
    each_after(daemon, plan, Seq(0), take)
}

/// The same from entry `after` on, where no series that was requested began before it.
pub(in crate::cli) fn each_after(
    daemon: &DaemonConfig,
    plan: &Plan,
    after: Seq,
    mut take: impl FnMut(&Stamped, StoredLine<'_>),
) -> Result<(), Failure> {
    if plan.rest() > after {
        each_before_the_rest(daemon, plan, &mut take)?;
    }
    let after = plan.rest().max(after);
    lines::each_with(daemon, after, line::decode, |line, decoded| {
        let (stamped, _) = lines::understood(daemon, decoded)?;
        take(&stamped, line);
        Ok(ControlFlow::Continue(()))
    })
    .map(drop)
}

/// Gives the entries of the plan to `take` that the index chose.
pub(in crate::cli) fn each_before_the_rest(
    daemon: &DaemonConfig,
    plan: &Plan,
    mut take: impl FnMut(&Stamped, StoredLine<'_>),
) -> Result<(), Failure> {
    let mut ranges = plan.ranges();
    while let Some(line) = ranges
        .next_line()
        .map_err(|error| lines::unreadable(daemon, &error))?
    {
        let line = StoredLine {
            seq: line.seq,
            bytes: &line.bytes,
        };
        take(&lines::decoded(daemon, line)?, line);
    }
    Ok(())
}
