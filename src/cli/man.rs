//! `tallyjaw man`: exit 0.

use super::{Context, Exit, Failure, help};
use std::io::Write;

/// Print the manual page
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  tallyjaw man | man -l -")]
pub(super) struct Man {
    /// The page of this subcommand
    #[arg(value_name = "SUBCOMMAND")]
    subcommand: Option<String>,
}

impl Man {
    pub(super) fn run(self, _: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let mut command = help::command();
        command.build();
        let page = match &self.subcommand {
            None => clap_mangen::Man::new(command),
            Some(name) => {
                let Some(sub) = command.find_subcommand(name) else {
                    return Err(Failure::usage(format!("no subcommand {name:?}"))
                        .with_remedy("tallyjaw --help lists them"));
                };
                clap_mangen::Man::new(sub.clone()).title(format!("tallyjaw-{name}"))
            }
        };
        page.render(out)?;
        Ok(Exit::Yes)
    }
}
