//! Plans: `[[plan]]`.

use super::alerts::alerts;
use super::blocks;
use super::diagnostic::Source;
use super::faults::{At, Fault, Faults, Role, quoted};
use super::parse;
use super::sheet::{resolved, sizing};
use super::table::Table;
use super::value::{factor_milli, unique};
use crate::quantity::{Dimension, Quantity};
use crate::spec::pull_table::{PULL_FORCE, PULL_TABLES};
use crate::spec::wire::gauge_of;
use crate::spec::{
    AlertRule, AxisName, Decision, Order, Plan, Purpose, Subject, WireRequest, WireSize, ZeroPolicy,
};
use crate::spec::{PullFallback, PullTable};
use std::time::Duration;

/// g of the guarded rule where a plan does not say (ISO 14253-1, one-sided 95 %; from memory).
const GUARD_FACTOR_MILLI: u32 = 1_645;
/// More pieces than any series has.
const MOST_PIECES: u32 = 10_000;

/// A plan, as far as it could be read, with the places of what it refers to.
#[derive(Debug)]
pub(super) struct RawPlan {
    pub(super) id: At<String>,
    pub(super) terminal: Option<At<String>>,
    pub(super) wire: Option<At<WireSize>>,
    pub(super) axes: Vec<At<String>>,
    pub(super) tool: Option<At<String>>,
    pub(super) nest: Option<At<String>>,
    pub(super) pull_force: Option<At<PullFallback>>,
    /// The instrument that is verified.
    pub(super) instrument: Option<At<String>>,
    /// `None` if some part was faulty.
    pub(super) plan: Option<Plan>,
}

pub(super) fn read(source: &Source, faults: &mut Faults) -> Vec<RawPlan> {
    let file = faults.add_file(Role::Plans, source);
    let parsed = parse::parse(source, file, faults);
    let mut root = Table::root(&parsed, file);
    let plans = root
        .tables(faults, "plan", "[[plan]]")
        .into_iter()
        .filter_map(|table| plan(table, faults))
        .collect();
    root.finish(faults);
    plans
}

fn plan(mut table: Table<'_>, faults: &mut Faults) -> Option<RawPlan> {
    if blocks::are_measured(&table) {
        return blocks::plan(table, faults);
    }
    let id = table.required_name(faults, "id", "\"pump-own\"");
    let terminal = table.required_name(faults, "terminal", "\"QF-250-F\"");
    let (request, wire) = wire(&mut table, faults);
    let axes = axes(&mut table, faults);
    let order = order(&mut table, faults);
    let pieces = pieces(&mut table, faults);
    let purpose = purpose(&mut table, faults).filter(|purpose| of_crimps(purpose, faults));
    let purpose = purpose.map(|purpose| purpose.value);
    let tool = table.name(faults, "tool");
    let nest = nest(&mut table, faults);
    let decision = decision(&mut table, faults);
    let zero = zero(&mut table, faults);
    let pull_force = pull_force(&mut table, &axes, faults);
    let repeat = table.boolean(faults, "repeat");
    let alerts = alerts(&mut table, faults);
    table.finish(faults);
    let id = id?;
    let value_of = |name: &Option<At<String>>| name.as_ref().map(|name| name.value.clone());
    let whole = || {
        let purpose = purpose?;
        Some(Plan {
            id: Some(id.value.clone()),
            subject: Subject::Crimps {
                terminal: value_of(&terminal)?,
                wire: request?,
            },
            axes: axes
                .iter()
                .map(|axis| AxisName::new(axis.value.as_str()))
                .collect(),
            order: order?,
            pieces: pieces?,
            purpose,
            tool: value_of(&tool),
            nest: value_of(&nest),
            decision: decision?,
            zero,
            pull_force: pull_force.as_ref().map(|fallback| fallback.value),
            repeat: repeat.is_some_and(|repeat| repeat.value),
            alerts: alerts
                .clone()
                .unwrap_or_else(|| AlertRule::defaults(purpose)),
        })
    };
    let plan = whole();
    Some(RawPlan {
        id,
        terminal,
        wire,
        axes,
        tool,
        nest,
        instrument: None,
        pull_force,
        plan,
    })
}

/// The table for a pull force that the maker's sheet has no figure for, and its row.
fn pull_force(
    table: &mut Table<'_>,
    axes: &[At<String>],
    faults: &mut Faults,
) -> Option<At<PullFallback>> {
    let known: Vec<_> = PULL_TABLES.iter().map(|table| table.name).collect();
    let named = table.one_of(faults, "pull_force_table", &known, PullTable::from_name);
    let is_given = table.has("pull_force_table");
    let row = table.text(faults, "pull_force_gauge");
    let gauge = row.as_ref().map(|row| gauge_of(&row.value));
    if let (Some(row), Some(Err(error))) = (&row, &gauge) {
        let fault = Fault::new(error.to_string(), "want a gauge such as \"AWG 14\"");
        faults.add(&row.place, fault.help(error.remedy()));
        return None;
    }
    let does_nothing = match (&named, &row) {
        (None, Some(row)) if !is_given => Some((
            &row.place,
            "pull_force_gauge",
            "want pull_force_table beside it",
        )),
        (Some(named), _) if axes.iter().all(|axis| axis.value != PULL_FORCE) => Some((
            &named.place,
            "pull_force_table",
            "want \"pull_force\" among the axes",
        )),
        (_, _) => None,
    };
    if let Some((place, key, want)) = does_nothing {
        faults.add(place, Fault::new(format!("{key} does nothing here"), want));
    }
    let At { value, place } = named?;
    let gauge = gauge.and_then(Result::ok);
    let value = PullFallback {
        table: value,
        gauge,
    };
    Some(At { value, place })
}

/// The wire as written and as resolved.
fn wire(table: &mut Table<'_>, faults: &mut Faults) -> (Option<WireRequest>, Option<At<WireSize>>) {
    let text = table.required_text(faults, "wire", "\"2.0 mm²\", or a gauge with its sizing");
    let sizing = sizing(table, faults);
    let Some((text, sizing)) = text.zip(sizing) else {
        return (None, None);
    };
    let request = WireRequest {
        text: text.value.clone(),
        sizing,
    };
    (Some(request), resolved(text, sizing, faults))
}

fn axes(table: &mut Table<'_>, faults: &mut Faults) -> Vec<At<String>> {
    const WANT: &str = "[\"core_crimp_height\", \"core_crimp_width\"]";
    if !table.has("axes") {
        table.missing(faults, "axes", WANT);
        return Vec::new();
    }
    if let Some(place) = table.empty_list("axes") {
        let fault = Fault::new("axes is an empty list", format!("want {WANT}"));
        faults.add(&place, fault);
    }
    let axes = table.names(faults, "axes");
    unique(faults, "axis", axes, |axis| &axis.value)
}

pub(super) fn order(table: &mut Table<'_>, faults: &mut Faults) -> Option<Order> {
    let given = table.has("order");
    let names = Order::ALL.map(Order::name);
    let order = table.one_of(faults, "order", &names, Order::from_name);
    match order {
        Some(order) => Some(order.value),
        None => (!given).then_some(Order::ByAxis),
    }
}

fn pieces(table: &mut Table<'_>, faults: &mut Faults) -> Option<u32> {
    if !table.has("pieces") {
        table.missing(faults, "pieces", "5");
    }
    table
        .whole(faults, "pieces", 1..=MOST_PIECES)
        .map(|pieces| pieces.value)
}

/// A verification is of an instrument, and not of crimps.
fn of_crimps(purpose: &At<Purpose>, faults: &mut Faults) -> bool {
    let is_of_crimps = purpose.value != Purpose::Verification;
    if !is_of_crimps {
        let got = "a verification without gauge blocks";
        let want = "want instrument = \"caliper-1\" and blocks = [\"2.50 mm\"] instead of terminal and wire";
        faults.add(&purpose.place, Fault::new(got, want));
    }
    is_of_crimps
}

pub(super) fn purpose(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<Purpose>> {
    if !table.has("purpose") {
        table.missing(faults, "purpose", "\"first_off\" or another");
    }
    let names = Purpose::ALL.map(Purpose::name);
    table.one_of(faults, "purpose", &names, Purpose::from_name)
}

fn nest(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<String>> {
    let nest = table.name(faults, "nest")?;
    if !table.has("tool") {
        let got = format!("nest {} without a tool", quoted(&nest.value));
        faults.add(&nest.place, Fault::new(got, "want a tool beside it"));
    }
    Some(nest)
}

fn decision(table: &mut Table<'_>, faults: &mut Faults) -> Option<Decision> {
    let is_given = table.has("decision");
    let guarded = table.one_of(
        faults,
        "decision",
        &["simple", "guarded"],
        |name| match name {
            "simple" => Some(false),
            "guarded" => Some(true),
            _ => None,
        },
    );
    let factor_given = table.has("guard_factor");
    let factor = table.number_text(faults, "guard_factor");
    let milli = factor
        .as_ref()
        .and_then(|factor| factor_milli(&factor.value));
    if let (Some(factor), None) = (&factor, milli) {
        let got = format!("guard_factor is {}", quoted(&factor.value));
        let want = "want more than 0 and at most 10, with at most three digits after the point";
        faults.add(&factor.place, Fault::new(got, want));
    }
    match guarded.map(|guarded| guarded.value) {
        Some(true) if factor_given => milli.map(|factor_milli| Decision::Guarded { factor_milli }),
        Some(true) => Some(Decision::Guarded {
            factor_milli: GUARD_FACTOR_MILLI,
        }),
        None if is_given => None, // a faulty decision, reported
        Some(false) | None if !factor_given => Some(Decision::Simple),
        Some(false) | None => {
            if let Some(factor) = factor {
                let got = "guard_factor does nothing under the simple rule";
                let fault = Fault::new(got, "want decision = \"guarded\" with it, or no such key");
                faults.add(&factor.place, fault);
            }
            None
        }
    }
}

pub(super) fn zero(table: &mut Table<'_>, faults: &mut Faults) -> ZeroPolicy {
    let mut policy = ZeroPolicy::default();
    let Some(mut zero) = table.table(faults, "zero", "zero") else {
        return policy;
    };
    if let Some(before_first) = zero.boolean(faults, "before_first") {
        policy.before_first = before_first.value;
    }
    let every_pieces = zero.whole(faults, "every_pieces", 1..=MOST_PIECES);
    policy.every_pieces = every_pieces.map(|pieces| pieces.value);
    let every_minutes = zero.whole(faults, "every_minutes", 1..=1_440);
    policy.every = every_minutes.map(|minutes| Duration::from_secs(60 * u64::from(minutes.value)));
    if let Some(closing) = zero.boolean(faults, "closing") {
        policy.closing = closing.value;
    }
    if let Some(band) = zero.whole(faults, "band", 0..=1_000) {
        policy.band_counts = band.value;
        policy.limit_counts = policy.limit_counts.min(band.value);
    }
    if let Some(limit) = zero.whole(faults, "limit", 0..=1_000) {
        policy.limit_counts = limit.value;
        if limit.value > policy.band_counts {
            let got = format!(
                "limit is {}, beyond the band of {}",
                limit.value, policy.band_counts
            );
            let fault = Fault::new(
                got,
                "want at most the band: what lies beyond is no zero frame",
            );
            faults.add(&limit.place, fault);
        }
    }
    let attempt = zero.quantity(faults, "attempt", Dimension::Length, 1);
    if let Some(Quantity::Length(attempt)) = attempt {
        policy.attempt = attempt;
    }
    if let Some(double_retracts) = zero.boolean(faults, "double_retracts") {
        policy.double_retracts = double_retracts.value;
    }
    zero.finish(faults);
    policy
}
