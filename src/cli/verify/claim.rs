//! The question that an export claims to answer, and the one that the user expects.

use super::export::unreadable;
use crate::cli::Failure;
use crate::cli::export::ExportRequest;
use crate::cli::query::Query;
use crate::entry::Seq;
use crate::entry::line::Digest;
use crate::export::check::{CheckSummary, Difference};
use crate::export::{ExportFormat, FileRows, Question, QuestionError};
use crate::row::COLUMNS;
use std::path::{Path, PathBuf};

/// The options that the user expects.
#[derive(Debug, clap::Args)]
#[command(mut_arg("series", |series| series.long("series").num_args(1).help_heading("From the journal")))]
pub(super) struct Demanded {
    #[command(flatten)]
    query: Query,
    /// The export has only readings that count
    #[arg(long, requires = "path", help_heading = "From the journal")]
    counted: bool,
    /// For an export without its options: the last entry of the journal when it was made; alone it means that the
    /// export has everything up to there
    #[arg(
        long,
        value_name = "SEQ",
        requires = "path",
        help_heading = "From the journal"
    )]
    last: Option<u64>,
    /// The file with the options of the export [default: in the file, or FILE.question.json beside it]
    #[arg(long, value_name = "FILE", requires = "path")]
    question: Option<PathBuf>,
}

impl Demanded {
    /// Whether any option is given.
    pub(super) fn is_any(&self) -> bool {
        self.question.is_some() || self.is_asked()
    }

    fn is_asked(&self) -> bool {
        self.counted || self.last.is_some() || !self.query.json().is_empty()
    }
}

/// The question that an export answers, as far as it is known.
pub(super) struct Claim {
    /// The request; `None` if it is unknown.
    pub(super) asked: Option<ExportRequest>,
    /// The source of the request: the file, or the user.
    pub(super) by: String,
    pub(super) question: Option<Question>,
    /// Whether the options are those stored with the export.
    pub(super) is_of_question: bool,
    /// The range of entries that it was made from.
    pub(super) range: (Seq, Seq),
    /// What is wrong with the claim.
    pub(super) differences: Vec<Difference>,
}

impl Claim {
    pub(super) fn new(
        path: &Path,
        form: ExportFormat,
        demanded: &Demanded,
    ) -> Result<Self, Failure> {
        let mut claim = Self {
            asked: None,
            by: String::new(),
            question: None,
            is_of_question: false,
            range: (Seq(0), Seq(u64::MAX)),
            differences: Vec::new(),
        };
        match Question::of(path, form, demanded.question.as_deref()) {
            Ok(None) => {}
            Ok(Some((question, by))) => {
                claim.asked = ExportRequest::of(&question);
                claim.by = by;
                if claim.asked.is_none() || question.of_lines != (form == ExportFormat::Lines) {
                    claim.asked = None;
                    let about = "the kept options belong to another file or to a newer release";
                    claim.differ(about, None);
                }
                if claim.asked.is_some() {
                    claim.range = (Seq(question.first), Seq(question.last));
                    claim.is_of_question = true;
                }
                claim.question = Some(question);
            }
            Err(QuestionError::Read(error)) => return Err(unreadable(path, &error)),
            Err(error @ QuestionError::Io { .. }) => return Err(Failure::io(error.to_string())),
            Err(error @ QuestionError::Other { .. }) => {
                claim.differ(&error.to_string(), None);
            }
        }
        if demanded.is_asked() {
            claim.demand(demanded, form);
        }
        Ok(claim)
    }

    /// Compares the claim with what the user expects.
    fn demand(&mut self, demanded: &Demanded, form: ExportFormat) {
        let claimed = self.asked.take();
        let mut asked = ExportRequest {
            lines: form == ExportFormat::Lines,
            query: demanded.query.clone(),
            counted: demanded.counted,
            settled_after: claimed.as_ref().and_then(|claimed| claimed.settled_after),
        };
        let words = claimed.map(|claimed| claimed.words());
        let is_claimed = words.as_ref() == Some(&asked.words());
        let last = demanded.last.map_or(Seq(u64::MAX), Seq);
        match words {
            Some(_) if is_claimed && (demanded.last.is_none() || last == self.range.1) => {}
            Some(_) if is_claimed => {
                let about = format!("its range ends with entry {}, not {last}", self.range.1);
                self.differ(&about, None);
            }
            Some(words) => {
                self.differ(&format!("its options are different: {words}"), None);
            }
            None => {}
        }
        if !is_claimed {
            self.range = (Seq(0), last);
            asked.settled_after = None;
        }
        self.is_of_question = is_claimed;
        "the options".clone_into(&mut self.by);
        self.asked = Some(asked);
    }

    pub(super) fn differ(&mut self, about: &str, sides: Option<(String, String)>) {
        let (exported, journal) = sides.unzip();
        let difference = Difference::of_file(about, exported, journal);
        self.differences.push(difference);
    }

    /// Compares the rest of the question with the journal: number of rows, and digest of the last line.
    pub(super) fn compare(&mut self, found: &CheckSummary, digest: Option<Digest>) {
        let question = self.question.clone().filter(|_| self.is_of_question);
        let Some(question) = question else {
            return;
        };
        let last = question.last;
        let digest = digest.map_or("(no such entry)".to_owned(), |digest| digest.to_string());
        if question.first <= last && digest != question.digest {
            let about = format!("the line of entry {last}, the last that the file was made from");
            self.differ(&about, Some((question.digest, digest)));
        }
        if question.rows != found.given && self.differences.is_empty() {
            let about = "the number of rows in the kept options";
            let sides = (question.rows.to_string(), found.given.to_string());
            self.differ(about, Some(sides));
        }
    }
}

/// The columns that no export has, and those of every export that are not there.
pub(super) fn columns(file_rows: &FileRows) -> (Vec<String>, Vec<&'static str>) {
    let names = file_rows.names();
    let has = |name: &str| names.iter().any(|known| known == name);
    let foreign = names
        .iter()
        .filter(|name| !COLUMNS.iter().any(|column| column.name == **name));
    let is_typed = has("value_nm") || has("value_mn");
    let all = COLUMNS.iter().filter(|column| {
        use crate::row::TableKind::{Text, Typed};
        column.form != if is_typed { Text } else { Typed }
    });
    let all = all.map(|column| column.name).filter(|name| !has(name));
    let absent = if names.is_empty() {
        Vec::new()
    } else {
        all.collect()
    };
    (foreign.cloned().collect(), absent)
}
