//! `tallyjaw study uncertainty`.

use super::select::percent;
use super::show::{self, Digits, Shown};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::{Decimal, Dimension, Quantity, Unit, did_you_mean};
use crate::spec::budget::{Contribution, Form, Shape};
use crate::spec::{Budget, Catalog, Decision, Plan};
use crate::stats::FigureKind;
use crate::stats::picture::{BudgetBar, budget_svg, budget_text};
use crate::stats::text::{self, fixed};
use crate::stats::uncertainty::{self, FIGURES, Law, TRIALS};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;

/// Measurement uncertainty: the budget of an instrument, and the guard bands that follow from it
///
/// Budgets are `[[uncertainty]]` in the configuration. The combined uncertainty, its degrees of freedom and the expanded
/// uncertainty are those of JCGM 100; simulated errors (JCGM 101) check them.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw study uncertainty                        every budget of the configuration
  tallyjaw study uncertainty caliper-1/2026-11 --svg budget.svg")]
pub(super) struct Uncertainty {
    /// The budget, by its name [default: all of them]
    #[arg(value_name = "NAME")]
    name: Option<String>,
    /// The percentage of errors that the expanded uncertainty covers
    #[arg(long, value_name = "PERCENT", default_value = "95", value_parser = percent)]
    confidence: f64,
    /// Number of simulated errors
    #[arg(long, value_name = "N", default_value_t = TRIALS, value_parser = trials)]
    trials: usize,
    /// Draw the contributions into this file
    #[arg(long, value_name = "FILE", requires = "name")]
    svg: Option<PathBuf>,
}

/// A number of simulated errors that takes seconds at most.
fn trials(text: &str) -> Result<usize, String> {
    let number = text.parse().ok();
    let number = number.filter(|number| (1_000..=100_000_000).contains(number));
    number.ok_or_else(|| "want a whole number from 1000 to 100000000".to_owned())
}

impl Uncertainty {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let catalog = context.load()?.1.catalog;
        let budgets = self.chosen(&catalog)?;
        for (nth, budget) in budgets.into_iter().enumerate() {
            let study = Study::new(budget, &catalog, self.confidence, self.trials)?;
            show::picture(self.svg.as_deref(), || {
                budget_svg(&study.heading(), &study.bars())
            })?;
            if show::as_json(context, out, || study.object())? {
                continue;
            }
            if nth > 0 {
                writeln!(out)?;
            }
            study.write(out)?;
        }
        Ok(Exit::Yes)
    }

    fn chosen<'c>(&self, catalog: &'c Catalog) -> Result<Vec<&'c Budget>, Failure> {
        let all = &catalog.budgets;
        let Some(name) = &self.name else {
            if all.is_empty() {
                return Err(
                    Failure::usage("the configuration has no uncertainty budget")
                        .with_remedy("add an [[uncertainty]]; config/tallyjaw.toml has an example"),
                );
            }
            return Ok(all.iter().collect());
        };
        let found = catalog.budget(name).ok_or_else(|| {
            let known: Vec<&str> = all.iter().map(|budget| budget.name.as_str()).collect();
            Failure::usage(format!("no uncertainty budget {name:?}"))
                .with_remedy(did_you_mean(name, &known))
        })?;
        Ok(vec![found])
    }
}

/// A budget with its figures.
struct Study<'c> {
    budget: &'c Budget,
    of: uncertainty::Budget,
    digits: Digits<'static>,
    confidence: f64,
    shares: Vec<f64>,
    plans: Vec<(&'c Plan, Option<Quantity>)>,
    unit: Unit,
}

impl<'c> Study<'c> {
    fn new(
        budget: &'c Budget,
        catalog: &'c Catalog,
        confidence: f64,
        trials: usize,
    ) -> Result<Self, Failure> {
        let undefined = |reason| Failure::usage(format!("{}: {reason}", budget.name));
        let unit = catalog
            .instrument(&budget.instrument)
            .map_or(Unit::Millimetre, |instrument| instrument.unit);
        let parts = budget.contributions.iter();
        let parts = parts.map(|part| contribution(part, unit)).collect();
        let of = uncertainty::Budget::new(parts, confidence, trials).map_err(undefined)?;
        let finest = of.finest().map_err(undefined)?;
        Ok(Self {
            digits: Digits::of_size(unit, finest),
            shares: of.shares().map_err(undefined)?,
            plans: plans(budget, catalog, unit.dimension()),
            budget,
            of,
            confidence,
            unit,
        })
    }

    fn heading(&self) -> String {
        format!(
            "{}: uncertainty of a reading of {}",
            self.budget.name, self.budget.instrument
        )
    }

    fn figures(&self) -> Vec<Shown> {
        show::all(FIGURES, &self.of)
    }

    fn shown(&self, value: f64) -> String {
        self.digits.text(FigureKind::Reading, value)
    }

    fn bars(&self) -> Vec<BudgetBar> {
        let of = |words: &str, u: f64| BudgetBar {
            words: words.to_owned(),
            u,
            text: self.shown(u),
        };
        let parts = self.budget.contributions.iter().zip(self.of.parts());
        let parts = parts.map(|(part, found)| of(part.source.name(), found.u));
        let all = self.of.combined().ok().map(|u| of("all together", u));
        parts.chain(all).collect()
    }

    /// Expanded uncertainty, and what the simulation says of it.
    fn sentence(&self) -> String {
        let percent = text::percent(self.confidence);
        let (Ok(expanded), Ok(k)) = (self.of.expanded(), self.of.coverage()) else {
            return "the expanded uncertainty has no value".to_owned();
        };
        let degrees = match self.of.whole_degrees() {
            Ok(degrees) => format!("{} effective degrees of freedom", fixed(degrees, 0)),
            Err(_) => "infinitely many degrees of freedom".to_owned(),
        };
        let claim = format!(
            "the expanded uncertainty is {} (k = {}, {percent}, {degrees})",
            self.shown(expanded),
            fixed(k, 2)
        );
        let check = match (self.of.agrees_to(), self.of.simulated()) {
            (Ok(Some(2)), _) => "simulated errors confirm it to 2 digits of u".to_owned(),
            (Ok(Some(_)), _) => "simulated errors confirm it to 1 digit of u".to_owned(),
            (Ok(None), Ok(found)) if self.of.simulates_less() => format!(
                "simulated errors do not check it: {percent} of them are from {} to {}, but they take half-widths as exact, and one here has degrees of freedom",
                self.shown(found.low),
                self.shown(found.high)
            ),
            (Ok(None), Ok(found)) => format!(
                "simulated errors DIFFER: {percent} of them are from {} to {}; take this interval",
                self.shown(found.low),
                self.shown(found.high)
            ),
            (Err(reason), _) | (_, Err(reason)) => format!("not simulated: {reason}"),
        };
        format!("{claim}; {check}; this supposes independent contributions, each stated once")
    }

    fn object(&self) -> Map<String, Value> {
        let mut object = Map::new();
        let mut put = |name: &str, value: Value| object.insert(name.to_owned(), value);
        put("kind", json!("study"));
        put("study", json!("uncertainty"));
        put("budget", json!(self.budget.name));
        put("instrument", json!(self.budget.instrument));
        put("unit", json!(self.unit.name()));
        put("confidence", json!(self.confidence));
        let parts = self.budget.contributions.iter().zip(self.of.parts());
        let parts = parts.zip(&self.shares).map(|((part, found), share)| {
            let mut line = json!({
                "source": part.source.name(),
                "from": form_words(&part.form),
                "u": found.u,
                "percent": share,
            });
            if let (Some(degrees), Some(line)) = (part.degrees, line.as_object_mut()) {
                line.insert("degrees_of_freedom".to_owned(), json!(degrees));
            }
            line
        });
        put("contributions", parts.collect());
        if let Ok(Some(digits)) = self.of.agrees_to() {
            put("simulation_agrees_to_digits", json!(digits));
        }
        let plans = self.plans.iter().map(|(plan, width)| {
            let width = width.map(|width| width.to_string());
            json!({"plan": plan.id, "guard": width})
        });
        put("plans", plans.collect());
        put("sentence", json!(self.sentence()));
        show::object(&mut object, &self.figures());
        object
    }

    fn write(&self, out: &mut dyn Write) -> Result<(), Failure> {
        writeln!(out, "{}\n", self.heading())?;
        for line in budget_text(&self.bars()) {
            writeln!(out, "  {line}")?;
        }
        writeln!(out)?;
        for (part, share) in self.budget.contributions.iter().zip(&self.shares) {
            let degrees = part.degrees;
            let degrees = degrees.map(|number| format!(", degrees of freedom: {number}"));
            writeln!(
                out,
                "  {:<15}  {:>7} of u²  {}{}",
                part.source.name(),
                self.digits.text(FigureKind::Percent, *share),
                form_words(&part.form),
                degrees.unwrap_or_default()
            )?;
        }
        writeln!(out, "\n{}\n", self.sentence())?;
        show::table(out, &self.figures(), self.digits)?;
        writeln!(out)?;
        if self.plans.is_empty() {
            writeln!(
                out,
                "no plan names it: uncertainty = \"{}\"",
                self.budget.name
            )?;
        }
        for (plan, width) in &self.plans {
            let id = plan.id.as_deref().unwrap_or_default();
            let said = match (plan.decision, width) {
                (Decision::Guarded { .. }, Some(width)) => {
                    format!("guard band {}", width.two_digits_up())
                }
                (Decision::Guarded { .. } | Decision::Simple, _) => {
                    "no guard band, decision = \"simple\"".to_owned()
                }
            };
            writeln!(out, "plan {id}: {said}")?;
        }
        Ok(())
    }
}

fn contribution(part: &Contribution, unit: Unit) -> uncertainty::Contribution {
    let law = match part.form {
        Form::HalfWidth(_, Shape::Rectangular) | Form::Expansion(_) => Law::Rectangular,
        Form::HalfWidth(_, Shape::Triangular) => Law::Triangular,
        Form::HalfWidth(_, Shape::UShaped) => Law::UShaped,
        Form::Expanded(..) | Form::Standard(_) => Law::Normal,
    };
    uncertainty::Contribution {
        u: uncertainty::of_twelfths(part.twelve_u_squared(), unit),
        degrees: part.degrees,
        law,
    }
}

/// The size of a contribution, as it is written.
fn form_words(form: &Form) -> String {
    let milli = |number: i64| {
        let text = Decimal::new(number, 3).to_string();
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    };
    match form {
        Form::HalfWidth(width, shape) => {
            format!("±{width}, {}", shape.name().replace('_', "-"))
        }
        Form::Expanded(width, factor) => format!("U = {width}, k = {}", milli(i64::from(*factor))),
        Form::Standard(deviation) => format!("standard deviation {deviation}"),
        Form::Expansion(of) => {
            format!(
                "{}·10⁻⁶/K on {}, ±{} K about 20 °C",
                milli(of.nano_per_kelvin),
                of.length,
                milli(of.half_width_millikelvin)
            )
        }
    }
}

/// The plans that name the budget, each with its guard band.
fn plans<'c>(
    budget: &Budget,
    catalog: &'c Catalog,
    dimension: Dimension,
) -> Vec<(&'c Plan, Option<Quantity>)> {
    let named = catalog.plans.iter();
    let named = named.filter(|plan| plan.budgets.contains(&budget.name));
    let width = |plan: &Plan| match plan.decision {
        Decision::Simple => None,
        Decision::Guarded { factor_milli } => {
            let width = budget.uncertainty().guard_band(factor_milli);
            Some(Quantity::from_base(dimension, width))
        }
    };
    named.map(|plan| (plan, width(plan))).collect()
}
