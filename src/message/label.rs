//! The text in the QR code of a label: the outcome of a series or job, and the line of the journal that proves it.
//!
//! ```text
//! TJ1 SERIES 37 ACCEPTED ENTRY 412 5F3A…                        64 hex digits: the digest of that entry's line
//! TJ1 SERIES 52 ACCEPTED WITH 2 RESERVATIONS ENTRY 498 81C0…
//! TJ1 JOB 4711/0007 REJECTED ENTRY 498 81C0…                    a job, with the serial number behind the slash
//! ```
//!
//! - A person can read it, and `verify --label` compares it with the journal.
//! - Capital letters, digits, blanks, `/`: QR codes hold these in fewer modules. Only an id may have other characters.
//! - The entry is the one that closed the series. For an open series it is the last entry about it, for a job the
//!   latest of the entries of its series.

use crate::entry::line::Digest;
use crate::entry::{Outcome, Seq};
use crate::quantity::named;
use crate::spec::Job;
use std::fmt;
use std::str::FromStr;

/// The beginning of every text. The number is its version.
pub const BEGINNING: &str = "TJ1";

/// The form as a regular expression, for the schema.
pub(super) const PATTERN: &str = "^TJ1 (SERIES [0-9]+|JOB [^/]+(/.+)?) (ACCEPTED|REJECTED|UNDECIDED|STOPPED EARLY|MEASURED|OPEN)( WITH [0-9]+ RESERVATIONS?)? ENTRY [0-9]+ [0-9A-F]{64}$";

/// What a label says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelText {
    /// The subject of the label.
    pub of: LabelOf,
    /// The outcome.
    pub state: LabelState,
    /// Number of reservations.
    pub reservations: u64,
    /// The entry that proves the outcome.
    pub entry: Seq,
    /// The digest of that entry's line.
    pub digest: Digest,
}

/// The subject of a label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LabelOf {
    /// A series, by the entry that opened it.
    Series(Seq),
    /// All series of a job.
    Job {
        /// Its id.
        id: String,
        /// If given, only the series with this serial number.
        serial: Option<String>,
    },
}

named! {
    /// The outcome of a series or a job, in the words of a label.
    pub enum LabelState {
        /// Every series is accepted.
        Accepted = "ACCEPTED",
        /// A series is rejected.
        Rejected = "REJECTED",
        /// None is rejected, and one is undecided.
        Undecided = "UNDECIDED",
        /// None is rejected or undecided, and one was stopped early.
        StoppedEarly = "STOPPED EARLY",
        /// All others are accepted, and one was measured without limits to judge by.
        Measured = "MEASURED",
        /// A series is still open, and none is rejected.
        Open = "OPEN",
    }
}

impl LabelState {
    /// The outcome of series with these outcomes (`None` for an open one): the one that weighs most. `None` without a
    /// series.
    pub fn of(outcomes: impl IntoIterator<Item = Option<Outcome>>) -> Option<Self> {
        let of_one = |outcome| match outcome {
            Some(Outcome::Accepted) => Self::Accepted,
            Some(Outcome::Rejected) => Self::Rejected,
            Some(Outcome::Undecided) => Self::Undecided,
            Some(Outcome::CutShort) => Self::StoppedEarly,
            Some(Outcome::Measured) => Self::Measured,
            None => Self::Open,
        };
        let heaviest = [
            Self::Rejected,
            Self::Open,
            Self::Undecided,
            Self::StoppedEarly,
            Self::Measured,
            Self::Accepted,
        ];
        let states: Vec<Self> = outcomes.into_iter().map(of_one).collect();
        let mut heaviest = heaviest.into_iter();
        heaviest.find(|one| states.contains(one))
    }

    /// The key of its word in the table of texts.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Accepted => "outcome.accepted",
            Self::Rejected => "outcome.rejected",
            Self::Undecided => "outcome.undecided",
            Self::StoppedEarly => "outcome.cut_short",
            Self::Measured => "outcome.measured",
            Self::Open => "label.open",
        }
    }
}

impl LabelOf {
    /// Whether a series of this job belongs to it.
    pub fn has(&self, series: Seq, job: Option<&Job>) -> bool {
        match self {
            Self::Series(id) => *id == series,
            Self::Job { id, serial } => {
                job.is_some_and(|job| job.id == *id && (serial.is_none() || job.serial == *serial))
            }
        }
    }
}

impl fmt::Display for LabelOf {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Series(id) => write!(f, "SERIES {id}"),
            Self::Job { id, serial: None } => write!(f, "JOB {id}"),
            Self::Job {
                id,
                serial: Some(serial),
            } => write!(f, "JOB {id}/{serial}"),
        }
    }
}

impl fmt::Display for LabelText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{BEGINNING} {} {}", self.of, self.state.name())?;
        match self.reservations {
            0 => {}
            1 => f.write_str(" WITH 1 RESERVATION")?,
            more => write!(f, " WITH {more} RESERVATIONS")?,
        }
        let digest = self.digest.to_string().to_ascii_uppercase();
        write!(f, " ENTRY {} {digest}", self.entry)
    }
}

/// Why a text is not that of a label.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoLabel {
    /// It begins with something else.
    #[error("it does not begin with {BEGINNING}")]
    Beginning,
    /// The end is missing or was changed.
    #[error("it does not end with ENTRY, a number and 64 hex digits")]
    Entry,
    /// The text before the entry is not an outcome.
    #[error("it names no outcome, want one of {}", LabelState::ALL.map(LabelState::name).join(", "))]
    State,
    /// Neither a series nor a job.
    #[error("it names neither SERIES with a number nor JOB with an id")]
    Of,
}

impl FromStr for LabelText {
    type Err = NoLabel;

    /// Reads the text from its end, because an id may contain any word.
    fn from_str(text: &str) -> Result<Self, NoLabel> {
        let rest = text.trim().strip_prefix(BEGINNING);
        let rest = rest.and_then(|rest| rest.strip_prefix(' '));
        let rest = rest.ok_or(NoLabel::Beginning)?;
        let (rest, digest) = rest.rsplit_once(' ').ok_or(NoLabel::Entry)?;
        let digest = digest.to_ascii_lowercase();
        let digest = digest.parse().map_err(|_| NoLabel::Entry)?;
        let (rest, entry) = rest.rsplit_once(" ENTRY ").ok_or(NoLabel::Entry)?;
        let entry = Seq(whole(entry).ok_or(NoLabel::Entry)?);
        let (rest, reservations) = without_reservations(rest);
        let mut states = LabelState::ALL.into_iter();
        let found = states.find_map(|state| {
            let of = rest.strip_suffix(state.name())?.strip_suffix(' ')?;
            Some((of, state))
        });
        let (of, state) = found.ok_or(NoLabel::State)?;
        Ok(Self {
            of: self::of(of).ok_or(NoLabel::Of)?,
            state,
            reservations,
            entry,
            digest,
        })
    }
}

/// Digits only: `+5` and `05` are not how numbers are written here.
fn whole(text: &str) -> Option<u64> {
    let number: u64 = text.parse().ok()?;
    (number.to_string() == text).then_some(number)
}

fn without_reservations(text: &str) -> (&str, u64) {
    let stripped = text.strip_suffix(" RESERVATIONS");
    let stripped = stripped.or_else(|| text.strip_suffix(" RESERVATION"));
    let found = stripped.and_then(|rest| {
        let (rest, number) = rest.rsplit_once(" WITH ")?;
        Some((rest, whole(number)?))
    });
    found.unwrap_or((text, 0))
}

fn of(text: &str) -> Option<LabelOf> {
    if let Some(number) = text.strip_prefix("SERIES ") {
        return whole(number).map(|id| LabelOf::Series(Seq(id)));
    }
    let job = text.strip_prefix("JOB ")?;
    let (id, serial) = match job.split_once('/') {
        Some((id, serial)) => (id, Some(serial.to_owned())),
        None => (job, None),
    };
    let is_empty = id.is_empty() || serial.as_deref() == Some("");
    (!is_empty).then(|| LabelOf::Job {
        id: id.to_owned(),
        serial,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn label(of: LabelOf, state: LabelState, reservations: u64) -> LabelText {
        LabelText {
            of,
            state,
            reservations,
            entry: Seq(412),
            digest: Digest::of(b"a line"),
        }
    }

    fn any_of() -> impl Strategy<Value = LabelOf> {
        let job = (
            "[^/\\s][^/]{0,20}[^/\\s]",
            proptest::option::of("\\S|\\S.{0,10}\\S"),
        );
        prop_oneof![
            any::<u64>().prop_map(|id| LabelOf::Series(Seq(id))),
            job.prop_map(|(id, serial)| LabelOf::Job { id, serial }),
        ]
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_again(of in any_of(), at in 0..LabelState::ALL.len(), reservations in 0..9_u64) {
            let label = label(of, LabelState::ALL[at], reservations);
            prop_assert_eq!(label.to_string().parse(), Ok(label));
        }

        #[test]
        fn what_is_read_is_written_again(text in "TJ1 (SERIES|JOB) [A-Z0-9 /]{1,30} (ACCEPTED|OPEN)( WITH [0-9] RESERVATIONS?)? ENTRY [0-9]{1,3} [0-9A-F]{64}") {
            if let Ok(label) = text.parse::<LabelText>() {
                let again: LabelText = label.to_string().parse().unwrap();
                prop_assert_eq!(again, label);
            }
        }
    }

    #[test]
    fn an_id_may_hold_the_words_of_an_outcome() {
        let id = "ACCEPTED WITH 2 RESERVATIONS ENTRY 3".to_owned();
        let of = LabelOf::Job { id, serial: None };
        let label = label(of, LabelState::Rejected, 0);
        assert_eq!(label.to_string().parse(), Ok(label));
    }

    #[test]
    fn what_weighs_most_is_the_state_of_a_job() {
        let accepted = Some(Outcome::Accepted);
        for (outcomes, want) in [
            (vec![accepted, accepted], LabelState::Accepted),
            (
                vec![accepted, Some(Outcome::CutShort)],
                LabelState::StoppedEarly,
            ),
            (
                vec![Some(Outcome::CutShort), Some(Outcome::Undecided)],
                LabelState::Undecided,
            ),
            (
                vec![accepted, None, Some(Outcome::Undecided)],
                LabelState::Open,
            ),
            (
                vec![None, Some(Outcome::Rejected), accepted],
                LabelState::Rejected,
            ),
        ] {
            assert_eq!(LabelState::of(outcomes), Some(want));
        }
        assert_eq!(LabelState::of([]), None);
    }
}
