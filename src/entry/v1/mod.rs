//! Version 1 as it is on disks; never edited after release.
//!
//! In: a [`Stamped`] entry. Out: its line; and the same way back.
//!
//! - Every type, name and text in this folder is its own: whatever becomes of the rest of the
//!   program, what is written here and read here stays as it is.
//! - What is unknown is left out, never 0. A field that this version does not know is ignored; a
//!   kind that it does not know is an error.
//! - A length is in whole nanometres (`…_nm`), a force in whole millinewtons (`…_mn`).

mod armed;
mod bodies;
mod care;
mod journal;
mod names;
mod ports;
mod reading;
mod runs;
mod said;
mod state;
mod subject;
mod values;

use super::line::{Digest, LineError};
use super::{
    Alerted, Begun, ClockStepped, DamageAccepted, Detached, Disarmed, Doubted, Entry, FrameEntry,
    Gap, JournalEntry, Noted, OperatorSaid, PortEntry, Refused, Restored, Resumed, Retracted,
    RolledBack, SaidEntry, Segment, Seq, SeriesEntry, Stamped, Started, Stopped, ZeroDue, ZeroSaid,
};
use schemars::{Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use std::fmt::Write as _;
use values::fault;

pub(super) use values::digit;

/// The number of this version.
pub(super) const VERSION: u64 = 1;

/// The kinds of entry: for each, its name on disk and the type of what follows the header.
macro_rules! kinds {
    ($($name:literal => $variant:ident($body:ty)),+ $(,)?) => {
        /// What follows the header of a line.
        #[derive(Serialize)]
        #[serde(untagged)]
        enum Body {
            $($variant(Box<$body>)),+
        }

        impl Body {
            /// The name of its kind on disk.
            const fn kind(&self) -> &'static str {
                match self {
                    $(Self::$variant(_) => $name),+
                }
            }

            /// For each kind its name, and what follows the header of a line.
            fn schemas(generator: &mut SchemaGenerator) -> Vec<(&'static str, Schema)> {
                vec![$(($name, generator.subschema_for::<$body>())),+]
            }

            /// The entry in a line of this kind.
            fn read(kind: &str, line: &[u8]) -> Result<Entry, LineError> {
                match kind {
                    $($name => serde_json::from_slice::<$body>(line)
                        .map_err(|error| fault(error.to_string()))?
                        .try_into(),)+
                    other => Err(LineError::UnknownKind { got: other.to_owned() }),
                }
            }
        }
    };
}

kinds! {
    "begun" => Begun(journal::Begun),
    "segment" => Segment(journal::Segment),
    "started" => Started(journal::Started),
    "stopped" => Stopped(journal::Stopped),
    "clock_stepped" => ClockStepped(journal::ClockStepped),
    "gap" => Gap(journal::Gap),
    "damage_accepted" => DamageAccepted(journal::DamageAccepted),
    "rolled_back" => RolledBack(journal::RolledBack),
    "attached" => Attached(bodies::Attached),
    "detached" => Detached(bodies::Detached),
    "adapter_changed" => AdapterChanged(ports::AdapterChanged),
    "adapter_said" => AdapterSaid(ports::AdapterSaid),
    "disturbed" => Disturbed(ports::Disturbed),
    "armed" => Armed(armed::Armed),
    "disarmed" => Disarmed(bodies::Disarmed),
    "completed" => Completed(bodies::Completed),
    "zeroed" => Zeroed(reading::Zeroed),
    "zero_said" => ZeroSaid(bodies::ZeroSaid),
    "zero_due" => ZeroDue(said::ZeroDue),
    "operator_said" => OperatorSaid(said::OperatorSaid),
    "tool_said" => ToolSaid(said::ToolSaid),
    "reading" => Reading(reading::Reading),
    "unread" => Unread(reading::Unread),
    "doubted" => Doubted(bodies::Doubted),
    "retracted" => Retracted(bodies::Retracted),
    "restored" => Restored(bodies::Restored),
    "resumed" => Resumed(bodies::Resumed),
    "noted" => Noted(bodies::Noted),
    "alerted" => Alerted(bodies::Alerted),
    "refused" => Refused(bodies::Refused),
}

/// What every line begins with.
#[derive(Deserialize)]
struct Header<'a> {
    v: u64,
    seq: u64,
    at: &'a str,
    kind: &'a str,
    prev: &'a str,
}

/// All that can be said of a line of a version to come.
#[derive(Deserialize)]
struct VersionOnly {
    v: u64,
}

/// The header of a line as [`encode`] writes it; half of the time of reading is saved by not asking
/// a parser of JSON for it. `None` if it looks different, which is no fault yet.
fn as_written(line: &[u8]) -> Option<Header<'_>> {
    let rest = line.strip_prefix(br#"{"v":"#)?;
    let (v, rest) = number(rest)?;
    let (seq, rest) = number(rest.strip_prefix(br#","seq":"#)?)?;
    let (at, rest) = plain_text(rest.strip_prefix(br#","at":""#)?)?;
    let (kind, rest) = plain_text(rest.strip_prefix(br#","kind":""#)?)?;
    let (prev, rest) = plain_text(rest.strip_prefix(br#","prev":""#)?)?;
    rest.strip_prefix(b",")?;
    Some(Header {
        v,
        seq,
        at,
        kind,
        prev,
    })
}

/// The digits at the beginning, and what follows them.
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

/// The text up to a quotation mark, if nothing in it is escaped, and what follows the mark.
fn plain_text(bytes: &[u8]) -> Option<(&str, &[u8])> {
    let len = bytes.iter().position(|byte| *byte == b'"')?;
    let (text, rest) = bytes.split_at_checked(len)?;
    let plain = text
        .iter()
        .all(|byte| (b' '..=b'~').contains(byte) && *byte != b'\\');
    let text = std::str::from_utf8(text).ok().filter(|_| plain)?;
    Some((text, rest.get(1..)?))
}

/// A time, of a clock that may be far off too.
const TIME: &str =
    r"^(-?[0-9]{4,6}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z|-?[0-9]+ us)$";

/// What a line is, as JSON Schema.
pub(super) fn schema(generator: &mut SchemaGenerator) -> Schema {
    let kinds = Body::schemas(generator).into_iter();
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
        },
        "oneOf": kinds,
    })
}

/// The line of an entry, without a newline.
pub(super) fn encode(stamped: &Stamped, prev: Digest) -> Vec<u8> {
    let body = Body::from(&stamped.entry);
    let mut head = String::with_capacity(1024);
    // Writing to a string does not fail, and neither does writing these types as JSON.
    let _ = write!(
        head,
        r#"{{"v":{VERSION},"seq":{},"at":"{}","kind":"{}","prev":"{prev}""#,
        stamped.seq,
        stamped.at,
        body.kind()
    );
    let mut line = head.into_bytes();
    let body_at = line.len();
    let _ = serde_json::to_writer(&mut line, &body);
    if let Some(brace) = line.get_mut(body_at) {
        *brace = b','; // the body's fields stand behind the header's, in one object
    }
    line
}

/// The entry in a line, and the digest that it names as the line before.
pub(super) fn decode(line: &[u8]) -> Result<(Stamped, Digest), LineError> {
    let header = match as_written(line).map_or_else(|| serde_json::from_slice(line), Ok) {
        Ok(header) => header,
        Err(error) => {
            // A version to come may have another header, but it will say that it is one.
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
    let stamped = Stamped {
        seq: Seq(header.seq),
        at,
        entry: Body::read(header.kind, line)?,
    };
    Ok((stamped, prev))
}

impl From<&Entry> for Body {
    #[expect(clippy::too_many_lines, reason = "an arm for each kind")]
    fn from(entry: &Entry) -> Self {
        match entry {
            Entry::Journal(JournalEntry::Begun(Begun { journal })) => {
                Self::Begun(Box::new(journal.into()))
            }
            Entry::Journal(JournalEntry::Segment(Segment { journal, state })) => {
                Self::Segment(Box::new(journal::Segment::new(journal, state)))
            }
            Entry::Journal(JournalEntry::Started(Started {
                version,
                config_digest,
            })) => Self::Started(Box::new(journal::Started {
                version: version.clone(),
                config_digest: config_digest.clone(),
            })),
            Entry::Journal(JournalEntry::Stopped(Stopped { reason })) => {
                Self::Stopped(Box::new(journal::Stopped {
                    reason: reason.clone(),
                }))
            }
            Entry::Journal(JournalEntry::ClockStepped(ClockStepped { by_micros })) => {
                Self::ClockStepped(Box::new(journal::ClockStepped { by_us: *by_micros }))
            }
            Entry::Journal(JournalEntry::Gap(Gap {
                since,
                frames,
                reason,
            })) => Self::Gap(Box::new(journal::Gap {
                since: since.to_string(),
                frames: *frames,
                reason: reason.clone(),
            })),
            Entry::Journal(JournalEntry::DamageAccepted(DamageAccepted { seq, reason })) => {
                Self::DamageAccepted(Box::new(journal::DamageAccepted {
                    damaged: seq.0,
                    reason: reason.clone(),
                }))
            }
            Entry::Journal(JournalEntry::RolledBack(RolledBack {
                journal,
                known,
                end,
                reason,
            })) => Self::RolledBack(Box::new(journal::RolledBack {
                journal: journal.0.clone(),
                known: known.0,
                end: end.0,
                reason: reason.clone(),
            })),
            Entry::Port(PortEntry::Attached(attached)) => Self::Attached(Box::new(attached.into())),
            Entry::Port(PortEntry::AdapterChanged(changed)) => {
                Self::AdapterChanged(Box::new(changed.into()))
            }
            Entry::Said(SaidEntry::AdapterSaid(said)) => Self::AdapterSaid(Box::new(said.into())),
            Entry::Port(PortEntry::Disturbed(disturbed)) => {
                Self::Disturbed(Box::new(disturbed.into()))
            }
            Entry::Port(PortEntry::Detached(Detached {
                instrument,
                station,
                reason,
            })) => Self::Detached(Box::new(bodies::Detached {
                station: station.clone(),
                instrument: instrument.clone(),
                reason: reason.clone(),
            })),
            Entry::Series(SeriesEntry::Armed(spec)) => Self::Armed(Box::new((&**spec).into())),
            Entry::Series(SeriesEntry::Disarmed(Disarmed { station, series })) => {
                Self::Disarmed(Box::new(bodies::Disarmed {
                    station: station.clone(),
                    series: series.0,
                }))
            }
            Entry::Series(SeriesEntry::Completed(completed)) => {
                Self::Completed(Box::new(completed.into()))
            }
            Entry::Frame(FrameEntry::Zeroed(zeroed)) => Self::Zeroed(Box::new(zeroed.into())),
            Entry::Said(SaidEntry::ZeroSaid(ZeroSaid {
                station,
                instrument,
            })) => Self::ZeroSaid(Box::new(bodies::ZeroSaid {
                station: station.clone(),
                instrument: instrument.clone(),
            })),
            Entry::Series(SeriesEntry::ZeroDue(ZeroDue {
                station,
                series,
                instrument,
                reason,
            })) => Self::ZeroDue(Box::new(said::ZeroDue {
                station: station.clone(),
                instrument: instrument.clone(),
                series: series.0,
                reason: reason.clone(),
            })),
            Entry::Said(SaidEntry::OperatorSaid(OperatorSaid {
                station,
                series,
                operator,
            })) => Self::OperatorSaid(Box::new(said::OperatorSaid {
                station: station.clone(),
                series: series.map(|seq| seq.0),
                operator: operator.clone(),
            })),
            Entry::Said(SaidEntry::ToolSaid(said)) => Self::ToolSaid(Box::new(said.into())),
            Entry::Frame(FrameEntry::Reading(reading)) => {
                Self::Reading(Box::new((&**reading).into()))
            }
            Entry::Frame(FrameEntry::Unread(unread)) => Self::Unread(Box::new(unread.into())),
            Entry::Series(SeriesEntry::Doubted(Doubted {
                station,
                series,
                readings,
                reason,
            })) => Self::Doubted(Box::new(bodies::Doubted {
                station: station.clone(),
                series: series.0,
                readings: readings.iter().map(|seq| seq.0).collect(),
                reason: reason.clone(),
            })),
            Entry::Series(SeriesEntry::Retracted(Retracted {
                station,
                series,
                reading,
                by,
                slot,
                reason,
                spent,
            })) => Self::Retracted(Box::new(bodies::Retracted {
                station: station.clone(),
                series: series.0,
                reading: reading.0,
                by: by.map(Into::into),
                piece: slot.as_ref().map(|slot| slot.piece),
                axis: slot.as_ref().map(|slot| slot.axis.as_str().to_owned()),
                reason: reason.clone(),
                spent: *spent,
            })),
            Entry::Series(SeriesEntry::Restored(Restored {
                station,
                series,
                reading,
                by,
            })) => Self::Restored(Box::new(bodies::Restored {
                station: station.clone(),
                series: series.0,
                reading: reading.0,
                by: (*by).into(),
            })),
            Entry::Series(SeriesEntry::Resumed(Resumed {
                station,
                series,
                operator,
                by,
            })) => Self::Resumed(Box::new(bodies::Resumed {
                station: station.clone(),
                series: series.0,
                operator: operator.clone(),
                by: (*by).into(),
            })),
            Entry::Said(SaidEntry::Noted(Noted {
                station,
                series,
                text,
            })) => Self::Noted(Box::new(bodies::Noted {
                station: station.clone(),
                series: series.map(|seq| seq.0),
                text: text.clone(),
            })),
            Entry::Said(SaidEntry::Refused(Refused {
                station,
                instrument,
                said,
                reason,
                remedy,
            })) => Self::Refused(Box::new(bodies::Refused {
                station: station.clone(),
                instrument: instrument.clone(),
                said: said.clone(),
                reason: reason.clone(),
                remedy: remedy.clone(),
            })),
            Entry::Series(SeriesEntry::Alerted(Alerted {
                station,
                series,
                rule,
                text,
                readings,
            })) => Self::Alerted(Box::new(bodies::Alerted {
                station: station.clone(),
                series: series.0,
                rule: rule.clone(),
                text: text.clone(),
                readings: readings.iter().map(|seq| seq.0).collect(),
            })),
        }
    }
}
