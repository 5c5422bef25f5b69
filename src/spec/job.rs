//! Jobs and lots: what pieces are for, and what they are made of.
//!
//! In: nothing. Out: plain values. Nothing here changes a verdict; a reading is only evidence together with them.

use crate::quantity::{named, unsafe_in};

/// The work that pieces are for.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Job {
    /// Number of the job in the shop: `4711`.
    pub id: String,
    /// Customer of the job.
    pub customer: Option<String>,
    /// Part number and revision of the harness.
    pub item: Option<String>,
    /// Serial number of the harness that is measured.
    pub serial: Option<String>,
    /// Order number of the customer.
    pub reference: Option<String>,
}

/// Longest id of a job or a lot, in characters.
pub const LONGEST_ID: usize = 100;
/// Longest of the other words about a job, in characters.
pub const LONGEST_WORDS: usize = 200;

/// What is wrong with an id or with words about a job, and what is wanted.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WrongWords {
    /// Nothing is left without the blanks around it.
    #[error("empty, want 1 to {most} characters")]
    Empty {
        /// How many there may be.
        most: usize,
    },
    /// There is too much of it.
    #[error("{got} characters, want at most {most}")]
    TooLong {
        /// How many there are.
        got: usize,
        /// How many there may be.
        most: usize,
    },
    /// Not everything in it can be seen.
    #[error("with {seen}, want characters that can be shown")]
    Unseen {
        /// What cannot be seen, in words.
        seen: String,
    },
    /// A card has the serial number behind the slash.
    #[error("with a slash, want an id without one: on a card the serial number follows a slash")]
    Slash,
}

/// The id of a job, as it is kept.
///
/// # Errors
///
/// What is wrong with it.
pub fn job_id(text: &str) -> Result<String, WrongWords> {
    let id = words(text, LONGEST_ID)?;
    if id.contains('/') {
        return Err(WrongWords::Slash);
    }
    Ok(id)
}

/// Words without the blanks around them.
///
/// # Errors
///
/// What is wrong with them.
pub fn words(text: &str, most: usize) -> Result<String, WrongWords> {
    let text = text.trim();
    if let Some(seen) = unsafe_in(text) {
        return Err(WrongWords::Unseen { seen });
    }
    match text.chars().count() {
        0 => Err(WrongWords::Empty { most }),
        got if got > most => Err(WrongWords::TooLong { got, most }),
        _ => Ok(text.to_owned()),
    }
}

/// A job of the shop's list.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct KnownJob {
    /// The job; the list names no serial number.
    pub job: Job,
    /// The plans that it is measured by; empty where the list does not say.
    pub plans: Vec<String>,
}

named! {
    /// A material of which the lot is named.
    #[derive(PartialOrd, Ord)]
    pub enum Material {
        /// The reel of terminals.
        Terminal = "terminal",
        /// The spool of wire.
        Wire = "wire",
    }
}

/// The lots in use: reel of terminals and spool of wire.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Lots {
    /// Lot of the terminals; `None` if unknown.
    pub terminal: Option<String>,
    /// Lot of the wire; `None` if unknown.
    pub wire: Option<String>,
}

impl Lots {
    /// The lot of this material.
    pub const fn of(&self, material: Material) -> Option<&String> {
        match material {
            Material::Terminal => self.terminal.as_ref(),
            Material::Wire => self.wire.as_ref(),
        }
    }

    /// Sets the lot of this material; `None` if it is unknown.
    pub fn change(&mut self, material: Material, lot: Option<String>) {
        match material {
            Material::Terminal => self.terminal = lot,
            Material::Wire => self.wire = lot,
        }
    }
}

named! {
    /// Information that a plan requires before its series starts.
    #[derive(PartialOrd, Ord)]
    pub enum Ask {
        /// The operator.
        Operator = "operator",
        /// The job that the pieces are for.
        Job = "job",
        /// The reel of terminals.
        TerminalLot = "terminal_lot",
        /// The spool of wire.
        WireLot = "wire_lot",
        /// The crimp tool in the hand.
        Tool = "tool",
    }
}

impl Ask {
    /// The words for messages: `the terminal lot`.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Operator => "the operator",
            Self::Job => "the job",
            Self::TerminalLot => "the terminal lot",
            Self::WireLot => "the wire lot",
            Self::Tool => "the tool",
        }
    }

    /// The card that says it.
    pub const fn card(self) -> &'static str {
        match self {
            Self::Operator => "tj/operator/WHO",
            Self::Job => "tj/job/ID",
            Self::TerminalLot => "tj/lot/terminal/ID",
            Self::WireLot => "tj/lot/wire/ID",
            Self::Tool => "tj/tool/ID",
        }
    }
}
