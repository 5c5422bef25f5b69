//! Reads `alerts` of a plan, the run rules in force, and `asks`, the information that must be set before a series
//! starts.

use super::faults::{At, Fault, Faults, quoted};
use super::table::{Table, alternatives};
use super::value::unique;
use crate::quantity::meant;
use crate::spec::{AlertRule, Ask};

/// The rules that the plan names; `None` without the key. An empty list means that no rule is in force.
pub(super) fn alerts(
    table: &mut Table<'_>,
    faults: &mut Faults,
) -> Option<Vec<&'static AlertRule>> {
    if !table.has("alerts") {
        return None;
    }
    let names = table.texts(faults, "alerts");
    let names = unique(faults, "alerts", names, |name| &name.value);
    let rule = |name: At<String>| {
        let rule = AlertRule::from_name(&name.value);
        if rule.is_none() {
            faults.add(&name.place, unknown(&name.value));
        }
        rule
    };
    Some(names.into_iter().filter_map(rule).collect())
}

fn unknown(name: &str) -> Fault {
    let known: Vec<_> = AlertRule::names().collect();
    let fault = Fault::new(
        format!("alerts has {}", quoted(name)),
        format!("want {}", alternatives(&known)),
    );
    fault.help_of(meant(name, known.iter().copied()))
}

/// The information that must be set before a series starts.
pub(super) fn asks(table: &mut Table<'_>, faults: &mut Faults) -> Vec<Ask> {
    let names = table.texts(faults, "asks");
    let names = unique(faults, "asks", names, |name| &name.value);
    let ask = |name: At<String>| {
        let ask = Ask::from_name(&name.value);
        if ask.is_none() {
            let known = Ask::ALL.map(Ask::name);
            let fault = Fault::new(
                format!("asks has {}", quoted(&name.value)),
                format!("want {}", alternatives(&known)),
            );
            faults.add(&name.place, fault.help_of(meant(&name.value, known)));
        }
        ask
    };
    names.into_iter().filter_map(ask).collect()
}
