//! The folder of a station in which a camera's program leaves pictures.
//!
//! In: the folder. Out: each finished picture in it is entered once, for the piece that was measured last when the
//! picture was finished. A file that is not taken is entered as refused, once, with the reason.
//!
//! - A file is finished when its writer closes it, when it is renamed into the folder, or when it is linked there. The
//!   system reports this.
//! - After a time without watching (before the start, or while the folder was missing), only files count that are newer
//!   than the last reading, because the piece in an older one is unknown. A file that was entered or refused already is
//!   not taken again.
//! - Some programs close a file and go on writing. A picture whose end is missing is refused only after a while.
//! - Only regular files of the folder itself are opened; no link, pipe or device is followed or waited for. Nothing in
//!   the folder is changed.

mod take;
mod watch;

use crate::album::{Before, Entered, before};
use crate::clients::{ControlRequest, Intake, Live};
use crate::clock;
use crate::config::PictureFolder;
use crate::entry::Seq;
use crate::message::reply::FolderTrouble;
use crate::pictures::{is_named_as_picture, safe_name};
use crate::quantity::WallMicros;
use std::collections::VecDeque;
use std::ffi::OsString;
use std::io;
use std::sync::Arc;
use std::time::Duration;
use take::{Became, Taken, Taker};
use tokio::sync::mpsc::Sender;
use tokio::task::{JoinHandle, spawn_blocking};
use tokio::time::MissedTickBehavior;
use watch::{Events, Seen, identity, is_hidden, listed};

/// Interval at which the path is checked, because it may come to name another folder. A picture whose end is missing is
/// refused if nobody wrote it for twice this time.
const LOOK_AGAIN: Duration = Duration::from_secs(2);

/// Some file systems keep the times of files in steps of two seconds.
const FILE_TIME_STEP_MICROS: i64 = 2_000_000;

/// A file that is finished.
#[derive(Debug, Clone)]
struct Finished {
    name: OsString,
    /// The series and the piece that a picture belonged to at that time.
    of: Option<(Seq, Option<u32>)>,
    /// Whether its name was only created: it may be a link, or a file that is still written.
    only_made: bool,
}

/// The folders of all stations.
#[derive(Debug)]
pub(super) struct Folders {
    intake: Arc<Intake>,
    live: Arc<Live>,
    asked: Sender<ControlRequest>,
    watched: Vec<(PictureFolder, JoinHandle<()>)>,
}

impl Folders {
    /// Without any folder yet.
    pub(super) fn new(
        intake: &Arc<Intake>,
        live: &Arc<Live>,
        asked: &Sender<ControlRequest>,
    ) -> Self {
        Self {
            intake: Arc::clone(intake),
            live: Arc::clone(live),
            asked: asked.clone(),
            watched: Vec::new(),
        }
    }

    /// Watches these folders and no others. One that is watched already stays so.
    pub(super) fn watch(&mut self, wanted: &[PictureFolder]) {
        self.watched.retain(|(folder, task)| {
            let stays = wanted.contains(folder);
            if !stays {
                // A picture that is being entered is still completed.
                task.abort();
                self.live.set_folder(&folder.station, None);
            }
            stays
        });
        for folder in wanted {
            if self.watched.iter().any(|(known, _)| known == folder) {
                continue;
            }
            let taker = Arc::new(Taker {
                folder: folder.clone(),
                intake: Arc::clone(&self.intake),
                live: Arc::clone(&self.live),
                asked: self.asked.clone(),
            });
            let task = tokio::spawn(Watched::of(taker).follow());
            self.watched.push((folder.clone(), task));
        }
    }
}

/// A folder that is watched.
struct Watched {
    taker: Arc<Taker>,
    /// `None` while the folder is missing.
    events: Option<Events>,
    /// The pictures that the journal has; lent to the task that takes a file.
    entered: Option<Entered>,
    waiting: VecDeque<Finished>,
    taking: Option<JoinHandle<Taken>>,
    /// Pictures whose end is missing, and the number of checks since anybody wrote them.
    cut_off: Vec<(Finished, u32, take::Refusal)>,
    /// Pictures for which there was no room.
    held: Vec<Finished>,
    /// The problem that was reported last.
    trouble: Option<FolderTrouble>,
}

impl Watched {
    fn of(taker: Arc<Taker>) -> Self {
        Self {
            taker,
            events: None,
            entered: Some(Entered::default()),
            waiting: VecDeque::new(),
            taking: None,
            cut_off: Vec::new(),
            held: Vec::new(),
            trouble: None,
        }
    }

    async fn follow(mut self) {
        let mut looks = tokio::time::interval(LOOK_AGAIN);
        looks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            self.take_next();
            // While a file is taken, events are still read, because they show what was measured last at their time.
            tokio::select! {
                seen = events(self.events.as_ref()) => match seen {
                    Seen::Files(files) => {
                        for (name, only_made) in files {
                            self.finished(name, only_made);
                        }
                    }
                    Seen::LookAgain => self.begin().await,
                },
                taken = taken(&mut self.taking) => self.taken(taken),
                _ = looks.tick() => self.look().await,
            }
        }
    }

    /// Another file is finished.
    fn finished(&mut self, name: OsString, only_made: bool) {
        if is_hidden(&name) || !is_named_as_picture(&name.to_string_lossy()) {
            return;
        }
        let station = &self.taker.folder.station;
        let now = clock::wall();
        let of = self
            .taker
            .live
            .of_station(station, |known| known.pictured_at(now));
        self.cut_off.retain(|(known, ..)| known.name != name);
        self.waiting.retain(|known| known.name != name);
        self.waiting.push_back(Finished {
            name,
            of: of.flatten(),
            only_made,
        });
    }

    /// Begins with the next file, if none is being taken.
    fn take_next(&mut self) {
        if self.taking.is_some() {
            return;
        }
        let Some(finished) = self.waiting.pop_front() else {
            return;
        };
        let entered = self.entered.take().unwrap_or_default();
        let taker = Arc::clone(&self.taker);
        self.taking = Some(tokio::spawn(taker.take(finished, entered)));
    }

    fn taken(&mut self, taken: Option<Taken>) {
        self.taking = None;
        let Some(Taken {
            finished,
            entered,
            became,
        }) = taken
        else {
            return;
        };
        self.entered = Some(entered);
        match became {
            Became::Entered | Became::Nothing => {}
            Became::Refused => return,
            Became::CutOff(refusal) => {
                // It was written again meanwhile, so it is looked at again.
                if self.waiting.iter().all(|known| known.name != finished.name) {
                    self.cut_off.push((finished, 0, refusal));
                }
                return;
            }
            Became::Held(trouble) => {
                self.held.push(finished);
                self.say(Some(trouble));
                return;
            }
        }
        if self.held.is_empty() && self.events.is_some() {
            self.say(None);
        }
    }

    /// Does what is due every few seconds.
    async fn look(&mut self) {
        let folder = self.taker.folder.folder.clone();
        let now = spawn_blocking(move || identity(&folder).ok()).await;
        let now = now.ok().flatten();
        if self.events.as_ref().is_none_or(|events| !events.is_of(now)) {
            self.begin().await;
        }
        for (_, looks, _) in &mut self.cut_off {
            *looks += 1;
        }
        for (finished, _, refusal) in self.cut_off.extract_if(.., |(_, looks, _)| *looks > 1) {
            let taker = Arc::clone(&self.taker);
            tokio::spawn(async move { taker.refuse(&finished, refusal).await });
        }
        self.waiting.extend(self.held.drain(..));
    }

    /// Begins to watch, and takes the files that appeared unwatched.
    async fn begin(&mut self) {
        let folder = self.taker.folder.folder.clone();
        let begun = spawn_blocking(move || Events::begin(&folder)).await;
        self.events = match begun.unwrap_or_else(|_| Err(io::ErrorKind::Interrupted.into())) {
            Ok(events) => Some(events),
            Err(error) => {
                let trouble = self.taker.not_watched(&error);
                self.say(Some(trouble));
                None
            }
        };
        if self.events.is_none() {
            return;
        }
        // Watching begins before the files are listed, so that none is missed.
        match self.unseen().await {
            Ok(names) => {
                for name in names {
                    self.finished(name, false);
                }
                if self.held.is_empty() {
                    self.say(None);
                }
            }
            Err(error) => {
                let trouble = self.taker.not_watched(&error);
                self.say(Some(trouble));
                self.events = None;
            }
        }
    }

    /// The names of files that are newer than what was measured last and were not refused, the oldest first.
    async fn unseen(&self) -> io::Result<Vec<OsString>> {
        let PictureFolder { station, folder } = self.taker.folder.clone();
        let (live, last) = (Arc::clone(&self.taker.live), self.taker.live.last());
        let known = live.of_station(&station, |known| {
            let open = known.series.as_ref().map(|open| open.since);
            (open, known.last_reading.as_ref().map(|(seq, _)| *seq))
        });
        let (open, reading) = known.unwrap_or_default();
        let looking = spawn_blocking(move || {
            let Before { at, refused } = match reading {
                Some(reading) => {
                    before(live.state_dir(), &station, reading, last).map_err(io::Error::other)?
                }
                None => Before::default(),
            };
            // Nothing was measured, so there is no piece that a picture could belong to.
            let Some(since) = at.max(open) else {
                return Ok(Vec::new());
            };
            let since = WallMicros(since.0.saturating_sub(FILE_TIME_STEP_MICROS));
            let (mut files, older) = listed(&folder, since)?;
            if older > 0 {
                tracing::info!(
                    station,
                    older,
                    "files in the folder of pictures that are older than the last reading are left as they are"
                );
            }
            files.retain(|(changed, name)| {
                let name = safe_name(&name.to_string_lossy());
                refused.get(&name).is_none_or(|at| at < changed)
            });
            Ok(files.into_iter().map(|(_, name)| name).collect())
        });
        looking
            .await
            .unwrap_or_else(|_| Err(io::ErrorKind::Interrupted.into()))
    }

    /// Reports a problem of the folder; `None` once there is none.
    fn say(&mut self, trouble: Option<FolderTrouble>) {
        if trouble == self.trouble {
            return;
        }
        if let Some(FolderTrouble {
            station,
            message,
            remedy,
        }) = &trouble
        {
            tracing::warn!(station, help = remedy, "{message}");
        }
        self.taker
            .live
            .set_folder(&self.taker.folder.station, trouble.as_ref());
        self.trouble = trouble;
    }
}

async fn events(events: Option<&Events>) -> Seen {
    match events {
        Some(events) => events.next().await,
        None => std::future::pending().await,
    }
}

/// The result for the file that is being taken; `None` if the daemon is stopping.
async fn taken(taking: &mut Option<JoinHandle<Taken>>) -> Option<Taken> {
    match taking {
        Some(taking) => taking.await.ok(),
        None => std::future::pending().await,
    }
}
