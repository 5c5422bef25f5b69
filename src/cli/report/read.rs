//! What a report is made of, out of the journal.

use super::lines;
use crate::cli::Failure;
use crate::cli::query::{Filter, Query};
use crate::config::DaemonConfig;
use crate::entry::Seq;
use crate::entry::history::series_of;
use crate::entry::line::Digest;
use crate::report::{Facts, Gathered, Gathering, Made, Record};
use clap::Parser as _;
use std::ops::ControlFlow;

/// Everything about the series that the query asks for.
pub(super) fn chosen(daemon: &DaemonConfig, query: &Query) -> Result<Gathered, Failure> {
    let filter = query.filter()?;
    let mut gathering = Gathering::new(|id, _, spec| filter.series(id, spec));
    lines::each(daemon, Seq(0), |line| {
        let stamped = lines::decoded(daemon, line)?;
        gathering.take(&stamped, Digest::of(&line.bytes));
        Ok(ControlFlow::Continue(()))
    })?;
    let mut gathered = gathering.finish().ok_or_else(|| {
        Failure::usage("the journal has no entry yet").with_remedy("`tallyjaw serve` begins one")
    })?;
    let known = |id: &&u64| !gathered.known.contains(&Seq(**id));
    if let Some(missing) = query.series.iter().find(known) {
        return Err(no_series(*missing, &gathered.known));
    }
    gathered
        .series
        .retain(|record| matches(query, filter, record));
    if gathered.series.is_empty() {
        return Err(
            Failure::usage("no series in the journal is of what was asked for")
                .with_remedy("list them: tallyjaw series"),
        );
    }
    let left_out = |id: &&u64| gathered.series.iter().all(|record| record.id.0 != **id);
    if let Some(other) = query.series.iter().find(left_out) {
        return Err(
            Failure::usage(format!("series {other} is none of what else was asked for"))
                .with_remedy("leave the other options out, or name other series"),
        );
    }
    Ok(gathered)
}

/// Whether any reading of a series matches, where the query asks for readings.
fn matches(query: &Query, filter: Filter<'_>, record: &Record) -> bool {
    let by_readings = query.axis.is_some()
        || query.instrument.is_some()
        || query.operator.is_some()
        || filter.is_timed();
    if !by_readings {
        return true;
    }
    Facts::of(record.clone()).readings.iter().any(|row| {
        let axis = row.slot().map_or("", |slot| slot.axis.as_str());
        let operator = row.operator.as_deref();
        filter.reading(axis, &row.reading.instrument, operator) && filter.time(row.at)
    })
}

/// What a report was made of, read once more.
pub(in crate::cli) struct Again {
    /// Everything up to the last entry that the report knew of.
    pub(in crate::cli) gathered: Gathered,
    /// Series that its query chooses and that it does not have.
    pub(in crate::cli) left_out: Vec<Seq>,
    /// How many entries came since, and how many of them are about its series.
    pub(in crate::cli) since: (u64, u64),
}

/// Reads what a report was made of once more, from the same range.
pub(in crate::cli) fn again(daemon: &DaemonConfig, made: &Made) -> Result<Again, Failure> {
    let query = asked(&made.query).ok_or_else(|| {
        Failure::usage("the report was chosen by options that this release does not know")
            .with_remedy("use the release that made it, or a newer one")
    })?;
    let filter = query.filter()?;
    let is_chosen = !made.query.is_empty();
    let mut gathering = Gathering::new(|id, _, spec| {
        made.series.contains(&id) || is_chosen && filter.series(id, spec)
    });
    let mut since = (0, 0);
    lines::each(daemon, Seq(0), |line| {
        let stamped = lines::decoded(daemon, line)?;
        if line.seq <= made.last {
            gathering.take(&stamped, Digest::of(&line.bytes));
            return Ok(ControlFlow::Continue(()));
        }
        since.0 += 1;
        if series_of(&stamped).is_some_and(|series| made.series.contains(&series)) {
            since.1 += 1;
        }
        Ok(ControlFlow::Continue(()))
    })?;
    let mut gathered = gathering
        .finish()
        .ok_or_else(|| Failure::usage("the journal has no entry yet"))?;
    let more = gathered
        .series
        .iter()
        .filter(|record| !made.series.contains(&record.id));
    let left_out = more.filter(|record| matches(&query, filter, record));
    let left_out: Vec<Seq> = left_out.map(|record| record.id).collect();
    gathered
        .series
        .retain(|record| made.series.contains(&record.id));
    Ok(Again {
        gathered,
        left_out,
        since,
    })
}

/// A query told by [`told`], again; `None` if an option is not known.
fn asked(told: &[(String, String)]) -> Option<Query> {
    /// The options alone.
    #[derive(Debug, clap::Parser)]
    struct Options {
        #[command(flatten)]
        query: Query,
    }
    let words = told
        .iter()
        .flat_map(|(option, value)| [option.as_str(), value.as_str()]);
    let parsed = Options::try_parse_from(std::iter::once("report").chain(words));
    parsed.ok().map(|options| options.query)
}

fn no_series(missing: u64, known: &[Seq]) -> Failure {
    const SHOWN: usize = 12;
    let failure = Failure::usage(format!("no series {missing} in this journal"));
    if known.is_empty() {
        return failure.with_remedy("there is none yet; `tallyjaw arm PLAN` opens one");
    }
    let last = known
        .get(known.len().saturating_sub(SHOWN)..)
        .unwrap_or(known);
    let last: Vec<String> = last.iter().map(ToString::to_string).collect();
    let more = if known.len() > SHOWN {
        "the last are"
    } else {
        "there are"
    };
    failure.with_remedy(format!(
        "{more} {}; list them: tallyjaw series",
        last.join(", ")
    ))
}

/// The options of a query, each with its value; none where series are named, for then nothing was chosen.
pub(super) fn told(query: &Query) -> Vec<(String, String)> {
    if !query.series.is_empty() {
        return Vec::new();
    }
    let text = |name: &str, value: &Option<String>| {
        value.as_ref().map(|value| (name.to_owned(), value.clone()))
    };
    [
        text("--axis", &query.axis),
        text("--terminal", &query.terminal),
        text("--wire", &query.wire),
        query
            .sizing
            .map(|sizing| ("--sizing".to_owned(), sizing.name().to_owned())),
        text("--tool", &query.tool),
        text("--nest", &query.nest),
        text("--operator", &query.operator),
        text("--instrument", &query.instrument),
        text("--station", &query.station),
        query
            .purpose
            .map(|purpose| ("--purpose".to_owned(), purpose.name().to_owned())),
        query
            .since
            .map(|since| ("--since".to_owned(), since.to_string())),
        query
            .until
            .map(|until| ("--until".to_owned(), until.to_string())),
    ]
    .into_iter()
    .flatten()
    .collect()
}
