//! Verification plans, dates of care, and the mistakes in them.

use super::Texts;
use crate::golden;
use std::fmt::Write as _;
use tallyjaw::spec::{Purpose, Subject};

/// The good configuration with a plan that verifies its caliper.
fn good() -> Texts {
    let mut texts = Texts::good();
    texts.main.push_str(
        "max_error = \"0.02 mm\"
calibrated = \"2026-02-10\"
calibration_due = \"2027-02-10\"
verify_every_days = 30
",
    );
    texts.tools = texts.tools.replace(
        "class = \"production\"\n",
        "class = \"production\"
last_check = \"2026-09-01\"
check_due = \"2027-09-01\"
check_every_crimps = 5000
crimps_before = 12000
crimps_at_check = 12000
",
    );
    texts.plans.push_str(
        "
[[plan]]
id = \"verify-caliper-1\"
purpose = \"verification\"
instrument = \"caliper-1\"
blocks = [\"1.30 mm\", \"2.50 ±0.0002 mm\"]
repeats = 3
",
    );
    texts
}

#[test]
fn a_plan_for_gauge_blocks_needs_no_terminal_and_no_wire() {
    let config = good().assemble().unwrap();
    let plan = config.catalog.plan("verify-caliper-1").unwrap();
    let Subject::Blocks { instrument, blocks } = &plan.subject else {
        panic!("{plan:?}");
    };
    assert_eq!(instrument, "caliper-1");
    let blocks: Vec<_> = blocks.iter().map(ToString::to_string).collect();
    assert_eq!(blocks, ["1.30 mm", "2.50 mm (±0.0002 mm)"]);
    assert_eq!((plan.pieces, plan.purpose), (3, Purpose::Verification));
}

/// The text to replace, and its replacement.
const PLANS: &[(&str, &str, &str)] = &[
    ("a block without a unit", "\"1.30 mm\"", "\"1.30\""),
    ("a block that is a force", "\"1.30 mm\"", "\"1.30 N\""),
    ("a block of nothing", "\"1.30 mm\"", "\"0 mm\""),
    ("a block twice", "\"1.30 mm\"", "\"2.50 mm\""),
    (
        "an empty list of blocks",
        "[\"1.30 mm\", \"2.50 ±0.0002 mm\"]",
        "[]",
    ),
    (
        "no blocks",
        "blocks = [\"1.30 mm\", \"2.50 ±0.0002 mm\"]\n",
        "",
    ),
    ("no instrument", "instrument = \"caliper-1\"\n", ""),
    (
        "an instrument that is not there",
        "instrument = \"caliper-1\"",
        "instrument = \"calliper-1\"",
    ),
    ("zero repeats", "repeats = 3", "repeats = 0"),
    ("pieces instead of repeats", "repeats = 3", "pieces = 3"),
    (
        "a terminal beside blocks",
        "repeats = 3",
        "terminal = \"QF-250-F\"",
    ),
    (
        "a guarded verification",
        "repeats = 3",
        "decision = \"guarded\"",
    ),
    (
        "blocks for another purpose",
        "purpose = \"verification\"",
        "purpose = \"in_process\"",
    ),
    (
        "a verification without blocks",
        "purpose = \"first_off\"",
        "purpose = \"verification\"",
    ),
];

const MAIN: &[(&str, &str, &str)] = &[
    (
        "a day as it is written elsewhere",
        "\"2026-02-10\"",
        "\"10.02.2026\"",
    ),
    (
        "a day that is in no calendar",
        "\"2026-02-10\"",
        "\"2026-02-30\"",
    ),
    ("a day without quotes", "\"2026-02-10\"", "2026-02-10"),
    ("due before it was done", "\"2027-02-10\"", "\"2025-02-10\""),
    (
        "verified every zero days",
        "verify_every_days = 30",
        "verify_every_days = 0",
    ),
    (
        "verified every number of words",
        "verify_every_days = 30",
        "verify_every_days = \"30 days\"",
    ),
];

const TOOLS: &[(&str, &str, &str)] = &[
    (
        "a check due before the last",
        "\"2027-09-01\"",
        "\"2025-09-01\"",
    ),
    (
        "a check after no crimps",
        "check_every_crimps = 5000",
        "check_every_crimps = 0",
    ),
    (
        "crimps below nothing",
        "crimps_before = 12000",
        "crimps_before = -1",
    ),
    (
        "half a crimp",
        "crimps_at_check = 12000",
        "crimps_at_check = 12000.5",
    ),
];

/// Chooses the text in which a mistake is made.
type TextOf = fn(&mut Texts) -> &mut String;

#[test]
fn every_mistake_in_the_care_of_things_is_shown_in_its_place_with_what_to_do() {
    let mut shown = String::new();
    let files: [(&[_], TextOf); 3] = [
        (MAIN, |texts| &mut texts.main),
        (TOOLS, |texts| &mut texts.tools),
        (PLANS, |texts| &mut texts.plans),
    ];
    for (mistakes, text_of) in files {
        for (name, good_part, bad_part) in mistakes {
            let mut texts = good();
            let text = text_of(&mut texts);
            assert!(text.contains(good_part), "{name}: {good_part}");
            *text = text.replacen(good_part, bad_part, 1);
            let faulty = texts.assemble().expect_err(name);
            assert_eq!(
                faulty.diagnostics.len(),
                1,
                "{name}: one mistake, one error"
            );
            let _ = writeln!(shown, "# {name}");
            for fault in faulty.rendered(false) {
                let _ = writeln!(shown, "{fault}\n");
            }
        }
    }
    golden::assert_same("config/care_mistakes.txt", &shown);
}
