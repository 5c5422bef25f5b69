//! Tokens of programs: made, listed and revoked by command; what each may do; whose name stands in the entry.

use super::connected;
use super::http::{Answer, Events, Http, address, get, shop, shop_with};
use crate::harness::Shop;
use serde_json::{Value, json};
use std::fs;
use std::os::unix::fs::PermissionsExt as _;

/// As a proxy sends it: then reading needs a token too.
const FORWARDED: &str = "X-Forwarded-For: 10.0.0.9\r\n";

/// Makes a token by command, and returns its secret.
fn made(shop: &Shop, arguments: &[&str]) -> String {
    let all = [&["--json", "token", "add"], arguments].concat();
    let made = shop.run(&all);
    assert!(made.status.success(), "{made:?}");
    let line: Value = serde_json::from_slice(&made.stdout).unwrap();
    assert_eq!(line["kind"], "token");
    line["secret"].as_str().unwrap().to_owned()
}

fn refused(shop: &Shop, arguments: &[&str], want: &str) {
    let got = shop.run(&[&["token"], arguments].concat());
    let said = String::from_utf8(got.stderr).unwrap();
    assert_eq!(got.status.code(), Some(2), "{said}");
    assert!(said.contains(want) && said.contains("help"), "{said}");
}

fn bearer(secret: &str) -> String {
    format!("Authorization: Bearer {secret}\r\n")
}

fn posted(address: &str, secret: &str, method: &str, params: &Value) -> Answer {
    let headers = bearer(secret) + "Content-Type: application/json\r\n";
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
    Http::connect(address).post(&headers, &request.to_string())
}

#[test]
fn a_token_that_reads_reads_everywhere_and_commands_nothing() {
    let shop = shop();
    let (_daemon, address, _) = connected(&shop);
    let secret = made(&shop, &["scraper"]);
    let read = |path: &str, headers: &str| Http::connect(&address).get(path, headers);
    for path in ["/metrics", "/state", "/jobs"] {
        assert_eq!(read(path, FORWARDED).status, 401, "{path}");
        let shown = FORWARDED.to_owned() + &bearer(&secret);
        assert_eq!(read(path, &shown).status, 200, "{path}");
        let other_case = shown.replace("Bearer", "bEARER");
        assert_eq!(read(path, &other_case).status, 200, "{path}");
    }
    let before = shop.journal_lines().len();
    for answer in [
        posted(&address, &secret, "arm", &json!({"plan": "pump-own"})),
        posted(&address, &secret, "status", &json!({})),
        read("/setup", &bearer(&secret)),
        read("/control", &bearer(&secret)),
    ] {
        assert_eq!(answer.status, 403, "{answer:?}");
        assert_eq!(
            answer.body,
            "the token scraper has the scope read, want command\nhelp: make one that may command: tallyjaw token add NAME --scope command\n"
        );
        assert_eq!(
            answer.headers["www-authenticate"],
            "Bearer realm=\"tallyjaw\", error=\"insufficient_scope\", scope=\"command\""
        );
    }
    assert_eq!(shop.journal_lines().len(), before);
}

#[test]
fn who_commanded_by_a_token_stands_in_each_entry_of_the_command_and_in_no_other() {
    let mut shop = shop_with("edit = true");
    let (daemon, address, page) = connected(&shop);
    let secret = made(&shop, &["cell-4", "--scope", "command"]);
    let mut feed = daemon.feed();
    let armed = posted(&address, &secret, "arm", &json!({"plan": "no-zero"}));
    assert_eq!(armed.status, 200, "{armed:?}");
    shop.press(163);
    feed.wait_for("reading");
    posted(&address, &secret, "note", &json!({"text": "by a program"}));
    posted(&address, &page, "note", &json!({"text": "by the page"}));
    daemon.call("note", &json!({"text": "by the socket"}));
    // A program may do at a station what a person may, and nothing else.
    for method in ["reload", "token_add", "tokens", "pair"] {
        let params = json!({"token": "more", "scope": "command"});
        let params = if method == "token_add" {
            params
        } else {
            json!({})
        };
        let answer = posted(&address, &secret, method, &params).json();
        let error = &answer["error"];
        assert_eq!(
            error["message"], "a token may not do that, want a command at a station",
            "{answer}"
        );
        assert!(error["data"]["remedy"].is_string());
    }
    let setup = Http::connect(&address).get("/setup", &bearer(&secret));
    assert_eq!(setup.status, 409, "{setup:?}");
    assert!(daemon.stop().0.success());

    let entries = shop.journal_lines();
    let entries: Vec<Value> = entries
        .iter()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let by_token: Vec<(&Value, &Value)> = entries
        .iter()
        .filter(|entry| entry["token"] == "cell-4")
        .map(|entry| (&entry["kind"], &entry["text"]))
        .collect();
    assert_eq!(
        by_token,
        [
            (&json!("armed"), &Value::Null),
            (&json!("noted"), &json!("by a program"))
        ]
    );
    let named = entries.iter().filter(|entry| entry.get("token").is_some());
    assert_eq!(named.count(), 2);
    let verified = shop.run(&["verify"]);
    assert!(verified.status.success(), "{verified:?}");
}

#[test]
fn a_revoked_token_ends_its_open_connections_and_opens_nothing_any_more() {
    let shop = shop();
    let (daemon, address, page) = connected(&shop);
    let (one, other) = (made(&shop, &["one"]), made(&shop, &["other"]));
    let stream = |secret: &str| {
        let headers = FORWARDED.to_owned() + &bearer(secret);
        Events::open_with(&address, "/events", &headers)
    };
    let (mut ends, mut stays, mut own) = (stream(&one), stream(&other), stream(&page));
    for stream in [&mut ends, &mut stays, &mut own] {
        stream.wait_for("state", |_| true);
    }
    let mut idle = Http::connect(&address);
    let headers = FORWARDED.to_owned() + &bearer(&one);
    assert_eq!(idle.get("/healthz", &headers).status, 200);

    let revoked = shop.run(&["token", "revoke", "one"]);
    assert!(revoked.status.success(), "{revoked:?}");
    while ends.next().is_some() {}
    assert!(idle.head().is_none());
    let again = Http::connect(&address).get("/metrics", &headers);
    assert_eq!(again.status, 401);
    assert!(
        again
            .body
            .starts_with("the token is wrong, or was revoked\nhelp: "),
        "{again:?}"
    );
    daemon.call("note", &json!({"text": "still here"}));
    // Another token's stream goes on, and one that was opened by the page's own.
    for stream in [&mut stays, &mut own] {
        let (_, line) = stream.entry().unwrap();
        assert!(line.contains("still here"), "{line}");
    }
    refused(&shop, &["revoke", "one"], "there is no token \"one\"");
    // The log has what the journal has not: docs/threats.md.
    let messages = shop.messages();
    for said in [
        "a token was made token=\"one\" scope=\"read\"",
        "a token was revoked token=\"one\"",
    ] {
        assert!(messages.contains(said), "{said}: {messages}");
    }
}

#[test]
fn a_token_is_kept_as_a_digest_survives_the_daemon_and_is_made_and_revoked_without_one_too() {
    let shop = shop();
    let secret = made(&shop, &["office", "--scope", "read"]);
    let path = shop.path("state/page.tokens");
    let mode = fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o7777, 0o600);
    let kept = fs::read_to_string(&path).unwrap();
    assert!(!kept.contains(&secret), "{kept}");
    let (daemon, address, _) = connected(&shop);
    let headers = FORWARDED.to_owned() + &bearer(&secret);
    assert_eq!(Http::connect(&address).get("/state", &headers).status, 200);
    let listed = shop.run(&["--json", "token", "list"]);
    let line: Value = serde_json::from_slice(&listed.stdout).unwrap();
    assert_eq!(
        (&line["token"], &line["scope"]),
        (&json!("office"), &json!("read"))
    );
    assert!(line["used_at"].is_string(), "{line}");
    assert!(!String::from_utf8_lossy(&listed.stdout).contains(&secret));
    refused(
        &shop,
        &["add", "office"],
        "there is a token \"office\" already",
    );
    refused(&shop, &["add", "a b"], "got the name \"a b\"");
    let scope = shop.run(&["token", "add", "x", "--scope", "all"]);
    assert_eq!(scope.status.code(), Some(2));
    assert!(daemon.stop().0.success());

    let gone = shop.run(&["token", "revoke", "office"]);
    assert!(gone.status.success(), "{gone:?}");
    let (daemon, address, _) = connected(&shop);
    assert_eq!(Http::connect(&address).get("/state", &headers).status, 401);
    assert!(daemon.stop().0.success());

    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
    let open = shop.run(&["serve"]);
    let said = String::from_utf8(open.stderr).unwrap();
    assert!(said.contains("page.tokens has mode 0644"), "{said}");
    assert!(said.contains("make the tokens again"), "{said}");
}

#[test]
fn a_scraper_gets_the_form_that_it_prefers() {
    let shop = shop();
    let daemon = shop.start();
    let address = address(&daemon);
    let scraped = |accept: &str| {
        let headers = format!("Accept: {accept}\r\n");
        Http::connect(&address).get("/metrics", &headers)
    };
    let (open, plain) = (
        "application/openmetrics-text; version=1.0.0; charset=utf-8",
        "text/plain; version=0.0.4; charset=utf-8",
    );
    // What scrapers of Prometheus send: 3.x, 2.x and one without OpenMetrics; from memory.
    for (accept, want) in [
        (
            "application/openmetrics-text;version=1.0.0;escaping=allow-utf-8;q=0.5,application/openmetrics-text;version=0.0.1;q=0.4,text/plain;version=1.0.0;escaping=allow-utf-8;q=0.3,text/plain;version=0.0.4;q=0.2,*/*;q=0.1",
            open,
        ),
        (
            "application/openmetrics-text;version=1.0.0,application/openmetrics-text;version=0.0.1;q=0.75,text/plain;version=0.0.4;q=0.5,*/*;q=0.1",
            open,
        ),
        ("text/plain;version=0.0.4;q=1,*/*;q=0.1", plain),
        ("text/plain", plain),
        ("*/*", open),
        ("application/openmetrics-text;q=0.2, text/*;q=0.3", plain),
    ] {
        let answer = scraped(accept);
        assert_eq!(answer.headers["content-type"], want, "{accept}");
        assert_eq!(answer.headers["vary"], "accept");
    }
    let neither = scraped("application/json");
    assert_eq!(neither.status, 406);
    assert_eq!(
        neither.body,
        format!(
            "got Accept: \"application/json\", want {open} or {plain}\nhelp: leave Accept out, or send Accept: */*\n"
        )
    );

    // The same samples, but for what may change between two scrapes.
    let samples = |text: &str| -> Vec<String> {
        let lines = text.lines().filter(|line| !line.starts_with('#'));
        let names = lines.map(|line| line.rsplit_once(' ').unwrap().0.to_owned());
        names.collect()
    };
    let (open, plain) = (get(&address, "/metrics").body, scraped("text/plain").body);
    assert_eq!(samples(&open), samples(&plain));
    assert!(open.ends_with("# EOF\n") && !plain.contains("# EOF") && !plain.contains("# UNIT"));
    for line in [
        "# TYPE tallyjaw_readings_total counter",
        "# TYPE tallyjaw_build_info gauge",
        "# TYPE tallyjaw_journal_sync_seconds histogram",
    ] {
        assert!(plain.contains(line), "{line}");
    }
}
