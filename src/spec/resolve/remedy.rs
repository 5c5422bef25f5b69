//! Remedies for a plan that cannot be armed; `check`, the sockets and the command line print the same.

use super::Unarmable;
use crate::quantity::{Area, Quantity, did_you_mean};
use crate::spec::wire::gauge;
use crate::spec::{Sizes, SizingSystem, WireSize};
use std::fmt::Display;

impl Unarmable {
    /// The two halves of its sentence: what was got, and what is wanted.
    pub fn halves(&self) -> (String, String) {
        let sentence = self.to_string();
        let (got, want) = sentence.split_once(", want ").unwrap_or((&sentence, ""));
        (got.to_owned(), format!("want {want}"))
    }

    /// What a person can do; printed on a line of its own, never part of the message.
    pub fn remedy(&self) -> String {
        let remedy = match self {
            Self::NoSuchInstrument { known, .. } if known.is_empty() => {
                "there is none yet: `tallyjaw listen PORT --write` adds one"
            }
            Self::NoTerminal { got, known }
            | Self::NoTool { got, known }
            | Self::NoNest { got, known, .. }
            | Self::NoBudget { got, known }
            | Self::NoSuchInstrument { got, known } => return meant(got, known),
            Self::NoAxis { got, known } => return meant(got.as_str(), known),
            Self::Wire(error) => return error.remedy(),
            Self::PullForce(error) => return error.remedy(),
            Self::NoRow { wire, sizes, .. } => return no_row(wire, sizes),
            Self::WrongNest { fitting, .. } | Self::NestUnnamed { fitting, .. } => {
                return fitting_nest(fitting.as_deref());
            }
            Self::NoNestForWire { .. } => return fitting_nest(None),
            Self::OfOtherStation { of, .. } => return format!("arm the plan at {of}"),
            Self::Pieces { .. } => "change `pieces` of the plan",
            Self::VerifiesCrimps => "name what is verified, or set another purpose",
            Self::BlocksFor(_) => "set `purpose = \"verification\"`",
            Self::BesideBlocks { key } => match *key {
                "pieces" => "set `repeats`: how often each block is measured",
                "decision" | "guard_factor" => {
                    "the error at each block is compared with `max_error`"
                }
                "alerts" => "nothing drifts from one block to the next",
                _ => "nothing is crimped in a verification",
            },
            Self::Nothing { .. } => "name what is measured",
            Self::Twice { .. } | Self::BlocksTooNear { .. } => "leave one of them out",
            Self::NotLimited { .. } => {
                "give its limits in that row of the sheet, or leave it out here"
            }
            Self::PulledToo { .. } => {
                "make a plan of its own for it, `axes = [\"pull_force\"]`, and crimp pieces for it"
            }
            Self::NotForTerminal { .. } => "take the tool that the terminal's maker names",
            Self::NestOfNothing { .. } => "name the tool too",
            Self::NoInstrument { .. } => "add an [[instrument]] to this station",
            Self::TooCoarse { .. } => {
                "check whether the limits are in the unit of the sheet (mm, or in?); if they are, measure with an instrument of finer resolution"
            }
            Self::NoMaxError { .. } => {
                "write `max_error` in its [[instrument]]; until then the plan cannot be armed"
            }
            Self::NoBudgetOf {
                fitting: Some(name),
                ..
            } => return format!("add {name:?} to `uncertainty` of the plan"),
            Self::NoBudgetOf { fitting: None, .. } => {
                "make an [[uncertainty]] for it, and name it in `uncertainty` of the plan"
            }
            Self::GuardTooWide { .. } => "measure with a better instrument",
            Self::NotToldApart { .. } => {
                "use order = \"by_piece\" or \"by_axis\", or narrow `plausible` of these axes"
            }
            Self::NoLengths { .. } => "name the instrument that is verified",
            Self::OutOfRange { .. } => "take a block within it",
            Self::BlockTooLong { .. } => "correct the block's length",
        };
        remedy.to_owned()
    }
}

/// Joins what was got and what is wanted into one sentence; `got` alone if it already says both, as errors of values do.
pub fn sentence(got: &str, want: &str) -> String {
    if got.contains(", want ") {
        got.to_owned()
    } else {
        format!("{got}, {want}")
    }
}

fn meant(got: &str, known: &[String]) -> String {
    let known: Vec<&str> = known.iter().map(String::as_str).collect();
    did_you_mean(got, &known)
}

pub(super) fn list(sizes: &[impl Display]) -> String {
    let sizes: Vec<_> = sizes.iter().map(ToString::to_string).collect();
    sizes.join(", ")
}

/// The wires of a nest; a nest may have none yet.
pub(super) fn made_for_words(wires: &[Area]) -> String {
    if wires.is_empty() {
        "no wire".to_owned()
    } else {
        list(wires)
    }
}

fn fitting_nest(fitting: Option<&str>) -> String {
    match fitting {
        Some(nest) => format!("nest {nest:?} of this tool is for it"),
        None => "it has no nest for this wire: take another tool".to_owned(),
    }
}

/// The remedy if the sheet has no row for the wire. Sizes are never rounded; a size of the same wire in another system
/// is named.
fn no_row(wire: &WireSize, sizes: &[Sizes]) -> String {
    let one_size = sizes.iter().filter(|sizes| !sizes.is_range());
    let mut one_size = one_size.map(|sizes| sizes.smallest());
    let near = one_size.find(|size| is_near(wire.area, *size));
    match near {
        Some(near) if metric_of(wire) == Some(near) => {
            format!("sizes are never rounded; if {near} is meant, write sizing = \"sae_metric\"")
        }
        Some(near) if wire.gauge.is_some() => format!(
            "sizes are never rounded; if {near} is meant, write wire = \"{near}\" without sizing"
        ),
        Some(_) | None => {
            "choose a terminal for this wire, or add the row from the maker's sheet".to_owned()
        }
    }
}

/// The SAE metric size of a gauge that was resolved by another system.
fn metric_of(wire: &WireSize) -> Option<Area> {
    let gauge = wire.gauge.as_deref().and_then(gauge)?;
    gauge
        .sae_metric
        .filter(|_| wire.sizing == SizingSystem::AwgArea)
}

/// Whether two areas differ by less than a twelfth: probably the same wire in two systems.
fn is_near(one: Area, other: Area) -> bool {
    let (one, other) = (one.square_micrometres(), other.square_micrometres());
    one.abs_diff(other) <= one.max(other) / 12
}

pub(super) fn why_not_apart(windows: Option<&[(Quantity, Quantity); 2]>) -> String {
    let Some([one, other]) = windows else {
        return "a limit on one side only leaves every value plausible".to_owned();
    };
    format!(
        "their plausible windows overlap, {} to {} and {} to {}",
        one.0, one.1, other.0, other.1
    )
}
