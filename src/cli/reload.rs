//! `tallyjaw reload`: exit 0 once the new configuration is in force, 2 if it is faulty, 3 without a daemon.

use super::{Context, Exit, Failure, client};
use crate::message::reply::Reload as Answer;
use std::io::Write;

/// Have the daemon read its configuration anew; a faulty one changes nothing
#[derive(Debug, clap::Args)]
pub(super) struct Reload {}

impl Reload {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let Self {} = self;
        let answer = client::call(context, "reload", &client::params([]))?;
        if context.json {
            writeln!(out, "{}", answer.get())?;
        } else {
            let reloaded: Answer = client::read(&answer)?;
            writeln!(
                out,
                "the new configuration is in force; it is entry {}",
                reloaded.seq
            )?;
        }
        Ok(Exit::Yes)
    }
}
