//! The matrix: terminals and wires in rows, tools and nests in columns.
//!
//! A cell is empty if the tool or nest is not made for the row and was never tried.

use super::frame::{Frame, FrameColumn, FrameRow};
use super::standing::{CareNow, Found, Required, Standing, find};
use crate::entry::State;
use crate::entry::qualifying::Combination;
use crate::quantity::WallMicros;
use crate::spec::{Catalog, QualificationRule, ToolCare, WireSize};

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
    /// The result for the combination.
    pub found: &'m Found,
}

/// The standing of one combination by the present catalog.
pub fn standing(
    state: &State,
    catalog: &Catalog,
    rule: &QualificationRule,
    of: &Combination,
    now: WallMicros,
) -> Found {
    let required = Required::in_catalog(catalog, &of.terminal, of.wire, rule);
    let care = catalog.tool(&of.tool).map(|tool| &tool.care);
    by(state, required.as_ref(), rule, of, care, now)
}

fn by(
    state: &State,
    required: Option<&Required>,
    rule: &QualificationRule,
    of: &Combination,
    care: Option<&ToolCare>,
    now: WallMicros,
) -> Found {
    let counted = state.tools.get(&of.tool).map_or(0, |known| known.crimps);
    let care = care.map(|care| CareNow {
        tool: &of.tool,
        care,
        crimps: Some(care.crimps_before.saturating_add(counted)),
    });
    find(state.qualifying.of(of), required, rule, care, now)
}

impl Matrix {
    /// Every combination of the frame.
    pub fn of(frame: &Frame, state: &State, now: WallMicros) -> Self {
        let cell = |row: &FrameRow, (column, fits): (&FrameColumn, &bool)| {
            let of = Combination {
                terminal: row.terminal.clone(),
                wire: row.wire.area,
                tool: column.tool.clone(),
                nest: column.nest.clone(),
            };
            let (required, care) = (row.required.as_ref(), column.care.as_ref());
            let found = by(state, required, &frame.rule, &of, care, now);
            (*fits || found.standing != Standing::NeverTried).then_some(found)
        };
        let rows = frame.rows.iter().map(|row| {
            let columns = frame.columns.iter().zip(&row.fits);
            MatrixRow {
                terminal: row.terminal.clone(),
                wire: row.wire.clone(),
                cells: columns.map(|column| cell(row, column)).collect(),
            }
        });
        let columns = frame.columns.iter();
        Self {
            rows: rows.collect(),
            columns: columns
                .map(|column| (column.tool.clone(), column.nest.clone()))
                .collect(),
        }
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
