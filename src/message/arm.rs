//! Reads the parameters of `arm`: the id of a plan, or the keys of a plan as in a file.

use super::reply::{ErrorObject, code};
use super::request::{Call, read};
use crate::config::{RequestFault, inline_plan};
use crate::station::{Armable, Command};
use serde::Deserialize;
use serde_json::{Map, Value};

/// Keys of `arm` beside those of a plan. `plan` names a plan instead of giving its keys.
const BESIDE: [&str; 4] = ["station", "operator", "plan", "cut"];

/// The schema of `arm`: the id of a plan, or the keys of a plan as in a plan file.
#[derive(Deserialize)]
struct ArmForm {
    station: Option<String>,
    operator: Option<String>,
    plan: Option<String>,
    cut: Option<bool>,
    #[serde(flatten)]
    keys: Map<String, Value>,
}

/// The command in the parameters of `arm`.
pub(super) fn arm(params: Option<Value>) -> Result<Call, ErrorObject> {
    let ArmForm {
        station,
        operator,
        plan,
        cut,
        mut keys,
    } = read(params)?;
    keys.retain(|_, value| !value.is_null());
    let invalid = |message: String, remedy: &str| {
        Err(ErrorObject::new(
            code::INVALID_PARAMS,
            message,
            Some(remedy.to_owned()),
        ))
    };
    let what = match plan {
        Some(plan) if keys.is_empty() => Armable::Named(plan),
        Some(plan) => {
            let keys: Vec<&str> = keys.keys().map(String::as_str).collect();
            return invalid(
                format!(
                    "got the plan {plan:?} and keys of a plan ({}), want one or the other",
                    keys.join(", ")
                ),
                "leave out the plan's name, or everything but station, plan, operator and cut",
            );
        }
        None if keys.is_empty() => {
            return invalid(
                "nothing to start, want a plan or the keys of one".to_owned(),
                "name a plan, or give terminal, wire and axes, or instrument and blocks",
            );
        }
        None => Armable::Inline(Box::new(
            inline_plan(&keys, "/params", &BESIDE).map_err(faulty)?,
        )),
    };
    Ok(Call::Station(Command::Arm {
        station,
        what,
        operator,
        cut: cut.unwrap_or(false),
    }))
}

/// The answer to faulty parameters: the first fault, and with several faults all of them with their places.
fn faulty(faults: Vec<RequestFault>) -> ErrorObject {
    let text = |fault: &RequestFault| format!("{}: {}", fault.pointer, fault.message);
    let details: Vec<_> = faults.iter().map(text).collect();
    let several = details.len() > 1;
    let first = faults.into_iter().next();
    let (message, remedy, pointer) = first.map_or_else(Default::default, |first| {
        (first.message, first.remedy, Some(first.pointer))
    });
    let mut error = ErrorObject::new(code::INVALID_PARAMS, message, remedy);
    error.data.pointer = pointer;
    if several {
        error.data.details = details;
    }
    error
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::{Decision, SizingSystem, Subject};
    use std::time::Duration;

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
                "order is \"by_pice\", want \"by_axis\", \"by_piece\" or \"by_value\"",
            ),
            (
                r#","decision":"strict""#,
                "decision is \"strict\", want \"simple\" or \"guarded\"",
            ),
            (
                r#","guard_factor":1.645"#,
                "guard_factor has no effect with simple acceptance, want decision = \"guarded\" with it, or leave it out",
            ),
            (
                r#","decision":"guarded","guard_factor":1.64485"#,
                "guard_factor is \"1.64485\", want more than 0 and at most 10, with at most three digits after the point",
            ),
            (
                r#","zero":{"band":1,"limit":3}"#,
                "limit is 3, beyond the band of 1, want at most the band: a value beyond it is not a zero",
            ),
            (
                r#","zero":{"attempt":"0 mm"}"#,
                "attempt is 0 mm, want more than 0",
            ),
            (
                r#","zero":{"attempt":"2 N"}"#,
                "attempt is 2 N, a force, want a length such as \"0.01 mm\"",
            ),
            (
                r#","pieces":0"#,
                "pieces is 0, want a whole number from 1 to 10000",
            ),
        ] {
            assert_eq!(whole(extra).unwrap_err().message, message);
        }
        assert_eq!(
            asked("{}").unwrap_err().message,
            "nothing to start, want a plan or the keys of one"
        );
    }
    #[test]
    fn every_fault_has_its_place_in_the_request() {
        let params = r#"{"terminal":"QF-250-F","wire":"2.0 mm²","axes":["core_crimp_height","a b"],
            "zero":{"every_minutes":1441},"alerts":["trend","trend"],"a/b":1,"station":null}"#;
        let error = asked(params).unwrap_err();
        assert_eq!(error.data.pointer.as_deref(), Some("/params/a~1b"));
        assert_eq!(
            error.data.details,
            [
                "/params/a~1b: unknown key \"a/b\" in [[plan]], no such key",
                "/params/alerts/1: alerts \"trend\" appears twice, want another name; the first is at /params/alerts/0",
                "/params/axes/1: axes \"a b\" is not a name, want letters, digits, - _ and ., at most 64, a letter or digit first",
                "/params/zero/every_minutes: every_minutes is 1441, want a whole number from 1 to 1440",
            ]
        );
        let both = asked(r#"{"plan":"pump-own","oprator":"mo"}"#).unwrap_err();
        assert!(both.message.contains("(oprator)"), "{}", both.message);
    }
}
