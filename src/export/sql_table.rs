//! Rows as a table of a `PostgreSQL` database: the statements that make the tables, and the one that puts rows into them.
//!
//! - A row has every column of every export. Journal and seq are its key, so that a row that comes again replaces itself.
//! - Values go as text within one JSON value; the database makes numbers and times of them, digit by digit.

use crate::row::{COLUMNS, Cell, Column, ColumnType, Row};
use serde_json::{Map, Value};
use std::fmt::Write as _;

/// The table of readings.
pub(crate) const READINGS: &str = "tallyjaw_readings";
/// The table of journals, with the last entry that the rows include.
pub(crate) const JOURNALS: &str = "tallyjaw_journals";

/// Columns that every row has a value for.
const ALWAYS: [&str; 6] = [
    "journal",
    "seq",
    "at_utc",
    "station",
    "instrument",
    "standing",
];

const fn sql_type(kind: ColumnType) -> &'static str {
    match kind {
        ColumnType::Text => "text",
        ColumnType::Whole => "bigint",
        ColumnType::Decimal(_) => "numeric",
        ColumnType::Time => "timestamptz",
    }
}

/// The statements that make the tables, if they are not there.
pub(crate) fn tables() -> String {
    let mut sql = format!("CREATE TABLE IF NOT EXISTS {READINGS} (\n");
    for column in COLUMNS {
        let Column { name, kind, .. } = column;
        let always = if ALWAYS.contains(name) {
            " NOT NULL"
        } else {
            ""
        };
        let _ = writeln!(sql, "    \"{name}\" {}{always},", sql_type(*kind));
    }
    let _ = write!(
        sql,
        "    PRIMARY KEY (\"journal\", \"seq\")\n);\n\
         CREATE INDEX IF NOT EXISTS {READINGS}_at_utc ON {READINGS} (\"at_utc\");\n\
         CREATE TABLE IF NOT EXISTS {JOURNALS} (\n    \
             \"journal\" text PRIMARY KEY,\n    \
             \"seq\" bigint NOT NULL,\n    \
             \"digest\" text NOT NULL,\n    \
             \"reads_after\" bigint NOT NULL\n);\n"
    );
    for Column {
        name, unit, says, ..
    } in COLUMNS
    {
        let unit = unit.map_or(String::new(), |unit| format!(", {unit}"));
        let says = format!("{says}{unit}").replace('\'', "''");
        let _ = writeln!(sql, "COMMENT ON COLUMN {READINGS}.\"{name}\" IS '{says}';");
    }
    for (name, says) in [
        ("seq", "the last entry that the rows include"),
        ("digest", "SHA-256 of the line of that entry"),
        ("reads_after", "the sink must read on after this entry"),
    ] {
        let _ = writeln!(sql, "COMMENT ON COLUMN {JOURNALS}.\"{name}\" IS '{says}';");
    }
    sql
}

/// The statement that puts rows into the table and moves the journal's place, both or neither. Its parameters: the rows
/// as a JSON list, journal, seq, digest, and the entry to read on after.
pub(crate) fn upsert() -> String {
    let names: Vec<_> = COLUMNS
        .iter()
        .map(|column| format!("\"{}\"", column.name))
        .collect();
    let sets: Vec<_> = names
        .iter()
        .map(|name| format!("{name} = EXCLUDED.{name}"))
        .collect();
    let (names, sets) = (names.join(", "), sets.join(", "));
    format!(
        "WITH taken AS (INSERT INTO {READINGS} ({names}) \
         SELECT {names} FROM jsonb_populate_recordset(NULL::{READINGS}, $1::text::jsonb) \
         ON CONFLICT (\"journal\", \"seq\") DO UPDATE SET {sets}) \
         INSERT INTO {JOURNALS} (\"journal\", \"seq\", \"digest\", \"reads_after\") \
         VALUES ($2::text, $3::bigint, $4::text, $5::bigint) \
         ON CONFLICT (\"journal\") DO UPDATE SET \"seq\" = EXCLUDED.\"seq\", \
         \"digest\" = EXCLUDED.\"digest\", \"reads_after\" = EXCLUDED.\"reads_after\""
    )
}

/// A row as the JSON object that [`upsert`] takes. A database cannot store the character NUL in a text.
pub(crate) fn object(row: &Row<'_>) -> Value {
    let cell = |column: &Column| {
        let value = match (column.cell)(row)? {
            Cell::Text(text) => text.replace('\0', "\u{fffd}"),
            Cell::Whole(number) => number.to_string(),
            Cell::Decimal(number) => number.to_string(),
            Cell::Time(at) => at.to_string(),
        };
        Some((column.name.to_owned(), Value::String(value)))
    };
    Value::Object(COLUMNS.iter().filter_map(cell).collect::<Map<_, _>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_column_is_in_the_table_and_in_the_statement() {
        let (tables, upsert) = (tables(), upsert());
        for column in COLUMNS {
            let made = format!("    \"{}\" {}", column.name, sql_type(column.kind));
            assert!(tables.contains(&made), "{made}");
            let set = format!("\"{0}\" = EXCLUDED.\"{0}\"", column.name);
            assert!(upsert.contains(&set), "{set}");
        }
    }
}
