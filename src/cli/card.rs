//! Text about a station and its series. `arm`, `status` and `series` all use it.

use super::columns::count;
use super::entries::EntryStyle;
use super::wrap;
use crate::entry::Outcome;
use crate::entry::words::{self, safe};
use crate::message::armed::{ArmedMessage, AxisMessage, InstrumentBrief, ToolMessage, ZeroMessage};
use crate::message::production::ProductionMessage;
use crate::message::state::{InstrumentMessage, LastMessage, OutcomeMessage, StationMessage};
use crate::quantity::{Measured, WallMicros, Zone};
use anstyle::{AnsiColor, Style};
use std::fmt::Write as _;
use std::io::{self, Write};

pub(super) const HEADING: Style = Style::new().bold();
pub(super) const GOOD: Style = AnsiColor::Green.on_default().bold();
pub(super) const BAD: Style = AnsiColor::Red.on_default().bold();
pub(super) const ODD: Style = AnsiColor::Yellow.on_default().bold();

/// A station: next action, open series, last reading.
pub(super) fn station(
    out: &mut dyn Write,
    form: &EntryStyle,
    station: &StationMessage,
) -> io::Result<()> {
    let (name, prompt) = (safe(&station.station), safe(&station.prompt));
    let next = wrap::wrapped(&format!("{name}: {prompt}"), 0, form.width);
    writeln!(out, "{HEADING}{next}{HEADING:#}")?;
    let operator = station.operator.as_deref().map(safe);
    let tool = station.tool.as_ref();
    let tool = tool.map(|tool| format!("tool in hand {}", self::tool(tool)));
    let said: Vec<String> = operator.into_iter().chain(tool).collect();
    if !said.is_empty() {
        row(out, form, "station", &said.join(", "))?;
    }
    if let Some(armed) = &station.armed {
        self::armed(out, form, armed)?;
        if !armed.warnings.is_empty() {
            let number = count(armed.warnings.len(), "warning");
            let text = format!(
                "{number} when it started; tallyjaw series {} shows them",
                armed.series
            );
            row(out, form, "warnings", &text)?;
        }
    }
    if let Some(production) = &station.production {
        self::production(out, form, production)?;
    }
    if let Some(last) = &station.last {
        row(out, form, "last", &reading(last))?;
    }
    if let Some(outcome) = &station.outcome {
        row(out, form, "before", &closed(outcome))?;
    }
    Ok(())
}

/// Writes what the open run needs next, and what is held.
fn production(
    out: &mut dyn Write,
    form: &EntryStyle,
    production: &ProductionMessage,
) -> io::Result<()> {
    if let Some(run) = &production.open {
        let style = if run.due { ODD } else { Style::new() };
        let (id, says) = (safe(&run.run_id), safe(&run.says));
        let text = format!("{} ({id}), {} crimps: {says}", run.run, run.crimps);
        styled_row(out, form, style, "run", &text)?;
    } else if production.without_run > 0 {
        let text = format!(
            "{} counted without an open run: no sample vouches for them",
            production.without_run
        );
        row(out, form, "crimps", &text)?;
    }
    if let Some(held) = &production.held_says {
        styled_row(out, form, BAD, "held", &safe(held))?;
    }
    Ok(())
}

/// Writes `  label      text`, wrapped after the label.
pub(super) fn row(
    out: &mut dyn Write,
    form: &EntryStyle,
    label: &str,
    text: &str,
) -> io::Result<()> {
    styled_row(out, form, Style::new(), label, text)
}

fn styled_row(
    out: &mut dyn Write,
    form: &EntryStyle,
    style: Style,
    label: &str,
    text: &str,
) -> io::Result<()> {
    const LABEL: usize = 11;
    let text = wrap::wrapped(text, LABEL + 2, form.width);
    let blanks = LABEL.saturating_sub(label.chars().count());
    writeln!(out, "  {style}{label}{style:#}{:blanks$}{text}", "")
}

/// Writes the warnings given at the start, one on each line.
pub(super) fn warnings(
    out: &mut dyn Write,
    form: &EntryStyle,
    armed: &ArmedMessage,
) -> io::Result<()> {
    for warning in &armed.warnings {
        styled_row(out, form, ODD, "warning", &safe(warning))?;
    }
    Ok(())
}

/// Writes a series: everything that its verdicts depend on, and how many readings it has.
pub(super) fn armed(
    out: &mut dyn Write,
    form: &EntryStyle,
    armed: &ArmedMessage,
) -> io::Result<()> {
    let plan = armed
        .plan
        .as_deref()
        .map(|plan| format!(" of plan {}", safe(plan)));
    let plan = plan.unwrap_or_default();
    let series = format!(
        "{}{plan}: {} of {} measured",
        armed.series, armed.filled, armed.slots
    );
    row(out, form, "series", &series)?;
    if let (Some(terminal), Some(wire)) = (&armed.terminal, &armed.wire) {
        let source = armed.source.as_deref();
        let source = source.map(|source| format!(" ({})", safe(source)));
        let name = armed.terminal_name.as_deref();
        let name = name.map(|name| format!(", {}", safe(name)));
        let (name, source) = (name.unwrap_or_default(), source.unwrap_or_default());
        let text = format!("{}{name}{source}", safe(terminal));
        row(out, form, "terminal", &text)?;
        let of_row = armed.row.as_deref();
        let of_row = of_row.map(|sizes| format!(", by the row for {}", safe(sizes)));
        let text = format!("{}{}", safe(wire), of_row.unwrap_or_default());
        row(out, form, "wire", &text)?;
    }
    if !armed.blocks.is_empty() {
        row(out, form, "blocks", &safe(&armed.blocks.join(", ")))?;
    }
    if let Some(tool) = &armed.tool {
        let checked = checked(tool).unwrap_or_default();
        row(out, form, "tool", &format!("{}{checked}", self::tool(tool)))?;
    }
    let pieces = if armed.blocks.is_empty() {
        "pieces"
    } else {
        "repeats"
    };
    let (purpose, order) = (
        armed.purpose.replace('_', " "),
        armed.order.replace('_', " "),
    );
    let text = format!("{}, {purpose}, measured {order}", armed.pieces);
    row(out, form, pieces, &text)?;
    row(out, form, "rule", &rule(armed))?;
    for axis in &armed.axes {
        row(out, form, "limits", &limits(axis))?;
    }
    for instrument in &armed.instruments {
        let error = instrument.max_error.as_deref();
        let error = error.map(|error| format!(", maximum permissible error {}", safe(error)));
        let text = format!(
            "{}, resolution {}{}",
            safe(&instrument.instrument),
            safe(&instrument.resolution),
            error.unwrap_or_default()
        );
        row(out, form, "instrument", &text)?;
        for line in care(instrument, &form.zone) {
            row(out, form, "", &line)?;
        }
    }
    row(out, form, "zero", &zeros(&armed.zero))?;
    if let Some(operator) = &armed.operator {
        row(out, form, "operator", &safe(operator))?;
    }
    if !armed.alert_rules.is_empty() {
        let rules: Vec<_> = armed.alert_rules.iter().map(|rule| safe(rule)).collect();
        row(out, form, "alerts", &rules.join(", ").replace('_', " "))?;
    }
    row(out, form, "readings", &words::tally(armed.tally))?;
    for alert in &armed.alerts {
        let text = format!("{} [#{}]", safe(&alert.text), alert.seq);
        styled_row(out, form, ODD, "! alert", &text)?;
    }
    Ok(())
}

/// The decision rule in words.
fn rule(armed: &ArmedMessage) -> String {
    match &armed.guard_factor {
        Some(factor) => format!(
            "{}: the limits are drawn in by {factor} standard uncertainties",
            armed.decision
        ),
        None => format!("{} acceptance: the limits as they are", armed.decision),
    }
}

/// The tool in words: `T-07 (production), nest 2.0`.
fn tool(tool: &ToolMessage) -> String {
    let nest = tool.nest.as_deref();
    let nest = nest.map(|nest| format!(", nest {}", safe(nest)));
    let nest = nest.unwrap_or_default();
    format!("{} ({}){nest}", safe(&tool.id), tool.class)
}

/// Care of the tool, as far as known: `, checked 2026-09-01 (due 2027-09-01), 12,004 crimps`.
fn checked(tool: &ToolMessage) -> Option<String> {
    let due = tool.check_due.as_deref();
    let checked = match (tool.last_check.as_deref(), due) {
        (Some(last), Some(due)) => Some(format!(", checked {last} (due {due})")),
        (Some(last), None) => Some(format!(", checked {last}")),
        (None, Some(due)) => Some(format!(", check due {due}")),
        (None, None) => None,
    };
    let crimps = tool.crimps.filter(|crimps| *crimps > 0);
    let crimps = crimps.map(|crimps| format!(", {crimps} crimps before this series"));
    match (checked, crimps) {
        (None, None) => None,
        (checked, crimps) => Some(checked.unwrap_or_default() + &crimps.unwrap_or_default()),
    }
}

/// Calibration and verification of an instrument; empty if neither is known.
fn care(instrument: &InstrumentBrief, zone: &Zone) -> Vec<String> {
    let calibrated = match (&instrument.calibrated, &instrument.calibration_due) {
        (Some(day), Some(due)) => Some(format!("calibrated {day} (due {due})")),
        (Some(day), None) => Some(format!("calibrated {day}")),
        (None, Some(due)) => Some(format!("calibration due {due}")),
        (None, None) => None,
    };
    let verified = instrument.verified.as_ref().map(|verified| {
        let day = verified.at.parse::<WallMicros>();
        let day = day.map_or_else(|_| safe(&verified.at), |at| at.local_day(zone));
        let how = if verified.accepted {
            "passed"
        } else {
            "FAILED"
        };
        format!("verified {day} in series {}: {how}", verified.series)
    });
    calibrated.into_iter().chain(verified).collect()
}

/// When zero checks are required: `before the first reading, every 5 pieces, after the last reading`.
fn zeros(zero: &ZeroMessage) -> String {
    let said: Vec<String> = [
        zero.before_first
            .then(|| "before the first reading".to_owned()),
        zero.every_pieces.map(|n| format!("every {n} pieces")),
        zero.every_seconds
            .map(|s| format!("every {} minutes", s / 60)),
        zero.closing.then(|| "after the last reading".to_owned()),
        zero.double_retracts
            .then(|| "two in a row retract the last reading".to_owned()),
    ]
    .into_iter()
    .flatten()
    .collect();
    if said.is_empty() {
        return "no zero check is required".to_owned();
    }
    said.join(", ")
}

/// Limits of an axis, with guard band and test uncertainty ratio by instrument.
fn limits(axis: &AxisMessage) -> String {
    let words = axis.axis.replace('_', " ");
    let mut text = format!("{} {}", safe(&words), axis.limits);
    if let Some(from) = &axis.limits_from {
        let _ = write!(text, ", from {}", safe(from));
    }
    for guard in &axis.guards {
        let width = guard.guard.as_ref();
        let ratio = guard.tur.as_ref();
        let parts: Vec<String> = [
            width.map(|width| format!("guard band {}", as_shown(width))),
            ratio.map(|ratio| format!("test uncertainty ratio {ratio}")),
            guard
                .budget
                .as_ref()
                .map(|name| format!("by {}", safe(name))),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !parts.is_empty() {
            let _ = write!(text, "; {}: {}", safe(&guard.instrument), parts.join(", "));
        }
    }
    text
}

/// The width of a guard band with two digits; messages have it exactly.
fn as_shown(width: &str) -> String {
    match width.parse::<Measured>() {
        Ok(width) => width.quantity().two_digits_up().to_string(),
        Err(_) => safe(width),
    }
}

/// A reading on one line.
pub(super) fn reading(reading: &LastMessage) -> String {
    let mut text = format!("{} {}", reading.value, reading.unit);
    if let (Some(verdict), None) = (&reading.verdict, &reading.reason) {
        let style = verdict_style(verdict);
        let side = match verdict.as_str() {
            "fail_low" => ", below the lower limit",
            "fail_high" => ", above the upper limit",
            "unsure_low" => ", too near the lower limit to decide",
            "unsure_high" => ", too near the upper limit to decide",
            _ => "",
        };
        text = format!("{style}{}{style:#} {text}{side}", said(verdict));
    }
    if let (Some(piece), Some(axis)) = (reading.piece, &reading.axis) {
        let _ = write!(text, ", piece {piece} {}", safe(&axis.replace('_', " ")));
    }
    if let Some(reason) = &reading.reason {
        let reason = reason.replace('_', " ");
        let _ = write!(text, ", {ODD}not counted{ODD:#}: {reason}");
    }
    if let Some(hint) = &reading.hint {
        let _ = write!(text, " ({})", safe(hint));
    }
    let _ = write!(text, " [#{}]", reading.seq);
    text
}

fn said(verdict: &str) -> String {
    let word = verdict.split('_').next().unwrap_or(verdict).to_uppercase();
    let sign = match word.as_str() {
        "PASS" => "✓",
        "FAIL" => "✗",
        "MEASURED" => "○",
        _ => "?",
    };
    format!("{sign} {word}")
}

/// The colour for `accepted`, `rejected`, …, `open`.
pub(super) fn outcome_style(outcome: &str) -> Style {
    match outcome {
        "accepted" => GOOD,
        "rejected" => BAD,
        "undecided" | "cut_short" => ODD,
        _ => Style::new(),
    }
}

fn verdict_style(verdict: &str) -> Style {
    if verdict == "pass" {
        GOOD
    } else if verdict.starts_with("fail") {
        BAD
    } else {
        ODD
    }
}

/// An outcome in words, from its name in data: `stopped early` for `cut_short`.
pub(super) fn outcome_words(name: &str) -> String {
    let known = Outcome::from_name(name);
    known.map_or_else(
        || safe(&name.replace('_', " ")),
        |outcome| words::outcome(outcome).to_lowercase(),
    )
}

fn closed(outcome: &OutcomeMessage) -> String {
    format!(
        "series {} {}{}{}: {}",
        outcome.series,
        outcome_words(&outcome.outcome),
        safe(&outcome.beside),
        words::after(outcome.tally),
        words::tally(outcome.tally)
    )
}

/// Writes an instrument on one line, and its problems below.
pub(super) fn instrument(out: &mut dyn Write, instrument: &InstrumentMessage) -> io::Result<()> {
    write!(
        out,
        "  {} at {}: ",
        safe(&instrument.instrument),
        safe(&instrument.station)
    )?;
    match (&instrument.port, &instrument.detached_because) {
        (Some(port), _) => {
            let line = instrument.line.as_deref().unwrap_or_default();
            write!(
                out,
                "{GOOD}connected{GOOD:#}, {} ({})",
                safe(port),
                safe(line)
            )?;
        }
        (None, Some(because)) => write!(out, "{BAD}not connected{BAD:#}: {}", safe(because))?,
        (None, None) => write!(out, "{BAD}not connected{BAD:#}")?,
    }
    if let Some(was) = &instrument.adapter_meant {
        let is = instrument.identity.as_deref().unwrap_or("no USB adapter");
        let socket = instrument.socket.as_deref();
        let socket = socket.map(|socket| format!(" in the socket {}", safe(socket)));
        write!(
            out,
            "\n    {ODD}another adapter than before{ODD:#}: it was {}, it is {}{}; no reading counts\n    help: check that the right instrument is plugged into it, then confirm it: tallyjaw adapter --instrument {}",
            safe(was),
            safe(is),
            socket.unwrap_or_default(),
            safe(&instrument.instrument)
        )?;
    }
    if !instrument.rivals.is_empty() {
        write!(
            out,
            "\n    {ODD}read by another program too{ODD:#}: {}; no reading counts\n    help: close that program",
            safe(&instrument.rivals.join(" and "))
        )?;
    }
    if instrument.zero_said {
        write!(out, "; the next value is its zero")?;
    }
    writeln!(out)
}
