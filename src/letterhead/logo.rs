//! A logo: a small picture from outside that is embedded in pages and labels.
//!
//! In: the bytes of a file. Out: a [`Logo`] with only the data that draws it, or why it is refused. The same file
//! always gives the same bytes, so a page that embeds a logo can be checked.

use super::{BadSvg, png, svg};
use crate::quantity::hex;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};
use std::sync::Arc;

/// Maximum size of a logo's file in bytes. It is embedded in every report.
pub const LARGEST_LOGO: usize = 128 * 1024;

/// A picture that runs nothing and loads nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logo {
    kind: Kind,
    bytes: Arc<[u8]>,
    /// Width and height, in units of its own.
    size: (u32, u32),
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Svg,
    Png,
}

impl Kind {
    const ALL: [Self; 2] = [Self::Svg, Self::Png];

    /// The text before its bytes in base64.
    fn prefix(self) -> &'static str {
        match self {
            Self::Svg => "data:image/svg+xml;base64,",
            Self::Png => "data:image/png;base64,",
        }
    }
}

/// Why a file is not accepted as a logo.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadLogo {
    /// The file is too large, since it would be in every report.
    #[error("{got} bytes, want at most {most}", most = LARGEST_LOGO)]
    TooLarge {
        /// Bytes of the file.
        got: usize,
    },
    /// It is neither SVG nor PNG.
    #[error("the file is no picture, want SVG or PNG")]
    NoPicture,
    /// An SVG that may not be embedded.
    #[error(transparent)]
    Svg(#[from] BadSvg),
    /// A PNG that cannot be decoded.
    #[error("the PNG is damaged: {0}")]
    BrokenPng(String),
    /// It has too many pixels.
    #[error("{width} × {height} pixels, want at most {most} a side", most = png::LONGEST_SIDE)]
    TooManyPixels {
        /// Width of the picture.
        width: u32,
        /// Height of the picture.
        height: u32,
    },
}

impl BadLogo {
    /// What a person can do; never part of the message.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::TooLarge { .. } => {
                "save it smaller: a plain SVG, or a PNG of a few hundred pixels"
            }
            Self::NoPicture => "save the logo as SVG or PNG from the program that drew it",
            Self::Svg(bad) => bad.remedy(),
            Self::BrokenPng(_) => "save it again as PNG from the program that drew it",
            Self::TooManyPixels { .. } => {
                "save it smaller; on paper 600 pixels are five centimetres at 300 a inch"
            }
        }
    }
}

impl Logo {
    /// Reads a file, and keeps only the data that draws the picture.
    pub fn of_file(bytes: &[u8]) -> Result<Self, BadLogo> {
        if bytes.len() > LARGEST_LOGO {
            return Err(BadLogo::TooLarge { got: bytes.len() });
        }
        if png::is_png(bytes) {
            let (bytes, size) = png::plain(bytes)?;
            return Ok(Self::new(Kind::Png, bytes, size));
        }
        let text = std::str::from_utf8(bytes).map_err(|_| BadLogo::NoPicture)?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if !text.trim_start().starts_with('<') {
            return Err(BadLogo::NoPicture);
        }
        let (text, size) = svg::plain(text)?;
        Ok(Self::new(Kind::Svg, text.into_bytes(), size))
    }

    fn new(kind: Kind, bytes: Vec<u8>, size: (u32, u32)) -> Self {
        Self {
            kind,
            bytes: bytes.into(),
            size,
        }
    }

    /// Reads the address under which a page embeds a logo; `None` if it is not one that [`Logo::data_url`] returns.
    pub fn of_data_url(url: &str) -> Option<Self> {
        let mut kinds = Kind::ALL.iter();
        let (kind, coded) =
            kinds.find_map(|kind| Some((*kind, url.strip_prefix(kind.prefix())?)))?;
        let bytes = STANDARD.decode(coded).ok()?;
        let logo = Self::of_file(&bytes).ok()?;
        (logo.kind == kind && *logo.bytes == *bytes).then_some(logo)
    }

    /// The picture as an address that contains it: `data:image/png;base64,…`.
    pub fn data_url(&self) -> String {
        format!("{}{}", self.kind.prefix(), STANDARD.encode(&self.bytes))
    }

    /// `SVG` or `PNG`.
    pub fn kind(&self) -> &'static str {
        match self.kind {
            Kind::Svg => "SVG",
            Kind::Png => "PNG",
        }
    }

    /// The bytes that draw it: an SVG document or a PNG file.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// SHA-256 of these bytes, hex.
    pub fn digest(&self) -> String {
        hex(&Sha256::digest(&self.bytes))
    }

    /// Width and height of the picture when it is scaled to fit into a box of this size, each at least 1.
    pub fn fitted(&self, (most_wide, most_high): (u32, u32)) -> (u32, u32) {
        let (wide, high) = (u64::from(self.size.0), u64::from(self.size.1));
        let (most_wide, most_high) = (u64::from(most_wide), u64::from(most_high));
        let (width, height) = if wide * most_high > high * most_wide {
            (most_wide, high * most_wide / wide.max(1))
        } else {
            (wide * most_high / high.max(1), most_high)
        };
        let whole = |side: u64| u32::try_from(side.max(1)).unwrap_or(u32::MAX);
        (whole(width), whole(height))
    }
}
