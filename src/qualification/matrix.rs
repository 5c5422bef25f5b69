//! The matrix: terminals and wires in rows, tools and nests in columns.
//!
//! A row is a terminal on a wire that a sheet, a plan or a series names. A column is a tool with a nest, of the
//! configuration or of a series. A cell is empty where the tool or nest is not made for the row and was never tried.

use super::standing::{CareNow, Found, Required, Standing, find};
use crate::entry::qualifying::{Combination, Qualifying};
use crate::entry::state::ToolState;
use crate::quantity::{Area, WallMicros};
use crate::spec::{
    Catalog, QualificationRule, SheetRow, SizingSystem, Subject, Terminal, Tool, WireSize, wire,
};
use std::collections::BTreeMap;

/// What is known, and the day.
#[derive(Debug, Clone, Copy)]
pub struct Known<'a> {
    /// What qualification series have shown.
    pub qualifying: &'a Qualifying,
    /// Sheets, plans and tools; `None` without a configuration.
    pub catalog: Option<&'a Catalog>,
    /// The crimps of each tool; `None` if they are not known.
    pub tools: Option<&'a BTreeMap<String, ToolState>>,
    /// The rule.
    pub rule: QualificationRule,
    /// The time at which it is asked.
    pub now: WallMicros,
}

/// Every combination with its standing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Matrix {
    /// Tools and nests.
    pub columns: Vec<(String, Option<String>)>,
    /// Terminals and wires.
    pub rows: Vec<MatrixRow>,
}

/// A terminal on a wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MatrixRow {
    /// The terminal's id.
    pub terminal: String,
    /// The wire.
    pub wire: WireSize,
    /// A cell for each column; `None` where the tool or nest is not made for it.
    pub cells: Vec<Option<Found>>,
}

/// A cell of the matrix with its place.
#[derive(Debug, Clone, Copy)]
pub struct Cell<'m> {
    /// The terminal's id.
    pub terminal: &'m str,
    /// The wire.
    pub wire: &'m WireSize,
    /// The crimp tool's id.
    pub tool: &'m str,
    /// Its nest.
    pub nest: Option<&'m str>,
    /// What was found.
    pub found: &'m Found,
}

impl Known<'_> {
    /// The standing of one combination.
    pub fn standing(&self, of: &Combination) -> Found {
        let known = self.qualifying.of(of);
        let required = match self.catalog {
            Some(catalog) => Required::in_catalog(catalog, &of.terminal, of.wire, &self.rule),
            None => Some(Required::of_series(known, &self.rule)),
        };
        let tool = self.catalog.and_then(|catalog| catalog.tool(&of.tool));
        let care = tool.map(|tool| CareNow {
            tool: &tool.id,
            care: &tool.care,
            crimps: self.crimps(tool),
        });
        find(known, required.as_ref(), &self.rule, care, self.now)
    }

    fn crimps(&self, tool: &Tool) -> Option<u64> {
        let counted = self.tools?.get(&tool.id).map_or(0, |known| known.crimps);
        Some(tool.care.crimps_before.saturating_add(counted))
    }

    fn columns(&self) -> Vec<(String, Option<String>)> {
        let tools = self.catalog.into_iter().flat_map(|catalog| &catalog.tools);
        let configured = tools.flat_map(|tool| {
            let nests = tool.nests.iter().map(|nest| Some(nest.id.clone()));
            let whole = tool.nests.is_empty().then_some(None);
            nests.chain(whole).map(|nest| (tool.id.clone(), nest))
        });
        let tried = self.qualifying.0.keys();
        let tried = tried.map(|of| (of.tool.clone(), of.nest.clone()));
        let mut columns: Vec<(String, Option<String>)> = Vec::new();
        for column in configured.chain(tried) {
            if !columns.contains(&column) {
                columns.push(column);
            }
        }
        columns
    }

    /// The rows: terminals in the order of the sheets, wires by size.
    fn rows(&self) -> Vec<(String, WireSize)> {
        let mut rows: BTreeMap<(usize, String, Area), WireSize> = BTreeMap::new();
        let terminals = self.catalog.map_or(&[][..], |catalog| &catalog.terminals);
        let place = |id: &str| {
            let at = terminals.iter().position(|terminal| terminal.id == id);
            at.unwrap_or(usize::MAX)
        };
        let mut add = |terminal: &str, wire: WireSize| {
            let key = (place(terminal), terminal.to_owned(), wire.area);
            let known = rows.entry(key).or_insert_with(|| wire.clone());
            // A wire with its gauge says more.
            if known.gauge.is_none() {
                *known = wire;
            }
        };
        for (of, evidence) in &self.qualifying.0 {
            if let Some(newest) = evidence.last() {
                add(&of.terminal, newest.wire.clone());
            }
        }
        if let Some(catalog) = self.catalog {
            for plan in &catalog.plans {
                let Subject::Crimps { terminal, wire } = &plan.subject else {
                    continue;
                };
                let own = plan.purpose.is_of_own_crimps();
                if let Ok(size) = wire::resolve(wire)
                    && own
                {
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
        }
        let rows = rows.into_iter();
        rows.map(|((_, terminal, _), wire)| (terminal, wire))
            .collect()
    }
}

/// The size of a row; of a row for a range, the sizes that nests for this terminal are made for.
fn sizes(row: &SheetRow, terminal: &Terminal, tools: &[Tool]) -> Vec<Area> {
    if !row.sizes.is_range() {
        return vec![row.sizes.smallest()];
    }
    let tools = tools.iter().filter(|tool| is_for(tool, &terminal.id));
    let nests = tools.flat_map(|tool| &tool.nests);
    let sizes = nests.flat_map(|nest| nest.wires.iter().copied());
    sizes.filter(|size| row.sizes.has(*size)).collect()
}

fn metric(area: Area) -> WireSize {
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
fn fits(
    catalog: Option<&Catalog>,
    (tool, nest): &(String, Option<String>),
    terminal: &str,
    wire: Area,
) -> bool {
    let Some(tool) = catalog.and_then(|catalog| catalog.tool(tool)) else {
        return false;
    };
    let nest = nest.as_ref();
    let fits = match nest.map(|nest| tool.nests.iter().find(|known| known.id == *nest)) {
        Some(Some(nest)) => nest.wires.contains(&wire),
        Some(None) => false,
        None => tool.nests.is_empty(),
    };
    is_for(tool, terminal) && fits
}

impl Matrix {
    /// Every combination that is known.
    pub fn of(known: &Known<'_>) -> Self {
        let columns = known.columns();
        let rows = known.rows().into_iter().map(|(terminal, wire)| {
            let cell = |column: &(String, Option<String>)| {
                let of = Combination {
                    terminal: terminal.clone(),
                    wire: wire.area,
                    tool: column.0.clone(),
                    nest: column.1.clone(),
                };
                let found = known.standing(&of);
                let is_tried = found.standing != Standing::NeverTried;
                let fits = || fits(known.catalog, column, &terminal, wire.area);
                (is_tried || fits()).then_some(found)
            };
            let cells = columns.iter().map(cell).collect();
            MatrixRow {
                terminal,
                wire,
                cells,
            }
        });
        let rows = rows.collect();
        Self { columns, rows }
    }

    /// Every cell, row by row.
    pub fn cells(&self) -> impl Iterator<Item = Cell<'_>> {
        self.rows.iter().flat_map(|row| {
            let cells = row.cells.iter().zip(&self.columns);
            cells.filter_map(|(found, (tool, nest))| {
                Some(Cell {
                    terminal: &row.terminal,
                    wire: &row.wire,
                    tool,
                    nest: nest.as_deref(),
                    found: found.as_ref()?,
                })
            })
        })
    }
}
