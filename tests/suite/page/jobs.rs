//! The jobs and lots that can be chosen on the page.

use super::http::{Events, address, command, get, shop, token};
use serde_json::{Value, json};

#[test]
fn jobs_and_lots_in_use_last_come_first_and_a_job_outside_the_list_is_remembered() {
    let shop = shop();
    shop.write(
        "jobs.csv",
        "job;customer;plans\n4711;Example Pumps Ltd;pump-own\n4712;;\n",
    );
    let text = shop.configuration();
    let text = text.replacen("plans =", "jobs = \"jobs.csv\"\nplans =", 1);
    shop.write(
        "tallyjaw.toml",
        &format!("[page]\nlisten = \"127.0.0.1:0\"\n{text}"),
    );
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(&shop));
    let listed = json!({"id": "4711", "customer": "Example Pumps Ltd", "plans": ["pump-own"]});
    assert_eq!(
        get(&address, "/jobs").json(),
        json!({"jobs": [listed, {"id": "4712"}], "has_list": true, "terminal_lots": [], "wire_lots": []})
    );
    let mut events = Events::open(&address, None);
    let say = |method: &str, params: Value| {
        let answer = command(&address, &token, method, &params);
        answer["result"]["seq"].as_u64().unwrap()
    };
    say(
        "job",
        json!({"job": "K-9", "item": "pump harness B", "serial": "17"}),
    );
    say("job", json!({"job": "4712", "serial": "18"}));
    say("job", json!({}));
    for lot in ["R-1", "R-2", "R-1"] {
        say("lot", json!({"material": "terminal", "lot": lot}));
    }
    say("lot", json!({"material": "wire", "lot": "88-1407"}));
    let last = say("lot", json!({"material": "wire"}));
    events.wait_for("state", |state| {
        state["state"]["seq"].as_u64() >= Some(last)
    });
    assert_eq!(
        get(&address, "/jobs").json(),
        json!({
            "jobs": [{"id": "4712"}, {"id": "K-9", "item": "pump harness B"}, listed],
            "has_list": true, "terminal_lots": ["R-1", "R-2"], "wire_lots": ["88-1407"],
        })
    );
}

#[test]
fn what_a_plan_requires_is_named_by_keys_of_which_a_page_can_make_buttons() {
    let shop = shop();
    let plans = std::fs::read_to_string(shop.path("plans.toml")).unwrap();
    let plans = plans.replacen(
        "id = \"pump-own\"",
        "id = \"pump-own\"\nasks = [\"job\", \"wire_lot\"]",
        1,
    );
    shop.write("plans.toml", &plans);
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let (address, token) = (address(&daemon), token(&shop));
    let answer = command(&address, &token, "arm", &json!({"plan": "pump-own"}));
    let error = &answer["error"];
    let message = error["message"].as_str().unwrap();
    assert_eq!(
        error["data"]["texts"][message],
        json!({"key": "daemon.refusal.not_said", "with": {"missing": {"list": [
            {"key": "list.and", "with": {"one": {"key": "daemon.ask.job"}, "other": {"key": "daemon.ask.wire_lot"}}},
        ]}}})
    );
}
