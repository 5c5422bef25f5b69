//! Every minimum pull force compared with `tests/reference/pull_force`, which has the sources.

use std::fs;
use std::process::Command;
use tallyjaw::quantity::Unit;
use tallyjaw::spec::pull_table::{PULL_TABLES, PullTable, PullTableError};
use tallyjaw::spec::wire::{gauge, resolve};
use tallyjaw::spec::{SizingSystem, WireRequest, WireSize};

const PUBLISHED: &str = include_str!("../reference/pull_force/minimums.csv");

/// A line of the file: standard, size, minimum, unit, newtons, newtons as printed, provenance.
fn published() -> Vec<Vec<&'static str>> {
    let lines = PUBLISHED.lines().skip(1);
    lines.map(|line| line.splitn(8, ',').collect()).collect()
}

/// Our name of a standard's table; `None` if its values are not offered.
fn table_of(standard: &str) -> Option<&'static PullTable> {
    let name = match standard {
        "UL 486A" => "ul_486a",
        "MIL-T-7928" => "mil_t_7928",
        "NASA-STD-8739.4 (change 6) Table 13-1" => "nasa_8739_4_grounding",
        "IEC 60352-2" => return None,
        other => panic!("no table is known for {other}"),
    };
    Some(PullTable::from_name(name).unwrap())
}

/// Exact, ties away from zero: a pound-force is 4.4482216152605 N by definition.
fn millinewtons(whole: i128, unit: &str) -> i128 {
    match unit {
        "N" => whole * 1_000,
        "lbf" => (whole * 44_482_216_152_605 + 5_000_000_000) / 10_000_000_000,
        other => panic!("{other}"),
    }
}

#[test]
fn every_published_row_is_in_our_table_as_printed_and_our_tables_have_no_other() {
    let mut offered = 0;
    for row in published() {
        let Some(table) = table_of(row[0]) else {
            continue;
        };
        let gauge = row[1].strip_prefix("AWG ").unwrap();
        let gauge = gauge.strip_suffix(" copper").unwrap_or(gauge);
        let ours = table.rows.iter().find(|ours| ours.gauge == gauge).unwrap();
        assert_eq!(ours.printed.to_string(), row[2], "{row:?}");
        assert_eq!(ours.unit.name(), row[3], "{row:?}");
        let force = i128::from(ours.force().unwrap().base());
        assert_eq!(
            force,
            millinewtons(row[2].parse().unwrap(), row[3]),
            "{row:?}"
        );
        let tenths = row[4].replace('.', "").parse::<i128>().unwrap();
        assert_eq!((force + 50) / 100, tenths, "{row:?}");
        offered += 1;
    }
    let ours: usize = PULL_TABLES.iter().map(|table| table.rows.len()).sum();
    assert_eq!((offered, ours), (23, 23));
}

#[test]
fn an_unconfirmed_row_is_never_offered() {
    let unconfirmed = published().into_iter().filter(|row| row[6] == "memory");
    let standards: Vec<_> = unconfirmed.map(|row| row[0]).collect();
    assert_eq!(standards.len(), 9);
    for standard in standards {
        assert!(table_of(standard).is_none(), "{standard}");
        assert!(
            PULL_TABLES
                .iter()
                .all(|table| !table.title.contains("60352"))
        );
    }
    // every row that is offered was checked
    let seen = published()
        .into_iter()
        .filter(|row| row[6] == "seen")
        .count();
    assert_eq!(seen, 23);
}

#[test]
fn every_gauge_of_a_table_is_one_and_stands_once_thickest_first() {
    for table in PULL_TABLES {
        let areas: Vec<_> = table
            .rows
            .iter()
            .map(|row| gauge(row.gauge).unwrap().awg_area)
            .collect();
        assert!(areas.is_sorted_by(|one, next| one > next), "{}", table.name);
        assert!(
            table
                .rows
                .iter()
                .all(|row| matches!(row.unit, Unit::Newton | Unit::PoundForce))
        );
    }
}

fn wire(text: &str, sizing: Option<SizingSystem>) -> WireSize {
    let text = text.to_owned();
    resolve(&WireRequest { text, sizing }).unwrap()
}

#[test]
fn a_row_applies_to_an_awg_wire_by_itself_and_to_any_other_only_when_the_gauge_is_named() {
    let table = PullTable::from_name("ul_486a").unwrap();
    let awg = wire("14 ga", Some(SizingSystem::AwgArea));
    let minimum = table.minimum(&awg, None).unwrap();
    assert_eq!(
        (minimum.to_string().as_str(), minimum.row.printed),
        ("table ul_486a, AWG 14, not from the maker's sheet", 50)
    );
    assert_eq!(minimum.row.limits().unwrap().to_string(), ">= 50 lbf");
    for other in [
        wire("2.0 mm²", None),
        wire("14 ga", Some(SizingSystem::SaeMetric)),
        wire("2.080908 mm²", None),
    ] {
        let error = table.minimum(&other, None).unwrap_err();
        assert_eq!(
            error.to_string(),
            format!("ul_486a is by AWG, and the wire is {other}")
        );
        assert!(
            error.remedy().contains("pull_force_gauge = \"AWG 14\""),
            "{}",
            error.remedy()
        );
        let named = table.minimum(&other, gauge("14")).unwrap();
        assert_eq!(named.row.gauge, "14");
    }
}

#[test]
fn a_gauge_that_is_another_wire_or_that_the_table_lacks_is_refused() {
    let table = PullTable::from_name("mil_t_7928").unwrap();
    let error = table
        .minimum(&wire("2.0 mm²", None), gauge("10"))
        .unwrap_err();
    assert_eq!(
        error.to_string(),
        "AWG 10 is 5.26 mm², too far from the wire of 2.0 mm²"
    );
    let error = table
        .minimum(&wire("13 ga", Some(SizingSystem::AwgArea)), None)
        .unwrap_err();
    assert_eq!(
        error.to_string(),
        "mil_t_7928 has no row for AWG 13, want one of 10, 12, 14, 16, 18, 20, 22, 24, 26"
    );
    assert!(matches!(error, PullTableError::NoRow { .. }));
    // Every SAE metric size can be given its own gauge.
    for known in tallyjaw::spec::wire::table() {
        let has_row = table.rows.iter().any(|row| row.gauge == known.name);
        if let (Some(area), true) = (known.sae_metric, has_row) {
            assert!(
                table
                    .minimum(&wire(&area.to_string(), None), Some(known))
                    .is_ok()
            );
        }
    }
}

/// The output of `check` and `plans` for a shop whose sheet has a pull force for 1.0 mm² and none for 14 ga.
fn checked(plan: &str) -> (Option<i32>, String) {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write(
        "tallyjaw.toml",
        "[daemon]\nsheets = \"sheet.toml\"\nplans = \"plan.toml\"\n[[station]]\nname = \"bench-1\"\n",
    );
    let height = "core_crimp_height = \"1.62 ±0.05 mm\"";
    write(
        "sheet.toml",
        &format!(
            "[[terminal]]\nid = \"QF-250-F\"\n\
             [[terminal.row]]\nwire = \"2.0 mm²\"\n{height}\n\
             [[terminal.row]]\nwire = \"14 ga\"\nsizing = \"awg_area\"\n{height}\n"
        ),
    );
    write(
        "plan.toml",
        &format!(
            "[[plan]]\nid = \"pull\"\nterminal = \"QF-250-F\"\npieces = 5\npurpose = \"qualification\"\n{plan}\n"
        ),
    );
    let run = |command: &str| {
        let output = Command::new(crate::harness::program())
            .args([command, "--config", "tallyjaw.toml"])
            .current_dir(folder.path())
            .output()
            .unwrap();
        (
            output.status.code(),
            String::from_utf8(output.stdout).unwrap(),
        )
    };
    let (code, out) = run("check");
    (code, out + &run("plans").1)
}

#[test]
fn a_plan_names_a_table_and_its_row_or_is_told_what_is_missing() {
    let pull = "axes = [\"pull_force\"]";
    let table = "pull_force_table = \"ul_486a\"";
    let awg = "wire = \"14 ga\"\nsizing = \"awg_area\"";
    let metric = "wire = \"2.0 mm²\"";
    for plan in [
        format!("{pull}\n{awg}\n{table}"),
        format!("{pull}\n{metric}\n{table}\npull_force_gauge = \"AWG 14\""),
    ] {
        let (code, out) = checked(&plan);
        assert_eq!(code, Some(0), "{out}");
        assert!(
            out.contains("pull force (from table ul_486a if the maker's sheet has no value)"),
            "{out}"
        );
    }
    for (plan, said) in [
        (format!("{pull}\n{awg}"), "does not limit pull_force"),
        (
            format!("{pull}\n{metric}\n{table}"),
            "ul_486a is by AWG, and the wire is 2.0 mm²",
        ),
        (
            format!("{pull}\n{metric}\n{table}\npull_force_gauge = \"AWG 10\""),
            "AWG 10 is 5.26 mm², too far from the wire of 2.0 mm²",
        ),
        (
            format!("{pull}\n{metric}\n{table}\npull_force_gauge = \"14\""),
            "want a gauge such as \"AWG 14\"",
        ),
        (
            format!("{pull}\n{metric}\npull_force_gauge = \"AWG 14\""),
            "pull_force_gauge has no effect here",
        ),
        (
            format!(
                "axes = [\"core_crimp_height\"]\n{metric}\n{table}\npull_force_gauge = \"AWG 14\""
            ),
            "pull_force_table has no effect here",
        ),
        (
            format!("{pull}\n{awg}\npull_force_table = \"iec_60352_2\""),
            "want \"ul_486a\", \"mil_t_7928\" or \"nasa_8739_4_grounding\"",
        ),
    ] {
        let (code, out) = checked(&plan);
        assert_eq!(code, Some(1), "{plan}: {out}");
        assert!(out.contains(said), "{plan}: {out}");
    }
}
