//! When a zero is due, as an armed specification holds it.

use super::values::{fault, units};
use crate::entry::Digits;
use crate::entry::line::LineError;
use crate::quantity::{Decimal, Length};
use crate::spec::ZeroPolicy;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::time::Duration;

#[derive(Serialize, Deserialize, JsonSchema)]
pub(super) struct Zero {
    before_first: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    every_pieces: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    every_s: Option<Digits>,
    closing: bool,
    band_counts: u32,
    limit_counts: u32,
    /// A length this close to zero, in nanometres, is an attempt at a zero if it cannot be a measurement. The default
    /// 500000 is left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    attempt_nm: Option<i64>,
    /// Left out in entries of releases without the double zero.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    double_retracts: bool,
}

impl From<ZeroPolicy> for Zero {
    fn from(policy: ZeroPolicy) -> Self {
        Self {
            before_first: policy.before_first,
            every_pieces: policy.every_pieces,
            every_s: policy.every.map(|every| seconds(every).into()),
            closing: policy.closing,
            band_counts: policy.band_counts,
            limit_counts: policy.limit_counts,
            attempt_nm: Some(policy.attempt)
                .filter(|attempt| *attempt != ZeroPolicy::ATTEMPT)
                .map(Length::nanometres),
            double_retracts: policy.double_retracts,
        }
    }
}

/// A duration in seconds, with decimals only where needed. Durations above 292 years are cut to that.
fn seconds(duration: Duration) -> Decimal {
    match (i64::try_from(duration.as_secs()), duration.subsec_nanos()) {
        (Ok(whole), 0) => Decimal::new(whole, 0),
        _ => Decimal::new(i64::try_from(duration.as_nanos()).unwrap_or(i64::MAX), 9),
    }
}

impl TryFrom<Zero> for ZeroPolicy {
    type Error = LineError;

    fn try_from(body: Zero) -> Result<Self, LineError> {
        let every = body.every_s.map(|every| {
            let decimal = Decimal::try_from(&every)?;
            let duration = match decimal.decimals() {
                0 => u64::try_from(decimal.coefficient()).map(Duration::from_secs),
                _ => u64::try_from(units(&every, 9)?).map(Duration::from_nanos),
            };
            duration.map_err(|_| fault("`every_s` is negative"))
        });
        Ok(Self {
            before_first: body.before_first,
            every_pieces: body.every_pieces,
            every: every.transpose()?,
            closing: body.closing,
            band_counts: body.band_counts,
            limit_counts: body.limit_counts,
            attempt: body
                .attempt_nm
                .map_or(ZeroPolicy::ATTEMPT, Length::from_nanometres),
            double_retracts: body.double_retracts,
        })
    }
}
