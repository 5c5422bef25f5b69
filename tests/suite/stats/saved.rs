//! Studies that are saved in the configuration, run for each of their plans and periods.

use super::mixed::plan;
use super::study::error;
use crate::harness::Shop;
use serde_json::Value;
use std::process::Output;

const STUDIES: &str = r#"
[[study]]
name = "monthly"
command = ["describe", "--axis", "core_crimp_height"]
plans = ["one", "other", "unused"]
every = "month"
periods = 2

[[study]]
name = "reaches"
command = ["pull", "--axis", "core_crimp_height", "--gate", "--spec", ">= 1.50 mm"]
plans = ["one", "unused"]

[[study]]
name = "shown"
command = ["capability", "--axis", "core_crimp_height", "--gate"]
plans = ["one", "unused"]

[[study]]
name = "nothing"
command = ["capability", "--axis", "core_crimp_height", "--gate"]
plans = ["unused"]

[[study]]
name = "every-plan"
command = ["compare", "--axis", "core_crimp_height", "--group", "plan"]
"#;

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &error(output)
}

fn rows(output: &Output) -> Vec<Value> {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

/// A shop with four pieces of each of two plans; the third plan was never measured.
fn measured() -> Shop {
    let mut shop = Shop::new();
    shop.write(
        "plans.toml",
        &["one", "other", "unused"]
            .map(|id| plan(id, "2.0 mm²"))
            .concat(),
    );
    shop.write("tallyjaw.toml", &(shop.configuration() + STUDIES));
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    for (plan, hundredths) in [
        ("one", [161, 162, 163, 162]),
        ("other", [163, 162, 164, 161]),
    ] {
        let armed = shop.run(&["arm", plan]);
        assert!(armed.status.success(), "{}", error(&armed));
        for value in hundredths {
            shop.press(value);
            feed.wait_for("reading");
        }
        feed.wait_for("completed");
    }
    daemon.stop();
    shop
}

#[test]
fn a_saved_study_has_a_row_for_each_plan_and_period_and_each_says_what_the_study_says() {
    let shop = measured();
    let listed = rows(&shop.run(&["study", "run", "--json"]));
    let names: Vec<&str> = listed
        .iter()
        .map(|one| one["name"].as_str().unwrap())
        .collect();
    assert_eq!(
        names,
        ["monthly", "reaches", "shown", "nothing", "every-plan"]
    );

    let ran = shop.run(&["study", "run", "monthly", "--json"]);
    assert!(ran.status.success(), "{}", said(&ran));
    let rows = rows(&ran);
    assert_eq!(rows.len(), 6, "{}", said(&ran));
    let plans: Vec<&str> = rows
        .iter()
        .map(|row| row["plan"].as_str().unwrap())
        .collect();
    assert_eq!(plans, ["one", "one", "other", "other", "unused", "unused"]);
    for pair in rows.chunks(2) {
        assert_eq!(pair[0]["until"], pair[1]["since"], "{pair:?}");
    }
    // What was measured just now is in the running month, or at its very first moment still in the one before.
    let with_result: Vec<&Value> = rows
        .iter()
        .filter(|row| row["result"].is_object())
        .collect();
    assert_eq!(with_result.len(), 2, "{}", said(&ran));
    for (row, plan) in with_result.iter().zip(["one", "other"]) {
        let alone = shop.run(&[
            "study",
            "describe",
            "--axis",
            "core_crimp_height",
            "--plan",
            plan,
            "--json",
        ]);
        let alone: Value = serde_json::from_slice(&alone.stdout).unwrap();
        assert_eq!(row["result"], alone, "{plan}");
        assert_eq!(row["gate_passed"], Value::Null);
    }
    let without = rows
        .iter()
        .filter(|row| row["no_result"] == "no reading matches");
    assert_eq!(without.count(), 4);
}

#[test]
fn the_gate_of_a_saved_study_is_that_of_its_rows() {
    let shop = measured();
    for (name, code, lines) in [
        (
            "reaches",
            0,
            &["one: gate passed", "unused: no readings"][..],
        ),
        ("shown", 1, &["one: gate FAILED", "unused: no readings"]),
        (
            "nothing",
            1,
            &["unused: no readings", "nothing: no readings 1"],
        ),
        (
            "monthly",
            0,
            &["  readings 4, mean 1.6200 mm, standard deviation 0.0082 mm"],
        ),
        (
            "every-plan",
            0,
            &["all readings: result", "every-plan: result 1"],
        ),
    ] {
        let ran = shop.run(&["study", "run", name]);
        assert_eq!(ran.status.code(), Some(code), "{}", said(&ran));
        for line in lines {
            assert!(
                said(&ran).lines().any(|said| said == *line),
                "{line}: {}",
                said(&ran)
            );
        }
    }
}

#[test]
fn the_page_has_each_row_and_what_the_study_prints_for_it() {
    let shop = measured();
    let out = shop.path("page.html");
    let file = out.to_str().unwrap();
    let ran = shop.run(&["study", "run", "shown", "-o", file]);
    assert_eq!(ran.status.code(), Some(1), "{}", said(&ran));
    let page = std::fs::read_to_string(&out).unwrap();
    let alone = shop.run(&[
        "study",
        "capability",
        "--axis",
        "core_crimp_height",
        "--plan",
        "one",
    ]);
    let alone = String::from_utf8(alone.stdout).unwrap();
    assert!(
        !page.contains("\\n"),
        "a line break is shown as one: {page}"
    );
    let plain = |line: &&str| !line.is_empty() && !line.contains(['<', '>', '&', '\'']);
    for line in alone.lines().filter(plain) {
        assert!(page.contains(&format!("<span>{line}</span>")), "{line}");
    }
    for part in [
        "<th scope=\"row\"><span>unused </span></th>",
        "gate FAILED",
        "no readings",
        "#row-1",
        "id=\"row-1\"",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    // Only a page of this kind is replaced.
    std::fs::write(&out, "my notes").unwrap();
    let refused = shop.run(&["study", "run", "shown", "-o", file]);
    assert_eq!(refused.status.code(), Some(2), "{}", said(&refused));
    assert_eq!(std::fs::read_to_string(&out).unwrap(), "my notes");
}

#[test]
fn a_command_that_is_no_study_is_found_by_check_and_refused_by_its_name() {
    let shop = Shop::new();
    for (command, wrong) in [
        ("\"capabilty\"", "unrecognized subcommand 'capabilty'"),
        (
            "\"capability\", \"--axs\", \"x\"",
            "unexpected argument '--axs' found",
        ),
        (
            "\"capability\", \"--asked\", \"much\"",
            "invalid value 'much' for '--asked <INDEX>'",
        ),
        (
            "\"describe\", \"--svg\", \"a.svg\"",
            "its command has --svg",
        ),
        ("\"run\", \"weekly\"", "it runs a saved study, want a study"),
    ] {
        let study = format!("\n[[study]]\nname = \"weekly\"\ncommand = [{command}]\n");
        shop.write("tallyjaw.toml", &(shop.configuration() + &study));
        let checked = shop.run(&["check"]);
        assert_eq!(checked.status.code(), Some(1), "{}", said(&checked));
        assert!(
            said(&checked).contains(wrong),
            "{wrong}: {}",
            said(&checked)
        );
        let json = shop.run(&["check", "--json"]);
        assert_eq!(json.status.code(), Some(1));
        assert_eq!(rows(&json).last().unwrap()["errors"], 1, "{}", said(&json));
        let ran = shop.run(&["study", "run", "weekly"]);
        assert!(said(&ran).contains(wrong), "{wrong}: {}", said(&ran));
    }
    let unknown = shop.run(&["study", "run", "weeky"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(
        said(&unknown).contains("did you mean \"weekly\"?"),
        "{}",
        said(&unknown)
    );
}

#[test]
fn a_fault_of_a_saved_study_stands_at_its_key() {
    let shop = Shop::new();
    for (keys, at, want) in [
        (
            "command = [\"describe\"]\nplans = [\"fan\"]",
            4,
            "want the id of a [[plan]]",
        ),
        (
            "command = [\"describe\"]\nperiods = 3",
            4,
            "want every = \"week\" beside it",
        ),
        (
            "command = [\"describe\"]\nevery = \"wek\"",
            4,
            "want \"day\", \"week\" or \"month\"",
        ),
        ("command = []", 3, "want [\"capability\""),
        (
            "command = \"describe --axis x\"",
            3,
            "want each word as a text of its own",
        ),
        ("plans = []", 1, "want command = ["),
    ] {
        let before = shop.configuration();
        let line = before.lines().count() + at;
        let study = format!("[[study]]\nname = \"weekly\"\n{keys}\n");
        shop.write("tallyjaw.toml", &(before + &study));
        let checked = shop.run(&["check", "--json"]);
        let fault = &rows(&checked)[0];
        assert!(
            fault["want"].as_str().unwrap().starts_with(want),
            "{}",
            said(&checked)
        );
        assert_eq!(fault["line"], line, "{keys}: {fault}");
    }
}

#[test]
fn a_page_and_the_objects_are_of_one_reading_of_the_source() {
    let shop = Shop::new();
    let studies = "\n[[study]]\nname = \"once\"\ncommand = [\"describe\", \"--from\", \"-\", \"--column\", \"height\", \"--unit\", \"mm\"]\n\n[[study]]\nname = \"charted\"\ncommand = [\"chart\", \"--from\", \"-\", \"--column\", \"height\", \"--unit\", \"mm\"]\n";
    shop.write("tallyjaw.toml", &(shop.configuration() + studies));
    let heights = (0..12).map(|at| format!("1.{}\n", 60 + at * 5 % 7));
    shop.write(
        "run.csv",
        &("height\n".to_owned() + &heights.collect::<String>()),
    );
    for (name, words) in [
        ("once", "standard deviation"),
        ("charted", "single readings"),
    ] {
        let file = shop.path("page.html");
        // Standard input can be read once.
        let output = shop
            .tallyjaw(&["study", "run", name, "-o", file.to_str().unwrap(), "--json"])
            .stdin(std::fs::File::open(shop.path("run.csv")).unwrap())
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", said(&output));
        assert_eq!(rows(&output)[0]["result"]["n"], 12, "{}", said(&output));
        let page = std::fs::read_to_string(&file).unwrap();
        assert!(page.contains(words), "{page}");
    }
}
