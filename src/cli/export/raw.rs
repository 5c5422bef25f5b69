//! The journal's own lines.
//!
//! - Where nothing is asked for, all of them.
//! - Where only a time is, all of that time.
//! - Where more is, those about the series that match; of their readings those that match.

use super::target::{Target, not_written};
use super::{Export, Written};
use crate::cli::Failure;
use crate::cli::query::{Filter, Reached, lines};
use crate::config::DaemonConfig;
use crate::entry::{Entry, OperatorSaid, SaidEntry, Seq, SeriesEntry, Stamped};
use crate::export::Mark;
use crate::spec::ArmedSpec;
use std::collections::BTreeMap;
use std::io::Write as _;
use std::ops::ControlFlow;

/// Which lines.
struct Chosen<'q> {
    filter: Filter<'q>,
    /// For each station the series that was armed last, if it matches, and who measures in it.
    armed: BTreeMap<String, (Seq, Option<String>)>,
}

/// Writes what was asked for.
pub(super) fn write(
    export: &Export,
    daemon: &DaemonConfig,
    mark: Option<&Mark>,
    mut target: Target,
) -> Result<(Written, Target), Failure> {
    let filter = export.query.filter()?;
    let (after, from) = mark.map_or((filter.after(), filter.after()), |mark| {
        (Seq(mark.after), Seq(mark.from))
    });
    let mut chosen = Chosen {
        filter,
        armed: BTreeMap::new(),
    };
    let mut count = 0;
    let last = lines::each(daemon, from, |line| {
        let wanted = filter.is_empty() || chosen.takes(&lines::decoded(daemon, line)?);
        if wanted && line.seq > after {
            count += 1;
            target.write_all(&line.bytes).map_err(not_written)?;
            target.write_all(b"\n").map_err(not_written)?;
        }
        Ok(ControlFlow::Continue(()))
    })?;
    let open = chosen.armed.values().map(|(id, _)| *id).min();
    let reached = Reached { last, open };
    Ok((Written { count, reached }, target))
}

impl Chosen<'_> {
    fn takes(&mut self, stamped: &Stamped) -> bool {
        let matches = if let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry {
            self.armed(stamped.seq, spec)
        } else if let Entry::Said(SaidEntry::OperatorSaid(OperatorSaid {
            station, operator, ..
        })) = &stamped.entry
        {
            if let Some(armed) = self.armed.get_mut(station) {
                armed.1 = Some(operator.clone());
            }
            self.is_about_one(stamped)
        } else {
            self.is_about_one(stamped)
        };
        (matches || self.filter.is_empty_but_for_time()) && self.filter.time(stamped.at)
    }

    fn armed(&mut self, id: Seq, spec: &ArmedSpec) -> bool {
        let matches = self.filter.series(id, spec);
        if matches {
            let armed = (id, spec.operator.clone());
            self.armed.insert(spec.station.clone(), armed);
        } else {
            self.armed.remove(&spec.station);
        }
        matches
    }

    /// Whether an entry is about a series that matches; of a reading, whether it does.
    fn is_about_one(&self, stamped: &Stamped) -> bool {
        let reading = stamped.entry.reading();
        let Some(id) = stamped.series() else {
            return reading.is_some_and(|reading| self.filter.loose(stamped.at, reading));
        };
        let Some((_, operator)) = self.armed.values().find(|(armed, _)| *armed == id) else {
            return false;
        };
        let slot = reading.and_then(|reading| Some((reading, reading.slot.as_ref()?)));
        slot.is_none_or(|(reading, slot)| {
            let axis = slot.axis.as_str();
            self.filter
                .reading(axis, &reading.instrument, operator.as_deref())
        })
    }
}
