//! `tallyjaw study lots`: acceptance sampling of the lots in the journal, in the order in which they came.

use super::sampling::{self, Sampling};
use super::select::Select;
use super::show;
use crate::cli::{Context, Exit, Failure, columns};
use crate::entry::words::safe;
use crate::stats::sampling::{Scheme, Severity, Switching};
use crate::stats::{Limits, Sample, Undefined};
use serde_json::{Map, Value, json};
use std::io::Write;

/// Acceptance sampling: which lots are accepted, and how severely the next one is inspected
///
/// Each lot is a group of readings, of which the first ones are its sample. The switching rules between normal, tightened
/// and reduced inspection are those of ISO 2859-1, from memory.
#[derive(Debug, clap::Args)]
pub(super) struct LotsStudy {
    #[command(flatten)]
    select: Select,
    #[command(flatten)]
    sampling: Sampling,
    /// The column that names the lots: one of the file, or `terminal_lot`, `wire_lot`, `series`, `job` and others of the
    /// journal [default in the journal: `terminal_lot`]
    #[arg(long, value_name = "COLUMN")]
    group: Option<String>,
    /// Reduced inspection is allowed: production is steady, and whoever decides about the lots agrees
    #[arg(long)]
    reduced: bool,
    /// Exit with 1 unless the last lot is accepted
    #[arg(long)]
    gate: bool,
}

/// A lot with what became of it.
struct Line {
    name: String,
    readings: u64,
    severity: Severity,
    /// Whether it is accepted, and the result in words; or why it cannot be judged.
    result: Result<(bool, String), Undefined>,
    /// Why the severity changes after it.
    change: Option<&'static str>,
}

impl LotsStudy {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let key = self
            .select
            .key(self.group.as_deref(), "terminal_lot", "--group")?;
        let (readings, _, groups) = self.select.groups(context, key)?;
        readings.of_one_nominal()?;
        let limits = readings.limits_needed()?;
        let scheme = self.sampling.scheme(Some(readings.unit()))?;
        let groups = groups.into_iter();
        let lots = groups.map(|group| Ok((group.name, readings.sample_of_bases(group.bases)?)));
        let lots = lots.collect::<Result<Vec<_>, Failure>>()?;
        let (lines, next) = judged(&lots, &scheme, &limits, self.reduced);
        let last = lines
            .iter()
            .rev()
            .find_map(|line| line.result.as_ref().ok());
        let exit = show::gate(self.gate, || {
            last.is_some_and(|(is_accepted, _)| *is_accepted)
        });
        let object = || {
            let mut object = show::head("lots", &readings);
            self.sampling.put(&mut object, &scheme);
            let lots = lines.iter().map(Line::json);
            object.insert("lots".to_owned(), Value::Array(lots.collect()));
            object.insert("next_severity".to_owned(), json!(next.severity().name()));
            object.insert("score".to_owned(), json!(next.score()));
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        sampling::write(&scheme, out)?;
        writeln!(out)?;
        for line in &lines {
            line.write(out)?;
        }
        writeln!(
            out,
            "\nthe next lot: {} inspection{}",
            next.severity().name(),
            match scheme.plan(next.severity()) {
                Some(plan) => format!(", {}", plan.words()),
                None => String::new(),
            }
        )?;
        Ok(exit)
    }
}

/// Judges the lots in their order, each by the severity that those before it lead to. A lot that cannot be judged changes
/// nothing.
fn judged(
    lots: &[(String, Sample)],
    scheme: &Scheme,
    limits: &Limits,
    allows_reduced: bool,
) -> (Vec<Line>, Switching) {
    let mut switching = Switching::new(allows_reduced);
    let mut lines = Vec::new();
    for (name, lot) in lots {
        let severity = switching.severity();
        let found = scheme.inspect(severity, lot, limits);
        let change = found.as_ref().ok();
        let change = change.and_then(|found| switching.take(found.judged));
        lines.push(Line {
            name: name.clone(),
            readings: lot.count(),
            severity,
            result: found.map(|found| (found.judged.is_accepted, found.words)),
            change,
        });
    }
    (lines, switching)
}

impl Line {
    fn write(&self, out: &mut dyn Write) -> Result<(), Failure> {
        let readings = usize::try_from(self.readings).unwrap_or(usize::MAX);
        let readings = columns::count(readings, "reading");
        let (name, severity) = (safe(&self.name), self.severity.name());
        let result = match &self.result {
            Ok((true, words)) => format!("accepted: {words}"),
            Ok((false, words)) => format!("NOT accepted: {words}"),
            Err(reason) => format!("not judged: {reason}"),
        };
        writeln!(out, "{name}  {severity}, {readings}: {result}")?;
        if let Some(why) = self.change {
            writeln!(out, "  the severity changes: {why}")?;
        }
        Ok(())
    }

    fn json(&self) -> Value {
        let mut object = Map::new();
        object.insert("lot".to_owned(), json!(self.name));
        object.insert("readings".to_owned(), json!(self.readings));
        object.insert("severity".to_owned(), json!(self.severity.name()));
        match &self.result {
            Ok((is_accepted, words)) => {
                object.insert("accepted".to_owned(), json!(is_accepted));
                object.insert("result".to_owned(), json!(words));
            }
            Err(reason) => {
                object.insert("undefined".to_owned(), json!(reason.to_string()));
            }
        }
        if let Some(why) = self.change {
            object.insert("change".to_owned(), json!(why));
        }
        Value::Object(object)
    }
}
