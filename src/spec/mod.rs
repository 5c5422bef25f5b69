//! What is measured on a crimp, within which limits, and how a value is judged.
//!
//! In: sheets, plans, tools and instruments from the configuration. Out: an [`ArmedSpec`] and verdicts. Nothing in
//! here knows how a reading arrived.

pub mod alert;
pub mod armed;
pub mod axis;
pub mod budget;
pub mod care;
pub mod catalog;
pub mod instrument;
pub mod job;
pub mod limits;
pub mod plan;
pub mod production_run;
pub mod pull_table;
pub mod qualification;
pub mod question;
pub mod resolve;
pub mod sheet;
pub mod signal;
pub mod subject;
pub mod tolerance;
pub mod tool;
pub mod uncertainty;
pub mod verdict;
pub mod wire;

pub use alert::AlertRule;
pub use armed::{ArmedAxis, ArmedInstrument, ArmedSpec, ArmedTool, Guard, OpeningZero};
pub use axis::{Axis, AxisName};
pub use budget::Budget;
pub use care::{InstrumentCare, Papers, ToolCare, Verified};
pub use catalog::Catalog;
pub use instrument::{Capture, Flicker, Instrument, InstrumentKind};
pub use job::{Ask, Job, KnownJob, Lots, Material};
pub use limits::Limits;
pub use plan::{Order, Plan, Purpose, WireRequest, ZeroPolicy};
pub use production_run::{ProductionRun, SampleOf, SampleRole, Settlement};
pub use pull_table::{PullFallback, PullMinimum, PullTable, PullTableError};
pub use qualification::{QualificationRule, Qualified, QualifiedAxis};
pub use question::{Look, LooksPer, PullMode, Questions};
pub use resolve::{Unarmable, resolve};
pub use sheet::{SheetRow, Sizes, Terminal};
pub use signal::{PedalAction, Signal, SignalKind};
pub use subject::{ArmedSubject, Crimp, FromSheet, GaugeBlock, Subject};
pub use tolerance::Tolerance;
pub use tool::{Nest, Tool, ToolClass};
pub use verdict::{Decision, Verdict, judge};
pub use wire::{SizingSystem, WireSize};
