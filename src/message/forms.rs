//! The parameters of each method of the control socket, except `arm`.

use crate::entry::Answer;
use crate::spec::{Material, PullMode, Settlement};
use schemars::JsonSchema;
use serde::Deserialize;

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct NoForm {}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct StationForm {
    pub(super) station: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct RetractForm {
    pub(super) station: Option<String>,
    pub(super) seq: Option<u64>,
    pub(super) reason: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LookForm {
    pub(super) station: Option<String>,
    pub(super) look: u32,
    pub(super) piece: Option<u32>,
    pub(super) answer: Answer,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PulledForm {
    pub(super) station: Option<String>,
    pub(super) piece: Option<u32>,
    pub(super) mode: PullMode,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct OperatorForm {
    pub(super) station: Option<String>,
    pub(super) operator: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct ToolForm {
    pub(super) station: Option<String>,
    pub(super) tool: String,
    pub(super) nest: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct JobForm {
    pub(super) station: Option<String>,
    /// Number of the job in the shop; left out when the last job is finished.
    pub(super) job: Option<String>,
    /// Customer of the job.
    pub(super) customer: Option<String>,
    /// Part number and revision of the harness.
    pub(super) item: Option<String>,
    /// Serial number of the harness that is measured.
    pub(super) serial: Option<String>,
    /// Order number of the customer.
    pub(super) reference: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LotForm {
    pub(super) station: Option<String>,
    /// Material of the lot: terminal or wire.
    pub(super) material: Material,
    /// Number of the lot; left out if it is unknown.
    pub(super) lot: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CrimpsForm {
    pub(super) station: Option<String>,
    /// Number of crimps since the last count.
    pub(super) crimps: u32,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct SettleForm {
    pub(super) station: Option<String>,
    /// `seq` of the entry `held`; left out where only one is not settled.
    pub(super) held: Option<u64>,
    /// Number of its crimps; left out for all that are left.
    pub(super) crimps: Option<u64>,
    pub(super) settlement: Settlement,
    pub(super) reason: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct NoteForm {
    pub(super) station: Option<String>,
    pub(super) text: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct InstrumentForm {
    pub(super) station: Option<String>,
    pub(super) instrument: Option<String>,
}
