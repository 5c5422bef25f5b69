//! Reads only the lines that some series need, with the index.
//!
//! A missing index is made first, if it may be written: then no later command needs to read the whole journal. A user
//! who may not write the state folder works without it.

use super::{Filter, lines};
use crate::cli::Failure;
use crate::cli::progress::Progress;
use crate::config::DaemonConfig;
use crate::entry::{Seq, Stamped, line};
use crate::index::{Index, Lacking, Plan};
use crate::journal::{JournalError, StoredLine};
use crate::workers::Workers;
use memchr::memmem::Finder;
use std::collections::BTreeSet;
use std::ops::ControlFlow;

/// A plan of fewer entries is always followed, whatever part of the journal they are.
const FEW: u64 = 10_000;
/// A plan of a larger part of the journal is not followed, because reading everything is faster than seeking.
const PART: u64 = 4;

/// The index of the journal; empty if it cannot be read. The error then shows when the journal is read.
pub(in crate::cli) fn index(daemon: &DaemonConfig) -> Index {
    let (state_dir, durable) = (&daemon.state_dir, lines::durable_end(daemon));
    let open = || Index::open(state_dir, durable).unwrap_or_else(|_| Index::none(state_dir));
    let index = open();
    if !index.is_lacking() {
        return index;
    }
    let Ok(Some(lacking)) = Lacking::find(state_dir, durable) else {
        return index;
    };
    let mut progress = Progress::of_bytes("indexing the journal", lacking.bytes());
    lacking.make_all(|bytes| progress.advance(bytes));
    open()
}

/// The series that may have a matching reading: the named ones, or all that the index does not exclude.
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

/// The plan for reading all matching readings; with `loose`, also those that belong to no series.
pub(in crate::cli) fn plan_of_readings(
    daemon: &DaemonConfig,
    filter: &Filter<'_>,
    loose: bool,
) -> Plan {
    if filter.is_empty() {
        return Plan::of_everything(&daemon.state_dir);
    }
    let mut index = index(daemon);
    let series = candidates(&mut index, filter);
    let loose = loose && filter.may_be_loose();
    let plan = index.plan_of_readings(&series, |earliest, latest| {
        loose && filter.times(earliest, latest)
    });
    if plan.entries() > FEW && plan.entries() > index.up_to().0 / PART {
        return Plan::of_everything(&daemon.state_dir);
    }
    plan
}

/// Gives every durable entry of the plan to `take`, with its line.
pub(in crate::cli) fn each(
    daemon: &DaemonConfig,
    plan: &Plan,
    take: impl FnMut(&Stamped, StoredLine<'_>),
) -> Result<(), Failure> {
    each_after(daemon, plan, Seq(0), take)
}

/// Gives every durable entry that can be about one series to `take`, which says when no later entry can change it. From there
/// on only lines are parsed that have its number in them.
pub(in crate::cli) fn each_of_series(
    daemon: &DaemonConfig,
    series: Seq,
    mut take: impl FnMut(&Stamped) -> ControlFlow<()>,
) -> Result<(), Failure> {
    let plan = index(daemon).plan(&BTreeSet::from([series]));
    let plan = plan.starting_at(series);
    let mut last = Seq(0);
    each_with(daemon, &plan, last, line::decode, |line, decoded| {
        let (stamped, _) = lines::understood(daemon, decoded)?;
        last = line.seq;
        Ok(take(&stamped))
    })?;
    let number = Number::new(series);
    let work = |line: &[u8]| number.is_in(line).then(|| line::decode(line));
    each_with(daemon, &plan, last, work, |_, decoded| {
        if let Some(decoded) = decoded {
            let (stamped, _) = lines::understood(daemon, decoded)?;
            let _ = take(&stamped);
        }
        Ok(ControlFlow::Continue(()))
    })
}

/// A number, as every writer of JSON writes it, whatever the order of fields. A line without it does not name the series.
struct Number {
    digits: String,
    finder: Finder<'static>,
}

impl Number {
    fn new(Seq(number): Seq) -> Self {
        let digits = number.to_string();
        Self {
            finder: Finder::new(&digits).into_owned(),
            digits,
        }
    }

    fn is_in(&self, line: &[u8]) -> bool {
        let is_digit = |at: Option<usize>| {
            let byte = at.and_then(|at| line.get(at));
            byte.is_some_and(u8::is_ascii_digit)
        };
        let mut found = self.finder.find_iter(line);
        found.any(|at| !is_digit(at.checked_sub(1)) && !is_digit(Some(at + self.digits.len())))
    }
}

/// As [`each`], after entry `after`; no requested series begins before it.
pub(in crate::cli) fn each_after(
    daemon: &DaemonConfig,
    plan: &Plan,
    after: Seq,
    mut take: impl FnMut(&Stamped, StoredLine<'_>),
) -> Result<(), Failure> {
    each_with(daemon, plan, after, line::decode, |line, decoded| {
        let (stamped, _) = lines::understood(daemon, decoded)?;
        take(&stamped, line);
        Ok(ControlFlow::Continue(()))
    })
}

/// Gives every durable line of the plan after entry `after` to `take`, with the result of `work`, as
/// [`lines::each_with`] does.
pub(in crate::cli) fn each_with<W: Send>(
    daemon: &DaemonConfig,
    plan: &Plan,
    after: Seq,
    work: impl Fn(&[u8]) -> W + Sync,
    take: impl FnMut(StoredLine<'_>, W) -> Result<ControlFlow<()>, Failure>,
) -> Result<(), Failure> {
    each_between(
        daemon,
        plan,
        (after, lines::durable_end(daemon)),
        work,
        take,
    )
}

fn each_between<W: Send>(
    daemon: &DaemonConfig,
    plan: &Plan,
    (after, last): (Seq, Seq),
    work: impl Fn(&[u8]) -> W + Sync,
    take: impl FnMut(StoredLine<'_>, W) -> Result<ControlFlow<()>, Failure>,
) -> Result<(), Failure> {
    let failed = |error: JournalError| lines::unreadable(daemon, &error);
    let mut planned = plan.lines(after, last).map_err(failed)?;
    let ahead = planned.bytes_ahead().map_err(failed)?;
    let next = |buffer| planned.next_block(buffer);
    lines::each_block(daemon, ahead, Workers::of_machine(), next, work, take)
}

/// Gives the entries that the index chose to `take`.
pub(in crate::cli) fn each_before_the_rest(
    daemon: &DaemonConfig,
    plan: &Plan,
    mut take: impl FnMut(&Stamped, StoredLine<'_>),
) -> Result<(), Failure> {
    let all = (Seq(0), plan.rest());
    each_between(daemon, plan, all, line::decode, |line, decoded| {
        let (stamped, _) = lines::understood(daemon, decoded)?;
        take(&stamped, line);
        Ok(ControlFlow::Continue(()))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_found_whole_and_not_within_another() {
        let number = Number::new(Seq(37));
        let has = |line: &str| number.is_in(line.as_bytes());
        assert!(has(r#"{"series":37}"#) && has(r#"{"a":137,"b":[ 37 ]}"#) && has("37"));
        assert!(!has(r#"{"series":137,"seq":370,"of":3}"#) && !has(""));
    }
}
