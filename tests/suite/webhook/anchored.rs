//! The anchor in each event: what a receiver has stored, as it came, against a journal that was cut or written again.

use super::receiver::{Does, Receiver};
use super::{sink, until};
use crate::anchors::{measure, said, segment, written_again};
use crate::harness::Shop;
use std::collections::BTreeMap;
use std::fs;

/// A stopped shop, and what the receiver of each mode has stored: bodies as they came, one on each line; in binary mode,
/// where the anchor is in the headers, these.
fn stored() -> (Shop, Vec<(&'static str, String)>) {
    let mut shop = Shop::new();
    let modes = ["structured", "binary", "batch"];
    let receivers = modes.map(|mode| {
        let receiver = Receiver::start(Vec::new(), Box::new(|_, _| Does::Takes));
        let address = format!("http://127.0.0.1:{}", receiver.port);
        sink(&shop, mode, &address, &format!("mode = \"{mode}\""));
        receiver
    });
    let daemon = shop.start();
    let last = measure(&mut shop, &daemon);
    for mode in modes {
        until(&daemon, mode, |sink| sink["after"].as_u64() >= Some(last));
    }
    assert!(daemon.stop().0.success());
    let stored = modes.into_iter().zip(&receivers).map(|(mode, receiver)| {
        let requests = receiver.requests();
        let bodies = requests.iter().map(|(request, _)| {
            let body = std::str::from_utf8(&request.body).unwrap().to_owned();
            if mode == "binary" {
                of_headers(&request.headers)
            } else {
                body
            }
        });
        (mode, bodies.collect::<Vec<_>>().join("\n"))
    });
    let stored = stored.collect();
    (shop, stored)
}

fn of_headers(headers: &BTreeMap<String, String>) -> String {
    let [journal, seq, digest] = ["ce-journal", "ce-seq", "ce-digest"].map(|name| &headers[name]);
    format!(r#"{{"journal":"{journal}","seq":{seq},"digest":"{digest}"}}"#)
}

#[test]
fn the_events_that_a_receiver_has_stored_are_anchors_in_each_mode_and_find_a_journal_that_was_cut_or_written_again()
 {
    let (shop, stored) = stored();
    let whole = fs::read(segment(&shop)).unwrap();
    let lines = shop.journal_lines();
    for (mode, events) in &stored {
        let (code, text) = said(&shop, events);
        assert_eq!(code, Some(0), "{mode}: {text}");
        assert!(text.contains(" met, the last of entry "), "{mode}: {text}");
    }

    fs::write(segment(&shop), lines[..lines.len() - 4].concat()).unwrap();
    assert!(shop.run(&["verify"]).status.success(), "intact in itself");
    for (mode, events) in &stored {
        let (code, text) = said(&shop, events);
        assert_eq!(code, Some(1), "{mode}: {text}");
        assert!(
            text.contains("the journal ends before an anchor: it was cut"),
            "{mode}: {text}"
        );
    }

    fs::write(segment(&shop), whole).unwrap();
    written_again(&shop);
    assert!(shop.run(&["verify"]).status.success(), "intact in itself");
    for (mode, events) in &stored {
        let (code, text) = said(&shop, events);
        assert_eq!(code, Some(1), "{mode}: {text}");
        assert!(
            text.contains("an entry is not the one of its anchor"),
            "{mode}: {text}"
        );
    }
}
