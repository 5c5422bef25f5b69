//! One sample of every refusal of the station, of every reason why a plan cannot be armed, and of every reason why
//! bytes are not a value. The compiler reports a variant without a sample.

use super::assert_has;
use std::collections::BTreeSet;
use tallyjaw::decode::DecodeError;
use tallyjaw::entry::{Means, Outcome, Seq, ToolInHand};
use tallyjaw::pictures::{NotAPicture, PictureFormat, check};
use tallyjaw::qualification::{Lacking, Lapse, SeriesName, Standing};
use tallyjaw::quantity::{Dimension, Measured, Quantity};
use tallyjaw::spec::job::WrongWords;
use tallyjaw::spec::pull_table::PULL_TABLES;
use tallyjaw::spec::wire::{WireError, gauge, resolve};
use tallyjaw::spec::{
    Ask, AxisName, Job, Limits, PullTableError, Purpose, Sizes, SizingSystem, ToolClass, Unarmable,
    WireRequest, WireSize,
};
use tallyjaw::station::card::NotACard;
use tallyjaw::station::{Foreign, NotShown, Refusal};

/// The name of a variant, and the names of all; the compiler compares the list with the enum.
macro_rules! variants {
    ($name:ident, $all:ident, $enum:ident: $($variant:ident)+) => {
        fn $name(one: &$enum) -> &'static str {
            match one {
                $($enum::$variant { .. } => stringify!($variant),)+
            }
        }
        const $all: &[&str] = &[$(stringify!($variant)),+];
    };
}

variants!(refusal, REFUSALS, Refusal: NoStation WhichStation WhichLeftStation NoPlan Unarmable
    StillOpen NothingArmed NothingToResume NothingToRestore NothingToRetract NoSuchReading Destroyed NoWords Words
    Operator ToolElsewhere NotItsTool NotItsNest OtherTool OtherNest NoInstrument WhichInstrument CannotBeAsked
    NoneToAsk NotConnected SameAdapter SameAdapters WhichAdapter AnotherAdapter NotACard Foreign Said OtherJob NotSaid
    NoLook NotDue NoPieceToLookAt NotPulled Crimps NothingHeld WhichHeld NotHeld NotThatMany NoSeries NothingToPicture
    NotMeasured NotShown TooManyPictures);
variants!(unarmable, UNARMABLES, Unarmable: Pieces VerifiesCrimps BlocksFor BesideBlocks NoTerminal Wire NoRow Nothing
    Twice NoAxis NotLimited PullForce PulledToo NoTool NotForTerminal NestOfNothing NoNest WrongNest NoNestForWire
    NestUnnamed NoInstrument TooCoarse NoMaxError NoBudget NoBudgetOf GuardTooWide NotToldApart NoSuchInstrument
    OfOtherStation NoLengths OutOfRange BlockTooLong BlocksTooNear);
variants!(undecoded, UNDECODED, DecodeError: CutShort MidFrame TooLong LineFault UnexpectedByte NoDigits TooManyDigits
    TooLarge UnknownUnit WrongLength Illegal NoMatch GaugeFault);

fn snake(name: &str) -> String {
    let mut snake = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !snake.is_empty() {
            snake.push('_');
        }
        snake.push(letter.to_ascii_lowercase());
    }
    snake
}

fn names(names: &[&str]) -> Vec<String> {
    names.iter().map(|name| (*name).to_owned()).collect()
}

#[expect(clippy::unnecessary_box_returns, reason = "refusals hold it in a box")]
fn tool(id: &str, class: ToolClass, nest: Option<&str>) -> Box<ToolInHand> {
    Box::new(ToolInHand {
        id: id.to_owned(),
        class,
        nest: nest.map(str::to_owned),
    })
}

fn value(text: &str) -> Measured {
    text.parse().unwrap()
}

fn quantity(text: &str) -> Quantity {
    value(text).quantity()
}

fn wire(text: &str, sizing: Option<SizingSystem>) -> WireSize {
    let text = text.to_owned();
    resolve(&WireRequest { text, sizing }).unwrap()
}

fn wire_error(text: &str, sizing: Option<SizingSystem>) -> WireError {
    let text = text.to_owned();
    resolve(&WireRequest { text, sizing }).unwrap_err()
}

fn sizes(from: &str, to: &str) -> Sizes {
    Sizes::range(from.parse().unwrap(), to.parse().unwrap()).unwrap()
}

fn axis(name: &str) -> AxisName {
    AxisName::new(name)
}

/// One of everything that a combination lacks, and of why it lapses.
fn lackings() -> Vec<String> {
    let (height, series) = (
        || axis("core_crimp_height"),
        || SeriesName {
            journal: None,
            series: Seq(37),
        },
    );
    let mut all = vec![
        Lacking::NoSheet,
        Lacking::NoTool,
        Lacking::NoSeries { axis: height() },
        Lacking::OtherLimits {
            axis: height(),
            series: series(),
        },
        Lacking::NoZeros { series: series() },
        Lacking::TooFew {
            axis: height(),
            got: 24,
            want: 25,
            series: series(),
        },
        Lacking::NoIndex {
            axis: height(),
            series: series(),
        },
        Lacking::Bound {
            axis: height(),
            got_milli: 1_307,
            want_hundredths: 133,
            series: series(),
        },
    ];
    all.extend(Outcome::ALL.map(|outcome| Lacking::NotAccepted {
        outcome,
        series: series(),
    }));
    let grounds = ["pieces", "normal", "stable", "cpk_ppk", "independent"];
    all.extend(grounds.map(|ground| Lacking::Ground {
        axis: height(),
        ground,
        series: series(),
    }));
    all.iter().map(ToString::to_string).collect()
}

fn lapses() -> [String; 3] {
    let day = "2026-11-25".parse().unwrap();
    let tool = "T-07".to_owned();
    [
        Lapse::Months {
            until: day,
            months: 12,
        },
        Lapse::Checked { tool, day },
        Lapse::Overdue("the check of T-07 was due on 2026-11-25: have it checked".to_owned()),
    ]
    .map(|lapse| lapse.to_string())
}

/// A combination in each standing that refuses, with and without a nest and plans.
fn not_shown() -> Vec<Refusal> {
    let tool = |nest: Option<&str>| Some(("T-07".to_owned(), nest.map(str::to_owned)));
    let of = |tool, standing, why: Vec<String>, plans: &[&str]| {
        Refusal::NotShown(Box::new(NotShown {
            terminal: "QF-250-F".to_owned(),
            wire: "2.0 mm²".parse().unwrap(),
            tool,
            standing,
            why,
            plans: names(plans),
        }))
    };
    let mut all = vec![
        of(tool(None), Standing::NeverTried, Vec::new(), &[]),
        of(
            tool(Some("2.0")),
            Standing::NotShown,
            lackings(),
            &["a", "b"],
        ),
        of(
            None,
            Standing::NotShown,
            vec![Lacking::NoTool.to_string()],
            &[],
        ),
    ];
    let lapsed = lapses().map(|why| of(tool(Some("2.0")), Standing::Lapsed, vec![why], &["a"]));
    all.extend(lapsed);
    all
}

#[test]
fn whatever_a_combination_lacks_is_said_in_every_language() {
    for sentence in lackings() {
        assert_has("daemon.qualification.", &sentence);
    }
    for sentence in lapses() {
        assert_has("daemon.", &sentence);
    }
}

#[expect(clippy::too_many_lines, reason = "one of each")]
fn refusals() -> Vec<Refusal> {
    let station = || "bench-1".to_owned();
    let two = || names(&["caliper-1", "gauge-1"]);
    let got = || "x.2".to_owned();
    let mut all = vec![
        Refusal::WhichStation {
            known: names(&["bench-1", "bench-2"]),
        },
        Refusal::WhichLeftStation {
            left: names(&["bench-9"]),
        },
        Refusal::NoPlan {
            got: "pump".to_owned(),
            known: names(&["pump-own"]),
        },
        Refusal::Unarmable(Box::new(Unarmable::VerifiesCrimps)),
        Refusal::Crimps { got: 0 },
        Refusal::NothingHeld { station: station() },
        Refusal::WhichHeld {
            station: station(),
            known: vec![(Seq(812), 100), (Seq(900), 20)],
        },
        Refusal::NotHeld {
            got: Seq(37),
            known: vec![(Seq(812), 100)],
        },
        Refusal::NotThatMany {
            got: 101,
            held: Seq(812),
            left: 100,
        },
        Refusal::StillOpen {
            series: Seq(12),
            measured: 4,
            slots: 10,
        },
        Refusal::NothingArmed { station: station() },
        Refusal::NothingToResume { station: station() },
        Refusal::NothingToRestore { series: Seq(12) },
        Refusal::NothingToRetract { series: Seq(12) },
        Refusal::NoSuchReading {
            got: Seq(7),
            known: vec![Seq(8), Seq(9)],
        },
        Refusal::NoSeries { got: Seq(12) },
        Refusal::NothingToPicture { station: station() },
        Refusal::NotMeasured {
            piece: 3,
            series: Seq(12),
        },
        Refusal::TooManyPictures { series: Seq(12) },
        Refusal::NoWords { what: "a note" },
        Refusal::Words {
            what: "a reason",
            got: 5000,
        },
        Refusal::Operator {
            got: String::new() + "m",
            unseen: None,
        },
        Refusal::Operator {
            got: "m".to_owned(),
            unseen: Some("U+0007".to_owned()),
        },
        Refusal::ToolElsewhere {
            tool: "T-07.2".to_owned(),
            other: "bench-2".to_owned(),
            series: Seq(3),
        },
        Refusal::NotItsTool {
            got: tool("T-07.2", ToolClass::Repair, Some("2.0")),
            want: tool("T-08", ToolClass::Production, None),
            series: Seq(3),
            plan: "pump-own".to_owned(),
        },
        Refusal::NotItsNest {
            tool: "T-07".to_owned(),
            got: "1.0".to_owned(),
            want: "2.0".to_owned(),
            series: Seq(3),
        },
        Refusal::OtherTool {
            got: tool("T-07", ToolClass::Production, Some("2.0")),
            want: "T-08".to_owned(),
        },
        Refusal::OtherTool {
            got: tool("T-07", ToolClass::Repair, None),
            want: "T-08".to_owned(),
        },
        Refusal::OtherNest {
            got: tool("T-07", ToolClass::Production, Some("1.0")),
            want: "2.0".to_owned(),
        },
        Refusal::NoneToAsk { station: station() },
        Refusal::NotConnected {
            instrument: "caliper-1".to_owned(),
        },
        Refusal::SameAdapter {
            instrument: "caliper-1".to_owned(),
            station: station(),
        },
        Refusal::SameAdapters { station: station() },
        Refusal::WhichAdapter {
            station: station(),
            instruments: two(),
        },
        Refusal::AnotherAdapter {
            name: "scanner-1".to_owned(),
            was: "0403:6001 serial A".to_owned(),
            is: "0403:6001 serial B".to_owned(),
        },
        Refusal::NotACard {
            why: NotACard::Unknown,
            got: "tj/retrakt".to_owned(),
        },
    ];
    for known in [two(), Vec::new()] {
        all.push(Refusal::NoStation {
            got: got(),
            known: known.clone(),
        });
        all.push(Refusal::NoPlan {
            got: got(),
            known: known.clone(),
        });
        all.push(Refusal::NoInstrument {
            got: got(),
            station: station(),
            known: known.clone(),
        });
        all.push(Refusal::WhichInstrument {
            station: station(),
            known: known.clone(),
        });
        all.push(Refusal::CannotBeAsked { got: got(), known });
    }
    for why in [
        WrongWords::Empty { most: 64 },
        WrongWords::TooLong { got: 70, most: 64 },
        WrongWords::Unseen {
            seen: "U+0007".to_owned(),
        },
        WrongWords::Slash,
    ] {
        for what in [
            "terminal lot",
            "wire lot",
            "job",
            "customer",
            "item",
            "serial number",
            "reference",
        ] {
            let (got, why) = (got(), why.clone());
            all.push(Refusal::Said { what, got, why });
        }
    }
    let job = Job {
        id: "4711".to_owned(),
        customer: Some("ACME 2.0".to_owned()),
        item: Some("HA-7".to_owned()),
        serial: Some("12".to_owned()),
        reference: Some("PO 9".to_owned()),
    };
    let (series, job) = (Seq(3), Some(Box::new(job)));
    for (got, want) in [(job.clone(), None), (None, job)] {
        all.push(Refusal::OtherJob { got, want, series });
    }
    for missing in [
        vec![Ask::Job],
        vec![Ask::Operator, Ask::Tool],
        Ask::ALL.to_vec(),
    ] {
        all.push(Refusal::NotSaid { missing });
    }
    all.extend(not_shown());
    for looks in [0, 1, 3] {
        let (got, series) = (4, Seq(12));
        all.push(Refusal::NoLook { got, series, looks });
    }
    all.push(Refusal::NotDue {
        look: 2,
        series: Seq(12),
    });
    for piece in [None, Some(7)] {
        let series = Seq(12);
        all.push(Refusal::NotPulled { piece, series });
        let (got, pieces) = (piece, 5);
        all.push(Refusal::NoPieceToLookAt {
            got,
            series,
            pieces,
        });
    }
    for by in Means::ALL {
        let (axis, value) = (axis("pull_force"), value("182.5 N"));
        all.push(Refusal::Destroyed {
            piece: 3,
            axis,
            value,
            by,
        });
    }
    for why in [
        NotACard::NotOurs,
        NotACard::NoPlan,
        NotACard::Nobody,
        NotACard::NoTool,
        NotACard::NoAnswer,
        NotACard::NoMode,
        NotACard::NoCount,
        NotACard::NoSettlement,
        NotACard::NoJob,
        NotACard::NoLot,
        NotACard::Unknown,
    ] {
        all.push(Refusal::NotACard {
            why,
            got: "tj/x".to_owned(),
        });
    }
    for is in [
        Foreign::Tool,
        Foreign::Plan,
        Foreign::Terminal(Vec::new()),
        Foreign::Terminal(names(&["pump-own", "valve-own"])),
        Foreign::Capitals,
        Foreign::Product,
        Foreign::Address,
    ] {
        all.push(Refusal::Foreign {
            is,
            got: "T-07".to_owned(),
        });
    }
    all
}

#[expect(clippy::too_many_lines, reason = "one of each")]
fn unarmables() -> Vec<Unarmable> {
    let known = || names(&["T-07", "T-08"]);
    let many = || (0..20).map(|n| format!("item-{n}")).collect::<Vec<_>>();
    let terminal = || "T-110".to_owned();
    let caliper = || "caliper-1".to_owned();
    let limits: Limits = "1.62 ±0.05 mm".parse().unwrap();
    let table = &PULL_TABLES[0];
    let awg = |name: &str| gauge(name).unwrap();
    let metric = wire("16 ga", Some(SizingSystem::SaeMetric));
    let odd = wire("16 ga", Some(SizingSystem::AwgArea));
    let mut all = vec![
        Unarmable::Pieces {
            got: 0,
            most: 10_000,
        },
        Unarmable::VerifiesCrimps,
        Unarmable::BlocksFor(Purpose::FirstOff),
        Unarmable::NoTerminal {
            got: "T-119".to_owned(),
            known: known(),
        },
        Unarmable::NoTerminal {
            got: "zzzzzzzz".to_owned(),
            known: known(),
        },
        Unarmable::NoTerminal {
            got: "zzzzzzzz".to_owned(),
            known: many(),
        },
        Unarmable::NoTerminal {
            got: "zzzzzzzz".to_owned(),
            known: Vec::new(),
        },
        Unarmable::NoRow {
            terminal: terminal(),
            wire: metric.clone(),
            sizes: vec![sizes("0.5 mm²", "1.0 mm²"), sizes("2.0 mm²", "2.0 mm²")],
        },
        Unarmable::NoRow {
            terminal: terminal(),
            wire: odd.clone(),
            sizes: vec![metric.area.into()],
        },
        Unarmable::NoRow {
            terminal: terminal(),
            wire: metric.clone(),
            sizes: vec![sizes("1.05 mm²", "1.05 mm²")],
        },
        Unarmable::NoRow {
            terminal: terminal(),
            wire: odd,
            sizes: vec![sizes("1.3 mm²", "1.3 mm²")],
        },
        Unarmable::Nothing { key: "axes" },
        Unarmable::Twice {
            key: "axes",
            got: "bellmouth".to_owned(),
        },
        Unarmable::NoAxis {
            got: axis("core_crimp_hieght"),
            known: names(&["core_crimp_height"]),
        },
        Unarmable::NotLimited {
            terminal: terminal(),
            wire: sizes("2.0 mm²", "2.0 mm²"),
            axis: axis("bellmouth"),
            limited: names(&["core_crimp_height"]),
        },
        Unarmable::PullForce(PullTableError::OtherSystem {
            table,
            wire: metric,
        }),
        Unarmable::PullForce(PullTableError::NoRow {
            table,
            gauge: "30".to_owned(),
        }),
        Unarmable::PullForce(PullTableError::TooFar {
            gauge: awg("14"),
            wire: "0.5 mm²".parse().unwrap(),
        }),
        Unarmable::PulledToo {
            axis: axis("core_crimp_height"),
        },
        Unarmable::NoTool {
            got: "T-00".to_owned(),
            known: known(),
        },
        Unarmable::NotForTerminal {
            tool: "T-07".to_owned(),
            terminal: terminal(),
            only: names(&["T-250"]),
        },
        Unarmable::NestOfNothing {
            nest: "2.0".to_owned(),
        },
        Unarmable::NoNest {
            tool: "T-07".to_owned(),
            got: "9".to_owned(),
            known: names(&["1.0", "2.0"]),
        },
        Unarmable::NoNestForWire {
            tool: "T-07".to_owned(),
            wire: wire("2.0 mm²", None),
            made_for: vec!["0.5 mm²".parse().unwrap()],
        },
        Unarmable::NoInstrument {
            axis: axis("pull_force"),
            dimension: Dimension::Force,
            station: "bench-1".to_owned(),
        },
        Unarmable::NoInstrument {
            axis: axis("bellmouth"),
            dimension: Dimension::Length,
            station: "bench-1".to_owned(),
        },
        Unarmable::TooCoarse {
            instrument: caliper(),
            resolution: quantity("0.1 mm"),
            axis: axis("bellmouth"),
            limits: limits.clone(),
            counts: 1,
            want: 4,
        },
        Unarmable::NoMaxError {
            instrument: caliper(),
            of_blocks: true,
        },
        Unarmable::NoMaxError {
            instrument: caliper(),
            of_blocks: false,
        },
        Unarmable::NoBudget {
            got: "caliper-1/2026-10".to_owned(),
            known: names(&["caliper-1/2026-11"]),
        },
        Unarmable::NoBudgetOf {
            instrument: caliper(),
            fitting: Some("caliper-1/2026-11".to_owned()),
        },
        Unarmable::NoBudgetOf {
            instrument: caliper(),
            fitting: None,
        },
        Unarmable::GuardTooWide {
            instrument: caliper(),
            axis: axis("bellmouth"),
            limits,
        },
        Unarmable::NotToldApart {
            one: axis("a"),
            other: axis("b"),
            windows: None,
        },
        Unarmable::NotToldApart {
            one: axis("a"),
            other: axis("b"),
            windows: Some([
                (quantity("1.2 mm"), quantity("2.2 mm")),
                (quantity("2.0 mm"), quantity("3.0 mm")),
            ]),
        },
        Unarmable::NoSuchInstrument {
            got: "caliper-2".to_owned(),
            known: names(&["caliper-1"]),
        },
        Unarmable::NoSuchInstrument {
            got: "caliper-2".to_owned(),
            known: Vec::new(),
        },
        Unarmable::OfOtherStation {
            instrument: caliper(),
            station: "bench-1".to_owned(),
            of: "bench-2".to_owned(),
        },
        Unarmable::NoLengths {
            instrument: "gauge-1".to_owned(),
        },
        Unarmable::OutOfRange {
            block: value("250 mm"),
            instrument: caliper(),
            range: (quantity("0 mm"), quantity("150 mm")),
        },
        Unarmable::BlockTooLong {
            block: value("250 mm"),
            max_error: quantity("0.02 mm"),
        },
        Unarmable::BlocksTooNear {
            block: value("2.50 mm"),
            other: value("2.51 mm"),
            max_error: quantity("0.02 mm"),
        },
        Unarmable::Wire(WireError::AreaWithGaugeSystem {
            area: "2.0 mm²".parse().unwrap(),
            sizing: SizingSystem::AwgArea,
        }),
    ];
    for key in ["pieces", "decision", "alerts", "tool"] {
        all.push(Unarmable::BesideBlocks { key });
    }
    for (text, sizing) in [
        ("thick", None),
        ("19x0.37", None),
        ("55 ga", None),
        ("16 ga", None),
        ("17 ga", Some(SizingSystem::SaeMetric)),
        ("40 ga", None),
    ] {
        all.push(Unarmable::Wire(wire_error(text, sizing)));
    }
    for fitting in [None, Some("2.0".to_owned())] {
        all.push(Unarmable::NestUnnamed {
            tool: "T-07".to_owned(),
            fitting: fitting.clone(),
        });
        all.push(Unarmable::WrongNest {
            tool: "T-07".to_owned(),
            nest: "1.0".to_owned(),
            wire: wire("2.0 mm²", None),
            made_for: vec!["0.5 mm²".parse().unwrap(), "1.0 mm²".parse().unwrap()],
            fitting,
        });
    }
    all
}

fn undecodables() -> Vec<DecodeError> {
    vec![
        DecodeError::CutShort { got: 3 },
        DecodeError::MidFrame {
            got: 3,
            behind: "while the port was opened",
        },
        DecodeError::MidFrame {
            got: 3,
            behind: "while the computer stood still",
        },
        DecodeError::TooLong { got: 300, most: 64 },
        DecodeError::LineFault {
            spoiled: 2,
            of: 7,
            at: 1,
            got: 0xb1,
        },
        DecodeError::UnexpectedByte {
            at: 3,
            got: 0x7f,
            want: "a digit",
        },
        DecodeError::UnexpectedByte {
            at: 3,
            got: 0x7f,
            want: "a digit, a point or the end",
        },
        DecodeError::UnexpectedByte {
            at: 3,
            got: 0x7f,
            want: "a digit, a point or a unit",
        },
        DecodeError::UnexpectedByte {
            at: 3,
            got: 0x7f,
            want: "a hexadecimal digit",
        },
        DecodeError::NoDigits,
        DecodeError::TooManyDigits { got: 30, most: 18 },
        DecodeError::TooLarge {
            got: "999999999999999999 in".to_owned(),
        },
        DecodeError::UnknownUnit {
            got: "ell".to_owned(),
        },
        DecodeError::WrongLength {
            got: 5,
            want: 6,
            what: "hexadecimal digits",
        },
        DecodeError::WrongLength {
            got: 5,
            want: 6,
            what: "bytes",
        },
        DecodeError::Illegal {
            what: "channel",
            got: "300".to_owned(),
            want: "0 to 255",
        },
        DecodeError::Illegal {
            what: "value",
            got: "x".to_owned(),
            want: "a number",
        },
        DecodeError::Illegal {
            what: "sign",
            got: "x".to_owned(),
            want: "+ or -",
        },
        DecodeError::Illegal {
            what: "sign",
            got: "--".to_owned(),
            want: "it once",
        },
        DecodeError::Illegal {
            what: "bits 22 and 23",
            got: "01".to_owned(),
            want: "00",
        },
        DecodeError::NoMatch {
            got: "hello".to_owned(),
        },
        DecodeError::GaugeFault {
            code: "E2".to_owned(),
        },
    ]
}

fn assert_each(seen: impl Iterator<Item = &'static str>, all: &[&'static str]) {
    let seen: BTreeSet<_> = seen.collect();
    let all: BTreeSet<_> = all.iter().copied().collect();
    assert_eq!(seen, all, "one of each");
}

#[test]
fn every_refusal_and_its_remedy_is_said_in_every_language() {
    let all = refusals();
    assert_each(all.iter().map(refusal), REFUSALS);
    for one in &all {
        let key = match one {
            Refusal::Unarmable(_) => "daemon.unarmable.".to_owned(),
            other => format!("daemon.refusal.{}", snake(refusal(other))),
        };
        assert_has(&key, &one.to_string());
        assert_has("daemon.help.", &one.remedy());
    }
}

#[test]
fn every_reason_why_a_plan_cannot_be_armed_is_said_in_every_language() {
    let all = unarmables();
    assert_each(all.iter().map(unarmable), UNARMABLES);
    for one in &all {
        let key = match one {
            // An error of a value may say by itself what is wanted.
            Unarmable::Wire(_) | Unarmable::PullForce(_) => "daemon.".to_owned(),
            other => format!("daemon.unarmable.{}", snake(unarmable(other))),
        };
        assert_has(&key, &one.to_string());
        assert_has("daemon.help.", &one.remedy());
    }
}

#[test]
fn every_reason_why_bytes_are_no_value_is_said_in_every_language() {
    let all = undecodables();
    assert_each(all.iter().map(undecoded), UNDECODED);
    for one in &all {
        assert_has(
            &format!("daemon.unread.{}", snake(undecoded(one))),
            &one.to_string(),
        );
        assert_has("daemon.help.", one.remedy().unwrap());
    }
}

#[test]
fn every_reason_why_a_file_is_no_picture_is_in_the_table() {
    let format = PictureFormat::Jpeg;
    let mut all = vec![
        NotAPicture::Empty,
        NotAPicture::TooLarge,
        NotAPicture::Ending {
            ending: "gif".to_owned(),
            format,
        },
        NotAPicture::Truncated { format, got: 7 },
        NotAPicture::Behind { format, got: 7 },
        NotAPicture::Pixels {
            width: 10_000,
            height: 9_000,
        },
        NotAPicture::Unpacked,
        NotAPicture::Damaged {
            format: PictureFormat::Png,
            cause: "CRC error".to_owned(),
        },
    ];
    for beginning in [
        &b"GIF89a"[..],
        b"BM",
        b"II*\0",
        b"MM\0*",
        b"RIFF",
        b"%PDF-1.7",
        b" <svg/>",
        b"PK\x03\x04",
        b"\0\0\0\x18ftypheic",
        b"1.62",
    ] {
        all.push(check("a.jpg", beginning).unwrap_err());
    }
    for why in all {
        assert_has("daemon.picture.", &why.to_string());
        assert_has(
            "daemon.picture.not_taken",
            &format!("a.jpg was not taken: {why}"),
        );
        assert_has("daemon.help.", why.remedy());
    }
}
