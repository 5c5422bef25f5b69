//! What a person reads of a station and its series; the same after `arm`, in `status` and in `series`.

use crate::entry::Tally;
use crate::entry::words::{self, safe};
use crate::message::armed::{
    ArmedMessage, AxisMessage, InstrumentBrief, TallyMessage, ToolMessage, ZeroMessage,
};
use crate::message::state::{InstrumentMessage, LastMessage, OutcomeMessage, StationMessage};
use anstyle::{AnsiColor, Style};
use std::fmt::Write as _;
use std::io::{self, Write};

pub(super) const HEADING: Style = Style::new().bold();
pub(super) const GOOD: Style = AnsiColor::Green.on_default().bold();
pub(super) const BAD: Style = AnsiColor::Red.on_default().bold();
pub(super) const ODD: Style = AnsiColor::Yellow.on_default().bold();

/// A station: what is armed, what comes next, what came last.
pub(super) fn station(out: &mut dyn Write, station: &StationMessage) -> io::Result<()> {
    write!(out, "{HEADING}{}{HEADING:#}", safe(&station.station))?;
    if let Some(operator) = &station.operator {
        write!(out, ", {}", safe(operator))?;
    }
    if let Some(tool) = &station.tool {
        write!(out, ", {} in the hand", self::tool(tool))?;
    }
    writeln!(out)?;
    if let Some(armed) = &station.armed {
        self::armed(out, armed)?;
    }
    writeln!(
        out,
        "  next       {HEADING}{}{HEADING:#}",
        safe(&station.prompt)
    )?;
    if let Some(last) = &station.last {
        writeln!(out, "  last       {}", reading(last))?;
    }
    if let Some(outcome) = &station.outcome {
        writeln!(out, "  before     {}", closed(outcome))?;
    }
    Ok(())
}

/// A series: everything it judges by, and how far it is.
pub(super) fn armed(out: &mut dyn Write, armed: &ArmedMessage) -> io::Result<()> {
    let plan = armed.plan.as_deref().map_or("inline".to_owned(), safe);
    writeln!(
        out,
        "  series     {}, {plan}: {} of {} readings",
        armed.series, armed.filled, armed.slots
    )?;
    if let (Some(terminal), Some(wire)) = (&armed.terminal, &armed.wire) {
        write!(out, "  terminal   {}", safe(terminal))?;
        if let Some(source) = &armed.source {
            write!(out, " ({})", safe(source))?;
        }
        writeln!(out, "\n  wire       {}", safe(wire))?;
    }
    if !armed.blocks.is_empty() {
        writeln!(out, "  blocks     {}", safe(&armed.blocks.join(", ")))?;
    }
    if let Some(tool) = &armed.tool {
        writeln!(
            out,
            "  tool       {}{}",
            self::tool(tool),
            checked(tool).unwrap_or_default()
        )?;
    }
    let pieces = if armed.blocks.is_empty() {
        "pieces "
    } else {
        "repeats"
    };
    writeln!(
        out,
        "  {pieces}    {}, {}, {}",
        armed.pieces,
        armed.purpose.replace('_', " "),
        armed.order.replace('_', " ")
    )?;
    let factor = armed
        .guard_factor
        .as_ref()
        .map(|g| format!(", limits drawn in by {g} u"));
    writeln!(
        out,
        "  judged     {}{}",
        armed.decision,
        factor.unwrap_or_default()
    )?;
    for axis in &armed.axes {
        self::axis(out, axis)?;
    }
    for instrument in &armed.instruments {
        let error = instrument.max_error.as_deref();
        let error = error.map(|error| format!(", error up to {}", safe(error)));
        writeln!(
            out,
            "  with       {}, one count {}{}",
            safe(&instrument.instrument),
            safe(&instrument.resolution),
            error.unwrap_or_default()
        )?;
        for line in care(instrument) {
            writeln!(out, "             {line}")?;
        }
    }
    writeln!(out, "  zeros      {}", zeros(&armed.zero))?;
    if let Some(operator) = &armed.operator {
        writeln!(out, "  operator   {}", safe(operator))?;
    }
    if !armed.alert_rules.is_empty() {
        let rules: Vec<_> = armed.alert_rules.iter().map(|rule| safe(rule)).collect();
        writeln!(out, "  alerts     {}", rules.join(", ").replace('_', " "))?;
    }
    writeln!(out, "  tally      {}", tally(&armed.tally))?;
    for warning in &armed.warnings {
        writeln!(out, "  {ODD}warning{ODD:#}    {}", safe(warning))?;
    }
    for alert in &armed.alerts {
        writeln!(
            out,
            "  {ODD}alert{ODD:#}      #{} {}",
            alert.seq,
            safe(&alert.text)
        )?;
    }
    Ok(())
}

/// `T-07 (production), nest 2.0`.
fn tool(tool: &ToolMessage) -> String {
    let nest = tool.nest.as_deref();
    let nest = nest.map(|nest| format!(", nest {}", safe(nest)));
    let nest = nest.unwrap_or_default();
    format!("{} ({}){nest}", safe(&tool.id), tool.class)
}

/// `, checked 2026-09-01 (due 2027-09-01), 12,004 crimps`: only what is known.
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

/// When an instrument was calibrated and verified; nothing where neither is known.
fn care(instrument: &InstrumentBrief) -> Vec<String> {
    let calibrated = match (&instrument.calibrated, &instrument.calibration_due) {
        (Some(day), Some(due)) => Some(format!("calibrated {day} (due {due})")),
        (Some(day), None) => Some(format!("calibrated {day}")),
        (None, Some(due)) => Some(format!("calibration due {due}")),
        (None, None) => None,
    };
    let verified = instrument.verified.as_ref().map(|verified| {
        let day = verified.at.get(..10).unwrap_or(&verified.at);
        let how = if verified.accepted { "good" } else { "FAILED" };
        format!("verified {day} in series {}: {how}", verified.series)
    });
    calibrated.into_iter().chain(verified).collect()
}

/// `before the first, every 5 pieces, closing`.
fn zeros(zero: &ZeroMessage) -> String {
    let said: Vec<String> = [
        zero.before_first.then(|| "before the first".to_owned()),
        zero.every_pieces.map(|n| format!("every {n} pieces")),
        zero.every_seconds
            .map(|s| format!("every {} minutes", s / 60)),
        zero.closing.then(|| "closing".to_owned()),
        zero.double_retracts
            .then(|| "two in a row retract the last reading".to_owned()),
    ]
    .into_iter()
    .flatten()
    .collect();
    if said.is_empty() {
        return "none asked for".to_owned();
    }
    said.join(", ")
}

fn axis(out: &mut dyn Write, axis: &AxisMessage) -> io::Result<()> {
    let words = axis.axis.replace('_', " ");
    write!(out, "  limits     {}: {}", safe(&words), axis.limits)?;
    if let Some(from) = &axis.limits_from {
        write!(out, ", from {}", safe(from))?;
    }
    for guard in &axis.guards {
        let parts: Vec<String> = [
            guard.guard.as_ref().map(|width| format!("guard {width}")),
            guard.tur.as_ref().map(|tur| format!("TUR {tur}")),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !parts.is_empty() {
            write!(
                out,
                " ({} by {})",
                parts.join(", "),
                safe(&guard.instrument)
            )?;
        }
    }
    writeln!(out)
}

/// A reading in one line.
pub(super) fn reading(reading: &LastMessage) -> String {
    let mut text = format!("#{} {} {}", reading.seq, reading.value, reading.unit);
    if let (Some(piece), Some(axis)) = (reading.piece, &reading.axis) {
        let _ = write!(text, ", piece {piece} {}", safe(&axis.replace('_', " ")));
    }
    match (&reading.verdict, &reading.reason) {
        (Some(verdict), None) => {
            let style = verdict_style(verdict);
            let _ = write!(text, ": {style}{}{style:#}", said(verdict));
        }
        (_, Some(reason)) => {
            let reason = reason.replace('_', " ");
            let _ = write!(text, ": {ODD}not counted{ODD:#}, {reason}");
        }
        (None, None) => {}
    }
    if let Some(hint) = &reading.hint {
        let _ = write!(text, " ({})", safe(hint));
    }
    text
}

fn said(verdict: &str) -> String {
    match verdict.split_once('_') {
        Some((word, side)) => format!("{} {side}", word.to_uppercase()),
        None => verdict.to_uppercase(),
    }
}

/// Of `accepted`, `rejected`, …, `open`.
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

fn closed(outcome: &OutcomeMessage) -> String {
    format!(
        "series {} {}{}{}: {}",
        outcome.series,
        outcome.outcome.replace('_', " "),
        safe(&outcome.beside),
        after(&outcome.tally),
        tally(&outcome.tally)
    )
}

/// `4 passed, 1 retracted`: only what there is.
pub(super) fn tally(tally: &TallyMessage) -> String {
    words::tally(counts(tally))
}

/// ` after 2 readings were retracted`, if some were.
pub(super) fn after(tally: &TallyMessage) -> String {
    words::after(counts(tally))
}

fn counts(tally: &TallyMessage) -> Tally {
    Tally {
        passed: tally.passed,
        failed: tally.failed,
        unsure: tally.unsure,
        doubted: tally.doubted,
        retracted: tally.retracted,
        not_counted: tally.not_counted,
    }
}

/// An instrument in one line.
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
            "\n    {ODD}another adapter than before{ODD:#}: it was {}, it is {}{}; no reading counts\n    help: see that the right instrument is on it, then say so: tallyjaw adapter --instrument {}",
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
        write!(out, "; the next frame is a zero")?;
    }
    writeln!(out)
}
