//! Announces verdicts through a program, for example one that speaks.
//!
//! In: readings, zeros and outcomes as they become durable. Out: runs of the program, one at a time, without a shell.
//! An old announcement is skipped. Nothing waits for the program; verdicts are in journal and log in any case.

use crate::config::PLACEHOLDERS;
use crate::entry::Stamped;
use crate::entry::spoken::spoken;
use crate::journal::Follow;
use crate::quantity::Measured;
use std::process::Stdio;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::process::Command;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{broadcast, watch};

/// Maximum number of announcements that wait; the newest are kept.
const WAITING_MOST: usize = 4;

/// An announcement that has waited longer is skipped.
const OLD: Duration = Duration::from_secs(4);

/// A program that runs longer is killed.
const TIME_LIMIT: Duration = Duration::from_secs(10);

/// Pause after an error before the journal is read again.
const PAUSE: Duration = Duration::from_secs(5);

/// An announcement.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Saying {
    since: Instant,
    /// Values of [`PLACEHOLDERS`], in that order.
    words: [String; PLACEHOLDERS.len()],
}

/// Announces entries that become durable from now on, until the sender of `stopped` is dropped.
pub(crate) async fn run(program: Vec<String>, follow: Follow, mut stopped: watch::Receiver<()>) {
    let (say, sayings) = broadcast::channel(WAITING_MOST);
    tokio::select! {
        () = listen(follow, say) => {}
        () = speak(program, sayings) => {}
        _ = stopped.changed() => {}
    }
}

async fn listen(mut follow: Follow, say: broadcast::Sender<Arc<Saying>>) {
    loop {
        match follow.entries().await {
            Ok(entries) if entries.is_empty() => follow.changed().await,
            Ok(entries) => {
                for words in entries.iter().filter_map(saying) {
                    let since = Instant::now();
                    // No receiver: the daemon is stopping.
                    let _ = say.send(Arc::new(Saying { since, words }));
                }
            }
            Err(error) => {
                tracing::warn!(%error, "verdicts cannot be announced: the journal cannot be read");
                tokio::time::sleep(PAUSE).await;
                follow.skip_to_the_end();
            }
        }
    }
}

async fn speak(program: Vec<String>, mut sayings: broadcast::Receiver<Arc<Saying>>) {
    let mut failing = false;
    loop {
        let saying = match sayings.recv().await {
            Ok(saying) => saying,
            Err(RecvError::Lagged(skipped)) => {
                tracing::debug!(skipped, "verdicts came faster than they can be announced");
                continue;
            }
            Err(RecvError::Closed) => return,
        };
        if saying.since.elapsed() > OLD {
            continue;
        }
        match said(&program, &saying).await {
            Ok(()) => failing = false,
            Err(error) => {
                if !failing {
                    let program = program.first().map_or("", String::as_str);
                    tracing::warn!(
                        program,
                        "a verdict was not announced: {error}; the next failure is reported only after one that worked"
                    );
                }
                failing = true;
            }
        }
    }
}

/// Runs the program once, to its end or the time limit.
async fn said(program: &[String], saying: &Saying) -> Result<(), String> {
    let Some((name, arguments)) = program.split_first() else {
        return Ok(());
    };
    let arguments = arguments.iter().map(|argument| filled(argument, saying));
    let mut child = Command::new(name)
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .kill_on_drop(true)
        .spawn()
        .map_err(|error| error.to_string())?;
    match tokio::time::timeout(TIME_LIMIT, child.wait()).await {
        Ok(Ok(status)) if status.success() => Ok(()),
        Ok(Ok(status)) => Err(status.to_string()),
        Ok(Err(error)) => Err(error.to_string()),
        Err(_) => {
            // It may have ended just now.
            let _ = child.kill().await;
            Err(format!(
                "it ran longer than {} s and was ended",
                TIME_LIMIT.as_secs()
            ))
        }
    }
}

/// An argument with its placeholders replaced.
fn filled(argument: &str, saying: &Saying) -> String {
    let pairs = PLACEHOLDERS.iter().zip(&saying.words);
    let filled = pairs.fold(argument.to_owned(), |text, (name, word)| {
        text.replace(&format!("{{{name}}}"), word)
    });
    filled.trim_end().to_owned()
}

/// The values for an entry; `None` for most kinds.
fn saying(stamped: &Stamped) -> Option<[String; PLACEHOLDERS.len()]> {
    let spoken = spoken(&stamped.entry)?;
    let slot = spoken.slot;
    Some([
        spoken.verdict,
        spoken.value.map(value).unwrap_or_default(),
        spoken.station.to_owned(),
        slot.map(|slot| slot.axis.words()).unwrap_or_default(),
        slot.map(|slot| slot.piece.to_string()).unwrap_or_default(),
    ])
}

/// A minus becomes a word, because an argument that begins with one would be taken for an option.
fn value(value: Measured) -> String {
    let text = value.to_string();
    match text.strip_prefix('-') {
        Some(rest) => format!("minus {rest}"),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_in_their_places_and_no_argument_begins_with_a_minus() {
        let saying = Saying {
            since: Instant::now(),
            words: [
                "fail, too low".to_owned(),
                value("-0.02 mm".parse().unwrap()),
                "bench-1".to_owned(),
                "core crimp height".to_owned(),
                "3".to_owned(),
            ],
        };
        for (argument, want) in [
            ("{value}", "minus 0.02 mm"),
            ("{verdict} {value}", "fail, too low minus 0.02 mm"),
            (
                "{station}: {axis} of piece {piece}",
                "bench-1: core crimp height of piece 3",
            ),
            ("-v", "-v"),
            ("$(reboot); {verdict}", "$(reboot); fail, too low"),
        ] {
            assert_eq!(filled(argument, &saying), want);
        }
    }
}
