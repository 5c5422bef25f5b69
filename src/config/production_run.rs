//! Reads `[[run]]`: production runs, and checks that their samples are of one terminal and wire.

use super::faults::{At, Fault, Faults, Role, quoted};
use super::plan::RawPlan;
use super::table::Table;
use super::value::unique;
use crate::quantity::did_you_mean;
use crate::spec::{Plan, ProductionRun, SampleRole, Subject};

/// The most crimps, and the most minutes (a week), between two samples.
const MOST: (u32, u32) = (1_000_000, 10_080);

/// A production run with the places of its plans.
#[derive(Debug)]
pub(super) struct RawRun {
    pub(super) run: ProductionRun,
    plans: [At<String>; 3],
}

pub(super) fn read(root: &mut Table<'_>, faults: &mut Faults) -> Vec<RawRun> {
    let mut runs = Vec::new();
    for table in root.tables(faults, "run", "[[run]]") {
        runs.extend(run(table, faults));
    }
    let runs = unique(faults, "run", runs, |run| &run.value.run.id);
    runs.into_iter().map(|run| run.value).collect()
}

fn run(mut table: Table<'_>, faults: &mut Faults) -> Option<At<RawRun>> {
    let id = table.required_name(faults, "id", "\"pump-day\"");
    let first_off = table.required_name(faults, "first_off", "\"pump-first\", a plan");
    let in_process = table.required_name(faults, "in_process", "\"pump-sample\", a plan");
    let last_off = table.required_name(faults, "last_off", "\"pump-last\", a plan");
    let says_when = table.has("every_crimps") || table.has("every_minutes");
    let every_crimps = table.whole(faults, "every_crimps", 1..=MOST.0);
    let every_minutes = table.whole(faults, "every_minutes", 1..=MOST.1);
    if !says_when {
        let want = "100, or every_minutes = 120, or both";
        table.missing(faults, "every_crimps", want);
    }
    table.finish(faults);
    let (id, plans) = (id?, [first_off?, in_process?, last_off?]);
    let [first_off, in_process, last_off] = plans.clone().map(|plan| plan.value);
    let run = ProductionRun {
        id: id.value,
        first_off,
        in_process,
        last_off,
        every_crimps: every_crimps.map(|every| every.value),
        every_minutes: every_minutes.map(|every| every.value),
    };
    Some(At {
        value: RawRun { run, plans },
        place: id.place,
    })
}

/// Reports plans that do not exist, belong to two runs, have another purpose, or are for another terminal or wire.
pub(super) fn references(runs: &[RawRun], plans: &[RawPlan], faults: &mut Faults) {
    let ids: Vec<&str> = plans.iter().map(|plan| plan.id.value.as_str()).collect();
    let mut of_others: Vec<(&str, &str)> = Vec::new();
    for raw in runs {
        let mut first: Option<&Plan> = None;
        for (role, name) in SampleRole::ALL.into_iter().zip(&raw.plans) {
            if !ids.contains(&name.value.as_str()) {
                if !faults.is_incomplete(Role::Plans) {
                    let got = format!("no plan {}", quoted(&name.value));
                    let fault = Fault::new(got, "want the id of a [[plan]]");
                    faults.add(&name.place, fault.help(did_you_mean(&name.value, &ids)));
                }
                continue;
            }
            let other = of_others.iter().find(|(plan, _)| *plan == name.value);
            if let Some((_, run)) = other {
                let got = format!("plan {} is also a sample of run {run}", quoted(&name.value));
                let fault = Fault::new(
                    got,
                    "want each plan in one run, so that its series say which",
                );
                faults.add(&name.place, fault.help("give this run a plan of its own"));
                continue;
            }
            let known = plans.iter().find(|plan| plan.id.value == name.value);
            let Some(plan) = known.and_then(|plan| plan.plan.as_ref()) else {
                continue; // its own fault is reported
            };
            if let Some(fault) = fault(role, plan, first, &name.value) {
                faults.add(&name.place, fault);
            }
            first = first.or(Some(plan));
        }
        let own = raw.plans.iter().map(|plan| plan.value.as_str());
        of_others.extend(own.map(|plan| (plan, raw.run.id.as_str())));
    }
}

/// Why a plan cannot be this sample of a run whose first plan is `first`.
fn fault(role: SampleRole, plan: &Plan, first: Option<&Plan>, name: &str) -> Option<Fault> {
    if plan.purpose.name() != role.name() {
        let got = format!(
            "plan {} has purpose = {}",
            quoted(name),
            quoted(plan.purpose.name())
        );
        let fault = Fault::new(got, format!("want {}", quoted(role.name())));
        return Some(fault.help("change the purpose of the plan, or name another plan"));
    }
    let Subject::Crimps { terminal, wire } = &plan.subject else {
        let got = format!("plan {} measures gauge blocks", quoted(name));
        return Some(Fault::new(got, "want a plan that measures crimps"));
    };
    let Subject::Crimps {
        terminal: first_terminal,
        wire: first_wire,
    } = &first?.subject
    else {
        return None;
    };
    let differs = |what: &str, got: &str, want: &str| {
        let got = format!("plan {} is of {what} {}", quoted(name), quoted(got));
        let want = format!("want {}, as the plan of first_off", quoted(want));
        Some(Fault::new(got, want).help("the samples of a run are of one terminal and wire"))
    };
    if terminal != first_terminal {
        return differs("terminal", terminal, first_terminal);
    }
    if wire != first_wire {
        return differs("wire", &wire.text, &first_wire.text);
    }
    None
}
