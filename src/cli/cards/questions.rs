//! The cards that answer questions of a plan: visual checks, and how pull tests failed.
//!
//! A card names a check by its number. If all plans have the same question under that number, the card shows it with
//! its drawing; otherwise it shows the question of each plan.

use super::sheet::Wish;
use super::words::Words;
use crate::drawings::{self, Shown};
use crate::entry::Answer;
use crate::spec::question::Look;
use crate::spec::{Plan, PullMode};
use crate::station::card::Card;

impl Words {
    /// Two cards for each number under which a plan has a visual check.
    pub(super) fn looks(self, plans: &[&Plan]) -> Vec<Wish> {
        let most = plans.iter().map(|plan| plan.questions.looks.len()).max();
        let numbers = 1..=u32::try_from(most.unwrap_or_default()).unwrap_or(u32::MAX);
        let answers = [(Answer::Good, Shown::Good), (Answer::Bad, Shown::Bad)];
        let cards = numbers.flat_map(|number| {
            answers.map(|(answer, shown)| self.look(plans, number, answer, shown))
        });
        cards.collect()
    }

    fn look(self, plans: &[&Plan], number: u32, answer: Answer, shown: Shown) -> Wish {
        let said = self.of(&format!("answer.{}", answer.name()));
        let title = self.with(
            "card.look",
            &[("n", &number.to_string()), ("answer", &said)],
        );
        let asked: Vec<(&str, &Look)> = plans
            .iter()
            .filter_map(|plan| Some((plan.id.as_deref()?, plan.questions.look(number)?)))
            .collect();
        let mut wish = Wish {
            card: Card::Look(number, answer),
            title,
            does: String::new(),
            facts: Vec::new(),
            drawing: None,
        };
        let Some((_, first)) = asked.first() else {
            return wish;
        };
        if asked.iter().all(|(_, look)| look == first) {
            wish.does = self.question(first);
            let name = first.name.as_deref();
            let label = self.of(match shown {
                Shown::Bad => "card.look.bad",
                Shown::Good | Shown::Both => "card.look.good",
            });
            wish.drawing = name.and_then(|name| drawings::of_look(name, shown, &label));
        } else {
            let facts = asked.iter();
            let facts = facts.map(|(plan, look)| ((*plan).to_owned(), self.question(look)));
            wish.facts = facts.collect();
        }
        wish
    }

    /// The question: a customary one in the language of the cards, one of the plan itself unchanged.
    fn question(self, look: &Look) -> String {
        match &look.name {
            Some(name) => self.of(&format!("look.{name}")),
            None => look.question.clone(),
        }
    }

    /// A card for each way in which a pull test fails, where a plan asks for it.
    pub(super) fn pulls(self, plans: &[&Plan]) -> Vec<Wish> {
        if !plans.iter().any(|plan| plan.questions.pull_mode) {
            return Vec::new();
        }
        let wish = |mode: PullMode| {
            let title = self.of(&format!("answer.{}", mode.name()));
            Wish {
                card: Card::Pulled(mode),
                drawing: drawings::of_pull(mode.name(), &title),
                title,
                does: self.of("card.pulled.does"),
                facts: Vec::new(),
            }
        };
        PullMode::ALL.map(wish).into()
    }
}
