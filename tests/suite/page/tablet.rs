//! The page for tablets: TLS of its own, pairing and revoking, and what strangers get.

mod client;
mod crowds;
mod strangers;

use super::http::{Answer, address, get, shop as plain_shop, shop_with};
use crate::harness::Daemon;
use crate::pictures::draw::jpeg;
use client::{Tablet, code, door, shop};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::process::{Command, Stdio};

/// The ports at which a daemon listens, as the kernel has them.
fn listens(daemon: &Daemon) -> BTreeSet<String> {
    let pid = daemon.child.id();
    let sockets: BTreeSet<String> = fs::read_dir(format!("/proc/{pid}/fd"))
        .unwrap()
        .filter_map(|fd| fs::read_link(fd.ok()?.path()).ok())
        .filter_map(|link| {
            let inode = link.to_str()?.strip_prefix("socket:[")?.strip_suffix(']')?;
            Some(inode.to_owned())
        })
        .collect();
    let mut ports = BTreeSet::new();
    for table in ["tcp", "tcp6"] {
        let text = fs::read_to_string(format!("/proc/{pid}/net/{table}")).unwrap_or_default();
        for line in text.lines().skip(1) {
            let fields: Vec<_> = line.split_whitespace().collect();
            if fields[3] == "0A" && sockets.contains(fields[9]) {
                ports.insert(fields[1].to_owned());
            }
        }
    }
    ports
}

fn entries(lines: &[String], kind: &str) -> Vec<Value> {
    let entries = lines
        .iter()
        .map(|line| serde_json::from_str::<Value>(line).unwrap());
    entries.filter(|entry| entry["kind"] == kind).collect()
}

#[test]
fn no_port_is_open_to_tablets_unless_it_is_configured() {
    let shop = plain_shop();
    let daemon = shop.start();
    assert_eq!(listens(&daemon).len(), 1, "the loopback's alone");
    assert!(!shop.path("state/page.certificate").exists());
    let refused = shop.run(&["page", "--pair"]);
    assert_eq!(refused.status.code(), Some(2));
    assert_eq!(
        String::from_utf8_lossy(&refused.stderr),
        "error: no tablet may connect by this configuration\nhelp: write tablet = true under [page], then start the daemon again\n"
    );
    assert_eq!(
        daemon.refused("pair", &json!({}))["message"],
        "this daemon lets no tablets in"
    );
    daemon.stop();
    let shop = client::shop();
    let daemon = shop.start();
    assert_eq!(listens(&daemon).len(), 2);
}

#[test]
fn a_tablet_is_paired_works_is_revoked_and_cut_off_and_the_journal_tells_it_without_a_secret() {
    let mut shop = shop();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let mut tablet = Tablet::stranger(&daemon);
    let made = code(&shop, "bench-left");
    let answer = tablet.pair(made["code"].as_str().unwrap());
    let cookie = &answer.headers["set-cookie"];
    let (pair, flags) = cookie.split_once("; ").unwrap();
    assert_eq!(
        flags,
        "Path=/; Secure; HttpOnly; SameSite=Strict; Max-Age=34560000"
    );
    let (_, secret) = pair.split_once('=').unwrap();
    assert_eq!(secret.len(), 64);
    let page = tablet.get("/");
    assert!(
        page.body
            .contains("<html data-tablet=\"bench-left\" lang=\"en\">")
    );

    let mut events = tablet.events();
    events.wait_for(|_| true);
    let armed = tablet.command("arm", &json!({"plan": "no-zero"}));
    let series = armed["result"]["seq"].as_u64().unwrap();
    shop.press(162);
    feed.wait_for("reading");
    events.wait_for(|state| state["benches"][0]["readings"][0]["value"] == "1.62 mm");
    tablet.command("retract", &json!({}));
    let revoked = shop.run(&["page", "--revoke", "bench-left"]);
    assert_eq!(
        String::from_utf8(revoked.stdout).unwrap(),
        "the pairing of bench-left is revoked: it may neither read nor give commands\n"
    );
    assert!(events.ends());
    assert_eq!(tablet.get("/state").status, 401);
    daemon.stop();

    let lines = shop.journal_lines();
    let text = lines.concat();
    for secret in [
        secret,
        made["code"].as_str().unwrap(),
        &made["code"].as_str().unwrap().replace('-', ""),
    ] {
        assert!(!text.contains(secret) && !shop.messages().contains(secret));
    }
    assert_eq!(entries(&lines, "paired")[0]["tablet"], "bench-left");
    assert_eq!(entries(&lines, "revoked")[0]["tablet"], "bench-left");
    let said = entries(&lines, "tablet_said");
    let said: Vec<_> = said
        .iter()
        .map(|entry| (&entry["tablet"], entry["first_entry"].as_u64().unwrap()))
        .collect();
    let retracted = entries(&lines, "retracted")[0]["seq"].as_u64().unwrap();
    let name = json!("bench-left");
    assert_eq!(said, [(&name, series), (&name, retracted)]);
    let kept = fs::read_to_string(shop.path("state/page.tablets")).unwrap();
    assert!(!kept.contains(secret), "{kept}");
}

#[test]
fn a_tablet_gives_a_picture_in_its_own_name_and_a_stranger_gives_none() {
    let mut shop = shop();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    shop.press(162);
    feed.wait_for("reading");
    let bytes = jpeg(3, (300, 200));
    let (status, _) = Tablet::stranger(&daemon).picture("cut.jpg", &bytes);
    assert_eq!(status, 401);
    let tablet = Tablet::paired(&shop, &daemon, "bench-left");
    let (status, answer) = tablet.picture("cut.jpg", &bytes);
    assert_eq!(status, 200, "{answer}");
    daemon.stop();
    let lines = shop.journal_lines();
    let pictured = entries(&lines, "pictured");
    let said = entries(&lines, "tablet_said");
    assert_eq!((pictured.len(), said.len()), (1, 1));
    for (field, want) in [
        ("tablet", &json!("bench-left")),
        ("first_entry", &pictured[0]["seq"]),
        ("last_entry", &pictured[0]["seq"]),
    ] {
        assert_eq!(&said[0][field], want, "{field}");
    }
}

#[test]
fn a_pairing_outlives_the_daemon_and_a_revocation_while_none_runs_counts_from_the_next_start() {
    let shop = shop();
    let daemon = shop.start();
    let kept = Tablet::paired(&shop, &daemon, "bench-left");
    let gone = Tablet::paired(&shop, &daemon, "bench-right");
    let names = |tablets: &Value| -> Vec<String> {
        let tablets = tablets["tablets"].as_array().unwrap().iter();
        tablets
            .map(|one| one["tablet"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(
        names(&daemon.call("tablets", &json!({}))),
        ["bench-left", "bench-right"]
    );
    daemon.stop();
    let revoked = shop.run(&["page", "--revoke", "bench-right"]);
    assert!(revoked.status.success(), "{revoked:?}");
    let listed = shop.run(&["page", "--tablets"]);
    let listed = String::from_utf8(listed.stdout).unwrap();
    assert!(
        listed.starts_with("bench-left ") && listed.lines().count() == 1,
        "{listed}"
    );
    let daemon = shop.start();
    let moved = |tablet: Tablet| Tablet {
        address: door(&daemon).0,
        // Any free port was requested, and the cookie is that port's.
        cookie: tablet.cookie.map(|cookie| {
            let (_, secret) = cookie.split_once('=').unwrap();
            let (_, port) = door(&daemon)
                .0
                .rsplit_once(':')
                .map(|(host, port)| (host.to_owned(), port.to_owned()))
                .unwrap();
            format!("__Host-tallyjaw-{port}={secret}")
        }),
        ..tablet
    };
    assert_eq!(moved(kept).get("/state").status, 200);
    assert_eq!(moved(gone).get("/state").status, 401);
    let unknown = shop.run(&["page", "--revoke", "bench-right"]);
    assert_eq!(unknown.status.code(), Some(2), "{unknown:?}");
    daemon.stop();
    assert_eq!(entries(&shop.journal_lines(), "revoked").len(), 1);
}

#[test]
fn two_tablets_at_once_see_every_verdict_and_each_others_commands() {
    let mut shop = shop();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let tablets = ["left", "right"].map(|name| Tablet::paired(&shop, &daemon, name));
    let mut streams = tablets.each_ref().map(Tablet::events);
    tablets[0].command("arm", &json!({"plan": "no-zero"}));
    for hundredths in [161, 162, 163] {
        shop.press(hundredths);
        feed.wait_for("reading");
        for stream in &mut streams {
            let value = format!("1.{} mm", hundredths - 100);
            stream.wait_for(|state| {
                let newest = &state["benches"][0]["recent"][0];
                newest["words"]
                    .as_str()
                    .is_some_and(|words| words.contains(&value))
            });
        }
    }
    tablets[1].command("retract", &json!({}));
    streams[0].wait_for(|state| state["benches"][0]["recent"][0]["kind"] == "retracted");
    daemon.call("revoke", &json!({"tablet": "left"}));
    assert!(streams[0].ends());
    daemon.call("note", &json!({"text": "goes on"}));
    streams[1].wait_for(|state| {
        state["benches"][0]["recent"]
            .to_string()
            .contains("goes on")
    });
}

#[test]
fn who_knows_another_certificate_refuses_and_a_changed_key_is_seen() {
    let shop = shop();
    let daemon = shop.start();
    let stranger = Tablet::stranger(&daemon);
    let request = "GET /pair HTTP/1.1\r\nHost: @\r\n\r\n";
    assert_eq!(stranger.raw(request).unwrap().status, 200);
    let wary = Tablet {
        sha256: "00".repeat(32),
        ..stranger.clone()
    };
    assert!(wary.raw(request).is_err());
    let made = shop.run(&["--json", "page", "--new-certificate"]);
    let made: Value = serde_json::from_slice(&made.stdout).unwrap();
    assert_ne!(made["sha256"], stranger.sha256);
    assert_eq!(
        door(&daemon).1,
        stranger.sha256,
        "until it is started again"
    );
    daemon.stop();
    let daemon = shop.start();
    let (address, sha256) = door(&daemon);
    assert_eq!(made["sha256"], sha256);
    let old = Tablet {
        address: address.clone(),
        ..stranger.clone()
    };
    assert!(old.raw(request).is_err(), "the key has changed");
    assert_eq!(Tablet::stranger(&daemon).raw(request).unwrap().status, 200);
}

#[test]
fn another_tls_reads_the_same_certificate_and_nothing_older_than_1_2_is_spoken() {
    let shop = shop();
    let daemon = shop.start();
    let (address, sha256) = door(&daemon);
    let connect = |version: &str| {
        Command::new("openssl")
            .args([
                "s_client",
                "-connect",
                &address,
                version,
                "-cipher",
                "ALL:@SECLEVEL=0",
            ])
            .stdin(Stdio::null())
            .output()
            .unwrap()
    };
    for version in ["-tls1_2", "-tls1_3"] {
        let said = connect(version);
        assert!(said.status.success(), "{version}: {said:?}");
        fs::write(shop.path("shown.pem"), &said.stdout).unwrap();
        let shown = Command::new("openssl")
            .args(["x509", "-noout", "-fingerprint", "-sha256", "-in"])
            .arg(shop.path("shown.pem"))
            .output()
            .unwrap();
        let shown = String::from_utf8(shown.stdout).unwrap();
        let (_, fingerprint) = shown.trim().split_once('=').unwrap();
        assert_eq!(fingerprint, sha256, "{version}");
    }
    assert!(!connect("-tls1_1").status.success());
    let text = Command::new("openssl")
        .args(["x509", "-noout", "-checkip", "127.0.0.1", "-in"])
        .arg(shop.path("shown.pem"))
        .output()
        .unwrap();
    let text = String::from_utf8(text.stdout).unwrap();
    assert!(text.contains("does match"), "{text}");
}

#[test]
fn a_secret_that_others_may_have_read_stops_the_start_with_what_to_do() {
    let shop = shop();
    let daemon = shop.start();
    Tablet::paired(&shop, &daemon, "bench-left");
    daemon.stop();
    for file in ["page.certificate", "page.tablets"] {
        let path = shop.path("state").join(file);
        let mode = fs::metadata(&path).unwrap().permissions().mode() & 0o7777;
        assert_eq!(mode, 0o600, "{file}");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o640)).unwrap();
        let refused = shop.run(&["serve"]);
        assert_eq!(refused.status.code(), Some(4), "{refused:?}");
        let said = String::from_utf8(refused.stderr).unwrap();
        assert!(said.contains("has mode 0640"), "{said}");
        assert!(said.contains(&format!("rm {}", path.display())), "{said}");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o600)).unwrap();
    }
}

#[test]
fn the_code_on_the_terminal_is_read_by_another_decoder_and_holds_address_code_and_fingerprint() {
    let shop = shop();
    let daemon = shop.start();
    let (address, sha256) = door(&daemon);
    let shown = shop.run(&["page", "--pair"]);
    let shown = String::from_utf8(shown.stdout).unwrap();
    let rows: Vec<Vec<char>> = shown
        .lines()
        .filter(|line| line.contains('█'))
        .map(|line| line.chars().skip(2).collect())
        .collect();
    assert!(
        rows.len() <= 23 && rows[0].len() <= 78,
        "it fits a terminal of 24 lines"
    );
    let width = rows[0].len();
    let scale = 4;
    // Light modules are drawn: a drawn half is white.
    let is_light = |column: usize, row: usize| {
        let drawn = rows.get(row / 2).and_then(|row| row.get(column)).copied();
        match (drawn, row % 2) {
            (Some('█'), _) | (Some('▀'), 0) | (Some('▄'), 1) => true,
            (_, _) => row / 2 >= rows.len(),
        }
    };
    let mut image = rqrr::PreparedImage::prepare_from_greyscale(
        width * scale,
        rows.len() * 2 * scale,
        |x, y| {
            if is_light(x / scale, y / scale) {
                255
            } else {
                0
            }
        },
    );
    let (_, text) = image.detect_grids()[0].decode().unwrap();
    let code = shown
        .lines()
        .find_map(|line| line.trim().strip_prefix("code "));
    let code = code.unwrap().trim().replace('-', "");
    let (place, fingerprint) = text.split_once("&f=").unwrap();
    assert_eq!(place, format!("https://{address}/pair#c={code}"));
    assert_eq!(fingerprint.len(), 43);
    assert!(shown.contains(&sha256[..47]), "{shown}");
    assert!(shown.contains("name         tablet-1\n"), "{shown}");
}

#[test]
fn status_and_doctor_say_where_tablets_connect_and_what_is_wrong_there() {
    let shop = shop();
    let found = || {
        let said = shop.run(&["--json", "doctor"]);
        let said = String::from_utf8(said.stdout).unwrap();
        let findings = said
            .lines()
            .map(|line| serde_json::from_str::<Value>(line).unwrap());
        let findings = findings.filter(|finding| finding["looked_at"] == "tablets");
        findings
            .map(|finding| {
                let text = |name: &str| finding[name].as_str().unwrap_or("–").to_owned();
                format!("{}: {}", text("is"), text("says"))
            })
            .collect::<Vec<_>>()
    };
    assert_eq!(
        found(),
        [
            "good: they connect to 127.0.0.1:0; 0 paired",
            "note: there is no certificate yet; the daemon makes it at its start"
        ]
    );
    let daemon = shop.start();
    Tablet::paired(&shop, &daemon, "bench-left");
    let (address, sha256) = door(&daemon);
    let status = shop.run(&["status"]);
    let status = String::from_utf8(status.stdout).unwrap();
    let wanted = format!(
        "tablets\n  connect to {address}, 1 paired; see them: tallyjaw page --tablets\n  certificate SHA-256 {sha256}\n"
    );
    assert!(status.contains(&wanted), "{status}");
    let findings = found();
    assert_eq!(findings[0], "good: they connect to 127.0.0.1:0; 1 paired");
    assert!(findings[1].starts_with("good: the certificate is good until 20"));
    fs::set_permissions(
        shop.path("state/page.certificate"),
        fs::Permissions::from_mode(0o644),
    )
    .unwrap();
    assert!(
        found()[1].contains("has mode 0644 and owner"),
        "{:?}",
        found()
    );
}

#[test]
fn an_address_that_is_odd_for_tablets_is_warned_of() {
    for (lines, warning) in [
        (
            "tablet_listen = \"192.168.1.5:8355\"",
            "warning: tablet_listen without tablet = true",
        ),
        (
            "tablet = true\ntablet_listen = \"127.0.0.1:8355\"",
            "warning: tablets are to connect to 127.0.0.1:8355",
        ),
        (
            "tablet = true\ntablet_listen = \"8.8.8.8:8355\"",
            "warning: the page for tablets is open to the internet at 8.8.8.8:8355",
        ),
    ] {
        let shop = super::http::shop_with(lines);
        let said = shop.run(&["check"]);
        assert!(said.status.success(), "{said:?}");
        let told = [said.stdout, said.stderr].concat();
        let told = String::from_utf8(told).unwrap();
        assert!(told.contains(warning), "{told}");
    }
}

#[test]
fn a_tablet_may_neither_read_nor_change_the_configuration_also_where_the_page_may() {
    let shop = shop_with("edit = true\ntablet = true\ntablet_listen = \"127.0.0.1:0\"");
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let tablet = Tablet::paired(&shop, &daemon, "bench-left");
    let plans = fs::read_to_string(shop.path("plans.toml")).unwrap();
    let own = get(&address(&daemon), "/plans/bench-1").json();
    let seen: Value = tablet.get("/plans/bench-1").json();
    assert_eq!(
        (&own["may_edit"], seen.get("may_edit"), &seen["plans"]),
        (&json!(true), None, &own["plans"])
    );
    let refused = |answer: &Answer| {
        assert_eq!(answer.status, 409, "{answer:?}");
        assert!(
            answer.body.contains("a tablet may not do that"),
            "{answer:?}"
        );
    };
    refused(&tablet.get("/setup"));
    for write in [false, true] {
        let change = json!({
            "list": "plan", "change": "remove", "file": "plans.toml", "digest": "", "at": 0, "write": write, "who": "mara",
        });
        refused(&tablet.post("/setup", "Origin: https://@\r\n", &change.to_string()));
    }
    assert_eq!(fs::read_to_string(shop.path("plans.toml")).unwrap(), plans);
    daemon.stop();
    assert!(entries(&shop.journal_lines(), "configuration_edited").is_empty());
}
