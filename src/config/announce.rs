//! Reads `announce`: the program that speaks verdicts, and the placeholders in its arguments.

use super::faults::{At, Fault, Faults, quoted};
use super::table::Table;
use crate::quantity::did_you_mean;

/// Names that an argument may hold in curly brackets.
pub const PLACEHOLDERS: [&str; 5] = ["verdict", "value", "station", "axis", "piece"];

/// No such program takes more arguments.
const MOST_ARGUMENTS: usize = 32;

/// The program and its arguments; empty if nothing is announced.
pub(super) fn read(table: &mut Table<'_>, faults: &mut Faults) -> Vec<String> {
    if let Some(place) = table.empty_list("announce") {
        let fault = Fault::new(
            "announce is an empty list",
            "want a program and its arguments",
        );
        faults.add(
            &place,
            fault.help("leave the key out if nothing is to be announced"),
        );
    }
    let parts = table.texts(faults, "announce");
    if let Some(surplus) = parts.get(MOST_ARGUMENTS) {
        let got = format!("{} arguments in announce", parts.len());
        faults.add(
            &surplus.place,
            Fault::new(got, format!("want at most {MOST_ARGUMENTS}")),
        );
    }
    if let Some(program) = parts
        .first()
        .filter(|program| program.value.contains(' ') && !program.value.starts_with('/'))
    {
        let fault = Fault::new(
            format!("the program is {}", quoted(&program.value)),
            "want the program alone, and each argument as a text of its own",
        );
        faults.add(
            &program.place,
            fault.help("no shell runs it: announce = [\"espeak-ng\", \"{verdict} {value}\"]"),
        );
    }
    for part in &parts {
        check(part, faults);
    }
    parts.into_iter().map(|part| part.value).collect()
}

/// Checks that every pair of curly brackets holds a known name.
fn check(part: &At<String>, faults: &mut Faults) {
    for (rest, _) in part.value.match_indices('{') {
        let inside = part.value.get(rest + 1..).unwrap_or_default();
        let word = inside.split_once('}').map(|(word, _)| word);
        if word.is_some_and(|word| PLACEHOLDERS.contains(&word)) {
            continue;
        }
        let got = match word {
            Some(word) => format!("unknown placeholder {}", quoted(word)),
            None => "a { without its }".to_owned(),
        };
        let known: Vec<_> = PLACEHOLDERS
            .iter()
            .map(|word| format!("{{{word}}}"))
            .collect();
        let fault = Fault::new(got, format!("want one of {}", known.join(", ")));
        let nearest = word.map(|word| did_you_mean(word, &PLACEHOLDERS));
        faults.add(&part.place, fault.help_of(nearest));
    }
}
