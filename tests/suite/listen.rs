//! `tallyjaw listen` on real pseudo-terminals: the built program with virtual calipers of every format.
//!
//! A pseudo-terminal keeps the speed, but neither data bits nor parity, and it carries whole bytes. So the caliper's
//! end reads the speed that `listen` has set, and sends what a port at that speed and 8N1 makes of its bits.

use super::golden;
use super::guess::{FORMATS, frame};
use super::harness::{PATIENCE, Shop};
use serde_json::Value;
use std::fmt::Write as _;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use tallyjaw::decode::LineSettings;
use tallyjaw::quantity::{Decimal, Unit};
use tallyjaw::virtual_caliper::line::{heard, on_terminal};
use tallyjaw::virtual_caliper::{Form, Sends, VirtualCaliper};

/// A running `listen` with its output.
pub(crate) struct Listening {
    child: Child,
    lines: Receiver<Value>,
}

impl Listening {
    pub(crate) fn start(mut command: Command) -> Self {
        // A pseudo-terminal carries no errors, so the caliper writes the marks of bad characters.
        command.env("TALLYJAW_PTY_MARKS", "1");
        let mut child = command.stdout(Stdio::piped()).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (sender, lines) = channel();
        std::thread::spawn(move || {
            for line in out.lines() {
                let _ = sender.send(serde_json::from_str(&line.unwrap()).unwrap());
            }
        });
        Self { child, lines }
    }

    /// The next object of one of these kinds.
    pub(crate) fn next(&self, kinds: &[&str]) -> Value {
        loop {
            let line = self.lines.recv_timeout(PATIENCE).expect("listen is silent");
            if kinds.contains(&line["kind"].as_str().unwrap()) {
                return line;
            }
        }
    }

    pub(crate) fn exit_code(&mut self) -> i32 {
        self.child.wait().unwrap().code().unwrap()
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn listen(port: &Path, more: &[&str]) -> Command {
    let mut command = Command::new(crate::harness::program());
    command
        .args(["--json", "--config", "none/tallyjaw.toml", "listen"])
        .arg(port)
        .args(more)
        .stdin(Stdio::null());
    command
}

/// The speed that is set at the terminal behind `path`.
fn speed(path: &Path) -> u32 {
    use rustix::fs::{Mode, OFlags};
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
    let terminal = rustix::fs::open(path, flags, Mode::empty()).unwrap();
    rustix::termios::tcgetattr(terminal).unwrap().input_speed()
}

/// Sends a frame as the port receives it with its present settings.
fn send(caliper: &VirtualCaliper, bytes: &[u8], sent: LineSettings) {
    let port = LineSettings {
        baud: speed(caliper.path()),
        ..LineSettings::default()
    };
    caliper
        .send(&on_terminal(&heard(bytes, sent, port)))
        .unwrap();
}

/// Presses until `listen` has decided. Returns its decision, and the number of presses.
fn found(sends: Sends, sent: LineSettings) -> (Value, i32) {
    let caliper = VirtualCaliper::open().unwrap();
    let mut listening = Listening::start(listen(caliper.path(), &[]));
    for press in 0.. {
        let line = listening.next(&["press_now", "found", "undecided"]);
        if line["kind"] != "press_now" {
            return (line, listening.exit_code());
        }
        send(&caliper, &frame(sends, press), sent);
    }
    unreachable!()
}

#[test]
fn every_format_is_named_at_three_settings_in_at_most_five_presses() {
    let mut table = "format          4800 7E2  9600 8N1  2400 8N1\n".to_owned();
    for (format, sends) in FORMATS {
        let _ = write!(table, "{format:<14}");
        for settings in ["4800 7E2", "9600 8N1", "2400 8N1"] {
            if settings.contains("7E") && format.ends_with("packed") {
                // A packed frame needs all eight bits, so it cannot be sent like this.
                let _ = write!(table, "{:>10}", "–");
                continue;
            }
            let (says, exit) = found(sends, settings.parse().unwrap());
            let best = &says["fits"][0];
            assert_eq!(says["kind"], "found", "{format} at {settings}: {says}");
            assert_eq!(
                (&best["format"], &best["line"]),
                (&format.into(), &settings.into())
            );
            assert_eq!(exit, 0);
            let presses = says["presses"].as_u64().unwrap();
            assert!(presses <= 5, "{format} at {settings}: {says}");
            let mark = match best["surety"].as_str().unwrap() {
                "sure" => "",
                "likely" => "?",
                other => panic!("{other}"),
            };
            let _ = write!(table, "{:>10}", format!("{presses}{mark}"));
        }
        table.push('\n');
    }
    table.push_str("\npresses until found; ? likely, else sure; – cannot be sent so\n");
    golden::assert_same("listen/presses.txt", &table);
}

#[test]
fn two_that_remain_possible_are_both_named() {
    let caliper = VirtualCaliper::open().unwrap();
    let mut listening = Listening::start(listen(caliper.path(), &["--presses", "2"]));
    // Six decimal digits without a point: 1.00 mm as word24-hex, or 64 mm of a gauge without decimals.
    for hundredths in [0x100, 0x123] {
        listening.next(&["press_now"]);
        let bytes = Sends::Word24(Form::Hex)
            .frame(Decimal::new(hundredths, 2), Unit::Millimetre)
            .unwrap();
        send(&caliper, &bytes, LineSettings::default());
    }
    let says = listening.next(&["found", "undecided"]);
    let fits = says["fits"].as_array().unwrap();
    let mut names: Vec<_> = fits
        .iter()
        .map(|fit| fit["format"].as_str().unwrap())
        .collect();
    names.sort_unstable();
    assert_eq!(says["kind"], "undecided");
    assert_eq!(names, ["decimal-line", "word24-hex"], "{says}");
    assert_eq!(listening.exit_code(), 1);
}

#[test]
fn what_no_format_fits_is_said_to_fit_none() {
    let caliper = VirtualCaliper::open().unwrap();
    let mut listening = Listening::start(listen(caliper.path(), &["--presses", "2"]));
    for _ in 0..2 {
        listening.next(&["press_now"]);
        caliper.send(b"HELLO WORLD\r").unwrap();
    }
    let says = listening.next(&["found", "undecided"]);
    assert_eq!(says["fits"], serde_json::json!([]));
    assert_eq!(listening.exit_code(), 1);
}

#[test]
fn without_a_byte_it_says_what_to_try_and_ends_in_time() {
    let caliper = VirtualCaliper::open().unwrap();
    let output = Command::new(crate::harness::program())
        .args(["--config", "none/tallyjaw.toml", "listen", "--for", "6"])
        .arg(caliper.path())
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    for word in [
        "no bytes so far",
        "DTR and RTS",
        "--ask",
        "no bytes were received",
    ] {
        assert!(text.contains(word), "no {word:?} in {text}");
    }
    assert_eq!(output.status.code(), Some(1));
}

#[test]
fn a_caliper_that_only_answers_is_found_by_asking() {
    let caliper = VirtualCaliper::open().unwrap();
    let mut listening = Listening::start(listen(caliper.path(), &["--ask"]));
    for press in 0.. {
        // The first request comes after a silence, the others at once.
        let request = caliper.received(PATIENCE).unwrap();
        assert_eq!(request, b"\r");
        let bytes = frame(Sends::DecimalLine { with_unit: true }, press);
        send(&caliper, &bytes, LineSettings::default());
        let line = listening.next(&["heard"]);
        if line["presses"].as_u64().unwrap() == 2 {
            break;
        }
    }
    let says = listening.next(&["found", "undecided"]);
    let block = says["block"].as_str().unwrap();
    assert!(
        block.contains("capture = \"ask\"\nrequest = \"\\r\"\n"),
        "{block}"
    );
    assert_eq!(listening.exit_code(), 0);
}

#[test]
fn ctrl_c_ends_with_what_is_known_by_then() {
    let caliper = VirtualCaliper::open().unwrap();
    let mut listening = Listening::start(listen(caliper.path(), &[]));
    listening.next(&["press_now"]);
    send(&caliper, b"+1.63mm\r", LineSettings::default());
    listening.next(&["heard"]);
    let pid = rustix::process::Pid::from_child(&listening.child);
    rustix::process::kill_process(pid, rustix::process::Signal::INT).unwrap();
    let says = listening.next(&["found", "undecided"]);
    assert_eq!(says["fits"][0]["format"], "decimal-line");
    assert_eq!(listening.exit_code(), 0);
}

#[test]
fn a_port_that_is_not_there_is_exit_code_4() {
    let output = listen(Path::new("/dev/tty-not-there"), &[])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(4));
    let text = String::from_utf8(output.stderr).unwrap();
    assert!(text.contains("no such port"), "{text}");
}

/// A shop whose second caliper is not configured yet; its port.
fn shop_with_a_new_caliper() -> (Shop, VirtualCaliper) {
    let shop = Shop::new();
    let caliper = VirtualCaliper::open_at(shop.path("tty-new")).unwrap();
    let text = shop.configuration().replace(
        "[[station]]",
        "# My bench, by the window.\n[[station]] # a remark\n",
    );
    shop.write("tallyjaw.toml", &text);
    (shop, caliper)
}

pub(crate) fn press_until_done(listening: &Listening, caliper: &VirtualCaliper) -> Value {
    for press in 0.. {
        let line = listening.next(&["press_now", "found", "undecided"]);
        if line["kind"] != "press_now" {
            return line;
        }
        let bytes = frame(Sends::DecimalLine { with_unit: true }, press);
        send(caliper, &bytes, "4800 7E2".parse().unwrap());
    }
    unreachable!()
}

#[test]
fn what_is_found_is_written_behind_what_the_user_wrote() {
    let (shop, caliper) = shop_with_a_new_caliper();
    let before = std::fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let port = caliper.path().to_str().unwrap();
    let arguments = ["--json", "listen", port, "--write", "--name", "caliper-2"];
    let mut listening = Listening::start(shop.tallyjaw(&arguments));
    press_until_done(&listening, &caliper);
    let added = listening.next(&["adding"]);
    listening.next(&["written"]);
    assert_eq!(listening.exit_code(), 0);
    let after = std::fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let block = format!(
        "[[instrument]]\nname = \"caliper-2\"\nstation = \"bench-1\"\nkind = \"caliper\"\nport = \"{port}\"\n\
         line = \"4800 7E2\"\nformat = \"decimal-line\"\nunit = \"mm\"\nresolution = \"0.01 mm\" # as its digits show\n\
         # max_error = \"? mm\" # its maximum permissible error, from its certificate: the guarded rule and verifying need it\n\
         capture = \"press\"\n"
    );
    assert_eq!(added["added"], block);
    assert_eq!(after, format!("{before}\n{block}"));
    assert_eq!(shop.run(&["check"]).status.code(), Some(0));
    assert!(!shop.path(".tallyjaw.toml.new").exists());
}

#[test]
fn the_block_that_is_written_is_shown_once() {
    let (shop, caliper) = shop_with_a_new_caliper();
    let port = caliper.path().to_str().unwrap();
    let mut listening = shop
        .tallyjaw(&[
            "listen",
            port,
            "--write",
            "--name",
            "caliper-2",
            "--for",
            "60",
        ])
        .env("TALLYJAW_PTY_MARKS", "1")
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = String::new();
    let mut press = 0;
    for line in BufReader::new(listening.stdout.take().unwrap()).lines() {
        let line = line.unwrap();
        if line.contains("reading at") {
            let bytes = frame(Sends::DecimalLine { with_unit: true }, press);
            send(&caliper, &bytes, "4800 7E2".parse().unwrap());
            press += 1;
        }
        said.push_str(&line);
        said.push('\n');
    }
    assert!(listening.wait().unwrap().success(), "{said}");
    assert_eq!(said.matches("[[instrument]]").count(), 1, "{said}");
    assert!(said.contains("+[[instrument]]"), "{said}");
}

#[test]
fn a_double_is_refused_before_anybody_presses() {
    let (shop, caliper) = shop_with_a_new_caliper();
    let port = caliper.path().to_str().unwrap();
    let same_name = shop.run(&["listen", port, "--write", "--name", "caliper-1"]);
    let text = String::from_utf8(same_name.stderr).unwrap();
    assert_eq!(same_name.status.code(), Some(2));
    assert!(
        text.contains("an instrument caliper-1 is there already"),
        "{text}"
    );
    let known = shop.calipers[0].path().to_str().unwrap();
    let same_port = shop.run(&["listen", known, "--write"]);
    let text = String::from_utf8(same_port.stderr).unwrap();
    assert_eq!(same_port.status.code(), Some(2));
    assert!(
        text.contains("is already the port of instrument caliper-1"),
        "{text}"
    );
    let no_station = shop.run(&["listen", port, "--write", "--station", "bench-9"]);
    assert_eq!(no_station.status.code(), Some(2));
}
