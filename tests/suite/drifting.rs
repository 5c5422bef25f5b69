//! A tool that drifts, seen from outside: bytes of a caliper on a pseudo-terminal, the built daemon, and the alert on
//! every surface at the piece that causes it.

use super::harness::Shop;
use serde_json::json;

const PLAN: &str = r#"
[[plan]]
id = "drifting"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "in_process"
repeat = true
zero = { before_first = false, closing = false }
alerts = ["six_in_a_row"]
"#;

#[test]
fn a_tool_that_drifts_raises_the_alert_at_the_sixth_piece_and_no_verdict_changes() {
    let mut shop = Shop::new();
    shop.write("plans.toml", PLAN);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let armed = daemon.call("arm", &json!({"plan": "drifting"}));
    assert_eq!(armed["armed"]["alert_rules"], json!(["six_in_a_row"]));
    let first = feed.wait_for("armed")["seq"].clone();
    let heights = [158, 159, 160, 161, 162];
    for height in heights {
        shop.press(height);
        assert_eq!(feed.next()["verdict"], "pass");
    }
    // The fifth piece fills the series; the sixth is the first of the next one.
    assert_eq!(feed.next()["kind"], "completed");
    assert_eq!(feed.next()["kind"], "armed");
    shop.press(163);
    assert_eq!(feed.next()["verdict"], "pass");
    let alerted = feed.next();
    assert_eq!(alerted["kind"], "alerted");
    assert_eq!(alerted["rule"], "six_in_a_row");
    assert_eq!(alerted["readings"].as_array().unwrap().len(), 6);
    let text = format!(
        "core crimp height has risen for 6 pieces in a row, since piece 1 of series {first} \
         (1.58 to 1.63 mm), and at this pace it is past the limit 1.67 mm in 5 pieces; \
         look at the tool and its nest for wear and dirt, at the wire and its strip, and zero caliper-1"
    );
    assert_eq!(alerted["text"], text);

    let status = daemon.call("status", &json!({}));
    let open = &status["state"]["stations"][0]["armed"];
    let want = json!([{"seq": alerted["seq"], "rule": "six_in_a_row", "text": text, "readings": alerted["readings"]}]);
    assert_eq!(open["alerts"], want);
    let shown = |arguments: &[&str]| String::from_utf8(shop.run(arguments).stdout).unwrap();
    let line = format!("  ! alert    {text} [#{}]\n", alerted["seq"]);
    assert!(shown(&["status"]).contains(&line), "{}", shown(&["status"]));
    let series = open["series"].to_string();
    let one = shown(&["series", &series]);
    assert!(
        one.contains(&format!("! alert       {text}  [bench-1 #")),
        "{one}"
    );

    // The run continues after a crash, and the alert is not repeated.
    daemon.kill();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    shop.press(164);
    assert_eq!(feed.wait_for("reading")["verdict"], "pass");
    shop.press(150);
    assert_eq!(feed.next()["kind"], "reading");
    daemon.stop();
    let log = std::fs::read_to_string(shop.path("state/verdicts.log")).unwrap();
    let alerts: Vec<_> = log
        .lines()
        .filter(|line| line.contains(" alert: "))
        .collect();
    assert_eq!(alerts.len(), 1, "{log}");
    assert!(alerts[0].ends_with(&text), "{log}");
    let verified = shop.run(&["verify"]);
    assert!(verified.status.success(), "{verified:?}");
}
