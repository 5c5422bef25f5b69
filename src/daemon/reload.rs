//! Reading the configuration anew while the daemon runs.

use super::files::{self, LoadError};
use crate::config::Config;
use crate::message::{ErrorObject, code};
use std::path::Path;

/// The new configuration, or why the old one stays in force.
pub(super) fn load(path: &Path, old: &Config) -> Result<Config, ErrorObject> {
    let new = files::load(path).map_err(|error| refuse(&error))?;
    let changed = if new.daemon != old.daemon {
        "the section [daemon] has changed"
    } else if new.page != old.page {
        "the section [page] has changed"
    } else if new.sinks != old.sinks {
        "a [[sink]] has changed"
    } else {
        return Ok(new);
    };
    Err(ErrorObject::new(
        code::CONFIG,
        format!("{changed}, want it as it was when the daemon started"),
        Some("restart the daemon for that; everything else can be reloaded".to_owned()),
    ))
}

fn refuse(error: &LoadError) -> ErrorObject {
    let mut refused = ErrorObject::new(
        code::CONFIG,
        error.to_string(),
        Some(error.remedy().to_owned()),
    );
    refused.data.details = error.rendered(false);
    refused
}
