//! Summarises the signals of a chart: which rule signalled how often, and where.

use super::{Panel, Rule};

/// Of more stretches of a rule than this, the first are listed.
pub const STRETCHES_SHOWN: usize = 8;

/// Consecutive points at which a rule signalled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    /// Number of the first point, from 1.
    pub from: usize,
    /// Number of the last one.
    pub to: usize,
}

/// The signals of one rule in one panel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alarm {
    /// Name of the rule.
    pub rule: &'static str,
    /// Number of signals.
    pub signals: usize,
    /// Number of stretches.
    pub stretches: usize,
    /// The first of them, [`STRETCHES_SHOWN`] at most.
    pub shown: Vec<Stretch>,
    /// The last point with a signal.
    pub last: usize,
}

impl Alarm {
    /// Where it signalled: `12–20, 33, 41–42 and 3 more stretches`.
    pub fn places(&self) -> String {
        let shown = self.shown.iter().map(|stretch| {
            if stretch.from == stretch.to {
                stretch.from.to_string()
            } else {
                format!("{}–{}", stretch.from, stretch.to)
            }
        });
        let shown = shown.collect::<Vec<_>>().join(", ");
        match self.stretches.saturating_sub(self.shown.len()) {
            0 => shown,
            1 => format!("{shown} and 1 more stretch"),
            more => format!("{shown} and {more} more stretches"),
        }
    }
}

/// The signals of each rule that signalled, in one pass over the panel.
pub fn alarms(panel: &Panel<'_>, rules: &[&'static Rule]) -> Vec<Alarm> {
    let mut found: Vec<Alarm> = Vec::new();
    for signal in panel.signals(rules) {
        let at = signal.at;
        let Some(alarm) = found.iter_mut().find(|alarm| alarm.rule == signal.rule) else {
            found.push(Alarm {
                rule: signal.rule,
                signals: 1,
                stretches: 1,
                shown: vec![Stretch { from: at, to: at }],
                last: at,
            });
            continue;
        };
        let goes_on = at <= alarm.last + 1;
        alarm.signals += 1;
        alarm.last = at;
        if !goes_on {
            alarm.stretches += 1;
        }
        if goes_on && alarm.stretches == alarm.shown.len() {
            if let Some(stretch) = alarm.shown.last_mut() {
                stretch.to = at;
            }
        } else if !goes_on && alarm.shown.len() < STRETCHES_SHOWN {
            alarm.shown.push(Stretch { from: at, to: at });
        }
    }
    found
}
