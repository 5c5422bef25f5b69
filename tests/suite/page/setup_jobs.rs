//! Jobs set up on the page: what is written into the list that a spreadsheet saved, and what is refused.

use super::http::shop_with;
use super::setup::{Setup, sha256};
use serde_json::{Value, json};
use std::fs;

/// A bench whose page may change this list of jobs.
fn with_list(bytes: &[u8]) -> Setup {
    let shop = shop_with("edit = true");
    fs::write(shop.path("jobs.csv"), bytes).unwrap();
    let main = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let main = main.replacen("plans =", "jobs = \"*.csv\"\nplans =", 1);
    shop.write("tallyjaw.toml", &main);
    Setup::of(shop)
}

fn bytes(setup: &Setup) -> Vec<u8> {
    fs::read(setup.shop.path("jobs.csv")).unwrap()
}

#[test]
fn a_job_is_added_in_the_ways_of_the_file_entered_and_chosen() {
    // Windows-1252, tabs, two kinds of blank lines, a column of the shop's own.
    let old = b"Kind\tJOB\tcustomer\tplans\r\nred\t4711\tM\xfcller\tpump-own\r\n\r\n";
    let setup = with_list(old);
    let listed = setup.get();
    let files = listed["files"].as_array().unwrap();
    let file = files
        .iter()
        .find(|file| file["file"] == "jobs.csv")
        .unwrap();
    assert_eq!(file["holds"], json!(["job"]));
    assert_eq!(file["digest"], sha256(old));
    assert_eq!(
        file["entries"],
        json!([{"list": "job", "at": 0, "values": {"job": "4711", "customer": "Müller", "plans": ["pump-own"]}}])
    );
    let added = setup.write(
        "jobs.csv",
        &json!({"list": "job", "change": "add", "values": {"job": "4712", "customer": "Jörg & Co", "plans": ["pump-own", "no-zero"]}}),
    );
    let new = [&old[..], b"\t4712\tJ\xf6rg & Co\tpump-own no-zero\r\n"].concat();
    assert_eq!(bytes(&setup), new);
    let copy = added["written"]["copies"][0].as_str().unwrap();
    assert_eq!(fs::read(setup.shop.path(copy)).unwrap(), old);
    let entered = setup.entered();
    let entry = &entered[0];
    assert_eq!(
        (
            &entry["who"],
            &entry["change"],
            &entry["list"],
            &entry["name"]
        ),
        (&json!("mara"), &json!("add"), &json!("job"), &json!("4712"))
    );
    assert_eq!(
        entry["files"],
        json!([{"file": "jobs.csv", "before": sha256(old), "after": sha256(&new), "copy": copy}])
    );
    // It is in force: its details are known.
    setup.daemon.call("job", &json!({"job": "4712"}));
    let state = setup.daemon.call("status", &json!({}));
    assert_eq!(
        state["state"]["stations"][0]["job"]["customer"],
        "Jörg & Co"
    );
    // Changed, and taken out again.
    setup.write(
        "jobs.csv",
        &json!({"list": "job", "change": "set", "at": 1, "values": {"customer": null, "plans": null}}),
    );
    assert_eq!(bytes(&setup), [&old[..], b"\t4712\t\t\r\n"].concat());
    setup.write(
        "jobs.csv",
        &json!({"list": "job", "change": "remove", "at": 1}),
    );
    assert_eq!(bytes(&setup), old);
}

#[test]
fn each_fault_of_a_job_stands_at_its_field_as_check_says_it() {
    let setup = with_list(b"job;customer;item;reference;plans\n4711;A;;;pump-own\n");
    let add = |values: Value| {
        setup.check(
            "jobs.csv",
            &json!({"list": "job", "change": "add", "values": values}),
        )
    };
    let faults = |said: &Value| -> Vec<(String, String)> {
        let text = |value: &Value| value.as_str().unwrap_or("?").to_owned();
        let all = said["faults"].as_array().unwrap().iter();
        all.map(|fault| (text(&fault["pointer"]), text(&fault["message"])))
            .collect()
    };
    let fault = |pointer: &str, message: &str| (pointer.to_owned(), message.to_owned());
    assert_eq!(
        faults(&add(json!({"job": "4711"}))),
        [fault("/job", "job \"4711\" appears twice")]
    );
    assert_eq!(
        add(json!({"job": "4711"}))["texts"]["job \"4711\" appears twice"],
        json!({"key": "check.twice.job", "with": {"name": "4711"}})
    );
    // A file is named from the folder of the configuration.
    assert_eq!(
        add(json!({"job": "4711"}))["faults"][0]["remedy"],
        "the first is at jobs.csv:2"
    );
    assert_eq!(
        faults(&add(json!({"job": "47/11", "plans": ["pump-gone"]}))),
        [fault("/job", "job is \"47/11\"")]
    );
    assert_eq!(
        faults(&add(
            json!({"job": "4712", "plans": ["pump-own", "pump-gone"]})
        )),
        [fault("/plans", "no plan \"pump-gone\"")]
    );
    let said = add(json!({"job": "4712", "customer": "x".repeat(201)}));
    assert_eq!(faults(&said)[0].0, "/customer");
    // A text cannot become a second row or cell.
    let said = add(json!({"job": "4712", "customer": "A;B\"\n4713"}));
    assert_eq!(faults(&said)[0].0, "/customer");
    assert_eq!(said["diff"].as_array().unwrap().len(), 2);
    // An empty form is a row without a job.
    assert_eq!(
        faults(&add(json!({"customer": "A"}))),
        [fault("/job", "job is \"\"")]
    );
}

#[test]
fn without_a_list_one_is_made_and_named_and_what_does_not_fit_is_refused_with_what_to_do() {
    let setup = Setup::start();
    let main = setup.read("tallyjaw.toml");
    let first = json!({"list": "job", "change": "add", "digest": setup.digest("tallyjaw.toml"), "values": {"job": "4711", "customer": "Żabka"}});
    let answer = setup.write_as_is(first);
    assert_eq!(
        (answer.status, &answer.json()["ok"]),
        (200, &json!(true)),
        "{answer:?}"
    );
    assert_eq!(
        setup.read("jobs.csv"),
        "job;customer;item;reference;plans\n4711;Żabka;;;\n"
    );
    assert_eq!(
        setup.read("tallyjaw.toml"),
        main.replacen(
            "plans = [\"plans.toml\"]\n",
            "plans = [\"plans.toml\"]\njobs = [\"jobs.csv\"]\n",
            1
        )
    );

    let refused = |bytes: &[u8], values: Value, message: &str, remedy: &str| {
        let setup = with_list(bytes);
        let add = json!({"list": "job", "change": "add", "values": values});
        let answer = setup.write_as_is(setup.change("jobs.csv", &add));
        let error = answer.json()["error"].clone();
        assert_eq!(answer.status, 409, "{answer:?}");
        let said = error["message"].as_str().unwrap();
        assert!(said.contains(message), "{said}");
        let help = error["data"]["remedy"].as_str().unwrap();
        assert!(help.contains(remedy), "{help}");
        assert_eq!(self::bytes(&setup), bytes);
        assert!(setup.entered().is_empty());
    };
    refused(
        b"job;customer\n4711;M\xfcller\n",
        json!({"job": "4712", "customer": "Żabka"}),
        "jobs.csv is in Windows-1252 (Latin-1), which has no 'Ż'",
        "in UTF-8",
    );
    refused(
        b"job\n4711\n",
        json!({"job": "4712", "customer": "A"}),
        "the list has no column customer",
        "add the heading",
    );
}
