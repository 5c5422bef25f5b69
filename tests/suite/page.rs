//! The bench page over HTTP, without a browser: who may read what, who is refused, and what it costs.

mod bounds;
mod budget;
mod drawings;
mod faces;
pub(crate) mod http;
mod jobs;
mod letterhead;
mod pictures;
mod qualified;
mod refusals;
mod setup;
mod setup_faults;
mod setup_jobs;
mod setup_refused;
mod stalled;
mod stream;
mod tablet;
mod texts;
mod tokens;
mod told;

use crate::golden;
use crate::harness::{Daemon, PATIENCE, Shop};
use http::{Events, address, command, get, shop, token};
use serde_json::json;
use std::os::unix::fs::PermissionsExt;
use std::time::Instant;

/// A daemon whose caliper is connected; its address and token.
fn connected(shop: &Shop) -> (Daemon, String, String) {
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(shop));
    (daemon, address, token)
}

#[test]
fn a_series_is_armed_zeroed_measured_retracted_and_seen_by_http_alone() {
    let mut shop = shop();
    let (_daemon, address, token) = connected(&shop);
    let mut events = Events::open(&address, None);
    let first = events.wait_for("state", |_| true);
    assert_eq!(first["state"]["stations"][0]["prompt"], "start a plan");

    let armed = command(&address, &token, "arm", &json!({"plan": "pump-own"}));
    let seq = armed["result"]["seq"].as_u64().unwrap();
    assert_eq!(
        armed["result"]["prompt"],
        "close the jaws of caliper-1 and press its data key to check the zero: before the first reading"
    );
    shop.press(0);
    let zeroed = events.wait_for("state", |state| {
        state["benches"][0]["zeros"][0]["zero"] == "good"
    });
    assert_eq!(
        zeroed["state"]["stations"][0]["prompt"],
        "measure piece 1 of 5: core crimp height"
    );
    shop.press(163);
    let measured = events.wait_for("state", |state| {
        state["benches"][0]["recent"][0]["kind"] == "reading"
    });
    let bench = &measured["benches"][0];
    let reading = bench["recent"][0]["seq"].as_u64().unwrap();
    assert_eq!(
        bench["recent"][0]["words"],
        "QF-250-F 2.0 mm², piece 1 core crimp height: 1.63 mm (+0.01 mm) PASS within 1.62 ±0.05 mm",
        "{bench}"
    );
    assert_eq!(
        (&bench["recent"][0]["tone"], &bench["recent"][0]["aloud"]),
        (&json!("pass"), &json!("pass, 1.63 mm"))
    );
    assert_eq!(
        bench["scale"],
        json!({
            "seq": reading, "axis": "core crimp height", "base": "nm", "limits": "1.62 ±0.05 mm",
            "value": {"at": 1_630_000, "text": "1.63 mm"},
            "nominal": {"at": 1_620_000, "text": "1.62 mm"},
            "lower": {"at": 1_570_000, "text": "1.57 mm"},
            "upper": {"at": 1_670_000, "text": "1.67 mm"},
            "miss": {"limit": "upper", "beyond": false, "by": "0.04 mm"},
        })
    );
    assert_eq!(bench["face"], json!({"kind": "verdict"}));
    assert_eq!(
        bench["asks"],
        json!([{"piece": 2, "pieces": 5, "axis": "core_crimp_height", "lower": "1.57 mm", "upper": "1.67 mm", "nominal": "1.62 mm"}])
    );
    assert_eq!(
        bench["readings"],
        json!([{"seq": reading, "piece": 1, "axis": "core_crimp_height", "value": "1.63 mm", "at": 1_630_000, "verdict": "pass"}])
    );

    command(&address, &token, "retract", &json!({"seq": reading}));
    let after = events.wait_for("state", |state| {
        state["benches"][0]["recent"][0]["kind"] == "retracted"
    });
    assert_eq!(after["benches"][0]["readings"], json!([]));
    assert_eq!(after["benches"][0]["recent"][1]["fate"], "retracted");
    assert_eq!(
        get(&address, "/state").json()["benches"],
        after["benches"],
        "both tell the same"
    );
    let series = get(&address, &format!("/series/{seq}")).json();
    assert_eq!(
        (&series["series"], &series["readings"][0]["fate"]),
        (&json!(seq), &json!("retracted"))
    );
    let report = get(&address, &format!("/report/{seq}"));
    assert_eq!(
        report.headers["content-security-policy"],
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; frame-ancestors 'none'; form-action 'none'"
    );
    shop.write("report.html", &report.body);
    let verified = shop.run(&["verify", shop.path("report.html").to_str().unwrap()]);
    assert!(verified.status.success(), "{verified:?}");
}

#[test]
fn what_happened_before_the_daemon_started_is_on_the_page_too() {
    let mut shop = shop();
    let (daemon, ..) = connected(&shop);
    let mut feed = daemon.feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(162);
    feed.wait_for("reading");
    daemon.stop();
    let (_daemon, address, _) = connected(&shop);
    let words = get(&address, "/state").json()["benches"][0]["recent"].to_string();
    assert!(words.contains("core crimp height: 1.62 mm"), "{words}");
}

#[test]
fn a_scrape_has_every_count_and_nothing_else() {
    let mut shop = shop();
    let (daemon, address, _) = connected(&shop);
    let mut feed = daemon.feed();
    daemon.call("arm", &json!({"plan": "pump-own"}));
    shop.press(162); // before the zero
    feed.wait_for("reading");
    shop.press(0);
    feed.wait_for("zeroed");
    for hundredths in [162, 150] {
        shop.press(hundredths);
        feed.wait_for("reading");
    }
    daemon.call("retract", &json!({}));
    shop.calipers[0].send(b"rubbish\r").unwrap();
    feed.wait_for("unread");
    let mut events = Events::open(&address, None);
    events.wait_for("state", |state| {
        state["benches"][0]["recent"][0]["kind"] == "unread"
    });
    // The verdict log follows by itself.
    let deadline = Instant::now() + PATIENCE;
    while daemon.call("status", &json!({}))["sinks"][0]["behind"] != 0 {
        assert!(Instant::now() < deadline, "the verdict log stays behind");
    }
    let answer = get(&address, "/metrics");
    assert_eq!(
        answer.headers["content-type"],
        "application/openmetrics-text; version=1.0.0; charset=utf-8"
    );
    // Sync times depend on the disk, but all must be in the last class.
    let mut shown = String::new();
    let mut syncs = Vec::new();
    for line in answer.body.lines() {
        if line.starts_with("tallyjaw_journal_sync_seconds") {
            let (name, count) = line.rsplit_once(' ').unwrap();
            syncs.push(count.to_owned());
            shown.push_str(name);
            shown.push_str(" …\n");
        } else {
            shown.push_str(line);
            shown.push('\n');
        }
    }
    let counts: Vec<u64> = syncs
        .iter()
        .filter_map(|count| count.parse().ok())
        .collect();
    assert!(counts.is_sorted(), "{syncs:?}");
    assert!(counts.last().unwrap() > &5, "{syncs:?}");
    golden::assert_same("page/metrics.txt", &shown);
}

#[test]
fn the_token_is_its_owners_alone_and_the_command_prints_the_address_with_it() {
    let shop = shop();
    let no_daemon = shop.run(&["page"]);
    assert_eq!(no_daemon.status.code(), Some(3), "{no_daemon:?}");
    let (daemon, address, token) = connected(&shop);
    let mode = std::fs::metadata(shop.path("state/page.token"))
        .unwrap()
        .permissions()
        .mode();
    assert_eq!(mode & 0o7777, 0o600);
    let printed = shop.run(&["page"]);
    assert_eq!(
        String::from_utf8(printed.stdout).unwrap(),
        format!("http://{address}/#token={token}\n")
    );
    let printed = shop.run(&["--json", "page"]);
    let printed: serde_json::Value = serde_json::from_slice(&printed.stdout).unwrap();
    assert_eq!(
        printed,
        json!({"kind": "page", "address": format!("http://{address}/"), "token": token})
    );
    daemon.stop();
    let (_daemon, ..) = connected(&shop);
    assert_eq!(
        http::token(&shop),
        token,
        "an open page goes on after a restart"
    );
}

#[test]
fn without_a_section_nothing_listens_and_a_port_that_is_taken_is_told() {
    let shop = Shop::new();
    let daemon = shop.start();
    assert_eq!(daemon.call("status", &json!({}))["page"], json!(null));
    assert!(!shop.path("state/page.token").exists());
    let no_page = shop.run(&["page"]);
    assert_eq!(no_page.status.code(), Some(2));
    let said = String::from_utf8(no_page.stderr).unwrap();
    assert!(said.contains("write [page] into it"), "{said}");
    daemon.stop();

    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap();
    let page = format!("[page]\nlisten = \"{port}\"\n");
    shop.write("tallyjaw.toml", &(page + &shop.configuration()));
    let refused = shop.run(&["serve"]);
    assert_eq!(refused.status.code(), Some(2), "{refused:?}");
    let said = String::from_utf8(refused.stderr).unwrap();
    assert!(said.contains("another program listens there"), "{said}");
}

#[test]
fn a_reload_that_would_move_the_page_is_refused_and_says_so() {
    let shop = shop();
    let (daemon, ..) = connected(&shop);
    let page = "[page]\nlisten = \"127.0.0.1:0\"\nhosts = [\"other.example\"]\n";
    shop.write("tallyjaw.toml", &(page.to_owned() + &shop.configuration()));
    let error = daemon.refused("reload", &json!({}));
    assert_eq!(
        error["message"],
        "the section [page] has changed, want it as it was when the daemon started"
    );
}
