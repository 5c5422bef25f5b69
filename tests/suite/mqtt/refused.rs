//! What a broker refuses, by size, rights or certificate, and how a sink shows who it is.

use super::{Broker, Subscriber, assert_complete, configure, free_port, plant_until, run, seq};
use crate::harness::Shop;
use serde_json::json;
use std::fs;
use std::time::{Duration, Instant};

/// Two pauses at their shortest: 0.5 s and 1 s, each by up to a quarter less.
const TWO_PAUSES: Duration = Duration::from_millis(1125);

#[test]
fn a_state_that_a_broker_refuses_sends_no_entry_again_and_is_tried_with_growing_pauses() {
    let shop = Shop::new();
    let port = free_port();
    shop.write(
        "acl",
        "topic readwrite tallyjaw/status/#\ntopic readwrite tallyjaw/entries/#\n",
    );
    let acl = shop.path("acl").display().to_string();
    // With a limit of its own the broker answers a refused message; without one it resets the connection.
    let more = format!("allow_anonymous true\nmax_inflight_messages 20\nacl_file {acl}");
    let broker = Broker::start(&shop, port, &more);
    configure(&shop, &format!("broker = \"mqtt://127.0.0.1:{port}\""));
    let entries = Subscriber::new(port, "tallyjaw/entries/#");
    let since = Instant::now();
    let daemon = shop.start();
    let failing = plant_until(&daemon, |plant| {
        plant["failing"]["tries"].as_u64() >= Some(3)
    });
    assert!(since.elapsed() >= TWO_PAUSES, "{failing}");
    // It ends the connection behind its answer, which may be seen first.
    let remedy = failing["failing"]["remedy"].as_str().unwrap();
    assert!(remedy.contains("publish under `topic`"), "{failing}");

    fs::write(shop.path("acl"), "topic readwrite #\n").unwrap();
    run("kill", &["-HUP", &broker.child.id().to_string()]);
    daemon.call("note", &json!({"text": "the last of all."}));
    plant_until(&daemon, |plant| plant["failing"].is_null());
    let got = entries.up_to("the last of all.");
    assert_complete(&shop, &got);
    let seqs: Vec<u64> = got.iter().map(|message| seq(&message.payload)).collect();
    let once: Vec<u64> = (1..=u64::try_from(seqs.len()).unwrap()).collect();
    assert_eq!(seqs, once, "each came once");
    assert!(daemon.stop().0.success());
}

#[test]
fn an_entry_that_is_too_large_for_a_broker_comes_when_it_may() {
    let shop = Shop::new();
    let port = free_port();
    let mut broker = Broker::start(
        &shop,
        port,
        "allow_anonymous true\nmax_inflight_messages 20\nmessage_size_limit 60",
    );
    configure(&shop, &format!("broker = \"mqtt://127.0.0.1:{port}\""));
    let entries = Subscriber::new(port, "tallyjaw/entries/#");
    let daemon = shop.start();
    let failing = plant_until(&daemon, |plant| {
        plant["failing"]["tries"].as_u64() >= Some(2)
    });
    // It ends the connection behind its answer, and the end may be seen first.
    let failure = &failing["failing"];
    if failure["error"]
        .as_str()
        .unwrap()
        .contains("refuses a message as too large")
    {
        let remedy = failure["remedy"].as_str().unwrap();
        assert!(
            remedy.contains("raise the maximum packet size"),
            "{failing}"
        );
    }
    assert_eq!(failing["after"], 0);

    broker.kill();
    let text = fs::read_to_string(&broker.config).unwrap();
    fs::write(&broker.config, text.replace("message_size_limit 60", "")).unwrap();
    broker.restart();
    daemon.call("note", &json!({"text": "the last of all."}));
    assert_complete(&shop, &entries.up_to("the last of all."));
    assert!(daemon.stop().0.success());
}

#[test]
fn a_broker_that_asks_for_a_certificate_and_an_id_gets_both_and_properties_with_each_entry() {
    let shop = Shop::new();
    let port = free_port();
    let authority = crate::timestamp::authority::Authority::new();
    let _ = authority.door("DNS:localhost"); // web.pem and web.key, signed by ca.pem
    let file = |name: &str| authority.path(name).display().to_string();
    let more = format!(
        "allow_anonymous true\nclientid_prefixes left-\nrequire_certificate true\ncafile {}\ncertfile {}\nkeyfile {}\n\
         listener {} 127.0.0.1",
        file("ca.pem"),
        file("web.pem"),
        file("web.key"),
        free_port(),
    );
    let _broker = Broker::start(&shop, port, &more);
    let keys = format!(
        "broker = \"mqtts://localhost:{port}\"\nca_file = \"{}\"\nclient_id = \"left-1\"\nuser_properties = [\"site=left\"]",
        file("ca.pem")
    );
    configure(&shop, &keys);
    let daemon = shop.start();
    let failing = plant_until(&daemon, |plant| !plant["failing"].is_null());
    let failure = &failing["failing"];
    let remedy = failure["remedy"].as_str().unwrap();
    assert!(remedy.contains("`client_certificate`"), "{failing}");
    assert!(daemon.stop().0.success());

    let (certificate, key) = (file("web.pem"), file("web.key"));
    let identity = format!("client_certificate = \"{certificate}\"\nclient_key = \"{key}\"");
    configure(&shop, &format!("{keys}\n{identity}"));
    let ca = file("ca.pem");
    let secure = [
        "--cafile",
        &ca,
        "--cert",
        &certificate,
        "--key",
        &key,
        "-h",
        "localhost",
    ];
    let entries = Subscriber::named(port, "tallyjaw/entries/#", &secure, "left-reader");
    let daemon = shop.start();
    daemon.call("note", &json!({"text": "the last of all."}));
    let got = entries.up_to("the last of all.");
    assert_complete(&shop, &got);
    let first = &got[0];
    let (identity, site) = first.identity.split_once(' ').unwrap();
    assert!(
        identity.starts_with("identity:") && identity.ends_with("/1"),
        "{first:?}"
    );
    assert_eq!(site, "site:left");
    assert!(daemon.stop().0.success());
}
