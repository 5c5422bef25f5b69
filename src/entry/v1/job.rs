//! The job of pieces, as an entry and a state hold it.

use crate::spec::Job;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A job with its details.
#[derive(Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Job")]
pub(super) struct JobFields {
    /// The shop's number of the job.
    id: String,
    /// The customer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    customer: Option<String>,
    /// The harness: part number and revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    item: Option<String>,
    /// The serial number of the harness in hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    serial: Option<String>,
    /// The customer's own number of the order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reference: Option<String>,
}

impl From<&Job> for JobFields {
    fn from(job: &Job) -> Self {
        Self {
            id: job.id.clone(),
            customer: job.customer.clone(),
            item: job.item.clone(),
            serial: job.serial.clone(),
            reference: job.reference.clone(),
        }
    }
}

impl From<JobFields> for Job {
    fn from(body: JobFields) -> Self {
        Self {
            id: body.id,
            customer: body.customer,
            item: body.item,
            serial: body.serial,
            reference: body.reference,
        }
    }
}
