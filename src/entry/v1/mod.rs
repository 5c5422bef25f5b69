//! Version 1 of the form on disk. Fields may be added; nothing else changes.
//!
//! In: a [`Stamped`] entry. Out: its line. The other direction is here too.
//!
//! - Most kinds are written and read as their struct. A kind whose form on disk differs (`reading`, `armed`, the state
//!   of a `segment`, …) has a struct of its own here. At the first incompatible change these forms are copied and
//!   frozen.
//! - An unknown value is left out, never written as 0. An unknown field is ignored; an unknown kind is an error.
//! - A length is in whole nanometres (`…_nm`), a force in whole millinewtons (`…_mn`).

mod armed;
mod care;
mod job;
mod journal;
mod names;
mod parts;
mod production;
mod qualified;
mod qualifying;
mod reading;
mod runs;
mod said;
mod state;
mod subject;
mod values;
mod zero_policy;
mod zero_state;

use super::line::{Digest, LineError};
use super::{
    Entry, FrameEntry, JournalEntry, PortEntry, ProductionEntry, SaidEntry, Seq, SeriesEntry,
    Stamped,
};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use serde_json::Value;
use std::borrow::Cow;
use std::convert::Infallible;
use std::fmt::Write as _;
use values::fault;

pub(super) use values::digit;

/// The number of this version.
pub(super) const VERSION: u64 = 1;

/// The table of kinds: name on disk, place in [`Entry`], and whether the body is written as its struct or as a form of
/// this module.
macro_rules! kinds {
    ($($name:literal => $level:ident($kind:path) $how:ident $body:ty),+ $(,)?) => {
        /// For each kind its name and the schema of its body.
        fn schemas(generator: &mut SchemaGenerator) -> Vec<(&'static str, Schema)> {
            let all = vec![$(($name, generator.subschema_for::<$body>())),+];
            $(kinds!(@words generator $how $body);)+
            remove_descriptions::<super::runs::Alert>(generator, false);
            remove_descriptions::<super::Adapter>(generator, false);
            remove_descriptions::<super::RefusedSaying>(generator, false);
            remove_descriptions::<super::LookTally>(generator, false);
            remove_descriptions::<super::PictureKept>(generator, false);
            remove_descriptions::<super::Tally>(generator, false);
            remove_descriptions::<super::ToolInHand>(generator, false);
            all
        }

        /// Writes the body of an entry as an object.
        fn write(line: &mut Vec<u8>, entry: &Entry) -> serde_json::Result<()> {
            match entry {
                $(Entry::$level($kind(body)) => kinds!(@write line body $how $body)),+
            }
        }

        /// Reads the body of a line of this kind.
        fn read(kind: &str, line: &str) -> Result<Entry, LineError> {
            match kind {
                $($name => {
                    let body = serde_json::from_str::<$body>(line);
                    let body = body.map_err(|error| fault(error.to_string()))?;
                    Ok(Entry::try_from(body)?)
                })+
                other => Err(LineError::UnknownKind { got: other.to_owned() }),
            }
        }
    };
    (@words $generator:ident plain $body:ty) => { remove_descriptions::<$body>($generator, true) };
    (@words $generator:ident own $body:ty) => {};
    (@write $line:ident $of:ident plain $body:ty) => { serde_json::to_writer($line, $of) };
    (@write $line:ident $of:ident own $body:ty) => { serde_json::to_writer($line, &<$body>::from($of)) };
}

kinds! {
    "begun" => Journal(JournalEntry::Begun) plain super::Begun,
    "segment" => Journal(JournalEntry::Segment) own journal::Segment,
    "started" => Journal(JournalEntry::Started) plain super::Started,
    "stopped" => Journal(JournalEntry::Stopped) plain super::Stopped,
    "clock_stepped" => Journal(JournalEntry::ClockStepped) plain super::ClockStepped,
    "gap" => Journal(JournalEntry::Gap) own journal::Gap,
    "damage_accepted" => Journal(JournalEntry::DamageAccepted) plain super::DamageAccepted,
    "rolled_back" => Journal(JournalEntry::RolledBack) plain super::RolledBack,
    "paired" => Journal(JournalEntry::Paired) plain super::Paired,
    "revoked" => Journal(JournalEntry::Revoked) plain super::Revoked,
    "tablet_said" => Journal(JournalEntry::TabletSaid) plain super::TabletSaid,
    "configuration_edited" => Journal(JournalEntry::ConfigurationEdited) plain super::ConfigurationEdited,
    "key_begun" => Journal(JournalEntry::KeyBegun) plain super::KeyBegun,
    "sealed" => Journal(JournalEntry::Sealed) plain super::Sealed,
    "attached" => Port(PortEntry::Attached) plain super::Attached,
    "detached" => Port(PortEntry::Detached) plain super::Detached,
    "adapter_changed" => Port(PortEntry::AdapterChanged) plain super::AdapterChanged,
    "adapter_said" => Said(SaidEntry::AdapterSaid) plain super::AdapterSaid,
    "disturbed" => Port(PortEntry::Disturbed) plain super::Disturbed,
    "armed" => Series(SeriesEntry::Armed) own armed::Armed,
    "disarmed" => Series(SeriesEntry::Disarmed) plain super::Disarmed,
    "completed" => Series(SeriesEntry::Completed) plain super::Completed,
    "zeroed" => Frame(FrameEntry::Zeroed) own reading::Zeroed,
    "zero_said" => Said(SaidEntry::ZeroSaid) plain super::ZeroSaid,
    "zero_due" => Series(SeriesEntry::ZeroDue) plain super::ZeroDue,
    "operator_said" => Said(SaidEntry::OperatorSaid) plain super::OperatorSaid,
    "tool_said" => Said(SaidEntry::ToolSaid) own said::ToolSaid,
    "job_said" => Said(SaidEntry::JobSaid) own said::JobSaid,
    "lot_said" => Said(SaidEntry::LotSaid) own said::LotSaid,
    "reading" => Frame(FrameEntry::Reading) own reading::Reading,
    "unread" => Frame(FrameEntry::Unread) own reading::Unread,
    "doubted" => Series(SeriesEntry::Doubted) plain super::Doubted,
    "retracted" => Series(SeriesEntry::Retracted) own said::Retracted,
    "restored" => Series(SeriesEntry::Restored) plain super::Restored,
    "resumed" => Series(SeriesEntry::Resumed) own said::Resumed,
    "noted" => Said(SaidEntry::Noted) plain super::Noted,
    "alerted" => Series(SeriesEntry::Alerted) plain super::Alerted,
    "looked" => Series(SeriesEntry::Looked) plain super::Looked,
    "pulled" => Series(SeriesEntry::Pulled) plain super::Pulled,
    "run_opened" => Production(ProductionEntry::RunOpened) plain super::RunOpened,
    "crimped" => Production(ProductionEntry::Crimped) plain super::Crimped,
    "sample_due" => Production(ProductionEntry::SampleDue) plain super::SampleDue,
    "held" => Production(ProductionEntry::Held) plain super::Held,
    "settled" => Production(ProductionEntry::Settled) plain super::Settled,
    "run_closed" => Production(ProductionEntry::RunClosed) plain super::RunClosed,
    "pictured" => Series(SeriesEntry::Pictured) plain super::Pictured,
    "refused" => Said(SaidEntry::Refused) plain super::Refused,
}

/// Fields that have a meaning of their own in one kind. Their descriptions come from the struct.
const OWN_WORDS: [&str; 9] = [
    "by_us",
    "damaged",
    "known",
    "end",
    "reservations",
    "who",
    "change",
    "list",
    "files",
];

/// Removes the descriptions of a struct from its schema, since a field means the same in every line.
fn remove_descriptions<T: JsonSchema>(generator: &mut SchemaGenerator, is_kind: bool) {
    let reference = generator.subschema_for::<T>();
    let name = reference.get("$ref").and_then(|name| name.as_str());
    let name = name.and_then(|name| name.rsplit('/').next());
    let definition = name.and_then(|name| generator.definitions_mut().get_mut(name));
    let Some(Value::Object(definition)) = definition else {
        return;
    };
    if is_kind {
        definition.remove("description");
    }
    let Some(Value::Object(fields)) = definition.get_mut("properties") else {
        return;
    };
    for (name, field) in fields {
        if let Value::Object(field) = field
            && !OWN_WORDS.contains(&name.as_str())
        {
            field.remove("description");
        }
    }
}

impl From<Infallible> for LineError {
    fn from(never: Infallible) -> Self {
        match never {}
    }
}

/// The fields at the beginning of every line.
#[derive(Deserialize)]
struct Header<'a> {
    v: u64,
    seq: u64,
    at: &'a str,
    kind: &'a str,
    prev: &'a str,
    token: Option<Cow<'a, str>>,
}

/// The only field that is known of a later version.
#[derive(Deserialize)]
struct VersionOnly {
    v: u64,
}

/// The header of a line in the form that [`encode`] writes. Reading it without a JSON parser halves the time to read a
/// line. `None` if the form differs; the parser decides then.
fn usual_header(line: &[u8]) -> Option<Header<'_>> {
    let rest = line.strip_prefix(br#"{"v":"#)?;
    let (v, rest) = number(rest)?;
    let (seq, rest) = number(rest.strip_prefix(br#","seq":"#)?)?;
    let (at, rest) = plain_text(rest.strip_prefix(br#","at":""#)?)?;
    let (kind, rest) = plain_text(rest.strip_prefix(br#","kind":""#)?)?;
    let (prev, rest) = plain_text(rest.strip_prefix(br#","prev":""#)?)?;
    let (token, rest) = match rest.strip_prefix(TOKEN) {
        Some(rest) => plain_text(rest).map(|(name, rest)| (Some(name.into()), rest))?,
        None => (None, rest),
    };
    rest.strip_prefix(b",")?;
    Some(Header {
        v,
        seq,
        at,
        kind,
        prev,
        token,
    })
}

/// What stands before the name of a token in a header.
const TOKEN: &[u8] = br#","token":""#;

/// The digits at the beginning as a number, and the rest.
fn number(bytes: &[u8]) -> Option<(u64, &[u8])> {
    let len = bytes
        .iter()
        .take_while(|byte| byte.is_ascii_digit())
        .count();
    let (digits, rest) = bytes.split_at_checked(len)?;
    let no_zero_before = digits.first() != Some(&b'0') || len == 1;
    let number = std::str::from_utf8(digits).ok()?.parse().ok()?;
    no_zero_before.then_some((number, rest))
}

/// The text up to a quotation mark, and the rest after the mark; `None` if the text contains an escape.
fn plain_text(bytes: &[u8]) -> Option<(&str, &[u8])> {
    let len = bytes.iter().position(|byte| *byte == b'"')?;
    let (text, rest) = bytes.split_at_checked(len)?;
    let plain = text
        .iter()
        .all(|byte| (b' '..=b'~').contains(byte) && *byte != b'\\');
    let text = std::str::from_utf8(text).ok().filter(|_| plain)?;
    Some((text, rest.get(1..)?))
}

/// The pattern of a time; the year may need a sign or more than four digits if a clock is wrong.
const TIME: &str =
    r"^(-?[0-9]{4,6}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z|-?[0-9]+ us)$";

/// The JSON Schema of a line.
pub(super) fn schema(generator: &mut SchemaGenerator) -> Schema {
    let kinds = schemas(generator).into_iter();
    let kinds: Vec<Schema> = kinds
        .map(|(kind, body)| {
            json_schema!({"title": kind, "properties": {"kind": {"const": kind}}, "allOf": [body]})
        })
        .collect();
    json_schema!({
        "title": "entry",
        "description": "A line of a journal",
        "type": "object",
        "required": ["v", "seq", "at", "kind", "prev"],
        "properties": {
            "v": {"const": VERSION},
            "seq": {"type": "integer", "minimum": 1},
            "at": {"type": "string", "pattern": TIME},
            "kind": {"type": "string"},
            "prev": {"description": "SHA-256 of the line before", "type": "string", "pattern": "^[0-9a-f]{64}$"},
            "token": {"type": "string"},
        },
        "oneOf": kinds,
    })
}

/// The line of an entry, without a newline.
pub(super) fn encode(stamped: &Stamped, prev: Digest) -> Vec<u8> {
    let mut head = String::with_capacity(1024);
    // Writing to a string does not fail, and neither does writing these types as JSON.
    let _ = write!(
        head,
        r#"{{"v":{VERSION},"seq":{},"at":"{}","kind":"{}","prev":"{prev}""#,
        stamped.seq,
        stamped.at,
        stamped.entry.kind()
    );
    let mut line = head.into_bytes();
    if let Some(token) = &stamped.token {
        line.extend(br#","token":"#);
        let _ = serde_json::to_writer(&mut line, token);
    }
    let body_at = line.len();
    let _ = write(&mut line, &stamped.entry);
    if let Some(brace) = line.get_mut(body_at) {
        *brace = b','; // the body's fields follow the header's, in one object
    }
    line
}

/// The entry in a line, and the digest that it gives for the line before.
pub(super) fn decode(line: &[u8]) -> Result<(Stamped, Digest), LineError> {
    let header = match usual_header(line).map_or_else(|| serde_json::from_slice(line), Ok) {
        Ok(header) => header,
        Err(error) => {
            // A later version may have another header, but it names its version.
            return Err(match serde_json::from_slice::<VersionOnly>(line) {
                Ok(version) if version.v > VERSION => LineError::Newer { got: version.v },
                Ok(_) | Err(_) => fault(error.to_string()),
            });
        }
    };
    if header.v > VERSION {
        return Err(LineError::Newer { got: header.v });
    }
    if header.v < VERSION || header.seq == 0 {
        return Err(fault("version and seq begin at 1, got 0"));
    }
    let prev = header.prev.parse()?;
    let at = header
        .at
        .parse()
        .map_err(|_| fault(format!("`at` is {:?}, want a time in UTC", header.at)))?;
    // Looked at once, and not text by text.
    let text = std::str::from_utf8(line).map_err(|error| fault(error.to_string()))?;
    let stamped = Stamped {
        seq: Seq(header.seq),
        at,
        token: header.token.map(Cow::into_owned),
        entry: read(header.kind, text)?,
    };
    Ok((stamped, prev))
}
