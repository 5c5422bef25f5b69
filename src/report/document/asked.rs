//! What was asked of a series: terminal, wire, limits, tool, rule.

use super::table::{Table, number, td, th};
use super::{List, about, heading};
use crate::markup::{Element, el, free};
use crate::report::facts::Facts;
use crate::report::words;
use crate::spec::{ArmedAxis, ArmedTool, ToolClass};

pub(super) fn section(facts: &Facts, level: usize) -> Element {
    let spec = &facts.record.series.spec;
    let mut list = List::new(&format!("{}, what was asked", about(facts)));
    if let Some(crimp) = spec.subject.crimp() {
        list.put_free("Terminal", crimp.terminal.as_str());
        list.put("Wire", words::wire(&crimp.wire));
    }
    let blocks: Vec<String> = spec
        .subject
        .blocks()
        .iter()
        .map(ToString::to_string)
        .collect();
    if !blocks.is_empty() {
        list.put("Gauge blocks", blocks.join(", "));
    }
    list.put("Purpose", words::purpose(spec.purpose));
    if let Some(plan) = &spec.plan {
        list.put_free("Plan", plan.as_str());
    }
    let counted = if facts.is_of_blocks() {
        "Repeats"
    } else {
        "Pieces"
    };
    list.put(
        counted,
        format!("{}; {}", spec.pieces, words::order(spec.order)),
    );
    if let Some(tool) = &spec.tool {
        list.put_free("Tool", self::tool(tool));
        list.put("Tool’s check", check(tool));
        if let (Some(needs), ToolClass::Repair) = (&tool.needs, tool.class) {
            list.put_free("It needs, by the maker's sheet", needs.as_str());
        }
    }
    list.put("Decision rule", words::decision(spec.decision));
    list.put("Zeros", words::zeros(&spec.zero));
    if !spec.alerts.is_empty() {
        let rules: Vec<String> = spec
            .alerts
            .iter()
            .map(|rule| rule.name.replace('_', " "))
            .collect();
        list.put("Run rules", rules.join(", "));
    }
    el("section")
        .child(heading(level, "Requirements"))
        .child(list.element)
        .child(limits(facts))
}

fn tool(tool: &ArmedTool) -> String {
    let class = match tool.class {
        ToolClass::Production => "production class",
        ToolClass::Repair => "repair class",
    };
    match &tool.nest {
        Some(nest) => format!("{}, {class}, nest {nest}", tool.id),
        None => format!("{}, {class}", tool.id),
    }
}

fn check(tool: &ArmedTool) -> String {
    let care = &tool.care;
    let crimps = tool
        .crimps
        .map(|crimps| format!("{crimps} crimps made before this series"));
    let parts: Vec<String> = [
        care.last_check.map(|day| format!("last on {day}")),
        care.check_due.map(|day| format!("good until {day}")),
        care.check_every_crimps
            .map(|every| format!("every {every} crimps")),
        crimps,
    ]
    .into_iter()
    .flatten()
    .collect();
    if parts.is_empty() {
        "nothing is known of one".to_owned()
    } else {
        parts.join(", ")
    }
}

fn limits(facts: &Facts) -> Element {
    let heads = &[
        "Axis",
        "Nominal",
        "Lower limit",
        "Upper limit",
        "From",
        "Test uncertainty ratio",
        "Unsure within",
    ];
    let is_guarded = facts
        .record
        .series
        .spec
        .axes
        .iter()
        .any(|axis| axis.guards.iter().any(|guard| guard.width > 0));
    let shown = if is_guarded {
        heads.len()
    } else {
        heads.len() - 1
    };
    let mut table = Table::new("limits", "Limits", heads.get(..shown).unwrap_or(heads));
    for axis in &facts.record.series.spec.axes {
        let about = format!("{}, limits of {}", about(facts), axis.name.words());
        let mut cells = row(facts, axis);
        cells.truncate(shown);
        table.row(&about, cells);
    }
    table.element()
}

fn row(facts: &Facts, axis: &ArmedAxis) -> Vec<Element> {
    let limits = &axis.limits;
    let end = |end: Option<crate::quantity::Quantity>| match end {
        Some(end) => number(words::shown(end, limits.unit(), 2)),
        None => td("–"),
    };
    let from = axis
        .limits_from
        .as_deref()
        .or(facts.record.series.spec.subject.source());
    let from = match (from, facts.is_of_blocks()) {
        (Some(from), _) => el("td").child(free(from)),
        (None, true) => td("maximum permissible error of the instrument"),
        (None, false) => td("the sheet of this shop"),
    };
    vec![
        th(free(axis.name.words())),
        end(limits.nominal()),
        end(limits.lower()),
        end(limits.upper()),
        from,
        el("td").child(free(ratios(axis))),
        td(guards(axis)),
    ]
}

fn ratios(axis: &ArmedAxis) -> String {
    let one = axis.guards.len() == 1;
    let text = axis.guards.iter().map(|guard| {
        let ratio = guard.test_uncertainty_ratio_hundredths;
        let ratio = match ratio {
            Some(ratio @ ..400) => format!("{}, under the usual 4", words::hundredths(ratio)),
            Some(ratio) => words::hundredths(ratio),
            None => "not known".to_owned(),
        };
        if one {
            ratio
        } else {
            format!("{ratio} by {}", guard.instrument)
        }
    });
    let text: Vec<String> = text.collect();
    if text.is_empty() {
        "–".to_owned()
    } else {
        text.join("; ")
    }
}

fn guards(axis: &ArmedAxis) -> String {
    let limits = &axis.limits;
    let widest = axis
        .guards
        .iter()
        .map(|guard| guard.width)
        .max()
        .unwrap_or(0);
    let width = crate::quantity::Quantity::from_base(limits.dimension(), widest);
    format!("±{} of a limit", words::shown(width, limits.unit(), 2))
}
