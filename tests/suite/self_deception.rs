//! An operator in a hurry who wants good numbers: what is refused, what is reported, and what stays in the journal.
//! Tested from outside, with the built daemon.

use crate::harness::{Daemon, Lines, Shop};
use serde_json::{Value, json};
use std::process::Output;

const PLAN: &str = r#"
[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 1
purpose = "first_off"
zero = { closing = CLOSING }
"#;

fn shop(closing: bool) -> Shop {
    let shop = Shop::new();
    shop.write("plans.toml", &PLAN.replace("CLOSING", &closing.to_string()));
    shop
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The output of a command that succeeds.
fn said(output: &Output) -> String {
    assert!(output.status.success(), "{output:?}");
    text(&output.stdout)
}

/// Arms a plan and presses a zero. Returns the feed after it, and the series.
fn armed(shop: &mut Shop, daemon: &Daemon) -> (Lines, String) {
    let mut feed = daemon.connected_feed();
    said(&shop.run(&["arm", "pump-own"]));
    let series = feed.wait_for("armed")["seq"].to_string();
    shop.press(0);
    assert_eq!(feed.wait_for("zeroed")["ok"], true);
    (feed, series)
}

fn reading(shop: &mut Shop, feed: &mut Lines, hundredths: i64) -> Value {
    shop.press(hundredths);
    feed.wait_for("reading")
}

fn prompt(daemon: &Daemon) -> Value {
    daemon.call("status", &json!({}))["state"]["stations"][0]["prompt"].clone()
}

#[test]
fn an_instrument_too_coarse_for_the_tolerance_is_refused_and_nothing_is_armed() {
    const TOO_COARSE: &str = "caliper-1 is too coarse for core_crimp_height: 2 steps of 0.05 mm in the tolerance of 1.62 ±0.05 mm";
    let shop = shop(true);
    let coarse = shop
        .configuration()
        .replace("resolution = \"0.01 mm\"", "resolution = \"0.05 mm\"");
    shop.write("tallyjaw.toml", &coarse);
    // A plan that nothing here can measure is an error of the configuration.
    let checked = shop.run(&["check"]);
    assert_eq!(checked.status.code(), Some(1));
    assert!(text(&checked.stdout).contains(TOO_COARSE), "{checked:?}");
    shop.write("plans.toml", "");
    let daemon = shop.start();
    let _feed = daemon.connected_feed();
    let flags = [
        "--terminal=QF-250-F",
        "--wire=2.0 mm²",
        "--axis=core_crimp_height",
    ];
    let refused = shop.run(&[&["arm"], &flags[..]].concat());
    assert_eq!(
        (
            refused.status.code(),
            text(&refused.stdout),
            text(&refused.stderr)
        ),
        (
            Some(2),
            String::new(),
            format!(
                "error: {TOO_COARSE}, want at least 5\nhelp: check whether the limits are in the unit of the sheet (mm, or in?); if they are, measure with an instrument of finer resolution\n"
            )
        )
    );
    assert_eq!(prompt(&daemon), "start a plan");
}

#[test]
fn a_plan_without_closing_zero_is_told_that_nothing_vouches_for_its_readings() {
    let mut shop = shop(false);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let warning = "no closing zero: nothing will vouch for the readings after the last zero";
    let told = said(&shop.run(&["arm", "pump-own"]));
    assert!(told.contains(warning), "{told}");
    let armed = feed.wait_for("armed");
    let warnings = armed["warnings"].as_array().unwrap();
    assert!(warnings.contains(&json!(warning)), "{armed}");
    shop.press(0);
    reading(&mut shop, &mut feed, 162);
    reading(&mut shop, &mut feed, 240);
    assert_eq!(feed.wait_for("completed")["outcome"], "accepted");
    let shown = said(&shop.run(&["series", &armed["seq"].to_string()]));
    assert!(shown.contains(warning), "it stays with the series: {shown}");
}

#[test]
fn measuring_again_until_it_passes_stays_in_the_outcome_and_in_the_record() {
    let mut shop = shop(true);
    let daemon = shop.start();
    let (mut feed, series) = armed(&mut shop, &daemon);
    for hundredths in [170, 169, 168] {
        let reading = reading(&mut shop, &mut feed, hundredths);
        assert_eq!(reading["verdict"], "fail_high");
        assert!(said(&shop.run(&["retract"])).starts_with("retracted"));
        assert_eq!(feed.wait_for("retracted")["reading"], reading["seq"]);
    }
    assert_eq!(reading(&mut shop, &mut feed, 167)["verdict"], "pass");
    assert_eq!(reading(&mut shop, &mut feed, 240)["verdict"], "pass");
    shop.press(0);
    let completed = feed.wait_for("completed");
    assert_eq!(completed["outcome"], "accepted");
    let tally = json!({"passed": 2, "failed": 0, "unsure": 0, "doubted": 0, "retracted": 3, "not_counted": 0});
    assert_eq!(completed["tally"], tally);
    let list = said(&shop.run(&["series"]));
    assert!(list.contains("2 passed, 3 retracted"), "{list}");
    let one = said(&shop.run(&["series", &series]));
    assert_eq!(one.matches("(retracted later)").count(), 3, "{one}");
    for value in ["1.70 mm", "1.69 mm", "1.68 mm", "1.67 mm"] {
        assert!(one.contains(value), "{value} not in {one}");
    }
}

#[test]
fn a_width_where_a_height_is_due_does_not_count_and_is_told_for_what_it_is() {
    let mut shop = shop(true);
    let daemon = shop.start();
    let (mut feed, _) = armed(&mut shop, &daemon);
    let height_due = "measure piece 1 of 1: core crimp height";
    assert_eq!(prompt(&daemon), height_due);
    let mixed_up = reading(&mut shop, &mut feed, 240);
    assert_eq!(
        (
            &mixed_up["standing"],
            &mixed_up["reason"],
            &mixed_up["hint"],
            &mixed_up["verdict"]
        ),
        (
            &json!("not_counted"),
            &json!("implausible"),
            &json!("looks like a width"),
            &Value::Null
        )
    );
    assert_eq!(prompt(&daemon), height_due);
    assert_eq!(reading(&mut shop, &mut feed, 162)["standing"], "counted");
    assert_eq!(
        reading(&mut shop, &mut feed, 163)["hint"],
        "looks like a height"
    );
    assert_eq!(reading(&mut shop, &mut feed, 240)["standing"], "counted");
}

#[test]
fn inches_on_a_millimetre_plan_do_not_count_unless_the_frame_says_so() {
    let mut shop = shop(true);
    let daemon = shop.start();
    let (mut feed, _) = armed(&mut shop, &daemon);
    // 0.0640 in is 1.6256 mm: the caliper was switched to inches.
    shop.calipers[0].send(b"+0.0640\r").unwrap();
    let inches = feed.wait_for("reading");
    assert_eq!(
        (&inches["standing"], &inches["reason"], &inches["hint"]),
        (
            &json!("not_counted"),
            &json!("implausible"),
            &json!("looks like inches")
        )
    );
    shop.calipers[0].send(b"+0.0640in\r").unwrap();
    let told = feed.wait_for("reading");
    assert_eq!(
        (&told["standing"], &told["value_nm"], &told["unit"]),
        (&json!("counted"), &json!(1_625_600), &json!("in"))
    );
}
