//! What was required of a series: limits and their source, the decision rule, zeros.

use super::table::{Table, number, td, th};
use super::{List, about};
use crate::markup::{Element, el, free};
use crate::report::facts::Facts;
use crate::report::words;
use crate::spec::ArmedAxis;

pub(super) fn part(facts: &Facts, level: usize) -> Element {
    let spec = &facts.record.series.spec;
    let mut list = List::new(&format!("{}, what was required", about(facts)));
    if let Some(from) = shared_source(facts) {
        list.put_free("Limits from", from);
    }
    let sheet = spec.subject.sheet();
    if let Some(sizes) = sheet.and_then(|sheet| sheet.sizes) {
        list.put("Row of the sheet", format!("for wires of {sizes}"));
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
    let list = list.element.class("lines");
    super::part(level, "Required", [limits(facts), list])
}

/// The source of the limits of an axis.
fn source<'f>(facts: &'f Facts, axis: &'f ArmedAxis) -> &'f str {
    let from = axis.limits_from.as_deref();
    let from = from.or(facts.record.series.spec.subject.source());
    from.unwrap_or(if facts.is_of_blocks() {
        "maximum permissible error of the instrument"
    } else {
        "the sheet of this shop"
    })
}

/// The source, if it is the same for every axis.
fn shared_source(facts: &Facts) -> Option<&str> {
    let mut sources = facts.record.series.spec.axes.iter();
    let first = source(facts, sources.next()?);
    sources
        .all(|axis| source(facts, axis) == first)
        .then_some(first)
}

fn limits(facts: &Facts) -> Element {
    let axes = &facts.record.series.spec.axes;
    let guards = || axes.iter().flat_map(|axis| &axis.guards);
    let is_guarded = guards().any(|guard| guard.width > 0);
    let is_mixed = shared_source(facts).is_none();
    let has_budget = guards().any(|guard| guard.budget.is_some());
    let heads = [
        ("Axis", true),
        ("Nominal", true),
        ("Lower limit", true),
        ("Upper limit", true),
        ("Unsure within", is_guarded),
        ("Test uncertainty ratio", true),
        ("Uncertainty budget", has_budget),
        ("From", is_mixed),
    ];
    let shown: Vec<&'static str> = heads
        .iter()
        .filter_map(|(head, shown)| shown.then_some(*head))
        .collect();
    let mut table = Table::new("limits", "Limits", &shown);
    for axis in axes {
        let about = format!("{}, limits of {}", about(facts), axis.name.words());
        let cells = row(facts, axis).into_iter().zip(heads);
        let cells = cells.filter_map(|(cell, (_, shown))| shown.then_some(cell));
        table.row(&about, cells.collect());
    }
    table.element()
}

fn row(facts: &Facts, axis: &ArmedAxis) -> Vec<Element> {
    let limits = &axis.limits;
    let end = |end: Option<crate::quantity::Quantity>| match end {
        Some(end) => number(words::shown(end, limits.unit(), 2)),
        None => td("–"),
    };
    vec![
        th(free(axis.name.words())),
        end(limits.nominal()),
        end(limits.lower()),
        end(limits.upper()),
        td(guards(axis)),
        el("td").child(free(ratios(axis))),
        el("td").child(free(budgets(axis))),
        el("td").child(free(source(facts, axis))),
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

/// The budgets that guard bands and ratios are from.
fn budgets(axis: &ArmedAxis) -> String {
    let one = axis.guards.len() == 1;
    let text = axis.guards.iter().filter_map(|guard| {
        let budget = guard.budget.as_ref()?;
        Some(if one {
            budget.clone()
        } else {
            format!("{budget} of {}", guard.instrument)
        })
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
    let width = width.two_digits_up();
    format!("±{} of a limit", words::shown(width, limits.unit(), 2))
}
