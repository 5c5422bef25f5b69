//! A row of an export, read back as values.
//!
//! In: the cells of a row, as [`super::FileRows`] has them, and the [`Header`] of its file. Out: a [`StoredRow`].
//!
//! - A column that is needed and absent, and a cell that is no value of its column, are faults, never a default.
//! - Values are exact: a table of text and one of typed values give the same row.

use crate::entry::Seq;
use crate::quantity::{Area, Decimal, Dimension, Quantity, Unit, WallMicros};
use crate::spec::wire::{SizingSystem, WireSize};
use crate::spec::{Limits, Purpose};
use std::collections::HashMap;
use std::rc::Rc;

/// Words of the column `standing`.
const STANDINGS: [&str; 4] = ["counted", "doubted", "retracted", "not_counted"];

/// Columns that every reading needs besides those of its quantities.
const NEEDED: [&str; 9] = [
    "journal", "seq", "at_utc", "series", "purpose", "piece", "axis", "unit", "standing",
];

/// Why a row of a file is not a reading.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RowFault {
    /// The heading lacks a column.
    #[error("no column {name}")]
    NoColumn {
        /// Its name.
        name: String,
    },
    /// The heading has a column twice.
    #[error("two columns {name}")]
    TwoColumns {
        /// Its name.
        name: String,
    },
    /// The row has more or fewer cells than the heading.
    #[error("{got} cells, want {want} as in the heading")]
    Cells {
        /// Number of cells of the row.
        got: usize,
        /// Number of columns.
        want: usize,
    },
    /// A cell is not a value of its column.
    #[error("got {got:?} in column {name}, want {want}")]
    Cell {
        /// The column.
        name: &'static str,
        /// The cell.
        got: String,
        /// What the column has.
        want: &'static str,
    },
    /// The limits contradict each other.
    #[error("its limits are none: {cause}")]
    Limits {
        /// Why.
        cause: String,
    },
}

impl RowFault {
    /// What to do.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::NoColumn { .. } => "export it again, with all columns",
            Self::TwoColumns { .. } => "give one of them another heading, or export it again",
            Self::Cells { .. } | Self::Cell { .. } | Self::Limits { .. } => {
                "export it again: the file is cut off, or was changed"
            }
        }
    }
}

/// The columns of one quantity: whole base units in typed tables, decimals in tables of text.
#[derive(Debug, Clone, Copy)]
struct Columns([(Dimension, Option<usize>, Option<usize>, Unit); 2]);

impl Columns {
    fn find(places: &HashMap<String, usize>, what: &str) -> Self {
        let at = |unit: &str| places.get(&format!("{what}_{unit}")).copied();
        Self([
            (Dimension::Length, at("nm"), at("mm"), Unit::Millimetre),
            (Dimension::Force, at("mn"), at("n"), Unit::Newton),
        ])
    }

    fn are_absent(self) -> bool {
        self.0
            .iter()
            .any(|(_, base, text, _)| base.is_none() && text.is_none())
    }
}

/// The columns of a file.
#[derive(Debug)]
pub struct Header {
    /// Number of columns.
    width: usize,
    /// The column of each name.
    places: HashMap<String, usize>,
    /// The station of every row, where it is in the path of the file.
    station: Option<String>,
    quantities: [Columns; 5],
}

/// The columns of quantities, in the order of [`Header::quantities`].
const QUANTITIES: [&str; 5] = ["value", "nominal", "lower", "upper", "resolution"];
const VALUE: usize = 0;
const NOMINAL: usize = 1;
const LOWER: usize = 2;
const UPPER: usize = 3;
const RESOLUTION: usize = 4;

impl Header {
    /// The columns with these names.
    ///
    /// # Errors
    /// [`RowFault::NoColumn`] or [`RowFault::TwoColumns`].
    pub fn new(names: Vec<String>, station: Option<String>) -> Result<Self, RowFault> {
        let width = names.len();
        let mut places = HashMap::new();
        let cells = names.into_iter().enumerate();
        for (at, name) in cells.filter(|(_, name)| !name.is_empty()) {
            if places.insert(name.clone(), at).is_some() {
                return Err(RowFault::TwoColumns { name });
            }
        }
        let quantities = QUANTITIES.map(|what| Columns::find(&places, what));
        let header = Self {
            width,
            places,
            station,
            quantities,
        };
        let absent = NEEDED.into_iter().find(|name| !header.has(name));
        let absent = absent.map(str::to_owned).or_else(|| {
            let mut of = QUANTITIES.iter().zip(&header.quantities).take(RESOLUTION);
            let (what, _) = of.find(|(_, columns)| columns.are_absent())?;
            Some(format!(
                "{what}_mm and {what}_n, or {what}_nm and {what}_mn"
            ))
        });
        match absent {
            Some(name) => Err(RowFault::NoColumn { name }),
            None => Ok(header),
        }
    }

    /// Whether rows have a cell of this name.
    pub fn has(&self, name: &str) -> bool {
        self.at(name).is_some() || (name == "station" && self.station.is_some())
    }

    fn at(&self, name: &str) -> Option<usize> {
        self.places.get(name).copied()
    }
}

/// A reading of a series, as an export has it.
#[derive(Debug, Clone)]
pub struct StoredRow {
    /// Identity of the journal: its 32 hexadecimal digits as a number.
    pub journal: u128,
    /// Its entry.
    pub seq: Seq,
    /// Wall time of the entry.
    pub at: WallMicros,
    /// The series.
    pub series: Seq,
    /// The piece, from 1.
    pub piece: u32,
    /// What the series is for.
    pub purpose: Purpose,
    /// The value.
    pub value: Quantity,
    /// The unit in which the instrument showed it.
    pub unit: Unit,
    /// The limits of the axis.
    pub limits: Limits,
    /// The resolution of the instrument; `None` if the export is of a release that did not have it.
    pub resolution: Option<Quantity>,
    /// Number of its row in the file, as a person counts it.
    pub number: u64,
    cells: Vec<String>,
    header: Rc<Header>,
}

impl StoredRow {
    /// The row with these cells; `None` if it was measured while no series was open.
    ///
    /// # Errors
    /// If a cell is not a value of its column.
    pub fn of(
        header: &Rc<Header>,
        cells: Vec<String>,
        number: u64,
    ) -> Result<Option<Self>, RowFault> {
        let (got, want) = (cells.len(), header.width);
        if got != want {
            return Err(RowFault::Cells { got, want });
        }
        let read = Cells {
            header,
            cells: &cells,
        };
        if read.text("series").is_none() {
            return Ok(None);
        }
        let unit = read.named("unit", "a unit of length or force", Unit::from_symbol)?;
        read.named("standing", "how it counts", |name| {
            STANDINGS.contains(&name).then_some(())
        })?;
        let value = read.quantity(VALUE, "value")?;
        Ok(Some(Self {
            journal: read.named("journal", "32 hexadecimal digits", journal)?,
            seq: Seq(read.named("seq", "a number", whole)?),
            at: read.named("at_utc", "a time", |text| text.parse().ok())?,
            series: Seq(read.named("series", "a number", whole)?),
            piece: read.named("piece", "a number", |text| text.parse().ok())?,
            purpose: read.named("purpose", "a purpose", Purpose::from_name)?,
            value: value.ok_or(RowFault::Cell {
                name: "value",
                got: String::new(),
                want: "a value",
            })?,
            unit,
            limits: read.limits(unit.dimension())?,
            resolution: read.quantity(RESOLUTION, "resolution")?,
            number,
            header: Rc::clone(header),
            cells,
        }))
    }

    /// A cell by the name of its column; `None` if it is unknown or does not apply.
    pub fn cell(&self, name: &str) -> Option<&str> {
        let read = Cells {
            header: &self.header,
            cells: &self.cells,
        };
        read.text(name)
    }

    /// The columns of its file.
    pub fn header(&self) -> &Rc<Header> {
        &self.header
    }

    /// The word for whether it counts.
    pub fn standing(&self) -> &str {
        self.cell("standing").unwrap_or_default()
    }

    /// The wire; `None` for a gauge block.
    pub fn wire(&self) -> Option<WireSize> {
        let area = self.cell("wire_mm2")?.parse::<Decimal>().ok()?;
        let sizing = self.cell("sizing").and_then(SizingSystem::from_name);
        Some(WireSize {
            area: Area::from_mm2(area)?,
            gauge: self.cell("wire_gauge").map(str::to_owned),
            sizing: sizing.unwrap_or(SizingSystem::IsoMm2),
        })
    }
}

struct Cells<'c> {
    header: &'c Header,
    cells: &'c [String],
}

impl<'c> Cells<'c> {
    fn text(&self, name: &str) -> Option<&'c str> {
        let cell = match self.header.at(name) {
            Some(at) => self.cells.get(at)?,
            None if name == "station" => self.header.station.as_ref()?,
            None => return None,
        };
        (!cell.is_empty()).then_some(cell)
    }

    fn named<T>(
        &self,
        name: &'static str,
        want: &'static str,
        read: impl Fn(&str) -> Option<T>,
    ) -> Result<T, RowFault> {
        let cell = self.text(name).unwrap_or_default();
        read(cell).ok_or_else(|| RowFault::Cell {
            name,
            got: cell.to_owned(),
            want,
        })
    }

    fn quantity(&self, of: usize, name: &'static str) -> Result<Option<Quantity>, RowFault> {
        let columns = self.header.quantities.get(of);
        for (dimension, base, text, unit) in columns.iter().flat_map(|columns| columns.0) {
            let cell = |at: Option<usize>| {
                let cell = at.and_then(|at| self.cells.get(at));
                cell.filter(|cell| !cell.is_empty())
            };
            let read = match (cell(base), cell(text)) {
                (Some(cell), _) => (cell, cell.parse().ok()),
                (None, Some(cell)) => {
                    let number = cell.parse::<Decimal>().ok();
                    let exact = number.and_then(|number| Quantity::exact(number, unit, 0));
                    (cell, exact)
                }
                (None, None) => continue,
            };
            return match read {
                (_, Some(base)) => Ok(Some(Quantity::from_base(dimension, base))),
                (cell, None) => Err(RowFault::Cell {
                    name,
                    got: cell.clone(),
                    want: "a number of its unit, as it was exported",
                }),
            };
        }
        Ok(None)
    }

    fn limits(&self, dimension: Dimension) -> Result<Limits, RowFault> {
        // The unit is only that in which they are shown; in this one they are exact.
        let unit = match dimension {
            Dimension::Length => Unit::Millimetre,
            Dimension::Force => Unit::Newton,
        };
        let (nominal, lower, upper) = (
            self.quantity(NOMINAL, "nominal")?,
            self.quantity(LOWER, "lower")?,
            self.quantity(UPPER, "upper")?,
        );
        if (nominal, lower, upper) == (None, None, None) {
            return Ok(Limits::none(unit));
        }
        Limits::new(nominal, lower, upper, unit).map_err(|error| RowFault::Limits {
            cause: error.to_string(),
        })
    }
}

fn whole(text: &str) -> Option<u64> {
    text.parse().ok()
}

fn journal(text: &str) -> Option<u128> {
    let is_id = text.len() == 32 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    is_id.then(|| u128::from_str_radix(text, 16).ok()).flatten()
}
