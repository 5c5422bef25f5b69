//! What the page serves, against `tallyjaw schema`.

use super::connected;
use super::http::{Event, Events, command, get, shop};
use crate::schema::{assert_told, valid};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use tallyjaw::message::metrics::{FAMILIES, Family};

/// Every event up to the entry with this text.
fn until(events: &mut Events, text: &str) -> Vec<Event> {
    let mut all = Vec::new();
    loop {
        let event = events.next().expect("the stream has ended");
        let is_last = event.name == "message" && event.data.contains(text);
        all.push(event);
        if is_last {
            return all;
        }
    }
}

#[test]
fn state_events_and_series_are_as_their_schemas_say() {
    let mut shop = shop();
    let (daemon, address, token) = connected(&shop);
    let mut feed = daemon.feed_from_the_beginning();
    let mut events = Events::open_with(&address, "/events?state=each&after=0", "");
    let armed = command(&address, &token, "arm", &json!({"plan": "pump-own"}));
    for hundredths in [0, 163, 150, 700, 5] {
        shop.press(hundredths);
        feed.wait_for(if hundredths < 100 {
            "zeroed"
        } else {
            "reading"
        });
    }
    command(&address, &token, "disarm", &json!({}));
    command(&address, &token, "note", &json!({"text": "all of it"}));
    let mut all = until(&mut events, "all of it");
    let mut beyond = Events::open(&address, Some(1_000_000));
    all.push(beyond.next().unwrap());
    let names: BTreeSet<&str> = all.iter().map(|event| event.name.as_str()).collect();
    assert_eq!(names, BTreeSet::from(["message", "notice", "state"]));
    let said: Vec<(&str, Value)> = all
        .iter()
        .map(|event| {
            (
                event.name.as_str(),
                serde_json::from_str(&event.data).unwrap(),
            )
        })
        .collect();
    for (event, (name, data)) in all.iter().zip(&said) {
        if *name == "message" {
            assert_eq!(
                event.id,
                data["seq"].as_u64(),
                "the id of an entry is its number"
            );
        }
    }
    let of = |wanted: &str| {
        let those = said.iter().filter(|(name, _)| *name == wanted);
        those.map(|(_, data)| data.clone()).collect::<Vec<_>>()
    };
    let mut every: Vec<Value> = said.iter().map(|(_, data)| data.clone()).collect();
    every.push(json!([{"station": "bench-1", "instrument": "caliper-1", "value": "1.63 mm"}]));
    assert_told("events", &every);
    let mut states = of("state");
    states.push(get(&address, "/state").json());
    assert_told("page", &states);
    let state = states.last().unwrap();
    let mut retained = vec![json!({"online": true})];
    for list in ["stations", "instruments"] {
        retained.extend(state["state"][list].as_array().unwrap().iter().cloned());
    }
    assert_told("retained", &retained);
    let number = &armed["result"]["seq"];
    let listed = shop.run(&["series", "--json"]);
    let listed: Value = serde_json::from_slice(&listed.stdout).unwrap();
    assert_told(
        "series",
        &[get(&address, &format!("/series/{number}")).json(), listed],
    );
}

#[test]
fn a_scrape_has_the_names_of_the_schema_and_their_labels() {
    let shop = shop();
    let (_daemon, address, _) = connected(&shop);
    let body = get(&address, "/metrics").body;
    let types = body.lines().filter_map(|line| line.strip_prefix("# TYPE "));
    let types: BTreeSet<String> = types.map(str::to_owned).collect();
    let want = FAMILIES.map(|family| format!("{} {}", family.name, family.kind));
    assert_eq!(types, BTreeSet::from(want));
    let family_of = |name: &str| -> &Family {
        let mut families = FAMILIES.iter();
        let of_it = |family: &&Family| family.samples().iter().any(|sample| sample == name);
        families
            .find(of_it)
            .unwrap_or_else(|| panic!("{name} is in no family"))
    };
    let mut samples = 0;
    for line in body.lines().filter(|line| !line.starts_with('#')) {
        let (name, rest) = line.split_once(['{', ' ']).unwrap();
        assert!(valid("metrics", &json!(name)), "{name}");
        let family = family_of(name);
        for label in family.labels.iter().filter(|_| line.contains('{')) {
            assert!(rest.contains(&format!("{label}=\"")), "{label} in {line}");
        }
        assert_eq!(rest.matches("=\"").count() > 0, line.contains('{'));
        samples += 1;
    }
    assert!(samples > 20);
    assert!(!valid("metrics", &json!("tallyjaw_readings")));
}
