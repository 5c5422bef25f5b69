//! What the configuration says of the daemon and the shop, for commands that read what the daemon wrote.

use super::{Context, Failure};
use crate::config::DaemonConfig;
use crate::files;
use crate::letterhead::Letterhead;
use std::sync::Arc;

/// File name of the control socket in the runtime folder.
pub(super) const CONTROL: &str = "control.sock";

/// The folders of the daemon that uses this configuration.
pub(super) fn daemon_of(context: &Context) -> Result<DaemonConfig, Failure> {
    configured(context).map(|(daemon, _)| daemon)
}

/// The folders of the daemon that uses this configuration, and the shop's letterhead.
pub(super) fn configured(context: &Context) -> Result<(DaemonConfig, Arc<Letterhead>), Failure> {
    let failure = match context.load() {
        Ok((_, config)) => return Ok((config.daemon, config.shop.letterhead)),
        Err(failure) => failure,
    };
    // A running daemon uses the configuration that it read at its start. An error made since must not keep a command
    // from it.
    let main = context
        .config_path()
        .ok()
        .and_then(|path| files::main_alone(&path));
    match main.filter(|(daemon, _)| daemon.runtime_dir.join(CONTROL).exists()) {
        Some(main) => {
            anstream::eprintln!(
                "warning: the configuration has mistakes (tallyjaw check shows them); the daemon goes on with the one it read before"
            );
            Ok(main)
        }
        None => Err(failure),
    }
}
