//! What is added to a plan at arming: the operator, the tool in the hand, and what the journal knows of both
//! instruments and tool.

use super::Refusal;
use super::in_hand::refuse_another;
use crate::entry::{State, ToolInHand};
use crate::quantity::WallMicros;
use crate::spec::resolve::Hand;
use crate::spec::{ArmedSpec, Catalog, Plan, care, resolve};

/// The specification by which `station` measures under `plan`.
pub(super) fn arm(
    catalog: &Catalog,
    station: &str,
    plan: &Plan,
    operator: Option<String>,
    in_hand: Option<&ToolInHand>,
) -> Result<ArmedSpec, Refusal> {
    if let (Some(id), Some(hand)) = (&plan.tool, in_hand) {
        refuse_another(id, plan.nest.as_deref(), hand)?;
    }
    let hand = in_hand.map(|hand| Hand {
        tool: &hand.id,
        nest: hand.nest.as_deref(),
    });
    match resolve(catalog, station, plan, hand) {
        Ok(spec) => Ok(ArmedSpec { operator, ..spec }),
        // Only the first fault fits into an answer; `tallyjaw check` prints all of them.
        Err(why) => Err(Refusal::from(why.first)),
    }
}

/// Adds to `spec` what the journal knows at arming: verifications, crimps made with the tool, warnings that follow.
pub(super) fn note_care(spec: &mut ArmedSpec, state: &State, now: WallMicros) {
    for instrument in &mut spec.instruments {
        let known = state.instruments.get(&instrument.name);
        instrument.verified = known.and_then(|known| known.verified);
    }
    if let Some(tool) = &mut spec.tool {
        let counted = state.tools.get(&tool.id).map_or(0, |known| known.crimps);
        tool.crimps = Some(tool.care.crimps_before.saturating_add(counted));
    }
    spec.warnings.extend(care::warnings(spec, now));
}

/// As [`note_care`], for the next series of a plan that repeats. Warnings computed at the time `before` are replaced.
pub(super) fn note_care_again(
    spec: &mut ArmedSpec,
    before: WallMicros,
    state: &State,
    now: WallMicros,
) {
    let said = care::warnings(spec, before);
    spec.warnings.retain(|warning| !said.contains(warning));
    note_care(spec, state, now);
}
