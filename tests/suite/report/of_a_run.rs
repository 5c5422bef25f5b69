//! The report of a production run: its counts and its time line are made again from the journal too.

use super::forged::no_change_is_unnoticed;
use super::made::{kept_lines, lines, request};
use super::{checkable, pages};
use crate::golden;
use crate::station::desk::Desk;
use crate::station::production::{BAD, GOOD, count, sample, settle, shop};
use std::fs;
use std::time::Duration;
use tallyjaw::entry::line::Digest;
use tallyjaw::entry::{Entry, ProductionEntry, Seq, Stamped};
use tallyjaw::quantity::Zone;
use tallyjaw::report::{Gathered, Gathering, Report, ReportRequest};
use tallyjaw::spec::Settlement;

/// A run whose second sample is bad: what it holds is released, scrapped and reworked, and some is left.
fn day() -> (Vec<Stamped>, Seq) {
    let mut desk = Desk::with(shop());
    sample(&mut desk, "day-first_off", GOOD);
    for (crimps, values) in [(100, GOOD), (90, BAD), (20, GOOD), (60, GOOD)] {
        desk.wait(Duration::from_secs(1_800));
        count(&mut desk, crimps).unwrap();
        sample(&mut desk, "day-in_process", values);
    }
    let held: Vec<Seq> = desk
        .entries
        .iter()
        .filter(|stamped| matches!(stamped.entry, Entry::Production(ProductionEntry::Held(_))))
        .map(|stamped| stamped.seq)
        .collect();
    let [bad, after] = held[..] else {
        panic!("{held:?}");
    };
    settle(&mut desk, Some(bad), Some(50), Settlement::Release).unwrap();
    settle(&mut desk, Some(bad), Some(3), Settlement::Scrap).unwrap();
    settle(&mut desk, Some(after), None, Settlement::Rework).unwrap();
    let opened = desk.entries.iter().find(|stamped| {
        matches!(
            stamped.entry,
            Entry::Production(ProductionEntry::RunOpened(_))
        )
    });
    let run = opened.unwrap().seq;
    (desk.entries, run)
}

fn gathered(entries: &[Stamped], run: Seq) -> Gathered {
    let gathering = Gathering::new(|_, _, spec| spec.sample.is_some());
    let mut gathering = gathering.with_run(Some(run));
    for (stamped, line) in entries.iter().zip(lines(entries)) {
        gathering.take(stamped, Digest::of(&line));
    }
    gathering.finish().unwrap()
}

fn report(entries: &[Stamped], run: Seq) -> Report {
    Report::new(gathered(entries, run), request(Zone::UTC))
}

#[test]
fn a_checkable_page_of_a_run_holds_every_line_that_its_counts_come_from() {
    let (mut entries, run) = day();
    for open in [false, true] {
        if open {
            let settled = entries.iter().position(|it| it.entry.kind() == "settled");
            entries.truncate(settled.unwrap());
        }
        let gathered = gathered(&entries, run);
        let lines = kept_lines(&gathered, &entries);
        let asked = ReportRequest {
            lines,
            ..request(Zone::UTC)
        };
        let page = Report::new(gathered, asked).html();
        let name = if open {
            "open_run.html"
        } else {
            "production_run.html"
        };
        fs::write(checkable::folder().join(name), &page).unwrap();
        let last = entries.last().unwrap().seq;
        assert!(page.contains(&format!("data-about=\"entry {last}, its line\"")));
    }
}

#[test]
fn a_run_stands_on_its_page_with_what_became_of_each_crimp() {
    let (entries, run) = day();
    let page = report(&entries, run).html();
    fs::write(pages().join("production_run.html"), &page).unwrap();
    golden::assert_same("report/production_run.html", &page);
}

#[test]
fn no_count_and_no_part_of_the_time_line_can_be_changed_unnoticed() {
    let (entries, run) = day();
    no_change_is_unnoticed(&report(&entries, run).html(), &entries);
}
