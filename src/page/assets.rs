//! The page itself: three files that are part of the program.

/// One of them.
#[derive(Debug)]
pub(super) struct Asset {
    pub(super) kind: &'static str,
    pub(super) text: &'static str,
}

pub(super) const INDEX: Asset = Asset {
    kind: "text/html; charset=utf-8",
    text: include_str!("assets/index.html"),
};

pub(super) const CSS: Asset = Asset {
    kind: "text/css; charset=utf-8",
    text: include_str!("assets/page.css"),
};

pub(super) const JS: Asset = Asset {
    kind: "text/javascript; charset=utf-8",
    text: include_str!("assets/page.js"),
};
