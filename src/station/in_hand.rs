//! Who measures, and which crimp tool is in use at a station.
//!
//! - Both stay in force until changed; a restart keeps them.
//! - A tool that the open series does not require is refused, with what was given and what was expected.
//! - One tool cannot be at two stations: while a series of another station requires it, it is refused here.

use super::{Core, Refusal};
use crate::entry::state::SeriesState;
use crate::entry::{OperatorSaid, Seq, ToolInHand, ToolSaid};
use crate::quantity::{Now, unsafe_in};
use crate::spec::Tool;
use crate::spec::resolve;

/// Longest name of a person, in characters.
pub(super) const LONGEST_NAME: usize = 100;

/// Checks an operator's name and returns it without blanks around it.
///
/// # Errors
///
/// A [`Refusal`] if the name is empty, too long, or holds characters that cannot be shown.
pub(super) fn checked_operator(operator: &str) -> Result<String, Refusal> {
    let name = operator.trim();
    let unseen = unsafe_in(name);
    if unseen.is_none() && (1..=LONGEST_NAME).contains(&name.chars().count()) {
        return Ok(name.to_owned());
    }
    let got = operator.to_owned();
    Err(Refusal::Operator { got, unseen })
}

impl Core {
    /// Sets the operator of a station.
    pub(super) fn set_operator(
        &mut self,
        now: Now,
        station: String,
        operator: &str,
    ) -> Result<Seq, Refusal> {
        let operator = checked_operator(operator)?;
        let said = OperatorSaid {
            series: self.series(&station).map(|series| series.id),
            station,
            operator,
        };
        Ok(self.append(now, said))
    }

    /// Sets the crimp tool in use at a station.
    pub(super) fn take_tool(
        &mut self,
        now: Now,
        station: String,
        id: &str,
        nest: Option<String>,
    ) -> Result<Seq, Refusal> {
        let tool = resolve::tool_named(&self.catalog, id)?;
        if let Some(nest) = &nest {
            resolve::nest_named(tool, nest)?;
        }
        let taken = ToolInHand {
            id: tool.id.clone(),
            class: tool.class,
            nest,
        };
        self.refuse_elsewhere(&station, &taken)?;
        let series = self.series(&station);
        let as_planned = match series {
            Some(series) => check(series, tool, &taken)?,
            None => false,
        };
        let said = ToolSaid {
            series: series.map(|series| series.id),
            station,
            tool: taken,
            as_planned,
        };
        Ok(self.append(now, said))
    }

    fn refuse_elsewhere(&self, station: &str, taken: &ToolInHand) -> Result<(), Refusal> {
        let elsewhere = self.state.stations.iter().find_map(|(name, known)| {
            let series = known.series.as_ref()?;
            let asked = series.spec.tool.as_ref()?;
            (name != station && asked.id == taken.id).then_some((name, series.id))
        });
        match elsewhere {
            None => Ok(()),
            Some((other, series)) => Err(Refusal::ToolElsewhere {
                tool: taken.id.clone(),
                other: other.clone(),
                series,
            }),
        }
    }
}

/// Whether the open series requires this tool. An error if it requires another one, or if the pieces cannot have been
/// crimped with it.
fn check(series: &SeriesState, tool: &Tool, taken: &ToolInHand) -> Result<bool, Refusal> {
    let spec = &series.spec;
    let Some(asked) = &spec.tool else {
        let own = spec.purpose.is_of_own_crimps();
        if let Some(crimp) = spec.subject.crimp().filter(|_| own) {
            let nest = taken.nest.as_deref();
            resolve::check_tool(tool, nest, &crimp.terminal, &crimp.wire)?;
        }
        return Ok(false);
    };
    if asked.id != taken.id {
        let want = ToolInHand {
            id: asked.id.clone(),
            class: asked.class,
            nest: asked.nest.clone(),
        };
        return Err(Refusal::NotItsTool {
            got: Box::new(taken.clone()),
            want: Box::new(want),
            series: series.id,
            plan: spec.plan.clone().unwrap_or_else(|| "its plan".to_owned()),
        });
    }
    match (&taken.nest, &asked.nest) {
        (Some(got), Some(want)) if got != want => Err(Refusal::NotItsNest {
            tool: taken.id.clone(),
            got: got.clone(),
            want: want.clone(),
            series: series.id,
        }),
        (Some(_) | None, _) => Ok(true),
    }
}

/// Refuses a plan that requires another tool or nest than the one in the hand.
pub(super) fn refuse_another(
    id: &str,
    nest: Option<&str>,
    hand: &ToolInHand,
) -> Result<(), Refusal> {
    if hand.id != id {
        return Err(Refusal::OtherTool {
            got: Box::new(hand.clone()),
            want: id.to_owned(),
        });
    }
    match (nest, &hand.nest) {
        (Some(want), Some(got)) if got != want => Err(Refusal::OtherNest {
            got: Box::new(hand.clone()),
            want: want.to_owned(),
        }),
        (Some(_) | None, _) => Ok(()),
    }
}
