//! One line of text for an entry, for the log, `watch` and the demo.
//!
//! Text from outside (notes, reasons, names) is made safe for a terminal: control and direction characters become
//! escapes, and no text can start a new line.

mod journal;
mod production;
mod said;

use super::{
    Completed, Disturbed, Entry, FrameEntry, JournalEntry, PortEntry, Reading, Reservation,
    Retracted, SeriesEntry, Stamped, Standing, Tally, ToolInHand, Unread, Zeroed, reservation,
};
pub use crate::quantity::safe;
pub use production::{cause, crimps, every, settlement};
pub use said::{job, outcome};

use crate::quantity::{Quantity, Zone};
use crate::spec::{ArmedAxis, ArmedSpec, AxisName, Limits, Material, Verdict};
use std::fmt::Write as _;

/// Time, number, station and words of an entry: `2026-11-25T09:14:03Z #42 bench-1: …`.
pub fn line(stamped: &Stamped) -> String {
    let time = stamped.at.to_string();
    let seconds = time.get(..19).unwrap_or(&time);
    line_at(&format!("{seconds}Z"), stamped)
}

/// As [`line()`], with the time in the caller's form.
pub fn line_at(time: &str, stamped: &Stamped) -> String {
    let station = stamped
        .entry
        .station()
        .map(|name| format!("{}: ", safe(name)));
    let station = station.unwrap_or_default();
    format!("{time} #{} {station}{}", stamped.seq, words(&stamped.entry))
}

/// The entry in words, without station and time.
pub fn words(entry: &Entry) -> String {
    let text = match entry {
        Entry::Journal(entry) => journal::of_journal(entry),
        Entry::Port(entry) => match entry {
            PortEntry::Attached(attached) => format!(
                "{} connected at {}, {}",
                attached.instrument, attached.port, attached.line
            ),
            PortEntry::Detached(gone) => {
                format!("{} disconnected: {}", gone.instrument, gone.reason)
            }
            PortEntry::AdapterChanged(changed) => format!(
                "{} has another adapter than before: it was {}, it is {}; its readings do not count until a person confirms it",
                changed.instrument, changed.was, changed.is
            ),
            PortEntry::Disturbed(disturbed) => self::disturbed(disturbed),
        },
        Entry::Said(entry) => said::said(entry),
        Entry::Frame(entry) => match entry {
            FrameEntry::Zeroed(zeroed) => self::zeroed(zeroed),
            FrameEntry::Reading(reading) => self::reading(reading),
            FrameEntry::Unread(unread) => self::unread(unread),
        },
        Entry::Series(entry) => of_series(entry),
        Entry::Production(entry) => production::production(entry),
    };
    safe(&text)
}

/// As [`words`], with every time in it local: for people. In a log it is in UTC.
pub fn words_in(entry: &Entry, zone: &Zone) -> String {
    match entry {
        Entry::Journal(JournalEntry::Gap(it)) => safe(&journal::gap(it, &it.since.local(zone))),
        Entry::Journal(_)
        | Entry::Port(_)
        | Entry::Said(_)
        | Entry::Frame(_)
        | Entry::Series(_)
        | Entry::Production(_) => words(entry),
    }
}

/// A gap in words. `since` is in the caller's form: local for a person, UTC for a log.
fn of_series(entry: &SeriesEntry) -> String {
    match entry {
        SeriesEntry::Armed(spec) => armed(spec),
        SeriesEntry::Disarmed(disarmed) => format!("series {} disarmed", disarmed.series),
        SeriesEntry::Completed(completed) => self::completed(completed),
        SeriesEntry::Resumed(resumed) => {
            format!("series {} resumed {}", resumed.series, resumed.by.words())
        }
        SeriesEntry::ZeroDue(due) => format!("a zero of {} is due: {}", due.instrument, due.reason),
        SeriesEntry::Doubted(doubted) => {
            let readings = doubted.readings.iter();
            let readings: Vec<_> = readings.map(|seq| format!("#{seq}")).collect();
            format!("doubted {}: {}", readings.join(" "), doubted.reason)
        }
        SeriesEntry::Retracted(retracted) => self::retracted(retracted),
        SeriesEntry::Restored(restored) => {
            format!("restored #{} {}", restored.reading, restored.by.words())
        }
        SeriesEntry::Alerted(alerted) => format!("alert: {}", alerted.text),
        SeriesEntry::Looked(looked) => looked.words(),
        SeriesEntry::Pictured(pictured) => pictured.words(),
        SeriesEntry::Pulled(pulled) => {
            format!("piece {} pull test: {}", pulled.piece, pulled.mode.words())
        }
    }
}

fn retracted(retracted: &Retracted) -> String {
    let mut text = format!("retracted #{}", retracted.reading);
    if let Some(by) = retracted.by {
        let _ = write!(text, " {}", by.words());
    }
    if let Some(reason) = &retracted.reason {
        let _ = write!(text, ": {reason}");
    }
    if let Some(slot) = retracted.slot.as_ref().filter(|_| retracted.spent) {
        let _ = write!(text, "; piece {} is spent", slot.piece);
    }
    text
}

fn disturbed(disturbed: &Disturbed) -> String {
    let name = &disturbed.instrument;
    let settings = disturbed.settings.as_ref().map(|found| {
        format!("another program had set the port of {name} to {found}; it was set back")
    });
    let holders = match (disturbed.holders.as_slice(), &settings) {
        ([], Some(_)) => None,
        ([], None) => Some(format!("no other program has the port of {name} open now")),
        (holders, _) => Some(format!(
            "another program also reads the port of {name}, {}: bytes may be missing, so its readings do not count",
            holders.join(" and ")
        )),
    };
    let said: Vec<String> = settings.into_iter().chain(holders).collect();
    said.join("; ")
}

/// The verdict on a value of this axis: `PASS`, `FAIL: too narrow`, `UNSURE: near the lower limit`.
pub fn verdict(verdict: Verdict, axis: &AxisName, limits: &Limits) -> String {
    let (below, above) = axis.beyond(limits.dimension());
    match verdict {
        Verdict::Pass => "PASS".to_owned(),
        Verdict::FailLow => format!("FAIL: {below}"),
        Verdict::FailHigh => format!("FAIL: {above}"),
        Verdict::UnsureLow => "UNSURE: near the lower limit".to_owned(),
        Verdict::UnsureHigh => "UNSURE: near the upper limit".to_owned(),
        Verdict::Measured => "measured".to_owned(),
    }
}

/// Reservations after an outcome: ` (calibration overdue, repair-class tool)`; empty if there are none.
pub fn beside(reservations: &[Reservation]) -> String {
    match reservations {
        [] => String::new(),
        some => format!(" ({})", reservation::words(some)),
    }
}

/// Numbers of a tally that are not zero: `5 passed, 1 failed, 1 retracted`.
pub fn tally(tally: Tally) -> String {
    let parts = [
        (tally.passed, "passed"),
        (tally.failed, "failed"),
        (tally.unsure, "unsure"),
        (tally.measured, "measured"),
        (tally.doubted, "doubted"),
        (tally.retracted, "retracted"),
        (tally.not_counted, "not counted"),
    ];
    let said: Vec<_> = parts
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| format!("{n} {what}"))
        .collect();
    if said.is_empty() {
        "no readings".to_owned()
    } else {
        said.join(", ")
    }
}

/// ` after 2 readings were retracted`, or empty. Measuring until a piece passes must be visible.
pub fn after(tally: Tally) -> String {
    match tally.retracted {
        0 => String::new(),
        1 => " after 1 reading was retracted".to_owned(),
        n => format!(" after {n} readings were retracted"),
    }
}

fn armed(spec: &ArmedSpec) -> String {
    let mut text = format!("armed {}", spec.plan.as_deref().unwrap_or("(inline)"));
    let (comma, counted) = match spec.subject.crimp() {
        Some(crimp) => {
            let _ = write!(text, ": {} on {}", crimp.terminal, crimp.wire);
            (",", "pieces")
        }
        None => (":", "times each"),
    };
    for (nth, axis) in spec.axes.iter().enumerate() {
        let comma = if nth == 0 { comma } else { "," };
        let _ = write!(text, "{comma} {} {}", axis.name.words(), axis.limits);
        text.push_str(&ratios(axis));
    }
    let _ = write!(
        text,
        ", {} {counted}, {}",
        spec.pieces,
        spec.purpose.name().replace('_', " ")
    );
    if let Some(job) = &spec.job {
        let _ = write!(text, ", {}", said::job(job));
    }
    for material in Material::ALL {
        if let Some(lot) = spec.lots.of(material) {
            let _ = write!(text, ", {} lot {lot}", material.name());
        }
    }
    if let Some(tool) = &spec.tool {
        let _ = write!(text, ", tool {} ({})", tool.id, tool.class.name());
        if let Some(nest) = &tool.nest {
            let _ = write!(text, " nest {nest}");
        }
    }
    let instruments: Vec<_> = spec
        .instruments
        .iter()
        .map(|instrument| instrument.name.as_str())
        .collect();
    let _ = write!(text, ", with {}", instruments.join(" and "));
    if let Some(operator) = &spec.operator {
        let _ = write!(text, ", by {operator}");
    }
    for zero in &spec.opening_zeros {
        let _ = write!(text, ", opened by zero #{}", zero.zeroed);
    }
    text
}

/// Test uncertainty ratio of each instrument on the axis: ` (TUR 1.97 by caliper-1)`.
fn ratios(axis: &ArmedAxis) -> String {
    let said: Vec<_> = axis
        .guards
        .iter()
        .filter_map(|guard| {
            let ratio = guard.test_uncertainty_ratio_hundredths?;
            let (whole, part) = (ratio / 100, ratio % 100);
            Some(format!("TUR {whole}.{part:02} by {}", guard.instrument))
        })
        .collect();
    if said.is_empty() {
        return String::new();
    }
    format!(" ({})", said.join(", "))
}

/// The tool in words: `T-07 (production), nest 2.0`.
pub fn tool(tool: &ToolInHand) -> String {
    let nest = tool.nest.as_deref().map(|nest| format!(", nest {nest}"));
    let nest = nest.unwrap_or_default();
    format!("{} ({}){nest}", tool.id, tool.class.name())
}

fn completed(completed: &Completed) -> String {
    let Completed {
        series,
        outcome,
        tally,
        resumable,
        ..
    } = completed;
    let resumable = if *resumable {
        "; it can be resumed until something is measured"
    } else {
        ""
    };
    format!(
        "series {series} {}{}{}: {}{resumable}",
        self::outcome(*outcome),
        beside(completed.reservations()),
        after(*tally),
        self::tally(*tally)
    )
}

fn zeroed(zeroed: &Zeroed) -> String {
    let verdict = if zeroed.ok {
        "good"
    } else {
        "OFF: clean the jaws and zero again"
    };
    format!(
        "{} zero of {}: {}, {verdict}",
        zeroed.role.name(),
        zeroed.instrument,
        zeroed.value
    )
}

fn reading(reading: &Reading) -> String {
    let mut text = String::new();
    if let Some(slot) = &reading.slot {
        match &slot.crimp {
            Some(crimp) => {
                let _ = write!(text, "{} {}, ", crimp.terminal, crimp.wire.area);
                let _ = write!(text, "piece {} {}: ", slot.piece, slot.axis.words());
            }
            None => {
                let _ = write!(text, "{} time {}: ", slot.axis.words(), slot.piece);
            }
        }
    }
    let _ = write!(text, "{}", reading.value);
    match &reading.standing {
        Standing::Counted => {
            let slot = reading.slot.as_ref();
            if let Some(deviation) = slot.and_then(|slot| slot.deviation) {
                let _ = write!(text, " ({})", signed(deviation));
            }
            let judged = slot.and_then(|slot| Some((slot, slot.verdict?)));
            if let Some((slot, verdict)) = judged {
                let said = self::verdict(verdict, &slot.axis, &slot.limits);
                let between = match verdict {
                    Verdict::Pass => " within",
                    Verdict::Measured => ",",
                    Verdict::FailLow
                    | Verdict::FailHigh
                    | Verdict::UnsureLow
                    | Verdict::UnsureHigh => ", limits",
                };
                let _ = write!(text, " {said}{between} {}", slot.limits);
            }
        }
        Standing::NotCounted { reason, hint } => {
            let _ = write!(text, " not counted, {}", reason.name().replace('_', " "));
            if let Some(hint) = hint {
                let _ = write!(text, ": {hint}");
            }
        }
    }
    text
}

fn signed(deviation: Quantity) -> String {
    if deviation.base() < 0 {
        deviation.to_string()
    } else {
        format!("+{deviation}")
    }
}

fn unread(unread: &Unread) -> String {
    let times = if unread.times > 1 {
        format!(" in {} runs", unread.times)
    } else {
        String::new()
    };
    let remedy = unread
        .remedy
        .as_deref()
        .map(|remedy| format!("; {remedy}"))
        .unwrap_or_default();
    let shown = String::from_utf8_lossy(unread.raw.get(..24).unwrap_or(&unread.raw)).into_owned();
    format!(
        "{} bytes of {}{times} could not be read ({shown:?}): {}{remedy}",
        unread.bytes, unread.instrument, unread.reason
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Noted, Seq};
    use crate::quantity::WallMicros;

    fn noted(text: &str) -> Stamped {
        let entry = Entry::from(Noted {
            station: "bench-1".to_owned(),
            series: None,
            text: text.to_owned(),
        });
        Stamped {
            token: None,
            seq: Seq(42),
            at: WallMicros(0),
            entry,
        }
    }

    #[test]
    fn a_verdict_says_what_is_wrong_with_the_piece_by_its_axis() {
        for (axis, limits, low, high) in [
            (
                "core_crimp_width",
                "2.40 ±0.10 mm",
                "too narrow",
                "too wide",
            ),
            (
                "insulation_crimp_height",
                "1.62 ±0.05 mm",
                "too low",
                "too high",
            ),
            ("strip_length", "4.0 ±0.5 mm", "too short", "too long"),
            ("bellmouth", "0.4 ±0.2 mm", "too small", "too large"),
            ("pull_force", ">= 180 N", "too weak", "too strong"),
            ("latch_load", ">= 180 N", "too weak", "too strong"),
        ] {
            let (axis, limits) = (AxisName::new(axis), limits.parse().unwrap());
            let said = |verdict| super::verdict(verdict, &axis, &limits);
            assert_eq!(said(Verdict::Pass), "PASS");
            assert_eq!(said(Verdict::FailLow), format!("FAIL: {low}"));
            assert_eq!(said(Verdict::FailHigh), format!("FAIL: {high}"));
            assert_eq!(said(Verdict::UnsureLow), "UNSURE: near the lower limit");
            assert_eq!(said(Verdict::UnsureHigh), "UNSURE: near the upper limit");
        }
    }

    #[test]
    fn a_line_says_when_which_where_and_what() {
        assert_eq!(
            line(&noted("strands nicked")),
            "1970-01-01T00:00:00Z #42 bench-1: note: strands nicked"
        );
    }

    #[test]
    fn what_came_from_outside_cannot_steer_the_terminal_or_start_a_line() {
        let hostile = line(&noted("a\x1b[2J\nb\u{202e}c\r\u{9b}31m\u{2028}"));
        assert_eq!(
            hostile,
            "1970-01-01T00:00:00Z #42 bench-1: note: a\\u{1b}[2J\\nb\\u{202e}c\\r\\u{9b}31m\\u{2028}"
        );
    }
}
