//! The daemon under a service manager: its messages, and the form of its log.
//!
//! The manager's side is real: a datagram socket as systemd has it, and the stream of its log.

use crate::harness::{Daemon, PATIENCE, Shop};
use rustix::process::Signal;
use serde_json::Value;
use std::fs;
use std::os::unix::fs::MetadataExt as _;
use std::os::unix::net::UnixDatagram;
use std::process::Command;
use std::sync::mpsc;

/// The socket of a manager.
pub(crate) struct Manager {
    socket: UnixDatagram,
}

impl Manager {
    /// Starts the daemon of `shop` with this manager's socket and these variables.
    pub(crate) fn starts(shop: &Shop, variables: &[(&str, &str)]) -> (Self, Daemon) {
        let mut command = shop.tallyjaw(&["--json", "serve"]);
        command.envs(variables.iter().copied());
        Self::starts_by(shop, command)
    }

    /// Starts a daemon by this command.
    pub(crate) fn starts_by(shop: &Shop, mut command: Command) -> (Self, Daemon) {
        let path = shop.path("notify.sock");
        let socket = UnixDatagram::bind(&path).unwrap();
        socket.set_read_timeout(Some(PATIENCE)).unwrap();
        command.env("NOTIFY_SOCKET", path);
        (Self { socket }, shop.start_by(command))
    }

    /// Every message from now on, read as it comes, as a manager does.
    pub(crate) fn listen(self) -> mpsc::Receiver<String> {
        let (said, heard) = mpsc::channel();
        std::thread::spawn(move || while said.send(self.next()).is_ok() {});
        heard
    }

    /// The next message, with its lines separated by spaces; a time is removed.
    pub(crate) fn next(&self) -> String {
        let mut buffer = [0; 4_096];
        let count = self
            .socket
            .recv(&mut buffer)
            .expect("a message within the patience");
        let text = std::str::from_utf8(&buffer[..count]).unwrap();
        let lines = text.lines().map(|line| match line.split_once('=') {
            Some(("MONOTONIC_USEC", _)) => "MONOTONIC_USEC=…",
            _ => line,
        });
        lines.collect::<Vec<_>>().join(" ")
    }
}

#[test]
fn a_service_manager_is_told_that_it_serves_reloads_and_stops() {
    let shop = Shop::new();
    let (manager, daemon) = Manager::starts(&shop, &[]);
    assert_eq!(
        manager.next(),
        "READY=1 STATUS=serving; the verdicts are in verdicts.log of the state folder"
    );

    daemon.signal(Signal::HUP);
    assert_eq!(manager.next(), "RELOADING=1 MONOTONIC_USEC=…");
    assert_eq!(
        manager.next(),
        "READY=1 STATUS=serving by the new configuration"
    );

    shop.write("tallyjaw.toml", "[daemon]\nstate_dri = \"state\"\n");
    daemon.signal(Signal::HUP);
    assert_eq!(manager.next(), "RELOADING=1 MONOTONIC_USEC=…");
    assert_eq!(
        manager.next(),
        "READY=1 STATUS=serving by the old configuration: the new one is faulty, see the log"
    );

    let (status, _) = daemon.stop();
    assert!(status.success());
    assert_eq!(manager.next(), "STOPPING=1");
}

#[test]
fn signs_of_life_come_as_long_as_the_loop_turns() {
    let shop = Shop::new();
    let (manager, daemon) = Manager::starts(&shop, &[("WATCHDOG_USEC", "40000")]);
    assert!(manager.next().starts_with("READY=1"));
    for _ in 0..5 {
        assert_eq!(manager.next(), "WATCHDOG=1");
    }
    // Stopped by SIGSTOP it sends nothing until it continues.
    daemon.signal(Signal::STOP);
    manager.socket.set_nonblocking(true).unwrap();
    while manager.socket.recv(&mut [0; 64]).is_ok() {}
    manager.socket.set_nonblocking(false).unwrap();
    daemon.signal(Signal::CONT);
    assert_eq!(manager.next(), "WATCHDOG=1");
}

#[test]
fn without_a_manager_nothing_is_said_and_a_manager_that_is_gone_holds_nothing_up() {
    let shop = Shop::new();
    let mut command = shop.tallyjaw(&["--json", "serve"]);
    command
        .env("NOTIFY_SOCKET", shop.path("nobody.sock"))
        .env("WATCHDOG_USEC", "40000");
    let (status, _) = shop.start_by(command).stop();
    assert!(status.success(), "{}", shop.messages());
}

#[test]
fn lines_for_the_log_of_the_system_begin_with_their_priority_and_have_no_time() {
    let shop = Shop::new();
    let command = shop.tallyjaw(&["--json", "serve"]);
    // The harness sends standard error to this file.
    let stream = fs::File::create(shop.path("messages"))
        .unwrap()
        .metadata()
        .unwrap();
    let mut command = command;
    command.env(
        "JOURNAL_STREAM",
        format!("{}:{}", stream.dev(), stream.ino()),
    );
    let daemon = shop.start_by(command);
    drop(daemon.connected_feed());
    let (status, _) = daemon.stop();
    assert!(status.success());
    let messages = shop.messages();
    let port = shop.calipers[0].path().display();
    assert_eq!(
        messages,
        format!(
            "<6>the port is open instrument=\"caliper-1\" port={port}\n<6>stopping reason=\"SIGTERM\"\n"
        )
    );
}

#[test]
fn messages_are_objects_where_that_was_asked() {
    let shop = Shop::new();
    let daemon = shop.start_by(shop.tallyjaw(&["--json", "serve", "--log-format", "json"]));
    drop(daemon.connected_feed());
    assert!(daemon.stop().0.success());
    let messages = shop.messages();
    let lines: Vec<Value> = messages
        .lines()
        .map(|line| serde_json::from_str(line).unwrap_or_else(|error| panic!("{error}: {line}")))
        .collect();
    for line in &lines {
        let keys: Vec<&String> = line.as_object().unwrap().keys().collect();
        assert_eq!(keys, ["at", "fields", "level", "message"], "{line}");
        assert!(line["at"].as_str().unwrap().ends_with('Z'), "{line}");
    }
    let opened = lines
        .iter()
        .find(|line| line["message"] == "the port is open");
    let opened = opened.unwrap_or_else(|| panic!("{messages}"));
    assert_eq!(opened["level"], "info");
    assert_eq!(opened["fields"]["instrument"], "caliper-1");
}

/// The values of a key of the unit.
fn unit(key: &str) -> Vec<String> {
    let text = include_str!("../../config/service/tallyjaw.service");
    let values = text
        .lines()
        .filter_map(|line| line.strip_prefix(key)?.strip_prefix('='));
    values
        .flat_map(|value| value.split(' ').map(str::to_owned))
        .collect()
}

#[test]
fn the_unit_tries_again_for_as_long_as_the_disk_is_away_and_then_goes_on() {
    let mut shop = Shop::new();
    let mut daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &serde_json::json!({"plan": "no-zero"}));
    shop.press(161);
    feed.wait_for("reading");
    let announced = shop.journal_lines();
    let (state, away) = (shop.path("state"), shop.path("away"));
    fs::rename(&state, &away).unwrap();
    fs::write(&state, "no disk").unwrap();
    shop.press(162);
    // As a manager does by the unit, more often than by default.
    assert_eq!(unit("Restart"), ["on-failure"]);
    assert_eq!(unit("StartLimitIntervalSec"), ["0"], "it never gives up");
    let given_up: Vec<i32> = unit("RestartPreventExitStatus")
        .iter()
        .map(|status| status.parse().unwrap())
        .collect();
    let mut codes = vec![daemon.wait().code().unwrap()];
    for _ in 0..8 {
        codes.push(shop.run(&["serve"]).status.code().unwrap());
    }
    assert_eq!(codes, [4; 9], "{}", shop.messages());
    assert!(!given_up.contains(&4));

    fs::remove_file(&state).unwrap();
    fs::rename(&away, &state).unwrap();
    let daemon = shop.start();
    assert_eq!(shop.journal_lines()[..announced.len()], announced);
    let mut feed = daemon.connected_feed();
    shop.press(163);
    feed.wait_for("reading");
    assert!(daemon.stop().0.success(), "{}", shop.messages());
    assert_eq!(shop.run(&["verify"]).status.code(), Some(0));
}

/// The kernel's Documentation/admin-guide/devices.txt has these numbers (from memory); a virtual machine of the bench image
/// has shown that a name which `/proc/devices` lacks at the start is never allowed.
#[test]
fn the_unit_allows_usb_adapters_that_are_plugged_in_after_its_start() {
    let allowed: Vec<String> = unit("DeviceAllow")
        .into_iter()
        .filter(|word| word != "rw")
        .collect();
    assert_eq!(allowed, ["char-188", "char-166", "char-ttyS"]);
}
