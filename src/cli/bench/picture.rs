//! `tallyjaw picture`: exit 0 once all are durable, 2 if one is refused, 3 without a daemon, 4 if a file cannot be read.

use super::{Context, Exit, Failure, client};
use crate::entry::words::safe;
use crate::message::picture::{PictureMessage, not_taken};
use crate::pictures::{MOST_BYTES, NotAPicture, safe_name};
use rustix::fs::{Mode, OFlags};
use serde_json::Value;
use std::fs::File;
use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};

/// Enter pictures: microscope, cross-section, the harness
///
/// A picture is stored unchanged, and its digest is entered: `verify` finds if it is changed or missing. Without
/// options it belongs to the piece measured last, in the series that is open or was closed within ten minutes. JPEG or
/// PNG, at most 20 MiB and 50 million pixels. It changes no verdict.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw picture cut.jpg                           of the piece measured last\n  tallyjaw picture cut-3.jpg --piece 3               of piece 3\n  tallyjaw picture cut-3.png --series 37 --piece 3   of a series that was closed before\n  tallyjaw picture harness.jpg --series 37           of series 37 as a whole\n\nExit codes: 0 entered; 2 refused; 3 no daemon answers; 4 a file cannot be read. It stops at the first that fails."
)]
pub(in crate::cli) struct Picture {
    /// The files
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The piece in the pictures
    #[arg(long, value_name = "NUMBER")]
    piece: Option<u32>,
    /// The series of that piece
    #[arg(long, value_name = "SERIES")]
    series: Option<u64>,
    /// The station; needed only where there are several
    #[arg(long)]
    station: Option<String>,
}

impl Picture {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        for path in &self.files {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            let bytes = read(path, &name)?;
            let params = client::params([
                ("station", self.station.clone().map(Into::into)),
                ("series", self.series.map(Into::into)),
                ("piece", self.piece.map(Into::into)),
                ("name", Some(Value::from(name.as_ref()))),
                ("size", Some(bytes.len().into())),
            ]);
            let answer = client::call_with(context, "picture", &params, &bytes)?;
            if context.json {
                writeln!(out, "{}", answer.get())?;
                continue;
            }
            let PictureMessage {
                seq, series, piece, ..
            } = client::read(&answer)?;
            let of = match (piece, series) {
                (Some(piece), Some(series)) => format!(" as of piece {piece} of series {series}"),
                (None, Some(series)) => format!(" as of series {series}"),
                (_, None) => String::new(),
            };
            writeln!(out, "{} entered{of} (entry {seq})", safe(&safe_name(&name)))?;
        }
        Ok(Exit::Yes)
    }
}

/// The bytes of a regular file, at most as many as a picture may have. Reading never waits.
fn read(path: &Path, name: &str) -> Result<Vec<u8>, Failure> {
    let shown = path.display();
    let failed = |error: std::io::Error| {
        Failure::io(format!("cannot read {shown}"))
            .because(&error)
            .with_remedy("name a picture that you may read")
    };
    let flags = OFlags::RDONLY | OFlags::CLOEXEC | OFlags::NONBLOCK | OFlags::NOCTTY;
    let file =
        rustix::fs::open(path, flags, Mode::empty()).map_err(|errno| failed(errno.into()))?;
    let file = File::from(file);
    if !file.metadata().map_err(failed)?.is_file() {
        return Err(
            Failure::usage(format!("{shown} is not a regular file, want a picture"))
                .with_remedy("name each picture: tallyjaw picture FILE"),
        );
    }
    let mut bytes = Vec::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    file.take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(failed)?;
    if bytes.len() > MOST_BYTES {
        return Err(client::refused(not_taken(
            &safe_name(name),
            &NotAPicture::TooLarge,
        )));
    }
    Ok(bytes)
}
