//! `tallyjaw reload`: exit 0 once the new configuration is in force, 2 if it is faulty, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use std::io::Write;

/// Make the daemon read its configuration again; a faulty one changes nothing
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw check && tallyjaw reload")]
pub(in crate::cli) struct Reload {}

impl Reload {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        client::enter(
            context,
            out,
            "reload",
            &client::params([]),
            "the new configuration is in force",
        )
    }
}
