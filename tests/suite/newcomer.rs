//! The first five minutes, as the README tells them: a configuration is copied, a caliper found, crimps measured.

use crate::harness::Shop;
use crate::listen::{Listening, press_until_done};
use serde_json::json;
use std::fs;
use std::path::Path;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// A copy of a shipped folder, with one caliper on the desk.
fn copied(folder: &str) -> Shop {
    let mut shop = Shop::with_stations(0);
    copy(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join(folder),
        shop.dir.path(),
    );
    shop.calipers = vec![VirtualCaliper::open_at(shop.path("tty-1")).unwrap()];
    shop
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for item in fs::read_dir(from).unwrap() {
        let item = item.unwrap();
        let target = to.join(item.file_name());
        if item.file_type().unwrap().is_dir() {
            copy(&item.path(), &target);
        } else {
            fs::copy(item.path(), target).unwrap();
        }
    }
}

/// `listen --write` and some presses.
fn write_the_caliper(shop: &Shop, more: &[&str]) {
    let caliper = &shop.calipers[0];
    let port = caliper.path().to_str().unwrap();
    let arguments = [&["--json", "listen", port, "--write"], more].concat();
    let mut listening = Listening::start(shop.tallyjaw(&arguments));
    press_until_done(&listening, caliper);
    listening.next(&["written"]);
    assert_eq!(listening.exit_code(), 0);
}

/// Whether `check` is content, and what it says.
fn checked(shop: &Shop) -> (bool, String) {
    let output = shop.run(&["check"]);
    let text = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8(text).unwrap())
}

#[test]
fn the_least_configuration_a_found_caliper_and_a_plan_give_verdicts() {
    let mut shop = copied("config/start");
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    assert!(text.contains("\n[page]\n"));
    // Several tests at a time cannot have the same port.
    let text = text.replace("[page]\n", "[page]\nlisten = \"127.0.0.1:0\"\n");
    shop.write("tallyjaw.toml", &text);
    // what is missing is said, and nothing else
    let (good, said) = checked(&shop);
    assert!(good && said.contains("there is no instrument"), "{said}");
    assert!(said.contains("no errors, 1 warning"), "{said}");
    write_the_caliper(&shop, &[]);
    let (good, said) = checked(&shop);
    assert!(good && !said.contains("warning"), "{said}");

    let mut found = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    assert!(found.contains("line = \"4800 7E2\""), "{found}");
    found = found.replace("line = \"4800 7E2\"", "line = \"9600 8N1\""); // what `press` sends
    shop.write("tallyjaw.toml", &found);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "pump-own"}));
    shop.press(0);
    feed.wait_for("zeroed");
    for (hundredths, verdict) in [(163, "pass"), (168, "fail_high")] {
        shop.press(hundredths);
        assert_eq!(feed.wait_for("reading")["verdict"], verdict);
    }
}

#[test]
fn the_example_of_every_key_without_its_instruments_takes_a_new_one() {
    let shop = copied("config");
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let mut kept = String::new();
    let mut keep = true;
    for line in text.lines() {
        if line.starts_with('[') {
            keep = line != "[[instrument]]";
        }
        if keep {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    shop.write("tallyjaw.toml", &kept);
    let (good, said) = checked(&shop);
    assert!(
        good && said.contains("`tallyjaw listen PORT --write` adds one"),
        "{said}"
    );
    write_the_caliper(&shop, &["--station", "bench-1"]);
    let (good, said) = checked(&shop);
    assert!(
        good && said.contains("caliper-1 has no max_error"),
        "{said}"
    );
}

#[test]
fn who_asks_for_what_was_measured_before_anything_was_is_told_what_begins_a_journal() {
    let shop = copied("config/start");
    for arguments in [
        &["series"][..],
        &["series", "3"],
        &["report", "1"],
        &["export", "csv"],
        &["study", "describe", "--axis", "core_crimp_height"],
        &["verify"],
    ] {
        let output = shop.run(arguments);
        // To `verify` it is an answer, and the answer is no.
        let (said, code) = if arguments == ["verify"] {
            (output.stdout, 1)
        } else {
            (output.stderr, 4)
        };
        let text = String::from_utf8(said).unwrap();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {text}");
        assert!(
            text.contains("`tallyjaw serve` begins a journal"),
            "{arguments:?}: {text}"
        );
    }
}
