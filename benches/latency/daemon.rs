//! The daemon with an open series, run by `serve` as at a bench.

use super::{Child, Contestant, Result, connect};
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::Command;
use tallyjaw::virtual_caliper::VirtualCaliper;

/// Turns the daemon's syncs off, only for this benchmark.
const NO_SYNC: &str = "TALLYJAW_BENCHMARK_WITHOUT_SYNC";

const SHEET: &str = r#"
[[terminal]]
id = "QF-250-F"

[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
"#;

const PLAN: &str = r#"
[[plan]]
id = "pump-own"
terminal = "QF-250-F"
wire = "2.0 mm²"
axes = ["core_crimp_height"]
pieces = 25
purpose = "in_process"
decision = "simple"
repeat = true
zero = { before_first = false, closing = false }
"#;

/// A build of the program, under its name in tables.
pub(super) type Build = (&'static str, PathBuf);

/// The build that belongs to this benchmark.
pub(super) fn ours() -> Build {
    ("tallyjaw", env!("CARGO_BIN_EXE_tallyjaw").into())
}

/// It, and an earlier one if `TALLYJAW_BEFORE` names its file.
pub(super) fn builds() -> Vec<Build> {
    let before = std::env::var_os("TALLYJAW_BEFORE");
    let before = before.map(|file| ("before", file.into()));
    [ours()].into_iter().chain(before).collect()
}

/// Starts the daemon with `more` in its configuration, and arms a plan that repeats.
pub(super) fn start(build: &Build, folder: &Path, sync: bool, more: &str) -> Result<Contestant> {
    start_with(build, folder, sync, more, "")
}

/// As [`start`], with `others` after its own configuration.
pub(super) fn start_with(
    build: &Build,
    folder: &Path,
    sync: bool,
    more: &str,
    others: &str,
) -> Result<Contestant> {
    std::fs::create_dir_all(folder)?;
    let caliper = VirtualCaliper::open()?;
    std::fs::write(folder.join("sheet.toml"), SHEET)?;
    std::fs::write(folder.join("plan.toml"), PLAN)?;
    let configuration = format!("{more}{}{others}", configuration(caliper.path()));
    std::fs::write(folder.join("tallyjaw.toml"), configuration)?;
    let mut command = Command::new(&build.1);
    command
        .arg("--config")
        .arg(folder.join("tallyjaw.toml"))
        .arg("serve");
    if !sync {
        command.env(NO_SYNC, "1");
    }
    let said = std::fs::File::create(folder.join("said"))?;
    command.stdout(said.try_clone()?).stderr(said);
    let process = Child(command.spawn()?);
    let mut feed = BufReader::new(connect(&folder.join("run/feed.sock"))?);
    feed.get_mut().write_all(b"{\"after\":0}\n")?;
    wait_for(&mut feed, "\"kind\":\"attached\"")?;
    arm(folder)?;
    wait_for(&mut feed, "\"kind\":\"armed\"")?;
    Ok(Contestant {
        caliper,
        feed: Box::new(feed),
        before_value: "\"value\":",
        besides: "\"verdict\":\"pass\"",
        process,
        _crowd: Box::new(()),
    })
}

fn configuration(port: &Path) -> String {
    format!(
        r#"
[daemon]
state_dir = "state"
runtime_dir = "run"
sheets = ["sheet.toml"]
plans = ["plan.toml"]

[[station]]
name = "bench-1"

[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "{}"
line = "9600 8N1"
format = "decimal-line"
unit = "mm"
resolution = "0.01 mm"
max_error = "0.02 mm"
range = "0..150 mm"
capture = "press"
"#,
        port.display()
    )
}

fn wait_for(feed: &mut impl BufRead, what: &str) -> Result<()> {
    let mut line = String::new();
    while !line.contains(what) {
        line.clear();
        if feed.read_line(&mut line)? == 0 {
            return Err(format!("the feed was closed before {what}").into());
        }
    }
    Ok(())
}

fn arm(folder: &Path) -> Result<()> {
    let mut control = BufReader::new(connect(&folder.join("run/control.sock"))?);
    let request = r#"{"jsonrpc":"2.0","id":1,"method":"arm","params":{"station":"bench-1","plan":"pump-own"}}"#;
    control
        .get_mut()
        .write_all(format!("{request}\n").as_bytes())?;
    let mut answer = String::new();
    control.read_line(&mut answer)?;
    if answer.contains("\"result\"") {
        Ok(())
    } else {
        Err(format!("the plan was not armed: {answer}").into())
    }
}
