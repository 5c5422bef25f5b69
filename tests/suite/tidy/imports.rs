//! Which module may name which, and what may not stand above the line.
//!
//! In: a file's path below `src/` and its text. Out: its faults, each with what to do.

use super::source::{Token, tokens};

/// What one top-level module may name.
pub(super) struct Row {
    pub(super) module: &'static str,
    pub(super) may_name: May,
    /// Below the line: may touch the world.
    pub(super) edge: bool,
}

pub(super) enum May {
    Only(&'static [&'static str]),
    AllBut(&'static [&'static str]),
}

const fn pure(module: &'static str, may_name: &'static [&'static str]) -> Row {
    Row {
        module,
        may_name: May::Only(may_name),
        edge: false,
    }
}

const fn edge(module: &'static str, may_name: &'static [&'static str]) -> Row {
    Row {
        module,
        may_name: May::Only(may_name),
        edge: true,
    }
}

/// The table of DEVELOPERS.md, in its order. A module names only modules above its own.
pub(super) const ROWS: &[Row] = &[
    pure("quantity", &[]),
    pure("markup", &["quantity"]),
    pure("drawings", &["markup"]),
    pure("letterhead", &["quantity"]),
    pure("texts", &["quantity"]),
    pure("pictures", &["quantity"]),
    pure("decode", &["quantity"]),
    pure("spec", &["quantity", "decode"]),
    pure("config", &["quantity", "letterhead", "decode", "spec"]),
    pure("entry", &["quantity", "pictures", "decode", "spec"]),
    pure("stats", &["quantity", "markup"]),
    pure("qualification", &["quantity", "spec", "entry", "stats"]),
    pure(
        "station",
        &["quantity", "decode", "spec", "entry", "qualification"],
    ),
    pure(
        "message",
        &[
            "quantity",
            "texts",
            "pictures",
            "spec",
            "config",
            "entry",
            "qualification",
            "station",
        ],
    ),
    pure("row", &["quantity", "spec", "entry"]),
    pure(
        "report",
        &[
            "quantity",
            "markup",
            "drawings",
            "letterhead",
            "spec",
            "entry",
            "stats",
            "qualification",
        ],
    ),
    edge("workers", &[]),
    edge("system", &[]),
    edge("clock", &["quantity"]),
    edge("files", &["config", "letterhead", "clock"]),
    edge("durable", &["system"]),
    edge("signing", &["entry", "durable"]),
    edge("serial", &["quantity", "config", "entry"]),
    edge("virtual_caliper", &["quantity", "decode", "config"]),
    edge(
        "journal",
        &[
            "quantity",
            "entry",
            "qualification",
            "workers",
            "system",
            "durable",
            "signing",
        ],
    ),
    edge(
        "index",
        &[
            "quantity", "spec", "entry", "workers", "system", "durable", "journal",
        ],
    ),
    edge(
        "album",
        &[
            "quantity", "pictures", "report", "entry", "durable", "journal",
        ],
    ),
    edge("web", &["config"]),
    edge(
        "timestamp",
        &["quantity", "config", "entry", "durable", "web"],
    ),
    edge(
        "archive",
        &[
            "quantity", "entry", "durable", "signing", "journal", "album",
        ],
    ),
    edge(
        "export",
        &[
            "quantity", "spec", "entry", "row", "workers", "system", "durable",
        ],
    ),
    edge(
        "sink",
        &[
            "quantity",
            "spec",
            "entry",
            "message",
            "row",
            "config",
            "durable",
            "signing",
            "journal",
            "web",
            "timestamp",
            "export",
        ],
    ),
    edge(
        "clients",
        &[
            "quantity",
            "letterhead",
            "pictures",
            "spec",
            "entry",
            "message",
            "config",
            "durable",
            "journal",
            "album",
        ],
    ),
    edge(
        "page",
        &[
            "quantity",
            "markup",
            "drawings",
            "letterhead",
            "texts",
            "pictures",
            "spec",
            "entry",
            "message",
            "config",
            "report",
            "durable",
            "journal",
            "index",
            "album",
            "clients",
        ],
    ),
    edge(
        "opcua",
        &[
            "quantity", "spec", "entry", "message", "config", "clock", "durable", "page",
        ],
    ),
    Row {
        module: "daemon",
        may_name: May::AllBut(&["cli"]),
        edge: true,
    },
    Row {
        module: "cli",
        may_name: May::AllBut(&[]),
        edge: true,
    },
];

/// The modules above the line that may compute with floats.
const FLOATS: &[&str] = &["stats"];

/// The other program, which hands its arguments to the library as `main.rs` does.
const SECOND_PROGRAM: &str = "opcua/main.rs";

/// The only file of `spec` that may name `decode`, and what it is for.
const SPEC_NAMES_DECODE_IN: &str = "spec/instrument.rs";

/// Parts of `std` that touch the world.
const WORLDLY: &[&str] = &["env", "fs", "io", "net", "os", "process", "thread"];
/// Crates and macros that touch the world.
const WORLDLY_NAMES: &[&str] = &[
    "crossbeam_channel",
    "dbg",
    "eprintln",
    "glob",
    "print",
    "println",
    "rustix",
    "serialport",
    "tokio",
    "tokio_serial",
    "tracing",
    "Instant",
    "SystemTime",
];

pub(super) fn row(module: &str) -> Option<&'static Row> {
    ROWS.iter().find(|row| row.module == module)
}

impl Row {
    fn allows(&self, module: &str) -> bool {
        module == self.module
            || match self.may_name {
                May::Only(allowed) => allowed.contains(&module),
                May::AllBut(banned) => row(module).is_some() && !banned.contains(&module),
            }
    }

    /// As in the second column of the table.
    pub(super) fn in_words(&self) -> String {
        match self.may_name {
            May::Only([]) => "–".to_owned(),
            May::Only(allowed) => allowed.join(" "),
            May::AllBut([]) => "all".to_owned(),
            May::AllBut(banned) => format!("all but {}", banned.join(" ")),
        }
    }
}

/// The faults of the file at `path` (from `src/`).
pub(super) fn faults(path: &str, text: &str) -> Vec<String> {
    let tokens = tokens(text);
    let modules = module_path(path);
    let Some(module) = modules.first() else {
        return Vec::new(); // lib.rs and main.rs are above all rows
    };
    let Some(row) = row(module) else {
        return Vec::new(); // the test of rows says so
    };
    let mut found = Vec::new();
    let mut say = |line: usize, fault: String| found.push(format!("{path}:{line}: {fault}"));
    crate_paths(row, path, &tokens, &mut say);
    super_paths(modules.len(), &tokens, &mut say);
    if !row.edge {
        worldly_names(row.module, &tokens, &mut say);
    }
    if !["entry", "message", "texts", "index"].contains(&module.as_str()) {
        for token in &tokens {
            if token.text == "Serialize" {
                say(
                    token.line,
                    "Serialize outside of entry, message, texts and index: what is stored or sent has a type of its own there".to_owned(),
                );
            }
        }
    }
    found
}

/// `spec/axis/mod.rs` → spec, axis.
fn module_path(path: &str) -> Vec<String> {
    let path = path.trim_end_matches(".rs");
    path.split('/')
        .filter(|part| !["mod", "lib", "main"].contains(part))
        .map(str::to_owned)
        .collect()
}

fn text_at(tokens: &[Token], at: usize) -> &str {
    tokens.get(at).map_or("", |token| token.text.as_str())
}

/// The token after `::` that follows the one at `at`; `None` if no `::` follows.
fn after_path_mark(tokens: &[Token], at: usize) -> Option<&str> {
    (text_at(tokens, at + 1) == ":" && text_at(tokens, at + 2) == ":")
        .then(|| text_at(tokens, at + 3))
}

fn crate_paths(row: &Row, path: &str, tokens: &[Token], say: &mut impl FnMut(usize, String)) {
    for (at, token) in tokens.iter().enumerate() {
        let in_visibility = at > 0 && text_at(tokens, at - 1) == "(";
        match (token.text.as_str(), after_path_mark(tokens, at)) {
            ("crate", Some("{" | "*")) => say(
                token.line,
                "a braced or starred path from the crate root hides what it names: write one `use crate::MODULE` each".to_owned(),
            ),
            ("crate", Some(named)) if !row.allows(named) => say(
                token.line,
                format!(
                    "{} names crate::{named}; its row allows: {}. Move the code, or let the caller hand the value in",
                    row.module,
                    row.in_words()
                ),
            ),
            ("crate", Some("decode")) if row.module == "spec" && path != SPEC_NAMES_DECODE_IN => say(
                token.line,
                format!("spec names decode only in {SPEC_NAMES_DECODE_IN}, for the type of a format"),
            ),
            ("crate", None) if !in_visibility => say(
                token.line,
                "the crate root under another name hides what is named: write `crate::MODULE`".to_owned(),
            ),
            ("tallyjaw", Some(_)) if path != SECOND_PROGRAM => say(
                token.line,
                "the library names itself: write `crate::MODULE`".to_owned(),
            ),
            _ => {}
        }
    }
}

/// A path over `super` may not leave the top-level module. `depth` is the file's own: 1 for
/// `crate::spec`.
fn super_paths(depth: usize, tokens: &[Token], say: &mut impl FnMut(usize, String)) {
    let mut braces = 0_usize;
    let mut inline_modules = Vec::new();
    let mut in_use = false;
    let mut supers = 0;
    for (at, token) in tokens.iter().enumerate() {
        match token.text.as_str() {
            "{" => {
                if at >= 2 && text_at(tokens, at - 2) == "mod" {
                    inline_modules.push(braces);
                }
                braces += 1;
            }
            "}" => {
                braces = braces.saturating_sub(1);
                if inline_modules.last() == Some(&braces) {
                    inline_modules.pop();
                }
            }
            "use" => in_use = true,
            ";" => in_use = false,
            "super" => {
                let before = at.checked_sub(1).map_or("", |at| text_at(tokens, at));
                supers = if before == ":" { supers + 1 } else { 1 };
                let hidden = in_use && (before == "{" || before == ",");
                if hidden || supers >= depth + inline_modules.len() {
                    say(
                        token.line,
                        "a path over `super` leaves its top-level module: write `crate::MODULE`"
                            .to_owned(),
                    );
                }
            }
            _ => {}
        }
    }
}

fn worldly_names(module: &str, tokens: &[Token], say: &mut impl FnMut(usize, String)) {
    const REMEDY: &str =
        "above the line nothing touches the world: let an edge module do it and hand the result in";
    for (at, token) in tokens.iter().enumerate() {
        let name = token.text.as_str();
        let is_field = at > 0 && text_at(tokens, at - 1) == ".";
        match (name, after_path_mark(tokens, at)) {
            ("std", Some("{")) => say(
                token.line,
                "a braced path from `std` hides what it names: write one `use std::MODULE` each"
                    .to_owned(),
            ),
            // bytes in memory, which decoders of pictures read as if they were a file
            ("std", Some("io")) if after_path_mark(tokens, at + 3) == Some("Cursor") => {}
            ("std", Some(part)) if WORLDLY.contains(&part) => {
                say(token.line, format!("std::{part}; {REMEDY}"));
            }
            ("f32" | "f64", _) if !FLOATS.contains(&module) => say(
                token.line,
                format!(
                    "{name} outside of stats and report: values are whole nanometres or millinewtons"
                ),
            ),
            ("disallowed_methods", _) => say(token.line, format!("an open door; {REMEDY}")),
            _ if WORLDLY_NAMES.contains(&name) && !is_field => {
                say(token.line, format!("{name}; {REMEDY}"));
            }
            _ => {}
        }
    }
}

#[test]
fn a_module_names_only_rows_above_its_own() {
    for (at, row) in ROWS.iter().enumerate() {
        let May::Only(allowed) = row.may_name else {
            continue;
        };
        for name in allowed {
            let above = ROWS.iter().take(at).any(|other| other.module == *name);
            assert!(
                above,
                "{} may name {name}, which is not above it",
                row.module
            );
        }
    }
}

#[test]
fn what_the_table_forbids_is_found_and_what_it_allows_is_not() {
    let faulty = [
        ("spec/limits.rs", "use crate::station::Core;"),
        ("spec/limits.rs", "use crate::decode::Decoder;"),
        ("spec/limits.rs", "fn f() { crate::journal::open() }"),
        (
            "spec/limits.rs",
            "use crate::{entry::Entry, quantity::Unit};",
        ),
        ("spec/limits.rs", "use crate::*;"),
        ("spec/limits.rs", "use crate as root;"),
        ("spec/limits.rs", "use super::super::entry::Entry;"),
        ("spec/mod.rs", "use super::entry::Entry;"),
        ("spec/limits.rs", "use super::{super::entry::Entry};"),
        (
            "spec/limits.rs",
            "mod tests { use super::super::super::entry; }",
        ),
        ("spec/limits.rs", "use std::fs;"),
        ("spec/limits.rs", "use std::{fs, fmt};"),
        ("spec/limits.rs", "use std::io::Read;"),
        ("spec/limits.rs", "fn f(x: f64) {}"),
        ("spec/limits.rs", "fn f() { tracing::info!(\"x\") }"),
        ("spec/limits.rs", "#[derive(Serialize)] struct A;"),
        ("daemon/mod.rs", "use crate::cli::Exit;"),
    ];
    for (path, text) in faulty {
        assert_eq!(faults(path, text).len(), 1, "{path}: {text}");
    }
    let good = [
        (
            "spec/limits.rs",
            "use crate::quantity::Length; // crate::journal",
        ),
        ("spec/instrument.rs", "use crate::decode::FrameFormat;"),
        ("spec/limits.rs", "use std::io::Cursor;"),
        (
            "spec/limits.rs",
            "mod tests { use super::*; use super::super::Axis; }",
        ),
        (
            "spec/limits.rs",
            "pub(crate) fn f() -> &'static str { \"std::fs\" }",
        ),
        (
            "daemon/mod.rs",
            "use std::{fs, io}; use crate::station::Core;",
        ),
        ("cli/serve.rs", "use crate::daemon; use tokio::runtime;"),
    ];
    for (path, text) in good {
        assert_eq!(faults(path, text), Vec::<String>::new(), "{path}: {text}");
    }
}
