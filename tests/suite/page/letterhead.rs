//! The letterhead of the reports that the page makes.

use super::http::{address, get, shop};
use serde_json::json;
use std::fs;

#[test]
fn a_report_of_the_page_has_the_letterhead_that_is_in_force_now() {
    let shop = shop();
    let daemon = shop.start();
    let series = daemon.call("arm", &json!({"plan": "pump-own"}))["seq"].clone();
    let report = || get(&address(&daemon), &format!("/report/{series}"));
    let before = report();
    assert_eq!(before.status, 200, "{before:?}");
    assert!(!before.body.contains("<img") && !before.body.contains("Pumps"));

    let main = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let with = "[shop]\nname = \"Quellgrund Pumps\"\nlogo = \"logo.svg\"\n";
    shop.write("tallyjaw.toml", &(with.to_owned() + &main));
    shop.write("logo.svg", include_str!("../../../config/logo.svg"));
    daemon.call("reload", &json!({}));
    let after = report();
    assert!(after.body.contains("<bdi>Quellgrund Pumps</bdi>"));
    assert_eq!(after.body.matches("<img class=\"logo\"").count(), 1);
    assert!(after.headers["content-security-policy"].contains("img-src data:"));

    // a logo that cannot be used leaves what was in force
    shop.write("logo.svg", "<svg xmlns=\"urn:other\"/>");
    let refused = daemon.refused("reload", &json!({}));
    assert!(refused.to_string().contains("logo"), "{refused}");
    assert_eq!(report().body.matches("<img class=\"logo\"").count(), 1);
}
