//! A page or picture as a tree of elements, and its text. Text becomes markup only here.
//!
//! In: elements, each with a description of what it shows. Out: the text of the page, and the description for every
//! position in it, so that a difference between two pages can be named.
//!
//! - Text in elements and attributes is escaped here and nowhere else. Characters that could control a terminal or
//!   change the reading direction are shown as escapes.
//! - Text from outside (names, notes) stands in a `bdi`, so that its direction does not affect its neighbours.

use crate::quantity::safe;

/// Elements without an end tag.
const VOID: &[&str] = &["meta", "br", "img"];
/// Shapes of a picture, written as self-closing tags.
const SHAPES: &[&str] = &["circle", "line", "path", "rect"];
/// Elements followed by a line break, so that the file can be read and compared line by line.
const BROKEN: &[&str] = &[
    "html",
    "head",
    "body",
    "meta",
    "title",
    "style",
    "script",
    "header",
    "main",
    "footer",
    "nav",
    "section",
    "h1",
    "h2",
    "h3",
    "h4",
    "p",
    "dl",
    "dd",
    "ul",
    "li",
    "table",
    "caption",
    "thead",
    "tbody",
    "tr",
    "div",
    "figure",
    "img",
    "figcaption",
    "pre",
    "svg",
    "desc",
    "circle",
    "line",
    "path",
    "rect",
    "text",
    "g",
];

/// Part of a page.
#[derive(Debug, Clone)]
pub(crate) enum Node {
    /// An element with what is in it.
    Element(Element),
    /// Text, not yet escaped.
    Text(String),
    /// A style sheet or data, which hold no markup.
    Raw(String),
}

/// An element with what is in it.
#[derive(Debug, Clone)]
pub(crate) struct Element {
    name: &'static str,
    attributes: Vec<(&'static str, String)>,
    children: Vec<Node>,
    /// What it shows, in words; `None` if its parent's description applies.
    about: Option<String>,
}

/// An empty element of this name.
pub(crate) fn el(name: &'static str) -> Element {
    Element {
        name,
        attributes: Vec::new(),
        children: Vec::new(),
        about: None,
    }
}

/// An element with text from outside, isolated in its direction.
pub(crate) fn free(text: impl Into<String>) -> Element {
    el("bdi").text(text)
}

impl From<Element> for Node {
    fn from(element: Element) -> Self {
        Self::Element(element)
    }
}

impl From<&str> for Node {
    fn from(text: &str) -> Self {
        Self::Text(text.to_owned())
    }
}

impl From<String> for Node {
    fn from(text: String) -> Self {
        Self::Text(text)
    }
}

impl Element {
    pub(crate) fn with(mut self, name: &'static str, value: impl Into<String>) -> Self {
        self.attributes.push((name, value.into()));
        self
    }

    pub(crate) fn class(self, name: impl Into<String>) -> Self {
        self.with("class", name)
    }

    pub(crate) fn about(mut self, words: impl Into<String>) -> Self {
        self.about = Some(words.into());
        self
    }

    pub(crate) fn child(mut self, node: impl Into<Node>) -> Self {
        self.children.push(node.into());
        self
    }

    pub(crate) fn children<N: Into<Node>>(mut self, nodes: impl IntoIterator<Item = N>) -> Self {
        self.children.extend(nodes.into_iter().map(Into::into));
        self
    }

    /// Adds text of the program.
    pub(crate) fn text(self, text: impl Into<String>) -> Self {
        self.child(text.into())
    }

    /// Adds a style sheet or data, which hold no markup.
    pub(crate) fn raw(self, text: String) -> Self {
        self.child(Node::Raw(text))
    }
}

/// A page as text.
#[derive(Debug, Clone, Default)]
pub(crate) struct Written {
    pub(crate) text: String,
    /// Positions in the text with the description of what begins there.
    places: Vec<(usize, String)>,
    /// Whether each description stands in the text too, as `data-about` of its element.
    is_naming: bool,
}

impl Written {
    /// The text of `root`, with `head` before it.
    pub(crate) fn new(head: &str, root: &Element) -> Self {
        Self::of(head, root, false)
    }

    /// The same, with the descriptions in the text, for a script of the page.
    pub(crate) fn naming(head: &str, root: &Element) -> Self {
        Self::of(head, root, true)
    }

    fn of(head: &str, root: &Element, is_naming: bool) -> Self {
        let mut written = Self {
            text: head.to_owned(),
            places: vec![(0, "the head of the page".to_owned())],
            is_naming,
        };
        written.place("the page");
        written.element(root, "the page");
        written
    }

    /// The description of what stands at this byte of the text.
    pub(crate) fn about(&self, at: usize) -> &str {
        let after = self.places.partition_point(|(from, _)| *from <= at);
        let place = after.checked_sub(1).and_then(|at| self.places.get(at));
        place.map_or("the page", |(_, words)| words.as_str())
    }

    fn place(&mut self, words: &str) {
        self.places.push((self.text.len(), words.to_owned()));
    }

    fn element(&mut self, element: &Element, around: &str) {
        let about = element.about.as_deref().unwrap_or(around);
        if element.about.is_some() {
            self.place(about);
        }
        self.text.push('<');
        self.text.push_str(element.name);
        if let Some(about) = element.about.as_ref().filter(|_| self.is_naming) {
            self.text.push_str(" data-about=\"");
            self.escaped(about);
            self.text.push('"');
        }
        for (name, value) in &element.attributes {
            self.text.push(' ');
            self.text.push_str(name);
            self.text.push_str("=\"");
            self.escaped(value);
            self.text.push('"');
        }
        if SHAPES.contains(&element.name) {
            self.text.push('/');
        }
        self.text.push('>');
        for child in &element.children {
            match child {
                Node::Element(child) => self.element(child, about),
                Node::Text(text) => self.escaped(text),
                Node::Raw(text) => self.text.push_str(text),
            }
        }
        if !VOID.contains(&element.name) && !SHAPES.contains(&element.name) {
            self.text.push_str("</");
            self.text.push_str(element.name);
            self.text.push('>');
        }
        if BROKEN.contains(&element.name) {
            self.text.push('\n');
        }
        if element.about.is_some() {
            self.place(around);
        }
    }

    /// Appends text of an element or attribute, escaped.
    fn escaped(&mut self, text: &str) {
        for c in safe(text).chars() {
            match c {
                '&' => self.text.push_str("&amp;"),
                '<' => self.text.push_str("&lt;"),
                '>' => self.text.push_str("&gt;"),
                '"' => self.text.push_str("&quot;"),
                '\'' => self.text.push_str("&#39;"),
                other => self.text.push(other),
            }
        }
    }
}

/// The text of an element as a reader sees it: the inverse of escaping.
pub(crate) fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_outside_is_nothing_but_text() {
        let hostile = "</bdi><script>'&\"\u{202e}";
        let written = Written::new("", &el("p").with("id", hostile).child(free(hostile)));
        let shown = "&lt;/bdi&gt;&lt;script&gt;&#39;&amp;&quot;\\u{202e}";
        assert_eq!(
            written.text,
            format!("<p id=\"{shown}\"><bdi>{shown}</bdi></p>\n")
        );
        assert_eq!(unescaped(shown), "</bdi><script>'&\"\\u{202e}");
    }

    #[test]
    fn every_place_says_what_stands_there() {
        let row = el("tr")
            .about("piece 3")
            .child(el("td").about("value").text("1.62"));
        let written = Written::new("", &el("table").child(row.text("x")));
        let about = |what: &str| written.about(written.text.find(what).unwrap()).to_owned();
        assert_eq!(
            ["<table", "<tr", "1.62", "x", "</table"].map(about),
            ["the page", "piece 3", "value", "piece 3", "the page"]
        );
    }
}
