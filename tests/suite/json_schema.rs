//! What our schemas mean is held against the official test suite of JSON Schema: `tests/reference/json_schema`.
//!
//! The tests hold all that is said against these schemas by a validator, so it must read each keyword that they use as
//! the standard does.

use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

/// What the value of a keyword holds.
#[derive(Clone, Copy, PartialEq)]
enum Holds {
    /// No schema.
    Nothing,
    One,
    List,
    ByName,
}

/// Keywords that our schemas may use, the file with the cases of each, and what it holds. What has no file asks nothing of
/// a value.
const KEYWORDS: [(&str, Option<&str>, Holds); 28] = [
    ("$defs", Some("defs"), Holds::ByName),
    ("$id", Some("ref"), Holds::Nothing),
    ("$ref", Some("ref"), Holds::Nothing),
    ("$schema", None, Holds::Nothing),
    (
        "additionalProperties",
        Some("additionalProperties"),
        Holds::One,
    ),
    ("allOf", Some("allOf"), Holds::List),
    ("anyOf", Some("anyOf"), Holds::List),
    ("const", Some("const"), Holds::Nothing),
    ("default", Some("default"), Holds::Nothing),
    (
        "dependentRequired",
        Some("dependentRequired"),
        Holds::Nothing,
    ),
    ("description", None, Holds::Nothing),
    ("enum", Some("enum"), Holds::Nothing),
    ("format", Some("format"), Holds::Nothing),
    ("items", Some("items"), Holds::One),
    ("maxItems", Some("maxItems"), Holds::Nothing),
    ("maxLength", Some("maxLength"), Holds::Nothing),
    ("maximum", Some("maximum"), Holds::Nothing),
    ("minItems", Some("minItems"), Holds::Nothing),
    ("minLength", Some("minLength"), Holds::Nothing),
    ("minProperties", Some("minProperties"), Holds::Nothing),
    ("minimum", Some("minimum"), Holds::Nothing),
    ("oneOf", Some("oneOf"), Holds::List),
    ("pattern", Some("pattern"), Holds::Nothing),
    ("properties", Some("properties"), Holds::ByName),
    ("required", Some("required"), Holds::Nothing),
    ("title", None, Holds::Nothing),
    ("type", Some("type"), Holds::Nothing),
    ("uniqueItems", Some("uniqueItems"), Holds::Nothing),
];

/// The file with the cases of a schema that is `true` or `false`.
const BOOLEAN: &str = "boolean_schema";

/// What is printed for programs: every schema under its name.
fn served() -> BTreeMap<String, Value> {
    let mut command = std::process::Command::new(crate::harness::program());
    let output = command.args(["schema", "--json"]).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The names of keywords in a schema and in the schemas that it holds, and `BOOLEAN` where one is `true` or `false`.
fn used(schema: &Value, into: &mut BTreeSet<String>) {
    let Value::Object(keywords) = schema else {
        assert!(schema.is_boolean(), "{schema} is no schema");
        into.insert(BOOLEAN.to_owned());
        return;
    };
    for (name, value) in keywords {
        into.insert(name.clone());
        let known = KEYWORDS.iter().find(|(known, _, _)| known == name);
        let known = known.unwrap_or_else(|| {
            panic!("{name}: add the keyword to KEYWORDS, and its file of cases to tests/reference/json_schema")
        });
        match known.2 {
            Holds::Nothing => {}
            Holds::One => used(value, into),
            Holds::List => value
                .as_array()
                .unwrap()
                .iter()
                .for_each(|one| used(one, into)),
            Holds::ByName => value
                .as_object()
                .unwrap()
                .values()
                .for_each(|one| used(one, into)),
        }
    }
}

/// The files of cases, by name without ending.
fn files() -> BTreeMap<String, Value> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/json_schema");
    let paths = fs::read_dir(folder)
        .unwrap()
        .map(|item| item.unwrap().path());
    let cases = paths.filter(|path| path.extension().is_some_and(|ending| ending == "json"));
    cases
        .map(|path| {
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            let text = fs::read_to_string(&path).unwrap();
            (name, serde_json::from_str(&text).unwrap())
        })
        .collect()
}

#[test]
fn every_keyword_of_our_schemas_has_its_cases_here_and_no_other_is_kept() {
    let mut names = BTreeSet::new();
    for schema in served().values() {
        used(schema, &mut names);
    }
    let listed: BTreeSet<String> = KEYWORDS
        .iter()
        .map(|(name, _, _)| (*name).to_owned())
        .collect();
    let with_boolean = listed
        .iter()
        .cloned()
        .chain([BOOLEAN.to_owned()])
        .collect::<BTreeSet<_>>();
    assert_eq!(names, with_boolean);
    let wanted = KEYWORDS.iter().filter_map(|(_, file, _)| *file);
    let wanted: BTreeSet<&str> = wanted.chain([BOOLEAN]).collect();
    let files = files();
    assert_eq!(
        wanted,
        files.keys().map(String::as_str).collect::<BTreeSet<_>>()
    );
}

#[test]
fn the_validator_of_these_tests_says_of_every_case_of_the_official_suite_what_the_suite_says() {
    let (mut groups, mut count) = (0, 0);
    let mut wrong = Vec::new();
    for (file, cases) in files() {
        for case in cases.as_array().unwrap() {
            let schema = &case["schema"];
            groups += 1;
            let validator = jsonschema::draft202012::new(schema);
            let validator = validator
                .unwrap_or_else(|error| panic!("{file}, {}: {error}", case["description"]));
            for test in case["tests"].as_array().unwrap() {
                count += 1;
                if validator.is_valid(&test["data"]) != test["valid"].as_bool().unwrap() {
                    wrong.push(format!(
                        "{file}, {}, {}",
                        case["description"], test["description"]
                    ));
                }
            }
        }
    }
    assert_eq!(wrong, [""; 0]);
    assert_eq!((groups, count), (187, 732));
}

#[test]
fn each_served_schema_is_one_by_the_meta_schema_of_2020_12_and_each_changed_one_is_not() {
    const META: &str = "https://json-schema.org/draft/2020-12/schema";
    let schemas = served();
    assert!(!schemas.is_empty());
    for (name, schema) in schemas {
        assert_eq!(schema["$schema"], META, "{name}");
        jsonschema::draft202012::meta::validate(&schema).unwrap();
        for (keyword, value) in [
            ("type", json!("number or text")),
            ("required", json!("seq")),
            ("properties", json!([])),
            ("$ref", json!(7)),
        ] {
            let mut wrong = schema.clone();
            wrong[keyword] = value;
            let judged = jsonschema::draft202012::meta::validate(&wrong);
            assert!(judged.is_err(), "{name} with {keyword}");
        }
    }
}
