//! The words in which it is told why a plan cannot be armed: by `check`, the sockets and the command line alike.

use super::Unarmable;
use crate::quantity::{Area, did_you_mean};
use crate::spec::WireSize;

impl Unarmable {
    /// What was got, what is wanted, and what to do about it.
    pub fn told(&self) -> (String, String, String) {
        let own = str::to_owned;
        match self {
            Self::Pieces { got, most } => (
                format!("pieces is {got}"),
                format!("want a whole number from 1 to {most}"),
                own("change `pieces` of the plan"),
            ),
            Self::VerifiesCrimps => (
                own("a verification without gauge blocks"),
                own(
                    "want instrument = \"caliper-1\" and blocks = [\"2.50 mm\"] instead of terminal and wire",
                ),
                own("say what is verified, or another purpose"),
            ),
            Self::BlocksFor(purpose) => (
                format!("gauge blocks for the purpose {}", purpose.name()),
                own("want \"verification\""),
                own("say `purpose = \"verification\"`"),
            ),
            Self::BesideBlocks { key } => (
                format!("{key} beside gauge blocks"),
                own("want no such key here"),
                own(match *key {
                    "pieces" => "say `repeats`: how often each block is measured",
                    "decision" | "guard_factor" => {
                        "the error at each block is compared with `max_error`"
                    }
                    "alerts" => "nothing drifts from one block to the next",
                    _ => "nothing is crimped in a verification",
                }),
            ),
            Self::NoTerminal { got, known } => (
                format!("no terminal {got:?}"),
                own("want the id of a [[terminal]] in a sheet"),
                meant(got, known),
            ),
            Self::Wire(error) => (
                error.to_string(),
                own("want mm² as printed on the wire, or a gauge with its sizing"),
                error.remedy(),
            ),
            Self::NoRow {
                terminal,
                wire,
                sizes,
            } => (
                format!("{terminal} has no row for {wire}"),
                format!("want one of its sizes: {}", list(sizes)),
                no_row(wire, sizes),
            ),
            Self::Nothing { key } => (
                format!("{key} is an empty list"),
                format!(
                    "want {key} = [{}]",
                    if *key == "axes" {
                        "\"core_crimp_height\""
                    } else {
                        "\"2.50 mm\""
                    }
                ),
                own("name what is measured"),
            ),
            Self::Twice { key, got } => (
                format!("{key} {got:?} is there already"),
                own("want each once"),
                own("leave one of them out"),
            ),
            Self::NoAxis { got, known } => (
                format!("no axis {:?}", got.as_str()),
                own("want a built-in axis or one declared by [[axis]]"),
                meant(got.as_str(), known),
            ),
            Self::NotLimited {
                terminal,
                wire,
                axis,
                limited,
            } => (
                format!("the row of {terminal} for {wire} does not limit {axis}"),
                format!("want one of {}", limited.join(", ")),
                own("give its limits in that row of the sheet, or leave it out here"),
            ),
            Self::PullForce(error) => (
                error.to_string(),
                own("want a table with a row for this wire"),
                error.remedy(),
            ),
            Self::PulledToo { axis } => (
                format!(
                    "a pull test destroys its pieces: got pull_force and {axis} on the same ones"
                ),
                own("want pull_force alone"),
                own(
                    "make a plan of its own for it, `axes = [\"pull_force\"]`, and crimp pieces for it",
                ),
            ),
            Self::NoTool { got, known } => (
                format!("no tool {got:?}"),
                own("want the id of a [[tool]]"),
                meant(got, known),
            ),
            Self::NotForTerminal {
                tool,
                terminal,
                only,
            } => (
                format!("tool {tool} is not for terminal {terminal}"),
                format!("want a tool for it; this one is for {}", only.join(", ")),
                own("take the tool that the terminal's maker names"),
            ),
            Self::NestOfNothing { nest } => (
                format!("nest {nest:?} without a tool"),
                own("want a tool beside it"),
                own("name the tool too"),
            ),
            Self::NoNest { tool, got, known } => (
                format!("tool {tool} has no nest {got:?}"),
                own("want the id of one of its nests"),
                meant(got, known),
            ),
            Self::WrongNest {
                tool,
                nest,
                wire,
                made_for,
                fitting,
            } => (
                format!("nest {nest} of {tool} is not for {wire}"),
                format!("want a nest for it; this one is for {}", list(made_for)),
                fitting_nest(fitting.as_deref()),
            ),
            Self::NoNestForWire {
                tool,
                wire,
                made_for,
            } => (
                format!("no nest of {tool} is for {wire}"),
                format!("want a tool for it; this one is for {}", list(made_for)),
                fitting_nest(None),
            ),
            Self::NestUnnamed { tool, fitting } => (
                format!("the plan names no nest of {tool}"),
                own("want one, or the tool in the hand"),
                fitting_nest(fitting.as_deref()),
            ),
            Self::NoInstrument {
                axis,
                dimension,
                station,
            } => (
                format!("no instrument at {station} measures a {dimension}"),
                format!("want one for {axis}"),
                own("add an [[instrument]] to this station"),
            ),
            Self::TooCoarse {
                instrument,
                resolution,
                axis,
                limits,
                counts,
                least,
            } => (
                format!(
                    "{instrument} is too coarse for {axis}: {counts} counts of {resolution} in the tolerance of {limits}"
                ),
                format!("want at least {least}"),
                own("measure with an instrument of finer resolution"),
            ),
            Self::NoMaxError {
                instrument,
                of_blocks,
            } => (
                format!("{instrument} has no max_error"),
                format!(
                    "want the maximum permissible error that {}",
                    if *of_blocks {
                        "it is verified against"
                    } else {
                        "guarded judging rests on"
                    }
                ),
                own("write `max_error` in its [[instrument]]; until then the plan cannot be armed"),
            ),
            Self::GuardTooWide {
                instrument,
                axis,
                limits,
            } => (
                format!(
                    "no value of {axis} could pass: the guard band of {instrument} is wider than half the tolerance of {limits}"
                ),
                own("want a narrower one"),
                own("measure with a better instrument"),
            ),
            Self::NotToldApart {
                one,
                other,
                windows,
            } => (
                format!(
                    "by_value cannot tell {one} from {other}: {}",
                    match windows {
                        Some([one, other]) => format!(
                            "their plausible windows meet, {} to {} and {} to {}",
                            one.0, one.1, other.0, other.1
                        ),
                        None => own("a limit on one side only leaves every value plausible"),
                    }
                ),
                own("want another order"),
                own("use order = \"by_piece\" or \"by_axis\", or narrow `plausible` of these axes"),
            ),
            Self::NoSuchInstrument { got, known } if known.is_empty() => (
                format!("no instrument {got:?}"),
                own("want the name of an [[instrument]]"),
                own("there is none yet: `tallyjaw listen PORT --write` adds one"),
            ),
            Self::NoSuchInstrument { got, known } => (
                format!("no instrument {got:?}"),
                own("want the name of an [[instrument]]"),
                meant(got, known),
            ),
            Self::OfOtherStation {
                instrument,
                station,
                of,
            } => (
                format!("{instrument} is an instrument of {of}"),
                format!("want one of {station}"),
                format!("arm the plan at {of}"),
            ),
            Self::NoLengths { instrument } => (
                format!("{instrument} does not measure lengths"),
                own("want a caliper"),
                own("name the instrument that is verified"),
            ),
            Self::OutOfRange {
                block,
                instrument,
                range,
            } => (
                format!(
                    "the block {block} is outside the range of {instrument}: {} to {}",
                    range.0, range.1
                ),
                own("want one within it"),
                own("take a block within it"),
            ),
            Self::BlockTooLong { block, max_error } => (
                format!("the block {block} has no limits by {max_error}"),
                own("want a shorter one"),
                own("correct the block's length"),
            ),
            Self::BlocksTooNear {
                block,
                other,
                max_error,
            } => (
                format!(
                    "the blocks {block} and {other} cannot be told apart by an instrument with a maximum permissible error of {max_error}"
                ),
                own("want them further apart"),
                own("leave one of them out"),
            ),
        }
    }
}

/// What was got and what is wanted as one sentence. The errors of values say both themselves.
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

fn list(sizes: &[Area]) -> String {
    let sizes: Vec<_> = sizes.iter().map(Area::to_string).collect();
    sizes.join(", ")
}

fn fitting_nest(fitting: Option<&str>) -> String {
    match fitting {
        Some(nest) => format!("nest {nest:?} of this tool is for it"),
        None => "it has no nest for this wire: take another tool".to_owned(),
    }
}

/// Sizes are never rounded; where the same wire is meant under two systems, that is said.
fn no_row(wire: &WireSize, sizes: &[Area]) -> String {
    let near = sizes.iter().find(|size| is_near(wire.area, **size));
    match near {
        Some(near) if wire.gauge.is_some() => format!(
            "sizes are never rounded; if {near} is meant, say wire = \"{near}\" without sizing"
        ),
        Some(_) | None => {
            "take the terminal that is for this wire, or complete the sheet from the maker's own"
                .to_owned()
        }
    }
}

/// Within a twelfth of each other: the same wire under two systems, more likely than not.
fn is_near(one: Area, other: Area) -> bool {
    let (one, other) = (one.square_micrometres(), other.square_micrometres());
    one.abs_diff(other) <= one.max(other) / 12
}
