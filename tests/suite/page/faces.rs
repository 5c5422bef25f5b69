//! The main display of the page after each kind of event, and the plans that can be started.

use super::http::{Events, address, command, get, shop, shop_with, token};
use serde_json::{Value, json};

#[test]
fn each_happening_has_its_face_and_the_old_verdict_never_stays() {
    let mut shop = shop();
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(&shop));
    let mut events = Events::open(&address, None);
    let face = |events: &mut Events, kind: &str| {
        let state = events.wait_for("state", |state| state["benches"][0]["face"]["kind"] == kind);
        state["benches"][0].clone()
    };
    face(&mut events, "idle");
    command(&address, &token, "arm", &json!({"plan": "pump-own"}));
    let zero = face(&mut events, "zero");
    assert_eq!(zero["face"]["why"], "opening");
    assert_eq!(zero["todo"], zero["face"], "it is what to do next");
    shop.press(0);
    let limits = face(&mut events, "limits");
    assert_eq!(
        (&limits["asks"][0]["lower"], &limits["asks"][0]["upper"]),
        (&json!("1.57 mm"), &json!("1.67 mm"))
    );
    shop.press(172);
    let verdict = face(&mut events, "verdict");
    assert_eq!(
        verdict["scale"]["miss"],
        json!({"limit": "upper", "beyond": true, "by": "0.05 mm", "fault": "too_high"})
    );
    shop.press(1600);
    assert_eq!(
        face(&mut events, "not_counted")["face"]["reason"],
        "implausible"
    );
    shop.press(161);
    face(&mut events, "verdict");
    command(&address, &token, "retract", &json!({}));
    let retracted = face(&mut events, "retracted");
    assert_eq!(retracted["restorable"]["value"], "1.61 mm");
    command(&address, &token, "restore", &json!({}));
    face(&mut events, "limits");
    shop.press(5);
    let off = face(&mut events, "zero_off");
    assert_eq!(
        off["face"],
        json!({"kind": "zero_off", "instrument": "caliper-1", "by": "0.05 mm", "doubted": 2, "must_be_said": false, "force": false})
    );
    assert_eq!(off["doubted"].as_array().unwrap().len(), 2);
    shop.press(0);
    assert_eq!(face(&mut events, "doubted")["face"]["again"], 2);
    shop.press(162);
    let again = face(&mut events, "verdict");
    assert_eq!(
        again["doubted"].as_array().unwrap().len(),
        1,
        "one is measured again"
    );
    command(&address, &token, "disarm", &json!({}));
    let over = face(&mut events, "over");
    assert_eq!(over["closed"]["outcome"], "cut_short");
    assert_eq!(
        over["closed"]["readings"].as_array().unwrap().len(),
        1,
        "its pieces stay"
    );
    assert_eq!(over["closed"]["doubted"].as_array().unwrap().len(), 1);
}

#[test]
fn between_samples_the_face_is_what_is_held_what_is_left_or_that_a_sample_is_due() {
    let mut shop = shop_with(
        "[[run]]\nid = \"pump-day\"\nfirst_off = \"day-first\"\nin_process = \"day-sample\"\nlast_off = \"day-last\"\nevery_crimps = 100\n",
    );
    let plan = |id: &str, purpose: &str| {
        format!(
            "[[plan]]\nid = \"{id}\"\nterminal = \"QF-250-F\"\nwire = \"2.0 mm²\"\naxes = [\"core_crimp_height\"]\npieces = 1\npurpose = \"{purpose}\"\nzero = {{ before_first = false, closing = false }}\n"
        )
    };
    let plans = [
        plan("day-first", "first_off"),
        plan("day-sample", "in_process"),
        plan("day-last", "last_off"),
    ];
    shop.write("plans.toml", &plans.concat());
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(&shop));
    let mut events = Events::open(&address, None);
    let mut wait = |kind: &str| {
        let state = events.wait_for("state", |state| state["benches"][0]["face"]["kind"] == kind);
        state["state"]["stations"][0]["production"].clone()
    };
    let say = |method: &str, params: Value| command(&address, &token, method, &params);
    say("arm", json!({"plan": "day-first"}));
    wait("limits");
    shop.press(162);
    wait("over");
    say("crimps", json!({"crimps": 60}));
    let run = wait("crimping");
    assert_eq!(
        (&run["open"]["left"], &run["open"]["due"]),
        (&json!(40), &json!(false))
    );
    say("arm", json!({"plan": "day-sample"}));
    wait("limits");
    shop.press(172);
    let held = wait("held");
    assert_eq!(
        (&held["holds"][0]["first"], &held["holds"][0]["last"]),
        (&json!(1), &json!(60))
    );
    let scraped = |held: u64, crimps: u64| {
        let text = get(&address, "/metrics").body;
        for (name, value) in [
            ("run_open", 1),
            ("held_crimps", held),
            ("crimps_total", crimps),
        ] {
            let sample = format!("tallyjaw_{name}{{station=\"bench-1\"}} {value}\n");
            assert!(text.contains(&sample), "no {sample:?} in {text}");
        }
    };
    scraped(60, 60);
    say("arm", json!({"plan": "day-sample"}));
    wait("limits");
    shop.press(161);
    wait("held");
    say(
        "settle",
        json!({"settlement": "release", "crimps": 20, "reason": "each measured"}),
    );
    say(
        "settle",
        json!({"settlement": "scrap", "reason": "the die was worn"}),
    );
    let settled = wait("crimping");
    assert_eq!(settled.get("holds"), None);
    scraped(0, 60);
    say("crimps", json!({"crimps": 100}));
    let due = wait("sample");
    assert_eq!(
        (&due["open"]["left"], &due["open"]["due"]),
        (&json!(0), &json!(true))
    );
    say("arm", json!({"plan": "day-sample"}));
    wait("limits");
    shop.press(160);
    wait("over"); // what was measured just now is the news
}

#[test]
fn a_series_that_is_over_names_what_to_set_aside_and_its_plan_is_the_first_of_the_tiles() {
    let mut shop = shop();
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(&shop));
    let plans = get(&address, "/plans/bench-1").json();
    let configured = plans["plans"].as_array().unwrap().clone();
    assert!(configured.iter().all(|tile| tile.get("last").is_none()));
    let own = configured
        .iter()
        .find(|tile| tile["plan"] == "pump-own")
        .unwrap();
    assert_eq!(
        own["axes"][0],
        json!({"axis": "core_crimp_height", "limits": "1.62 ±0.05 mm"})
    );

    let mut events = Events::open(&address, None);
    let armed = command(
        &address,
        &token,
        "arm",
        &json!({"plan": "pump-own", "operator": "mara"}),
    );
    let pieces = armed["result"]["armed"]["slots"].as_u64().unwrap();
    shop.press(0);
    events.wait_for("state", |state| {
        state["benches"][0]["face"]["kind"] == "limits"
    });
    for piece in 1..=pieces {
        let good = 161 + i64::try_from(piece % 2).unwrap(); // no value twice, which would count as one press
        shop.press(if piece == 2 { 148 } else { good });
        events.wait_for("state", |state| {
            state["state"]["stations"][0]["armed"]["filled"] == json!(piece)
        });
    }
    shop.press(0);
    let over = events.wait_for("state", |state| {
        state["benches"][0]["face"]["kind"] == "over"
    });
    let closed = &over["benches"][0]["closed"];
    assert_eq!(closed["outcome"], "rejected");
    assert_eq!(
        closed["aside"],
        json!([{
            "piece": 2, "axis": "core_crimp_height", "value": "1.48 mm", "verdict": "fail_low",
            "miss": {"limit": "lower", "beyond": true, "by": "0.09 mm", "fault": "too_low"},
        }])
    );
    let plans = get(&address, "/plans/bench-1").json();
    assert_eq!(
        (
            &plans["plans"][0]["plan"],
            &plans["plans"][0]["last"]["outcome"],
            &plans["operators"]
        ),
        (&json!("pump-own"), &json!("rejected"), &json!(["mara"]))
    );
    let unknown = get(&address, "/plans/bench-9");
    assert_eq!(unknown.status, 404);
    assert_eq!(
        unknown.body,
        "no station \"bench-9\" in the configuration\nhelp: list them: tallyjaw status\n"
    );
}

#[test]
fn pieces_without_limits_are_measured_and_none_of_them_is_to_be_set_aside() {
    let mut shop = shop();
    shop.write(
        "plans.toml",
        "[[plan]]\nid = \"pump-ref\"\nterminal = \"RB-090-M\"\nwire = \"1.0 mm²\"\naxes = [\"core_crimp_height\"]\npieces = 1\npurpose = \"reference\"\nzero = { before_first = false, closing = false }\n",
    );
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(&shop));
    let plans = get(&address, "/plans/bench-1").json();
    assert_eq!(plans["plans"][0]["axes"][0]["limits"], "no limit"); // as limitsWords in texts.js has it
    let mut events = Events::open(&address, None);
    command(&address, &token, "arm", &json!({"plan": "pump-ref"}));
    shop.press(162);
    let over = events.wait_for("state", |state| {
        state["benches"][0]["face"]["kind"] == "over"
    });
    let closed = &over["benches"][0]["closed"];
    assert_eq!(
        (&closed["outcome"], &closed["aside"]),
        (&json!("measured"), &json!([]))
    );
}
