//! Requests time stamps for the newest durable line from an outside authority, each day or at the configured interval.
//!
//! In: the durable end of the journal. Out: `state_dir/timestamps/SEQ.NAME.tsr`, one answer for each interval with new
//! entries. Through the chain it covers every entry before.
//!
//! - After days without a network, after sleep or a stop of the daemon, one time stamp covers everything that was
//!   missed.
//! - While the daemon runs, a clock that nobody can set measures the interval. At the start the time in the newest
//!   answer is compared with the wall clock. If the wall clock is earlier, the age of the answer is unknown and a time
//!   stamp is requested. So a wrong clock costs one time stamp at each start, but never prevents the next one.
//! - The answer is durable before the cursor moves. After a kill between the two there is one extra time stamp.
//! - Only checked answers are stored.

use super::attempts::{Attempts, Tell};
use super::cursor::SinkCursor;
use super::{REMEDY, SinkError, now};
use crate::config::TimestampConfig;
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::journal::{Follow, JournalError, Line, blocking};
use crate::quantity::{MonoMicros, Now};
use crate::timestamp::{Answer, NotObtained, Stamp, keep, kept_by, obtain};
use std::fmt;
use std::path::PathBuf;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::sleep;

/// The longest pause between attempts; it spares an authority that serves others too.
const PAUSE_MOST: Duration = Duration::from_secs(5 * 60);
/// Interval at which the clock is read, because the runtime's timers stand still during sleep.
const LOOKS_EVERY: Duration = Duration::from_secs(60);

/// A sink that requests time stamps.
pub(crate) struct Asking {
    /// Its name.
    pub(crate) name: String,
    /// The authority, and the interval.
    pub(crate) config: TimestampConfig,
    /// Folder that contains the journal.
    pub(crate) state_dir: PathBuf,
    /// Identity of the journal.
    pub(crate) journal: String,
    /// Reads the clocks; the monotonic one runs during sleep.
    pub(crate) now: Box<dyn Fn() -> Now + Send + Sync>,
}

impl fmt::Debug for Asking {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Asking")
            .field("name", &self.name)
            .field("config", &self.config)
            .finish_non_exhaustive()
    }
}

/// Why there is no new time stamp.
#[derive(Debug, thiserror::Error)]
enum NotStamped {
    #[error(transparent)]
    Sink(#[from] SinkError),
    #[error(transparent)]
    NotObtained(#[from] NotObtained),
}

impl NotStamped {
    fn remedy(&self) -> &'static str {
        match self {
            Self::Sink(_) => REMEDY,
            Self::NotObtained(error) => error.remedy(),
        }
    }
}

/// Requests time stamps until the sender of `stopped` is dropped. An open request is abandoned then, and repeated at
/// the next start.
pub(crate) async fn run(
    asking: Asking,
    mut follow: Follow,
    mut stopped: watch::Receiver<()>,
    tell: Tell,
) {
    let mut attempts = Attempts::new(&asking.name, "timestamp", tell).pausing_at_most(PAUSE_MOST);
    let goes_on = async {
        let mut place = None;
        loop {
            if let Err(error) = asking.next(&mut place, &mut follow, &mut attempts).await {
                let pause = attempts.failed(now(), &error, error.remedy());
                sleep(pause).await;
            }
        }
    };
    tokio::select! {
        biased;
        _ = stopped.changed() => {}
        () = goes_on => {}
    }
}

/// The entry that the time stamps have reached, and when the next one is due.
struct Place {
    cursor: SinkCursor,
    due: MonoMicros,
}

impl Asking {
    /// Waits until a time stamp is due and there is a new line, then requests and stores one.
    async fn next(
        &self,
        place: &mut Option<Place>,
        follow: &mut Follow,
        attempts: &mut Attempts,
    ) -> Result<(), NotStamped> {
        if place.is_none() {
            let opened = self.open().await?;
            attempts.goes_on_after(opened.cursor.after());
            *place = Some(opened);
        }
        let Some(Place { cursor, due }) = place else {
            return Ok(());
        };
        self.until(*due).await;
        let line = newest_after(cursor.after(), follow).await?;
        let obtained = obtain(&self.config.authority, Digest::of(&line.bytes)).await?;
        let stamp = Stamp {
            seq: line.seq,
            sink: Some(self.name.clone()),
            bytes: obtained.bytes,
        };
        let (state_dir, seq) = (self.state_dir.clone(), line.seq);
        let kept = blocking(move || keep(&state_dir, &stamp));
        kept.await.map_err(SinkError::from)?;
        let mut moved = cursor.clone();
        let saved = blocking(move || moved.save(seq).map(|()| moved));
        *cursor = saved.await?;
        *due = later((self.now)().mono, self.config.every);
        let at = obtained.answer.at;
        tracing::info!(sink = self.name, %seq, %at, "a time stamp was kept");
        attempts.delivered(seq);
        Ok(())
    }

    /// The place that the time stamps of this sink have reached.
    async fn open(&self) -> Result<Place, SinkError> {
        let (name, journal) = (self.name.clone(), self.journal.clone());
        let state_dir = self.state_dir.clone();
        let (cursor, newest) = blocking(move || {
            let cursor = SinkCursor::open(&state_dir, &name, &journal)?;
            // If anything is wrong with the newest answer, another one is requested.
            let newest = kept_by(&state_dir, cursor.after(), &name).ok();
            let newest = newest.and_then(|bytes| Answer::read(&bytes).ok());
            Ok::<_, SinkError>((cursor, newest))
        })
        .await?;
        let now = (self.now)();
        let left = newest.map_or(Duration::ZERO, |newest| {
            left(self.config.every, now.wall.0.saturating_sub(newest.at.0))
        });
        let due = later(now.mono, left);
        Ok(Place { cursor, due })
    }

    async fn until(&self, due: MonoMicros) {
        loop {
            let left = due.0.saturating_sub((self.now)().mono.0);
            if left == 0 {
                return;
            }
            sleep(Duration::from_micros(left).min(LOOKS_EVERY)).await;
        }
    }
}

fn later(mono: MonoMicros, by: Duration) -> MonoMicros {
    let micros = u64::try_from(by.as_micros()).unwrap_or(u64::MAX);
    MonoMicros(mono.0.saturating_add(micros))
}

/// The rest of an interval, if the newest time stamp has this age by the wall clock; zero if that age is impossible.
fn left(every: Duration, age_micros: i64) -> Duration {
    match u64::try_from(age_micros) {
        Ok(age) => every.saturating_sub(Duration::from_micros(age)),
        Err(_) => Duration::ZERO,
    }
}

/// The newest durable line. Waits until there is one after `after`.
async fn newest_after(after: Seq, follow: &mut Follow) -> Result<Line, SinkError> {
    loop {
        follow.skip_to_the_end();
        let last = follow.after();
        if last > after {
            follow.go_to(Seq(last.0.saturating_sub(1)));
            let line = follow.lines().await?.pop();
            return Ok(line.ok_or(JournalError::Missing { seq: last })?);
        }
        follow.changed().await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_set_wrong_never_puts_the_next_time_stamp_off() {
        const HOUR: i64 = 3_600_000_000;
        let day = Duration::from_secs(86_400);
        let hours = |hours: i64| left(day, hours * HOUR).as_secs() / 3_600;
        assert_eq!((hours(0), hours(1), hours(23)), (24, 23, 1));
        assert_eq!((hours(24), hours(24 * 365)), (0, 0));
        // If the clock was set back by an hour or by decades, the age of the newest one is unknown.
        assert_eq!((hours(-1), hours(-24 * 365 * 30)), (0, 0));
    }
}
