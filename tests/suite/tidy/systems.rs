//! What only Linux has stands in the modules that only Linux compiles, so that a change which breaks an office computer is
//! found without building for one.
//!
//! In: a file's path below `src/`, its text, and the crates that Cargo.toml has for Linux alone. Out: its faults.

use super::source::{Token, tokens};

/// The modules and files that `cfg(target_os = "linux")` leaves out elsewhere.
const LINUX_ONLY: &[&str] = &[
    "serial/",
    "virtual_caliper/",
    "sink/",
    "clients/",
    "page/",
    "opcua/",
    "daemon/",
    "cli/bench/",
    "timestamp/asking/",
    "web/",
    "journal/follow.rs",
    "system/linux.rs",
];

/// The file that may ask for other systems by name.
const OF_OTHERS: &str = "system/elsewhere.rs";

/// The crates in the table of Cargo.toml that only Linux takes, as code names them.
pub(super) fn linux_crates(manifest: &str) -> Vec<String> {
    let table = manifest
        .split("[target.'cfg(target_os = \"linux\")'.dependencies]\n")
        .nth(1)
        .and_then(|rest| rest.split("\n[").next())
        .unwrap_or_default();
    let lines = table.lines().filter(|line| !line.starts_with('#'));
    lines
        .filter_map(|line| line.split_once(" = "))
        .map(|(name, _)| name.replace('-', "_"))
        .collect()
}

pub(super) fn faults(path: &str, text: &str, linux_crates: &[String]) -> Vec<String> {
    if LINUX_ONLY.iter().any(|only| path.starts_with(only)) {
        return Vec::new();
    }
    let tokens = tokens(text);
    let tests = tests_from(&tokens);
    let code = tokens.get(..tests).unwrap_or_default();
    let mut found = Vec::new();
    for (at, token) in code.iter().enumerate() {
        let mark = |at: usize| code.get(at).is_some_and(|next| next.text == ":");
        let names_a_path = mark(at + 1) && mark(at + 2);
        let of_one_system = ["unix", "fd", "linux", "windows"].contains(&token.text.as_str())
            && at >= 3
            && code.get(at - 3).is_some_and(|before| before.text == "os")
            && path != OF_OTHERS;
        if of_one_system || (names_a_path && linux_crates.contains(&token.text)) {
            found.push(format!(
                "{path}:{}: {} is not on every system: move this into `system` or into a module that only Linux has",
                token.line, token.text
            ));
        }
    }
    found
}

/// Where the unit tests begin: they run on Linux.
fn tests_from(tokens: &[Token]) -> usize {
    let words = ["cfg", "(", "test", ")", "]", "mod", "tests"];
    let begins = |window: &[Token]| {
        window
            .iter()
            .zip(words)
            .all(|(token, word)| token.text == word)
    };
    let found = tokens.windows(words.len()).position(begins);
    found.unwrap_or(tokens.len())
}

#[test]
fn what_only_linux_has_is_found_outside_of_its_modules_and_not_in_tests() {
    let crates = linux_crates(
        "[dependencies]\na = \"1\"\n\n[target.'cfg(target_os = \"linux\")'.dependencies]\n# Why.\nb-c = { version = \"1\" }\n\n[dev-dependencies]\nd = \"1\"\n",
    );
    assert_eq!(crates, ["b_c"]);
    for (path, text, count) in [
        ("row/mod.rs", "fn a() { b_c::open() }", 1),
        ("row/mod.rs", "use std::os::unix::fs::MetadataExt;", 1),
        (
            "system/elsewhere.rs",
            "std::os::windows::fs::FileExt::seek_read()",
            0,
        ),
        ("daemon/mod.rs", "use b_c::open;", 0),
        (
            "row/mod.rs",
            "#[cfg(test)]\nmod tests { use b_c::open; }",
            0,
        ),
        ("row/mod.rs", "struct A { b_c: u8 }", 0),
    ] {
        let found = faults(path, text, &crates);
        assert_eq!(found.len(), count, "{path}: {text}: {found:?}");
    }
}
