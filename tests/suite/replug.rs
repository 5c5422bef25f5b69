//! A plug that is pulled and put back at random moments, also in the middle of a frame or an opening. Nothing that was
//! read is lost, doubled or out of order, and the daemon uses no more memory and time afterwards.
//!
//! `TALLYJAW_REPLUG=1000 cargo test --test suite replug -- --nocapture` sets the number of rounds,
//! `TALLYJAW_REPLUG_SEED=7` other moments. Normal tests make 50 rounds.

use crate::harness::{Daemon, Lines, Shop};
use serde_json::{Value, json};
use std::fs;
use std::time::{Duration, Instant};

const ROUNDS: u64 = 50;

/// Reproducible random numbers (`SplitMix64`; Steele, Lea, Flood 2014).
pub(crate) struct Random(pub(crate) u64);

impl Random {
    pub(crate) fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) % most
    }

    /// Up to 20 ms, to the microsecond: an opening takes some of them.
    fn moment(&mut self) -> Duration {
        Duration::from_micros(self.below(20_000))
    }
}

pub(crate) fn number_in(variable: &str, otherwise: u64) -> u64 {
    match std::env::var(variable) {
        Ok(text) => text.parse().unwrap_or_else(|_| panic!("{variable}={text}")),
        Err(_) => otherwise,
    }
}

/// Pulls and plugs, and knows what was sent.
struct Bench {
    shop: Shop,
    feed: Lines,
    random: Random,
    frames: u64,
    /// All bytes that were sent while plugged in, by plugging.
    sent: Vec<Vec<u8>>,
    /// Frames that must count: the port was open before they were sent, and they were read.
    sure: Vec<Vec<u8>>,
}

impl Bench {
    /// A frame; all frames differ.
    fn frame(&mut self) -> Vec<u8> {
        self.frames += 1;
        format!("+1.6{:05}\r", self.frames).into_bytes()
    }

    fn plug(&mut self) {
        self.shop.calipers[0].plug().unwrap();
        self.sent.push(Vec::new());
    }

    fn unplug(&mut self) {
        self.shop.calipers[0].unplug();
    }

    fn send(&mut self, bytes: &[u8]) {
        self.sent.last_mut().unwrap().extend_from_slice(bytes);
        self.shop.calipers[0].send(bytes).unwrap();
    }

    /// Skips entries up to the one with this frame.
    fn wait_for_frame(&mut self, frame: &[u8]) -> Value {
        loop {
            let entry = self.feed.next();
            if raw(&entry).windows(frame.len()).any(|part| part == frame) {
                return entry;
            }
        }
    }

    /// Plugs in and waits until the port is certainly open. The first event on the feed may be from the plug before,
    /// and a frame may be sent too early to count.
    fn plug_and_wait(&mut self) {
        self.plug();
        self.feed.wait_for("attached");
        let first = self.frame();
        self.send(&first);
        self.wait_for_frame(&first);
    }

    fn press(&mut self) {
        let frame = self.frame();
        self.send(&frame);
        let entry = self.wait_for_frame(&frame);
        assert_eq!(
            (&entry["kind"], &entry["standing"]),
            (&json!("reading"), &json!("counted")),
            "{entry}"
        );
        self.sure.push(frame);
    }

    fn round(&mut self) {
        match self.random.below(6) {
            0 => {
                self.plug_and_wait();
                self.press();
                self.press();
            }
            1 => {
                self.plug_and_wait();
                self.press();
                let frame = self.frame();
                let most = u64::try_from(frame.len()).unwrap();
                let cut = usize::try_from(self.random.below(most)).unwrap();
                self.send(&frame[..cut]);
            }
            2 => {
                self.plug_and_wait();
                for _ in 0..3 {
                    let frame = self.frame();
                    self.send(&frame);
                }
            }
            3 => {
                self.plug();
                for _ in 0..3 {
                    std::thread::sleep(self.random.moment() / 4);
                    let frame = self.frame();
                    self.send(&frame);
                }
                std::thread::sleep(self.random.moment());
            }
            4 => {
                self.plug();
                let frame = self.frame();
                for byte in &frame {
                    self.send(&[*byte]);
                    std::thread::sleep(self.random.moment() / 8);
                }
            }
            _ => {
                self.plug();
                std::thread::sleep(self.random.moment());
            }
        }
        self.unplug();
        if self.random.below(2) == 0 {
            std::thread::sleep(self.random.moment());
        }
    }
}

fn raw(entry: &Value) -> Vec<u8> {
    let text = entry["raw"].as_str().unwrap_or_default();
    (0..text.len() / 2)
        .map(|at| u8::from_str_radix(&text[2 * at..2 * at + 2], 16).unwrap())
        .collect()
}

/// What one opening of the port gave, in the order of the journal.
fn openings(entries: &[Value]) -> Vec<Vec<u8>> {
    let mut openings = Vec::new();
    for entry in entries {
        match entry["kind"].as_str().unwrap() {
            "attached" => openings.push(Vec::new()),
            "reading" | "unread" => openings.last_mut().unwrap().extend(raw(entry)),
            _ => {}
        }
    }
    openings
}

/// Every opening must give the beginning of what was sent during one plugging, each of a later one.
fn check_order(openings: &[Vec<u8>], sent: &[Vec<u8>]) {
    let mut later = sent.iter();
    for opening in openings.iter().filter(|opening| !opening.is_empty()) {
        assert!(
            later.any(|sent| sent.starts_with(opening)),
            "{:?} is not the beginning of what was sent at any plug after those before it: {:#?}",
            String::from_utf8_lossy(opening),
            sent.iter()
                .map(|sent| String::from_utf8_lossy(sent))
                .collect::<Vec<_>>()
        );
    }
}

/// Resources that a process holds.
#[derive(Debug)]
struct Held {
    descriptors: usize,
    threads: usize,
}

fn held(daemon: &Daemon) -> Held {
    let count = |what| {
        let folder = format!("/proc/{}/{what}", daemon.child.id());
        fs::read_dir(folder).unwrap().count()
    };
    Held {
        descriptors: count("fd"),
        threads: count("task"),
    }
}

/// Resources at rest. Meanwhile the check for other users of the port may have /proc open.
fn held_at_rest(daemon: &Daemon) -> Held {
    let mut least = held(daemon);
    let until = Instant::now() + Duration::from_secs(3); // longer than from one look to the next
    while Instant::now() < until {
        let now = held(daemon);
        least.descriptors = least.descriptors.min(now.descriptors);
        least.threads = least.threads.min(now.threads);
        std::thread::sleep(Duration::from_millis(50));
    }
    least
}

/// Processor time of all its threads, ended ones included; the kernel counts hundredths of a second.
fn processor_time(daemon: &Daemon) -> Duration {
    let stat = fs::read_to_string(format!("/proc/{}/stat", daemon.child.id())).unwrap();
    let (_, fields) = stat.rsplit_once(") ").unwrap();
    let ticks = fields.split(' ').skip(11).take(2);
    Duration::from_millis(ticks.map(|ticks| ticks.parse::<u64>().unwrap() * 10).sum())
}

#[test]
fn a_plug_pulled_at_random_moments_costs_no_frame_no_descriptor_and_no_rest() {
    let rounds = number_in("TALLYJAW_REPLUG", ROUNDS);
    let seed = number_in("TALLYJAW_REPLUG_SEED", 1);
    let shop = Shop::new();
    let daemon = shop.start();
    let feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    let mut bench = Bench {
        shop,
        feed,
        random: Random(seed),
        frames: 0,
        sent: vec![Vec::new()],
        sure: Vec::new(),
    };
    bench.press();
    let before = held_at_rest(&daemon);
    let began = Instant::now();
    bench.unplug();
    let mut used = Vec::new();
    for round in 0..rounds {
        if round == rounds / 2 {
            used.push(processor_time(&daemon));
        }
        bench.round();
    }
    used.push(processor_time(&daemon));
    bench.plug_and_wait();
    bench.press();
    let took = began.elapsed();
    let after = held_at_rest(&daemon);
    let (status, _) = daemon.stop();
    assert!(status.success(), "{status}: {}", bench.shop.messages());

    let entries: Vec<Value> = bench
        .shop
        .journal_lines()
        .iter()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let openings = openings(&entries);
    check_order(&openings, &bench.sent);
    let counted: Vec<Vec<u8>> = entries
        .iter()
        .filter(|entry| entry["kind"] == "reading" && entry["standing"] == "counted")
        .map(raw)
        .collect();
    let lost: Vec<_> = bench
        .sure
        .iter()
        .filter(|frame| !counted.contains(frame))
        .collect();
    assert!(lost.is_empty(), "{} frames are lost", lost.len());
    println!(
        "replug: seed {seed}, {rounds} rounds in {:.1} s, {} openings; {} frames sent, {} counted, of {} sure ones {} lost; {before:?} before, {after:?} after; processor {} ms for the first half, {} ms for the second",
        took.as_secs_f64(),
        openings.len(),
        bench.frames,
        counted.len(),
        bench.sure.len(),
        lost.len(),
        used[0].as_millis(),
        used[1].saturating_sub(used[0]).as_millis()
    );
    assert_eq!(after.descriptors, before.descriptors);
    // A thread that has opened a port remains for some seconds.
    assert!(after.threads <= before.threads + 1, "{after:?}");
}
