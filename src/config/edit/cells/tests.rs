//! Tests of edits of a list of jobs: the change is in the text, and every other byte is as before.

use crate::config::edit::{Change, EditError, List, Which, apply, listed, pointer_at};
use proptest::collection::vec;
use proptest::prelude::*;
use serde_json::{Map, Value, json};

fn which(at: usize) -> Which {
    Which {
        list: List::Job,
        terminal: 0,
        at,
    }
}

fn object(value: Value) -> Map<String, Value> {
    let Value::Object(map) = value else { panic!() };
    map
}

fn changed(text: &str, at: usize, change: &Change) -> String {
    apply(text, which(at), change).unwrap()
}

fn jobs(text: &str) -> Vec<Value> {
    let all = listed(text, List::Job).unwrap();
    all.into_iter()
        .map(|one| Value::Object(one.values))
        .collect()
}

#[test]
fn a_row_is_added_changed_and_taken_out_in_the_ways_of_the_file() {
    let text = "Customer\tJOB\tcolour\tplans\r\n\"Example \"\"Pumps\"\"\"\t4711\tred\tpump-own\r\n\r\n\t4712\r\n";
    let add = Change::Add(object(
        json!({"job": "4713", "customer": "A\tB", "plans": ["x", "y"]}),
    ));
    let added = changed(text, 0, &add);
    assert_eq!(added, format!("{text}\"A\tB\"\t4713\t\tx y\r\n"));
    assert_eq!(changed(&added, 2, &Change::Remove), text);
    let set = Change::Set(object(json!({"customer": "Valley", "plans": ["z"]})));
    assert_eq!(
        changed(text, 1, &set),
        text.replace("\t4712", "Valley\t4712\t\tz")
    );
    let set = Change::Set(object(
        json!({"customer": null, "job": "4711", "plans": ["pump-own"]}),
    ));
    assert_eq!(
        changed(text, 0, &set),
        text.replace("\"Example \"\"Pumps\"\"\"", "")
    );
    assert_eq!(
        changed(text, 0, &Change::Remove),
        "Customer\tJOB\tcolour\tplans\r\n\r\n\t4712\r\n"
    );
}

#[test]
fn a_list_without_a_last_end_of_line_stays_without_and_an_empty_one_gets_headings() {
    let add = Change::Add(object(json!({"job": "2", "customer": "B"})));
    for text in [
        "job;customer\n1;A",
        "job;customer\r1;A",
        "job;customer\r\n1;A",
    ] {
        let end = if text.contains("\r\n") {
            "\r\n"
        } else {
            &text[12..13]
        };
        let added = changed(text, 0, &add);
        assert_eq!(added, format!("{text}{end}2;B"));
        assert_eq!(changed(&added, 1, &Change::Remove), text);
    }
    assert_eq!(
        changed("", 0, &add),
        "job;customer;item;reference;plans\n2;B;;;\n"
    );
    let text = "job,customer\n1,A\n";
    assert_eq!(
        apply(
            text,
            which(0),
            &Change::Add(object(json!({"customer": null, "job": " "})))
        ),
        Err(EditError::Nothing)
    );
    assert_eq!(
        apply(
            text,
            which(0),
            &Change::Add(object(json!({"job": "2", "item": "C"})))
        ),
        Err(EditError::NoColumn {
            key: "item".to_owned()
        })
    );
    assert_eq!(
        listed("customer;item\nA;B\n", List::Job),
        Err(EditError::NoColumn {
            key: "job".to_owned()
        })
    );
    assert!(matches!(
        apply(text, which(1), &Change::Remove),
        Err(EditError::NoSuch { at: 1, .. })
    ));
}

#[test]
fn a_quote_that_does_not_end_takes_no_row_in() {
    let text = "job;customer\n1;\"A";
    let add = Change::Add(object(json!({"job": "2"})));
    assert_eq!(apply(text, which(0), &add), Err(EditError::Unclear));
}

#[test]
fn a_place_in_a_row_is_the_field_of_its_column() {
    let text = "reference;job;plans\n\"a\";1;x y\n;2;\n";
    let at = |part: &str| text.find(part).unwrap();
    assert_eq!(
        pointer_at(text, which(0), at("\"a\"")).as_deref(),
        Some("/reference")
    );
    assert_eq!(
        pointer_at(text, which(0), at("x y") + 2).as_deref(),
        Some("/plans")
    );
    assert_eq!(
        pointer_at(text, which(1), at(";2")).as_deref(),
        Some("/reference")
    );
    assert_eq!(pointer_at(text, which(1), at("x y")), None);
    assert_eq!(pointer_at(text, which(2), 0), None);
}

/// A list as a spreadsheet may have saved it.
fn list() -> impl Strategy<Value = String> {
    let separator = prop_oneof![Just(";"), Just(","), Just("\t")];
    let cell = prop_oneof![
        Just(String::new()),
        "[a-z0-9é]{1,6}",
        Just("\"x;,\t\"\"\n\"".to_owned()),
        Just(" b ".to_owned()),
    ];
    let row = (0..99_u32, vec(cell, 0..4));
    let end = prop_oneof![Just("\n"), Just("\r\n")];
    (separator, vec(row, 0..6), end, any::<bool>()).prop_map(|(separator, rows, end, ends)| {
        let mut lines = vec![["job", "customer", "colour", "item"].join(separator)];
        for (job, cells) in rows {
            lines.push([vec![job.to_string()], cells].concat().join(separator));
        }
        let text = lines.join(end);
        if ends { text + end } else { text }
    })
}

fn values() -> impl Strategy<Value = Map<String, Value>> {
    let text = prop_oneof!["\\PC{1,12}", "[;,\t\"\n a]{0,6}"];
    (0..9_u32, text.clone(), text).prop_map(|(job, customer, item)| {
        object(json!({"job": job.to_string(), "customer": customer, "item": item}))
    })
}

proptest! {
    #[test]
    fn what_was_added_is_there_alone_and_taken_out_leaves_the_bytes(text in list(), values in values()) {
        let before = jobs(&text);
        let new = changed(&text, 0, &Change::Add(values.clone()));
        prop_assert!(new.starts_with(&text));
        let after = jobs(&new);
        prop_assert_eq!(&after[..before.len()], &before[..]);
        prop_assert_eq!(after.len(), before.len() + 1);
        let said = |key: &str| values[key].as_str().unwrap().trim().to_owned();
        let is = |key: &str| after[before.len()][key].as_str().unwrap_or("").to_owned();
        prop_assert_eq!((is("job"), is("customer"), is("item")), (said("job"), said("customer"), said("item")));
        prop_assert_eq!(changed(&new, before.len(), &Change::Remove), text);
    }

    #[test]
    fn what_was_changed_is_as_it_was_said_and_the_other_rows_stay(
        text in list(),
        values in values(),
        number in any::<prop::sample::Index>(),
    ) {
        let before = jobs(&text);
        let at = if before.is_empty() { return Ok(()) } else { number.index(before.len()) };
        let new = changed(&text, at, &Change::Set(values.clone()));
        let after = jobs(&new);
        prop_assert_eq!(after.len(), before.len());
        for (row, (old, new)) in before.iter().zip(&after).enumerate() {
            prop_assert!(row == at || old == new);
        }
        prop_assert_eq!(changed(&new, at, &Change::Set(values)), new);
    }

    #[test]
    fn no_text_makes_it_panic(text in "(job|customer|[;,\t\"\n\r a1]){0,30}", at in 0..40_usize) {
        for change in [Change::Add(object(json!({"job": "1"}))), Change::Set(object(json!({"job": "1"}))), Change::Remove] {
            let _ = apply(&text, which(0), &change);
        }
        let _ = pointer_at(&text, which(0), at);
    }
}
