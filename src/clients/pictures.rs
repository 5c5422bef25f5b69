//! Takes pictures in: from the control socket, the page and a station's folder.
//!
//! In: the bytes of a file and its subject. Out: the answer, once the entry is durable.
//!
//! - A picture is checked, stored and synced outside the main loop, which gets only the finished command. So a large
//!   picture delays no verdict.
//! - One picture is decoded at a time, which bounds memory. A few more may be in transfer.
//! - A file whose picture is not entered is removed again, unless it existed before.

use super::{Commander, ControlRequest, Live, ask};
use crate::album::{Album, Found, Stored, find, forget};
use crate::durable::Failed;
use crate::entry::{Means, PictureFile, Seq};
use crate::journal::JournalError;
use crate::message::picture::{PictureCall, PictureMessage, not_taken};
use crate::message::reply::Outcome;
use crate::message::{ErrorObject, code};
use crate::pictures::{Checked, NotAPicture, check, safe_name};
use std::sync::Arc;
use tokio::sync::mpsc::Sender;
use tokio::sync::{Mutex, Semaphore, SemaphorePermit};
use tokio::task::spawn_blocking;

/// Maximum number of pictures that are received at once; each is held in memory.
const MOST_AT_ONCE: usize = 4;

/// Why a picture was not entered.
#[derive(Debug)]
pub(crate) enum NotEntered {
    /// The file is not a picture in an accepted form.
    NoPicture {
        /// Name of the file, made safe.
        name: String,
        /// What is wrong with it.
        why: NotAPicture,
    },
    /// The station refuses it.
    Refused(ErrorObject),
    /// It may be accepted later: the disk is full, or the daemon stops.
    NotNow(ErrorObject),
}

impl NotEntered {
    /// The answer to the sender.
    pub(crate) fn answer(self) -> ErrorObject {
        match self {
            Self::NoPicture { name, why } => not_taken(&name, &why),
            Self::Refused(error) | Self::NotNow(error) => error,
        }
    }
}

/// Takes pictures in.
#[derive(Debug)]
pub(crate) struct Intake {
    album: Album,
    live: Arc<Live>,
    asked: Sender<ControlRequest>,
    places: Semaphore,
    one: Mutex<()>,
}

impl Intake {
    /// The intake of the daemon that publishes through `live` and takes commands from `asked`.
    pub(crate) fn new(live: Arc<Live>, asked: Sender<ControlRequest>) -> Arc<Self> {
        Arc::new(Self {
            album: Album::new(live.state_dir()),
            live,
            asked,
            places: Semaphore::new(MOST_AT_ONCE),
            one: Mutex::new(()),
        })
    }

    /// The pictures on disk.
    pub(crate) const fn album(&self) -> &Album {
        &self.album
    }

    /// Waits until another picture may be received. The place becomes free when the permit is dropped.
    pub(crate) async fn place(&self) -> Option<SemaphorePermit<'_>> {
        self.places.acquire().await.ok()
    }

    /// Checks, stores and enters a picture, even if its sender disconnects.
    pub(crate) async fn take(
        self: &Arc<Self>,
        call: PictureCall,
        bytes: Vec<u8>,
        from: Commander,
        by: Means,
    ) -> Result<Outcome, NotEntered> {
        let intake = Arc::clone(self);
        let taking = tokio::spawn(async move { intake.enter(call, bytes, from, by).await });
        taking.await.unwrap_or_else(|_| Err(stopping()))
    }

    async fn enter(
        &self,
        mut call: PictureCall,
        bytes: Vec<u8>,
        from: Commander,
        by: Means,
    ) -> Result<Outcome, NotEntered> {
        let _one = self.one.lock().await;
        call.name = safe_name(&call.name);
        self.look_up(&mut call).await?;
        let (album, name) = (self.album.clone(), call.name.clone());
        let storing = spawn_blocking(move || {
            let checked = match check(&name, &bytes) {
                Ok(checked) => checked,
                Err(why) => return Err(NotEntered::NoPicture { name, why }),
            };
            let stored = album.store(&bytes, &checked);
            let stored = stored.map_err(|failed| NotEntered::NotNow(not_stored(&name, &failed)))?;
            Ok((file_of(name, bytes.len(), &checked, &stored), stored))
        });
        let (file, stored) = storing.await.unwrap_or_else(|_| Err(stopping()))?;
        let entered = ask(call.command(file, by), from, &self.asked).await;
        match entered {
            Ok(Outcome::Done(done)) => {
                let message = PictureMessage::of(&self.live.state(), done.seq, &stored.picture);
                let message = message.unwrap_or(PictureMessage {
                    seq: done.seq,
                    picture: stored.picture.to_string(),
                    series: call.series.map(|series| series.0),
                    piece: call.piece,
                });
                Ok(Outcome::Pictured(message))
            }
            // After any other error the entry may still become durable, so the file stays.
            Err(error) if error.code == code::REFUSED => {
                drop(spawn_blocking(move || forget(&stored)).await);
                Err(NotEntered::Refused(error))
            }
            other => other.map_err(NotEntered::NotNow),
        }
    }

    /// Looks up a closed series and its piece in the journal, because the core no longer has them.
    async fn look_up(&self, call: &mut PictureCall) -> Result<(), NotEntered> {
        let state = self.live.state();
        let is_open = |wanted: Option<Seq>| {
            let mut open = state
                .stations
                .values()
                .filter_map(|known| known.series.as_ref());
            open.any(|open| Some(open.id) == wanted)
        };
        if call.series.is_none() && call.piece.is_some() {
            let known = match &call.station {
                Some(name) => state.stations.get(name),
                None if state.stations.len() == 1 => state.stations.values().next(),
                None => None,
            };
            let closed = known.filter(|known| known.series.is_none());
            call.series = closed.and_then(|known| Some(known.last_outcome.as_ref()?.0));
        }
        let Some(wanted) = call.series.filter(|series| !is_open(Some(*series))) else {
            return Ok(());
        };
        let (live, last) = (Arc::clone(&self.live), self.live.last());
        let finding = spawn_blocking(move || find(live.state_dir(), wanted, last));
        let found = finding.await.map_err(|_| stopping())?;
        let Found { station, pieces } =
            found.map_err(|error| unreadable(&error))?.ok_or_else(|| {
                NotEntered::Refused(ErrorObject::new(
                    code::REFUSED,
                    format!("no series {wanted} in this journal"),
                    Some("list them: tallyjaw series".to_owned()),
                ))
            })?;
        if let Some(piece) = call.piece.filter(|piece| !pieces.contains(piece)) {
            let known: Vec<String> = pieces.iter().map(ToString::to_string).collect();
            let known = match known.as_slice() {
                [] => "it has no reading".to_owned(),
                some => format!("want one of {}", some.join(", ")),
            };
            return Err(NotEntered::Refused(ErrorObject::new(
                code::REFUSED,
                format!("piece {piece} of series {wanted} was not measured, {known}"),
                Some(
                    "name a piece that was measured, or none for the series as a whole".to_owned(),
                ),
            )));
        }
        call.station = Some(station);
        Ok(())
    }
}

fn file_of(file_name: String, size: usize, checked: &Checked, stored: &Stored) -> PictureFile {
    PictureFile {
        picture: stored.picture,
        format: checked.format,
        size_bytes: u64::try_from(size).unwrap_or(u64::MAX),
        width_px: checked.width,
        height_px: checked.height,
        shown: stored.shown,
        file_name,
    }
}

fn not_stored(name: &str, failed: &Failed) -> ErrorObject {
    let full = failed.cause.kind() == std::io::ErrorKind::StorageFull;
    let remedy = if full {
        "make room on the disk of the state folder, then give the picture again"
    } else {
        "check the state folder and its disk, then give the picture again"
    };
    ErrorObject::new(
        code::REFUSED,
        format!("{name} was not stored, and nothing was entered: {failed}"),
        Some(remedy.to_owned()),
    )
}

fn unreadable(error: &JournalError) -> NotEntered {
    NotEntered::NotNow(ErrorObject::new(
        code::REFUSED,
        format!("the journal cannot be searched for the series: {error}"),
        Some("find out what is wrong with it: tallyjaw verify".to_owned()),
    ))
}

fn stopping() -> NotEntered {
    NotEntered::NotNow(ErrorObject::new(
        code::BUSY,
        "the daemon is stopping, and the picture may not be entered",
        Some("once it runs again, look: tallyjaw series".to_owned()),
    ))
}
