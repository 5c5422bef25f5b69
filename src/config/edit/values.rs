//! Converts values of a request to TOML, and values of a file to JSON.

use super::{EditError, List, Listed, place};
use serde_json::{Map, Number, Value as Json};
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value};

/// A new entry with its header.
pub(super) fn block(list: List, values: &Map<String, Json>) -> Result<String, EditError> {
    let mut list_of_one = ArrayOfTables::new();
    list_of_one.push(table(values)?);
    let mut document = DocumentMut::new();
    let item = Item::ArrayOfTables(list_of_one);
    if list == List::Row {
        let mut terminal = Table::new();
        terminal.set_implicit(true);
        terminal.insert("row", item);
        document.insert(list.key(), Item::Table(terminal));
    } else {
        document.insert(list.key(), item);
    }
    Ok(document.to_string())
}

/// A new table `[key]`.
pub(super) fn table_block(key: &str, values: &Map<String, Json>) -> Result<String, EditError> {
    let mut document = DocumentMut::new();
    document.insert(key, Item::Table(table(values)?));
    Ok(document.to_string())
}

/// The text of one entry after setting other values.
pub(super) fn set(own: &str, list: List, values: &Map<String, Json>) -> Result<String, EditError> {
    edited(
        own,
        |root| {
            let mut found = root.get_mut(list.key())?;
            if list == List::Row {
                found = found.as_table_like_mut()?.get_mut("row")?;
            }
            found.as_array_of_tables_mut()?.get_mut(0)
        },
        values,
        list,
    )
}

/// The text of one table after setting other values.
pub(super) fn set_table(
    own: &str,
    key: &str,
    values: &Map<String, Json>,
) -> Result<String, EditError> {
    edited(
        own,
        |root| root.get_mut(key)?.as_table_mut(),
        values,
        List::Tool,
    )
}

fn edited(
    own: &str,
    find: impl FnOnce(&mut Table) -> Option<&mut Table>,
    values: &Map<String, Json>,
    list: List,
) -> Result<String, EditError> {
    let unended = !own.ends_with('\n');
    let lines = own.replace("\r\n", "\n");
    let mut document: DocumentMut =
        lines
            .parse()
            .map_err(|error: toml_edit::TomlError| EditError::NotToml {
                message: error.message().to_owned(),
            })?;
    let table = find(document.as_table_mut()).ok_or(EditError::NoSuch { list, at: 0 })?;
    merge(table, values)?;
    let mut text = document.to_string();
    if unended && text.ends_with('\n') {
        text.pop();
    }
    Ok(text)
}

/// Sets keys that have a value, and removes keys with null. A key that already has its value is not touched.
fn merge(table: &mut dyn TableLike, values: &Map<String, Json>) -> Result<(), EditError> {
    for (key, value) in in_order(values) {
        if value.is_null() {
            table.remove(key);
            continue;
        }
        match (table.get_mut(key), value) {
            (Some(item), value) if json_of(item).as_ref() == Some(value) => {}
            (Some(Item::ArrayOfTables(list)), Json::Array(wanted)) if are_tables(wanted) => {
                merge_list(list, wanted)?;
                if list.is_empty() {
                    table.remove(key);
                }
            }
            (Some(item), Json::Object(wanted)) if item.as_table_like().is_some() => {
                if let Some(below) = item.as_table_like_mut() {
                    merge(below, wanted)?;
                }
            }
            (Some(Item::Value(old)), value) if !are_headed(value) => {
                let mut new = value_of(key, value)?;
                *new.decor_mut() = old.decor().clone();
                *old = new;
            }
            (Some(_) | None, value) => {
                table.insert(key, item_of(key, value)?);
            }
        }
    }
    Ok(())
}

/// Sets the tables of a list. A table that stays keeps its comments; it is recognized by its `id`, or if that is new,
/// by its index.
fn merge_list(list: &mut ArrayOfTables, wanted: &[Json]) -> Result<(), EditError> {
    let id = |table: &Table| table.get("id").and_then(json_of);
    let wanted: Vec<&Map<String, Json>> = wanted.iter().filter_map(Json::as_object).collect();
    let mut old: Vec<Option<Table>> = list.iter().cloned().map(Some).collect();
    let mut kept = ArrayOfTables::new();
    for (number, values) in wanted.iter().enumerate() {
        let same_id = |table: &Option<Table>| {
            let id = table.as_ref().and_then(id);
            id.is_some() && id.as_ref() == values.get("id")
        };
        let renamed = |table: &Table| {
            let id = id(table);
            !wanted.iter().any(|values| values.get("id") == id.as_ref())
        };
        let at = old.iter().position(same_id).or_else(|| {
            let same_number = old.get(number).and_then(Option::as_ref)?;
            renamed(same_number).then_some(number)
        });
        let Some(mut table) = at.and_then(|at| old.get_mut(at)).and_then(Option::take) else {
            kept.push(self::table(values)?);
            continue;
        };
        let keys: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
        for gone in keys.iter().filter(|key| !values.contains_key(*key)) {
            table.remove(gone);
        }
        merge(&mut table, values)?;
        kept.push(table);
    }
    *list = kept;
    Ok(())
}

fn table(values: &Map<String, Json>) -> Result<Table, EditError> {
    let mut table = Table::new();
    for (key, value) in in_order(values) {
        if !value.is_null() {
            table.insert(key, item_of(key, value)?);
        }
    }
    Ok(table)
}

/// The usual order of keys in an entry: its name first, then its purpose; other keys follow.
const ORDER: [&str; 14] = [
    "id",
    "name",
    "source",
    "class",
    "terminals",
    "terminal",
    "wire",
    "wires",
    "sizing",
    "axes",
    "order",
    "pieces",
    "purpose",
    "tool",
];

fn in_order(values: &Map<String, Json>) -> Vec<(&String, &Json)> {
    let mut pairs: Vec<_> = values.iter().collect();
    let rank = |key: &str| ORDER.iter().position(|known| *known == key);
    pairs.sort_by_key(|(key, _)| rank(key).unwrap_or(ORDER.len()));
    pairs
}

/// Whether the value is a list of tables, each of which gets a header.
fn are_headed(value: &Json) -> bool {
    value
        .as_array()
        .is_some_and(|items| are_tables(items) && !items.is_empty())
}

fn are_tables(items: &[Json]) -> bool {
    items.iter().all(Json::is_object)
}

fn item_of(key: &str, value: &Json) -> Result<Item, EditError> {
    let Some(items) = value.as_array().filter(|_| are_headed(value)) else {
        return Ok(Item::Value(value_of(key, value)?));
    };
    let mut list = ArrayOfTables::new();
    for item in items.iter().filter_map(Json::as_object) {
        list.push(table(item)?);
    }
    Ok(Item::ArrayOfTables(list))
}

fn value_of(key: &str, value: &Json) -> Result<Value, EditError> {
    let wrong = |got| EditError::Value {
        key: key.to_owned(),
        got,
    };
    Ok(match value {
        Json::Null => return Err(wrong("null")),
        Json::Bool(value) => Value::from(*value),
        // Every JSON number is also a TOML number.
        Json::Number(number) => number
            .to_string()
            .parse()
            .map_err(|_| wrong("a number too large"))?,
        Json::String(text) => Value::from(text.as_str()),
        Json::Array(items) => {
            let items = items.iter().map(|item| value_of(key, item));
            Value::Array(items.collect::<Result<Array, _>>()?)
        }
        Json::Object(object) => {
            let mut table = InlineTable::new();
            for (key, value) in object.iter().filter(|(_, value)| !value.is_null()) {
                table.insert(key, value_of(key, value)?);
            }
            Value::InlineTable(table)
        }
    })
}

pub(super) fn listed(text: &str, list: List) -> Result<Vec<Listed>, EditError> {
    let document = place::parsed(text)?;
    let Some(Item::ArrayOfTables(tables)) = document.as_table().get(list.key()) else {
        return Ok(Vec::new());
    };
    let one = |table: &Table| {
        let mut values = object_of(table);
        let rows = match values.remove("row") {
            Some(Json::Array(rows)) if list == List::Terminal => rows,
            Some(other) => {
                values.insert("row".to_owned(), other);
                Vec::new()
            }
            None => Vec::new(),
        };
        let rows = rows.into_iter().filter_map(|row| match row {
            Json::Object(row) => Some(row),
            Json::Null | Json::Bool(_) | Json::Number(_) | Json::String(_) | Json::Array(_) => None,
        });
        Listed {
            values,
            rows: rows.collect(),
        }
    };
    Ok(tables.iter().map(one).collect())
}

fn object_of(table: &dyn TableLike) -> Map<String, Json> {
    let pairs = table.iter();
    pairs
        .filter_map(|(key, item)| Some((key.to_owned(), json_of(item)?)))
        .collect()
}

fn json_of(item: &Item) -> Option<Json> {
    match item {
        Item::None => None,
        Item::Value(value) => Some(json_of_value(value)),
        Item::Table(table) => Some(Json::Object(object_of(table))),
        Item::ArrayOfTables(list) => {
            let tables = list.iter().map(|table| Json::Object(object_of(table)));
            Some(Json::Array(tables.collect()))
        }
    }
}

fn json_of_value(value: &Value) -> Json {
    match value {
        Value::String(text) => Json::String(text.value().clone()),
        Value::Integer(number) => Json::Number((*number.value()).into()),
        Value::Float(number) => Number::from_f64(*number.value()).map_or_else(
            || Json::String(number.display_repr().into_owned()),
            Json::Number,
        ),
        Value::Boolean(value) => Json::Bool(*value.value()),
        Value::Datetime(moment) => Json::String(moment.display_repr().into_owned()),
        Value::Array(items) => Json::Array(items.iter().map(json_of_value).collect()),
        Value::InlineTable(table) => Json::Object(object_of(table)),
    }
}
