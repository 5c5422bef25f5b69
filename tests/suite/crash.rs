//! The daemon is killed at random moments while eight instruments measure. Every line that a client has seen is in the
//! journal once, in order, byte for byte. The chain is intact, and every series continues where it was.
//!
//! `TALLYJAW_KILLS=1000 cargo test --test suite crash -- --nocapture` sets the number of kills, `TALLYJAW_KILLS_SEED=7`
//! other moments. Normal tests make 50 kills. Every 50 kills a new journal begins, with segments so small that many
//! kills fall on the change to a new one.
//!
//! A kill alone loses no data that only the kernel has; power cuts are tested in `tests/vm`. A kill interrupts the
//! daemon between any two steps, and in the middle of any.

mod clients;
mod ledger;

use crate::harness::{Daemon, PATIENCE, Shop};
use crate::replug::{Random, number_in};
use clients::{Clients, Seen};
use ledger::Ledger;
use rustix::process::{Pid, Signal, kill_process};
use serde_json::{Value, json};
use std::fs;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

const KILLS: u64 = 50;
const KILLS_A_JOURNAL: u64 = 50;
const STATIONS: usize = 8;
const SEGMENT_BYTES: u64 = 128 * 1024;
/// Number of kills after which the whole journal is verified, with verdicts.
const KILLS_A_VERIFY: u64 = 10;

/// The moment of a kill.
#[derive(Debug, Clone, Copy)]
enum Moment {
    /// A number of microseconds after the start, before the daemon serves or shortly after.
    Starting(u64),
    /// When the first client has read this number of entries.
    Lines(u64),
    /// When this number of frames was sent.
    Presses(u64),
    /// As soon as the file of the next segment exists.
    Segment,
}

/// Figures of a run, which are printed.
#[derive(Debug, Default)]
struct Figures {
    starting: u64,
    lines: u64,
    presses: u64,
    segment: u64,
    seen: u64,
    acknowledged: u64,
    entries: u64,
    counted: u64,
    segments: u64,
    torn: u64,
    empty: u64,
}

struct Bench {
    shop: Shop,
    random: Random,
    ledger: Ledger,
    frames: u64,
    /// Time that a start takes on this machine.
    start_micros: u64,
}

impl Bench {
    fn new(seed: u64) -> Self {
        let shop = Shop::with_stations(STATIONS);
        let ledger = Ledger::new(&shop.path("tallyjaw.toml"), &shop.path("state/journal"));
        Self {
            shop,
            random: Random(seed),
            ledger,
            frames: 0,
            start_micros: 0,
        }
    }

    fn serve(&self) -> Command {
        let mut command = self.shop.tallyjaw(&["--json", "serve"]);
        command.env("TALLYJAW_TEST_SEGMENT_BYTES", SEGMENT_BYTES.to_string());
        command
    }

    fn start(&self) -> Daemon {
        self.shop.start_by(self.serve())
    }

    /// At the first start every station is armed.
    fn arm_all(&mut self) {
        let began = Instant::now();
        let daemon = self.start();
        self.start_micros = u64::try_from(began.elapsed().as_micros()).unwrap();
        let mut control = daemon.control();
        for number in 1..=STATIONS {
            let station = format!("bench-{number}");
            let answer = control.call("arm", &json!({"station": station, "plan": "no-zero"}));
            assert!(answer["error"].is_null(), "{answer}");
        }
        daemon.kill();
        self.ledger.take_in(&[]);
    }

    fn moment(&mut self) -> Moment {
        match self.random.below(8) {
            0 | 1 => Moment::Starting(self.random.below(self.start_micros + 1_000)),
            2 | 3 => Moment::Segment,
            4 | 5 => Moment::Presses(self.random.below(60)),
            _ => Moment::Lines(1 + self.random.below(60)),
        }
    }

    /// A frame from this caliper. All frames differ.
    fn press(&mut self, station: usize) {
        self.frames += 1;
        let frame = format!("+1.6{:06}\r", self.frames);
        self.shop.calipers[station]
            .send(frame.as_bytes())
            .unwrap_or_else(|error| panic!("{error}: {}", self.shop.messages()));
    }

    /// A start and a kill. Returns what the clients had seen.
    fn round(&mut self, moment: Moment) -> Vec<Seen> {
        if let Moment::Starting(micros) = moment {
            let mut child = self.spawn();
            thread::sleep(Duration::from_micros(micros)); // a moment, not a pace
            child.kill().unwrap();
            child.wait().unwrap();
            return Vec::new();
        }
        let daemon = self.start();
        let after = self.random.below(self.ledger.last() + 1);
        let clients = Clients::connect(&daemon, after);
        let watcher =
            matches!(moment, Moment::Segment).then(|| Watcher::start(&self.shop, &daemon));
        self.measure_until(moment, &clients);
        match watcher {
            Some(watcher) => watcher.join(),
            None => thread::sleep(Duration::from_micros(self.random.below(2_000))),
        }
        daemon.kill();
        clients.seen()
    }

    fn spawn(&self) -> Child {
        let messages = fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(self.shop.path("messages"))
            .unwrap();
        self.serve()
            .stdout(Stdio::null())
            .stderr(messages)
            .spawn()
            .unwrap()
    }

    /// Presses whenever the last press of an instrument has arrived on the feed.
    fn measure_until(&mut self, moment: Moment, clients: &Clients) {
        let (mut lines, mut presses) = (0, 0);
        while let Some(entry) = clients.next_of_the_first() {
            let done = match moment {
                Moment::Lines(most) => lines >= most,
                Moment::Presses(most) => presses >= most,
                Moment::Segment | Moment::Starting(_) => false, // until the feed ends
            };
            if done {
                return;
            }
            lines += u64::from(entry["seq"].is_u64() && entry["kind"] != "state");
            for station in who_may_press(&entry) {
                self.press(station);
                presses += 1;
            }
        }
        assert!(
            matches!(moment, Moment::Segment),
            "the feed ended before {moment:?}: {}",
            self.shop.messages()
        );
    }

    /// Stops the daemon in order, and checks everything in the journal again.
    fn finish(mut self, figures: &mut Figures) {
        let daemon = self.start();
        let (status, _) = daemon.stop();
        assert!(status.success(), "{status}: {}", self.shop.messages());
        self.ledger.take_in(&[]);
        self.ledger.check_torn();
        let verify = self.shop.run(&["verify"]);
        let said = String::from_utf8_lossy(&verify.stdout);
        assert_eq!(verify.status.code(), Some(0), "{said}");
        figures.seen += self.ledger.seen;
        figures.acknowledged += self.ledger.acknowledged;
        figures.entries += self.ledger.last();
        figures.counted += self.ledger.counted;
        figures.segments += self.ledger.segments();
        figures.torn += self.ledger.torn();
        figures.empty += self.ledger.empty();
    }
}

/// The calipers (from 0) that may press after this line of the feed.
fn who_may_press(message: &Value) -> Vec<usize> {
    let index = |name: &Value| {
        let number: usize = name.as_str()?.strip_prefix("caliper-")?.parse().ok()?;
        number.checked_sub(1)
    };
    match message["kind"].as_str().unwrap() {
        "state" => message["instruments"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|instrument| instrument["attached"] == true)
            .filter_map(|instrument| index(&instrument["instrument"]))
            .collect(),
        "attached" | "reading" | "unread" => index(&message["instrument"]).into_iter().collect(),
        _ => Vec::new(),
    }
}

/// Kills the daemon as soon as the file of the next segment is there.
struct Watcher {
    thread: JoinHandle<()>,
    given_up: Arc<AtomicBool>,
}

impl Watcher {
    fn start(shop: &Shop, daemon: &Daemon) -> Self {
        let next = next_segment(shop);
        let pid = Pid::from_child(&daemon.child);
        let given_up = Arc::new(AtomicBool::new(false));
        let dropped = Arc::clone(&given_up);
        let thread = thread::spawn(move || {
            let deadline = Instant::now() + PATIENCE;
            while !next.exists() {
                if dropped.load(Ordering::Relaxed) {
                    return;
                }
                assert!(Instant::now() < deadline, "no {}", next.display());
                thread::sleep(Duration::from_micros(100));
            }
            kill_process(pid, Signal::KILL).unwrap();
        });
        Self { thread, given_up }
    }

    fn join(self) {
        self.given_up.store(true, Ordering::Relaxed);
        self.thread.join().unwrap();
    }
}

fn next_segment(shop: &Shop) -> PathBuf {
    let folder = shop.path("state/journal");
    (1_u32..=99_999_999)
        .map(|number| folder.join(format!("{number:08}.jsonl")))
        .find(|path| !path.exists())
        .unwrap()
}

#[test]
fn no_line_that_a_client_had_seen_is_lost_by_a_kill_at_any_moment() {
    let kills = number_in("TALLYJAW_KILLS", KILLS);
    let first_seed = number_in("TALLYJAW_KILLS_SEED", 1);
    let began = Instant::now();
    let mut figures = Figures::default();
    let mut done = 0;
    while done < kills {
        let mut bench = Bench::new(first_seed.wrapping_add(done << 32));
        bench.arm_all();
        done += 1;
        figures.lines += 1;
        while done < kills && !done.is_multiple_of(KILLS_A_JOURNAL) {
            let moment = bench.moment();
            match moment {
                Moment::Starting(_) => figures.starting += 1,
                Moment::Lines(_) => figures.lines += 1,
                Moment::Presses(_) => figures.presses += 1,
                Moment::Segment => figures.segment += 1,
            }
            let seen = bench.round(moment);
            done += 1;
            bench.ledger.take_in(&seen);
            if done.is_multiple_of(KILLS_A_VERIFY) {
                bench.ledger.verify();
            }
        }
        bench.finish(&mut figures);
    }
    println!(
        "crash: seed {first_seed}, {kills} kills in {:.1} s; {figures:?}; lost 0",
        began.elapsed().as_secs_f64()
    );
    assert!(figures.seen > 0 && figures.acknowledged > 0 && figures.counted > 0);
}
