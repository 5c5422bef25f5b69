//! No judged frame began before it was listened to. Tested are streams cut at their beginning, a reader that pauses
//! between any two bytes, a computer that stops, and a scanner that is unplugged in the middle of a card.

use crate::harness::{PATIENCE, Shop};
use proptest::prelude::*;
use rustix::process::Signal;
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::time::{Duration, Instant};
use tallyjaw::decode::framing::{FRAME_GAP, Frame, Framing, SILENCES, Splitter};
use tallyjaw::quantity::MonoMicros;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// A frame as sent, with the time of each byte in microseconds.
#[derive(Debug, Clone)]
struct Sent {
    body: Vec<u8>,
    bytes: Vec<(u64, u8)>,
}

/// The output of an instrument that sends without pause: bytes at the speed of its line, pauses between frames.
fn stream(framing: Framing) -> impl Strategy<Value = Vec<Sent>> {
    let body = match framing {
        Framing::Delimited { .. } => "[+-][0-9]{1,2}\\.[0-9]{2}"
            .prop_map(String::into_bytes)
            .boxed(),
        Framing::IdleGap { length } => prop::collection::vec(any::<u8>(), length).boxed(),
    };
    // 300 to 38,400 baud; packed frames are sent faster than their gap, else they would have none.
    let byte_micros = match framing {
        Framing::Delimited { .. } => 286u64..37_000,
        Framing::IdleGap { .. } => 286..5_000,
    };
    let pause = prop_oneof![Just(0u64), 0..60_000u64, 100_000..3_000_000u64];
    let frames = prop::collection::vec((body, pause), 1..12);
    (frames, byte_micros).prop_map(move |(frames, byte_micros)| {
        let mut at = 0;
        let one = |(body, pause): (Vec<u8>, u64)| {
            // Packed frames have a silence between them, or they would not be frames.
            at += match framing {
                Framing::Delimited { .. } => pause,
                Framing::IdleGap { .. } => pause + 25_000,
            };
            let end: &[u8] = match framing {
                Framing::Delimited { .. } => b"\r\n",
                Framing::IdleGap { .. } => b"",
            };
            let bytes = body.iter().chain(end).map(|byte| {
                at += byte_micros;
                (at, *byte)
            });
            Sent {
                bytes: bytes.collect(),
                body: body.clone(),
            }
        };
        frames.into_iter().map(one).collect()
    })
}

/// Reads from `cut` on, at moments that are `naps` apart, and returns the frames found. A reader knows only when it
/// read, and whether bytes waited then.
fn read(framing: Framing, stream: &[Sent], cut: usize, naps: &[u64]) -> Vec<Vec<u8>> {
    let all: Vec<(u64, u8)> = stream.iter().flat_map(|sent| sent.bytes.clone()).collect();
    let (before, mut left) = all.split_at(cut.min(all.len()));
    let mut now = before.last().map_or(0, |(at, _)| *at);
    let mut splitter = Splitter::new(framing);
    splitter.lose(MonoMicros(now), "in a test");
    let mut naps = naps.iter().cycle();
    while !left.is_empty() {
        now += naps.next().unwrap();
        let count = left.iter().take_while(|(at, _)| *at <= now).count();
        if count == 0 {
            splitter.give_up_on_old_bytes(MonoMicros(now));
            continue;
        }
        let (came, rest) = left.split_at(count);
        let bytes: Vec<u8> = came.iter().map(|(_, byte)| *byte).collect();
        splitter.push_read(MonoMicros(now), &bytes);
        left = rest;
    }
    splitter.give_up_on_old_bytes(MonoMicros(now + 5_000_000));
    let whole = |frame: Frame| match &frame {
        Frame::Whole { .. } => Some(frame.body().to_vec()),
        Frame::Blank { .. } | Frame::Broken { .. } => None,
    };
    std::iter::from_fn(|| splitter.poll())
        .filter_map(whole)
        .collect()
}

fn naps() -> impl Strategy<Value = Vec<u64>> {
    let nap = prop_oneof![4 => 100..5_000u64, 2 => 5_000..50_000u64, 1 => 50_000..3_000_000u64];
    prop::collection::vec(nap, 1..40)
}

/// The frames that were sent completely after the cut.
fn behind(stream: &[Sent], cut: usize) -> Vec<Vec<u8>> {
    let mut sent = 0;
    let mut whole = Vec::new();
    for frame in stream {
        if sent >= cut {
            whole.push(frame.body.clone());
        }
        sent += frame.bytes.len();
    }
    whole
}

/// Whether `found` is `sent` with some frames left out.
fn in_order(found: &[Vec<u8>], sent: &[Vec<u8>]) -> bool {
    let mut left = sent.iter();
    found.iter().all(|frame| left.any(|other| other == frame))
}

const LINE: Framing = Framing::Delimited { longest: 16 };
const PACKED: Framing = Framing::IdleGap { length: 6 };

proptest! {
    #[test]
    fn no_cut_of_a_stream_of_lines_and_no_stall_of_its_reader_gives_a_value_that_was_not_sent(
        stream in stream(LINE), cut in 0usize..40, naps in naps(),
    ) {
        let found = read(LINE, &stream, cut, &naps);
        let sent = behind(&stream, cut);
        prop_assert!(in_order(&found, &sent), "{found:?} of {sent:?}");
        // Only the current frame may be lost, because its end is seen.
        prop_assert!(found.len() + 1 >= sent.len(), "{found:?} of {sent:?}");
    }

    #[test]
    fn no_cut_of_a_packed_stream_and_no_stall_of_its_reader_gives_a_value_that_was_not_sent(
        stream in stream(PACKED), cut in 0usize..40, naps in naps(),
    ) {
        let found = read(PACKED, &stream, cut, &naps);
        let sent = behind(&stream, cut);
        prop_assert!(in_order(&found, &sent), "{found:?} of {sent:?}");
    }
}

#[test]
fn the_silences_that_are_told_are_all_that_end_something() {
    for framing in [LINE, PACKED] {
        let mut splitter = Splitter::new(framing);
        let mut waits = Vec::new();
        splitter.push_read(MonoMicros(0), b"+1");
        waits.extend(splitter.gives_up_at());
        splitter.lose(MonoMicros(0), "in a test");
        splitter.push_read(MonoMicros(0), b"+1");
        waits.extend(splitter.gives_up_at());
        assert_eq!(waits.len(), 2);
        for wait in waits {
            let told = SILENCES.map(|silence| MonoMicros(0).plus(silence));
            assert!(told.contains(&wait), "{wait:?}");
        }
    }
    assert!(SILENCES.contains(&FRAME_GAP) && SILENCES.is_sorted());
}

/// The values of the readings in the journal.
fn readings(shop: &Shop) -> Vec<i64> {
    let entries = shop.journal_lines();
    let entries = entries
        .iter()
        .map(|line| serde_json::from_str::<Value>(line).unwrap());
    entries
        .filter(|entry| entry["kind"] == "reading")
        .map(|entry| entry["value_nm"].as_i64().unwrap())
        .collect()
}

/// The values that five starts of a daemon read, each in the midst of a stream without pause. `None` if this process was
/// itself held up for as long as the silence that separates frames: then the stream had a pause.
fn read_in_the_midst() -> Option<Vec<i64>> {
    let shop = Shop::new();
    let caliper = &shop.calipers[0];
    let (end_it, stopped) = std::sync::mpsc::channel::<()>();
    let longest = std::thread::scope(|scope| {
        let sender = scope.spawn(move || {
            // A byte every 2 ms; the opening cannot wait for its end.
            let (mut longest, mut before) = (Duration::ZERO, Instant::now());
            for byte in b"+42.69\r".iter().cycle() {
                let _ = caliper.send(&[*byte]);
                longest = longest.max(before.elapsed());
                before = Instant::now();
                if stopped.recv_timeout(Duration::from_millis(2))
                    != Err(std::sync::mpsc::RecvTimeoutError::Timeout)
                {
                    break;
                }
            }
            longest
        });
        for _ in 0..5 {
            let daemon = shop.start();
            daemon.connected_feed().wait_for("reading");
            daemon.stop();
        }
        drop(end_it);
        sender.join().unwrap()
    });
    (longest < FRAME_GAP * 3 / 4).then(|| readings(&shop))
}

#[test]
fn a_port_opened_in_the_midst_of_a_stream_begins_at_a_frame() {
    let begun = Instant::now();
    let values = loop {
        if let Some(values) = read_in_the_midst() {
            break values;
        }
        assert!(begun.elapsed() < PATIENCE * 4, "always held up");
    };
    assert!(values.len() >= 5);
    assert!(
        values.iter().all(|value| *value == 42_690_000),
        "{values:?}"
    );
}

#[test]
fn a_frame_in_which_the_daemon_stood_still_is_no_other_value() {
    let shop = Shop::new();
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    shop.calipers[0].send(b"+1.62\r+41.0").unwrap();
    feed.wait_for("reading");
    daemon.signal(Signal::STOP);
    shop.calipers[0].send(b"46\r").unwrap();
    // This is what is tested: waiting for longer than half a frame.
    std::thread::sleep(Duration::from_millis(2_100));
    daemon.signal(Signal::CONT);
    let unread = feed.wait_for("unread");
    assert!(
        unread["reason"].as_str().unwrap().contains("stood still"),
        "{unread}"
    );
    shop.calipers[0].send(b"+1.63\r").unwrap();
    feed.wait_for("reading");
    drop(feed);
    daemon.stop();
    assert_eq!(readings(&shop), [1_620_000, 1_630_000]);
}

const PLANS: &str = r#"
[[plan]]
id = "other"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "in_process"
decision = "simple"
zero = { before_first = false, closing = false }

[[plan]]
id = "other-2"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 3
purpose = "in_process"
decision = "simple"
zero = { before_first = false, closing = false }
"#;

/// A shop with a scanner; `more` adds keys to it.
fn with_scanner(more: &str) -> (Shop, VirtualCaliper) {
    let shop = Shop::new();
    let scanner = VirtualCaliper::open_at(shop.path("tty-scanner")).unwrap();
    let port = scanner.path().display();
    let signal = format!(
        "\n[[instrument]]\nname = \"scanner-1\"\nstation = \"bench-1\"\nkind = \"scanner\"\nport = \"{port}\"\n{more}"
    );
    shop.write("tallyjaw.toml", &(shop.configuration() + &signal));
    shop.write("plans.toml", PLANS);
    (shop, scanner)
}

#[test]
fn half_a_card_does_nothing_when_the_scanner_is_unplugged() {
    for more in ["", "line_end = false\n"] {
        let (shop, mut scanner) = with_scanner(more);
        let daemon = shop.start();
        let mut feed = daemon.feed_from_the_beginning();
        feed.wait_for("attached");
        feed.wait_for("attached");
        daemon.call("arm", &json!({"plan": "other-2", "operator": "mara"}));
        feed.wait_for("armed");
        for half in ["tj/arm/other", "tj/operator/A1", "tj/disarm"] {
            // The comment before it has a line end, so the rest was read too.
            scanner
                .send(format!("tj/note/before {half}\r\n{half}").as_bytes())
                .unwrap();
            feed.wait_for("noted");
            scanner.unplug();
            let mut kinds = Vec::new();
            loop {
                let entry = feed.next();
                let kind = entry["kind"].as_str().unwrap().to_owned();
                if kind == "unread" {
                    let mut hex = String::new();
                    for byte in half.bytes() {
                        let _ = write!(hex, "{byte:02x}");
                    }
                    assert_eq!(entry["raw"], hex, "{more}");
                }
                kinds.push(kind);
                if kinds.last().is_some_and(|kind| kind == "detached") {
                    break;
                }
            }
            assert_eq!(kinds, ["unread", "detached"], "{half} {more}");
            scanner.plug().unwrap();
            feed.wait_for("attached");
        }
        daemon.stop();
    }
}

#[test]
fn a_silence_ends_a_card_only_where_the_scanner_sends_no_line_end() {
    for (more, want) in [("", "unread"), ("line_end = false\n", "armed")] {
        let (shop, scanner) = with_scanner(more);
        let daemon = shop.start();
        let mut feed = daemon.feed_from_the_beginning();
        feed.wait_for("attached");
        feed.wait_for("attached");
        scanner.send(b"tj/arm/other").unwrap();
        let begun = Instant::now();
        let kind = loop {
            let entry = feed.next();
            let kind = entry["kind"].as_str().unwrap_or_default().to_owned();
            if ["unread", "armed", "refused"].contains(&kind.as_str()) {
                break kind;
            }
            assert!(begun.elapsed() < PATIENCE);
        };
        assert_eq!(kind, want, "{more}");
        drop(feed);
        daemon.stop();
    }
}
