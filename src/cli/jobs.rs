//! `tallyjaw jobs`: exit 0, 1 if the journal has no series of the job, 4 if the journal cannot be read.

use super::columns::Columns;
use super::query::indexed;
use super::{Context, Exit, Failure, card, configured, pager};
use crate::clock;
use crate::config::DaemonConfig;
use crate::entry::Outcome;
use crate::entry::history::{History, Listed};
use crate::entry::words::safe;
use crate::index::{Index, Plan};
use crate::message::jobs::{JobSeries, is_reserved};
use crate::message::series::SeriesMessage;
use crate::spec::Job;
use anstyle::Style;
use std::collections::HashMap;
use std::io::Write;
use std::rc::Rc;

/// List the jobs of the journal, or the series of one job with their outcomes
///
/// A job is listed as soon as a series was started for it; `tallyjaw job` sets it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw jobs\n  tallyjaw jobs 4711\n  tallyjaw jobs 4711 --json\n  tallyjaw series --job 4711 --outcome rejected"
)]
pub(super) struct Jobs {
    /// The number of the job [default: all jobs]
    #[arg(value_name = "JOB")]
    id: Option<String>,
}

const HEADINGS: [&str; 8] = [
    "job", "customer", "item", "series", "accepted", "rejected", "open", "last",
];
const SERIES: [&str; 8] = [
    "series",
    "opened",
    "serial",
    "plan",
    "terminal lot",
    "wire lot",
    "outcome",
    "readings",
];

impl Jobs {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let daemon = configured::daemon_of(context)?;
        let mut index = indexed::index(&daemon);
        if let Some(id) = &self.id {
            let is_it = |job: Option<&str>| job == Some(id);
            let mut series = index.unknown();
            index.each_row(|row| series.extend(is_it(row.facts.job.as_deref()).then_some(row.id)));
            let mut listed = Vec::new();
            let plan = index.plan(&series);
            each(&daemon, &plan, is_it, |one| listed.push(one))?;
            listed.sort_by_key(|one| one.series.id);
            return one(id, &listed, context, out);
        }
        let jobs = match known(&daemon, &mut index)? {
            Some(jobs) => jobs,
            // The index is wrong.
            None => known(&daemon, &mut Index::none(&daemon.state_dir))?.unwrap_or_default(),
        };
        all(&jobs, context, out)
    }
}

/// Gives the series of these jobs to `take`, from the lines of a plan.
fn each(
    daemon: &DaemonConfig,
    plan: &Plan,
    is_wanted: impl Fn(Option<&str>) -> bool,
    mut take: impl FnMut(Listed),
) -> Result<(), Failure> {
    let mut history = History::default();
    let is_it =
        |one: &Listed| plan.has(one.series.id) && is_wanted(job_of(one).map(|job| &*job.id));
    indexed::each(daemon, plan, |stamped, _| {
        history
            .take(stamped)
            .into_iter()
            .filter(is_it)
            .for_each(&mut take);
    })?;
    history.finish().into_iter().filter(is_it).for_each(take);
    Ok(())
}

/// All jobs with the outcomes of their series; `None` if the index turns out to be wrong.
fn known(daemon: &DaemonConfig, index: &mut Index) -> Result<Option<Vec<JobSeries>>, Failure> {
    let mut series = Vec::new();
    let mut closings = Vec::new();
    let mut last: Option<Rc<Job>> = None;
    index.each_row(|row| {
        let Some(job) = row.facts.job() else { return };
        let job = match last.take().filter(|last| **last == job) {
            Some(last) => last,
            None => Rc::new(job),
        };
        last = Some(Rc::clone(&job));
        closings.push(row.closing);
        series.push((row.id, job, row.times.opened, None));
    });
    let mut closed = series.iter_mut();
    let are_there = index.each_closing(&closings, |completed| {
        if let Some((.., of_it)) = closed.next() {
            *of_it = Some(completed);
        }
    });
    let up_to = index.up_to();
    let unknown = index.unknown();
    let plan = index.plan(&unknown);
    if !are_there || plan.rest() != up_to {
        return Ok(None);
    }
    each(
        daemon,
        &plan,
        |job| job.is_some(),
        |one| {
            let Some(job) = job_of(&one).cloned() else {
                return;
            };
            let closed = one.series.closed.map(|closed| closed.completed);
            series.push((one.series.id, Rc::new(job), one.series.opened, closed));
        },
    )?;
    series.sort_by_key(|(id, ..)| *id);
    let mut jobs: Vec<JobSeries> = Vec::new();
    let mut places: HashMap<String, usize> = HashMap::new();
    for (_, job, opened, closed) in &series {
        let next = jobs.len();
        let at = *places.entry(job.id.clone()).or_insert(next);
        if at == next {
            jobs.push(JobSeries::new(job));
        }
        if let Some(known) = jobs.get_mut(at) {
            known.add(closed.as_ref(), *opened, job);
        }
    }
    jobs.sort_by_key(|job| std::cmp::Reverse(job.last_at));
    Ok(Some(jobs))
}

/// The addition to a count of accepted series: how many of them have reservations.
fn with_reservations(of_them: usize) -> String {
    match of_them {
        0 => String::new(),
        some => format!(" ({some} with reservations)"),
    }
}

fn job_of(listed: &Listed) -> Option<&Job> {
    listed.series.spec.job.as_ref()
}

fn all(jobs: &[JobSeries], context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
    if context.json {
        for job in jobs {
            out.write_all(&crate::message::line(job))?;
        }
        return Ok(Exit::Yes);
    }
    if jobs.is_empty() {
        writeln!(
            out,
            "no series of a job yet; set one before a start: tallyjaw job 4711"
        )?;
        return Ok(Exit::Yes);
    }
    let zone = clock::zone();
    let mut table = Columns::new(&HEADINGS);
    for line in jobs {
        let cells = [
            safe(&line.job.id),
            line.job.customer.as_deref().map(safe).unwrap_or_default(),
            line.job.item.as_deref().map(safe).unwrap_or_default(),
            line.series.to_string(),
            format!(
                "{}{}",
                line.accepted,
                with_reservations(line.accepted_with_reservations)
            ),
            line.rejected.to_string(),
            line.open.to_string(),
            line.last_at.local_minute(&zone),
        ];
        table.styled(cells.map(|text| (text, Style::new())).into());
    }
    let mut text = Vec::new();
    table.write(&mut text)?;
    pager::show(&text, out)?;
    Ok(Exit::Yes)
}

fn one(
    id: &str,
    listed: &[Listed],
    context: &Context,
    out: &mut dyn Write,
) -> Result<Exit, Failure> {
    if context.json {
        for one in listed {
            out.write_all(&crate::message::line(&SeriesMessage::new(one)))?;
        }
        return Ok(if listed.is_empty() {
            Exit::No
        } else {
            Exit::Yes
        });
    }
    let Some(job) = listed.last().and_then(job_of) else {
        writeln!(
            out,
            "no series of job {}; list the jobs: tallyjaw jobs",
            safe(id)
        )?;
        return Ok(Exit::No);
    };
    let job = Job {
        serial: None,
        ..job.clone()
    };
    let mut text = Vec::new();
    writeln!(text, "{}", safe(&crate::entry::words::job(&job)))?;
    let zone = clock::zone();
    let mut table = Columns::new(&SERIES);
    for one in listed {
        table.styled(cells(one, &zone));
    }
    table.write(&mut text)?;
    let accepted = listed.iter().filter(|one| {
        let closed = one.series.closed.as_ref();
        closed.is_some_and(|closed| closed.completed.outcome == Outcome::Accepted)
    });
    let accepted = accepted.count();
    let closed = listed.iter().filter_map(|one| one.series.closed.as_ref());
    let reserved = closed.filter(|closed| is_reserved(&closed.completed));
    let reserved = with_reservations(reserved.count());
    writeln!(text, "{accepted} of {} accepted{reserved}", listed.len())?;
    pager::show(&text, out)?;
    Ok(Exit::Yes)
}

fn cells(listed: &Listed, zone: &crate::quantity::Zone) -> Vec<(String, Style)> {
    use crate::spec::Material;
    let message = SeriesMessage::new(listed);
    let series = &listed.series;
    let serial = job_of(listed).and_then(|job| job.serial.as_deref());
    let lots = |material| safe(&series.lots_of(material).join(", "));
    let outcome = message.outcome.unwrap_or("open");
    let plain = [
        message.series.to_string(),
        series.opened.local_minute(zone),
        serial.map(safe).unwrap_or_default(),
        message.armed.plan.as_deref().map(safe).unwrap_or_default(),
        lots(Material::Terminal),
        lots(Material::Wire),
    ];
    let mut cells: Vec<_> = plain.map(|text| (text, Style::new())).into();
    let words = format!("{}{}", outcome.replace('_', " "), message.beside());
    cells.push((words, card::outcome_style(outcome)));
    cells.push((crate::entry::words::tally(message.tally), Style::new()));
    cells
}
