//! The layers of `./check`, as its help and DEVELOPERS.md name them, and what it does with an argument that it does not have.

use std::process::{Command, Output};

fn check(arguments: &[&str]) -> Output {
    Command::new("./check")
        .args(arguments)
        .current_dir(super::root())
        .output()
        .unwrap()
}

/// The steps in each of the two parts of the help: plain, and the rest of `--all`.
fn steps() -> [Vec<String>; 2] {
    let output = check(&["--help"]);
    assert!(output.status.success(), "{output:?}");
    let text = String::from_utf8(output.stdout).unwrap();
    let (plain, rest) = text
        .split_once("./check --all:")
        .unwrap_or_else(|| panic!("no part about --all in {text}"));
    [plain, rest].map(|part| {
        part.lines()
            .filter_map(|line| line.strip_prefix("  "))
            .map(|line| line.split_whitespace().next().unwrap().to_owned())
            .collect()
    })
}

/// The names in the paragraph of DEVELOPERS.md that begins so.
fn named(map: &str, beginning: &str) -> Vec<String> {
    let from = map
        .find(beginning)
        .unwrap_or_else(|| panic!("DEVELOPERS.md has no {beginning:?}"));
    let (paragraph, _) = map[from + beginning.len()..].split_once('.').unwrap();
    paragraph
        .split('`')
        .skip(1)
        .step_by(2)
        .map(str::to_owned)
        .collect()
}

#[test]
fn developers_md_names_the_steps_that_check_has_in_their_order() {
    let map = std::fs::read_to_string(super::root().join("DEVELOPERS.md")).unwrap();
    let [plain, rest] = steps();
    assert_eq!(named(&map, "\nSteps of `./check`:"), plain);
    assert_eq!(named(&map, "\nFurther steps of `./check --all`:"), rest);
}

#[test]
fn another_argument_is_refused_with_what_is_expected() {
    for (arguments, got) in [
        (&["--al"][..], "\"--al\""),
        (&["--all", "--help"], "\"--all --help\""),
        (&[""], "\"\""),
    ] {
        let output = check(arguments);
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert_eq!(
            said,
            format!(
                "check: got {got}, expected nothing, --all or --help\nhelp: ./check --help says what each does\n"
            )
        );
        assert!(output.stdout.is_empty(), "{arguments:?}: it has begun");
    }
}
