//! Descriptions of the fields of entries and messages, by name. A name has one meaning everywhere, unless the doc
//! comment of the field describes it.

mod fields;

use fields::WORDS;
use schemars::Schema;
use schemars::transform::{Transform, transform_subschemas};
use serde_json::Value;

/// Adds a description to every field without one.
pub(super) struct Words;

impl Transform for Words {
    fn transform(&mut self, schema: &mut Schema) {
        if let Some(Value::Object(properties)) = schema.get_mut("properties") {
            for (name, property) in properties {
                let Value::Object(property) = property else {
                    continue;
                };
                let is_object = property.contains_key("$ref");
                if let Some(words) = of_object(name)
                    .filter(|_| is_object)
                    .or_else(|| words(name))
                    && !property.contains_key("description")
                {
                    property.insert("description".to_owned(), words.into());
                }
            }
        }
        transform_subschemas(self, schema);
    }
}

/// The description of a field that is an object, where a field of that name is something simpler elsewhere.
fn of_object(name: &str) -> Option<String> {
    let words = match name {
        "repeat" => {
            "the next series of a plan that repeats, after one is full and until it is opened"
        }
        "retracted" => "the reading that was retracted last, while it can be restored",
        _ => return None,
    };
    Some(words.to_owned())
}

/// The description of a field, with its unit.
fn words(name: &str) -> Option<String> {
    let said = |name: &str| WORDS.iter().find(|(known, _)| *known == name);
    if let Some((_, words)) = said(name) {
        return Some((*words).to_owned());
    }
    let (stem, unit) = [("_nm", "whole nanometres"), ("_mn", "whole millinewtons")]
        .into_iter()
        .find_map(|(end, unit)| Some((name.strip_suffix(end)?, unit)))?;
    let (_, words) = said(stem)?;
    Some(format!("{words}, in {unit}"))
}
