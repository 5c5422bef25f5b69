//! Journals made by the real core for the tests of reports, and the reports.

use crate::station::desk::{Desk, HEIGHT, catalog, crimps, plan};
use std::sync::Arc;
use std::time::Duration;
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::entry::{Entry, FrameEntry, Means, Seq, Stamped, Standing};
use tallyjaw::letterhead::{Letterhead, Logo, PageSize};
use tallyjaw::quantity::{WallMicros, Zone};
use tallyjaw::report::comparison::{Compare, Group};
use tallyjaw::report::{Collecting, Gathered, Gathering, Lines, Report, ReportRequest};
use tallyjaw::spec::{
    AxisName, Catalog, Decision, GaugeBlock, Job, Material, Order, Papers, Plan, PullMode, Purpose,
    Subject, ZeroPolicy,
};
use tallyjaw::station::{Armable, Command};

/// Every journal with a report in the tests: name and entries.
pub(crate) fn cases() -> Vec<(&'static str, Vec<Stamped>)> {
    vec![
        ("one_piece", one_piece()),
        ("two_axes_by_piece", two_axes_by_piece()),
        ("still_open", still_open()),
        ("cut_short", cut_short()),
        ("everything_failed", everything_failed()),
        ("unsure", unsure()),
        ("hostile_names", hostile_names()),
        ("pull_test", pull_test()),
        ("pull_modes", pull_modes()),
        ("verified_instrument", verified_instrument()),
        ("several_series", several_series()),
        ("five_pieces", many_pieces(5)),
        ("ten_pieces", many_pieces(10)),
        ("twenty_five_pieces", many_pieces(25)),
        ("hundred_pieces", many_pieces(100)),
        ("three_hundred_pieces", many_pieces(300)),
        ("thousand_pieces", many_pieces(1_000)),
    ]
}

fn axes(names: &[&str]) -> Vec<AxisName> {
    names.iter().map(|name| AxisName::new(*name)).collect()
}

pub(super) fn heights(pieces: u32) -> Plan {
    Plan {
        axes: axes(&[HEIGHT]),
        pieces,
        ..plan()
    }
}

pub(super) fn press(desk: &mut Desk, values: &[&str]) {
    for value in values {
        desk.press(value);
    }
}

fn one_piece() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(heights(1)).unwrap();
    press(&mut desk, &["0.00", "1.63", "0.00"]);
    desk.entries
}

/// Height and width of each piece; a slip retracted, a height among widths, a zero that is off.
pub(crate) fn two_axes_by_piece() -> Vec<Stamped> {
    let mut desk = Desk::new();
    let plan = Plan {
        order: Order::ByPiece,
        ..plan()
    };
    let what = Armable::Inline(Box::new(plan));
    let operator = Some("mara".to_owned());
    let arm = Command::Arm {
        cut: true,
        station: None,
        what,
        operator,
    };
    desk.command(arm).unwrap();
    press(&mut desk, &["0.00", "1.63", "2.41", "1.72"]);
    desk.retract(None).unwrap();
    press(&mut desk, &["1.61", "1.62", "2.39", "?x", "0.02", "0.00"]);
    let note = Command::Note {
        station: None,
        text: "jaws wiped".to_owned(),
    };
    desk.command(note).unwrap();
    press(
        &mut desk,
        &["1.63", "2.41", "1.61", "2.39", "1.62", "2.40", "0.00"],
    );
    desk.entries
}

/// A note on a series that is closed, and then the next one.
pub(crate) fn noted_after_the_outcome() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(heights(1)).unwrap();
    press(&mut desk, &["0.00", "1.63", "0.00"]);
    let note = Command::Note {
        station: None,
        text: "the last strand was nicked".to_owned(),
    };
    desk.command(note).unwrap();
    desk.arm(heights(1)).unwrap();
    press(&mut desk, &["0.00", "1.63", "0.00"]);
    desk.entries
}

/// A series for a customer's job, of a lot of terminals.
pub(crate) fn of_a_job() -> Vec<Stamped> {
    let mut desk = Desk::new();
    let job = Job {
        id: "4711".to_owned(),
        customer: Some("Hof & Söhne".to_owned()),
        item: None,
        serial: None,
        reference: None,
    };
    let job = Some(job);
    desk.command(Command::Job { station: None, job }).unwrap();
    desk.command(Command::Lot {
        station: None,
        material: Material::Terminal,
        lot: Some("reel 12".to_owned()),
    })
    .unwrap();
    desk.arm(heights(1)).unwrap();
    press(&mut desk, &["0.00", "1.63", "0.00"]);
    desk.entries
}

/// The entries before an off zero was distinguished from a reading that does not count, and that entry.
pub(crate) fn a_value_near_zero_before_the_closing_zero() -> (Vec<Stamped>, Seq) {
    let mut desk = Desk::new();
    desk.arm(heights(1)).unwrap();
    press(&mut desk, &["0.00", "1.63", "9.99", "0.00"]);
    let is_it = |stamped: &Stamped| match &stamped.entry {
        Entry::Frame(FrameEntry::Reading(reading)) => reading.standing != Standing::Counted,
        _ => false,
    };
    let at = desk.entries.iter().position(is_it).unwrap();
    let stamped = &mut desk.entries[at];
    if let Entry::Frame(FrameEntry::Reading(reading)) = &mut stamped.entry {
        let mut old = (**reading).clone();
        old.value = "0.05 mm".parse().unwrap();
        old.raw = b"0.05\r".to_vec();
        *reading = old.into();
    }
    let seq = stamped.seq;
    (desk.entries, seq)
}

fn still_open() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(heights(5)).unwrap();
    press(&mut desk, &["0.00", "1.63", "1.75"]);
    desk.entries
}

fn cut_short() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(heights(5)).unwrap();
    press(&mut desk, &["1.62", "0.00", "1.63"]);
    desk.command(Command::Disarm { station: None }).unwrap();
    desk.entries
}

fn everything_failed() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(heights(5)).unwrap();
    press(
        &mut desk,
        &["0.00", "1.75", "1.50", "1.72", "1.48", "1.81", "0.00"],
    );
    desk.entries
}

fn unsure() -> Vec<Stamped> {
    let mut desk = Desk::new();
    let decision = Decision::Guarded {
        factor_milli: 1_645,
    };
    desk.arm(Plan {
        decision,
        tool: Some("R-02".to_owned()),
        ..heights(5)
    })
    .unwrap();
    press(
        &mut desk,
        &["0.00", "1.62", "1.66", "1.58", "1.63", "1.60", "0.00"],
    );
    desk.entries
}

/// Every name is markup, text from right to left, or characters that change direction.
fn hostile_names() -> Vec<Stamped> {
    let mut desk = Desk::with(hostile_catalog());
    let plan = Plan {
        id: Some("<img src=x onerror=alert(1)>".to_owned()),
        subject: crimps(TERMINAL, "2.0 mm²"),
        axes: axes(&[HEIGHT]),
        tool: Some("</script><script>alert(1)</script>".to_owned()),
        nest: Some("\"'&lt;".to_owned()),
        ..plan()
    };
    let what = Armable::Inline(Box::new(plan));
    let operator = Some("דנה <i>لیلا</i>".to_owned());
    desk.command(Command::Arm {
        cut: true,
        station: None,
        what,
        operator,
    })
    .unwrap();
    press(&mut desk, &["0.00", "1.63", "1.62"]);
    let note = Command::Note {
        station: None,
        text: "</bdi></td></table><style>*{display:none}</style> ملاحظة -->".to_owned(),
    };
    desk.command(note).unwrap();
    press(&mut desk, &["1.61", "0.00"]);
    desk.entries.iter().map(with_an_override).collect()
}

/// As an older release entered it, which allowed such names.
fn with_an_override(stamped: &Stamped) -> Stamped {
    let line = String::from_utf8(encode(stamped, Digest::NONE)).unwrap();
    let line = line.replace("דנה ", "דנה \u{202e}");
    decode(line.as_bytes()).unwrap().0
}

const TERMINAL: &str = "<b>קו-250</b>&amp;";

fn hostile_catalog() -> Catalog {
    let mut catalog = catalog();
    catalog.terminals[0].id = TERMINAL.to_owned();
    catalog.terminals[0].source = Some("<!-- sheet \u{2066}rev C -->".to_owned());
    catalog.tools[0].id = "</script><script>alert(1)</script>".to_owned();
    catalog.tools[0].terminals = Vec::new();
    catalog.tools[0].nests[0].id = "\"'&lt;".to_owned();
    catalog
}

fn pull_test() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(Plan {
        axes: axes(&["pull_force"]),
        pieces: 5,
        purpose: Purpose::Qualification,
        ..plan()
    })
    .unwrap();
    for value in ["0", "201", "195", "187", "210", "198", "0"] {
        desk.press_on("gauge-1", value);
    }
    desk.entries
}

/// Pulls of which it was said how they failed; one is retracted, and its answer with it.
fn pull_modes() -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(Plan {
        axes: axes(&["pull_force"]),
        pieces: 4,
        purpose: Purpose::FirstOff,
        questions: tallyjaw::spec::Questions {
            pull_mode: true,
            ..plan().questions
        },
        ..plan()
    })
    .unwrap();
    desk.press_on("gauge-1", "0");
    for (force, mode) in [
        ("201", PullMode::BrokeInWire),
        ("195", PullMode::PulledOut),
        ("183", PullMode::PulledOut),
        ("90", PullMode::Other),
    ] {
        desk.press_on("gauge-1", force);
        pulled(&mut desk, mode);
    }
    desk.command(Command::Retract {
        station: None,
        seq: None,
        reason: Some("slipped in the grips".to_owned()),
        by: Means::Command,
    })
    .unwrap();
    desk.press_on("gauge-1", "210");
    pulled(&mut desk, PullMode::BrokeInWire);
    desk.press_on("gauge-1", "0");
    desk.entries
}

fn pulled(desk: &mut Desk, mode: PullMode) {
    desk.command(Command::Pulled {
        station: None,
        piece: None,
        mode,
        by: Means::Command,
    })
    .unwrap();
}

/// A caliper against gauge blocks, then a series measured with it.
pub(crate) fn verified_instrument() -> Vec<Stamped> {
    let mut desk = Desk::new();
    let blocks = ["1.30 mm", "2.50 ±0.0002 mm", "41.30 mm"];
    let blocks: Vec<GaugeBlock> = blocks.iter().map(|text| text.parse().unwrap()).collect();
    desk.arm(Plan {
        axes: blocks.iter().map(GaugeBlock::axis).collect(),
        subject: Subject::Blocks {
            instrument: "caliper-1".to_owned(),
            blocks,
        },
        pieces: 2,
        order: Order::ByPiece,
        purpose: Purpose::Verification,
        tool: None,
        nest: None,
        ..plan()
    })
    .unwrap();
    press(&mut desk, &["0.00", "1.30", "2.56"]);
    desk.retract(None).unwrap();
    press(
        &mut desk,
        &["2.51", "41.29", "1.30", "2.50", "41.30", "0.00"],
    );
    desk.arm(heights(2)).unwrap();
    press(&mut desk, &["0.00", "1.63", "1.62", "0.00"]);
    desk.entries
}

/// Two tools, two series each.
pub(crate) fn several_series() -> Vec<Stamped> {
    let mut desk = Desk::new();
    let own = ["1.61", "1.62", "1.62", "1.63", "1.62", "1.61"];
    let repair = ["1.64", "1.65", "1.64", "1.66", "1.63", "1.65"];
    for (tool, values) in [
        ("T-07", own),
        ("R-02", repair),
        ("T-07", own),
        ("R-02", repair),
    ] {
        let plan = Plan {
            tool: Some(tool.to_owned()),
            ..heights(6)
        };
        desk.arm(plan).unwrap();
        press(&mut desk, &["0.00"]);
        press(&mut desk, &values);
        press(&mut desk, &["0.00"]);
        desk.wait(Duration::from_secs(3_600));
    }
    desk.entries
}

/// Height and width of this number of pieces, with the events of a long run.
pub(crate) fn many_pieces(pieces: u32) -> Vec<Stamped> {
    let mut desk = Desk::new();
    desk.arm(Plan {
        pieces,
        purpose: Purpose::InProcess,
        zero: ZeroPolicy {
            every_pieces: None,
            ..ZeroPolicy::default()
        },
        ..plan()
    })
    .unwrap();
    desk.press("0.00");
    for (nominal, spread) in [(162, 3), (240, 7)] {
        for piece in 0..pieces {
            // no two runs of it are equal, and it is the same on every machine
            let off = (piece * 7 + piece * piece * 3) % (2 * spread + 1);
            let hundredths = nominal + off - spread;
            desk.press(&format!("{}.{:02}", hundredths / 100, hundredths % 100));
        }
    }
    desk.press("0.00");
    desk.entries
}

/// Time at which every report of the tests is made.
pub(crate) const MADE: WallMicros = WallMicros(1_764_100_000_000_000);

/// The lines of a journal.
pub(crate) fn lines(entries: &[Stamped]) -> Vec<Vec<u8>> {
    let mut prev = Digest::NONE;
    let lines = entries.iter().map(|stamped| {
        let line = encode(stamped, prev);
        prev = Digest::of(&line);
        line
    });
    lines.collect()
}

/// The lines that a checkable page of these series holds.
pub(super) fn kept_lines(gathered: &Gathered, entries: &[Stamped]) -> Option<Arc<Lines>> {
    let mut collecting = Collecting::of(gathered)?;
    for (stamped, line) in entries.iter().zip(lines(entries)) {
        if !collecting.take(stamped, &line) {
            break;
        }
    }
    Some(Arc::new(collecting.finish().unwrap()))
}

/// A report of the series that are wanted, with the journal's lines.
pub(crate) fn checkable(entries: &[Stamped], wants: impl Fn(Seq) -> bool, full: bool) -> Report {
    let gathered = gathered(entries, wants);
    let asked = ReportRequest {
        lines: kept_lines(&gathered, entries),
        full,
        ..request(Zone::UTC)
    };
    Report::new(gathered, asked)
}

/// A report of the series that are wanted.
pub(crate) fn report(
    entries: &[Stamped],
    wants: impl Fn(Seq) -> bool,
    compare: Option<Compare>,
) -> Report {
    let asked = ReportRequest {
        compare,
        ..request(Zone::UTC)
    };
    requested(entries, wants, asked)
}

pub(super) fn request(zone: Zone) -> ReportRequest {
    ReportRequest {
        lines: None,
        query: Vec::new(),
        compare: None,
        full: false,
        qualified: None,
        made: MADE,
        zone,
        version: "0.1.0".to_owned(),
        letterhead: Arc::default(),
        copies: Arc::default(),
    }
}

/// The letterhead of the commented example.
fn letterhead() -> Letterhead {
    let logo = Logo::of_file(include_bytes!("../../../config/logo.svg")).unwrap();
    Letterhead {
        name: Some("Example Harness Shop".to_owned()),
        address: vec!["Pump Lane 4".to_owned(), "1010 Vienna".to_owned()],
        logo: Some(logo),
        page_size: Some(PageSize::A4),
    }
}

/// A report of all series with a letterhead.
pub(crate) fn with_letterhead(entries: &[Stamped]) -> Report {
    let asked = ReportRequest {
        letterhead: Arc::new(letterhead()),
        ..request(Zone::UTC)
    };
    requested(entries, |_| true, asked)
}

/// A series measured with a caliper whose papers are known, and whose calibration was due.
pub(crate) fn with_papers() -> Vec<Stamped> {
    let mut known = catalog();
    for instrument in &mut known.instruments {
        instrument.papers = Papers {
            serial: Some("20417-B".to_owned()),
            certificate: Some("K 2026-0311".to_owned()),
            maker_sheet: Some("DS-12, edition 3".to_owned()),
        };
        instrument.care.calibrated = Some("2024-11-10".parse().unwrap());
        instrument.care.calibration_due = Some("2025-11-10".parse().unwrap());
    }
    let mut desk = Desk::with(known);
    desk.arm(heights(1)).unwrap();
    press(&mut desk, &["0.00", "1.63", "0.00"]);
    desk.entries
}

fn requested(entries: &[Stamped], wants: impl Fn(Seq) -> bool, request: ReportRequest) -> Report {
    Report::new(gathered(entries, wants), request)
}

pub(super) fn gathered(entries: &[Stamped], wants: impl Fn(Seq) -> bool) -> Gathered {
    let mut gathering = Gathering::new(|id, _, _| wants(id));
    for (stamped, line) in entries.iter().zip(lines(entries)) {
        gathering.take(stamped, Digest::of(&line));
    }
    gathering.finish().unwrap()
}

/// A report of all series, with its appendix.
pub(crate) fn in_full(entries: &[Stamped]) -> Report {
    let asked = ReportRequest {
        full: true,
        ..request(Zone::UTC)
    };
    requested(entries, |_| true, asked)
}

/// A report of all series, its times in this zone.
pub(crate) fn in_zone(entries: &[Stamped], zone: Zone) -> Report {
    requested(entries, |_| true, request(zone))
}

/// A report of all series.
pub(crate) fn whole(entries: &[Stamped]) -> Report {
    report(entries, |_| true, None)
}

/// Two tools side by side.
pub(crate) fn two_tools() -> Report {
    compare_tools(&several_series())
}

/// Every tool of a journal beside the others.
pub(crate) fn compare_tools(entries: &[Stamped]) -> Report {
    let compare = Compare {
        by: Group::Tool,
        margin: Some("0.02 mm".parse().unwrap()),
        reference: None,
    };
    report(entries, |_| true, Some(compare))
}

/// Two tools, a series each: half of the heights each, in hundredths of a millimetre from nominal.
pub(crate) fn two_tools_with(hundredths: &[i32]) -> Vec<Stamped> {
    let mut desk = Desk::new();
    let half = hundredths.len() / 2;
    for (tool, values) in [("T-07", &hundredths[..half]), ("R-02", &hundredths[half..])] {
        let pieces = u32::try_from(values.len()).unwrap();
        desk.arm(Plan {
            tool: Some(tool.to_owned()),
            ..heights(pieces)
        })
        .unwrap();
        desk.press("0.00");
        for off in values {
            desk.press(&format!("1.{:02}", 62 + off));
        }
        desk.press("0.00");
    }
    desk.entries
}
