//! The parameters of each method of the control socket but `arm`.

use crate::spec::Material;
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
    /// The shop's number of the job; none if the last one is over.
    pub(super) job: Option<String>,
    /// For whom.
    pub(super) customer: Option<String>,
    /// The harness: part number and revision.
    pub(super) item: Option<String>,
    /// The serial number of the harness in hand.
    pub(super) serial: Option<String>,
    /// The customer's own number of the order.
    pub(super) reference: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LotForm {
    pub(super) station: Option<String>,
    /// What it is a lot of.
    pub(super) material: Material,
    /// The lot; none if it is not known.
    pub(super) lot: Option<String>,
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
