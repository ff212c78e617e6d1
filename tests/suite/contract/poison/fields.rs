//! The fields of a message, however deep, and how one is set.

use prost_reflect::{DynamicMessage, FieldDescriptor, Kind, MessageDescriptor, ReflectMessage, Value};
use std::collections::BTreeSet;

/// Messages that are one value to whoever sends them.
const WHOLE: [&str; 2] = ["google.protobuf.Timestamp", "holt.v1.Day"];

/// A message within a message within a message: no request says anything deeper.
const DEEPEST: usize = 5;

/// A field that holds one value, with the way to it.
pub(super) struct Field {
    pub(super) path: Vec<FieldDescriptor>,
    pub(super) kind: Kind,
}

/// Every field of a message that holds a value.
pub(super) fn leaves(message: &MessageDescriptor) -> Vec<Field> {
    let mut found = Vec::new();
    descend(message, &mut Vec::new(), &mut found);
    found
}

fn descend(message: &MessageDescriptor, path: &mut Vec<FieldDescriptor>, found: &mut Vec<Field>) {
    for field in message.fields() {
        path.push(field.clone());
        match field.kind() {
            Kind::Message(inner) if !WHOLE.contains(&inner.full_name()) => {
                if path.len() < DEEPEST {
                    descend(&inner, path, found);
                }
            }
            kind => found.push(Field { path: path.clone(), kind }),
        }
        path.pop();
    }
}

/// Puts a value where a path leads; of a list, into its first entry.
pub(super) fn set(message: &mut DynamicMessage, path: &[FieldDescriptor], value: Value) {
    let (field, rest) = path.split_first().unwrap();
    let held = message.get_field_mut(field);
    let place = match held {
        Value::List(list) => {
            if list.is_empty() {
                list.push(Value::default_value(&field.kind()));
            }
            &mut list[0]
        }
        one => one,
    };
    match place {
        Value::Message(inner) if !rest.is_empty() => set(inner, rest, value),
        place => *place = value,
    }
}

/// Whether an answer refuses a part of what was asked, as those do that answer one thing after another.
pub(super) fn refuses(answer: &DynamicMessage) -> bool {
    answer.fields().any(|(_, value)| match value {
        Value::Message(inner) => is_refusal(inner),
        Value::List(list) => list.iter().filter_map(Value::as_message).any(is_refusal),
        _ => false,
    })
}

fn is_refusal(message: &DynamicMessage) -> bool {
    let descriptor = message.descriptor();
    descriptor.name().ends_with("Refusal") || descriptor.name() == "Flaw" || refuses(message)
}

/// Every accession that a message tells.
pub(super) fn accessions(message: &DynamicMessage, told: &mut BTreeSet<String>) {
    for (field, value) in message.fields() {
        match value {
            Value::String(text) if field.name() == "accession" && !text.is_empty() => {
                told.insert(text.clone());
            }
            Value::Message(inner) => accessions(inner, told),
            Value::List(list) => list.iter().filter_map(Value::as_message).for_each(|m| accessions(m, told)),
            _ => {}
        }
    }
}
