//! The differences between two rows or two lines.

use super::Difference;
use crate::export::read::FileRows;
use crate::row::COLUMNS;
use serde_json::Value;

/// A value that differs: its column or field, what the file says, what the journal gives.
pub(super) struct Unlike {
    pub(super) about: String,
    pub(super) exported: Option<String>,
    pub(super) journal: Option<String>,
}

impl Unlike {
    pub(super) fn new(
        about: impl Into<String>,
        exported: Option<String>,
        journal: Option<String>,
    ) -> Self {
        let about = about.into();
        Self {
            about,
            exported,
            journal,
        }
    }
}

/// Compares the columns of the file with those that it was made with. Columns that no export has are ignored, because
/// another program added them.
pub fn column_differences(file_rows: &FileRows, made_with: &[String]) -> Vec<Difference> {
    let difference = |name: &String, exported: Option<&str>, journal: Option<&str>| {
        let text = |says: Option<&str>| says.map(str::to_owned);
        Difference::of_file(&format!("column {name}"), text(exported), text(journal))
    };
    let mut found = Vec::new();
    for name in made_with {
        if !COLUMNS.iter().any(|column| column.name == name) {
            let unknown = "a column that this release does not know";
            found.push(difference(name, Some(unknown), None));
        } else if !file_rows.names().contains(name) {
            found.push(difference(name, None, Some("a column of this file")));
        }
    }
    let known = file_rows.names().iter().zip(file_rows.columns());
    for (name, _) in known.filter(|(_, column)| column.is_some()) {
        if !made_with.contains(name) {
            found.push(difference(name, Some("a column"), None));
        }
    }
    found
}

/// Cells that differ.
pub(super) fn cell_differences(
    file_rows: &FileRows,
    cells: &[String],
    wanted: &[String],
    found: &mut Vec<Unlike>,
) {
    if wanted.len() != cells.len() {
        let count = |count: usize| Some(format!("{count} cells"));
        let about = "the number of cells".to_owned();
        found.push(Unlike::new(about, count(cells.len()), count(wanted.len())));
    }
    let columns = file_rows.names().iter().zip(file_rows.columns());
    for ((name, column), (got, want)) in columns.zip(cells.iter().zip(wanted)) {
        if got != want && column.is_some() {
            let known = |text: &String| Some(text.clone()).filter(|text| !text.is_empty());
            found.push(Unlike::new(name.clone(), known(got), known(want)));
        }
    }
}

/// Fields that differ; the whole line if it is the same entry in another form.
pub(super) fn line_differences(got: &[u8], want: &[u8], found: &mut Vec<Unlike>) {
    let before = found.len();
    let value = |line: &[u8]| serde_json::from_slice::<Value>(line).ok();
    if let (Some(got), Some(want)) = (value(got), value(want)) {
        walk("", Some(&got), Some(&want), found);
    }
    if found.len() == before {
        let text = |line: &[u8]| Some(String::from_utf8_lossy(line).into_owned());
        found.push(Unlike::new("the line".to_owned(), text(got), text(want)));
    }
}

fn walk(path: &str, got: Option<&Value>, want: Option<&Value>, found: &mut Vec<Unlike>) {
    if got == want {
        return;
    }
    if let (Some(Value::Array(left)), Some(Value::Array(right))) = (got, want)
        && left.len() == right.len()
    {
        for (nth, (got, want)) in left.iter().zip(right).enumerate() {
            walk(&format!("{path}[{nth}]"), Some(got), Some(want), found);
        }
        return;
    }
    let (Some(Value::Object(left)), Some(Value::Object(right))) = (got, want) else {
        let text = |value: Option<&Value>| {
            value.map(|value| {
                value
                    .as_str()
                    .map_or_else(|| value.to_string(), str::to_owned)
            })
        };
        found.push(Unlike::new(path.to_owned(), text(got), text(want)));
        return;
    };
    let only_left = left.keys().filter(|key| !right.contains_key(*key));
    for key in right.keys().chain(only_left) {
        let below = if path.is_empty() {
            key.clone()
        } else {
            format!("{path}.{key}")
        };
        walk(&below, left.get(key), right.get(key), found);
    }
}
