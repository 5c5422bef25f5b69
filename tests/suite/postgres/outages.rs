//! A database without room, one behind a slow line, and one that asks who comes: its rows are those of an export.

use super::{arm, assert_same, configure, press_some, until};
use crate::harness::Shop;
use crate::postgres::server::{NOBODY, Server, give};
use crate::slow_line::SlowLine;
use crate::timestamp::authority::Authority;
use serde_json::json;
use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// A file system of 2 MB, `small` in its folder, that only the server sees.
#[expect(clippy::unnecessary_wraps, reason = "as a server takes it")]
fn with_small_disk(folder: &Path) -> Option<Command> {
    let small = folder.join("small");
    fs::create_dir_all(&small).unwrap();
    let mount = format!(
        "mount -t tmpfs -o size=2m,mode=700,uid=$(id -u {NOBODY}) tmpfs \"$0\" && exec \"$@\""
    );
    let mut command = Command::new("unshare");
    command.args(["-m", "sh", "-c", &mount]).arg(small);
    Some(command)
}

#[test]
fn a_database_without_room_on_its_disk_has_every_row_once_there_is_some() {
    let may_mount = Command::new("unshare")
        .args(["-m", "sh", "-c", "mount -t tmpfs tmpfs /mnt"])
        .output();
    if !may_mount.is_ok_and(|output| output.status.success()) {
        eprintln!("skipped: this user may not mount a file system of memory");
        return;
    }
    let server = Server::start_as("", with_small_disk).unwrap();
    let small = server.data().with_file_name("small");
    let place = format!("CREATE TABLESPACE small LOCATION '{}'", small.display());
    server.sql("shop", &place).unwrap();
    let for_bench = "GRANT CREATE ON TABLESPACE small TO bench; ALTER USER bench SET default_tablespace = small";
    server.sql("shop", for_bench).unwrap();
    let mut shop = Shop::new();
    configure(&shop, "127.0.0.1", server.port, "");
    let daemon = shop.start();
    arm(&daemon);
    press_some(&mut shop, &daemon, 4);
    until(&daemon, |sink| sink["behind"] == 0);
    let id = fs::read_to_string(server.data().join("postmaster.pid")).unwrap();
    let id = id.lines().next().unwrap();
    let filler = format!("/proc/{id}/root{}/filler", small.display());
    let mut file = fs::File::create(&filler).unwrap();
    while file.write_all(&[0; 4096]).is_ok() {}
    drop(file);
    // Rows still fit into pages that the tables have.
    for _ in 0..20 {
        press_some(&mut shop, &daemon, 4);
        let tried = until(&daemon, |sink| {
            sink["behind"] == 0 || !sink["failing"].is_null()
        });
        if !tried["failing"].is_null() {
            break;
        }
    }
    let failing = until(&daemon, |sink| !sink["failing"].is_null());
    let error = failing["failing"]["error"].as_str().unwrap();
    assert!(error.contains("No space left on device"), "{failing}");
    let remedy = failing["failing"]["remedy"].as_str().unwrap();
    assert!(remedy.contains("make room"), "{failing}");
    press_some(&mut shop, &daemon, 4);
    fs::remove_file(&filler).unwrap();
    until(&daemon, |sink| {
        sink["behind"] == 0 && sink["failing"].is_null()
    });
    assert!(daemon.stop().0.success());
    assert_same(&server, &shop);
}

#[test]
fn over_a_slow_line_every_row_comes_and_that_is_no_failure() {
    let server = Server::start("").unwrap();
    let line = SlowLine::to(server.port);
    let mut shop = Shop::new();
    configure(&shop, "127.0.0.1", line.port, "");
    let daemon = shop.start();
    arm(&daemon);
    press_some(&mut shop, &daemon, 12);
    let well = until(&daemon, |sink| sink["behind"] == 0);
    assert_eq!(well["failures"], 0, "{well}");
    assert!(daemon.stop().0.success());
    assert_same(&server, &shop);
    assert!(line.held_back() > Duration::from_millis(100));
}

#[test]
fn a_database_that_does_not_know_our_certificate_gets_nothing_until_it_does_and_then_all() {
    let (authority, stranger) = (Authority::new(), Authority::new());
    let _ = authority.door("DNS:localhost"); // web.pem and web.key, signed by ca.pem
    let folder = tempfile::tempdir().unwrap();
    give(folder.path()).unwrap();
    let file = |name: &str| folder.path().join(name).display().to_string();
    let rules = "host all owner all trust\nhostssl all bench all cert\n";
    fs::write(file("hba"), rules).unwrap();
    for name in ["web.pem", "web.key", "ca.pem"] {
        fs::copy(authority.path(name), file(name)).unwrap();
    }
    for name in ["web.pem", "web.key", "ca.pem", "hba"] {
        give(&folder.path().join(name)).unwrap();
    }
    let tls = format!(
        "hba_file = '{}'\nssl = on\nssl_cert_file = '{}'\nssl_key_file = '{}'\nssl_ca_file = '{}'",
        file("hba"),
        file("web.pem"),
        file("web.key"),
        file("ca.pem")
    );
    let server = Server::start(&tls).unwrap();
    let mut shop = Shop::new();
    stranger.identify("bench", shop.dir.path());
    let keys = format!(
        "tls = true\nca_file = \"{}\"\nclient_certificate = \"client.pem\"\nclient_key = \"client.key\"",
        authority.ca()
    );
    configure(&shop, "localhost", server.port, &keys);
    let daemon = shop.start();
    arm(&daemon);
    press_some(&mut shop, &daemon, 4);
    until(&daemon, |sink| !sink["failing"].is_null());
    let tables = "SELECT count(*) FROM pg_tables WHERE tablename LIKE 'tallyjaw%'";
    assert_eq!(server.sql("shop", tables).unwrap(), ["0"]);
    authority.identify("bench", shop.dir.path());
    let noted = daemon.call("note", &json!({"text": "we are known"}));
    until(&daemon, |sink| {
        sink["after"].as_u64() >= noted["seq"].as_u64()
    });
    assert!(daemon.stop().0.success());
    assert_same(&server, &shop);
}
