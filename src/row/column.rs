//! The columns of a table of readings: name, unit, type, and how the value is derived from a row.

use super::{Row, Slot};
use crate::quantity::{Decimal, Dimension, Quantity, Unit, WallMicros};

/// A value in a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cell<'r> {
    /// Text; it may come from people or configuration files, so it may hold any character.
    Text(&'r str),
    /// A whole number.
    Whole(i64),
    /// A decimal number, exact.
    Decimal(Decimal),
    /// Microseconds since 1970, UTC.
    Time(WallMicros),
}

/// The type of a column's values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnType {
    /// [`Cell::Text`].
    Text,
    /// [`Cell::Whole`].
    Whole,
    /// [`Cell::Decimal`] with at most this number of decimals.
    Decimal(u8),
    /// [`Cell::Time`].
    Time,
}

/// The tables that have a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TableKind {
    /// Tables of text and of typed values.
    Every,
    /// Tables of text, for people and spreadsheets.
    Text,
    /// Tables of typed values, for query engines.
    Typed,
}

/// Name, type and source of one column of every export.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// Name with its unit.
    pub name: &'static str,
    /// The unit of its numbers.
    pub unit: Option<&'static str>,
    /// Type of the values.
    pub kind: ColumnType,
    /// The tables that have it.
    pub form: TableKind,
    /// Description in words.
    pub says: &'static str,
    /// The value of a row; `None` if it is unknown or does not apply.
    pub cell: for<'r> fn(&'r Row<'_>) -> Option<Cell<'r>>,
}

type Get = for<'r> fn(&'r Row<'_>) -> Option<Cell<'r>>;

const fn every(name: &'static str, kind: ColumnType, says: &'static str, cell: Get) -> Column {
    Column {
        name,
        unit: None,
        kind,
        form: TableKind::Every,
        says,
        cell,
    }
}

const fn in_unit(unit: &'static str, form: TableKind, column: Column) -> Column {
    Column {
        unit: Some(unit),
        form,
        ..column
    }
}

/// A column of text tables only.
const fn in_text(
    name: &'static str,
    unit: &'static str,
    kind: ColumnType,
    says: &'static str,
    cell: Get,
) -> Column {
    in_unit(unit, TableKind::Text, every(name, kind, says, cell))
}

/// A column of whole base units, in typed tables only.
const fn base(name: &'static str, unit: &'static str, says: &'static str, cell: Get) -> Column {
    in_unit(unit, TableKind::Typed, every(name, Whole, says, cell))
}

use ColumnType::{Text, Time, Whole};

const MM: ColumnType = ColumnType::Decimal(6);
const N: ColumnType = ColumnType::Decimal(3);

/// Every column, in order. To add one: a row here, at the end of its group.
pub const COLUMNS: &[Column] = &[
    every("journal", Text, "name of the journal", |row| {
        Some(Cell::Text(row.journal))
    }),
    every("seq", Whole, "number of the entry in the journal", |row| {
        whole(Some(row.seq.0))
    }),
    every("at_utc", Time, "when it was entered", |row| {
        Some(Cell::Time(row.at))
    }),
    every("station", Text, "the station", |row| {
        Some(Cell::Text(row.station))
    }),
    every("instrument", Text, "the instrument", |row| {
        Some(Cell::Text(row.instrument))
    }),
    every("operator", Text, "who measured", |row| text(row.operator)),
    every(
        "series",
        Whole,
        "the series; empty where nothing was armed",
        |row| whole(row.slot.as_ref().map(|slot| slot.series.0)),
    ),
    every(
        "plan",
        Text,
        "the plan; empty where it was armed without one",
        |row| text(slot(row)?.plan),
    ),
    every("purpose", Text, "what the series is for", |row| {
        text(Some(slot(row)?.purpose))
    }),
    every(
        "production_run",
        Text,
        "the production run that the series is a sample of, by its id in the configuration",
        |row| text(slot(row)?.production_run),
    ),
    every("terminal", Text, "the terminal", |row| {
        text(slot(row)?.terminal)
    }),
    in_unit(
        "mm2",
        TableKind::Every,
        every("wire_mm2", MM, "the wire's size", |row| {
            Some(Cell::Decimal(slot(row)?.wire?.area.mm2()))
        }),
    ),
    every(
        "wire_gauge",
        Text,
        "the gauge that the wire was named by",
        |row| text(slot(row)?.wire?.gauge.as_deref()),
    ),
    every(
        "sizing",
        Text,
        "the system that led from gauge to size",
        |row| text(Some(slot(row)?.wire?.sizing.name())),
    ),
    every("tool", Text, "the crimp tool", |row| {
        text(slot(row)?.tool.map(|(id, _, _)| id))
    }),
    every("tool_class", Text, "what the tool was made for", |row| {
        text(slot(row)?.tool.map(|(_, class, _)| class))
    }),
    every("nest", Text, "the nest of the tool", |row| {
        text(slot(row)?.tool?.2)
    }),
    every("job", Text, "the job that the piece is for", |row| {
        text(slot(row)?.job.map(|job| job.id.as_str()))
    }),
    every("customer", Text, "for whom the job is", |row| {
        text(slot(row)?.job?.customer.as_deref())
    }),
    every(
        "item",
        Text,
        "the harness of the job: part number and revision",
        |row| text(slot(row)?.job?.item.as_deref()),
    ),
    every("serial", Text, "the serial number of the harness", |row| {
        text(slot(row)?.job?.serial.as_deref())
    }),
    every("terminal_lot", Text, "the lot of the terminals", |row| {
        text(slot(row)?.lots?.terminal.as_deref())
    }),
    every("wire_lot", Text, "the lot of the wire", |row| {
        text(slot(row)?.lots?.wire.as_deref())
    }),
    every("piece", Whole, "the piece of the series, from 1", |row| {
        whole(row.slot.as_ref().map(|slot| u64::from(slot.piece)))
    }),
    every("axis", Text, "what was measured", |row| {
        text(slot(row).map(|slot| slot.axis))
    }),
    in_text(
        "value",
        "as in `unit`",
        MM,
        "the value with the digits that its instrument showed",
        |row| Some(Cell::Decimal(row.value.digits())),
    ),
    every(
        "unit",
        Text,
        "the unit in which the instrument showed it",
        |row| Some(Cell::Text(row.value.unit().name())),
    ),
    in_unit(
        "mm",
        TableKind::Every,
        every("value_mm", MM, "the value, if it is a length", |row| {
            shown(row, Unit::Millimetre)
        }),
    ),
    in_text(
        "nominal_mm",
        "mm",
        MM,
        "nominal value of the sheet",
        |row| decimal(nominal(row), Unit::Millimetre),
    ),
    in_text("lower_mm", "mm", MM, "lower limit", |row| {
        decimal(lower(row), Unit::Millimetre)
    }),
    in_text("upper_mm", "mm", MM, "upper limit", |row| {
        decimal(upper(row), Unit::Millimetre)
    }),
    in_text("deviation_um", "µm", N, "value minus nominal", |row| {
        decimal(row.deviation, Unit::Micrometre)
    }),
    in_text(
        "resolution_mm",
        "mm",
        MM,
        "the resolution of the instrument; empty where nothing was armed",
        |row| decimal(row.resolution, Unit::Millimetre),
    ),
    in_unit(
        "N",
        TableKind::Every,
        every("value_n", N, "the value, if it is a force", |row| {
            shown(row, Unit::Newton)
        }),
    ),
    in_text("nominal_n", "N", N, "nominal value of the sheet", |row| {
        decimal(nominal(row), Unit::Newton)
    }),
    in_text("lower_n", "N", N, "lower limit", |row| {
        decimal(lower(row), Unit::Newton)
    }),
    in_text("upper_n", "N", N, "upper limit", |row| {
        decimal(upper(row), Unit::Newton)
    }),
    in_text("deviation_n", "N", N, "value minus nominal", |row| {
        decimal(row.deviation, Unit::Newton)
    }),
    in_text(
        "resolution_n",
        "N",
        N,
        "the resolution of the instrument; empty where nothing was armed",
        |row| decimal(row.resolution, Unit::Newton),
    ),
    base("value_nm", "nm", "the value, if it is a length", |row| {
        of(Some(row.value.quantity()), Dimension::Length)
    }),
    base("nominal_nm", "nm", "nominal value of the sheet", |row| {
        of(nominal(row), Dimension::Length)
    }),
    base("lower_nm", "nm", "lower limit", |row| {
        of(lower(row), Dimension::Length)
    }),
    base("upper_nm", "nm", "upper limit", |row| {
        of(upper(row), Dimension::Length)
    }),
    base("deviation_nm", "nm", "value minus nominal", |row| {
        of(row.deviation, Dimension::Length)
    }),
    base(
        "resolution_nm",
        "nm",
        "the resolution of the instrument; empty where nothing was armed",
        |row| of(row.resolution, Dimension::Length),
    ),
    base("value_mn", "mN", "the value, if it is a force", |row| {
        of(Some(row.value.quantity()), Dimension::Force)
    }),
    base("nominal_mn", "mN", "nominal value of the sheet", |row| {
        of(nominal(row), Dimension::Force)
    }),
    base("lower_mn", "mN", "lower limit", |row| {
        of(lower(row), Dimension::Force)
    }),
    base("upper_mn", "mN", "upper limit", |row| {
        of(upper(row), Dimension::Force)
    }),
    base("deviation_mn", "mN", "value minus nominal", |row| {
        of(row.deviation, Dimension::Force)
    }),
    base(
        "resolution_mn",
        "mN",
        "the resolution of the instrument; empty where nothing was armed",
        |row| of(row.resolution, Dimension::Force),
    ),
    every("pull_mode", Text, "how a pull test failed", |row| {
        text(row.pull_mode.map(crate::spec::PullMode::name))
    }),
    every("verdict", Text, "the verdict that was given", |row| {
        text(row.verdict.map(crate::spec::Verdict::name))
    }),
    every(
        "standing",
        Text,
        "counted, doubted (a zero no longer vouches for it), retracted (by the operator) or not_counted",
        |row| text(Some(row.standing.name())),
    ),
    every("reason", Text, "why it does not count", |row| {
        text(row.standing.reason().map(crate::entry::NotCounted::name))
    }),
];

impl Column {
    /// The columns of a text table: all but the whole numbers of base units.
    pub fn of_text() -> impl Iterator<Item = &'static Self> {
        COLUMNS
            .iter()
            .filter(|column| column.form != TableKind::Typed)
    }

    /// The columns of a typed table.
    pub fn of_typed() -> impl Iterator<Item = &'static Self> {
        COLUMNS
            .iter()
            .filter(|column| column.form != TableKind::Text)
    }
}

fn slot<'r>(row: &'r Row<'_>) -> Option<&'r Slot<'r>> {
    row.slot.as_ref()
}

fn text(text: Option<&str>) -> Option<Cell<'_>> {
    text.map(Cell::Text)
}

fn whole(number: Option<u64>) -> Option<Cell<'static>> {
    number
        .and_then(|number| i64::try_from(number).ok())
        .map(Cell::Whole)
}

fn nominal(row: &Row<'_>) -> Option<Quantity> {
    row.slot.as_ref()?.limits.nominal()
}

fn lower(row: &Row<'_>) -> Option<Quantity> {
    row.slot.as_ref()?.limits.lower()
}

fn upper(row: &Row<'_>) -> Option<Quantity> {
    row.slot.as_ref()?.limits.upper()
}

fn of(quantity: Option<Quantity>, dimension: Dimension) -> Option<Cell<'static>> {
    quantity
        .filter(|quantity| quantity.dimension() == dimension)
        .map(|quantity| Cell::Whole(quantity.base()))
}

/// The value in `unit`, with the digits of the instrument if it shows this unit.
fn shown(row: &Row<'_>, unit: Unit) -> Option<Cell<'static>> {
    if row.value.unit() == unit {
        return Some(Cell::Decimal(row.value.digits()));
    }
    decimal(Some(row.value.quantity()), unit)
}

/// The exact number in `unit`, with no more digits than needed.
fn decimal(quantity: Option<Quantity>, unit: Unit) -> Option<Cell<'static>> {
    let places = if unit == Unit::Millimetre { 6 } else { 3 };
    let exact = quantity?.in_unit(unit, places)?;
    let (mut coefficient, mut places) = (exact.coefficient(), exact.decimals());
    while places > 0 && coefficient % 10 == 0 {
        coefficient /= 10;
        places -= 1;
    }
    Some(Cell::Decimal(Decimal::new(coefficient, places)))
}
