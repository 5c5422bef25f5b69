//! What a display of thirty lines shows that prints what the feed says and works nothing out: more than 50 checkpoints of a day.

use crate::harness::{Daemon, SHEET, Shop};
use serde_json::json;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

const PLANS: &str = r#"
[[plan]]
id = "own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 3
purpose = "first_off"
decision = "simple"
zero = { before_first = true, closing = true }

[[plan]]
id = "both"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height", "core_crimp_width"]
order = "by_piece"
pieces = 2
purpose = "first_off"
decision = "guarded"
zero = { before_first = false, closing = false }

[[plan]]
id = "again"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 2
purpose = "in_process"
decision = "simple"
repeat = true
zero = { before_first = false, closing = false }

[[plan]]
id = "pull"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["pull_force"]
pieces = 3
purpose = "first_off"
decision = "simple"
zero = { before_first = false, closing = false }
"#;

/// What is done, and the line that the display must then show; without anything done, a further line.
const CHECKPOINTS: &str = "
    start -> daemon hello
    -> caliper-1 ready
    -> caliper-2 ready
    -> bench-1 0/0 | | arm
    -> bench-2 0/0 | | arm
    arm own -> bench-1 own 0/3 | | zero
    press 0.00 -> bench-1 own 0/3 | | measure 1 core_crimp_height
    press 1.63 -> bench-1 own 1/3 pass=1 | 1.63 pass | measure 2 core_crimp_height
    press 1.60 -> bench-1 own 2/3 pass=2 | 1.60 pass | measure 3 core_crimp_height
    press 1.50 -> bench-1 own 3/3 pass=2 fail_low=1 | 1.50 fail_low | zero
    retract bench-1 -> bench-1 own 2/3 pass=2 retracted=1 | 1.50 fail_low | measure 3 core_crimp_height
    restore bench-1 -> bench-1 own 3/3 pass=2 fail_low=1 | 1.50 fail_low | zero
    press 0.05 -> bench-1 own 0/3 again=3 | 1.50 fail_low | zero
    press 0.00 -> bench-1 own 0/3 again=3 | 1.50 fail_low | measure 1 core_crimp_height
    press 1.62 -> bench-1 own 1/3 pass=1 again=2 | 1.62 pass | measure 2 core_crimp_height
    press 1.64 -> bench-1 own 2/3 pass=2 again=1 | 1.64 pass | measure 3 core_crimp_height
    press 1.61 -> bench-1 own 3/3 pass=3 | 1.61 pass | zero
    press 0.00 -> bench-1 accepted 3/3 pass=3 | 1.61 pass | arm
    arm both -> bench-1 both 0/4 | 1.61 pass | measure 1 core_crimp_height
    press 1.62 -> bench-1 both 1/4 pass=1 | 1.62 pass | measure 1 core_crimp_width
    press 2.40 -> bench-1 both 2/4 pass=2 | 2.40 pass | measure 2 core_crimp_height
    press 1.66 -> bench-1 both 3/4 pass=2 unsure_high=1 | 1.66 unsure_high | measure 2 core_crimp_width
    press 9.99 -> bench-1 both 3/4 pass=2 unsure_high=1 not_counted=1 | 9.99 implausible | measure 2 core_crimp_width
    press 2.31 -> bench-1 undecided 4/4 pass=2 unsure_low=1 unsure_high=1 not_counted=1 | 2.31 unsure_low | arm
    arm again -> bench-1 again 0/2 | 2.31 unsure_low | measure 1 core_crimp_height
    press 1.63 -> bench-1 again 1/2 pass=1 | 1.63 pass | measure 2 core_crimp_height
    press 1.61 -> bench-1 again 0/2 | 1.61 pass | measure 1 core_crimp_height
    press 1.59 -> bench-1 again 1/2 pass=1 | 1.59 pass | measure 2 core_crimp_height
    arm own -> bench-1 own 0/3 | 1.59 pass | zero
    resume bench-1 -> bench-1 again 1/2 pass=1 | 1.59 pass | measure 2 core_crimp_height
    disarm bench-1 -> bench-1 cut_short 1/2 pass=1 | 1.59 pass | arm
    arm own -> bench-1 own 0/3 | 1.59 pass | zero
    press 0.00 -> bench-1 own 0/3 | 1.59 pass | measure 1 core_crimp_height
    press 1.62 -> bench-1 own 1/3 pass=1 | 1.62 pass | measure 2 core_crimp_height
    unplug -> caliper-1 unplugged
    -> bench-1 own 1/3 pass=1 | 1.62 pass | connect
    plug -> caliper-1 ready
    -> bench-1 own 1/3 pass=1 | 1.62 pass | measure 2 core_crimp_height
    press 1.63 -> bench-1 own 2/3 pass=2 | 1.63 pass | measure 3 core_crimp_height
    kill -> daemon gone
    start -> daemon hello
    press 1.61 -> bench-1 own 3/3 pass=3 | 1.61 pass | zero
    press 1.64 -> bench-1 own 3/3 pass=3 not_counted=1 | 1.64 series_full | zero
    look -> bench-1 own 3/3 pass=3 not_counted=1 | 1.64 series_full | zero
    stop -> daemon gone
    start -> daemon hello
    press 0.00 -> bench-1 accepted 3/3 pass=3 not_counted=1 | 1.64 series_full | arm
    arm-pull -> bench-2 pull 0/3 | | measure 1 pull_force
    pull 187.0 -> bench-2 pull 1/3 pass=1 lowest_mn=187000 | 187.0 pass | measure 2 pull_force
    pull 181.5 -> bench-2 pull 2/3 pass=2 lowest_mn=181500 | 181.5 pass | measure 3 pull_force
    pull 12.5 -> bench-2 pull 2/3 pass=2 lowest_mn=181500 not_counted=1 | 12.5 implausible | measure 3 pull_force
    retract bench-2 -> bench-2 pull 1/3 pass=1 lowest_mn=187000 retracted=1 not_counted=1 | 12.5 implausible | measure 3 pull_force
    pull 190.0 -> bench-2 pull 2/3 pass=2 lowest_mn=187000 retracted=1 not_counted=1 | 190.0 pass | measure 4 pull_force
    pull 179.0 -> bench-2 rejected 3/3 pass=2 fail_low=1 lowest_mn=179000 retracted=1 not_counted=1 | 179.0 fail_low | arm
";

/// A bench with a caliper and one with a force gauge.
fn shop() -> Shop {
    let shop = Shop::with_stations(2);
    let text = shop.configuration();
    let at = text.rfind("kind = \"caliper\"").unwrap();
    let (caliper, gauge) = text.split_at(at);
    let gauge = gauge
        .replace("caliper\"", "force\"")
        .replace("\"mm\"", "\"N\"")
        .replace("0.01 mm", "0.1 N")
        .replace("max_error = \"0.02 mm\"\n", "")
        .replace("range = \"0..150 mm\"\n", "");
    shop.write("tallyjaw.toml", &format!("{caliper}{gauge}"));
    let force = "pull_force = \">= 180 N\"\n"; // in the row that the sheet ends with
    shop.write("sheet.toml", &format!("{SHEET}{force}"));
    shop.write("plans.toml", PLANS);
    shop
}

/// The running client; killed when dropped.
struct Display {
    child: Child,
    lines: Receiver<String>,
}

impl Display {
    fn start(shop: &Shop) -> Self {
        let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/display.py");
        let mut child = Command::new("python3")
            .arg(program)
            .arg(shop.path("run/feed.sock"))
            .env("PYTHONDONTWRITEBYTECODE", "1")
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3 must be installed; ./check does that");
        let out = BufReader::new(child.stdout.take().unwrap());
        let (said, lines) = channel();
        std::thread::spawn(move || {
            for line in out.lines().map_while(Result::ok) {
                let _ = said.send(line);
            }
        });
        Self { child, lines }
    }

    /// Waits until it shows this line; returns whether it does, and what it showed before.
    fn shows(&self, want: &str) -> Result<(), Vec<String>> {
        let mut before = Vec::new();
        loop {
            match self.lines.recv_timeout(Duration::from_secs(30)) {
                Ok(line) if line == want => return Ok(()),
                Ok(line) => before.push(line),
                Err(_) => return Err(before),
            }
        }
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The shop, its daemon while it runs, and the display.
struct Day {
    shop: Shop,
    daemon: Option<Daemon>,
    display: Option<Display>,
}

impl Day {
    fn does(&mut self, what: &str) {
        let (verb, rest) = what.split_once(' ').unwrap_or((what, ""));
        let call = |method: &str, params| self.daemon.as_ref().unwrap().call(method, &params);
        match verb {
            "" => {}
            "start" => {
                let daemon = self.daemon.insert(self.shop.start());
                drop(daemon.connected_feed());
            }
            "kill" => self.daemon.take().unwrap().kill(),
            "stop" => drop(self.daemon.take().unwrap().stop()),
            "look" => self.display = Some(Display::start(&self.shop)),
            "press" => self.send(0, &format!("+{rest} mm\r\n")),
            "pull" => self.send(1, &format!("{rest} N\r\n")),
            "unplug" => self.shop.calipers[0].unplug(),
            "plug" => self.shop.calipers[0].plug().unwrap(),
            "arm" => drop(call("arm", json!({"station": "bench-1", "plan": rest}))),
            "arm-pull" => drop(call("arm", json!({"station": "bench-2", "plan": "pull"}))),
            "retract" => drop(call(
                "retract",
                json!({"station": rest, "reason": "slipped"}),
            )),
            "restore" | "disarm" | "resume" => drop(call(verb, json!({"station": rest}))),
            _ => panic!("{what}"),
        }
    }

    fn send(&self, station: usize, frame: &str) {
        self.shop.calipers[station].send(frame.as_bytes()).unwrap();
    }
}

#[test]
fn a_display_of_thirty_lines_is_right_at_more_than_fifty_checkpoints() {
    let program = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/display.py");
    let text = std::fs::read_to_string(program).unwrap();
    assert!(text.lines().count() <= 30);
    let mut day = Day {
        shop: shop(),
        daemon: None,
        display: None,
    };
    let checkpoints: Vec<_> = CHECKPOINTS.trim().lines().map(str::trim).collect();
    assert!(checkpoints.len() >= 50);
    for (number, checkpoint) in checkpoints.iter().enumerate() {
        let (does, want) = checkpoint.split_once("-> ").unwrap();
        day.does(does.trim());
        let display = day.display.get_or_insert_with(|| Display::start(&day.shop));
        let shown = display.shows(want);
        assert_eq!(shown, Ok(()), "checkpoint {}: {checkpoint}", number + 1);
    }
}
