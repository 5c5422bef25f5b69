//! `arm` as the control socket is asked for it: a plan by name, or the keys of a plan.
//!
//! In: the parameters of the request. Out: what to arm, or the error to answer with. The keys are
//! those of a plan file; whether terminal, row and tool exist is the core's business.

use super::reply::{ErrorObject, code};
use super::request::{Call, read};
use crate::quantity::meant;
use crate::quantity::{Decimal, Length, Measured, Quantity};
use crate::spec::alert::ALERTS;
use crate::spec::{
    AlertRule, AxisName, Decision, GaugeBlock, Order, Plan, Purpose, SizingSystem, Subject,
    WireRequest, ZeroPolicy,
};
use crate::station::{Armable, Command};
use schemars::JsonSchema;
use serde::Deserialize;
use serde_json::Value;
use std::time::Duration;

/// The guard factor of a guarded decision that names none: 1.645 (ISO 14253-1, 5 % one-sided).
const GUARD_FACTOR_MILLI: u32 = 1_645;

/// `arm`: a plan by its name, or the keys of a plan as they stand in a plan file.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct ArmForm {
    station: Option<String>,
    operator: Option<String>,
    plan: Option<String>,
    terminal: Option<String>,
    wire: Option<String>,
    instrument: Option<String>,
    blocks: Option<Vec<String>>,
    repeats: Option<u32>,
    sizing: Option<String>,
    axes: Option<Vec<String>>,
    order: Option<String>,
    pieces: Option<u32>,
    purpose: Option<String>,
    tool: Option<String>,
    nest: Option<String>,
    decision: Option<String>,
    guard_factor: Option<Value>,
    zero: Option<PolicyForm>,
    repeat: Option<bool>,
    alerts: Option<Vec<String>>,
    /// Stop a series that is open at the station, without being asked to say so again.
    cut: Option<bool>,
}

#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct PolicyForm {
    before_first: Option<bool>,
    every_pieces: Option<u32>,
    every_minutes: Option<u32>,
    closing: Option<bool>,
    band: Option<u32>,
    limit: Option<u32>,
    attempt: Option<String>,
    double_retracts: Option<bool>,
}

/// The parameters of `arm`.
pub(super) fn schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
    generator.subschema_for::<ArmForm>()
}

/// What `arm` asks for.
pub(super) fn arm(params: Option<Value>) -> Result<Call, ErrorObject> {
    let form: ArmForm = read(params)?;
    let (station, operator) = (form.station.clone(), form.operator.clone());
    let cut = form.cut.unwrap_or(false);
    let what = match form.plan.clone() {
        Some(plan) if form.names_a_plan_key() => {
            return Err(ErrorObject::new(
                code::INVALID_PARAMS,
                format!("got the plan {plan:?} and keys of a plan, want one or the other"),
                Some(
                    "leave out the plan's name, or everything but station, plan, operator and cut"
                        .to_owned(),
                ),
            ));
        }
        Some(plan) => Armable::Named(plan),
        None => Armable::Inline(Box::new(form.plan()?)),
    };
    Ok(Call::Station(Command::Arm {
        station,
        what,
        operator,
        cut,
    }))
}

impl ArmForm {
    fn names_a_plan_key(&self) -> bool {
        let texts = [
            &self.terminal,
            &self.wire,
            &self.sizing,
            &self.order,
            &self.purpose,
            &self.tool,
            &self.nest,
            &self.decision,
            &self.instrument,
        ];
        texts.into_iter().any(Option::is_some)
            || self.axes.is_some()
            || self.pieces.is_some()
            || self.guard_factor.is_some()
            || self.zero.is_some()
            || self.repeat.is_some()
            || self.blocks.is_some()
            || self.repeats.is_some()
            || self.alerts.is_some()
    }

    fn plan(self) -> Result<Plan, ErrorObject> {
        let decision = self.decision()?;
        let sizing = named(
            "sizing",
            self.sizing.as_deref(),
            &SizingSystem::ALL,
            SizingSystem::name,
        )?;
        let order = named("order", self.order.as_deref(), &Order::ALL, Order::name)?;
        let purpose = named(
            "purpose",
            self.purpose.as_deref(),
            &Purpose::ALL,
            Purpose::name,
        )?;
        let alerts = self.alerts.as_deref().map(alert_rules).transpose()?;
        let (subject, axes, pieces) = self.subject(sizing)?;
        let usual = match subject {
            Subject::Crimps { .. } => Purpose::InProcess,
            Subject::Blocks { .. } => Purpose::Verification,
        };
        let purpose = purpose.unwrap_or(usual);
        if axes.is_empty() || pieces == 0 {
            return Err(params_error(
                "nothing to measure: want at least one axis and one piece".to_owned(),
                None,
            ));
        }
        Ok(Plan {
            id: None,
            subject,
            axes,
            order: order.unwrap_or(Order::ByAxis),
            pieces,
            purpose,
            tool: self.tool,
            nest: self.nest,
            decision,
            zero: self.zero.unwrap_or_default().policy()?,
            pull_force: None, // a plan given inline names no table
            repeat: self.repeat.unwrap_or(false),
            alerts: alerts.unwrap_or_else(|| AlertRule::defaults(purpose)),
        })
    }

    /// What is measured, its axes, and how often.
    fn subject(
        &self,
        sizing: Option<SizingSystem>,
    ) -> Result<(Subject, Vec<AxisName>, u32), ErrorObject> {
        if self.blocks.is_some() || self.instrument.is_some() || self.repeats.is_some() {
            return self.blocks();
        }
        let axes = needed("axes", self.axes.clone())?;
        let subject = Subject::Crimps {
            terminal: needed("terminal", self.terminal.clone())?,
            wire: WireRequest {
                text: needed("wire", self.wire.clone())?,
                sizing,
            },
        };
        let axes = axes.into_iter().map(AxisName::new).collect();
        Ok((subject, axes, self.pieces.unwrap_or(1)))
    }

    fn blocks(&self) -> Result<(Subject, Vec<AxisName>, u32), ErrorObject> {
        let crimps = [&self.terminal, &self.wire, &self.sizing];
        let of_crimps = crimps.into_iter().any(Option::is_some);
        if of_crimps || self.axes.is_some() || self.pieces.is_some() {
            return Err(params_error(
                "got gauge blocks and keys of crimps, want one or the other".to_owned(),
                Some("beside instrument and blocks, leave out terminal, wire, axes and pieces; repeats says how often".to_owned()),
            ));
        }
        let texts = needed("blocks", self.blocks.clone())?;
        let blocks = texts.iter().map(|text| text.parse::<GaugeBlock>());
        let blocks: Vec<_> = blocks
            .collect::<Result<_, _>>()
            .map_err(|error| params_error(error.to_string(), None))?;
        let axes = blocks.iter().map(GaugeBlock::axis).collect();
        let instrument = needed("instrument", self.instrument.clone())?;
        let subject = Subject::Blocks { instrument, blocks };
        Ok((subject, axes, self.repeats.unwrap_or(1)))
    }

    fn decision(&self) -> Result<Decision, ErrorObject> {
        let factor_milli = self.guard_factor.as_ref().map(thousandths).transpose()?;
        match self.decision.as_deref() {
            None | Some("simple") if factor_milli.is_some() => Err(params_error(
                "guard_factor without a guarded decision".to_owned(),
                Some("add \"decision\":\"guarded\", or leave it out".to_owned()),
            )),
            None | Some("simple") => Ok(Decision::Simple),
            Some("guarded") => Ok(Decision::Guarded {
                factor_milli: factor_milli.unwrap_or(GUARD_FACTOR_MILLI),
            }),
            Some(other) => Err(params_error(
                format!("decision is {other:?}, want one of simple, guarded"),
                meant(other, ["simple", "guarded"]),
            )),
        }
    }
}

impl PolicyForm {
    fn policy(self) -> Result<ZeroPolicy, ErrorObject> {
        let default = ZeroPolicy::default();
        let band_counts = self.band.unwrap_or(default.band_counts);
        let limit_counts = self.limit.unwrap_or(default.limit_counts.min(band_counts));
        if limit_counts > band_counts {
            return Err(params_error(
                format!("limit is {limit_counts}, want at most the band of {band_counts}"),
                Some("what lies beyond the band is no zero frame".to_owned()),
            ));
        }
        if self.every_pieces == Some(0) || self.every_minutes == Some(0) {
            return Err(params_error(
                "a zero every 0 pieces or minutes, want at least 1".to_owned(),
                Some("leave it out for no such zero".to_owned()),
            ));
        }
        Ok(ZeroPolicy {
            before_first: self.before_first.unwrap_or(default.before_first),
            every_pieces: self.every_pieces,
            every: self
                .every_minutes
                .map(|minutes| Duration::from_secs(u64::from(minutes) * 60)),
            closing: self.closing.unwrap_or(default.closing),
            band_counts,
            limit_counts,
            attempt: self
                .attempt
                .as_deref()
                .map_or(Ok(default.attempt), attempt)?,
            double_retracts: self.double_retracts.unwrap_or(default.double_retracts),
        })
    }
}

/// A length, more than 0.
fn attempt(text: &str) -> Result<Length, ErrorObject> {
    let quantity = text.parse::<Measured>().map(Measured::quantity);
    match quantity {
        Ok(Quantity::Length(length)) if length > Length::default() => Ok(length),
        Ok(_) | Err(_) => Err(params_error(
            format!("attempt is {text:?}, want a length of more than 0"),
            Some("such as \"0.5 mm\", the default".to_owned()),
        )),
    }
}

fn params_error(message: String, remedy: Option<String>) -> ErrorObject {
    ErrorObject::new(code::INVALID_PARAMS, message, remedy)
}

fn needed<T>(key: &str, value: Option<T>) -> Result<T, ErrorObject> {
    value.ok_or_else(|| {
        params_error(
            format!("no {key} in arm"),
            Some(
                "name a plan, or give terminal, wire and axes, or instrument and blocks".to_owned(),
            ),
        )
    })
}

/// The rules of these names, each once.
fn alert_rules(names: &[String]) -> Result<Vec<&'static AlertRule>, ErrorObject> {
    let mut rules = Vec::new();
    for name in names {
        let rule = named("alerts", Some(name), ALERTS, |rule| rule.name)?;
        rules.extend(rule.filter(|rule| !rules.contains(rule)));
    }
    Ok(rules)
}

fn named<T: Copy>(
    key: &str,
    got: Option<&str>,
    all: &[T],
    name: impl Fn(T) -> &'static str,
) -> Result<Option<T>, ErrorObject> {
    let Some(got) = got else { return Ok(None) };
    if let Some(found) = all.iter().copied().find(|one| name(*one) == got) {
        return Ok(Some(found));
    }
    let known: Vec<&str> = all.iter().copied().map(name).collect();
    Err(params_error(
        format!("{key} is {got:?}, want one of {}", known.join(", ")),
        meant(got, known.iter().copied()),
    ))
}

/// `1.645` or `"1.645"` → 1645; digits beyond the third would be lost and are refused.
fn thousandths(value: &Value) -> Result<u32, ErrorObject> {
    let text = match value {
        Value::String(text) => text.clone(),
        other @ (Value::Null
        | Value::Bool(_)
        | Value::Number(_)
        | Value::Array(_)
        | Value::Object(_)) => other.to_string(),
    };
    let milli = text.parse::<Decimal>().ok().and_then(|factor| {
        let up = 3_u32.checked_sub(u32::from(factor.decimals()))?;
        u32::try_from(factor.coefficient().checked_mul(10_i64.checked_pow(up)?)?).ok()
    });
    milli.filter(|milli| (1..=10_000).contains(milli)).ok_or_else(|| {
        params_error(
            format!("guard_factor is {text}, want a number from 0.001 to 10 with at most three decimals"),
            Some("1.645 is the factor of ISO 14253-1".to_owned()),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(params: &str) -> Result<Call, ErrorObject> {
        arm(Some(serde_json::from_str(params).unwrap()))
    }

    #[test]
    fn a_plan_is_armed_by_name_or_given_whole_but_not_both() {
        let named = asked(r#"{"station":"bench-1","plan":"pump-own","operator":"mo"}"#);
        assert_eq!(
            named,
            Ok(Call::Station(Command::Arm {
                station: Some("bench-1".to_owned()),
                what: Armable::Named("pump-own".to_owned()),
                operator: Some("mo".to_owned()),
                cut: false,
            }))
        );
        let inline = asked(
            r#"{"terminal":"QF-250-F","wire":"14 ga","sizing":"sae_metric","axes":["core_crimp_height"],
                "pieces":5,"purpose":"first_off","decision":"guarded","guard_factor":2,
                "zero":{"closing":false,"every_minutes":10}}"#,
        );
        let Ok(Call::Station(Command::Arm {
            what: Armable::Inline(plan),
            ..
        })) = inline
        else {
            panic!("got {inline:?}");
        };
        assert_eq!(
            plan.decision,
            Decision::Guarded {
                factor_milli: 2_000
            }
        );
        assert!(
            matches!(&plan.subject, Subject::Crimps { wire, .. } if wire.sizing == Some(SizingSystem::SaeMetric))
        );
        assert_eq!((plan.pieces, plan.zero.closing), (5, false));
        assert_eq!(plan.zero.every, Some(Duration::from_secs(600)));
        assert!(plan.zero.before_first);
        let both = asked(r#"{"plan":"pump-own","pieces":3}"#);
        assert_eq!(both.unwrap_err().code, code::INVALID_PARAMS);
    }

    #[test]
    fn faulty_keys_of_a_plan_say_what_was_got_and_what_is_wanted() {
        let whole = |extra: &str| {
            let plan = format!(
                r#"{{"terminal":"QF-250-F","wire":"2.0 mm²","axes":["core_crimp_height"]{extra}}}"#
            );
            asked(&plan)
        };
        assert!(whole("").is_ok());
        for (extra, message) in [
            (
                r#","order":"by_pice""#,
                "order is \"by_pice\", want one of by_axis, by_piece, by_value",
            ),
            (
                r#","decision":"strict""#,
                "decision is \"strict\", want one of simple, guarded",
            ),
            (
                r#","guard_factor":1.645"#,
                "guard_factor without a guarded decision",
            ),
            (
                r#","decision":"guarded","guard_factor":1.64485"#,
                "guard_factor is 1.64485, want a number from 0.001 to 10 with at most three decimals",
            ),
            (
                r#","zero":{"band":1,"limit":3}"#,
                "limit is 3, want at most the band of 1",
            ),
            (
                r#","zero":{"attempt":"0 mm"}"#,
                "attempt is \"0 mm\", want a length of more than 0",
            ),
            (
                r#","zero":{"attempt":"2 N"}"#,
                "attempt is \"2 N\", want a length of more than 0",
            ),
            (
                r#","pieces":0"#,
                "nothing to measure: want at least one axis and one piece",
            ),
        ] {
            assert_eq!(whole(extra).unwrap_err().message, message);
        }
        assert_eq!(asked("{}").unwrap_err().message, "no axes in arm");
    }
}
