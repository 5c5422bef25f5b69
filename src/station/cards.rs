//! What a scanned card does at a station, and what a text is that is not one of our cards.

use super::card::{Card, NotACard};
use super::{Armable, Command, Foreign, Refusal, Settling};
use crate::entry::Means;
use crate::spec::{Catalog, Job, Subject};

/// The command that the card `text` gives to `station`.
///
/// # Errors
///
/// A [`Refusal`] that says what was scanned instead of a card.
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
        Card::Job(word) => {
            let (id, serial) = match word.split_once('/') {
                Some((id, serial)) => (id.to_owned(), Some(serial.to_owned())),
                None => (word, None),
            };
            let job = Some(Job {
                id,
                customer: None,
                item: None,
                serial,
                reference: None,
            });
            Ok(Command::Job { station, job })
        }
        Card::Lot(material, lot) => Ok(Command::Lot {
            station,
            material,
            lot: Some(lot),
        }),
        Card::Look(look, answer) => Ok(Command::Look {
            station,
            look,
            piece: None,
            answer,
            by: Means::Card,
        }),
        Card::Pulled(mode) => Ok(Command::Pulled {
            station,
            piece: None,
            mode,
            by: Means::Card,
        }),
        Card::Crimps(crimps) => Ok(Command::Crimps {
            station,
            crimps,
            by: Means::Card,
        }),
        Card::Settle(settlement, reason) => Ok(Command::Settle {
            station,
            what: Settling {
                held: None,
                crimps: None,
                settlement,
                reason,
                by: Means::Card,
            },
        }),
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

/// The refusal of a text that is not a complete card.
fn wrong(text: &str, why: NotACard, catalog: &Catalog) -> Refusal {
    let got = text.to_owned();
    match (why, foreign(text, catalog)) {
        (NotACard::NotOurs, Some(is)) => Refusal::Foreign { is, got },
        (
            NotACard::NotOurs
            | NotACard::NoPlan
            | NotACard::Nobody
            | NotACard::NoTool
            | NotACard::NoJob
            | NotACard::NoLot
            | NotACard::NoAnswer
            | NotACard::NoMode
            | NotACard::NoCount
            | NotACard::NoSettlement
            | NotACard::Unknown,
            _,
        ) => Refusal::NotACard { why, got },
    }
}

/// What a text without the prefix `tj/` is, if it can be recognized.
fn foreign(text: &str, catalog: &Catalog) -> Option<Foreign> {
    if catalog.tool(text).is_some() {
        return Some(Foreign::Tool);
    }
    if catalog.plan(text).is_some() {
        return Some(Foreign::Plan);
    }
    if catalog.terminal(text).is_some() {
        return Some(Foreign::Terminal(plans_of(text, catalog)));
    }
    if text.to_lowercase().starts_with("tj/") {
        return Some(Foreign::Capitals);
    }
    if is_product_code(text) {
        return Some(Foreign::Product);
    }
    let is_address = text.starts_with("http://") || text.starts_with("https://");
    is_address.then_some(Foreign::Address)
}

/// The plans that measure this terminal.
fn plans_of(terminal: &str, catalog: &Catalog) -> Vec<String> {
    catalog
        .plans
        .iter()
        .filter(|plan| match &plan.subject {
            Subject::Crimps { terminal: of, .. } => of == terminal,
            Subject::Blocks { .. } => false,
        })
        .filter_map(|plan| plan.id.clone())
        .collect()
}

/// Whether this is the number of a product's bar code: 8, 12, 13 or 14 digits whose weighted sum, check digit included,
/// is a multiple of ten (GS1 General Specifications, check digit; from memory).
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
