//! The mistakes of a first hour and their messages: a golden file for each, made by the built program.
//!
//! Each begins where `tallyjaw init --yes` ends.

use super::golden;
use super::harness::{Daemon, PATIENCE, Shop, TZ};
use serde_json::json;
use std::fmt::Write as _;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::process::{Command, Stdio};
use std::time::Instant;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// Where the bench of the golden files is.
const BENCH: &str = "/home/mara/bench";

/// A bench, with what was typed and printed there.
struct Hour {
    shop: Shop,
    said: String,
}

impl Hour {
    /// A folder in which `init --yes` was run, without a caliper.
    fn begin() -> Self {
        let mut hour = Self::in_an_empty_folder();
        hour.said.clear();
        let output = hour
            .command(&["init", "--yes", "--no-port"])
            .output()
            .unwrap();
        assert!(output.status.success(), "{output:?}");
        // Tests that run at the same time cannot share a port for their page.
        hour.edit(
            "tallyjaw.toml",
            "[page]\n",
            "[page]\nlisten = \"127.0.0.1:0\"\n",
        );
        hour
    }

    fn in_an_empty_folder() -> Self {
        let mut shop = Shop::with_stations(0);
        for name in ["tallyjaw.toml", "sheet.toml", "plans.toml"] {
            fs::remove_file(shop.path(name)).unwrap();
        }
        shop.calipers.clear();
        Self {
            shop,
            said: String::new(),
        }
    }

    /// The same with a caliper, found and written.
    fn with_a_caliper() -> Self {
        let mut hour = Self::begin();
        let caliper = VirtualCaliper::open_at(hour.shop.path("tty-1")).unwrap();
        hour.shop.calipers.push(caliper);
        let port = hour.shop.path("tty-1");
        hour.instrument(port.to_str().unwrap());
        hour
    }

    fn instrument(&self, port: &str) {
        let path = self.shop.path("tallyjaw.toml");
        let mut text = fs::read_to_string(&path).unwrap();
        let _ = write!(
            text,
            "\n[[instrument]]\nname = \"caliper-1\"\nstation = \"bench-1\"\nkind = \"caliper\"\nport = \"{port}\"\n\
             line = \"9600 8N1\"\nformat = \"decimal-line\"\nunit = \"mm\"\nresolution = \"0.01 mm\"\ncapture = \"press\"\n"
        );
        fs::write(path, text).unwrap();
    }

    fn edit(&self, name: &str, from: &str, to: &str) {
        let text = fs::read_to_string(self.shop.path(name)).unwrap();
        assert!(text.contains(from), "no {from:?} in {text}");
        self.shop.write(name, &text.replacen(from, to, 1));
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(crate::harness::program());
        command
            .args(arguments)
            .current_dir(self.shop.dir.path())
            .env_remove("TALLYJAW_CONFIG")
            .env_remove("XDG_CONFIG_HOME")
            .env("HOME", "/home/mara")
            .env("NO_COLOR", "1")
            .env("COLUMNS", "100")
            .env("TZ", TZ)
            .stdin(Stdio::null());
        command
    }

    /// Runs a command and keeps its output.
    fn types(&mut self, arguments: &[&str]) {
        let command = self.command(arguments);
        self.keeps(command, arguments);
    }

    /// Runs `status` when the log is up to date. It has a cursor of its own and follows the entries a moment later.
    fn types_status(&mut self) {
        let deadline = Instant::now() + PATIENCE;
        loop {
            let status = self.command(&["status"]).output().unwrap();
            if String::from_utf8_lossy(&status.stdout).contains("up to date") {
                break;
            }
            assert!(Instant::now() < deadline, "{status:?}");
        }
        self.types(&["status"]);
    }

    fn keeps(&mut self, mut command: Command, arguments: &[&str]) {
        let output = command.output().unwrap();
        let code = output.status.code().unwrap();
        let text = [output.stdout, output.stderr].concat();
        let text = String::from_utf8(text).unwrap();
        let folder = self.shop.dir.path().to_str().unwrap();
        let text = text.replace(folder, BENCH);
        let typed = arguments.join(" ").replace(folder, BENCH);
        let _ = write!(self.said, "$ tallyjaw {typed}\n{text}exit code {code}\n\n");
    }

    fn serve(&self) -> Daemon {
        self.shop.start_by(self.command(&["--json", "serve"]))
    }

    fn is_said_in(&self, name: &str) {
        golden::assert_same(&format!("first_hour/{name}.txt"), self.said.trim_end());
    }
}

#[test]
fn no_configuration_or_the_wrong_folder() {
    let mut hour = Hour::in_an_empty_folder();
    hour.types(&["serve"]);
    hour.types(&["check"]);
    hour.types(&["arm", "pump-own"]);
    hour.types(&["--config", "bench/tallyjaw.toml", "serve"]);
    hour.is_said_in("no_configuration");
}

#[test]
fn init_a_second_time() {
    let mut hour = Hour::begin();
    hour.types(&["init"]);
    hour.types(&["--config", "bench.toml", "init"]);
    hour.types(&["init", "other", "--yes", "--port", "/dev/ttyUSB77"]);
    assert!(!hour.shop.path("other").exists());
    hour.is_said_in("init_again");
}

#[test]
fn no_caliper_yet() {
    let mut hour = Hour::begin();
    hour.types(&["check"]);
    hour.types(&["listen", "/dev/ttyUSB77"]);
    let mut serving = hour.command(&["serve"]);
    let mut child = serving
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut lines = String::new();
    let mut out = std::io::BufReader::new(child.stdout.take().unwrap());
    while !lines.contains("stop it with") {
        assert!(
            std::io::BufRead::read_line(&mut out, &mut lines).unwrap() > 0,
            "{lines}"
        );
    }
    let page = lines.find("http://").unwrap();
    let end = page + lines[page..].find('/').unwrap() + lines[page + 7..].find('/').unwrap() + 3;
    lines.replace_range(page..end, "http://127.0.0.1:PORT/");
    let _ = write!(hour.said, "$ tallyjaw serve\n{lines}\n");
    hour.types_status();
    child.kill().unwrap();
    child.wait().unwrap();
    hour.is_said_in("no_caliper");
}

#[test]
fn a_port_that_is_not_there() {
    let mut hour = Hour::begin();
    hour.instrument("/dev/ttyUSB77");
    let daemon = hour.serve();
    let deadline = Instant::now() + PATIENCE;
    // A problem with a port is no entry, so no event announces it.
    while daemon.call("status", &json!({}))["troubles"].is_null() {
        assert!(Instant::now() < deadline, "no trouble is told");
    }
    hour.types_status();
    hour.types(&["ports", "/dev/ttyUSB77"]);
    hour.is_said_in("no_port");
}

#[test]
fn a_port_that_this_user_may_not_open() {
    let groups = fs::read_to_string("/etc/group").unwrap();
    let dialout = groups.lines().find_map(|line| {
        line.strip_prefix("dialout:x:")?
            .split(':')
            .next()?
            .parse()
            .ok()
    });
    let (true, Some(dialout)) = (rustix::process::geteuid().is_root(), dialout) else {
        return; // only root can become somebody else
    };
    let mut hour = Hour::with_a_caliper();
    let folder = hour.shop.dir.path();
    fs::set_permissions(folder, fs::Permissions::from_mode(0o755)).unwrap();
    let device = fs::canonicalize(hour.shop.path("tty-1")).unwrap();
    std::os::unix::fs::chown(&device, Some(0), Some(dialout)).unwrap();
    fs::set_permissions(&device, fs::Permissions::from_mode(0o660)).unwrap();
    for arguments in [&["ports", "tty-1"][..], &["listen", "tty-1"]] {
        let mut command = hour.command(arguments);
        command.uid(65_534).gid(65_534);
        hour.keeps(command, arguments);
    }
    // Distributions give this user's group different names.
    let mut said = hour
        .said
        .replace("nogroup", "mara")
        .replace("nobody", "mara");
    said = said.replace(device.to_str().unwrap(), "/dev/ttyUSB0");
    hour.said = said;
    hour.is_said_in("no_permission");
}

#[test]
fn no_daemon() {
    let mut hour = Hour::with_a_caliper();
    hour.types(&["status"]);
    hour.types(&["arm", "pump-own"]);
    hour.types(&["watch"]);
    hour.is_said_in("no_daemon");
}

#[test]
fn a_second_daemon() {
    let mut hour = Hour::with_a_caliper();
    let daemon = hour.serve();
    hour.types(&["serve"]);
    let port = hour.shop.path("tty-1");
    hour.types(&["listen", port.to_str().unwrap()]);
    let pid = daemon.child.id().to_string();
    let device = fs::canonicalize(&port).unwrap();
    hour.said = hour
        .said
        .replace(&format!("process {pid}"), "process 4711")
        .replace(&format!("pid {pid}"), "pid 4711")
        .replace(device.to_str().unwrap(), "/dev/ttyUSB0");
    // It logs causes and times before it gives up.
    let lines = hour.said.lines().filter(|line| !line.starts_with("20"));
    hour.said = lines.collect::<Vec<_>>().join("\n");
    hour.is_said_in("second_daemon");
}

#[test]
fn a_typo() {
    let mut hour = Hour::with_a_caliper();
    hour.edit("plans.toml", "pieces = 5", "peices = 5");
    hour.edit(
        "tallyjaw.toml",
        "station = \"bench-1\"",
        "station = \"bench1\"",
    );
    hour.edit("sheets.toml", "[[terminal.row]]", "[[terminal.row]");
    hour.types(&["check"]);
    hour.edit("sheets.toml", "[[terminal.row]", "[[terminal.row]]");
    hour.types(&["check"]);
    hour.types(&["arm", "pump-won"]);
    hour.is_said_in("typo");
}

#[test]
fn a_plan_that_is_not_there() {
    let mut hour = Hour::with_a_caliper();
    let _daemon = hour.serve();
    hour.types(&["arm", "pump-won"]);
    hour.is_said_in("no_plan");
}

#[test]
fn a_wrong_unit() {
    let mut hour = Hour::with_a_caliper();
    for limits in [
        "1.62 ±0.05",
        "1.62 ±0.05 N",
        "0.064 ±0.002 mm",
        "1,62 ±0,05 mm",
    ] {
        let sheets = fs::read_to_string(hour.shop.path("sheets.toml")).unwrap();
        hour.edit("sheets.toml", "1.62 ±0.05 mm", limits);
        hour.types(&["check"]);
        hour.shop.write("sheets.toml", &sheets);
    }
    hour.is_said_in("wrong_unit");
}

#[test]
fn a_row_that_is_missing() {
    let mut hour = Hour::with_a_caliper();
    hour.edit(
        "plans.toml",
        "wire = \"14 ga\"\nsizing = \"sae_metric\"",
        "wire = \"1.0 mm²\"",
    );
    hour.types(&["check"]);
    hour.is_said_in("missing_row");
}

#[test]
fn a_gauge_in_the_wrong_system_or_in_none() {
    let mut hour = Hour::with_a_caliper();
    hour.edit("plans.toml", "\"sae_metric\"", "\"awg_area\"");
    hour.types(&["check"]);
    hour.edit("plans.toml", "sizing = \"awg_area\"\n", "");
    hour.types(&["check"]);
    hour.is_said_in("wrong_gauge_system");
}

#[test]
fn arming_twice() {
    let mut hour = Hour::with_a_caliper();
    let daemon = hour.serve();
    drop(daemon.connected_feed());
    hour.types(&["arm", "pump-own"]);
    hour.types(&["arm", "pump-own"]);
    hour.is_said_in("armed_twice");
}

#[test]
fn help_for_whoever_is_lost() {
    let mut hour = Hour::in_an_empty_folder();
    hour.types(&["init", "--help"]);
    hour.types(&["doctor", "--help"]);
    hour.types(&["inti"]);
    hour.is_said_in("help");
}
