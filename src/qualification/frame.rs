//! The frame of the matrix: its rows, its columns and the requirements for each cell.
//!
//! A row is a terminal on a wire, named by a sheet, a plan or a series. A column is a tool with a nest, from the
//! configuration or a series.

use super::standing::Required;
use crate::entry::qualifying::{Combination, Qualifying};
use crate::quantity::Area;
use crate::spec::{
    Catalog, QualificationRule, SheetRow, SizingSystem, Subject, Terminal, Tool, ToolCare,
    WireSize, wire,
};
use std::collections::BTreeMap;

/// Rows and columns with their requirements, from the configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// The rule.
    pub rule: QualificationRule,
    /// Tools and nests.
    pub columns: Vec<FrameColumn>,
    /// Terminals and wires.
    pub rows: Vec<FrameRow>,
}

/// A tool with a nest.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameColumn {
    /// The crimp tool's id.
    pub tool: String,
    /// Its nest.
    pub nest: Option<String>,
    /// Its checks; `None` for a tool that the configuration does not have.
    pub care: Option<ToolCare>,
}

/// A terminal on a wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FrameRow {
    /// The terminal's id.
    pub terminal: String,
    /// The wire.
    pub wire: WireSize,
    /// The requirements of the sheet; `None` if no sheet has the terminal and wire.
    pub required: Option<Required>,
    /// For each column, whether its tool and nest are made for this row.
    pub fits: Vec<bool>,
}

impl Frame {
    /// The frame for a configuration and the known series.
    pub fn of(catalog: &Catalog, qualifying: &Qualifying, rule: QualificationRule) -> Self {
        let columns = columns(catalog, qualifying);
        let rows = rows(catalog, qualifying).into_iter();
        let rows = rows.map(|(terminal, wire)| FrameRow {
            required: Required::in_catalog(catalog, &terminal, wire.area, &rule),
            fits: columns
                .iter()
                .map(|column| fits(catalog, column, &terminal, wire.area))
                .collect(),
            terminal,
            wire,
        });
        let rows = rows.collect();
        Self {
            rule,
            columns,
            rows,
        }
    }

    /// The combinations with series for which it has no cell.
    pub fn left_out<'q>(&self, qualifying: &'q Qualifying) -> Vec<&'q Combination> {
        let has_row = |of: &Combination| {
            let mut rows = self.rows.iter();
            rows.any(|row| row.terminal == of.terminal && row.wire.area == of.wire)
        };
        let has_column = |of: &Combination| {
            let mut columns = self.columns.iter();
            columns.any(|column| column.tool == of.tool && column.nest == of.nest)
        };
        let tried = qualifying.0.iter().filter(|(_, series)| !series.is_empty());
        tried
            .map(|(of, _)| of)
            .filter(|of| !(has_row(of) && has_column(of)))
            .collect()
    }
}

fn columns(catalog: &Catalog, qualifying: &Qualifying) -> Vec<FrameColumn> {
    let configured = catalog.tools.iter().flat_map(|tool| {
        let nests = tool.nests.iter().map(|nest| Some(nest.id.clone()));
        let whole = tool.nests.is_empty().then_some(None);
        nests.chain(whole).map(|nest| (tool.id.clone(), nest))
    });
    let tried = qualifying.0.keys();
    let tried = tried.map(|of| (of.tool.clone(), of.nest.clone()));
    let mut columns: Vec<FrameColumn> = Vec::new();
    for (tool, nest) in configured.chain(tried) {
        let is_known = |known: &FrameColumn| known.tool == tool && known.nest == nest;
        if !columns.iter().any(is_known) {
            let care = catalog.tool(&tool).map(|tool| tool.care);
            columns.push(FrameColumn { tool, nest, care });
        }
    }
    columns
}

/// The rows: terminals in the order of the sheets, wires by size.
fn rows(catalog: &Catalog, qualifying: &Qualifying) -> Vec<(String, WireSize)> {
    let mut rows: BTreeMap<(usize, String, Area), WireSize> = BTreeMap::new();
    let place = |id: &str| {
        let mut terminals = catalog.terminals.iter();
        let at = terminals.position(|terminal| terminal.id == id);
        at.unwrap_or(usize::MAX)
    };
    let mut add = |terminal: &str, wire: WireSize| {
        let key = (place(terminal), terminal.to_owned(), wire.area);
        let known = rows.entry(key).or_insert_with(|| wire.clone());
        // A wire that is given with its gauge says more.
        if known.gauge.is_none() {
            *known = wire;
        }
    };
    for (of, evidence) in &qualifying.0 {
        if let Some(newest) = evidence.last() {
            add(&of.terminal, newest.wire.clone());
        }
    }
    for plan in &catalog.plans {
        let Subject::Crimps { terminal, wire } = &plan.subject else {
            continue;
        };
        if let (Ok(size), true) = (wire::resolve(wire), plan.purpose.is_of_own_crimps()) {
            add(terminal, size);
        }
    }
    for terminal in &catalog.terminals {
        for row in &terminal.rows {
            for area in sizes(row, terminal, &catalog.tools) {
                add(&terminal.id, metric(area));
            }
        }
    }
    let rows = rows.into_iter();
    rows.map(|((_, terminal, _), wire)| (terminal, wire))
        .collect()
}

/// The sizes of a row: its size, or for a range, the sizes in it for which nests of this terminal are made.
fn sizes(row: &SheetRow, terminal: &Terminal, tools: &[Tool]) -> Vec<Area> {
    if !row.sizes.is_range() {
        return vec![row.sizes.smallest()];
    }
    let tools = tools.iter().filter(|tool| is_for(tool, &terminal.id));
    let nests = tools.flat_map(|tool| &tool.nests);
    let sizes = nests.flat_map(|nest| nest.wires.iter().copied());
    sizes.filter(|size| row.sizes.has(*size)).collect()
}

const fn metric(area: Area) -> WireSize {
    WireSize {
        area,
        gauge: None,
        sizing: SizingSystem::IsoMm2,
    }
}

fn is_for(tool: &Tool, terminal: &str) -> bool {
    tool.terminals.is_empty() || tool.terminals.iter().any(|known| known == terminal)
}

/// Whether the column is made for the row.
fn fits(catalog: &Catalog, column: &FrameColumn, terminal: &str, wire: Area) -> bool {
    let Some(tool) = catalog.tool(&column.tool) else {
        return false;
    };
    let nest = column.nest.as_ref();
    let fits = match nest.map(|nest| tool.nests.iter().find(|known| known.id == *nest)) {
        Some(Some(nest)) => nest.wires.contains(&wire),
        Some(None) => false,
        None => tool.nests.is_empty(),
    };
    is_for(tool, terminal) && fits
}
