//! Reads only the lines that some series need, by the index.
//!
//! The index is made first where it is missing and may be written: once it is there, no later command needs to read
//! all. A command of somebody who may not write the state folder works without.

use super::{Filter, lines};
use crate::cli::Failure;
use crate::cli::progress::Progress;
use crate::config::DaemonConfig;
use crate::entry::Seq;
use crate::index::{Index, Lacking, Plan};
use crate::journal::Line;
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

/// Gives every durable line of the plan to `take`, until that breaks off.
pub(in crate::cli) fn each(
    daemon: &DaemonConfig,
    plan: &Plan,
    take: impl FnMut(&Line) -> Result<ControlFlow<()>, Failure>,
) -> Result<(), Failure> {
    each_after(daemon, plan, Seq(0), take)
}

/// The same, with the lines after entry `after` only, where no series began before it.
pub(in crate::cli) fn each_after(
    daemon: &DaemonConfig,
    plan: &Plan,
    after: Seq,
    mut take: impl FnMut(&Line) -> Result<ControlFlow<()>, Failure>,
) -> Result<(), Failure> {
    if plan.rest() > after && each_before_the_rest(daemon, plan, &mut take)?.is_break() {
        return Ok(());
    }
    lines::each(daemon, plan.rest().max(after), take).map(drop)
}

/// Gives the lines of the plan to `take` that the index chose.
pub(in crate::cli) fn each_before_the_rest(
    daemon: &DaemonConfig,
    plan: &Plan,
    mut take: impl FnMut(&Line) -> Result<ControlFlow<()>, Failure>,
) -> Result<ControlFlow<()>, Failure> {
    let mut ranges = plan.ranges();
    while let Some(line) = ranges
        .next_line()
        .map_err(|error| lines::unreadable(daemon, &error))?
    {
        if take(&line)?.is_break() {
            return Ok(ControlFlow::Break(()));
        }
    }
    Ok(ControlFlow::Continue(()))
}
