//! Every reading that counts: a line for each piece, with its axes side by side, in as many blocks as fit.
//!
//! A few readings fit on the sheet of their series. If there are many, the sheet has their picture, and the readings
//! are on further sheets, where each block has a heading.

use super::table::{number, shape, td, th};
use super::{about, heading};
use crate::entry::words as entry_words;
use crate::markup::{Element, el, free};
use crate::quantity::Unit;
use crate::report::facts::{Facts, ReportReading};
use crate::report::words;
use crate::spec::{ArmedAxis, Verdict};
use std::collections::BTreeSet;

/// Number of axes that fit side by side.
const AXES: usize = 4;
/// Lines that the sheet of a series has room for.
const LINES: usize = 14;
/// Up to this many pieces stand in one block.
const ONE_BLOCK: usize = 8;
/// Lines of a block on a sheet of its own.
const BLOCK: usize = 10;

/// Whether there are more readings than the sheet has room for.
pub(super) fn is_long(facts: &Facts) -> bool {
    lines(facts) > LINES
}

/// The readings on the sheet itself; only their number if there are too many.
pub(super) fn here(facts: &Facts) -> Vec<Element> {
    if is_long(facts) {
        let all = facts.readings.iter();
        let all = all.filter(|row| row.verdict().is_some()).count();
        let said = el("p").about(format!("{}, where the readings are", about(facts)));
        return vec![said.text(format!(
            "{} count; all of them follow after the signature.",
            words::count(all, "reading")
        ))];
    }
    groups(facts)
        .into_iter()
        .map(|group| blocks(facts, &group, &group.rows))
        .collect()
}

/// The readings on sheets of their own, if the sheet of the series has no room for them.
pub(super) fn continued(facts: &Facts, level: usize) -> Option<Element> {
    if !is_long(facts) {
        return None;
    }
    let id = facts.record.series.id;
    let mut section = el("section")
        .class("continued")
        .child(heading(level, format!("Every reading of series {id}")));
    for group in groups(facts) {
        for rows in group.rows.chunks(BLOCK * group.beside) {
            section = section.child(blocks(facts, &group, rows));
        }
    }
    Some(section)
}

/// Lines that the readings take.
pub(super) fn lines(facts: &Facts) -> usize {
    let groups = groups(facts);
    let lines = groups
        .iter()
        .map(|group| group.rows.len().div_ceil(group.beside));
    lines.sum()
}

/// Axes side by side, and a line for each piece.
struct Group<'f> {
    columns: Vec<Column<'f>>,
    rows: Vec<Row<'f>>,
    /// The number of blocks side by side.
    beside: usize,
}

/// An axis, or the gauge blocks.
struct Column<'f> {
    /// The text above it.
    name: String,
    /// The unit of all its values; `None` if their units differ.
    unit: Option<Unit>,
    /// The largest number of decimals of a value and of a deviation.
    decimals: usize,
    /// Operator and instrument, if they differ from reading to reading.
    has_who: bool,
    of_blocks: bool,
    readings: Vec<&'f ReportReading>,
}

/// A piece, or one measurement of a gauge block; a reading for each column.
struct Row<'f> {
    heads: Vec<String>,
    readings: Vec<Option<&'f ReportReading>>,
}

fn groups(facts: &Facts) -> Vec<Group<'_>> {
    let axes = &facts.record.series.spec.axes;
    if facts.is_of_blocks() {
        return vec![of_blocks(facts)];
    }
    axes.chunks(AXES)
        .map(|axes| {
            let columns: Vec<Column> = axes.iter().map(|axis| Column::of(facts, axis)).collect();
            let rows = rows(facts, &columns);
            let most = match (columns.len(), columns.iter().any(|column| column.has_who)) {
                (1, false) => 3,
                (1, true) | (2, false) => 2,
                _ => 1,
            };
            let beside = if rows.len() > ONE_BLOCK { most } else { 1 };
            Group {
                columns,
                rows,
                beside,
            }
        })
        .collect()
}

/// A line for each piece; without a reading that counts, the piece has no line.
fn rows<'f>(facts: &Facts, columns: &[Column<'f>]) -> Vec<Row<'f>> {
    let piece = |row: &&ReportReading| row.slot().map_or(0, |slot| slot.piece);
    let last = columns.iter().flat_map(|column| &column.readings);
    let last = last.map(piece).max().unwrap_or(0);
    let is_full = facts.outcome().is_some();
    let pieces = 1..=last.max(if is_full { 0 } else { last });
    pieces
        .map(|number| Row {
            heads: vec![number.to_string()],
            readings: columns
                .iter()
                .map(|column| {
                    let mut of = column.readings.iter();
                    of.find(|row| piece(row) == number).copied()
                })
                .collect(),
        })
        .collect()
}

fn of_blocks(facts: &Facts) -> Group<'_> {
    let axes = facts.record.series.spec.axes.iter();
    let readings: Vec<&ReportReading> = axes.flat_map(|axis| counted(facts, axis)).collect();
    let rows: Vec<Row> = readings
        .iter()
        .filter_map(|row| {
            let slot = row.slot()?;
            Some(Row {
                heads: vec![slot.axis.words(), slot.piece.to_string()],
                readings: vec![Some(*row)],
            })
        })
        .collect();
    let column = Column {
        of_blocks: true,
        ..Column::new("what was shown".to_owned(), facts, readings)
    };
    let beside = if rows.len() > ONE_BLOCK && !column.has_who {
        2
    } else {
        1
    };
    Group {
        columns: vec![column],
        rows,
        beside,
    }
}

fn counted<'f>(facts: &'f Facts, axis: &'f ArmedAxis) -> Vec<&'f ReportReading> {
    let counts = |row: &&ReportReading| row.verdict().is_some();
    facts.on(axis).filter(counts).collect()
}

impl<'f> Column<'f> {
    fn of(facts: &'f Facts, axis: &'f ArmedAxis) -> Self {
        Self::new(axis.name.words(), facts, counted(facts, axis))
    }

    fn new(name: String, facts: &Facts, readings: Vec<&'f ReportReading>) -> Self {
        let units: Vec<Unit> = readings
            .iter()
            .map(|row| row.reading.value.unit())
            .collect();
        let first = units.first().copied();
        let decimals = readings
            .iter()
            .map(|row| row.reading.value.digits().decimals());
        let instruments: BTreeSet<&str> = readings
            .iter()
            .map(|row| &*row.reading.instrument)
            .collect();
        Self {
            name,
            unit: first.filter(|first| units.iter().all(|unit| unit == first)),
            decimals: decimals.max().unwrap_or(0).into(),
            has_who: facts.operators.len() > 1 || instruments.len() > 1,
            of_blocks: false,
            readings,
        }
    }

    fn width(&self) -> usize {
        3 + usize::from(self.has_who)
    }

    /// A number with its decimals under those of the others; with its unit where units differ.
    fn aligned(&self, text: &str) -> String {
        let Some(unit) = self.unit else {
            return text.to_owned();
        };
        let digits = text.strip_suffix(&format!(" {unit}")).unwrap_or(text);
        let decimals = digits
            .split_once('.')
            .map_or(0, |(_, decimals)| decimals.len());
        let point = if decimals == 0 && self.decimals > 0 {
            "\u{2008}"
        } else {
            ""
        };
        let missing = self.decimals.saturating_sub(decimals);
        format!("{digits}{point}{}", "\u{2007}".repeat(missing))
    }
}

/// The lines in blocks side by side; each block is a table with a heading.
fn blocks(facts: &Facts, group: &Group<'_>, rows: &[Row<'_>]) -> Element {
    if rows.is_empty() {
        let about = format!("{}, readings", about(facts));
        return el("p").about(about).text("No reading counts.");
    }
    let each = rows.len().div_ceil(group.beside);
    let tables = rows
        .chunks(each.max(1))
        .map(|rows| block(facts, group, rows));
    el("div")
        .class(format!("blocks of{}", group.beside))
        .children(tables)
}

fn block(facts: &Facts, group: &Group<'_>, rows: &[Row<'_>]) -> Element {
    let first = rows.first().and_then(|row| row.heads.first());
    let last = rows.last().and_then(|row| row.heads.first());
    let caption = match (facts.is_of_blocks(), first, last) {
        (false, Some(first), Some(last)) => format!("Readings of pieces {first} to {last}"),
        _ => "What was shown for each gauge block".to_owned(),
    };
    el("table")
        .class("readings")
        .child(el("caption").text(caption))
        .child(head(group))
        .child(el("tbody").children(rows.iter().map(|row| line(facts, group, row))))
}

/// The names of the axes with their units, and under each what its columns are.
fn head(group: &Group<'_>) -> Element {
    let is_of_blocks = group.columns.iter().any(|column| column.of_blocks);
    let scoped = |text: &str| el("th").with("scope", "col").text(text);
    let of_row: &[&str] = if is_of_blocks {
        &["Block", "Time"]
    } else {
        &["Piece"]
    };
    let of_row = of_row.iter().map(|text| scoped(text).with("rowspan", "2"));
    let mut names = el("tr").children(of_row);
    let mut parts = el("tr");
    for column in &group.columns {
        let unit = column.unit.map(|unit| format!(", {unit}"));
        names = names.child(
            el("th")
                .with("scope", "colgroup")
                .with("colspan", column.width().to_string())
                .class("of")
                .child(free(super::capital(&column.name)))
                .text(unit.unwrap_or_default()),
        );
        let second = if column.of_blocks {
            "Error"
        } else {
            "Deviation"
        };
        parts = parts.child(scoped("Value").class("n of"));
        parts = parts.child(scoped(second).class("n"));
        parts = parts.child(scoped("Verdict").class("v"));
        if column.has_who {
            parts = parts.child(scoped("By"));
        }
    }
    el("thead").child(names).child(parts)
}

fn line(facts: &Facts, group: &Group<'_>, row: &Row<'_>) -> Element {
    let about = format!("{}, piece {}", about(facts), row.heads.join(", time "));
    let mut heads = row.heads.iter();
    let first = heads.next().map(|text| th(text.as_str()));
    let rest = heads.map(|text| number(text.as_str()).about(format!("{about}, which time")));
    let mut line = el("tr")
        .about(about.as_str())
        .children(first)
        .children(rest);
    for (column, reading) in group.columns.iter().zip(&row.readings) {
        line = line.children(cells(facts, column, *reading, &about));
    }
    line
}

fn cells(
    facts: &Facts,
    column: &Column<'_>,
    reading: Option<&ReportReading>,
    of_row: &str,
) -> Vec<Element> {
    let judged = reading.and_then(|row| Some((row, row.slot()?, row.verdict()?)));
    let Some((row, slot, verdict)) = judged else {
        let none = el("td")
            .class("of none")
            .with("colspan", column.width().to_string());
        let about = format!("{of_row}, {}", column.name);
        return vec![none.about(about).text("– not measured")];
    };
    let words = slot.axis.words();
    let about = if facts.is_of_blocks() {
        format!(
            "{}, {words}, time {} (entry {})",
            about(facts),
            slot.piece,
            row.seq
        )
    } else {
        format!(
            "{}, piece {}, {words} (entry {})",
            about(facts),
            slot.piece,
            row.seq
        )
    };
    let deviation = words::deviation(row).unwrap_or_else(|| "–".to_owned());
    let (said, second) = (
        said(verdict, row),
        if column.of_blocks {
            "error"
        } else {
            "deviation"
        },
    );
    let mut cells = vec![
        el("td")
            .class("n of")
            .text(column.aligned(&row.reading.value.to_string()))
            .about(format!("{about}, value")),
        number(column.aligned(&deviation)).about(format!("{about}, {second}")),
        el("td")
            .class(format!("v {}", words::class(verdict)))
            .child(shape(words::shape(verdict)))
            .text(said)
            .about(format!("{about}, verdict")),
    ];
    if column.has_who {
        let who = [row.operator.as_deref(), Some(&*row.reading.instrument)];
        let who: Vec<&str> = who.into_iter().flatten().collect();
        let cell = td("").child(free(who.join(", ")));
        cells.push(cell.about(format!("{about}, by")));
    }
    cells
}

/// The verdict in one word, with the side of the limit.
fn said(verdict: Verdict, row: &ReportReading) -> String {
    let Some(slot) = row.slot() else {
        return String::new();
    };
    let said = entry_words::verdict(verdict, &slot.axis, &slot.limits);
    match verdict {
        Verdict::Pass => said.to_lowercase(),
        Verdict::FailLow | Verdict::FailHigh => said,
        Verdict::UnsureLow | Verdict::UnsureHigh => "UNSURE".to_owned(),
        Verdict::Measured => "measured".to_owned(),
    }
}
