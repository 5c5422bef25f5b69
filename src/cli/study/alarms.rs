//! The signals of a chart: one by one, or for each rule how often and where; and its average run lengths.

use crate::cli::Failure;
use crate::stats::Undefined;
use crate::stats::chart::{
    self, Alarm, Chart, Panel, Rule, RunLength, SIGNALS_LISTED, alarms as found,
};
use crate::stats::text::fixed;
use serde_json::{Map, Value, json};
use std::io::Write;

/// Writes the signals of a panel: each of a few, else a line for each rule.
pub(super) fn write(
    out: &mut dyn Write,
    panel: &Panel<'_>,
    rules: &[&'static Rule],
) -> Result<(), Failure> {
    let words = |name| chart::rule(name).map_or(name, |rule| rule.words);
    let all = found(panel, rules);
    let count: usize = all.iter().map(|alarm| alarm.signals).sum();
    if count <= SIGNALS_LISTED {
        for signal in panel.signals(rules) {
            writeln!(out, "  ✕ point {}: {}", signal.at, words(signal.rule))?;
        }
        return Ok(());
    }
    for alarm in &all {
        writeln!(out, "  ✕ {} signals: {}", alarm.signals, words(alarm.rule))?;
        writeln!(out, "    at {}", alarm.places())?;
    }
    Ok(())
}

/// For each panel and rule with signals: how many, and where.
pub(super) fn json(chart: &Chart<'_>, rules: &[&'static Rule]) -> Value {
    let of = |panel: &Panel<'_>, alarm: &Alarm| {
        let shown = alarm.shown.iter();
        let shown = shown.map(|stretch| json!({"from": stretch.from, "to": stretch.to}));
        json!({
            "panel": panel.name,
            "rule": alarm.rule,
            "signals": alarm.signals,
            "stretches": alarm.stretches,
            "first": shown.collect::<Vec<_>>(),
            "last": alarm.last,
        })
    };
    let mut all = Vec::new();
    for panel in &chart.panels {
        let alarms = found(panel, rules);
        all.extend(alarms.iter().map(|alarm| of(panel, alarm)));
    }
    Value::Array(all)
}

/// Average run lengths after each shift.
pub(super) struct Lengths {
    /// Name and words of the panel that signals; `None` if any does.
    pub(super) panel: Option<(&'static str, &'static str)>,
    pub(super) each: Vec<Result<RunLength, Undefined>>,
}

/// Writes the average run lengths, if there are any.
pub(super) fn write_lengths(
    out: &mut dyn Write,
    lengths: &[Lengths],
    chart: &Chart<'_>,
) -> Result<(), Failure> {
    for of in lengths {
        match of.panel {
            None => writeln!(
                out,
                "\naverage run length of these rules, simulated with these control limits (standard error in parentheses):"
            )?,
            Some((_, words)) => writeln!(out, "the same of one panel alone, {words}:")?,
        }
        for length in &of.each {
            match length {
                Ok(found) => writeln!(
                    out,
                    "  after a shift of {} sd of a reading  {} points ({})",
                    fixed(found.shift, 1),
                    fixed(found.points, 1),
                    fixed(found.error, 1)
                )?,
                Err(reason) => writeln!(out, "  –  ({reason})")?,
            }
        }
    }
    if !lengths.is_empty() {
        writeln!(out, "{}", chart::run_length_supposes(&chart.baseline))?;
    }
    Ok(())
}

/// Adds the average run lengths to the object, if there are any.
pub(super) fn put_lengths(object: &mut Map<String, Value>, lengths: &[Lengths], chart: &Chart<'_>) {
    if lengths.is_empty() {
        return;
    }
    let supposes = chart::run_length_supposes(&chart.baseline);
    object.insert("run_lengths_suppose".to_owned(), json!(supposes));
    let each = |of: &Lengths| {
        let known = of.each.iter().filter_map(|length| length.as_ref().ok());
        let known = known.map(|found| {
            json!({"shift": found.shift, "points": found.points, "standard_error": found.error})
        });
        Value::Array(known.collect())
    };
    let mut panels = Vec::new();
    for of in lengths {
        match of.panel {
            None => {
                object.insert("run_lengths".to_owned(), each(of));
            }
            Some((name, _)) => panels.push(json!({"panel": name, "run_lengths": each(of)})),
        }
    }
    if !panels.is_empty() {
        object.insert("run_lengths_of_panels".to_owned(), Value::Array(panels));
    }
}
