//! An instrument is verified against gauge blocks: set, pressed, judged by its maximum permissible error.

use super::desk::{Desk, catalog, outcome, plan};
use tallyjaw::entry::block_error::BlockError;
use tallyjaw::entry::{
    Entry, FrameEntry, NotCounted, Outcome, ReadingSlot, SeriesEntry, Standing, line,
};
use tallyjaw::spec::{Decision, Plan, Purpose, Subject, Verdict};

pub(crate) fn verification(blocks: &[&str], repeats: u32) -> Plan {
    let blocks: Vec<_> = blocks.iter().map(|text| text.parse().unwrap()).collect();
    Plan {
        axes: blocks
            .iter()
            .map(tallyjaw::spec::GaugeBlock::axis)
            .collect(),
        subject: Subject::Blocks {
            instrument: "caliper-1".to_owned(),
            blocks,
        },
        pieces: repeats,
        purpose: Purpose::Verification,
        tool: None,
        nest: None,
        ..plan()
    }
}

fn slot(entry: &Entry) -> ReadingSlot {
    match entry {
        Entry::Frame(FrameEntry::Reading(reading)) => reading.slot.clone().unwrap(),
        other => panic!("{other:?}"),
    }
}

fn completed(desk: &Desk) -> Outcome {
    match desk.last() {
        Entry::Series(SeriesEntry::Completed(completed)) => completed.outcome,
        other => panic!("{other:?}"),
    }
}

#[test]
fn each_block_is_asked_for_and_the_error_at_each_is_judged_by_max_error() {
    let mut desk = Desk::new();
    desk.arm(verification(&["1.30 mm", "2.50 ±0.0002 mm", "41.3 mm"], 1))
        .unwrap();
    assert!(desk.prompt().contains("zero"), "the same zero rules hold");
    desk.press("0.00");
    let mut told = Vec::new();
    for value in ["1.30", "2.52", "41.28"] {
        let prompt = desk.prompt();
        let slot = slot(desk.press(value));
        assert_eq!(slot.crimp, None);
        told.push((prompt, slot.deviation.unwrap().base(), slot.verdict));
    }
    let pass = Some(Verdict::Pass);
    assert_eq!(
        told,
        [
            ("measure the 1.30 mm gauge block".to_owned(), 0, pass),
            ("measure the 2.50 mm gauge block".to_owned(), 20_000, pass),
            ("measure the 41.3 mm gauge block".to_owned(), -20_000, pass),
        ]
    );
    assert!(desk.prompt().contains("zero"), "and the closing one");
    desk.press("0.00");
    assert_eq!(completed(&desk), Outcome::Accepted);
}

#[test]
fn an_error_beyond_max_error_at_one_block_rejects_the_instrument() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 mm", "41.3 mm"], 2)).unwrap();
    desk.press("0.00");
    assert_eq!(
        desk.prompt(),
        "measure the 2.50 mm gauge block: time 1 of 2"
    );
    for (value, verdict) in [
        ("2.50", Verdict::Pass),
        ("2.51", Verdict::Pass),
        ("41.33", Verdict::FailHigh),
        ("41.32", Verdict::Pass),
    ] {
        assert_eq!(desk.reading(value), Ok(verdict));
    }
    let series = desk.core.state().stations["bench-1"].series.as_ref();
    let errors: Vec<_> = BlockError::of(series.unwrap())
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(
        errors,
        [
            "at 2.50 mm: 0.00 mm to +0.01 mm in 2 readings, up to ±0.02 mm is allowed",
            "at 41.3 mm: +0.02 mm to +0.03 mm in 2 readings, up to ±0.02 mm is allowed",
        ]
    );
    desk.press("0.00");
    assert_eq!(completed(&desk), Outcome::Rejected);
}

#[test]
fn another_block_than_the_one_asked_for_is_not_counted_and_named() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 mm", "41.3 mm"], 1)).unwrap();
    desk.press("0.00");
    let (reason, hint) = desk.reading("41.30").unwrap_err();
    assert_eq!(reason, NotCounted::Implausible);
    assert_eq!(hint, "looks like a gauge block 41.3 mm");
    let (_, hint) = desk.reading("5.00").unwrap_err();
    assert!(
        hint.starts_with("not plausible for a gauge block 2.50 mm"),
        "{hint}"
    );
    assert_eq!(desk.prompt(), "measure the 2.50 mm gauge block");
}

#[test]
fn only_the_instrument_that_is_verified_counts() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 mm"], 1)).unwrap();
    desk.press("0.00");
    match desk.press_on("gauge-1", "190") {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(outcome(reading).unwrap_err().0, NotCounted::WrongInstrument);
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_off_closing_zero_throws_doubt_on_the_blocks_too() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 mm"], 1)).unwrap();
    desk.press("0.00");
    desk.press("2.50");
    desk.press("0.02");
    assert_eq!(desk.last().kind(), "doubted");
    desk.press("0.00");
    assert_eq!(desk.prompt(), "measure the 2.50 mm gauge block");
}

#[test]
fn a_restart_in_the_middle_goes_on_at_the_block_in_hand() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 ±0.0002 mm", "41.3 mm"], 1))
        .unwrap();
    desk.press("0.00");
    desk.press("2.50");
    desk.restart();
    assert_eq!(desk.prompt(), "measure the 41.3 mm gauge block");
    desk.press("41.30");
    desk.press("0.00");
    assert_eq!(completed(&desk), Outcome::Accepted);
}

#[test]
fn what_is_entered_names_the_blocks_with_their_uncertainty_and_no_terminal() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 ±0.0002 mm", "41.3 mm"], 1))
        .unwrap();
    let mut texts: Vec<String> = Vec::new();
    desk.press("0.00");
    desk.press("2.51");
    for stamped in &desk.entries {
        let bytes = line::encode(stamped, line::Digest::of(b""));
        let (back, _) = line::decode(&bytes).unwrap();
        assert_eq!(back, *stamped);
        texts.push(String::from_utf8(bytes).unwrap());
    }
    let armed = texts
        .iter()
        .find(|text| text.contains("\"kind\":\"armed\""))
        .unwrap();
    let blocks = r#""blocks":[{"axis":"gauge_block_2.50_mm","value_nm":2500000,"value":2.50,"unit":"mm","uncertainty_nm":200},{"axis":"gauge_block_41.3_mm","value_nm":41300000,"value":41.3,"unit":"mm"}]"#;
    assert!(armed.contains(blocks), "{armed}");
    let reading = texts
        .iter()
        .find(|text| text.contains("\"kind\":\"reading\""))
        .unwrap();
    assert!(
        reading.contains(r#""axis":"gauge_block_2.50_mm","purpose":"verification""#),
        "{reading}"
    );
    assert!(
        reading.contains(r#""deviation_nm":10000,"verdict":"pass""#),
        "{reading}"
    );
}

#[test]
fn a_verification_that_shows_nothing_is_refused_with_the_remedy() {
    let without_error = || {
        let mut catalog = catalog();
        catalog.instruments[0].max_error = None;
        catalog
    };
    for (catalog, plan, message) in [
        (catalog(), verification(&[], 1), "blocks is an empty list"),
        (
            catalog(),
            verification(&["2.50 mm", "2.50 mm"], 1),
            "blocks \"2.50 mm\" is there already",
        ),
        (
            catalog(),
            verification(&["2.50 mm", "2.53 mm"], 1),
            "the blocks 2.50 mm and 2.53 mm are too close for an instrument",
        ),
        (
            catalog(),
            verification(&["175 mm"], 1),
            "the block 175 mm is outside the range of caliper-1: 0.00 mm to 150.00 mm",
        ),
        (
            without_error(),
            verification(&["2.50 mm"], 1),
            "caliper-1 has no max_error, want the maximum permissible error that it is verified against",
        ),
        (
            catalog(),
            Plan {
                purpose: Purpose::FirstOff,
                ..verification(&["2.50 mm"], 1)
            },
            "gauge blocks for the purpose first_off",
        ),
        (
            catalog(),
            Plan {
                decision: Decision::Guarded { factor_milli: 1645 },
                ..verification(&["2.50 mm"], 1)
            },
            "decision beside gauge blocks",
        ),
        (
            catalog(),
            Plan {
                tool: Some("T-07".to_owned()),
                ..verification(&["2.50 mm"], 1)
            },
            "tool beside gauge blocks",
        ),
        (
            catalog(),
            Plan {
                purpose: Purpose::Verification,
                ..plan()
            },
            "a verification without gauge blocks",
        ),
    ] {
        let mut desk = Desk::with(catalog);
        let refusal = desk.arm(plan).unwrap_err();
        assert!(
            refusal.to_string().contains(message),
            "{}",
            refusal.to_string()
        );
        assert!(!refusal.remedy().is_empty());
    }
}

#[test]
fn a_block_that_is_hardly_better_known_than_the_instrument_is_warned_of() {
    let mut desk = Desk::new();
    desk.arm(verification(&["2.50 ±0.006 mm", "41.3 ±0.005 mm"], 1))
        .unwrap();
    match desk.last() {
        Entry::Series(SeriesEntry::Armed(spec)) => assert_eq!(
            spec.warnings,
            [
                "the uncertainty of the block 2.50 mm, 0.006 mm, is more than a quarter of the maximum permissible error, 0.02 mm: an error close to that limit proves little"
            ]
        ),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_value_that_is_far_off_counts_when_it_is_sent_again_so_that_a_bad_instrument_fails() {
    let mut desk = Desk::new();
    desk.arm(verification(&["41.3 mm"], 1)).unwrap();
    desk.press("0.00");
    assert!(desk.reading("41.80").is_err());
    assert_eq!(desk.reading("41.80"), Ok(Verdict::FailHigh));
    match &desk.entries.last().unwrap().entry {
        Entry::Frame(FrameEntry::Reading(reading)) => {
            assert_eq!(reading.standing, Standing::Counted);
        }
        other => panic!("{other:?}"),
    }
}
