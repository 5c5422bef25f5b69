//! Own crimps of the journal, nest by nest.

use super::Factory;
use crate::cli::Failure;
use crate::cli::pieces::{Holder, Kept, OfAxis, add, vouched};
use crate::cli::query::{Rest, Take};
use crate::entry::glance::Glance;
use crate::entry::ledger::Series;
use crate::stats::nests::Mean;
use std::collections::BTreeMap;

/// The pieces of a nest.
#[derive(Default)]
pub(super) struct OfNest {
    axes: Vec<OfAxis>,
    pub(super) series: Vec<u64>,
}

/// What the search has found so far.
pub(super) struct OwnPieces<'f> {
    factory: &'f Factory,
    found: Own,
}

/// What the search has found.
#[derive(Default)]
pub(super) struct Own {
    pub(super) nests: BTreeMap<Holder, OfNest>,
    /// Series that were not used, by the reason.
    pub(super) left_out: Vec<(&'static str, Vec<u64>)>,
}

impl<'f> OwnPieces<'f> {
    pub(super) fn new(factory: &'f Factory) -> Self {
        Self {
            factory,
            found: Own::default(),
        }
    }

    pub(super) fn done(self) -> Own {
        self.found
    }

    /// Whether a nest of this tool has pieces.
    pub(super) fn has_tool(&self, tool: &str) -> bool {
        let mut holders = self.found.nests.keys();
        holders.any(|(known, _)| known == tool)
    }

    /// Takes a series of own crimps; an error if its readings cannot be compared with the factory pieces.
    fn take(&mut self, series: &Series<Kept>) -> Result<(), &'static str> {
        vouched(series)?;
        let spec = &series.spec;
        let tool = spec.tool.as_ref().ok_or("names no tool")?;
        let is_other_wire = spec.strands.zip(self.factory.pieces.strands);
        if is_other_wire.is_some_and(|(own, factory)| own != factory) {
            return Err("is on wire of another make-up than the factory pieces");
        }
        let measured = |kept: &Kept| {
            let mut axes = self.factory.axes();
            axes.find(|of| of.axis == kept.axis)
        };
        let foreign = series.readings.iter().any(|entered| {
            let factory = measured(&entered.kept);
            factory.is_some_and(|of| !of.instruments.contains(&entered.kept.instrument))
        });
        if foreign {
            return Err(
                "was measured with another instrument than the factory pieces, whose error would count as the nest's",
            );
        }
        let holder = (tool.id.clone(), tool.nest.clone());
        let nest = self.found.nests.entry(holder).or_default();
        nest.series.push(series.id.0);
        add(&mut nest.axes, series);
        Ok(())
    }
}

impl OfNest {
    /// Its mean on each axis of the factory pieces; or why it cannot be ranked.
    pub(super) fn means(&self, factory: &Factory) -> Result<Vec<Mean>, String> {
        let means = factory.axes().map(|wanted| {
            let words = wanted.axis.words();
            let mut axes = self.axes.iter();
            let of = axes.find(|of| of.axis == wanted.axis);
            let of = of.ok_or_else(|| format!("no readings of {words}"))?;
            super::mean(of).map_err(|why| format!("{words}: {why}"))
        });
        means.collect()
    }
}

impl Factory {
    /// The readings on the axes on which nests are compared.
    pub(super) fn axes(&self) -> impl Iterator<Item = &OfAxis> {
        let places = self.axes.iter();
        places.filter_map(|(at, _)| self.pieces.axes.get(*at))
    }
}

impl Take for OwnPieces<'_> {
    type Kept = Kept;

    fn keep(
        &mut self,
        series: &Series<Kept>,
        glance: &Glance<'_>,
        _: Rest<'_>,
    ) -> Result<Option<Kept>, Failure> {
        let is_own = series.spec.purpose.is_of_own_crimps();
        Ok(is_own.then(|| Kept::of(glance)))
    }

    fn tell(&mut self, series: Series<Kept>) -> Result<(), Failure> {
        // A series without a matching reading is ignored, whatever else is wrong with it.
        if !series.spec.purpose.is_of_own_crimps() || series.readings.is_empty() {
            return Ok(());
        }
        if let Err(why) = self.take(&series) {
            let left_out = &mut self.found.left_out;
            match left_out.iter_mut().find(|(known, _)| *known == why) {
                Some((_, ids)) => ids.push(series.id.0),
                None => left_out.push((why, vec![series.id.0])),
            }
        }
        Ok(())
    }
}
