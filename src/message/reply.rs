//! Answers on the control socket: JSON-RPC 2.0 results and errors.

use super::armed::ArmedMessage;
use super::catalog::CatalogMessage;
use super::picture::PictureMessage;
use super::request::RequestId;
use super::setup::{ChangeMessage, SetupMessage};
use super::state::StateMessage;
pub use super::token::{NewToken, TokenList, TokenMessage, TokenRevoked};
use crate::entry::seal::KeyInUse;
use crate::texts::{Texts, gather};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Codes of errors. Those below −32000 are defined by JSON-RPC.
pub mod code {
    /// The line is not JSON.
    pub const PARSE: i64 = -32_700;
    /// The line is JSON, but not a request.
    pub const INVALID_REQUEST: i64 = -32_600;
    /// There is no such method.
    pub const UNKNOWN_METHOD: i64 = -32_601;
    /// The parameters do not fit the method.
    pub const INVALID_PARAMS: i64 = -32_602;
    /// The station refused the command; nothing has changed.
    pub const REFUSED: i64 = -32_000;
    /// The journal can no longer be written, so nothing is acknowledged.
    pub const JOURNAL_FAILED: i64 = -32_001;
    /// The disk is full; nothing counts until there is room.
    pub const JOURNAL_FULL: i64 = -32_002;
    /// The new configuration has errors; the old one stays in force.
    pub const CONFIG: i64 = -32_003;
    /// The daemon is stopping or serves as many clients as it can, or too many requests wait for its disk.
    pub const BUSY: i64 = -32_004;
}

/// Why a request was not carried out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorObject {
    /// A JSON-RPC error code, one of [`code`].
    pub code: i64,
    /// What was found and what was expected.
    pub message: String,
    /// Remedy, place and details.
    #[serde(default, skip_serializing_if = "ErrorData::is_empty")]
    pub data: Box<ErrorData>,
}

/// Details of an error.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ErrorData {
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// JSON pointer of the value in the request that the error is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// All faults with their places, if there are several.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub details: Vec<String>,
    /// Message and remedy as keys of the page's table of texts, where it has them.
    #[serde(default, skip_serializing_if = "Texts::is_empty")]
    pub texts: Texts,
}

impl ErrorData {
    fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

impl ErrorObject {
    /// An error with its remedy, if there is one.
    pub fn new(code: i64, message: impl Into<String>, remedy: Option<String>) -> Self {
        let message = message.into();
        let mut texts = Texts::new();
        gather(
            &mut texts,
            std::iter::once(&*message).chain(remedy.as_deref()),
        );
        Self {
            code,
            message,
            data: Box::new(ErrorData {
                remedy,
                texts,
                ..ErrorData::default()
            }),
        }
    }
}

/// The answer to every other command that enters something: `disarm`, `retract`, `restore`, `resume`, `look`, `pulled`,
/// `note`, `operator`, `tool`, `job`, `lot`, `crimps`, `settle`, `zero`, `ask`, `adapter` and `revoke`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Done {
    /// `seq` of the entry that records the command. It is durable.
    pub seq: u64,
    /// What looks wrong and was accepted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warning: Option<String>,
}

/// The answer to `arm`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Armed {
    /// `seq` of the `armed` entry, which is also the number of the series. It is durable.
    pub seq: u64,
    /// Name of the station in the configuration.
    pub station: String,
    /// The series, with its warnings.
    pub armed: ArmedMessage,
    /// Next action for the operator, in words.
    pub prompt: String,
}

/// The answer to `reload`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Reload {
    /// `seq` of the `started` entry with the new configuration. It is durable.
    pub seq: u64,
    /// SHA-256 of the files now in force, hex.
    pub config_digest: String,
}

/// The answer to `status`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Status {
    /// Version of the daemon.
    pub version: String,
    /// Identity of the journal.
    pub journal: String,
    /// `seq` of the oldest entry.
    pub first: u64,
    /// State of the journal: `ok`, `stalled` (its disk does not answer), `full` or `failed`.
    pub journal_health: String,
    /// Number of frames that were not judged because nothing can be recorded; left out while the journal is `ok`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unjudged_frames: Option<u64>,
    /// Seconds since the disk has last answered; left out while it answers.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stalled_seconds: Option<u64>,
    /// Address and port of the bench page; left out if none is served.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub page: Option<String>,
    /// Where tablets connect; left out if they may not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tablet: Option<TabletStatus>,
    /// State that follows from the durable entries.
    pub state: StateMessage,
    /// Instruments whose port cannot be opened, or has a problem while open.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub troubles: Vec<Trouble>,
    /// Folders of pictures that have a problem.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub folders: Vec<FolderTrouble>,
    /// The signing key that the journal names, and how far its seals reach; left out before the first one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signing_key: Option<KeyInUse>,
    /// Why outcomes are not sealed; left out while they are, and where no signing key was ever made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key_trouble: Option<KeyTrouble>,
    /// State of each sink.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sinks: Vec<SinkStatus>,
}

/// Where tablets connect, and how many are paired.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct TabletStatus {
    /// Address and port.
    pub listen: String,
    /// The fingerprint of the certificate, as browsers show it.
    pub sha256: String,
    /// Number of paired tablets.
    pub paired: usize,
}

/// The answer to `pair`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Pairing {
    /// The name that the tablet gets.
    pub tablet: String,
    /// Addresses at which the tablet may reach the page, the most likely first.
    pub addresses: Vec<String>,
    /// The code, which pairs one device, once.
    pub code: String,
    /// When the code expires, UTC, RFC 3339.
    pub expires_at: String,
    /// The fingerprint of the certificate, as browsers show it.
    pub sha256: String,
}

/// The answer to `tablets`.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct Tablets {
    /// The paired tablets, by name.
    pub tablets: Vec<TabletMessage>,
}

/// A paired tablet.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct TabletMessage {
    /// Its name.
    pub tablet: String,
    /// When it was paired, UTC, RFC 3339.
    pub paired_at: String,
    /// When it was last used, UTC, RFC 3339, to about ten minutes; left out if never.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used_at: Option<String>,
}

/// State of a sink.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SinkStatus {
    /// Its name.
    pub sink: String,
    /// Its kind: `log`, `mqtt`, `parquet`, `postgres`, `timestamp` or `webhook`.
    pub kind: String,
    /// Number of the last entry that the sink has delivered, or that a time stamp covers; 0 before the first.
    pub after: u64,
    /// Number of durable entries that the sink has not delivered yet.
    pub behind: u64,
    /// Number of failed attempts since the daemon started.
    pub failures: u64,
    /// Number of failures that are over, since the daemon started.
    #[serde(default)]
    pub recoveries: u64,
    /// Current failure; left out while the sink works.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub failing: Option<SinkFailure>,
    /// The last failure that is over, since the daemon started; left out if there was none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recovered: Option<SinkRecovery>,
}

/// Failure of a sink that is over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SinkRecovery {
    /// Time of its first failed attempt, RFC 3339 in UTC.
    pub since: String,
    /// Time at which the sink took entries again, RFC 3339 in UTC.
    pub until: String,
    /// Number of failed attempts.
    pub tries: u64,
    /// Error of the last of them.
    pub error: String,
}

impl SinkStatus {
    /// The state of a sink before its first attempt.
    pub fn new(sink: &str, kind: &str) -> Self {
        Self {
            sink: sink.to_owned(),
            kind: kind.to_owned(),
            after: 0,
            behind: 0,
            failures: 0,
            recoveries: 0,
            failing: None,
            recovered: None,
        }
    }
}

/// Failure of a sink that lasts.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SinkFailure {
    /// Time of the first failed attempt, RFC 3339 in UTC.
    pub since: String,
    /// Number of failed attempts since then.
    pub tries: u64,
    /// Error of the latest attempt.
    pub error: String,
    /// What to do.
    pub remedy: String,
}

/// Problem with an instrument's port.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Trouble {
    /// Name of the instrument in the configuration.
    pub instrument: String,
    /// What was found and what was expected.
    pub message: String,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
}

/// Problem with the folder in which a station's pictures are left.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FolderTrouble {
    /// Name of the station in the configuration.
    pub station: String,
    /// What was found and what was expected.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// Problem with the signing key.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct KeyTrouble {
    /// What was found and what was expected.
    pub message: String,
    /// What to do.
    pub remedy: String,
}

/// Result of a request.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Outcome {
    /// Answer to `arm`.
    Armed(Box<Armed>),
    /// Answer to every other command that enters something.
    Done(Done),
    /// Answer to `picture`.
    Pictured(PictureMessage),
    /// Answer to `reload`.
    Reload(Reload),
    /// Answer to `status`.
    Status(Box<Status>),
    /// Answer to `catalog`.
    Catalog(Box<CatalogMessage>),
    /// Answer to `pair`: the pairing code.
    Pairing(Box<Pairing>),
    /// Answer to `tablets`: the paired ones.
    Tablets(Tablets),
    /// Answer to `token_add`.
    Token(NewToken),
    /// Answer to `tokens`.
    Tokens(TokenList),
    /// Answer to `token_revoke`.
    TokenRevoked(TokenRevoked),
    /// To the page: what can be set up.
    #[schemars(skip)]
    Setup(Box<SetupMessage>),
    /// To the page: what a change comes to.
    #[schemars(skip)]
    Change(Box<ChangeMessage>),
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

/// The line that answers request `id`. The id is null if it could not be read.
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

/// The line that answers a batch: its answers in a list.
pub fn batch(answers: &[Vec<u8>]) -> Vec<u8> {
    let answers: Vec<&[u8]> = answers.iter().map(|line| line.trim_ascii_end()).collect();
    [b"[", &*answers.join(&b','), b"]\n"].concat()
}
