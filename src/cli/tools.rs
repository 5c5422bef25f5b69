//! `tallyjaw tools`: exit 0, or 4 if there is a journal that cannot be read.

use super::card::ODD;
use super::columns::Columns;
use super::{Context, Exit, Failure, journal_state};
use crate::clock;
use crate::entry::State;
use crate::entry::state::ToolState;
use crate::entry::words::safe;
use crate::quantity::{Area, WallMicros};
use crate::spec::{Nest, Tool, care};
use serde_json::{Value, json};
use std::io::Write;

/// List the crimp tools with their nests, their crimps and when the next check is due
///
/// Crimps are counted as pieces of your own that were measured, each once; crimps that a tool made before the
/// journal began (`crimps_before`) are added. Checks that are overdue stand below the list.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw tools
  tallyjaw tools --json")]
pub(super) struct Tools {}

impl Tools {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        let config = context.load()?.1;
        let state = journal_state::read(&config.daemon)?;
        let now = clock::wall();
        let tools: Vec<_> = config
            .catalog
            .tools
            .iter()
            .map(|tool| Used::new(tool, &state))
            .collect();
        if context.json {
            for tool in &tools {
                writeln!(out, "{}", tool.json(now))?;
            }
            return Ok(Exit::Yes);
        }
        list(&tools, out)?;
        for tool in &tools {
            writeln!(out, "{}", tool.says())?;
        }
        for warning in tools.iter().flat_map(|tool| tool.overdue(now)) {
            writeln!(out, "{ODD}warning{ODD:#}: {}", safe(&warning))?;
        }
        Ok(Exit::Yes)
    }
}

fn list(tools: &[Used<'_>], out: &mut dyn Write) -> Result<(), Failure> {
    let mut columns = Columns::new(&[
        "tool",
        "class",
        "nest",
        "wires",
        "terminals",
        "crimps measured",
    ]);
    for used in tools {
        for (nest, wires) in nests(used.tool) {
            columns.row(vec![
                used.tool.id.clone(),
                used.tool.class.name().to_owned(),
                nest.clone(),
                wires,
                terminals(used.tool),
                used.measured(&nest).to_string(),
            ]);
        }
    }
    columns.write(out)?;
    Ok(())
}

/// A tool with its counts from the journal.
struct Used<'a> {
    tool: &'a Tool,
    known: Option<&'a ToolState>,
}

impl<'a> Used<'a> {
    fn new(tool: &'a Tool, state: &'a State) -> Self {
        let known = state.tools.get(&tool.id);
        Self { tool, known }
    }

    fn crimps(&self) -> u64 {
        let measured = self.known.map_or(0, |known| known.crimps);
        self.tool.care.crimps_before.saturating_add(measured)
    }

    /// Crimps measured in this journal in the nest; all crimps of a tool without nests.
    fn measured(&self, nest: &str) -> u64 {
        let Some(known) = self.known else { return 0 };
        if nest.is_empty() {
            return known.crimps;
        }
        known.nests.get(nest).copied().unwrap_or(0)
    }

    fn since_check(&self) -> u64 {
        self.tool.care.since_check(self.crimps())
    }

    /// Crimps left until the next check; `None` if no check is due by their number.
    fn left(&self) -> Option<u64> {
        let every = u64::from(self.tool.care.check_every_crimps?);
        Some(every.saturating_sub(self.since_check()))
    }

    fn overdue(&self, now: WallMicros) -> Vec<String> {
        care::check(&self.tool.id, &self.tool.care, Some(self.crimps()), now)
    }

    /// The tool in words: `T-07: 12004 crimps, 4 since its check of 2026-09-01; next check by 2027-09-01 or in 4996
    /// crimps`.
    fn says(&self) -> String {
        let care = &self.tool.care;
        let since = self.since_check();
        let checked = match care.last_check {
            Some(day) => format!("{since} since its check of {day}"),
            None if care.crimps_at_check.is_some() => format!("{since} since its check"),
            None => "no check is recorded".to_owned(),
        };
        let due = care.check_due.map(|day| format!("by {day}"));
        let left = self.left().map(|left| format!("in {left} crimps"));
        let next: Vec<_> = due.into_iter().chain(left).collect();
        let next = if next.is_empty() {
            "no check is scheduled".to_owned()
        } else {
            format!("next check {}", next.join(" or "))
        };
        format!(
            "{}: {} crimps, {checked}; {next}",
            safe(&self.tool.id),
            self.crimps()
        )
    }

    fn json(&self, now: WallMicros) -> Value {
        let tool = self.tool;
        let wires = |nest: &Nest| {
            let areas = nest.wires.iter();
            areas
                .map(|area| super::wire::number(area.mm2()))
                .collect::<Vec<_>>()
        };
        let nests: Vec<_> = tool
        .nests
        .iter()
        .map(|nest| json!({ "nest": nest.id, "wires_mm2": wires(nest), "crimps": self.measured(&nest.id) }))
        .collect();
        let mut line = json!({
            "kind": "tool",
            "tool": tool.id,
            "class": tool.class.name(),
            "terminals": tool.terminals,
            "nests": nests,
            "crimps": self.crimps(),
            "warnings": self.overdue(now),
        });
        let care = &tool.care;
        let day = |day: crate::quantity::Date| json!(day.to_string());
        let known = [
            ("last_check", care.last_check.map(day)),
            ("check_due", care.check_due.map(day)),
            (
                "crimps_since_check",
                care.last_check.map(|_| json!(self.since_check())),
            ),
            ("crimps_to_check", self.left().map(|left| json!(left))),
        ];
        if let Some(object) = line.as_object_mut() {
            let known = known
                .into_iter()
                .filter_map(|(name, value)| Some((name.to_owned(), value?)));
            object.extend(known);
        }
        line
    }
}

fn terminals(tool: &Tool) -> String {
    if tool.terminals.is_empty() {
        return "any".to_owned();
    }
    tool.terminals.join(", ")
}

/// Each nest with its sizes; a tool without nests gives one row.
fn nests(tool: &Tool) -> Vec<(String, String)> {
    if tool.nests.is_empty() {
        return vec![(String::new(), "any".to_owned())];
    }
    let sizes = |nest: &Nest| {
        let wires: Vec<_> = nest.wires.iter().map(Area::to_string).collect();
        wires.join(", ")
    };
    let nests = tool.nests.iter();
    nests.map(|nest| (nest.id.clone(), sizes(nest))).collect()
}
