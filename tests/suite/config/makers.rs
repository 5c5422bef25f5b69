//! Sheets as makers print them: one tolerance for a table, nominals alone, rows for a range of sizes, a name.

use super::Texts;
use tallyjaw::spec::{ArmedSpec, Plan, Subject, WireRequest, resolve};

const SHEET: &str = "[[terminal]]
id = \"QF-250-F\"
name = \"flat receptacle\"
source = \"maker's table 3\"
tolerance = { core_crimp_height = \"±0.05 mm\", core_crimp_width = \"+0.10/-0.05 mm\" }
[[terminal.row]]
wire = \"0.5..0.75 mm²\"
core_crimp_height = \"1.10 mm\"
core_crimp_width = \"1.90 mm\"
[[terminal.row]]
wire = \"1.5..2.5 mm²\"
core_crimp_height = \"1.62 mm\"
core_crimp_width = \"2.40 ±0.03 mm\"
[[terminal.row]]
wire = \"12..10 ga\"
sizing = \"awg_area\"
core_crimp_height = \"2.30 mm\"
core_crimp_width = \"3.30 mm\"
";

fn texts() -> Texts {
    Texts {
        sheet: SHEET.to_owned(),
        tools: String::new(),
        plans: Texts::good()
            .plans
            .replace("tool = \"T-07\"\nnest = \"2.0\"\n", ""),
        ..Texts::good()
    }
}

fn armed(wire: &str) -> Result<ArmedSpec, String> {
    let config = texts().assemble().unwrap();
    let plan = &config.catalog.plans[0];
    let Subject::Crimps { terminal, .. } = &plan.subject else {
        panic!("no crimps");
    };
    let subject = Subject::Crimps {
        terminal: terminal.clone(),
        wire: WireRequest {
            text: wire.to_owned(),
            sizing: None,
        },
    };
    let plan = Plan {
        subject,
        ..plan.clone()
    };
    resolve(&config.catalog, "bench-1", &plan, None).map_err(|why| why.first.to_string())
}

#[test]
fn a_wire_is_judged_by_the_one_row_whose_range_has_it_and_the_series_says_which() {
    for (wire, row, limits) in [
        (
            "0.5 mm²",
            "0.5..0.75 mm²",
            ["1.10 ±0.05 mm", "1.90 +0.10/-0.05 mm"],
        ),
        (
            "0.75 mm²",
            "0.5..0.75 mm²",
            ["1.10 ±0.05 mm", "1.90 +0.10/-0.05 mm"],
        ),
        (
            "2.0 mm²",
            "1.5..2.5 mm²",
            ["1.62 ±0.05 mm", "2.40 ±0.03 mm"],
        ),
        (
            "4.0 mm²",
            "3.309..5.261 mm²",
            ["2.30 ±0.05 mm", "3.30 +0.10/-0.05 mm"],
        ),
    ] {
        let spec = armed(wire).unwrap();
        let sheet = spec.subject.sheet().unwrap();
        let sizes = sheet.sizes.map(|sizes| sizes.to_string());
        assert_eq!(
            sizes.as_deref().map(three_decimals).as_deref(),
            Some(row),
            "{wire}"
        );
        assert_eq!(sheet.name.as_deref(), Some("flat receptacle"));
        let got: Vec<_> = spec
            .axes
            .iter()
            .map(|axis| axis.limits.to_string())
            .collect();
        assert_eq!(got, limits, "{wire}");
    }
}

/// `3.307954..5.26 mm²` with at most three digits after each point.
fn three_decimals(text: &str) -> String {
    let number = text.trim_end_matches(" mm²");
    let short = |text: &str| {
        let micro: f64 = text.parse().unwrap();
        let rounded = format!("{micro:.3}");
        let trimmed = rounded.trim_end_matches('0');
        if trimmed.ends_with('.') {
            format!("{trimmed}0")
        } else {
            trimmed.to_owned()
        }
    };
    let (from, to) = number.split_once("..").unwrap();
    format!("{}..{} mm²", short(from), short(to))
}

#[test]
fn a_wire_between_two_rows_has_none_and_the_ranges_are_named() {
    let why = armed("1.0 mm²").unwrap_err();
    assert!(
        why.starts_with(
            "QF-250-F has no row for 1.0 mm², want one of its sizes: 0.5..0.75 mm², 1.5..2.5 mm², "
        ),
        "{why}"
    );
}

#[test]
fn a_tolerance_that_no_row_uses_is_warned_of() {
    let mut texts = texts();
    texts.sheet = texts
        .sheet
        .replace(
            "core_crimp_width = \"1.90 mm\"",
            "core_crimp_width = \"1.90 ±0.1 mm\"",
        )
        .replace(
            "core_crimp_width = \"3.30 mm\"",
            "core_crimp_width = \"3.30 ±0.1 mm\"",
        );
    let warnings = texts.assemble().unwrap().warnings.diagnostics;
    let found: Vec<_> = warnings
        .iter()
        .filter(|warning| warning.path == std::path::Path::new("sheet.toml"))
        .map(|warning| (warning.line, warning.message.as_str()))
        .collect();
    let want = "the tolerance of core_crimp_width has no effect: no row has a nominal alone";
    assert_eq!(found, [(5, want)]);
}

#[test]
fn rows_that_overlap_are_refused_with_both_places() {
    let mut texts = texts();
    texts.sheet = texts.sheet.replace("1.5..2.5 mm²", "0.75..2.5 mm²");
    let faults = texts.faults();
    let found: Vec<_> = faults
        .iter()
        .map(|fault| (fault.line, fault.message.as_str(), fault.label.as_str()))
        .collect();
    assert_eq!(
        found,
        [(
            11,
            "the rows for 0.5..0.75 mm² and 0.75..2.5 mm² overlap",
            "want one row per size; the other is at sheet.toml:7"
        )]
    );
}
