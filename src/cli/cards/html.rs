//! The cards as one HTML file, without scripts and outside resources; every name is escaped.
//!
//! Each row has two cards. A row is not split at the end of a page, and a heading stays with its first row. Two cards
//! and the margins fit on A4 and on Letter.

use super::sheet::{Group, Sheet, SheetCard};
use crate::cli::{Failure, qr};
use crate::markup::{Element, Written, el};
use crate::texts::{Language, text};

/// The beginning of every file of cards, by which it is recognized.
pub(super) const HEAD: &str = "<!DOCTYPE html>\n<!-- scan cards of tallyjaw -->\n";

/// The paper size.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Paper {
    /// 210 × 297 mm
    A4,
    /// 8.5 × 11 in
    Letter,
}

impl Paper {
    /// The name in CSS.
    const fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}

const STYLE: &str = "
*{box-sizing:border-box;margin:0}
html{background:#fff;color:#000;color-scheme:light;font:9.5pt/1.3 system-ui,'DejaVu Sans',sans-serif}
body{width:186mm;margin:0 auto;padding:4mm 0}
h1{font-size:14pt}
h2{font-size:11pt;margin:4mm 0 1.5mm}
header p{margin-top:1mm}
.scale{width:50mm;border:solid #000;border-width:0 .3mm .3mm;height:2.5mm}
.row{break-inside:avoid;page-break-inside:avoid}
.pair{display:flex;gap:4mm;padding-bottom:4mm}
.card{width:91mm;border:.25mm dashed #777;padding:2mm;overflow-wrap:anywhere}
.top{display:flex;gap:1mm}
.top svg{flex:none;display:block}
.what{flex:1;min-width:0;padding-top:2.5mm}
h3{font-size:13pt;line-height:1.15;margin-bottom:1mm}
dl{display:grid;grid-template-columns:auto 1fr;gap:0 1.5mm;font-size:8.5pt;line-height:1.25}
dt{color:#444}
.what .drawing{width:46mm;max-width:100%;margin-top:1.5mm}
dd{min-width:0}
code{display:block;font:bold 9.5pt/1.25 ui-monospace,'DejaVu Sans Mono',monospace;white-space:pre-wrap;padding:0 2.5mm .5mm}
@media print{body{padding:0}}
@media screen and (max-width:190mm){body{width:auto;padding:4mm}.pair{flex-wrap:wrap}.card{width:100%}.top{flex-wrap:wrap}}
";

/// The whole file.
pub(super) fn page(
    sheet: &Sheet,
    paper: Option<Paper>,
    language: Language,
) -> Result<String, Failure> {
    let words = |key| text(language, key, &[]);
    let size = paper.map(|paper| format!("size:{} portrait;", paper.name()));
    let size = size.unwrap_or_default();
    let meta = |name, value, content| el("meta").with(name, value).with("content", content);
    let policy = "default-src 'none'; style-src 'unsafe-inline'";
    let head = el("head")
        .child(el("meta").with("charset", "utf-8"))
        .child(meta("http-equiv", "Content-Security-Policy", policy))
        .child(meta("name", "viewport", "width=device-width"))
        .child(el("title").text(words("card.sheet")))
        .child(el("style").raw(format!("{STYLE}@page{{{size}margin:10mm 11mm}}\n")));
    let mut header = el("header").child(el("h1").text(words("card.sheet")));
    header = header
        .child(el("p").text(words("card.printing")))
        .child(el("div").class("scale"))
        .child(el("p").text(words("card.meaning")));
    let groups = sheet.groups.iter().map(group);
    let groups = groups.collect::<Result<Vec<_>, _>>()?;
    let main = el("main").children(groups.into_iter().flatten());
    let body = el("body").child(header).child(main);
    let root = el("html")
        .with("lang", language.name())
        .child(head)
        .child(body);
    Ok(Written::new(HEAD, &root).text)
}

/// The heading, then rows of two cards.
fn group(group: &Group) -> Result<Vec<Element>, Failure> {
    let mut heading = Some(el("h2").text(group.heading.as_str()));
    let rows = group.cards.chunks(2).map(|pair| {
        let cards = pair.iter().map(card).collect::<Result<Vec<_>, _>>()?;
        let row = el("div").class("row").children(heading.take());
        Ok(row.child(el("div").class("pair").children(cards)))
    });
    rows.collect()
}

fn card(card: &SheetCard) -> Result<Element, Failure> {
    let svg = qr::svg(&card.text).map_err(|error| {
        Failure::usage(format!("no code can carry {:?}", card.text)).because(&error)
    })?;
    let mut what = el("div")
        .class("what")
        .child(el("h3").text(card.title.as_str()));
    if !card.does.is_empty() {
        what = what.child(el("p").text(card.does.as_str()));
    }
    if !card.facts.is_empty() {
        let facts = card.facts.iter();
        let facts = facts
            .flat_map(|(word, says)| [el("dt").text(word.as_str()), el("dd").text(says.as_str())]);
        what = what.child(el("dl").children(facts));
    }
    let what = what.children(card.drawing.clone());
    let top = el("div").class("top").child(svg).child(what);
    let code = el("code").text(card.text.as_str());
    Ok(el("section").class("card").child(top).child(code))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_that_is_markup_shows_as_text() {
        let hostile = "</code><script src=\"https://x\">'&\u{202e}";
        let card = SheetCard {
            text: hostile.to_owned(),
            title: hostile.to_owned(),
            does: String::new(),
            facts: vec![("terminal".to_owned(), hostile.to_owned())],
            drawing: None,
        };
        let heading = hostile.to_owned();
        let groups = vec![Group {
            heading,
            cards: vec![card],
        }];
        let remarks = Vec::new();
        let page = page(&Sheet { groups, remarks }, None, Language::English).unwrap();
        let shown = "&lt;/code&gt;&lt;script src=&quot;https://x&quot;&gt;&#39;&amp;\\u{202e}";
        assert_eq!(page.matches(shown).count(), 4);
        assert_eq!(page.matches("script").count(), 4, "in the four names only");
    }
}
