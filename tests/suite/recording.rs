//! `tallyjaw tape` and `tallyjaw replay`, used from outside.

use super::ports::DEADLINE;
use super::tapes::root;
use std::fs;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::Instant;
use tallyjaw::virtual_caliper::VirtualCaliper;

fn tallyjaw() -> Command {
    let mut command = Command::new(crate::harness::program());
    command
        .arg("--config")
        .arg(root().join("tests/bench/tallyjaw.toml"));
    command
}

fn run(arguments: &[&str]) -> Output {
    tallyjaw().args(arguments).output().unwrap()
}

fn said(output: &Output) -> (Option<i32>, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (
        output.status.code(),
        text(&output.stdout),
        text(&output.stderr),
    )
}

/// Waits until the file contains the text; no event announces it.
fn wait_for(path: &Path, text: &str) {
    let start = Instant::now();
    while !fs::read_to_string(path).is_ok_and(|tape| tape.contains(text)) {
        assert!(
            start.elapsed() < DEADLINE,
            "{} never had {text:?}",
            path.display()
        );
        std::thread::sleep(std::time::Duration::from_millis(5));
    }
}

fn interrupt(child: &Child) {
    let pid = rustix::process::Pid::from_child(child);
    rustix::process::kill_process(pid, rustix::process::Signal::INT).unwrap();
}

#[test]
fn a_port_is_recorded_and_its_tape_gives_its_readings() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("press.tape");
    let mut caliper = VirtualCaliper::open().unwrap();
    let child = tallyjaw()
        .arg("tape")
        .arg(caliper.path())
        .arg("-o")
        .arg(&path)
        .args(["--line", "4800 8N1"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    wait_for(&path, " open ");
    caliper.send(b"+0.00\r").unwrap();
    wait_for(&path, "2b302e30300d");
    caliper.send(b"+1.63\r").unwrap();
    wait_for(&path, "2b312e36330d");
    caliper.unplug();
    wait_for(&path, " close ");
    interrupt(&child);
    let (code, out, error) = said(&child.wait_with_output().unwrap());
    assert_eq!(code, Some(0), "{error}");
    assert_eq!(out, format!("{}: 12 bytes in 2 pieces\n", path.display()));
    let tape = path.to_str().unwrap();
    let replay = [
        "replay",
        tape,
        "--instrument",
        "caliper-1",
        "--plan",
        "pump-own",
    ];
    let (code, first, error) = said(&run(&replay));
    assert_eq!(code, Some(0), "{error}");
    assert!(first.contains("1.63 mm"), "{first}");
    assert_eq!(
        said(&run(&replay)).1,
        first,
        "the same tape gives the same entries"
    );
    let (_, json, _) = said(&run(&[&["--json"], replay.as_slice()].concat()));
    let kinds: Vec<String> = json
        .lines()
        .map(|line| {
            let entry: serde_json::Value = serde_json::from_str(line).unwrap();
            entry["kind"].as_str().unwrap().to_owned()
        })
        .collect();
    assert_eq!(
        kinds,
        ["armed", "attached", "zeroed", "reading", "detached"]
    );
}

#[test]
fn a_file_that_is_there_is_not_overwritten() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let (code, _, error) = said(&run(&[
        "tape",
        "/dev/ttyUSB9",
        "-o",
        file.path().to_str().unwrap(),
    ]));
    assert_eq!(code, Some(2));
    assert!(error.contains("exists already"), "{error}");
    let (code, _, error) = said(&run(&["tape", "caliper-9", "-o", "unused.tape"]));
    assert_eq!(code, Some(2));
    assert!(error.contains("no instrument \"caliper-9\""), "{error}");
}

#[test]
fn a_faulty_tape_is_refused_with_its_line() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let path = file.path().to_str().unwrap();
    fs::write(
        path,
        "tallyjaw tape 1\nat 2026-11-25T09:14:03Z\nline 9600 8N1\n\n5 bytes zz\n",
    )
    .unwrap();
    let (code, _, error) = said(&run(&["replay", path, "--instrument", "caliper-1"]));
    assert_eq!(code, Some(2));
    assert!(error.contains("line 5: got \"5 bytes zz\""), "{error}");
    assert!(error.contains("help: "), "{error}");
    let (code, _, error) = said(&run(&["replay", "there-is-none.tape"]));
    assert_eq!(code, Some(2));
    assert!(error.contains("tallyjaw tape PORT -o FILE"), "{error}");
}

#[test]
fn a_plan_that_is_not_there_and_a_tape_of_nobody_are_told() {
    let tape = root().join("tests/captures/press/capture.tape");
    let tape = tape.to_str().unwrap();
    let (code, _, error) = said(&run(&["replay", tape, "--plan", "pump-owm"]));
    assert_eq!(code, Some(2));
    assert!(error.contains("pump-owm"), "{error}");
    let (code, _, error) = said(&run(&["replay", tape, "--instrument", "caliper-9"]));
    assert_eq!(code, Some(2));
    assert!(error.contains("no instrument \"caliper-9\""), "{error}");
}

#[test]
fn a_tape_plays_through_a_pseudo_terminal_to_whoever_opens_it() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("caliper");
    let tape = root().join("tests/captures/press/capture.tape");
    let mut child = tallyjaw()
        .arg("replay")
        .arg(tape)
        .arg("--pty")
        .arg(&link)
        .args(["--pace", "max"])
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = BufReader::new(child.stdout.take().unwrap());
    let mut first = String::new();
    out.read_line(&mut first).unwrap();
    assert_eq!(first.trim_end(), link.to_str().unwrap());
    let mut port = fs::File::open(&link).unwrap();
    let mut all = Vec::new();
    // The far end is gone when the tape ends, which gives an error of the system.
    let _ = port.read_to_end(&mut all);
    assert_eq!(all, b"+0.00\r+1.63\r+1.61\r+1.68\r+0.00\r");
    assert!(child.wait().unwrap().success());
    assert!(!link.exists(), "the link stays behind");
}
