//! Jobs and lots from outside: commands, the control socket, the list of jobs, kills, queries and exports.

use crate::harness::Shop;
use serde_json::{Value, json};
use std::process::Output;

fn said(output: &Output) -> (i32, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (
        output.status.code().unwrap(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

/// A shop with a list of jobs, in the bytes of this file.
fn shop_with(list: &[u8]) -> Shop {
    let shop = Shop::new();
    std::fs::write(shop.path("jobs.csv"), list).unwrap();
    let text = shop
        .configuration()
        .replacen("plans =", "jobs = \"jobs.csv\"\nplans =", 1);
    shop.write("tallyjaw.toml", &text);
    shop
}

const LIST: &str =
    "job,customer,item,reference,plans\n4711,Example Pumps Ltd,pump harness B,PO-8832,pump-own\n";

#[test]
fn job_and_lots_are_set_by_command_and_survive_a_kill() {
    let shop = shop_with(LIST.as_bytes());
    let daemon = shop.start();
    let (code, out, err) = said(&shop.run(&["job", "4711", "--serial", "8"]));
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.starts_with("job set (entry "), "{out}");
    let (code, out, err) = said(&shop.run(&["job", "4117"]));
    assert_eq!(code, 0, "{out}");
    assert_eq!(
        err,
        "warning: job 4117 is not in the list of jobs: did you mean 4711?\n"
    );
    shop.run(&["job", "4711", "--serial", "9"]);
    shop.run(&["lot", "wire", "88-1407"]);
    shop.run(&["lot", "terminal", "R-2031"]);
    daemon.kill();
    let daemon = shop.start();
    let state = daemon.call("status", &json!({}));
    let station = &state["state"]["stations"][0];
    let job = json!({
        "id": "4711", "serial": "9", "customer": "Example Pumps Ltd",
        "item": "pump harness B", "reference": "PO-8832",
    });
    assert_eq!(station["job"], job);
    assert_eq!(station["wire_lot"], "88-1407");
    assert_eq!(station["terminal_lot"], "R-2031");
    let armed = daemon.call("arm", &json!({"plan": "pump-own"}));
    assert_eq!(armed["armed"]["job"], job);
    let (code, _, err) = said(&shop.run(&["job", "--none"]));
    assert_eq!(code, 2);
    assert!(err.contains("a job cannot change within a series"), "{err}");
    shop.run(&["disarm"]);
    assert_eq!(said(&shop.run(&["job", "--none"])).0, 0);
    let state = daemon.call("status", &json!({}));
    assert_eq!(state["state"]["stations"][0]["job"], Value::Null);
    let (code, _, err) = said(&shop.run(&["lot", "copper", "7"]));
    assert_eq!(code, 2);
    assert!(err.contains("possible values: terminal, wire"), "{err}");
}

#[test]
fn a_list_of_jobs_is_read_however_a_spreadsheet_saved_it() {
    let as_utf_16: Vec<u8> = [0xfeff_u16]
        .into_iter()
        .chain("Customer\tJOB\nMüller\t4711\n".encode_utf16())
        .flat_map(u16::to_le_bytes)
        .collect();
    for list in [
        "\u{feff}job;customer\r\n4711;\"Müller\"\r\n".as_bytes(),
        b"customer;colour;job\nM\xfcller;red;4711\n",
        b"plans,job,customer\n\"pump-own\",4711,\"M\xfcller\"\n\n",
        &as_utf_16,
    ] {
        let shop = shop_with(list);
        let daemon = shop.start();
        shop.run(&["job", "4711"]);
        let state = daemon.call("status", &json!({}));
        let job = &state["state"]["stations"][0]["job"];
        assert_eq!(
            job["customer"],
            "Müller",
            "{}",
            String::from_utf8_lossy(list)
        );
    }
}

#[test]
fn what_is_wrong_with_a_list_is_said_with_its_line_and_what_to_do() {
    for (list, place, got, help) in [
        ("", "jobs.csv:1", "no row at all", ""),
        (
            "customer;item\nA;B\n",
            "jobs.csv:1",
            "no column \"job\"",
            "save the list with a first row",
        ),
        (
            "job;job\n1;2\n",
            "jobs.csv:1:5",
            "a second column \"job\"",
            "",
        ),
        (
            "job;customer\n4711;A\n4711;B\n",
            "jobs.csv:3:1",
            "job \"4711\" appears twice",
            "the first is at",
        ),
        ("job;customer\n;A\n", "jobs.csv:2:1", "job is \"\"", ""),
        (
            "job;customer\n47/11;A\n",
            "jobs.csv:2:1",
            "job is \"47/11\"",
            "",
        ),
        (
            "job;plans\n4711;pump-onw\n",
            "jobs.csv:2:6",
            "no plan \"pump-onw\"",
            "did you mean",
        ),
        (
            "job,customer\n4711,Pumps, Ltd\n",
            "jobs.csv:2:13",
            "3 cells in a row under 2 headings",
            "between quotes",
        ),
    ] {
        let shop = shop_with(list.as_bytes());
        let (code, out, err) = said(&shop.run(&["check"]));
        let all = out + &err;
        assert_eq!(code, 1, "{list:?}: {all}");
        for want in [place, got, help] {
            assert!(all.contains(want), "{list:?}, {want}: {all}");
        }
    }
    let shop = shop_with(b"job;custmer\n4711;A\n");
    let (code, out, err) = said(&shop.run(&["check"]));
    assert_eq!(code, 0);
    assert!((out + &err).contains("did you mean customer?"));
}

#[test]
fn a_list_is_read_again_on_reload() {
    let shop = shop_with(LIST.as_bytes());
    let daemon = shop.start();
    assert!(
        said(&shop.run(&["job", "4712"]))
            .2
            .contains("not in the list")
    );
    shop.write(
        "jobs.csv",
        &(LIST.to_owned() + "4712,Example Valves GmbH,,,\n"),
    );
    assert_eq!(said(&shop.run(&["reload"])).0, 0);
    assert_eq!(said(&shop.run(&["job", "4712"])).2, "");
    let state = daemon.call("status", &json!({}));
    let job = &state["state"]["stations"][0]["job"];
    assert_eq!(job["customer"], "Example Valves GmbH");
}

/// A shop with a data set that is written at once, and two jobs measured: 4711 for A on spools 1 and 2 (the second from
/// its third reading on), 4712 for B on spool 2, and one series of no job.
fn measured() -> (Shop, crate::harness::Daemon) {
    let mut shop = Shop::new();
    let sink =
        "\n[[sink]]\nname = \"lake\"\nkind = \"parquet\"\nfolder = \"lake\"\nevery = \"1 s\"\n";
    let text = shop.configuration() + sink;
    shop.write("tallyjaw.toml", &text);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    let mut measure = |shop: &mut Shop, value: i64| {
        shop.press(value);
        feed.wait_for("reading");
    };
    let arm = |daemon: &crate::harness::Daemon| daemon.call("arm", &json!({"plan": "no-zero"}));
    daemon.call(
        "job",
        &json!({"job": "4711", "customer": "A", "item": "harness, rev. \"B\""}),
    );
    daemon.call("lot", &json!({"material": "wire", "lot": "1"}));
    arm(&daemon);
    measure(&mut shop, 160);
    measure(&mut shop, 161);
    daemon.call("lot", &json!({"material": "wire", "lot": "2"}));
    measure(&mut shop, 162);
    daemon.call("disarm", &json!({}));
    daemon.call("job", &json!({"job": "4712", "customer": "B"}));
    arm(&daemon);
    for value in [159, 160] {
        measure(&mut shop, value);
    }
    daemon.call("disarm", &json!({}));
    daemon.call("job", &json!({}));
    arm(&daemon);
    measure(&mut shop, 158);
    daemon.call("disarm", &json!({}));
    (shop, daemon)
}

/// How many readings an output has: of `export csv` rows, of lines those that are readings.
fn exported(shop: &Shop, format: &str, options: &[&str]) -> usize {
    let output = shop.run(&[&["export", format], options].concat());
    let (code, out, err) = said(&output);
    assert_eq!(code, 0, "{err}");
    match format {
        "csv" => out.lines().count() - 1,
        _ => out.matches("\"kind\":\"reading\"").count(),
    }
}

/// How many readings of the data set match.
fn in_data_set(shop: &Shop, column: &str, value: &str) -> usize {
    use parquet::file::serialized_reader::SerializedFileReader;
    use parquet::record::Field;
    let mut found = 0;
    let files = glob::glob(&format!("{}/**/*.parquet", shop.path("lake").display())).unwrap();
    for path in files {
        let reader =
            SerializedFileReader::new(std::fs::File::open(path.unwrap()).unwrap()).unwrap();
        for row in reader {
            let row = row.unwrap();
            let is = |(name, field): (&String, &Field)| {
                name == column && *field == Field::Str(value.to_owned())
            };
            found += usize::from(row.get_column_iter().any(is));
        }
    }
    found
}

#[test]
fn customer_job_and_lot_choose_the_same_readings_on_every_way_out() {
    let (shop, daemon) = measured();
    let (status, _) = daemon.stop(); // the data set is whole then
    assert!(status.success());
    for (option, column, value, readings, series) in [
        ("--customer", "customer", "A", 3, 1),
        ("--customer", "customer", "B", 2, 1),
        ("--job", "job", "4712", 2, 1),
        ("--item", "item", "harness, rev. \"B\"", 3, 1),
        ("--wire-lot", "wire_lot", "1", 2, 1),
        ("--wire-lot", "wire_lot", "2", 4, 3),
        ("--wire-lot", "wire_lot", "3", 0, 0),
    ] {
        let options = [option, value];
        let name = format!("{option} {value}");
        assert_eq!(exported(&shop, "csv", &options), readings, "{name}: csv");
        assert_eq!(
            exported(&shop, "jsonl", &options),
            readings,
            "{name}: lines"
        );
        assert_eq!(
            in_data_set(&shop, column, value),
            readings,
            "{name}: data set"
        );
        let out = said(&shop.run(&[&["--json", "series"][..], &options].concat())).1;
        assert_eq!(out.lines().count(), series, "{name}: series");
        let study = shop.run(&[&["--json", "study", "describe"][..], &options].concat());
        let (_, out, err) = said(&study);
        if readings == 0 {
            continue;
        }
        let described: Value = serde_json::from_str(out.lines().next().unwrap()).unwrap();
        assert_eq!(described["n"], json!(readings), "{name}: study {out} {err}");
    }
}

#[test]
fn the_jobs_of_a_journal_at_a_glance() {
    let (shop, daemon) = measured();
    daemon.stop();
    let (code, out, _) = said(&shop.run(&["jobs"]));
    assert_eq!(code, 0);
    let lines: Vec<&str> = out.lines().collect();
    assert_eq!(lines.len(), 3, "{out}");
    assert!(lines[1].starts_with("4712  B "), "{out}");
    assert!(
        lines[2].starts_with("4711  A         harness, rev. \"B\""),
        "{out}"
    );
    let (code, out, _) = said(&shop.run(&["jobs", "4711"]));
    assert_eq!(code, 0);
    assert!(
        out.starts_with("job 4711, for A, harness, rev. \"B\"\n"),
        "{out}"
    );
    assert!(out.contains("1, 2"), "both spools: {out}");
    assert!(out.ends_with("0 of 1 accepted\n"), "{out}");
    let out = said(&shop.run(&["--json", "jobs", "4711"])).1;
    let series: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(series["armed"]["job"]["customer"], "A");
    let out = said(&shop.run(&["--json", "jobs"])).1;
    let job: Value = serde_json::from_str(out.lines().nth(1).unwrap()).unwrap();
    assert_eq!(
        (&job["job"]["id"], &job["series"], &job["cut_short"]),
        (&json!("4711"), &json!(1), &json!(1))
    );
    let (code, out, _) = said(&shop.run(&["jobs", "99"]));
    assert_eq!(
        (code, out.as_str()),
        (1, "no series of job 99; list the jobs: tallyjaw jobs\n")
    );
}

#[test]
fn the_zone_of_the_shop_is_that_of_all_times_that_people_read() {
    let (shop, daemon) = measured();
    daemon.stop();
    let opened = |shop: &Shop| {
        let out = said(&shop.run(&["series"])).1;
        out.lines().nth(1).unwrap()[8..24].trim().to_owned()
    };
    let with = |zone: &str| {
        let text = shop.configuration() + &format!("\n[shop]\ntime_zone = \"{zone}\"\n");
        shop.write("tallyjaw.toml", &text);
    };
    with("Pacific/Kiritimati");
    let ahead = opened(&shop);
    with("Pacific/Pago_Pago");
    assert_ne!(ahead, opened(&shop));
    with("Europe/Wien");
    let (code, out, err) = said(&shop.run(&["check"]));
    assert_eq!(code, 1, "{out}{err}");
    let all = out + &err;
    assert!(all.contains("time_zone is \"Europe/Wien\""), "{all}");
    assert!(all.contains("Europe/Vienna"), "{all}");
}
