//! What the journal knows of the instruments and the tool of a series, and what is overdue.

use crate::entry::State;
use crate::quantity::WallMicros;
use crate::spec::{ArmedSpec, care};

/// Puts into `spec` what is known at arming; warnings of it come last.
pub(in crate::station) fn note_care(spec: &mut ArmedSpec, state: &State, now: WallMicros) {
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

/// The same for the next series of a plan that repeats: what was said at `before` is said anew.
pub(in crate::station) fn note_care_again(
    spec: &mut ArmedSpec,
    before: WallMicros,
    state: &State,
    now: WallMicros,
) {
    let said = care::warnings(spec, before);
    spec.warnings.retain(|warning| !said.contains(warning));
    note_care(spec, state, now);
}
