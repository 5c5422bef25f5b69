//! Hostile text from scanners, calipers, notes, names and other programs: what every surface shows of it, and which
//! files it reaches.

use crate::harness::{Daemon, Lines, PATIENCE, Shop};
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};
use tallyjaw::virtual_caliper::VirtualCaliper;

/// Each clears a screen, sets a title, forges a line, or changes the reading direction.
const HOSTILE: [&str; 8] = [
    "\x1b[2J\x1b[1;1Hall good",
    "\x1b]0;owned\x07\x1b[31m",
    "a\u{9b}31mb\u{90}c",
    "one\n2026-11-25T09:14:03Z #99 bench-1: reading pass",
    "one\r\u{85}two\u{2028}three\u{2029}four",
    "\u{202e}ssap\u{202c} \u{2067}x\u{2069}\u{200f}\u{61c}",
    "\"},{\"kind\":\"reading\",\"verdict\":\"pass\"}'; rm -rf / #",
    "<script>alert(1)</script><img src=x onerror=alert(1)>&amp;",
];

/// Asserts that there is no control character except newline, and none that changes direction or ends a line unseen.
fn assert_plain(surface: &str, text: &str) {
    let bad = text.chars().find(|c| {
        (c.is_control() && *c != '\n')
            || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    });
    assert!(!text.is_empty(), "{surface} is empty");
    assert_eq!(bad, None, "{surface}: {text:?}");
}

fn both(output: &Output) -> String {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    text(&output.stdout) + &text(&output.stderr)
}

fn shop_with_a_scanner() -> (Shop, VirtualCaliper) {
    let shop = Shop::new();
    let scanner = VirtualCaliper::open_at(shop.path("tty-scanner")).unwrap();
    let text = format!(
        "{}\n[[instrument]]\nname = \"scanner-1\"\nstation = \"bench-1\"\nkind = \"scanner\"\nport = \"{}\"\n",
        shop.configuration(),
        scanner.path().display()
    );
    shop.write("tallyjaw.toml", &text);
    (shop, scanner)
}

/// The feed once both ports are open. For a scanner only the daemon's messages show that.
fn connected(shop: &Shop, daemon: &Daemon) -> Lines {
    let deadline = Instant::now() + PATIENCE;
    while !shop
        .messages()
        .contains("the port is open instrument=\"scanner-1\"")
    {
        assert!(Instant::now() < deadline, "{}", shop.messages());
        thread::sleep(Duration::from_millis(2));
    }
    daemon.connected_feed()
}

/// Everything that `watch` prints up to the entry with `end` in it.
pub(crate) fn watched(shop: &Shop, end: &str) -> String {
    let mut watch = shop
        .tallyjaw(&["watch", "--after", "0"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(watch.stdout.take().unwrap());
    let mut all = String::new();
    while !all.contains(end) {
        assert_ne!(lines.read_line(&mut all).unwrap(), 0, "watch ended: {all}");
    }
    watch.kill().unwrap();
    watch.wait().unwrap();
    all
}

/// Whatever was sent, the journal has one line for each entry and is intact.
fn assert_sound(shop: &Shop) {
    for (at, line) in shop.journal_lines().iter().enumerate() {
        let entry: Value = serde_json::from_str(line).unwrap();
        assert_eq!(entry["seq"], at + 1, "{line:?}");
    }
    let verified = shop.run(&["verify"]);
    assert!(verified.status.success(), "{verified:?}");
}

/// Checks every surface that people look at.
fn assert_surfaces_are_plain(shop: &Shop, daemon: Daemon, series: &Value) {
    daemon.call("note", &json!({"text": "that was all"}));
    assert_plain("watch", &watched(shop, "that was all"));
    let series = series.to_string();
    for arguments in [&["status"][..], &["series"], &["series", &series]] {
        assert_plain(&arguments.join(" "), &both(&shop.run(arguments)));
    }
    daemon.stop();
    let log = fs::read_to_string(shop.path("state/verdicts.log")).unwrap();
    assert_plain("verdicts.log", &log);
    let forged = log
        .lines()
        .filter(|line| line.starts_with("2026-11-25T09:14:03Z #99"));
    assert_eq!(forged.count(), 0, "{log}");
    assert_plain("the daemon's messages", &shop.messages());
}

fn armed(daemon: &Daemon, feed: &mut Lines) -> Value {
    daemon.call("arm", &json!({"plan": "no-zero"}));
    feed.wait_for("armed")["seq"].clone()
}

#[test]
fn hostile_words_of_an_operator_harm_neither_journal_nor_terminal_nor_log() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let series = armed(&daemon, &mut feed);
    for text in HOSTILE {
        let seq = daemon.call("note", &json!({"text": text}))["seq"].clone();
        let noted = feed.wait_for("noted");
        assert_eq!(
            (&noted["seq"], &noted["text"]),
            (&seq, &json!(text)),
            "as it was said"
        );
    }
    for text in HOSTILE {
        for command in ["operator", "arm", "tool", "note"] {
            assert_plain(command, &both(&shop.run(&[command, "--", text])));
        }
    }
    assert_surfaces_are_plain(&shop, daemon, &series);
    assert_sound(&shop);
}

#[test]
fn a_hostile_scanner_is_refused_or_kept_and_never_steers_a_terminal() {
    let (shop, scanner) = shop_with_a_scanner();
    let daemon = shop.start();
    let mut feed = connected(&shop, &daemon);
    let series = armed(&daemon, &mut feed);
    for text in HOSTILE {
        for card in ["tj/note/", "tj/operator/", "tj/tool/", "tj/arm/", "tj/", ""] {
            scanner.send(format!("{card}{text}\r").as_bytes()).unwrap();
        }
    }
    scanner.send(&[b'x'; 10_000]).unwrap();
    scanner.send(b"\r").unwrap();
    scanner.send(b"tj/note/\xff\xfe\x00\x80\r").unwrap();
    scanner.send(b"tj/note/the scanner's last\r").unwrap();
    while feed.wait_for("noted")["text"] != "the scanner's last" {}
    assert_surfaces_are_plain(&shop, daemon, &series);
    assert_sound(&shop);
}

#[test]
fn a_hostile_caliper_leaves_unread_bytes_and_nothing_else() {
    let mut shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let series = armed(&daemon, &mut feed);
    let mut sent = 0;
    for text in HOSTILE {
        let bytes = format!("{text}\r");
        sent += bytes.len();
        shop.calipers[0].send(bytes.as_bytes()).unwrap();
    }
    for _ in 0..20 {
        sent += 5_000;
        shop.calipers[0].send(&[b'8'; 5_000]).unwrap();
    }
    sent += 1;
    shop.calipers[0].send(b"\r").unwrap();
    // Runs of unread bytes fold into one entry a second; the next value brings the rest.
    let mut unread = 0;
    shop.press(162);
    loop {
        let entry = feed.next();
        match entry["kind"].as_str() {
            Some("unread") => unread += usize::try_from(entry["bytes"].as_u64().unwrap()).unwrap(),
            Some("reading") => {
                assert_eq!(entry["verdict"], "pass");
                break;
            }
            other => panic!("{other:?}: {entry}"),
        }
    }
    assert_eq!(unread, sent, "every byte is accounted for");
    assert_surfaces_are_plain(&shop, daemon, &series);
    assert_sound(&shop);
}

/// Every file and folder below, by its path.
fn files_below(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for item in fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        found.push(path.display().to_string());
        if path.is_dir() && !path.is_symlink() {
            found.extend(files_below(&path));
        }
    }
    found.sort();
    found
}

#[test]
fn no_name_in_a_card_or_a_command_is_a_path() {
    let (shop, scanner) = shop_with_a_scanner();
    let daemon = shop.start();
    let mut feed = connected(&shop, &daemon);
    armed(&daemon, &mut feed);
    let before = files_below(shop.dir.path());
    for name in [
        "../../x",
        "/etc/passwd",
        "..",
        "x/../../y",
        "no-zero/../no-zero",
        "\0",
        "pump-own\0",
    ] {
        for (method, params) in [
            ("arm", json!({"plan": name})),
            ("arm", json!({"station": name, "plan": "no-zero"})),
            (
                "arm",
                json!({"terminal": name, "wire": "2.0 mm²", "axes": ["core_crimp_height"], "pieces": 1, "purpose": "first_off"}),
            ),
            ("tool", json!({"tool": name})),
            ("tool", json!({"tool": "T-07", "nest": name})),
            ("zero", json!({"instrument": name})),
        ] {
            let error = daemon.refused(method, &params);
            // An invalid name is reported where the keys of a plan are read.
            let is_read = params.get("terminal").is_some();
            let code = if is_read { -32_602 } else { -32_000 };
            assert_eq!(error["code"], code, "{params}: {error}");
        }
        for card in ["tj/arm/", "tj/tool/", "tj/tool/T-07/"] {
            scanner.send(format!("{card}{name}\r").as_bytes()).unwrap();
        }
        for kept in ["note", "operator"] {
            let key = if kept == "note" { "text" } else { "operator" };
            // A character that a name may not have is refused, and nothing follows from it.
            daemon.control().call(kept, &json!({key: name}));
        }
    }
    scanner.send(b"tj/note/enough\r").unwrap();
    while feed.wait_for("noted")["text"] != "enough" {}
    assert_eq!(files_below(shop.dir.path()), before);
    daemon.stop();
    assert_sound(&shop);
}

#[test]
fn a_name_in_the_configuration_with_a_slash_or_a_control_character_is_refused() {
    let shop = Shop::new();
    let sheet = fs::read_to_string(shop.path("sheet.toml")).unwrap();
    let plans = fs::read_to_string(shop.path("plans.toml")).unwrap();
    let configuration = shop.configuration();
    for name in ["../x", "a/b", "..", ".", "a\\u001b[2J", "a\\u202eb", "a b"] {
        for (file, text, from) in [
            ("sheet.toml", &sheet, "QF-250-F"),
            ("plans.toml", &plans, "pump-own"),
            ("tallyjaw.toml", &configuration, "bench-1"),
            ("tallyjaw.toml", &configuration, "caliper-1"),
        ] {
            let bad = text.replace(&format!("\"{from}\""), &format!("\"{name}\""));
            assert_ne!(bad, *text);
            shop.write(file, &bad);
            let refused = shop.run(&["check"]);
            let said = both(&refused);
            assert_eq!(refused.status.code(), Some(1), "{name} in {file}: {said}");
            assert_plain("check", &said);
            shop.write(file, text);
        }
    }
    assert!(shop.run(&["check"]).status.success());
}

/// Exit code and message of a daemon that must not start.
fn refused_at_the_start(shop: &Shop) -> (Option<i32>, String) {
    let mut child = shop
        .tallyjaw(&["--json", "serve"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut ready = String::new();
    BufReader::new(child.stdout.take().unwrap())
        .read_line(&mut ready)
        .unwrap();
    if !ready.is_empty() {
        child.kill().unwrap();
    }
    let output = child.wait_with_output().unwrap();
    assert_eq!(ready, "", "it serves");
    (output.status.code(), both(&output))
}

#[test]
fn a_link_in_place_of_the_runtime_folder_or_a_socket_is_refused_and_nothing_is_written_through_it()
{
    for name in [
        "run",
        "state",
        "run/feed.sock",
        "run/control.sock",
        "run/feed.new",
    ] {
        let shop = Shop::new();
        let elsewhere = shop.path("elsewhere");
        fs::create_dir(&elsewhere).unwrap();
        if name.contains('/') {
            fs::create_dir(shop.path("run")).unwrap();
        }
        symlink(&elsewhere, shop.path(name)).unwrap();
        if name == "run/feed.new" {
            // Its own leftovers: the link is removed, but not its target.
            shop.start().greeted_feed();
        } else {
            let (code, said) = refused_at_the_start(&shop);
            assert!(matches!(code, Some(2 | 4)), "{name}: {said}");
            let want = if name.contains('/') {
                "is no socket"
            } else {
                "a symbolic link, want a folder"
            };
            assert!(said.contains(want), "{name}: {said}");
            assert!(said.contains("help: "), "{name}: {said}");
        }
        assert_eq!(fs::read_dir(&elsewhere).unwrap().count(), 0, "{name}");
    }
}

#[test]
fn a_program_with_a_hostile_name_that_holds_a_port_cannot_steer_who_looks_for_it() {
    const HOLDER: &str = "import sys\n\
        port = open(sys.argv[1], 'rb', buffering=0)\n\
        open('/proc/self/comm', 'wb').write(b'a\\x1b[2J\\nb\\xe2\\x80\\xaec')\n\
        print('held', flush=True)\n\
        sys.stdin.read()\n";
    let shop = Shop::new();
    let port = shop.calipers[0].path().to_owned();
    let mut holder = Command::new("python3")
        .args(["-c", HOLDER])
        .arg(&port)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = [0; 5];
    holder.stdout.take().unwrap().read_exact(&mut said).unwrap();
    assert_eq!(&said, b"held\n");
    let pid = format!("(pid {})", holder.id());

    let looked = both(&shop.run(&["ports", port.to_str().unwrap()]));
    assert!(looked.contains(&pid), "{looked}");
    assert_plain("ports", &looked);
    let daemon = shop.start();
    let deadline = std::time::Instant::now() + PATIENCE;
    let status = loop {
        let status = both(&shop.run(&["status"]));
        if status.contains(&pid) {
            break status;
        }
        assert!(std::time::Instant::now() < deadline, "{status}");
    };
    assert_plain("status", &status);
    daemon.stop();
    assert_plain("the daemon's messages", &shop.messages());
    drop(holder.stdin.take());
    holder.wait().unwrap();
}
