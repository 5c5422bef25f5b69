//! Reads plans that verify an instrument against gauge blocks: `instrument`, `blocks`, `repeats`.

use super::alerts::asks;
use super::faults::{At, Fault, Faults};
use super::plan::{Given, order, purpose, zero};
use super::table::Table;
use super::value::unique;
use crate::spec::{Decision, GaugeBlock, Plan, Purpose, Questions, Subject, Unarmable};

const WANT: &str = "[\"1.30 mm\", \"41.3 mm\"]";
const BLOCK: &str = "block";
/// No one measures a block more often than this in one verification.
const MOST_REPEATS: u32 = 100;

/// Whether the plan is of this kind.
pub(super) fn are_measured(table: &Table<'_>) -> bool {
    table.has("blocks") || (table.has("instrument") && !table.has("terminal"))
}

pub(super) fn keys(table: &mut Table<'_>, given: Given, faults: &mut Faults) -> Option<Plan> {
    let instrument = table.required_name(faults, "instrument", "\"caliper-1\"");
    let blocks = blocks(table, faults);
    let repeats = table.whole(faults, "repeats", 1..=MOST_REPEATS);
    let order = order(table, faults);
    let purpose = purpose(table, Purpose::Verification, given, faults);
    let zero = zero(table, faults);
    let repeat = table.boolean(faults, "repeat");
    let asks = asks(table, faults);
    refuse_crimp_keys(table, faults);
    Some(Plan {
        id: None,
        axes: blocks.iter().map(GaugeBlock::axis).collect(),
        subject: Subject::Blocks {
            instrument: instrument?.value,
            blocks,
        },
        order,
        pieces: repeats.map_or(1, |repeats| repeats.value),
        purpose,
        tool: None,
        nest: None,
        decision: Decision::Simple,
        budgets: Vec::new(),
        zero,
        pull_force: None,
        questions: Questions::default(),
        repeat: repeat.is_some_and(|repeat| repeat.value),
        // Run rules do not apply: blocks are measured in any order, so their readings show no drift.
        alerts: Vec::new(),
        asks,
        strands: None,
    })
}

/// The blocks that could be read. Others are reported.
fn blocks(table: &mut Table<'_>, faults: &mut Faults) -> Vec<GaugeBlock> {
    if !table.has("blocks") {
        table.missing(faults, "blocks", WANT);
        return Vec::new();
    }
    if let Some(place) = table.empty_list("blocks") {
        let fault = Fault::new("blocks is an empty list", format!("want {WANT}"));
        faults.add(&place, fault);
    }
    let read: Vec<At<(String, GaugeBlock)>> = table
        .texts(faults, "blocks")
        .into_iter()
        .filter_map(|text| match text.value.parse::<GaugeBlock>() {
            Ok(block) => Some(At {
                value: (block.size.to_string(), block),
                place: text.place,
            }),
            Err(error) => {
                let want = "want a length such as \"2.50 mm\", or \"2.50 ±0.0002 mm\" with its own uncertainty";
                faults.add(&text.place, Fault::new(error.to_string(), want));
                None
            }
        })
        .collect();
    let blocks = unique(faults, BLOCK, read, |block| &block.value.0);
    blocks.into_iter().map(|block| block.value.1).collect()
}

/// Reports keys that are only for crimps.
fn refuse_crimp_keys(table: &mut Table<'_>, faults: &mut Faults) {
    for key in [
        "terminal",
        "wire",
        "sizing",
        "axes",
        "pieces",
        "tool",
        "nest",
        "decision",
        "guard_factor",
        "alerts",
        "pull_force_table",
        "pull_force_gauge",
    ] {
        if let Some(place) = table.taken(key) {
            faults.add(&place, Unarmable::BesideBlocks { key }.into());
        }
    }
}
