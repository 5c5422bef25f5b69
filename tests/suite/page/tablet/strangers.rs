//! Who is not paired gets the pairing page, by our own names and from our own page, and nothing of the bench.

use super::client::{Tablet, code, shop};
use crate::golden;
use crate::page::http::{address, token};
use serde_json::json;
use std::fmt::Write as _;

/// Every path that there is.
const PATHS: [&str; 22] = [
    "/",
    "/page.css",
    "/page.js",
    "/dom.js",
    "/texts.js",
    "/texts.json",
    "/daemon.js",
    "/face.js",
    "/grid.js",
    "/plans.js",
    "/dialogs.js",
    "/sound.js",
    "/pair",
    "/pairing.js",
    "/pairing.css",
    "/plans/bench-1",
    "/events",
    "/state",
    "/series/1",
    "/report/1",
    "/metrics",
    "/healthz",
];

const STATUS: &str = r#"{"jsonrpc":"2.0","id":1,"method":"status"}"#;

#[test]
fn a_foreign_device_gets_the_pairing_page_and_nothing_of_the_bench() {
    let shop = shop();
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let own = token(&shop);
    let stranger = Tablet::stranger(&daemon);
    let guesser = Tablet {
        cookie: Some(format!("{}={own}", cookie_name(&stranger))),
        ..stranger.clone()
    };
    let journal = daemon.call("status", &json!({}))["journal"].clone();
    let journal = journal.as_str().unwrap();
    // The page's own files may name an example.
    let examples = ["bench-1", "pump-own", "caliper-1", "QF-250-F"];
    let mut shown = String::new();
    for who in [&stranger, &guesser] {
        for path in PATHS {
            let answer = who.get(path);
            let kind = &answer.headers["content-type"];
            let _ = writeln!(shown, "GET {path}: {} {kind}", answer.status);
            let has = |secret: &str| answer.body.contains(secret);
            assert!(!has(&own) && !has(journal), "{path}: {answer:?}");
            let of_the_bench = examples.iter().any(|name| has(name));
            assert!(answer.status == 200 || !of_the_bench, "{path}: {answer:?}");
        }
        let answer = who.post("/control", "", STATUS);
        let _ = writeln!(shown, "POST /control: {}\n{}", answer.status, answer.body);
    }
    golden::assert_same("page/tablet_strangers.txt", &shown);
    let bearer = format!("Authorization: Bearer {own}\r\n");
    let answer = stranger.post("/control", &bearer, STATUS);
    assert_eq!(
        answer.status, 401,
        "the token of the machine's page is none here"
    );
}

fn cookie_name(tablet: &Tablet) -> String {
    let (_, port) = tablet.address.rsplit_once(':').unwrap();
    format!("__Host-tallyjaw-{port}")
}

#[test]
fn foreign_hosts_and_origins_are_refused_whoever_asks() {
    let shop = shop();
    let daemon = shop.start();
    let tablet = Tablet::paired(&shop, &daemon, "bench-left");
    let cookie = tablet.cookie.clone().unwrap();
    let mut shown = String::new();
    for (what, head) in [
        ("its own address", "GET /healthz HTTP/1.1\r\nHost: @\r\n"),
        (
            "the address without a port",
            "GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n",
        ),
        (
            "another address of this machine",
            "GET /healthz HTTP/1.1\r\nHost: 127.0.0.2\r\n",
        ),
        (
            "a name that was made to point here",
            "GET /state HTTP/1.1\r\nHost: evil.example\r\n",
        ),
        (
            "a name that begins like ours",
            "GET /state HTTP/1.1\r\nHost: 127.0.0.1.evil.example\r\n",
        ),
        (
            "two names",
            "GET /state HTTP/1.1\r\nHost: @\r\nHost: evil.example\r\n",
        ),
        ("no name", "GET /state HTTP/1.1\r\n"),
        (
            "a page of another origin reads",
            "GET /state HTTP/1.1\r\nHost: @\r\nOrigin: https://evil.example\r\n",
        ),
        (
            "a page without TLS reads",
            "GET /state HTTP/1.1\r\nHost: @\r\nOrigin: http://@\r\n",
        ),
        (
            "a page on another port reads",
            "GET /state HTTP/1.1\r\nHost: @\r\nOrigin: https://127.0.0.1:1\r\n",
        ),
        (
            "a picture on a hostile page",
            "GET /report/1 HTTP/1.1\r\nHost: @\r\nSec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: no-cors\r\n",
        ),
        (
            "a link to the page",
            "GET / HTTP/1.1\r\nHost: @\r\nSec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\n",
        ),
        (
            "a form of a hostile page",
            "POST /control HTTP/1.1\r\nHost: @\r\nOrigin: https://evil.example\r\nContent-Type: text/plain\r\nContent-Length: 0\r\n",
        ),
        (
            "a form without an origin",
            "POST /control HTTP/1.1\r\nHost: @\r\nContent-Type: text/plain\r\nContent-Length: 0\r\n",
        ),
        (
            "two tokens",
            "GET /healthz HTTP/1.1\r\nHost: @\r\nCookie: $\r\n",
        ),
    ] {
        let head = head.replace('$', &cookie);
        let answer = tablet
            .raw(&format!("{head}Cookie: {cookie}\r\n\r\n"))
            .unwrap();
        let first = answer.body.lines().next().unwrap_or_default();
        let body = if answer.status < 300 { "…" } else { first };
        let body = body.replace(&tablet.address, "ADDRESS");
        let body = body.replace("http://", "without TLS: ");
        let _ = writeln!(shown, "{what}: {} {body}", answer.status);
    }
    golden::assert_same("page/tablet_hosts.txt", &shown);
    // The cookie is worth nothing at the loopback, and nobody is paired there.
    let mut http = crate::page::http::Http::connect(&address(&daemon));
    let headers = format!("Content-Type: application/json\r\nCookie: {cookie}\r\n");
    assert_eq!(http.post(&headers, STATUS).status, 401);
}

#[test]
fn a_tablet_lets_nobody_else_in() {
    let shop = shop();
    let daemon = shop.start();
    let tablet = Tablet::paired(&shop, &daemon, "bench-left");
    for (method, params) in [
        ("pair", json!({})),
        ("revoke", json!({"tablet": "bench-left"})),
        ("tablets", json!({})),
        ("reload", json!({})),
    ] {
        let answer = tablet.command(method, &params);
        assert_eq!(
            answer["error"]["message"],
            "a tablet may not do that, want a command on the bench's machine",
            "{method}"
        );
    }
    assert_eq!(
        tablet.command("status", &json!({}))["result"]["tablet"]["paired"],
        1
    );
}

#[test]
fn a_code_is_good_for_one_device_and_only_for_a_while() {
    let shop = shop();
    let daemon = shop.start();
    let once = code(&shop, "bench-left");
    let once = once["code"].as_str().unwrap();
    let mut first = Tablet::stranger(&daemon);
    let answer = first.pair(once);
    assert_eq!(answer.json(), json!({"tablet": "bench-left"}));
    let mut second = Tablet::stranger(&daemon);
    let answer = second.pair(once);
    assert_eq!(answer.status, 403);
    assert_eq!(
        answer.body,
        "the pairing code is wrong, was used, or has expired\nhelp: get a new one on the bench's machine: tallyjaw page --pair\n"
    );
    assert!(second.cookie.is_none());
    daemon.stop();

    let mut command = shop.tallyjaw(&["--json", "serve"]);
    command.env("TALLYJAW_TEST_CODE_MILLIS", "0");
    let daemon = shop.start_by(command);
    let over = code(&shop, "bench-right");
    let mut late = Tablet::stranger(&daemon);
    assert_eq!(late.pair(over["code"].as_str().unwrap()).status, 403);
    assert_eq!(
        daemon.call("tablets", &json!({}))["tablets"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}
