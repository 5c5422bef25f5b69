//! The instruments whose values count, and whether their zeros must be announced.

use super::Resolver;
use crate::quantity::Dimension;
use crate::spec::{ArmedAxis, ArmedInstrument, Instrument, Plan};

pub(super) fn armed_instruments(
    plan: &Plan,
    instruments: &[&Instrument],
    axes: &[ArmedAxis],
) -> Vec<ArmedInstrument> {
    let used = |instrument: &&&Instrument| {
        axes.iter()
            .any(|axis| axis.guard_of(&instrument.name).is_some())
    };
    instruments
        .iter()
        .filter(used)
        .map(|instrument| ArmedInstrument {
            name: instrument.name.clone(),
            unit: instrument.unit,
            resolution: instrument.resolution,
            max_error: instrument.max_error,
            repeatability: instrument.repeatability,
            range: instrument.range,
            care: instrument.care,
            papers: instrument.papers.clone(),
            verified: None,
            zero_must_be_said: axes
                .iter()
                .filter(|axis| axis.guard_of(&instrument.name).is_some())
                .any(|axis| reads_near_zero(axis, instrument.counts(plan.zero.band_counts))),
        })
        .collect()
}

/// Whether a value of this axis may lie within the zero band.
fn reads_near_zero(axis: &ArmedAxis, band: i64) -> bool {
    match axis.plausible {
        Some((least, _)) => least.base() <= band,
        // A force with a minimum only: a value at zero means that the wire came out, which the operator notes.
        None => {
            axis.limits.lower().is_none_or(|lower| lower.base() <= band)
                || axis.limits.dimension() == Dimension::Length
        }
    }
}

impl Resolver<'_> {
    /// Once for each instrument whose uncertainty matters, since an axis has a tolerance, and is not known.
    pub(super) fn warn_of_uncertainty(
        &mut self,
        instruments: &[ArmedInstrument],
        axes: &[ArmedAxis],
    ) {
        let unknown = instruments.iter().filter(|known| known.max_error.is_none());
        let unknown = unknown.filter(|known| {
            let mut measured = axes
                .iter()
                .filter(|axis| axis.guard_of(&known.name).is_some());
            measured.any(|axis| {
                let guard = axis.guard_of(&known.name);
                let has_budget = guard.is_some_and(|guard| guard.budget.is_some());
                axis.limits.width().is_some() && !has_budget
            })
        });
        self.warnings.extend(unknown.map(|known| {
            let name = &known.name;
            format!("the uncertainty of {name} is not known, so readings near a limit may be judged wrongly; write the maximum permissible error of its certificate into the configuration as `max_error`")
        }));
    }

    pub(super) fn warn_of_zero(&mut self, instruments: &[ArmedInstrument]) {
        if !self.plan.zero.closing {
            self.warnings.push(
                "no closing zero: nothing will vouch for the readings after the last zero"
                    .to_owned(),
            );
        }
        for instrument in instruments {
            if instrument.zero_must_be_said {
                self.warnings.push(format!(
                    "an axis of this plan can read near zero: announce each zero of {} before the press (tallyjaw zero, card, page or pedal)",
                    instrument.name
                ));
            }
        }
    }
}
