//! Checks that a first-off was started only with a combination that was shown.

use super::standing::{CareNow, Required, Standing, find};
use crate::entry::audit::Mismatch;
use crate::entry::qualifying::Combination;
use crate::entry::{Entry, SeriesEntry, Stamped, State};
use crate::spec::{ArmedSpec, Qualified};

/// The parts of `stamped` about the shown combination that do not follow from the entries that led to `before`.
pub fn audit(before: &State, stamped: &Stamped) -> Vec<Mismatch> {
    let Entry::Series(SeriesEntry::Armed(spec)) = &stamped.entry else {
        return Vec::new();
    };
    let Some(qualified) = &spec.qualified else {
        return Vec::new();
    };
    let mismatch = |what, got: String, want: String| Mismatch { what, got, want };
    let Some(of) = Combination::of(spec) else {
        let got = "of a combination".to_owned();
        return vec![mismatch("what is shown", got, "a tool".to_owned())];
    };
    if let Some(missing) = unmeasured(spec, qualified) {
        let got = "not among the axes that are shown".to_owned();
        return vec![mismatch("what is shown", got, missing)];
    }
    let axes = qualified.axes.iter();
    let required = axes.map(|of| (of.axis.clone(), Some(of.limits.clone())));
    let required = Required(required.collect());
    let care = spec.tool.as_ref().map(|tool| CareNow {
        tool: &tool.id,
        care: &tool.care,
        crimps: tool.crimps,
    });
    let known = before.qualifying.of(&of);
    let found = find(known, Some(&required), &qualified.rule, care, stamped.at);
    if found.standing != Standing::Shown {
        let missing = found.missing.iter().map(ToString::to_string);
        let why: Vec<String> = missing
            .chain(found.lapses.iter().map(ToString::to_string))
            .collect();
        let want = format!("{}: {}", found.standing.words(), why.join("; "));
        return vec![mismatch("what is shown", "shown".to_owned(), want)];
    }
    let named = qualified.axes.iter().zip(&found.axes);
    named
        .filter(|(got, want)| got.series != want.series.series.0)
        .map(|(got, want)| {
            let what = "series that shows an axis";
            mismatch(what, got.series.to_string(), want.series.to_string())
        })
        .collect()
}

/// An axis of the series, or the pull tests of the rule, for which the entry names no evidence.
fn unmeasured(spec: &ArmedSpec, qualified: &Qualified) -> Option<String> {
    let is_there = |name: &str| qualified.axes.iter().any(|of| of.axis.as_str() == name);
    let axes = spec.axes.iter().filter(|axis| !axis.name.is_destructive());
    let mut missing = axes.filter(|axis| {
        let mut shown = qualified.axes.iter();
        !shown.any(|of| {
            of.axis == axis.name && crate::entry::qualifying::same(&of.limits, &axis.limits)
        })
    });
    let pull = crate::spec::axis::PULL_FORCE;
    let missing = missing.next().map(|axis| axis.name.to_string());
    missing.or_else(|| (qualified.rule.pull && !is_there(pull)).then(|| pull.to_owned()))
}
