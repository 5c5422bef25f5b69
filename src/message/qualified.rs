//! Combinations of terminal, wire, tool and nest with their standing, as `tallyjaw qualified --json` and the page show
//! them.

use crate::entry::{Digits, Reservation, State};
use crate::qualification::{AxisFound, Cell, Frame, Lacking, Lapse, Matrix, SeriesName};
use crate::quantity::{Decimal, WallMicros};
use crate::spec::{Catalog, QualificationRule};
use crate::texts::{Texts, gather};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// The rule by which a combination is shown.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct RuleMessage {
    /// Always `qualification_rule`.
    pub kind: String,
    /// The smallest number of pieces of each axis, and of pull tests.
    pub pieces: u32,
    /// The Ppk that the lower 95 % confidence bound must reach.
    pub ppk: Digits,
    /// Whether pull tests are required.
    pub pull: bool,
    /// A series counts for this number of months.
    pub months: u32,
    /// Whether a first-off of a combination that is not shown is refused.
    pub require: bool,
    /// Whether the configuration has the rule; if not, it is the default one.
    pub configured: bool,
}

/// A combination with its standing.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct QualifiedMessage {
    /// Always `qualified`.
    pub kind: String,
    /// The terminal's id.
    pub terminal: String,
    /// Size of the wire in mm².
    pub wire_mm2: Digits,
    /// The gauge by which a series or plan named the wire.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire_gauge: Option<String>,
    /// The crimp tool's id.
    #[serde(rename = "tool_id")]
    pub tool: String,
    /// The nest used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// `shown`, `not_shown`, `lapsed` or `never_tried`.
    pub standing: String,
    /// What is missing to be shown, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<String>,
    /// Why it has lapsed, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lapses: Vec<String>,
    /// The newest series of each axis, judged by the limits of the sheet as it is now.
    #[serde(rename = "shown_axes", default, skip_serializing_if = "Vec::is_empty")]
    pub axes: Vec<QualifiedAxisMessage>,
    /// The smallest number of pieces of an axis, pull tests apart.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pieces: Option<u64>,
    /// The lowest of the lower 95 % confidence bounds of Ppk, rounded down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ppk_least: Option<Digits>,
    /// The axis that has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub worst_axis: Option<String>,
    /// The day of its oldest series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// The last day on which it counts, by the rule's months.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub until: Option<String>,
    /// The reservations of its series.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reservations: Vec<Reservation>,
}

/// The answer to the page: every combination with its standing.
#[derive(Debug, Clone, Serialize)]
pub struct QualifiedPage {
    /// The rule.
    pub rule: RuleMessage,
    /// Every combination, row by row.
    pub combinations: Vec<QualifiedMessage>,
    /// The sentences in them, as keys of the table of texts.
    #[serde(skip_serializing_if = "Texts::is_empty")]
    pub texts: Texts,
}

impl QualifiedPage {
    /// The message for a state and a configuration at this time.
    pub fn new(state: &State, catalog: &Catalog, now: WallMicros) -> Self {
        let configured = catalog.qualification;
        let rule = configured.unwrap_or_default();
        let frame = Frame::of(catalog, &state.qualifying, rule);
        let matrix = Matrix::of(&frame, state, now);
        let combinations: Vec<QualifiedMessage> = matrix.cells().map(Into::into).collect();
        let mut texts = Texts::new();
        for one in &combinations {
            let sentences = one.missing.iter().chain(&one.lapses);
            gather(&mut texts, sentences.map(String::as_str));
        }
        Self {
            rule: RuleMessage::new(&rule, configured.is_some()),
            combinations,
            texts,
        }
    }
}

/// The newest series of an axis.
#[derive(Debug, Clone, Serialize, Deserialize, JsonSchema)]
pub struct QualifiedAxisMessage {
    /// Name of the axis.
    pub axis: String,
    /// The limits, in words.
    #[serde(rename = "limits_in_words")]
    pub limits: String,
    /// The series, by `seq` of its `armed` entry.
    #[serde(rename = "series_id")]
    pub series: u64,
    /// The journal of the series, if the readings come from more than one.
    #[serde(
        rename = "of_journal",
        default,
        skip_serializing_if = "Option::is_none"
    )]
    pub journal: Option<String>,
    /// The day on which it was closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on: Option<String>,
    /// Number of counted readings.
    pub pieces: u64,
    /// The lower 95 % confidence bound of Ppk, rounded down; left out for a pull force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ppk_least: Option<Digits>,
    /// The lowest pull force, in whole millinewtons.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lowest_mn: Option<i64>,
    /// Its lower limit, in whole millinewtons.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub minimum_mn: Option<i64>,
}

impl RuleMessage {
    /// The rule, and whether the configuration has it.
    pub fn new(rule: &QualificationRule, configured: bool) -> Self {
        Self {
            kind: "qualification_rule".to_owned(),
            pieces: rule.pieces,
            ppk: hundredths(rule.ppk_hundredths),
            pull: rule.pull,
            months: rule.months,
            require: rule.require,
            configured,
        }
    }
}

/// An index in hundredths, as a number with two digits.
fn hundredths(index: u32) -> Digits {
    Decimal::new(index.into(), 2).into()
}

/// A bound in thousandths, as a number with three digits.
fn thousandths(bound: i64) -> Digits {
    Decimal::new(bound, 3).into()
}

impl From<Cell<'_>> for QualifiedMessage {
    fn from(cell: Cell<'_>) -> Self {
        let found = cell.found;
        let worst = found.worst();
        Self {
            kind: "qualified".to_owned(),
            terminal: cell.terminal.to_owned(),
            wire_mm2: cell.wire.area.mm2().into(),
            wire_gauge: cell.wire.gauge.clone(),
            tool: cell.tool.to_owned(),
            nest: cell.nest.map(str::to_owned),
            standing: found.standing.name().to_owned(),
            missing: found.missing.iter().map(Lacking::to_string).collect(),
            lapses: found.lapses.iter().map(Lapse::to_string).collect(),
            axes: found.axes.iter().map(Into::into).collect(),
            pieces: found.pieces(),
            ppk_least: worst.map(|(_, bound)| thousandths(bound)),
            worst_axis: worst.map(|(of, _)| of.axis.to_string()),
            on: found.on().map(|day| day.to_string()),
            until: found.until.map(|day| day.to_string()),
            reservations: found.reservations.clone(),
        }
    }
}

impl From<&AxisFound> for QualifiedAxisMessage {
    fn from(of: &AxisFound) -> Self {
        let SeriesName { journal, series } = &of.series;
        let minimum = of.lowest.and_then(|_| of.limits.lower());
        Self {
            axis: of.axis.to_string(),
            limits: of.limits.to_string(),
            series: series.0,
            journal: journal.clone(),
            on: of.on.map(|day| day.to_string()),
            pieces: of.pieces,
            ppk_least: of.ppk_least_milli.map(thousandths),
            lowest_mn: of.lowest.map(crate::quantity::Quantity::base),
            minimum_mn: minimum.map(crate::quantity::Quantity::base),
        }
    }
}
