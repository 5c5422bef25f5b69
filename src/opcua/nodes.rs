//! Nodes made of the table of `model`: types, objects, and their variables.
//!
//! No node is writable, and none can be called.

use super::model::{
    ARMED, BENCH, ENTRY, EVENTS, INSTRUMENT, Kind, Member, OUTCOME, READING, STATION,
};
use super::value::EVALUATIONS;
use opcua::nodes::{
    DataTypeBuilder, EventNotifier, ObjectBuilder, ObjectTypeBuilder, VariableBuilder,
};
use opcua::server::address_space::AddressSpace;
use opcua::types::{
    Array, DataTypeId, LocalizedText, NodeId, ObjectId, ObjectTypeId, QualifiedName,
    VariableTypeId, Variant, VariantScalarTypeId,
};

/// The identity of the node at a path.
pub(super) fn id(ns: u16, path: &str) -> NodeId {
    NodeId::new(ns, path.to_owned())
}

fn type_id(ns: u16, name: &str) -> NodeId {
    id(ns, &format!("Types/{name}"))
}

fn name_of(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or(path)
}

/// Makes the types. The server learns of them when it starts, so this comes before.
pub(super) fn make_types(space: &mut AddressSpace, ns: u16) {
    evaluations(space, ns);
    for kind in [&BENCH, &STATION, &ARMED, &READING, &OUTCOME, &INSTRUMENT] {
        let base = ObjectTypeId::BaseObjectType.into();
        make_type(space, ns, kind.name, kind, &base);
    }
    let base = ObjectTypeId::BaseEventType.into();
    make_type(space, ns, ENTRY.name, &ENTRY, &base);
    for (_, name, kind) in EVENTS {
        make_type(space, ns, name, kind, &type_id(ns, ENTRY.name));
    }
}

fn evaluations(space: &mut AddressSpace, ns: u16) {
    let name = "ResultEvaluationEnum";
    let node = type_id(ns, name);
    DataTypeBuilder::new(&node, QualifiedName::new(ns, name), name)
        .subtype_of(DataTypeId::Enumeration)
        .insert(space);
    let texts = EVALUATIONS.map(|text| Variant::from(LocalizedText::from(text)));
    let texts = Array::new(VariantScalarTypeId::LocalizedText, texts);
    let strings = id(ns, &format!("Types/{name}/EnumStrings"));
    VariableBuilder::new(
        &strings,
        QualifiedName::new(0, "EnumStrings"),
        "EnumStrings",
    )
    .data_type(DataTypeId::LocalizedText)
    .value_rank(1)
    .value(texts.map_or(Variant::Empty, Variant::from))
    .has_type_definition(VariableTypeId::PropertyType)
    .property_of(node)
    .insert(space);
}

/// A type of objects or events with the declarations of its members.
fn make_type(space: &mut AddressSpace, ns: u16, name: &str, kind: &Kind, base: &NodeId) {
    let node = type_id(ns, name);
    ObjectTypeBuilder::new(&node, QualifiedName::new(ns, name), name)
        .description(kind.about)
        .subtype_of(base.clone())
        .insert(space);
    let is_event = *base != ObjectTypeId::BaseObjectType;
    for member in kind.members {
        let path = format!("Types/{name}/{}", member.name);
        let variable =
            variable(ns, &path, member).has_modelling_rule(ObjectId::ModellingRule_Mandatory);
        if is_event {
            variable
                .has_type_definition(VariableTypeId::PropertyType)
                .property_of(node.clone())
                .insert(space);
        } else {
            variable
                .has_type_definition(VariableTypeId::BaseDataVariableType)
                .component_of(node.clone())
                .insert(space);
        }
    }
}

fn variable(ns: u16, path: &str, member: &Member) -> VariableBuilder {
    let of = member.form.data_type(&type_id(ns, "ResultEvaluationEnum"));
    let rank = if member.form.is_list() { 1 } else { -1 };
    VariableBuilder::new(
        &id(ns, path),
        QualifiedName::new(ns, member.name),
        member.name,
    )
    .description(member.about)
    .data_type(of)
    .value_rank(rank)
}

/// An object with its members, below `parent`.
pub(super) fn make_object(
    space: &mut AddressSpace,
    ns: u16,
    path: &str,
    kind: &Kind,
    parent: NodeId,
) {
    let name = name_of(path);
    let node = id(ns, path);
    ObjectBuilder::new(&node, QualifiedName::new(ns, name), name)
        .description(kind.about)
        .event_notifier(EventNotifier::SUBSCRIBE_TO_EVENTS)
        .has_type_definition(type_id(ns, kind.name))
        .component_of(parent)
        .insert(space);
    for member in kind.members {
        variable(ns, &format!("{path}/{}", member.name), member)
            .has_type_definition(VariableTypeId::BaseDataVariableType)
            .component_of(node.clone())
            .insert(space);
    }
}

pub(super) fn make_folder(space: &mut AddressSpace, ns: u16, path: &str, parent: &NodeId) {
    let name = name_of(path);
    space.add_folder(&id(ns, path), QualifiedName::new(ns, name), name, parent);
}
