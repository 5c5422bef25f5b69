//! A job with what came out of its series, as a line of `tallyjaw jobs --json`.

use super::armed::JobMessage;
use crate::entry::{Completed, Outcome};
use crate::quantity::WallMicros;
use crate::spec::Job;
use serde::Serialize;

/// Whether an accepted series has reservations.
pub fn is_reserved(completed: &Completed) -> bool {
    completed.outcome == Outcome::Accepted && !completed.reservations().is_empty()
}

/// A job, and what came out of its series.
#[derive(Debug, Serialize)]
pub struct JobSeries {
    /// `job`.
    pub kind: &'static str,
    /// The job, as it was said last.
    pub job: JobMessage,
    /// How many series were started for it.
    pub series: usize,
    /// How many of them were accepted, with reservations or without.
    pub accepted: usize,
    /// How many of the accepted have reservations.
    pub accepted_with_reservations: usize,
    /// How many were rejected.
    pub rejected: usize,
    /// How many could not be decided.
    pub undecided: usize,
    /// How many were stopped early.
    pub cut_short: usize,
    /// How many were measured without limits.
    pub measured: usize,
    /// How many are open.
    pub open: usize,
    /// When the last series was opened.
    pub last: String,
    /// The same.
    #[serde(skip)]
    pub last_at: WallMicros,
}

impl JobSeries {
    /// Of a job without a series yet.
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

    /// Adds a series, how it was closed, and when it was opened. What was said last of a job holds; a serial number is of
    /// one harness.
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
