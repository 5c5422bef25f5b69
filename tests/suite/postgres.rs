//! The sink of rows with a real database server, killed under load, and what it says of one that refuses.

mod outages;
mod server;

use crate::harness::{Daemon, PATIENCE, Shop};
use crate::timestamp::authority::Authority;
use serde_json::{Value, json};
use server::{Server, give};
use std::collections::BTreeMap;
use std::fs;
use std::process::{Command, Output};
use std::thread;
use std::time::{Duration, Instant};

fn done(command: &mut Command) -> Output {
    let output = command.output().unwrap();
    assert!(output.status.success(), "{command:?}: {output:?}");
    output
}

fn configure(shop: &Shop, host: &str, port: u16, keys: &str) {
    let text = format!(
        "{}\n[[sink]]\nname = \"db\"\nkind = \"postgres\"\ndatabase = \"postgres://{host}:{port}/shop\"\nuser = \"bench\"\n{keys}\n",
        shop.configuration()
    );
    shop.write("tallyjaw.toml", &text);
}

fn until(daemon: &Daemon, is_so: impl Fn(&Value) -> bool) -> Value {
    let deadline = Instant::now() + PATIENCE;
    loop {
        let status = daemon.call("status", &json!({}));
        let sinks = status["sinks"].as_array().unwrap();
        let sink = sinks.iter().find(|sink| sink["sink"] == "db").unwrap();
        if is_so(sink) {
            return sink.clone();
        }
        assert!(Instant::now() < deadline, "{sink}");
        thread::sleep(Duration::from_millis(5));
    }
}

/// The cells of an export that a table of text has under the same names, by the number of the reading.
fn exported(shop: &Shop) -> BTreeMap<String, BTreeMap<String, String>> {
    let output = shop.run(&["export", "csv"]);
    assert!(output.status.success(), "{output:?}");
    let mut table = csv::Reader::from_reader(&output.stdout[..]);
    let rows = table.deserialize::<BTreeMap<String, String>>();
    rows.map(|row| row.unwrap())
        .map(|row| (row["seq"].clone(), row))
        .collect()
}

/// The rows of the table are those of an export: none missing, none double, each cell the same.
fn assert_same(server: &Server, shop: &Shop) {
    let want = exported(shop);
    assert!(!want.is_empty());
    let rows = "SELECT to_jsonb(r) - 'at_utc' FROM tallyjaw_readings r ORDER BY seq";
    let rows = server.sql("shop", rows).unwrap();
    assert_eq!(rows.len(), want.len());
    for row in rows {
        let row: BTreeMap<String, Value> = serde_json::from_str(&row).unwrap();
        let cells = &want[&row["seq"].to_string()];
        for (name, cell) in cells.iter().filter(|(name, _)| *name != "at_utc") {
            let got = match &row[name] {
                Value::Null => String::new(),
                Value::String(text) => text.clone(),
                value => value.to_string(),
            };
            let (got, cell) = (got.as_str(), cell.as_str());
            let same = got == cell
                || matches!((got.parse::<f64>(), cell.parse::<f64>()), (Ok(one), Ok(other)) if one.to_bits() == other.to_bits());
            assert!(same, "{name}: {got} is not {cell}");
        }
    }
    let unlike = "SELECT count(*) FROM tallyjaw_readings WHERE at_utc IS NULL OR (value_mm * 1000000)::bigint <> value_nm";
    assert_eq!(server.sql("shop", unlike).unwrap(), ["0"]);
}

/// Arms a plan that repeats.
fn arm(daemon: &Daemon) {
    drop(daemon.connected_feed());
    daemon.call("arm", &json!({"plan": "no-zero"}));
}

/// Makes this number of readings.
fn press_some(shop: &mut Shop, daemon: &Daemon, count: i64) {
    let mut feed = daemon.connected_feed();
    for value in 0..count {
        shop.press(158 + value % 9);
        feed.wait_for("reading");
    }
}

#[test]
fn a_database_killed_under_load_and_a_daemon_killed_too_have_no_row_missing_or_double() {
    let kills = std::env::var("TALLYJAW_DATABASE_KILLS");
    let kills = kills.map_or(3, |kills| kills.parse().unwrap());
    let mut server = Server::start("").unwrap();
    let mut shop = Shop::new();
    configure(&shop, "127.0.0.1", server.port, "");
    let mut daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    feed.wait_for("armed");
    for round in 0..kills {
        let load = |shop: &mut Shop, feed: &mut crate::harness::Lines| {
            for value in 0..6 {
                shop.press(158 + (value + round) % 9);
                feed.wait_for("reading");
            }
        };
        load(&mut shop, &mut feed);
        server.kill().unwrap(); // killed while rows are on their way
        load(&mut shop, &mut feed);
        if round == kills / 2 {
            drop(feed);
            daemon.kill();
            daemon = shop.start();
            feed = daemon.connected_feed();
        }
        server.run().unwrap();
        load(&mut shop, &mut feed);
        // Refused where the last press has just closed its series.
        let _ = daemon.control().call("retract", &json!({}));
        let noted = daemon.call("note", &json!({"text": "the end of a round"}));
        let last = noted["seq"].as_u64();
        until(&daemon, |sink| sink["after"].as_u64() >= last);
    }
    assert_same(&server, &shop);
    let retracted = "SELECT count(*) > 0 FROM tallyjaw_readings WHERE standing = 'retracted'";
    assert_eq!(server.sql("shop", retracted).unwrap(), ["t"]);
    // One restored from an older copy gets what it has not.
    server
        .sql(
            "shop",
            "DELETE FROM tallyjaw_readings; UPDATE tallyjaw_journals SET seq = 0, reads_after = 0",
        )
        .unwrap();
    server.kill().unwrap();
    server.run().unwrap();
    let noted = daemon.call("note", &json!({"text": "after the copy"}));
    until(&daemon, |sink| {
        sink["after"].as_u64() >= noted["seq"].as_u64()
    });
    assert!(daemon.stop().0.success());
    let daemon = shop.start();
    let noted = daemon.call("note", &json!({"text": "the last"}));
    until(&daemon, |sink| {
        sink["after"].as_u64() >= noted["seq"].as_u64()
    });
    assert_same(&server, &shop);
    let lines = shop.journal_lines();
    let anchor = server
        .sql("shop", "SELECT seq, digest FROM tallyjaw_journals")
        .unwrap();
    let (seq, digest) = anchor[0].split_once('|').unwrap();
    let at = seq.parse::<usize>().unwrap();
    let next = lines
        .get(at)
        .map(|line| serde_json::from_str::<Value>(line).unwrap());
    if let Some(next) = next {
        assert_eq!(next["prev"], digest);
    }
    assert!(daemon.stop().0.success());
}

#[test]
fn a_journal_that_is_behind_its_database_or_another_one_is_said_and_changes_no_row() {
    let server = Server::start("").unwrap();
    let shop = Shop::new();
    configure(&shop, "127.0.0.1", server.port, "");
    let taken = |daemon: &Daemon, text: &str| {
        let noted = daemon.call("note", &json!({ "text": text }))["seq"].as_u64();
        until(daemon, |sink| sink["after"].as_u64() >= noted);
    };
    let copy = |from: &str, to: &str| {
        done(
            Command::new("cp")
                .arg("-a")
                .arg(shop.path(from))
                .arg(shop.path(to)),
        );
    };
    let daemon = shop.start();
    taken(&daemon, "in the copy");
    assert!(daemon.stop().0.success());
    copy("state", "older");
    let daemon = shop.start();
    taken(&daemon, "not in it");
    assert!(daemon.stop().0.success());
    let place = "SELECT seq, digest FROM tallyjaw_journals";
    let kept = server.sql("shop", place).unwrap();

    fs::remove_dir_all(shop.path("state")).unwrap();
    copy("older", "state");
    let daemon = shop.start();
    let says = |error: &str| {
        let failing = until(&daemon, |sink| {
            let got = sink["failing"]["error"].as_str().unwrap_or_default();
            got.contains(error)
        });
        assert!(
            failing["failing"]["remedy"]
                .as_str()
                .unwrap()
                .contains("older copy")
        );
    };
    says("of this journal, which ends with entry");
    for number in 0..6 {
        daemon.call("note", &json!({"text": format!("written again {number}")}));
    }
    says("is not the one of this journal");
    assert_eq!(server.sql("shop", place).unwrap(), kept);
    server.sql(
        "shop",
        "ALTER TABLE tallyjaw_readings RENAME TO old_readings; ALTER TABLE tallyjaw_journals RENAME TO old_journals",
    ).unwrap();
    taken(&daemon, "the last");
    assert!(daemon.stop().0.success());
}

#[test]
fn what_a_database_refuses_is_said_with_its_remedy_and_comes_when_it_may() {
    let server = Server::start("password_encryption = 'scram-sha-256'").unwrap();
    fs::write(
        server.data().join("pg_hba.conf"),
        "host all owner all trust\nhost all all all scram-sha-256\n",
    )
    .unwrap();
    let reload = "SELECT pg_reload_conf()";
    server
        .sql(
            "shop",
            "ALTER USER bench PASSWORD 'right'; REVOKE ALL ON SCHEMA public FROM bench",
        )
        .unwrap();
    server.sql("shop", reload).unwrap();
    let mut shop = Shop::new();
    shop.write("password", "wrong\n");
    configure(
        &shop,
        "127.0.0.1",
        server.port,
        "password_file = \"password\"",
    );
    let daemon = shop.start();
    let says = |error: &str, remedy: &str| {
        until(&daemon, |sink| {
            let failing = &sink["failing"];
            let text = |name: &str| failing[name].as_str().unwrap_or_default().to_owned();
            text("error").contains(error) && text("remedy").contains(remedy)
        });
    };
    says("password authentication failed", "pg_hba.conf");
    arm(&daemon);
    press_some(&mut shop, &daemon, 4);
    shop.write("password", "right\n");
    says("permission denied", "tallyjaw schema --sql");
    // The tables are made by the script, and the user may only fill them.
    let script = String::from_utf8(shop.run(&["schema", "--sql"]).stdout).unwrap();
    server.sql("shop", &script).unwrap();
    server.sql("shop", "GRANT USAGE ON SCHEMA public TO bench; GRANT SELECT, INSERT, UPDATE ON tallyjaw_readings, tallyjaw_journals TO bench").unwrap();
    let well = until(&daemon, |sink| {
        sink["failing"].is_null() && sink["behind"] == 0
    });
    assert!(well["recovered"]["tries"].as_u64() >= Some(2), "{well}");
    assert!(daemon.stop().0.success());
    assert_same(&server, &shop);
}

#[test]
fn a_database_behind_tls_is_the_one_that_is_meant_or_gets_nothing() {
    let authority = Authority::new();
    let _ = authority.door("DNS:localhost"); // web.pem and web.key, signed by ca.pem
    let mut server = Server::start("").unwrap();
    for name in ["web.pem", "web.key"] {
        let to = server.data().join(name);
        fs::copy(authority.path(name), &to).unwrap();
        done(Command::new("chmod").arg("600").arg(&to));
        give(&to).unwrap();
    }
    let mut shop = Shop::new();
    let other = Authority::new();
    let keys = |authority: &Authority| format!("tls = true\nca_file = \"{}\"", authority.ca());
    configure(&shop, "localhost", server.port, &keys(&authority));
    let daemon = shop.start();
    let says = |daemon: &Daemon, error: &str, remedy: &str| {
        until(daemon, |sink| {
            let failing = &sink["failing"];
            let text = |name: &str| failing[name].as_str().unwrap_or_default().to_owned();
            text("error").contains(error) && text("remedy").contains(remedy)
        });
    };
    says(
        &daemon,
        "answers the request for TLS with \"N\"",
        "ssl = on",
    );
    server.kill().unwrap();
    server
        .add(
            "postgresql.conf",
            "\nssl = on\nssl_cert_file = 'web.pem'\nssl_key_file = 'web.key'\n",
        )
        .unwrap();
    server.run().unwrap();
    until(&daemon, |sink| {
        sink["failing"].is_null() && sink["behind"] == 0
    });
    assert!(daemon.stop().0.success());
    configure(&shop, "localhost", server.port, &keys(&other));
    let daemon = shop.start();
    says(&daemon, "of no authority that is trusted", "ca_file");
    arm(&daemon);
    press_some(&mut shop, &daemon, 4);
    assert!(daemon.stop().0.success());
    configure(&shop, "localhost", server.port, &keys(&authority));
    let daemon = shop.start();
    until(&daemon, |sink| {
        sink["failing"].is_null() && sink["behind"] == 0
    });
    assert!(daemon.stop().0.success());
    assert_same(&server, &shop);
}
