//! Checks the bytes of a picture before anything is stored, and makes the small copy that is shown.
//!
//! In: the bytes of a file and its name. Out: format, size and a small copy ([`Checked`]), or why the file is refused.
//!
//! - Size, pixels and the memory for decoding are bounded before anything is decoded.
//! - A file with further data after the picture's end is refused, because it could be something else as well.
//! - The copy has no metadata. It is rotated as the camera was held, and has no place, time or device.

mod jpeg;
mod png;

use crate::quantity::{is_unsafe, named};
use image::codecs::jpeg::{JpegDecoder, JpegEncoder};
use image::codecs::png::PngDecoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageError, Limits, RgbImage};
use std::io::Cursor;

/// Maximum size of a picture in bytes: 20 MiB.
pub const MOST_BYTES: usize = 20 * 1024 * 1024;

/// Maximum number of pixels, which is about that of the cameras of telephones.
pub const MOST_PIXELS: u64 = 50_000_000;

/// Maximum memory of a decoded picture in bytes: 256 MiB.
const MOST_UNPACKED: u64 = 256 * 1024 * 1024;

/// The longer side of a small copy, in pixels.
pub const COPY_SIDE: u32 = 480;

/// Quality of a small copy, of 100.
const COPY_QUALITY: u8 = 80;

/// Maximum length of a file name in characters; the rest is cut off.
const LONGEST_NAME: usize = 100;

named! {
    /// The format of a picture, which is the ending of its file.
    pub enum PictureFormat {
        /// JPEG.
        Jpeg = "jpg",
        /// PNG.
        Png = "png",
    }
}

impl PictureFormat {
    /// The endings of a file name that mean this format, in small letters.
    const fn endings(self) -> &'static [&'static str] {
        match self {
            Self::Jpeg => &["jpg", "jpeg"],
            Self::Png => &["png"],
        }
    }

    /// Its name, as people write it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Jpeg => "JPEG",
            Self::Png => "PNG",
        }
    }
}

/// A picture that may be stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// Its format.
    pub format: PictureFormat,
    /// Pixels from left to right, as stored.
    pub width: u32,
    /// Pixels from top to bottom, as stored.
    pub height: u32,
    /// The small copy: a JPEG without metadata, the right way up.
    pub copy: Vec<u8>,
}

/// Why a file is not taken as a picture.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAPicture {
    /// The file has no bytes.
    #[error("the file is empty, want a JPEG or PNG picture")]
    Empty,
    /// The file has too many bytes.
    #[error("got more than {MOST_BYTES} bytes, want a picture of at most 20 MiB")]
    TooLarge,
    /// The bytes do not begin as those of a JPEG or PNG.
    #[error("got {got}, want a JPEG or PNG picture")]
    Kind {
        /// The contents by their first bytes: `a GIF picture`.
        got: &'static str,
    },
    /// The file name has the ending of another format, or none.
    #[error(
        "got a {} picture named {ending:?}, want the ending {}",
        format.words(),
        format.endings().join(" or ")
    )]
    Ending {
        /// The ending of the name, in small letters; empty if there is none.
        ending: String,
        /// The format by the contents.
        format: PictureFormat,
    },
    /// The picture's end is missing.
    #[error("the {} picture is cut off: its end is missing after {got} bytes", format.words())]
    Truncated {
        /// The format by its beginning.
        format: PictureFormat,
        /// Bytes in the file.
        got: usize,
    },
    /// Further data follows the end of the picture.
    #[error("the {} picture has {got} bytes after its end, want none", format.words())]
    Behind {
        /// The format of the picture.
        format: PictureFormat,
        /// Bytes after its end.
        got: usize,
    },
    /// It has too many pixels.
    #[error("got {width} × {height} pixels, want at most {} million", MOST_PIXELS / 1_000_000)]
    Pixels {
        /// Pixels from left to right.
        width: u32,
        /// Pixels from top to bottom.
        height: u32,
    },
    /// It takes too much memory.
    #[error("the picture takes more than {} MiB of memory unpacked", MOST_UNPACKED / 1024 / 1024)]
    Unpacked,
    /// The decoder cannot read it.
    #[error("the {} picture cannot be decoded: {cause}", format.words())]
    Damaged {
        /// The format by its beginning.
        format: PictureFormat,
        /// Message of the decoder.
        cause: String,
    },
}

impl NotAPicture {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::Empty | Self::Kind { .. } => "save it as JPEG or PNG in the microscope's program",
            Self::TooLarge | Self::Pixels { .. } | Self::Unpacked => {
                "save a smaller one: set the camera to fewer pixels, or crop it"
            }
            Self::Ending { .. } => "give the file the ending of its format",
            Self::Truncated { .. } | Self::Damaged { .. } => {
                "copy it again from the camera, or take it again"
            }
            Self::Behind { .. } => {
                "open it and save it again as a plain picture, without film or other additions"
            }
        }
    }
}

/// Checks a picture by its contents and the ending of its name, and makes the small copy.
pub fn check(name: &str, bytes: &[u8]) -> Result<Checked, NotAPicture> {
    if bytes.is_empty() {
        return Err(NotAPicture::Empty);
    }
    if bytes.len() > MOST_BYTES {
        return Err(NotAPicture::TooLarge);
    }
    let Some(format) = format_of(bytes) else {
        return Err(NotAPicture::Kind {
            got: kind_of(bytes),
        });
    };
    let ending = ending_of(name);
    if !format.endings().contains(&ending.as_str()) {
        return Err(NotAPicture::Ending { ending, format });
    }
    let end = match format {
        PictureFormat::Jpeg => jpeg::end(bytes),
        PictureFormat::Png => png::end(bytes),
    };
    match end {
        Some(end) if end == bytes.len() => {}
        Some(end) => {
            let got = bytes.len().saturating_sub(end);
            return Err(NotAPicture::Behind { format, got });
        }
        None => {
            let got = bytes.len();
            return Err(NotAPicture::Truncated { format, got });
        }
    }
    match format {
        PictureFormat::Jpeg => decoded(format, JpegDecoder::new(Cursor::new(bytes))),
        PictureFormat::Png => decoded(
            format,
            PngDecoder::with_limits(Cursor::new(bytes), limits()),
        ),
    }
}

/// The name of a file as it is kept and shown: its last part, without characters that could mislead a reader.
///
/// ```
/// use tallyjaw::pictures::safe_name;
/// assert_eq!(safe_name("C:\\cuts\\piece 3.jpg"), "piece 3.jpg");
/// assert_eq!(safe_name("../a\u{202e}gpj.\u{1b}[2Jpng"), "a_gpj._[2Jpng");
/// assert_eq!(safe_name(".."), "picture");
/// ```
pub fn safe_name(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let safe = last.chars().map(|c| if is_unsafe(c) { '_' } else { c });
    let length = last.chars().count();
    // The end is kept, because it has the ending.
    let safe: String = safe.skip(length.saturating_sub(LONGEST_NAME)).collect();
    match safe.trim() {
        "" | "." | ".." => "picture".to_owned(),
        safe => safe.to_owned(),
    }
}

/// Endings of other picture formats that microscopes and telephones use.
const OTHER_ENDINGS: &[&str] = &["bmp", "gif", "heic", "heif", "tif", "tiff", "webp"];

/// Whether the ending of a file name is that of a picture, in any format.
///
/// ```
/// use tallyjaw::pictures::is_named_as_picture;
/// assert!(is_named_as_picture("Cut 3.JPG") && is_named_as_picture("cut.tif"));
/// assert!(!is_named_as_picture("cut.jpg.part") && !is_named_as_picture("notes.txt"));
/// ```
pub fn is_named_as_picture(name: &str) -> bool {
    let ending = ending_of(name);
    let ending = ending.as_str();
    let mut formats = PictureFormat::ALL.into_iter();
    formats.any(|format| format.endings().contains(&ending)) || OTHER_ENDINGS.contains(&ending)
}

fn ending_of(name: &str) -> String {
    let ending = name.rsplit_once('.').map(|(_, ending)| ending);
    let ending = ending.unwrap_or_default().chars().take(10);
    ending.collect::<String>().to_lowercase()
}

fn format_of(bytes: &[u8]) -> Option<PictureFormat> {
    if bytes.starts_with(jpeg::BEGINNING) {
        Some(PictureFormat::Jpeg)
    } else if bytes.starts_with(png::BEGINNING) {
        Some(PictureFormat::Png)
    } else {
        None
    }
}

/// The common name of a kind of file, by its first bytes.
fn kind_of(bytes: &[u8]) -> &'static str {
    let text = bytes.trim_ascii_start();
    let known: [(&[u8], &'static str); 8] = [
        (b"GIF8", "a GIF picture"),
        (b"BM", "a BMP picture"),
        (b"II*\0", "a TIFF picture"),
        (b"MM\0*", "a TIFF picture"),
        (b"RIFF", "a WebP picture or a film"),
        (b"%PDF", "a PDF document"),
        (b"<", "SVG, HTML or another text with tags"),
        (b"PK\x03\x04", "a ZIP archive"),
    ];
    let found = known
        .iter()
        .find(|(beginning, _)| text.starts_with(beginning));
    match found {
        Some((_, kind)) => kind,
        None if bytes.get(4..8) == Some(b"ftyp") => "a HEIC picture or a film",
        None => "a file of another kind",
    }
}

fn limits() -> Limits {
    let mut limits = Limits::default();
    limits.max_alloc = Some(MOST_UNPACKED);
    limits
}

/// Decodes the picture, once its size is known to be within the limits.
fn decoded(
    format: PictureFormat,
    decoder: Result<impl ImageDecoder, ImageError>,
) -> Result<Checked, NotAPicture> {
    let damaged = |error: ImageError| match error {
        ImageError::Limits(_) => NotAPicture::Unpacked,
        error @ (ImageError::Decoding(_)
        | ImageError::Encoding(_)
        | ImageError::Parameter(_)
        | ImageError::Unsupported(_)
        | ImageError::IoError(_)) => NotAPicture::Damaged {
            format,
            cause: error.to_string(),
        },
    };
    let mut decoder = decoder.map_err(damaged)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > MOST_PIXELS {
        return Err(NotAPicture::Pixels { width, height });
    }
    if decoder.total_bytes() > MOST_UNPACKED {
        return Err(NotAPicture::Unpacked);
    }
    // Without information about how the camera was held, the picture is not rotated.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let picture = DynamicImage::from_decoder(decoder).map_err(damaged)?;
    let copy = copy_of(picture, orientation).map_err(damaged)?;
    Ok(Checked {
        format,
        width,
        height,
        copy,
    })
}

fn copy_of(picture: DynamicImage, orientation: Orientation) -> Result<Vec<u8>, ImageError> {
    let is_small = picture.width().max(picture.height()) <= COPY_SIDE;
    let mut small = if is_small {
        picture
    } else {
        picture.thumbnail(COPY_SIDE, COPY_SIDE)
    };
    small.apply_orientation(orientation);
    let mut copy = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut copy, COPY_QUALITY);
    on_white(&small).write_with_encoder(encoder)?;
    Ok(copy)
}

/// The picture without transparency, as it looks on white paper.
fn on_white(picture: &DynamicImage) -> RgbImage {
    if !picture.color().has_alpha() {
        return picture.to_rgb8();
    }
    let seen = picture.to_rgba8();
    RgbImage::from_fn(seen.width(), seen.height(), |x, y| {
        let image::Rgba([red, green, blue, alpha]) = *seen.get_pixel(x, y);
        let over = |part: u8| {
            let mixed = u16::from(part) * u16::from(alpha) + 255 * (255 - u16::from(alpha));
            u8::try_from(mixed / 255).unwrap_or(u8::MAX)
        };
        image::Rgb([over(red), over(green), over(blue)])
    })
}
