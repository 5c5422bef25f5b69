//! Who measures, and which crimp tool is in the hand.
//!
//! - Both are kept at the station until something else is said; a restart changes nothing.
//! - A tool that the open series does not ask for is refused, with what it was and what was expected.
//! - A tool is in one hand only: while a series of another station asks for it, it is refused here.

use super::arming::refuse;
use super::{Core, Refusal};
use crate::entry::state::SeriesState;
use crate::entry::words::tool as in_words;
use crate::entry::{OperatorSaid, ToolInHand, ToolSaid};
use crate::quantity::{Now, unsafe_in};
use crate::spec::resolve;
use crate::spec::{ArmedTool, Tool};

/// Longest name of a person, in characters.
const LONGEST_NAME: usize = 100;

/// The operator's name as it is kept.
///
/// # Errors
///
/// A [`Refusal`] if it is empty, too long, or holds what cannot be shown.
pub(super) fn checked_operator(operator: &str) -> Result<String, Refusal> {
    let name = operator.trim();
    let unseen = unsafe_in(name);
    if unseen.is_none() && (1..=LONGEST_NAME).contains(&name.chars().count()) {
        return Ok(name.to_owned());
    }
    let with = unseen.map_or_else(String::new, |unseen| format!(" with {unseen}"));
    Err(refuse(
        format!(
            "got {operator:?}{with} for the operator, want a name of 1 to {LONGEST_NAME} characters that can be shown"
        ),
        "give a name or initials: tj/operator/mara",
    ))
}

impl Core {
    /// Who measures from here on.
    pub(super) fn say_operator(
        &mut self,
        now: Now,
        station: String,
        operator: &str,
    ) -> Result<(), Refusal> {
        let operator = checked_operator(operator)?;
        let series = self.series(&station).map(|series| series.id);
        self.append(
            now,
            OperatorSaid {
                station,
                series,
                operator,
            },
        );
        Ok(())
    }

    /// Which crimp tool is in the hand.
    pub(super) fn take_tool(
        &mut self,
        now: Now,
        station: String,
        id: &str,
        nest: Option<String>,
    ) -> Result<(), Refusal> {
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
        self.append(now, said);
        Ok(())
    }

    fn refuse_elsewhere(&self, station: &str, taken: &ToolInHand) -> Result<(), Refusal> {
        let elsewhere = self.state.stations.iter().find_map(|(name, known)| {
            let series = known.series.as_ref()?;
            let asked = series.spec.tool.as_ref()?;
            (name != station && asked.id == taken.id).then_some((name, series.id))
        });
        match elsewhere {
            None => Ok(()),
            Some((other, series)) => Err(refuse(
                format!(
                    "{} is the tool of {other}, where series {series} is open",
                    taken.id
                ),
                format!("take the tool of {station}, or disarm {other} first"),
            )),
        }
    }
}

/// Whether the open series asks for this tool; an error if it asks for another one, or if what is
/// measured cannot have been crimped with it.
fn check(series: &SeriesState, tool: &Tool, taken: &ToolInHand) -> Result<bool, Refusal> {
    let spec = &series.spec;
    let plan = spec.plan.as_deref().unwrap_or("its plan");
    let Some(asked) = &spec.tool else {
        let own = spec.purpose.is_of_own_crimps();
        if let Some(crimp) = spec.subject.crimp().filter(|_| own) {
            let nest = taken.nest.as_deref();
            resolve::check_tool(tool, nest, &crimp.terminal, &crimp.wire)?;
        }
        return Ok(false);
    };
    let want = in_words(&asked_in_hand(asked));
    if asked.id != taken.id {
        return Err(refuse(
            format!(
                "{} is not the tool of series {}: {plan} asks for {want}",
                in_words(taken),
                series.id
            ),
            format!(
                "crimp with {}; to crimp with {}, arm a plan that names it",
                asked.id, taken.id
            ),
        ));
    }
    match (&taken.nest, &asked.nest) {
        (Some(got), Some(nest)) if got != nest => Err(refuse(
            format!(
                "wrong nest {got} of {}: series {} asks for nest {nest}",
                taken.id, series.id
            ),
            format!("crimp in nest {nest}"),
        )),
        (Some(_) | None, _) => Ok(true),
    }
}

fn asked_in_hand(asked: &ArmedTool) -> ToolInHand {
    ToolInHand {
        id: asked.id.clone(),
        class: asked.class,
        nest: asked.nest.clone(),
    }
}

/// Refuses a plan whose tool is not the one in the hand.
pub(super) fn refuse_another(
    id: &str,
    nest: Option<&str>,
    hand: &ToolInHand,
) -> Result<(), Refusal> {
    if hand.id != id {
        return Err(refuse(
            format!("{} is in the hand, the plan asks for {id}", in_words(hand)),
            format!("take {id} and scan its card: tj/tool/{id}"),
        ));
    }
    match (nest, &hand.nest) {
        (Some(nest), Some(got)) if got != nest => Err(refuse(
            format!(
                "{} is in the hand, the plan asks for nest {nest}",
                in_words(hand)
            ),
            format!("use nest {nest} and say so: tj/tool/{id}/{nest}"),
        )),
        (Some(_) | None, _) => Ok(()),
    }
}
