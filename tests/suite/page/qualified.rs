//! What is shown, as the page reads it.

use super::http::{address, get, shop};
use serde_json::Value;

#[test]
fn the_page_reads_the_same_combinations_as_the_command_lists() {
    let shop = shop();
    shop.write(
        "tools.toml",
        "[[tool]]\nid = \"T-07\"\nclass = \"production\"\n",
    );
    let text = shop.configuration();
    let text = text.replacen("plans =", "tools = \"tools.toml\"\nplans =", 1);
    shop.write(
        "tallyjaw.toml",
        &format!("[page]\nlisten = \"127.0.0.1:0\"\n{text}"),
    );
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let page = get(&address(&daemon), "/qualified").json();
    let listed = shop.run(&["--json", "qualified"]);
    let listed = String::from_utf8(listed.stdout).unwrap();
    let mut lines = listed
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).unwrap());
    assert_eq!(page["rule"], lines.next().unwrap());
    let combinations: Vec<Value> = lines.collect();
    assert_eq!(page["combinations"], Value::Array(combinations));
    assert_eq!(page["combinations"][0]["standing"], "never_tried");
}
