//! The control socket: its answers, and their times.

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
        ("disarm", json!({"station": "bench-1"}), "no series is open"),
        (
            "retract",
            json!({"station": "bench-1"}),
            "no series is open",
        ),
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
    // In between only ports may have been opened.
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
fn no_notification_is_answered_and_ids_come_back_to_the_letter() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut control = daemon.control();
    for notification in [
        r#"{"jsonrpc":"2.0","method":"sing"}"#,
        r#"{"jsonrpc":"2.0","method":"disarm"}"#,
        r#"{"jsonrpc":"2.0","method":"note","params":{"txt":"x"}}"#,
        r#"{"jsonrpc":"2.0","method":"note","params":["x"]}"#,
    ] {
        control.send(notification);
    }
    for id in ["1.10", "12345678901234567890123", "null", r#""\u0041\/""#] {
        control.send(&format!(
            r#"{{"jsonrpc":"2.0","id":{id},"method":"disarm"}}"#
        ));
        let answer = control.next_line();
        let want = format!(r#"{{"jsonrpc":"2.0","id":{id},"error":"#);
        assert!(answer.starts_with(&want), "{answer}");
    }
    control.send(r#"{"jsonrpc":"2.0","id":{"a":1},"method":"status"}"#);
    let answer = control.next();
    assert_eq!(
        (&answer["id"], &answer["error"]["code"]),
        (&Value::Null, &json!(-32_600))
    );
}

#[test]
fn arming_over_an_open_series_is_said_twice_or_with_cut_and_can_be_undone() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (plan, now) = (
        json!({"plan": "pump-own", "cut": false}),
        json!({"plan": "pump-own", "cut": true}),
    );
    let first = daemon.call("arm", &plan)["seq"].clone();
    let refused = daemon.refused("arm", &plan);
    let message = refused["message"].as_str().unwrap();
    assert!(message.contains("is still open: 0 of"), "{refused}");
    let second = daemon.call("arm", &plan)["seq"].clone();
    assert_ne!(first, second);
    daemon.call("resume", &json!({}));
    let open = |daemon: &crate::harness::Daemon| {
        let status = daemon.call("status", &json!({}));
        status["state"]["stations"][0]["armed"]["series"].clone()
    };
    assert_eq!(open(&daemon), first);
    let third = daemon.call("arm", &now)["seq"].clone();
    assert_eq!(open(&daemon), third);
}

#[test]
fn a_series_of_a_station_that_was_renamed_can_be_ended() {
    let shop = Shop::new();
    let daemon = shop.start();
    daemon.call("arm", &json!({"plan": "pump-own"}));
    daemon.stop();
    let renamed = shop.configuration().replace("bench-1", "table-1");
    shop.write("tallyjaw.toml", &renamed);
    let daemon = shop.start();
    let status = daemon.call("status", &json!({}));
    let station = |name: &str| {
        let stations = status["state"]["stations"].as_array().unwrap();
        let of_it = |one: &&Value| one["station"] == name;
        stations.iter().find(of_it).cloned()
    };
    assert_eq!(station("table-1").unwrap()["prompt_kind"], "arm");
    let left = station("bench-1").unwrap();
    assert_eq!(left["prompt_kind"], "end");
    let prompt = left["prompt"].as_str().unwrap();
    assert!(
        prompt.contains("tallyjaw disarm --station bench-1"),
        "{prompt}"
    );
    assert!(
        shop.messages()
            .contains("bench-1 is not in the configuration")
    );
    let refused = daemon.refused("disarm", &json!({}));
    assert!(refused["message"].as_str().unwrap().contains("bench-1"));
    for method in ["arm", "note", "zero"] {
        let params = json!({"station": "bench-1", "plan": "pump-own", "text": "x"});
        let params = match method {
            "arm" => json!({"station": "bench-1", "plan": "pump-own"}),
            "note" => json!({"station": "bench-1", "text": params["text"]}),
            _ => json!({"station": "bench-1"}),
        };
        daemon.refused(method, &params);
    }
    daemon.call("disarm", &json!({"station": "bench-1"}));
    let status = daemon.call("status", &json!({}));
    assert_eq!(status["state"]["stations"].as_array().unwrap().len(), 1);
    daemon.refused("disarm", &json!({"station": "bench-1"}));
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
    // The daemon may close the connection before everything was written.
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
