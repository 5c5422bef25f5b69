//! What the control socket answers: JSON-RPC 2.0 results and errors.

use super::armed::ArmedMessage;
use super::catalog::CatalogMessage;
use super::request::RequestId;
use super::state::StateMessage;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The codes of errors; those under −32000 are JSON-RPC's own.
pub mod code {
    /// The line is not JSON.
    pub const PARSE: i64 = -32_700;
    /// JSON, but no request.
    pub const INVALID_REQUEST: i64 = -32_600;
    /// There is no such method.
    pub const UNKNOWN_METHOD: i64 = -32_601;
    /// The parameters are not those of the method.
    pub const INVALID_PARAMS: i64 = -32_602;
    /// The station says no; nothing has changed.
    pub const REFUSED: i64 = -32_000;
    /// The journal can no longer be written: nothing is acknowledged.
    pub const JOURNAL_FAILED: i64 = -32_001;
    /// The disk is full: nothing counts until there is room.
    pub const JOURNAL_FULL: i64 = -32_002;
    /// The new configuration is faulty; the old one stays in force.
    pub const CONFIG: i64 = -32_003;
    /// The daemon is stopping, has more clients than it serves, or its disk does not answer and no more may wait.
    pub const BUSY: i64 = -32_004;
}

/// Why a request was not carried out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorObject {
    /// A JSON-RPC error code, one of [`code`].
    pub code: i64,
    /// What was got and what was expected.
    pub message: String,
    /// What goes with it.
    #[serde(default, skip_serializing_if = "ErrorData::is_empty")]
    pub data: ErrorData,
}

/// What goes with an error.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorData {
    /// What a person can do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// The value of the request that it is about, as a JSON pointer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// Every fault with its place, where there are several.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub details: Vec<String>,
}

impl ErrorData {
    fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

impl ErrorObject {
    /// With a remedy, if there is one.
    pub fn new(code: i64, message: impl Into<String>, remedy: Option<String>) -> Self {
        Self {
            code,
            message: message.into(),
            data: ErrorData {
                remedy,
                ..ErrorData::default()
            },
        }
    }
}

/// The answer to `disarm`, `retract`, `restore`, `resume`, `note`, `operator`, `tool`, `job`, `lot`
/// and `zero`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Done {
    /// The entry that says so; it is durable.
    pub seq: u64,
    /// What looks wrong and was taken all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warning: Option<String>,
}

/// The answer to `arm`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Armed {
    /// The `armed` entry; it is durable, and its number is the series's.
    pub seq: u64,
    /// Name of the station in the configuration.
    pub station: String,
    /// What is measured and judged by, with its warnings.
    pub armed: ArmedMessage,
    /// What to do next.
    pub prompt: String,
}

/// The answer to `reload`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Reload {
    /// The `started` entry of the new configuration; it is durable.
    pub seq: u64,
    /// SHA-256 of the files now in force.
    pub config_digest: String,
}

/// The answer to `status`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// The daemon's version.
    pub version: String,
    /// The journal's name.
    pub journal: String,
    /// The oldest entry.
    pub first: u64,
    /// How the journal is: `ok`, `stalled` (its disk does not answer), `full` or `failed`.
    pub journal_health: String,
    /// While nothing can be recorded: how many frames were not judged so far.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unjudged_frames: Option<u64>,
    /// While the disk does not answer: for how many whole seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stalled_seconds: Option<u64>,
    /// Where the bench page is served: address and port.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub page: Option<String>,
    /// What the durable entries amount to.
    pub state: StateMessage,
    /// Instruments whose port cannot be opened, and why; or what is odd about an open one.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub troubles: Vec<Trouble>,
    /// What reads the journal and puts it somewhere else, and how each is doing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sinks: Vec<SinkStatus>,
}

/// How a sink is doing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SinkStatus {
    /// Its name.
    pub sink: String,
    /// Its kind: `log`, `mqtt` or `parquet`.
    pub kind: String,
    /// The number of the last entry that has arrived there; 0 before the first.
    pub after: u64,
    /// How many durable entries have not arrived there yet.
    pub behind: u64,
    /// How many tries have failed since the daemon started.
    pub failures: u64,
    /// Present while it fails.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failing: Option<SinkFailure>,
}

impl SinkStatus {
    /// Of a sink that was not tried yet.
    pub fn new(sink: &str, kind: &str) -> Self {
        Self {
            sink: sink.to_owned(),
            kind: kind.to_owned(),
            after: 0,
            behind: 0,
            failures: 0,
            failing: None,
        }
    }
}

/// Why nothing arrives at a sink.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SinkFailure {
    /// When the first of these tries failed, UTC, RFC 3339.
    pub since: String,
    /// How many tries have failed since then.
    pub tries: u64,
    /// What the last of them got and what it expected.
    pub error: String,
    /// What a person can do about it.
    pub remedy: String,
}

/// Why an instrument's port cannot be opened, or what is odd about an open one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Trouble {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// What was got and what was expected.
    pub message: String,
    /// What a person can do about it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

/// What a request came to.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Outcome {
    /// To `arm`.
    Armed(Box<Armed>),
    /// To `disarm`, `retract`, `restore`, `resume`, `note`, `operator`, `tool`, `job`, `lot`, `zero`.
    Done(Done),
    /// Answer to `reload`: which files were read.
    Reload(Reload),
    /// Answer to `status`: journal, ports and stations.
    Status(Box<Status>),
    /// Answer to `catalog`: what can be armed.
    Catalog(Box<CatalogMessage>),
}

#[derive(Serialize)]
struct ResultForm<'a> {
    jsonrpc: &'static str,
    id: &'a RequestId,
    result: &'a Outcome,
}

#[derive(Serialize)]
struct ErrorForm<'a> {
    jsonrpc: &'static str,
    id: &'a RequestId,
    error: &'a ErrorObject,
}

/// The line that answers the request `id`; an `id` that could not be read is null.
pub fn line(id: &RequestId, outcome: &Result<Outcome, ErrorObject>) -> Vec<u8> {
    let jsonrpc = "2.0";
    match outcome {
        Ok(result) => super::line(&ResultForm {
            jsonrpc,
            id,
            result,
        }),
        Err(error) => super::line(&ErrorForm { jsonrpc, id, error }),
    }
}
