//! Turns a plan into the armed specification, or gives every reason why it cannot be armed.
//!
//! In: a plan and the catalog. Out: an [`ArmedSpec`] without the data of the moment (the operator, the journal's
//! history of instruments and tools), or all [`Unarmable`]s. `check` and arming use the same code; nothing in here
//! knows the time or an open series.

mod axis;
mod blocks;
mod instruments;
mod plausible;
mod pull;
mod remedy;
mod tool;
mod unarmable;

pub use remedy::sentence;
pub use tool::{check_tool, nest_named, tool_named};
pub use unarmable::Unarmable;

use super::Lots;
use super::sheet::NOT_MAKERS;
use super::{
    ArmedAxis, ArmedSpec, ArmedSubject, ArmedTool, Catalog, Crimp, FromSheet, Instrument, Plan,
    Purpose, SheetRow, Subject, Terminal, WireRequest, WireSize, wire,
};
use std::borrow::Cow;
use std::sync::Arc;

/// Maximum number of pieces in a series; far more than anyone measures by hand.
pub const MOST_PIECES: u32 = 10_000;

/// The tool that a person holds, and its nest if it was named.
#[derive(Debug, Clone, Copy)]
pub struct Hand<'a> {
    /// The tool's id.
    pub tool: &'a str,
    /// The nest's id; `None` if it was not named.
    pub nest: Option<&'a str>,
}

/// Why a plan cannot be armed: one reason at least, those first that only a change of the plan can solve.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reasons {
    /// The first of them.
    pub first: Box<Unarmable>,
    /// The others.
    pub rest: Vec<Unarmable>,
}

impl Reasons {
    /// `None` of an empty list.
    fn of(reasons: Vec<Unarmable>) -> Option<Self> {
        let mut reasons = reasons.into_iter();
        let first = Box::new(reasons.next()?);
        let rest = reasons.collect();
        Some(Self { first, rest })
    }

    /// All of them.
    pub fn into_vec(self) -> Vec<Unarmable> {
        std::iter::once(*self.first).chain(self.rest).collect()
    }
}

impl From<Box<Unarmable>> for Reasons {
    fn from(first: Box<Unarmable>) -> Self {
        let rest = Vec::new();
        Self { first, rest }
    }
}

/// A rule refused the plan for this reason, which is recorded.
struct Noted(Box<Unarmable>);

/// A plan while it is resolved.
struct Resolver<'a> {
    catalog: &'a Catalog,
    station: &'a str,
    plan: &'a Plan,
    hand: Option<Hand<'a>>,
    warnings: Vec<String>,
    refused: Vec<Unarmable>,
}

/// The catalog's items that a plan for crimps names.
struct ResolvedCrimp<'a> {
    terminal: Cow<'a, Terminal>,
    /// `None` for a terminal that no sheet has, whose pieces are only measured.
    row: Option<&'a SheetRow>,
    wire: WireSize,
    instruments: Vec<&'a Instrument>,
}

/// The parts of a specification in which crimps and gauge blocks differ.
struct Parts<'a> {
    subject: ArmedSubject,
    tool: Option<ArmedTool>,
    axes: Vec<ArmedAxis>,
    /// The instruments whose values may count.
    instruments: Vec<&'a Instrument>,
}

/// Resolves `plan` for `station`.
///
/// # Errors
///
/// Every reason why it cannot be armed.
pub fn resolve(
    catalog: &Catalog,
    station: &str,
    plan: &Plan,
    hand: Option<Hand<'_>>,
) -> Result<ArmedSpec, Reasons> {
    let mut resolver = Resolver {
        catalog,
        station,
        plan,
        hand,
        warnings: Vec::new(),
        refused: Vec::new(),
    };
    let spec = resolver.spec();
    let mut refused = resolver.refused;
    // Reasons that only a change of the plan can solve come first.
    refused.sort_by_key(Unarmable::may_come);
    match (spec, Reasons::of(refused)) {
        (Ok(spec), None) => Ok(spec),
        (Ok(_) | Err(_), Some(reasons)) => Err(reasons),
        (Err(Noted(why)), None) => Err(Reasons::from(why)),
    }
}

impl<'a> Resolver<'a> {
    fn refuse(&mut self, why: Unarmable) -> Noted {
        if !self.refused.contains(&why) {
            self.refused.push(why.clone());
        }
        Noted(Box::new(why))
    }

    fn spec(&mut self) -> Result<ArmedSpec, Noted> {
        let plan = self.plan;
        if !(1..=MOST_PIECES).contains(&plan.pieces) {
            self.refuse(Unarmable::Pieces {
                got: plan.pieces,
                most: MOST_PIECES,
            });
        }
        let parts = match &plan.subject {
            Subject::Crimps { terminal, wire } => self.crimps(terminal, wire)?,
            Subject::Blocks { instrument, blocks } => self.blocks(instrument, blocks)?,
        };
        self.refuse_meeting(&parts.axes);
        let instruments = instruments::armed_instruments(plan, &parts.instruments, &parts.axes);
        self.warn_of_uncertainty(&instruments, &parts.axes);
        self.warn_of_zero(&instruments);
        Ok(ArmedSpec {
            station: self.station.to_owned(),
            plan: plan.id.clone(),
            operator: None,
            job: None,
            lots: Lots::default(),
            sample: None,
            subject: parts.subject,
            strands: plan.strands,
            purpose: plan.purpose,
            tool: parts.tool,
            qualified: None,
            axes: parts.axes,
            order: plan.order,
            pieces: plan.pieces,
            decision: plan.decision,
            zero: plan.zero,
            questions: plan.questions.clone(),
            repeat: plan.repeat,
            opening_zeros: Vec::new(),
            alerts: plan.alerts.clone(),
            instruments,
            warnings: std::mem::take(&mut self.warnings),
        })
    }

    /// The parts of a plan for crimps.
    fn crimps(&mut self, terminal: &str, wire: &WireRequest) -> Result<Parts<'a>, Noted> {
        if self.plan.purpose == Purpose::Verification {
            return Err(self.refuse(Unarmable::VerifiesCrimps));
        }
        self.check_pull();
        self.check_axes();
        self.check_budgets();
        let found = self.find(terminal, wire);
        if let (Err(_), Some(id)) = (&found, &self.plan.tool) {
            // Only the name of the tool is checked here, not whether it fits the wire: one mistake is reported once.
            if let Err(why) = tool_named(self.catalog, id) {
                self.refuse(*why);
            }
        }
        let found = found?;
        self.warn_of_strands(&found.wire);
        let tool = self.tool(&found);
        let mut axes = Vec::new();
        for axis in &self.plan.axes {
            axes.extend(self.armed_axis(&found, axis).ok());
        }
        let crimp = Crimp {
            terminal: found.terminal.id.clone(),
            wire: found.wire,
        };
        let sheet = FromSheet {
            source: found.terminal.source.clone(),
            name: found.terminal.name.clone(),
            sizes: found
                .row
                .map(|row| row.sizes)
                .filter(|sizes| sizes.is_range()),
        };
        Ok(Parts {
            subject: ArmedSubject::Crimps {
                crimp: Arc::new(crimp),
                sheet,
            },
            tool: tool?,
            axes,
            instruments: found.instruments,
        })
    }

    /// Warns if the make-up of the wire is that of another size.
    fn warn_of_strands(&mut self, wire: &WireSize) {
        let doubt = self.plan.strands.and_then(|strands| strands.doubt(wire));
        let is_other = doubt.filter(|doubt| !matches!(doubt, wire::Doubt::Either { .. }));
        self.warnings
            .extend(is_other.map(|doubt| doubt.to_string()));
    }

    fn find(&mut self, terminal: &str, wire: &WireRequest) -> Result<ResolvedCrimp<'a>, Noted> {
        let size = wire::resolve(wire).map_err(|error| self.refuse(Unarmable::Wire(error)));
        let catalog = self.catalog;
        let here = catalog.instruments.iter().filter(|instrument| {
            instrument.station == self.station && instrument.kind.dimension().is_some()
        });
        let instruments = here.collect();
        let Some(terminal) = catalog.terminal(terminal) else {
            if self.plan.purpose == Purpose::Reference {
                return Ok(self.without_sheet(terminal, size?, instruments));
            }
            let known = catalog.terminals.iter().map(|known| known.id.clone());
            return Err(self.refuse(Unarmable::NoTerminal {
                got: terminal.to_owned(),
                known: known.collect(),
            }));
        };
        let wire = size?;
        let row = terminal.row(wire.area).ok_or_else(|| {
            let mut sizes: Vec<_> = terminal.rows.iter().map(|row| row.sizes).collect();
            sizes.sort();
            self.refuse(Unarmable::NoRow {
                terminal: terminal.id.clone(),
                wire: wire.clone(),
                sizes,
            })
        })?;
        if let Some(source) = terminal.source.as_deref()
            && source.contains(NOT_MAKERS)
        {
            self.warnings.push(format!("limits from {source}"));
        }
        Ok(ResolvedCrimp {
            terminal: Cow::Borrowed(terminal),
            row: Some(row),
            wire,
            instruments,
        })
    }

    /// Factory pieces of a terminal that no sheet has: they are measured without verdict.
    fn without_sheet(
        &mut self,
        id: &str,
        wire: WireSize,
        instruments: Vec<&'a Instrument>,
    ) -> ResolvedCrimp<'a> {
        self.warnings.push(format!(
            "no sheet has {id}: its pieces are measured without verdict"
        ));
        let terminal = Terminal {
            id: id.to_owned(),
            name: None,
            source: None,
            repair_needs: None,
            rows: Vec::new(),
        };
        ResolvedCrimp {
            terminal: Cow::Owned(terminal),
            row: None,
            wire,
            instruments,
        }
    }
}
