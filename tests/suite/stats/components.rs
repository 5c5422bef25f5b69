//! Variance components against published examples and an independent computation.

use super::reference::{assert_close, rows, text};
use super::study::{Folder, error, with};
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use tallyjaw::quantity::{Decimal, Quantity, Unit};
use tallyjaw::stats::components::{Cell, Components, Factor, Together};
use tallyjaw::stats::gauge::{Plan, Trial, by_anova, expanded};
use tallyjaw::stats::picture::{Boxes, boxes_svg, multi_vari_svg};
use tallyjaw::stats::{Sample, Undefined};

/// Cells of a table: the value in its first column, then a column for each factor; `paths` names the columns of each
/// factor's levels.
fn cells(table: &[Vec<String>], paths: &[(&str, &[usize])]) -> (Vec<Cell>, Vec<Factor>) {
    let mut known: Vec<BTreeMap<Vec<&String>, usize>> = vec![BTreeMap::new(); paths.len()];
    let mut found: BTreeMap<Vec<usize>, Vec<i64>> = BTreeMap::new();
    for row in table {
        let key = paths.iter().zip(&mut known).map(|((_, path), known)| {
            let next = known.len();
            let cell: Vec<&String> = path.iter().map(|at| &row[*at]).collect();
            *known.entry(cell).or_insert(next)
        });
        let digits: Decimal = row[0].parse().unwrap();
        let base = Quantity::of(digits, Unit::Millimetre).unwrap().base();
        found.entry(key.collect()).or_default().push(base);
    }
    let cells = found.into_iter().map(|(levels, bases)| Cell {
        levels,
        readings: Sample::from_bases(bases, Unit::Millimetre)
            .unwrap()
            .summary()
            .clone(),
    });
    let factors = paths.iter().zip(&known);
    let factors = factors.map(|((name, _), known)| Factor::new(name, None, known.len()));
    (cells.collect(), factors.collect())
}

fn of(table: &[Vec<String>], paths: &[(&str, &[usize])]) -> Components {
    let (cells, factors) = cells(table, paths);
    Components::new(&cells, &factors, true).unwrap()
}

fn variances(of: &Components) -> Vec<f64> {
    of.variances().into_iter().map(Result::unwrap).collect()
}

/// Davies, dyestuff: between batches 1764.05, within 2451.25 (printed by several packages as 1764 and 2451).
#[test]
fn the_dyestuff_example_is_met() {
    let table = rows("components/dyestuff.csv");
    let found = of(&table, &[("batch", &[1])]);
    let [batch, rest] = variances(&found)[..] else {
        panic!("two sources wanted");
    };
    assert_close("batch", batch, 1764.05, 1e-12);
    assert_close("rest", rest, 2451.25, 1e-12);
    assert!(found.balanced);
    // The interval of the rest is exact: 24 s²/χ² (scipy)
    let part = found.part(&found.sources[1], 0.95).unwrap();
    assert_close(
        "low",
        part.low.powi(2),
        24.0 * 2451.25 / 39.364_077_026_603_915,
        1e-9,
    );
    assert_close(
        "high",
        part.high.powi(2),
        24.0 * 2451.25 / 12.401_150_217_444_44,
        1e-9,
    );
}

/// Davies, pastes: casks within batches. Printed 8.434 (cask), 1.657 (batch), 0.678 (rest).
#[test]
fn the_nested_example_of_pastes_is_met() {
    let table = rows("components/pastes.csv");
    let found = of(&table, &[("batch", &[1]), ("cask", &[1, 2])]);
    let names: Vec<&str> = found.sources.iter().map(|of| of.name.as_str()).collect();
    assert_eq!(names, ["batch", "cask", "rest"]);
    let want = [1.657_308_641_975_311, 8.433_666_666_666_669, 0.678];
    for (got, want) in variances(&found).iter().zip(want) {
        assert_close("variance", *got, want, 1e-11);
    }
    let expected = &found.sources[0].expected;
    assert_eq!(expected.len(), 2, "{expected:?}");
    assert_close("batches in their mean square", expected[0].1, 6.0, 1e-12);
    assert_close("casks in it", expected[1].1, 2.0, 1e-12);
    let freedoms: Vec<f64> = found.sources.iter().map(|of| of.freedom).collect();
    assert_eq!(freedoms, [9.0, 20.0, 30.0]);
}

/// e-Handbook 3.2.3.3, operators within machines; its table has .000303, .0000186, .000346 with 4, 5 and 40 degrees of
/// freedom, and F = .428 of operators.
#[test]
fn the_handbooks_nested_machines_are_met() {
    let table = rows("components/machines.csv");
    let found = of(&table, &[("machine", &[1]), ("operator", &[1, 2])]);
    let sums: Vec<f64> = found
        .sources
        .iter()
        .map(|of| of.mean_square.unwrap() * of.freedom)
        .collect();
    assert_close("machines", sums[0], 0.000_303_32, 1e-9);
    assert_close("operators", sums[1], 0.000_018_6, 1e-9);
    assert_close("rest", sums[2], 0.000_346, 1e-9);
    let test = found.tested(&found.sources[1]).unwrap();
    assert_eq!(format!("{:.3}", test.f), "0.430");
    assert_close("F as printed, from rounded squares", test.f, 0.428, 0.005);
    let [_, operators, _] = variances(&found)[..] else {
        panic!("three sources wanted");
    };
    assert!(
        operators < 0.0,
        "a negative variance is said as it is: {operators}"
    );
    assert_eq!(found.part(&found.sources[1], 0.95).unwrap().sd.to_bits(), 0);
}

/// In a balanced crossed plan the components are those of the gauge study without pooling, with the same intervals.
#[test]
fn a_balanced_gauge_study_is_met_with_its_intervals() {
    let table: Vec<Vec<String>> = text("grr.csv")
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(str::to_owned).collect())
        .collect();
    let heading = text("grr.csv").lines().next().unwrap().to_owned();
    let at = |name: &str| heading.split(',').position(|one| one == name).unwrap();
    let (part, appraiser, value) = (at("part"), at("appraiser"), at("value"));
    let rows: Vec<Vec<String>> = table
        .iter()
        .map(|row| {
            vec![
                row[value].clone(),
                row[part].clone(),
                row[appraiser].clone(),
            ]
        })
        .collect();
    let trials: Vec<Trial> = rows
        .iter()
        .map(|row| Trial {
            part: row[1].clone(),
            appraiser: row[2].clone(),
            base: Quantity::of(row[0].parse().unwrap(), Unit::Millimetre)
                .unwrap()
                .base(),
        })
        .collect();
    let plan = Plan::new(&trials, Unit::Millimetre).unwrap();
    let (_, want) = by_anova(&plan, Some(false)).unwrap();
    let found = of(&rows, &[("part", &[1]), ("appraiser", &[2])]);
    let got = expanded(&found, |source| source == "part").unwrap();
    for (name, got, want) in [
        ("ev", got.ev, want.ev),
        ("av", got.av, want.av),
        ("grr", got.grr, want.grr),
        ("pv", got.pv, want.pv),
    ] {
        assert_close(name, got, want, 1e-11);
    }
    let (got, want) = (got.bounds.unwrap(), want.bounds.unwrap());
    for (name, got, want) in [
        ("ev", got.ev, want.ev),
        ("pv", got.pv, want.pv),
        ("grr", got.grr, want.grr),
        ("av", got.av, want.av),
    ] {
        assert_close(name, got.0 + 1.0, want.0 + 1.0, 1e-10);
        assert_close(name, got.1, want.1, 1e-10);
    }
}

fn table(rows: &[(&str, &str, &str)]) -> Vec<Vec<String>> {
    let owned =
        |row: &(&str, &str, &str)| vec![row.0.to_owned(), row.1.to_owned(), row.2.to_owned()];
    rows.iter().map(owned).collect()
}

/// Unequal numbers in one factor: `E MSA = σ² + n₀ σ_A²` with `n₀` `= (N - Σnᵢ²/N)/(a - 1)` (Searle, from memory).
#[test]
fn unequal_groups_have_the_factor_of_the_textbook() {
    let readings = [
        ("1.0", "a"),
        ("1.2", "a"),
        ("1.1", "a"),
        ("1.6", "b"),
        ("1.8", "c"),
        ("1.9", "c"),
    ];
    let rows: Vec<(&str, &str, &str)> = readings.iter().map(|(y, a)| (*y, *a, "")).collect();
    let found = of(&table(&rows), &[("a", &[1])]);
    assert!(!found.balanced);
    let n0 = (6.0 - (9.0 + 1.0 + 4.0) / 6.0) / 2.0;
    assert_close("n₀", found.sources[0].expected[0].1, n0, 1e-12);
}

#[test]
fn what_cannot_be_told_apart_is_refused_with_its_names() {
    let rows = [
        ("1.0", "a", "x"),
        ("1.1", "a", "x"),
        ("1.3", "b", "y"),
        ("1.2", "b", "y"),
    ];
    let (cells, factors) = cells(&table(&rows), &[("tool", &[1]), ("day", &[2])]);
    let together = Together::find(&cells, &factors);
    assert_eq!(
        together,
        Some(Together("tool".to_owned(), "day".to_owned()))
    );
    let once = [("1.0", "a", ""), ("1.1", "b", ""), ("1.3", "c", "")];
    let (cells, factors) = self::cells(&table(&once), &[("tool", &[1])]);
    assert!(matches!(
        Components::new(&cells, &factors, true),
        Err(Undefined::NotApplicable { .. })
    ));
    let equal = [
        ("1.0", "a", ""),
        ("1.0", "a", ""),
        ("1.3", "b", ""),
        ("1.3", "b", ""),
    ];
    let (cells, factors) = self::cells(&table(&equal), &[("tool", &[1])]);
    assert_eq!(
        Components::new(&cells, &factors, true),
        Err(Undefined::NoSpread { count: 4 })
    );
}

/// Two tools, two operators, three readings each; the second tool is larger for one operator only.
fn crossed(folder: &Folder) -> Vec<&'static str> {
    let mut lines = "value,tool,nest,operator\n".to_owned();
    let mut at = 0;
    for (tool, nest) in [("T-07", "A"), ("T-07", "B"), ("R-02", "A"), ("R-02", "B")] {
        for operator in ["anna", "ben", "eva"] {
            for _ in 0..3 {
                at += 1;
                let shift = if tool == "R-02" && operator == "ben" {
                    9
                } else {
                    0
                };
                let value = 162 + shift + (at * 5) % 4;
                let _ = writeln!(
                    lines,
                    "{}.{:02},{tool},{nest},{operator}",
                    value / 100,
                    value % 100
                );
            }
        }
    }
    folder.write("factors.csv", &lines);
    vec!["--from", "factors.csv", "--column", "value", "--unit", "mm"]
}

#[test]
fn nests_are_within_tools_and_an_interaction_is_a_sentence() {
    let folder = Folder::new();
    let source = crossed(&folder);
    let told = folder.json(&with("factors", &source, &["--by", "tool/nest,operator"]));
    let names: Vec<&str> = told["sources"]
        .as_array()
        .unwrap()
        .iter()
        .map(|of| of["source"].as_str().unwrap())
        .collect();
    assert_eq!(
        names,
        [
            "tool",
            "operator",
            "tool/nest",
            "tool:operator",
            "tool/nest:operator",
            "rest"
        ]
    );
    assert_eq!(told["balanced"], Value::Bool(true));
    let said = told["sentence"].as_str().unwrap();
    assert!(
        said.contains("an interaction of tool and operator is shown"),
        "{said}"
    );
    assert!(
        said.contains("no interaction of tool/nest and operator is shown"),
        "{said}"
    );
    let text = folder.text(&with("factors", &source, &["--by", "tool/nest,operator"]));
    assert!(text.contains("nest within tool"), "{text}");
    for (picture, name) in [("multi-vari", "multi.svg"), ("boxes", "boxes.svg")] {
        let drawn = ["--by", "tool,operator", "--picture", picture, "--svg", name];
        folder.text(&with("factors", &source, &drawn));
        let svg = std::fs::read_to_string(folder.path().join(name)).unwrap();
        assert!(
            svg.contains(">T-07<") && svg.contains(">operator<"),
            "{svg}"
        );
        assert!(!svg.contains("NaN"));
    }
    let one = folder.run(&with("factors", &source, &["--by", "tool,tool"]));
    assert!(one.status.success(), "{}", error(&one));
    let unknown = folder.run(&with("factors", &source, &["--by", "shift"]));
    assert_eq!(unknown.status.code(), Some(2));
}

#[test]
fn a_multi_vari_chart_joins_cells_of_one_outer_level() {
    let rows = [
        ("1.0", "a", "x"),
        ("1.2", "a", "x"),
        ("1.1", "a", "y"),
        ("1.4", "a", "y"),
        ("1.3", "b", "x"),
        ("1.2", "b", "x"),
        ("1.5", "b", "y"),
        ("1.6", "b", "y"),
    ];
    let (cells, _) = cells(&table(&rows), &[("tool", &[1]), ("day", &[2])]);
    let names = |levels: [&str; 2]| levels.map(str::to_owned).to_vec();
    let factors = [
        ("tool".to_owned(), names(["a", "b"])),
        ("day".to_owned(), names(["x", "y"])),
    ];
    let svg = multi_vari_svg("tools", &factors, &cells);
    assert_eq!(svg.matches("class=\"point\"").count(), 4);
    let joined = svg
        .split("<path d=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    assert_eq!(joined.matches('M').count(), 2, "{joined}");
    assert_eq!(joined.matches('L').count(), 2, "{joined}");
    let boxes = Boxes {
        factor: "tool".to_owned(),
        levels: vec![("a".to_owned(), cells[0].readings.clone())],
    };
    assert!(boxes_svg("tools", &[boxes]).contains("class=\"bar\""));
}

/// A gauge study with a missing cell, and one with a further factor.
#[test]
fn a_gauge_study_takes_missing_cells_and_further_factors() {
    let folder = Folder::new();
    let all = text("grr.csv");
    let mut kept: Vec<&str> = all.lines().collect();
    kept.remove(5);
    folder.write("missing.csv", &(kept.join("\n") + "\n"));
    let source = ["--from", "missing.csv", "--column", "value", "--unit", "mm"];
    let by = ["--part", "part", "--appraiser", "appraiser"];
    let told = folder.json(&with("gauge", &source, &by));
    assert_eq!(told["method"], "components");
    assert_eq!(told["balanced"], Value::Bool(false));
    assert!(told["grr"].as_f64().unwrap() > told["ev"].as_f64().unwrap());
    assert!(told["grr_low"].is_f64() && told["ndc"].is_i64(), "{told}");
    let heading = kept[0].to_owned() + ",day";
    let days = kept.iter().skip(1).enumerate();
    let days: Vec<String> = days
        .map(|(at, line)| format!("{line},{}", at % 2))
        .collect();
    folder.write("days.csv", &format!("{heading}\n{}\n", days.join("\n")));
    let source = ["--from", "days.csv", "--column", "value", "--unit", "mm"];
    let told = folder.json(&with(
        "gauge",
        &source,
        &[&by[..], &["--factors", "day"]].concat(),
    ));
    let names: Vec<&str> = told["sources"]
        .as_array()
        .unwrap()
        .iter()
        .map(|of| of["source"].as_str().unwrap())
        .collect();
    assert_eq!(
        names,
        [
            "part",
            "appraiser",
            "day",
            "part:appraiser",
            "part:day",
            "appraiser:day",
            "rest"
        ]
    );
}
