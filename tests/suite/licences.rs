//! Every package in the program has a licence that allows a shop to use it and pass it on.

use serde_json::Value;
use std::process::Command;

/// Permissive, or (the last) binding only for changes to the package's own files.
const ACCEPTED: &[&str] = &[
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "NCSA", // of the fuzz engine, which is in no program that we give away; as free as MIT
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
    "MPL-2.0",
];

/// Whether an accepted licence can be chosen. Understands `AND`, `OR`, brackets and the old `/`.
fn is_accepted(expression: &str) -> bool {
    let spaced = expression
        .replace('(', " ( ")
        .replace(')', " ) ")
        .replace('/', " OR ")
        .replace(" WITH ", "_WITH_");
    let mut words: Vec<_> = spaced.split_whitespace().rev().collect();
    let accepted = any_of(&mut words);
    accepted && words.is_empty()
}

fn any_of(words: &mut Vec<&str>) -> bool {
    let mut accepted = all_of(words);
    while words.pop_if(|word| *word == "OR").is_some() {
        accepted |= all_of(words);
    }
    accepted
}

fn all_of(words: &mut Vec<&str>) -> bool {
    let mut accepted = one(words);
    while words.pop_if(|word| *word == "AND").is_some() {
        accepted &= one(words);
    }
    accepted
}

fn one(words: &mut Vec<&str>) -> bool {
    match words.pop() {
        Some("(") => {
            let accepted = any_of(words);
            words.pop_if(|word| *word == ")").is_some() && accepted
        }
        Some(name) => ACCEPTED.contains(&name.replace("_WITH_", " WITH ").as_str()),
        None => false,
    }
}

fn output_of(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{program} {arguments:?}: {errors}");
    String::from_utf8(output.stdout).unwrap()
}

/// The platform of this machine, by its name in Rust.
fn host() -> String {
    let version = output_of("rustc", &["-vV"]);
    let host = version.lines().find_map(|line| line.strip_prefix("host: "));
    host.unwrap().to_owned()
}

#[test]
fn every_package_has_an_accepted_licence() {
    every_package_of("Cargo.toml", &host());
}

#[test]
fn so_has_every_package_of_the_firmware() {
    let manifest = "hardware-notes/bridge/firmware/Cargo.toml";
    for board in ["thumbv6m-none-eabi", "thumbv7em-none-eabi"] {
        every_package_of(manifest, board);
    }
}

fn every_package_of(manifest: &str, platform: &str) {
    // Not offline: the packages of fuzz engine and firmware are fetched where nobody has built these yet.
    let arguments = "metadata --locked --format-version 1 --filter-platform";
    let arguments: Vec<_> = arguments
        .split(' ')
        .chain([platform, "--manifest-path", manifest])
        .collect();
    let metadata: Value = serde_json::from_str(&output_of(env!("CARGO"), &arguments)).unwrap();
    let packages = metadata["packages"].as_array().unwrap();
    assert!(packages.len() > 20, "only {} packages", packages.len());
    let faults: Vec<_> = packages
        .iter()
        .map(|package| {
            let licence = package["license"].as_str().unwrap_or("none stated");
            (package["name"].as_str().unwrap(), licence)
        })
        .filter(|(_, licence)| !is_accepted(licence))
        .map(|(name, licence)| {
            format!("{name}: {licence}; use another package, or accept the licence in tests/suite/licences.rs with a reason")
        })
        .collect();
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn a_licence_one_cannot_choose_is_not_accepted() {
    for accepted in [
        "MIT",
        "MIT OR GPL-3.0",
        "Unlicense/MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0",
    ] {
        assert!(is_accepted(accepted), "{accepted}");
    }
    for refused in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "none stated",
        "",
        "(MIT",
        "MIT MIT",
    ] {
        assert!(!is_accepted(refused), "{refused}");
    }
}

/// Holds a bill of materials against the published schema: tests/reference/cyclonedx.
fn assert_has_the_form_of_cyclonedx(bill: &Value) {
    let schema = |name: &str| -> Value {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
        let path = folder.join(format!(
            "tests/reference/cyclonedx/{name}.SNAPSHOT.schema.json"
        ));
        serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
    };
    let mut registry = jsonschema::Registry::new();
    for name in ["spdx", "jsf-0.82"] {
        let address = format!("http://cyclonedx.org/schema/{name}.SNAPSHOT.schema.json");
        registry = registry.add(address, schema(name)).unwrap();
    }
    let registry = registry.prepare().unwrap();
    let validator = jsonschema::options()
        .with_registry(&registry)
        .build(&schema("bom-1.5"))
        .unwrap();
    let faults = |bill: &Value| -> Vec<String> {
        let errors = validator.iter_errors(bill);
        errors
            .map(|error| format!("{}: {error}", error.instance_path()))
            .collect()
    };
    assert_eq!(faults(bill), Vec::<String>::new());
    // It is no schema that takes everything.
    let mut other = bill.clone();
    other["components"][0]["scope"] = "inside".into();
    assert_eq!(faults(&other).len(), 1);
}

#[test]
fn the_bill_of_materials_has_each_package_of_the_program_with_its_licence_and_digest() {
    let folder = tempfile::tempdir().unwrap();
    let made = |name: &str| {
        let path = folder.path().join(name);
        let script = "config/service/materials.py";
        output_of(
            "python3",
            &[script, &host(), path.to_str().unwrap(), "musl=1.2.5=MIT"],
        );
        ["tallyjaw.cdx.json", "licences.txt"]
            .map(|file| std::fs::read_to_string(path.join(file)).unwrap())
    };
    let [bill, licences] = made("first");
    assert_eq!([bill.clone(), licences.clone()], made("second"));
    let bill: Value = serde_json::from_str(&bill).unwrap();
    assert_has_the_form_of_cyclonedx(&bill);

    let components = bill["components"].as_array().unwrap();
    let word = |component: &Value, key: &str| component[key].as_str().unwrap().to_owned();
    // What Cargo.toml names is inside, and what only tests need is not.
    for (name, scope) in [
        ("rustls-webpki", Some("required")),
        ("zstd-sys", Some("required")),
        ("musl", Some("required")),
        ("serde_derive", Some("excluded")),
        ("cc", Some("excluded")),
        ("proptest", None),
        ("libfuzzer-sys", None),
        ("rsa", None), // a feature of `ssh-key` that nobody asks for
    ] {
        let found = components
            .iter()
            .find(|component| component["name"] == name);
        assert_eq!(
            found.map(|component| word(component, "scope")).as_deref(),
            scope,
            "{name}"
        );
    }

    let lock = std::fs::read_to_string(
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.lock"),
    )
    .unwrap();
    for component in components {
        let [name, version] = ["name", "version"].map(|key| word(component, key));
        assert!(
            is_accepted(component["licenses"][0]["expression"].as_str().unwrap()),
            "{component}"
        );
        if name == "musl" {
            continue;
        }
        let digest = component["hashes"][0]["content"].as_str().unwrap();
        let entry = format!(
            "name = \"{name}\"\nversion = \"{version}\"\nsource = \"registry+https://github.com/rust-lang/crates.io-index\"\nchecksum = \"{digest}\""
        );
        assert!(lock.contains(&entry), "{name} {version} {digest}");
        if component["scope"] == "required" {
            assert!(
                licences.contains(&format!("{name} {version} (")),
                "{name} is not in licences.txt"
            );
        }
    }
}
