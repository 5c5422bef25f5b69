//! The axes of a plan: their limits, and how well each instrument can judge by them.

use super::{Noted, ResolvedCrimp, Resolver, Unarmable, plausible};
use crate::quantity::{Dimension, Quantity, Unit};
use crate::spec::pull_table::PULL_FORCE;
use crate::spec::uncertainty::Uncertainty;
use crate::spec::{
    ArmedAxis, Axis, AxisName, Budget, Decision, Guard, Instrument, Limits, Order, PullTableError,
};

/// The tolerance must be at least this many steps of the instrument's resolution (common practice, no source).
const LEAST_COUNTS_IN_TOLERANCE: i64 = 5;
/// Coverage factor of the expanded uncertainty, in thousandths.
const EXPANDED_MILLI: u32 = 2_000;

/// Coverage factor for a one-sided 95 %, in thousandths: nearer to a limit than this many u, more than one verdict in
/// twenty may be wrong.
const ONE_SIDED_MILLI: u32 = 1_645;

/// The operator is warned below this test uncertainty ratio, in hundredths.
const RATIO_WANTED: u32 = 400;
const RATIO_POOR: u32 = 200;

impl<'a> Resolver<'a> {
    /// Refuses an empty list of axes and repeated axes.
    pub(super) fn check_axes(&mut self) {
        let axes = &self.plan.axes;
        if axes.is_empty() {
            self.refuse(Unarmable::Nothing { key: "axes" });
        }
        for (at, axis) in axes.iter().enumerate() {
            if axes.iter().take(at).any(|earlier| earlier == axis) {
                let got = axis.to_string();
                self.refuse(Unarmable::Twice { key: "axes", got });
            }
        }
    }

    pub(super) fn armed_axis(
        &mut self,
        found: &ResolvedCrimp<'_>,
        name: &AxisName,
    ) -> Result<ArmedAxis, Noted> {
        let catalog = self.catalog;
        let axis = catalog.axis(name).ok_or_else(|| {
            let known = catalog.axes.iter().map(|axis| axis.name.to_string());
            self.refuse(Unarmable::NoAxis {
                got: name.clone(),
                known: known.collect(),
            })
        })?;
        let (limits, limits_from) = self.limits_of(found, axis)?;
        let dimension = limits.dimension();
        let measures = |instrument: &&&Instrument| instrument.kind.dimension() == Some(dimension);
        let measuring: Vec<_> = found.instruments.iter().filter(measures).collect();
        if measuring.is_empty() {
            return Err(self.refuse(Unarmable::NoInstrument {
                axis: name.clone(),
                dimension,
                station: self.station.to_owned(),
            }));
        }
        let guards = measuring.into_iter();
        let guards = guards.map(|instrument| self.guard(name, &limits, instrument));
        let guards = guards.collect::<Result<Vec<_>, _>>()?;
        Ok(ArmedAxis {
            name: name.clone(),
            plausible: plausible::window(&limits, axis, found.wire.area)
                .or_else(|| limits.are_none().then(|| of_any_crimp(name)).flatten()),
            limits,
            limits_from,
            guards,
        })
    }

    /// The maker's limits. For a pull force without them, the limits of the table that the plan names, with that
    /// source.
    fn limits_of(
        &mut self,
        found: &ResolvedCrimp<'_>,
        axis: &Axis,
    ) -> Result<(Limits, Option<String>), Noted> {
        let name = &axis.name;
        let fallback = self.plan.pull_force.as_ref();
        let fallback = fallback.filter(|_| name.as_str() == PULL_FORCE);
        if let Some(limits) = found.row.and_then(|row| row.limits_of(name)) {
            self.warnings.extend(fallback.map(|fallback| {
                let table = fallback.table.name;
                format!("the maker's sheet has a pull force: table {table} of the plan is not used")
            }));
            return Ok((limits.clone(), None));
        }
        let fallback = match (found.row, fallback) {
            (_, Some(fallback)) => fallback,
            (None, None) => return Ok((Limits::none(usual_unit(axis.dimension)), None)),
            (Some(row), None) => {
                let limited = row.limits.iter().map(|(axis, _)| axis.to_string());
                return Err(self.refuse(Unarmable::NotLimited {
                    terminal: found.terminal.id.clone(),
                    wire: row.sizes,
                    axis: name.clone(),
                    limited: limited.collect(),
                }));
            }
        };
        let minimum = fallback.minimum(&found.wire);
        let minimum = minimum.map_err(|error| self.refuse(Unarmable::PullForce(error)))?;
        let Some(limits) = minimum.row.limits() else {
            let gauge = minimum.row.gauge.to_owned();
            let table = minimum.table;
            let error = PullTableError::NoRow { table, gauge };
            return Err(self.refuse(Unarmable::PullForce(error)));
        };
        self.warnings.push(format!(
            "the pull force {limits} is from {minimum}: the maker's own figure comes first"
        ));
        if let Some(caution) = minimum.table.caution {
            self.warnings
                .push(format!("table {} {caution}", minimum.table.name));
        }
        Ok((limits, Some(minimum.to_string())))
    }

    fn guard(
        &mut self,
        axis: &AxisName,
        limits: &Limits,
        instrument: &Instrument,
    ) -> Result<Guard, Noted> {
        if limits.are_none() {
            return Ok(Guard {
                instrument: instrument.name.clone(),
                width: 0,
                test_uncertainty_ratio_hundredths: None,
                budget: None,
            });
        }
        self.refuse_too_coarse(axis, limits, instrument)?;
        let budget = self.budget_of(instrument)?;
        let uncertainty = match budget {
            Some(budget) => Some(budget.uncertainty()),
            None => instrument.max_error.map(|max_error| {
                Uncertainty::new(max_error, instrument.resolution, instrument.repeatability)
            }),
        };
        let ratio = uncertainty
            .zip(limits.width())
            .and_then(|(uncertainty, width)| uncertainty.test_uncertainty_ratio_hundredths(width));
        self.warnings.extend(ratio_warning(
            axis,
            limits,
            instrument,
            uncertainty.zip(ratio),
            self.plan.decision,
        ));
        let name = instrument.name.clone();
        let width = match (self.plan.decision, uncertainty) {
            (Decision::Simple, _) => 0,
            (Decision::Guarded { factor_milli }, Some(uncertainty)) => {
                uncertainty.guard_band(factor_milli)
            }
            (Decision::Guarded { .. }, None) => {
                return Err(self.refuse(Unarmable::NoMaxError {
                    instrument: name,
                    of_blocks: false,
                }));
            }
        };
        let tolerance = limits.width();
        if tolerance.is_some_and(|tolerance| width.saturating_mul(2) > tolerance) {
            return Err(self.refuse(Unarmable::GuardTooWide {
                instrument: name,
                axis: axis.clone(),
                limits: limits.clone(),
            }));
        }
        Ok(Guard {
            instrument: name,
            width,
            test_uncertainty_ratio_hundredths: ratio,
            budget: budget.map(|budget| budget.name.clone()),
        })
    }

    /// Refuses names of budgets that are not configured, and two budgets of one instrument.
    pub(super) fn check_budgets(&mut self) {
        let mut of: Vec<&str> = Vec::new();
        for name in &self.plan.budgets {
            let Some(budget) = self.catalog.budget(name) else {
                let known = self.catalog.budgets.iter();
                let known = known.map(|budget| budget.name.clone()).collect();
                let got = name.clone();
                self.refuse(Unarmable::NoBudget { got, known });
                continue;
            };
            if of.contains(&budget.instrument.as_str()) {
                let got = budget.instrument.clone();
                let key = "uncertainty";
                self.refuse(Unarmable::Twice { key, got });
            }
            of.push(&budget.instrument);
        }
    }

    /// The named budget of this instrument; `None` of a plan that names none at all.
    fn budget_of(&mut self, instrument: &Instrument) -> Result<Option<&'a Budget>, Noted> {
        let (plan, catalog) = (self.plan, self.catalog);
        let is_of = |budget: &&Budget| budget.instrument == instrument.name;
        let mut named = plan.budgets.iter().filter_map(|name| catalog.budget(name));
        let found = named.find(is_of);
        let is_unknown = plan
            .budgets
            .iter()
            .any(|name| catalog.budget(name).is_none());
        if found.is_some() || plan.budgets.is_empty() || is_unknown {
            return Ok(found);
        }
        let fitting = catalog.budgets.iter().find(is_of);
        Err(self.refuse(Unarmable::NoBudgetOf {
            instrument: instrument.name.clone(),
            fitting: fitting.map(|budget| budget.name.clone()),
        }))
    }

    fn refuse_too_coarse(
        &mut self,
        axis: &AxisName,
        limits: &Limits,
        instrument: &Instrument,
    ) -> Result<(), Noted> {
        let Some(width) = limits.width() else {
            return Ok(());
        };
        let counts = width.checked_div(instrument.resolution.base()).unwrap_or(0);
        if counts >= LEAST_COUNTS_IN_TOLERANCE {
            return Ok(());
        }
        Err(self.refuse(Unarmable::TooCoarse {
            instrument: instrument.name.clone(),
            resolution: instrument.resolution,
            axis: axis.clone(),
            limits: limits.clone(),
            counts,
            want: LEAST_COUNTS_IN_TOLERANCE,
        }))
    }

    /// Under `by_value`, refuses axes with overlapping plausible windows: a value could belong to either.
    pub(super) fn refuse_meeting(&mut self, axes: &[ArmedAxis]) {
        if self.plan.order != Order::ByValue {
            return;
        }
        for (at, one) in axes.iter().enumerate() {
            for other in axes.iter().skip(at + 1) {
                if one.limits.dimension() != other.limits.dimension() {
                    continue;
                }
                let windows = match (one.plausible, other.plausible) {
                    (Some(one), Some(other)) if meet(one, other) => Some([one, other]),
                    (Some(_), Some(_)) => continue,
                    (None, _) | (_, None) => None,
                };
                self.refuse(Unarmable::NotToldApart {
                    one: one.name.clone(),
                    other: other.name.clone(),
                    windows,
                });
            }
        }
    }
}

fn meet(one: (Quantity, Quantity), other: (Quantity, Quantity)) -> bool {
    one.0.base() <= other.1.base() && other.0.base() <= one.1.base()
}

/// The unit in which values without limits are shown.
const fn usual_unit(dimension: Dimension) -> Unit {
    match dimension {
        Dimension::Length => Unit::Millimetre,
        Dimension::Force => Unit::Newton,
    }
}

/// The plausible window of a height or width of a crimp of which no more is known: 0.25 mm to 50 mm (common practice,
/// no source). Other axes can have any value.
fn of_any_crimp(name: &AxisName) -> Option<(Quantity, Quantity)> {
    let is_of_crimp = name.as_str().contains("crimp");
    let nm = |base| Quantity::from_base(Dimension::Length, base);
    is_of_crimp.then(|| (nm(250_000), nm(50_000_000)))
}

/// The warning about a small test uncertainty ratio, with its meaning and remedy; `None` if the ratio suffices
/// or is not known.
fn ratio_warning(
    axis: &AxisName,
    limits: &Limits,
    instrument: &Instrument,
    judged: Option<(Uncertainty, u32)>,
    decision: Decision,
) -> Option<String> {
    let tolerance = limits.width()?;
    let (name, axis) = (&instrument.name, axis.words());
    let (uncertainty, ratio) = judged?;
    if ratio >= RATIO_WANTED {
        return None;
    }
    let of = |base: i64| Quantity::from_base(limits.dimension(), base);
    let shown = |factor_milli| of(uncertainty.guard_band(factor_milli)).two_digits_up();
    let expanded = shown(EXPANDED_MILLI);
    let share = 10_000_u32.checked_div(ratio).unwrap_or(u32::MAX);
    let half = of(tolerance / 2);
    let fact = format!(
        "the uncertainty of {name}, ±{expanded}, is {share} % of the {axis} tolerance, ±{half}"
    );
    let advice = match decision {
        Decision::Guarded { factor_milli } => {
            let near = shown(factor_milli);
            format!("readings within {near} of a limit are unsure")
        }
        Decision::Simple => {
            let near = shown(ONE_SIDED_MILLI);
            let better = if ratio < RATIO_POOR {
                "use a better instrument, or decision = \"guarded\", which calls them unsure"
            } else {
                "decision = \"guarded\" calls them unsure"
            };
            format!("readings within {near} of a limit may be judged wrongly; {better}")
        }
    };
    Some(format!("{fact}: {advice}"))
}
