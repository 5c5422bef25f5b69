//! The table of texts against the sentences that the daemon words itself: each has its key, is the same in English,
//! and says the same in every language.

mod glossary;
mod refusals;
mod sources;

use tallyjaw::entry::{Entry, FrameEntry, SaidEntry, SeriesEntry, Standing, words};
use tallyjaw::texts::{Keyed, Language, Part, keyed};

/// The sentence has a key that begins like this, and every language has a text with all that stands at its places.
pub(crate) fn assert_has(start: &str, sentence: &str) {
    let found = keyed(sentence).unwrap_or_else(|| panic!("the table has no row for {sentence:?}"));
    assert!(
        found.key.starts_with(start),
        "{} is no {start}: {sentence}",
        found.key
    );
    assert_eq!(found.text(Language::English), sentence);
    let parts = leaves(&found);
    for language in Language::ALL {
        let said = found.text(language);
        for part in &parts {
            let part = match language {
                Language::English => part.clone(),
                Language::German | Language::Spanish => part.replace('.', ","),
            };
            let said = said.replace('.', ",");
            assert!(
                said.contains(&part.replace('.', ",")),
                "{part:?} is not in {said:?}"
            );
        }
        assert!(
            !said.contains(['{', '}']) || sentence.contains(['{', '}']),
            "{said}"
        );
    }
}

/// What stands at places and is the same in every language.
fn leaves(keyed: &Keyed) -> Vec<String> {
    let of = |part: &Part| match part {
        Part::Text(text) | Part::Number { number: text } | Part::Date { date: text } => {
            vec![text.clone()]
        }
        Part::Keyed(keyed) => leaves(keyed),
        Part::List { list } => list.iter().flat_map(of_part).collect(),
    };
    keyed.with.values().flat_map(of).collect()
}

fn of_part(part: &Part) -> Vec<String> {
    match part {
        Part::Text(text) | Part::Number { number: text } | Part::Date { date: text } => {
            vec![text.clone()]
        }
        Part::Keyed(keyed) => leaves(keyed),
        Part::List { list } => list.iter().flat_map(of_part).collect(),
    }
}

/// Everything that an entry says in words of the station's own is in the table.
pub(crate) fn assert_spoken(entry: &Entry) {
    let said = |sentence: &str| {
        // A sentence with names that no shop has may be left in English.
        if !sentence.contains(['\\', '\u{fffd}']) {
            assert_has("daemon.", sentence);
        }
    };
    match entry {
        Entry::Frame(FrameEntry::Reading(reading)) => match &reading.standing {
            Standing::NotCounted {
                hint: Some(hint), ..
            } => said(hint),
            Standing::NotCounted { hint: None, .. } | Standing::Counted => {}
        },
        Entry::Frame(FrameEntry::Unread(unread)) => {
            said(&unread.reason);
            unread.remedy.iter().for_each(|remedy| said(remedy));
        }
        Entry::Said(SaidEntry::Refused(refused)) => {
            said(&refused.reason);
            refused.remedy.iter().for_each(|remedy| said(remedy));
        }
        Entry::Series(SeriesEntry::Alerted(alerted)) => said(&alerted.text),
        Entry::Series(SeriesEntry::Looked(_) | SeriesEntry::Pulled(_)) => {
            said(&words::words(entry));
        }
        Entry::Series(SeriesEntry::Armed(spec)) => {
            spec.warnings.iter().for_each(|warning| said(warning));
        }
        Entry::Journal(_)
        | Entry::Port(_)
        | Entry::Said(_)
        | Entry::Frame(_)
        | Entry::Series(_)
        | Entry::Production(_) => {}
    }
    let _ = words::words(entry);
}

#[test]
fn a_sentence_is_found_with_what_stands_at_its_places() {
    let found = keyed(
        "piece 3 was destroyed when its pull force of 182.5 N was measured: a reason is required",
    );
    let found = found.unwrap();
    assert_eq!(found.key, "daemon.refusal.destroyed");
    assert_eq!(
        found.text(Language::German),
        "Teil 3 wurde beim Messen zerstört (Ausziehkraft: 182,5 N): ein Grund ist nötig"
    );
    let found = keyed(
        "tj/tool/R-02 was refused: R-02 (repair) is not the tool of series 14: pump-own requires T-07 (production), nest 2.0; crimp with T-07; to crimp with R-02, start a plan that names it",
    );
    assert_eq!(
        found.unwrap().text(Language::German),
        "tj/tool/R-02 wurde abgewiesen: R-02 (Reparaturwerkzeug) ist nicht das Werkzeug von Serie 14: pump-own verlangt T-07 (Serienwerkzeug), Gesenk 2.0; mit T-07 crimpen; für R-02 einen Plan beginnen, der es nennt"
    );
    let found = keyed("T-07 (production), nest 2.0 is in the hand").unwrap();
    assert_eq!(
        found.text(Language::German),
        "T-07 (Serienwerkzeug), Gesenk 2.0 ist in der Hand"
    );
    for known in ["it has no reading", "want one of 1, 2"] {
        let sentence = format!("piece 7 of series 3 was not measured, {known}");
        assert!(keyed(&sentence).is_some(), "{sentence}");
    }
    assert_eq!(keyed("no sentence of ours"), None);
    let of_a_request = "got the plan \"pump\" and keys of a plan (stop), want one or the other";
    assert_eq!(keyed(of_a_request), None, "it is no length");
    assert_eq!(keyed(""), None);
}

#[test]
fn what_the_checker_says_has_rows_that_fit_much_and_are_for_faults_alone() {
    use tallyjaw::texts::keyed_check;
    for (sentence, german) in [
        (
            "job \"4711\" appears twice",
            "Auftrag „4711“ kommt zweimal vor",
        ),
        (
            "core_crimp_height: not a number: \"0,05\", want digits with at most one point, such as 1.62",
            "core_crimp_height: „0,05“ ist keine Zahl; nötig sind Ziffern mit höchstens einem Punkt, etwa 1.62",
        ),
        (
            "want limits such as \"1.62 ±0.05 mm\" or \"1.57..1.67 mm\"",
            "nötig sind Grenzen wie \"1.62 ±0.05 mm\" oder \"1.57..1.67 mm\"",
        ),
        ("pieces is 0", "pieces ist 0"),
        (
            "want a whole number from 1 to 1000",
            "nötig ist eine ganze Zahl von 1 bis 1000",
        ),
        (
            "terminal \"RB-090-M\" appears twice",
            "Kontakt „RB-090-M“ kommt zweimal vor",
        ),
        (
            "want another name; the first is at sheet.toml:3",
            "nötig ist ein anderer Name; der erste steht in sheet.toml:3",
        ),
    ] {
        let found = keyed_check(sentence).unwrap();
        assert_eq!(found.text(Language::English), sentence);
        assert_eq!(found.text(Language::German), german);
    }
    assert_eq!(keyed_check("no sentence of the checker"), None);
}

#[test]
fn a_name_made_to_fall_apart_in_many_ways_takes_no_time() {
    let hostile = ", want one of \" and is in the hand, ".repeat(50);
    let begun = std::time::Instant::now();
    for _ in 0..20 {
        let _ = keyed(&format!("no plan {hostile:?}, want one of {hostile}"));
        let _ = keyed(&hostile);
    }
    assert!(begun.elapsed().as_secs() < 5, "{:?}", begun.elapsed());
}
