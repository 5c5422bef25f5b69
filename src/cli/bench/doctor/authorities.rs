//! Checks whether this machine reaches the time stamping authorities. No time stamp is requested.

use super::{Finding, Is};
use crate::config::{Config, SinkSettings};
use crate::timestamp::reach;

/// Returns nothing if no sink requests time stamps.
pub(super) fn look(config: &Config) -> Vec<Finding> {
    let new = |is, says: String| Finding::new("time stamps", is, says);
    let sinks = config.sinks.iter().filter_map(|sink| match &sink.settings {
        SinkSettings::Timestamp(asks) => Some((&sink.name, &asks.authority)),
        SinkSettings::Parquet(_)
        | SinkSettings::Mqtt(_)
        | SinkSettings::Webhook(_)
        | SinkSettings::Postgres(_) => None,
    });
    let looked = sinks.map(|(name, authority)| {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build();
        let runtime = match runtime {
            Ok(runtime) => runtime,
            Err(error) => return new(Is::Wrong, format!("{name}: {error}")),
        };
        let reached = runtime.block_on(reach(authority));
        runtime.shutdown_background();
        match reached {
            Ok(()) => {
                let place = authority.address.place();
                new(Is::Good, format!("{name}: {place} can be reached"))
            }
            Err(error) => new(Is::Wrong, format!("{name}: {error}")).help(error.remedy()),
        }
    });
    looked.collect()
}
