//! What the control socket is asked: JSON-RPC 2.0, a request a line.
//!
//! In: one line. Out: a [`Request`], or the error to answer with. Whether the station can do it is
//! the core's business.

use super::arm::arm;
use super::reply::{ErrorObject, code};
use crate::entry::Means;
use crate::station::Command;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

/// One request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request {
    /// What the answer must carry; `None` for a notification, which gets no answer.
    pub id: Option<Value>,
    /// What is asked.
    pub call: Call,
}

/// What is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Call {
    /// Something that a person says to a station.
    Station(Command),
    /// The state now.
    Status,
    /// What can be armed.
    Catalog,
    /// Read the configuration anew.
    Reload,
}

/// A line that is no request, with what to answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rejected {
    /// The request's id, where it could be read; null otherwise.
    pub id: Value,
    /// The error to answer with.
    pub error: ErrorObject,
}

/// Every method, for messages and for the nearest known name.
pub const METHODS: [&str; 13] = [
    "arm", "disarm", "retract", "restore", "note", "zero", "ask", "adapter", "operator", "tool",
    "status", "catalog", "reload",
];

impl Request {
    /// Reads one line.
    pub fn parse(line: &[u8]) -> Result<Self, Box<Rejected>> {
        let value: Value = serde_json::from_slice(line).map_err(|error| {
            Box::new(Rejected::new(
                code::PARSE,
                format!("not JSON: {error}"),
                "send one JSON-RPC 2.0 request a line",
            ))
        })?;
        let Value::Object(object) = value else {
            return Err(Box::new(Rejected::new(
                code::INVALID_REQUEST,
                format!("got {}, want an object", name_of(&value)),
                "send one request a line; batches are not served",
            )));
        };
        let id = object.get("id").cloned();
        let answer_id = id.clone().unwrap_or(Value::Null);
        let result = check_id(id.as_ref())
            .and_then(|()| check_version(&object))
            .and_then(|()| call(&object));
        match result {
            Ok(call) => Ok(Self { id, call }),
            Err(error) => Err(Box::new(Rejected {
                id: answer_id,
                error,
            })),
        }
    }
}

impl Rejected {
    fn new(code: i64, message: String, remedy: &str) -> Self {
        Self {
            id: Value::Null,
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

fn check_id(id: Option<&Value>) -> Result<(), ErrorObject> {
    match id {
        None | Some(Value::Null | Value::Number(_) | Value::String(_)) => Ok(()),
        Some(other @ (Value::Bool(_) | Value::Array(_) | Value::Object(_))) => {
            Err(ErrorObject::new(
                code::INVALID_REQUEST,
                format!("id is {}, want a number or a string", name_of(other)),
                Some("number the requests: 1, 2, 3".to_owned()),
            ))
        }
    }
}

fn check_version(object: &Map<String, Value>) -> Result<(), ErrorObject> {
    if object.get("jsonrpc").and_then(Value::as_str) == Some("2.0") {
        return Ok(());
    }
    Err(ErrorObject::new(
        code::INVALID_REQUEST,
        "no \"jsonrpc\":\"2.0\" in the request",
        Some("send {\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"}".to_owned()),
    ))
}

fn call(object: &Map<String, Value>) -> Result<Call, ErrorObject> {
    let Some(method) = object.get("method").and_then(Value::as_str) else {
        return Err(ErrorObject::new(
            code::INVALID_REQUEST,
            "no method in the request, want a string",
            Some(format!("one of {}", METHODS.join(", "))),
        ));
    };
    let params = object.get("params").cloned();
    match method {
        "arm" => arm(params),
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
        "restore" => {
            let StationForm { station } = read(params)?;
            let by = Means::Command;
            Ok(Call::Station(Command::Restore { station, by }))
        }
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
        "status" => read::<NoForm>(params).map(|_| Call::Status),
        "catalog" => read::<NoForm>(params).map(|_| Call::Catalog),
        "reload" => read::<NoForm>(params).map(|_| Call::Reload),
        unknown => Err(ErrorObject::new(
            code::UNKNOWN_METHOD,
            format!("no method {unknown:?}, want one of {}", METHODS.join(", ")),
            nearest(unknown, METHODS).map(|name| format!("did you mean {name:?}?")),
        )),
    }
}

/// For each method but `arm` its parameters.
pub(super) fn schemas(generator: &mut SchemaGenerator) -> Vec<(&'static str, Schema)> {
    vec![
        ("disarm", generator.subschema_for::<StationForm>()),
        ("retract", generator.subschema_for::<RetractForm>()),
        ("restore", generator.subschema_for::<StationForm>()),
        ("operator", generator.subschema_for::<OperatorForm>()),
        ("tool", generator.subschema_for::<ToolForm>()),
        ("note", generator.subschema_for::<NoteForm>()),
        ("zero", generator.subschema_for::<InstrumentForm>()),
        ("adapter", generator.subschema_for::<InstrumentForm>()),
        ("ask", generator.subschema_for::<InstrumentForm>()),
        ("status", generator.subschema_for::<NoForm>()),
        ("catalog", generator.subschema_for::<NoForm>()),
        ("reload", generator.subschema_for::<NoForm>()),
    ]
}

pub(super) fn nearest<'a>(got: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    known
        .into_iter()
        .map(|name| (strsim::damerau_levenshtein(got, name), name))
        .filter(|(distance, _)| *distance <= 2)
        .min()
        .map(|(_, name)| name)
}

/// Parameters by name; none at all are an empty object.
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

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct NoForm {}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct StationForm {
    station: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RetractForm {
    station: Option<String>,
    seq: Option<u64>,
    reason: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct OperatorForm {
    station: Option<String>,
    operator: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct ToolForm {
    station: Option<String>,
    tool: String,
    nest: Option<String>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct NoteForm {
    station: Option<String>,
    text: String,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct InstrumentForm {
    station: Option<String>,
    instrument: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parse(text: &str) -> Result<Call, ErrorObject> {
        Request::parse(text.as_bytes())
            .map(|request| request.call)
            .map_err(|rejected| rejected.error)
    }

    fn asked(method: &str, params: &str) -> Result<Call, ErrorObject> {
        parse(&format!(
            r#"{{"jsonrpc":"2.0","id":1,"method":"{method}","params":{params}}}"#
        ))
    }

    #[test]
    fn what_is_no_request_is_told_by_its_code() {
        for (line, code) in [
            ("", -32_700),
            ("\u{1}\u{2}", -32_700),
            ("{\"jsonrpc\":\"2.0\"", -32_700),
            ("[]", -32_600),
            (
                "[{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"status\"}]",
                -32_600,
            ),
            ("42", -32_600),
            ("{\"id\":1,\"method\":\"status\"}", -32_600),
            ("{\"jsonrpc\":\"2.0\",\"id\":1}", -32_600),
            (
                "{\"jsonrpc\":\"2.0\",\"id\":{},\"method\":\"status\"}",
                -32_600,
            ),
            ("{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"amr\"}", -32_601),
            (
                "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"disarm\",\"params\":[\"bench-1\"]}",
                -32_602,
            ),
            (
                "{\"jsonrpc\":\"2.0\",\"id\":1,\"method\":\"disarm\",\"params\":{\"bench\":1}}",
                -32_602,
            ),
        ] {
            assert_eq!(parse(line).unwrap_err().code, code, "{line}");
        }
        let binary = Request::parse(b"\xff\xfe\x00").unwrap_err();
        assert_eq!((binary.error.code, binary.id), (-32_700, Value::Null));
    }

    #[test]
    fn a_misspelled_method_is_answered_with_the_nearest_one() {
        let error = asked("retrct", "{}").unwrap_err();
        assert_eq!(
            error.data.remedy.as_deref(),
            Some("did you mean \"retract\"?")
        );
    }

    #[test]
    fn a_notification_has_no_id_and_a_null_id_is_one() {
        let id = |text: &str| Request::parse(text.as_bytes()).unwrap().id;
        assert_eq!(id(r#"{"jsonrpc":"2.0","method":"status"}"#), None);
        assert_eq!(
            id(r#"{"jsonrpc":"2.0","id":null,"method":"status"}"#),
            Some(Value::Null)
        );
        assert_eq!(
            id(r#"{"jsonrpc":"2.0","id":"a-7","method":"status"}"#),
            Some(Value::String("a-7".to_owned()))
        );
    }
}
