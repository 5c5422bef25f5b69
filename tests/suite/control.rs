//! The control socket: what it answers, and when.

use crate::harness::Shop;
use serde_json::{Value, json};
use std::io::Write;

#[test]
fn an_answer_comes_when_its_entry_is_in_the_file() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut control = daemon.control();
    for number in 0..50 {
        let text = format!("note {number}");
        let seq = control.call("note", &json!({"text": text}))["result"]["seq"].clone();
        let lines = shop.journal_lines();
        let stored = lines
            .iter()
            .find(|line| line.contains(&format!("\"{text}\"")));
        let stored: Value =
            serde_json::from_str(stored.expect("answered before it was written")).unwrap();
        assert_eq!((&stored["seq"], &stored["kind"]), (&seq, &json!("noted")));
    }
}

#[test]
fn arming_answers_with_everything_it_will_judge_by() {
    let shop = Shop::new();
    let daemon = shop.start();
    daemon.connected_feed();
    let armed = daemon.call(
        "arm",
        &json!({"station": "bench-1", "operator": "mara", "terminal": "QF-250-F", "wire": "14 ga",
            "sizing": "sae_metric", "axes": ["core_crimp_height", "core_crimp_width"], "order": "by_piece",
            "pieces": 3, "purpose": "qualification", "decision": "guarded", "guard_factor": 2}),
    );
    let series = &armed["armed"];
    assert_eq!(series["series"], armed["seq"]);
    assert_eq!(series["wire_mm2"].to_string(), "2.0");
    assert!(
        series["wire"]
            .as_str()
            .unwrap()
            .starts_with("14 ga = 2.0 mm²")
    );
    assert_eq!(
        (&series["slots"], &series["filled"]),
        (&json!(6), &json!(0))
    );
    assert_eq!(series["guard_factor"].to_string(), "2.0");
    assert_eq!(series["axes"][1]["limits"], "2.40 ±0.10 mm");
    assert!(series["axes"][0]["guards"][0]["tur"].is_number());
    assert!(
        !series["warnings"].as_array().unwrap().is_empty(),
        "a ratio under 4 is warned of"
    );
    assert!(armed["prompt"].as_str().unwrap().contains("zero"));
    let status = daemon.call("status", &json!({}));
    let station = &status["state"]["stations"][0];
    assert_eq!(station["armed"]["series"], armed["seq"]);
    assert_eq!(station["operator"], "mara");
}

#[test]
fn what_cannot_be_done_changes_nothing_and_says_what_to_do() {
    let shop = Shop::with_stations(2);
    let daemon = shop.start();
    let before =
        daemon.call("note", &json!({"station": "bench-1", "text": "before"}))["seq"].clone();
    for (method, params, part) in [
        (
            "arm",
            json!({"station": "bench-1", "plan": "pump-onw"}),
            "pump-onw",
        ),
        ("arm", json!({"plan": "pump-own"}), "several"),
        (
            "arm",
            json!({"station": "bench-9", "plan": "pump-own"}),
            "bench-9",
        ),
        ("disarm", json!({"station": "bench-1"}), "nothing is armed"),
        ("retract", json!({"station": "bench-1"}), "nothing is armed"),
        ("note", json!({"station": "bench-1", "text": " "}), "note"),
        (
            "zero",
            json!({"station": "bench-1", "instrument": "caliper-2"}),
            "caliper-2",
        ),
    ] {
        let error = daemon.refused(method, &params);
        assert_eq!(error["code"], -32_000, "{error}");
        assert!(error["message"].as_str().unwrap().contains(part), "{error}");
        assert!(error["data"]["remedy"].is_string(), "{error}");
    }
    let after = daemon.call("note", &json!({"station": "bench-1", "text": "after"}));
    // Both ports may have been opened in between, and nothing else.
    let said: Vec<Value> = shop
        .journal_lines()
        .iter()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let between = |entry: &&Value| {
        let seq = entry["seq"].as_u64();
        seq > before.as_u64() && seq < after["seq"].as_u64()
    };
    assert!(
        said.iter()
            .filter(between)
            .all(|entry| entry["kind"] == "attached")
    );
}

#[test]
fn requests_that_are_none_get_the_code_of_their_fault_and_the_next_is_served() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut control = daemon.control();
    for (line, code, id) in [
        (&b"nonsense"[..], -32_700, Value::Null),
        (b"\xff\x00", -32_700, Value::Null),
        (b"[]", -32_600, Value::Null),
        (b"{\"jsonrpc\":\"2.0\",\"id\":7}", -32_600, json!(7)),
        (
            b"{\"jsonrpc\":\"2.0\",\"id\":\"a\",\"method\":\"amr\"}",
            -32_601,
            json!("a"),
        ),
        (
            b"{\"jsonrpc\":\"2.0\",\"id\":8,\"method\":\"arm\",\"params\":{\"pln\":1}}",
            -32_602,
            json!(8),
        ),
    ] {
        control.send_bytes(line);
        control.send_bytes(b"\n");
        let answer = control.next();
        assert_eq!(answer["error"]["code"], code, "{answer}");
        assert_eq!(answer["id"], id, "{answer}");
    }
    assert_eq!(control.call("status", &json!({}))["id"], 1);
}

#[test]
fn a_notification_is_done_and_not_answered() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (mut feed, _, _) = daemon.greeted_feed();
    let mut control = daemon.control();
    control.send(r#"{"jsonrpc":"2.0","method":"note","params":{"text":"quietly"}}"#);
    let answer = control.call("status", &json!({}));
    assert!(answer["result"]["state"].is_object(), "{answer}");
    assert_eq!(feed.wait_for("noted")["text"], "quietly");
}

#[test]
fn an_endless_line_is_told_so_and_others_are_served() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut control = daemon.control();
    // It may be let go before all of it is written.
    let _ = control.stream.get_mut().write_all(&vec![b'{'; 70_000]);
    assert_eq!(control.next()["error"]["code"], -32_700);
    daemon.call("status", &json!({}));
}

#[test]
fn another_user_is_refused_whatever_the_mode_of_the_socket_says() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;
    if !rustix::process::geteuid().is_root() {
        return; // only root can become somebody else
    }
    let shop = Shop::new();
    let daemon = shop.start();
    for (path, mode) in [("", 0o755), ("run", 0o755), ("run/control.sock", 0o777)] {
        let mode = std::fs::Permissions::from_mode(mode);
        std::fs::set_permissions(shop.path(path), mode).unwrap();
    }
    let script = "import socket, sys\ns = socket.socket(socket.AF_UNIX)\ns.connect(sys.argv[1])\nprint(s.makefile().readline())";
    let output = std::process::Command::new("python3")
        .args(["-c", script])
        .arg(shop.path("run/control.sock"))
        .uid(65_534)
        .output()
        .unwrap();
    let answer: Value = serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {output:?}"));
    assert_eq!(answer["error"]["code"], -32_000);
    assert!(
        answer["error"]["message"]
            .as_str()
            .unwrap()
            .contains("65534"),
        "{answer}"
    );
    drop(daemon);
}
