//! Pull tests destroy their pieces, so they have a series of their own.

use super::{Resolver, Unarmable};
use crate::spec::axis::PULL_FORCE;
use crate::spec::{AxisName, Plan, Purpose};

/// Pieces of a pull test at set-up (common practice, no source).
const AT_SET_UP: u32 = 5;
/// Pieces of a pull test for the capability of a tool (common practice, no source).
const FOR_CAPABILITY: u32 = 25;

const CAUTION: &str = "a pull test is destructive: its pieces are scrap afterwards; keep the guard closed and \
    wear eye protection, a breaking wire whips; the maker's sheet and the manual of the puller decide how it is done";

impl Resolver<'_> {
    /// Refuses a pull test on pieces with other axes, and warns about its number of pieces.
    pub(super) fn check_pull(&mut self) {
        let plan = self.plan;
        let is_pull = |axis: &&AxisName| axis.as_str() == PULL_FORCE;
        if !plan.axes.iter().any(|axis| is_pull(&axis)) {
            return;
        }
        if let Some(other) = plan.axes.iter().find(|axis| !is_pull(axis)) {
            let axis = other.clone();
            self.refuse(Unarmable::PulledToo { axis });
        }
        self.warnings.push(CAUTION.to_owned());
        self.warnings.extend(too_few(plan));
    }
}

fn too_few(plan: &Plan) -> Option<String> {
    let (wanted, for_what) = match plan.purpose {
        Purpose::FirstOff => (AT_SET_UP, "at set-up"),
        Purpose::Qualification => (FOR_CAPABILITY, "to show what a tool is capable of"),
        Purpose::InProcess
        | Purpose::LastOff
        | Purpose::Reference
        | Purpose::GaugeStudy
        | Purpose::Verification => return None,
    };
    (plan.pieces < wanted).then(|| {
        format!(
            "few pieces for a pull test: got {}, want {wanted} or more {for_what} (common practice; the maker's sheet decides)",
            plan.pieces
        )
    })
}
