//! The standing of one combination.

use super::lacking::{Lacking, Lapse, SeriesName};
use crate::entry::qualifying::{Evidence, EvidenceAxis};
use crate::entry::{Outcome, Reservation};
use crate::quantity::{Area, Date, Quantity, WallMicros, named};
use crate::spec::axis::PULL_FORCE;
use crate::spec::{AxisName, Catalog, Limits, QualificationRule, ToolCare, care};
use crate::stats::capability::Capability;
use crate::stats::{self, Sample};

named! {
    /// Whether a combination is shown.
    pub enum Standing {
        /// Every requirement of the rule is met.
        Shown = "shown",
        /// Something is missing, or its newest series was not accepted.
        NotShown = "not_shown",
        /// It was shown, and has to be shown again.
        Lapsed = "lapsed",
        /// No qualification series of it is known.
        NeverTried = "never_tried",
    }
}

impl Standing {
    /// The standing in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Shown => "shown",
            Self::NotShown => "not shown",
            Self::Lapsed => "lapsed",
            Self::NeverTried => "never tried",
        }
    }
}

/// The axes that must be shown, each with its limits; an axis without limits uses those of the newest series.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Required(pub Vec<(AxisName, Option<Limits>)>);

/// The care of the tool today.
#[derive(Debug, Clone, Copy)]
pub struct CareNow<'a> {
    /// The tool's id.
    pub tool: &'a str,
    /// Its checks, as configured.
    pub care: &'a ToolCare,
    /// Its total number of crimps; `None` if it is not known.
    pub crimps: Option<u64>,
}

/// The result for a combination.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Whether it is shown.
    pub standing: Standing,
    /// What is missing; empty unless it is not shown.
    pub missing: Vec<Lacking>,
    /// Why it has lapsed; empty unless it has.
    pub lapses: Vec<Lapse>,
    /// The axes with a series that was judged by the present limits.
    pub axes: Vec<AxisFound>,
    /// The last day on which it counts, by the rule's months.
    pub until: Option<Date>,
    /// The reservations of its series, each once.
    pub reservations: Vec<Reservation>,
}

/// The newest series of an axis.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AxisFound {
    /// The axis.
    pub axis: AxisName,
    /// The limits.
    pub limits: Limits,
    /// The series.
    pub series: SeriesName,
    /// The day on which it was closed; `None` beyond the calendar.
    pub on: Option<Date>,
    /// The number of counted readings.
    pub pieces: u64,
    /// The lower 95 % confidence bound of Ppk in thousandths, rounded down; `None` for a pull force, and if it has no
    /// value.
    pub ppk_least_milli: Option<i64>,
    /// The lowest reading of a pull force.
    pub lowest: Option<Quantity>,
}

impl Required {
    /// The axes that the sheet of the catalog limits, and pull tests if the rule requires them; `None` if no sheet has
    /// the terminal and wire.
    pub fn in_catalog(
        catalog: &Catalog,
        terminal: &str,
        wire: Area,
        rule: &QualificationRule,
    ) -> Option<Self> {
        let row = catalog.terminal(terminal)?.row(wire)?;
        let limits = row.limits.iter().filter(|(axis, _)| !is_pull(axis));
        let limits = limits.map(|(axis, limits)| (axis.clone(), Some(limits.clone())));
        let pull = AxisName::new(PULL_FORCE);
        let of_pull = rule
            .pull
            .then(|| (pull.clone(), row.limits_of(&pull).cloned()));
        Some(Self(limits.chain(of_pull).collect()))
    }
}

/// Whether the lowest reading counts instead of an index. This is so for pull tests, which destroy their pieces.
fn is_pull(axis: &AxisName) -> bool {
    axis.is_destructive()
}

/// The standing of a combination on a day, from its series, of which the newest is last.
pub fn find(
    known: &[Evidence],
    required: Option<&Required>,
    rule: &QualificationRule,
    care: Option<CareNow<'_>>,
    now: WallMicros,
) -> Found {
    let mut found = Found {
        standing: Standing::NeverTried,
        missing: Vec::new(),
        lapses: Vec::new(),
        axes: Vec::new(),
        until: None,
        reservations: Vec::new(),
    };
    if known.is_empty() {
        return found;
    }
    match required {
        None => found.lack(Lacking::NoSheet),
        Some(required) => {
            for (axis, limits) in &required.0 {
                found.axis(known, axis, limits.as_ref(), rule);
            }
        }
    }
    let oldest = found.axes.iter().filter_map(|axis| axis.on).min();
    found.until = oldest.and_then(|day| day.plus_months(rule.months));
    if let Some(oldest) = oldest
        && found.missing.is_empty()
    {
        found.lapses = lapses(oldest, found.until, rule, care, now);
    }
    found.standing = match (found.missing.is_empty(), found.lapses.is_empty()) {
        (false, _) => Standing::NotShown,
        (true, false) => Standing::Lapsed,
        (true, true) => Standing::Shown,
    };
    found
}

fn lapses(
    oldest: Date,
    until: Option<Date>,
    rule: &QualificationRule,
    care: Option<CareNow<'_>>,
    now: WallMicros,
) -> Vec<Lapse> {
    let mut found = Vec::new();
    if let Some(until) = until.filter(|until| until.is_over(now)) {
        let months = rule.months;
        found.push(Lapse::Months { until, months });
    }
    let Some(CareNow { tool, care, crimps }) = care else {
        return found;
    };
    let checked = care.last_check.filter(|day| !day.is_ahead(now));
    if let Some(day) = checked.filter(|day| *day > oldest) {
        let tool = tool.to_owned();
        found.push(Lapse::Checked { tool, day });
    }
    let overdue = care::overdue(tool, care, crimps, now);
    found.extend(overdue.into_iter().map(Lapse::Overdue));
    found
}

impl Found {
    /// The series with the evidence, each once.
    pub fn series(&self) -> Vec<&SeriesName> {
        let mut names: Vec<_> = self.axes.iter().map(|axis| &axis.series).collect();
        names.sort();
        names.dedup();
        names
    }

    /// The day of its oldest series.
    pub fn on(&self) -> Option<Date> {
        self.axes.iter().filter_map(|axis| axis.on).min()
    }

    /// The axis with the lowest confidence bound of Ppk, and that bound in thousandths.
    pub fn worst(&self) -> Option<(&AxisFound, i64)> {
        let bounds = self.axes.iter();
        let bounds = bounds.filter_map(|axis| Some((axis, axis.ppk_least_milli?)));
        bounds.min_by_key(|(_, bound)| *bound)
    }

    /// The smallest number of pieces of an axis other than pull force.
    pub fn pieces(&self) -> Option<u64> {
        let measured = self.axes.iter().filter(|axis| axis.lowest.is_none());
        measured.map(|axis| axis.pieces).min()
    }

    /// The pull tests.
    pub fn pull(&self) -> Option<&AxisFound> {
        self.axes.iter().find(|axis| axis.lowest.is_some())
    }

    fn lack(&mut self, lacking: Lacking) {
        if !self.missing.contains(&lacking) {
            self.missing.push(lacking);
        }
    }

    /// Finds the newest series of an axis, and what is missing.
    fn axis(
        &mut self,
        known: &[Evidence],
        axis: &AxisName,
        limits: Option<&Limits>,
        rule: &QualificationRule,
    ) {
        let newest = |fits: &dyn Fn(&EvidenceAxis) -> bool| {
            let mut series = known.iter().rev();
            series.find_map(|evidence| {
                let of = evidence.axes.iter().find(|of| fits(of))?;
                Some((evidence, of))
            })
        };
        let fits = |of: &EvidenceAxis| match limits {
            Some(limits) => of.is_of(axis, limits),
            None => of.axis == *axis,
        };
        let Some((evidence, of)) = newest(&fits) else {
            let axis = axis.clone();
            return match newest(&|of| of.axis == axis) {
                Some((other, _)) => {
                    let series = name_of(other);
                    self.lack(Lacking::OtherLimits { axis, series });
                }
                None => self.lack(Lacking::NoSeries { axis }),
            };
        };
        for reservation in &evidence.reservations {
            if !self.reservations.contains(reservation) {
                self.reservations.push(*reservation);
            }
        }
        self.figures(evidence, of, rule);
    }

    fn figures(&mut self, evidence: &Evidence, of: &EvidenceAxis, rule: &QualificationRule) {
        let series = name_of(evidence);
        let axis = of.axis.clone();
        let pieces = u64::try_from(of.bases.len()).unwrap_or(u64::MAX);
        let accepted = evidence.outcome == Outcome::Accepted;
        if !accepted {
            let (outcome, series) = (evidence.outcome, series.clone());
            self.lack(Lacking::NotAccepted { outcome, series });
        }
        if !evidence.is_bracketed {
            let series = series.clone();
            self.lack(Lacking::NoZeros { series });
        }
        let enough = pieces >= u64::from(rule.pieces);
        if accepted && !enough {
            self.lack(Lacking::TooFew {
                axis: axis.clone(),
                got: pieces,
                want: rule.pieces,
                series: series.clone(),
            });
        }
        let dimension = of.limits.dimension();
        let lowest = of.bases.iter().min().filter(|_| is_pull(&axis));
        let capability = (!is_pull(&axis)).then(|| capability(of, rule)).flatten();
        let bound = capability.as_ref().and_then(|of| of.ppk_least_milli().ok());
        if accepted && enough && !is_pull(&axis) {
            self.index(capability.as_ref().zip(bound), &axis, &series, rule);
        }
        self.axes.push(AxisFound {
            on: Date::of(evidence.at),
            limits: of.limits.clone(),
            ppk_least_milli: bound,
            lowest: lowest.map(|base| Quantity::from_base(dimension, *base)),
            axis,
            series,
            pieces,
        });
    }

    /// Whether the index is demonstrated; or what is missing.
    fn index(
        &mut self,
        of: Option<(&Capability, i64)>,
        axis: &AxisName,
        series: &SeriesName,
        rule: &QualificationRule,
    ) {
        let (axis, series) = (axis.clone(), series.clone());
        let Some((capability, got_milli)) = of else {
            return self.lack(Lacking::NoIndex { axis, series });
        };
        let claim = capability.claim();
        if claim.shown {
            return;
        }
        let mut failing = claim.failing().peekable();
        if failing.peek().is_none() {
            let want_hundredths = rule.ppk_hundredths;
            return self.lack(Lacking::Bound {
                axis,
                got_milli,
                want_hundredths,
                series,
            });
        }
        for ground in failing {
            self.lack(Lacking::Ground {
                axis: axis.clone(),
                ground: ground.name,
                series: series.clone(),
            });
        }
    }
}

fn name_of(evidence: &Evidence) -> SeriesName {
    SeriesName {
        journal: evidence.journal.clone(),
        series: evidence.series,
    }
}

/// The capability of an axis by the rule; `None` if its readings cannot form a sample.
fn capability(of: &EvidenceAxis, rule: &QualificationRule) -> Option<Capability> {
    let sample = Sample::from_bases(of.bases.clone(), of.unit).ok()?;
    let sample = sample.with_step(of.resolution);
    let limits = stats::Limits {
        lower: of.limits.lower(),
        nominal: of.limits.nominal(),
        upper: of.limits.upper(),
    };
    Some(Capability::of_singles(&sample, limits).asking_hundredths(rule.ppk_hundredths))
}
