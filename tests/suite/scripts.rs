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
