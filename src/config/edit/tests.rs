//! Tests of edits of texts as people write them, and of random texts.

use super::*;
use proptest::collection::vec;
use proptest::prelude::*;
use serde_json::json;

const PLANS: &str = "# Plans: what can be started.\n\n[[plan]]\nid = \"a\" # the first\n# how many\npieces = 5\n\
    zero = { closing = true, limit = 1 } # zeros\n\n# The second.\n[[plan]]\n\"id\" = \"b\"\naxes = [\n  \"x\", # one\n  \"y\",\n]\n\n# The end.\n";

const SHEET: &str = "[[terminal]]\nid = \"QF\"\n\n[[terminal.row]]\nwire = \"1.0 mm²\"\nh = \"1.32 ±0.05 mm\"\n\n# thick\n[[terminal.row]]\n\
    wire = \"2.0 mm²\"\n\n[[terminal]]\nid = \"RB\"\n\n[[terminal.row]]\nwire = \"0.5 mm²\"\n";

fn which(list: List, at: usize) -> Which {
    Which {
        list,
        terminal: 0,
        at,
    }
}

fn object(value: Value) -> Map<String, Value> {
    let Value::Object(object) = value else {
        panic!("no object: {value}");
    };
    object
}

#[track_caller]
fn add(text: &str, which: Which, values: Value) -> String {
    apply(text, which, &Change::Add(object(values))).unwrap()
}

#[track_caller]
fn set(text: &str, which: Which, values: Value) -> String {
    apply(text, which, &Change::Set(object(values))).unwrap()
}

#[track_caller]
fn remove(text: &str, which: Which) -> String {
    apply(text, which, &Change::Remove).unwrap()
}

#[test]
fn a_new_plan_comes_last_and_taken_out_again_leaves_the_file_as_it_was() {
    let plan = json!({"id": "c", "pieces": 3, "guard_factor": 1.645, "zero": {"closing": false}});
    let new = add(PLANS, which(List::Plan, 0), plan);
    let block =
        "\n[[plan]]\nid = \"c\"\npieces = 3\nguard_factor = 1.645\nzero = { closing = false }\n";
    assert_eq!(new, format!("{PLANS}{block}"));
    assert_eq!(remove(&new, which(List::Plan, 2)), PLANS);
}

#[test]
fn a_new_row_stands_behind_the_rows_of_its_terminal() {
    let new = add(
        SHEET,
        which(List::Row, 0),
        json!({"wire": "14 ga", "sizing": "sae_metric"}),
    );
    let row = "\n[[terminal.row]]\nwire = \"14 ga\"\nsizing = \"sae_metric\"\n";
    assert_eq!(
        new,
        SHEET.replace(
            "\n[[terminal]]\nid = \"RB\"",
            &format!("{row}\n[[terminal]]\nid = \"RB\"")
        )
    );
    assert_eq!(remove(&new, which(List::Row, 2)), SHEET);
    let values: Vec<_> = listed(&new, List::Terminal).unwrap();
    assert_eq!(
        values[0].rows[2],
        object(json!({"wire": "14 ga", "sizing": "sae_metric"}))
    );
    assert_eq!(values[1].values, object(json!({"id": "RB"})));
}

#[test]
fn a_terminal_with_its_rows_and_a_tool_with_its_nests_are_written_with_headers() {
    let terminal = json!({"id": "X-1", "row": [{"wire": "1.0 mm²", "h": "1.57..1.67 mm"}]});
    assert_eq!(
        add("", which(List::Terminal, 0), terminal),
        "[[terminal]]\nid = \"X-1\"\n\n[[terminal.row]]\nwire = \"1.0 mm²\"\nh = \"1.57..1.67 mm\"\n"
    );
    let tool = json!({"id": "T-1", "nest": [{"id": "2.0", "wires": ["2.0 mm²"]}]});
    let text = add("# Tools.\n", which(List::Tool, 0), tool);
    assert_eq!(
        text,
        "# Tools.\n\n[[tool]]\nid = \"T-1\"\n\n[[tool.nest]]\nid = \"2.0\"\nwires = [\"2.0 mm²\"]\n"
    );
    assert_eq!(remove(&text, which(List::Tool, 0)), "# Tools.\n");
}

#[test]
fn a_changed_value_keeps_the_comments_around_it_and_the_other_keys() {
    let new = set(
        PLANS,
        which(List::Plan, 0),
        json!({"id": "a", "pieces": 7, "zero": {"limit": 2}}),
    );
    let wanted = PLANS
        .replace("pieces = 5", "pieces = 7")
        .replace("limit = 1", "limit = 2");
    assert_eq!(new, wanted);
    let new = set(
        PLANS,
        which(List::Plan, 1),
        json!({"axes": ["x", "y"], "nest": "2.0"}),
    );
    assert_eq!(
        new,
        PLANS.replace("\"y\",\n]\n", "\"y\",\n]\nnest = \"2.0\"\n")
    );
    assert_eq!(
        set(&new, which(List::Plan, 1), json!({"nest": null})),
        PLANS
    );
}

#[test]
fn nests_are_known_by_their_id() {
    let text = "[[tool]]\nid = \"T\"\n# small\n[[tool.nest]]\nid = \"1\" # one\nwires = []\n# large\n[[tool.nest]]\nid = \"2\" # two\nwires = []\n";
    let nests = |nests: Value| set(text, which(List::Tool, 0), json!({ "nest": nests }));
    let two = json!({"id": "2", "wires": []});
    assert_eq!(nests(json!([{"id": "1", "wires": []}, two])), text);
    assert_eq!(
        nests(json!([two])),
        "[[tool]]\nid = \"T\"\n# large\n[[tool.nest]]\nid = \"2\" # two\nwires = []\n"
    );
    assert_eq!(
        nests(json!([{"id": "1a", "wires": []}, two])),
        text.replace("\"1\" #", "\"1a\" #")
    );
    let three = "\n[[tool.nest]]\nid = \"3\"\nwires = [\"a\"]\n";
    assert_eq!(
        nests(json!([{"id": "1", "wires": []}, two, {"id": "3", "wires": ["a"]}])),
        format!("{text}{three}")
    );
    assert_eq!(nests(json!([])), "[[tool]]\nid = \"T\"\n");
}

#[test]
fn what_is_taken_out_takes_its_own_comment_along_and_no_other() {
    assert_eq!(
        remove(PLANS, which(List::Plan, 0)),
        "# Plans: what can be started.\n\n# The second.\n[[plan]]\n\"id\" = \"b\"\naxes = [\n  \"x\", # one\n  \"y\",\n]\n\n# The end.\n"
    );
    let second = PLANS.find("\n# The second").unwrap()..PLANS.find("\n# The end").unwrap();
    assert_eq!(
        remove(PLANS, which(List::Plan, 1)),
        PLANS.replace(&PLANS[second], "")
    );
    let thick = "\n# thick\n[[terminal.row]]\nwire = \"2.0 mm²\"\n";
    assert_eq!(remove(SHEET, which(List::Row, 1)), SHEET.replace(thick, ""));
    let rest = "[[terminal]]\nid = \"RB\"\n\n[[terminal.row]]\nwire = \"0.5 mm²\"\n";
    assert_eq!(remove(SHEET, which(List::Terminal, 0)), rest);
}

#[test]
fn the_ends_of_lines_stay_those_of_the_file() {
    for text in [
        PLANS.replace('\n', "\r\n"),
        PLANS.trim_end().to_owned(),
        "[[plan]]\nid=\"a\"".to_owned(),
    ] {
        let new = add(&text, which(List::Plan, 0), json!({"id": "c"}));
        assert_eq!(text.contains("\r\n"), new.contains("\r\n"));
        assert_eq!(text.ends_with('\n'), new.ends_with('\n'));
        let count = listed(&new, List::Plan).unwrap().len();
        let changed = set(
            &new,
            which(List::Plan, count - 1),
            json!({"id": "d", "x": 1}),
        );
        assert_eq!(changed.matches('\n').count(), new.matches('\n').count() + 1);
        assert_eq!(
            changed.matches("\r\n").count(),
            if text.contains("\r\n") {
                changed.matches('\n').count()
            } else {
                0
            }
        );
        assert_eq!(remove(&changed, which(List::Plan, count - 1)), text);
    }
}

#[test]
fn a_text_of_a_request_is_never_more_than_a_value() {
    for text in [
        "\"\n[[tool]]\nid = \"x",
        "'''",
        "\"\"\"",
        "a # b",
        "\\",
        "\u{1}\u{1b}\u{7f}\u{85}",
        "]",
        "=",
        "",
    ] {
        let new = add(
            PLANS,
            which(List::Plan, 0),
            json!({"id": text, text: [text, {text: text}]}),
        );
        let plans = listed(&new, List::Plan).unwrap();
        assert_eq!(plans.len(), 3, "{new}");
        assert_eq!(plans[2].values["id"], json!(text));
        assert_eq!(listed(&new, List::Tool).unwrap(), []);
        assert_eq!(remove(&new, which(List::Plan, 2)), PLANS);
    }
}

#[test]
fn what_cannot_be_edited_without_touching_others_is_refused() {
    let refused =
        |text: &str, list, change: &Change| apply(text, which(list, 0), change).unwrap_err();
    let nothing = Change::Set(Map::new());
    let list = List::Plan;
    assert_eq!(
        refused("", list, &nothing),
        EditError::NoSuch { list, at: 0 }
    );
    assert_eq!(
        refused("plan = [{ id = 1 }]", list, &nothing),
        EditError::Inline { list }
    );
    let scattered = "[[plan]]\nid = 1\n[[tool]]\nid = 2\n[plan.zero]\nlimit = 1\n";
    assert_eq!(
        refused(scattered, list, &Change::Remove),
        EditError::Scattered { list }
    );
    assert!(matches!(
        refused("plan = ", list, &nothing),
        EditError::NotToml { .. }
    ));
    let huge = Change::Add(object(
        serde_json::from_str("{\"a\":1e400}").unwrap_or(json!({"a": [null]})),
    ));
    assert!(matches!(refused("", list, &huge), EditError::Value { .. }));
}

#[test]
fn a_place_in_the_file_is_found_among_the_values() {
    let at = |text: &str, of: &str| text.find(of).unwrap();
    let plan = |of: &str| pointer_at(PLANS, which(List::Plan, 1), at(PLANS, of));
    assert_eq!(plan("\"b\"").as_deref(), Some("/id"));
    assert_eq!(plan("\"id\"").as_deref(), Some("/id"));
    assert_eq!(plan("\"y\"").as_deref(), Some("/axes/1"));
    assert_eq!(plan("[[plan]]\n\"id\"").as_deref(), Some(""));
    assert_eq!(plan("# The end"), None);
    assert_eq!(plan("\"a\""), None);
    let zero = pointer_at(PLANS, which(List::Plan, 0), at(PLANS, "true"));
    assert_eq!(zero.as_deref(), Some("/zero/closing"));
    let row = pointer_at(SHEET, which(List::Row, 1), at(SHEET, "2.0"));
    assert_eq!(row.as_deref(), Some("/wire"));
    let tool = "[[tool]]\n[[tool.nest]]\n[[tool.nest]]\nwires = [1, 2]\n";
    let nest = pointer_at(tool, which(List::Tool, 0), at(tool, "2]"));
    assert_eq!(nest.as_deref(), Some("/nest/1/wires/1"));
}

#[test]
fn a_table_gets_a_key_or_is_made() {
    let tools = object(json!({"tools": "tools.toml"}));
    let text = "# main\n[daemon]\nsheets = [\"a\"] # sheets\n\n[[station]]\nname = \"b\"\n";
    assert_eq!(
        set_in_table(text, "daemon", &tools).unwrap(),
        text.replace("# sheets\n", "# sheets\ntools = \"tools.toml\"\n")
    );
    assert_eq!(
        set_in_table("a = 1\n", "daemon", &tools).unwrap(),
        "a = 1\n\n[daemon]\ntools = \"tools.toml\"\n"
    );
}

/// A value as a form sends it.
fn value() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        (-1e6..1e6_f64).prop_map(Value::from),
        "\\PC{0,12}".prop_map(Value::from),
        any::<String>().prop_map(Value::from),
    ];
    leaf.prop_recursive(2, 8, 4, |inner| {
        prop_oneof![
            vec(inner.clone(), 0..4).prop_map(Value::from),
            proptest::collection::btree_map("[a-z]{1,6}", inner, 1..4)
                .prop_map(|pairs| Value::Object(pairs.into_iter().collect())),
        ]
    })
}

fn values() -> impl Strategy<Value = Map<String, Value>> {
    // `row` of a terminal is a list with tests of its own.
    let pairs = proptest::collection::btree_map("[b-q]{1,6}|[é \"#]{1,3}", value(), 1..5);
    pairs.prop_map(|pairs| pairs.into_iter().collect())
}

/// A file as a person may have written it: comments, blank lines, tables of other kinds.
fn file() -> impl Strategy<Value = String> {
    let part = prop_oneof![
        Just("\n".to_owned()),
        Just("\n\n".to_owned()),
        "# [a-z ]{0,8}\n",
        Just("[[plan]]\nid = 'p' # x\n# y\nzero = {limit=1}\n".to_owned()),
        Just("[[plan]] # header\n[plan.zero]\nlimit = 1\n".to_owned()),
        Just("\t[[ tool ]]\nid='t'\n  [[tool.nest]] # n\n  id = '1'\n".to_owned()),
        Just("[[operator]]\nname = \"\"\"\n[[plan]]\n\"\"\"\n".to_owned()),
    ];
    (vec(part, 0..10), any::<bool>(), any::<bool>()).prop_map(|(parts, crlf, ends)| {
        let text = parts.concat();
        let text = if ends {
            text
        } else {
            text.trim_end_matches('\n').to_owned()
        };
        if crlf {
            text.replace('\n', "\r\n")
        } else {
            text
        }
    })
}

fn plans(text: &str) -> Vec<Listed> {
    listed(text, List::Plan).unwrap()
}

proptest! {
    #[test]
    fn what_was_added_is_there_alone_and_taken_out_leaves_the_bytes(text in file(), values in values()) {
        let before = plans(&text);
        let new = apply(&text, which(List::Plan, 0), &Change::Add(values.clone())).unwrap();
        let after = plans(&new);
        prop_assert!(new.starts_with(&text));
        prop_assert_eq!(&after[..before.len()], &before[..]);
        prop_assert_eq!(&after[before.len()..], &[Listed { values, rows: Vec::new() }]);
        for list in [List::Tool, List::Operator] {
            prop_assert_eq!(listed(&new, list).unwrap(), listed(&text, list).unwrap());
        }
        prop_assert_eq!(remove(&new, which(List::Plan, before.len())), text);
    }

    #[test]
    fn what_was_changed_is_as_it_was_said_and_every_byte_around_it_stays(
        text in file(),
        values in values(),
        number in any::<prop::sample::Index>(),
    ) {
        let before = plans(&text);
        let at = if before.is_empty() { return Ok(()) } else { number.index(before.len()) };
        let place = which(List::Plan, at);
        let range = Entries::of(&text, List::Plan).unwrap().range(place).unwrap();
        let new = apply(&text, place, &Change::Set(values.clone())).unwrap();
        let mut wanted = before;
        for (key, value) in &values {
            let old = wanted[at].values.entry(key.clone()).or_insert(Value::Null);
            match (old, value) {
                (Value::Object(old), Value::Object(new)) => old.extend(new.clone()),
                (old, new) => *old = new.clone(),
            }
        }
        prop_assert_eq!(plans(&new), wanted);
        prop_assert!(new.starts_with(&text[..range.start]));
        prop_assert!(new.ends_with(&text[range.end..]));
        let again = apply(&new, place, &Change::Set(values)).unwrap();
        prop_assert_eq!(again, new);
    }

    #[test]
    fn what_is_taken_out_leaves_the_others(text in file(), number in any::<prop::sample::Index>()) {
        let mut wanted = plans(&text);
        let at = if wanted.is_empty() { return Ok(()) } else { number.index(wanted.len()) };
        let new = remove(&text, which(List::Plan, at));
        wanted.remove(at);
        prop_assert_eq!(plans(&new), wanted);
        for list in [List::Tool, List::Operator] {
            prop_assert_eq!(listed(&new, list).unwrap(), listed(&text, list).unwrap());
        }
    }

    #[test]
    fn no_text_makes_it_panic(text in "([a-z\\[\\]\"'={}#.,\n\r\t é]|\\[\\[plan\\]\\]\n){0,40}", at in 0..60_usize) {
        for change in [Change::Add(Map::new()), Change::Set(object(json!({"a": 1}))), Change::Remove] {
            let _ = apply(&text, which(List::Plan, 0), &change);
        }
        let _ = pointer_at(&text, which(List::Plan, 0), at);
        let _ = set_in_table(&text, "daemon", &object(json!({"a": 1})));
    }
}
