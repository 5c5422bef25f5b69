//! Plans that verify an instrument against gauge blocks: `instrument`, `blocks`, `repeats`.

use super::faults::{At, Fault, Faults, quoted};
use super::instrument::RawInstrument;
use super::plan::{RawPlan, order, purpose, zero};
use super::table::Table;
use super::value::unique;
use crate::quantity::Dimension;
use crate::quantity::did_you_mean;
use crate::spec::{Decision, GaugeBlock, Plan, Purpose, Subject};

const WANT: &str = "[\"1.30 mm\", \"41.3 mm\"]";
const BLOCK: &str = "block";
/// Nobody sets a block between the jaws more often.
const MOST_REPEATS: u32 = 100;

/// Whether a plan is of this kind.
pub(super) fn are_measured(table: &Table<'_>) -> bool {
    table.has("blocks") || (table.has("instrument") && !table.has("terminal"))
}

pub(super) fn plan(mut table: Table<'_>, faults: &mut Faults) -> Option<RawPlan> {
    let id = table.required_name(faults, "id", "\"verify-caliper-1\"");
    let instrument = table.required_name(faults, "instrument", "\"caliper-1\"");
    let blocks = blocks(&mut table, faults);
    let repeats_given = table.has("repeats");
    let repeats = table.whole(faults, "repeats", 1..=MOST_REPEATS);
    let repeats = match repeats {
        Some(repeats) => Some(repeats.value),
        None => (!repeats_given).then_some(1),
    };
    let order = order(&mut table, faults);
    let purpose = purpose(&mut table, faults);
    let zero = zero(&mut table, faults);
    let repeat = table.boolean(faults, "repeat");
    refuse_what_is_for_crimps(&mut table, faults);
    table.finish(faults);
    let id = id?;
    let verifies = purpose.filter(|purpose| is_verification(purpose, faults));
    let whole = || {
        let blocks = blocks?;
        Some(Plan {
            id: Some(id.value.clone()),
            axes: blocks.iter().map(GaugeBlock::axis).collect(),
            subject: Subject::Blocks {
                instrument: instrument.as_ref()?.value.clone(),
                blocks,
            },
            order: order?,
            pieces: repeats?,
            purpose: verifies?.value,
            tool: None,
            nest: None,
            decision: Decision::Simple,
            zero,
            pull_force: None,
            repeat: repeat.is_some_and(|repeat| repeat.value),
            // Blocks are measured in any order: nothing drifts from one to the next.
            alerts: Vec::new(),
        })
    };
    let plan = whole();
    Some(RawPlan {
        id,
        terminal: None,
        wire: None,
        axes: Vec::new(),
        tool: None,
        nest: None,
        instrument,
        pull_force: None,
        plan,
    })
}

/// The blocks; `None` if some could not be read.
fn blocks(table: &mut Table<'_>, faults: &mut Faults) -> Option<Vec<GaugeBlock>> {
    if !table.has("blocks") {
        table.missing(faults, "blocks", WANT);
        return None;
    }
    if let Some(place) = table.empty_list("blocks") {
        let fault = Fault::new("blocks is an empty list", format!("want {WANT}"));
        faults.add(&place, fault);
    }
    let texts = table.texts(faults, "blocks");
    let expected = texts.len();
    let read: Vec<At<(String, GaugeBlock)>> = texts
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
    let is_whole = expected > 0 && blocks.len() == expected;
    is_whole.then(|| blocks.into_iter().map(|block| block.value.1).collect())
}

/// Keys that say something of crimps.
fn refuse_what_is_for_crimps(table: &mut Table<'_>, faults: &mut Faults) {
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
        let Some(place) = table.taken(key) else {
            continue;
        };
        let help = match key {
            "pieces" => "say `repeats`: how often each block is measured",
            "decision" | "guard_factor" => "the error at each block is compared with `max_error`",
            "alerts" => "nothing drifts from one block to the next",
            _ => "nothing is crimped in a verification",
        };
        let fault = Fault::new(
            format!("{key} beside gauge blocks"),
            "want no such key here",
        );
        faults.add(&place, fault.help(help));
    }
}

fn is_verification(purpose: &At<Purpose>, faults: &mut Faults) -> bool {
    let verifies = purpose.value == Purpose::Verification;
    if !verifies {
        let got = format!("gauge blocks for the purpose {}", purpose.value.name());
        faults.add(&purpose.place, Fault::new(got, "want \"verification\""));
    }
    verifies
}

/// The instrument is there, measures lengths, and has an error to be held against. What comes to a new bench
/// only later, its first instrument and an error out of a certificate, is warned of: arming refuses without it.
pub(super) fn instrument_fits(
    name: &At<String>,
    instruments: &[RawInstrument],
    faults: &mut Faults,
) {
    let named = |raw: &&RawInstrument| {
        raw.name
            .as_ref()
            .is_some_and(|known| known.value == name.value)
    };
    let Some(found) = instruments.iter().find(named) else {
        let known = instruments.iter().filter_map(|raw| raw.name.as_ref());
        let known: Vec<_> = known.map(|name| name.value.as_str()).collect();
        let got = format!("no instrument {}", quoted(&name.value));
        let fault = Fault::new(got, "want the name of an [[instrument]]");
        if known.is_empty() {
            let help = "there is none yet: `tallyjaw listen PORT --write` adds one";
            faults.warn(&name.place, fault.help(help));
        } else {
            faults.add(&name.place, fault.help(did_you_mean(&name.value, &known)));
        }
        return;
    };
    if found.signal.is_some() {
        let got = format!("{} measures nothing", name.value);
        faults.add(&name.place, Fault::new(got, "want a caliper"));
        return;
    }
    let Some(instrument) = &found.instrument else {
        return; // its own faults have been reported
    };
    if instrument.kind.dimension() != Some(Dimension::Length) {
        let got = format!("{} does not measure lengths", name.value);
        faults.add(&name.place, Fault::new(got, "want a caliper"));
    } else if instrument.max_error.is_none() {
        let got = format!("{} has no max_error", name.value);
        let want = "want the maximum permissible error that it is verified against";
        let help = "write `max_error` in its [[instrument]]; until then the plan cannot be armed";
        faults.warn(&name.place, Fault::new(got, want).help(help));
    }
}
