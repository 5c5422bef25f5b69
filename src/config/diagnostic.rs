//! A fault of a configuration with its file, line, column, caret and remedy.
//!
//! In: a place in a text, and what is wrong there. Out: text for people, or fields for programs. This file does not
//! know what a configuration contains.

use crate::quantity::safe;
use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::ops::Range;
use std::path::PathBuf;

/// A text and the file that it is from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// The file, as shown to people.
    pub path: PathBuf,
    /// The whole text.
    pub text: String,
}

/// Whether a fault stops the configuration from being used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// The configuration cannot be used.
    Error,
    /// The configuration can be used; the value is unusual.
    Warning,
}

/// One fault of a configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Error or warning.
    pub severity: Severity,
    /// The file with the fault.
    pub path: PathBuf,
    /// Place of the fault in the text, in bytes.
    pub span: Range<usize>,
    /// Line where the place begins, from 1.
    pub line: usize,
    /// Column where the place begins, in characters, from 1.
    pub column: usize,
    /// What was found.
    pub message: String,
    /// What is expected; shown at the caret.
    pub label: String,
    /// What to do; `None` if the label says it all.
    pub help: Option<String>,
    /// The key that is missing there, if that is the fault.
    pub key: Option<&'static str>,
}

/// Start of each line of a text. It is computed once, so that many faults in a long file stay fast.
#[derive(Debug, Clone)]
pub(super) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    /// The line starts of `text`.
    pub(super) fn new(text: &str) -> Self {
        let after_ends = text
            .bytes()
            .enumerate()
            .filter(|(_, byte)| *byte == b'\n')
            .map(|(at, _)| at + 1);
        Self {
            starts: std::iter::once(0).chain(after_ends).collect(),
        }
    }

    /// The line of the byte `at`, from 1.
    pub(super) fn line(&self, at: usize) -> usize {
        self.starts.partition_point(|start| *start <= at).max(1)
    }

    /// Line and column of the byte `at`, both from 1. A byte order mark does not count as a column.
    fn position(&self, text: &str, at: usize) -> (usize, usize) {
        let line = self.line(at);
        let start = self.starts.get(line - 1).copied().unwrap_or(0);
        let before = text.get(start..at).unwrap_or("");
        let columns = before.chars().filter(|c| *c != '\u{feff}').count();
        (line, columns + 1)
    }
}

impl Diagnostic {
    /// A fault at `span` of `source`. A span outside the text is moved to its nearest place.
    pub(super) fn at(
        source: &Source,
        lines: &Lines,
        span: Range<usize>,
        message: String,
        label: String,
        help: Option<String>,
    ) -> Self {
        let span = within(&source.text, span);
        let (line, column) = lines.position(&source.text, span.start);
        Self {
            severity: Severity::Error,
            path: source.path.clone(),
            span,
            line,
            column,
            message,
            label,
            help,
            key: None,
        }
    }

    /// The fault as text: what was found, file, line and column, the line itself with a caret and what is expected, and
    /// the remedy. `text` is the text of the file.
    pub fn render(&self, text: &str, colour: bool) -> String {
        let renderer = if colour {
            Renderer::styled()
        } else {
            Renderer::plain()
        };
        // The renderer gets only the line itself, so that many faults in a large file stay fast.
        let span = within(text, self.span.clone());
        let before = text.get(..span.start).unwrap_or("");
        let start = before.rfind('\n').map_or(0, |at| at + 1);
        let after = text.get(span.start..).unwrap_or("");
        let end = span.start + after.find(['\n', '\r']).unwrap_or(after.len());
        let line = text.get(start..end).unwrap_or("");
        let start_of_text = start + line.len() - line.trim_start_matches('\u{feff}').len();
        let line = line.trim_start_matches('\u{feff}');
        // The renderer escapes the old control characters. The newer ones steer terminals too; two bytes replace two,
        // so that columns stay right.
        let newer = |c: char| matches!(c, '\u{80}'..='\u{9f}');
        let line = line.replace(newer, "\u{b7}");
        let within_line = |at: usize| at.clamp(start_of_text, end) - start_of_text;
        let snippet = Snippet::source(line)
            .line_start(self.line)
            .path(self.shown_path())
            .annotation(
                AnnotationKind::Primary
                    .span(within_line(span.start)..within_line(span.end))
                    .label(self.label.as_str()),
            );
        let level = match self.severity {
            Severity::Error => Level::ERROR,
            Severity::Warning => Level::WARNING,
        };
        let mut group = level.primary_title(self.message.as_str()).element(snippet);
        if let Some(help) = &self.help {
            group = group.element(Level::HELP.message(help.as_str()));
        }
        renderer.decor_style(DecorStyle::Ascii).render(&[group])
    }

    /// The path, with characters escaped that could steer a terminal.
    fn shown_path(&self) -> String {
        let path = self.path.display().to_string();
        safe(&path)
    }
}

/// The part of `text` that is nearest to `span`.
fn within(text: &str, span: Range<usize>) -> Range<usize> {
    let floor = |at: usize| {
        (0..=at.min(text.len()))
            .rev()
            .find(|at| text.is_char_boundary(*at))
            .unwrap_or(0)
    };
    let start = floor(span.start);
    start..floor(span.end).max(start)
}
