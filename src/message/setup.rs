//! The configuration as the page shows it, requests to change it, and their answers.
//!
//! The values of a change have the form that they have in a file, so forms need no rules of their own. Faults are those
//! of `tallyjaw check`, with the place in the form.

use crate::config::Diagnostic;
use crate::config::edit::{Change, List, Which};
use crate::message::{ErrorObject, code};
use crate::quantity::{meant, named, unsafe_in};
use crate::texts::{Texts, gather_checks, keyed_check};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::path::Path;

/// Beginning of the keys of sentences that are also shown at the bench.
const DAEMON: &str = "daemon.";
/// Maximum length of the name of the person who makes a change.
const LONGEST_NAME: usize = 100;

named! {
    /// The kind of change of an entry.
    pub enum Verb {
        /// Add an entry.
        Add = "add",
        /// Set some keys of an entry.
        Set = "set",
        /// Remove an entry.
        Remove = "remove",
    }
}

/// A change of the configuration, to be checked or made.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeRequest {
    /// The kind of entry.
    pub list: List,
    /// The kind of change.
    pub verb: Verb,
    /// The file, as [`SetupMessage`] names it; left out for a new entry if there is no file of its kind yet.
    pub file: Option<String>,
    /// SHA-256 of that file when the form was opened, hex.
    pub digest: String,
    /// For a row: the index of its terminal in the file, from 0.
    pub terminal: usize,
    /// The index of the entry, from 0.
    pub at: usize,
    /// Keys and values as in a file; null removes a key.
    pub values: Map<String, Value>,
    /// The person who makes the change; `None` if it is only checked.
    pub who: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Form {
    list: String,
    change: String,
    file: Option<String>,
    digest: String,
    #[serde(default)]
    terminal: usize,
    #[serde(default)]
    at: usize,
    #[serde(default)]
    values: Map<String, Value>,
    /// Whether the change is made; otherwise it is only checked.
    #[serde(default)]
    write: bool,
    who: Option<String>,
}

impl ChangeRequest {
    /// Reads the body of a request.
    ///
    /// # Errors
    ///
    /// The first fault, with the value that it is about.
    pub fn parse(body: &[u8]) -> Result<Self, ErrorObject> {
        let form: Form = serde_json::from_slice(body).map_err(|error| {
            invalid(
                error.to_string(),
                "send list, change, digest and values, as the page does".to_owned(),
            )
        })?;
        let who = form.who.map(|who| who.trim().to_owned());
        let may_sign = |who: &String| {
            (1..=LONGEST_NAME).contains(&who.chars().count()) && unsafe_in(who).is_none()
        };
        if form.write && !who.as_ref().is_some_and(may_sign) {
            let mut error = invalid(
                format!("who is {who:?}, want a name or initials"),
                "say who makes the change: it is entered in the journal".to_owned(),
            );
            error.data.pointer = Some("/who".to_owned());
            return Err(error);
        }
        Ok(Self {
            list: one_of(
                "list",
                &form.list,
                &List::ALL.map(List::name),
                List::from_name,
            )?,
            verb: one_of(
                "change",
                &form.change,
                &Verb::ALL.map(Verb::name),
                Verb::from_name,
            )?,
            file: form.file,
            digest: form.digest,
            terminal: form.terminal,
            at: form.at,
            values: form.values,
            who: who.filter(|_| form.write),
        })
    }

    /// The entry of the file.
    pub const fn which(&self) -> Which {
        Which {
            list: self.list,
            terminal: self.terminal,
            at: self.at,
        }
    }

    /// The change of its text.
    pub fn change(&self) -> Change {
        match self.verb {
            Verb::Add => Change::Add(self.values.clone()),
            Verb::Set => Change::Set(self.values.clone()),
            Verb::Remove => Change::Remove,
        }
    }
}

fn invalid(message: String, remedy: String) -> ErrorObject {
    ErrorObject::new(code::INVALID_PARAMS, message, Some(remedy))
}

fn one_of<T>(
    key: &str,
    got: &str,
    names: &[&str],
    from_name: impl Fn(&str) -> Option<T>,
) -> Result<T, ErrorObject> {
    from_name(got).ok_or_else(|| {
        let remedy = meant(got, names.iter().copied());
        let remedy = remedy.or_else(|| Some("send it as the page does".to_owned()));
        ErrorObject::new(
            code::INVALID_PARAMS,
            format!("{key} is {got:?}, want one of {}", names.join(", ")),
            remedy,
        )
    })
}

/// The configuration: every file with its entries.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetupMessage {
    /// The files, the main file first.
    pub files: Vec<SetupFile>,
    /// The axes.
    pub axes: Vec<AxisForm>,
    /// The valid values of a plan's `purpose`.
    pub purposes: Vec<&'static str>,
    /// The valid values of `order`.
    pub orders: Vec<&'static str>,
    /// The valid values of a tool's `class`.
    pub classes: Vec<&'static str>,
    /// The valid values of `sizing`.
    pub sizings: Vec<&'static str>,
}

/// An axis, for a form.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AxisForm {
    /// Its name.
    pub axis: String,
    /// `length` or `force`.
    pub dimension: &'static str,
}

/// A file of the configuration.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetupFile {
    /// Its path, relative to the folder of the main file.
    pub file: String,
    /// SHA-256 of its bytes, hex.
    pub digest: String,
    /// The kinds of entries that it may contain.
    pub holds: Vec<&'static str>,
    /// Its entries, in order.
    pub entries: Vec<SetupEntry>,
    /// Why its entries cannot be shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
}

/// A terminal, a plan, a tool or an operator.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetupEntry {
    /// The kind of entry.
    pub list: &'static str,
    /// Its index among the entries of its kind in the file, from 0.
    pub at: usize,
    /// Its values, as in the file.
    pub values: Map<String, Value>,
    /// The rows of a terminal.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rows: Vec<Map<String, Value>>,
}

/// The result of a change.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ChangeMessage {
    /// Whether the whole configuration has no faults with the change.
    pub ok: bool,
    /// The faults of the configuration with the change.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<FaultMessage>,
    /// Values in the changed part that are unlikely but possible.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<FaultMessage>,
    /// How values were understood, each with its JSON pointer: limits, and the wire by area and gauge.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reads: Vec<ReadMessage>,
    /// The lines that differ.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub diff: Vec<DiffMessage>,
    /// The written files; left out if the change was only checked or has faults.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub written: Option<WrittenMessage>,
    /// The sentences in it, as keys of the page's table of texts.
    #[serde(skip_serializing_if = "Texts::is_empty")]
    pub texts: Texts,
}

impl ChangeMessage {
    /// Adds the keys of its sentences.
    #[must_use]
    pub fn with_texts(mut self) -> Self {
        let mut texts = Texts::new();
        for fault in self.faults.iter().chain(&self.warnings) {
            let parts = [&fault.message, &fault.want];
            gather_checks(&mut texts, parts.into_iter().map(String::as_str));
            // A reason against a plan is one row of the table, message and expectation together.
            let whole = format!("{}, {}", fault.message, fault.want);
            if let Some(found) = keyed_check(&whole).filter(|found| found.key.starts_with(DAEMON)) {
                texts.insert(whole, found);
            }
            gather_checks(&mut texts, fault.remedy.as_deref());
        }
        gather_checks(&mut texts, self.reads.iter().map(|read| read.text.as_str()));
        self.texts = texts;
        self
    }
}

/// A fault, as `tallyjaw check` reports it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FaultMessage {
    /// JSON pointer of the value in `values`; left out if the fault is elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// The file.
    pub file: String,
    /// The line in the changed file, from 1.
    pub line: usize,
    /// What was found.
    pub message: String,
    /// What is expected.
    pub want: String,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// Whether the configuration had the fault before the change.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub before: bool,
}

impl FaultMessage {
    /// The message for a fault in the file that is shown as `file`.
    pub fn new(fault: &Diagnostic, file: String, pointer: Option<String>) -> Self {
        // If a key is missing, the pointer names its field.
        let pointer = pointer.map(|pointer| match fault.key {
            Some(key) if !key.starts_with('[') => format!("{pointer}/{key}"),
            Some(_) | None => pointer,
        });
        Self {
            pointer,
            file,
            line: fault.line,
            message: fault.message.clone(),
            want: fault.label.clone(),
            remedy: fault.help.clone(),
            before: false,
        }
    }

    /// Shows the files in the message relative to `folder`, as in [`FaultMessage::file`].
    #[must_use]
    pub fn within(mut self, folder: &Path) -> Self {
        let folder = folder.join("").display().to_string();
        if !folder.is_empty() {
            for text in [&mut self.message, &mut self.want] {
                *text = text.replace(&folder, "");
            }
            self.remedy = self.remedy.map(|text| text.replace(&folder, ""));
        }
        self
    }
}

/// How a value was understood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ReadMessage {
    /// JSON pointer of the value in `values`.
    pub pointer: String,
    /// The meaning, in words for people.
    pub text: String,
}

/// A line that differs between the old and the new file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DiffMessage {
    /// The file.
    pub file: String,
    /// `-` for a line of the old file, `+` for a line of the new one.
    pub sign: &'static str,
    /// Its number in that file, from 1.
    pub line: usize,
    /// The line without its end.
    pub text: String,
}

/// The result of a change that was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WrittenMessage {
    /// `seq` of the entry that records it. It is durable.
    pub seq: u64,
    /// The names of the copies of the old files.
    pub copies: Vec<String>,
    /// Why the daemon has not put the new configuration in force yet; left out if it has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_in_force: Option<ErrorObject>,
}
