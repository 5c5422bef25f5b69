//! The pictures of a series: microscope, cross-section, the harness.
//!
//! - The picture itself is in a file of its own, whose name is the digest in the entry.
//! - A picture belongs to a piece that was measured, or to the series as a whole.
//! - It may come after the outcome: a cross-section takes an hour to make. It changes no verdict and no outcome.

use super::line::Digest;
use super::state::{SeriesState, State, StationState};
use super::{Means, Seq};
use crate::pictures::PictureFormat;
use crate::quantity::WallMicros;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Maximum number of pictures of a series that the state keeps; an open series takes no more.
pub const MOST_PICTURES: usize = 100;

/// A picture was taken in. Its file is durable.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Pictured {
    /// Name of the station in the configuration.
    pub station: String,
    /// `seq` of the entry `armed` that opened the series.
    pub series: Seq,
    /// The piece, from 1; left out if the picture is of the series as a whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<u32>,
    /// SHA-256 of the picture's bytes, hex; the name of its file.
    pub picture: Digest,
    /// Format of the picture, and ending of its file.
    pub picture_format: PictureFormat,
    /// Size of the picture in bytes.
    pub size_bytes: u64,
    /// Pixels from left to right, as stored.
    pub width_px: u32,
    /// Pixels from top to bottom, as stored.
    pub height_px: u32,
    /// SHA-256 of the small copy that reports and pages show, hex.
    pub shown: Digest,
    /// Name of the file as it was given, without characters that could mislead a reader.
    pub file_name: String,
    /// How the picture came: `command` for the command line or the page, `folder` for the folder that the station
    /// watches.
    pub by: Means,
}

/// A picture that is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PictureFile {
    /// SHA-256 of its bytes.
    pub picture: Digest,
    /// Its format.
    pub format: PictureFormat,
    /// Its size.
    pub size_bytes: u64,
    /// Pixels from left to right, as stored.
    pub width_px: u32,
    /// Pixels from top to bottom, as stored.
    pub height_px: u32,
    /// SHA-256 of the small copy.
    pub shown: Digest,
    /// Name of the file as it was given, made safe.
    pub file_name: String,
}

/// A picture as the state keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PictureKept {
    /// Number of its entry.
    pub seq: Seq,
    /// The piece, from 1; left out if the picture is of the series as a whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub piece: Option<u32>,
    /// SHA-256 of the small copy that reports and pages show, hex.
    pub shown: Digest,
}

impl Pictured {
    /// Name of the picture's file.
    pub fn stored_as(&self) -> String {
        format!("{}.{}", self.picture, self.picture_format.name())
    }

    /// The picture as a line.
    pub(super) fn words(&self) -> String {
        let Self {
            file_name,
            width_px,
            height_px,
            picture,
            ..
        } = self;
        let of = match self.piece {
            Some(piece) => format!("piece {piece} of series {}", self.series),
            None => format!("series {}", self.series),
        };
        format!("picture {file_name} of {of}: {width_px} × {height_px} pixels, SHA-256 {picture}")
    }
}

impl State {
    pub(super) fn pictured(&mut self, seq: Seq, pictured: &Pictured) {
        let kept = PictureKept {
            seq,
            piece: pictured.piece,
            shown: pictured.shown,
        };
        let station = self.station(&pictured.station);
        if let Some(stopped) = &mut station.stopped
            && stopped.series.id == pictured.series
        {
            keep(&mut stopped.series.pictures, kept.clone());
        }
        let last = station.last_outcome.as_ref().map(|(series, ..)| *series);
        match &mut station.series {
            Some(series) if series.id == pictured.series => keep(&mut series.pictures, kept),
            Some(_) | None if last == Some(pictured.series) => {
                keep(&mut station.last_pictures, kept);
            }
            Some(_) | None => {}
        }
    }
}

fn keep(pictures: &mut Vec<PictureKept>, kept: PictureKept) {
    pictures.push(kept);
    let surplus = pictures.len().saturating_sub(MOST_PICTURES);
    pictures.drain(..surplus);
}

impl StationState {
    /// The series and the piece of a picture taken at `at` if none is named: the piece measured last, in the series
    /// that a note would belong to.
    pub fn pictured_at(&self, at: WallMicros) -> Option<(Seq, Option<u32>)> {
        let series = self.noted_at(at)?;
        if let Some(open) = &self.series {
            return Some((series, open.readings.last().map(|reading| reading.piece)));
        }
        let slot = self.last_reading.as_ref();
        let slot = slot.and_then(|(_, reading)| reading.slot.as_ref());
        let slot = slot.filter(|slot| slot.series == series);
        Some((series, slot.map(|slot| slot.piece)))
    }
}

impl SeriesState {
    /// Whether this piece was measured, so that a picture can be of it.
    pub fn has_measured(&self, piece: u32) -> bool {
        let mut readings = self.readings.iter();
        self.spent.contains(&piece) || readings.any(|reading| reading.piece == piece)
    }
}
