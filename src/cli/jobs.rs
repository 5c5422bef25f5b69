//! `tallyjaw jobs`: exit 0, 1 if the journal has no series of the job, 4 if the journal cannot be read.

use super::columns::Columns;
use super::query::lines;
use super::{Context, Exit, Failure, card, client, pager};
use crate::daemon::clock;
use crate::entry::history::{History, Listed};
use crate::entry::words::safe;
use crate::entry::{Outcome, Seq};
use crate::message::jobs::{JobSeries, is_reserved};
use crate::message::series::SeriesMessage;
use crate::spec::Job;
use anstyle::Style;
use std::io::Write;
use std::ops::ControlFlow;

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
        let daemon = client::daemon_of(context)?;
        let mut listed: Vec<Listed> = Vec::new();
        let mut history = History::default();
        lines::each(&daemon, Seq(0), |line| {
            listed.extend(history.take(&lines::decoded(&daemon, line)?));
            Ok(ControlFlow::Continue(()))
        })?;
        listed.extend(history.finish());
        listed.retain(|one| one.series.spec.job.is_some());
        listed.sort_by_key(|one| one.series.id);
        match &self.id {
            None => all(&listed, context, out),
            Some(id) => one(id, &listed, context, out),
        }
    }
}

/// Behind a count of accepted series; a count alone would say more than its outcomes do.
fn with_reservations(of_them: usize) -> String {
    match of_them {
        0 => String::new(),
        some => format!(" ({some} with reservations)"),
    }
}

fn job_of(listed: &Listed) -> Option<&Job> {
    listed.series.spec.job.as_ref()
}

fn all(listed: &[Listed], context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
    let mut jobs: Vec<JobSeries> = Vec::new();
    for one in listed {
        let Some(job) = job_of(one) else { continue };
        if let Some(known) = jobs.iter_mut().find(|known| known.job.id == job.id) {
            known.add(one, job);
        } else {
            let mut line = JobSeries::new(job);
            line.add(one, job);
            jobs.push(line);
        }
    }
    jobs.sort_by_key(|job| std::cmp::Reverse(job.last_at));
    if context.json {
        for job in &jobs {
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
    for line in &jobs {
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
    let of_it = listed.iter();
    let of_it = of_it.filter(|one| job_of(one).is_some_and(|job| job.id == id));
    let of_it: Vec<&Listed> = of_it.collect();
    if context.json {
        for one in &of_it {
            out.write_all(&crate::message::line(&SeriesMessage::new(one)))?;
        }
        return Ok(if of_it.is_empty() {
            Exit::No
        } else {
            Exit::Yes
        });
    }
    let Some(job) = of_it.last().and_then(|one| job_of(one)) else {
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
    for listed in &of_it {
        table.styled(cells(listed, &zone));
    }
    table.write(&mut text)?;
    let accepted = of_it.iter().filter(|one| {
        let closed = one.series.closed.as_ref();
        closed.is_some_and(|closed| closed.completed.outcome == Outcome::Accepted)
    });
    let accepted = accepted.count();
    let closed = of_it.iter().filter_map(|one| one.series.closed.as_ref());
    let reserved = with_reservations(closed.filter(|closed| is_reserved(closed)).count());
    writeln!(text, "{accepted} of {} accepted{reserved}", of_it.len())?;
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
