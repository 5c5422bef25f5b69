//! JSON Schema (2020-12) of everything that is stored or sent, derived from the types that read and write it.
//!
//! - Fields come from the types, so that schema and program cannot differ. `schema/words.rs` describes them.
//! - Fields may be added within a version. So an unknown field is allowed in what the daemon sends, and is an error in
//!   a request.

mod words;

use super::feed::NoticeWithTexts;
use super::metrics::{FAMILIES, Family};
use super::nests::NestsMessage;
use super::page::{MovingMessage, PageMessage};
use super::qualified::{QualifiedMessage, RuleMessage};
use super::series::SeriesMessage;
use super::state::{InstrumentMessage, StationMessage};
use super::{ErrorObject, FeedRequest, Hello, Notice, StateMessage, reply, request};
use crate::config;
use crate::entry::{Anchor, line};
use schemars::generate::SchemaSettings;
use schemars::transform::{Transform, transform_subschemas};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde_json::{Value, json};

const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";

/// The schema of lines in a journal.
pub fn entry() -> Value {
    let title = "tallyjaw: a line of the journal, and of the feed";
    whole(title, line::schema)
}

/// The schema of lines on the feed: hello, state, notices and entries.
pub fn feed() -> Value {
    let title = "tallyjaw: a line of the feed; a client may send what $defs/after says";
    whole(title, |generator| {
        let of_kinds = |kinds: &[&str], schema: Schema| json_schema!({"properties": {"kind": {"enum": kinds}}, "allOf": [schema]});
        let hello = of_kinds(&["hello"], generator.subschema_for::<Hello>());
        let state = of_kinds(&["state"], generator.subschema_for::<StateMessage>());
        let notice = of_kinds(&Notice::KINDS, generator.subschema_for::<Notice>());
        let entry = line::schema(generator);
        let after = FeedRequest::schema(generator);
        generator
            .definitions_mut()
            .insert("after".to_owned(), after.to_value());
        json_schema!({"oneOf": [hello, state, notice, entry]})
    })
}

/// The schema of lines on the control socket: requests and answers.
pub fn control() -> Value {
    let title = "tallyjaw: a line of the control socket, a request or its answer, or a batch of them (JSON-RPC 2.0)";
    whole(title, |generator| {
        let mut forms = request::schemas(generator);
        forms.extend(super::tablet::schemas(generator));
        forms.extend(super::token::schemas(generator));
        forms.push(("arm", arm()));
        let requests = forms.into_iter().map(|(method, mut params)| {
            params.insert("description".to_owned(), "by their names".into());
            json_schema!({
                "title": method,
                "type": "object",
                "required": ["jsonrpc", "method"],
                "properties": {
                    "jsonrpc": {"const": "2.0"},
                    "id": {
                        "type": ["number", "string", "null"],
                        "description": "what the answer carries; without it there is no answer",
                    },
                    "method": {"const": method},
                    "params": params,
                },
            })
        });
        let requests: Vec<Schema> = requests.collect();
        let outcome = generator.subschema_for::<reply::Outcome>();
        let error = generator.subschema_for::<ErrorObject>();
        let answer = |key: &str, schema: Schema| {
            json_schema!({
                "title": key,
                "type": "object",
                "required": ["jsonrpc", "id", key],
                "properties": {
                    "jsonrpc": {"const": "2.0"},
                    "id": {"description": "as in the request; null if that could not be read"},
                    key: schema,
                },
            })
        };
        let (result, error) = (answer("result", outcome), answer("error", error));
        let batch = |title: &str, items: Value| json!({"title": title, "type": "array", "minItems": 1, "items": items});
        let answers = json!({"anyOf": [{"$ref": "#/anyOf/1"}, {"$ref": "#/anyOf/2"}]});
        json_schema!({"anyOf": [
            {"title": "request", "oneOf": requests},
            result,
            error,
            batch("batch of requests", json!({"$ref": "#/anyOf/0"})),
            batch("answers to a batch", answers),
        ]})
    })
}

/// The schema of a line of `tallyjaw qualified --json`.
pub fn qualified() -> Value {
    whole(
        "tallyjaw: a line of `tallyjaw qualified --json`",
        |generator| {
            let rule = generator.subschema_for::<RuleMessage>();
            let combination = generator.subschema_for::<QualifiedMessage>();
            json_schema!({"anyOf": [rule, combination]})
        },
    )
}

/// The schema of the page's state: the answer of `/state`.
pub fn page() -> Value {
    let title = "tallyjaw: the state of the page, the answer of /state and the event `state`";
    whole(title, PageMessage::json_schema)
}

/// The schema of the data of an event of `/events`.
pub fn events() -> Value {
    let title = "tallyjaw: the data of an event of /events, by the name of the event";
    whole(title, |generator| {
        let state = generator.subschema_for::<PageMessage>();
        let notice = NoticeWithTexts::json_schema(generator);
        let moving = generator.subschema_for::<MovingMessage>();
        let entry = line::schema(generator);
        json_schema!({"anyOf": [
            {"title": "state", "description": "at the beginning, and with state=each after each change", "allOf": [state]},
            {"title": "notice", "description": "what is not in the journal", "allOf": [notice]},
            {"title": "moving", "description": "with state=each: values that do not stand still", "type": "array", "items": moving},
            {"title": "message", "description": "an event without a name: an entry; the id of the event is its seq", "allOf": [entry]},
        ]})
    })
}

/// The schema of a series: the answer of `/series/N`, and a line of `series --json`.
pub fn series() -> Value {
    let title = "tallyjaw: a series, the answer of /series/N and a line of series --json";
    whole(title, SeriesMessage::json_schema)
}

/// The schema of the retained messages at a broker.
pub fn retained() -> Value {
    let title = "tallyjaw: a retained message at a broker, by the end of its topic";
    whole(title, |generator| {
        let station = generator.subschema_for::<StationMessage>();
        let instrument = generator.subschema_for::<InstrumentMessage>();
        let anchor = generator.subschema_for::<Anchor>();
        json_schema!({"anyOf": [
            {"title": "anchors/JOURNAL", "allOf": [anchor]},
            {"title": "stations/STATION", "allOf": [station]},
            {"title": "instruments/INSTRUMENT", "allOf": [instrument]},
            {
                "title": "status/JOURNAL",
                "type": "object",
                "required": ["online"],
                "properties": {"online": {"type": "boolean", "description": "whether the daemon runs"}},
            },
        ]})
    })
}

/// The schema of the names of samples in `/metrics`: a string.
pub fn metrics() -> Value {
    let name = |family: &Family| {
        let labels = match family.labels {
            [] => String::new(),
            labels => format!(" by {}", labels.join(", ")),
        };
        let about = format!("{}{labels}: {}", family.kind, family.help);
        let named = |sample| json!({"const": sample, "description": about});
        family.samples().into_iter().map(named).collect::<Vec<_>>()
    };
    let names: Vec<Value> = FAMILIES.iter().flat_map(name).collect();
    json!({
        "$schema": DIALECT,
        "title": "tallyjaw: the name of a sample in /metrics",
        "type": "string",
        "oneOf": names,
    })
}

/// The schema of the text in a label's code: a string.
pub fn label() -> Value {
    json!({
        "$schema": DIALECT,
        "title": "tallyjaw: the text in the code of a label",
        "description": "TJ1 is the version; then SERIES with its number, or JOB with its id (behind a slash, the serial number); how it came out, with the number of reservations; the entry that shows it: the one that closed the series, of an open series the last one about it, of a job the latest of these; the SHA-256 of that entry's line",
        "type": "string",
        "pattern": crate::message::label::PATTERN,
    })
}

/// The schema of the answer of `nests --json`.
pub fn nests() -> Value {
    let title = "tallyjaw: nests against factory pieces, the answer of nests --json";
    whole(title, NestsMessage::json_schema)
}

/// The parameters of `arm`: the keys of a plan as in the configuration, and those beside them.
fn arm() -> Schema {
    let config: Value = serde_json::from_str(config::SCHEMA).unwrap_or_default();
    let mut plan = config.pointer("/$defs/plan").cloned().unwrap_or_default();
    put_in(&mut plan, &config);
    if let Some(Value::Object(properties)) = plan.get_mut("properties") {
        properties.remove("id");
        for key in ["station", "operator", "plan"] {
            properties.insert(key.to_owned(), json!({"type": "string"}));
        }
        let cut = "stop a series that is open at the station, without being asked to say so again";
        properties.insert(
            "cut".to_owned(),
            json!({"type": "boolean", "description": cut}),
        );
    }
    if let Value::Object(plan) = &mut plan {
        plan.remove("required");
    }
    Schema::try_from(plan).unwrap_or_default()
}

/// Replaces each reference by its definition. A description beside the reference stays.
fn put_in(schema: &mut Value, whole: &Value) {
    match schema {
        Value::Object(object) => {
            let path = object.remove("$ref");
            let path = path.as_ref().and_then(Value::as_str).unwrap_or("#");
            let meant = path.strip_prefix('#').and_then(|path| whole.pointer(path));
            if let (Some(Value::Object(meant)), false) = (meant, path == "#") {
                for (key, value) in meant {
                    object.entry(key.clone()).or_insert_with(|| value.clone());
                }
            }
            object.values_mut().for_each(|value| put_in(value, whole));
        }
        Value::Array(items) => items.iter_mut().for_each(|item| put_in(item, whole)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// A complete schema, with all definitions that it refers to.
fn whole(title: &str, make: impl FnOnce(&mut SchemaGenerator) -> Schema) -> Value {
    let mut generator = SchemaSettings::draft2020_12().into_generator();
    let mut schema = make(&mut generator);
    schema.insert("$schema".to_owned(), DIALECT.into());
    schema.insert("title".to_owned(), title.into());
    let definitions = generator.take_definitions(true);
    schema.insert("$defs".to_owned(), Value::Object(definitions));
    NeverNull.transform(&mut schema);
    words::Words.transform(&mut schema);
    schema.to_value()
}

/// Removes null from the allowed types: an unknown field is left out, never null.
struct NeverNull;

impl Transform for NeverNull {
    fn transform(&mut self, schema: &mut Schema) {
        let null = json!("null");
        if let Some(Value::Array(types)) = schema.get_mut("type")
            && types.len() == 2
        {
            types.retain(|kind| *kind != null);
            if let [only] = &types[..] {
                let only = only.clone();
                schema.insert("type".to_owned(), only);
            }
        }
        if let Some(Value::Array(any)) = schema.get_mut("anyOf") {
            any.retain(|one| one.get("type") != Some(&null));
            if let [Value::Object(only)] = &any[..] {
                let only = only.clone();
                schema.remove("anyOf");
                for (key, value) in only {
                    schema.insert(key, value);
                }
            }
        }
        transform_subschemas(self, schema);
    }
}
