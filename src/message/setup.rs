//! What the page says of the configuration, and how a change of it is requested and answered.
//!
//! A change is written as a file would have it, so that no form knows more than the reader of files; what is wrong with
//! it comes back as `tallyjaw check` says it, with the place in the form.

use crate::config::Diagnostic;
use crate::config::edit::{Change, List, Which};
use crate::message::{ErrorObject, code};
use crate::quantity::{meant, named, unsafe_in};
use crate::texts::{Texts, gather_checks, keyed_check};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use std::path::Path;

/// What the keys begin with of sentences that are said at the bench, too.
const DAEMON: &str = "daemon.";
/// The longest name of whoever changes something.
const LONGEST_NAME: usize = 100;

named! {
    /// What is done to an entry of the configuration.
    pub enum Verb {
        /// A new one.
        Add = "add",
        /// Some keys of one get other values.
        Set = "set",
        /// One is taken out.
        Remove = "remove",
    }
}

/// A change of the configuration, to be checked or made.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeRequest {
    /// Of which kind is what changes.
    pub list: List,
    /// What is done.
    pub verb: Verb,
    /// The file, as [`SetupMessage`] names it; left out for a new one where no file of the kind is there yet.
    pub file: Option<String>,
    /// The digest of that file when the form was opened.
    pub digest: String,
    /// Which terminal of the file, for a row; from 0.
    pub terminal: usize,
    /// Which of them; from 0.
    pub at: usize,
    /// Keys and values as a file has them; null takes a key away.
    pub values: Map<String, Value>,
    /// Who makes the change; where it is only checked, nobody.
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
    /// True makes the change, else it is only checked.
    #[serde(default)]
    write: bool,
    who: Option<String>,
}

impl ChangeRequest {
    /// Reads the body of a request.
    ///
    /// # Errors
    ///
    /// What is wrong with it, with the value that it is about.
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

    /// Which entry of the file.
    pub const fn which(&self) -> Which {
        Which {
            list: self.list,
            terminal: self.terminal,
            at: self.at,
        }
    }

    /// What is done to its text.
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

/// What can be set up: every file with what is in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetupMessage {
    /// The main file first.
    pub files: Vec<SetupFile>,
    /// Every axis.
    pub axes: Vec<AxisForm>,
    /// The words that a plan's `purpose` is one of.
    pub purposes: Vec<&'static str>,
    /// The same of `order`.
    pub orders: Vec<&'static str>,
    /// The same of a tool's `class`.
    pub classes: Vec<&'static str>,
    /// The same of `sizing`.
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
    /// From the folder of the main file.
    pub file: String,
    /// SHA-256 of its bytes, hex.
    pub digest: String,
    /// The kinds of entries that it may have.
    pub holds: Vec<&'static str>,
    /// What it has, in its order.
    pub entries: Vec<SetupEntry>,
    /// Why its entries cannot be shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fault: Option<String>,
}

/// A terminal, a plan, a tool or an operator.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SetupEntry {
    /// Of which kind.
    pub list: &'static str,
    /// Its number among those of its kind in the file, from 0.
    pub at: usize,
    /// As the file has them.
    pub values: Map<String, Value>,
    /// The rows of a terminal.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub rows: Vec<Map<String, Value>>,
}

/// What a change comes to.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ChangeMessage {
    /// Whether the whole configuration is right with it.
    pub ok: bool,
    /// Each fault of the configuration with it.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<FaultMessage>,
    /// What looks unlikely in what was changed and may yet be meant.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub warnings: Vec<FaultMessage>,
    /// How values were understood, each with its JSON pointer: limits, and the wire in both sizes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub reads: Vec<ReadMessage>,
    /// The lines that differ.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub diff: Vec<DiffMessage>,
    /// Present once it is written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub written: Option<WrittenMessage>,
    /// What is said of it as keys of the page's table of texts, where it has them.
    #[serde(skip_serializing_if = "Texts::is_empty")]
    pub texts: Texts,
}

impl ChangeMessage {
    /// With the keys of all that it says.
    #[must_use]
    pub fn with_texts(mut self) -> Self {
        let mut texts = Texts::new();
        for fault in self.faults.iter().chain(&self.warnings) {
            let parts = [&fault.message, &fault.want];
            gather_checks(&mut texts, parts.into_iter().map(String::as_str));
            // What stands in the way of a plan has a row for both halves at once.
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

/// A fault, as `tallyjaw check` has it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FaultMessage {
    /// The value that it is about, as a JSON pointer into `values`; left out where it is elsewhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// The file.
    pub file: String,
    /// The line in it, from 1, as it would be.
    pub line: usize,
    /// What was got.
    pub message: String,
    /// What is expected.
    pub want: String,
    /// What to do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// Whether the configuration had it before the change.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub before: bool,
}

impl FaultMessage {
    /// In the file that is called `file` there.
    pub fn new(fault: &Diagnostic, file: String, pointer: Option<String>) -> Self {
        // Where a key is missing, its field is meant.
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

    /// With the files of `folder` named from there, as [`FaultMessage::file`] is.
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
    /// The value, as a JSON pointer into `values`.
    pub pointer: String,
    /// For people.
    pub text: String,
}

/// A line of a file before or after.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DiffMessage {
    /// The file.
    pub file: String,
    /// `-` or `+`.
    pub sign: &'static str,
    /// Its number, from 1, in the old file of `-`, in the new one of `+`.
    pub line: usize,
    /// The line without its end.
    pub text: String,
}

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WrittenMessage {
    /// The entry that says so; it is durable.
    pub seq: u64,
    /// The copies of the old files.
    pub copies: Vec<String>,
    /// Why the daemon has not taken the new configuration yet; left out where it has.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub not_in_force: Option<ErrorObject>,
}
