//! JSON-RPC 2.0 to the letter: the examples of the specification, `tests/reference/json_rpc`, at a running daemon.

use crate::harness::Shop;
use serde_json::{Value, json};
use std::path::Path;

/// What is sent, on one line, and the answer; `None` where nothing is answered.
fn examples() -> Vec<(String, Option<Value>)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/json_rpc/examples.txt");
    let text = std::fs::read_to_string(path).unwrap();
    let sent = text.split("\n\n").filter(|part| part.starts_with("--> "));
    let one = |part: &str| {
        let part = part.strip_prefix("--> ").unwrap();
        let (sent, answer) = part
            .split_once("\n<-- ")
            .map_or((part, None), |(a, b)| (a, Some(b)));
        let answer = answer.map(|answer| serde_json::from_str(answer).unwrap());
        (sent.replace('\n', " "), answer)
    };
    sent.map(one).collect()
}

/// An answer as it must be here: the methods of the examples do not exist, and what an error says is free.
fn here(answer: &Value) -> Value {
    if let Value::Array(answers) = answer {
        return answers.iter().map(here).collect();
    }
    let code = answer.pointer("/error/code").cloned();
    json!({"jsonrpc": answer["jsonrpc"], "id": answer["id"], "code": code.unwrap_or(json!(-32_601))})
}

#[test]
fn each_example_of_the_specification_gets_its_answer_or_none() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut control = daemon.control();
    let examples = examples();
    let unanswered = examples.iter().filter(|(_, answer)| answer.is_none());
    assert_eq!((examples.len(), unanswered.count()), (15, 3));
    for (sent, answer) in examples {
        control.send(&sent);
        if let Some(answer) = answer {
            let got = control.next();
            assert_eq!(here(&got), here(&answer), "{sent}: {got}");
        }
        // The next answer is that of the next request, so nothing else was answered.
        let next = control.call("status", &json!({}));
        assert!(next["result"].is_object(), "{sent}: {next}");
    }
}

#[test]
fn a_batch_is_carried_out_in_order_and_only_its_requests_are_answered() {
    let shop = Shop::new();
    let daemon = shop.start();
    let (mut feed, _, _) = daemon.greeted_feed();
    let mut control = daemon.control();
    control.send(
        r#" [{"jsonrpc":"2.0","id":1.10,"method":"note","params":{"text":"one"}}, {"jsonrpc":"2.0","method":"note","params":{"text":"two"}}, {"jsonrpc":"2.0","id":"\u0041","method":"note","params":{"text":"three"}}, {"jsonrpc":"2.0","id":null,"method":"sing"}]"#,
    );
    let line = control.next_line();
    for id in ["\"id\":1.10,", r#""id":"\u0041","#, "\"id\":null,"] {
        assert!(line.contains(id), "{id} in {line}");
    }
    let answers: Value = serde_json::from_str(&line).unwrap();
    for text in ["one", "two", "three"] {
        assert_eq!(feed.wait_for("noted")["text"], text);
    }
    let entries: Vec<Value> = shop
        .journal_lines()
        .iter()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let seq = |text: &str| entries.iter().find(|one| one["text"] == text).unwrap()["seq"].clone();
    assert_eq!(answers[0]["result"]["seq"], seq("one"));
    assert_eq!(answers[1]["result"]["seq"], seq("three"));
    assert_eq!(answers[2]["error"]["code"], -32_601);
    assert_eq!(answers.as_array().unwrap().len(), 3);
}
