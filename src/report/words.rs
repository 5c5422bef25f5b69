//! The words of a report: times, deviations, outcomes, dispositions.

use super::facts::{Facts, ReportReading};
use crate::entry::ledger::Disposition;
use crate::entry::words::{after, tally};
use crate::entry::{Outcome, SeriesEntry, ZeroRole};
use crate::quantity::{Decimal, Quantity, Unit, WallMicros};
use crate::spec::wire as gauges;
use crate::spec::{Decision, Order, Purpose, Verdict, WireSize, ZeroPolicy};

/// The time: `09:14:03` on the day and at the offset of the opening, otherwise in full.
pub(super) fn time_of_day(at: WallMicros, facts: &Facts) -> String {
    let (text, opened) = (at.local(&facts.zone), facts.record.series.opened);
    let first = opened.local(&facts.zone);
    let is_same = text.get(..10) == first.get(..10) && text.get(19..) == first.get(19..);
    match text.get(11..19).filter(|_| is_same) {
        Some(time) => time.to_owned(),
        None => text,
    }
}

/// A quantity with at least `fewest` decimals, and no more than needed.
pub(super) fn shown(quantity: Quantity, unit: Unit, fewest: u8) -> String {
    match quantity.shortest_in(unit, fewest) {
        Some(digits) => format!("{digits} {unit}"),
        None => quantity.to_string(),
    }
}

/// The deviation with its sign, in the unit and digits of the reading: `+0.01`, `-0.02`, `0.00`.
pub(super) fn deviation(row: &ReportReading) -> Option<String> {
    let deviation = row.slot()?.deviation?;
    let value = row.reading.value;
    let text = shown(deviation, value.unit(), value.digits().decimals());
    Some(signed(deviation, &text))
}

/// A text with a plus if the quantity is above zero, and a typographic minus if it is below.
pub(super) fn signed(quantity: Quantity, text: &str) -> String {
    match quantity.base() {
        1.. => format!("+{text}"),
        0 => text.to_owned(),
        ..0 => text.replacen('-', "−", 1),
    }
}

/// Thousandths as a decimal: `1.645` for 1645.
pub(super) fn thousandths(milli: u32) -> String {
    Decimal::new(i64::from(milli), 3).to_string()
}

/// Hundredths as a decimal: `1.97` for 197.
pub(super) fn hundredths(of: u32) -> String {
    Decimal::new(i64::from(of), 2).to_string()
}

/// The shape before a verdict, the same as in pictures, so that verdicts differ without colour.
pub(super) const fn shape(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "●",
        Verdict::FailLow => "▼",
        Verdict::FailHigh => "▲",
        Verdict::UnsureLow | Verdict::UnsureHigh => "◇",
        Verdict::Measured => "○",
    }
}

/// The class of a verdict in the style sheet.
pub(super) const fn class(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::FailLow | Verdict::FailHigh => "fail",
        Verdict::UnsureLow | Verdict::UnsureHigh => "unsure",
        Verdict::Measured => "measured",
    }
}

/// Outcome of a series: word, class, and shape before it.
pub(super) const fn outcome(
    outcome: Option<Outcome>,
) -> (&'static str, &'static str, &'static str) {
    match outcome {
        Some(Outcome::Accepted) => ("ACCEPTED", "pass", "●"),
        Some(Outcome::Rejected) => ("REJECTED", "fail", "▲"),
        Some(Outcome::Undecided) => ("UNDECIDED", "unsure", "◇"),
        Some(Outcome::CutShort) => ("STOPPED EARLY", "unsure", "◇"),
        Some(Outcome::Measured) => ("MEASURED", "measured", "○"),
        None => ("STILL OPEN", "unsure", "◇"),
    }
}

/// The outcome as a sentence: `All 10 readings of 5 pieces passed.`
pub(super) fn outcome_sentence(facts: &Facts) -> String {
    let tally = facts.tally;
    let counted = tally.passed + tally.failed + tally.unsure + tally.measured;
    let pieces = match (facts.is_of_blocks(), facts.record.series.spec.pieces) {
        (true, _) => String::new(),
        (false, 1) => " of 1 piece".to_owned(),
        (false, pieces) => format!(" of {pieces} pieces"),
    };
    let of = |count: u32, verb: &str| match count {
        1 => format!("1 of {counted} readings{pieces} {verb}"),
        _ => format!("{count} of {counted} readings{pieces} {verb}"),
    };
    let so_far = format!("{counted} of {} readings count", facts.slots());
    let said = match facts.outcome() {
        Some(Outcome::Accepted) if counted == 1 => format!("The one reading{pieces} passed"),
        Some(Outcome::Accepted) => format!("All {counted} readings{pieces} passed"),
        Some(Outcome::Rejected) if tally.failed == counted => {
            format!("All {counted} readings{pieces} failed")
        }
        Some(Outcome::Rejected) => of(tally.failed, "failed"),
        Some(Outcome::Undecided) => format!(
            "None failed, but {} so near to a limit that the instrument cannot tell good from bad",
            of(tally.unsure, if tally.unsure == 1 { "lies" } else { "lie" })
        ),
        Some(Outcome::Measured) => {
            format!(
                "{counted} readings{pieces} were measured: no sheet gives limits to judge them by"
            )
        }
        Some(Outcome::CutShort) => {
            format!("It was closed before it was full: {so_far}; nothing is known of the others")
        }
        None => format!(
            "It is not closed: {so_far} so far, and later zeros may still make them doubtful"
        ),
    };
    let failed = match facts.outcome() {
        Some(Outcome::CutShort) | None if tally.failed > 0 => format!("; {} failed", tally.failed),
        _ => String::new(),
    };
    format!("{said}{failed}{}.", after(tally))
}

/// The tally in words: `5 passed, 1 failed`.
pub(super) fn tallied(facts: &Facts) -> String {
    tally(facts.tally)
}

/// Why a reading does not count, in words; `None` if it counts.
pub(super) fn why_not_counted(facts: &Facts, row: &ReportReading) -> Option<String> {
    let hinted = |hint: Option<&String>| hint.map_or(String::new(), |hint| format!(": {hint}"));
    match row.disposition {
        Disposition::Counted if row.verdict().is_some() => None,
        Disposition::Counted => Some("entered without a verdict".to_owned()),
        Disposition::NotCounted(reason) => {
            let words = reason.name().replace('_', " ");
            Some(format!("{words}{}", hinted(row.hint())))
        }
        Disposition::Doubted(by) => {
            let reason = if let Some(SeriesEntry::Doubted(doubted)) = facts.said_in(by) {
                doubted.reason.as_str()
            } else {
                ""
            };
            Some(format!("{reason} (entry {by})"))
        }
        Disposition::Retracted(by) => {
            let said = facts.said_in(by);
            let (means, reason) = if let Some(SeriesEntry::Retracted(retracted)) = said {
                (retracted.by, retracted.reason.as_ref())
            } else {
                (None, None)
            };
            let means = means.map_or(String::new(), |means| format!(", {}", means.words()));
            Some(format!(
                "by the operator{means}{} (entry {by})",
                hinted(reason)
            ))
        }
    }
}

/// A number with its noun: `1 reading`, `5 readings`.
pub(super) fn count(of: usize, what: &str) -> String {
    if of == 1 {
        format!("1 {what}")
    } else {
        format!("{of} {what}s")
    }
}

/// A number of series: `1 series`, `6 series`.
pub(super) fn series(of: usize) -> String {
    format!("{of} series")
}

/// The wire with area and gauge.
pub(super) fn wire(wire: &WireSize) -> String {
    if wire.gauge.is_some() {
        return wire.to_string();
    }
    let metric = gauges::table()
        .iter()
        .find(|gauge| gauge.sae_metric == Some(wire.area));
    match (metric, gauges::nearest_awg(wire.area)) {
        (Some(gauge), _) => format!("{wire} (the SAE metric size of {} ga)", gauge.name),
        (None, Some(gauge)) => format!(
            "{wire} (the nearest American gauge by area is {}, {} mm²)",
            gauge.name,
            gauges::three_digits(gauge.awg_area)
        ),
        (None, None) => wire.to_string(),
    }
}

/// The purpose in words.
pub(super) const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::FirstOff => "first off: the first pieces of a tool that was set up",
        Purpose::InProcess => "in process: pieces during a run",
        Purpose::LastOff => "last off: the last pieces before a tool is put away",
        Purpose::Qualification => "qualification: is the tool fit",
        Purpose::Reference => "reference: pieces out of a known-good harness",
        Purpose::GaugeStudy => "gauge study: the same pieces again and again",
        Purpose::Verification => "verification: the instrument against gauge blocks",
    }
}

/// The order of measuring in words.
pub(super) const fn order(order: Order) -> &'static str {
    match order {
        Order::ByAxis => "all pieces on one axis, then on the next",
        Order::ByPiece => "every axis of a piece, then the next piece",
        Order::ByValue => "in any order; the axis follows from the value",
    }
}

/// The decision rule in words.
pub(super) fn decision(decision: Decision) -> String {
    match decision {
        Decision::Simple => {
            "simple: inside or on a limit passes, whatever the instrument's uncertainty".to_owned()
        }
        Decision::Guarded { factor_milli } => format!(
            "guarded: within {} standard uncertainties of a limit, on either side of it, a value is neither passed nor failed but unsure",
            thousandths(factor_milli)
        ),
    }
}

/// When zeros are required, and their limit.
pub(super) fn zeros(policy: &ZeroPolicy) -> String {
    let minutes = policy.every.map(|every| every.as_secs() / 60);
    let asked: Vec<String> = [
        policy
            .before_first
            .then(|| "before the first reading".to_owned()),
        policy
            .every_pieces
            .map(|pieces| format!("every {pieces} pieces")),
        minutes.map(|minutes| format!("every {minutes} minutes")),
        policy.closing.then(|| "after the last reading".to_owned()),
    ]
    .into_iter()
    .flatten()
    .collect();
    if asked.is_empty() {
        return "none required".to_owned();
    }
    let limit = policy.limit_counts;
    let counts = if limit == 1 {
        "step of the resolution"
    } else {
        "steps of the resolution"
    };
    format!(
        "{}; a good zero is within {limit} {counts}",
        asked.join(", ")
    )
}

/// The role of a zero in words.
pub(super) const fn zero_role(role: ZeroRole) -> &'static str {
    match role {
        ZeroRole::Opening => "opening",
        ZeroRole::Periodic => "in between",
        ZeroRole::Closing => "closing",
        ZeroRole::Unasked => "when none was due",
    }
}
