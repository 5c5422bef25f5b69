//! Why a command was refused: what was given and what was expected. The remedy stands apart.

use super::card::{KNOWN, NotACard};
use super::commands::LONGEST_NOTE;
use super::in_hand::LONGEST_NAME;
use super::production::MOST_CRIMPS;
use super::qualifying::NotShown;
use crate::entry::words::{job as in_words_job, tool as in_words};
use crate::entry::{MOST_PICTURES, Means, Seq, ToolInHand};
use crate::quantity::{Measured, nearest};
use crate::spec::job::WrongWords;
use crate::spec::{Ask, AxisName, Job, Unarmable};

/// Where cards come from.
pub(super) const PRINT: &str = "print cards with: tallyjaw cards";
const WHICH_STATION: &str = "say which one: --station NAME";
const WHICH_INSTRUMENT: &str = "say which one: --instrument NAME";
const NOTHING_TO_SAY: &str = "there is nothing to confirm";

/// Why a command was refused. A refused command changes nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[expect(missing_docs, reason = "a field is called for what it is")]
pub enum Refusal {
    /// No station has this name.
    #[error("no station {got:?}, {}", one_of(known))]
    NoStation { got: String, known: Vec<String> },
    /// The command names no station, and there are several.
    #[error("no station named, and there are several: {}", known.join(", "))]
    WhichStation { known: Vec<String> },
    /// The command names no station, and stations that were removed from the configuration still have an open series.
    #[error(
        "no station named, and {} has a series open and is not in the configuration any more",
        left.join(", ")
    )]
    WhichLeftStation { left: Vec<String> },
    /// No plan has this id.
    #[error("no plan {got:?}, {}", one_of(known))]
    NoPlan { got: String, known: Vec<String> },
    /// The plan cannot be armed.
    #[error(transparent)]
    Unarmable(Box<Unarmable>),
    /// A series is open, and the command does not say that it may be stopped early.
    #[error("series {series} is still open: {measured} of {slots} measured")]
    StillOpen {
        series: Seq,
        measured: usize,
        slots: usize,
    },
    /// No series is open.
    #[error("no series is open at {station}")]
    NothingArmed { station: String },
    /// No series was stopped early, or something was measured since.
    #[error("{station} has no series to resume")]
    NothingToResume { station: String },
    /// No reading of the series was retracted, or its piece has a newer reading.
    #[error("series {series} has no retracted reading to restore")]
    NothingToRestore { series: Seq },
    /// The series has no counted reading.
    #[error("series {series} has no counted reading to retract")]
    NothingToRetract { series: Seq },
    /// This entry is not a counted reading of the open series.
    #[error(
        "{got} is no counted reading of the open series, want one of {}",
        known.iter().map(Seq::to_string).collect::<Vec<_>>().join(", ")
    )]
    NoSuchReading { got: Seq, known: Vec<Seq> },
    /// Measuring destroyed the piece. Its reading cannot be retracted by a pedal or double zero, nor without a reason.
    #[error(
        "piece {piece} was destroyed when its {} of {value} was measured: {}",
        axis.words(),
        unasked(*by)
    )]
    Destroyed {
        piece: u32,
        axis: AxisName,
        value: Measured,
        by: Means,
    },
    /// The plan has no visual check of that number.
    #[error("no visual check {got} in series {series}, {}", numbers(*looks))]
    NoLook { got: u32, series: Seq, looks: usize },
    /// The visual check is not due for any measured piece.
    #[error("no piece of series {series} waits for visual check {look}")]
    NotDue { look: u32, series: Seq },
    /// The plan requires no visual check of this piece.
    #[error("{}", not_looked_at(*got, *series, *pieces))]
    NoPieceToLookAt {
        got: Option<u32>,
        series: Seq,
        pieces: u32,
    },
    /// The piece has no counted reading of its pull force.
    #[error("{}", not_pulled(*piece, *series))]
    NotPulled { piece: Option<u32>, series: Seq },
    /// No crimps, or more than a person counts at once.
    #[error("got {got} crimps, want 1 to {MOST_CRIMPS}")]
    Crimps { got: u32 },
    /// No crimps are held at the station.
    #[error("no crimps are held at {station}")]
    NothingHeld { station: String },
    /// Crimps are held by several entries, and the command names none of them.
    #[error("several entries hold crimps at {station}: {}", holds(known))]
    WhichHeld {
        station: String,
        known: Vec<(Seq, u64)>,
    },
    /// The entry holds no crimps, or all of them are settled.
    #[error("entry {got} holds no crimps, want one of {}", holds(known))]
    NotHeld { got: Seq, known: Vec<(Seq, u64)> },
    /// No crimps, or more than the entry still holds.
    #[error("got {got} crimps of entry {held}, want 1 to {left}")]
    NotThatMany { got: u64, held: Seq, left: u64 },
    /// No series has this number.
    #[error("no series {got} in this journal")]
    NoSeries { got: Seq },
    /// A picture names no series, and none is open or was closed shortly before.
    #[error("no series is open at {station}, and none was closed within ten minutes")]
    NothingToPicture { station: String },
    /// The piece of a picture was not measured.
    #[error("piece {piece} of series {series} was not measured")]
    NotMeasured { piece: u32, series: Seq },
    /// The series has as many pictures as it may have.
    #[error("series {series} has {MOST_PICTURES} pictures already, the most for one series")]
    TooManyPictures { series: Seq },
    /// A note or a reason is empty.
    #[error("{what} without words, want 1 to {LONGEST_NOTE} bytes")]
    NoWords { what: &'static str },
    /// A note or a reason is too long; `got` in bytes.
    #[error("got {what} of {got} bytes, want 1 to {LONGEST_NOTE}")]
    Words { what: &'static str, got: usize },
    /// An id, or a detail of a job or a lot, that cannot be stored.
    #[error("got {got:?} for the {what}: {why}")]
    Said {
        what: &'static str,
        got: String,
        why: WrongWords,
    },
    /// A series is for another job.
    #[error(
        "series {series} is for {}, not for {}: a job cannot change within a series",
        job_or_none(want.as_deref()),
        job_or_none(got.as_deref())
    )]
    OtherJob {
        got: Option<Box<Job>>,
        want: Option<Box<Job>>,
        series: Seq,
    },
    /// The plan requires information that was not given.
    #[error(
        "not set at this station, and the plan requires it: {}",
        asked(missing)
    )]
    NotSaid { missing: Vec<Ask> },
    /// The rule requires that the combination is shown, and it is not.
    #[error(transparent)]
    NotShown(Box<NotShown>),
    /// The operator's name is empty, too long, or contains characters that cannot be shown.
    #[error(
        "got {got:?}{} for the operator, want a name of 1 to {LONGEST_NAME} characters that can be shown",
        unseen.as_ref().map_or_else(String::new, |unseen| format!(" with {unseen}"))
    )]
    Operator { got: String, unseen: Option<String> },
    /// The tool is required by a series that is open at another station.
    #[error("{tool} is the tool of {other}, where series {series} is open")]
    ToolElsewhere {
        tool: String,
        other: String,
        series: Seq,
    },
    /// The open series requires another tool.
    #[error(
        "{} is not the tool of series {series}: {plan} requires {}",
        in_words(got),
        in_words(want)
    )]
    NotItsTool {
        got: Box<ToolInHand>,
        want: Box<ToolInHand>,
        series: Seq,
        plan: String,
    },
    /// The open series requires another nest.
    #[error("wrong nest {got} of {tool}: series {series} requires nest {want}")]
    NotItsNest {
        tool: String,
        got: String,
        want: String,
        series: Seq,
    },
    /// The plan requires another tool than the one in use.
    #[error("{} is in the hand, the plan requires {want}", in_words(got))]
    OtherTool { got: Box<ToolInHand>, want: String },
    /// The plan requires another nest than the one in use.
    #[error("{} is in the hand, the plan requires nest {want}", in_words(got))]
    OtherNest { got: Box<ToolInHand>, want: String },
    /// The station has no instrument of that name.
    #[error("no instrument {got:?} at {station}, {}", one_of(known))]
    NoInstrument {
        got: String,
        station: String,
        known: Vec<String>,
    },
    /// The command names no instrument, and there are several.
    #[error("no instrument named, and {station} has: {}", list(known))]
    WhichInstrument { station: String, known: Vec<String> },
    /// The instrument does not answer requests.
    #[error("{got} does not answer to requests, {}", one_of(known))]
    CannotBeAsked { got: String, known: Vec<String> },
    /// No instrument of the station answers requests.
    #[error("no instrument of {station} answers to requests")]
    NoneToAsk { station: String },
    /// The instrument's port is not open.
    #[error("{instrument} is not connected")]
    NotConnected { instrument: String },
    /// The instrument still has its confirmed adapter.
    #[error("{instrument} at {station} has the same adapter as before")]
    SameAdapter { instrument: String, station: String },
    /// All instruments of the station still have their confirmed adapters.
    #[error("every instrument at {station} has the same adapter as before")]
    SameAdapters { station: String },
    /// The command names no instrument, and several have new adapters.
    #[error("several instruments at {station} have another adapter than before: {}", instruments.join(", "))]
    WhichAdapter {
        station: String,
        instruments: Vec<String>,
    },
    /// The scanner or pedal has an adapter that nobody confirmed, so it may belong to another station.
    #[error("{name} has another adapter than before: it was {was}, it is {is}")]
    AnotherAdapter {
        name: String,
        was: String,
        is: String,
    },
    /// A text with the prefix `tj/` that is no complete card, or an unknown text without it.
    #[error("{why}: got {got:?}, want {KNOWN}")]
    NotACard { why: NotACard, got: String },
    /// A recognized text that is not one of our cards.
    #[error("{}, not one of our cards: got {got:?}", is.words())]
    Foreign { is: Foreign, got: String },
}

/// A recognized text that is not one of our cards.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Foreign {
    /// The id of a tool.
    Tool,
    /// The id of a plan.
    Plan,
    /// The name of a terminal, with the plans that measure it.
    Terminal(Vec<String>),
    /// One of our cards, but in capitals: the scanner is set to change case.
    Capitals,
    /// The bar code of a product.
    Product,
    /// A web address.
    Address,
}

impl Foreign {
    const fn words(&self) -> &'static str {
        match self {
            Self::Tool => "the name of a tool",
            Self::Plan => "the name of a plan",
            Self::Terminal(_) => "the name of a terminal",
            Self::Capitals => "a card in capital letters",
            Self::Product => "a product's bar code",
            Self::Address => "an address on the web",
        }
    }

    fn remedy(&self, got: &str) -> String {
        match self {
            Self::Tool => format!("its card says tj/tool/{got}; {PRINT}"),
            Self::Plan => format!("its card says tj/arm/{got}; {PRINT}"),
            Self::Terminal(plans) if plans.is_empty() => {
                "no plan measures it; write one".to_owned()
            }
            Self::Terminal(plans) => {
                let cards: Vec<_> = plans.iter().map(|plan| format!("tj/arm/{plan}")).collect();
                format!("scan the card of its plan: {}", cards.join(" or "))
            }
            Self::Capitals => {
                "set the scanner to send cards as they are printed, not in capitals".to_owned()
            }
            Self::Product | Self::Address => PRINT.to_owned(),
        }
    }
}

impl From<Unarmable> for Refusal {
    fn from(why: Unarmable) -> Self {
        Self::Unarmable(Box::new(why))
    }
}

impl From<Box<Unarmable>> for Refusal {
    fn from(why: Box<Unarmable>) -> Self {
        Self::Unarmable(why)
    }
}

impl Refusal {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        let remedy = match self {
            Self::NoStation { .. } => "name a station of the configuration",
            Self::WhichStation { .. } | Self::WhichLeftStation { .. } => WHICH_STATION,
            Self::NoPlan { got, known } => {
                let near = nearest(got, known.iter().map(String::as_str));
                let near = near.map(|near| format!("did you mean {near}? "));
                return format!("{}list them: tallyjaw plans", near.unwrap_or_default());
            }
            Self::Unarmable(why) => return why.remedy(),
            Self::NotShown(why) => return why.remedy(),
            Self::StillOpen { .. } => {
                "repeat it within ten seconds to stop that series early; on the command line: --cut"
            }
            Self::NothingArmed { .. } => "start one: tallyjaw arm PLAN",
            Self::NothingToResume { .. } => {
                "a series that the last start stopped early can be resumed until something is measured or a zero is off"
            }
            Self::NothingToRestore { .. } => {
                "the last retracted reading can be restored until its piece is measured again or a zero is off"
            }
            Self::NothingToRetract { .. } => "measure first",
            Self::NoSuchReading { .. } => "list them: tallyjaw status",
            Self::Destroyed { .. } => {
                "give the reason by card, page or command: tj/retract/REASON, or tallyjaw retract --reason WORDS"
            }
            Self::NoLook { .. } => "tallyjaw status lists the visual checks",
            Self::NotDue { .. } => "measure the piece first, or name it: --piece NUMBER",
            Self::NoPieceToLookAt { got: Some(_), .. } => {
                "name a piece of the series; for a check of the series as a whole, name none"
            }
            Self::NoPieceToLookAt { got: None, .. } => "name the piece: --piece NUMBER",
            Self::NotPulled { .. } => "pull it first; the question comes after the force",
            Self::Crimps { .. } => "count the crimps since the last count: tj/crimps/50",
            Self::NothingHeld { .. } => "tallyjaw runs shows what is held",
            Self::WhichHeld { .. } | Self::NotHeld { .. } => {
                "name the entry: tallyjaw settle HOW ENTRY --reason WORDS"
            }
            Self::NotThatMany { .. } => "leave the number out to settle all that are left",
            Self::NoSeries { .. } => "list them: tallyjaw series",
            Self::NothingToPicture { .. } => "name it: tallyjaw picture FILE --series NUMBER",
            Self::NotMeasured { .. } => "measure the piece first, or name one that was measured",
            Self::TooManyPictures { .. } => "take fewer, or start the next series",
            Self::NoWords { .. } => "write what it should say",
            Self::Words { .. } => "say it in fewer words, or in several notes",
            Self::Operator { .. } => "give a name or initials: tj/operator/mara",
            Self::Said { .. } => "write it as a plain text that can be read again from a report",
            Self::OtherJob { got, .. } => {
                let again = got.as_ref().map(|got| format!(": tj/job/{}", got.id));
                return format!(
                    "finish that series or stop it early (tallyjaw disarm), then set the job{}",
                    again.unwrap_or_default()
                );
            }
            Self::NotSaid { missing } => {
                let cards: Vec<_> = missing.iter().map(|ask| ask.card()).collect();
                return format!("scan {}, then start again", in_order(&cards));
            }
            Self::ToolElsewhere { other, .. } => {
                return format!(
                    "take another tool, or stop that series early: tallyjaw disarm --station {other}"
                );
            }
            Self::NotItsTool { got, want, .. } => {
                let (got, want) = (&got.id, &want.id);
                return format!(
                    "crimp with {want}; to crimp with {got}, start a plan that names it"
                );
            }
            Self::NotItsNest { want, .. } => return format!("crimp in nest {want}"),
            Self::OtherTool { want, .. } => {
                return format!("take {want} and scan its card: tj/tool/{want}");
            }
            Self::OtherNest { got, want } => {
                return format!(
                    "use nest {want} and scan its card: tj/tool/{}/{want}",
                    got.id
                );
            }
            Self::NoInstrument { known, .. } | Self::WhichInstrument { known, .. }
                if known.is_empty() =>
            {
                "add one to the configuration: tallyjaw listen PORT --write"
            }
            Self::NoInstrument { .. } => "name an instrument of this station",
            Self::WhichInstrument { .. } | Self::WhichAdapter { .. } => WHICH_INSTRUMENT,
            Self::CannotBeAsked { .. } => "only an instrument with capture = \"ask\" does",
            Self::NoneToAsk { .. } => {
                "press its data key; an instrument that does answer needs capture = \"ask\""
            }
            Self::NotConnected { .. } => "plug it in: tallyjaw ports shows what is there",
            Self::SameAdapter { .. } | Self::SameAdapters { .. } => NOTHING_TO_SAY,
            Self::AnotherAdapter { name, .. } => {
                return format!(
                    "check that it is the one of this station, then confirm it: tallyjaw adapter --instrument {name}"
                );
            }
            Self::NotACard { why, got } => return why.remedy(got),
            Self::Foreign { is, got } => return is.remedy(got),
        };
        remedy.to_owned()
    }
}

fn one_of(known: &[String]) -> String {
    match known {
        [] => "and there is none".to_owned(),
        some => format!("want one of {}", some.join(", ")),
    }
}

/// `812 (100), 900 (1)`: each entry with the number of crimps that it still holds.
fn holds(known: &[(Seq, u64)]) -> String {
    let holds = known.iter();
    let holds = holds.map(|(held, left)| format!("{held} ({left})"));
    holds.collect::<Vec<_>>().join(", ")
}

fn numbers(looks: usize) -> String {
    match looks {
        0 => "its plan has none".to_owned(),
        1 => "want 1".to_owned(),
        most => format!("want 1 to {most}"),
    }
}

fn not_looked_at(got: Option<u32>, series: Seq, pieces: u32) -> String {
    match got {
        Some(piece) => format!(
            "the plan of series {series} has no visual check of piece {piece}, want one of the pieces 1 to {pieces}"
        ),
        None => {
            format!("the visual checks of series {series} are of single pieces, want a piece")
        }
    }
}

fn not_pulled(piece: Option<u32>, series: Seq) -> String {
    match piece {
        Some(piece) => format!("piece {piece} of series {series} has no counted pull force"),
        None => format!("no piece of series {series} has a counted pull force"),
    }
}

fn list(known: &[String]) -> String {
    match known {
        [] => "none".to_owned(),
        some => some.join(", "),
    }
}

fn job_or_none(job: Option<&Job>) -> String {
    job.map_or_else(|| "no job".to_owned(), in_words_job)
}

fn asked(missing: &[Ask]) -> String {
    let words: Vec<_> = missing.iter().map(|ask| ask.words()).collect();
    in_order(&words)
}

/// `a, b and c`.
fn in_order(words: &[&str]) -> String {
    match words {
        [before @ .., last] if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        _ => words.concat(),
    }
}

/// Why the reading of a destroyed piece was not retracted.
fn unasked(by: Means) -> String {
    match by {
        Means::Pedal | Means::DoubleZero => {
            format!("not retracted {}", by.words())
        }
        Means::Command | Means::Card | Means::Folder => "a reason is required".to_owned(),
    }
}

#[cfg(test)]
mod tests;
