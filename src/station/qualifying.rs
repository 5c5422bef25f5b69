//! Checks first-offs of combinations that are not shown, where the shop's rule requires that they are.

use super::Refusal;
use crate::entry::State;
use crate::entry::qualifying::Combination;
use crate::qualification::{self, Found, Lacking, Standing};
use crate::quantity::{Area, WallMicros};
use crate::spec::{ArmedSpec, Catalog, Purpose, Qualified, QualifiedAxis, Subject, wire};
use std::fmt;

/// A combination that is not shown, with what is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotShown {
    /// The terminal's id.
    pub terminal: String,
    /// Size of the wire.
    pub wire: Area,
    /// The tool and its nest; `None` if no tool is named.
    pub tool: Option<(String, Option<String>)>,
    /// The standing of the combination.
    pub standing: Standing,
    /// What is missing, or why it has lapsed, in words.
    pub why: Vec<String>,
    /// The plans that qualify it.
    pub plans: Vec<String>,
}

/// Refuses a first-off of a combination that is not shown, if the rule requires it. Otherwise adds to `spec` what shows
/// it.
pub(super) fn require(
    spec: &mut ArmedSpec,
    catalog: &Catalog,
    state: &State,
    now: WallMicros,
) -> Result<(), Refusal> {
    spec.qualified = None;
    let rule = catalog.qualification.filter(|rule| rule.require);
    let (Some(rule), Purpose::FirstOff, Some(crimp)) = (rule, spec.purpose, spec.subject.crimp())
    else {
        return Ok(());
    };
    let not_shown = |tool, standing, why| {
        let (terminal, wire) = (crimp.terminal.clone(), crimp.wire.area);
        let plans = plans(catalog, &terminal, wire, tool);
        Err(Refusal::NotShown(Box::new(NotShown {
            tool: spec
                .tool
                .as_ref()
                .map(|of| (of.id.clone(), of.nest.clone())),
            terminal,
            wire,
            standing,
            why,
            plans,
        })))
    };
    let Some(of) = Combination::of(spec) else {
        let why = vec![Lacking::NoTool.to_string()];
        return not_shown(None, Standing::NotShown, why);
    };
    let found = qualification::standing(state, catalog, &rule, &of, now);
    if found.standing != Standing::Shown {
        let missing = found.missing.iter().map(ToString::to_string);
        let lapses = found.lapses.iter().map(ToString::to_string);
        let why = missing.chain(lapses).collect();
        return not_shown(Some(of.tool.as_str()), found.standing, why);
    }
    spec.qualified = Some(Box::new(Qualified {
        rule,
        axes: shown_by(&found),
    }));
    Ok(())
}

fn shown_by(found: &Found) -> Vec<QualifiedAxis> {
    let axes = found.axes.iter();
    axes.map(|of| QualifiedAxis {
        axis: of.axis.clone(),
        limits: of.limits.clone(),
        series: of.series.series.0,
    })
    .collect()
}

/// The plans with purpose qualification for this terminal, wire and tool.
fn plans(catalog: &Catalog, terminal: &str, area: Area, tool: Option<&str>) -> Vec<String> {
    let plans = catalog.plans.iter().filter(|plan| {
        let Subject::Crimps { terminal: of, wire } = &plan.subject else {
            return false;
        };
        plan.purpose == Purpose::Qualification
            && of == terminal
            && (plan.tool.is_none() || plan.tool.as_deref() == tool)
            && wire::resolve(wire).is_ok_and(|size| size.area == area)
    });
    plans.filter_map(|plan| plan.id.clone()).collect()
}

impl fmt::Display for NotShown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} on {}", self.terminal, self.wire)?;
        match &self.tool {
            None => {}
            Some((tool, None)) => write!(f, " with {tool}")?,
            Some((tool, Some(nest))) => write!(f, " with nest {nest} of {tool}")?,
        }
        match self.standing {
            Standing::NeverTried => f.write_str(" was never tried in a qualification"),
            Standing::Lapsed => {
                let why = self.why.first().map_or("", String::as_str);
                write!(f, " has lapsed: {why}")
            }
            Standing::NotShown | Standing::Shown => {
                write!(f, " is not shown: {}", self.why.join(", "))
            }
        }
    }
}

impl std::error::Error for NotShown {}

impl NotShown {
    /// What a person can do.
    pub(super) fn remedy(&self) -> String {
        if self.tool.is_none() {
            return "name the tool in the plan, or scan its card".to_owned();
        }
        match self.plans.as_slice() {
            [] => "write a plan with purpose = \"qualification\" for it, and measure that first"
                .to_owned(),
            [only] => format!("measure a qualification first: start {only}"),
            some => format!("measure what is missing first: start {}", some.join(", ")),
        }
    }
}
