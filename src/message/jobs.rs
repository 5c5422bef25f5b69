//! A job with the outcomes of its series, as a line of `tallyjaw jobs --json`.

use super::armed::JobMessage;
use crate::entry::{Completed, Outcome};
use crate::quantity::WallMicros;
use crate::spec::Job;
use serde::Serialize;

/// Whether an accepted series has reservations.
pub fn is_reserved(completed: &Completed) -> bool {
    completed.outcome == Outcome::Accepted && !completed.reservations().is_empty()
}

/// A job with the outcomes of its series.
#[derive(Debug, Serialize)]
pub struct JobSeries {
    /// `job`.
    pub kind: &'static str,
    /// The job with its details, as they were set last.
    pub job: JobMessage,
    /// Number of series that were started for it.
    pub series: usize,
    /// Number of accepted series, with or without reservations.
    pub accepted: usize,
    /// Number of accepted series with reservations.
    pub accepted_with_reservations: usize,
    /// Number of rejected series.
    pub rejected: usize,
    /// Number of undecided series.
    pub undecided: usize,
    /// Number of series that were stopped early.
    pub cut_short: usize,
    /// Number of series that were measured without limits.
    pub measured: usize,
    /// Number of open series.
    pub open: usize,
    /// Time at which the last series was opened, RFC 3339 in UTC.
    pub last: String,
    /// The same time.
    #[serde(skip)]
    pub last_at: WallMicros,
}

impl JobSeries {
    /// A job without series yet.
    pub fn new(job: &Job) -> Self {
        Self {
            kind: "job",
            job: JobMessage::new(job),
            series: 0,
            accepted: 0,
            accepted_with_reservations: 0,
            rejected: 0,
            undecided: 0,
            cut_short: 0,
            measured: 0,
            open: 0,
            last: String::new(),
            last_at: WallMicros(i64::MIN),
        }
    }

    /// Adds a series that was opened at this time, with its closing entry. Details of the job that were set last
    /// replace earlier ones; the serial number is left out, because it belongs to one harness.
    pub fn add(&mut self, closed: Option<&Completed>, opened: WallMicros, job: &Job) {
        self.series += 1;
        self.accepted_with_reservations += usize::from(closed.is_some_and(is_reserved));
        *match closed.map(|completed| completed.outcome) {
            None => &mut self.open,
            Some(Outcome::Accepted) => &mut self.accepted,
            Some(Outcome::Rejected) => &mut self.rejected,
            Some(Outcome::Undecided) => &mut self.undecided,
            Some(Outcome::CutShort) => &mut self.cut_short,
            Some(Outcome::Measured) => &mut self.measured,
        } += 1;
        self.job = JobMessage {
            serial: None,
            ..JobMessage::new(job)
        };
        self.last_at = opened;
        self.last = self.last_at.to_string();
    }
}
