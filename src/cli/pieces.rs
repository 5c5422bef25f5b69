//! Collects pieces from the journal: their readings by axis, and why a series cannot be used.

use super::query::{Rest, Take};
use crate::entry::Outcome;
use crate::entry::Seq;
use crate::entry::glance::Glance;
use crate::entry::ledger::{Disposition, Series};
use crate::quantity::{Quantity, Unit};
use crate::spec::wire::Strands;
use crate::spec::{AxisName, Crimp, Purpose};
use crate::stats::{Sample, Undefined};
use std::collections::BTreeSet;

/// The data kept of a reading.
pub(super) struct Kept {
    pub(super) axis: AxisName,
    base: i64,
    unit: Unit,
    pub(super) instrument: String,
}

impl Kept {
    pub(super) fn of(glance: &Glance<'_>) -> Self {
        Self {
            axis: AxisName::new(glance.axis),
            base: glance.base,
            unit: glance.unit,
            instrument: glance.instrument.to_owned(),
        }
    }
}

/// The counted readings of one axis.
pub(super) struct OfAxis {
    pub(super) axis: AxisName,
    pub(super) unit: Unit,
    pub(super) instruments: BTreeSet<String>,
    /// The coarsest resolution of the instruments.
    step: Option<Quantity>,
    bases: Vec<i64>,
}

impl OfAxis {
    /// The readings with their resolution.
    pub(super) fn sample(&self) -> Result<Sample, Undefined> {
        let sample = Sample::from_bases(self.bases.clone(), self.unit)?;
        Ok(sample.with_step(self.step))
    }
}

/// Adds the counted readings of a series, by axis in the order of measuring.
pub(super) fn add(axes: &mut Vec<OfAxis>, series: &Series<Kept>) {
    let counted = series.readings.iter();
    let counted = counted.filter(|entered| entered.disposition == Disposition::Counted);
    for Kept {
        axis,
        base,
        unit,
        instrument,
    } in counted.map(|entered| &entered.kept)
    {
        let step = series.spec.instrument(instrument);
        let step = step.map(|known| known.resolution);
        let at = axes.iter().position(|known| known.axis == *axis);
        let at = at.unwrap_or_else(|| {
            axes.push(OfAxis {
                axis: axis.clone(),
                unit: *unit,
                instruments: BTreeSet::new(),
                step: None,
                bases: Vec::new(),
            });
            axes.len() - 1
        });
        if let Some(of) = axes.get_mut(at) {
            of.bases.push(*base);
            of.step = of
                .step
                .into_iter()
                .chain(step)
                .max_by_key(|step| step.base());
            of.instruments.insert(instrument.clone());
        }
    }
}

/// The crimp of a series whose readings are all vouched for; or why its pieces cannot be used, to be read after its
/// number.
pub(super) fn vouched<K>(series: &Series<K>) -> Result<&Crimp, &'static str> {
    let spec = &series.spec;
    let crimp = spec.subject.crimp().ok_or("is of gauge blocks")?;
    let closed = series.closed.as_ref();
    let outcome = closed.map(|closed| closed.completed.outcome);
    if matches!(outcome, None | Some(Outcome::CutShort)) {
        return Err("was not measured to its end, so no closing zero vouches for its readings");
    }
    if !(spec.zero.before_first && spec.zero.closing) {
        return Err(
            "is of a plan that asks for no zero before its first reading and after its last one",
        );
    }
    let mut readings = series.readings.iter();
    if readings.any(|entered| matches!(entered.disposition, Disposition::Doubted(_))) {
        return Err("has readings that are doubted because of a zero: measure these pieces again");
    }
    Ok(crimp)
}

/// A tool and its nest.
pub(super) type Holder = (String, Option<String>);

/// Factory pieces of one or more series: what they share, and their readings.
#[derive(Default)]
pub(super) struct FactoryPieces {
    pub(super) of: Option<(Crimp, Option<Holder>)>,
    pub(super) axes: Vec<OfAxis>,
    pub(super) series: Vec<Seq>,
    /// The make-up of the wire, if a plan gives it.
    pub(super) strands: Option<Strands>,
    /// Why the pieces cannot be used.
    pub(super) refused: Option<String>,
}

impl FactoryPieces {
    /// The crimp, if all series are of the same one and their pieces can be taken together; or why not.
    pub(super) fn crimp(&self) -> Result<&Crimp, String> {
        match (&self.refused, &self.of) {
            (Some(why), _) => Err(why.clone()),
            (None, None) => Err("these series have no reading that counts".to_owned()),
            (None, Some((crimp, _))) => Ok(crimp),
        }
    }

    /// Takes a series; an error if its pieces are not factory pieces, or not of the same crimp.
    fn take(&mut self, series: &Series<Kept>) -> Result<(), String> {
        let (id, spec) = (series.id, &series.spec);
        if spec.subject.crimp().is_some() && spec.purpose != Purpose::Reference {
            return Err(format!(
                "series {id} is not of factory pieces: its purpose is {}",
                spec.purpose.name()
            ));
        }
        let crimp = vouched(series).map_err(|why| format!("series {id} {why}"))?;
        let tool = spec.tool.as_ref();
        let tool = tool.map(|tool| (tool.id.clone(), tool.nest.clone()));
        let of = (crimp.clone(), tool);
        match &self.of {
            Some(before) if before.0 != of.0 => {
                return Err(format!(
                    "these series are of {} on {} and of {} on {}",
                    before.0.terminal, before.0.wire, of.0.terminal, of.0.wire
                ));
            }
            Some(before) if before.1 != of.1 => {
                return Err("these series are of different tools or nests".to_owned());
            }
            Some(_) | None => self.of = Some(of),
        }
        let strands = self.strands.zip(spec.strands);
        if strands.is_some_and(|(before, now)| before != now) {
            return Err("these series are on wires of different make-up".to_owned());
        }
        self.strands = self.strands.or(spec.strands);
        self.series.push(id);
        add(&mut self.axes, series);
        Ok(())
    }
}

impl Take for FactoryPieces {
    type Kept = Kept;

    fn keep(
        &mut self,
        _: &Series<Kept>,
        glance: &Glance<'_>,
        _: Rest<'_>,
    ) -> Result<Option<Kept>, super::Failure> {
        Ok(Some(Kept::of(glance)))
    }

    fn tell(&mut self, series: Series<Kept>) -> Result<(), super::Failure> {
        if let Err(why) = self.take(&series) {
            self.refused.get_or_insert(why);
        }
        Ok(())
    }
}
