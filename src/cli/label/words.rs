//! The words that are printed on a label, in the chosen language.
//!
//! In: the series of the label and the shop's name. Out: paragraphs, each with its rank for leaving out.

use super::gather::Gathering;
use super::layout::{Paragraph, Style};
use crate::config::ShopConfig;
use crate::entry::Outcome;
use crate::entry::ledger::Series;
use crate::message::label::{LabelOf, LabelState, LabelText};
use crate::quantity::{Zone, safe};
use crate::spec::{ArmedSubject, Job};
use crate::texts::{self, Language};

/// The data from which a label is made.
#[derive(Debug, Clone, Copy)]
pub(super) struct Words<'w> {
    pub(super) language: Language,
    pub(super) shop: &'w ShopConfig,
    pub(super) zone: &'w Zone,
}

/// The paragraphs in the order in which they are left out of a small label.
pub(super) const LEFT_OUT: [&str; 8] = [
    "shop", "plan", "customer", "item", "date", "wire", "serial", "counts",
];

impl Words<'_> {
    /// The paragraphs in the order in which they stand on the label.
    pub(super) fn paragraphs(&self, gathered: &Gathering, text: &LabelText) -> Vec<Paragraph> {
        let series = gathered.series();
        let mut all = Vec::new();
        let mut put = |name, style, text: Option<String>| {
            all.extend(text.map(|text| paragraph(name, style, &text)));
        };
        put(
            Some("shop"),
            Style::Small,
            self.shop.letterhead.name.clone(),
        );
        put(None, Style::Title, Some(self.title(&text.of)));
        let is_plain = text.state == LabelState::Accepted;
        let band = Style::Band { inverse: !is_plain };
        put(None, band, Some(self.of(text.state.key())));
        let reservations = gathered.reservations();
        let reservations = reservations
            .iter()
            .map(|one| self.of(&format!("reservation.{}", one.name())));
        let reservations: Vec<String> = reservations.collect();
        let reserved = (!reservations.is_empty()).then(|| {
            let all = reservations.join(", ");
            self.with("label.reserved", &[("reservations", &all)])
        });
        put(None, Style::Strong, reserved);
        put(Some("counts"), Style::Small, self.counts(&series));
        let job = |of: fn(&Job) -> Option<&String>| shared(&series, of);
        let serial = match &text.of {
            LabelOf::Job {
                serial: Some(_), ..
            } => None, // it is in the title
            LabelOf::Job { .. } | LabelOf::Series(_) => job(|job| job.serial.as_ref()),
        };
        put(
            Some("serial"),
            Style::Small,
            serial.map(|serial| self.with("label.serial", &[("serial", &serial)])),
        );
        put(Some("wire"), Style::Small, self.crimps(&series));
        let item = job(|job| job.item.as_ref());
        put(
            Some("item"),
            Style::Small,
            item.map(|item| self.fact("card.fact.item", &item)),
        );
        let customer = job(|job| job.customer.as_ref());
        let customer = customer.map(|customer| self.fact("card.fact.customer", &customer));
        put(Some("customer"), Style::Small, customer);
        put(Some("plan"), Style::Small, self.plans(&series));
        put(Some("date"), Style::Small, self.date(&series));
        all
    }

    fn of(&self, key: &str) -> String {
        self.with(key, &[])
    }

    fn with(&self, key: &str, values: &[(&str, &str)]) -> String {
        texts::text(self.language, key, values)
    }

    /// A labelled fact.
    fn fact(&self, key: &str, says: &str) -> String {
        format!("{} {says}", self.of(key))
    }

    fn title(&self, of: &LabelOf) -> String {
        match of {
            LabelOf::Series(id) => self.with("label.series", &[("n", &id.to_string())]),
            LabelOf::Job { id, serial: None } => self.with("label.job", &[("id", id)]),
            LabelOf::Job {
                id,
                serial: Some(serial),
            } => self.with("label.job.serial", &[("id", id), ("serial", serial)]),
        }
    }

    /// `4 series: 3 accepted, 1 rejected`; `None` for one series, whose outcome is above.
    fn counts(&self, series: &[&Series<()>]) -> Option<String> {
        let number = series.len();
        let of = |outcome: Option<Outcome>| {
            let series = series.iter();
            let closed = series.filter(|series| {
                let closed = series.closed.as_ref();
                closed.map(|closed| closed.completed.outcome) == outcome
            });
            closed.count()
        };
        let outcomes = [
            (Some(Outcome::Accepted), LabelState::Accepted),
            (Some(Outcome::Rejected), LabelState::Rejected),
            (Some(Outcome::Undecided), LabelState::Undecided),
            (Some(Outcome::CutShort), LabelState::StoppedEarly),
            (None, LabelState::Open),
        ];
        let said = outcomes.into_iter().filter_map(|(outcome, state)| {
            let number = of(outcome);
            (number > 0).then(|| format!("{number} {}", self.of(state.key())))
        });
        let said: Vec<String> = said.collect();
        let n = number.to_string();
        let with = [("n", n.as_str()), ("outcomes", &said.join(", "))];
        (number > 1).then(|| self.with("label.counts", &with))
    }

    /// Terminals with their wires, each once.
    fn crimps(&self, series: &[&Series<()>]) -> Option<String> {
        let crimps = series.iter().map(|series| match &series.spec.subject {
            ArmedSubject::Crimps { crimp, .. } => {
                let wire = crimp.wire.to_string();
                let said = texts::keyed(&wire).map(|keyed| keyed.text(self.language));
                let wire = said.unwrap_or_else(|| texts::number(self.language, &wire));
                // The sizes by other tables, in parentheses, are on the report only.
                let wire = wire
                    .split_once(" (")
                    .map_or(wire.as_str(), |(size, _)| size);
                let with = [("terminal", crimp.terminal.as_str()), ("wire", wire)];
                self.with("label.crimp", &with)
            }
            ArmedSubject::Blocks(_) => self.of("card.fact.blocks"),
        });
        each_once(crimps)
    }

    fn plans(&self, series: &[&Series<()>]) -> Option<String> {
        let plans = series.iter().filter_map(|series| series.spec.plan.clone());
        each_once(plans).map(|plans| self.with("label.plan", &[("plan", &plans)]))
    }

    /// The date on which the last series was closed; for an open one, the date on which it was opened.
    fn date(&self, series: &[&Series<()>]) -> Option<String> {
        let open = series.iter().filter(|series| series.closed.is_none());
        if let Some(opened) = open.map(|series| series.opened).max() {
            let at = opened.local_minute(self.zone);
            return Some(self.with("label.opened", &[("at", &at)]));
        }
        let closed = series.iter().filter_map(|series| series.closed.as_ref());
        let at = closed.map(|closed| closed.at).max()?;
        Some(at.local_minute(self.zone))
    }
}

/// The subject of a label, in a sentence.
pub(in crate::cli) fn of(of: &LabelOf) -> String {
    match of {
        LabelOf::Series(id) => format!("series {id}"),
        LabelOf::Job { id, serial: None } => format!("job {}", safe(id)),
        LabelOf::Job {
            id,
            serial: Some(serial),
        } => format!("job {}, serial number {}", safe(id), safe(serial)),
    }
}

fn paragraph(name: Option<&'static str>, style: Style, text: &str) -> Paragraph {
    let at = LEFT_OUT.iter().position(|known| Some(*known) == name);
    let rank = at.map_or(0, |at| u8::try_from(LEFT_OUT.len() - at).unwrap_or(0));
    Paragraph {
        text: safe(text),
        style,
        name,
        rank,
    }
}

/// The detail of the job, if all series have the same.
fn shared(series: &[&Series<()>], of: fn(&Job) -> Option<&String>) -> Option<String> {
    let of_one = |series: &&Series<()>| series.spec.job.as_ref().and_then(of).cloned();
    let first = of_one(series.first()?)?;
    let is_same = |one: &&Series<()>| of_one(one).as_ref() == Some(&first);
    series.iter().all(is_same).then_some(first)
}

fn each_once(names: impl Iterator<Item = String>) -> Option<String> {
    let mut once: Vec<String> = Vec::new();
    for name in names {
        if !once.contains(&name) {
            once.push(name);
        }
    }
    (!once.is_empty()).then(|| once.join(", "))
}
