//! `tallyjaw adapter`: exit 0 once it is durable, 2 if it is refused, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Say that the adapter that is on an instrument's port now is the one that is meant
///
/// Needed where the port has become another adapter than before: its readings do not count until then, since they
/// may be another instrument's. Look which instrument is on it first. Readings that no good zero had vouched for yet
/// are doubted, and a zero is due anew.
#[derive(Debug, clap::Args)]
pub(super) struct Adapter {
    /// The instrument; may be left out where one alone is another adapter than before
    #[arg(long)]
    instrument: Option<String>,
    /// The station; may be left out where there is one
    #[arg(long)]
    station: Option<String>,
}

impl Adapter {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let params = client::params([
            ("station", self.station.map(Into::into)),
            ("instrument", self.instrument.map(Into::into)),
        ]);
        client::enter(
            context,
            out,
            "adapter",
            &params,
            "the adapter that is there is meant, its readings count from here on",
        )
    }
}
