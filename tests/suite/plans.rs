//! One reader of plans and one resolver: a plan that `check` accepts can be armed, and a plan that it refuses is
//! refused by socket and command line with the same sentence.

use crate::harness::{Shop, cases};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use tallyjaw::config::{self, Config, Diagnostic, Faulty, Files, Source};
use tallyjaw::entry::State;
use tallyjaw::message::{Call, Request};
use tallyjaw::quantity::{MonoMicros, Now, WallMicros};
use tallyjaw::spec::resolve::sentence;
use tallyjaw::spec::{Unarmable, resolve};
use tallyjaw::station::Core;

const MAIN: &str = r#"
[daemon]
[[station]]
name = "bench-1"
[[instrument]]
name = "caliper-1"
station = "bench-1"
kind = "caliper"
port = "/dev/ttyUSB0"
format = "decimal-line"
resolution = "0.01 mm"
range = "0..150 mm"
"#;

const SHEET: &str = r#"
[[terminal]]
id = "QF-250-F"
[[terminal.row]]
wire = "2.0 mm²"
core_crimp_height = "1.62 ±0.05 mm"
core_crimp_width = "2.40 ±0.10 mm"
strip_length = "5.0 ±0.02 mm"
pull_force = ">= 135 N"
[[terminal.row]]
wire = "5.0 mm²"
core_crimp_height = "2.30 ±0.05 mm"
"#;

const TOOLS: &str = r#"
[[tool]]
id = "T-07"
class = "production"
[[tool.nest]]
id = "2.0"
wires = ["2.0 mm²"]
[[tool.nest]]
id = "5.0"
wires = ["5.0 mm²"]
[[tool]]
id = "T-09"
class = "repair"
terminals = ["RB-090-M"]
"#;

type Keys = Map<String, Value>;

/// The configuration with this plan, or without any.
fn assembled(plan: Option<&Keys>) -> Result<Config, Faulty> {
    let source = |path: &str, text: &str| Source {
        path: path.into(),
        text: text.to_owned(),
    };
    let plans = plan.map_or_else(String::new, as_toml);
    let main = config::main_file(&source("tallyjaw.toml", MAIN));
    config::assemble(
        main,
        &Files {
            sheets: vec![source("sheet.toml", SHEET)],
            plans: vec![source("plans.toml", &plans)],
            tools: vec![source("tools.toml", TOOLS)],
            jobs: Vec::new(),
        },
    )
}

/// The keys as a plan file has them.
fn as_toml(keys: &Keys) -> String {
    let lines = keys
        .iter()
        .map(|(key, value)| format!("{key} = {}\n", toml_value(value)));
    format!(
        "[[plan]]\nid = \"generated\"\n{}",
        lines.collect::<String>()
    )
}

fn toml_value(value: &Value) -> String {
    match value {
        Value::Object(object) => {
            let keys = object
                .iter()
                .map(|(key, value)| format!("{key} = {}", toml_value(value)));
            format!("{{ {} }}", keys.collect::<Vec<_>>().join(", "))
        }
        other => other.to_string(),
    }
}

/// Mostly the first value, which is good; sometimes another.
fn mostly(good: Value, others: Vec<Value>) -> BoxedStrategy<Option<Value>> {
    prop_oneof![
        24 => Just(Some(good)),
        4 => proptest::sample::select(others).prop_map(Some),
    ]
    .boxed()
}

/// Mostly left out.
fn seldom(values: Vec<Value>) -> BoxedStrategy<Option<Value>> {
    prop_oneof![
        12 => Just(None),
        4 => proptest::sample::select(values).prop_map(Some),
    ]
    .boxed()
}

fn object(keys: Vec<(&'static str, BoxedStrategy<Option<Value>>)>) -> BoxedStrategy<Keys> {
    let (names, values): (Vec<_>, Vec<_>) = keys.into_iter().unzip();
    values
        .prop_map(move |values| {
            let keys = names.iter().zip(values);
            keys.filter_map(|(key, value)| Some(((*key).to_owned(), value?)))
                .collect()
        })
        .boxed()
}

/// A plan with keys in and out of range.
fn plans() -> BoxedStrategy<Keys> {
    let some = |values: &Value| values.as_array().unwrap().clone();
    let zero = object(vec![
        ("before_first", seldom(some(&json!([false, 1])))),
        ("every_pieces", seldom(some(&json!([1, 10_000, 0, 10_001])))),
        (
            "every_minutes",
            seldom(some(&json!([1, 1_440, 0, 1_441, 1.5]))),
        ),
        ("band", seldom(some(&json!([0, 3, 1_000, 1_001])))),
        ("limit", seldom(some(&json!([0, 2, 1_001, -1])))),
        (
            "attempt",
            seldom(some(&json!(["0.5 mm", "0 mm", "2 N", "half"]))),
        ),
    ]);
    let zero = prop_oneof![
        2 => Just(None),
        1 => zero.prop_map(|zero| Some(Value::Object(zero))),
    ];
    object(vec![
        (
            "terminal",
            mostly(json!("QF-250-F"), some(&json!(["QF-205-F", "a b", 7]))),
        ),
        (
            "wire",
            mostly(
                json!("2.0 mm²"),
                some(&json!(["5.0 mm²", "14 ga", "1.0 mm²", "2.0", "99 ga"])),
            ),
        ),
        (
            "sizing",
            seldom(some(&json!(["sae_metric", "awg_area", "sae_metrik"]))),
        ),
        (
            "axes",
            mostly(
                json!(["core_crimp_height", "core_crimp_width"]),
                some(&json!([
                    ["core_crimp_height"],
                    ["strip_length"],
                    ["pull_force"],
                    ["core_crimp_with"],
                    ["core_crimp_height", "pull_force"],
                    ["insulation_crimp_height"],
                    [],
                    "core_crimp_height",
                ])),
            ),
        ),
        (
            "order",
            seldom(some(&json!(["by_piece", "by_value", "by_pice"]))),
        ),
        (
            "pieces",
            mostly(json!(5), some(&json!([1, 10_000, 0, 10_001, "5", -1]))),
        ),
        (
            "purpose",
            mostly(
                json!("first_off"),
                some(&json!(["reference", "verification", "first"])),
            ),
        ),
        ("tool", seldom(some(&json!(["T-07", "T-7", "T-09"])))),
        ("nest", seldom(some(&json!(["2.0", "5.0", "9"])))),
        (
            "decision",
            seldom(some(&json!(["simple", "guarded", "strict"]))),
        ),
        (
            "guard_factor",
            seldom(some(&json!([1.645, 2, 0, 10.5, "x"]))),
        ),
        ("zero", zero.boxed()),
        ("repeat", seldom(some(&json!([true, 7])))),
        ("alerts", seldom(some(&json!([[], ["trend"], ["tend"]])))),
        (
            "peices",
            prop_oneof![30 => Just(None), 1 => Just(Some(json!(5)))].boxed(),
        ),
    ])
}

/// The messages about the plan, each with its remedy.
fn told(faults: &[Diagnostic]) -> BTreeMap<String, Option<String>> {
    let of_plan = faults
        .iter()
        .filter(|fault| fault.path == Path::new("plans.toml"));
    of_plan
        .map(|fault| (sentence(&fault.message, &fault.label), fault.help.clone()))
        .collect()
}

/// The daemon's answer to these keys on the socket; `None` if a series is opened.
fn refused_by_socket(keys: &Keys) -> Option<(String, Option<String>)> {
    let line = json!({"jsonrpc": "2.0", "id": 1, "method": "arm", "params": keys});
    let call = match Request::parse(line.to_string().as_bytes()) {
        Ok(request) => request.call,
        Err(rejected) => {
            let pointer = rejected.error.data.pointer.unwrap();
            assert!(line.pointer(&pointer).is_some(), "{pointer} in {line}");
            return Some((rejected.error.message, rejected.error.data.remedy));
        }
    };
    let Call::Station(command) = call else {
        panic!("{call:?}");
    };
    let catalog = Arc::clone(&assembled(None).unwrap().catalog);
    let now = Now {
        wall: WallMicros(1_000_000),
        mono: MonoMicros(1_000_000),
    };
    let refusal = Core::new(catalog, State::default()).command(now, command);
    let refusal = refusal.err()?;
    Some((refusal.to_string(), Some(refusal.remedy())))
}

/// Remedies of `check` may also name a line of a file.
fn is_remedy(of_check: Option<&String>, of_socket: Option<&String>) -> bool {
    match (of_check, of_socket) {
        (Some(check), Some(socket)) => check.starts_with(socket.as_str()),
        (check, socket) => check == socket,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(1_024), ..ProptestConfig::default() })]

    #[test]
    fn what_check_accepts_is_armed_and_what_it_refuses_is_refused_with_the_same_sentence(keys in plans()) {
        let by_socket = refused_by_socket(&keys);
        match assembled(Some(&keys)) {
            Ok(config) => {
                let warned = told(&config.warnings.diagnostics);
                let plan = config.catalog.plan("generated").unwrap();
                match resolve(&config.catalog, "bench-1", plan, None) {
                    Ok(spec) => {
                        prop_assert_eq!(spec.plan.as_deref(), Some("generated"));
                        // A terminal that no sheet has may be a slip, so `check` and the arming both say it. Nothing else is warned of.
                        let no_sheet = spec.warnings.iter().filter(|said| said.starts_with("no sheet has "));
                        let no_sheet: Vec<_> = no_sheet.collect();
                        prop_assert_eq!(no_sheet.len(), warned.len(), "{:?}", warned);
                        prop_assert!(warned.keys().zip(no_sheet).all(|(warned, said)| warned.starts_with(said.as_str())), "{:?}", warned);
                        prop_assert_eq!(by_socket, None);
                    }
                    // A warning only, because the missing part may be added.
                    Err(why) => {
                        let why = why.into_vec();
                        prop_assert!(why.iter().all(Unarmable::may_come), "{:?}", why);
                        let why: BTreeMap<_, _> = why.iter().map(|why| (why.to_string(), Some(why.remedy()))).collect();
                        // Beside it, the terminal may be one that no sheet has.
                        let mut warned = warned;
                        warned.retain(|said, _| !said.starts_with("no sheet has "));
                        prop_assert_eq!(&why, &warned);
                        let (message, remedy) = by_socket.unwrap();
                        prop_assert_eq!(&why[&message], &remedy);
                    }
                }
            }
            Err(faulty) => {
                let told = told(&faulty.diagnostics);
                prop_assert!(!told.is_empty(), "{:?}", faulty);
                let (message, remedy) = by_socket.unwrap();
                let same = told.get(&message);
                prop_assert!(same.is_some(), "{} not in {:?}", message, told);
                prop_assert!(is_remedy(same.unwrap().as_ref(), remedy.as_ref()), "{:?} {:?}", told, remedy);
            }
        }
    }
}

/// The flags for these keys; `None` if some have no flag.
fn as_flags(keys: &Keys) -> Option<Vec<String>> {
    let text = |value: &Value| {
        value
            .as_str()
            .map_or_else(|| value.to_string(), str::to_owned)
    };
    let list = |value: &Value| {
        let items = value.as_array()?.iter().map(text);
        Some(items.collect::<Vec<_>>().join(","))
    };
    let mut flags = vec!["arm".to_owned(), "--cut".to_owned()];
    for (key, value) in keys {
        let (flag, value) = match key.as_str() {
            "axes" => (
                "--axis".to_owned(),
                list(value).filter(|list| !list.is_empty())?,
            ),
            "alerts" => (
                "--alert".to_owned(),
                list(value).filter(|list| !list.is_empty())?,
            ),
            "repeat" | "peices" | "zero" => return None,
            "pieces" | "guard_factor" if value.is_string() => return None,
            "terminal" if !value.is_string() => return None,
            key => (format!("--{}", key.replace('_', "-")), text(value)),
        };
        flags.push(format!("{flag}={value}"));
    }
    Some(flags)
}

#[test]
fn check_socket_and_command_line_say_the_same_of_a_generated_plan() {
    let shop = Shop::with_stations(1);
    let daemon = shop.start();
    let plans = shop.path("plans.toml");
    let before = std::fs::read_to_string(&plans).unwrap();
    let mut runner = TestRunner::deterministic();
    let (mut refused, mut accepted) = (0, 0);
    for _ in 0..100 {
        let keys = plans_of(&mut runner);
        let Some(flags) = as_flags(&keys) else {
            continue;
        };
        std::fs::write(&plans, format!("{before}\n{}", as_toml(&keys))).unwrap();
        let checked = shop.run(&["--json", "check"]);
        let told: BTreeMap<String, Value> = String::from_utf8(checked.stdout)
            .unwrap()
            .lines()
            .map(|line| serde_json::from_str::<Value>(line).unwrap())
            .filter(|line| {
                line["file"]
                    .as_str()
                    .is_some_and(|file| file.ends_with("plans.toml"))
            })
            .map(|line| {
                let got = line["got"].as_str().unwrap();
                (
                    sentence(got, line["want"].as_str().unwrap()),
                    line["help"].clone(),
                )
            })
            .collect();
        std::fs::write(&plans, &before).unwrap();
        let mut params = keys.clone();
        params.insert("cut".to_owned(), json!(true));
        let answer = daemon.control().call("arm", &Value::Object(params));
        let flags: Vec<&str> = flags.iter().map(String::as_str).collect();
        let by_command = shop.run(&flags);
        let error = String::from_utf8(by_command.stderr).unwrap();
        if told.is_empty() {
            assert!(answer["error"].is_null(), "{keys:?}: {answer}");
            assert_eq!(by_command.status.code(), Some(0), "{keys:?}: {error}");
            accepted += 1;
            continue;
        }
        refused += 1;
        let message = answer["error"]["message"].as_str().unwrap();
        assert!(told.contains_key(message), "{message} not in {told:?}");
        assert_eq!(by_command.status.code(), Some(2), "{keys:?}: {error}");
        let line = format!("error: {message}");
        assert!(error.lines().any(|said| said == line), "{message}: {error}");
    }
    assert!(refused > 10 && accepted > 2, "{refused}, {accepted}");
    drop(daemon);
}

fn plans_of(runner: &mut TestRunner) -> Keys {
    plans().new_tree(runner).unwrap().current()
}
