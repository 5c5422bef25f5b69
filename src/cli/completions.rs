//! `tallyjaw completions SHELL`: exit 0.

use super::{Context, Exit, Failure, help};
use std::io::Write;

/// Print completions for a shell
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  tallyjaw completions bash > ~/.local/share/bash-completion/completions/tallyjaw"
)]
pub(super) struct Completions {
    /// The shell
    shell: clap_complete::Shell,
}

impl Completions {
    pub(super) fn run(self, _: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let mut text = Vec::new();
        clap_complete::generate(self.shell, &mut help::command(), "tallyjaw", &mut text);
        out.write_all(&text)?;
        Ok(Exit::Yes)
    }
}
