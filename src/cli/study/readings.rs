//! The readings of a study with their properties.

use crate::cli::Failure;
use crate::entry::Seq;
use crate::quantity::Unit;
use crate::spec::Limits;
use crate::stats::rounding::Warning;
use crate::stats::sample::Scale;
use crate::stats::{self, Sample};
use serde_json::{Value, json};
use std::fmt;

#[derive(Debug, Clone)]
pub(super) struct Reading {
    /// Value in base units of the scale.
    pub(super) base: i64,
    /// Time in microseconds; 0 if unknown.
    pub(super) at: i64,
    /// Place of the reading in its source.
    pub(super) place: SourcePosition,
    /// The value of each requested property.
    pub(super) cells: Vec<String>,
}

/// Place of a reading in its source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum SourcePosition {
    /// An entry of the journal.
    Entry { series: Seq, piece: u32, entry: Seq },
    /// A row of a data set: an entry of the journal with this identity.
    Row {
        journal: u128,
        series: Seq,
        piece: u32,
        entry: Seq,
    },
    /// A line of a file, from 1.
    Line(u64),
}

impl fmt::Display for SourcePosition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Entry {
                series,
                piece,
                entry,
            } => write!(f, "piece {piece} of series {series}, entry {entry}"),
            Self::Row {
                journal,
                series,
                piece,
                entry,
            } => write!(
                f,
                "piece {piece} of series {series}, entry {entry} of journal {journal:032x}"
            ),
            Self::Line(line) => write!(f, "line {line}"),
        }
    }
}

impl SourcePosition {
    /// Adds the place to `object`.
    pub(super) fn put(self, object: &mut Value) {
        match self {
            Self::Entry {
                series,
                piece,
                entry,
            } => {
                object["series"] = json!(series.0);
                object["piece"] = json!(piece);
                object["entry"] = json!(entry.0);
            }
            Self::Row {
                journal,
                series,
                piece,
                entry,
            } => {
                object["journal"] = json!(format!("{journal:032x}"));
                object["series"] = json!(series.0);
                object["piece"] = json!(piece);
                object["entry"] = json!(entry.0);
            }
            Self::Line(line) => object["line"] = json!(line),
        }
    }
}

/// Origin of the resolution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum StepFrom {
    /// The instrument of the readings, from the journal.
    Instrument,
    /// The option `--resolution`.
    Given,
    /// Guessed: a step in the last digit of the readings.
    Digits,
}

impl StepFrom {
    /// The name for programs, which never changes.
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Instrument => "instrument",
            Self::Given => "given",
            Self::Digits => "digits",
        }
    }
}

/// Readings of one axis in their order.
#[derive(Debug)]
pub(super) struct Readings {
    /// Empty if the readings were only passed on, one by one.
    pub(super) rows: Vec<Reading>,
    /// Number of readings.
    pub(super) count: u64,
    /// Unit of the whole numbers that readings are stored as.
    pub(super) scale: Scale,
    /// Resolution on that scale.
    pub(super) step: Option<i64>,
    pub(super) step_from: StepFrom,
    /// The limits of the readings; `Err` if they differ.
    pub(super) limits: Result<Option<Limits>, String>,
    /// `Err` with the reason if the readings have different nominals.
    pub(super) nominals: Result<(), String>,
    /// Numbers of readings that were left out.
    pub(super) left_out: LeftOut,
    /// The subject in words.
    pub(super) title: String,
}

/// Numbers of readings that were left out, by reason.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct LeftOut {
    pub(super) doubted: u64,
    pub(super) retracted: u64,
    pub(super) not_counted: u64,
    /// Empty cells of a file.
    pub(super) empty: u64,
    /// Readings of a data set that another row has already.
    pub(super) repeated: u64,
}

impl LeftOut {
    /// Counts a reading that was left out, by the word for its disposition.
    pub(super) fn note(&mut self, standing: &str) {
        let count = match standing {
            "doubted" => &mut self.doubted,
            "retracted" => &mut self.retracted,
            "not_counted" => &mut self.not_counted,
            _ => return,
        };
        *count += 1;
    }

    pub(super) fn json(self) -> Value {
        let named = [
            ("doubted", self.doubted),
            ("retracted", self.retracted),
            ("not_counted", self.not_counted),
        ];
        let of_files = [("empty", self.empty), ("repeated", self.repeated)];
        let of_files = of_files.into_iter().filter(|(_, number)| *number > 0);
        let parts = named.into_iter().chain(of_files);
        Value::Object(
            parts
                .map(|(name, number)| (name.to_owned(), json!(number)))
                .collect(),
        )
    }

    /// The numbers in words: `left out: 1 doubted, 2 retracted`; `None` if all are zero.
    pub(super) fn words(self) -> Option<String> {
        let parts = [
            (self.doubted, "doubted"),
            (self.retracted, "retracted"),
            (self.not_counted, "not counted"),
            (self.empty, "empty"),
            (self.repeated, "repeated"),
        ];
        let text: Vec<String> = parts
            .iter()
            .filter(|(number, _)| *number > 0)
            .map(|(number, words)| format!("{number} {words}"))
            .collect();
        (!text.is_empty()).then(|| format!("left out: {}", text.join(", ")))
    }
}

impl Readings {
    /// The unit of figures.
    pub(super) fn unit(&self) -> Unit {
        self.scale.unit()
    }

    /// A warning if the resolution was guessed.
    pub(super) fn guessed_step(&self) -> Option<Warning> {
        let guessed = self.step.is_some() && self.step_from == StepFrom::Digits;
        guessed.then_some(Warning {
            name: "step_guessed",
            words: "the resolution is taken from the last digit of the readings, and corrections for rounding depend on it; if it is not right, give it with --resolution",
        })
    }

    pub(super) fn sample(&self) -> Result<Sample, Failure> {
        self.sample_of_bases(self.rows.iter().map(|row| row.base).collect())
    }

    /// A sample of values in base units of the scale.
    pub(super) fn sample_of_bases(&self, bases: Vec<i64>) -> Result<Sample, Failure> {
        let sample = Sample::from_bases(bases, self.scale)
            .map_err(|reason| Failure::usage(reason.to_string()))?;
        Ok(sample.with_step_base(self.step))
    }

    /// Refuses readings of different nominals: their differences would be those of the requirements.
    pub(super) fn of_one_nominal(&self) -> Result<(), Failure> {
        self.nominals.clone().map_err(|fault| {
            Failure::usage(fault).with_remedy(
                "choose one: --terminal NAME --wire SIZE; or study the deviation from nominal: --deviation",
            )
        })
    }

    /// The limits for the statistics. No limits are accepted; different ones are not.
    pub(super) fn limits(&self) -> Result<stats::Limits, Failure> {
        let limits = self.limits.as_ref().map_err(|fault| {
            Failure::usage(fault.clone())
                .with_remedy("choose fewer series, or give the limits: --spec \"1.62 ±0.05 mm\"")
        })?;
        Ok(limits
            .as_ref()
            .map_or_else(stats::Limits::default, |limits| stats::Limits {
                lower: limits.lower(),
                nominal: limits.nominal(),
                upper: limits.upper(),
            }))
    }

    /// The limits, for a study that works without them.
    pub(super) fn limits_if_any(&self) -> stats::Limits {
        self.limits().unwrap_or_default()
    }

    /// The limits, for a study that needs them.
    pub(super) fn limits_needed(&self) -> Result<stats::Limits, Failure> {
        let limits = self.limits()?;
        if limits.lower.is_none() && limits.upper.is_none() {
            return Err(Failure::usage("no limits to compare with")
                .with_remedy("give them: --spec \"1.62 ±0.05 mm\" or --spec \">= 135 N\""));
        }
        Ok(limits)
    }

    /// A sample of each of these lists of values.
    pub(super) fn samples<'b>(
        &self,
        lists: impl Iterator<Item = &'b [i64]>,
    ) -> Result<Vec<Sample>, Failure> {
        lists
            .map(|bases| self.sample_of_bases(bases.to_vec()))
            .collect()
    }

    /// The heading: subject, number of readings, limits.
    pub(super) fn heading(&self) -> String {
        let readings = if self.count == 1 {
            "1 reading".to_owned()
        } else {
            format!("{} readings", self.count)
        };
        match &self.limits {
            Ok(Some(limits)) => format!("{}: {readings}, {limits}", self.title),
            Ok(None) | Err(_) => format!("{}: {readings}", self.title),
        }
    }
}
