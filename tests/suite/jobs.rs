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
