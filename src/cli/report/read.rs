//! Reads the entries that a report is made from.

use super::lines;
use crate::cli::Failure;
use crate::cli::query::{Filter, Query, ReadingKeys, indexed};
use crate::cli::runs;
use crate::config::DaemonConfig;
use crate::entry::line::{Digest, decode};
use crate::entry::production::history::RunRecord;
use crate::entry::{Entry, Seq, SeriesEntry, Stamped};
use crate::report::check::{Difference, Overlooked};
use crate::report::{Collecting, Gathered, Gathering, Lines, Made, Record, ReportReading};
use std::ops::ControlFlow;
use std::sync::Arc;

/// The entries of all series that the query chooses.
pub(super) fn chosen(daemon: &DaemonConfig, query: &Query) -> Result<Gathered, Failure> {
    let filter = query.filter()?;
    let mut index = indexed::index(daemon);
    let candidates = indexed::candidates(&mut index, &filter);
    let plan = index.plan_of_reports(&candidates);
    let mut gathering = Gathering::new(|id, _, spec| plan.has(id) && filter.series(id, spec));
    indexed::each(daemon, &plan, |stamped, line| {
        gathering.take(stamped, Digest::of(line.bytes));
    })?;
    let mut gathered = gathering.finish().ok_or_else(|| {
        Failure::usage("the journal has no entry yet").with_remedy("`tallyjaw serve` begins one")
    })?;
    let known = |id: &&u64| !gathered.known.contains(&Seq(**id));
    if let Some(missing) = query.series.iter().find(known) {
        let mut known = index.ids();
        known.extend(gathered.known.iter().filter(|id| **id > index.up_to()));
        return Err(no_series(*missing, &known));
    }
    gathered.series.retain(|record| matches(filter, record));
    if gathered.series.is_empty() {
        return Err(
            Failure::usage("no series in the journal matches these options")
                .with_remedy("list them: tallyjaw series"),
        );
    }
    let left_out = |id: &&u64| {
        gathered
            .series
            .iter()
            .all(|record| record.series.id.0 != **id)
    };
    if let Some(other) = query.series.iter().find(left_out) {
        return Err(
            Failure::usage(format!("series {other} does not match the other options"))
                .with_remedy("leave the other options out, or name other series"),
        );
    }
    Ok(gathered)
}

/// The entries of a production run and of its samples.
pub(super) fn of_run(daemon: &DaemonConfig, run: u64) -> Result<Gathered, Failure> {
    let gathering = Gathering::new(|_, _, spec| spec.sample.is_some());
    let mut gathering = gathering.with_run(Some(Seq(run)));
    each(daemon, |stamped, digest| gathering.take(stamped, digest))?;
    let gathered = gathering.finish();
    let mut gathered = gathered.ok_or_else(|| runs::unknown(run))?;
    let samples = samples_of(gathered.run.as_ref().ok_or_else(|| runs::unknown(run))?);
    gathered
        .series
        .retain(|record| samples.contains(&record.series.id));
    Ok(gathered)
}

/// The state of the whole journal, without any series.
pub(super) fn of_all(daemon: &DaemonConfig) -> Result<Gathered, Failure> {
    let mut gathering = Gathering::new(|_, _, _| false).with_state(true);
    each(daemon, |stamped, digest| gathering.take(stamped, digest))?;
    gathering.finish().ok_or_else(|| {
        Failure::usage("the journal has no entry yet").with_remedy("`tallyjaw serve` begins one")
    })
}

/// Gives every entry to `take`, with the digest of its line.
fn each(daemon: &DaemonConfig, mut take: impl FnMut(&Stamped, Digest)) -> Result<(), Failure> {
    let work = |line: &[u8]| (decode(line), Digest::of(line));
    lines::each_with(daemon, Seq(0), work, |_, (decoded, digest)| {
        take(&lines::understood(daemon, decoded)?.0, digest);
        Ok(ControlFlow::Continue(()))
    })
    .map(drop)
}

/// The journal's lines for a checkable page; `None` for a page without a series.
pub(in crate::cli) fn lines_of(
    daemon: &DaemonConfig,
    gathered: &Gathered,
) -> Result<Option<Arc<Lines>>, Failure> {
    let Some(mut collecting) = Collecting::of(gathered) else {
        return Ok(None);
    };
    lines::each(daemon, collecting.after(), |line| {
        let stamped = lines::decoded(daemon, line)?;
        Ok(if collecting.take(&stamped, line.bytes) {
            ControlFlow::Continue(())
        } else {
            ControlFlow::Break(())
        })
    })?;
    let lines = collecting.finish().map_err(|error| {
        Failure::usage(error.to_string()).with_remedy("choose fewer series, nearer to each other")
    })?;
    Ok(Some(Arc::new(lines)))
}

fn samples_of(run: &RunRecord) -> Vec<Seq> {
    run.samples.iter().map(|sample| sample.series).collect()
}

/// Whether any reading of the series matches, if the query depends on readings.
fn matches(filter: Filter<'_>, record: &Record) -> bool {
    if !filter.asks_of_readings() {
        return true;
    }
    ReportReading::all(record).any(|row| {
        let axis = row.slot().map_or("", |slot| slot.axis.as_str());
        let operator = row.operator.as_deref();
        let shown = ReadingKeys {
            axis,
            instrument: &row.reading.instrument,
            operator,
            lots: record.series.lots(row.seq),
        };
        filter.reading(&shown) && filter.time(row.at)
    })
}

/// The entries of an existing report, read again.
pub(in crate::cli) struct Again {
    /// Everything up to the last entry that the report includes.
    pub(in crate::cli) gathered: Gathered,
    /// Where the query gives other series than the report has.
    pub(in crate::cli) differences: Vec<Difference>,
    /// Number of later entries, and of those about its series.
    pub(in crate::cli) since: (u64, u64),
}

/// Reads again, from the same range of entries, what an existing report was made from.
pub(in crate::cli) fn again(daemon: &DaemonConfig, made: &Made) -> Result<Again, Failure> {
    let Some(query) = Query::of_options(&made.query) else {
        let query = Query::default();
        let mut again = again_by(daemon, made, &query, false)?;
        again.differences.push(Difference {
            about: "chosen by: options that this release does not know, or not so".to_owned(),
            reported: Some(words(&made.query)),
            journal: None,
        });
        return Ok(again);
    };
    again_by(daemon, made, &query, !made.query.is_empty())
}

fn again_by(
    daemon: &DaemonConfig,
    made: &Made,
    query: &Query,
    is_chosen: bool,
) -> Result<Again, Failure> {
    let filter = query.filter()?;
    let gathering = Gathering::new(|id, _, spec| {
        made.series.contains(&id) || is_chosen && filter.series(id, spec)
    });
    let mut gathering = gathering
        .with_run(made.run)
        .with_state(made.qualified.is_some());
    let mut overlooked = Overlooked::new(made.at);
    let mut since = (0, 0);
    lines::each(daemon, Seq(0), |line| {
        let stamped = lines::decoded(daemon, line)?;
        if line.seq <= made.last {
            gathering.take(&stamped, Digest::of(line.bytes));
            return Ok(ControlFlow::Continue(()));
        }
        since.0 += 1;
        let is_about = stamped
            .series()
            .is_some_and(|series| made.series.contains(&series));
        let is_about = is_about || made.run.is_some() && stamped.entry.run() == made.run;
        let closes = matches!(
            &stamped.entry,
            Entry::Series(SeriesEntry::Completed(_) | SeriesEntry::Resumed(_))
        );
        let is_about = is_about || made.qualified.is_some() && closes;
        since.1 += u64::from(is_about);
        overlooked.take(&stamped, is_about);
        Ok(ControlFlow::Continue(()))
    })?;
    let mut gathered = gathering
        .finish()
        .ok_or_else(|| Failure::usage("the journal has no entry yet"))?;
    overlooked.last((gathered.last, gathered.last_at));
    let missing = made.series.iter().filter(|id| !gathered.known.contains(id));
    let mut differences: Vec<Difference> = missing
        .map(|id| one(format!("series {id}"), true))
        .collect();
    for record in &gathered.series {
        let id = record.series.id;
        let is_in = made.series.contains(&id);
        let is_asked =
            !is_chosen || filter.series(id, &record.series.spec) && matches(filter, record);
        if is_asked && !is_in {
            let about = format!("series {id}, which is of what the report was chosen by");
            differences.push(one(about, false));
        } else if is_in && !is_asked {
            let about = format!("series {id}, which is not of what the report was chosen by");
            differences.push(one(about, true));
        }
    }
    differences.extend(of_the_run(made, &gathered));
    differences.extend(overlooked.found());
    gathered
        .series
        .retain(|record| made.series.contains(&record.series.id));
    Ok(Again {
        gathered,
        differences,
        since,
    })
}

/// Differences between the samples of the run and those of the report, or that there is no such run.
fn of_the_run(made: &Made, gathered: &Gathered) -> Vec<Difference> {
    let Some(wanted) = made.run else {
        return Vec::new();
    };
    let Some(run) = &gathered.run else {
        return vec![one(format!("run {wanted}"), true)];
    };
    let samples = samples_of(run);
    let reported = made.series.iter();
    let reported = reported.filter(|series| !samples.contains(series));
    let reported = reported.map(|series| (series, true));
    let left_out = samples
        .iter()
        .filter(|series| !made.series.contains(series));
    let all = reported.chain(left_out.map(|series| (series, false)));
    all.map(|(series, is_reported)| {
        one(
            format!("series {series}, as a sample of run {wanted}"),
            is_reported,
        )
    })
    .collect()
}

/// A difference for a series that only one side has.
fn one(about: String, is_reported: bool) -> Difference {
    let has = |has: bool| has.then(|| "a series".to_owned());
    Difference {
        about,
        reported: has(is_reported),
        journal: has(!is_reported),
    }
}

fn words(text: &[(String, String)]) -> String {
    let words = text
        .iter()
        .map(|(option, value)| format!("{option} {value}"));
    words.collect::<Vec<_>>().join(" ")
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
