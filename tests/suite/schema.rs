//! `tallyjaw schema` compared with everything that is stored, sent and configured.

use crate::config::{toml_files, with_more, with_ports};
use crate::harness::Shop;
use jsonschema::Validator;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;
use tallyjaw::message::request::METHODS;
use tallyjaw::spec::alert::ALERTS;

/// What `tallyjaw schema` prints.
fn printed(arguments: &[&str]) -> String {
    let mut command = Command::new(crate::harness::program());
    let output = command.arg("schema").args(arguments).output().unwrap();
    assert!(output.status.success());
    String::from_utf8(output.stdout).unwrap()
}

fn schema(of: &str) -> Value {
    serde_json::from_str(&printed(&[of])).unwrap()
}

fn validator(schema: &Value) -> Validator {
    jsonschema::draft202012::meta::validate(schema).unwrap();
    jsonschema::draft202012::new(schema).unwrap()
}

fn assert_valid(validator: &Validator, value: &Value) {
    let faults: Vec<String> = validator
        .iter_errors(value)
        .map(|fault| fault.to_string())
        .collect();
    assert_eq!(faults, [""; 0], "{value}");
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Files in a folder and below with this ending.
fn files(folder: &Path, end: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for item in std::fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        if path.is_dir() {
            found.extend(files(&path, end));
        } else if path.to_str().unwrap().ends_with(end) {
            found.push(path);
        }
    }
    found
}

/// Every name of a property anywhere in a schema.
fn names(schema: &Value, into: &mut BTreeSet<String>) {
    match schema {
        Value::Object(object) => {
            if let Some(Value::Object(properties)) = object.get("properties") {
                into.extend(properties.keys().cloned());
            }
            object.values().for_each(|value| names(value, into));
        }
        Value::Array(items) => items.iter().for_each(|item| names(item, into)),
        _ => {}
    }
}

/// Every key in a value that is not a user's name.
fn keys(value: &Value, known: &BTreeSet<String>, missing: &mut BTreeSet<String>) {
    const BY_NAME: [&str; 7] = [
        "stations",
        "instruments",
        "zeros",
        "tools",
        "nests",
        "texts",
        "with",
    ];
    match value {
        Value::Object(object) => {
            for (key, value) in object {
                if !known.contains(key) {
                    missing.insert(key.clone());
                }
                match value {
                    Value::Object(named) if BY_NAME.contains(&key.as_str()) => {
                        named.values().for_each(|value| keys(value, known, missing));
                    }
                    value => keys(value, known, missing),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| keys(item, known, missing)),
        _ => {}
    }
}

/// Each value is valid, and the schema describes each of its fields.
pub(crate) fn assert_told(of: &str, values: &[Value]) {
    let schema = schema(of);
    let validator = validator(&schema);
    let (mut known, mut missing) = (BTreeSet::new(), BTreeSet::new());
    names(&schema, &mut known);
    for value in values {
        assert_valid(&validator, value);
        keys(value, &known, &mut missing);
    }
    assert_eq!(
        missing,
        BTreeSet::new(),
        "fields that the schema of {of} does not tell"
    );
}

/// Whether a value is as a schema says.
pub(crate) fn valid(of: &str, value: &Value) -> bool {
    validator(&schema(of)).is_valid(value)
}

fn lines(path: &Path) -> Vec<Value> {
    let text = std::fs::read_to_string(path).unwrap();
    text.lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

/// A line with one thing in it changed.
fn changed(line: &Value, key: &str, to: Option<Value>) -> Value {
    let mut line = line.clone();
    let object = line.as_object_mut().unwrap();
    match to {
        Some(value) => object.insert(key.to_owned(), value),
        None => object.remove(key),
    };
    line
}

#[test]
fn every_kept_entry_of_every_kind_is_as_the_schema_says_and_a_wrong_one_is_not() {
    let files = files(&root().join("tests/journals"), ".jsonl");
    let entries: Vec<Value> = files.iter().flat_map(|path| lines(path)).collect();
    assert!(entries.len() > 60);
    assert_told("entry", &entries);
    let validator = validator(&schema("entry"));
    let of_kind = |kind: &str| {
        let mut found = entries.iter().filter(|entry| entry["kind"] == kind);
        found.next().unwrap_or_else(|| panic!("no {kind}"))
    };
    for (kind, key, to) in [
        ("reading", "prev", None),
        ("reading", "prev", Some(json!("ab"))),
        ("reading", "seq", Some(json!("42"))),
        ("reading", "at", Some(json!("yesterday"))),
        ("reading", "v", Some(json!(2))),
        ("reading", "kind", Some(json!("sung"))),
        ("reading", "kind", Some(json!("armed"))),
        ("reading", "value", Some(json!("1.62"))),
        ("reading", "value_nm", Some(json!(1.5))),
        ("reading", "value_nm", Some(Value::Null)),
        ("reading", "verdict", Some(json!("good"))),
        ("reading", "unit", Some(json!("inch"))),
        ("reading", "standing", None),
        ("armed", "axes", Some(json!({}))),
        ("armed", "pieces", Some(json!(-1))),
        ("completed", "outcome", Some(json!("fine"))),
        ("completed", "tally", None),
        ("zeroed", "ok", Some(json!("yes"))),
        ("doubted", "readings", Some(json!(7))),
        ("segment", "state", Some(json!([]))),
    ] {
        assert!(validator.is_valid(of_kind(kind)), "{kind}");
        let wrong = changed(of_kind(kind), key, to);
        assert!(!validator.is_valid(&wrong), "{key} of {wrong}");
    }
    // a field may be added within a version
    let newer = changed(of_kind("reading"), "humidity", Some(json!(40)));
    assert_valid(&validator, &newer);
}

#[test]
fn every_record_of_the_demo_is_as_the_schema_says() {
    let folder = tempfile::tempdir().unwrap();
    let output = Command::new(crate::harness::program())
        .args(["demo", "--fast", "--dir"])
        .arg(folder.path().join("demo"))
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    let files = files(folder.path(), ".jsonl");
    let entries: Vec<Value> = files.iter().flat_map(|path| lines(path)).collect();
    let kinds: BTreeSet<&str> = entries
        .iter()
        .filter_map(|entry| entry["kind"].as_str())
        .collect();
    assert!(entries.len() > 60 && kinds.len() > 10, "{kinds:?}");
    assert_told("entry", &entries);
    assert_told("feed", &entries);
}

#[test]
fn what_feed_and_control_socket_say_is_as_their_schemas_say() {
    let mut shop = Shop::new();
    let page = "[page]\nlisten = \"127.0.0.1:0\"\ntablet = true\ntablet_listen = \"127.0.0.1:0\"\n";
    shop.write("tallyjaw.toml", &(page.to_owned() + &shop.configuration()));
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (mut feed, hello, state) = daemon.greeted_feed();
    let mut said = vec![hello, state];
    let (mut spoken, mut control) = (Vec::new(), daemon.control());
    let inline = json!({"terminal": "QF-250-F", "wire": "2.0 mm²", "axes": ["core_crimp_height"], "pieces": 3, "purpose": "first_off",
        "decision": "guarded", "guard_factor": 1.645, "zero": {"before_first": false, "closing": false}, "alerts": ["trend"], "cut": true});
    let requests = [
        ("status", json!({})),
        ("catalog", json!({})),
        ("operator", json!({"operator": "mara"})),
        ("tool", json!({"tool": "T-07"})),
        (
            "job",
            json!({"job": "4711", "customer": "A", "item": "B", "serial": "8", "reference": "C"}),
        ),
        ("lot", json!({"material": "wire", "lot": "88-1407"})),
        ("arm", json!({"plan": "no-zero"})),
        ("note", json!({"text": "<b>"})),
        ("zero", json!({"station": "bench-1"})),
        ("ask", json!({})),
        ("adapter", json!({})),
        ("retract", json!({"seq": 1, "reason": "slipped"})),
        ("restore", json!({})),
        ("look", json!({"look": 1, "piece": 1, "answer": "good"})),
        ("pulled", json!({"mode": "pulled_out"})),
        ("crimps", json!({"crimps": 50})),
        (
            "settle",
            json!({"settlement": "scrap", "reason": "die was worn"}),
        ),
        ("picture", json!({"name": "a.jpg", "size": 0})),
        ("resume", json!({})),
        ("disarm", json!({})),
        ("arm", inline),
        ("status", json!({})),
        ("reload", json!({})),
        ("pair", json!({"tablet": "bench-left"})),
        ("tablets", json!({})),
        ("revoke", json!({"tablet": "bench-left"})),
        ("token_add", json!({"token": "scraper", "scope": "read"})),
        ("tokens", json!({})),
        ("token_revoke", json!({"token": "scraper"})),
        ("sing", json!({})),
    ];
    let mut answered = BTreeMap::new();
    for (id, (method, params)) in requests.into_iter().enumerate() {
        let request = json!({"jsonrpc": "2.0", "id": id, "method": method, "params": params});
        control.send(&request.to_string());
        if method != "sing" {
            spoken.push(request);
        }
        let answer = control.next();
        answered.insert(method, answer["result"].is_object());
        spoken.push(answer);
    }
    let asked: BTreeSet<&str> = answered
        .keys()
        .copied()
        .filter(|name| *name != "sing")
        .collect();
    assert_eq!(asked, BTreeSet::from(METHODS), "every method is asked");
    let refused = answered
        .iter()
        .filter(|(_, is_done)| !**is_done)
        .map(|(name, _)| *name);
    let refused: Vec<&str> = refused.collect();
    assert_eq!(
        refused,
        [
            "adapter", "ask", "look", "picture", "pulled", "restore", "resume", "retract",
            "settle", "sing", "tool"
        ]
    );
    shop.press(0); // the announced zero
    shop.press(162);
    while said.last().is_none_or(|line| line["kind"] != "reading") {
        said.push(feed.next());
    }
    feed.send("{\"before\":1}");
    said.push(feed.wait_for("error"));
    let (_, _, state) = daemon.greeted_feed();
    said.push(state);
    assert_told("feed", &said);
    assert_told("control", &spoken);
}

#[test]
fn a_wrong_message_is_refused_by_its_schema() {
    let whole = schema("control");
    let control = validator(&whole);
    let titles = whole["anyOf"][0]["oneOf"].as_array().unwrap();
    let titles: BTreeSet<&str> = titles
        .iter()
        .map(|form| form["title"].as_str().unwrap())
        .collect();
    assert_eq!(titles, BTreeSet::from(METHODS));
    let request = json!({"jsonrpc": "2.0", "id": 1, "method": "note", "params": {"text": "x"}});
    assert_valid(&control, &request);
    for (key, to) in [
        ("method", Some(json!("sing"))),
        ("method", None),
        ("jsonrpc", Some(json!("1.0"))),
        ("id", Some(json!([]))),
        ("params", Some(json!({"txt": "x"}))),
        ("params", Some(json!({"text": 7}))),
        ("params", Some(json!(["x"]))),
    ] {
        let wrong = changed(&request, key, to);
        assert!(!control.is_valid(&wrong), "{wrong}");
    }
    let whole = schema("feed");
    let feed = validator(&whole);
    let hello = json!({"kind": "hello", "v": 1, "journal": "ab", "version": "0.1.0", "first": 1, "last": 41});
    assert_valid(&feed, &hello);
    for (key, to) in [
        ("kind", Some(json!("hullo"))),
        ("last", None),
        ("first", Some(json!("1"))),
    ] {
        let wrong = changed(&hello, key, to);
        assert!(!feed.is_valid(&wrong), "{wrong}");
    }
    let after = part(&whole, "after");
    assert_valid(&after, &json!({"after": 17}));
    assert!(!after.is_valid(&json!({"before": 17})));
}

/// A definition of a schema as a schema.
fn part(whole: &Value, name: &str) -> Validator {
    let mut part = json!({"$ref": format!("#/$defs/{name}")});
    part["$defs"] = whole["$defs"].clone();
    validator(&part)
}

#[test]
fn every_shipped_configuration_is_as_the_schema_says_and_a_misspelled_key_is_not() {
    let whole = schema("config");
    let of = |file: &Value| {
        let parts = [("terminal", "sheet"), ("plan", "plans"), ("tool", "tools")];
        let part_of = parts.iter().find(|(key, _)| file.get(key).is_some());
        part_of.map_or_else(|| validator(&whole), |(_, name)| part(&whole, name))
    };
    let files = toml_files(&root().join("config"));
    assert!(files.len() > 7);
    for path in files {
        let text = std::fs::read_to_string(&path).unwrap();
        let value: Value = toml::from_str(&text).unwrap();
        assert_valid(&of(&value), &value);
        let first = value.as_object().unwrap().keys().next().unwrap().clone();
        let wrong = changed(&value, &format!("{first}x"), Some(json!(1)));
        assert!(!of(&value).is_valid(&wrong), "{}", path.display());
    }
    let sink = part(&whole, "sink");
    assert_valid(
        &sink,
        &json!({"name": "plant", "kind": "mqtt", "broker": "mqtts://b.example"}),
    );
    assert!(!sink.is_valid(&json!({"name": "plant", "kind": "mqtt", "folder": "lake"})));
    assert!(!sink.is_valid(&json!({"name": "lake", "kind": "parquet"})));
    let clock = json!({"name": "clock", "kind": "timestamp", "url": "https://tsa.example/tsa", "every": "24 h", "authority": "tsa-ca.pem", "ca_file": "ca.pem"});
    assert_valid(&sink, &clock);
    for (key, to) in [
        ("url", None),
        ("url", Some(json!("tsa.example/tsa"))),
        ("topic", Some(json!("shop"))),
    ] {
        assert!(!sink.is_valid(&changed(&clock, key, to)), "{key}");
    }
    assert!(!part(&whole, "plan").is_valid(&json!({"id": "a b"})));
    assert!(
        !part(&whole, "instrument")
            .is_valid(&json!({"name": "c", "station": "b", "kind": "ruler", "port": "/dev/x"}))
    );
}

/// Keys and names in a part of the configuration's schema.
fn of_schema(whole: &Value, pointers: &[&str]) -> BTreeMap<String, BTreeSet<String>> {
    let mut keys = BTreeMap::new();
    for pointer in pointers {
        let properties = whole.pointer(pointer).unwrap().as_object().unwrap();
        for (key, property) in properties {
            let name = property["$ref"]
                .as_str()
                .and_then(|path| path.strip_prefix("#/$defs/"));
            let property = name.map_or(property, |name| &whole["$defs"][name]);
            let names = property["enum"].as_array().into_iter().flatten();
            let names = names.map(|name| name.as_str().unwrap().to_owned());
            keys.insert(key.clone(), names.collect());
        }
    }
    keys
}

/// The configuration's schema is written by hand; here it is compared with the keys that the readers know.
#[test]
fn the_schema_of_the_configuration_has_the_keys_and_names_that_its_readers_know_and_no_other() {
    const TABLES: [(&str, &[&str]); 21] = [
        (
            "this file",
            &[
                "/properties",
                "/$defs/sheet/properties",
                "/$defs/plans/properties",
                "/$defs/tools/properties",
            ],
        ),
        ("[daemon]", &["/$defs/daemon/properties"]),
        ("[page]", &["/$defs/page/properties"]),
        ("[shop]", &["/$defs/shop/properties"]),
        ("[qualification]", &["/$defs/qualification/properties"]),
        ("[[study]]", &["/$defs/study/properties"]),
        ("[[station]]", &["/$defs/station/properties"]),
        ("[[operator]]", &["/$defs/operator/properties"]),
        ("[[instrument]]", &["/$defs/instrument/properties"]),
        (
            "port",
            &[
                "/$defs/instrument/properties/port/anyOf/1/properties",
                "/$defs/instrument/properties/port/anyOf/2/properties",
            ],
        ),
        ("[[axis]]", &["/$defs/axis/properties"]),
        ("[[sink]]", &["/$defs/sink/properties"]),
        ("[opcua]", &["/$defs/opcua/properties"]),
        ("[[terminal]]", &["/$defs/terminal/properties"]),
        ("[[terminal.row]]", &["/$defs/row/properties"]),
        ("[[plan]]", &["/$defs/plan/properties"]),
        ("zero", &["/$defs/plan/properties/zero/properties"]),
        ("[[tool]]", &["/$defs/tool/properties"]),
        ("[[tool.nest]]", &["/$defs/nest/properties"]),
        ("[[uncertainty]]", &["/$defs/uncertainty/properties"]),
        (
            "[[uncertainty.contribution]]",
            &["/$defs/contribution/properties"],
        ),
    ];
    let example = root().join("config/tallyjaw.toml");
    let sink = "\n[[sink]]\nname = \"plant\"\nkind = \"mqtt\"\nbroker = \"mqtts://b.example\"\n\
        [[sink]]\nname = \"clock\"\nkind = \"timestamp\"\nurl = \"https://tsa.example/\"\n\
        [[sink]]\nname = \"erp\"\nkind = \"webhook\"\nurl = \"https://erp.example/\"\n\
        [[sink]]\nname = \"db\"\nkind = \"postgres\"\ndatabase = \"postgres://db.example/shop\"\n";
    let configs = [
        with_ports(&root().join("config/demo/tallyjaw.toml")),
        with_more(&example, sink),
    ];
    let mut readers: BTreeMap<&str, BTreeMap<String, BTreeSet<String>>> = BTreeMap::new();
    for config in &configs {
        for ((table, key), names) in &config.vocabulary {
            let known = readers
                .entry(table)
                .or_default()
                .entry((*key).to_owned())
                .or_default();
            known.extend(names.iter().cloned());
        }
    }
    let whole = schema("config");
    let tables = TABLES.iter();
    let schemas: BTreeMap<&str, _> = tables
        .map(|(table, pointers)| (*table, of_schema(&whole, pointers)))
        .collect();
    assert_eq!(schemas, readers);
    let rules: Vec<&str> = ALERTS.iter().map(|rule| rule.name).collect();
    assert_eq!(whole["$defs"]["rule"]["enum"], json!(rules));
}

/// Every property without a description.
fn wordless(schema: &Value, whole: &Value, path: &str, found: &mut Vec<String>) {
    match schema {
        Value::Object(object) => {
            for (key, value) in object {
                if key == "properties" {
                    for (name, property) in value.as_object().unwrap() {
                        let refers = property["$ref"]
                            .as_str()
                            .and_then(|to| to.strip_prefix('#'));
                        let to = refers.and_then(|to| whole.pointer(to));
                        let is_said = property.get("description").is_some()
                            || property.get("const").is_some()
                            || property.is_boolean()
                            || to.is_some_and(|to| to.get("description").is_some());
                        if !is_said {
                            found.push(format!("{path}.{name}"));
                        }
                    }
                }
                wordless(value, whole, &format!("{path}/{key}"), found);
            }
        }
        Value::Array(items) => items
            .iter()
            .enumerate()
            .for_each(|(nth, item)| wordless(item, whole, &format!("{path}/{nth}"), found)),
        _ => {}
    }
}

#[test]
fn every_field_says_what_it_means_and_each_schema_is_printed_by_its_name() {
    let all: Value = serde_json::from_str(&printed(&["--json"])).unwrap();
    let names: Vec<&str> = all
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    assert_eq!(
        names,
        [
            "config",
            "control",
            "entry",
            "events",
            "feed",
            "label",
            "metrics",
            "nests",
            "page",
            "qualified",
            "retained",
            "series"
        ]
    );
    let list = printed(&[]);
    for name in names {
        let one = schema(name);
        assert_eq!(one, all[name]);
        assert_eq!(one["$id"], format!("urn:tallyjaw:schema:1:{name}"));
        validator(&one);
        assert!(list.contains(&format!("{name:8} ")), "{list}");
        let mut found = Vec::new();
        wordless(&one, &one, "", &mut found);
        if name != "config" {
            assert_eq!(found, [""; 0], "fields of {name} without words");
        }
    }
    let entry = &all["entry"]["$defs"];
    let reading = entry.as_object().unwrap().values();
    let mut readings = reading.filter(|one| one["properties"].get("deviation_nm").is_some());
    let words = &readings.next().unwrap()["properties"]["deviation_nm"]["description"];
    assert_eq!(words, "value minus nominal, in whole nanometres");
}
