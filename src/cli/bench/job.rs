//! `tallyjaw job`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Set what the pieces are for, as the card of a job does
///
/// The station remembers it, also over a restart, and enters it into each series that starts after it. Details that are
/// not given are taken from the list of jobs (`jobs` in the configuration), or from what was given for the same job
/// before. A job cannot change within a series.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw job 4711\n  tallyjaw job 4711 --serial 8\n  tallyjaw job 4711 --customer 'Pumps Ltd' --item 'pump harness B' --reference PO-88\n  tallyjaw job --none\n\nThe text of the card is tj/job/4711 or tj/job/4711/SERIAL. Its series: tallyjaw jobs 4711."
)]
pub(in crate::cli) struct Job {
    /// The shop's number of the job
    #[arg(value_name = "JOB", required_unless_present = "none")]
    id: Option<String>,
    /// The customer
    #[arg(long, value_name = "CUSTOMER")]
    customer: Option<String>,
    /// The harness: part number and revision
    #[arg(long)]
    item: Option<String>,
    /// The serial number of the harness in hand
    #[arg(long)]
    serial: Option<String>,
    /// The customer's own number of the order
    #[arg(long)]
    reference: Option<String>,
    /// The last job is finished: pieces that follow belong to no job
    #[arg(long, conflicts_with_all = ["id", "customer", "item", "serial", "reference"])]
    none: bool,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Job {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let done = if self.none { "no job set" } else { "job set" };
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("job", self.id.map(Into::into)),
            ("customer", self.customer.map(Into::into)),
            ("item", self.item.map(Into::into)),
            ("serial", self.serial.map(Into::into)),
            ("reference", self.reference.map(Into::into)),
        ]);
        client::enter(context, out, "job", &params, done)
    }
}
