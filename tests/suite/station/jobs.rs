//! Jobs and lots: by card and command, kept at the station, in every series and with every reading.

use super::desk::{Desk, HEIGHT, catalog, plan};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::time::Duration;
use tallyjaw::entry::{Entry, JournalId, Means, Refused, SaidEntry, Seq};
use tallyjaw::row::{Gather, Row};
use tallyjaw::spec::{
    Ask, AxisName, Catalog, Job, KnownJob, Lots, Material, Plan, Signal, SignalKind, ZeroPolicy,
};
use tallyjaw::station::{Armable, Command, Input, Refusal};

fn job(id: &str) -> Job {
    Job {
        id: id.to_owned(),
        customer: None,
        item: None,
        serial: None,
        reference: None,
    }
}

fn heights(pieces: u32) -> Plan {
    Plan {
        id: Some("pump-own".to_owned()),
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        tool: None,
        nest: None,
        zero: ZeroPolicy {
            before_first: false,
            closing: false,
            ..ZeroPolicy::default()
        },
        ..plan()
    }
}

fn shop() -> Catalog {
    let known = KnownJob {
        job: Job {
            customer: Some("Example Pumps Ltd".to_owned()),
            item: Some("pump harness B".to_owned()),
            ..job("4711")
        },
        plans: vec!["pump-own".to_owned()],
    };
    let asking = Plan {
        id: Some("pump-asks".to_owned()),
        asks: Ask::ALL.to_vec(),
        ..heights(3)
    };
    Catalog {
        plans: vec![heights(3), asking],
        jobs: Some(vec![known]),
        signals: vec![Signal {
            name: "scanner-1".to_owned(),
            station: "bench-1".to_owned(),
            kind: SignalKind::Scanner { line_end: true },
        }],
        ..catalog()
    }
}

/// The kind of the entry that a card leaves, or why it was refused, with the remedy.
fn scan(desk: &mut Desk, card: &str) -> Result<&'static str, String> {
    desk.wait(Duration::from_secs(1));
    let before = desk.entries.len();
    desk.input(Input::Bytes {
        instrument: "scanner-1",
        bytes: format!("{card}\r").as_bytes(),
    });
    match &desk.entries[before..].last().unwrap().entry {
        Entry::Said(SaidEntry::Refused(Refused { reason, remedy, .. })) => {
            Err(format!("{reason}; {}", remedy.clone().unwrap_or_default()))
        }
        other => Ok(other.kind()),
    }
}

fn say(desk: &mut Desk, job: Option<Job>) -> Result<(), Refusal> {
    desk.command(Command::Job { station: None, job })
}

fn spec(desk: &Desk) -> &tallyjaw::spec::ArmedSpec {
    let station = &desk.core.state().stations["bench-1"];
    &station.series.as_ref().unwrap().spec
}

/// The warnings of the open series that are about jobs.
fn of_jobs(desk: &Desk) -> Vec<String> {
    let warnings = spec(desk).warnings.iter();
    let of_jobs = warnings.filter(|warning| warning.contains("job"));
    of_jobs.cloned().collect()
}

#[test]
fn a_job_by_card_is_completed_from_the_list_and_stays_at_the_station() {
    let mut desk = Desk::with(shop());
    assert_eq!(scan(&mut desk, "tj/job/4711/8"), Ok("job_said"));
    desk.restart();
    assert_eq!(scan(&mut desk, "tj/arm/pump-own"), Ok("armed"));
    let want = Job {
        customer: Some("Example Pumps Ltd".to_owned()),
        item: Some("pump harness B".to_owned()),
        serial: Some("8".to_owned()),
        ..job("4711")
    };
    assert_eq!(spec(&desk).job, Some(want));
    assert_eq!(of_jobs(&desk), [""; 0]);
}

#[test]
fn what_was_said_of_a_job_is_kept_for_its_next_harness_and_a_serial_number_is_not() {
    let mut desk = Desk::with(shop());
    let first = Job {
        reference: Some("PO-8832".to_owned()),
        serial: Some("8".to_owned()),
        ..job("4711")
    };
    say(&mut desk, Some(first)).unwrap();
    scan(&mut desk, "tj/job/4711").unwrap();
    let known = desk.core.state().stations["bench-1"].job.clone().unwrap();
    assert_eq!(known.reference.as_deref(), Some("PO-8832"));
    assert_eq!(known.serial, None);
}

#[test]
fn a_job_that_the_list_does_not_have_is_taken_with_a_warning_that_stays_with_the_series() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/job/4710").unwrap();
    let warning = "job 4710 is not in the list of jobs: did you mean 4711?";
    match desk.last() {
        Entry::Said(SaidEntry::JobSaid(said)) => assert_eq!(said.warning.as_deref(), Some(warning)),
        other => panic!("{other:?}"),
    }
    scan(&mut desk, "tj/arm/pump-own").unwrap();
    assert_eq!(of_jobs(&desk), [warning]);
    // a job that is known, by a plan that is not one of its own
    desk.command(Command::Disarm { station: None }).unwrap();
    scan(&mut desk, "tj/job/4711").unwrap();
    for card in [
        "operator/mara",
        "lot/terminal/R",
        "lot/wire/W",
        "tool/T-07/2.0",
    ] {
        scan(&mut desk, &format!("tj/{card}")).unwrap();
    }
    scan(&mut desk, "tj/arm/pump-asks").unwrap();
    let other = "job 4711 is measured by pump-own, this is pump-asks";
    assert_eq!(of_jobs(&desk), [other]);
}

#[test]
fn a_job_cannot_change_within_a_series_and_the_same_one_may_be_said_again() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/job/4711").unwrap();
    scan(&mut desk, "tj/arm/pump-own").unwrap();
    let id = desk.core.state().stations["bench-1"]
        .series
        .as_ref()
        .unwrap()
        .id;
    assert_eq!(
        scan(&mut desk, "tj/job/4712"),
        Err(format!(
            "series {id} is for job 4711, for Example Pumps Ltd, pump harness B, not for job 4712: a job cannot change within a series; finish that series or stop it early (tallyjaw disarm), then set the job: tj/job/4712"
        ))
    );
    assert!(scan(&mut desk, "tj/job/4711/9").is_err());
    assert!(say(&mut desk, None).is_err());
    assert_eq!(scan(&mut desk, "tj/job/4711"), Ok("job_said"));
}

#[test]
fn a_plan_that_asks_is_refused_until_all_is_said_and_the_prompt_names_the_cards() {
    let mut desk = Desk::with(shop());
    let refused = scan(&mut desk, "tj/arm/pump-asks").unwrap_err();
    assert_eq!(
        refused,
        "not set at this station, and the plan requires it: the operator, the job, the terminal lot, the wire lot and the tool; scan tj/operator/WHO, tj/job/ID, tj/lot/terminal/ID, tj/lot/wire/ID and tj/tool/ID, then start again"
    );
    assert!(
        desk.prompt().contains("scan tj/operator/WHO"),
        "{}",
        desk.prompt()
    );
    let cards = [
        "tj/operator/mara",
        "tj/job/4711",
        "tj/lot/terminal/R-2031",
        "tj/lot/wire/88-1407",
        "tj/tool/T-07/2.0",
    ];
    for left_out in 0..cards.len() {
        let mut desk = Desk::with(shop());
        for (at, card) in cards.iter().enumerate() {
            if at != left_out {
                scan(&mut desk, card).unwrap();
            }
        }
        let refused = scan(&mut desk, "tj/arm/pump-asks").unwrap_err();
        let (kind, _) = cards[left_out].rsplit_once('/').unwrap();
        let kind = kind.trim_end_matches("/T-07");
        assert!(refused.contains(&format!("scan {kind}")), "{refused}");
        scan(&mut desk, cards[left_out]).unwrap();
        assert_eq!(scan(&mut desk, "tj/arm/pump-asks"), Ok("armed"));
    }
}

#[test]
fn words_that_cannot_be_kept_are_refused() {
    let mut desk = Desk::with(shop());
    for (card, why) in [
        ("tj/job/ /8", "got \"\" for the job: empty"),
        ("tj/job/a\u{202e}b", "for the job: with"),
        (
            "tj/lot/copper/7",
            "a card of a lot, without terminal/ID or wire/ID",
        ),
        (
            "tj/lot/wire/",
            "a card of a lot, without terminal/ID or wire/ID",
        ),
        ("tj/job/", "a card of a job, without the job"),
    ] {
        let refused = scan(&mut desk, card).unwrap_err();
        assert!(refused.contains(why), "{card}: {refused}");
    }
    let long = say(&mut desk, Some(job(&"4".repeat(101)))).unwrap_err();
    assert!(
        long.to_string()
            .contains("101 characters, want at most 100"),
        "{long}"
    );
    let slash = say(&mut desk, Some(job("2026/117"))).unwrap_err();
    assert!(slash.to_string().contains("with a slash"), "{slash}");
}

/// What somebody does at the bench.
#[derive(Debug, Clone)]
enum Act {
    Job(Option<u8>, Option<u8>),
    Lot(Material, Option<u8>),
    Operator(u8),
    Arm,
    Press,
    Retract,
    Restore,
    Resume,
    Disarm,
    Kill,
    SegmentFull,
}

fn act() -> impl Strategy<Value = Act> {
    let some = || prop::option::of(0..3_u8);
    prop_oneof![
        2 => (some(), some()).prop_map(|(id, serial)| Act::Job(id, serial)),
        3 => (prop::sample::select(&Material::ALL[..]), some())
            .prop_map(|(material, lot)| Act::Lot(material, lot)),
        1 => (0..3_u8).prop_map(Act::Operator),
        3 => Just(Act::Arm),
        6 => Just(Act::Press),
        2 => Just(Act::Retract),
        1 => Just(Act::Restore),
        2 => Just(Act::Resume),
        1 => Just(Act::Disarm),
        1 => Just(Act::Kill),
        1 => Just(Act::SegmentFull),
    ]
}

/// What each reading is of: job with serial number, lots and operator.
type Of = (Option<(String, Option<String>)>, Lots, Option<String>);

/// What was said last, and of each series its job: nothing else.
#[derive(Default)]
struct Naive {
    now: Of,
    series: BTreeMap<Seq, Option<(String, Option<String>)>>,
    readings: BTreeMap<Seq, Of>,
}

fn said(name: &str, number: u8) -> String {
    format!("{name}-{number}")
}

fn open(desk: &Desk) -> Option<Seq> {
    let station = desk.core.state().stations.get("bench-1")?;
    Some(station.series.as_ref()?.id)
}

impl Naive {
    fn act(&mut self, desk: &mut Desk, act: &Act) {
        let before = desk.entries.len();
        let of_series = open(desk).map(|id| self.series[&id].clone());
        match act {
            Act::Job(id, serial) => {
                let serial = serial.filter(|_| id.is_some());
                let id = id.map(|id| said("job", id));
                let want = id
                    .clone()
                    .map(|id| (id, serial.map(|serial| said("serial", serial))));
                let job = id.map(|id| Job {
                    serial: serial.map(|serial| said("serial", serial)),
                    ..job(&id)
                });
                let done = say(desk, job).is_ok();
                assert_eq!(done, of_series.is_none_or(|of| of == want));
                if done {
                    self.now.0 = want;
                }
            }
            Act::Lot(material, lot) => {
                let lot = lot.map(|lot| said("lot", lot));
                desk.command(Command::Lot {
                    station: None,
                    material: *material,
                    lot: lot.clone(),
                })
                .unwrap();
                self.now.1.change(*material, lot);
            }
            Act::Operator(who) => {
                let operator = said("operator", *who);
                desk.command(Command::Operator {
                    station: None,
                    operator: operator.clone(),
                })
                .unwrap();
                self.now.2 = Some(operator);
            }
            Act::Arm => {
                desk.command(Command::Arm {
                    station: None,
                    what: Armable::Named("pump-own".to_owned()),
                    operator: None,
                    cut: true,
                })
                .unwrap();
                self.series.insert(open(desk).unwrap(), self.now.0.clone());
            }
            Act::Press => {
                desk.press("1.62");
            }
            Act::Retract => drop(desk.retract(None)),
            Act::Restore => drop(desk.restore()),
            Act::Resume => {
                let stopped = desk.core.state().stations.get("bench-1");
                let stopped = stopped.and_then(|known| Some(known.stopped.as_ref()?.series.id));
                let resumed = desk.command(Command::Resume {
                    station: None,
                    by: Means::Command,
                });
                let may = stopped.is_some_and(|id| self.series[&id] == self.now.0);
                assert_eq!(resumed.is_ok(), may);
            }
            Act::Disarm => drop(desk.command(Command::Disarm { station: None })),
            Act::Kill => desk.restart(),
            Act::SegmentFull => desk.input(Input::SegmentFull),
        }
        for stamped in &desk.entries[before..] {
            let slot = stamped
                .entry
                .reading()
                .and_then(|reading| reading.slot.as_ref());
            if slot.is_some() {
                self.readings.insert(stamped.seq, self.now.clone());
            }
        }
    }
}

fn of(row: &Row<'_>) -> Of {
    let slot = row.slot.as_ref().unwrap();
    let job = slot.job.map(|job| (job.id.clone(), job.serial.clone()));
    (
        job,
        slot.lots.cloned().unwrap(),
        row.operator.map(str::to_owned),
    )
}

proptest! {
    #[test]
    fn each_reading_is_of_the_job_and_the_lots_that_were_said_last(
        acts in prop::collection::vec(act(), 1..60),
    ) {
        let mut catalog = shop();
        catalog.jobs = None;
        let mut desk = Desk::with(catalog);
        let mut naive = Naive::default();
        for act in &acts {
            naive.act(&mut desk, act);
        }
        let mut gather = Gather::new(JournalId("5".repeat(32)));
        let mut rows = BTreeMap::new();
        let mut tell = |row: &Row<'_>| {
            if row.slot.is_some() {
                rows.insert(row.seq, of(row));
            }
            Ok::<_, std::convert::Infallible>(())
        };
        for stamped in &desk.entries {
            gather.take(stamped, &mut tell).unwrap();
        }
        gather.finish(tell).unwrap();
        prop_assert_eq!(rows, naive.readings);
    }
}
