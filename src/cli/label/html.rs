//! The labels as one HTML file, one page of the label's size each.
//!
//! Everything is SVG in the printer's dots, so that each module of a code is a whole number of dots and each line of
//! text has the computed width. The file has no script and refers to nothing outside.

use super::layout::{Dots, LabelSize, Layout, Placed, Style};
use crate::cli::qr::Code;
use crate::markup::{Element, Written, el};
use crate::texts::Language;

/// The beginning of every file of labels, by which it is recognized.
pub(super) const HEAD: &str = "<!DOCTYPE html>\n<!-- labels of tallyjaw -->\n";

const STYLE: &str = "
*{margin:0;padding:0}
html{background:#fff;color:#000;color-scheme:light}
svg{display:block;break-after:page}
svg:last-child{break-after:auto}
text{font-family:'DejaVu Sans Mono','Liberation Mono',monospace;fill:#000}
.strong{font-weight:700}
.inverse{fill:#fff}
@media screen{html{background:#ddd}svg{margin:4mm;background:#fff}}
";

/// A label, ready to be drawn.
pub(super) struct Drawn {
    /// The text of its code.
    pub(super) text: String,
    pub(super) code: Code,
    pub(super) layout: Layout,
}

/// The whole file.
pub(super) fn page(labels: &[Drawn], size: LabelSize, language: Language, title: &str) -> String {
    let meta = |name, value, content| el("meta").with(name, value).with("content", content);
    let policy = "default-src 'none'; style-src 'unsafe-inline'";
    let LabelSize { width, height } = size;
    let page = format!("{STYLE}@page{{size:{width}mm {height}mm;margin:0}}\n");
    let head = el("head")
        .child(el("meta").with("charset", "utf-8"))
        .child(meta("http-equiv", "Content-Security-Policy", policy))
        .child(meta("name", "viewport", "width=device-width"))
        .child(el("title").text(title))
        .child(el("style").raw(page));
    let drawn = labels.iter().map(|label| label.element(size));
    let main = el("main").children(drawn);
    let root = el("html")
        .with("lang", language.name())
        .child(head)
        .child(el("body").child(main));
    Written::new(HEAD, &root).text
}

impl Drawn {
    fn element(&self, size: LabelSize) -> Element {
        let Layout { width, height, .. } = self.layout;
        let lines = self.layout.lines.iter();
        let lines = lines.flat_map(|line| line_elements(line, self.layout.region));
        let (left, top, module) = self.layout.code;
        let place = format!("translate({left} {top}) scale({module})");
        el("svg")
            .with("role", "img")
            .with("aria-label", self.text.as_str())
            .with("width", format!("{}mm", size.width))
            .with("height", format!("{}mm", size.height))
            .with("viewBox", format!("0 0 {width} {height}"))
            .with("shape-rendering", "crispEdges")
            .child(
                el("g")
                    .with("transform", place)
                    .child(el("path").with("d", self.code.path())),
            )
            .children(lines)
    }

    /// The printed size of a module, in dots and in thousandths of a millimetre.
    pub(super) fn module(&self, dots: Dots) -> (u32, u32) {
        let (_, _, module) = self.layout.code;
        (module, module * 1_000 / dots.0)
    }
}

fn line_elements(line: &Placed, (left, width): (u32, u32)) -> Vec<Element> {
    let mut elements = Vec::new();
    let mut class = match line.style {
        Style::Title | Style::Strong | Style::Band { .. } => "strong",
        Style::Small => "small",
    };
    if let Some((top, height, inverse)) = line.band {
        // A frame lies within the box, so that it is not cut.
        let stroke = (height / 16).max(1);
        let inner = if inverse { 0 } else { stroke };
        let rect = el("rect")
            .with("x", (left + inner / 2).to_string())
            .with("y", (top + inner / 2).to_string())
            .with("width", (width - inner).to_string())
            .with("height", (height - inner).to_string());
        elements.push(if inverse {
            class = "strong inverse";
            rect
        } else {
            rect.with("fill", "none")
                .with("stroke", "#000")
                .with("stroke-width", stroke.to_string())
        });
    }
    elements.push(
        el("text")
            .class(class)
            .with("x", line.x.to_string())
            .with("y", line.baseline.to_string())
            .with("font-size", line.size.to_string())
            .with("textLength", line.width.to_string())
            .with("lengthAdjust", "spacingAndGlyphs")
            .text(line.text.as_str()),
    );
    elements
}
