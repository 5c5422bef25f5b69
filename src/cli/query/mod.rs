//! Which readings a command is about: the arguments that such commands share, what they match, and the
//! journal read for it, in one pass and bounded memory.
//!
//! - [`Query`] are the arguments, [`Filter`] is what they match.
//! - [`lines`] goes through the journal line by line.
//! - [`Search`] tells a command each reading that matches, when nothing more will be said about it.

pub(super) mod lines;
mod search;

pub(super) use search::{Fallen, Reached, Search, Series, Take, time_of};

use super::{Failure, wire};
use crate::entry::{Reading, Seq};
use crate::quantity::{Area, WallMicros};
use crate::spec::wire::resolve;
use crate::spec::{ArmedSpec, ArmedSubject, Purpose, SizingSystem, WireRequest};

/// Which readings of the journal.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct Query {
    /// Series by their ids; of all series that the options below allow, if none is given
    pub(super) series: Vec<u64>,
    /// Only of this axis, such as `core_crimp_height`
    #[arg(long, help_heading = "From the journal")]
    pub(super) axis: Option<String>,
    /// Only of this terminal
    #[arg(long, help_heading = "From the journal")]
    pub(super) terminal: Option<String>,
    /// Only on this wire: "2.0 mm²", "14 ga"
    #[arg(long, help_heading = "From the journal")]
    pub(super) wire: Option<String>,
    /// The system in which a gauge is resolved: `sae_metric` or `awg_area`
    #[arg(long, value_name = "SYSTEM", value_parser = wire::sizing, help_heading = "From the journal")]
    pub(super) sizing: Option<SizingSystem>,
    /// Only with this crimp tool
    #[arg(long, help_heading = "From the journal")]
    pub(super) tool: Option<String>,
    /// Only with this nest
    #[arg(long, help_heading = "From the journal")]
    pub(super) nest: Option<String>,
    /// Only by this person
    #[arg(long, help_heading = "From the journal")]
    pub(super) operator: Option<String>,
    /// Only with this instrument
    #[arg(long, help_heading = "From the journal")]
    pub(super) instrument: Option<String>,
    /// Only of this station
    #[arg(long, help_heading = "From the journal")]
    pub(super) station: Option<String>,
    /// Only for this purpose, such as `first_off`
    #[arg(long, value_parser = purpose, help_heading = "From the journal")]
    pub(super) purpose: Option<Purpose>,
    /// Only readings from this time on: 2026-11-25, 2026-11-25T09:14:00Z
    #[arg(long, value_name = "TIME", value_parser = time, help_heading = "From the journal")]
    pub(super) since: Option<WallMicros>,
    /// Only readings before this time
    #[arg(long, value_name = "TIME", value_parser = time, help_heading = "From the journal")]
    pub(super) until: Option<WallMicros>,
}

impl Query {
    /// What is asked for, in words that are the same for the same question: `, axis=strip_length`.
    pub(super) fn words(&self) -> String {
        let time = |at: Option<WallMicros>| at.map(|at| at.to_string());
        let parts = [
            ("axis", self.axis.clone()),
            ("terminal", self.terminal.clone()),
            ("wire", self.wire.clone()),
            ("sizing", self.sizing.map(|sizing| sizing.name().to_owned())),
            ("tool", self.tool.clone()),
            ("nest", self.nest.clone()),
            ("operator", self.operator.clone()),
            ("instrument", self.instrument.clone()),
            ("station", self.station.clone()),
            (
                "purpose",
                self.purpose.map(|purpose| purpose.name().to_owned()),
            ),
            ("since", time(self.since)),
            ("until", time(self.until)),
        ];
        let asked = parts
            .into_iter()
            .filter_map(|(name, value)| value.map(|value| format!(", {name}={value}")));
        asked.collect()
    }

    /// What it matches; a failure if the wire is none.
    pub(super) fn filter(&self) -> Result<Filter<'_>, Failure> {
        let wire = match &self.wire {
            Some(text) => {
                let request = WireRequest {
                    text: text.clone(),
                    sizing: self.sizing,
                };
                let size = resolve(&request).map_err(|error| {
                    Failure::usage(error.to_string()).with_remedy(error.remedy())
                })?;
                Some(size.area)
            }
            None => None,
        };
        Ok(Filter { query: self, wire })
    }
}

/// What a [`Query`] matches.
#[derive(Debug, Clone, Copy)]
pub(super) struct Filter<'q> {
    query: &'q Query,
    wire: Option<Area>,
}

impl Filter<'_> {
    /// The series that were asked for by id; empty if all may match.
    pub(super) fn ids(&self) -> &[u64] {
        &self.query.series
    }

    /// The entry before the first that can match.
    pub(super) fn after(&self) -> Seq {
        let first = self.ids().iter().min();
        first.map_or(Seq(0), |first| Seq(first.saturating_sub(1)))
    }

    /// Whether readings of this series may match; who measured is a matter of each reading, since somebody
    /// else may take over ([`Filter::reading`]).
    pub(super) fn series(&self, id: Seq, spec: &ArmedSpec) -> bool {
        let query = self.query;
        let crimp = match &spec.subject {
            ArmedSubject::Crimps { crimp, .. } => Some(crimp),
            ArmedSubject::Blocks(_) => None,
        };
        let tool = spec.tool.as_ref();
        (query.series.is_empty() || query.series.contains(&id.0))
            && same(query.station.as_ref(), Some(&spec.station))
            && same(query.tool.as_ref(), tool.map(|tool| tool.id.as_str()))
            && same(
                query.nest.as_ref(),
                tool.and_then(|tool| tool.nest.as_deref()),
            )
            && same(
                query.terminal.as_ref(),
                crimp.map(|crimp| crimp.terminal.as_str()),
            )
            && self
                .wire
                .is_none_or(|area| crimp.is_some_and(|crimp| crimp.wire.area == area))
            && query.purpose.is_none_or(|purpose| purpose == spec.purpose)
    }

    /// Whether a reading of a matching series matches, its time apart.
    pub(super) fn reading(&self, axis: &str, instrument: &str, operator: Option<&str>) -> bool {
        same(self.query.axis.as_ref(), Some(axis))
            && same(self.query.instrument.as_ref(), Some(instrument))
            && same(self.query.operator.as_ref(), operator)
    }

    /// Whether something is asked of the series.
    pub(super) fn asks_of_series(&self) -> bool {
        let query = self.query;
        let names = [
            &query.terminal,
            &query.tool,
            &query.nest,
            &query.operator,
            &query.axis,
        ];
        !query.series.is_empty()
            || self.wire.is_some()
            || query.purpose.is_some()
            || names.into_iter().any(Option::is_some)
    }

    /// Whether a reading matches that was measured for nothing.
    pub(super) fn loose(&self, at: WallMicros, reading: &Reading) -> bool {
        !self.asks_of_series()
            && same(self.query.station.as_ref(), Some(&reading.station))
            && same(self.query.instrument.as_ref(), Some(&reading.instrument))
            && self.time(at)
    }

    /// Whether everything matches.
    pub(super) fn is_empty(&self) -> bool {
        self.is_empty_but_for_time() && !self.is_timed()
    }

    /// Whether everything matches whose time does.
    pub(super) fn is_empty_but_for_time(&self) -> bool {
        let query = self.query;
        !self.asks_of_series() && query.station.is_none() && query.instrument.is_none()
    }

    /// Whether time matters.
    pub(super) fn is_timed(&self) -> bool {
        self.query.since.is_some() || self.query.until.is_some()
    }

    /// Whether what happened at this time matches.
    pub(super) fn time(&self, at: WallMicros) -> bool {
        self.query.since.is_none_or(|since| at >= since)
            && self.query.until.is_none_or(|until| at < until)
    }
}

/// Whether `got` is what is wanted, if something is.
fn same(wanted: Option<&String>, got: Option<&str>) -> bool {
    wanted.is_none_or(|wanted| got == Some(wanted.as_str()))
}

fn purpose(name: &str) -> Result<Purpose, String> {
    Purpose::from_name(name)
        .ok_or_else(|| format!("want {}", Purpose::ALL.map(Purpose::name).join(", ")))
}

/// A date is its beginning in UTC, as all times of the journal are.
fn time(text: &str) -> Result<WallMicros, String> {
    let whole = if text.len() == 10 {
        format!("{text}T00:00:00Z")
    } else {
        text.to_owned()
    };
    whole.parse().map_err(|_| {
        "want a date such as 2026-11-25, or a time such as 2026-11-25T09:14:00Z".to_owned()
    })
}
