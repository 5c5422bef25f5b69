//! The options that choose readings, one row for each.
//!
//! A new option needs only a row here. This table gives the options of `export`, `study`, `series` and `report`, what
//! they match, how a report says what was chosen, and how the options are stored beside an export.

use crate::cli::wire;
use crate::clock;
use crate::entry::Reading;
use crate::entry::ledger::Series;
use crate::index::Facts;
use crate::quantity::WallMicros;
use crate::spec::{ArmedSpec, ArmedSubject, Lots, Material, Purpose};

/// An option that chooses readings.
#[derive(Debug)]
pub(in crate::cli) struct QueryOption {
    /// Name after `--`, and in stored options.
    pub(super) name: &'static str,
    /// Placeholder for its value in the help.
    pub(super) value: &'static str,
    pub(super) help: &'static str,
    /// Brings a value into its stored form; the error says what is expected.
    pub(super) parse: fn(&str) -> Result<String, String>,
    pub(super) selects: Selects,
    /// The values of a series in the index; empty if they are not compared as text.
    pub(super) facts: for<'f> fn(&'f Facts) -> Vec<&'f str>,
    /// The value of a reading outside a series; `None` if such a reading has none.
    pub(super) loose: Option<fn(&Reading) -> &str>,
}

/// What an option is compared with.
#[derive(Debug)]
pub(super) enum Selects {
    /// A property of the series, from its specification.
    Series(fn(&ArmedSpec) -> Option<&str>),
    /// A property of the reading, and the values that readings of a series can have.
    Reading {
        each: for<'r> fn(&ReadingKeys<'r>) -> Option<&'r str>,
        any: for<'s> fn(&'s Series<()>) -> Vec<&'s str>,
    },
    /// The wire size of the series.
    Wire,
    /// Nothing: it is the sizing system for the gauge in --wire.
    Sizing,
    /// The time of the entry: at or after the value.
    Since,
    /// The time of the entry: before the value.
    Until,
}

impl Selects {
    /// Whether it is compared with a property; otherwise it is a time, or is used by another option.
    pub(super) fn is_of_things(&self) -> bool {
        match self {
            Self::Series(_) | Self::Reading { .. } | Self::Wire => true,
            Self::Sizing | Self::Since | Self::Until => false,
        }
    }
}

/// Properties of a reading with which options are compared.
#[derive(Debug, Clone, Copy)]
pub(in crate::cli) struct ReadingKeys<'r> {
    pub(in crate::cli) axis: &'r str,
    pub(in crate::cli) instrument: &'r str,
    pub(in crate::cli) operator: Option<&'r str>,
    pub(in crate::cli) lots: Option<&'r Lots>,
}

/// Every option, in the order of the help and of stored options.
pub(super) const OPTIONS: &[QueryOption] = &[
    QueryOption {
        name: "axis",
        value: "AXIS",
        help: "Only readings of this axis, such as `core_crimp_height`",
        parse: text,
        selects: Selects::Reading {
            each: |words| Some(words.axis),
            any: |series| {
                let axes = series.spec.axes.iter();
                axes.map(|axis| axis.name.as_str()).collect()
            },
        },
        facts: |facts| facts.axes.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "terminal",
        value: "TERMINAL",
        help: "Only readings of this terminal",
        parse: text,
        selects: Selects::Series(|spec| match &spec.subject {
            ArmedSubject::Crimps { crimp, .. } => Some(crimp.terminal.as_str()),
            ArmedSubject::Blocks(_) => None,
        }),
        facts: |facts| facts.terminal.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "wire",
        value: "WIRE",
        help: "Only readings on this wire: \"2.0 mm²\", \"14 ga\"",
        parse: text,
        selects: Selects::Wire,
        facts: |_| Vec::new(),
        loose: None,
    },
    QueryOption {
        name: "sizing",
        value: "SYSTEM",
        help: "The system of a gauge in --wire: `sae_metric` or `awg_area`",
        parse: |name| wire::sizing(name).map(|sizing| sizing.name().to_owned()),
        selects: Selects::Sizing,
        facts: |_| Vec::new(),
        loose: None,
    },
    QueryOption {
        name: "plan",
        value: "PLAN",
        help: "Only readings of series of this plan",
        parse: text,
        selects: Selects::Series(|spec| spec.plan.as_deref()),
        facts: |facts| facts.plan.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "tool",
        value: "TOOL",
        help: "Only readings with this crimp tool",
        parse: text,
        selects: Selects::Series(|spec| spec.tool.as_ref().map(|tool| tool.id.as_str())),
        facts: |facts| facts.tool.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "nest",
        value: "NEST",
        help: "Only readings with this nest",
        parse: text,
        selects: Selects::Series(|spec| spec.tool.as_ref()?.nest.as_deref()),
        facts: |facts| facts.nest.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "job",
        value: "JOB",
        help: "Only readings for this job",
        parse: text,
        selects: Selects::Series(|spec| Some(spec.job.as_ref()?.id.as_str())),
        facts: |facts| facts.job.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "customer",
        value: "CUSTOMER",
        help: "Only readings for jobs of this customer",
        parse: text,
        selects: Selects::Series(|spec| spec.job.as_ref()?.customer.as_deref()),
        facts: |facts| facts.customer.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "item",
        value: "ITEM",
        help: "Only readings for this harness",
        parse: text,
        selects: Selects::Series(|spec| spec.job.as_ref()?.item.as_deref()),
        facts: |facts| facts.item.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "serial",
        value: "SERIAL",
        help: "Only readings for the harness of this serial number",
        parse: text,
        selects: Selects::Series(|spec| spec.job.as_ref()?.serial.as_deref()),
        facts: |facts| facts.serial.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "terminal-lot",
        value: "LOT",
        help: "Only readings of terminals of this lot",
        parse: text,
        selects: Selects::Reading {
            each: |words| words.lots?.terminal.as_deref(),
            any: |series| series.lots_of(Material::Terminal),
        },
        facts: |facts| facts.terminal_lots.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "wire-lot",
        value: "LOT",
        help: "Only readings on wire of this lot",
        parse: text,
        selects: Selects::Reading {
            each: |words| words.lots?.wire.as_deref(),
            any: |series| series.lots_of(Material::Wire),
        },
        facts: |facts| facts.wire_lots.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "operator",
        value: "OPERATOR",
        help: "Only readings by this operator",
        parse: text,
        selects: Selects::Reading {
            each: |words| words.operator,
            any: Series::operators,
        },
        facts: |facts| facts.operators.iter().map(String::as_str).collect(),
        loose: None,
    },
    QueryOption {
        name: "instrument",
        value: "INSTRUMENT",
        help: "Only readings with this instrument",
        parse: text,
        selects: Selects::Reading {
            each: |words| Some(words.instrument),
            any: |series| {
                let instruments = series.spec.instruments.iter();
                instruments.map(|one| one.name.as_str()).collect()
            },
        },
        facts: |facts| facts.instruments.iter().map(String::as_str).collect(),
        loose: Some(|reading| &reading.instrument),
    },
    QueryOption {
        name: "station",
        value: "STATION",
        help: "Only readings of this station",
        parse: text,
        selects: Selects::Series(|spec| Some(&spec.station)),
        facts: |facts| vec![&facts.station],
        loose: Some(|reading| &reading.station),
    },
    QueryOption {
        name: "purpose",
        value: "PURPOSE",
        help: "Only readings for this purpose, such as `first_off`",
        parse: purpose,
        selects: Selects::Series(|spec| Some(spec.purpose.name())),
        facts: |facts| vec![&facts.purpose],
        loose: None,
    },
    QueryOption {
        name: "since",
        value: "TIME",
        help: "Only readings from this time on: 2026-11-25 (its first moment), 2026-11-25T09:14 (both local), 2026-11-25T09:14Z, 2026-11-25T09:14+01:00",
        parse: |text| time(text).map(|at| at.to_string()),
        selects: Selects::Since,
        facts: |_| Vec::new(),
        loose: None,
    },
    QueryOption {
        name: "until",
        value: "TIME",
        help: "Only readings before this time; a day is its first moment",
        parse: |text| time(text).map(|at| at.to_string()),
        selects: Selects::Until,
        facts: |_| Vec::new(),
        loose: None,
    },
];

/// Any text is valid as a name.
#[expect(clippy::unnecessary_wraps, reason = "a value of the table")]
fn text(text: &str) -> Result<String, String> {
    Ok(text.to_owned())
}

fn purpose(name: &str) -> Result<String, String> {
    match Purpose::from_name(name) {
        Some(purpose) => Ok(purpose.name().to_owned()),
        None => Err(format!(
            "want {}",
            Purpose::ALL.map(Purpose::name).join(", ")
        )),
    }
}

/// A time on the command line. A day or a time without an offset is local.
pub(in crate::cli) fn time(text: &str) -> Result<WallMicros, String> {
    WallMicros::of_person(text, &clock::zone()).map_err(|error| error.to_string())
}
