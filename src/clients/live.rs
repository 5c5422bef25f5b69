//! What clients may see: durable lines, the state that follows from them, and the state of the journal.
//!
//! In: announcements of the journal, from the daemon. Out: for each client, what comes after its own place. The newest
//! lines are in memory; older ones are read from the files.

use super::at_end::{AtEnd, Left};
use super::health::Health;
use super::socket::Socket;
use crate::entry::state::StationState;
use crate::entry::{JournalId, Seq, State};
use crate::journal::{DurableEnd, DurableLine, Follow};
use crate::letterhead::Letterhead;
use crate::message::page::MovingMessage;
use crate::message::reply::{FolderTrouble, KeyTrouble, SinkStatus, Status, Trouble};
use crate::message::{Hello, Notice, StateMessage, line};
use crate::quantity::WallMicros;
use crate::spec::Catalog;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::{Notify, watch};

/// Number of notices that are kept for clients that are behind.
const NOTICES: usize = 16;

/// What the clients of a daemon see.
#[derive(Debug)]
pub struct Live {
    version: &'static str,
    journal: JournalId,
    first: Seq,
    shown: Mutex<Shown>,
    end: Arc<DurableEnd>,
    at_end: Mutex<AtEnd>,
    /// Changes when anything except a line is new.
    told: watch::Sender<()>,
    moving: watch::Sender<Arc<[MovingMessage]>>,
}

#[derive(Debug)]
struct Shown {
    state: State,
    /// The state as a line, with the seconds since the disk has answered that it says; `None` since a change.
    state_line: Option<(Option<u64>, StateLine)>,
    catalog: Arc<Catalog>,
    letterhead: Arc<Letterhead>,
    last_at: Option<WallMicros>,
    health: Health,
    troubles: BTreeMap<String, Trouble>,
    folders: BTreeMap<String, FolderTrouble>,
    key_trouble: Option<KeyTrouble>,
    sinks: Vec<SinkStatus>,
    /// Names of the sinks whose failure is over, and that are still behind by what waited.
    catching_up: BTreeSet<String>,
    page: Option<String>,
    notices: VecDeque<Arc<[u8]>>,
    notices_ever: u64,
    closing: bool,
}

/// A client's place among those that are written to directly.
#[derive(Debug)]
pub(super) struct Standing {
    live: Arc<Live>,
    id: u64,
}

impl Standing {
    /// A place for a client that has all entries up to `after`; `None` if there are newer ones. `behind` is notified when
    /// the client must go on by itself.
    pub(super) fn take(
        live: &Arc<Live>,
        after: Seq,
        socket: &Arc<Socket>,
        behind: &Arc<Notify>,
    ) -> Option<Self> {
        let mut at_end = live.at_end();
        let has_all = after == live.last();
        let id = has_all.then(|| at_end.enter(after, socket, behind));
        drop(at_end);
        let live = Arc::clone(live);
        id.map(|id| Self { live, id })
    }

    /// Stops direct writing to the client.
    pub(super) fn leave(self) -> Option<Left> {
        self.live.at_end().leave(self.id)
    }
}

impl Drop for Standing {
    fn drop(&mut self) {
        self.live.at_end().leave(self.id);
    }
}

/// The first messages to a client.
#[derive(Debug)]
pub(super) struct Greeting {
    pub(super) lines: Vec<u8>,
    pub(super) last: Seq,
    pub(super) notices_seen: u64,
}

/// The state as a line of the feed.
#[derive(Debug, Clone)]
pub(super) struct StateLine {
    /// The last entry that it includes.
    pub(super) last: Seq,
    /// The line with its newline.
    pub(super) line: Arc<[u8]>,
}

impl Live {
    /// The state for a journal whose durable entries end with `last` and lead to `state`.
    pub fn new(
        version: &'static str,
        state_dir: &Path,
        (first, last): (Seq, Seq),
        journal: JournalId,
        state: State,
        (catalog, letterhead): (Arc<Catalog>, Arc<Letterhead>),
    ) -> Self {
        Self {
            version,
            journal,
            first,
            shown: Mutex::new(Shown {
                state,
                state_line: None,
                catalog,
                letterhead,
                last_at: None,
                health: Health::Ok,
                troubles: BTreeMap::new(),
                folders: BTreeMap::new(),
                key_trouble: None,
                sinks: Vec::new(),
                catching_up: BTreeSet::new(),
                page: None,
                notices: VecDeque::new(),
                notices_ever: 0,
                closing: false,
            }),
            end: Arc::new(DurableEnd::new(state_dir, last)),
            at_end: Mutex::default(),
            told: watch::Sender::new(()),
            moving: watch::Sender::new(Arc::new([])),
        }
    }

    /// Nothing can fail while the lock is held, so a poisoned lock still protects valid data.
    fn shown(&self) -> MutexGuard<'_, Shown> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The same is true for the clients that are written to directly.
    fn at_end(&self) -> MutexGuard<'_, AtEnd> {
        self.at_end.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Wakes everyone, because something other than a line is new, or because the shown state depends on the time.
    pub fn wake_all(&self) {
        self.end.wake();
        self.told.send_replace(());
    }

    /// Changes when anything except a line is new for everyone.
    pub(super) fn told(&self) -> watch::Receiver<()> {
        self.told.subscribe()
    }

    /// Adds durable lines. A client of the feed that has all lines before them is sent them. [`Live::wake_followers`]
    /// must be called afterwards for all others.
    pub fn publish(&self, lines: &[DurableLine]) {
        let Some(last) = lines.last() else {
            return;
        };
        // Held until all are served, so that a client that takes a place has every earlier line.
        let mut at_end = self.at_end();
        {
            let mut shown = self.shown();
            for line in lines {
                shown.state.apply(&line.stamped);
                shown.last_at = Some(line.stamped.at);
            }
            shown.state_line = None;
            self.end.add(lines); // Done under the lock, because the state belongs to the last entry.
        }
        at_end.write(lines.iter().map(|line| &*line.line), last.seq);
    }

    /// Wakes everyone who reads lines. Call it on the thread of clients: from another thread each wake-up costs a
    /// system call.
    pub fn wake_followers(&self) {
        self.end.wake();
    }

    /// Sets the configuration now in force.
    pub fn set_configured(&self, catalog: Arc<Catalog>, letterhead: Arc<Letterhead>) {
        {
            let mut shown = self.shown();
            shown.catalog = catalog;
            shown.state_line = None;
            shown.letterhead = letterhead;
        }
        self.wake_all();
    }

    /// Sets the address of the bench page.
    pub fn set_page(&self, address: String) {
        self.shown().page = Some(address);
    }

    /// The configuration now in force.
    pub fn catalog(&self) -> Arc<Catalog> {
        Arc::clone(&self.shown().catalog)
    }

    /// The letterhead for reports, as it is configured now.
    pub fn letterhead(&self) -> Arc<Letterhead> {
        Arc::clone(&self.shown().letterhead)
    }

    /// Sets the state of the journal, and sends a notice to every client, also to later ones.
    pub fn set_health(&self, health: Health, notice: &Notice) {
        self.shown().health = health;
        self.say(notice);
    }

    /// Sends a notice to every client.
    pub fn say(&self, notice: &Notice) {
        {
            let mut shown = self.shown();
            if shown.notices.len() == NOTICES {
                shown.notices.pop_front();
            }
            shown.notices.push_back(line(notice).into());
            shown.notices_ever += 1;
        }
        self.wake_all();
    }

    /// Sets the problem with an instrument's port; `None` once there is none.
    pub fn set_trouble(&self, instrument: &str, trouble: Option<&Trouble>) {
        {
            let mut shown = self.shown();
            let before = match trouble {
                Some(trouble) => shown
                    .troubles
                    .insert(instrument.to_owned(), trouble.clone()),
                None => shown.troubles.remove(instrument),
            };
            if before.as_ref() == trouble {
                return;
            }
        }
        self.wake_all();
    }

    /// Sets why outcomes are not sealed; `None` while they are, and where no signing key was ever made.
    pub fn set_key_trouble(&self, trouble: Option<KeyTrouble>) {
        self.shown().key_trouble = trouble;
        self.wake_all();
    }

    /// Sets the problem with a station's folder of pictures; `None` once there is none.
    pub fn set_folder(&self, station: &str, trouble: Option<&FolderTrouble>) {
        {
            let folders = &mut self.shown().folders;
            match trouble {
                Some(trouble) => folders.insert(station.to_owned(), trouble.clone()),
                None => folders.remove(station),
            };
        }
        self.wake_all();
    }

    /// Sets the values that do not stand still. Only those who watch them are woken.
    pub fn set_moving(&self, moving: Vec<MovingMessage>) {
        self.moving.send_if_modified(|shown| {
            let changed = **shown != *moving;
            if changed {
                *shown = moving.into();
            }
            changed
        });
    }

    /// The values that do not stand still, whenever they change.
    pub fn moving(&self) -> watch::Receiver<Arc<[MovingMessage]>> {
        self.moving.subscribe()
    }

    /// Sets the state of a sink. Clients get the state when a failure begins, when it ends, and when what waited has arrived;
    /// the position they must request.
    pub fn set_sink(&self, status: SinkStatus) {
        let (failing, name) = (status.failing.is_some(), status.sink.clone());
        let has_all = status.after >= self.last().0;
        let (failed_before, arrived) = {
            let mut shown = self.shown();
            let known = shown
                .sinks
                .iter_mut()
                .find(|known| known.sink == status.sink);
            let failed_before = if let Some(known) = known {
                std::mem::replace(known, status).failing.is_some()
            } else {
                shown.sinks.push(status);
                false
            };
            let arrived = !failing && has_all && shown.catching_up.remove(&name);
            if failed_before && !failing && !has_all {
                shown.catching_up.insert(name);
            }
            (failed_before, arrived)
        };
        if failing != failed_before || arrived {
            self.wake_all();
        }
    }

    /// Sends clients what they lack, then disconnects them.
    pub fn close(&self) {
        self.shown().closing = true;
        self.wake_all();
    }

    /// Whether clients are being disconnected.
    pub fn is_closing(&self) -> bool {
        self.shown().closing
    }

    /// The state of the journal.
    pub fn health(&self) -> Health {
        self.shown().health
    }

    /// A value from the state of a station; `None` if no durable entry mentions the station.
    pub fn of_station<T>(&self, name: &str, look: impl FnOnce(&StationState) -> T) -> Option<T> {
        self.shown().state.stations.get(name).map(look)
    }

    /// The state that follows from the durable entries.
    pub fn state(&self) -> State {
        self.shown().state.clone()
    }

    /// Time of the newest entry that became durable since the start.
    pub fn last_at(&self) -> Option<WallMicros> {
        self.shown().last_at
    }

    /// The newest durable entry.
    pub fn last(&self) -> Seq {
        self.end.last()
    }

    /// A follower of the journal after entry `after`. Notices wake it, too.
    pub fn follow(&self, after: Seq) -> Follow {
        self.end.follow(after)
    }

    /// Folder that contains the journal.
    pub fn state_dir(&self) -> &Path {
        self.end.state_dir()
    }

    /// The answer to `status`.
    pub fn status(&self) -> Status {
        self.status_of(&self.shown())
    }

    fn status_of(&self, shown: &Shown) -> Status {
        let last = self.last();
        let behind = |sink: &SinkStatus| SinkStatus {
            behind: last.0.saturating_sub(sink.after),
            ..sink.clone()
        };
        let stalled_seconds = shown.health.stalled_seconds();
        Status {
            version: self.version.to_owned(),
            journal: self.journal.to_string(),
            first: self.first.0,
            journal_health: shown.health.name().to_owned(),
            unjudged_frames: None,
            stalled_seconds,
            page: shown.page.clone(),
            tablet: None,
            state: state_of(shown),
            troubles: shown.troubles.values().cloned().collect(),
            folders: shown.folders.values().cloned().collect(),
            signing_key: shown.state.key.clone(),
            key_trouble: shown.key_trouble.clone(),
            sinks: shown.sinks.iter().map(behind).collect(),
        }
    }

    /// The answer to `status` with the whole state, both of the same moment.
    pub fn status_and_state(&self) -> (Status, State) {
        let shown = self.shown();
        (self.status_of(&shown), shown.state.clone())
    }

    /// Hello and state of the same moment, and the place where a new client continues.
    pub(super) fn greeting(&self) -> Greeting {
        let shown = self.shown();
        let last = self.last();
        let hello = Hello::new(&self.journal.0, self.version, self.first.0, last.0);
        let mut lines = line(&hello);
        lines.extend(line(&state_of(&shown)));
        let unwell = u64::from(shown.health != Health::Ok);
        Greeting {
            lines,
            last,
            notices_seen: shown.notices_ever.saturating_sub(unwell),
        }
    }

    /// The state as a line of the feed, and the last entry that it includes. It is made once for all clients.
    pub(super) fn state_line(&self) -> StateLine {
        let mut shown = self.shown();
        let seconds = shown.health.stalled_seconds();
        if let Some((known, made)) = &shown.state_line
            && *known == seconds
        {
            return made.clone();
        }
        let made = StateLine {
            last: shown.state.last.unwrap_or(Seq(0)),
            line: line(&state_of(&shown)).into(),
        };
        shown.state_line = Some((seconds, made.clone()));
        made
    }

    /// Number of notices that were sent before a client that connects now. While the journal is failing the client gets
    /// that notice again.
    pub fn notices_seen(&self) -> u64 {
        let shown = self.shown();
        let unwell = u64::from(shown.health != Health::Ok);
        shown.notices_ever.saturating_sub(unwell)
    }

    /// Notices after the first `seen`, and their total number.
    pub fn notices_after(&self, seen: u64) -> (Vec<u8>, u64) {
        let shown = self.shown();
        let unseen = usize::try_from(shown.notices_ever.saturating_sub(seen)).unwrap_or(NOTICES);
        let skipped = shown.notices.len().saturating_sub(unseen);
        let lines: Vec<u8> = shown
            .notices
            .iter()
            .skip(skipped)
            .flat_map(|line| line.iter().copied())
            .collect();
        (lines, shown.notices_ever)
    }
}

fn state_of(shown: &Shown) -> StateMessage {
    let mut state = StateMessage::new(&shown.state, &shown.catalog);
    if let Some(seconds) = shown.health.stalled_seconds() {
        state.waits_for_disk(seconds);
    }
    state
}

#[cfg(test)]
mod tests {
    use super::*;

    fn live() -> Live {
        Live::new(
            "0.0.0",
            Path::new("nowhere"),
            (Seq(1), Seq(10)),
            JournalId("ab".to_owned()),
            State::default(),
            (Arc::default(), Arc::default()),
        )
    }

    #[test]
    fn a_client_that_connects_after_a_failure_gets_its_notice() {
        let live = live();
        live.say(&Notice::new("journal_resumed", "there is room again", None));
        assert_eq!(live.greeting().notices_seen, 1);
        let failed = Notice::new("journal_failed", "no", None);
        live.set_health(Health::Failed, &failed);
        let greeting = live.greeting();
        assert_eq!(
            live.notices_after(greeting.notices_seen),
            (line(&failed), 2)
        );
        assert_eq!(live.notices_after(2), (Vec::new(), 2));
    }
}
