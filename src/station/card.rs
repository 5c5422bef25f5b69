//! The text on a scan card. It is written for the printer and read from the scanner in the same file, so that both stay
//! in step.
//!
//! In: a [`Card`], or the text that a scanner sent. Out: the text of the card, or the card of the text, or the reason
//! why there is none. What a card does at a station is in `cards`.

use super::refusal::PRINT;
use crate::entry::Answer;
use crate::entry::words::safe;
use crate::quantity::nearest;
use crate::spec::{Material, PullMode, Settlement};
use std::borrow::Cow;
use std::fmt;

/// Longest text of a card, in bytes. A QR code of that size still prints within five centimetres.
pub const LONGEST_CARD: usize = 512;

/// Every kind of card, as messages list them.
pub const KNOWN: &str = "tj/arm/PLAN, tj/disarm, tj/retract, tj/retract/REASON, tj/restore, tj/resume, tj/zero, tj/ask, tj/adapter, tj/operator/WHO, tj/tool/ID, tj/tool/ID/NEST, tj/job/ID, tj/job/ID/SERIAL, tj/lot/terminal/ID, tj/lot/wire/ID, tj/look/N/good, tj/look/N/bad, tj/pulled/MODE, tj/crimps/N, tj/settle/release/REASON, tj/settle/rework/REASON, tj/settle/scrap/REASON or tj/note/TEXT";

/// What a card says.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Card {
    /// `tj/arm/PLAN`: open a series of this plan.
    Arm(String),
    /// `tj/disarm`: close the open series.
    Disarm,
    /// `tj/resume`: open the series again that the last start stopped early.
    Resume,
    /// `tj/retract` or `tj/retract/REASON`: retract the last reading.
    Retract(Option<String>),
    /// `tj/restore`: undo the last retraction.
    Restore,
    /// `tj/zero`: the next frame is a zero.
    Zero,
    /// `tj/ask`: ask the instrument for a value.
    Ask,
    /// `tj/adapter`: confirm the adapter that is now on the instrument's port.
    Adapter,
    /// `tj/operator/WHO`: who measures from now on.
    Operator(String),
    /// `tj/tool/ID` or `tj/tool/ID/NEST`: the crimp tool in hand.
    Tool(String),
    /// `tj/look/N/good` or `tj/look/N/bad`: the answer to a visual check.
    Look(u32, Answer),
    /// `tj/pulled/MODE`: how a pull test failed.
    Pulled(PullMode),
    /// `tj/job/ID` or `tj/job/ID/SERIAL`: what the pieces are for.
    Job(String),
    /// `tj/lot/terminal/ID` or `tj/lot/wire/ID`: the reel or the spool in use.
    Lot(Material, String),
    /// `tj/crimps/N`: the number of crimps since the last count.
    Crimps(u32),
    /// `tj/settle/HOW/REASON`: what becomes of held crimps.
    Settle(Settlement, String),
    /// `tj/note/TEXT`: add a remark to the journal.
    Note(String),
}

/// Why a text that a scanner sent is not a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotACard {
    /// It does not begin with `tj/`.
    #[error("not one of our cards")]
    NotOurs,
    /// `tj/arm` without a plan.
    #[error("a card that starts a plan, without the plan")]
    NoPlan,
    /// `tj/operator` without a name.
    #[error("a card of an operator, without the name")]
    Nobody,
    /// `tj/tool` without a tool.
    #[error("a card of a tool, without the tool")]
    NoTool,
    /// `tj/look` without a number and an answer.
    #[error("a card of a visual check, without its number and good or bad")]
    NoAnswer,
    /// `tj/pulled` without how it failed.
    #[error("a card of a pull test, without one of the ways in which it fails")]
    NoMode,
    /// `tj/job` without a job.
    #[error("a card of a job, without the job")]
    NoJob,
    /// `tj/lot` without a lot, or of neither terminals nor wire.
    #[error("a card of a lot, without terminal/ID or wire/ID")]
    NoLot,
    /// `tj/crimps` without a number.
    #[error("a card that counts crimps, without their number")]
    NoCount,
    /// `tj/settle` without one of the decisions, or without a reason.
    #[error("a card for held crimps, without release, rework or scrap and a reason")]
    NoSettlement,
    /// The word after `tj/` is not a command.
    #[error("no card of that kind")]
    Unknown,
}

/// The words that may follow `tj/` on a card, for suggestions.
const VERBS: [&str; 17] = [
    "arm", "disarm", "retract", "restore", "resume", "zero", "ask", "adapter", "operator", "tool",
    "job", "lot", "look", "pulled", "crimps", "settle", "note",
];

impl NotACard {
    /// What a person can do about this text.
    pub(super) fn remedy(self, text: &str) -> String {
        let verb = text.split('/').nth(1).unwrap_or_default();
        let near = nearest(verb, VERBS).filter(|near| *near != verb);
        match near.filter(|_| self == Self::Unknown) {
            Some(near) => format!("did you mean tj/{near}? {PRINT}"),
            None => PRINT.to_owned(),
        }
    }
}

/// Why a [`Card`] cannot be printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CannotCarry {
    /// There is nothing after the last slash.
    #[error("the text is empty, want at least one character")]
    Empty,
    /// The text begins or ends with a blank; reading a card trims it.
    #[error("it begins or ends with a blank, which a scanner's line does not keep")]
    Untrimmed,
    /// The text holds a line break, which would end the card, or another character that cannot be seen.
    #[error("it holds a line break or another character that cannot be seen, want one plain line")]
    NotPlain,
    /// The text is longer than [`LONGEST_CARD`], which is all that is read from a scanner.
    #[error("{got} bytes on the card, want at most {LONGEST_CARD}")]
    TooLong {
        /// Length of the whole text, in bytes.
        got: usize,
    },
}

impl Card {
    /// The text to print, for example `tj/arm/pump-own`. [`Card::read`] of this text gives the same card.
    pub fn text(&self) -> Result<String, CannotCarry> {
        let reason: Option<Cow<'_, str>> = if let Self::Settle(_, reason) = self {
            Some(reason.into())
        } else {
            None
        };
        for word in self.word().into_iter().chain(reason) {
            if word.trim().is_empty() {
                return Err(CannotCarry::Empty);
            }
            if *word.trim() != *word {
                return Err(CannotCarry::Untrimmed);
            }
            if safe(&word) != word {
                return Err(CannotCarry::NotPlain);
            }
        }
        let text = self.to_string();
        if text.len() > LONGEST_CARD {
            return Err(CannotCarry::TooLong { got: text.len() });
        }
        Ok(text)
    }

    /// The card that this text means. Blanks around the text are ignored.
    pub fn read(text: &str) -> Result<Self, NotACard> {
        let said = text.trim().strip_prefix("tj/").ok_or(NotACard::NotOurs)?;
        let (verb, word) = said.split_once('/').unwrap_or((said, ""));
        let word = word.trim();
        match (verb, word) {
            ("arm", "") => Err(NotACard::NoPlan),
            ("operator", "") => Err(NotACard::Nobody),
            ("tool", "") => Err(NotACard::NoTool),
            ("job", "") => Err(NotACard::NoJob),
            ("lot", word) => lot(word).ok_or(NotACard::NoLot),
            ("note", "") => Err(NotACard::Unknown),
            ("look", word) => look(word).ok_or(NotACard::NoAnswer),
            ("crimps", word) => number(word).map(Self::Crimps).ok_or(NotACard::NoCount),
            ("settle", word) => settle(word).ok_or(NotACard::NoSettlement),
            ("pulled", word) => PullMode::from_name(word)
                .map(Self::Pulled)
                .ok_or(NotACard::NoMode),
            ("arm", word) => Ok(Self::Arm(word.to_owned())),
            ("operator", word) => Ok(Self::Operator(word.to_owned())),
            ("tool", word) => Ok(Self::Tool(word.to_owned())),
            ("job", word) => Ok(Self::Job(word.to_owned())),
            ("note", word) => Ok(Self::Note(word.to_owned())),
            ("disarm", "") => Ok(Self::Disarm),
            ("retract", "") => Ok(Self::Retract(None)),
            ("retract", word) => Ok(Self::Retract(Some(word.to_owned()))),
            ("restore", "") => Ok(Self::Restore),
            ("resume", "") => Ok(Self::Resume),
            ("zero", "") => Ok(Self::Zero),
            ("ask", "") => Ok(Self::Ask),
            ("adapter", "") => Ok(Self::Adapter),
            _ => Err(NotACard::Unknown),
        }
    }

    /// The word between the first two slashes.
    const fn verb(&self) -> &'static str {
        match self {
            Self::Arm(_) => "arm",
            Self::Disarm => "disarm",
            Self::Retract(_) => "retract",
            Self::Restore => "restore",
            Self::Resume => "resume",
            Self::Zero => "zero",
            Self::Ask => "ask",
            Self::Adapter => "adapter",
            Self::Operator(_) => "operator",
            Self::Tool(_) => "tool",
            Self::Job(_) => "job",
            Self::Lot(Material::Terminal, _) => "lot/terminal",
            Self::Lot(Material::Wire, _) => "lot/wire",
            Self::Look(..) => "look",
            Self::Pulled(_) => "pulled",
            Self::Crimps(_) => "crimps",
            Self::Settle(..) => "settle",
            Self::Note(_) => "note",
        }
    }

    /// The text after the second slash; `None` for a kind of card that has none.
    fn word(&self) -> Option<Cow<'_, str>> {
        match self {
            Self::Arm(word)
            | Self::Operator(word)
            | Self::Tool(word)
            | Self::Job(word)
            | Self::Lot(_, word)
            | Self::Note(word) => Some(word.into()),
            Self::Look(look, answer) => Some(format!("{look}/{}", answer.name()).into()),
            Self::Pulled(mode) => Some(mode.name().into()),
            Self::Crimps(crimps) => Some(crimps.to_string().into()),
            Self::Settle(how, reason) => Some(format!("{}/{reason}", how.name()).into()),
            Self::Retract(reason) => reason.as_deref().map(Into::into),
            Self::Disarm
            | Self::Restore
            | Self::Resume
            | Self::Zero
            | Self::Ask
            | Self::Adapter => None,
        }
    }
}

/// `terminal/ID` or `wire/ID`.
fn lot(word: &str) -> Option<Card> {
    let (material, lot) = word.split_once('/')?;
    let lot = Some(lot.trim()).filter(|lot| !lot.is_empty())?;
    Some(Card::Lot(Material::from_name(material)?, lot.to_owned()))
}

/// `2/good`.
fn look(word: &str) -> Option<Card> {
    let (look, answer) = word.split_once('/')?;
    Some(Card::Look(number(look)?, Answer::from_name(answer)?))
}

/// A number from 1, as it is printed.
fn number(text: &str) -> Option<u32> {
    let is_number = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    let is_number = is_number && !text.starts_with('0');
    text.parse().ok().filter(|_| is_number)
}

/// `release/REASON`, `rework/REASON` or `scrap/REASON`.
fn settle(word: &str) -> Option<Card> {
    let (how, reason) = word.split_once('/')?;
    let reason = Some(reason.trim()).filter(|reason| !reason.is_empty())?;
    Some(Card::Settle(Settlement::from_name(how)?, reason.to_owned()))
}

impl fmt::Display for Card {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.word() {
            Some(word) => write!(f, "tj/{}/{word}", self.verb()),
            None => write!(f, "tj/{}", self.verb()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_notes_on_scanners_have_every_kind_of_card() {
        let notes = include_str!("../../hardware-notes/scanner.md");
        for card in KNOWN.replace(" or ", ", ").split(", ") {
            assert!(notes.contains(&format!("`{card}`")), "{card}");
        }
    }

    fn any_card() -> impl Strategy<Value = Card> {
        let word = prop_oneof!["[a-zA-Z0-9._-]{1,64}", "[ -~/]{0,30}", ".{0,200}", "\\PC*"];
        (0..19_u8, word).prop_map(|(kind, word): (u8, String)| match kind {
            0 => Card::Arm(word),
            1 => Card::Operator(word),
            2 => Card::Tool(word),
            3 => Card::Note(word),
            4 => Card::Disarm,
            5 => Card::Retract(None),
            7 => Card::Retract(Some(word)),
            8 => Card::Restore,
            9 => Card::Resume,
            6 => Card::Zero,
            10 => Card::Adapter,
            12 => Card::Job(word),
            13 => Card::Lot(Material::Terminal, word),
            14 => Card::Lot(Material::Wire, word),
            15 => Card::Look(u32::try_from(word.len()).unwrap() + 1, Answer::Bad),
            16 => Card::Pulled(PullMode::BrokeInWire),
            17 => Card::Crimps(u32::try_from(word.len()).unwrap() + 1),
            18 => Card::Settle(Settlement::Rework, word),
            _ => Card::Ask,
        })
    }

    proptest! {
        #[test]
        fn what_is_printed_is_read_as_the_same_card(card in any_card(), blanks in "[ \t]{0,3}") {
            if let Ok(text) = card.text() {
                prop_assert!(text.len() <= LONGEST_CARD && !text.contains(['\r', '\n']));
                prop_assert_eq!(Card::read(&text), Ok(card.clone()));
                prop_assert_eq!(Card::read(&format!("{blanks}{text}{blanks}")), Ok(card));
            }
        }

        #[test]
        fn a_name_of_the_configuration_can_always_be_carried(name in "[a-zA-Z0-9][a-zA-Z0-9._-]{0,63}") {
            for card in [Card::Arm(name.clone()), Card::Tool(name.clone()), Card::Operator(name)] {
                prop_assert!(card.text().is_ok());
            }
        }
    }

    #[test]
    fn every_kind_of_card_has_its_text() {
        let word = || "x y".to_owned();
        for (card, text) in [
            (Card::Arm(word()), "tj/arm/x y"),
            (Card::Disarm, "tj/disarm"),
            (Card::Retract(None), "tj/retract"),
            (Card::Retract(Some(word())), "tj/retract/x y"),
            (Card::Restore, "tj/restore"),
            (Card::Resume, "tj/resume"),
            (Card::Zero, "tj/zero"),
            (Card::Ask, "tj/ask"),
            (Card::Adapter, "tj/adapter"),
            (Card::Operator(word()), "tj/operator/x y"),
            (Card::Tool(word()), "tj/tool/x y"),
            (Card::Job(word()), "tj/job/x y"),
            (Card::Lot(Material::Terminal, word()), "tj/lot/terminal/x y"),
            (Card::Lot(Material::Wire, word()), "tj/lot/wire/x y"),
            (Card::Look(12, Answer::Good), "tj/look/12/good"),
            (Card::Look(1, Answer::Bad), "tj/look/1/bad"),
            (Card::Pulled(PullMode::PulledOut), "tj/pulled/pulled_out"),
            (Card::Crimps(50), "tj/crimps/50"),
            (
                Card::Settle(Settlement::Scrap, word()),
                "tj/settle/scrap/x y",
            ),
            (Card::Note(word()), "tj/note/x y"),
        ] {
            assert_eq!(card.text().as_deref(), Ok(text));
            assert_eq!(Card::read(text), Ok(card));
        }
    }

    #[test]
    fn an_answer_without_number_or_word_is_no_card() {
        for text in [
            "tj/look",
            "tj/look/",
            "tj/look/0/good",
            "tj/look/1",
            "tj/look/1/fine",
            "tj/look/+1/bad",
        ] {
            assert_eq!(Card::read(text), Err(NotACard::NoAnswer), "{text}");
        }
        for text in ["tj/crimps", "tj/crimps/", "tj/crimps/0", "tj/crimps/-5"] {
            assert_eq!(Card::read(text), Err(NotACard::NoCount), "{text}");
        }
        for text in ["tj/settle/scrap", "tj/settle/scrap/ ", "tj/settle/keep/x"] {
            assert_eq!(Card::read(text), Err(NotACard::NoSettlement), "{text}");
        }
        for text in ["tj/pulled", "tj/pulled/", "tj/pulled/slipped"] {
            assert_eq!(Card::read(text), Err(NotACard::NoMode), "{text}");
        }
    }

    #[test]
    fn a_text_that_a_scanner_would_change_is_not_printed() {
        let note = |text: &str| Card::Note(text.to_owned()).text();
        assert_eq!(note(" "), Err(CannotCarry::Empty));
        assert_eq!(note("a "), Err(CannotCarry::Untrimmed));
        assert_eq!(note("a\nb"), Err(CannotCarry::NotPlain));
        assert_eq!(note("a\u{202e}b"), Err(CannotCarry::NotPlain));
        assert_eq!(
            note(&"é".repeat(253)),
            Err(CannotCarry::TooLong { got: 514 })
        );
        assert!(note(&"é".repeat(252)).is_ok());
    }
}
