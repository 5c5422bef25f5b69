//! Programs in another language that use the built daemon from outside: through a pseudo-terminal and the two sockets,
//! with only what is documented.

use std::process::Command;

/// Runs a script of tests/scripts, and fails with its output.
fn run(script: &str) {
    let output = Command::new("python3")
        .arg(format!(
            "{}/tests/scripts/{script}",
            env!("CARGO_MANIFEST_DIR")
        ))
        .arg(env!("CARGO_BIN_EXE_tallyjaw"))
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .output()
        .expect("python3 must be installed; ./check does that");
    assert!(
        output.status.success(),
        "{script}: {}\n{}{}",
        output.status,
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
}

#[test]
fn a_stranger_sees_every_verdict_and_what_does_not_count() {
    run("first_readings.py");
}

#[test]
fn a_job_of_three_circuits_by_scan_cards_alone_gives_the_report_that_its_customer_gets() {
    run("pump_job.py");
}

#[test]
fn a_day_at_the_bench_without_a_keyboard_leaves_exactly_these_entries() {
    run("bench_day.py");
}

#[test]
fn a_day_of_production_holds_exactly_the_crimps_that_no_good_sample_vouches_for() {
    run("production_day.py");
}

/// Without Node the page's own check cannot run: the others must all have looked, and it is said.
#[test]
fn who_finds_what_is_asked_without_node_too_and_says_what_was_skipped() {
    let root = env!("CARGO_MANIFEST_DIR");
    let output = Command::new("bash")
        .arg(format!("{root}/tests/scripts/finds.sh"))
        .arg(env!("CARGO_BIN_EXE_tallyjaw"))
        .envs([("SEED", "1"), ("BITS", "1"), ("CHANGES", "1")])
        .env("NODE", "/nonexistent/node")
        .output()
        .unwrap();
    let [said, told] = [&output.stdout, &output.stderr].map(|text| String::from_utf8_lossy(text));
    assert_eq!(output.status.code(), Some(77), "{said}{told}");
    assert!(
        told.contains("finds: SKIPPED, it cannot run here: the page's own check, for there is no node\nhelp: install nodejs"),
        "{told}"
    );
    let row = said
        .lines()
        .find(|line| line.starts_with("checkable one bit"));
    let counts: Vec<&str> = row.unwrap_or_default().split_whitespace().skip(3).collect();
    assert_eq!(
        (counts.first(), counts.get(4)),
        (Some(&"1"), Some(&"-")),
        "{said}"
    );
}
