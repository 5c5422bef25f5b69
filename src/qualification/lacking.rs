//! What is missing for a combination to be shown, and why it has lapsed, in words.

use crate::entry::{Outcome, Seq};
use crate::quantity::{Date, Decimal};
use crate::spec::AxisName;
use std::fmt;

/// A series, with its journal if the readings come from more than one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct SeriesName {
    /// The journal; `None` where there is only one.
    pub journal: Option<String>,
    /// Its id: `seq` of its `armed` entry.
    pub series: Seq,
}

impl fmt::Display for SeriesName {
    /// `37`, or `37 of journal 0123abcd`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.series.fmt(f)?;
        match &self.journal {
            None => Ok(()),
            Some(journal) => write!(f, " of journal {}", journal.get(..8).unwrap_or(journal)),
        }
    }
}

/// A part that is missing.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(missing_docs, reason = "a field is called for what it is")]
pub enum Lacking {
    /// No sheet limits the terminal on this wire.
    NoSheet,
    /// No tool is named, so there is no combination.
    NoTool,
    /// No qualification series has the axis.
    NoSeries { axis: AxisName },
    /// The sheet has changed since.
    OtherLimits { axis: AxisName, series: SeriesName },
    /// The newest series was not accepted.
    NotAccepted {
        outcome: Outcome,
        series: SeriesName,
    },
    /// The plan requires no zero before the first reading and after the last.
    NoZeros { series: SeriesName },
    /// Too few pieces.
    TooFew {
        axis: AxisName,
        got: u64,
        want: u32,
        series: SeriesName,
    },
    /// The index has no value: there is no spread, or no limit.
    NoIndex { axis: AxisName, series: SeriesName },
    /// The confidence bound is below the required Ppk; the bound is in thousandths, rounded down, the requirement in
    /// hundredths.
    Bound {
        axis: AxisName,
        got_milli: i64,
        want_hundredths: u32,
        series: SeriesName,
    },
    /// The bound is not valid: this precondition fails, by its name in `stats::capability`.
    Ground {
        axis: AxisName,
        ground: &'static str,
        series: SeriesName,
    },
}

/// Why a combination that was shown is no longer.
#[derive(Debug, Clone, PartialEq, Eq)]
#[expect(missing_docs, reason = "a field is called for what it is")]
pub enum Lapse {
    /// Its oldest series is too old.
    Months { until: Date, months: u32 },
    /// The tool was checked after its oldest series.
    Checked { tool: String, day: Date },
    /// The check of the tool is overdue; the sentence of [`crate::spec::care`].
    Overdue(String),
}

impl fmt::Display for Lacking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSheet => f.write_str("no sheet limits this terminal on this wire"),
            Self::NoTool => f.write_str("no tool is named"),
            Self::NoSeries { axis } => {
                write!(f, "{}: no qualification series", axis.words())
            }
            Self::OtherLimits { axis, series } => write!(
                f,
                "{}: series {series} was judged by other limits than the sheet has now",
                axis.words()
            ),
            Self::NotAccepted { outcome, series } => match outcome {
                Outcome::Rejected => write!(f, "series {series} was rejected"),
                Outcome::CutShort => {
                    write!(
                        f,
                        "series {series} was stopped early after a failed reading"
                    )
                }
                Outcome::Undecided | Outcome::Measured | Outcome::Accepted => {
                    write!(f, "series {series} was undecided")
                }
            },
            Self::NoZeros { series } => write!(
                f,
                "the plan of series {series} requires no zero before its first reading and after its last"
            ),
            Self::TooFew {
                axis,
                got,
                want,
                series,
            } => write!(
                f,
                "{}: {got} of {want} pieces (series {series})",
                axis.words()
            ),
            Self::NoIndex { axis, series } => write!(
                f,
                "{}: the readings of series {series} give no Ppk",
                axis.words()
            ),
            Self::Bound {
                axis,
                got_milli,
                want_hundredths,
                series,
            } => write!(
                f,
                "{}: the lower 95 % confidence bound of Ppk is {} instead of {} (series {series})",
                axis.words(),
                Decimal::new(*got_milli, 3),
                Decimal::new(i64::from(*want_hundredths), 2)
            ),
            Self::Ground {
                axis,
                ground,
                series,
            } => write!(
                f,
                "{}: {} (series {series})",
                axis.words(),
                ground_in_words(ground)
            ),
        }
    }
}

/// The failing precondition in words.
fn ground_in_words(ground: &str) -> &'static str {
    match ground {
        "pieces" => "too few pieces to test distribution and stability",
        "normal" => "the distribution is not normal",
        "stable" => "the control chart has signals",
        "cpk_ppk" => "Cpk and Ppk differ",
        _ => "the pieces are not independent",
    }
}

impl fmt::Display for Lapse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Months { until, months } => {
                write!(
                    f,
                    "its oldest series counted until {until}: {months} months"
                )
            }
            Self::Checked { tool, day } => {
                write!(f, "{tool} was checked on {day} after its oldest series")
            }
            Self::Overdue(sentence) => f.write_str(sentence),
        }
    }
}
