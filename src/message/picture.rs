//! The request `picture`: a line with what the picture is of, and behind the line's end the bytes of the file.
//!
//! The bytes are sent, and no path: the daemon runs as a user of its own, which may not be able to read the file of the
//! person who gives it, and which must not read any other file for somebody who cannot.

use super::reply::{ErrorObject, code};
use super::request::{Call, read};
use crate::entry::line::Digest;
use crate::entry::state::State;
use crate::entry::{Means, PictureFile, Seq};
use crate::pictures::{MOST_BYTES, NotAPicture};
use crate::station::{Command, Picture};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PictureForm {
    station: Option<String>,
    series: Option<u64>,
    piece: Option<u32>,
    name: String,
    size: u64,
}

/// What a picture is of, before its bytes are there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PictureCall {
    /// Its name in the configuration; none where there is one station.
    pub station: Option<String>,
    /// The series it is of; none for the one that is open or was closed shortly before.
    pub series: Option<Seq>,
    /// The piece it is of; none for the one measured last.
    pub piece: Option<u32>,
    /// Name of the file.
    pub name: String,
    /// Number of bytes that follow the line.
    pub size: usize,
}

/// What a picture was entered as.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PictureMessage {
    /// Number of its entry.
    pub seq: u64,
    /// SHA-256 of the picture's bytes, hex.
    pub picture: String,
    /// `seq` of the entry `armed` of its series.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub series: Option<u64>,
    /// The piece; left out where it is of the series as a whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<u32>,
}

impl PictureCall {
    /// The command that enters the stored picture.
    pub fn command(&self, file: PictureFile, by: Means) -> Call {
        Call::Station(Command::Picture(Picture {
            station: self.station.clone(),
            series: self.series,
            piece: self.piece,
            file,
            by,
        }))
    }
}

impl PictureMessage {
    /// The picture that entry `seq` entered, as the state has it; `None` where the state has it no more.
    pub fn of(state: &State, seq: u64, picture: &Digest) -> Option<Self> {
        state.stations.values().find_map(|station| {
            let open = station.series.iter();
            let open = open.flat_map(|open| open.pictures.iter().map(move |kept| (open.id, kept)));
            let last = station.last_outcome.iter();
            let last = last.flat_map(|(id, ..)| {
                let pictures = station.last_pictures.iter();
                pictures.map(move |kept| (*id, kept))
            });
            let (series, kept) = open.chain(last).find(|(_, kept)| kept.seq.0 == seq)?;
            Some(Self {
                seq,
                picture: picture.to_string(),
                series: Some(series.0),
                piece: kept.piece,
            })
        })
    }
}

/// The answer where a file is not taken as a picture.
pub fn not_taken(name: &str, why: &NotAPicture) -> ErrorObject {
    let message = format!("{name} was not taken: {why}");
    ErrorObject::new(code::REFUSED, message, Some(why.remedy().to_owned()))
}

/// The answer where a picture's bytes are missing beside what it is of.
pub fn no_bytes() -> ErrorObject {
    ErrorObject::new(
        code::INVALID_REQUEST,
        "a picture without its bytes, want them behind the line",
        Some(
            "send them to the control socket behind the request, or POST them to /picture"
                .to_owned(),
        ),
    )
}

pub(super) fn call(params: Option<Value>) -> Result<Call, ErrorObject> {
    let PictureForm {
        station,
        series,
        piece,
        name,
        size,
    } = read(params)?;
    let size = usize::try_from(size)
        .ok()
        .filter(|size| *size <= MOST_BYTES);
    let size =
        size.ok_or_else(|| not_taken(&crate::pictures::safe_name(&name), &NotAPicture::TooLarge))?;
    Ok(Call::Picture(PictureCall {
        station,
        series: series.map(Seq),
        piece,
        name,
        size,
    }))
}
