//! What a person said at a station, in words.

use super::tool;
use crate::entry::{JobSaid, LotSaid, Outcome, SaidEntry, ToolSaid};
use crate::spec::Job;
use std::fmt::Write as _;

pub(super) fn said(entry: &SaidEntry) -> String {
    match entry {
        SaidEntry::AdapterSaid(said) => format!(
            "the adapter of {} was confirmed {}: {}",
            said.instrument,
            said.by.words(),
            said.adapter
        ),
        SaidEntry::ZeroSaid(said) => format!("the next value of {} is a zero", said.instrument),
        SaidEntry::OperatorSaid(said) => match said.series {
            Some(series) => format!("from here on {} measures series {series}", said.operator),
            None => format!("{} measures", said.operator),
        },
        SaidEntry::ToolSaid(said) => tool_said(said),
        SaidEntry::JobSaid(said) => job_said(said),
        SaidEntry::LotSaid(said) => lot_said(said),
        SaidEntry::Noted(noted) => format!("note: {}", noted.text),
        SaidEntry::Refused(refused) => {
            let remedy = refused.remedy.as_deref();
            let remedy = remedy.map(|remedy| format!("; {remedy}"));
            let remedy = remedy.unwrap_or_default();
            format!("{} was refused: {}{remedy}", refused.said, refused.reason)
        }
    }
}

fn tool_said(said: &ToolSaid) -> String {
    let tool = tool(&said.tool);
    match said.series {
        Some(series) if said.as_planned => {
            format!("{tool} is in the hand, as series {series} requires")
        }
        Some(_) | None => format!("{tool} is in the hand"),
    }
}

fn job_said(said: &JobSaid) -> String {
    let Some(job) = &said.job else {
        return "the job is finished; no job from here on".to_owned();
    };
    let warning = said.warning.as_deref();
    let warning = warning.map_or_else(String::new, |warning| format!("; {warning}"));
    format!("{}{warning}", self::job(job))
}

fn lot_said(said: &LotSaid) -> String {
    let material = said.material.name();
    match (said.series, &said.lot) {
        (Some(series), Some(lot)) => {
            format!("series {series} uses {material} lot {lot} from here on")
        }
        (None, Some(lot)) => format!("{material} lot in use: {lot}"),
        (_, None) => format!("{material} lot in use: not known"),
    }
}

/// `job 4711, serial 8, for Pumps Ltd, pump harness B`: the details that are known.
pub fn job(job: &Job) -> String {
    let mut text = format!("job {}", job.id);
    for (what, said) in [
        (", serial ", &job.serial),
        (", for ", &job.customer),
        (", ", &job.item),
        (", reference ", &job.reference),
    ] {
        if let Some(said) = said {
            let _ = write!(text, "{what}{said}");
        }
    }
    text
}

/// The outcome in words.
pub const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Accepted => "ACCEPTED",
        Outcome::Rejected => "REJECTED",
        Outcome::Undecided => "UNDECIDED",
        Outcome::CutShort => "stopped early",
        Outcome::Measured => "MEASURED",
    }
}
