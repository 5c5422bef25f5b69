//! The feed: what a client gets, whatever it does itself.

use crate::harness::{Lines, Shop};
use serde_json::json;
use std::fs;
use std::io::{Read, Write};
use std::net::Shutdown;
use std::os::unix::fs::PermissionsExt;

/// Arms and presses, and waits until all of it is durable.
fn measure(shop: &mut Shop, feed: &mut Lines, count: i64) {
    for piece in 0..count {
        shop.press(160 + piece % 5);
        feed.wait_for("reading");
    }
}

#[test]
fn a_client_gets_hello_then_the_state_then_entries_as_they_are_on_disk() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let (_, hello, state) = daemon.greeted_feed();
    assert_eq!((&hello["v"], &hello["first"]), (&json!(1), &json!(1)));
    assert_eq!(hello["version"], env!("CARGO_PKG_VERSION"));
    assert_eq!(hello["journal"].as_str().unwrap().len(), 32);
    assert_eq!(hello["last"], state["seq"]);
    let station = &state["stations"][0];
    assert_eq!(station["station"], "bench-1");
    assert_eq!(station["prompt"], "start a plan");
    assert_eq!(state["instruments"][0]["instrument"], "caliper-1");

    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(163);
    loop {
        let line = feed.next_line();
        assert!(shop.journal_lines().contains(&line), "{line}");
        if line.contains("\"kind\":\"reading\"") {
            break;
        }
    }
    let (_, _, state) = daemon.greeted_feed();
    let station = &state["stations"][0];
    assert_eq!(station["armed"]["terminal"], "QF-250-F");
    assert_eq!(station["armed"]["axes"][0]["lower_nm"], 1_570_000);
    assert_eq!(
        station["next"],
        json!({"piece": 2, "axis": "core_crimp_height"})
    );
    assert_eq!(station["last"]["verdict"], "pass");
    assert_eq!(station["last"]["value_nm"], 1_630_000);
    assert_eq!(state["instruments"][0]["attached"], true);
}

#[test]
fn after_n_gives_everything_after_n_byte_for_byte_and_then_goes_on_live() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let mut live = daemon.connected_feed();
    measure(&mut shop, &mut live, 20);
    live.wait_for("armed"); // What follows from the last reading may become durable after it.
    for after in [0, 1, 7, 19] {
        let (mut feed, hello, _) = daemon.greeted_feed();
        feed.send(&format!("{{\"after\":{after}}}"));
        let stored = shop.journal_lines();
        let last = usize::try_from(hello["last"].as_u64().unwrap()).unwrap();
        for line in &stored[after..last] {
            assert_eq!(feed.next_line(), *line);
        }
    }
    let (mut feed, hello, _) = daemon.greeted_feed();
    feed.send(&format!("{{\"after\":{}}}", hello["last"]));
    // Not the same direction as the last: six in a row would raise an alert.
    shop.press(159);
    let live = feed.next_line();
    assert!(live.contains("\"value\":1.59"), "{live}");
    assert_eq!(shop.journal_lines().last(), Some(&live));
    feed.send("{\"after\":0}");
    assert_eq!(
        feed.next_line(),
        shop.journal_lines()[0],
        "asked again later"
    );
}

#[test]
fn a_client_that_stops_reading_delays_nobody_and_later_misses_nothing() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let mut asleep = daemon.feed_from_the_beginning();
    let mut awake = daemon.connected_feed();
    // Notes of 4 KiB, more than all buffers of the client hold.
    let text = "x".repeat(4_000);
    let mut control = daemon.control();
    for _ in 0..500 {
        let answer = control.call("note", &json!({"text": text}));
        let seq = answer["result"]["seq"].clone();
        assert_eq!(awake.wait_for("noted")["seq"], seq);
    }
    shop.press(161);
    awake.wait_for("reading");
    for line in shop.journal_lines() {
        assert_eq!(asleep.next_line(), line);
    }
}

#[test]
fn what_a_client_sends_wrong_is_answered_and_it_is_served_on() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (mut feed, hello, _) = daemon.greeted_feed();
    let rubbish: &[&[u8]] = &[
        b"hello\n",
        b"\xff\xfe\x00\x01\n",
        b"{\"after\":-1}\n",
        b"{\"after\":\"17\"}\n",
        b"[17]\n",
        b"{\"after\":99999999}\n",
        b"{\"before\":1}\r\n",
    ];
    for bytes in rubbish {
        feed.send_bytes(bytes);
        let notice = feed.wait_for("error");
        assert!(notice["remedy"].is_string(), "{notice}");
    }
    feed.send_bytes(b"\n\r\n  \n{\"after\"");
    feed.send_bytes(b":0}\r\n");
    assert_eq!(feed.wait_for("begun")["seq"], 1);
    assert_eq!(feed.wait_for("started")["seq"], 2);
    assert!(hello["last"].as_u64().unwrap() >= 1);
}

#[test]
fn a_line_without_an_end_is_told_so_and_the_client_let_go() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (mut feed, _, _) = daemon.greeted_feed();
    // The daemon may close the connection before everything was written.
    let _ = feed.stream.get_mut().write_all(&vec![b'x'; 70_000]);
    let notice = feed.wait_for("error");
    assert!(
        notice["message"].as_str().unwrap().contains("65536 bytes"),
        "{notice}"
    );
    let mut rest = Vec::new();
    let ended = feed.stream.read_to_end(&mut rest);
    assert!(ended.is_ok() || ended.unwrap_err().kind() == std::io::ErrorKind::ConnectionReset);
    daemon.greeted_feed();
}

#[test]
fn a_client_that_will_say_nothing_more_is_still_served() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (mut feed, _, _) = daemon.greeted_feed();
    feed.stream.get_ref().shutdown(Shutdown::Write).unwrap();
    daemon.call("note", &json!({"text": "still there?"}));
    assert_eq!(feed.wait_for("noted")["text"], "still there?");
    let mut whole = daemon.feed();
    whole.send("{\"after\":0}");
    whole.stream.get_ref().shutdown(Shutdown::Write).unwrap();
    assert_eq!(whole.wait_for("begun")["seq"], 1);
}

#[test]
fn the_client_too_many_is_refused_politely_and_has_a_place_when_another_goes() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut clients: Vec<_> = (0..256).map(|_| daemon.greeted_feed().0).collect();
    let mut refused = daemon.feed();
    let notice = refused.next();
    assert_eq!(notice["kind"], "error");
    assert!(notice["message"].as_str().unwrap().contains("256 clients"));
    assert!(refused.is_closed());
    clients.pop();
    // The place is free once the daemon has noticed that the client is gone.
    let deadline = std::time::Instant::now() + crate::harness::PATIENCE;
    while daemon.feed().next()["kind"] != "hello" {
        assert!(std::time::Instant::now() < deadline, "no place became free");
    }
}

#[test]
fn the_sockets_have_the_modes_that_were_asked_for() {
    let shop = Shop::new();
    let text = shop
        .configuration()
        .replace("[daemon]\n", "[daemon]\nsocket_mode = \"0666\"\n");
    shop.write("tallyjaw.toml", &text);
    let daemon = shop.start();
    let mode = |name: &str| fs::metadata(shop.path(name)).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode("run"), 0o700);
    assert_eq!(mode("run/feed.sock"), 0o666);
    assert_eq!(mode("run/control.sock"), 0o600);
    daemon.greeted_feed();
}

#[test]
fn each_state_follows_the_entries_that_it_includes_and_has_the_counts() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (mut feed, hello, _) = daemon.greeted_feed();
    feed.send("{\"state\":\"each\"}");
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let mut last = hello["last"].clone();
    let mut counts = Vec::new();
    for (hundredths, verdict) in [
        (162, "pass"),
        (150, "fail_low"),
        (163, "pass"),
        (175, "fail_high"),
    ] {
        shop.press(hundredths);
        let mut verdict_came = false;
        loop {
            let line = feed.next();
            if line["kind"] != "state" {
                assert!(line["seq"].as_u64() > last.as_u64(), "{line}");
                verdict_came |= line["verdict"] == verdict;
                last = line["seq"].clone();
                continue;
            }
            assert_eq!(
                line["seq"], last,
                "a state includes what came before it, and no more"
            );
            if verdict_came {
                counts.push(line["stations"][0]["armed"]["counts"].clone());
                break;
            }
        }
    }
    let verdicts = |pass, low, high| json!({"pass": pass, "fail_low": low, "fail_high": high, "unsure_low": 0, "unsure_high": 0, "measured": 0});
    let want = [(1, 0, 0), (1, 1, 0), (2, 1, 0), (2, 1, 1)].map(|(pass, low, high)| {
        json!({"slots": 5, "filled": pass + low + high, "doubted_left": 0, "verdicts": verdicts(pass, low, high)})
    });
    assert_eq!(counts, want);
    shop.press(164); // It makes the series full.
    assert_eq!(
        feed.wait_for("completed")["counts"]["verdicts"],
        verdicts(3, 1, 1)
    );
    feed.send("{\"state\":\"first\"}");
    feed.send("{\"after\":0}");
    while feed.next()["seq"] != 1 {}
}

#[test]
fn who_asks_for_entries_that_are_gone_is_told_which_and_gets_those_behind_them() {
    let shop = Shop::new();
    let kept = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/journals/V1_EVERY_KIND/journal");
    fs::create_dir_all(shop.path("state/journal")).unwrap();
    for name in ["00000002.jsonl", "00000003.jsonl"] {
        fs::copy(kept.join(name), shop.path("state/journal").join(name)).unwrap();
    }
    let daemon = shop.start();
    let (mut feed, hello, _) = daemon.greeted_feed();
    let first = hello["first"].as_u64().unwrap();
    for after in [3, first - 2] {
        feed.send(&format!("{{\"after\":{after}}}"));
        let notice = feed.wait_for("entries_missing");
        let want = format!("entries {} to {} are not in", after + 1, first - 1);
        assert!(
            notice["message"].as_str().unwrap().starts_with(&want),
            "{notice}"
        );
        assert!(
            notice["ends"].is_null() && notice["seq"].is_null(),
            "{notice}"
        );
        assert_eq!(feed.next()["seq"], first);
    }
    feed.send(&format!("{{\"after\":{}}}", first - 1));
    while feed.peek()["seq"] != first {
        assert_ne!(feed.next()["kind"], "entries_missing");
    }
}

#[test]
fn the_last_notice_of_a_connection_says_so_and_no_other_does() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (mut feed, _, _) = daemon.greeted_feed();
    let (mut long, _, _) = daemon.greeted_feed();
    feed.send("hello");
    assert!(feed.wait_for("error")["ends"].is_null());
    // The daemon may close the connection before everything was written.
    let _ = long.stream.get_mut().write_all(&vec![b'x'; 70_000]);
    assert_eq!(long.wait_for("error")["ends"], true);
    daemon.stop();
    feed.wait_for("stopped");
    assert!(feed.is_closed());
}
