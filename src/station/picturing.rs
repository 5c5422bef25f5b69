//! Decides which series and piece a picture belongs to.
//!
//! - Without a named series or piece it belongs to the piece measured last, in the series that is open or was closed
//!   within ten minutes.
//! - The piece must have been measured. The core knows the pieces of open series. For a closed series the daemon looks
//!   into the journal before it gives the command.

use super::{Core, Picture, Refusal};
use crate::entry::state::SeriesState;
use crate::entry::{MOST_PICTURES, PictureFile, Pictured, Seq};
use crate::quantity::Now;

impl Core {
    /// Enters a picture whose file is durable.
    pub(super) fn picture(&mut self, now: Now, picture: Picture) -> Result<Seq, Refusal> {
        let Picture {
            station,
            series,
            piece,
            file,
            by,
        } = picture;
        let (station, series, piece) = match series {
            Some(series) => self.picture_of_named(station, series, piece)?,
            None => self.picture_of_last(now, station, piece)?,
        };
        let PictureFile {
            picture,
            format,
            size_bytes,
            width_px,
            height_px,
            shown,
            file_name,
        } = file;
        let pictured = Pictured {
            station,
            series,
            piece,
            picture,
            picture_format: format,
            size_bytes,
            width_px,
            height_px,
            shown,
            file_name,
            by,
        };
        Ok(self.append(now, pictured))
    }

    /// The station, series and piece of a picture whose series is named, open or closed.
    fn picture_of_named(
        &self,
        station: Option<String>,
        series: Seq,
        piece: Option<u32>,
    ) -> Result<(String, Seq, Option<u32>), Refusal> {
        let open = self.state.stations.iter().find_map(|(name, known)| {
            let open = known.series.as_ref().filter(|open| open.id == series)?;
            Some((name, open))
        });
        if let Some((name, open)) = open {
            takes_picture(open, piece)?;
            return Ok((name.clone(), series, piece));
        }
        if self.state.last.is_none_or(|last| series > last) {
            return Err(Refusal::NoSeries { got: series });
        }
        Ok((self.station_named(station)?, series, piece))
    }

    /// The same for the series that is open or was closed within ten minutes.
    fn picture_of_last(
        &self,
        now: Now,
        station: Option<String>,
        piece: Option<u32>,
    ) -> Result<(String, Seq, Option<u32>), Refusal> {
        let station = self.station_named(station)?;
        let known = self.state.stations.get(&station);
        let Some((series, last)) = known.and_then(|known| known.pictured_at(now.wall)) else {
            return Err(Refusal::NothingToPicture { station });
        };
        let meant = piece.or(last);
        match known.and_then(|known| known.series.as_ref()) {
            Some(open) => takes_picture(open, meant)?,
            None if meant == last => {}
            None => {
                let piece = meant.unwrap_or_default();
                return Err(Refusal::NotMeasured { piece, series });
            }
        }
        Ok((station, series, meant))
    }
}

/// Whether a picture of this piece may be entered in an open series.
fn takes_picture(open: &SeriesState, piece: Option<u32>) -> Result<(), Refusal> {
    let series = open.id;
    match piece {
        Some(piece) if !open.has_measured(piece) => Err(Refusal::NotMeasured { piece, series }),
        Some(_) | None if open.pictures.len() >= MOST_PICTURES => {
            Err(Refusal::TooManyPictures { series })
        }
        Some(_) | None => Ok(()),
    }
}
