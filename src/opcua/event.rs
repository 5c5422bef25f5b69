//! An entry as an event, with the fields of its type in the table of `model`.

use super::model::{ENTRY, EVENTS};
use super::nodes::id;
use super::value::{NOT_DECIDABLE, NOT_OK, evaluation};
use opcua::nodes::BaseEventType;
use opcua::types::event_field::EventField;
use opcua::types::{
    AttributeId, ByteString, DateTime, NodeId, NumericRange, ObjectTypeId, QualifiedName, UAString,
    Variant,
};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Severity of an event: what is not good, what cannot be decided, and all else. OPC 10000-5 has 1 to 1000 (`BaseEventType`).
const NOT_GOOD: u16 = 600;
const UNDECIDED: u16 = 400;
const ELSE: u16 = 100;

/// The identities of our event types.
pub(super) struct EventTypes {
    ns: u16,
    any: NodeId,
    of_kinds: BTreeMap<&'static str, NodeId>,
}

impl EventTypes {
    pub(super) fn new(ns: u16) -> Self {
        let of = |name: &str| id(ns, &format!("Types/{name}"));
        let of_kinds = EVENTS
            .iter()
            .flat_map(|(kinds, name, _)| kinds.iter().map(move |kind| (*kind, of(name))));
        Self {
            ns,
            any: of(ENTRY.name),
            of_kinds: of_kinds.collect(),
        }
    }
}

/// An event.
pub(super) struct Event {
    ns: u16,
    /// Its type and the types above it.
    types: Vec<NodeId>,
    base: BaseEventType,
    fields: BTreeMap<&'static str, Variant>,
}

impl Event {
    /// The event of an entry, which `text` is as stored.
    pub(super) fn new(
        types: &EventTypes,
        source: &str,
        journal: &str,
        text: &str,
        entry: &Value,
        at: DateTime,
    ) -> Self {
        let kind = entry["kind"].as_str().unwrap_or_default();
        let own = EVENTS.iter().find(|(kinds, ..)| kinds.contains(&kind));
        let mut json = entry.clone();
        if let Some(json) = json.as_object_mut() {
            json.insert("journal".to_owned(), json!(journal));
            json.insert("entry".to_owned(), json!(text));
        }
        let members = own.iter().flat_map(|(.., kind)| kind.members);
        let members = ENTRY.members.iter().chain(members);
        let fields = members.map(|member| (member.name, member.value(&json, journal)));
        let of_kind = types.of_kinds.get(kind);
        let chain = of_kind.into_iter().chain([&types.any]).cloned();
        let base = ObjectTypeId::BaseEventType.into();
        let name = source.rsplit('/').next().unwrap_or(source);
        Self {
            ns: types.ns,
            types: chain.chain([base]).collect(),
            base: BaseEventType::new(
                of_kind.unwrap_or(&types.any).clone(),
                ByteString::from(format!("{journal}/{}", entry["seq"]).as_bytes()),
                message(kind, entry).as_str(),
                at,
            )
            .set_source_node(id(types.ns, source))
            .set_source_name(UAString::from(name))
            .set_receive_time(DateTime::now())
            .set_severity(severity(entry)),
            fields: fields.collect(),
        }
    }
}

/// The event in words: `core_crimp_height 1.62 mm pass`.
fn message(kind: &str, entry: &Value) -> String {
    let word = |key: &str| entry[key].as_str().unwrap_or_default();
    let words = match kind {
        "reading" => {
            let value = entry["value"].to_string();
            let said = [word("verdict"), word("reason")].concat();
            vec![
                word("axis").to_owned(),
                value,
                word("unit").to_owned(),
                said,
            ]
        }
        "completed" => vec![
            format!("series {}", entry["series"]),
            word("outcome").to_owned(),
        ],
        _ => vec![kind.replace('_', " ")],
    };
    let words = words.into_iter().filter(|word| !word.is_empty());
    words.collect::<Vec<_>>().join(" ")
}

fn severity(entry: &Value) -> u16 {
    let word = entry["verdict"].as_str().or(entry["outcome"].as_str());
    match evaluation(word) {
        NOT_OK => NOT_GOOD,
        NOT_DECIDABLE => UNDECIDED,
        _ => ELSE,
    }
}

impl opcua::nodes::Event for Event {
    fn get_field(
        &self,
        type_definition_id: &NodeId,
        attribute_id: AttributeId,
        index_range: &NumericRange,
        browse_path: &[QualifiedName],
    ) -> Variant {
        if !self.types.contains(type_definition_id) {
            return Variant::Empty;
        }
        self.get_value(attribute_id, index_range, browse_path)
    }

    fn time(&self) -> &DateTime {
        &self.base.time
    }

    fn event_type_id(&self) -> &NodeId {
        &self.base.event_type
    }
}

impl EventField for Event {
    fn get_value(
        &self,
        attribute_id: AttributeId,
        index_range: &NumericRange,
        remaining_path: &[QualifiedName],
    ) -> Variant {
        let [name] = remaining_path else {
            return Variant::Empty;
        };
        if name.namespace_index != self.ns {
            return self
                .base
                .get_value(attribute_id, index_range, remaining_path);
        }
        if attribute_id != AttributeId::Value || !matches!(index_range, NumericRange::None) {
            return Variant::Empty;
        }
        let field = self.fields.get(name.name.as_ref());
        field.cloned().unwrap_or_default()
    }
}
