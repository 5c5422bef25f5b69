//! Decides which cards are on the sheet, and what is printed on each.
//!
//! In: the catalog and the options. Out: cards in groups, each card once, or why a card cannot be made.

use super::words::Words;
use crate::cli::Failure;
use crate::markup::Element;
use crate::quantity::did_you_mean;
use crate::spec::{Catalog, Material, Plan};
use crate::station::card::Card;
use crate::texts::Language;
use std::collections::BTreeSet;

/// The options of the user.
#[derive(Debug)]
pub(super) struct Wanted<'a> {
    /// Only these plans; if empty, everything.
    pub(super) plans: &'a [String],
    pub(super) operators: &'a [String],
    pub(super) notes: &'a [String],
    pub(super) terminal_lots: &'a [String],
    pub(super) wire_lots: &'a [String],
    pub(super) language: Language,
}

#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) groups: Vec<Group>,
    /// What the user should know: cards given twice, cards that some scanners send wrongly.
    pub(super) remarks: Vec<String>,
}

/// Cards that stand together.
#[derive(Debug)]
pub(super) struct Group {
    pub(super) heading: String,
    pub(super) cards: Vec<SheetCard>,
}

#[derive(Debug)]
pub(super) struct SheetCard {
    /// The text of the QR code.
    pub(super) text: String,
    pub(super) title: String,
    /// What scanning it does, where the title does not say it.
    pub(super) does: String,
    /// Labelled facts: `wire`, `2.0 mm²`.
    pub(super) facts: Vec<(String, String)>,
    /// The drawing of a visual check.
    pub(super) drawing: Option<Element>,
}

impl Sheet {
    pub(super) fn cards(&self) -> impl Iterator<Item = &SheetCard> {
        self.groups.iter().flat_map(|group| &group.cards)
    }
}

/// The sheet that was requested.
pub(super) fn sheet(catalog: &Catalog, wanted: &Wanted<'_>) -> Result<Sheet, Failure> {
    let plans = plans(catalog, wanted.plans)?;
    let words = Words(wanted.language);
    let mut maker = Maker::default();
    for (heading, plans) in words.by_subject(catalog, &plans) {
        let cards = plans.into_iter().map(|plan| words.arm(catalog, plan));
        maker.group(heading, cards.collect());
    }
    maker.group(words.of("card.group.looks"), words.looks(&plans));
    maker.group(words.of("card.group.pulls"), words.pulls(&plans));
    if wanted.plans.is_empty() {
        maker.group(words.of("card.group.commands"), words.commands());
        maker.group(words.of("card.group.reasons"), words.reasons(&plans));
        let tools = catalog.tools.iter().flat_map(|tool| words.tool(tool));
        maker.group(words.of("card.group.tools"), tools.collect());
        let jobs = catalog.jobs.iter().flatten();
        let jobs = jobs.map(|known| words.job(known));
        maker.group(words.of("card.group.jobs"), jobs.collect());
    }
    let operators = wanted
        .operators
        .iter()
        .map(|name| words.operator(name.trim()));
    maker.group(words.of("card.group.operators"), operators.collect());
    let lots = |material, lots: &[String]| {
        let lots = lots.iter().map(|lot| words.lot(material, lot.trim()));
        lots.collect::<Vec<_>>()
    };
    let terminal = lots(Material::Terminal, wanted.terminal_lots);
    let wire = lots(Material::Wire, wanted.wire_lots);
    let both = terminal.into_iter().chain(wire);
    maker.group(words.of("card.group.lots"), both.collect());
    let notes = wanted.notes.iter().map(|text| words.note(text.trim()));
    maker.group(words.of("card.group.notes"), notes.collect());
    maker.finish()
}

/// A card before its text is checked.
pub(super) struct Wish {
    pub(super) card: Card,
    pub(super) title: String,
    pub(super) does: String,
    pub(super) facts: Vec<(String, String)>,
    pub(super) drawing: Option<Element>,
}

/// Makes the texts of cards, each once, and collects faults.
#[derive(Default)]
struct Maker {
    groups: Vec<Group>,
    remarks: Vec<String>,
    faults: Vec<String>,
    made: BTreeSet<String>,
}

impl Maker {
    fn group(&mut self, heading: String, wishes: Vec<Wish>) {
        let cards: Vec<_> = wishes
            .into_iter()
            .filter_map(|wish| self.card(wish))
            .collect();
        if !cards.is_empty() {
            self.groups.push(Group { heading, cards });
        }
    }

    fn card(&mut self, wish: Wish) -> Option<SheetCard> {
        let text = match wish.card.text() {
            Ok(text) => text,
            Err(why) => {
                let asked: String = wish.card.to_string().chars().take(80).collect();
                self.faults.push(format!("{asked:?}: {why}"));
                return None;
            }
        };
        if !self.made.insert(text.clone()) {
            self.remarks.push(format!(
                "{text:?} was given more than once; the sheet has it once"
            ));
            return None;
        }
        if !text.is_ascii() {
            self.remarks.push(format!(
                "{text:?} is not plain ASCII: some scanners send it wrongly; test this card once"
            ));
        }
        Some(SheetCard {
            text,
            title: wish.title,
            does: wish.does,
            facts: wish.facts,
            drawing: wish.drawing,
        })
    }

    fn finish(self) -> Result<Sheet, Failure> {
        if self.faults.is_empty() {
            return Ok(Sheet {
                groups: self.groups,
                remarks: self.remarks,
            });
        }
        let message = format!("no card can carry {}", self.faults.join("; "));
        Err(Failure::usage(message).with_remedy("write a shorter text in one line"))
    }
}

/// The named plans, or all.
fn plans<'c>(catalog: &'c Catalog, named: &[String]) -> Result<Vec<&'c Plan>, Failure> {
    if named.is_empty() {
        return Ok(catalog.plans.iter().collect());
    }
    let known: Vec<_> = catalog
        .plans
        .iter()
        .filter_map(|plan| plan.id.as_deref())
        .collect();
    let find = |id: &String| {
        catalog.plan(id).ok_or_else(|| {
            Failure::usage(format!("no plan {id:?}, want one of {}", known.join(", ")))
                .with_remedy(did_you_mean(id, &known))
        })
    };
    named.iter().map(find).collect()
}
