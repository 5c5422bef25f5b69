//! Requests on the control socket: JSON-RPC 2.0, a request or a batch on each line.
//!
//! In: one line. Out: each [`Request`] in it, or the error to answer with. Whether a station can carry it out is decided by the
//! core.

use super::arm::arm;
use super::forms::{
    CrimpsForm, InstrumentForm, JobForm, LookForm, LotForm, NoForm, NoteForm, OperatorForm,
    PulledForm, RetractForm, SettleForm, StationForm, ToolForm,
};
pub use super::methods::METHODS;
use super::methods::no_method;
use super::picture::{self, PictureCall, PictureForm};
use super::reply::{ErrorObject, code};
use super::setup::ChangeRequest;
use super::tablet::{self, TabletCall};
use super::token::{self, TokenCall};
use crate::entry::Means;
use crate::spec::Job;
use crate::station::{Command, Settling};
use schemars::{Schema, SchemaGenerator};
use serde::de::DeserializeOwned;
use serde::{Serialize, Serializer};
use serde_json::value::RawValue;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// A JSON-RPC 2.0 request.
#[derive(Debug, Clone, PartialEq)]
pub struct Request {
    /// The id to repeat in the answer; `None` for a notification, which gets no answer.
    pub id: Option<RequestId>,
    /// The method with its parameters.
    pub call: Call,
}

/// The id of a request, kept as text so that the answer repeats it exactly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequestId(String);

impl RequestId {
    /// The id in the answer to a line whose id could not be read.
    pub fn null() -> Self {
        Self("null".to_owned())
    }

    /// Reads an id: a number, a string or null, as JSON-RPC 2.0 allows.
    fn read(raw: &RawValue) -> Option<Self> {
        let is_id = matches!(
            raw.get().as_bytes().first()?,
            b'0'..=b'9' | b'-' | b'"' | b'n'
        );
        is_id.then(|| Self(raw.get().to_owned()))
    }
}

impl Serialize for RequestId {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        RawValue::from_string(self.0.clone())
            .map_err(serde::ser::Error::custom)?
            .serialize(to)
    }
}

/// A method with its parameters.
#[derive(Debug, Clone, PartialEq)]
pub enum Call {
    /// A command to a station.
    Station(Command),
    /// `picture`: a picture, whose bytes follow the line.
    Picture(PictureCall),
    /// `status`: the current state.
    Status,
    /// `catalog`: stations, plans, sheets and tools.
    Catalog,
    /// `reload`: read the configuration again.
    Reload,
    /// A request about tablets.
    Tablet(TabletCall),
    /// About tokens of programs.
    Token(TokenCall),
    /// The configuration for the page. The control socket has no such method.
    Setup,
    /// Check or make a change of the configuration. Only the page has this.
    Change(Box<ChangeRequest>),
}

/// A line that is not a valid request, with the answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rejected {
    /// The id to answer with: null if it could not be read, `None` for a notification, which gets no answer.
    pub id: Option<RequestId>,
    /// The error to answer with.
    pub error: ErrorObject,
}

/// A request, or the answer to what is none.
pub type Parsed = Result<Request, Box<Rejected>>;

/// What one line of a client asks.
#[derive(Debug, Clone, PartialEq)]
pub enum Asked {
    /// One request.
    One(Parsed),
    /// A batch of them, in a list. Its answers are a list too; without any answer nothing is sent.
    Batch(Vec<Parsed>),
}

impl Asked {
    /// Reads one line of a client.
    pub fn parse(line: &[u8]) -> Self {
        if line.trim_ascii_start().first() != Some(&b'[') {
            return Self::One(Request::parse(line));
        }
        match serde_json::from_slice::<Vec<Box<RawValue>>>(line) {
            Err(error) => Self::One(Err(Box::new(not_json(&error)))),
            Ok(requests) if requests.is_empty() => Self::One(Err(Box::new(Rejected::new(
                code::INVALID_REQUEST,
                "got an empty batch, want at least one request".to_owned(),
                "send [{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"}], or the request without the list",
            )))),
            Ok(requests) => {
                let requests = requests.iter();
                let each = requests.map(|raw| Request::parse(raw.get().as_bytes()));
                Self::Batch(each.collect())
            }
        }
    }
}

fn not_json(error: &serde_json::Error) -> Rejected {
    Rejected::new(
        code::PARSE,
        format!("not JSON: {error}"),
        "send one JSON-RPC 2.0 request or batch a line",
    )
}

impl Request {
    /// Reads one request.
    pub fn parse(line: &[u8]) -> Parsed {
        let value: Value =
            serde_json::from_slice(line).map_err(|error| Box::new(not_json(&error)))?;
        let Value::Object(object) = value else {
            return Err(Box::new(Rejected::new(
                code::INVALID_REQUEST,
                format!("got {}, want an object", name_of(&value)),
                "send {\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"}",
            )));
        };
        // A `Value` would not keep how a number or string was written.
        let raw = serde_json::from_slice::<BTreeMap<String, Box<RawValue>>>(line);
        let raw = raw.map_err(|error| Box::new(not_json(&error)))?;
        let id = match raw.get("id").map(|raw| RequestId::read(raw)) {
            None => None,
            Some(Some(id)) => Some(id),
            Some(None) => {
                let got = object.get("id").map_or("nothing", name_of);
                return Err(Box::new(Rejected::new(
                    code::INVALID_REQUEST,
                    format!("id is {got}, want a number, a string or null"),
                    "number the requests: 1, 2, 3",
                )));
            }
        };
        match check_request(&object) {
            Err(error) => Err(Box::new(Rejected {
                id: Some(id.unwrap_or_else(RequestId::null)),
                error,
            })),
            // The line is a request from here on. Without an id it is a notification, which gets no answer.
            Ok(method) => match call(method, &object) {
                Ok(call) => Ok(Self { id, call }),
                Err(error) => Err(Box::new(Rejected { id, error })),
            },
        }
    }
}

impl Rejected {
    fn new(code: i64, message: String, remedy: &str) -> Self {
        Self {
            id: Some(RequestId::null()),
            error: ErrorObject::new(code, message, Some(remedy.to_owned())),
        }
    }
}

const fn name_of(value: &Value) -> &'static str {
    match value {
        Value::Null => "null",
        Value::Bool(_) => "a truth value",
        Value::Number(_) => "a number",
        Value::String(_) => "a string",
        Value::Array(_) => "a list",
        Value::Object(_) => "an object",
    }
}

/// The name of the method, if the object is a request: version 2.0, a method, and parameters in an object or list.
fn check_request(object: &Map<String, Value>) -> Result<&str, ErrorObject> {
    let invalid = |message: String, remedy: String| {
        ErrorObject::new(code::INVALID_REQUEST, message, Some(remedy))
    };
    if object.get("jsonrpc").and_then(Value::as_str) != Some("2.0") {
        return Err(invalid(
            "no \"jsonrpc\":\"2.0\" in the request".to_owned(),
            "send {\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"}".to_owned(),
        ));
    }
    let Some(method) = object.get("method").and_then(Value::as_str) else {
        return Err(invalid(
            "no method in the request, want a string".to_owned(),
            format!("one of {}", METHODS.join(", ")),
        ));
    };
    match object.get("params") {
        None | Some(Value::Object(_) | Value::Array(_)) => Ok(method),
        Some(other @ (Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_))) => {
            Err(invalid(
                format!("params are {}, want an object", name_of(other)),
                "name the parameters: {\"station\":\"bench-1\", …}".to_owned(),
            ))
        }
    }
}

fn call(method: &str, object: &Map<String, Value>) -> Result<Call, ErrorObject> {
    let params = object.get("params").cloned();
    match method {
        "arm" => arm(params),
        "disarm" | "retract" | "resume" | "restore" | "look" | "pulled" => {
            about_series(method, params)
        }
        "crimps" | "settle" => about_production(method, params),
        "operator" | "tool" | "job" | "lot" | "note" | "zero" | "adapter" | "ask" => {
            about_station(method, params)
        }
        "picture" => picture::call(params),
        "status" => read::<NoForm>(params).map(|_| Call::Status),
        "catalog" => read::<NoForm>(params).map(|_| Call::Catalog),
        "reload" => read::<NoForm>(params).map(|_| Call::Reload),
        "pair" | "revoke" | "tablets" => tablet::call(method, params),
        "token_add" | "token_revoke" | "tokens" => token::call(method, params),
        unknown => Err(no_method(unknown)),
    }
}

/// The methods about the open series of a station.
fn about_series(method: &str, params: Option<Value>) -> Result<Call, ErrorObject> {
    match method {
        "disarm" => {
            let StationForm { station } = read(params)?;
            Ok(Call::Station(Command::Disarm { station }))
        }
        "retract" => {
            let RetractForm {
                station,
                seq,
                reason,
            } = read(params)?;
            let seq = seq.map(crate::entry::Seq);
            let by = Means::Command;
            Ok(Call::Station(Command::Retract {
                station,
                seq,
                reason,
                by,
            }))
        }
        "resume" => {
            let StationForm { station } = read(params)?;
            let by = Means::Command;
            Ok(Call::Station(Command::Resume { station, by }))
        }
        "restore" => {
            let StationForm { station } = read(params)?;
            let by = Means::Command;
            Ok(Call::Station(Command::Restore { station, by }))
        }
        "look" => {
            let LookForm {
                station,
                look,
                piece,
                answer,
            } = read(params)?;
            let by = Means::Command;
            Ok(Call::Station(Command::Look {
                station,
                look,
                piece,
                answer,
                by,
            }))
        }
        "pulled" => {
            let PulledForm {
                station,
                piece,
                mode,
            } = read(params)?;
            let by = Means::Command;
            Ok(Call::Station(Command::Pulled {
                station,
                piece,
                mode,
                by,
            }))
        }
        unknown => Err(no_method(unknown)),
    }
}

/// The methods about crimps and production runs.
fn about_production(method: &str, params: Option<Value>) -> Result<Call, ErrorObject> {
    let by = Means::Command;
    Ok(Call::Station(match method {
        "crimps" => {
            let CrimpsForm { station, crimps } = read(params)?;
            Command::Crimps {
                station,
                crimps,
                by,
            }
        }
        "settle" => {
            let SettleForm {
                station,
                held,
                crimps,
                settlement,
                reason,
            } = read(params)?;
            let what = Settling {
                held: held.map(crate::entry::Seq),
                crimps,
                settlement,
                reason,
                by,
            };
            Command::Settle { station, what }
        }
        unknown => return Err(no_method(unknown)),
    }))
}

/// The methods about a station, whatever is measured there.
fn about_station(method: &str, params: Option<Value>) -> Result<Call, ErrorObject> {
    match method {
        "operator" => {
            let OperatorForm { station, operator } = read(params)?;
            Ok(Call::Station(Command::Operator { station, operator }))
        }
        "tool" => {
            let ToolForm {
                station,
                tool,
                nest,
            } = read(params)?;
            Ok(Call::Station(Command::Tool {
                station,
                tool,
                nest,
            }))
        }
        "job" => {
            let JobForm {
                station,
                job,
                customer,
                item,
                serial,
                reference,
            } = read(params)?;
            let job = job.map(|id| Job {
                id,
                customer,
                item,
                serial,
                reference,
            });
            Ok(Call::Station(Command::Job { station, job }))
        }
        "lot" => {
            let LotForm {
                station,
                material,
                lot,
            } = read(params)?;
            Ok(Call::Station(Command::Lot {
                station,
                material,
                lot,
            }))
        }
        "note" => {
            let NoteForm { station, text } = read(params)?;
            Ok(Call::Station(Command::Note { station, text }))
        }
        "zero" => {
            let InstrumentForm {
                station,
                instrument,
            } = read(params)?;
            Ok(Call::Station(Command::Zero {
                station,
                instrument,
            }))
        }
        "adapter" => {
            let InstrumentForm {
                station,
                instrument,
            } = read(params)?;
            let by = Means::Command;
            Ok(Call::Station(Command::Adapter {
                station,
                instrument,
                by,
            }))
        }
        "ask" => {
            let InstrumentForm {
                station,
                instrument,
            } = read(params)?;
            Ok(Call::Station(Command::Ask {
                station,
                instrument,
            }))
        }
        unknown => Err(no_method(unknown)),
    }
}

/// The parameters of each method except `arm`.
pub(super) fn schemas(generator: &mut SchemaGenerator) -> Vec<(&'static str, Schema)> {
    vec![
        ("disarm", generator.subschema_for::<StationForm>()),
        ("retract", generator.subschema_for::<RetractForm>()),
        ("resume", generator.subschema_for::<StationForm>()),
        ("restore", generator.subschema_for::<StationForm>()),
        ("look", generator.subschema_for::<LookForm>()),
        ("pulled", generator.subschema_for::<PulledForm>()),
        ("crimps", generator.subschema_for::<CrimpsForm>()),
        ("settle", generator.subschema_for::<SettleForm>()),
        ("picture", generator.subschema_for::<PictureForm>()),
        ("operator", generator.subschema_for::<OperatorForm>()),
        ("tool", generator.subschema_for::<ToolForm>()),
        ("job", generator.subschema_for::<JobForm>()),
        ("lot", generator.subschema_for::<LotForm>()),
        ("note", generator.subschema_for::<NoteForm>()),
        ("zero", generator.subschema_for::<InstrumentForm>()),
        ("adapter", generator.subschema_for::<InstrumentForm>()),
        ("ask", generator.subschema_for::<InstrumentForm>()),
        ("status", generator.subschema_for::<NoForm>()),
        ("catalog", generator.subschema_for::<NoForm>()),
        ("reload", generator.subschema_for::<NoForm>()),
    ]
}

/// Reads parameters by name. Missing parameters count as an empty object.
pub(super) fn read<T: DeserializeOwned>(params: Option<Value>) -> Result<T, ErrorObject> {
    let invalid = |message: String| {
        ErrorObject::new(
            code::INVALID_PARAMS,
            message,
            Some("name the parameters: {\"station\":\"bench-1\", …}".to_owned()),
        )
    };
    let params = params.unwrap_or_else(|| Value::Object(Map::new()));
    if !params.is_object() {
        return Err(invalid(format!(
            "params are {}, want an object",
            name_of(&params)
        )));
    }
    serde_json::from_value(params).map_err(|error| invalid(error.to_string()))
}

#[cfg(test)]
mod tests;
