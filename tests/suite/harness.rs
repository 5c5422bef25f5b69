//! A shop in its own folder: real pseudo-terminals, the built daemon and its sockets.
//!
//! Every wait is for an event; the time limits are only there so that a failing test ends.

use serde_json::{Value, json};
use std::collections::{BTreeMap, VecDeque};
use std::ffi::OsString;
use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::Mutex;
use std::time::{Duration, Instant};
use tallyjaw::quantity::{Decimal, Unit};
use tallyjaw::virtual_caliper::VirtualCaliper;

/// Time zone of the commands that tests run, as text so that no system files are needed.
pub(crate) const TZ: &str = "CET-1CEST,M3.5.0,M10.5.0/3";

/// A limit for failing; no test waits for this long on purpose.
pub(crate) const PATIENCE: Duration = Duration::from_secs(20);

pub(crate) const SHEET: &str = r#"
[[terminal]]
id = "QF-250-F"
source = "made up"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
core_crimp_width = "2.40 ±0.10 mm"
"#;

const PLANS: &str = r#"
[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "first_off"
decision = "simple"
zero = { before_first = true, closing = true }

[[plan]]
id = "no-zero"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 5
purpose = "in_process"
decision = "simple"
repeat = true
zero = { before_first = false, closing = false }
"#;

/// The built program, or the one of this release that `TALLYJAW_PROGRAM` names: for another processor, as
/// `tests/scripts/emulated.sh` runs it, or for another system.
pub(crate) fn program() -> OsString {
    let built = || env!("CARGO_BIN_EXE_tallyjaw").into();
    std::env::var_os("TALLYJAW_PROGRAM").unwrap_or_else(built)
}

/// How much of what could be tried is tried.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Sweep {
    /// By default, for a check that one waits for.
    Few,
    /// `TALLYJAW_SWEEP=many`, as `./check --all` has it.
    Many,
    /// `TALLYJAW_SWEEP=whole`: every byte, place and row, which takes minutes more.
    Whole,
}

fn sweep() -> Sweep {
    match std::env::var("TALLYJAW_SWEEP").as_deref() {
        Ok("whole") => Sweep::Whole,
        Ok("many") => Sweep::Many,
        Ok(other) => panic!("TALLYJAW_SWEEP: got \"{other}\", expected many or whole"),
        Err(_) => Sweep::Few,
    }
}

/// A sweep over all places takes every `nth` of them in `./check --all`.
pub(crate) fn every(nth: usize) -> usize {
    match sweep() {
        Sweep::Few => 3 * nth,
        Sweep::Many => nth,
        Sweep::Whole => 1,
    }
}

/// Number of random cases where `./check --all` takes `many`.
pub(crate) fn cases(many: u32) -> u32 {
    if sweep() == Sweep::Few {
        many.div_ceil(4).max(many.min(5))
    } else {
        many
    }
}

/// Configuration, sheets, plans and calipers; the caliper of `bench-N` is `caliper-N`.
pub(crate) struct Shop {
    pub(crate) dir: tempfile::TempDir,
    pub(crate) calipers: Vec<VirtualCaliper>,
}

impl Shop {
    /// One station.
    pub(crate) fn new() -> Self {
        Self::with_stations(1)
    }

    pub(crate) fn with_stations(count: usize) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let calipers: Vec<_> = (1..=count)
            .map(|number| {
                VirtualCaliper::open_at(dir.path().join(format!("tty-{number}"))).unwrap()
            })
            .collect();
        let shop = Self { dir, calipers };
        shop.write("sheet.toml", SHEET);
        shop.write("plans.toml", PLANS);
        shop.write("tallyjaw.toml", &shop.configuration());
        shop
    }

    /// The first content of `tallyjaw.toml`.
    pub(crate) fn configuration(&self) -> String {
        let mut text = "[daemon]\nstate_dir = \"state\"\nruntime_dir = \"run\"\nsheets = [\"sheet.toml\"]\nplans = [\"plans.toml\"]\n".to_owned();
        for (index, caliper) in self.calipers.iter().enumerate() {
            let number = index + 1;
            let port = caliper.path().display();
            let _ = write!(
                text,
                r#"
[[station]]
name = "bench-{number}"

[[instrument]]
name = "caliper-{number}"
station = "bench-{number}"
kind = "caliper"
port = "{port}"
line = "9600 8N1"
format = "decimal-line"
unit = "mm"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
"#
            );
        }
        text
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// The built program with this shop's configuration.
    pub(crate) fn tallyjaw(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(program());
        command
            .arg("--config")
            .arg(self.path("tallyjaw.toml"))
            .args(arguments)
            .env("NO_COLOR", "1")
            .env("TZ", TZ)
            .stdin(Stdio::null());
        command
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        self.tallyjaw(arguments).output().unwrap()
    }

    /// Starts the daemon and waits until it serves.
    pub(crate) fn start(&self) -> Daemon {
        self.start_by(self.tallyjaw(&["--json", "serve"]))
    }

    /// Starts a daemon that prints on standard output when it serves.
    pub(crate) fn start_by(&self, mut command: Command) -> Daemon {
        let messages = fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(self.path("messages"))
            .unwrap();
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(messages)
            .spawn()
            .unwrap();
        let mut ready = String::new();
        BufReader::new(child.stdout.take().unwrap())
            .read_line(&mut ready)
            .unwrap();
        assert!(!ready.is_empty(), "not ready: {}", self.messages());
        Daemon {
            child,
            run: self.path("run"),
        }
    }

    /// The daemon's log.
    pub(crate) fn messages(&self) -> String {
        fs::read_to_string(self.path("messages")).unwrap_or_default()
    }

    /// Every line of the journal with its newline, as it is on disk.
    pub(crate) fn journal_lines(&self) -> Vec<String> {
        let mut segments: Vec<_> = fs::read_dir(self.path("state/journal"))
            .unwrap()
            .map(|item| item.unwrap().path())
            .filter(|path| {
                path.extension()
                    .is_some_and(|extension| extension == "jsonl")
            })
            .collect();
        segments.sort();
        segments
            .iter()
            .flat_map(|path| {
                let text = fs::read_to_string(path).unwrap();
                let lines: Vec<_> = text.split_inclusive('\n').map(str::to_owned).collect();
                lines
            })
            .collect()
    }

    /// The caliper of `bench-1` sends this many hundredths of a millimetre.
    pub(crate) fn press(&mut self, hundredths: i64) {
        self.press_at(1, hundredths);
    }

    pub(crate) fn press_at(&mut self, station: usize, hundredths: i64) {
        self.calipers[station - 1]
            .press(Decimal::new(hundredths, 2), Unit::Millimetre)
            .unwrap();
    }
}

/// A library of tests/shims to preload, compiled once in a run. A linker exists wherever Rust builds.
pub(crate) fn shim(name: &'static str) -> PathBuf {
    static MADE: Mutex<BTreeMap<&str, PathBuf>> = Mutex::new(BTreeMap::new());
    let mut made = MADE.lock().unwrap();
    let of_it = made.entry(name).or_insert_with(|| {
        let made = Path::new(env!("CARGO_TARGET_TMPDIR"))
            .join(format!("{name}-{}.so", std::process::id()));
        let compiled = Command::new("cc")
            .args([
                "-Wall", "-Wextra", "-Werror", "-O1", "-shared", "-fPIC", "-o",
            ])
            .arg(&made)
            .arg(Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/shims/{name}.c")))
            .arg("-ldl")
            .output()
            .unwrap();
        assert!(compiled.status.success(), "{compiled:?}");
        made
    });
    of_it.clone()
}

/// A running daemon; killed when dropped.
pub(crate) struct Daemon {
    pub(crate) child: Child,
    run: PathBuf,
}

impl Daemon {
    /// A client of the feed that has read nothing yet.
    pub(crate) fn feed(&self) -> Lines {
        Lines::connect(&self.run.join("feed.sock"))
    }

    /// A client that has read hello and state, with both.
    pub(crate) fn greeted_feed(&self) -> (Lines, Value, Value) {
        let mut feed = self.feed();
        let hello = feed.next();
        let state = feed.next();
        assert_eq!(
            (&hello["kind"], &state["kind"]),
            (&json!("hello"), &json!("state"))
        );
        (feed, hello, state)
    }

    /// A client that has received that every caliper of the shop is connected.
    pub(crate) fn connected_feed(&self) -> Lines {
        let (mut feed, _, state) = self.greeted_feed();
        let instruments = state["instruments"].as_array().unwrap();
        for instrument in instruments {
            if instrument["attached"] != true {
                feed.wait_for("attached");
            }
        }
        feed
    }

    /// A client that has requested all entries.
    pub(crate) fn feed_from_the_beginning(&self) -> Lines {
        let (mut feed, _, _) = self.greeted_feed();
        feed.send("{\"after\":0}");
        while feed.peek()["seq"] != 1 {
            feed.next(); // became durable before the request was read
        }
        feed
    }

    pub(crate) fn control(&self) -> Lines {
        Lines::connect(&self.run.join("control.sock"))
    }

    /// One call on a connection of its own; the result.
    pub(crate) fn call(&self, method: &str, params: &Value) -> Value {
        let answer = self.control().call(method, params);
        assert!(answer["error"].is_null(), "{method} {params}: {answer}");
        answer["result"].clone()
    }

    /// One call that must fail; the error.
    pub(crate) fn refused(&self, method: &str, params: &Value) -> Value {
        let answer = self.control().call(method, params);
        assert!(answer["result"].is_null(), "{method} {params}: {answer}");
        answer["error"].clone()
    }

    pub(crate) fn signal(&self, signal: rustix::process::Signal) {
        let pid = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(pid, signal).unwrap();
    }

    /// Sends SIGTERM. Returns how the daemon ended, and how long that took.
    pub(crate) fn stop(mut self) -> (ExitStatus, Duration) {
        let from = Instant::now();
        self.signal(rustix::process::Signal::TERM);
        (self.wait(), from.elapsed())
    }

    /// Kills it with SIGKILL: a power cut in which the disk loses nothing.
    pub(crate) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    pub(crate) fn wait(&mut self) -> ExitStatus {
        let deadline = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status;
            }
            assert!(Instant::now() < deadline, "the daemon does not end");
            std::thread::sleep(Duration::from_millis(2));
        }
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// JSON objects over a socket, one on each line.
pub(crate) struct Lines {
    pub(crate) stream: BufReader<UnixStream>,
    peeked: Option<String>,
    /// The lines before the one that is awaited, for who has to find out why it does not come.
    before: VecDeque<String>,
}

impl Lines {
    pub(crate) fn connect(path: &Path) -> Self {
        let stream =
            UnixStream::connect(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        Self {
            stream: BufReader::new(stream),
            peeked: None,
            before: VecDeque::new(),
        }
    }

    pub(crate) fn send(&mut self, line: &str) {
        self.send_bytes(format!("{line}\n").as_bytes());
    }

    pub(crate) fn send_bytes(&mut self, bytes: &[u8]) {
        self.stream.get_mut().write_all(bytes).unwrap();
    }

    /// The next line with its newline; empty at the end.
    pub(crate) fn next_line(&mut self) -> String {
        if let Some(line) = self.peeked.take() {
            return line;
        }
        let mut line = String::new();
        let read = self.stream.read_line(&mut line);
        read.unwrap_or_else(|error| panic!("{error}, after {:#?}", self.before));
        self.before.push_back(line.clone());
        if self.before.len() > 8 {
            self.before.pop_front();
        }
        line
    }

    pub(crate) fn next(&mut self) -> Value {
        let line = self.next_line();
        assert!(!line.is_empty(), "the socket was closed");
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error} in {line:?}"))
    }

    pub(crate) fn peek(&mut self) -> Value {
        let line = self.next_line();
        self.peeked = Some(line.clone());
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error} in {line:?}"))
    }

    /// Skips lines up to the next one of this kind.
    pub(crate) fn wait_for(&mut self, kind: &str) -> Value {
        loop {
            let message = self.next();
            if message["kind"] == kind {
                return message;
            }
        }
    }

    pub(crate) fn is_closed(&mut self) -> bool {
        self.next_line().is_empty()
    }

    /// One JSON-RPC call; the whole answer.
    pub(crate) fn call(&mut self, method: &str, params: &Value) -> Value {
        let mut params = params.clone();
        if method == "arm" && params["cut"].is_null() {
            params["cut"] = json!(true); // a test that arms wants it carried out
        }
        let request = json!({"jsonrpc": "2.0", "id": 1, "method": method, "params": params});
        self.send(&request.to_string());
        self.next()
    }
}
