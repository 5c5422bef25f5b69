//! The rules of DEVELOPERS.md that a machine can check. All faults are reported at once, each with its remedy.

mod imports;
mod layers;
mod source;
mod systems;

use std::fs;
use std::path::{Path, PathBuf};

/// Files longer than this are split.
const MOST_LINES: usize = 500;

/// What no file may contain, cut in two so that this file does not, and why.
const DENIED: &[(&str, &str, &str)] = &[
    ("/ro", "ot/", "is a path of one machine; use a relative one"),
    ("/wo", "rk/", "is a path of one machine; use a relative one"),
    (
        "../sh",
        "ared",
        "is outside of the repository; copy what is needed into tests/reference and name its source",
    ),
    (
        "sha",
        "red/reference",
        "is outside of the repository; copy what is needed into tests/reference and name its source",
    ),
];

/// Addresses that may stand after `http://`: this machine's own, and names that are never fetched.
const PLAIN_HTTP: &[&str] = &[
    "127.0.0.1",
    "[::1]",
    "localhost",
    "evil.example", // the hostile page of tests
    "www.opcfoundation.org/",
    "www.w3.org/",
    "www.apache.org/licenses/",
    "cyclonedx.org/schema/",
    "json-schema.org/",
    "example.com/", // names in cases of the JSON Schema suite
    "2001:0db8:",   // the same
];

/// Where every package comes from.
const REGISTRY: &str = "registry+https://github.com/rust-lang/crates.io-index";

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A file of the repository: its path from the root, and its text.
struct File {
    path: String,
    text: String,
}

/// Every text file of the repository, in the order of their paths.
fn files() -> Vec<File> {
    let ignored = fs::read_to_string(root().join(".gitignore")).unwrap();
    let mut skipped: Vec<_> = ignored
        .lines()
        .map(|line| root().join(line.trim_matches('/')))
        .collect();
    skipped.push(root().join(".git"));
    let mut found = Vec::new();
    walk(root(), &skipped, &mut found);
    found.sort_by(|a, b| a.path.cmp(&b.path));
    assert!(found.len() > 50, "only {} files were found", found.len());
    found
}

fn walk(folder: &Path, skipped: &[PathBuf], found: &mut Vec<File>) {
    for item in fs::read_dir(folder).unwrap() {
        let path = item.unwrap().path();
        if skipped.contains(&path) {
            continue;
        }
        if path.is_dir() {
            walk(&path, skipped, found);
        } else if let Ok(text) = fs::read_to_string(&path) {
            let path = path.strip_prefix(root()).unwrap().to_str().unwrap();
            found.push(File {
                path: path.to_owned(),
                text,
            });
        }
    }
}

fn rust_files() -> Vec<File> {
    let mut files = files();
    files.retain(is_rust);
    files
}

fn is_rust(file: &File) -> bool {
    Path::new(&file.path)
        .extension()
        .is_some_and(|extension| extension == "rs")
}

/// Fails with all of `faults`, if there are any.
fn report(faults: &[String]) {
    assert!(
        faults.is_empty(),
        "{} faults:\n\n{}\n",
        faults.len(),
        faults.join("\n")
    );
}

#[test]
fn what_only_linux_has_stands_where_only_linux_compiles() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    let crates = systems::linux_crates(&manifest);
    assert!(crates.len() > 10, "{crates:?}");
    let mut faults = Vec::new();
    for file in rust_files() {
        if let Some(path) = file.path.strip_prefix("src/") {
            faults.extend(systems::faults(path, &file.text, &crates));
        }
    }
    report(&faults);
}

#[test]
fn modules_name_only_those_that_their_row_allows() {
    let mut faults = Vec::new();
    for file in rust_files() {
        if let Some(path) = file.path.strip_prefix("src/") {
            faults.extend(
                imports::faults(path, &file.text)
                    .into_iter()
                    .map(|fault| format!("src/{fault}")),
            );
        }
    }
    report(&faults);
}

#[test]
fn every_module_has_a_row_and_a_place_in_the_map() {
    let map = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let library = fs::read_to_string(root().join("src/lib.rs")).unwrap();
    let mut faults = Vec::new();
    for item in fs::read_dir(root().join("src")).unwrap() {
        let path = item.unwrap().path();
        let name = path.file_stem().unwrap().to_str().unwrap();
        if name == "lib" || name == "main" {
            continue;
        }
        if imports::row(name).is_none() {
            faults.push(format!(
                "src/{name} has no row in ROWS (tests/suite/tidy/imports.rs): add one, and say in DEVELOPERS.md what it is for"
            ));
        }
        // a module that only the crate sees is no link
        let rows = [format!("//! | [`{name}`] |"), format!("//! | `{name}` |")];
        if !rows.iter().any(|row| library.contains(row)) {
            faults.push(format!(
                "src/{name} is not in the table at the top of src/lib.rs: add it in its place"
            ));
        }
        if !map.contains(&format!("`{name}`")) {
            faults.push(format!(
                "src/{name} is not in the map of DEVELOPERS.md: add it in its place"
            ));
        }
    }
    report(&faults);
}

#[test]
fn the_rows_in_developers_md_are_those_that_are_checked() {
    let map = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let faults: Vec<_> = imports::ROWS
        .iter()
        .map(|row| format!("| `{}` | {} |", row.module, row.in_words()))
        .filter(|line| !map.contains(line))
        .map(|line| format!("DEVELOPERS.md has no line that begins {line:?}: make its table say what ROWS in tests/suite/tidy/imports.rs says"))
        .collect();
    report(&faults);
}

#[test]
fn every_rust_file_opens_by_saying_what_it_is() {
    let faults: Vec<_> = rust_files()
        .iter()
        .filter(|file| !file.text.starts_with("//! "))
        .map(|file| {
            format!(
                "{}:1: no `//!` header: say what goes in, what comes out and what never happens",
                file.path
            )
        })
        .collect();
    report(&faults);
}

#[test]
fn no_source_file_is_too_long_to_read() {
    let faults: Vec<_> = rust_files()
        .iter()
        .filter(|file| file.path.starts_with("src/"))
        .map(|file| (&file.path, file.text.lines().count()))
        .filter(|(_, lines)| *lines > MOST_LINES)
        .map(|(path, lines)| {
            format!("{path}: {lines} lines, want at most {MOST_LINES}: split it by subject")
        })
        .collect();
    report(&faults);
}

/// The lines of Cargo.toml that name a dependency: line number, name, and the line before.
fn dependencies(manifest: &str) -> Vec<(usize, String, String)> {
    let mut found = Vec::new();
    let (mut inside, mut before) = (false, "");
    for (at, line) in manifest.lines().enumerate() {
        if line.starts_with('[') {
            inside = line.ends_with("dependencies]");
        } else if let Some((name, _)) = line.split_once('=')
            && inside
            && !line.starts_with('#')
        {
            found.push((at + 1, name.trim().to_owned(), before.to_owned()));
        }
        before = line;
    }
    found
}

#[test]
fn every_dependency_is_justified_by_a_sentence_and_known_to_developers() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    let map = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let dependencies = dependencies(&manifest);
    assert!(dependencies.len() > 10, "no dependencies were found");
    let mut faults = Vec::new();
    for (line, name, before) in dependencies {
        if !before.starts_with("# ") {
            faults.push(format!(
                "Cargo.toml:{line}: no sentence above {name}: say what it saves, what it pulls in and who keeps it up"
            ));
        }
        if !map.contains(&format!("`{name}`")) {
            faults.push(format!(
                "Cargo.toml:{line}: {name} is not in DEVELOPERS.md: add it to the table of dependencies"
            ));
        }
    }
    report(&faults);
}

#[test]
fn every_package_comes_from_the_one_registry() {
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    let faults: Vec<_> = lock
        .lines()
        .enumerate()
        .filter_map(|(at, line)| Some((at + 1, line.strip_prefix("source = ")?)))
        .filter(|(_, source)| source.trim_matches('"') != REGISTRY)
        .map(|(line, source)| {
            format!("Cargo.lock:{line}: from {source}, want {REGISTRY}: use a released version")
        })
        .collect();
    report(&faults);
}

/// The table of DEVELOPERS.md that says which test shows what of each outlet.
#[test]
fn every_test_that_the_table_of_outlets_names_is_there() {
    let page = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let rows = page
        .lines()
        .skip_while(|line| !line.starts_with("| the other side |"));
    let rows = rows.skip(2).take_while(|line| line.starts_with('|'));
    let mut count = 0;
    for row in rows {
        let cells = row.trim_matches('|').split('|').skip(1);
        for (outlet, cell) in ["webhook", "mqtt", "postgres"].iter().zip(cells) {
            let named = cell.trim().trim_matches('`').trim_end_matches('…');
            let (folder, begins) = named
                .split_once("::")
                .map_or((String::new(), named), |(file, name)| {
                    (format!("/{file}"), name)
                });
            let file = format!("tests/suite/{outlet}{folder}.rs");
            let text = fs::read_to_string(root().join(&file)).unwrap();
            assert!(
                text.contains(&format!("\nfn {begins}")),
                "{begins} in {file}"
            );
            count += 1;
        }
    }
    assert_eq!(count, 21);
}

#[test]
fn no_file_names_one_machine_or_a_plain_http_address() {
    let mut faults = Vec::new();
    for file in files() {
        for (at, line) in file.text.lines().enumerate() {
            let here = format!("{}:{}", file.path, at + 1);
            for (start, end, why) in DENIED {
                let word = format!("{start}{end}");
                if line.contains(&word) {
                    faults.push(format!("{here}: {word} {why}"));
                }
            }
            let foreign = line
                .split("http://")
                .skip(1)
                .any(|address| !is_known_http(address));
            if foreign {
                faults.push(format!("{here}: a plain http address: use https"));
            }
        }
    }
    report(&faults);
}

/// A program that has the path of the folder in which it was compiled has other bytes in every folder.
#[test]
fn no_source_takes_the_folder_of_its_compiler_into_the_program() {
    let mut faults = Vec::new();
    for file in rust_files() {
        if !file.path.starts_with("src/") {
            continue;
        }
        for (index, line) in file.text.lines().enumerate() {
            if ["CARGO_MANIFEST_DIR", "OUT_DIR"]
                .iter()
                .any(|name| line.contains(name))
            {
                faults.push(format!(
                    "{}:{}: a path of this machine: use `include_str!` or a path of the configuration",
                    file.path,
                    index + 1
                ));
            }
        }
    }
    report(&faults);
}

fn is_known_http(address: &str) -> bool {
    // Quoted or a placeholder: no address at all.
    !address.starts_with(|c: char| c.is_alphanumeric() || c == '[')
        || PLAIN_HTTP.iter().any(|known| address.starts_with(known))
}

#[test]
fn the_manifest_reader_finds_what_has_no_sentence() {
    let manifest = "[dependencies]\n# Why.\na = \"1\"\nb = \"1\"\n[lints.rust]\nc = 1\n";
    let found: Vec<_> = dependencies(manifest)
        .into_iter()
        .map(|(line, name, before)| (line, name, before.starts_with('#')))
        .collect();
    assert_eq!(
        found,
        [(3, "a".to_owned(), true), (4, "b".to_owned(), false)]
    );
}
