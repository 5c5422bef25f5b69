//! Operator and tool: set by card, kept at the station, and checked against the plan.

use super::desk::{Desk, HEIGHT, catalog, plan};
use std::time::Duration;
use tallyjaw::entry::{
    Entry, FrameEntry, Means, OperatorSaid, Refused, Retracted, SaidEntry, Seq, SeriesEntry,
};
use tallyjaw::spec::{
    AxisName, Catalog, PedalAction, Plan, Purpose, Signal, SignalKind, Tool, ToolCare, ToolClass,
    Verdict, ZeroPolicy,
};
use tallyjaw::station::{Command, Input};

fn shop() -> Catalog {
    let mut catalog = catalog();
    let signal = |name: &str, station: &str, kind| Signal {
        name: name.to_owned(),
        station: station.to_owned(),
        kind,
    };
    catalog.stations.push("bench-2".to_owned());
    let retract = SignalKind::Pedal {
        does: PedalAction::Retract,
    };
    catalog.signals = vec![
        signal(
            "scanner-1",
            "bench-1",
            SignalKind::Scanner { line_end: true },
        ),
        signal(
            "scanner-2",
            "bench-2",
            SignalKind::Scanner { line_end: true },
        ),
        signal("pedal-1", "bench-1", retract),
    ];
    let id = |id: &str| Some(id.to_owned());
    let any_tool = Plan {
        id: id("pump-any"),
        tool: None,
        nest: None,
        ..plan()
    };
    let reference = Plan {
        id: id("pump-ref"),
        purpose: Purpose::Reference,
        ..any_tool.clone()
    };
    let own = Plan {
        id: id("pump-own"),
        ..plan()
    };
    catalog.plans = vec![own, any_tool, reference];
    catalog.tools.push(Tool {
        id: "T-09".to_owned(),
        class: ToolClass::Production,
        terminals: vec!["RB-090-M".to_owned()],
        nests: Vec::new(),
        care: ToolCare::default(),
    });
    catalog
}

fn scan(desk: &mut Desk, card: &str) -> Result<&'static str, String> {
    scan_at(desk, "scanner-1", card)
}

/// The kind of the entry that a card makes, or why the card was refused.
fn scan_at(desk: &mut Desk, scanner: &str, card: &str) -> Result<&'static str, String> {
    desk.wait(Duration::from_secs(1));
    let before = desk.entries.len();
    desk.input(Input::Bytes {
        instrument: scanner,
        bytes: format!("{card}\r").as_bytes(),
    });
    match &desk.entries[before..] {
        [] => panic!("{card} left no entry"),
        [.., last] => match &last.entry {
            Entry::Said(SaidEntry::Refused(Refused { reason, .. })) => Err(reason.clone()),
            other => Ok(other.kind()),
        },
    }
}

fn spec(desk: &Desk) -> &tallyjaw::spec::ArmedSpec {
    let station = &desk.core.state().stations["bench-1"];
    &station.series.as_ref().unwrap().spec
}

#[test]
fn the_operator_by_card_stays_at_the_station_and_goes_into_every_series() {
    let mut desk = Desk::with(shop());
    assert_eq!(scan(&mut desk, "tj/operator/mara"), Ok("operator_said"));
    desk.restart();
    assert_eq!(scan(&mut desk, "tj/arm/pump-own"), Ok("armed"));
    assert_eq!(spec(&desk).operator.as_deref(), Some("mara"));
    desk.press("0.00");
    desk.press("1.62");
    // Somebody else goes on: the entry says of which series, and from which reading on.
    let series = desk.core.state().stations["bench-1"]
        .series
        .as_ref()
        .unwrap()
        .id;
    assert_eq!(scan(&mut desk, "tj/operator/jo ann"), Ok("operator_said"));
    match desk.last() {
        Entry::Said(SaidEntry::OperatorSaid(OperatorSaid {
            series: of,
            operator,
            ..
        })) => assert_eq!((*of, operator.as_str()), (Some(series), "jo ann")),
        other => panic!("{other:?}"),
    }
    assert_eq!(spec(&desk).operator.as_deref(), Some("mara"));
    scan(&mut desk, "tj/arm/pump-ref").unwrap_err(); // a series is open: it is said twice
    scan(&mut desk, "tj/arm/pump-ref").unwrap();
    assert_eq!(spec(&desk).operator.as_deref(), Some("jo ann"));
}

#[test]
fn a_card_that_names_nobody_or_what_cannot_be_shown_is_refused() {
    let mut desk = Desk::with(shop());
    let nobody = scan(&mut desk, "tj/operator/").unwrap_err();
    assert!(
        nobody.starts_with("a card of an operator, without the name"),
        "{nobody}"
    );
    let long = "x".repeat(101);
    for name in ["\u{1b}[2J", long.as_str()] {
        let refused = scan(&mut desk, &format!("tj/operator/{name}")).unwrap_err();
        assert!(refused.contains("for the operator, want a name of 1 to 100"));
    }
    let by_command = desk.command(Command::Operator {
        station: Some("bench-1".to_owned()),
        operator: "  ".to_owned(),
    });
    assert!(by_command.is_err());
}

#[test]
fn the_right_tool_says_so_and_a_wrong_one_is_refused_with_what_was_expected() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/arm/pump-own").unwrap();
    for (card, planned) in [("tj/tool/T-07", true), ("tj/tool/T-07/2.0", true)] {
        assert_eq!(scan(&mut desk, card), Ok("tool_said"), "{card}");
        match desk.last() {
            Entry::Said(SaidEntry::ToolSaid(said)) => {
                assert_eq!(said.as_planned, planned, "{card}");
            }
            other => panic!("{other:?}"),
        }
    }
    let kept = desk.core.state().stations["bench-1"].tool.clone();
    for (card, reason) in [
        (
            "tj/tool/R-02",
            "R-02 (repair) is not the tool of series 5: pump-own requires T-07 (production), nest 2.0",
        ),
        (
            "tj/tool/T-07/5.0",
            "wrong nest 5.0 of T-07: series 5 requires nest 2.0",
        ),
        (
            "tj/tool/T-07/9",
            "tool T-07 has no nest \"9\", want the id of one of its nests",
        ),
        (
            "tj/tool/T-70",
            "no tool \"T-70\", want the id of a [[tool]]",
        ),
    ] {
        let got = scan(&mut desk, card).unwrap_err();
        let got = got.replace(&format!("series {}", series_id(&desk)), "series 5");
        assert_eq!(got, reason, "{card}");
        assert!(
            desk.prompt().contains(&format!("({card} was refused: ")),
            "{}",
            desk.prompt()
        );
    }
    assert_eq!(desk.core.state().stations["bench-1"].tool, kept);
    desk.press("0.00");
    assert_eq!(desk.prompt(), "measure piece 1 of 3: core crimp height");
}

fn series_id(desk: &Desk) -> Seq {
    desk.core.state().stations["bench-1"]
        .series
        .as_ref()
        .unwrap()
        .id
}

#[test]
fn the_tool_in_the_hand_is_taken_for_own_crimps_where_the_plan_names_none() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/tool/T-07").unwrap();
    desk.restart();
    scan(&mut desk, "tj/arm/pump-any").unwrap();
    let tool = spec(&desk).tool.clone().unwrap();
    assert_eq!(
        (tool.id.as_str(), tool.nest.as_deref()),
        ("T-07", Some("2.0"))
    );
    // Pieces out of a harness were crimped with another one.
    scan(&mut desk, "tj/arm/pump-ref").unwrap_err(); // a series is open: it is said twice
    scan(&mut desk, "tj/arm/pump-ref").unwrap();
    assert_eq!(spec(&desk).tool, None);
    // If no series requires a tool, the one in hand is entered if it can have made these crimps.
    scan(&mut desk, "tj/disarm").unwrap();
    scan(&mut desk, "tj/tool/R-02/2.0").unwrap();
    scan(&mut desk, "tj/arm/pump-any").unwrap();
    let tool = spec(&desk).tool.clone().unwrap();
    assert_eq!((tool.id.as_str(), tool.class), ("R-02", ToolClass::Repair));
    assert!(
        spec(&desk)
            .warnings
            .iter()
            .any(|warning| warning.contains("repair-class"))
    );
}

#[test]
fn a_plan_is_refused_while_another_tool_or_nest_is_in_the_hand() {
    let mut desk = Desk::with(shop());
    for (card, arm, reason) in [
        (
            "tj/tool/R-02",
            "tj/arm/pump-own",
            "R-02 (repair) is in the hand, the plan requires T-07",
        ),
        (
            "tj/tool/T-07/5.0",
            "tj/arm/pump-own",
            "T-07 (production), nest 5.0 is in the hand, the plan requires nest 2.0",
        ),
        (
            "tj/tool/T-07/5.0",
            "tj/arm/pump-any",
            "nest 5.0 of T-07 is not for 2.0 mm², want a nest for it; this one is for 5.0 mm²",
        ),
        (
            "tj/tool/T-09",
            "tj/arm/pump-any",
            "tool T-09 is not for terminal QF-250-F, want a tool for it; this one is for RB-090-M",
        ),
    ] {
        scan(&mut desk, card).unwrap();
        assert_eq!(scan(&mut desk, arm), Err(reason.to_owned()), "{card}");
    }
    // One card mends it.
    scan(&mut desk, "tj/tool/T-07").unwrap();
    assert_eq!(scan(&mut desk, "tj/arm/pump-own"), Ok("armed"));
}

#[test]
fn a_tool_is_in_one_hand_only() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/arm/pump-own").unwrap();
    let series = series_id(&desk);
    assert_eq!(
        scan_at(&mut desk, "scanner-2", "tj/tool/T-07"),
        Err(format!(
            "T-07 is the tool of bench-1, where series {series} is open"
        ))
    );
    scan(&mut desk, "tj/disarm").unwrap();
    assert_eq!(
        scan_at(&mut desk, "scanner-2", "tj/tool/T-07"),
        Ok("tool_said")
    );
}

#[test]
fn a_wrong_card_says_what_it_was_instead() {
    let mut desk = Desk::with(shop());
    for (card, reason, remedy) in [
        ("T-07", "the name of a tool", "its card says tj/tool/T-07"),
        (
            "pump-own",
            "the name of a plan",
            "its card says tj/arm/pump-own",
        ),
        (
            "QF-250-F",
            "the name of a terminal",
            "scan the card of its plan: tj/arm/pump-own or tj/arm/pump-any or tj/arm/pump-ref",
        ),
        (
            "TJ/ARM/PUMP-OWN",
            "a card in capital letters",
            "set the scanner",
        ),
        ("4006381333931", "a product's bar code", "print cards"),
        ("4006381333932", "not one of our cards", "print cards"),
        (
            "https://example.com/x",
            "an address on the web",
            "print cards",
        ),
        (
            "tj/retrat",
            "no card of that kind",
            "did you mean tj/retract?",
        ),
        (
            "tj/arm/pump-owm",
            "no plan \"pump-owm\"",
            "did you mean pump-own?",
        ),
        (
            "tj/tool",
            "a card of a tool, without the tool",
            "print cards",
        ),
    ] {
        let got = scan(&mut desk, card).unwrap_err();
        assert!(got.starts_with(reason), "{card}: {got}");
        let Entry::Said(SaidEntry::Refused(Refused { remedy: got, .. })) = desk.last() else {
            panic!()
        };
        assert!(got.as_deref().unwrap().contains(remedy), "{card}: {got:?}");
        assert!(
            desk.prompt()
                .starts_with(&format!("start a plan ({card} was refused: "))
        );
    }
    desk.restart();
    assert!(
        desk.prompt().contains("was refused"),
        "a restart keeps the prompt"
    );
    scan(&mut desk, "tj/note/later").unwrap();
    assert_eq!(desk.prompt(), "start a plan");
}

#[test]
fn what_is_retracted_says_by_what_means() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/arm/pump-own").unwrap();
    for value in ["0.00", "1.62", "1.63", "1.64"] {
        desk.press(value);
    }
    let by = |desk: &Desk| match desk.last() {
        Entry::Series(SeriesEntry::Retracted(Retracted { by, .. })) => *by,
        other => panic!("{other:?}"),
    };
    scan(&mut desk, "tj/retract").unwrap();
    assert_eq!(by(&desk), Some(Means::Card));
    desk.input(Input::Contact {
        instrument: "pedal-1",
        closed: true,
    });
    assert_eq!(by(&desk), Some(Means::Pedal));
    desk.command(Command::Retract {
        station: Some("bench-1".to_owned()),
        seq: None,
        reason: None,
        by: Means::Command,
    })
    .unwrap();
    assert_eq!(by(&desk), Some(Means::Command));
}

#[test]
fn readings_of_any_axis_are_retracted_by_number_and_the_outcome_says_how_many() {
    let mut desk = Desk::with(shop());
    scan(&mut desk, "tj/arm/pump-own").unwrap();
    for value in ["0.00", "1.75", "1.62", "1.63", "2.40"] {
        desk.press(value);
    }
    let seq_of = |desk: &Desk, value: &str| {
        let reads = |stamped: &&tallyjaw::entry::Stamped| match &stamped.entry {
            Entry::Frame(FrameEntry::Reading(reading)) => reading.value.to_string() == value,
            _ => false,
        };
        desk.entries.iter().find(reads).unwrap().seq
    };
    // A height, while widths are measured.
    let failed = seq_of(&desk, "1.75 mm");
    desk.command(Command::Retract {
        station: Some("bench-1".to_owned()),
        seq: Some(failed),
        reason: None,
        by: Means::Command,
    })
    .unwrap();
    assert_eq!(desk.prompt(), "measure piece 1 of 3: core crimp height");
    assert_eq!(desk.reading("1.66"), Ok(Verdict::Pass));
    assert_eq!(desk.prompt(), "measure piece 2 of 3: core crimp width");
    for value in ["2.41", "2.42", "0.00"] {
        desk.press(value);
    }
    let Entry::Series(SeriesEntry::Completed(completed)) = desk.last() else {
        panic!("{:?}", desk.last())
    };
    assert_eq!(
        tallyjaw::entry::words::words(&Entry::from(completed.clone())),
        format!(
            "series {} ACCEPTED after 1 reading was retracted: 6 passed, 1 retracted",
            completed.series
        )
    );
}

#[test]
fn a_zero_that_becomes_due_by_time_is_told_at_that_time() {
    let mut desk = Desk::new();
    let zero = ZeroPolicy {
        every: Some(Duration::from_secs(1800)),
        ..ZeroPolicy::default()
    };
    desk.arm(Plan {
        axes: vec![AxisName::new(HEIGHT)],
        zero,
        ..plan()
    })
    .unwrap();
    desk.press("0.00");
    let from = desk.entries.len();
    desk.wait(Duration::from_secs(1799));
    assert_eq!(desk.prompt(), "measure piece 1 of 3: core crimp height");
    desk.wait(Duration::from_secs(1));
    assert_eq!(desk.kinds_from(from), ["zero_due"]);
    let asked = "close the jaws of caliper-1 and press its data key to check the zero: the plan requires a zero every 30 minutes";
    assert_eq!(desk.prompt(), asked);
    // It is reported once. A restart does not report it again.
    desk.wait(Duration::from_secs(600));
    desk.restart();
    desk.wait(Duration::from_secs(600));
    assert_eq!(desk.prompt(), asked);
    let told = desk
        .entries
        .iter()
        .filter(|told| told.entry.kind() == "zero_due");
    assert_eq!(told.count(), 1);
    desk.press("0.00");
    assert_eq!(desk.prompt(), "measure piece 1 of 3: core crimp height");
}

#[test]
fn without_an_opening_zero_pieces_and_minutes_count_from_the_beginning() {
    let mut desk = Desk::new();
    let zero = ZeroPolicy {
        before_first: false,
        every_pieces: Some(2),
        every: Some(Duration::from_secs(600)),
        ..ZeroPolicy::default()
    };
    let plan = Plan {
        axes: vec![AxisName::new(HEIGHT)],
        zero,
        ..plan()
    };
    desk.arm(plan.clone()).unwrap();
    desk.press("1.62");
    desk.press("1.63");
    assert!(
        desk.prompt()
            .ends_with("the plan requires a zero every 2 pieces"),
        "{}",
        desk.prompt()
    );
    desk.arm(plan).unwrap();
    desk.wait(Duration::from_secs(600));
    assert!(
        desk.prompt()
            .ends_with("the plan requires a zero every 10 minutes"),
        "{}",
        desk.prompt()
    );
}
