//! Reduces an SVG to shapes and their colours.
//!
//! In: the text of a file. Out: the text of a new file, written from lists of the allowed elements, attributes and
//! characters; so anything that is not on a list is not in it. Notes of drawing programs are left out silently. Content
//! that a reader would miss (text, pictures, style sheets, scripts) is refused with the reason.
//!
//! - It has no script, no reference to anything outside the file, no text, no animation, no style sheet. References
//!   within the file are only to gradients and clip paths. Nothing is drawn more than once, so a small file is drawn
//!   quickly.

use roxmltree::{Document, Node, ParsingOptions};
use std::fmt::Write as _;

const NAMESPACE: &str = "http://www.w3.org/2000/svg";
const XLINK: &str = "http://www.w3.org/1999/xlink";
/// Maximum number of nodes of a document, including the spaces between elements.
const MOST_NODES: u32 = 20_000;
/// Maximum depth of groups within groups.
const DEEPEST: usize = 32;
/// The longest side in thousandths of a unit: a million units.
const LONGEST_SIDE: u32 = 1_000_000_000;
/// Maximum number of characters of a value in a message.
const SHOWN: usize = 40;

/// Elements that draw, or that others refer to when they draw.
const ELEMENTS: [&str; 13] = [
    "svg",
    "g",
    "defs",
    "path",
    "rect",
    "circle",
    "ellipse",
    "line",
    "polyline",
    "polygon",
    "linearGradient",
    "radialGradient",
    "clipPath",
];
/// The element of a gradient.
const STOP: &str = "stop";
/// Elements that draw nothing and can be left out silently.
const SILENT: [&str; 3] = ["title", "desc", "metadata"];

/// Attributes that are only allowed as attributes.
const GEOMETRY: [&str; 25] = [
    "id",
    "d",
    "x",
    "y",
    "x1",
    "y1",
    "x2",
    "y2",
    "cx",
    "cy",
    "fx",
    "fy",
    "r",
    "rx",
    "ry",
    "width",
    "height",
    "points",
    "transform",
    "offset",
    "gradientUnits",
    "gradientTransform",
    "spreadMethod",
    "clipPathUnits",
    "pathLength",
];
/// Attributes that are also allowed in `style`.
const LOOKS: [&str; 20] = [
    "fill",
    "fill-opacity",
    "fill-rule",
    "stroke",
    "stroke-width",
    "stroke-opacity",
    "stroke-linecap",
    "stroke-linejoin",
    "stroke-miterlimit",
    "stroke-dasharray",
    "stroke-dashoffset",
    "opacity",
    "color",
    "stop-color",
    "stop-opacity",
    "clip-path",
    "clip-rule",
    "display",
    "visibility",
    "vector-effect",
];

/// Why an SVG is not accepted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadSvg {
    /// It is not XML, or has a document type, entities, or too many elements.
    #[error("the SVG cannot be read: {0}")]
    Unreadable(String),
    /// Its root is another element.
    #[error("the file is XML and no SVG: it begins with <{0}>")]
    Other(String),
    /// It has an element that a reader would miss.
    #[error("the SVG has <{0}>, want shapes and gradients alone")]
    Element(String),
    /// An attribute contains a program.
    #[error("the SVG has a script at {0}, want none")]
    Script(String),
    /// A value is not that of a shape, or refers to something outside the file.
    #[error(
        "the SVG has {attribute}=\"{value}\", want numbers, colours, or a reference within the file"
    )]
    Value {
        /// Its name.
        attribute: String,
        /// The beginning of the value.
        value: String,
    },
    /// Groups are nested too deep.
    #[error("the SVG has groups more than {most} deep", most = DEEPEST)]
    TooDeep,
    /// Neither viewBox nor width and height give its size.
    #[error(
        "the SVG has neither a viewBox of four numbers nor width and height in pixels, want one of them, more than 0"
    )]
    NoSize,
}

impl BadSvg {
    /// What a person can do.
    pub(super) fn remedy(&self) -> &'static str {
        match self {
            Self::Element(name) => match name.as_str() {
                "text" | "tspan" | "textPath" => {
                    "convert text to paths in the drawing program, and save it again"
                }
                "image" | "feImage" => {
                    "save it as PNG, or have the drawing program trace the picture within it"
                }
                "style" => {
                    "save it with its looks as attributes (plain SVG, presentation attributes), or as PNG"
                }
                "use" | "symbol" => {
                    "turn clones into shapes of their own in the drawing program, or save it as PNG"
                }
                _ => "save it as plain SVG from the drawing program, or as PNG",
            },
            Self::Unreadable(_)
            | Self::Other(_)
            | Self::Script(_)
            | Self::Value { .. }
            | Self::TooDeep => "save it as plain SVG from the drawing program, or as PNG",
            Self::NoSize => "fit the page to the drawing in the drawing program, and save it again",
        }
    }
}

/// The reduced file, and its width and height in thousandths of a unit.
pub(super) fn plain(text: &str) -> Result<(String, (u32, u32)), BadSvg> {
    let options = ParsingOptions {
        nodes_limit: MOST_NODES,
        ..ParsingOptions::default()
    };
    let document = Document::parse_with_options(text, options)
        .map_err(|error| BadSvg::Unreadable(error.to_string()))?;
    let root = document.root_element();
    if root.tag_name().name() != "svg" || root.tag_name().namespace() != Some(NAMESPACE) {
        return Err(BadSvg::Other(root.tag_name().name().to_owned()));
    }
    let view = View::of(root)?;
    let mut written = format!("<svg xmlns=\"{NAMESPACE}\" viewBox=\"{}\"", view.text);
    looks(root, &mut written)?;
    written.push('>');
    children(root, 1, &mut written)?;
    written.push_str("</svg>\n");
    Ok((written, view.size))
}

/// The visible part of the drawing.
struct View {
    text: String,
    size: (u32, u32),
}

impl View {
    fn of(root: Node<'_, '_>) -> Result<Self, BadSvg> {
        let text = if let Some(view) = root.attribute("viewBox") {
            view.replace(',', " ")
        } else {
            let side = |name| {
                let side = root.attribute(name).ok_or(BadSvg::NoSize)?.trim();
                Ok(side.strip_suffix("px").unwrap_or(side))
            };
            format!("0 0 {} {}", side("width")?, side("height")?)
        };
        let numbers: Vec<&str> = text.split_whitespace().collect();
        let &[x, y, width, height] = numbers.as_slice() else {
            return Err(BadSvg::NoSize);
        };
        let corner = |number: &str| thousandths(number.strip_prefix('-').unwrap_or(number));
        let side = |number| thousandths(number).filter(|side| *side > 0);
        let (Some(_), Some(_), Some(width), Some(height)) =
            (corner(x), corner(y), side(width), side(height))
        else {
            return Err(BadSvg::NoSize);
        };
        Ok(Self {
            text: numbers.join(" "),
            size: (width, height),
        })
    }
}

/// A decimal number in thousandths, rounded down; `None` for anything else and for more than a million.
fn thousandths(number: &str) -> Option<u32> {
    let (whole, part) = number.split_once('.').unwrap_or((number, ""));
    let is_digits = |text: &str| text.bytes().all(|byte| byte.is_ascii_digit());
    if whole.len() + part.len() == 0 || !is_digits(whole) || !is_digits(part) {
        return None;
    }
    let whole: u32 = if whole.is_empty() {
        0
    } else {
        whole.parse().ok()?
    };
    let part: String = part.chars().chain("000".chars()).take(3).collect();
    let all = whole.checked_mul(1_000)?.checked_add(part.parse().ok()?)?;
    (all <= LONGEST_SIDE).then_some(all)
}

fn children(of: Node<'_, '_>, depth: usize, written: &mut String) -> Result<(), BadSvg> {
    if depth > DEEPEST {
        return Err(BadSvg::TooDeep);
    }
    for node in of.children().filter(Node::is_element) {
        let name = node.tag_name();
        if name.namespace() != Some(NAMESPACE) {
            continue; // notes of a drawing program, which draw nothing
        }
        let name = name.name();
        if SILENT.contains(&name) {
            continue;
        }
        if name != STOP && !ELEMENTS.contains(&name) {
            return Err(BadSvg::Element(name.to_owned()));
        }
        let _ = write!(written, "<{name}"); // writing to a String cannot fail
        geometry(node, written)?;
        looks(node, written)?;
        written.push('>');
        children(node, depth + 1, written)?;
        let _ = write!(written, "</{name}>");
    }
    Ok(())
}

/// Writes position and size; for a gradient also the gradient that it inherits from.
fn geometry(node: Node<'_, '_>, written: &mut String) -> Result<(), BadSvg> {
    for attribute in node.attributes() {
        let (name, value) = (attribute.name(), attribute.value());
        let is_plain = attribute.namespace().is_none();
        if is_plain
            && name.len() > 2
            && name
                .get(..2)
                .is_some_and(|on| on.eq_ignore_ascii_case("on"))
        {
            return Err(BadSvg::Script(name.to_owned()));
        }
        // an id that nobody can refer to is left out
        let is_kept = GEOMETRY.contains(&name) && (name != "id" || is_id(value));
        if is_plain && is_kept {
            put(name, value, written)?;
        }
    }
    let link = node.attribute("href").or(node.attribute((XLINK, "href")));
    if let Some(link) = link {
        if !link.strip_prefix('#').is_some_and(is_id) {
            return Err(bad("href", link));
        }
        let _ = write!(written, " href=\"{link}\""); // writing to a String cannot fail
    }
    Ok(())
}

/// Writes colours and strokes, from attributes and from `style`, which takes precedence.
fn looks(node: Node<'_, '_>, written: &mut String) -> Result<(), BadSvg> {
    let style = node.attribute("style").unwrap_or_default();
    let declared = style.split(';').filter_map(|one| one.split_once(':'));
    let declared: Vec<(&str, &str)> = declared
        .map(|(name, value)| (name.trim(), value.trim()))
        .collect();
    for name in LOOKS {
        let last = declared.iter().rev().find(|(known, _)| *known == name);
        let value = last.map(|(_, value)| *value).or(node.attribute(name));
        if let Some(value) = value {
            put(name, value, written)?;
        }
    }
    Ok(())
}

/// Writes an attribute, if its value is that of a shape.
fn put(name: &str, value: &str, written: &mut String) -> Result<(), BadSvg> {
    let is_fit = |c: char| c.is_ascii_alphanumeric() || " .,+-#%()_".contains(c);
    // A reference may be in quotes; its target must be in this file.
    let mut value = value.replace(['\t', '\r', '\n'], " ");
    if value.contains("url(") {
        value.retain(|c| !matches!(c, '"' | '\''));
        let leads = value
            .strip_prefix("url(#")
            .and_then(|id| id.strip_suffix(')'));
        if !leads.is_some_and(is_id) {
            return Err(bad(name, &value));
        }
    }
    if !value.chars().all(is_fit) {
        return Err(bad(name, &value));
    }
    let _ = write!(written, " {name}=\"{value}\""); // the value contains no markup
    Ok(())
}

fn is_id(id: &str) -> bool {
    let is_fit = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    !id.is_empty() && id.chars().all(is_fit)
}

fn bad(attribute: &str, value: &str) -> BadSvg {
    BadSvg::Value {
        attribute: attribute.to_owned(),
        value: value.chars().take(SHOWN).collect(),
    }
}
