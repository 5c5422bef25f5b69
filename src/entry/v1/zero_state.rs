//! The zeros of an instrument in the state on disk.

use super::journal::time;
use super::values::{mn, nm, quantity};
use crate::entry::Seq;
use crate::entry::line::LineError;
use crate::entry::state::ZeroState;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Zero {
    #[serde(skip_serializing_if = "Option::is_none")]
    last_good: Option<GoodZero>,
    off: bool,
    /// Error of the last zero in nanometres; left out where the zero was good, and for a force.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    off_by_nm: Option<i64>,
    /// Error of the last zero of a force, in millinewtons.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    off_by_mn: Option<i64>,
    closed: bool,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    time_due: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    takes_back: Option<Seq>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
struct GoodZero {
    seq: u64,
    at: String,
}

impl From<&ZeroState> for Zero {
    fn from(zero: &ZeroState) -> Self {
        Self {
            last_good: zero.last_good.map(|(seq, at)| GoodZero {
                seq: seq.0,
                at: at.to_string(),
            }),
            off: zero.off,
            off_by_nm: nm(zero.off_by),
            off_by_mn: mn(zero.off_by),
            closed: zero.closed,
            time_due: zero.time_due,
            takes_back: zero.retracts,
        }
    }
}

impl TryFrom<Zero> for ZeroState {
    type Error = LineError;

    fn try_from(body: Zero) -> Result<Self, LineError> {
        let last_good = body
            .last_good
            .map(|zero| Ok::<_, LineError>((Seq(zero.seq), time("at", &zero.at)?)));
        Ok(Self {
            last_good: last_good.transpose()?,
            off: body.off,
            off_by: quantity("off_by", body.off_by_nm, body.off_by_mn)?,
            closed: body.closed,
            time_due: body.time_due,
            retracts: body.takes_back,
        })
    }
}
