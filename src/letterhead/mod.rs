//! Who the shop is, on paper: name, address, logo, and the size of that paper.
//!
//! In: what a person configured, the bytes of a logo's file among it. Out: a [`Letterhead`] that reports and labels may
//! show as it is: a [`Logo`] runs nothing, asks for nothing and has no text that a reader's font would change.
//!
//! - Nothing of it is in a journal: it is the paper, and says nothing of what was measured. A report that is verified
//!   brings its own, which is named as not vouched for.

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

/// What stands at the head of reports and on labels.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Letterhead {
    /// The shop's name.
    pub name: Option<String>,
    /// The lines of its address.
    pub address: Vec<String>,
    /// Its picture.
    pub logo: Option<Logo>,
    /// The size of paper that pages are made for; `None` leaves it to the printer.
    pub page_size: Option<PageSize>,
}

impl Letterhead {
    /// Whether there is nothing to show; the size of the paper is not shown.
    pub fn is_blank(&self) -> bool {
        self.name.is_none() && self.address.is_empty() && self.logo.is_none()
    }

    /// In one line, for whoever checks a page that has it: `Example Harness Shop, Pump Lane 4, logo (SVG, 812 bytes,
    /// SHA-256 0123…), paper A4`; empty if nothing was configured.
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
