//! The results of a saved study as one HTML page: a table with a row for each plan and period, then each in full.

use super::{Outcome, Row};
use crate::cli::Exit;
use crate::clock;
use crate::config::SavedStudy;
use crate::markup::{Element, Written, el};

/// The beginning of every such page, by which it is recognized.
pub(super) const HEAD: &str = "<!DOCTYPE html>\n<!-- saved study of tallyjaw -->\n";

const STYLE: &str = "
*{box-sizing:border-box}
html{background:#fff;color:#1b1f24;font:16px/1.5 system-ui,sans-serif;color-scheme:light}
body{max-width:62rem;margin:0 auto;padding:1.5rem}
h1{font-size:1.5rem;margin:0 0 .25rem}
h2{font-size:1.1rem;margin:2rem 0 .5rem;break-after:avoid}
code,pre{font:13px/1.45 'DejaVu Sans Mono','Liberation Mono',monospace}
pre{background:#f3f5f7;padding:12px;white-space:pre-wrap}
pre span{display:block;min-height:19px}
table{border-collapse:collapse;width:100%;margin:1rem 0}
th,td{text-align:left;vertical-align:top;padding:.4rem .6rem;border-bottom:1px solid #c9d0d6}
.no{font-weight:700;color:#a3230d}
.yes{font-weight:700;color:#12652f}
a{color:inherit}
@media (min-width:600px){th span{display:block;white-space:nowrap}}
@media print{body{padding:0}pre{background:none;border:1px solid #c9d0d6}tr{break-inside:avoid}}
";

/// The whole page.
pub(super) fn page(study: &SavedStudy, rows: &[Row<'_>]) -> String {
    let meta = |name, value, content| el("meta").with(name, value).with("content", content);
    let title = format!("Study {}", study.name);
    let head = el("head")
        .child(el("meta").with("charset", "utf-8"))
        .child(meta(
            "http-equiv",
            "Content-Security-Policy",
            "default-src 'none'; style-src 'unsafe-inline'",
        ))
        .child(meta(
            "name",
            "viewport",
            "width=device-width, initial-scale=1",
        ))
        .child(el("title").text(title.as_str()))
        .child(el("style").raw(STYLE.to_owned()));
    let made = format!(
        "Made {}. Command: ",
        clock::wall().local_minute(&clock::zone())
    );
    let command = el("code").text(format!("tallyjaw study {}", study.words()));
    let main = el("main")
        .child(el("h1").text(title))
        .child(el("p").text(made).child(command))
        .child(table(study, rows))
        .children(
            rows.iter()
                .enumerate()
                .filter_map(|(at, row)| in_full(at, row)),
        );
    let root = el("html")
        .with("lang", "en")
        .child(head)
        .child(el("body").child(main));
    Written::new(HEAD, &root).text
}

fn table(study: &SavedStudy, rows: &[Row<'_>]) -> Element {
    let heading = ["Plan and period", "Outcome", "Result"];
    let heading = heading.map(|words| el("th").with("scope", "col").text(words));
    let lines = rows.iter().enumerate().map(|(at, row)| {
        let class = match &row.outcome {
            Outcome::Result(_, Exit::Yes) if study.has_gate() => "yes",
            Outcome::Result(_, Exit::No) | Outcome::Refused(_) => "no",
            Outcome::Result(_, Exit::Yes) | Outcome::NoReadings => "neutral",
        };
        let title = el("th").with("scope", "row");
        let parts = row
            .parts()
            .into_iter()
            .map(|part| el("span").text(part + " "));
        let title = if row.text.is_empty() {
            title.children(parts)
        } else {
            let link = el("a").with("href", format!("#{}", id(at)));
            title.child(link.children(parts))
        };
        el("tr")
            .child(title)
            .child(el("td").with("class", class).text(row.verdict(study)))
            .child(el("td").text(row.sentence()))
    });
    el("table")
        .child(el("thead").child(el("tr").children(heading)))
        .child(el("tbody").children(lines))
}

/// What the study says of one row, as in a terminal.
fn in_full(at: usize, row: &Row<'_>) -> Option<Element> {
    (!row.text.is_empty()).then(|| {
        el("section")
            .with("id", id(at))
            .child(el("h2").text(row.title()))
            .child(el("pre").children(row.text.lines().map(|line| el("span").text(line))))
    })
}

fn id(at: usize) -> String {
    format!("row-{}", at + 1)
}
