//! What readings are about, found while they pass: their number, subject, limits and resolution. The same for readings of
//! the journal and of a data set.

use super::readings::{LeftOut, Readings, StepFrom};
use crate::cli::Failure;
use crate::entry::Seq;
use crate::quantity::{Decimal, Quantity, Unit};
use crate::spec::{Limits, WireSize};
use std::collections::BTreeSet;

/// The subject of a verification, which measures no crimps.
const GAUGE_BLOCKS: &str = "gauge blocks";

/// What readings have in common that share their [`Facts`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Here {
    /// The journal; `None` if there is only one.
    pub(super) journal: Option<u128>,
    pub(super) series: Seq,
    /// A number for the axis within the series.
    pub(super) axis: usize,
    /// A number for the instrument; `None` if it is not known.
    pub(super) instrument: Option<usize>,
}

/// What is known of a reading beside its value.
pub(super) struct Facts<'f> {
    pub(super) unit: Unit,
    pub(super) axis: &'f str,
    pub(super) limits: &'f Limits,
    /// The resolution of its instrument.
    pub(super) step: Option<Quantity>,
    /// Terminal and wire; `None` for a gauge block.
    pub(super) crimp: Option<(&'f str, &'f WireSize)>,
}

/// Where the readings are from.
#[derive(Debug, Default)]
pub(super) enum Origin {
    #[default]
    Journal,
    /// A data set, by its path.
    DataSet(String),
}

/// What was found about all readings so far.
#[derive(Default)]
pub(super) struct About {
    pub(super) left_out: LeftOut,
    origin: Origin,
    count: u64,
    axes: BTreeSet<String>,
    journals: BTreeSet<Option<u128>>,
    /// Terminal and wire of the series.
    crimps: BTreeSet<(String, String)>,
    ids: Vec<Seq>,
    series: u64,
    unit: Option<Unit>,
    step: Option<Quantity>,
    /// Digits after the point, where a resolution is not known.
    decimals: Option<u8>,
    limits: Option<Result<Limits, String>>,
    /// The first limits, and the first limits with another nominal.
    nominals: (Option<Limits>, Option<Limits>),
    /// Whether deviations from nominal are studied instead of values.
    deviation: bool,
    /// What the last reading noted was of.
    last: Option<Here>,
}

impl About {
    pub(super) fn new(origin: Origin, deviation: bool) -> Self {
        Self {
            origin,
            deviation,
            ..Self::default()
        }
    }

    /// Notes the next reading. Its facts are only taken where it is not of the same as the one before.
    pub(super) fn note<'f>(
        &mut self,
        here: Here,
        facts: impl FnOnce() -> Facts<'f>,
    ) -> Result<(), Failure> {
        self.count += 1;
        if self.last == Some(here) {
            return Ok(());
        }
        let of = |here: Here| (here.journal, here.series);
        if self.last.is_none_or(|last| of(last) != of(here)) {
            self.series += 1;
            self.journals.insert(here.journal);
            if self.ids.len() < 4 {
                self.ids.push(here.series);
            }
        }
        self.last = Some(here);
        let facts = facts();
        let unit = *self.unit.get_or_insert(facts.unit);
        if unit.dimension() != facts.unit.dimension() {
            return Err(
                Failure::usage("these readings are of lengths and of forces")
                    .with_remedy("choose one axis: --axis NAME"),
            );
        }
        if !self.axes.contains(facts.axis) {
            self.axes.insert(facts.axis.to_owned());
        }
        if self.deviation {
            self.note_limits(&deviations(facts.limits)?);
        } else {
            self.note_nominal(facts.limits);
            self.note_limits(facts.limits);
        }
        self.step = self
            .step
            .into_iter()
            .chain(facts.step)
            .max_by_key(|step| step.base());
        self.crimps.insert(match facts.crimp {
            Some((terminal, wire)) => (terminal.to_owned(), wire.to_string()),
            None => (GAUGE_BLOCKS.to_owned(), String::new()),
        });
        Ok(())
    }

    /// Notes the digits of a reading whose instrument's resolution is not known.
    pub(super) fn note_digits(&mut self, value: Quantity, unit: Unit) {
        let digits = value.shortest_in(unit, 0).map_or(0, Decimal::decimals);
        self.decimals = self.decimals.max(Some(digits));
    }

    fn note_nominal(&mut self, limits: &Limits) {
        let centre = |limits: &Limits| {
            let one_sided = || limits.lower().or(limits.upper()).map(Quantity::base);
            limits.centre().or_else(one_sided)
        };
        match &self.nominals {
            (None, _) => self.nominals.0 = Some(limits.clone()),
            (Some(first), None) if centre(first) != centre(limits) => {
                self.nominals.1 = Some(limits.clone());
            }
            (Some(_), _) => {}
        }
    }

    fn note_limits(&mut self, limits: &Limits) {
        match &self.limits {
            None => self.limits = Some(Ok(limits.clone())),
            Some(Ok(first))
                if (first.lower(), first.upper()) != (limits.lower(), limits.upper()) =>
            {
                let fault = format!(
                    "these readings were judged by different limits: {first}, and {limits}"
                );
                self.limits = Some(Err(fault));
            }
            Some(_) => {}
        }
    }

    pub(super) fn finish(self) -> Result<Readings, Failure> {
        let names: Vec<&str> = self.axes.iter().map(String::as_str).collect();
        let ([axis], Some(unit)) = (&names[..], self.unit) else {
            return Err(self.nothing_to_tell(&names));
        };
        let title = self.title(axis);
        Ok(self.readings(unit, title))
    }

    /// The description of readings of any number of axes.
    pub(super) fn finish_together(self) -> Result<Readings, Failure> {
        let names: Vec<&str> = self.axes.iter().map(String::as_str).collect();
        let (Some(first), Some(unit)) = (names.first(), self.unit) else {
            return Err(self.nothing_to_tell(&names));
        };
        let axis = match names.len() {
            1 => (*first).to_owned(),
            several => format!("{several} axes"),
        };
        let title = self.title(&axis);
        Ok(self.readings(unit, title))
    }

    fn readings(self, unit: Unit, title: String) -> Readings {
        let guessed = self.decimals.map(|digits| {
            let step = Quantity::of(Decimal::new(1, digits), unit);
            (step, StepFrom::Digits)
        });
        let (step, step_from) = guessed.unwrap_or((self.step, StepFrom::Instrument));
        Readings {
            rows: Vec::new(),
            count: self.count,
            scale: unit.into(),
            step: step.map(Quantity::base),
            step_from,
            title,
            nominals: match self.nominals {
                (Some(first), Some(other)) => Err(format!(
                    "these readings are of different nominals: {first}, and {other}"
                )),
                (_, None) | (None, _) => Ok(()),
            },
            limits: self.limits.transpose(),
            left_out: self.left_out,
        }
    }

    fn nothing_to_tell(&self, axes: &[&str]) -> Failure {
        if axes.len() > 1 {
            return Failure::usage(format!("these readings are of {} axes", axes.len()))
                .with_remedy(format!("choose one: --axis {}", axes.join(", --axis ")));
        }
        match self.left_out.words() {
            Some(left_out) => {
                Failure::no_readings(format!("none of these readings counts ({left_out})"))
                    .with_remedy(
                        "include them by name, such as --include doubted, or choose other series",
                    )
            }
            None => match &self.origin {
                Origin::Journal => {
                    Failure::no_readings("no reading in the journal matches these options")
                        .with_remedy("list the series: tallyjaw series")
                }
                Origin::DataSet(path) => {
                    Failure::no_readings(format!("no reading in {path} matches these options"))
                        .with_remedy("choose by what its columns have, or more of it")
                }
            },
        }
    }

    /// The subject in words: `QF-250-F on 1.0 mm²`, `QF-250-F on 2 wire sizes`, `2 terminals on 3 wire sizes`.
    fn subject(&self) -> String {
        let wires = self.crimps.iter().map(|(_, wire)| wire.as_str());
        let wires: BTreeSet<&str> = wires.filter(|wire| !wire.is_empty()).collect();
        let named = self.crimps.iter().map(|(name, _)| name.as_str());
        let named: BTreeSet<&str> = named.collect();
        let counted = |names: &BTreeSet<&str>, kind: &str| match (names.first(), names.len()) {
            (Some(only), 1) => (*only).to_owned(),
            (_, several) => format!("{several} {kind}"),
        };
        let has_blocks = named.contains(GAUGE_BLOCKS);
        let terminals = named.into_iter().filter(|name| *name != GAUGE_BLOCKS);
        let terminals: BTreeSet<&str> = terminals.collect();
        let blocks = has_blocks.then(|| GAUGE_BLOCKS.to_owned());
        let crimps = (!terminals.is_empty()).then(|| {
            let terminals = counted(&terminals, "terminals");
            format!("{terminals} on {}", counted(&wires, "wire sizes"))
        });
        let all: Vec<String> = crimps.into_iter().chain(blocks).collect();
        all.join(" and ")
    }

    fn title(&self, axis: &str) -> String {
        let of = self.subject();
        let series = if self.journals.len() > 1 {
            format!("{} series of {} benches", self.series, self.journals.len())
        } else if self.series <= 4 {
            let ids: Vec<String> = self.ids.iter().map(ToString::to_string).collect();
            format!("series {}", ids.join(", "))
        } else {
            format!("{} series", self.series)
        };
        let deviation = if self.deviation {
            "deviation from nominal of "
        } else {
            ""
        };
        format!("{deviation}{} of {of} ({series})", axis.replace('_', " "))
    }
}

/// Reading minus nominal, in base units.
pub(super) fn deviation(base: i64, limits: &Limits) -> Result<i64, Failure> {
    let nominal = limits.centre();
    let deviation = nominal.and_then(|nominal| base.checked_sub(nominal));
    deviation.ok_or_else(no_nominal)
}

/// Limits as deviations from their nominal.
fn deviations(limits: &Limits) -> Result<Limits, Failure> {
    let nominal = limits.centre().ok_or_else(no_nominal)?;
    let off = |end: Option<Quantity>| {
        end.map(|end| Quantity::from_base(end.dimension(), end.base().saturating_sub(nominal)))
    };
    let zero = Some(Quantity::from_base(limits.dimension(), 0));
    Limits::new(
        zero,
        off(limits.lower()),
        off(limits.upper()),
        limits.unit(),
    )
    .map_err(|error| Failure::usage(error.to_string()))
}

fn no_nominal() -> Failure {
    Failure::usage("some of these readings have no nominal to deviate from").with_remedy(
        "choose an axis with a nominal or two limits, or study them without --deviation",
    )
}
