//! Gauge studies with more factors than parts and appraisers, and with missing or unequal cells.
//!
//! ```text
//! ev² = variance of the rest,   pv² = variance of parts,   av² = the sum of all others, interactions among them
//! ```
//!
//! Components by [`Components`]; nothing is pooled. In a balanced study of parts and appraisers this gives what the
//! analysis of variance gives without pooling.

use super::{Bounds, Study};
use crate::stats::components::{Components, Source};
use crate::stats::{CONFIDENCE, Undefined};

/// The study whose parts are the sources of which `is_part` says so.
///
/// # Errors
///
/// [`Undefined::NotApplicable`] if no part was measured twice under the same conditions, so that repeatability is not
/// seen.
pub fn expanded(
    components: &Components,
    is_part: impl Fn(&str) -> bool,
) -> Result<Study, Undefined> {
    if components.interactions_in_rest {
        return Err(Undefined::NotApplicable {
            why: "no part was measured twice under the same conditions, so repeatability is not seen",
        });
    }
    let sources = || {
        components
            .sources
            .iter()
            .filter(|of| of.mean_square.is_some())
    };
    let is_part = |of: &&Source| is_part(&of.name);
    let is_rest = |of: &&Source| of.name == "rest";
    let parts: Vec<&Source> = sources().filter(is_part).collect();
    let rest: Vec<&Source> = sources().filter(is_rest).collect();
    let others: Vec<&Source> = sources()
        .filter(|of| !is_part(of) && !is_rest(of))
        .collect();
    let gauge: Vec<&Source> = sources().filter(|of| !is_part(of)).collect();
    let bounds = |together: f64| {
        let confidence = 1.0 - (1.0 - CONFIDENCE) / together;
        let of = |sources: &[&Source]| {
            let part = components.part_of(sources, confidence)?;
            Ok::<_, Undefined>((part.low, part.high))
        };
        Ok::<_, Undefined>(Bounds {
            ev: of(&rest)?,
            av: of(&others)?,
            grr: of(&gauge)?,
            pv: of(&parts)?,
        })
    };
    let sd = |sources: &[&Source]| Ok::<_, Undefined>(components.part_of(sources, CONFIDENCE)?.sd);
    let (ev, av, pv) = (sd(&rest)?, sd(&others)?, sd(&parts)?);
    let grr = ev.hypot(av);
    Ok(Study {
        method: "components",
        ev,
        av,
        grr,
        pv,
        tv: grr.hypot(pv),
        bounds: Some(bounds(1.0)?),
        bounds_of_two: Some(bounds(2.0)?),
        bounds_of_three: Some(bounds(3.0)?),
        pooled: Some(false),
        tolerance: Err(Undefined::NoLimits),
    })
}
