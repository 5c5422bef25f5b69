//! Days and times without an offset are local, in every command that chooses readings by time.

use crate::harness::Shop;
use crate::report::made::lines;
use crate::station::desk::Desk;
use std::fs;
use std::process::Output;
use std::time::Duration;
use tallyjaw::station::Command;

const VIENNA: &str = "Europe/Vienna";
/// The same rule without a name.
const RULE: &str = "CET-1CEST,M3.5.0,M10.5.0/3";

/// A journal with a note every half hour of the three days around a change of the clock in Vienna.
fn shop(middle: &str) -> Shop {
    let mut desk = Desk::new();
    let middle: jiff::Timestamp = middle.parse().unwrap();
    let hours = |hours: i64| Duration::from_secs(hours.unsigned_abs() * 3600);
    let begin = middle - hours(36);
    desk.set_clock(begin.as_second() - 1_764_000_000);
    for note in 0..144 {
        desk.command(Command::Note {
            station: None,
            text: format!("note {note}"),
        })
        .unwrap();
        desk.wait(Duration::from_secs(1800));
    }
    let shop = Shop::new();
    fs::create_dir_all(shop.path("state/journal")).unwrap();
    let mut journal = lines(&desk.entries).join(&b'\n');
    journal.push(b'\n');
    fs::write(shop.path("state/journal/00000001.jsonl"), journal).unwrap();
    shop
}

fn run(shop: &Shop, zone: &str, arguments: &[&str]) -> Output {
    let mut command = shop.tallyjaw(arguments);
    let command = command.current_dir(shop.dir.path()).env("TZ", zone);
    command.output().unwrap()
}

/// The number of notes in this time, and the time of the first.
fn notes(shop: &Shop, zone: &str, since: &str, until: &str) -> (usize, String) {
    let output = run(
        shop,
        zone,
        &["export", "jsonl", "--since", since, "--until", until],
    );
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(0), "{said}");
    let text = String::from_utf8(output.stdout).unwrap();
    let entries = text
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
    let notes: Vec<_> = entries.filter(|entry| entry["kind"] == "noted").collect();
    let first = notes.first().map(|first| first["at"].as_str().unwrap());
    let first = first.unwrap_or_default().get(..16).unwrap_or_default();
    (notes.len(), first.to_owned())
}

#[test]
fn a_day_on_which_the_clock_is_set_is_taken_whole() {
    let spring = shop("2026-03-29T00:10:00Z");
    for zone in [VIENNA, RULE] {
        let day = |day: &str, next: &str| notes(&spring, zone, day, next);
        let (notes, first) = day("2026-03-29", "2026-03-30");
        assert_eq!((notes, first.as_str()), (46, "2026-03-28T23:10"));
        assert_eq!(day("2026-03-28", "2026-03-29").0, 48);
    }
    assert_eq!(notes(&spring, "UTC", "2026-03-29", "2026-03-30").0, 48);
    // with an offset the zone does not matter
    for zone in [VIENNA, "UTC", "America/Lima"] {
        let (since, until) = ("2026-03-29T00:00+01:00", "2026-03-29T22:00Z");
        assert_eq!(notes(&spring, zone, since, until).0, 46);
    }
    let autumn = shop("2026-10-25T00:10:00Z");
    assert_eq!(notes(&autumn, VIENNA, "2026-10-25", "2026-10-26").0, 50);
    let (since, until) = ("2026-10-25T02:00:00+02:00", "2026-10-25T02:00:00+01:00");
    assert_eq!(notes(&autumn, VIENNA, since, until).0, 2);
}

#[test]
fn a_local_time_that_does_not_exist_or_comes_twice_is_refused_with_what_to_write() {
    let shop = shop("2026-10-25T00:10:00Z");
    for (time, wants) in [
        (
            "2026-10-25T02:30",
            "2026-10-25T02:30+02:00 or 2026-10-25T02:30+01:00",
        ),
        (
            "2026-03-29T02:30",
            "2026-03-29T02:30+01:00 or 2026-03-29T02:30+02:00",
        ),
    ] {
        for command in ["series", "report", "study describe", "export csv"] {
            let words: Vec<&str> = command.split(' ').collect();
            let refused = run(&shop, VIENNA, &[&words[..], &["--since", time]].concat());
            let said = String::from_utf8(refused.stderr).unwrap();
            assert_eq!(refused.status.code(), Some(2), "{command}: {said}");
            assert!(said.contains(wants), "{command}: {said}");
        }
        let taken = run(&shop, "UTC", &["series", "--since", time]);
        assert_eq!(taken.status.code(), Some(0), "it exists once in UTC");
    }
}
