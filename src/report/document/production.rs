//! The sheet of a production run: the disposition of its crimps, its time line, its samples, and the decisions about
//! held crimps.

use super::table::{Table, number, shape, td, th};
use super::{List, closing, head, id, part, subject_nodes};
use crate::entry::production::fold::Says;
use crate::entry::production::history::{RunRecord, SampleRecord};
use crate::entry::words::{cause, every, settlement};
use crate::entry::{RunEnd, Seq};
use crate::markup::{Element, el, free};
use crate::report::run_line::time_line;
use crate::report::{Report, words};
use crate::spec::Settlement;

/// The cover of the samples of a production run.
pub(super) fn sheet(report: &Report, run: &RunRecord) -> Element {
    let mut heading = el("h1")
        .about("the heading")
        .child(free(run.settings.id.as_str()));
    if let Some(first) = report.series.first() {
        heading = heading.text(": ").children(subject_nodes(first));
    }
    let mut held = Vec::new();
    let about = [self::held(report, run), settled(report, run)];
    held.extend(about.into_iter().flatten());
    let mut sheet = el("article")
        .class("sheet cover")
        .child(head::letterhead(report, &format!("Run {}", run.id)))
        .child(heading)
        .child(outcome(run))
        .child(facts(report, run))
        .child(part(2, "Crimps", [counts(run), not_measured()]))
        .children(time_line(report, run).map(|line| part(2, "Time line", [line])))
        .child(part(2, "Samples", [samples(report, run)]).with("id", "series"));
    if !held.is_empty() {
        sheet = sheet.child(part(2, "Held", held));
    }
    sheet
        .child(closing::not_shown(report, 2))
        .child(closing::how_to_check(report, 2))
        .child(closing::signature())
}

/// The disposition of the crimps, in a sentence.
pub(super) fn in_words(run: &RunRecord) -> String {
    let (held, open) = (run.held(), run.open());
    let crimps = |count: u64| words::count(usize::try_from(count).unwrap_or(usize::MAX), "crimp");
    match (held, open) {
        (0, 0) if run.vouched == run.crimps => {
            format!("good samples vouch for all of {}", crimps(run.crimps))
        }
        (0, 0) => format!(
            "good samples vouch for {} of {}; the others were held, and a person settled them",
            run.vouched,
            crimps(run.crimps)
        ),
        (0, open) => format!("{} open: no sample has decided about them", crimps(open)),
        (held, _) => format!("{} held and not settled", crimps(held)),
    }
}

fn outcome(run: &RunRecord) -> Element {
    let (class, mark, word) = match (run.held(), run.open()) {
        (0, 0) if run.vouched == run.crimps => ("pass", "✓", "VOUCHED FOR".to_owned()),
        (0, 0) => ("pass", "✓", "SETTLED".to_owned()),
        (0, open) => ("unsure", "?", format!("{open} OPEN")),
        (held, _) => ("fail", "✗", format!("{held} HELD")),
    };
    el("p")
        .class(format!("outcome {class}"))
        .about("the outcome of the run")
        .child(shape(mark))
        .child(el("strong").text(word))
        .text(" ")
        .child(el("span").text(format!("{}.", super::capital(&in_words(run)))))
}

fn facts(report: &Report, run: &RunRecord) -> Element {
    let zone = &report.asked.zone;
    let mut list = List::new("the head");
    if let Some(job) = head::shared_job(report) {
        head::of_job(job, &mut list);
    }
    list.put_free("Station", run.station.as_str());
    list.put("Opened", run.opened.local(zone));
    let closed = match &run.closed {
        None => "not yet".to_owned(),
        Some(closed) => {
            let by = match closed.end {
                RunEnd::LastOff => "by its last-off",
                RunEnd::AnotherRun => "by the first-off of another run",
            };
            format!("{} {by}, series {}", closed.at.local(zone), closed.series)
        }
    };
    list.put("Closed", closed);
    list.put("A sample", every(&run.settings));
    if !run.due.is_empty() {
        let due: Vec<String> = run.due.iter().map(|at| at.local(zone)).collect();
        list.put("Overdue by time", due.join(", "));
    }
    head::made(report, &mut list);
    list.element.class("head")
}

/// The counts; each crimp is in one of them.
fn counts(run: &RunRecord) -> Element {
    let heads = &[
        "Counted",
        "Vouched for",
        "Held",
        "Released",
        "To rework",
        "Scrapped",
        "Open",
    ];
    let mut table = Table::new(
        "counts",
        "The crimps of this run; each but those counted stands in one column",
        heads,
    );
    let [released, reworked, scrapped] = Settlement::ALL.map(|how| run.settled(how));
    let counts = [
        run.crimps,
        run.vouched,
        run.held(),
        released,
        reworked,
        scrapped,
        run.open(),
    ];
    let cells = counts.map(|count| number(count.to_string()));
    table.row("the counts", cells.into());
    table.element()
}

fn not_measured() -> Element {
    el("p").class("small").text(
        "A crimp that a good sample vouches for was counted and not measured: it was made between that sample and the good one before.",
    )
}

fn samples(report: &Report, run: &RunRecord) -> Element {
    let heads = &[
        "Series",
        "Part",
        "Closed",
        "Crimps by then",
        "Says",
        "Vouches for",
    ];
    let mut table = Table::new("samples", "The samples of this run", heads);
    for sample in &run.samples {
        table.row(
            &format!("the samples, series {}", sample.series),
            vec![
                th(series(report, sample.series)),
                td(sample.role.name().replace('_', "-")),
                td(sample.at.local(&report.asked.zone)),
                number(sample.crimps.to_string()),
                says(sample),
                td(vouched(sample)),
            ],
        );
    }
    table.element()
}

/// The number of a series, as a link to its sheet.
fn series(report: &Report, series: Seq) -> Element {
    let of_it = report.series.iter();
    let mut of_it = of_it.filter(|facts| facts.record.series.id == series);
    match of_it.next() {
        Some(facts) => el("a")
            .with("href", format!("#{}", id(facts)))
            .text(series.to_string()),
        None => el("span").text(series.to_string()),
    }
}

fn says(sample: &SampleRecord) -> Element {
    let (class, mark, word) = match sample.says {
        Says::Good => ("pass", "✓", "good"),
        Says::Bad => ("fail", "✗", "bad"),
        Says::Nothing => ("unsure", "?", "nothing"),
    };
    el("td").class(class).child(shape(mark)).text(word)
}

fn vouched(sample: &SampleRecord) -> String {
    let vouched = sample.vouched;
    vouched.map_or_else(
        || "–".to_owned(),
        |(first, last)| format!("{first} to {last}"),
    )
}

/// The held crimps; `None` if none were.
fn held(report: &Report, run: &RunRecord) -> Option<Element> {
    let heads = &[
        "Entry",
        "When",
        "Crimps",
        "How many",
        "Why",
        "Series",
        "Not settled",
    ];
    let mut table = Table::new("holds", "Crimps that were held", heads);
    for (by, at, hold) in &run.holds {
        table.row(
            &format!("held by entry {by}"),
            vec![
                th(by.to_string()),
                td(at.local(&report.asked.zone)),
                td(format!("{} to {}", hold.first, hold.last)),
                number(hold.size().to_string()),
                td(cause(hold.cause)),
                el("td").child(series(report, hold.series)),
                number(hold.left().to_string()),
            ],
        );
    }
    (!table.is_empty()).then(|| table.element())
}

/// The decisions about held crimps; `None` if none were held.
fn settled(report: &Report, run: &RunRecord) -> Option<Element> {
    let heads = &[
        "Entry",
        "When",
        "Of those held by",
        "How many",
        "Decision",
        "By",
        "Reason",
    ];
    let mut table = Table::new("settlements", "What a person decided about them", heads);
    for (seq, at, settled) in &run.settlements {
        let who = settled.operator.as_deref().unwrap_or("not named");
        table.row(
            &format!("the decision of entry {seq}"),
            vec![
                th(seq.to_string()),
                td(at.local(&report.asked.zone)),
                td(settled.held.to_string()),
                number(settled.crimps.to_string()),
                td(settlement(settled.settlement)),
                el("td").child(free(who)),
                el("td").child(free(settled.reason.as_str())),
            ],
        );
    }
    (!table.is_empty()).then(|| table.element())
}
