//! The request `picture`: a line with the subject of the picture, followed by the bytes of the file.
//!
//! The bytes are sent instead of a path. The daemon runs as a user of its own: it may not be able to read the file of
//! the person who sends it, and it must not read other files for somebody who cannot.

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

/// The subject of a picture, before its bytes have arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PictureCall {
    /// The station's name; `None` where there is only one.
    pub station: Option<String>,
    /// The series; `None` for the open one, or the one closed shortly before.
    pub series: Option<Seq>,
    /// The piece; `None` for the one measured last.
    pub piece: Option<u32>,
    /// Name of the file.
    pub name: String,
    /// Number of bytes that follow the line.
    pub size: usize,
}

/// The picture as it was entered.
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
    /// The picture that entry `seq` entered; `None` if the state no longer has it.
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

/// The answer if a file is not accepted as a picture.
pub fn not_taken(name: &str, why: &NotAPicture) -> ErrorObject {
    let message = format!("{name} was not taken: {why}");
    ErrorObject::new(code::REFUSED, message, Some(why.remedy().to_owned()))
}

/// The answer to a request without the bytes of the picture.
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
