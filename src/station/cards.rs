//! What cards say: `tj/arm/PLAN`, `tj/retract`, … as a scanner sends them.

use super::{Armable, Command, Refusal, arming::refuse};

/// What a card may say, for messages.
const KNOWN: &str = "tj/arm/PLAN, tj/disarm, tj/retract, tj/zero, tj/ask or tj/note/TEXT";

/// The command on a card, for this station.
///
/// # Errors
///
/// A [`Refusal`] that says what the card was instead.
pub(super) fn command(text: &str, station: &str) -> Result<Command, Refusal> {
    let station = Some(station.to_owned());
    let wrong = |what: &str| {
        refuse(
            format!("{what}: got {text:?}, want {KNOWN}"),
            "print cards with: tallyjaw cards",
        )
    };
    let said = text
        .trim()
        .strip_prefix("tj/")
        .ok_or_else(|| wrong("not one of our cards"))?;
    let (verb, rest) = said.split_once('/').unwrap_or((said, ""));
    match (verb, rest) {
        ("arm", "") => Err(wrong("a card that arms no plan")),
        ("arm", plan) => Ok(Command::Arm {
            station,
            what: Armable::Named(plan.to_owned()),
            operator: None,
        }),
        ("note", text) if !text.trim().is_empty() => Ok(Command::Note {
            station,
            text: text.to_owned(),
        }),
        ("disarm", "") => Ok(Command::Disarm { station }),
        ("retract", "") => Ok(Command::Retract { station, seq: None }),
        ("zero", "") => Ok(Command::Zero {
            station,
            instrument: None,
        }),
        ("ask", "") => Ok(Command::Ask {
            station,
            instrument: None,
        }),
        _ => Err(wrong("a card that says nothing we know")),
    }
}
