//! Groups of readings side by side: tool against tool, nest against nest, day against day.
//!
//! In: the series of a report, and the property that distinguishes the groups. Out: for every axis with at least two
//! groups, their samples, and the comparison of each with the first. Only readings that count are used.

use super::facts::{Facts, Pool, ReportReading};
use crate::quantity::{Measured, named};
use crate::spec::{ArmedAxis, AxisName, Limits};
use crate::stats::compare::Comparison;
use crate::stats::{self, Sample, Undefined};
use std::collections::BTreeSet;

named! {
    /// The property that distinguishes groups.
    pub enum Group {
        /// The crimp tool.
        Tool = "tool",
        /// The nest of the tool.
        Nest = "nest",
        /// The operator.
        Operator = "operator",
        /// The instrument.
        Instrument = "instrument",
        /// The station.
        Station = "station",
        /// The series: each is a group.
        Series = "series",
        /// The local day, with the offset from UTC.
        Day = "day",
    }
}

impl Group {
    /// The group that a reading belongs to.
    fn of(self, facts: &Facts, row: &ReportReading) -> String {
        let spec = &facts.record.series.spec;
        let tool = spec.tool.as_ref();
        let known = match self {
            Self::Tool => tool.map(|tool| tool.id.clone()),
            Self::Nest => tool.and_then(|tool| tool.nest.clone()),
            Self::Operator => row.operator.clone(),
            Self::Instrument => Some(row.reading.instrument.to_string()),
            Self::Station => Some(spec.station.clone()),
            Self::Series => Some(facts.record.series.id.to_string()),
            Self::Day => Some(row.at.local_day_with_offset(&facts.zone)),
        };
        known.unwrap_or_else(|| spec.purpose.unnamed().to_owned())
    }
}

/// Settings of a comparison.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compare {
    /// The property that distinguishes groups.
    pub by: Group,
    /// A difference of means that does not matter; `None` if none was given.
    pub margin: Option<Measured>,
    /// The group that the others are compared with; `None` for the first.
    pub reference: Option<String>,
}

/// The groups of one axis.
#[derive(Debug, Clone)]
pub struct Compared {
    /// Name of the axis in the plan, for example `core_crimp_height`.
    pub axis: AxisName,
    /// Names and readings of the groups. The group that the others are compared with is first.
    pub groups: Vec<(String, Sample)>,
    /// Comparison of each other group with the first.
    pub comparisons: Vec<Comparison>,
    /// The limits, if they are the same for all readings.
    pub limits: Option<Limits>,
    /// Whether all readings have the same nominal; otherwise nothing is compared.
    pub is_of_one_nominal: bool,
    /// Whether more than one terminal or wire is among the readings.
    pub is_mixed: bool,
}

/// Every axis with at least two groups, in order of first appearance.
pub(super) fn compared(series: &[Facts], compare: &Compare, only: Option<&str>) -> Vec<Compared> {
    let axes = || {
        series
            .iter()
            .flat_map(|facts| &facts.record.series.spec.axes)
    };
    let mut names: Vec<&AxisName> = Vec::new();
    for axis in axes().filter(|axis| only.is_none_or(|only| only == axis.name.as_str())) {
        if !names.contains(&&axis.name) {
            names.push(&axis.name);
        }
    }
    let compared = names.into_iter().map(|name| of_axis(series, compare, name));
    compared.filter_map(|axis| axis.ok().flatten()).collect()
}

fn of_axis(
    series: &[Facts],
    compare: &Compare,
    name: &AxisName,
) -> Result<Option<Compared>, Undefined> {
    let mut pools: Vec<(String, Pool)> = Vec::new();
    let mut limits: Vec<&Limits> = Vec::new();
    let mut crimps = BTreeSet::new();
    for facts in series {
        let Some(axis) = facts.record.series.spec.axis(name) else {
            continue;
        };
        take(facts, axis, compare.by, &mut pools);
        limits.push(&axis.limits);
        let crimp = facts.record.series.spec.subject.crimp();
        crimps.insert(crimp.map(|crimp| (crimp.terminal.clone(), crimp.wire.area)));
    }
    let place = |wanted: &String| pools.iter().position(|(known, _)| known == wanted);
    let first = compare.reference.as_ref().and_then(place);
    if let Some(first) = first {
        let reference = pools.remove(first);
        pools.insert(0, reference);
    }
    let groups = pools
        .into_iter()
        .map(|(name, pool)| Ok((name, pool.sample()?)))
        .collect::<Result<Vec<(String, Sample)>, Undefined>>()?;
    let Some(((reference, sample), others)) = groups.split_first() else {
        return Ok(None);
    };
    if others.is_empty() {
        return Ok(None);
    }
    let margin = match compare.margin {
        Some(margin) => Some(sample.summary().quantity_in_unit(margin.quantity())?),
        None => None,
    };
    let same = limits.windows(2).all(|pair| pair.first() == pair.last());
    let shared = limits.first().filter(|_| same);
    let mut aims = limits.iter().map(|limits| limits.centre());
    let first_aim = aims.next();
    let is_of_one_nominal = aims.all(|centre| Some(centre) == first_aim);
    let known = shared.map_or_else(stats::Limits::default, |limits| stats::Limits {
        lower: limits.lower(),
        nominal: limits.nominal(),
        upper: limits.upper(),
    });
    let comparisons = others.iter().map(|(other, of)| {
        let first = (reference.clone(), sample.clone());
        Comparison::new(first, (other.clone(), of.clone()), margin)
            .against(known)
            .among(others.len())
    });
    Ok(Some(Compared {
        axis: name.clone(),
        comparisons: comparisons.filter(|_| is_of_one_nominal).collect(),
        is_of_one_nominal,
        limits: shared.map(|limits| (*limits).clone()),
        is_mixed: crimps.len() > 1,
        groups,
    }))
}

fn take(facts: &Facts, axis: &ArmedAxis, by: Group, pools: &mut Vec<(String, Pool)>) {
    for row in facts.on(axis).filter(|row| row.verdict().is_some()) {
        let name = by.of(facts, row);
        let at = pools.iter().position(|(known, _)| *known == name);
        let at = at.unwrap_or_else(|| {
            pools.push((name, Pool::default()));
            pools.len() - 1
        });
        if let Some((_, pool)) = pools.get_mut(at) {
            pool.push(facts, row);
        }
    }
}
