//! The sheet as one HTML file: no script, nothing from outside, every name escaped.
//!
//! Two cards a row; a row is never cut by the end of a page, and a heading stays with its first row.
//! Two cards and the margins are narrower than A4 and Letter both.

use super::qr;
use super::sheet::{Group, Sheet, SheetCard};
use crate::cli::Failure;
use crate::entry::words::safe;
use std::fmt::Write as _;

/// What every sheet begins with; by it we know our own file again.
pub(super) const HEAD: &str = "<!DOCTYPE html>\n<!-- scan cards of tallyjaw -->\n";

/// The paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Paper {
    /// 210 × 297 mm
    A4,
    /// 8.5 × 11 in
    Letter,
}

impl Paper {
    /// As in CSS.
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
.what{min-width:0;padding-top:2.5mm}
h3{font-size:13pt;line-height:1.15;margin-bottom:1mm}
dl{display:grid;grid-template-columns:auto 1fr;gap:0 1.5mm;font-size:8.5pt;line-height:1.25}
dt{color:#444}
dd{min-width:0}
code{display:block;font:bold 9.5pt/1.25 ui-monospace,'DejaVu Sans Mono',monospace;white-space:pre-wrap;padding:0 2.5mm .5mm}
@media print{body{padding:0}}
@media screen and (max-width:190mm){body{width:auto;padding:4mm}.pair{flex-wrap:wrap}.card{width:100%}.top{flex-wrap:wrap}}
";

/// The whole file.
pub(super) fn page(sheet: &Sheet, paper: Option<Paper>) -> Result<String, Failure> {
    let size = paper.map(|paper| format!("size:{} portrait;", paper.name()));
    let mut page = format!(
        "{HEAD}<html lang=\"en\"><head><meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n\
         <title>Scan cards</title>\n<style>{STYLE}@page{{{}margin:10mm 11mm}}\n</style></head><body>\n{INTRODUCTION}",
        size.unwrap_or_default()
    );
    for group in &sheet.groups {
        self::group(&mut page, group)?;
    }
    page.push_str("</main></body></html>\n");
    Ok(page)
}

const INTRODUCTION: &str = "<header><h1>Scan cards</h1>\n\
<p>Print at 100&nbsp;%: the bar is 50&nbsp;mm long. Cut along the dashed lines; leave the white around each code.</p>\n\
<div class=\"scale\"></div>\n\
<p>A card only names its plan or tool. What is armed is what the configuration says at that moment: compare the prompt \
with the card, and print the card anew when the plan has changed.</p></header>\n<main>\n";

fn group(page: &mut String, group: &Group) -> Result<(), Failure> {
    for (at, pair) in group.cards.chunks(2).enumerate() {
        page.push_str("<div class=\"row\">");
        if at == 0 {
            let _ = write!(page, "<h2>{}</h2>", escaped(&group.heading));
        }
        page.push_str("<div class=\"pair\">\n");
        for card in pair {
            self::card(page, card)?;
        }
        page.push_str("</div></div>\n");
    }
    Ok(())
}

fn card(page: &mut String, card: &SheetCard) -> Result<(), Failure> {
    let svg = qr::svg(&card.text).map_err(|error| {
        Failure::usage(format!("no code can carry {:?}", card.text)).because(&error)
    })?;
    let _ = write!(
        page,
        "<section class=\"card\"><div class=\"top\">{svg}<div class=\"what\"><h3>{}</h3>",
        escaped(&card.title)
    );
    if !card.does.is_empty() {
        let _ = write!(page, "<p>{}</p>", escaped(card.does));
    }
    if !card.facts.is_empty() {
        page.push_str("<dl>");
        for (word, says) in &card.facts {
            let _ = write!(page, "<dt>{word}</dt><dd>{}</dd>", escaped(says));
        }
        page.push_str("</dl>");
    }
    let _ = writeln!(
        page,
        "</div></div><code>{}</code></section>",
        escaped(&card.text)
    );
    Ok(())
}

/// Text that is nothing but text, in an element or in an attribute.
fn escaped(text: &str) -> String {
    safe(text)
        .chars()
        .fold(String::with_capacity(text.len()), |mut escaped, c| {
            match c {
                '&' => escaped.push_str("&amp;"),
                '<' => escaped.push_str("&lt;"),
                '>' => escaped.push_str("&gt;"),
                '"' => escaped.push_str("&quot;"),
                '\'' => escaped.push_str("&#39;"),
                other => escaped.push(other),
            }
            escaped
        })
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
            does: "",
            facts: vec![("terminal", hostile.to_owned())],
        };
        let heading = hostile.to_owned();
        let groups = vec![Group {
            heading,
            cards: vec![card],
        }];
        let remarks = Vec::new();
        let page = page(&Sheet { groups, remarks }, None).unwrap();
        let shown = "&lt;/code&gt;&lt;script src=&quot;https://x&quot;&gt;&#39;&amp;\\u{202e}";
        assert_eq!(page.matches(shown).count(), 4);
        assert_eq!(page.matches("script").count(), 4, "in the four names only");
    }
}
