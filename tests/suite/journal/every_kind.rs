//! Makes a journal with every kind of entry, for the stored samples.

use super::bench::{NOW, reopen, write};
use crate::station::desk::{Desk, HEIGHT, catalog, plan};
use crate::station::pictures::take;
use crate::station::production::shop as runs_shop;
use std::path::Path;
use std::time::Duration;
use tallyjaw::entry::{
    ConfigurationEdited, DamageAccepted, Entry, FileEdited, Gap, JournalId, Means, Paired, Revoked,
    RolledBack, Seq, TabletSaid,
};
use tallyjaw::spec::{
    AlertRule, AxisName, Catalog, GaugeBlock, Job, Look, LooksPer, Material, Plan, Purpose,
    Questions, Settlement, Signal, SignalKind, Subject, ZeroPolicy,
};
use tallyjaw::station::{Command, Input, Settling};

fn shop() -> Catalog {
    let mut catalog = catalog();
    catalog.signals.push(Signal {
        name: "scanner-1".to_owned(),
        station: "bench-1".to_owned(),
        kind: SignalKind::Scanner { line_end: true },
    });
    catalog
}

fn heights(pieces: u32, zero: ZeroPolicy) -> Plan {
    Plan {
        axes: vec![AxisName::new(HEIGHT)],
        pieces,
        zero,
        ..plan()
    }
}

fn scan(desk: &mut Desk, card: &str) {
    desk.wait(Duration::from_secs(1));
    desk.input(Input::Bytes {
        instrument: "scanner-1",
        bytes: format!("{card}\r").as_bytes(),
    });
}

/// Operator and tool by card, a slip retracted by card, a card that is refused, a rise that raises an alert, a zero by
/// time, a closing zero that is off.
fn crimps(desk: &mut Desk) {
    scan(desk, "tj/operator/mara");
    scan(desk, "tj/tool/T-07/2.0");
    let zero = ZeroPolicy {
        every: Some(Duration::from_secs(600)),
        ..ZeroPolicy::default()
    };
    let rules = ["six_in_a_row", "eight_on_one_side"];
    desk.arm(Plan {
        alerts: rules
            .map(|rule| AlertRule::from_name(rule).unwrap())
            .to_vec(),
        ..heights(7, zero)
    })
    .unwrap();
    scan(desk, "tj/operator/jon");
    for value in ["0.00", "1.58", "1.59", "1.60", "1.61", "1.72", "?x"] {
        desk.press(value);
    }
    scan(desk, "tj/retract");
    scan(desk, "tj/arm/pump-onw");
    for value in ["1.62", "1.63"] {
        desk.press(value);
    }
    desk.wait(Duration::from_secs(600));
    desk.command(Command::Zero {
        station: None,
        instrument: Some("caliper-1".to_owned()),
    })
    .unwrap();
    for value in ["0.00", "1.64", "0.02", "0.00"] {
        desk.press(value);
    }
}

/// A pull series, a verification of a caliper, and a series that is stopped early.
fn others(desk: &mut Desk) {
    desk.arm(Plan {
        pieces: 2,
        axes: vec![AxisName::new("pull_force")],
        ..plan()
    })
    .unwrap();
    for value in ["0", "187", "179", "0"] {
        desk.press_on("gauge-1", value);
    }
    let blocks: Vec<GaugeBlock> = ["1.30 mm", "2.50 ±0.0002 mm"]
        .map(|block| block.parse().unwrap())
        .to_vec();
    desk.arm(Plan {
        axes: blocks.iter().map(GaugeBlock::axis).collect(),
        subject: Subject::Blocks {
            instrument: "caliper-1".to_owned(),
            blocks,
        },
        pieces: 1,
        purpose: Purpose::Verification,
        tool: None,
        nest: None,
        ..plan()
    })
    .unwrap();
    for value in ["0.00", "1.30", "2.51", "0.00"] {
        desk.press(value);
    }
    desk.arm(heights(3, ZeroPolicy::default())).unwrap();
    desk.press("0.00");
    desk.press("1.62");
    desk.retract(None).unwrap();
    desk.command(Command::Note {
        station: None,
        text: "\"nicked\" strands\n\u{202e}<b>".to_owned(),
    })
    .unwrap();
    desk.command(Command::Disarm { station: None }).unwrap();
}

fn what_befalls_it(desk: &mut Desk) {
    desk.input(Input::PortClosed {
        instrument: "gauge-1",
        reason: "the adapter was unplugged",
    });
    desk.set_clock(3_600);
    desk.input(Input::Journal(Entry::from(Gap {
        since: NOW,
        frames: 3,
        reason: "no space left on the disk".to_owned(),
    })));
    desk.input(Input::Journal(Entry::from(DamageAccepted {
        seq: Seq(2),
        reason: "made for this sample".to_owned(),
    })));
    desk.input(Input::Stopping { reason: "SIGTERM" });
}

/// A retraction that was restored, and a spent piece of a pull test. In the state of its last segment a reading can be
/// restored.
pub(super) fn restored(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    desk.arm(heights(2, ZeroPolicy::default())).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    scan(&mut desk, "tj/retract");
    scan(&mut desk, "tj/restore");
    desk.press("1.61");
    desk.press("0.00");
    desk.arm(Plan {
        pieces: 2,
        axes: vec![AxisName::new("pull_force")],
        ..plan()
    })
    .unwrap();
    for value in ["0", "187"] {
        desk.press_on("gauge-1", value);
    }
    scan(&mut desk, "tj/retract/slipped in the grips");
    desk.input(Input::SegmentFull);
    desk.press_on("gauge-1", "190");
    write(opened, &desk.entries);
}

/// A caliper whose port has another adapter after a replug until a person confirms it, and is used by other programs.
fn ports(desk: &mut Desk) {
    desk.adapter(
        "caliper-1",
        Some(("0403:6001 serial A", "0000:00:14.0 usb 4:1.0")),
    );
    desk.arm(heights(3, ZeroPolicy::default())).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    desk.adapter(
        "caliper-1",
        Some(("0403:6001 serial B", "0000:00:14.0 usb 4:1.0")),
    );
    desk.press("1.63");
    scan(desk, "tj/adapter");
    desk.input(Input::Disturbed {
        instrument: "caliper-1",
        holders: &["cat (pid 12)".to_owned()],
        settings: Some("1200 8N1"),
    });
    desk.press("0.00");
}

/// Kinds that [`every_kind`] lacks. In its last segment another program has the port open.
pub(super) fn ports_of_others(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    ports(&mut desk);
    desk.input(Input::SegmentFull);
    desk.input(Input::Disturbed {
        instrument: "caliper-1",
        holders: &[],
        settings: None,
    });
    desk.press("0.00");
    desk.press("1.61");
    write(opened, &desk.entries);
}

/// A series that an arming stopped and that was resumed. In the state of the last segment another one can be.
pub(super) fn resumed(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    let two = || heights(2, ZeroPolicy::default());
    desk.arm(two()).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    desk.arm(two()).unwrap();
    scan(&mut desk, "tj/operator/jon");
    scan(&mut desk, "tj/resume");
    for value in ["1.61", "0.00"] {
        desk.press(value);
    }
    desk.arm(two()).unwrap();
    for value in ["0.00", "1.60"] {
        desk.press(value);
    }
    desk.arm(two()).unwrap();
    desk.input(Input::SegmentFull);
    desk.press("0.00");
    write(opened, &desk.entries);
}

/// Jobs by command and card, lots that change within a series and at its resumption; in the state of the last segment a
/// series of a job is open.
pub(super) fn jobs_and_lots(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    let two = || heights(2, ZeroPolicy::default());
    desk.command(Command::Job {
        station: None,
        job: Some(Job {
            id: "4711".to_owned(),
            customer: Some("Example Pumps Ltd".to_owned()),
            item: Some("pump harness, revision B".to_owned()),
            serial: Some("8".to_owned()),
            reference: Some("PO-8832".to_owned()),
        }),
    })
    .unwrap();
    scan(&mut desk, "tj/lot/terminal/R-2031");
    desk.arm(two()).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    scan(&mut desk, "tj/lot/wire/88-1407");
    scan(&mut desk, "tj/job/4712");
    desk.arm(two()).unwrap();
    scan(&mut desk, "tj/lot/wire/88-1408");
    scan(&mut desk, "tj/resume");
    for value in ["1.61", "0.00"] {
        desk.press(value);
    }
    desk.command(Command::Job {
        station: None,
        job: None,
    })
    .unwrap();
    desk.command(Command::Lot {
        station: None,
        material: Material::Terminal,
        lot: None,
    })
    .unwrap();
    scan(&mut desk, "tj/job/4711/9");
    desk.arm(two()).unwrap();
    desk.press("0.00");
    desk.input(Input::SegmentFull);
    desk.press("1.60");
    write(opened, &desk.entries);
}

/// Two production runs: good and bad samples, a sample that is due by time, held and settled crimps; in the state of the
/// last segment the second run is open with a bad sample.
pub(super) fn production_runs(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(runs_shop(), opened.state.clone());
    let sample = |desk: &mut Desk, plan: &str, values: [&str; 2]| {
        scan(desk, &format!("tj/arm/{plan}"));
        for value in values {
            desk.press(value);
        }
    };
    let good = ["1.62", "1.63"];
    scan(&mut desk, "tj/crimps/5");
    sample(&mut desk, "day-first_off", good);
    desk.input(Input::Bytes {
        instrument: "counter-1",
        bytes: b"1\r1\r",
    });
    scan(&mut desk, "tj/crimps/98");
    sample(&mut desk, "day-in_process", ["1.62", "1.70"]);
    scan(&mut desk, "tj/crimps/4");
    sample(&mut desk, "day-in_process", good);
    scan(&mut desk, "tj/operator/mara");
    let held = desk.entries.iter();
    let held = held.filter(|stamped| stamped.entry.kind() == "held");
    let first = held.map(|stamped| stamped.seq).next();
    desk.command(Command::Settle {
        station: None,
        what: Settling {
            held: first,
            crimps: Some(97),
            settlement: Settlement::Release,
            reason: "each measured".to_owned(),
            by: Means::Command,
        },
    })
    .unwrap();
    desk.wait(Duration::from_secs(121 * 60));
    sample(&mut desk, "day-last_off", good);
    sample(&mut desk, "night-first_off", good);
    scan(&mut desk, "tj/crimps/20");
    sample(&mut desk, "night-in_process", ["1.70", "1.62"]);
    desk.input(Input::SegmentFull);
    scan(&mut desk, "tj/arm/night-in_process");
    scan(&mut desk, "tj/crimps/2");
    write(opened, &desk.entries);
}

/// Visual checks, one of them bad and answered again, and a pull test; in the state of the last segment some answers
/// are given.
pub(super) fn answered(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    let looks = || {
        vec![
            Look::customary("strands_in").unwrap(),
            Look::of_its_own("Is the label on the lead?".to_owned()),
        ]
    };
    let asked = |looks_per, pull_mode| Questions {
        looks: looks(),
        looks_per,
        pull_mode,
    };
    desk.arm(Plan {
        questions: asked(LooksPer::Series, false),
        ..heights(1, ZeroPolicy::default())
    })
    .unwrap();
    for value in ["0.00", "1.62", "0.00"] {
        desk.press(value);
    }
    for card in ["tj/look/1/bad", "tj/look/1/good", "tj/look/2/good"] {
        scan(&mut desk, card);
    }
    desk.arm(Plan {
        axes: vec![AxisName::new("pull_force")],
        pieces: 2,
        questions: asked(LooksPer::Piece, true),
        ..plan()
    })
    .unwrap();
    for value in ["0", "187"] {
        desk.press_on("gauge-1", value);
    }
    for card in ["tj/pulled/broke_in_wire", "tj/look/1/good", "tj/look/2/bad"] {
        scan(&mut desk, card);
    }
    desk.input(Input::SegmentFull);
    desk.press_on("gauge-1", "190");
    scan(&mut desk, "tj/pulled/other");
    write(opened, &desk.entries);
}

/// Makes it; in the last of its segments the state is that of a series in hand.
pub(super) fn every_kind(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    crimps(&mut desk);
    desk.input(Input::SegmentFull);
    others(&mut desk);
    what_befalls_it(&mut desk);
    desk.input(Input::Started {
        version: "test",
        config_digest: "none",
    });
    desk.arm(heights(3, ZeroPolicy::default())).unwrap();
    for value in ["0.00", "1.61", "1.60"] {
        desk.press(value);
    }
    desk.command(Command::Retract {
        station: None,
        seq: None,
        reason: None,
        by: Means::DoubleZero,
    })
    .unwrap();
    desk.input(Input::SegmentFull);
    desk.press("1.63");
    write(opened, &desk.entries);
}

/// Pictures of pieces and of a series as a whole, before and after its outcome; in the state of the last segment an open
/// series and the one before have some.
pub(super) fn pictures(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    let two = || heights(2, ZeroPolicy::default());
    desk.arm(two()).unwrap();
    let series = desk.entries.last().unwrap().seq;
    take(&mut desk, "harness.jpg", None, None).unwrap();
    for value in ["0.00", "1.62"] {
        desk.press(value);
    }
    take(&mut desk, "cut-1.jpg", None, None).unwrap();
    for value in ["1.61", "0.00"] {
        desk.press(value);
    }
    take(&mut desk, "cut-2.jpg", None, None).unwrap();
    desk.arm(two()).unwrap();
    for value in ["0.00", "1.60"] {
        desk.press(value);
    }
    take(&mut desk, "cut-3.jpg", None, Some(1)).unwrap();
    desk.input(Input::SegmentFull);
    take(&mut desk, "late.jpg", Some(series), Some(1)).unwrap();
    write(opened, &desk.entries);
}

/// A tablet that was paired, its commands, and its revocation.
pub(super) fn tablets(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    let tablet = || "bench-left".to_owned();
    desk.input(Input::Journal(Entry::from(Paired { tablet: tablet() })));
    desk.arm(heights(2, ZeroPolicy::default())).unwrap();
    let armed = desk.entries.last().unwrap().seq;
    desk.input(Input::Journal(Entry::from(TabletSaid {
        tablet: tablet(),
        first_entry: armed,
        last_entry: armed,
    })));
    desk.input(Input::Journal(Entry::from(Revoked { tablet: tablet() })));
    write(opened, &desk.entries);
}

/// Commands of a program, by its token.
pub(super) fn by_token(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    desk.arm(heights(1, ZeroPolicy::default())).unwrap();
    let mut entries = desk.entries.clone();
    let from_command = entries
        .iter_mut()
        .filter(|stamped| matches!(stamped.entry, Entry::Series(_) | Entry::Said(_)));
    for stamped in from_command {
        stamped.token = Some("cell-4".to_owned());
    }
    write(opened, &entries);
}

/// Makes one that was begun where another one had vanished.
pub(super) fn rolled_back(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    desk.input(Input::Journal(Entry::from(RolledBack {
        journal: JournalId("5".repeat(32)),
        known: Seq(7_000),
        end: Seq(0),
        reason: "made for this sample".to_owned(),
    })));
    write(opened, &desk.entries);
}

/// Makes one of a bench whose configuration was changed on the page.
pub(super) fn configuration_edited(state_dir: &Path) {
    let opened = reopen(state_dir);
    let mut desk = Desk::going_on_with(shop(), opened.state.clone());
    let old = |file: &str| FileEdited {
        file: file.to_owned(),
        before: Some("a".repeat(64)),
        after: "b".repeat(64),
        copy: Some(format!("{file}.20261129T191500.000Z.old")),
    };
    for (change, list, name, files) in [
        (
            "set",
            "row",
            "QF-250-F 2.0 mm²",
            vec![old("sheets/pump.toml")],
        ),
        (
            "add",
            "tool",
            "T-08",
            vec![
                FileEdited {
                    before: None,
                    copy: None,
                    ..old("tools.toml")
                },
                old("tallyjaw.toml"),
            ],
        ),
    ] {
        desk.input(Input::Journal(Entry::from(ConfigurationEdited {
            who: "mara".to_owned(),
            change: change.to_owned(),
            list: list.to_owned(),
            name: name.to_owned(),
            files,
        })));
    }
    write(opened, &desk.entries);
}
