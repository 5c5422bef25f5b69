//! Tables of the page: each cell says what it is about, as row and column.

use crate::entry::ReadingSlot;
use crate::markup::{Element, Node, el};
use crate::report::words;
use crate::spec::Verdict;

/// A table that grows by rows.
pub(super) struct Table {
    caption: String,
    class: &'static str,
    heads: Vec<&'static str>,
    rows: Vec<Element>,
}

impl Table {
    /// A table with this caption and names of columns. The first cell of a row should be its heading.
    pub(super) fn new(
        class: &'static str,
        caption: impl Into<String>,
        heads: &[&'static str],
    ) -> Self {
        Self {
            caption: caption.into(),
            class,
            heads: heads.to_vec(),
            rows: Vec::new(),
        }
    }

    /// Adds a row that is named `about`, with one cell for each column.
    pub(super) fn row(&mut self, about: &str, cells: Vec<Element>) {
        let heads = self.heads.iter().chain(std::iter::repeat(&""));
        let cells = cells
            .into_iter()
            .zip(heads)
            .map(|(cell, head)| cell.about(format!("{about}, {}", head.to_lowercase())));
        self.rows.push(el("tr").about(about).children(cells));
    }

    pub(super) fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table in a box that can be scrolled on a narrow screen.
    pub(super) fn element(self) -> Element {
        let heads = self
            .heads
            .iter()
            .map(|head| el("th").with("scope", "col").text(*head));
        let table = el("table")
            .class(self.class)
            .child(el("caption").text(self.caption))
            .child(el("thead").child(el("tr").children(heads)))
            .child(el("tbody").children(self.rows));
        el("div").class("scroll").with("tabindex", "0").child(table)
    }
}

/// A cell with words of our own.
pub(super) fn td(text: impl Into<String>) -> Element {
    el("td").text(text)
}

/// A cell with a number.
pub(super) fn number(text: impl Into<String>) -> Element {
    el("td").class("n").text(text)
}

/// The heading of a row.
pub(super) fn th(says: impl Into<Node>) -> Element {
    el("th").with("scope", "row").child(says)
}

/// The sign of a verdict, for paper without colours; a screen reader reads the word after it.
pub(super) fn shape(shape: &'static str) -> Element {
    el("span")
        .class("shape")
        .with("aria-hidden", "true")
        .text(shape)
}

/// A cell with a verdict in shape and words.
pub(super) fn verdict(slot: &ReadingSlot, verdict: Verdict) -> Element {
    let said = crate::entry::words::verdict(verdict, &slot.axis, &slot.limits);
    el("td")
        .class(words::class(verdict))
        .child(shape(words::shape(verdict)))
        .text(said)
}
