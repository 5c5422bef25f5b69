//! Pictures over HTTP: who may give one, what is taken, what is refused with which words, and the small copies.

use super::connected;
use super::http::{Answer, Http, shop};
use crate::harness::{Daemon, Shop};
use crate::pictures::draw::{jpeg, png};
use serde_json::{Value, json};
use std::fs;
use tallyjaw::entry::line::Digest;
use tallyjaw::pictures::MOST_BYTES;

/// Query, content type, bytes, their said number; status, and a part of what is said.
type Case<'a> = (&'a str, &'a str, &'a [u8], usize, u16, &'a str);

/// A series of which one piece is measured.
fn measure(shop: &mut Shop, daemon: &Daemon) -> u64 {
    let armed = daemon.call("arm", &json!({"plan": "no-zero"}));
    let mut feed = daemon.connected_feed();
    shop.press(162);
    feed.wait_for("reading");
    armed["seq"].as_u64().unwrap()
}

/// A request with these bytes, of which `len` are said to come.
fn post(
    (address, token): (&str, &str),
    query: &str,
    kind: &str,
    bytes: &[u8],
    len: usize,
) -> Answer {
    let mut http = Http::connect(address);
    let head = format!(
        "POST /picture{query} HTTP/1.1\r\nHost: {address}\r\nOrigin: http://{address}\r\nContent-Type: {kind}\r\nContent-Length: {len}\r\nAuthorization: Bearer {token}\r\n\r\n"
    );
    http.send(&[head.as_bytes(), bytes].concat());
    http.answer().unwrap()
}

fn entries(shop: &Shop, kind: &str) -> Vec<Value> {
    let lines = shop.journal_lines().into_iter();
    let entries = lines.map(|line| serde_json::from_str::<Value>(&line).unwrap());
    entries.filter(|entry| entry["kind"] == kind).collect()
}

#[test]
fn a_picture_is_given_and_its_small_copy_is_in_the_state_and_can_be_read() {
    let mut shop = shop();
    let (daemon, address, token) = connected(&shop);
    let series = measure(&mut shop, &daemon);
    let bytes = jpeg(1, (900, 600));
    let query = format!("?name=cut%203.jpg&station=bench-1&series={series}&piece=1");
    let to = (address.as_str(), token.as_str());
    let answer = post(to, &query, "image/jpeg", &bytes, bytes.len());
    assert_eq!(answer.status, 200, "{answer:?}");
    let result = &answer.json()["result"];
    assert_eq!(result["series"], series);
    assert_eq!(result["piece"], 1);
    assert_eq!(result["picture"], Digest::of(&bytes).to_string());
    let entered = &entries(&shop, "pictured")[0];
    assert_eq!(entered["file_name"], "cut 3.jpg");
    assert_eq!(entered["by"], "command");

    let pictures = |address: &str| {
        let state = super::get(address, "/state").json();
        state["benches"][0]["pictures"].clone()
    };
    let want = json!([{"seq": result["seq"], "piece": 1, "shown": entered["shown"]}]);
    assert_eq!(pictures(&address), want);
    let shown = entered["shown"].as_str().unwrap();
    let mut http = Http::connect(&address);
    http.send(format!("GET /picture/{shown} HTTP/1.1\r\nHost: {address}\r\n\r\n").as_bytes());
    let (status, headers) = http.head().unwrap();
    let copy = http.body(&headers);
    assert_eq!(
        (status, headers["content-type"].as_str()),
        (200, "image/jpeg")
    );
    assert!(headers["cache-control"].contains("immutable"));
    assert_eq!(Digest::of(&copy).to_string(), shown);
    // The picture itself is not served, only the small copy.
    let path = format!("/picture/{}", Digest::of(&bytes));
    assert_eq!(super::get(&address, &path).status, 404);

    // After the outcome it is that of the last series, until the next one begins.
    daemon.call("disarm", &json!({}));
    assert_eq!(pictures(&address), want);
    daemon.call("arm", &json!({"plan": "no-zero"}));
    assert_eq!(pictures(&address), Value::Null);
}

#[test]
fn what_is_refused_is_said_with_what_to_do_and_leaves_nothing() {
    let mut shop = shop();
    let (daemon, address, token) = connected(&shop);
    measure(&mut shop, &daemon);
    let to = (address.as_str(), token.as_str());
    let whole = png(2, (64, 48));
    let cases: [Case<'_>; 7] = [
        // Nothing of it is waited for.
        (
            "?name=huge.jpg",
            "image/jpeg",
            b"",
            MOST_BYTES + 1,
            409,
            "huge.jpg was not taken: got more than 20971520 bytes",
        ),
        (
            "?name=notes.jpg",
            "image/jpeg",
            b"1.62 mm",
            7,
            409,
            "notes.jpg was not taken: got a file of another kind",
        ),
        (
            "?name=a.svg",
            "image/svg+xml",
            b"<svg/>",
            6,
            415,
            "want image/jpeg or image/png",
        ),
        (
            "?name=a.png&piece=7",
            "image/png",
            &whole,
            whole.len(),
            409,
            "piece 7 of series",
        ),
        (
            "?name=a.png&piece=x",
            "image/png",
            &whole,
            whole.len(),
            400,
            "got piece=\"x\", want a number",
        ),
        (
            "?name=a.png&station=bench-9",
            "image/png",
            &whole,
            whole.len(),
            409,
            "no station \"bench-9\"",
        ),
        (
            "?name=a.png&series=999999",
            "image/png",
            &whole,
            whole.len(),
            409,
            "no series 999999 in this journal",
        ),
    ];
    for (query, kind, bytes, len, status, want) in cases {
        let answer = post(to, query, kind, bytes, len);
        let said = answer.body.replace("\\\"", "\"");
        assert_eq!(answer.status, status, "{query}: {said}");
        assert!(said.contains(want), "{query}: {said}");
        assert!(
            said.contains("\nhelp: ") || said.contains("\"remedy\":"),
            "{query}: {said}"
        );
    }
    assert_eq!(entries(&shop, "pictured"), Vec::<Value>::new());
    let folder = shop.path("state/pictures");
    let files = fs::read_dir(folder).map_or(0, |items| {
        items
            .filter(|item| item.as_ref().unwrap().path().is_file())
            .count()
    });
    assert_eq!(files, 0);
}

#[test]
fn a_name_is_no_path_and_a_digest_is_none_either() {
    let mut shop = shop();
    let (daemon, address, token) = connected(&shop);
    measure(&mut shop, &daemon);
    let to = (address.as_str(), token.as_str());
    let whole = png(2, (64, 48));
    let answer = post(
        to,
        "?name=..%2F..%2Fa.png",
        "image/png",
        &whole,
        whole.len(),
    );
    assert_eq!(answer.status, 200, "{answer:?}");
    assert!(
        !entries(&shop, "pictured")[0]["file_name"]
            .as_str()
            .unwrap()
            .contains('/')
    );
    for path in [
        "/picture/",
        "/picture/..",
        "/picture/../page.token",
        "/picture/%2e%2e%2fpage.token",
        "/picture/small/a.jpg",
        "/picture/0",
    ] {
        let answer = super::get(&address, path);
        assert_eq!(answer.status, 404, "{path}: {answer:?}");
        assert!(!answer.body.contains(&token), "{path}");
    }
}

#[test]
fn the_page_knows_how_large_a_picture_may_be() {
    let script = include_str!("../../../src/page/assets/pictures.js");
    assert!(script.contains("const MOST_BYTES = 20 * 1024 * 1024;"));
    assert_eq!(MOST_BYTES, 20 * 1024 * 1024);
}
