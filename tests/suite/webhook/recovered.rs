//! A failure that is over, in `status`, on the page and in `/metrics`.

use super::receiver::{Does, Receiver, status};
use super::{note, sink, until};
use crate::harness::Shop;
use crate::page::http::{Events, address, get};
use serde_json::Value;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tallyjaw::quantity::WallMicros;

/// The samples of the sink's families, by their names.
fn samples(text: &str, sink: &str) -> Vec<(String, String)> {
    let of_it = format!("{{sink=\"{sink}\",kind=\"webhook\"}} ");
    let samples = text.lines().filter_map(|line| line.split_once(&of_it));
    let named = samples.map(|(name, value)| (name.to_owned(), value.to_owned()));
    named.collect()
}

#[test]
fn a_failure_that_is_over_leaves_its_number_and_its_end_in_the_metrics_and_its_words_on_the_page() {
    let shop = Shop::new();
    let page = "\n[page]\nlisten = \"127.0.0.1:0\"\n";
    shop.write("tallyjaw.toml", &(shop.configuration() + page));
    let has_room = Arc::new(AtomicBool::new(false));
    let room = Arc::clone(&has_room);
    let refuses = Receiver::start(
        Vec::new(),
        Box::new(move |_, _| {
            if room.load(Ordering::SeqCst) {
                Does::Takes
            } else {
                status("507 Full", "")
            }
        }),
    );
    let takes = Receiver::start(Vec::new(), Box::new(|_, _| Does::Takes));
    for (name, receiver) in [("erp", &refuses), ("crm", &takes)] {
        sink(
            &shop,
            name,
            &format!("http://127.0.0.1:{}", receiver.port),
            "",
        );
    }
    let daemon = shop.start();
    drop(daemon.connected_feed());
    let last = note(&daemon, "one more");
    let address = address(&daemon);
    let erp = |state: &Value| {
        let sinks = state["sinks"].as_array().unwrap();
        sinks
            .iter()
            .find(|sink| sink["sink"] == "erp")
            .cloned()
            .unwrap()
    };
    let mut events = Events::open(&address, None);
    events.wait_for("state", |state| erp(state)["failing"].is_object());
    has_room.store(true, Ordering::SeqCst);
    // The last state is one of after what waited has arrived, though no entry came since.
    let state = events.wait_for("state", |state| {
        erp(state)["recovered"].is_object() && erp(state)["behind"] == 0
    });
    for name in ["erp", "crm"] {
        until(&daemon, name, |sink| sink["after"].as_u64() >= Some(last));
    }
    let well = until(&daemon, "erp", |sink| sink["failing"].is_null());
    assert_eq!(well["recoveries"], 1, "{well}");
    assert_eq!(erp(&state)["recovered"], well["recovered"]);

    let text = get(&address, "/metrics").body;
    let value = |sink: &str, name: &str| {
        let found = samples(&text, sink)
            .into_iter()
            .find(|(known, _)| known == name);
        found.map(|(_, value)| value)
    };
    let until_at: WallMicros = well["recovered"]["until"]
        .as_str()
        .unwrap()
        .parse()
        .unwrap();
    // A time with six decimals; seconds of a float would not be exact.
    let shown = value("erp", "tallyjaw_sink_recovered_timestamp_seconds").unwrap();
    let (whole, part) = shown.split_once('.').unwrap();
    assert_eq!(format!("{whole}{part:0<6}"), until_at.0.to_string());
    let one = Some("1".to_owned());
    assert_eq!(value("erp", "tallyjaw_sink_recoveries_total"), one);
    assert_eq!(value("erp", "tallyjaw_sink_failing"), Some("0".to_owned()));
    assert_eq!(
        value("crm", "tallyjaw_sink_recoveries_total"),
        Some("0".to_owned())
    );
    assert_eq!(
        value("crm", "tallyjaw_sink_recovered_timestamp_seconds"),
        None,
        "unknown is no 0"
    );
    assert!(daemon.stop().0.success());
}
