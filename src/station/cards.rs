//! What a scanned card means at a station; and what a text that is none of our cards is instead.

use super::arming::refuse;
use super::card::{Card, KNOWN, NotACard};
use super::{Armable, Command, Refusal};
use crate::entry::Means;
use crate::quantity::nearest;
use crate::spec::{Catalog, Subject};

/// The words that cards begin with.
const VERBS: [&str; 11] = [
    "arm", "disarm", "retract", "restore", "resume", "zero", "ask", "adapter", "operator", "tool",
    "note",
];
const PRINT: &str = "print cards with: tallyjaw cards";

/// The command on a card, for this station.
///
/// # Errors
///
/// A [`Refusal`] that says what the card was instead.
pub(super) fn command(text: &str, station: &str, catalog: &Catalog) -> Result<Command, Refusal> {
    let station = Some(station.to_owned());
    let text = text.trim();
    match Card::read(text).map_err(|why| wrong(text, why, catalog))? {
        Card::Arm(plan) => Ok(Command::Arm {
            station,
            what: Armable::Named(plan),
            operator: None,
            cut: false,
        }),
        Card::Operator(operator) => Ok(Command::Operator { station, operator }),
        Card::Tool(word) => {
            let (tool, nest) = match word.split_once('/') {
                Some((tool, nest)) => (tool.to_owned(), Some(nest.to_owned())),
                None => (word, None),
            };
            Ok(Command::Tool {
                station,
                tool,
                nest,
            })
        }
        Card::Note(text) => Ok(Command::Note { station, text }),
        Card::Disarm => Ok(Command::Disarm { station }),
        Card::Retract(reason) => Ok(Command::Retract {
            station,
            seq: None,
            reason,
            by: Means::Card,
        }),
        Card::Resume => Ok(Command::Resume {
            station,
            by: Means::Card,
        }),
        Card::Restore => Ok(Command::Restore {
            station,
            by: Means::Card,
        }),
        Card::Zero => Ok(Command::Zero {
            station,
            instrument: None,
        }),
        Card::Adapter => Ok(Command::Adapter {
            station,
            instrument: None,
            by: Means::Card,
        }),
        Card::Ask => Ok(Command::Ask {
            station,
            instrument: None,
        }),
    }
}

/// Why a text is no card that says something, and what to do.
fn wrong(text: &str, why: NotACard, catalog: &Catalog) -> Refusal {
    let remedy = match why {
        NotACard::NotOurs => return foreign(text, catalog),
        NotACard::NoPlan | NotACard::Nobody | NotACard::NoTool => None,
        NotACard::Unknown => near_card(text),
    };
    refuse(
        format!("{why}: got {text:?}, want {KNOWN}"),
        remedy.unwrap_or_else(|| PRINT.to_owned()),
    )
}

fn near_card(text: &str) -> Option<String> {
    let verb = text.split('/').nth(1)?;
    let near = nearest(verb, VERBS).filter(|near| *near != verb)?;
    Some(format!("did you mean tj/{near}? {PRINT}"))
}

/// What a text without our mark is, as far as that can be told.
fn foreign(text: &str, catalog: &Catalog) -> Refusal {
    let is = |what: &str, remedy: String| {
        refuse(
            format!("{what}, not one of our cards: got {text:?}"),
            remedy,
        )
    };
    if catalog.tool(text).is_some() {
        return is(
            "the name of a tool",
            format!("its card says tj/tool/{text}; {PRINT}"),
        );
    }
    if catalog.plan(text).is_some() {
        return is(
            "the name of a plan",
            format!("its card says tj/arm/{text}; {PRINT}"),
        );
    }
    if catalog.terminal(text).is_some() {
        return is("the name of a terminal", plans_of(text, catalog));
    }
    if text.to_lowercase().starts_with("tj/") {
        let remedy = "set the scanner to send cards as they are printed, not in capitals";
        return is("a card in other letters", remedy.to_owned());
    }
    if is_product_code(text) {
        return is("a product's bar code", PRINT.to_owned());
    }
    if text.starts_with("http://") || text.starts_with("https://") {
        return is("an address on the web", PRINT.to_owned());
    }
    refuse(
        format!("not one of our cards: got {text:?}, want {KNOWN}"),
        PRINT,
    )
}

/// Which cards arm a plan for this terminal.
fn plans_of(terminal: &str, catalog: &Catalog) -> String {
    let plans: Vec<String> = catalog
        .plans
        .iter()
        .filter(|plan| match &plan.subject {
            Subject::Crimps { terminal: of, .. } => of == terminal,
            Subject::Blocks { .. } => false,
        })
        .filter_map(|plan| Some(format!("tj/arm/{}", plan.id.as_deref()?)))
        .collect();
    if plans.is_empty() {
        return "no plan measures it; write one".to_owned();
    }
    format!("scan the card of its plan: {}", plans.join(" or "))
}

/// Whether this is the number in a product's bar code: 8, 12, 13 or 14 digits, the last of which
/// makes the weighted sum a multiple of ten (GS1 General Specifications, check digit; from memory).
fn is_product_code(text: &str) -> bool {
    let digits: Option<Vec<u32>> = text.chars().map(|c| c.to_digit(10)).collect();
    let Some(digits) = digits.filter(|digits| matches!(digits.len(), 8 | 12..=14)) else {
        return false;
    };
    let weights = [1, 3].into_iter().cycle();
    let sum: u32 = digits
        .iter()
        .rev()
        .zip(weights)
        .map(|(digit, weight)| digit * weight)
        .sum();
    sum.is_multiple_of(10)
}
