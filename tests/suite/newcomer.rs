//! The first five minutes as in the README: `init` finds a caliper and writes a configuration, then crimps are
//! measured. The same with the shipped folders.

use crate::harness::Shop;
use crate::listen::{Listening, press_until_done};
use serde_json::json;
use std::fs;
use std::io::Write as _;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use tallyjaw::virtual_caliper::VirtualCaliper;

/// A copy of a shipped folder, with a caliper.
fn copied(folder: &str) -> Shop {
    let mut shop = Shop::with_stations(0);
    copy(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join(folder),
        shop.dir.path(),
    );
    shop.calipers = vec![VirtualCaliper::open_at(shop.path("tty-1")).unwrap()];
    shop
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for item in fs::read_dir(from).unwrap() {
        let item = item.unwrap();
        let target = to.join(item.file_name());
        if item.file_type().unwrap().is_dir() {
            copy(&item.path(), &target);
        } else {
            fs::copy(item.path(), target).unwrap();
        }
    }
}

/// Runs `listen --write` with some presses.
fn write_the_caliper(shop: &Shop, more: &[&str]) {
    let caliper = &shop.calipers[0];
    let port = caliper.path().to_str().unwrap();
    let arguments = [&["--json", "listen", port, "--write"], more].concat();
    let mut listening = Listening::start(shop.tallyjaw(&arguments));
    press_until_done(&listening, caliper);
    listening.next(&["written"]);
    assert_eq!(listening.exit_code(), 0);
}

/// Whether `check` finds no errors, and its output.
fn checked(shop: &Shop) -> (bool, String) {
    let output = shop.run(&["check"]);
    let text = [output.stdout, output.stderr].concat();
    (output.status.success(), String::from_utf8(text).unwrap())
}

#[test]
fn the_least_configuration_a_found_caliper_and_a_plan_give_verdicts() {
    let mut shop = copied("config/start");
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    assert!(text.contains("\n[page]\n"));
    // Tests that run at the same time cannot share a port.
    let text = text.replace("[page]\n", "[page]\nlisten = \"127.0.0.1:0\"\n");
    shop.write("tallyjaw.toml", &text);
    // missing parts are reported, and nothing else
    let (good, said) = checked(&shop);
    assert!(good && said.contains("there is no instrument"), "{said}");
    assert!(said.contains("no errors, 1 warning"), "{said}");
    write_the_caliper(&shop, &[]);
    let (good, said) = checked(&shop);
    assert!(good && !said.contains("warning"), "{said}");

    let mut found = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    assert!(found.contains("line = \"4800 7E2\""), "{found}");
    found = found.replace("line = \"4800 7E2\"", "line = \"9600 8N1\""); // what `press` sends
    shop.write("tallyjaw.toml", &found);
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": "pump-own"}));
    shop.press(0);
    feed.wait_for("zeroed");
    for (hundredths, verdict) in [(163, "pass"), (168, "fail_high")] {
        shop.press(hundredths);
        assert_eq!(feed.wait_for("reading")["verdict"], verdict);
    }
}

#[test]
fn the_example_of_every_key_without_its_instruments_takes_a_new_one() {
    let shop = copied("config");
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let mut kept = String::new();
    let mut keep = true;
    for line in text.lines() {
        if line.starts_with('[') {
            keep = ![
                "[[instrument]]",
                "[[uncertainty]]",
                "[[uncertainty.contribution]]",
            ]
            .contains(&line);
        }
        if keep {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    shop.write("tallyjaw.toml", &kept);
    let (good, said) = checked(&shop);
    assert!(
        good && said.contains("`tallyjaw listen PORT --write` adds one"),
        "{said}"
    );
    write_the_caliper(&shop, &["--station", "bench-1"]);
    let (good, said) = checked(&shop);
    assert!(
        good && said.contains("caliper-1 has no max_error"),
        "{said}"
    );
}

#[test]
fn who_asks_for_what_was_measured_before_anything_was_is_told_what_begins_a_journal() {
    let shop = copied("config/start");
    for arguments in [
        &["series"][..],
        &["series", "3"],
        &["report", "1"],
        &["export", "csv"],
        &["study", "describe", "--axis", "core_crimp_height"],
        &["verify"],
    ] {
        let output = shop.run(arguments);
        // For `verify` this is an answer, and the answer is no.
        let (said, code) = if arguments == ["verify"] {
            (output.stdout, 1)
        } else {
            (output.stderr, 4)
        };
        let text = String::from_utf8(said).unwrap();
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {text}");
        assert!(
            text.contains("`tallyjaw serve` begins a journal"),
            "{arguments:?}: {text}"
        );
    }
}

/// An empty folder with a caliper beside it.
fn nothing_yet() -> Shop {
    let shop = copied("config/start");
    for name in ["tallyjaw.toml", "sheets.toml", "sheet.toml", "plans.toml"] {
        fs::remove_file(shop.path(name)).unwrap();
    }
    shop
}

fn init(shop: &Shop, arguments: &[&str]) -> Command {
    let mut command = Command::new(crate::harness::program());
    command
        .arg("init")
        .args(arguments)
        .current_dir(shop.dir.path())
        .env_remove("TALLYJAW_CONFIG")
        .env("NO_COLOR", "1")
        .stdin(Stdio::null());
    command
}

/// Runs a command with these lines typed.
fn typed(shop: &Shop, arguments: &[&str], lines: &str) -> (Output, String) {
    let mut command = init(shop, arguments);
    command.stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = command.stderr(Stdio::piped()).spawn().unwrap();
    let mut input = child.stdin.take().unwrap();
    let _ = input.write_all(lines.as_bytes()); // it may end before all is read
    drop(input);
    let output = child.wait_with_output().unwrap();
    let text = [output.stdout.clone(), output.stderr.clone()].concat();
    (output, String::from_utf8(text).unwrap())
}

/// The names of what is in a folder.
fn names(folder: &Path) -> Vec<String> {
    let items = fs::read_dir(folder).unwrap().map(|item| item.unwrap());
    let mut names: Vec<_> = items
        .map(|item| item.file_name().into_string().unwrap())
        .filter(|name| name != "tty-1")
        .collect();
    names.sort();
    names
}

#[test]
fn from_nothing_to_the_first_verdict_in_five_actions() {
    let mut shop = nothing_yet();
    // 1: init, during which the data key is pressed
    let port = shop.calipers[0].path().to_owned();
    let arguments = ["--json", "--port", port.to_str().unwrap()];
    let mut listening = Listening::start(init(&shop, &arguments));
    for press in 0.. {
        let line = listening.next(&["press_now", "wrote", "undecided"]);
        if line["kind"] != "press_now" {
            assert_eq!(line["kind"], "wrote", "{line}");
            break;
        }
        shop.press(163 + 37 * press);
    }
    let checked = listening.next(&["checked"]);
    assert_eq!(
        (&checked["errors"], &checked["warnings"]),
        (&json!(0), &json!(0))
    );
    let ready = listening.next(&["ready"]);
    assert_eq!(
        ready["next"],
        json!(["tallyjaw serve", "tallyjaw arm pump-own"])
    );
    assert_eq!(listening.exit_code(), 0);
    assert_eq!(
        names(shop.dir.path()),
        ["plans.toml", "sheets.toml", "tallyjaw.toml"]
    );

    // Tests that run at the same time cannot share a port.
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let text = text.replace("[page]\n", "[page]\nlisten = \"127.0.0.1:0\"\n");
    shop.write("tallyjaw.toml", &text);
    // 2: the next command that it printed
    let daemon = shop.start();
    let mut feed = daemon.connected_feed();
    // 3: the other command that it printed
    daemon.call("arm", &json!({"plan": "pump-own"}));
    // 4: jaws closed; 5: a crimp
    shop.press(0);
    feed.wait_for("zeroed");
    shop.press(163);
    assert_eq!(feed.wait_for("reading")["verdict"], "pass");
    // `doctor` finds nothing wrong.
    let doctor = shop.run(&["doctor"]);
    let said = String::from_utf8(doctor.stdout).unwrap();
    for line in [
        "tallyjaw.toml: no errors",
        "caliper-1: the daemon reads",
        "it answers, and the journal is written",
        "daemon and command are",
        "a file was written and synced in",
    ] {
        assert!(said.contains(line), "no {line:?} in {said}");
    }
    assert_eq!(doctor.status.code(), Some(0), "{said}");
}

#[test]
fn a_person_is_asked_for_a_row_and_told_what_a_wrong_answer_should_be() {
    let shop = nothing_yet();
    let lines = "none\nKX-110\n16 gauges\n16 ga\nsae\nsae_metric\n1.10\n1.10 ±0.05 mm\n\n\n7\n";
    let (output, said) = typed(&shop, &["bench"], lines);
    assert_eq!(output.status.code(), Some(0), "{said}");
    for part in [
        "want a wire size such as",
        "16 ga is not one size",
        "sae_metric",
        "want limits such as",
        "bench/tallyjaw.toml: no errors",
        "cd bench",
        "tallyjaw listen PORT --write",
        "tallyjaw arm first-off",
    ] {
        assert!(said.contains(part), "no {part:?} in {said}");
    }
    assert!(!said.contains("invented example, never"), "{said}");
    let text = fs::read_to_string(shop.path("bench/plans.toml")).unwrap();
    assert!(
        text.contains("wire = \"16 ga\"\nsizing = \"sae_metric\"\n"),
        "{text}"
    );
    assert!(text.contains("pieces = 7"), "{text}");
}

#[test]
fn nothing_is_written_when_the_input_ends_or_ctrl_c_is_pressed_or_it_is_a_trial() {
    let shop = nothing_yet();
    let (output, said) = typed(&shop, &[], "none\nKX-110\n");
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("nothing was written"), "{said}");
    assert_eq!(names(shop.dir.path()), [""; 0]);

    let (output, said) = typed(&shop, &["--yes", "--no-port", "-n", "bench"], "");
    assert_eq!(output.status.code(), Some(0), "{said}");
    assert!(said.contains("would write bench/sheets.toml"), "{said}");
    assert_eq!(names(shop.dir.path()), [""; 0]);

    let port = shop.calipers[0].path().to_owned();
    let mut command = init(&shop, &["--json", "--port", port.to_str().unwrap()]);
    let mut child = command
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut out = std::io::BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    while !line.contains("press_now") {
        line.clear();
        assert!(std::io::BufRead::read_line(&mut out, &mut line).unwrap() > 0);
    }
    let pid = rustix::process::Pid::from_child(&child);
    rustix::process::kill_process(pid, rustix::process::Signal::INT).unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{output:?}");
    assert_eq!(names(shop.dir.path()), [""; 0]);
}

#[test]
fn what_is_there_is_never_replaced() {
    let shop = nothing_yet();
    shop.write("plans.toml", "# mine\n");
    let (output, said) = typed(&shop, &["--yes", "--no-port"], "");
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("plans.toml is there already"), "{said}");
    assert_eq!(
        fs::read_to_string(shop.path("plans.toml")).unwrap(),
        "# mine\n"
    );
    assert_eq!(names(shop.dir.path()), ["plans.toml"]);
}

#[test]
fn whoever_is_not_root_serves_right_after_it() {
    if !rustix::process::geteuid().is_root() {
        return; // the other tests cover it then
    }
    let shop = nothing_yet();
    std::os::unix::fs::chown(shop.dir.path(), Some(65_534), Some(65_534)).unwrap();
    let as_nobody = |mut command: Command| {
        command.uid(65_534).gid(65_534);
        command
    };
    let mut made = as_nobody(init(&shop, &["--yes", "--no-port"]));
    let output = made.output().unwrap();
    assert!(output.status.success(), "{output:?}");
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let text = text.replace("[page]\n", "[page]\nlisten = \"127.0.0.1:0\"\n");
    shop.write("tallyjaw.toml", &text);
    let daemon = shop.start_by(as_nobody(shop.tallyjaw(&["--json", "serve"])));
    assert!(daemon.child.id() > 0);
    assert!(shop.path("state/journal").is_dir() && shop.path("run/control.sock").exists());
}

#[test]
fn the_doctor_names_each_thing_that_is_wrong_with_what_to_do() {
    let mut shop = nothing_yet();
    let examined = |shop: &Shop| {
        let output = shop.run(&["--json", "doctor"]);
        let lines = String::from_utf8(output.stdout).unwrap();
        let found: Vec<serde_json::Value> = lines
            .lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .filter(|line: &serde_json::Value| line["is"] == "wrong")
            .collect();
        for finding in &found {
            assert!(!finding["help"].is_null(), "{finding}");
        }
        let says = found
            .iter()
            .map(|line| line["says"].as_str().unwrap().to_owned());
        (
            output.status.code().unwrap(),
            says.collect::<Vec<_>>().join("\n"),
        )
    };
    let (code, says) = examined(&shop);
    assert!(code == 1 && says.contains("cannot read"), "{says}");

    let output = init(&shop, &["--yes", "--no-port"]).output().unwrap();
    assert!(output.status.success());
    let (code, says) = examined(&shop);
    assert!(
        code == 1 && says.contains("no instrument is in the configuration"),
        "{says}"
    );

    write_the_caliper(&shop, &[]);
    assert_eq!(examined(&shop).0, 0);
    let text = fs::read_to_string(shop.path("tallyjaw.toml")).unwrap();
    let text = text.replace("[page]\n", "[page]\nlisten = \"127.0.0.1:0\"\n");
    shop.write("tallyjaw.toml", &text);
    shop.start().kill();
    let (code, says) = examined(&shop);
    assert!(
        code == 1 && says.contains("left by a daemon that was killed"),
        "{says}"
    );

    fs::remove_dir_all(shop.path("run")).unwrap();
    shop.calipers.clear();
    let (code, says) = examined(&shop);
    assert!(
        code == 1 && says.contains("caliper-1: no such port"),
        "{says}"
    );

    shop.write("plans.toml", "[[plan]]\n");
    let (code, says) = examined(&shop);
    assert!(code == 1 && says.contains("in the configuration"), "{says}");
}
