//! A daemon whose instrument is configured wrongly: the entries say which settings would be right.
//!
//! A pseudo-terminal has no bits: the caliper sends what a port at the configured setting would make
//! of its bits (see `virtual_caliper::line`).

use super::guess::frame;
use super::harness::Shop;
use tallyjaw::decode::LineSettings;
use tallyjaw::virtual_caliper::line::{heard, on_terminal};
use tallyjaw::virtual_caliper::{Form, Sends};

/// The remedy of the last of the entries for three presses.
fn remedy(sends: Sends, sent: &str, line: &str, format: &str) -> String {
    let shop = Shop::new();
    let text = shop
        .configuration()
        .replace("line = \"9600 8N1\"", &format!("line = \"{line}\""))
        .replace(
            "format = \"decimal-line\"",
            &format!("format = \"{format}\""),
        );
    shop.write("tallyjaw.toml", &text);
    let mut serve = shop.tallyjaw(&["--json", "serve"]);
    serve.env("TALLYJAW_PTY_MARKS", "1");
    let daemon = shop.start_by(serve);
    let mut feed = daemon.connected_feed();
    let (sent, port): (LineSettings, LineSettings) = (sent.parse().unwrap(), line.parse().unwrap());
    let mut remedy = String::new();
    for press in 0..3 {
        let bytes = on_terminal(&heard(&frame(sends, press), sent, port));
        shop.calipers[0].send(&bytes).unwrap();
        let entry = feed.wait_for("unread");
        remedy = entry["remedy"].as_str().unwrap().to_owned();
    }
    remedy
}

const PLAIN: Sends = Sends::DecimalLine { with_unit: false };

#[test]
fn a_wrong_parity_is_named() {
    assert_eq!(
        remedy(PLAIN, "4800 7E2", "4800 8N1", "decimal-line"),
        "these bytes are decimal-line at 4800 7E2: set line = \"4800 7E2\""
    );
    assert_eq!(
        remedy(PLAIN, "9600 8N1", "9600 7E2", "decimal-line"),
        "these bytes are decimal-line at 9600 8N1: set line = \"9600 8N1\""
    );
}

#[test]
fn a_speed_that_is_too_high_is_named() {
    assert_eq!(
        remedy(PLAIN, "4800 7E2", "9600 8N1", "decimal-line"),
        "these bytes are decimal-line at 4800 7E2: set line = \"4800 7E2\""
    );
}

#[test]
fn a_wrong_format_is_named() {
    assert_eq!(
        remedy(
            Sends::Bcd13(Form::Packed),
            "9600 8N1",
            "9600 8N1",
            "decimal-line"
        ),
        "these bytes are bcd13-packed at 9600 8N1: set format = \"bcd13-packed\""
    );
    assert_eq!(
        remedy(PLAIN, "2400 8N1", "9600 8N1", "channel-line"),
        "these bytes are decimal-line at 2400 8N1: set line = \"2400 8N1\" and format = \"decimal-line\""
    );
}

#[test]
fn a_speed_that_is_too_low_gets_no_wrong_advice() {
    assert_eq!(
        remedy(PLAIN, "9600 8N1", "4800 8N1", "decimal-line"),
        "press again; if it happens again, check the cable, and `line` against the manual"
    );
}
