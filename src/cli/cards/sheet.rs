//! Chooses the cards to print, and the text on each.
//!
//! In: the catalog and the options. Out: groups of cards, each card once; or the texts that no card can carry.

use crate::cli::Failure;
use crate::quantity::did_you_mean;
use crate::spec::wire::{resolve, table};
use crate::spec::{
    AxisName, Catalog, KnownJob, Material, Nest, Plan, Subject, Tool, ToolClass, WireRequest,
};
use crate::station::card::Card;
use std::collections::BTreeSet;

/// The user's options.
#[derive(Debug)]
pub(super) struct Wanted<'a> {
    /// Only these plans; if empty, everything.
    pub(super) plans: &'a [String],
    pub(super) operators: &'a [String],
    pub(super) notes: &'a [String],
    pub(super) terminal_lots: &'a [String],
    pub(super) wire_lots: &'a [String],
}

#[derive(Debug)]
pub(super) struct Sheet {
    pub(super) groups: Vec<Group>,
    /// Remarks for the user: cards given twice, cards that some scanners may send wrongly.
    pub(super) remarks: Vec<String>,
}

/// Cards under one heading.
#[derive(Debug)]
pub(super) struct Group {
    pub(super) heading: String,
    pub(super) cards: Vec<SheetCard>,
}

#[derive(Debug)]
pub(super) struct SheetCard {
    /// The text in the code.
    pub(super) text: String,
    pub(super) title: String,
    /// What scanning it does; empty if the title says so.
    pub(super) does: &'static str,
    /// Labels with their text: `wire`, `2.0 mm²`.
    pub(super) facts: Vec<(&'static str, String)>,
}

impl Sheet {
    pub(super) fn cards(&self) -> impl Iterator<Item = &SheetCard> {
        self.groups.iter().flat_map(|group| &group.cards)
    }
}

/// The cards for these options.
pub(super) fn sheet(catalog: &Catalog, wanted: &Wanted<'_>) -> Result<Sheet, Failure> {
    let plans = plans(catalog, wanted.plans)?;
    let mut maker = Maker::default();
    for (heading, plans) in by_subject(catalog, &plans) {
        let cards = plans.into_iter().map(|plan| arm(catalog, plan)).collect();
        maker.group(heading, cards);
    }
    if wanted.plans.is_empty() {
        maker.group("Commands".to_owned(), commands());
        maker.group("Retract a pull test".to_owned(), reasons(&plans));
        maker.group(
            "Tools".to_owned(),
            catalog.tools.iter().flat_map(tool).collect(),
        );
        let jobs = catalog.jobs.iter().flatten();
        maker.group("Jobs".to_owned(), jobs.map(job).collect());
    }
    let word = |words: &[String], card: fn(String) -> Wish| {
        let words = words.iter().map(|word| card(word.trim().to_owned()));
        words.collect::<Vec<_>>()
    };
    maker.group("Operators".to_owned(), word(wanted.operators, operator));
    let lots = |material, lots: &[String]| {
        let lots = lots.iter().map(|text| lot(material, text.trim()));
        lots.collect::<Vec<_>>()
    };
    let terminal = lots(Material::Terminal, wanted.terminal_lots);
    let wire = lots(Material::Wire, wanted.wire_lots);
    maker.group(
        "Lots".to_owned(),
        terminal.into_iter().chain(wire).collect(),
    );
    maker.group("Notes".to_owned(), word(wanted.notes, note));
    maker.finish()
}

/// A card before its text is checked.
struct Wish {
    card: Card,
    title: String,
    does: &'static str,
    facts: Vec<(&'static str, String)>,
}

/// Checks texts, drops repeated cards, and collects faults.
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

/// The plans with these ids; all plans if none are named.
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

/// Plans grouped by subject: terminals in the order of the sheets, then instruments that are verified on gauge blocks.
fn by_subject<'c>(catalog: &'c Catalog, plans: &[&'c Plan]) -> Vec<(String, Vec<&'c Plan>)> {
    let mut groups: Vec<(String, Vec<&Plan>)> = Vec::new();
    for known in &catalog.terminals {
        let is_of_it = |plan: &&Plan| matches!(&plan.subject, Subject::Crimps { terminal, .. } if *terminal == known.id);
        let of_it = plans.iter().copied().filter(is_of_it).collect();
        groups.push((format!("Start: {}", known.id), of_it));
    }
    let is_blocks = |plan: &&Plan| matches!(plan.subject, Subject::Blocks { .. });
    let blocks = plans.iter().copied().filter(is_blocks).collect();
    groups.push(("Start: gauge blocks".to_owned(), blocks));
    groups.retain(|(_, plans)| !plans.is_empty());
    groups
}

fn arm(catalog: &Catalog, plan: &Plan) -> Wish {
    let id = plan.id.clone().unwrap_or_default();
    let mut facts = match &plan.subject {
        Subject::Crimps { terminal, wire } => {
            let axes: Vec<_> = plan.axes.iter().map(AxisName::words).collect();
            vec![
                ("terminal", terminal.clone()),
                ("wire", self::wire(wire)),
                ("measure", axes.join(", ")),
                ("pieces", format!("{}{}", plan.pieces, order(plan))),
            ]
        }
        Subject::Blocks { instrument, blocks } => {
            let blocks: Vec<_> = blocks.iter().map(|block| block.size.to_string()).collect();
            vec![
                ("instrument", instrument.clone()),
                ("blocks", blocks.join(", ")),
                ("each", format!("{} times{}", plan.pieces, order(plan))),
            ]
        }
    };
    facts.push(("purpose", plan.purpose.name().replace('_', " ")));
    facts.extend(tool_of(catalog, plan).map(|tool| ("tool", tool)));
    let is_pull = plan.axes.iter().any(AxisName::is_destructive);
    let does = if is_pull {
        "destructive: pieces of their own, scrap afterwards"
    } else {
        ""
    };
    Wish {
        card: Card::Arm(id.clone()),
        title: id,
        does,
        facts,
    }
}

/// The card of a job of the list; a serial number is put behind it by whoever prints the card of a harness.
fn job(known: &KnownJob) -> Wish {
    let job = &known.job;
    let facts = [
        ("customer", &job.customer),
        ("item", &job.item),
        ("reference", &job.reference),
    ];
    let facts = facts.into_iter();
    let facts = facts.filter_map(|(what, said)| Some((what, said.clone()?)));
    Wish {
        card: Card::Job(job.id.clone()),
        title: job.id.clone(),
        does: "the series that start next are for this job",
        facts: facts.collect(),
    }
}

/// The card of a reel or a spool.
fn lot(material: Material, lot: &str) -> Wish {
    Wish {
        card: Card::Lot(material, lot.to_owned()),
        title: lot.to_owned(),
        does: "this lot is in use from then on",
        facts: vec![("lot of", material.name().to_owned())],
    }
}

/// `, by piece`, where there is more than one axis to put in order.
fn order(plan: &Plan) -> String {
    if plan.axes.len() < 2 {
        return String::new();
    }
    format!(", {}", plan.order.name().replace('_', " "))
}

fn tool_of(catalog: &Catalog, plan: &Plan) -> Option<String> {
    let id = plan.tool.as_ref()?;
    let class = catalog.tool(id).map(|tool| match tool.class {
        ToolClass::Production => "",
        ToolClass::Repair => " (repair class)",
    });
    let nest = plan.nest.as_ref().map(|nest| format!(", nest {nest}"));
    Some(format!(
        "{id}{}{}",
        class.unwrap_or_default(),
        nest.unwrap_or_default()
    ))
}

/// The wire by area, and by gauge where it has one.
fn wire(request: &WireRequest) -> String {
    let Ok(wire) = resolve(request) else {
        return request.text.clone(); // The check of the configuration has resolved every wire.
    };
    let gauge = table()
        .iter()
        .find(|gauge| wire.gauge.is_none() && gauge.sae_metric == Some(wire.area));
    match gauge {
        Some(gauge) => format!("{wire} (the SAE metric size of {} ga)", gauge.name),
        None => wire.to_string(),
    }
}

fn commands() -> Vec<Wish> {
    let command = |card, title: &str, does| Wish {
        card,
        title: title.to_owned(),
        does,
        facts: Vec::new(),
    };
    vec![
        command(
            Card::Zero,
            "Zero",
            "the next value is a zero: a caliper with clean, closed jaws, a force gauge without load",
        ),
        command(
            Card::Retract(None),
            "Retract",
            "the last reading was a slip; it is measured again next",
        ),
        command(
            Card::Restore,
            "Restore",
            "undoes the last retraction; the reading counts again",
        ),
        command(
            Card::Resume,
            "Resume",
            "resumes the series that the last start stopped early",
        ),
        command(
            Card::Ask,
            "Request a value",
            "from an instrument that answers to a request",
        ),
        command(
            Card::Adapter,
            "Confirm the adapter",
            "check first which instrument is on the port; its readings count from then on",
        ),
        command(
            Card::Disarm,
            "Stop early",
            "closes the open series before it is full",
        ),
    ]
}

/// Reasons for retracting a pull test. The piece is destroyed, so `tj/retract` without a reason is refused.
fn reasons(plans: &[&Plan]) -> Vec<Wish> {
    let destroys = |plan: &&Plan| plan.axes.iter().any(AxisName::is_destructive);
    if !plans.iter().any(destroys) {
        return Vec::new();
    }
    let reasons = [
        "slipped in the grips",
        "pulled at an angle",
        "gauge not at its peak",
    ];
    let wish = |reason: &str| Wish {
        card: Card::Retract(Some(reason.to_owned())),
        title: format!("Retract: {reason}"),
        does: "the last reading; its piece is spent, the next piece is pulled",
        facts: Vec::new(),
    };
    reasons.map(wish).into()
}

/// A card for the tool and one for each nest, because nests are mixed up as easily as tools.
fn tool(tool: &Tool) -> Vec<Wish> {
    let terminals = if tool.terminals.is_empty() {
        "any".to_owned()
    } else {
        tool.terminals.join(", ")
    };
    let common = [
        ("class", tool.class.name().to_owned()),
        ("terminals", terminals),
    ];
    let sizes = |nest: &Nest| {
        let sizes: Vec<_> = nest.wires.iter().map(ToString::to_string).collect();
        sizes.join(", ")
    };
    let nests = tool.nests.iter();
    let mut facts = common.to_vec();
    facts.extend(
        nests
            .clone()
            .map(|nest| ("nest", format!("{} for {}", nest.id, sizes(nest)))),
    );
    let whole = Wish {
        card: Card::Tool(tool.id.clone()),
        title: format!("Tool {}", tool.id),
        does: "",
        facts,
    };
    let of_nests = nests.map(|nest| {
        let mut facts = common.to_vec();
        facts.push(("wires", sizes(nest)));
        Wish {
            card: Card::Tool(format!("{}/{}", tool.id, nest.id)),
            title: format!("Tool {}, nest {}", tool.id, nest.id),
            does: "",
            facts,
        }
    });
    std::iter::once(whole).chain(of_nests).collect()
}

fn operator(name: String) -> Wish {
    Wish {
        title: name.clone(),
        card: Card::Operator(name),
        does: "measures from now on",
        facts: Vec::new(),
    }
}

fn note(text: String) -> Wish {
    Wish {
        card: Card::Note(text),
        title: "Note".to_owned(),
        does: "enters this remark into the journal",
        facts: Vec::new(),
    }
}
