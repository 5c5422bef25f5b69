//! `tallyjaw study`: exit 0; 1 with `--gate` if the answer is no; 2 for wrong use; 4 if journal or file cannot be read.
//!
//! In: readings of one axis from the journal, a data set or a CSV file. Out: figures, a small picture and a sentence. Figures are
//! computed by [`crate::stats`].

#![expect(
    clippy::disallowed_methods,
    reason = "edge: reads readings and limits from files, writes pictures"
)]

mod about;
mod agreement;
mod alarms;
mod answers;
mod capability;
mod cells;
mod chart;
mod compare;
mod data_set;
mod describe;
mod distribution;
mod drift;
mod factors;
mod file;
mod gauge;
mod journal;
mod levels;
mod linearity;
mod lots;
mod pairs;
mod plan;
mod plan_sd;
mod pull;
mod readings;
mod regression;
pub(super) mod run;
mod sampling;
mod select;
mod show;
mod stability;
mod tolerance;
mod uncertainty;

use super::{Context, Exit, Failure};
use std::io::Write;

/// Statistics of readings: capability, control charts, comparisons, gauge studies, drift
///
/// The readings are those of series in the journal, of a data set of one bench or many, or of a column of a CSV file. No
/// daemon is needed.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw study describe 37                        the readings of series 37
  tallyjaw study capability --terminal QF-250-F --wire \"2.0 mm²\" --axis core_crimp_height
  tallyjaw study chart --tool T-07 --axis core_crimp_height --since 2026-11-01
  tallyjaw study compare --axis core_crimp_height --group tool --margin \"0.02 mm\"
  tallyjaw study capability --from run.csv --column height --unit mm --spec \"1.62 ±0.05 mm\"
  tallyjaw study factors --data-set lake --axis core_crimp_height --by journal,tool
  tallyjaw study tolerance 37 --content 99 --confidence 95 --next 50
  tallyjaw study plan capability --asked 1.33 --index 1.67      how many pieces, before measuring
  tallyjaw study factors --axis core_crimp_height --by tool/nest,operator,day
  tallyjaw study regression --pair-by job --job 4711   pull force against crimp height
  tallyjaw study gauge --from gauge.csv --column value --unit mm --part part --appraiser who")]
pub(super) struct Study {
    #[command(subcommand)]
    study: Method,
}

#[derive(Debug, clap::Subcommand)]
enum Method {
    Describe(Box<describe::Describe>),
    Capability(Box<capability::Capability>),
    Chart(Box<chart::Chart>),
    Compare(Box<compare::Compare>),
    Gauge(Box<gauge::Gauge>),
    Drift(Box<drift::Drift>),
    Pull(Box<pull::Pull>),
    Tolerance(Box<tolerance::Tolerance>),
    Plan(Box<plan::Plan>),
    Lots(Box<lots::LotsStudy>),
    Uncertainty(Box<uncertainty::Uncertainty>),
    Regression(Box<regression::Regression>),
    Factors(Box<factors::Factors>),
    Linearity(Box<linearity::Linearity>),
    Stability(Box<stability::Stability>),
    Agreement(Box<agreement::Agreement>),
    Run(run::Run),
}

impl Study {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        self.study.run(context, out)
    }
}

impl Method {
    fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        match self {
            Self::Describe(study) => study.run(context, out),
            Self::Capability(study) => study.run(context, out),
            Self::Chart(study) => study.run(context, out),
            Self::Compare(study) => study.run(context, out),
            Self::Gauge(study) => study.run(context, out),
            Self::Drift(study) => study.run(context, out),
            Self::Pull(study) => study.run(context, out),
            Self::Tolerance(study) => study.run(context, out),
            Self::Plan(study) => study.run(context, out),
            Self::Lots(study) => study.run(context, out),
            Self::Uncertainty(study) => study.run(context, out),
            Self::Regression(study) => study.run(context, out),
            Self::Factors(study) => study.run(context, out),
            Self::Linearity(study) => study.run(context, out),
            Self::Stability(study) => study.run(context, out),
            Self::Agreement(study) => study.run(context, out),
            Self::Run(study) => study.run(context, out),
        }
    }
}
