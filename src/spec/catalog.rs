//! Everything that can be armed, as one value; a reload replaces it as a whole.

use super::{
    Axis, AxisName, Budget, Instrument, KnownJob, Plan, ProductionRun, QualificationRule, SampleOf,
    Signal, Terminal, Tool,
};

/// The checked content of the configuration.
#[derive(Debug, Clone, Default)]
pub struct Catalog {
    /// Station names, in the order of the configuration.
    pub stations: Vec<String>,
    /// Built-in and declared axes.
    pub axes: Vec<Axis>,
    /// Terminals of all sheets.
    pub terminals: Vec<Terminal>,
    /// In the order of their files.
    pub plans: Vec<Plan>,
    /// In the order of their files.
    pub tools: Vec<Tool>,
    /// Who may be chosen as operator; anybody else may be named too.
    pub operators: Vec<String>,
    /// Instruments that measure.
    pub instruments: Vec<Instrument>,
    /// Uncertainty budgets of instruments.
    pub budgets: Vec<Budget>,
    /// The shop's list of jobs; `None` where it keeps none.
    pub jobs: Option<Vec<KnownJob>>,
    /// Production runs.
    pub runs: Vec<ProductionRun>,
    /// The rule of qualification; `None` where the shop has none of its own.
    pub qualification: Option<QualificationRule>,
    /// Scanners, pedals and counters.
    pub signals: Vec<Signal>,
}

impl Catalog {
    /// The axis of this name.
    pub fn axis(&self, name: &AxisName) -> Option<&Axis> {
        self.axes.iter().find(|axis| axis.name == *name)
    }

    /// The terminal of this id.
    pub fn terminal(&self, id: &str) -> Option<&Terminal> {
        self.terminals.iter().find(|terminal| terminal.id == id)
    }

    /// The plan of this id.
    pub fn plan(&self, id: &str) -> Option<&Plan> {
        self.plans
            .iter()
            .find(|plan| plan.id.as_deref() == Some(id))
    }

    /// The tool of this id.
    pub fn tool(&self, id: &str) -> Option<&Tool> {
        self.tools.iter().find(|tool| tool.id == id)
    }

    /// The uncertainty budget of this name.
    pub fn budget(&self, name: &str) -> Option<&Budget> {
        self.budgets.iter().find(|budget| budget.name == name)
    }

    /// The job of this id in the shop's list.
    pub fn job(&self, id: &str) -> Option<&KnownJob> {
        let mut jobs = self.jobs.iter().flatten();
        jobs.find(|known| known.job.id == id)
    }

    /// The production run that a plan is a sample of.
    pub fn sample_of(&self, plan: &str) -> Option<SampleOf> {
        let mut samples = self.runs.iter().filter_map(|run| {
            let role = run.role_of(plan)?;
            let run = run.clone();
            Some(SampleOf { run, role })
        });
        samples.next()
    }

    /// The instrument of this name.
    pub fn instrument(&self, name: &str) -> Option<&Instrument> {
        self.instruments
            .iter()
            .find(|instrument| instrument.name == name)
    }
}
