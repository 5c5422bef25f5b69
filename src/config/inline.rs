//! Reads a plan that a request contains. The JSON object has the keys of a `[[plan]]`, and the same code reads both.
//!
//! In: an object of a request. Out: the plan, or every fault with the JSON pointer of its value.

use super::diagnostic::Source;
use super::faults::{Faults, FileId, Role};
use super::plan::{Given, PLAN, keys};
use super::table::Table;
use crate::spec::Plan;
use crate::spec::resolve::sentence;
use serde_json::{Map, Value};
use std::borrow::Cow;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A fault in a value of a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RequestFault {
    /// JSON pointer of the value in the request.
    pub pointer: String,
    /// What was found and what is expected.
    pub message: String,
    /// What to do; `None` if the message says it all.
    pub remedy: Option<String>,
}

/// Reads the plan in `params`, whose JSON pointer is `pointer`. `beside`: further keys that are allowed there.
///
/// # Errors
///
/// All faults, in the order of the values.
pub fn inline_plan(
    params: &Map<String, Value>,
    pointer: &str,
    beside: &[&'static str],
) -> Result<Plan, Vec<RequestFault>> {
    let mut numbers = Vec::new();
    params
        .values()
        .for_each(|value| collect(value, &mut numbers));
    let mut request = Request {
        pointers: String::new(),
        numbers: numbers.iter(),
    };
    let params = request.table(pointer, params);
    let source = Source {
        path: "request".into(),
        text: request.pointers,
    };
    let mut faults = Faults::default();
    let file: FileId = faults.add_file(Role::Request, &source);
    let mut table = Table::request(&params, file, PLAN, beside);
    let plan = keys(&mut table, Given::Inline, &mut faults);
    table.finish(&mut faults);
    let (found, _) = faults.finish();
    match plan.filter(|_| found.is_empty()) {
        Some(plan) => Ok(plan),
        None => Err(found
            .into_iter()
            .map(|fault| RequestFault {
                pointer: source.text.get(fault.span).unwrap_or("").to_owned(),
                message: sentence(&fault.message, &fault.label),
                remedy: fault.help,
            })
            .collect()),
    }
}

/// Converts a request into the form of a parsed file. Its text has one line for each value, which holds the pointer,
/// and that line is the place of the value.
struct Request<'n> {
    pointers: String,
    numbers: std::slice::Iter<'n, String>,
}

impl<'n> Request<'n> {
    fn place<T>(&mut self, pointer: &str, value: T) -> Spanned<T> {
        let start = self.pointers.len();
        self.pointers.push_str(pointer);
        let placed = Spanned::new(start..self.pointers.len(), value);
        self.pointers.push('\n');
        placed
    }

    /// Converts an object. Keys whose value is null are left out.
    fn table(&mut self, pointer: &str, object: &Map<String, Value>) -> Spanned<DeTable<'n>> {
        let mut table = self.place(pointer, DeTable::new());
        for (key, value) in object {
            let escaped = key.replace('~', "~0").replace('/', "~1");
            let pointer = format!("{pointer}/{escaped}");
            if let Some(value) = self.value(&pointer, value) {
                let key = Spanned::new(value.span(), Cow::Owned(key.clone()));
                table.get_mut().insert(key, value);
            }
        }
        table
    }

    fn value(&mut self, pointer: &str, value: &Value) -> Option<Spanned<DeValue<'n>>> {
        let value = match value {
            Value::Null => return None,
            Value::Bool(value) => DeValue::Boolean(*value),
            // A JSON number is always a valid TOML number.
            Value::Number(_) => DeValue::parse(self.numbers.next()?).ok()?.into_inner(),
            Value::String(text) => DeValue::String(Cow::Owned(text.clone())),
            Value::Array(items) => {
                let list = self.place(pointer, ());
                let items = items.iter().enumerate();
                let items =
                    items.filter_map(|(at, item)| self.value(&format!("{pointer}/{at}"), item));
                let value = DeValue::Array(items.collect());
                return Some(Spanned::new(list.span(), value));
            }
            Value::Object(object) => {
                let table = self.table(pointer, object);
                return Some(Spanned::new(
                    table.span(),
                    DeValue::Table(table.into_inner()),
                ));
            }
        };
        Some(self.place(pointer, value))
    }
}

/// Collects numbers as written, in the order in which [`Request::value`] visits them.
fn collect(value: &Value, numbers: &mut Vec<String>) {
    match value {
        Value::Null | Value::Bool(_) | Value::String(_) => {}
        Value::Number(number) => numbers.push(number.to_string()),
        Value::Array(items) => items.iter().for_each(|item| collect(item, numbers)),
        Value::Object(object) => object.values().for_each(|item| collect(item, numbers)),
    }
}
