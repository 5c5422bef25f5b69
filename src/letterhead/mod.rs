//! The shop's letterhead: name, address, logo, and the size of the paper.
//!
//! In: the configuration, and the bytes of the logo's file. Out: a [`Letterhead`] that reports and labels can show
//! unchanged: a [`Logo`] runs nothing, loads nothing, and has no text that depends on a reader's fonts.
//!
//! - No part of it is in a journal, since it says nothing about the measurements. A verified report contains its own
//!   letterhead, which is listed as not vouched for.

mod logo;
mod png;
mod svg;

pub use logo::{BadLogo, LARGEST_LOGO, Logo};
pub use svg::BadSvg;

use crate::quantity::named;

named! {
    /// The size of paper that pages are made for.
    pub enum PageSize {
        /// 210 mm × 297 mm.
        A4 = "A4",
        /// 8.5 in × 11 in.
        Letter = "Letter",
    }
}

/// The head of reports and labels.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Letterhead {
    /// The shop's name.
    pub name: Option<String>,
    /// The lines of its address.
    pub address: Vec<String>,
    /// The logo.
    pub logo: Option<Logo>,
    /// The size of paper that pages are made for; `None` leaves it to the printer.
    pub page_size: Option<PageSize>,
}

impl Letterhead {
    /// Whether there is nothing to show; the size of the paper is not shown.
    pub fn is_blank(&self) -> bool {
        self.name.is_none() && self.address.is_empty() && self.logo.is_none()
    }

    /// The letterhead in one line, for whoever checks a page: `Example Harness Shop, Pump Lane 4, logo (SVG, 812 bytes,
    /// SHA-256 0123…), paper A4`; empty if nothing is configured.
    pub fn in_words(&self) -> String {
        let logo = self.logo.as_ref().map(|logo| {
            let (kind, bytes, digest) = (logo.kind(), logo.bytes().len(), logo.digest());
            format!("logo ({kind}, {bytes} bytes, SHA-256 {digest})")
        });
        let paper = self.page_size.map(|size| format!("paper {}", size.name()));
        let name = self.name.iter().cloned();
        let said = name.chain(self.address.iter().cloned());
        let said: Vec<String> = said.chain(logo).chain(paper).collect();
        said.join(", ")
    }
}
