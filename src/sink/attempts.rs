//! Tracks the state of a sink: what was delivered, since when and why it fails, and when it is tried again.
//!
//! In: each delivery and failure. Out: the pause before the next attempt, a [`SinkStatus`] for status, page and
//! metrics, and a log line at the beginning, for each new cause, and at the end of a failure.
//!
//! A pause is longer or shorter by up to a quarter, by chance, so that the benches of a shop do not all come back to a
//! server in the same moment.
//!
//! A connection alone does not end a failure. The pauses grow until an entry was delivered, so that a broker that
//! accepts connections and refuses messages is not tried more often than one that is unreachable.

use crate::durable::secret::random;
use crate::entry::Seq;
use crate::message::reply::{SinkFailure, SinkRecovery, SinkStatus};
use crate::quantity::WallMicros;
use std::fmt;
use std::sync::Arc;
use std::time::Duration;

/// The shortest and the usual longest pause. Each is twice the one before.
const PAUSES: (Duration, Duration) = (Duration::from_millis(500), Duration::from_secs(30));

/// Called whenever the status of a sink has changed.
pub(crate) type Tell = Arc<dyn Fn(SinkStatus) + Send + Sync>;

/// The state of one sink since the daemon started.
pub(crate) struct Attempts {
    status: SinkStatus,
    pause: Duration,
    longest: Duration,
    /// Causes of this failure that were logged.
    logged: Vec<String>,
    tell: Tell,
}

/// Maximum number of causes that are logged for one failure.
const MOST_LOGGED: usize = 8;

impl fmt::Debug for Attempts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Attempts")
            .field("status", &self.status)
            .field("pause", &self.pause)
            .finish_non_exhaustive()
    }
}

impl Attempts {
    /// The state before the first attempt.
    pub(crate) fn new(name: &str, kind: &str, tell: Tell) -> Self {
        let status = SinkStatus::new(name, kind);
        tell(status.clone());
        Self {
            status,
            pause: PAUSES.0,
            longest: PAUSES.1,
            logged: Vec::new(),
            tell,
        }
    }

    /// With another longest pause.
    pub(crate) fn pausing_at_most(mut self, longest: Duration) -> Self {
        self.longest = longest;
        self
    }

    /// Name of the sink.
    pub(crate) fn name(&self) -> &str {
        &self.status.sink
    }

    /// Whether nothing was delivered since the last failure.
    pub(crate) fn is_failing(&self) -> bool {
        self.status.failing.is_some()
    }

    /// A connection that lasts for this time ends a failure, even without anything to deliver.
    pub(crate) const fn steady_after() -> Duration {
        PAUSES.1
    }

    /// The sink continues after entry `after`. Whether it works is not known yet.
    pub(crate) fn goes_on_after(&mut self, after: Seq) {
        if after.0 != self.status.after {
            self.status.after = after.0;
            (self.tell)(self.status.clone());
        }
    }

    /// Every entry up to `after` was delivered.
    pub(crate) fn delivered(&mut self, after: Seq) {
        self.pause = PAUSES.0;
        if after.0 == self.status.after && !self.is_failing() {
            return;
        }
        self.status.after = after.0;
        self.logged.clear();
        if let Some(failure) = self.status.failing.take() {
            let SinkFailure {
                since,
                tries,
                error,
                ..
            } = failure;
            tracing::info!(sink = self.status.sink, kind = self.status.kind, %after, since, tries, "the sink takes entries again");
            self.status.recoveries += 1;
            self.status.recovered = Some(SinkRecovery {
                since,
                until: super::now().to_string(),
                tries,
                error,
            });
        }
        (self.tell)(self.status.clone());
    }

    /// An attempt failed at `now`. Returns the pause before the next one.
    pub(crate) fn failed(
        &mut self,
        now: WallMicros,
        error: &dyn fmt::Display,
        remedy: &'static str,
    ) -> Duration {
        let error = error.to_string();
        let before = self.status.failing.take();
        if self.logged.len() < MOST_LOGGED && !self.logged.contains(&error) {
            self.logged.push(error.clone());
            let SinkStatus {
                sink, kind, after, ..
            } = &self.status;
            tracing::error!(sink, kind, after, %error, remedy, "the sink fails; it is tried again and misses no entry");
        }
        self.status.failures += 1;
        self.status.failing = Some(SinkFailure {
            tries: before.as_ref().map_or(0, |before| before.tries) + 1,
            since: before.map_or_else(|| now.to_string(), |before| before.since),
            error,
            remedy: remedy.to_owned(),
        });
        (self.tell)(self.status.clone());
        let pause = self.pause;
        self.pause = (2 * pause).min(self.longest);
        by_chance(pause)
    }
}

/// A pause, longer or shorter by up to a quarter.
fn by_chance(pause: Duration) -> Duration {
    let [byte] = random().unwrap_or([128]); // Without random numbers, as it is.
    pause * (3 * 128 + u32::from(byte)) / 512
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    fn attempts() -> (Attempts, Arc<Mutex<Vec<SinkStatus>>>) {
        let text = Arc::new(Mutex::new(Vec::new()));
        let tell = Arc::clone(&text);
        let tell: Tell = Arc::new(move |status| tell.lock().unwrap().push(status));
        (Attempts::new("plant", "mqtt", tell), text)
    }

    #[test]
    fn the_pauses_grow_until_an_entry_has_arrived() {
        let (mut attempts, _) = attempts();
        let mut pauses: Vec<u128> = (0..8)
            .map(|_| attempts.failed(WallMicros(0), &"gone", "look").as_millis())
            .collect();
        attempts.delivered(Seq(7));
        pauses.push(attempts.failed(WallMicros(0), &"gone", "look").as_millis());
        let means = [500, 1000, 2000, 4000, 8000, 16_000, 30_000, 30_000, 500];
        for (pause, mean) in pauses.into_iter().zip(means) {
            assert!((mean * 3 / 4..=mean * 5 / 4).contains(&pause), "{pause}");
        }
    }

    #[test]
    fn a_failure_is_reported_with_its_beginning_attempts_and_last_error() {
        let (mut attempts, text) = attempts();
        attempts.failed(WallMicros(0), &"gone", "look");
        attempts.failed(WallMicros(9), &"refused", "look there");
        let failing = text.lock().unwrap().last().unwrap().failing.clone();
        let want = SinkFailure {
            since: WallMicros(0).to_string(),
            tries: 2,
            error: "refused".to_owned(),
            remedy: "look there".to_owned(),
        };
        assert_eq!(failing, Some(want));
        attempts.delivered(Seq(7));
        let last = text.lock().unwrap().last().unwrap().clone();
        assert_eq!((last.after, last.failures, last.failing), (7, 2, None));
        assert_eq!(last.recoveries, 1);
        let over = last.recovered.unwrap();
        assert_eq!(
            (over.since.as_str(), over.tries, over.error.as_str()),
            (WallMicros(0).to_string().as_str(), 2, "refused")
        );
    }
}
