//! Takes one finished file of a folder, or enters why it was refused.

use super::Finished;
use super::watch::{is_all_there, read};
use crate::album::Entered;
use crate::clients::{Commander, ControlRequest, Intake, Live, NotEntered, ask};
use crate::config::PictureFolder;
use crate::entry::line::Digest;
use crate::entry::{Means, Refused};
use crate::message::picture::PictureCall;
use crate::message::reply::FolderTrouble;
use crate::message::{Call, ErrorObject};
use crate::pictures::{MOST_BYTES, NotAPicture, safe_name};
use crate::station::Command;
use std::io;
use std::sync::Arc;
use tokio::sync::mpsc::Sender;
use tokio::task::spawn_blocking;

/// The data for taking a file.
#[derive(Debug)]
pub(super) struct Taker {
    pub(super) folder: PictureFolder,
    pub(super) intake: Arc<Intake>,
    pub(super) live: Arc<Live>,
    pub(super) asked: Sender<ControlRequest>,
}

/// A file, and the result of taking it.
pub(super) struct Taken {
    pub(super) finished: Finished,
    pub(super) entered: Entered,
    pub(super) became: Became,
}

/// The result of taking a file.
pub(super) enum Became {
    /// It was entered.
    Entered,
    /// It is gone, was entered before, or is still being written.
    Nothing,
    /// It was refused, and the refusal was entered.
    Refused,
    /// Its end is missing, so it may still be written.
    CutOff(Refusal),
    /// It may be taken later.
    Held(FolderTrouble),
}

/// Why a file is not taken, and what to do.
#[derive(Debug)]
pub(super) struct Refusal {
    reason: String,
    remedy: Option<String>,
}

/// A file that was read from the folder, with the pictures that the journal has.
enum Read {
    New(Vec<u8>),
    Nothing,
    Failed(io::Error),
    /// The journal cannot be read.
    NotNow(String),
}

impl Taker {
    /// Takes the file in. `entered` is given back, with what was read of the journal.
    pub(super) async fn take(self: Arc<Self>, finished: Finished, entered: Entered) -> Taken {
        // The place is kept until the picture is entered, because the picture is held in memory.
        let place = self.intake.place().await;
        let taker = Arc::clone(&self);
        let meant = finished.clone();
        let reading = spawn_blocking(move || {
            let mut entered = entered;
            let read = taker.read(&meant, &mut entered);
            (read, entered)
        });
        // The daemon is stopping.
        let (read, entered) = reading.await.unwrap_or((Read::Nothing, Entered::default()));
        let became = match read {
            Read::Nothing => Became::Nothing,
            Read::NotNow(error) => Became::Held(self.trouble(
                format!("the journal cannot be searched for pictures: {error}"),
                "find out what is wrong with it: tallyjaw verify",
            )),
            Read::Failed(error) => {
                let refusal = Refusal {
                    reason: error.to_string(),
                    remedy: Some(
                        "put the picture itself there, readable for the daemon's user".to_owned(),
                    ),
                };
                self.refuse(&finished, refusal).await;
                Became::Refused
            }
            Read::New(bytes) => self.enter(&finished, bytes).await,
        };
        drop(place);
        Taken {
            finished,
            entered,
            became,
        }
    }

    fn read(&self, finished: &Finished, entered: &mut Entered) -> Read {
        let path = self.folder.folder.join(&finished.name);
        if finished.only_made && !is_all_there(&path) {
            return Read::Nothing;
        }
        let bytes = match read(&path) {
            Ok(bytes) => bytes,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Read::Nothing,
            Err(error) => return Read::Failed(error),
        };
        let digest = Digest::of(&bytes);
        if !self.intake.album().has(digest) {
            return Read::New(bytes);
        }
        match entered.has(digest, self.live.state_dir(), self.live.last()) {
            Ok(true) => Read::Nothing,
            Ok(false) => Read::New(bytes),
            Err(error) => Read::NotNow(error.to_string()),
        }
    }

    async fn enter(&self, finished: &Finished, bytes: Vec<u8>) -> Became {
        let (series, piece) = finished.of.unzip();
        let call = PictureCall {
            station: Some(self.folder.station.clone()),
            series,
            piece: piece.flatten(),
            name: finished.name.to_string_lossy().into_owned(),
            size: bytes.len(),
        };
        let refusal = if bytes.len() > MOST_BYTES {
            Refusal::of(&NotAPicture::TooLarge)
        } else {
            match self
                .intake
                .take(call, bytes, Commander::Machine, Means::Folder)
                .await
            {
                Ok(_) => {
                    let file = finished.shown();
                    let station = &self.folder.station;
                    tracing::info!(station, file, "a picture of the folder was entered");
                    return Became::Entered;
                }
                Err(NotEntered::NoPicture { why, .. }) => {
                    let refusal = Refusal::of(&why);
                    if matches!(why, NotAPicture::Empty | NotAPicture::Truncated { .. }) {
                        return Became::CutOff(refusal);
                    }
                    refusal
                }
                Err(NotEntered::Refused(ErrorObject { message, data, .. })) => Refusal {
                    reason: message,
                    remedy: data.remedy,
                },
                Err(NotEntered::NotNow(ErrorObject { message, data, .. })) => {
                    let remedy = data.remedy.as_deref().unwrap_or("it is tried again");
                    return Became::Held(self.trouble(message, remedy));
                }
            }
        };
        self.refuse(finished, refusal).await;
        Became::Refused
    }

    /// Enters that a file was refused.
    pub(super) async fn refuse(&self, finished: &Finished, refusal: Refusal) {
        let Refusal { reason, remedy } = refusal;
        let file = finished.shown();
        tracing::warn!(
            station = self.folder.station,
            file,
            help = remedy,
            "a file in the folder of pictures was refused: {reason}"
        );
        let refused = Refused {
            station: self.folder.station.clone(),
            instrument: Refused::FOLDER.to_owned(),
            said: file,
            reason,
            remedy,
        };
        let command = Command::PictureRefused(refused);
        // If it cannot be entered, it is in the log.
        let _ = ask(Call::Station(command), Commander::Machine, &self.asked).await;
    }

    /// The problem if the folder cannot be watched.
    pub(super) fn not_watched(&self, error: &io::Error) -> FolderTrouble {
        let folder = self.folder.folder.display();
        self.trouble(
            format!("the folder of pictures {folder} cannot be watched: {error}"),
            "make the folder, readable for the daemon's user; it is tried again",
        )
    }

    fn trouble(&self, message: String, remedy: &str) -> FolderTrouble {
        FolderTrouble {
            station: self.folder.station.clone(),
            message,
            remedy: remedy.to_owned(),
        }
    }
}

impl Refusal {
    fn of(why: &NotAPicture) -> Self {
        Self {
            reason: why.to_string(),
            remedy: Some(why.remedy().to_owned()),
        }
    }
}

impl Finished {
    /// The name of the file for people.
    fn shown(&self) -> String {
        safe_name(&self.name.to_string_lossy())
    }
}
