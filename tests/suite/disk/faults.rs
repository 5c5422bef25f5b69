//! A disk that fails under the real daemon: `tests/shims/disk_faults.c` is preloaded and answers its calls to write and
//! sync.

use crate::harness::{Daemon, Lines, PATIENCE, Shop, shim};
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead as _, BufReader, Read as _};
use std::path::PathBuf;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::{Duration, Instant};

/// A shop whose daemon writes to a disk that fails on command.
pub(crate) struct Faulty(pub(crate) Shop);

impl Faulty {
    fn start(&self) -> Daemon {
        self.0.start_by(self.command())
    }

    /// The daemon on that disk. It waits for a slow disk for longer than any machine is delayed.
    pub(crate) fn command(&self) -> Command {
        let mut command = self.0.tallyjaw(&["--json", "serve"]);
        command
            .env("LD_PRELOAD", shim("disk_faults"))
            .env("DISK_FAULT", self.word())
            .env("TALLYJAW_TEST_STALL_MILLIS", "3600000");
        command
    }

    fn word(&self) -> PathBuf {
        self.0.path("fault")
    }

    /// Sets the fault from now on. The file is replaced as a whole, because the daemon may read it at any moment.
    pub(crate) fn fail(&self, word: &str) {
        self.0.write("fault.new", word);
        fs::rename(self.0.path("fault.new"), self.word()).unwrap();
    }

    pub(crate) fn make_well(&self) {
        fs::remove_file(self.word()).unwrap();
    }

    /// Waits until a sync waits for the slow disk.
    fn wait_for_slow_sync(&self) {
        let deadline = Instant::now() + PATIENCE;
        while !self.0.path("fault.waits").exists() {
            assert!(Instant::now() < deadline, "nothing is synced");
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    /// Starts `tallyjaw watch` and waits until it is connected.
    fn watch(&self) -> (Child, BufReader<ChildStdout>) {
        let mut child = self
            .0
            .tallyjaw(&["watch"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut shown = BufReader::new(child.stdout.take().unwrap());
        let mut first = String::new();
        shown.read_line(&mut first).unwrap();
        assert!(first.starts_with("watching journal "), "{first}");
        (child, shown)
    }
}

/// What makes the daemon write to the failing disk.
#[derive(Debug, Clone, Copy)]
enum By {
    Note,
    Press,
}

/// What clients were shown, and must find again.
struct Told {
    lines: Vec<String>,
    notice: Value,
}

/// Reads every line up to the first notice, after which there must be none.
fn read_to_the_end(feed: &mut Lines, lines: &mut Vec<String>) -> Value {
    loop {
        let line = feed.next_line();
        let message: Value = serde_json::from_str(&line).unwrap();
        if message["seq"].is_u64() {
            lines.push(line);
            continue;
        }
        assert_eq!(message["ends"], true, "{message}");
        assert!(feed.is_closed(), "something came after {message}");
        return message;
    }
}

/// Measures, makes the disk fail, and checks what every client is shown.
fn fail(faulty: &mut Faulty, word: &str, by: By) -> Told {
    let mut daemon = faulty.start();
    let mut feed = daemon.connected_feed();
    let mut lines = Vec::new();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    faulty.0.press(161);
    while !lines
        .last()
        .is_some_and(|line: &String| line.contains("\"kind\":\"reading\""))
    {
        lines.push(feed.next_line());
    }
    let (mut watch, mut shown) = faulty.watch();
    let mut control = daemon.control();
    faulty.fail(word);
    match by {
        By::Note => {
            let answer = control.call("note", &json!({"text": "lost"}));
            assert_eq!(answer["error"]["code"], -32_001, "{answer}");
        }
        By::Press => faulty.0.press(162),
    }
    let notice = read_to_the_end(&mut feed, &mut lines);
    assert_eq!(daemon.wait().code(), Some(4), "{}", faulty.0.messages());
    assert!(!faulty.word().exists(), "the fault has not happened");

    let (mut text, mut complaint) = (String::new(), String::new());
    shown.read_to_string(&mut text).unwrap();
    let errors = watch.stderr.as_mut().unwrap();
    errors.read_to_string(&mut complaint).unwrap();
    let what = notice["message"].as_str().unwrap();
    let remedy = notice["remedy"].as_str().unwrap();
    assert!(
        text.ends_with(&format!(
            "! journal failed {what}\n  help        {remedy}\n"
        )),
        "{text}"
    );
    assert_eq!(watch.wait().unwrap().code(), Some(3), "{complaint}");
    let status = faulty.0.run(&["status"]);
    assert_eq!(status.status.code(), Some(3), "{status:?}");
    assert!(
        String::from_utf8_lossy(&status.stderr)
            .contains("start it in another terminal: tallyjaw serve")
    );
    let messages = faulty.0.messages();
    assert_eq!(messages.matches("ERROR").count(), 1, "{messages}");
    assert_eq!(
        messages.matches(what).count(),
        2,
        "in the log and at the end: {messages}"
    );
    Told { lines, notice }
}

/// Starts on a working disk, and returns the next piece.
fn go_on(faulty: &mut Faulty, told: &Told) -> Value {
    let daemon = faulty.0.start();
    let stored = faulty.0.journal_lines();
    let first: Value = serde_json::from_str(&told.lines[0]).unwrap();
    let from = usize::try_from(first["seq"].as_u64().unwrap()).unwrap() - 1;
    assert_eq!(
        stored[from..from + told.lines.len()],
        told.lines,
        "all that was announced"
    );
    let mut feed = daemon.connected_feed();
    faulty.0.press(163);
    let piece = feed.wait_for("reading")["piece"].clone();
    assert!(daemon.stop().0.success(), "{}", faulty.0.messages());
    let verify = faulty.0.run(&["verify"]);
    assert_eq!(verify.status.code(), Some(0), "{verify:?}");
    piece
}

/// The same with a note and with a reading; what the error says, and which piece comes next.
fn check(word: &str, error: &str, piece_after_a_lost_press: u64) {
    for by in [By::Note, By::Press] {
        let mut faulty = Faulty(Shop::new());
        let told = fail(&mut faulty, word, by);
        let announced: Value = serde_json::from_str(told.lines.last().unwrap()).unwrap();
        let lost = announced["seq"].as_u64().unwrap() + 1;
        let message = format!(
            "{}; nothing from entry {lost} on is announced or acknowledged any more, 1 entry may not be on the disk",
            error.replace('#', &lost.to_string())
        );
        let remedy =
            "check the disk, then start the daemon again: it reports which entries are on the disk";
        assert_eq!(
            told.notice,
            json!({"kind": "journal_failed", "message": message, "remedy": remedy, "ends": true})
        );
        let piece = match by {
            By::Note => 2,
            By::Press => piece_after_a_lost_press,
        };
        assert_eq!(go_on(&mut faulty, &told), piece, "{word} {by:?}");
        let torn =
            "an incomplete last line was moved to a file of its own; its entry was never announced";
        assert_eq!(
            faulty.0.messages().contains(torn),
            word == "broken",
            "{}",
            faulty.0.messages()
        );
    }
}

#[test]
fn a_write_that_breaks_off_ends_announcing_and_its_half_line_is_set_aside() {
    check(
        "broken",
        "cannot write entry #: Input/output error (os error 5)",
        2,
    );
}

#[test]
fn after_one_failed_sync_nothing_is_announced_and_what_reached_the_disk_is_found() {
    check(
        "unsynced",
        "cannot make entry # durable: Input/output error (os error 5)",
        3,
    );
}

#[test]
fn after_one_failed_sync_that_dropped_its_bytes_everything_announced_is_there() {
    check(
        "dropped",
        "cannot make entry # durable: Input/output error (os error 5)",
        2,
    );
}

#[test]
fn a_write_that_finds_no_room_half_way_leaves_no_half_line_and_the_daemon_goes_on_by_itself() {
    let mut faulty = Faulty(Shop::new());
    let daemon = faulty.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "no-zero"}));
    faulty.0.press(161);
    assert_eq!(feed.wait_for("reading")["piece"], 1);
    let before = faulty.0.journal_lines();
    faulty.fail("full");
    faulty.0.press(162);
    let notice = feed.next();
    let lost = before.len() + 1;
    assert_eq!(
        notice,
        json!({
            "kind": "journal_full",
            "message": format!("no room for entry {lost}: No space left on device (os error 28); entry {lost} and later ones are not recorded"),
            "remedy": "make room on the disk of state_dir; the daemon goes on by itself"
        })
    );
    let gap = feed.next();
    assert_eq!(
        (&gap["kind"], &gap["seq"], &gap["frames"]),
        (&json!("gap"), &json!(lost), &json!(1)),
        "{gap}"
    );
    assert_eq!(
        feed.wait_for("journal_resumed")["remedy"],
        "measure those pieces again"
    );
    faulty.0.press(163);
    assert_eq!(feed.wait_for("reading")["piece"], 2);
    assert!(daemon.stop().0.success());
    assert_eq!(faulty.0.journal_lines()[..before.len()], before);
    assert_eq!(faulty.0.run(&["verify"]).status.code(), Some(0));
}

#[test]
fn on_a_slow_disk_nothing_is_announced_before_its_sync_and_nothing_else_waits() {
    let mut faulty = Faulty(Shop::with_stations(2));
    let daemon = faulty.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"station": "bench-1", "plan": "no-zero"}));
    daemon.call("arm", &json!({"station": "bench-2", "plan": "no-zero"}));
    let mut control = daemon.control();
    let durable = faulty.0.journal_lines();
    let last = durable.len();
    while feed.next()["seq"] != last {}
    faulty.fail("slow");
    faulty.0.press_at(1, 161);
    faulty.wait_for_slow_sync();
    assert_eq!(
        faulty.0.journal_lines().len(),
        last + 1,
        "written, and not synced"
    );

    // The other port is read, and clients are accepted and answered with what is durable, and nothing more.
    faulty.0.press_at(2, 162);
    faulty.0.calipers[1].drain(PATIENCE);
    let note = json!({"jsonrpc": "2.0", "id": 1, "method": "note", "params": {"station": "bench-1", "text": "waits"}});
    control.send(&note.to_string());
    let status = daemon.call("status", &json!({}));
    assert_eq!(
        (&status["journal_health"], &status["state"]["seq"]),
        (&json!("ok"), &json!(last))
    );
    let shown = faulty.0.run(&["status"]);
    assert_eq!(shown.status.code(), Some(0), "{shown:?}");
    let (mut late, hello, state) = daemon.greeted_feed();
    assert_eq!(
        (&hello["last"], &state["seq"]),
        (&json!(last), &json!(last))
    );
    late.send("{\"after\":0}");
    for line in &durable {
        assert_eq!(&late.next_line(), line);
    }
    for waiting in [&feed.stream, &late.stream, &control.stream] {
        waiting.get_ref().set_nonblocking(true).unwrap();
        let got = waiting.get_ref().take(1).read(&mut [0]);
        assert!(
            got.is_err() && waiting.buffer().is_empty(),
            "announced before its sync"
        );
        waiting.get_ref().set_nonblocking(false).unwrap();
    }

    faulty.make_well();
    assert_eq!(
        control.next()["result"]["seq"].as_u64(),
        u64::try_from(last + 3).ok()
    );
    let stored = faulty.0.journal_lines();
    assert_eq!(stored.len(), last + 3);
    let kinds: Vec<_> = stored[last..]
        .iter()
        .map(|line| serde_json::from_str::<Value>(line).unwrap()["kind"].clone())
        .collect();
    assert_eq!(kinds, ["reading", "reading", "noted"]);
    let told: Vec<_> = (0..3).map(|_| late.next_line()).collect();
    assert_eq!(told, stored[last..]);
    while feed.peek()["seq"] != last + 1 {
        feed.next();
    }
    assert_eq!((0..3).map(|_| feed.next_line()).collect::<Vec<_>>(), told);
    assert!(daemon.stop().0.success());
}
