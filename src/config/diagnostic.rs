//! Every fault of a configuration with its file, line, column, caret and remedy.
//!
//! In: a place in a text and what is wrong there. Out: text for people; a program's output reads
//! the fields. Nothing in here knows what a configuration contains.

use crate::quantity::safe;
use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};
use std::ops::Range;
use std::path::PathBuf;

/// A text and where it is from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Source {
    /// Where it is from, as shown to people.
    pub path: PathBuf,
    /// The whole of it.
    pub text: String,
}

/// How bad a fault is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severity {
    /// Nothing can be done with it.
    Error,
    /// It looks wrong and may yet be meant.
    Warning,
}

/// One fault of a configuration.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// How bad it is.
    pub severity: Severity,
    /// The file.
    pub path: PathBuf,
    /// Its place in the file, in bytes.
    pub span: Range<usize>,
    /// The line it starts on, from 1.
    pub line: usize,
    /// The column it starts at, in characters, from 1.
    pub column: usize,
    /// What was got.
    pub message: String,
    /// What is expected there; beside the caret.
    pub label: String,
    /// What to do about it.
    pub help: Option<String>,
}

/// A text with the places where its lines start, so that many faults in a long file cost little.
#[derive(Debug, Clone)]
pub(super) struct Lines {
    starts: Vec<usize>,
}

impl Lines {
    /// Of this text.
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

    /// Line of the byte `at`, from 1.
    pub(super) fn line(&self, at: usize) -> usize {
        self.starts.partition_point(|start| *start <= at).max(1)
    }

    /// Line and column of the byte `at`, both from 1; a byte order mark is no column.
    fn position(&self, text: &str, at: usize) -> (usize, usize) {
        let line = self.line(at);
        let start = self.starts.get(line - 1).copied().unwrap_or(0);
        let before = text.get(start..at).unwrap_or("");
        let columns = before.chars().filter(|c| *c != '\u{feff}').count();
        (line, columns + 1)
    }
}

impl Diagnostic {
    /// A fault at `span` of `source`; a span that is no part of the text is moved to one.
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
        }
    }

    /// The fault as text: what was got, file, line and column, the line itself with a caret and
    /// what is expected, and the remedy. `text` is the text of the file.
    pub fn render(&self, text: &str, colour: bool) -> String {
        let renderer = if colour {
            Renderer::styled()
        } else {
            Renderer::plain()
        };
        // Only the line itself is handed over: many faults in a large file must cost little.
        let span = within(text, self.span.clone());
        let before = text.get(..span.start).unwrap_or("");
        let start = before.rfind('\n').map_or(0, |at| at + 1);
        let after = text.get(span.start..).unwrap_or("");
        let end = span.start + after.find(['\n', '\r']).unwrap_or(after.len());
        let line = text.get(start..end).unwrap_or("");
        let start_of_text = start + line.len() - line.trim_start_matches('\u{feff}').len();
        let line = line.trim_start_matches('\u{feff}');
        // The renderer shows the old control characters; the newer ones steer terminals too. Two
        // bytes stand for two, so that places stay.
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

    /// The path without what could steer a terminal.
    fn shown_path(&self) -> String {
        let path = self.path.display().to_string();
        safe(&path)
    }
}

/// The part of `text` nearest to `span`.
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
