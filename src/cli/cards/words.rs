//! The words that are printed on each card, in the chosen language.
//!
//! In: plans, tools, names. Out: cards with title and facts. Every word except names is from the table of texts.

use super::sheet::Wish;
use crate::spec::wire::{resolve, table};
use crate::spec::{
    AxisName, Catalog, KnownJob, Material, Nest, Order, Plan, Subject, Tool, ToolClass, WireRequest,
};
use crate::station::card::Card;
use crate::texts::{self, Language};

/// The words of a language.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words(pub(super) Language);

impl Words {
    pub(super) fn of(self, key: &str) -> String {
        self.with(key, &[])
    }

    pub(super) fn with(self, key: &str, values: &[(&str, &str)]) -> String {
        texts::text(self.0, key, values)
    }

    /// A labelled fact: `wire`, `2.0 mm²`.
    fn fact(self, key: &str, says: String) -> (String, String) {
        (self.of(key), says)
    }

    /// Plans by what they measure: terminals in the order of the sheets, then instruments on gauge blocks.
    pub(super) fn by_subject<'c>(
        self,
        catalog: &'c Catalog,
        plans: &[&'c Plan],
    ) -> Vec<(String, Vec<&'c Plan>)> {
        let mut groups: Vec<(String, Vec<&Plan>)> = Vec::new();
        for known in &catalog.terminals {
            let is_of_it = |plan: &&Plan| matches!(&plan.subject, Subject::Crimps { terminal, .. } if *terminal == known.id);
            let of_it = plans.iter().copied().filter(is_of_it).collect();
            let heading = self.with("card.group.start", &[("terminal", &known.id)]);
            groups.push((heading, of_it));
        }
        let is_blocks = |plan: &&Plan| matches!(plan.subject, Subject::Blocks { .. });
        let blocks = plans.iter().copied().filter(is_blocks).collect();
        groups.push((self.of("card.group.blocks"), blocks));
        groups.retain(|(_, plans)| !plans.is_empty());
        groups
    }

    pub(super) fn arm(self, catalog: &Catalog, plan: &Plan) -> Wish {
        let id = plan.id.clone().unwrap_or_default();
        let mut facts = match &plan.subject {
            Subject::Crimps { terminal, wire } => {
                let axes: Vec<_> = plan.axes.iter().map(|axis| self.axis(axis)).collect();
                vec![
                    self.fact("card.fact.terminal", terminal.clone()),
                    self.fact("card.fact.wire", self.wire(wire)),
                    self.fact("card.fact.measure", axes.join(", ")),
                    self.fact(
                        "card.fact.pieces",
                        self.order(plan, plan.pieces.to_string()),
                    ),
                ]
            }
            Subject::Blocks { instrument, blocks } => {
                let blocks: Vec<_> = blocks
                    .iter()
                    .map(|block| self.number(&block.size.to_string()))
                    .collect();
                let times = self.with("card.times", &[("n", &plan.pieces.to_string())]);
                vec![
                    self.fact("card.fact.instrument", instrument.clone()),
                    self.fact("card.fact.blocks", blocks.join(", ")),
                    self.fact("card.fact.each", self.order(plan, times)),
                ]
            }
        };
        let purpose = self.of(&format!("purpose.{}", plan.purpose.name()));
        facts.push(self.fact("card.fact.purpose", purpose));
        let tool = self.tool_of(catalog, plan);
        facts.extend(tool.map(|tool| self.fact("card.fact.tool", tool)));
        let is_pull = plan.axes.iter().any(AxisName::is_destructive);
        Wish {
            card: Card::Arm(id.clone()),
            title: id,
            does: if is_pull {
                self.of("card.destructive")
            } else {
                String::new()
            },
            facts,
            drawing: None,
        }
    }

    fn number(self, number: &str) -> String {
        texts::number(self.0, number)
    }

    fn axis(self, axis: &AxisName) -> String {
        let words = axis.words();
        texts::keyed(&words).map_or(words, |keyed| keyed.text(self.0))
    }

    /// `10, by piece`; the order is left out if there is only one axis.
    fn order(self, plan: &Plan, number: String) -> String {
        if plan.axes.len() < 2 {
            return number;
        }
        let key = match plan.order {
            Order::ByAxis => "card.order.by_axis",
            Order::ByPiece => "card.order.by_piece",
            Order::ByValue => "card.order.by_value",
        };
        self.with(key, &[("n", &number)])
    }

    fn tool_of(self, catalog: &Catalog, plan: &Plan) -> Option<String> {
        let id = plan.tool.as_ref()?;
        let class = catalog.tool(id).map(|tool| tool.class);
        let tool = match class {
            Some(ToolClass::Repair) => self.with("card.repair", &[("tool", id)]),
            Some(ToolClass::Production) | None => id.clone(),
        };
        Some(match &plan.nest {
            Some(nest) => self.with("tool.short", &[("tool", &tool), ("nest", nest)]),
            None => tool,
        })
    }

    /// The wire by its area and by its gauge, where it has one.
    fn wire(self, request: &WireRequest) -> String {
        let Ok(wire) = resolve(request) else {
            return request.text.clone(); // the wire of a checked plan can always be resolved
        };
        let words = wire.to_string();
        let said = texts::keyed(&words).map(|keyed| keyed.text(self.0));
        let said = said.unwrap_or_else(|| self.number(&words));
        let gauge = table()
            .iter()
            .find(|gauge| wire.gauge.is_none() && gauge.sae_metric == Some(wire.area));
        match gauge {
            Some(gauge) => self.with("card.sae", &[("wire", &said), ("gauge", gauge.name)]),
            None => said,
        }
    }

    pub(super) fn commands(self) -> Vec<Wish> {
        let commands = [
            (Card::Zero, "zero"),
            (Card::Retract(None), "retract"),
            (Card::Restore, "restore"),
            (Card::Resume, "resume"),
            (Card::Ask, "ask"),
            (Card::Adapter, "adapter"),
            (Card::Disarm, "disarm"),
        ];
        let wish = |(card, name)| Wish {
            card,
            title: self.of(&format!("card.{name}")),
            does: self.of(&format!("card.{name}.does")),
            facts: Vec::new(),
            drawing: None,
        };
        commands.map(wish).into()
    }

    /// Cards that retract the last pull test, each with a reason. Its piece is destroyed, so a bare `tj/retract` is
    /// refused.
    pub(super) fn reasons(self, plans: &[&Plan]) -> Vec<Wish> {
        let destroys = |plan: &&Plan| plan.axes.iter().any(AxisName::is_destructive);
        if !plans.iter().any(destroys) {
            return Vec::new();
        }
        let wish = |key| {
            let reason = self.of(key);
            Wish {
                title: self.with("card.reason", &[("reason", &reason)]),
                card: Card::Retract(Some(reason)),
                does: self.of("card.reason.does"),
                facts: Vec::new(),
                drawing: None,
            }
        };
        ["card.reason.grips", "card.reason.angle", "card.reason.peak"]
            .map(wish)
            .into()
    }

    /// A card for the tool, and one for each of its nests.
    pub(super) fn tool(self, tool: &Tool) -> Vec<Wish> {
        let terminals = if tool.terminals.is_empty() {
            self.of("card.any")
        } else {
            tool.terminals.join(", ")
        };
        let class = self.of(&format!("card.class.{}", tool.class.name()));
        let common = [
            self.fact("card.fact.class", class),
            self.fact("card.fact.terminals", terminals),
        ];
        let sizes = |nest: &Nest| {
            let sizes = nest.wires.iter().map(|wire| self.number(&wire.to_string()));
            sizes.collect::<Vec<_>>().join(", ")
        };
        let nest_for = |nest: &Nest| {
            let with = [("nest", nest.id.as_str()), ("wires", &sizes(nest))];
            self.fact("card.fact.nest", self.with("card.nest_for", &with))
        };
        let whole = Wish {
            card: Card::Tool(tool.id.clone()),
            title: self.with("card.tool", &[("tool", &tool.id)]),
            does: String::new(),
            facts: common
                .iter()
                .cloned()
                .chain(tool.nests.iter().map(nest_for))
                .collect(),
            drawing: None,
        };
        let of_nests = tool.nests.iter().map(|nest| Wish {
            card: Card::Tool(format!("{}/{}", tool.id, nest.id)),
            title: self.with("card.tool.nest", &[("tool", &tool.id), ("nest", &nest.id)]),
            does: String::new(),
            facts: common
                .iter()
                .cloned()
                .chain([self.fact("card.fact.wires", sizes(nest))])
                .collect(),
            drawing: None,
        });
        std::iter::once(whole).chain(of_nests).collect()
    }

    /// The card of a job of the list. The card of a single harness has its serial number appended by whoever prints it.
    pub(super) fn job(self, known: &KnownJob) -> Wish {
        let job = &known.job;
        let facts = [
            ("card.fact.customer", &job.customer),
            ("card.fact.item", &job.item),
            ("card.fact.reference", &job.reference),
        ];
        let facts = facts.into_iter();
        let facts = facts.filter_map(|(key, said)| Some(self.fact(key, said.clone()?)));
        Wish {
            card: Card::Job(job.id.clone()),
            title: job.id.clone(),
            does: self.of("card.job.does"),
            facts: facts.collect(),
            drawing: None,
        }
    }

    /// The card of a reel or a spool.
    pub(super) fn lot(self, material: Material, lot: &str) -> Wish {
        let of = self.of(match material {
            Material::Terminal => "card.fact.terminal",
            Material::Wire => "card.fact.wire",
        });
        Wish {
            card: Card::Lot(material, lot.to_owned()),
            title: lot.to_owned(),
            does: self.of("card.lot.does"),
            facts: vec![self.fact("card.fact.lot_of", of)],
            drawing: None,
        }
    }

    pub(super) fn operator(self, name: &str) -> Wish {
        Wish {
            title: name.to_owned(),
            card: Card::Operator(name.to_owned()),
            does: self.of("card.operator.does"),
            facts: Vec::new(),
            drawing: None,
        }
    }

    pub(super) fn note(self, text: &str) -> Wish {
        Wish {
            card: Card::Note(text.to_owned()),
            title: self.of("card.note"),
            does: self.of("card.note.does"),
            facts: Vec::new(),
            drawing: None,
        }
    }
}
