//! Checks that entries about production runs follow from the entries before them.

use super::{Findings, shown};
use crate::entry::production::fold::{Owed, Production};
use crate::entry::{Crimped, Entry, ProductionEntry, SampleDue, Seq, Settled, Stamped, State};
use crate::quantity::WallMicros;
use crate::spec::ArmedSpec;

impl Findings {
    /// What a sample causes must come before any other entry that counts or judges at the station.
    pub(super) fn owed(&mut self, before: &State, stamped: &Stamped) {
        let is_about_runs = matches!(stamped.entry, Entry::Series(_) | Entry::Production(_));
        let Some(station) = stamped.entry.station().filter(|_| is_about_runs) else {
            return;
        };
        let known = before.stations.get(station);
        let owed = known.and_then(|known| known.production.owed.front());
        let got = match &stamped.entry {
            Entry::Production(ProductionEntry::Held(held)) => Some(Owed::Hold(held.clone())),
            Entry::Production(ProductionEntry::RunClosed(closed)) => {
                Some(Owed::Close(closed.clone()))
            }
            Entry::Production(ProductionEntry::RunOpened(opened)) => {
                Some(Owed::Open(opened.clone()))
            }
            Entry::Production(
                ProductionEntry::Crimped(_)
                | ProductionEntry::SampleDue(_)
                | ProductionEntry::Settled(_),
            )
            | Entry::Series(_)
            | Entry::Journal(_)
            | Entry::Port(_)
            | Entry::Said(_)
            | Entry::Frame(_) => None,
        };
        self.compare(
            "what follows from the sample",
            &got.as_ref(),
            &owed,
            |owed| owed.map_or_else(|| "nothing".to_owned(), words),
        );
    }

    pub(super) fn production(&mut self, before: &State, entry: &ProductionEntry, at: WallMicros) {
        let nothing = Production::default();
        let production = |station: &str| {
            let known = before.stations.get(station);
            known.map_or(&nothing, |known| &known.production)
        };
        match entry {
            // these are compared with what the sample causes
            ProductionEntry::RunOpened(_)
            | ProductionEntry::Held(_)
            | ProductionEntry::RunClosed(_) => {}
            ProductionEntry::Crimped(crimped) => {
                self.crimped(production(&crimped.station), crimped);
            }
            ProductionEntry::SampleDue(due) => self.sample_due(production(&due.station), due, at),
            ProductionEntry::Settled(settled) => {
                self.settled(production(&settled.station), settled);
            }
        }
    }

    /// The role of a sample is the one that its plan has in the run.
    pub(super) fn sampled(&mut self, spec: &ArmedSpec) {
        if let Some(sample) = &spec.sample {
            let want = Some(sample.run.plan(sample.role).to_owned());
            self.compare("plan of the sample", &spec.plan, &want, shown);
        }
    }

    fn of_open_run(&mut self, production: &Production, got: Option<Seq>) {
        let open = production.run.as_ref().map(|run| run.id);
        self.compare("run", &got, &open, shown);
    }

    fn crimped(&mut self, production: &Production, crimped: &Crimped) {
        self.of_open_run(production, crimped.run);
        if crimped.crimps == 0 {
            self.add("crimps", "0", "at least 1");
        }
    }

    fn sample_due(&mut self, production: &Production, due: &SampleDue, at: WallMicros) {
        self.of_open_run(production, Some(due.run));
        let Some(run) = &production.run else { return };
        let (_, good) = run.last_good;
        let due_at = run.due_at();
        if run.time_due || due_at.is_none_or(|due_at| at < due_at) {
            let want = due_at.map_or_else(
                || "none by time".to_owned(),
                |due_at| format!("once, at {due_at}, for the sample of {good}"),
            );
            self.add("sample due", at.to_string(), want);
        }
    }

    fn settled(&mut self, production: &Production, settled: &Settled) {
        let Some(hold) = production.holds.get(&settled.held) else {
            let held: Vec<_> = production.holds.keys().map(Seq::to_string).collect();
            let want = match held.as_slice() {
                [] => "none is held".to_owned(),
                held => held.join(", "),
            };
            self.add("held crimps", settled.held.to_string(), want);
            return;
        };
        self.compare("run", &settled.run, &hold.run, ToString::to_string);
        if !(1..=hold.left()).contains(&settled.crimps) {
            let want = format!("1 to {}", hold.left());
            self.add("settled crimps", settled.crimps.to_string(), want);
        }
        if settled.reason.trim().is_empty() {
            self.add("reason", "none", "the person's reason");
        }
    }
}

fn words(owed: &Owed) -> String {
    match owed {
        Owed::Hold(held) => format!(
            "held crimps {} to {} of run {} ({})",
            held.first,
            held.last,
            held.run,
            held.cause.name()
        ),
        Owed::Close(closed) => format!("run {} closed by series {}", closed.run, closed.series),
        Owed::Open(opened) => format!(
            "run {} opened by series {}",
            opened.settings.id, opened.series
        ),
    }
}
