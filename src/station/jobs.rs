//! What pieces are for and made of: the job and the lots of a station.
//!
//! - They stay in force until changed; a restart keeps them.
//! - A job stays the same within a series. A lot may change: readings after that entry belong to the new lot.
//! - Missing details of a job come from the shop's list, otherwise from what was given for the same job earlier.
//! - A job that the list lacks is accepted with a warning.

use super::{Core, Refusal};
use crate::entry::state::{SeriesState, StationState};
use crate::entry::{JobSaid, LotSaid, Seq};
use crate::quantity::{Now, nearest};
use crate::spec::job::{LONGEST_ID, LONGEST_WORDS, WrongWords, job_id, words};
use crate::spec::{ArmedSpec, Ask, Catalog, Job, Material, Plan};

impl Core {
    /// Sets the job of a station.
    pub(super) fn say_job(
        &mut self,
        now: Now,
        station: Option<String>,
        job: Option<Job>,
    ) -> Result<Seq, Refusal> {
        let station = self.station_named(station)?;
        let job = job.map(checked).transpose()?;
        let job = job.map(|job| self.completed_job(&station, job));
        let series = self.series(&station);
        if let Some(series) = series.filter(|series| series.spec.job != job) {
            return Err(Refusal::OtherJob {
                got: job.map(Box::new),
                want: series.spec.job.clone().map(Box::new),
                series: series.id,
            });
        }
        let said = JobSaid {
            series: series.map(|series| series.id),
            station,
            warning: job.as_ref().and_then(|job| unknown(&self.catalog, job)),
            job,
        };
        Ok(self.append(now, said))
    }

    /// Adds the details that the list or an earlier entry gives.
    fn completed_job(&self, station: &str, said: Job) -> Job {
        let here = self.state.stations.get(station).into_iter();
        let before = here.chain(self.state.stations.values());
        let before = before.filter_map(|known| known.job.as_ref());
        let known = self.catalog.job(&said.id).map(|known| &known.job);
        let known = known.into_iter().chain(before);
        let known: Vec<&Job> = known.filter(|known| known.id == said.id).collect();
        let first = |said: Option<String>, of: fn(&Job) -> &Option<String>| {
            said.or_else(|| known.iter().find_map(|known| of(known).clone()))
        };
        Job {
            customer: first(said.customer, |job| &job.customer),
            item: first(said.item, |job| &job.item),
            reference: first(said.reference, |job| &job.reference),
            serial: said.serial, // belongs to one harness and not to the job
            id: said.id,
        }
    }

    /// Sets the reel or spool in use.
    pub(super) fn say_lot(
        &mut self,
        now: Now,
        station: String,
        material: Material,
        lot: Option<&str>,
    ) -> Result<Seq, Refusal> {
        let lot = lot.map(|lot| {
            words(lot, LONGEST_ID).map_err(|why| Refusal::Said {
                what: match material {
                    Material::Terminal => "terminal lot",
                    Material::Wire => "wire lot",
                },
                got: lot.to_owned(),
                why,
            })
        });
        let said = LotSaid {
            series: self.series(&station).map(|series| series.id),
            station,
            material,
            lot: lot.transpose()?,
        };
        Ok(self.append(now, said))
    }
}

/// Checks a job and returns it without blanks around its texts.
fn checked(job: Job) -> Result<Job, Refusal> {
    let refuse = |what: &'static str, got: &str, why: WrongWords| Refusal::Said {
        what,
        got: got.to_owned(),
        why,
    };
    let about = |what: &'static str, text: Option<String>| {
        let text =
            text.map(|text| words(&text, LONGEST_WORDS).map_err(|why| refuse(what, &text, why)));
        text.transpose()
    };
    Ok(Job {
        id: job_id(&job.id).map_err(|why| refuse("job", &job.id, why))?,
        customer: about("customer", job.customer)?,
        item: about("item", job.item)?,
        serial: about("serial number", job.serial)?,
        reference: about("reference", job.reference)?,
    })
}

/// The warning about a job that the list lacks; `None` without a list.
fn unknown(catalog: &Catalog, job: &Job) -> Option<String> {
    let jobs = catalog.jobs.as_ref()?;
    if catalog.job(&job.id).is_some() {
        return None;
    }
    let known = jobs.iter().map(|known| known.job.id.as_str());
    let near = nearest(&job.id, known).map(|near| format!(": did you mean {near}?"));
    let near = near.unwrap_or_default();
    Some(format!("job {} is not in the list of jobs{near}", job.id))
}

/// Refuses a plan that requires information that was not given.
pub(super) fn all_said(
    plan: &Plan,
    station: Option<&StationState>,
    operator: Option<&str>,
) -> Result<(), Refusal> {
    let is_said = |ask: &Ask| match ask {
        Ask::Operator => operator.is_some(),
        Ask::Job => station.is_some_and(|known| known.job.is_some()),
        Ask::TerminalLot => station.is_some_and(|known| known.lots.terminal.is_some()),
        Ask::WireLot => station.is_some_and(|known| known.lots.wire.is_some()),
        Ask::Tool => station.is_some_and(|known| known.tool.is_some()),
    };
    let asks = plan.asks.iter().copied();
    let missing: Vec<Ask> = asks.filter(|ask| !is_said(ask)).collect();
    if missing.is_empty() {
        return Ok(());
    }
    Err(Refusal::NotSaid { missing })
}

/// Adds job and lots to `spec`, with warnings about them.
pub(super) fn add(spec: &mut ArmedSpec, catalog: &Catalog, station: Option<&StationState>) {
    let Some(station) = station else { return };
    spec.lots = station.lots.clone();
    spec.job.clone_from(&station.job);
    let Some(job) = &spec.job else { return };
    spec.warnings.extend(unknown(catalog, job));
    let plans = catalog.job(&job.id).map(|known| known.plans.as_slice());
    let plans = plans.filter(|plans| !plans.is_empty());
    if let (Some(plan), Some(plans)) = (&spec.plan, plans)
        && !plans.contains(plan)
    {
        spec.warnings.push(format!(
            "job {} is measured by {}, this is {plan}",
            job.id,
            plans.join(", ")
        ));
    }
}

/// Refuses to resume a series that was armed for another job.
pub(super) fn same(station: Option<&StationState>, stopped: &SeriesState) -> Result<(), Refusal> {
    let job = station.and_then(|station| station.job.clone());
    if job == stopped.spec.job {
        return Ok(());
    }
    Err(Refusal::OtherJob {
        got: job.map(Box::new),
        want: stopped.spec.job.clone().map(Box::new),
        series: stopped.id,
    })
}
