//! Published minimum pull forces by gauge. A plan may name such a table if the maker's sheet has no pull force.
//!
//! In: the name of a table, and a wire. Out: the row that applies, or why none does. A row applies to its own gauge
//! only, never to a similar one; a figure of the maker's sheet always goes first. `tests/suite/pull_force.rs` compares
//! each row with `tests/reference/pull_force`, which names the sources. Rows unconfirmed there are left out here.

use super::wire::{self, Gauge, three_digits};
use super::{Limits, SizingSystem, WireSize};
use crate::quantity::{Area, Decimal, Quantity, Unit};
use std::fmt;

/// The gauge that a plan names may differ from its wire by a third of the larger area; a larger difference is taken
/// for a slip (common practice, no source).
const MOST_APART: u64 = 3;

/// A published table. Its name stands in people's plans and never changes.
#[derive(Debug, PartialEq, Eq)]
pub struct PullTable {
    /// The name in plans: `ul_486a`.
    pub name: &'static str,
    /// The publication.
    pub title: &'static str,
    /// Where the figures were found, and what the table is meant for.
    pub note: &'static str,
    /// An additional warning for plans that use it.
    pub caution: Option<&'static str>,
    /// A row for each gauge, thickest first.
    pub rows: &'static [PullRow],
}

/// The minimum pull-out force for one gauge.
#[derive(Debug, PartialEq, Eq)]
pub struct PullRow {
    /// The American wire gauge: `14`.
    pub gauge: &'static str,
    /// The whole number as printed.
    pub printed: i64,
    /// The unit as printed.
    pub unit: Unit,
}

/// The table and gauge that a plan names for a pull force missing from the maker's sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PullFallback {
    /// The table.
    pub table: &'static PullTable,
    /// The gauge of the row, if the wire itself is not named by an American wire gauge.
    pub gauge: Option<&'static Gauge>,
}

impl PullFallback {
    /// The minimum for this wire.
    pub fn minimum(&self, wire: &WireSize) -> Result<PullMinimum, PullTableError> {
        self.table.minimum(wire, self.gauge)
    }
}

/// The axis that a table may limit.
pub const PULL_FORCE: &str = "pull_force";

/// The row of a table by which a pull force is judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PullMinimum {
    /// The table.
    pub table: &'static PullTable,
    /// The row of the table for this wire.
    pub row: &'static PullRow,
}

/// Why a table has no minimum for a wire.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PullTableError {
    /// The wire is not named by an American wire gauge, and the plan names no row.
    #[error("{} is by AWG, and the wire is {wire}", table.name)]
    OtherSystem {
        /// The table.
        table: &'static PullTable,
        /// As the plan has it.
        wire: WireSize,
    },
    /// The table does not have this gauge.
    #[error("{} has no row for AWG {gauge}, want one of {}", table.name, table.gauges())]
    NoRow {
        /// The table.
        table: &'static PullTable,
        /// As the plan has it.
        gauge: String,
    },
    /// The gauge that the plan names is far from the wire's area.
    #[error("AWG {} is {} mm², too far from the wire of {wire}", gauge.name, three_digits(gauge.awg_area))]
    TooFar {
        /// The gauge named by the plan.
        gauge: &'static Gauge,
        /// As the plan has it.
        wire: Area,
    },
}

impl PullTableError {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        match self {
            Self::OtherSystem { wire, .. } => {
                let nearest = wire::nearest_awg(wire.area).map_or("14", |gauge| gauge.name);
                format!(
                    "name the row that you consider right, such as pull_force_gauge = \"AWG {nearest}\"; \
                     or take the minimum from the maker's sheet"
                )
            }
            Self::NoRow { .. } => {
                "take the minimum from the maker's sheet: values for sizes in between are not computed"
                    .to_owned()
            }
            Self::TooFar { .. } => {
                "name the gauge that is nearest to the wire: tallyjaw wire".to_owned()
            }
        }
    }
}

impl PullTable {
    /// The table of this name.
    pub fn from_name(name: &str) -> Option<&'static Self> {
        PULL_TABLES.iter().find(|table| table.name == name)
    }

    /// The row for `wire`. `gauge` is the row that the plan names (`14`), for a wire that is not named by an American
    /// wire gauge.
    pub fn minimum(
        &'static self,
        wire: &WireSize,
        gauge: Option<&'static Gauge>,
    ) -> Result<PullMinimum, PullTableError> {
        let name = match (gauge, wire.sizing, &wire.gauge) {
            (Some(gauge), _, _) if !is_near(gauge.awg_area, wire.area) => {
                let wire = wire.area;
                return Err(PullTableError::TooFar { gauge, wire });
            }
            (Some(gauge), _, _) => gauge.name,
            (None, SizingSystem::AwgArea, Some(gauge)) => gauge.as_str(),
            (None, _, _) => {
                let wire = wire.clone();
                return Err(PullTableError::OtherSystem { table: self, wire });
            }
        };
        let row = self.rows.iter().find(|row| row.gauge == name);
        row.map(|row| PullMinimum { table: self, row })
            .ok_or_else(|| PullTableError::NoRow {
                table: self,
                gauge: name.to_owned(),
            })
    }

    fn gauges(&self) -> String {
        let names: Vec<_> = self.rows.iter().map(|row| row.gauge).collect();
        names.join(", ")
    }
}

fn is_near(one: Area, other: Area) -> bool {
    let (one, other) = (one.square_micrometres(), other.square_micrometres());
    one.abs_diff(other) <= one.max(other) / MOST_APART
}

impl PullRow {
    /// The force, rounded to a whole millinewton; always `Some` for a row of [`PULL_TABLES`].
    pub fn force(&self) -> Option<Quantity> {
        Quantity::of(Decimal::new(self.printed, 0), self.unit)
    }

    /// The force as a lower limit.
    pub fn limits(&self) -> Option<Limits> {
        Limits::new(None, self.force(), None, self.unit).ok()
    }
}

impl fmt::Display for PullMinimum {
    /// `table ul_486a, AWG 14, not from the maker's sheet`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (table, gauge) = (self.table.name, self.row.gauge);
        write!(f, "table {table}, AWG {gauge}, not from the maker's sheet")
    }
}

const fn lbf(gauge: &'static str, printed: i64) -> PullRow {
    let unit = Unit::PoundForce;
    PullRow {
        gauge,
        printed,
        unit,
    }
}

const fn newtons(gauge: &'static str, printed: i64) -> PullRow {
    let unit = Unit::Newton;
    PullRow {
        gauge,
        printed,
        unit,
    }
}

/// Every table that a plan can name.
pub const PULL_TABLES: &[PullTable] = &[
    PullTable {
        name: "ul_486a",
        title: "UL 486A",
        note: "seen second-hand in a terminal maker's product specification; that it is UL 486A, from memory",
        caution: None,
        rows: &[
            lbf("4", 140),
            lbf("6", 100),
            lbf("8", 90),
            lbf("10", 80),
            lbf("12", 70),
            lbf("14", 50),
            lbf("16", 30),
            lbf("18", 20),
            lbf("20", 13),
            lbf("22", 8),
            lbf("24", 5),
            lbf("26", 3),
        ],
    },
    PullTable {
        name: "mil_t_7928",
        title: "MIL-T-7928",
        note: "seen second-hand in a terminal maker's product specification; that it is MIL-T-7928, from memory",
        caution: None,
        rows: &[
            lbf("10", 150),
            lbf("12", 110),
            lbf("14", 70),
            lbf("16", 50),
            lbf("18", 38),
            lbf("20", 19),
            lbf("22", 15),
            lbf("24", 10),
            lbf("26", 7),
        ],
    },
    PullTable {
        name: "nasa_8739_4_grounding",
        title: "NASA-STD-8739.4 (change 6), table 13-1",
        note: "for grounding leads of copper; seen in an excerpt of the standard",
        caution: Some("is for grounding leads of copper only, and for no other crimp"),
        rows: &[newtons("22", 57), newtons("24", 36)],
    },
];
