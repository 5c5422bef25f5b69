//! What pieces are for and made of: the job and the lots of a station.
//!
//! - All are kept at the station until something else is said; a restart changes nothing.
//! - A job stays the same within a series, a lot may change: from that entry on readings are of the new one.
//! - What is not said of a job is taken from the shop's list, else from what was said of the same job before.
//! - A job that the list does not have is taken, with a warning.

use super::{Core, Refusal};
use crate::entry::state::{SeriesState, StationState};
use crate::entry::{JobSaid, LotSaid, Seq};
use crate::quantity::{Now, nearest};
use crate::spec::job::{LONGEST_ID, LONGEST_WORDS, WrongWords, job_id, words};
use crate::spec::{ArmedSpec, Ask, Catalog, Job, Material, Plan};

impl Core {
    /// What the pieces are for from here on.
    pub(super) fn say_job(
        &mut self,
        now: Now,
        station: String,
        job: Option<Job>,
    ) -> Result<Seq, Refusal> {
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

    /// With what the list, or somebody before, says of it.
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
            serial: said.serial, // of one harness, not of the job
            id: said.id,
        }
    }

    /// Which reel or spool is in use from here on.
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

/// A job as it is kept.
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

/// That the list has no such job, where there is a list.
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

/// Refuses a plan that asks for what was not said.
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

/// Puts into `spec` what was said of job and lots, with what looks wrong.
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

/// A series is resumed for the job that it was armed for.
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
