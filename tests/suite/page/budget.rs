//! The uncertainty budget that a guard band is from, by its name on the bench page and in a report.

use super::http::{Events, address, command, shop, token};
use crate::config::budgets::BUDGET;
use serde_json::json;
use std::fs;

const PLAN: &str = r#"
[[plan]]
id = "by-budget"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 2
purpose = "in_process"
decision = "guarded"
uncertainty = "caliper-1/2026-11"
zero = { before_first = false, closing = false }
"#;

#[test]
fn the_budget_of_a_guard_band_is_named_on_the_page_and_in_the_report() {
    let mut shop = shop();
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    shop.write("tallyjaw.toml", &(text + BUDGET));
    shop.write("plans.toml", PLAN);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let (address, token) = (address(&daemon), token(&shop));
    let mut events = Events::open(&address, None);
    events.wait_for("state", |_| true);
    command(&address, &token, "arm", &json!({"plan": "by-budget"}));
    feed.wait_for("armed");
    shop.press(163);
    let shown = events.wait_for("state", |state| {
        state["benches"][0]["face"]["kind"] == "verdict"
    });
    let scale = &shown["benches"][0]["scale"];
    assert_eq!(scale["budget"], "caliper-1/2026-11", "{scale}");
    assert!(scale["guard"].as_i64().is_some_and(|guard| guard > 0));
    feed.wait_for("reading");
    shop.press(162);
    feed.wait_for("completed");
    daemon.stop();

    let file = shop.path("r.html");
    let file = file.to_str().unwrap();
    let made = shop.run(&["report", "--plan", "by-budget", "-o", file]);
    assert!(made.status.success(), "{made:?}");
    let page = fs::read_to_string(file).unwrap();
    for words in [">Uncertainty budget<", ">caliper-1/2026-11<"] {
        assert!(page.contains(words), "{words}");
    }
    let verified = shop.run(&["verify", file]);
    assert!(verified.status.success(), "{verified:?}");
    let forged = page.replacen(">caliper-1/2026-11<", ">caliper-1/2026-10<", 1);
    fs::write(file, forged).unwrap();
    let verified = shop.run(&["verify", file]);
    assert_eq!(verified.status.code(), Some(1), "{verified:?}");
}
