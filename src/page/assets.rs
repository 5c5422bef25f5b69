//! The files of the page. They are part of the program, and are served unchanged.

use crate::drawings;
use crate::markup::Written;
use crate::spec::question::LOOKS;
use crate::texts;
use axum::extract::Request;
use axum::http::{Method, StatusCode};
use axum::response::Response;

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
    ($path:expr, $kind:ident, $file:literal) => {
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
    asset!("/drawings.js", SCRIPT, "drawings.js"),
    asset!("/face.js", SCRIPT, "face.js"),
    asset!("/moving.js", SCRIPT, "moving.js"),
    asset!("/scale.js", SCRIPT, "scale.js"),
    asset!("/grid.js", SCRIPT, "grid.js"),
    asset!("/plans.js", SCRIPT, "plans.js"),
    asset!("/dialogs.js", SCRIPT, "dialogs.js"),
    asset!("/jobs.js", SCRIPT, "jobs.js"),
    asset!("/runs.js", SCRIPT, "runs.js"),
    asset!("/qualified.js", SCRIPT, "qualified.js"),
    asset!("/pictures.js", SCRIPT, "pictures.js"),
    asset!("/sound.js", SCRIPT, "sound.js"),
    asset!(PAIR, HTML, "pairing.html"),
    asset!("/pairing.js", SCRIPT, "pairing.js"),
    asset!("/pairing.css", CSS, "pairing.css"),
    asset!("/setup.css", CSS, "setup.css"),
    asset!("/setup.js", SCRIPT, "setup.js"),
    asset!("/setup_forms.js", SCRIPT, "setup_forms.js"),
    asset!("/setup_fields.js", SCRIPT, "setup_fields.js"),
];

/// The path of the pairing page.
pub(super) const PAIR: &str = "/pair";

/// The only files for a device that is not paired.
const OF_PAIRING: [&str; 6] = [
    PAIR,
    "/pairing.js",
    "/pairing.css",
    "/dom.js",
    "/texts.js",
    "/texts.json",
];

/// Whether a path is one of those.
pub(super) fn is_of_pairing(path: &str) -> bool {
    OF_PAIRING.contains(&path)
}

/// Whether a person opens the page; otherwise a script requests a part of it.
pub(super) fn is_visit(request: &Request) -> bool {
    request.method() == Method::GET && request.uri().path() == "/"
}

/// The pairing page, as the answer to another request.
pub(super) fn pairing(status: StatusCode) -> Response {
    let page = ASSETS.iter().find(|asset| asset.path == PAIR);
    let text = page.map_or("", |page| page.text);
    super::routes::answer(status, HTML, text)
}

/// The page for a paired tablet, which may give commands although it has no token to show.
pub(super) fn for_tablet(page: &str, tablet: &str) -> String {
    // A name has no character that would need to be escaped.
    page.replacen("<html ", &format!("<html data-tablet=\"{tablet}\" "), 1)
}

/// The path of the line drawings of visual checks, which are made by the program.
pub(super) const DRAWINGS: &str = "/drawings.svg";

/// The line drawings of the customary visual checks.
pub(super) async fn drawings() -> Response {
    let names = LOOKS.iter().map(|look| look.name);
    let text = Written::new("", &drawings::sprite(names)).text;
    super::routes::answer(StatusCode::OK, "image/svg+xml", text)
}

/// Whether a path is that of a file.
pub(super) fn is_asset(path: &str) -> bool {
    ASSETS.iter().any(|asset| asset.path == path)
}
