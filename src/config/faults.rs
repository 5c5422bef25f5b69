//! Collects the faults of all files. A fault does not stop the search for more.

use super::Faulty;
use super::diagnostic::{Diagnostic, Lines, Severity, Source};
use crate::spec::Unarmable;
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// Maximum number of faults that are kept; nobody reads more.
const MOST: usize = 200;

/// A range of bytes in one of the files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    file: usize,
    span: Range<usize>,
}

/// A value with its place.
#[derive(Debug, Clone)]
pub(super) struct At<T> {
    pub(super) value: T,
    pub(super) place: Place,
}

/// What is wrong: what was found, what is expected, and the remedy.
#[derive(Debug, Clone)]
pub(super) struct Fault {
    pub(super) got: String,
    pub(super) want: String,
    pub(super) help: Option<String>,
    /// The key that is missing there.
    pub(super) key: Option<&'static str>,
}

impl Fault {
    pub(super) fn new(got: impl Into<String>, want: impl Into<String>) -> Self {
        Self {
            got: got.into(),
            want: want.into(),
            help: None,
            key: None,
        }
    }

    /// What is wrong is that this key is not there.
    pub(super) fn without(mut self, key: &'static str) -> Self {
        self.key = Some(key);
        self
    }

    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    pub(super) fn help_of(mut self, help: Option<String>) -> Self {
        self.help = help;
        self
    }
}

impl From<Unarmable> for Fault {
    fn from(why: Unarmable) -> Self {
        let (got, want) = why.halves();
        Self::new(got, want).help(why.remedy())
    }
}

/// The kind of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Main,
    Sheets,
    Tools,
    Plans,
    /// The shop's list of jobs, in cells.
    Jobs,
    /// A maker's sheet as CSV, for import.
    Csv,
    /// A request instead of a file. Its text has one line for each value, which is the JSON pointer of that value.
    Request,
}

#[derive(Debug)]
struct File {
    role: Role,
    source: Source,
    lines: Lines,
    /// Lines that are not valid TOML. Other faults on them may only follow from that.
    broken: BTreeSet<usize>,
}

/// The files read so far, and their faults.
#[derive(Debug, Default)]
pub(super) struct Faults {
    files: Vec<File>,
    found: Vec<(usize, Diagnostic)>,
    warned: Vec<(usize, Diagnostic)>,
    left_out: usize,
    recorded: usize,
    /// Kinds of file in which the name of an item could not be read.
    incomplete: Vec<Role>,
    /// The known keys of each table, with the names that they allow.
    vocabulary: Vocabulary,
}

/// The known keys: for the header of a table and a key in it, the names that its value may have. Empty if any value is
/// allowed.
pub type Vocabulary = BTreeMap<(&'static str, &'static str), Vec<String>>;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct FileId(usize);

impl FileId {
    pub(super) fn place(self, span: Range<usize>) -> Place {
        Place { file: self.0, span }
    }
}

impl Faults {
    /// Notes that `key` has a meaning in `table`, with the names that its value may have.
    pub(super) fn knows(&mut self, table: &'static str, key: &'static str, names: &[&str]) {
        let known = self.vocabulary.entry((table, key)).or_default();
        for name in names {
            if !known.iter().any(|known| known == name) {
                known.push((*name).to_owned());
            }
        }
    }

    /// Every key that the readers know.
    pub(super) fn vocabulary(&mut self) -> Vocabulary {
        std::mem::take(&mut self.vocabulary)
    }

    /// Adds a file. Faults are reported in the order in which files were added.
    pub(super) fn add_file(&mut self, role: Role, source: &Source) -> FileId {
        self.files.push(File {
            role,
            source: source.clone(),
            lines: Lines::new(&source.text),
            broken: BTreeSet::new(),
        });
        FileId(self.files.len() - 1)
    }

    /// Reports an error at a place.
    pub(super) fn add(&mut self, place: &Place, fault: Fault) {
        self.record(place, fault, false);
    }

    /// Removes the fault `got` that was reported at a place, because the next one there explains it better.
    pub(super) fn withdraw(&mut self, place: &Place, got: &str) {
        let is_it = |file: usize, found: &Diagnostic| {
            file == place.file && found.span == place.span && found.message == got
        };
        self.found.retain(|(file, found)| !is_it(*file, found));
    }

    /// Reports a warning at a place.
    pub(super) fn warn(&mut self, place: &Place, fault: Fault) {
        let Some(file) = self.files.get(place.file) else {
            return;
        };
        let Fault {
            got,
            want,
            help,
            key,
        } = fault;
        let span = place.span.clone();
        let mut warning = Diagnostic::at(&file.source, &file.lines, span, got, want, help);
        warning.severity = Severity::Warning;
        warning.key = key;
        if self.warned.len() < MOST {
            self.warned.push((place.file, warning));
        }
    }

    /// The warnings so far, by file and line, with their files.
    pub(super) fn warnings(&mut self) -> Faulty {
        let mut warned = std::mem::take(&mut self.warned);
        warned.sort_by_key(|(file, found)| (*file, found.span.start, found.span.end));
        let with_one = |at: &usize| warned.iter().any(|(file, _)| file == at);
        let files = self.files.iter().enumerate();
        let sources = files
            .filter(|(at, _)| with_one(at))
            .map(|(_, file)| file.source.clone());
        Faulty {
            sources: sources.collect(),
            diagnostics: warned.into_iter().map(|(_, found)| found).collect(),
        }
    }

    /// Reports a place that is not valid TOML. Later faults on that line are ignored.
    pub(super) fn add_syntax(&mut self, place: &Place, fault: Fault) {
        self.record(place, fault, true);
    }

    fn record(&mut self, place: &Place, fault: Fault, syntax: bool) {
        self.recorded += 1;
        let Some(file) = self.files.get_mut(place.file) else {
            return;
        };
        let Fault {
            got,
            want,
            help,
            key,
        } = fault;
        let span = place.span.clone();
        let mut diagnostic = Diagnostic::at(&file.source, &file.lines, span, got, want, help);
        diagnostic.key = key;
        let is_consequence = file.broken.contains(&diagnostic.line);
        if syntax {
            file.broken.insert(diagnostic.line);
        } else if is_consequence {
            return;
        }
        if self.found.len() < MOST {
            self.found.push((place.file, diagnostic));
        } else {
            self.left_out += 1;
        }
    }

    /// Whether some part of the file is not valid TOML. What seems to be missing there may only be unreadable.
    pub(super) fn is_broken(&self, file: FileId) -> bool {
        self.files
            .get(file.0)
            .is_some_and(|file| !file.broken.is_empty())
    }

    /// Notes that an item in this kind of file has no name. A reference to an unknown name may be meant for it.
    pub(super) fn leave_out_unnamed(&mut self, role: Role) {
        self.incomplete.push(role);
    }

    /// Whether an item in this kind of file could not be read. What seems to be missing may be there.
    pub(super) fn is_incomplete(&self, role: Role) -> bool {
        if self.incomplete.contains(&role) {
            return true;
        }
        let of_role = |file: &&File| file.role == role;
        let mut files = self.files.iter().filter(of_role);
        files.any(|file| !file.broken.is_empty())
    }

    /// Line of a place, from 1.
    pub(super) fn line_number(&self, place: &Place) -> usize {
        let file = self.files.get(place.file);
        file.map_or(1, |file| file.lines.line(place.span.start))
    }

    /// Whether no error was reported so far.
    pub(super) fn is_empty(&self) -> bool {
        self.found.is_empty()
    }

    /// Number of faults so far, including those that follow from a broken line.
    pub(super) fn count(&self) -> usize {
        self.recorded
    }

    /// Line of a place in words, for messages that name two places.
    pub(super) fn line_of(&self, place: &Place) -> String {
        let Some(file) = self.files.get(place.file) else {
            return String::new();
        };
        if file.role == Role::Request {
            let pointer = file.source.text.get(place.span.clone());
            return pointer.unwrap_or_default().to_owned();
        }
        let line = file.lines.line(place.span.start);
        format!("{}:{line}", file.source.path.display())
    }

    /// All faults, by file and line, with their files.
    pub(super) fn finish(mut self) -> (Vec<Diagnostic>, Vec<Source>) {
        self.found
            .sort_by_key(|(file, found)| (*file, found.span.start, found.span.end));
        let mut diagnostics: Vec<_> = self.found.into_iter().map(|(_, found)| found).collect();
        if let Some(last) = diagnostics.last_mut()
            && self.left_out > 0
        {
            let more = format!("{} more errors are not shown", self.left_out);
            last.help = Some(match last.help.take() {
                Some(help) => format!("{help}; {more}"),
                None => more,
            });
        }
        let sources = self.files.into_iter().map(|file| file.source).collect();
        (diagnostics, sources)
    }
}

/// A text for a message: in quotes, control characters escaped, cut if it is long.
pub(super) fn quoted(text: &str) -> String {
    const LONGEST: usize = 60;
    match text.char_indices().nth(LONGEST) {
        None => format!("{text:?}"),
        Some((at, _)) => format!("{:?}…", text.get(..at).unwrap_or("")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quoted_text_is_short_and_carries_no_control_character() {
        assert_eq!(quoted("a\u{1b}[2J"), r#""a\u{1b}[2J""#);
        assert_eq!(quoted(&"ä".repeat(1000)).chars().count(), 63);
    }

    #[test]
    fn endless_faults_are_cut_and_counted() {
        let source = Source {
            path: "t.toml".into(),
            text: "x\n".repeat(1000),
        };
        let mut faults = Faults::default();
        let file = faults.add_file(Role::Main, &source);
        for at in (0..1000).rev() {
            faults.add(&file.place(2 * at..2 * at + 1), Fault::new("got", "want"));
        }
        let (found, _) = faults.finish();
        assert_eq!(found.len(), MOST);
        assert!(found.is_sorted_by_key(|found| found.line));
        let last = found.last().unwrap();
        assert_eq!(last.help.as_deref(), Some("800 more errors are not shown"));
    }
}
