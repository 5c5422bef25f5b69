//! The other side of the bridge: a computer that reads, reads slowly or not at all, and requests values.

use super::*;
use gauge_port::{BOUNCE, Bridge, LOST, PATIENCE};
use proptest::prelude::*;

/// A bridge with the time that it is given.
struct Bench {
    bridge: Bridge,
    now: u32,
    /// What the computer has read.
    got: Vec<u8>,
    pulled: bool,
}

impl Bench {
    fn new() -> Self {
        let mut bridge = Bridge::new(Kind::Word24);
        bridge.port(true);
        // Times wrap around in the midst.
        Self {
            bridge,
            now: u32::MAX - 300_000,
            got: Vec::new(),
            pulled: false,
        }
    }

    fn tick(&mut self, button: bool) {
        self.now = self.now.wrapping_add(1_000);
        self.pulled = self.bridge.tick(self.now, button);
    }

    fn ticks(&mut self, count: u32, button: bool) {
        for _ in 0..count {
            self.tick(button);
        }
    }

    /// The gauge sends a word; the computer does not read meanwhile.
    fn word(&mut self, word: u32) {
        let mut signal = Signal::new();
        signal.frame(low_first(word, 24));
        for (at, levels) in signal.changes {
            let now = self.now.wrapping_add(u32::try_from(at).unwrap());
            self.bridge.levels(now, levels);
        }
        self.now = self.now.wrapping_add(70_000);
        self.tick(false);
    }

    /// The computer takes up to `most` bytes.
    fn read(&mut self, most: usize) {
        let bytes = self.bridge.outgoing();
        let count = bytes.len().min(most);
        self.got.extend_from_slice(&bytes[..count]);
        self.bridge.sent(count);
    }

    fn text(&self) -> String {
        String::from_utf8(self.got.clone()).unwrap()
    }
}

#[test]
fn what_was_sent_while_nobody_had_the_port_open_is_not_read_later() {
    let mut bench = Bench::new();
    bench.bridge.port(false);
    bench.word(1);
    bench.bridge.port(true);
    bench.read(100);
    assert_eq!(bench.text(), "");
    bench.word(2);
    bench.read(3);
    bench.bridge.port(false);
    bench.bridge.port(true);
    bench.word(3);
    bench.read(100);
    // Half of the second line was under way.
    assert_eq!(bench.text(), "000000003\r");
}

#[test]
fn a_button_that_bounces_requests_one_value_until_it_has_come() {
    let mut bench = Bench::new();
    for down in [true, false, true, true, false, true] {
        bench.tick(down);
        assert!(!bench.pulled, "it bounces");
    }
    bench.tick(true);
    bench.ticks(BOUNCE / 1_000, true);
    assert!(bench.pulled, "it is down");
    bench.word(0xA3);
    assert!(!bench.pulled, "the value has come");
    for _ in 0..1_000 {
        bench.tick(true);
        assert!(!bench.pulled, "it is held down: one press");
    }
    bench.ticks(BOUNCE / 1_000 + 1, false);
    bench.ticks(BOUNCE / 1_000 + 1, true);
    assert!(bench.pulled, "it was let go and pressed again");
}

#[test]
fn a_gauge_that_does_not_answer_is_let_go() {
    let mut bench = Bench::new();
    bench.bridge.asked(bench.now);
    let until = PATIENCE / 1_000;
    bench.ticks(until - 1, false);
    assert!(bench.pulled);
    bench.bridge.asked(bench.now);
    bench.tick(false);
    assert!(
        !bench.pulled,
        "a second request does not lengthen the first"
    );
    bench.bridge.asked(bench.now);
    bench.tick(false);
    assert!(bench.pulled, "and it may be requested again");
}

proptest! {
    /// A computer that reads whatever it likes whenever it likes: the lines in order, and a mark where some are missing.
    #[test]
    fn lines_that_find_no_room_are_reported_where_they_are_missing(reads in prop::collection::vec(0_usize..10, 1..120)) {
        let mut bench = Bench::new();
        for (word, most) in (1..).zip(&reads) {
            bench.word(word);
            bench.read(*most);
        }
        let words = u32::try_from(reads.len()).unwrap();
        // The computer catches up, and one more word comes.
        bench.read(1_000);
        bench.read(1_000);
        bench.word(words + 1);
        bench.read(1_000);
        let text = bench.text();
        let lost = std::str::from_utf8(LOST).unwrap().trim_end();
        let mut next = 1;
        let mut missing = false;
        for line in text.split_terminator('\r') {
            if line == lost {
                missing = true;
                continue;
            }
            let word = u32::from_str_radix(line, 16).unwrap();
            prop_assert!(if missing { word > next } else { word == next }, "{} after {}, missing: {}", word, next - 1, missing);
            missing = false;
            next = word + 1;
        }
        prop_assert!(!missing && next == words + 2);
    }
}
