//! Reads `alerts` of a plan: the run rules that are in force.

use super::faults::{At, Fault, Faults, quoted};
use super::table::{Table, alternatives};
use super::value::unique;
use crate::quantity::meant;
use crate::spec::AlertRule;

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
