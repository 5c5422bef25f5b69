//! Factory pieces of a terminal that no sheet has: from the caliper to a row of a sheet, and to a series that is judged
//! by it.

use crate::harness::Shop;
use serde_json::{Value, json};

const PLANS: &str = r#"
[[plan]]
id = "factory"
terminal = "XQ-11-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "reference"
"#;

const OWN: &str = r#"
[[plan]]
id = "own"
terminal = "XQ-11-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 1
purpose = "first_off"
"#;

/// Runs the command in the shop: its exit code, output and errors.
fn run(shop: &Shop, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = shop.run(arguments);
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

fn send(shop: &Shop, value: &str) {
    let line = format!("{value} mm\r\n");
    shop.calipers[0].send(line.as_bytes()).unwrap();
}

#[test]
fn factory_pieces_without_a_sheet_are_measured_without_verdict_and_make_a_row_that_says_what_it_is()
{
    let shop = Shop::new();
    shop.write("plans.toml", PLANS);
    let (code, out, err) = run(&shop, &["check"]);
    assert_eq!(code, Some(0), "{out}{err}");
    assert!(
        format!("{out}{err}")
            .contains("no sheet has XQ-11-F: its pieces are measured without verdict"),
        "{out}{err}"
    );
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "factory"}));
    let armed = feed.wait_for("armed");
    let series = armed["seq"].to_string();
    send(&shop, "0.00");
    assert_eq!(feed.wait_for("zeroed")["ok"], true);
    for value in ["1.61", "1.62", "1.63", "1.62", "1.61"] {
        send(&shop, value);
        let reading = feed.wait_for("reading");
        assert_eq!(
            (
                &reading["standing"],
                &reading["verdict"],
                &reading["lower_nm"]
            ),
            (&json!("counted"), &json!("measured"), &Value::Null),
            "{reading}"
        );
    }
    send(&shop, "0.00");
    let completed = feed.wait_for("completed");
    assert_eq!(completed["outcome"], "measured");
    assert_eq!(completed["tally"]["measured"], 5);

    let (code, out, _) = run(&shop, &["sheet", "propose", &series]);
    assert_eq!(code, Some(1));
    assert!(
        out.contains("there is no tolerance for core crimp height"),
        "{out}"
    );
    let (code, out, err) = run(
        &shop,
        &[
            "sheet",
            "propose",
            &series,
            "--tolerance",
            "core_crimp_height=±0.05 mm",
        ],
    );
    assert_eq!((code, err.as_str()), (Some(0), ""), "{out}");
    let row = format!(
        "[[terminal]]\nid = \"XQ-11-F\"\nsource = \"factory pieces, series {series}: not a maker's sheet\"\n\n\
         [[terminal.row]]\nwire = \"2.0 mm²\"\ncore_crimp_height = \"1.62 ±0.05 mm\""
    );
    assert!(out.contains(&row), "{out}");
    let (_, interval, _) = run(&shop, &["sheet", "propose", &series, "--interval"]);
    assert!(
        interval.contains("core_crimp_height = \"1.62 ±0.05 mm\""),
        "{interval}"
    );

    // The report of the series says what it is, and verify makes it again.
    let file = shop.path("factory.html");
    let file = file.to_str().unwrap();
    let (code, _, err) = run(&shop, &["report", &series, "--out", file]);
    assert_eq!(code, Some(0), "{err}");
    let page = std::fs::read_to_string(file).unwrap();
    assert!(page.contains("MEASURED"), "{page}");
    assert!(!page.contains("ACCEPTED"));
    let (code, out, err) = run(&shop, &["verify", file]);
    assert_eq!(code, Some(0), "{out}{err}");

    // Under the row, a series of own crimps says beside its outcome that the limits are not the maker's.
    shop.write("sheet.toml", &row);
    shop.write("plans.toml", &format!("{PLANS}{OWN}"));
    daemon.call("reload", &json!({}));
    daemon.call("arm", &json!({"plan": "own"}));
    let armed = feed.wait_for("armed");
    let warning = format!("limits from factory pieces, series {series}: not a maker's sheet");
    assert!(
        armed["warnings"]
            .as_array()
            .unwrap()
            .contains(&json!(warning)),
        "{armed}"
    );
    // Not the value before: two presses of one value within 150 ms are one press of a bouncing key.
    send(&shop, "0.01");
    assert_eq!(feed.wait_for("zeroed")["ok"], true);
    send(&shop, "1.66");
    assert_eq!(feed.wait_for("reading")["verdict"], "pass");
    send(&shop, "0.00");
    let completed = feed.wait_for("completed");
    assert_eq!(completed["outcome"], "accepted");
    assert!(
        completed["reservations"]
            .as_array()
            .unwrap()
            .contains(&json!("not_makers_sheet")),
        "{completed}"
    );
    let own = armed["seq"].to_string();
    let (code, out, _) = run(&shop, &["sheet", "propose", &own, "--interval"]);
    assert_eq!(code, Some(1));
    assert!(out.contains("is not of factory pieces"), "{out}");
}
