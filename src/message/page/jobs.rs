//! The jobs and lots to choose from at a station.
//!
//! In: the configuration, and the entries so far. Out: the jobs, those in use last first, and the lots in use last.

use crate::entry::{Entry, SaidEntry, SeriesEntry, Stamped};
use crate::message::armed::JobMessage;
use crate::spec::{Catalog, Job, Material};
use serde::Serialize;

/// Maximum number of jobs outside the list, and of lots of a material, that are remembered.
const REMEMBERED_MOST: usize = 8;

/// Jobs and lots to choose from.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JobsMessage {
    /// Jobs, those in use last first; then those of the list in its order.
    pub jobs: Vec<JobChoice>,
    /// Whether the configuration has a list of jobs, so that an id outside it is taken with a warning.
    pub has_list: bool,
    /// Lots of terminals, the one in use last first.
    pub terminal_lots: Vec<String>,
    /// Lots of wire, the one in use last first.
    pub wire_lots: Vec<String>,
}

/// A job to choose.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JobChoice {
    /// The job, without the serial number of a harness.
    #[serde(flatten)]
    pub job: JobMessage,
    /// Ids of the plans that measure it, where the list names some.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub plans: Vec<String>,
}

/// The jobs and lots in use last.
#[derive(Debug, Default)]
pub(super) struct Choices {
    jobs: Vec<Job>,
    terminal_lots: Vec<String>,
    wire_lots: Vec<String>,
}

impl Choices {
    pub(super) fn apply(&mut self, stamped: &Stamped) {
        match &stamped.entry {
            Entry::Said(SaidEntry::JobSaid(said)) => self.remember_job(said.job.as_ref()),
            Entry::Said(SaidEntry::LotSaid(said)) => {
                self.remember_lot(said.material, said.lot.as_ref());
            }
            Entry::Series(SeriesEntry::Armed(spec)) => {
                self.remember_job(spec.job.as_ref());
                for material in Material::ALL {
                    self.remember_lot(material, spec.lots.of(material));
                }
            }
            Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_)
            | Entry::Series(_)
            | Entry::Production(_) => {}
        }
    }

    fn remember_job(&mut self, job: Option<&Job>) {
        let Some(job) = job else { return };
        self.jobs.retain(|known| known.id != job.id);
        let job = Job {
            serial: None, // belongs to one harness
            ..job.clone()
        };
        self.jobs.insert(0, job);
        self.jobs.truncate(REMEMBERED_MOST);
    }

    fn remember_lot(&mut self, material: Material, lot: Option<&String>) {
        let Some(lot) = lot else { return };
        let lots = match material {
            Material::Terminal => &mut self.terminal_lots,
            Material::Wire => &mut self.wire_lots,
        };
        lots.retain(|known| known != lot);
        lots.insert(0, lot.clone());
        lots.truncate(REMEMBERED_MOST);
    }

    /// The jobs of `catalog` and those in use last.
    pub(super) fn message(&self, catalog: &Catalog) -> JobsMessage {
        let listed = catalog.jobs.iter().flatten();
        let used = self.jobs.iter();
        let used = used.map(|job| match catalog.job(&job.id) {
            Some(known) => (&known.job, known.plans.as_slice()),
            None => (job, [].as_slice()),
        });
        let others = listed.filter(|known| !self.jobs.iter().any(|job| job.id == known.job.id));
        let others = others.map(|known| (&known.job, known.plans.as_slice()));
        let jobs = used.chain(others).map(|(job, plans)| JobChoice {
            job: JobMessage::new(job),
            plans: plans.to_vec(),
        });
        JobsMessage {
            jobs: jobs.collect(),
            has_list: catalog.jobs.is_some(),
            terminal_lots: self.terminal_lots.clone(),
            wire_lots: self.wire_lots.clone(),
        }
    }
}
