//! Names with characters that change the direction of reading or are not visible. A command with one is refused. If
//! an old journal has one, it is shown as an escape.

use crate::harness::Shop;
use crate::hostile::watched;
use serde_json::json;
use std::fs;
use std::process::Output;
use tallyjaw::entry::line::{Digest, decode, encode};
use tallyjaw::quantity::is_unsafe;

/// A reader sees `T-07`, and then the rest in reverse.
const OVERRIDE: char = '\u{202e}';

fn said(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    text(&output.stdout) + &text(&output.stderr)
}

/// Nothing unsafe but line ends; and the escape is there, so that the name was shown.
fn assert_shown(surface: &str, text: &str) {
    let bad = text.chars().find(|c| is_unsafe(*c) && *c != '\n');
    assert_eq!(bad, None, "{surface}: {text}");
    assert!(text.contains("\\u{202e}"), "{surface}: {text}");
}

#[test]
fn a_text_of_the_configuration_with_one_is_refused_with_its_code_point_and_a_caret() {
    for (file, from, unsafe_name) in [
        ("sheet.toml", "QF-250-F", '\u{202e}'),
        ("sheet.toml", "2.0 mm²", '\u{200f}'),
        ("plans.toml", "pump-own", '\u{2066}'),
        ("plans.toml", "QF-250-F", '\u{2029}'),
        ("tallyjaw.toml", "bench-1", '\u{061c}'),
        ("tallyjaw.toml", "caliper-1", '\u{202e}'),
        ("tallyjaw.toml", "decimal-line", '\u{202e}'),
    ] {
        let shop = Shop::new();
        let text = fs::read_to_string(shop.path(file)).unwrap();
        let name = format!("\"{from}{unsafe_name}\"");
        let bad = text.replacen(&format!("\"{from}\""), &name, 1);
        assert_ne!(bad, text);
        shop.write(file, &bad);
        let checked = shop.run(&["check"]);
        let said = said(&checked);
        assert_eq!(checked.status.code(), Some(1), "{said}");
        let code_point = format!("U+{:04X}", u32::from(unsafe_name));
        assert!(said.contains(&code_point), "{code_point}: {said}");
        assert!(said.contains("^^^"), "{said}");
        assert!(!said.contains(unsafe_name), "{said}");
    }
}

#[test]
fn a_person_whose_name_has_one_is_refused_with_what_was_got() {
    let shop = Shop::new();
    let daemon = shop.start();
    let name = format!("ma{OVERRIDE}ra");
    for (method, params) in [
        ("operator", json!({"operator": name})),
        ("arm", json!({"plan": "no-zero", "operator": name})),
    ] {
        let error = daemon.refused(method, &params);
        let message = error["message"].as_str().unwrap();
        assert!(
            message.contains("\"ma\\u{202e}ra\" with U+202E"),
            "{method}: {error}"
        );
    }
    for arguments in [
        &["operator", &name][..],
        &["arm", "no-zero", "--operator", &name],
    ] {
        assert_shown(arguments[0], &said(&shop.run(arguments)));
    }
    daemon.stop();
}

/// The same journal with other names, with a new chain.
fn with_overrides(lines: &[String]) -> Vec<u8> {
    let mut journal = Vec::new();
    let mut before = Digest::NONE;
    for line in lines {
        let named = ["mara", "QF-250-F", "no-zero"].into_iter().fold(
            line.trim_end().to_owned(),
            |line, name| {
                let turned = format!("\"{}{OVERRIDE}{}\"", &name[..2], &name[2..]);
                line.replace(&format!("\"{name}\""), &turned)
            },
        );
        let (stamped, _) = decode(named.as_bytes()).unwrap();
        let line = encode(&stamped, before);
        before = Digest::of(&line);
        journal.extend(line);
        journal.push(b'\n');
    }
    journal
}

#[test]
fn names_of_an_old_journal_with_one_are_shown_as_escapes_on_every_surface() {
    let mut old = Shop::new();
    let daemon = old.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero", "operator": "mara"}));
    let series = feed.wait_for("armed")["seq"].to_string();
    for hundredths in [160, 161, 162, 163] {
        old.press(hundredths);
        feed.wait_for("reading");
    }
    daemon.stop();

    let shop = Shop::new();
    fs::create_dir_all(shop.path("state/journal")).unwrap();
    let segment = fs::read_dir(old.path("state/journal")).unwrap();
    let segment = segment
        .map(|item| item.unwrap())
        .find(|item| item.path().extension().is_some_and(|ext| ext == "jsonl"))
        .unwrap();
    let to = shop.path("state/journal").join(segment.file_name());
    fs::write(to, with_overrides(&old.journal_lines())).unwrap();
    let daemon = shop.start();
    daemon.connected_feed();
    assert_shown("status", &said(&shop.run(&["status"])));
    assert_shown("watch", &watched(&shop, "\\u{202e}"));
    daemon.stop();
    let log = fs::read_to_string(shop.path("state/verdicts.log")).unwrap();
    assert_shown("verdicts.log", &log);
    for arguments in [
        &["series"][..],
        &["series", &series],
        &["study", "describe", &series],
        &["report", &series, "-o", "-"],
        &["export", "csv", &series],
    ] {
        let text = said(&shop.run(arguments)).replace("\r\n", "\n");
        assert_shown(&arguments.join(" "), &text);
    }
    let verified = shop.run(&["verify"]);
    assert!(verified.status.success(), "{verified:?}");
}
