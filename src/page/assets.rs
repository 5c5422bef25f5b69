//! The files of the page. They are part of the program, and are served unchanged.

use crate::texts;

/// A file of the page.
#[derive(Debug)]
pub(super) struct Asset {
    pub(super) path: &'static str,
    pub(super) kind: &'static str,
    pub(super) text: &'static str,
}

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const JSON: &str = "application/json";

macro_rules! asset {
    ($path:literal, $kind:ident, $file:literal) => {
        Asset {
            path: $path,
            kind: $kind,
            text: include_str!(concat!("assets/", $file)),
        }
    };
}

/// Every file. To add one: a file in `assets/` and a row here.
pub(super) const ASSETS: &[Asset] = &[
    asset!("/", HTML, "index.html"),
    asset!("/page.css", CSS, "page.css"),
    asset!("/page.js", SCRIPT, "page.js"),
    asset!("/dom.js", SCRIPT, "dom.js"),
    asset!("/texts.js", SCRIPT, "texts.js"),
    Asset {
        path: "/texts.json",
        kind: JSON,
        text: texts::TABLE,
    },
    asset!("/daemon.js", SCRIPT, "daemon.js"),
    asset!("/face.js", SCRIPT, "face.js"),
    asset!("/moving.js", SCRIPT, "moving.js"),
    asset!("/scale.js", SCRIPT, "scale.js"),
    asset!("/grid.js", SCRIPT, "grid.js"),
    asset!("/plans.js", SCRIPT, "plans.js"),
    asset!("/dialogs.js", SCRIPT, "dialogs.js"),
    asset!("/sound.js", SCRIPT, "sound.js"),
];

/// Whether a path is that of a file.
pub(super) fn is_asset(path: &str) -> bool {
    ASSETS.iter().any(|asset| asset.path == path)
}
