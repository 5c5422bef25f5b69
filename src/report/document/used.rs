//! What a series was measured with: instruments, their calibrations and checks, and zeros.

use super::about;
use super::table::{Table, td, th};
use crate::entry::{Outcome, Seq, Zeroed};
use crate::markup::{Element, Node, el, free};
use crate::quantity::{Measured, WallMicros};
use crate::report::facts::{Facts, ReportReading};
use crate::report::gather::Verification;
use crate::report::words;
use crate::spec::ArmedInstrument;

/// Zeros of one instrument that a line has room for.
const MOST_ZEROS: usize = 6;

pub(super) fn part(facts: &Facts, level: usize) -> Element {
    let mut said = vec![instruments(facts)];
    said.extend(papers(facts));
    said.push(zeros(facts));
    super::part(level, "Measured with", said)
}

/// `caliper-1: serial number 20417-B; certificate K 2026-0311; data sheet DS-12`, for instruments about which one of
/// these is known.
fn papers(facts: &Facts) -> Option<Element> {
    let instruments = facts.record.series.spec.instruments.iter();
    let lines = instruments.filter_map(|known| {
        let papers = &known.papers;
        let said = [
            ("serial number", &papers.serial),
            ("certificate", &papers.certificate),
            ("data sheet", &papers.maker_sheet),
        ];
        let said = said
            .into_iter()
            .filter_map(|(word, says)| Some((word, says.as_ref()?)));
        let said = said.enumerate().flat_map(|(nth, (word, says))| {
            let between = if nth == 0 { "" } else { "; " };
            let word = format!("{between}{word} ");
            [Node::from(word), free(says.as_str()).into()]
        });
        let said: Vec<Node> = said.collect();
        let name = el("strong").child(free(known.name.as_str())).text(": ");
        let about = format!("{}, the papers of {}", about(facts), known.name);
        (!said.is_empty()).then(|| el("p").about(about).child(name).children(said))
    });
    let lines: Vec<Element> = lines.collect();
    (!lines.is_empty()).then(|| el("div").class("papers").children(lines))
}

fn instruments(facts: &Facts) -> Element {
    let heads = &[
        "Instrument",
        "Resolution",
        "Maximum permissible error",
        "Calibrated",
        "Valid until",
        "Last verification",
    ];
    let mut table = Table::new(
        "instruments",
        "Instruments, as configured when the series was opened",
        heads,
    );
    for known in &facts.record.series.spec.instruments {
        let about = format!("{}, instrument {}", about(facts), known.name);
        let error = known.max_error.map(|error| format!("±{error}"));
        table.row(
            &about,
            vec![
                th(free(known.name.as_str())),
                td(known.resolution.to_string()),
                td(error.unwrap_or_else(|| "not said".to_owned())),
                td(known
                    .care
                    .calibrated
                    .map_or("not said".to_owned(), |day| day.to_string())),
                due(facts, known).unwrap_or_else(|| td("not said")),
                td(verification(facts, known)),
            ],
        );
    }
    table.element()
}

/// The last day of a calibration, and whether the series was closed after it.
fn due(facts: &Facts, known: &ArmedInstrument) -> Option<Element> {
    let due = known.care.calibration_due?;
    let series = &facts.record.series;
    let closed = series.closed.as_ref().map(|closed| closed.at);
    Some(if due.is_over(closed.unwrap_or(series.opened)) {
        el("td").class("fail").text(format!("{due}, overdue"))
    } else {
        td(due.to_string())
    })
}

/// `accepted on 2026-11-02 (series 12); worst error +0.01 mm, at 2.50 mm`.
fn verification(facts: &Facts, known: &ArmedInstrument) -> String {
    let Some(verified) = known.verified else {
        return "none in this journal".to_owned();
    };
    let found = facts.record.verified.iter();
    let mut found = found.filter(|found| found.instrument == known.name);
    let found = found.find(|found| found.series.0 == verified.series);
    let said = match (found.map(|found| found.outcome), verified.accepted) {
        (Some(Outcome::Undecided), _) => "undecided",
        (_, true) => "accepted",
        (_, false) => "failed",
    };
    let at = verified.at.local(&facts.zone);
    format!(
        "{said} on {at} (series {}){}",
        verified.series,
        found.and_then(worst).unwrap_or_default()
    )
}

fn worst(found: &Verification) -> Option<String> {
    let (error, block) = found.worst?;
    let text = words::signed(error, &error.to_string());
    Some(format!("; worst error {text}, at {block}"))
}

/// The port and adapter of each instrument at that time.
pub(super) fn ports(facts: &Facts) -> Vec<Element> {
    let about = about(facts);
    let ports = facts.record.ports.iter().map(|port| {
        let identity = port
            .identity
            .as_deref()
            .unwrap_or("an adapter without identity");
        el("p")
            .class("fine")
            .about(format!("{about}, the port of {}", port.instrument))
            .child(free(port.instrument.as_str()))
            .text(" was read at ")
            .child(free(port.port.as_str()))
            .text(format!(", {}, ", port.line))
            .child(free(identity))
            .text(".")
    });
    ports.collect()
}

/// One line for each instrument: its zeros, and which readings they vouch for.
fn zeros(facts: &Facts) -> Element {
    let names = facts.record.series.spec.instruments.iter();
    let all = facts.zeros();
    let lines = names.filter_map(|known| {
        let own = all.iter().filter(|(_, _, it)| it.instrument == known.name);
        let own: Vec<_> = own.collect();
        let off = own.iter().filter(|(_, _, zeroed)| !is_good(zeroed)).count();
        let (said, shown) = match own.len() {
            0 => return None,
            1..=MOST_ZEROS => (String::new(), own),
            many => (
                format!("{many} zeros, {off} off, the first and the last of them: "),
                own.first().into_iter().chain(own.last()).copied().collect(),
            ),
        };
        let mut line = el("p")
            .class("zeros")
            .child(
                el("strong")
                    .text("Zeros of ")
                    .child(free(known.name.as_str())),
            )
            .text(format!(": {said}"));
        for (nth, zero) in shown.into_iter().enumerate() {
            line = line.text(if nth == 0 { "" } else { "; " });
            line = line.child(zero_line(facts, zero));
        }
        Some(line)
    });
    el("div").class("vouched").children(lines).child(
        el("p")
            .about(format!("{}, what the zeros vouch for", about(facts)))
            .text(vouched(facts)),
    )
}

fn is_good(zeroed: &Zeroed) -> bool {
    zeroed.ok && zeroed.opening.is_none()
}

/// `opening 16:00:09, 0.00 mm, good`.
fn zero_line(facts: &Facts, (seq, at, zeroed): &(Seq, WallMicros, &Zeroed)) -> Element {
    let about = format!("{}, zero {seq}", about(facts));
    let class = if is_good(zeroed) { "zero" } else { "zero fail" };
    el("span")
        .class(class)
        .about(about.as_str())
        .text(format!(
            "{} {}, ",
            words::zero_role(zeroed.role),
            words::time_of_day(*at, facts)
        ))
        .child(
            el("span")
                .about(format!("{about}, shown"))
                .text(zeroed.value.to_string()),
        )
        .text(format!(", {}", result(zeroed)))
}

fn result(zeroed: &Zeroed) -> String {
    match (zeroed.ok, zeroed.opening) {
        (true, None) => "good".to_owned(),
        (_, Some(opening)) => format!("OFF: set with the jaws open by {opening}"),
        (false, None) => "OFF".to_owned(),
    }
}

/// Every zero, for the appendix.
pub(super) fn zeros_table(facts: &Facts) -> Element {
    let heads = &["Entry", "Time", "Instrument", "Zero", "Shown", "Result"];
    let mut table = Table::new("zeros", "Every zero", heads);
    for (seq, at, zeroed) in facts.zeros() {
        let about = format!("{}, zero {seq} in the appendix", about(facts));
        let class = if is_good(zeroed) { "pass" } else { "fail" };
        table.row(
            &about,
            vec![
                th(seq.to_string()),
                td(words::time_of_day(at, facts)),
                el("td").child(free(zeroed.instrument.as_str())),
                td(words::zero_role(zeroed.role)),
                el("td").class("n").text(zeroed.value.to_string()),
                el("td").class(class).text(result(zeroed)),
            ],
        );
    }
    if table.is_empty() {
        return el("p").text("No zero was taken.");
    }
    table.element()
}

/// What the zeros say about the readings.
fn vouched(facts: &Facts) -> String {
    let names = facts.record.series.spec.instruments.iter();
    let followed: Vec<_> = names.map(|known| (known, followed(facts, known))).collect();
    let shaken = followed.iter().filter_map(|(known, followed)| {
        let (seq, shown) = followed.off?;
        Some(format!(
            "A zero of {} that was off, {shown} at entry {seq}, came between readings that count and the next good zero: nothing vouches for those before it.",
            known.name
        ))
    });
    let mut said: Vec<String> = shaken.collect();
    let open = followed.iter().filter(|(_, followed)| followed.open);
    let open: Vec<&str> = open.map(|(known, _)| known.name.as_str()).collect();
    if !open.is_empty() {
        said.push(format!(
            "No good zero followed the last readings of {}: nothing vouches for those since the last good one.",
            open.join(" and ")
        ));
    }
    if facts.readings.iter().all(|row| row.verdict().is_none()) {
        return "No reading counts, so the zeros vouch for none.".to_owned();
    }
    if said.is_empty() {
        let limit = facts.record.series.spec.zero.limit_counts;
        said.push(format!(
            "Every reading that counts was followed by a good zero, at most {} of the resolution from 0.",
            words::count(usize::try_from(limit).unwrap_or(usize::MAX), "step")
        ));
    }
    said.join(" ")
}

/// The zeros after the counted readings of an instrument.
#[derive(Default)]
struct Followed {
    /// No zero came after the last reading.
    open: bool,
    /// The first zero after some of them was this one, and it was off.
    off: Option<(Seq, Measured)>,
}

fn followed(facts: &Facts, known: &ArmedInstrument) -> Followed {
    let zeros = facts.zeros();
    let zeros = zeros
        .iter()
        .filter(|(_, _, zeroed)| zeroed.instrument == known.name);
    let zeros = zeros.map(|(seq, _, zeroed)| {
        let is_good = zeroed.ok && zeroed.opening.is_none();
        (*seq, (!is_good).then_some(zeroed.value))
    });
    // Older journals have a zero that was off as a reading.
    let rows = facts.readings.iter();
    let rows = rows.filter(|row| *row.reading.instrument == known.name);
    let attempts = rows.clone().filter(|row| is_attempt(facts, known, row));
    let attempts = attempts.map(|row| (row.seq, Some(row.reading.value)));
    let mut zeros: Vec<_> = zeros.chain(attempts).collect();
    zeros.sort_by_key(|(seq, _)| *seq);
    let mut found = Followed::default();
    for row in rows.filter(|row| row.verdict().is_some()) {
        let next = zeros.partition_point(|(seq, _)| *seq <= row.seq);
        match zeros.get(next) {
            None => found.open = true,
            Some((_, None)) => {}
            Some((seq, Some(shown))) => found.off = found.off.or(Some((*seq, *shown))),
        }
    }
    found
}

/// Whether a value that was entered as a reading can only have been a zero that was off.
fn is_attempt(facts: &Facts, known: &ArmedInstrument, row: &ReportReading) -> bool {
    let within = facts.record.series.spec.attempts_within(known);
    let limit = i64::from(facts.record.series.spec.zero.limit_counts)
        .saturating_mul(known.resolution.base());
    let off_by = row.base().saturating_abs();
    let is_shown = row.base().checked_rem(known.resolution.base()) == Some(0);
    is_shown && off_by > limit && within.is_some_and(|within| off_by <= within)
}
