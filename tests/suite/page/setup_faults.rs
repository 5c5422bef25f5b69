//! A disk that is full and a daemon that is killed while the configuration is changed: what is on the disk is whole at
//! every moment, and the journal says which of both it is.

use super::http::shop_with;
use super::setup::{Setup, sha256};
use crate::harness::shim;
use serde_json::{Value, json};
use std::fs;
use std::io::Write as _;
use std::net::TcpStream;

fn start() -> Setup {
    let shop = shop_with("edit = true");
    let mut command = shop.tallyjaw(&["--json", "serve"]);
    command
        .env("LD_PRELOAD", shim("setup_faults"))
        .env("SETUP_FAULT", shop.path("fault"));
    let daemon = shop.start_by(command);
    Setup::served(shop, daemon)
}

fn set_pieces() -> Value {
    json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": 3}})
}

/// The digest of the configuration in the last `started`.
fn started(setup: &Setup) -> String {
    let lines = setup.shop.journal_lines();
    let lines = lines
        .iter()
        .rev()
        .map(|line| serde_json::from_str::<Value>(line).unwrap());
    let started = lines
        .into_iter()
        .find(|line| line["kind"] == "started")
        .unwrap();
    started["config_digest"].as_str().unwrap().to_owned()
}

fn copies(setup: &Setup) -> Vec<String> {
    let names = setup.names();
    names
        .into_iter()
        .filter(|name| {
            std::path::Path::new(name)
                .extension()
                .is_some_and(|end| end == "old")
        })
        .collect()
}

#[test]
fn on_a_full_disk_nothing_is_changed_and_nothing_is_left() {
    let setup = start();
    let (plans, names) = (setup.read("plans.toml"), setup.names());
    let change = setup.change("plans.toml", &set_pieces());
    let tool = json!({"list": "tool", "change": "add", "digest": setup.digest("tallyjaw.toml"), "values": {"id": "T-1", "class": "repair"}});
    setup.shop.write("fault", "full");
    for change in [change.clone(), tool] {
        let answer = setup.write_as_is(change);
        assert_eq!(answer.status, 409, "{answer:?}");
        assert!(
            answer.json()["error"]["message"]
                .as_str()
                .unwrap()
                .contains("No space left"),
            "{answer:?}"
        );
    }
    fs::remove_file(setup.shop.path("fault")).unwrap();
    assert_eq!((setup.read("plans.toml"), setup.names()), (plans, names));
    let said = setup.write_as_is(change).json();
    assert!(said["written"]["seq"].is_u64(), "{said}");
}

/// What a daemon left that was killed before its Nth sync of a change; `None` if there are not so many.
fn killed_before_sync(number: usize) -> Option<(bool, bool)> {
    let mut setup = start();
    let (old, digest) = (setup.read("plans.toml"), started(&setup));
    let change = setup.change("plans.toml", &set_pieces());
    let new = old.replacen("pieces = 5", "pieces = 3", 1);
    assert_ne!(old, new);
    let mut signed = change;
    signed["write"] = json!(true);
    signed["who"] = json!("mara");
    setup.shop.write("fault.new", &number.to_string());
    fs::rename(setup.shop.path("fault.new"), setup.shop.path("fault")).unwrap();
    let mut stream = TcpStream::connect(&setup.address).unwrap();
    stream
        .write_all(setup.request(&signed.to_string()).as_bytes())
        .unwrap();
    let answered = super::setup::answered(stream);
    fs::remove_file(setup.shop.path("fault")).unwrap();
    if answered {
        return None;
    }
    assert!(!setup.daemon.wait().success());
    let there = setup.read("plans.toml");
    assert!(there == old || there == new, "half of it: {there:?}");
    for copy in copies(&setup) {
        assert_eq!(setup.read(&copy), old, "{copy}");
    }
    assert!(there == old || copies(&setup).len() == 1);
    assert!(setup.shop.run(&["check"]).status.success());
    let Setup { shop, .. } = setup;
    let setup = Setup::of(shop);
    let entered = setup.entered();
    if let [entry] = &entered[..] {
        assert_eq!(there, new, "entered, and not there");
        assert_eq!(entry["files"][0]["before"], sha256(&old));
        assert_eq!(entry["files"][0]["after"], sha256(&new));
    }
    assert_eq!(
        started(&setup) == digest,
        there == old,
        "the digest says which is in force"
    );
    // And the bench goes on: the change can be made, or made again.
    let pieces = json!({"list": "plan", "change": "set", "at": 0, "values": {"pieces": 4}});
    setup.write("plans.toml", &pieces);
    assert!(setup.shop.run(&["verify"]).status.success());
    Some((there == new, !entered.is_empty()))
}

#[test]
fn a_daemon_that_is_killed_at_any_step_leaves_a_whole_configuration_and_a_journal_that_says_which()
{
    let ends: Vec<_> = (1..40).map_while(killed_before_sync).collect();
    assert!(ends.len() >= 5, "{ends:?}");
    assert!(ends.is_sorted(), "{ends:?}");
    for end in [(false, false), (true, false), (true, true)] {
        assert!(ends.contains(&end), "never {end:?}: {ends:?}");
    }
}
