//! Verdicts announced by a program: its arguments, one run at a time, and what happens to one that hangs.
//!
//! The program is a script that writes its arguments into a pipe which the test reads.

use crate::harness::{Daemon, Lines, Shop};
use serde_json::json;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};
use std::os::unix::fs::PermissionsExt;
use std::sync::mpsc::{Receiver, channel};

struct Said(Receiver<String>);

impl Said {
    fn next(&self) -> String {
        self.0
            .recv_timeout(crate::harness::PATIENCE)
            .expect("nothing is said")
    }
}

/// A shop whose daemon runs this script with `arguments`. What it writes to `"$said"` comes out of the second value.
fn shop(script: &str, arguments: &str) -> (Shop, Said) {
    let shop = Shop::new();
    let (program, pipe) = (shop.path("say"), shop.path("said"));
    rustix::fs::mkfifoat(rustix::fs::CWD, &pipe, rustix::fs::Mode::RWXU).unwrap();
    let text = format!(
        "#!/bin/sh\nsaid={}\ncd {}\n{script}\n",
        pipe.display(),
        shop.dir.path().display()
    );
    shop.write("say", &text);
    std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o700)).unwrap();
    let announce = format!(
        "[daemon]\nannounce = [\"{}\", {arguments}]\n",
        program.display()
    );
    shop.write(
        "tallyjaw.toml",
        &shop.configuration().replacen("[daemon]\n", &announce, 1),
    );
    // Both ends are kept open, so that the pipe does not end between two runs.
    let pipe = OpenOptions::new()
        .read(true)
        .write(true)
        .open(pipe)
        .unwrap();
    let (lines, said) = channel();
    std::thread::spawn(move || {
        for line in BufReader::new(pipe).lines() {
            if lines.send(line.unwrap()).is_err() {
                return;
            }
        }
    });
    (shop, Said(said))
}

fn armed(shop: &Shop, plan: &str) -> (Daemon, Lines) {
    let daemon = shop.start();
    let feed = daemon.connected_feed();
    daemon.call("arm", &json!({"plan": plan}));
    (daemon, feed)
}

#[test]
fn each_verdict_zero_and_outcome_is_said_without_a_shell() {
    let (mut shop, said) = shop(
        "printf '%s|' \"$@\" >\"$said\"; echo >\"$said\"",
        "\"{verdict} {value}\", \"{station} {axis} {piece}\", \"$(touch owned); {value}\"",
    );
    let (daemon, mut feed) = armed(&shop, "pump-own");
    let mut press = |hundredths, kind| {
        shop.press(hundredths);
        feed.wait_for(kind);
        said.next()
    };
    assert_eq!(
        press(162, "reading"),
        "not counted 1.62 mm|bench-1 core crimp height 1|$(touch owned); 1.62 mm|"
    );
    assert_eq!(
        press(-1, "zeroed"),
        "zero minus 0.01 mm|bench-1|$(touch owned); minus 0.01 mm|"
    );
    for (hundredths, verdict) in [
        (162, "pass"),
        (150, "fail, too low"),
        (172, "fail, too high"),
    ] {
        let line = press(hundredths, "reading");
        assert!(line.starts_with(&format!("{verdict} ")), "{line}");
    }
    daemon.call("disarm", &json!({}));
    assert_eq!(said.next(), "series stopped early|bench-1|$(touch owned);|");
    assert!(!shop.path("owned").exists());
}

#[test]
fn what_comes_faster_than_it_is_said_is_skipped_and_the_newest_is_said_one_at_a_time() {
    let (mut shop, said) = shop(
        "echo \"begin $1\" >\"$said\"; read go <go; echo \"end $1\" >\"$said\"",
        "\"{value}\"",
    );
    let go = shop.path("go");
    rustix::fs::mkfifoat(rustix::fs::CWD, &go, rustix::fs::Mode::RWXU).unwrap();
    let (_daemon, mut feed) = armed(&shop, "no-zero");
    let mut press = |hundredths| {
        shop.press(hundredths);
        feed.wait_for("reading");
    };
    press(160);
    assert_eq!(said.next(), "begin 1.60 mm");
    for hundredths in [161, 162, 163, 164, 165, 161, 162, 163, 164] {
        press(hundredths);
    }
    // The first run may end now. The next announcement is one of the last four, if it is not old.
    let release = || writeln!(File::options().write(true).open(&go).unwrap(), "go").unwrap();
    release();
    assert_eq!(said.next(), "end 1.60 mm");
    press(166);
    let mut runs = 0;
    loop {
        let begin = said.next();
        let value = begin
            .strip_prefix("begin ")
            .expect("one at a time")
            .to_owned();
        runs += 1;
        release();
        assert_eq!(said.next(), format!("end {value}"));
        if value == "1.66 mm" {
            break;
        }
    }
    // Four that wait, the new one, and those that it had not read yet when the first ended.
    assert!(runs < 10, "{runs} of 10 were said late");
}

#[test]
fn a_program_that_hangs_is_ended_and_the_next_verdict_is_said() {
    let (mut shop, said) = shop(
        "echo \"$1\" >\"$said\"; mkdir hung 2>/dev/null && exec sleep 1000",
        "\"{value}\"",
    );
    let (_daemon, mut feed) = armed(&shop, "no-zero");
    shop.press(160);
    feed.wait_for("reading");
    assert_eq!(said.next(), "1.60 mm");
    // Announced once the hanging run was killed, unless it waited too long; then the next one.
    let mut hundredths = 161;
    let from = std::time::Instant::now();
    loop {
        assert!(
            from.elapsed() < 2 * crate::harness::PATIENCE,
            "nothing is said any more"
        );
        shop.press(hundredths);
        feed.wait_for("reading");
        let pause = std::time::Duration::from_millis(500);
        if let Ok(line) = said.0.recv_timeout(pause) {
            assert!(line.starts_with("1.6"), "{line}");
            break;
        }
        hundredths = 160 + (hundredths + 1) % 5;
    }
    assert!(
        shop.messages()
            .contains("it ran longer than 10 s and was ended"),
        "{}",
        shop.messages()
    );
}

#[test]
fn a_program_that_is_not_there_is_reported_and_nothing_waits_for_it() {
    let mut shop = Shop::new();
    let announce = "[daemon]\nannounce = [\"/nonexistent/speaker\", \"{verdict}\"]\n";
    shop.write(
        "tallyjaw.toml",
        &shop.configuration().replacen("[daemon]\n", announce, 1),
    );
    let (daemon, mut feed) = armed(&shop, "no-zero");
    for hundredths in [160, 161, 162] {
        shop.press(hundredths);
        assert_eq!(feed.wait_for("reading")["verdict"], "pass");
    }
    assert!(daemon.stop().0.success());
    let told = shop
        .messages()
        .matches("a verdict was not announced")
        .count();
    assert_eq!(told, 1, "{}", shop.messages());
}
