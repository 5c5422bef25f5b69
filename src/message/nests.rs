//! The answer of `tallyjaw nests --json`: nests against factory pieces.

use schemars::JsonSchema;
use serde::Serialize;

/// The answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum NestsMessage {
    /// The nests are ranked.
    Nests(Box<NestRanking>),
    /// The pieces do not allow a ranking.
    Refused {
        /// The reason.
        why: String,
    },
}

/// Nests ranked by how near the means of their pieces are to those of the factory.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct NestRanking {
    /// The terminal.
    pub terminal: String,
    /// The wire.
    pub wire: String,
    /// The series of factory pieces.
    pub series: Vec<u64>,
    /// The factory pieces, axis by axis.
    pub factory: Vec<MeanOfPieces>,
    /// The nests, nearest first.
    pub ranked: Vec<RankedNest>,
    /// Nests that cannot be ranked.
    pub not_ranked: Vec<NestNotRanked>,
    /// Series whose readings were not used.
    pub left_out: Vec<SeriesLeftOut>,
    /// The result in a sentence.
    pub says: String,
}

/// The mean of pieces on one axis, with its uncertainty.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct MeanOfPieces {
    /// The axis.
    pub axis: String,
    /// Number of pieces.
    pub n: u64,
    /// Their mean, in whole nanometres.
    pub mean_nm: i64,
    /// Lower end of the 95 % confidence interval of the mean, in whole nanometres.
    pub mean_low_nm: i64,
    /// Its upper end, in whole nanometres.
    pub mean_high_nm: i64,
    /// Their standard deviation, at least that of the resolution alone, in whole nanometres.
    pub sd_nm: i64,
    /// Whether the standard deviation is that of the resolution.
    pub sd_is_of_resolution: bool,
}

/// A nest in the ranking.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct RankedNest {
    /// The crimp tool.
    pub tool: String,
    /// The nest; left out for a tool without nests.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// What the ranking says of it.
    pub standing: NestStanding,
    /// The series of its pieces.
    pub series: Vec<u64>,
    /// Its pieces, axis by axis.
    pub axes: Vec<NestOnAxis>,
}

/// The result of the ranking for a nest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum NestStanding {
    /// The nearest of those that no other nest is shown to be nearer than.
    Nearest,
    /// No other nest is shown to be nearer, so it cannot be distinguished from the nearest.
    NotDistinguished,
    /// On some axis another nest is shown to be nearer.
    Farther,
}

/// A nest on one axis.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct NestOnAxis {
    /// Its pieces.
    #[serde(flatten)]
    pub pieces: MeanOfPieces,
    /// Their mean minus that of the factory pieces, in whole nanometres.
    pub difference_nm: i64,
    /// Lower end of the 95 % confidence interval of the difference, in whole nanometres.
    pub difference_low_nm: i64,
    /// Its upper end, in whole nanometres.
    pub difference_high_nm: i64,
    /// Whether no other nest is shown to be nearer on this axis.
    pub may_be_nearest: bool,
}

/// A nest that cannot be ranked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct NestNotRanked {
    /// The crimp tool.
    pub tool: String,
    /// The nest; left out for a tool without nests.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub nest: Option<String>,
    /// The reason.
    pub why: String,
}

/// Series whose readings were not used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
pub struct SeriesLeftOut {
    /// Their numbers.
    pub series: Vec<u64>,
    /// The reason, to be read after the numbers.
    pub why: String,
}
