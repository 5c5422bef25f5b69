//! What a scanned card means at a station.

use super::card::{Card, KNOWN, NotACard};
use super::{Armable, Command, Refusal, arming::refuse};

/// The command on a card, for this station.
///
/// # Errors
///
/// A [`Refusal`] that says what the card was instead.
pub(super) fn command(text: &str, station: &str) -> Result<Command, Refusal> {
    let station = Some(station.to_owned());
    let wrong = |what: NotACard| {
        refuse(
            format!("{what}: got {text:?}, want {KNOWN}"),
            "print cards with: tallyjaw cards",
        )
    };
    match Card::read(text).map_err(wrong)? {
        Card::Arm(plan) => Ok(Command::Arm {
            station,
            what: Armable::Named(plan),
            operator: None,
        }),
        Card::Note(text) => Ok(Command::Note { station, text }),
        Card::Disarm => Ok(Command::Disarm { station }),
        Card::Retract => Ok(Command::Retract { station, seq: None }),
        Card::Zero => Ok(Command::Zero {
            station,
            instrument: None,
        }),
        Card::Ask => Ok(Command::Ask {
            station,
            instrument: None,
        }),
        Card::Operator(_) | Card::Tool(_) => Err(wrong(NotACard::Unknown)),
    }
}
