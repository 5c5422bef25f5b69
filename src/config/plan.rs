//! Reads plans: `[[plan]]`.

use super::alerts::{alerts, asks};
use super::blocks;
use super::diagnostic::Source;
use super::faults::{At, Fault, Faults, Role, quoted};
use super::parse;
use super::sheet::sizing;
use super::table::{Places, Table};
use super::value::{factor_milli as factor_milli_of, unique};
use crate::quantity::{Dimension, Quantity};
use crate::spec::pull_table::{PULL_FORCE, PULL_TABLES};
use crate::spec::question::{LOOKS, MOST_LOOKS};
use crate::spec::resolve::MOST_PIECES;
use crate::spec::wire::gauge_of;
use crate::spec::{
    AlertRule, AxisName, Decision, Look, LooksPer, Order, Plan, PullFallback, PullTable, Purpose,
    Questions, Subject, WireRequest, ZeroPolicy,
};
use std::time::Duration;

/// Name of an item of the list `looks` in messages.
const VISUAL_CHECK: &str = "visual check";
/// The header of a plan.
pub(super) const PLAN: &str = "[[plan]]";
/// Guard factor of the guarded rule if a plan gives none (ISO 14253-1, one-sided 95 %; from memory).
const GUARD_FACTOR_MILLI: u32 = 1_645;

/// A plan of a file, as far as it could be read.
#[derive(Debug)]
pub(super) struct RawPlan {
    pub(super) id: At<String>,
    /// The plan, with defaults in place of faulty parts; `None` if its subject is unknown.
    pub(super) plan: Option<Plan>,
    pub(super) places: Places,
}

/// The source of a plan. It decides the defaults.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Given {
    /// A file: purpose and number of pieces are required.
    InFile,
    /// A request: by default one in-process piece.
    Inline,
}

pub(super) fn read(source: &Source, faults: &mut Faults) -> Vec<RawPlan> {
    let file = faults.add_file(Role::Plans, source);
    let parsed = parse::parse(source, file, faults);
    let mut root = Table::root(&parsed, file);
    let plans = root
        .tables(faults, "plan", PLAN)
        .into_iter()
        .filter_map(|table| in_file(table, faults))
        .collect();
    root.finish(faults);
    plans
}

fn in_file(mut table: Table<'_>, faults: &mut Faults) -> Option<RawPlan> {
    let example = if blocks::are_measured(&table) {
        "\"verify-caliper-1\""
    } else {
        "\"pump-own\""
    };
    let id = table.required_name(faults, "id", example);
    let plan = keys(&mut table, Given::InFile, faults);
    let places = table.places();
    table.finish(faults);
    let id = id?;
    let named = |plan: Plan| Plan {
        id: Some(id.value.clone()),
        ..plan
    };
    Some(RawPlan {
        plan: plan.map(named),
        id,
        places,
    })
}

/// Reads all keys of a plan except its id.
pub(super) fn keys(table: &mut Table<'_>, given: Given, faults: &mut Faults) -> Option<Plan> {
    if blocks::are_measured(table) {
        return blocks::keys(table, given, faults);
    }
    let terminal = table.required_name(faults, "terminal", "\"QF-250-F\"");
    let text = table.required_text(faults, "wire", "\"2.0 mm²\", or a gauge with its sizing");
    let sizing = sizing(table, faults);
    let strands = table.parsed(faults, "strands", "the make-up of the wire: \"19x0.37\"");
    let strands = strands.map(|strands| strands.value);
    let axes = axes(table, faults);
    let order = order(table, faults);
    let pieces = pieces(table, given, faults);
    let purpose = purpose(table, Purpose::InProcess, given, faults);
    let tool = table.name(faults, "tool");
    let nest = table.name(faults, "nest");
    let decision = decision(table, faults);
    let budgets = table.texts(faults, "uncertainty");
    let budgets = unique(faults, "uncertainty", budgets, |name| &name.value);
    let zero = zero(table, faults);
    let pull_force = pull_force(table, &axes, faults);
    let questions = questions(table, &axes, faults);
    let repeat = table.boolean(faults, "repeat");
    let alerts = alerts(table, faults);
    let asks = asks(table, faults);
    // If the tool is faulty, a nest without a tool is not reported too.
    let nest = nest.filter(|_| tool.is_some() || !table.has("tool"));
    Some(Plan {
        id: None,
        subject: Subject::Crimps {
            terminal: terminal?.value,
            wire: WireRequest {
                text: text?.value,
                sizing: sizing?,
            },
        },
        axes: axes
            .into_iter()
            .map(|axis| AxisName::new(axis.value))
            .collect(),
        order,
        pieces,
        purpose,
        tool: tool.map(|tool| tool.value),
        nest: nest.map(|nest| nest.value),
        decision,
        budgets: budgets.into_iter().map(|name| name.value).collect(),
        zero,
        pull_force,
        questions,
        repeat: repeat.is_some_and(|repeat| repeat.value),
        alerts: alerts.unwrap_or_else(|| AlertRule::defaults(purpose)),
        asks,
        strands,
    })
}

/// Reads the table that gives the pull force if the maker's sheet has none, and the row to use.
fn pull_force(
    table: &mut Table<'_>,
    axes: &[At<String>],
    faults: &mut Faults,
) -> Option<PullFallback> {
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
            "want pull_force_table with it",
        )),
        (Some(named), _) if axes.iter().all(|axis| axis.value != PULL_FORCE) => Some((
            &named.place,
            "pull_force_table",
            "want \"pull_force\" among the axes",
        )),
        (_, _) => None,
    };
    if let Some((place, key, want)) = does_nothing {
        faults.add(place, Fault::new(format!("{key} has no effect here"), want));
    }
    Some(PullFallback {
        table: named?.value,
        gauge: gauge.and_then(Result::ok),
    })
}

/// Reads the questions to the operator besides the measurements.
fn questions(table: &mut Table<'_>, axes: &[At<String>], faults: &mut Faults) -> Questions {
    let looks = table.texts(faults, "looks");
    let has_looks = !looks.is_empty() || table.has("looks");
    let looks = unique(faults, VISUAL_CHECK, looks, |look| &look.value);
    if let Some(surplus) = looks.get(MOST_LOOKS) {
        let got = format!("looks has {} entries", looks.len());
        let fault = Fault::new(got, format!("want at most {MOST_LOOKS}"));
        faults.add(&surplus.place, fault);
    }
    let looks = looks.into_iter().filter_map(|text| look(text, faults));
    let looks = looks.collect();
    let names = LooksPer::ALL.map(LooksPer::name);
    let per = table.one_of(faults, "looks_per", &names, LooksPer::from_name);
    let pull_mode = table.boolean(faults, "pull_mode");
    let does_nothing = match (&per, &pull_mode) {
        (Some(per), _) if !has_looks => Some((&per.place, "looks_per", "looks with it")),
        (_, Some(At { value: true, place }))
            if axes.iter().all(|axis| axis.value != PULL_FORCE) =>
        {
            Some((place, "pull_mode", "\"pull_force\" among the axes"))
        }
        (_, _) => None,
    };
    if let Some((place, key, want)) = does_nothing {
        let fault = Fault::new(format!("{key} has no effect here"), format!("want {want}"));
        faults.add(place, fault);
    }
    Questions {
        looks,
        looks_per: per.map_or_else(LooksPer::default, |per| per.value),
        pull_mode: pull_mode.is_some_and(|asked| asked.value),
    }
}

/// A customary visual check by its name, or a question of the plan itself.
fn look(text: At<String>, faults: &mut Faults) -> Option<Look> {
    let At { value, place } = text;
    if let Some(look) = Look::customary(&value) {
        return Some(look);
    }
    if value.trim().contains(char::is_whitespace) {
        return Some(Look::of_its_own(value));
    }
    let names = LOOKS.iter().map(|look| look.name);
    let fault = Fault::new(
        format!("no customary visual check {}", quoted(&value)),
        "want one of the customary checks, or a question of your own",
    );
    let meant = crate::quantity::meant(&value, names.clone());
    let known: Vec<_> = names.collect();
    let remedy = meant.unwrap_or_else(|| format!("customary are {}", known.join(", ")));
    faults.add(&place, fault.help(remedy));
    None
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

pub(super) fn order(table: &mut Table<'_>, faults: &mut Faults) -> Order {
    let names = Order::ALL.map(Order::name);
    let order = table.one_of(faults, "order", &names, Order::from_name);
    order.map_or(Order::ByAxis, |order| order.value)
}

fn pieces(table: &mut Table<'_>, given: Given, faults: &mut Faults) -> u32 {
    if given == Given::InFile && !table.has("pieces") {
        table.missing(faults, "pieces", "5");
    }
    let pieces = table.whole(faults, "pieces", 1..=MOST_PIECES);
    pieces.map_or(1, |pieces| pieces.value)
}

pub(super) fn purpose(
    table: &mut Table<'_>,
    usual: Purpose,
    given: Given,
    faults: &mut Faults,
) -> Purpose {
    if given == Given::InFile && !table.has("purpose") {
        table.missing(faults, "purpose", "\"first_off\" or another");
    }
    let names = Purpose::ALL.map(Purpose::name);
    let purpose = table.one_of(faults, "purpose", &names, Purpose::from_name);
    purpose.map_or(usual, |purpose| purpose.value)
}

/// The decision rule; simple acceptance if the key is faulty.
fn decision(table: &mut Table<'_>, faults: &mut Faults) -> Decision {
    let rules = |name: &str| match name {
        "simple" => Some(false),
        "guarded" => Some(true),
        _ => None,
    };
    let guarded = table.one_of(faults, "decision", &["simple", "guarded"], rules);
    let is_faulty = guarded.is_none() && table.has("decision");
    let is_guarded = guarded.is_some_and(|guarded| guarded.value);
    let factor = table.number_text(faults, "guard_factor");
    let mut factor_milli = GUARD_FACTOR_MILLI;
    if let Some(factor) = factor {
        let fault = match factor_milli_of(&factor.value) {
            None => Some(
                Fault::new(
                    format!("guard_factor is {}", quoted(&factor.value)),
                    "want more than 0 and at most 10, with at most three digits after the point",
                )
                .help("1.645 is the factor of ISO 14253-1"),
            ),
            Some(_) if !is_guarded && !is_faulty => Some(Fault::new(
                "guard_factor has no effect with simple acceptance",
                "want decision = \"guarded\" with it, or leave it out",
            )),
            Some(milli) => {
                factor_milli = milli;
                None
            }
        };
        if let Some(fault) = fault {
            faults.add(&factor.place, fault);
        }
    }
    if is_guarded {
        Decision::Guarded { factor_milli }
    } else {
        Decision::Simple
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
                "want at most the band: a value beyond it is not a zero",
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
