//! A broker that is full, and one behind a slow line: what its subscriber gets is what the journal holds.

use super::{Broker, Message, Subscriber, assert_complete, configure, free_port, plant_until, seq};
use crate::harness::Shop;
use crate::slow_line::SlowLine;
use serde_json::json;
use std::fs;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::time::Duration;

/// Sends the broker a message to keep; whether it took it.
fn kept(port: u16, number: usize, size: usize) -> bool {
    let mut child = Command::new("mosquitto_pub")
        .args(["-V", "mqttv5", "-p", &port.to_string(), "-q", "1", "-r"])
        .args(["-t", &format!("other/{size}/{number}"), "-s"])
        .stdin(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    let _ = input.write_all(&vec![b'x'; size]); // It may have ended already.
    drop(input);
    child.wait().unwrap().success()
}

/// No entry came twice.
fn assert_once(messages: &[Message]) {
    let seqs = messages.iter().map(|message| seq(&message.payload));
    assert!(seqs.eq(1..=u64::try_from(messages.len()).unwrap()));
}

#[test]
fn a_broker_whose_memory_is_full_gets_each_entry_once_it_has_more() {
    let shop = Shop::new();
    let port = free_port();
    let limit = "memory_limit 400000";
    let mut broker = Broker::start(&shop, port, &format!("allow_anonymous true\n{limit}"));
    let entries = Subscriber::new(port, "tallyjaw/entries/#");
    for size in [50_000, 5_000, 500, 50] {
        let full = (0..100).find(|number| !kept(port, *number, size));
        assert!(full.is_some(), "the broker has no limit");
    }
    configure(&shop, &format!("broker = \"mqtt://127.0.0.1:{port}\""));
    let daemon = shop.start();
    let failing = plant_until(&daemon, |plant| !plant["failing"].is_null());
    assert_eq!(failing["after"], 0, "{failing}");
    for number in 0..20 {
        daemon.call("note", &json!({"text": format!("number {number}")}));
    }
    broker.kill();
    let text = fs::read_to_string(&broker.config).unwrap();
    fs::write(&broker.config, text.replace(limit, "")).unwrap();
    broker.restart();
    daemon.call("note", &json!({"text": "the last of all."}));
    let got = entries.up_to("the last of all.");
    assert_complete(&shop, &got);
    assert_once(&got);
    assert!(daemon.stop().0.success());
}

#[test]
fn over_a_slow_line_each_entry_comes_once_and_that_is_no_failure() {
    let shop = Shop::new();
    let port = free_port();
    let _broker = Broker::start(&shop, port, "allow_anonymous true");
    let line = SlowLine::to(port);
    let address = format!("broker = \"mqtt://127.0.0.1:{}\"", line.port);
    configure(&shop, &address);
    let entries = Subscriber::new(port, "tallyjaw/entries/#");
    let daemon = shop.start();
    for number in 0..30 {
        daemon.call("note", &json!({"text": format!("number {number}")}));
    }
    daemon.call("note", &json!({"text": "the last of all."}));
    let got = entries.up_to("the last of all.");
    let well = plant_until(&daemon, |plant| plant["behind"] == 0);
    assert_eq!(well["failures"], 0, "{well}");
    assert_complete(&shop, &got);
    assert_once(&got);
    assert!(line.held_back() > Duration::from_millis(100));
    assert!(daemon.stop().0.success());
}
