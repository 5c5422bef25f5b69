//! Chooses readings of the journal: the options that several commands share, the filter that they mean, and the search,
//! in one pass with bounded memory.
//!
//! - [`Query`] holds the options; [`Filter`] decides what they match. Each option is a row of the table in `option`.
//! - Options are stored as text in two forms: [`Query::options`] and [`Query::of_options`] (pairs of `--NAME` and
//!   value, in a report), and [`Query::json`] and [`Query::of_json`] (an object in a file). [`Query::words`] is one
//!   line to compare. Options from a file are accepted only in the form in which they are written here.
//! - [`lines`] reads the journal line by line; a [`Looker`] looks at lines on all processors before they are taken in
//!   order. [`indexed`] reads only the lines that some series need.
//! - [`Search`] gives a command each reading that matches, once nothing can change it.

pub(super) mod indexed;
pub(super) mod lines;
mod look;
mod option;
mod search;

pub(super) use look::{Look, Looker, Rest};
pub(super) use search::{Search, Take, time_of};

use super::Failure;
use crate::entry::history::Listed;
use crate::entry::{Reading, Seq};
use crate::index::Row;
use crate::quantity::{Area, WallMicros};
use crate::spec::wire::resolve;
use crate::spec::{ArmedSpec, ArmedSubject, Purpose, WireRequest};
use clap::{Arg, ArgAction, ArgMatches, value_parser};
use option::{OPTIONS, QueryOption, Selects};
pub(in crate::cli) use option::{ReadingKeys, time};
use serde_json::{Map, Value, json};

/// Name of the argument for numbers of series.
const SERIES: &str = "series";
/// Name of the option for the axis.
const AXIS: &str = "axis";
/// Name of the option for the purpose.
const PURPOSE: &str = "purpose";

/// The options that choose readings.
#[derive(Debug, Clone, Default)]
pub(super) struct Query {
    /// Numbers of series; if empty, all that the other options allow.
    pub(super) series: Vec<u64>,
    /// The other options, in the order of the table.
    asked: Vec<(&'static QueryOption, String)>,
}

impl Query {
    /// Names of the arguments, for other arguments that exclude them.
    pub(super) fn arguments() -> impl Iterator<Item = &'static str> {
        std::iter::once(SERIES).chain(OPTIONS.iter().map(|option| option.name))
    }

    /// Takes the value of each option of the table.
    pub(in crate::cli) fn new(series: Vec<u64>, value: impl Fn(&str) -> Option<String>) -> Self {
        let asked = OPTIONS
            .iter()
            .filter_map(|option| Some((option, value(option.name)?)));
        Self {
            series,
            asked: asked.collect(),
        }
    }

    /// The readings of these series.
    pub(in crate::cli) fn of_series(series: Vec<u64>) -> Self {
        Self::new(series, |_| None)
    }

    /// The axis that was chosen.
    pub(in crate::cli) fn axis(&self) -> Option<&str> {
        let mut asked = self.asked.iter();
        asked
            .find(|(option, _)| option.name == AXIS)
            .map(|(_, value)| value.as_str())
    }

    /// The same options for the readings of this axis.
    #[must_use]
    pub(in crate::cli) fn with_axis(&self, axis: &str) -> Self {
        self.with(AXIS, axis)
    }

    /// The same options; of this name with this value.
    fn with(&self, changed: &str, to: &str) -> Self {
        Self::new(self.series.clone(), |name| {
            if name == changed {
                return Some(to.to_owned());
            }
            let mut asked = self.asked.iter();
            let (_, value) = asked.find(|(option, _)| option.name == name)?;
            Some(value.clone())
        })
    }

    /// The same options for verification series, unless other readings were chosen by their purpose.
    #[must_use]
    pub(in crate::cli) fn of_verifications(&self) -> Self {
        if self.asked.iter().any(|(option, _)| option.name == PURPOSE) {
            return self.clone();
        }
        self.with(PURPOSE, Purpose::Verification.name())
    }

    /// The options in words: `, axis=strip_length`. Equal options give equal words.
    pub(super) fn words(&self) -> String {
        self.asked
            .iter()
            .fold(String::new(), |words, (option, value)| {
                format!("{words}, {}={value}", option.name)
            })
    }

    /// The options with their values: `--axis`, `strip_length`.
    pub(super) fn options(&self) -> Vec<(String, String)> {
        let asked = self.asked.iter();
        asked
            .map(|(option, value)| (format!("--{}", option.name), value.clone()))
            .collect()
    }

    /// The query of [`Query::options`]; `None` if an option is unknown, or is written differently.
    pub(super) fn of_options(options: &[(String, String)]) -> Option<Self> {
        let query = Self::new(Vec::new(), |name| {
            let mut shown = options.iter();
            let (_, value) = shown.find(|(option, _)| option.strip_prefix("--") == Some(name))?;
            Some(value.clone())
        });
        (query.is_as_written() && query.options() == options).then_some(query)
    }

    /// The query as an object: `{"series": [37], "axis": "strip_length"}`.
    pub(super) fn json(&self) -> Map<String, Value> {
        let series = (!self.series.is_empty()).then(|| (SERIES.to_owned(), json!(self.series)));
        let asked = self.asked.iter();
        let asked = asked.map(|(option, value)| (option.name.to_owned(), json!(value)));
        series.into_iter().chain(asked).collect()
    }

    /// The query of [`Query::json`]; `None` if a key is unknown, or is written differently.
    pub(super) fn of_json(object: &Map<String, Value>) -> Option<Self> {
        let series = match object.get(SERIES) {
            Some(ids) => serde_json::from_value(ids.clone()).ok()?,
            None => Vec::new(),
        };
        let query = Self::new(series, |name| object.get(name)?.as_str().map(str::to_owned));
        (query.is_as_written() && query.json() == *object).then_some(query)
    }

    /// Whether each value has the form in which it is written here.
    fn is_as_written(&self) -> bool {
        let mut asked = self.asked.iter();
        asked.all(|(option, value)| (option.parse)(value).as_ref() == Ok(value))
    }

    fn value(&self, is: impl Fn(&Selects) -> bool) -> Option<&str> {
        let mut asked = self.asked.iter();
        let (_, value) = asked.find(|(option, _)| is(&option.selects))?;
        Some(value)
    }

    /// The filter; a failure if the wire is not a valid size.
    pub(super) fn filter(&self) -> Result<Filter<'_>, Failure> {
        let usage = |error: String| Failure::usage(error);
        let sizing = self.value(|selects| matches!(selects, Selects::Sizing));
        let sizing = sizing.map(super::wire::sizing).transpose();
        let sizing = sizing.map_err(usage)?;
        let wire = match self.value(|selects| matches!(selects, Selects::Wire)) {
            Some(text) => {
                let text = text.to_owned();
                let size = resolve(&WireRequest { text, sizing }).map_err(|error| {
                    Failure::usage(error.to_string()).with_remedy(error.remedy())
                })?;
                Some(size.area)
            }
            None => None,
        };
        let since = self.value(|selects| matches!(selects, Selects::Since));
        let until = self.value(|selects| matches!(selects, Selects::Until));
        Ok(Filter {
            query: self,
            wire,
            since: since.map(option::time).transpose().map_err(usage)?,
            until: until.map(option::time).transpose().map_err(usage)?,
        })
    }
}

impl clap::FromArgMatches for Query {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let series = matches.get_many(SERIES).into_iter().flatten().copied();
        Ok(Self::new(series.collect(), |name| {
            matches.get_one(name).cloned()
        }))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

impl clap::Args for Query {
    fn augment_args(command: clap::Command) -> clap::Command {
        let series = Arg::new(SERIES)
            .value_name("SERIES")
            .help("The numbers of series [default: all series that the options below allow]")
            .action(ArgAction::Append)
            .num_args(1..)
            .value_parser(value_parser!(u64));
        command.arg(series).args(OPTIONS.iter().map(|option| {
            Arg::new(option.name)
                .long(option.name)
                .value_name(option.value)
                .help(option.help)
                .help_heading("From the journal")
                .value_parser(option.parse)
        }))
    }

    fn augment_args_for_update(command: clap::Command) -> clap::Command {
        Self::augment_args(command)
    }
}

/// Decides which readings a [`Query`] matches.
#[derive(Debug, Clone, Copy)]
pub(super) struct Filter<'q> {
    query: &'q Query,
    wire: Option<Area>,
    since: Option<WallMicros>,
    until: Option<WallMicros>,
}

impl Filter<'_> {
    /// The series that are named; empty if all may match.
    pub(super) fn ids(&self) -> &[u64] {
        &self.query.series
    }

    /// The options that are compared as text, by their names, with their values.
    pub(super) fn columns(&self) -> impl Iterator<Item = (&'static str, &str)> {
        let of_text =
            |selects: &Selects| selects.is_of_things() && !matches!(selects, Selects::Wire);
        let asked = self.query.asked.iter();
        asked
            .filter(move |(option, _)| of_text(&option.selects))
            .map(|(option, value)| (option.name, value.as_str()))
    }

    /// The size of the wire.
    pub(super) fn wire(&self) -> Option<Area> {
        self.wire
    }

    /// The last entry before any that can match.
    pub(super) fn after(&self) -> Seq {
        let first = self.ids().iter().min();
        first.map_or(Seq(0), |first| Seq(first.saturating_sub(1)))
    }

    /// Whether readings of this series may match. The operator is checked for each reading ([`Filter::reading`]),
    /// because it may change in a series.
    pub(super) fn series(&self, id: Seq, spec: &ArmedSpec) -> bool {
        let is_asked = |(option, value): &(&QueryOption, String)| match &option.selects {
            Selects::Series(of) => of(spec) == Some(value.as_str()),
            Selects::Wire => match &spec.subject {
                ArmedSubject::Crimps { crimp, .. } => Some(crimp.wire.area) == self.wire,
                ArmedSubject::Blocks(_) => false,
            },
            Selects::Reading { .. } | Selects::Sizing | Selects::Since | Selects::Until => true,
        };
        (self.ids().is_empty() || self.ids().contains(&id.0))
            && self.query.asked.iter().all(is_asked)
    }

    /// Whether a series was open in the time of the query and has a reading that can match.
    pub(super) fn could_match(&self, Listed { series, state }: &Listed) -> bool {
        let closed = series.closed.as_ref().map(|closed| closed.at);
        let is_asked = |(option, value): &(&QueryOption, String)| match &option.selects {
            Selects::Reading { any, .. } => any(series).contains(&value.as_str()),
            Selects::Since => {
                let since = self.since;
                since.is_none_or(|since| closed.is_none_or(|closed| closed >= since))
            }
            Selects::Until => self.until.is_none_or(|until| state.since < until),
            Selects::Series(_) | Selects::Wire | Selects::Sizing => true,
        };
        self.series(series.id, &series.spec) && self.query.asked.iter().all(is_asked)
    }

    /// As [`Self::could_match`], by the index, which knows the series that begin and end within a segment.
    pub(super) fn lists(&self, row: &Row<'_>) -> bool {
        self.has_facts(row)
            && self.since.is_none_or(|since| row.times.closed >= since)
            && self.until.is_none_or(|until| row.times.opened < until)
    }

    /// Whether a series of the index can have a reading that matches.
    pub(super) fn may_have(&self, row: &Row<'_>) -> bool {
        self.has_facts(row) && self.times(row.times.earliest, row.times.latest)
    }

    fn has_facts(&self, row: &Row<'_>) -> bool {
        let is_asked = |(option, value): &(&QueryOption, String)| match &option.selects {
            Selects::Series(_) | Selects::Reading { .. } => {
                (option.facts)(row.facts).contains(&value.as_str())
            }
            Selects::Wire => self.wire.is_some() && row.facts.wire() == self.wire,
            Selects::Sizing | Selects::Since | Selects::Until => true,
        };
        (self.ids().is_empty() || self.ids().contains(&row.id.0))
            && self.query.asked.iter().all(is_asked)
    }

    /// Whether a reading of a matching series matches. Its time is checked separately.
    pub(super) fn reading(&self, shown: &ReadingKeys<'_>) -> bool {
        self.query
            .asked
            .iter()
            .all(|(option, value)| match &option.selects {
                Selects::Reading { each, .. } => each(shown) == Some(value.as_str()),
                Selects::Series(_)
                | Selects::Wire
                | Selects::Sizing
                | Selects::Since
                | Selects::Until => true,
            })
    }

    /// Whether an option depends on the single reading and not only on its series.
    pub(super) fn asks_of_readings(&self) -> bool {
        let of_readings = |selects: &Selects| matches!(selects, Selects::Reading { .. });
        self.is_timed() || self.query.value(of_readings).is_some()
    }

    /// Whether a reading matches that was measured while no series was open.
    pub(super) fn loose(&self, at: WallMicros, reading: &Reading) -> bool {
        let is_asked = |(option, value): &(&QueryOption, String)| {
            let of = option.loose.map(|of| of(reading));
            !option.selects.is_of_things() || of == Some(value.as_str())
        };
        self.ids().is_empty() && self.query.asked.iter().all(is_asked) && self.time(at)
    }

    /// Whether a reading that belongs to no series can match.
    pub(super) fn may_be_loose(&self) -> bool {
        let mut asked = self.query.asked.iter();
        self.ids().is_empty()
            && asked.all(|(option, _)| !option.selects.is_of_things() || option.loose.is_some())
    }

    /// Whether the time range of the query overlaps the range between these times, both included.
    pub(super) fn times(&self, earliest: WallMicros, latest: WallMicros) -> bool {
        self.since.is_none_or(|since| latest >= since)
            && self.until.is_none_or(|until| earliest < until)
    }

    /// Whether every reading matches.
    pub(super) fn is_empty(&self) -> bool {
        self.is_empty_but_for_time() && !self.is_timed()
    }

    /// Whether every reading within the time matches.
    pub(super) fn is_empty_but_for_time(&self) -> bool {
        self.ids().is_empty() && self.query.value(Selects::is_of_things).is_none()
    }

    /// Whether the query has a time range.
    pub(super) fn is_timed(&self) -> bool {
        self.since.is_some() || self.until.is_some()
    }

    /// Whether this time is within that of the query.
    pub(super) fn time(&self, at: WallMicros) -> bool {
        self.since.is_none_or(|since| at >= since) && self.until.is_none_or(|until| at < until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A query with all options, each with its own value.
    fn asked_everything() -> Query {
        Query::new(vec![37, 52], |name| {
            Some(match name {
                "sizing" => "sae_metric".to_owned(),
                "purpose" => "first_off".to_owned(),
                "since" | "until" => "2026-11-25T09:14:00.000000Z".to_owned(),
                name => format!("a {name} = \"x\", --y"),
            })
        })
    }

    #[test]
    fn a_question_comes_back_from_its_options_and_its_object_as_it_was() {
        let query = asked_everything();
        let object = query.json();
        assert_eq!(object.len(), 1 + OPTIONS.len());
        let back = Query::of_json(&object).unwrap();
        assert_eq!((back.json(), back.words()), (object, query.words()));
        let back = Query::of_options(&query.options()).unwrap();
        assert_eq!(back.words(), query.words());
        assert!(back.series.is_empty(), "named series are no option");
    }

    #[test]
    fn a_question_that_is_not_written_as_we_write_it_is_refused() {
        let object = |key: &str, value: Value| Map::from_iter([(key.to_owned(), value)]);
        for (key, value) in [
            ("colour", json!("red")),
            ("since", json!("2026-11-25")),
            ("purpose", json!("First_off")),
            ("axis", json!(3)),
            ("series", json!("37")),
        ] {
            let refused = Query::of_json(&object(key, value));
            assert!(refused.is_none(), "{key}");
        }
        let swapped: Vec<_> = asked_everything().options().into_iter().rev().collect();
        assert!(Query::of_options(&swapped).is_none());
    }
}
