//! `tallyjaw plans`: exit 0.

use super::columns::Columns;
use super::{Context, Exit, Failure};
use crate::spec::wire::resolve;
use crate::spec::{AxisName, Decision, Plan, Subject, WireRequest};
use serde_json::{Map, Value, json};
use std::io::Write;

/// List the plans of the configuration; `tallyjaw arm PLAN` starts one
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw plans
  tallyjaw plans --json")]
pub(super) struct Plans {}

impl Plans {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        let catalog = context.load()?.1.catalog;
        if context.json {
            for plan in &catalog.plans {
                writeln!(out, "{}", plan_json(plan))?;
            }
            return Ok(Exit::Yes);
        }
        let headings = [
            "plan", "terminal", "wire", "pieces", "axes", "purpose", "tool", "rule",
        ];
        let mut columns = Columns::new(&headings);
        for plan in &catalog.plans {
            columns.row(cells(plan));
        }
        columns.write(out)?;
        Ok(Exit::Yes)
    }
}

fn cells(plan: &Plan) -> Vec<String> {
    let (subject, wire, axes) = match &plan.subject {
        Subject::Crimps { terminal, wire } => {
            let axes: Vec<_> = plan.axes.iter().map(AxisName::words).collect();
            (terminal.clone(), self::wire(wire), axes)
        }
        Subject::Blocks { instrument, blocks } => {
            let blocks: Vec<_> = blocks.iter().map(|block| block.size.to_string()).collect();
            (format!("gauge blocks, {instrument}"), String::new(), blocks)
        }
    };
    let tool = match (&plan.tool, &plan.nest) {
        (Some(tool), Some(nest)) => format!("{tool} nest {nest}"),
        (Some(tool), None) => tool.clone(),
        (None, _) => String::new(),
    };
    vec![
        plan.id.clone().unwrap_or_default(),
        subject,
        wire,
        plan.pieces.to_string(),
        format!("{}{}", axes.join(", "), table(plan)),
        plan.purpose.name().to_owned(),
        tool,
        rule(plan.decision),
    ]
}

/// The table of pull forces that the plan uses if the maker's sheet has no value.
fn table(plan: &Plan) -> String {
    let named = plan.pull_force.map(|fallback| fallback.table.name);
    named.map_or(String::new(), |name| {
        format!(" (from table {name} if the maker's sheet has no value)")
    })
}

/// The area, and the gauge by which the plan names the wire.
fn wire(request: &WireRequest) -> String {
    match resolve(request) {
        Ok(wire) => match wire.gauge {
            Some(gauge) => format!("{} ({gauge} ga, {})", wire.area, wire.sizing.name()),
            None => wire.area.to_string(),
        },
        Err(_) => request.text.clone(), // The check of the configuration has resolved every wire.
    }
}

fn rule(decision: Decision) -> String {
    match decision {
        Decision::Simple => decision.name().to_owned(),
        Decision::Guarded { factor_milli } => {
            format!(
                "{}, g = {}.{:03}",
                decision.name(),
                factor_milli / 1000,
                factor_milli % 1000
            )
        }
    }
}

fn plan_json(plan: &Plan) -> Value {
    let axes: Vec<_> = plan.axes.iter().map(AxisName::as_str).collect();
    let mut line = json!({
        "kind": "plan",
        "plan": plan.id,
        "axes": axes,
        "order": plan.order.name(),
        "pieces": plan.pieces,
        "purpose": plan.purpose.name(),
        "decision": plan.decision.name(),
        "repeat": plan.repeat,
        "alerts": plan.alerts.iter().map(|rule| rule.name).collect::<Vec<_>>(),
    });
    if let Some(object) = line.as_object_mut() {
        object.extend(subject_json(&plan.subject));
        let optional = [
            ("tool", plan.tool.as_ref().map(|tool| json!(tool))),
            ("nest", plan.nest.as_ref().map(|nest| json!(nest))),
            (
                "pull_force_table",
                plan.pull_force.map(|fallback| json!(fallback.table.name)),
            ),
            (
                "pull_force_gauge",
                plan.pull_force
                    .and_then(|fallback| fallback.gauge)
                    .map(|gauge| json!(gauge.name)),
            ),
        ];
        for (key, value) in optional {
            object.extend(value.map(|value| (key.to_owned(), value)));
        }
    }
    line
}

fn subject_json(subject: &Subject) -> Map<String, Value> {
    let mut keys = Map::new();
    match subject {
        Subject::Crimps { terminal, wire } => {
            keys.insert("terminal".to_owned(), json!(terminal));
            keys.insert("wire".to_owned(), json!(wire.text));
            if let Some(sizing) = wire.sizing {
                keys.insert("sizing".to_owned(), json!(sizing.name()));
            }
            if let Ok(wire) = resolve(wire) {
                let mm2 = super::wire::number(wire.area.mm2());
                keys.insert("wire_mm2".to_owned(), mm2);
            }
        }
        Subject::Blocks { instrument, blocks } => {
            let blocks: Vec<_> = blocks.iter().map(ToString::to_string).collect();
            keys.insert("instrument".to_owned(), json!(instrument));
            keys.insert("blocks".to_owned(), json!(blocks));
        }
    }
    keys
}
