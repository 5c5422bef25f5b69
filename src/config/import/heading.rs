//! Interprets headings by the words of the trade.
//!
//! A heading is understood only if each of its words is: "crimp height" is, "height of the housing" is not. A column
//! whose heading is not understood is reported as not used.

use crate::quantity::{Unit, named};
use crate::spec::{Axis, AxisName};
use std::fmt;

named! {
    /// The unit of a column of wire sizes.
    pub enum WireUnit {
        /// mm²
        Mm2 = "mm2",
        /// American wire gauge.
        Gauge = "awg",
    }
}

named! {
    /// What the cells of a column give for an axis.
    pub(super) enum Part {
        /// The nominal value, or limits in any form.
        Whole = "nominal",
        /// The deviation in both directions.
        Tolerance = "tolerance",
        /// The deviation upwards.
        Plus = "plus",
        /// The deviation downwards.
        Minus = "minus",
        /// The lower limit.
        Lower = "lower",
        /// The upper limit.
        Upper = "upper",
    }
}

/// The contents of a column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Target {
    /// The conductor size.
    Wire(Option<WireUnit>),
    /// The terminal's id.
    Terminal,
    /// What the maker calls the terminal.
    Name,
    /// A part of an axis.
    Axis(AxisName, Part),
    /// The user excluded the column.
    Ignored,
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Wire(None) => f.write_str("wire"),
            Self::Wire(Some(WireUnit::Mm2)) => f.write_str("wire in mm²"),
            Self::Wire(Some(WireUnit::Gauge)) => f.write_str("wire as a gauge"),
            Self::Terminal => f.write_str("terminal"),
            Self::Name => f.write_str("name of the terminal"),
            Self::Axis(axis, Part::Whole) => write!(f, "{axis}"),
            Self::Axis(axis, part) => write!(f, "{axis}, {}", part.name()),
            Self::Ignored => f.write_str("not used, by --column"),
        }
    }
}

/// A heading that was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Heading {
    pub(super) target: Target,
    /// The unit in the heading, for a length or force.
    pub(super) unit: Option<Unit>,
}

const INSULATION: &[&str] = &["insulation", "insul", "ins"];
const HEIGHT: &[&str] = &["height", "ht", "h"];
const WIDTH: &[&str] = &["width", "wd", "w"];
/// Words that occur with heights and widths of a crimp and add nothing.
const CRIMP: &[&str] = &[
    "crimp",
    "core",
    "conductor",
    "wire",
    "barrel",
    "c",
    "of",
    "the",
    "after",
    "crimping",
];
const STRIP: &[&str] = &["strip", "stripping", "stripped"];
const PULL: &[&str] = &["pull", "pullout", "pulloff", "tensile"];
const FORCE: &[&str] = &["force", "strength", "test", "out", "off", "load"];
const WIRE: &[&str] = &[
    "wire",
    "conductor",
    "cable",
    "gauge",
    "gage",
    "csa",
    "awg",
    "mm2",
    "size",
    "section",
];
const WIRE_TOO: &[&str] = &[
    "cross",
    "sectional",
    "area",
    "core",
    "range",
    "nominal",
    "american",
];
const TERMINAL: &[&str] = &["terminal", "part", "contact", "item", "article", "pn"];
const TERMINAL_TOO: &[&str] = &["number", "no", "nr", "id", "p", "n", "name", "code"];
const NAME: &[&str] = &["name", "designation"];
const NOMINAL: &[&str] = &["nominal", "nom", "target", "value", "spec", "limits"];
const TOLERANCE: &[&str] = &["tolerance", "tol", "tolerances", "±", "deviation", "dev"];
const LEAST: &[&str] = &["min", "minimum", "lower", "lsl", "lo", "low", "least"];
const MOST: &[&str] = &["max", "maximum", "upper", "usl", "hi", "high", "most"];
const PLUS: &[&str] = &["+", "plus"];
const MINUS: &[&str] = &["-", "minus"];

/// The unit that a word of a heading or cell names.
pub(super) fn unit(word: &str) -> Option<Unit> {
    match word {
        "inch" | "inches" | "in" => Some(Unit::Inch),
        "n" | "newton" | "newtons" => Some(Unit::Newton),
        "lb" | "lbs" => Some(Unit::PoundForce),
        "micron" | "microns" | "µm" | "μm" => Some(Unit::Micrometre),
        "kg" => None, // a mass; whoever means a force writes kgf
        other => Unit::from_symbol(other),
    }
}

/// The words of a heading in lower case. Units of area and compound words become one word each.
fn words(heading: &str) -> Vec<String> {
    let mut text = heading.to_lowercase();
    for (from, to) in [
        ("mm²", " mm2 "),
        ("mm^2", " mm2 "),
        ("sq mm", " mm2 "),
        ("sq. mm", " mm2 "),
        ("+/-", " ± "),
        ("±", " ± "),
        ("cut-off", "cutoff"),
        ("cut off", "cutoff"),
        ("bell-mouth", "bellmouth"),
        ("bell mouth", "bellmouth"),
        ("c/h", "ch"),
        ("c/w", "cw"),
        ("\"", " in "),
    ] {
        text = text.replace(from, to);
    }
    let apart = text.trim().to_owned();
    for (sign, word) in [("+", " + "), ("-", " - ")] {
        // A sign counts only if it stands alone or ends the heading: in `tol +`, but not in `pull-out`.
        if apart.ends_with(sign) || apart.contains(&format!("({sign})")) {
            text = text.replace(sign, word);
        }
    }
    let parted = text.split(|c: char| !(c.is_alphanumeric() || matches!(c, '±' | '+' | '-')));
    parted
        .flat_map(|word| {
            let is_sign = word == "-" || word == "+";
            let parts: Vec<_> = if is_sign {
                vec![word]
            } else {
                word.split('-').collect()
            };
            parts
        })
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}

/// What a heading means; `None` if a word of it is not understood. `left` is the axis of the column before, which a
/// bare `tol` or `max` refers to.
pub(super) fn understand(text: &str, axes: &[Axis], left: Option<&AxisName>) -> Option<Heading> {
    let mut words = words(text);
    let unit = take_unit(&mut words);
    let part = take_part(&mut words);
    let of = |name: AxisName| Heading {
        target: Target::Axis(name, part.unwrap_or(Part::Whole)),
        unit,
    };
    if let Some(known) = axes
        .iter()
        .find(|axis| axis.name.as_str() == words.join("_"))
    {
        return Some(of(known.name.clone()));
    }
    if words.is_empty() {
        // The heading only gives a part of the axis before it.
        return Some(of(left.filter(|_| part.is_some())?.clone()));
    }
    if let Some(name) = built_in(&words) {
        return Some(of(AxisName::new(name)));
    }
    if part.is_some() || unit.is_some() {
        return None;
    }
    let named = || matches!(words.as_slice(), [word] if NAME.contains(&word.as_str()));
    let target = wire(&words).or_else(|| terminal(&words));
    let target = target.or_else(|| named().then_some(Target::Name))?;
    Some(Heading { target, unit: None })
}

/// The unit in a heading, even if the rest is not understood.
pub(super) fn unit_of(text: &str) -> Option<Unit> {
    take_unit(&mut words(text))
}

/// Removes the unit from the words of a heading: in brackets, or the last word.
fn take_unit(words: &mut Vec<String>) -> Option<Unit> {
    let at = words.iter().rposition(|word| unit(word).is_some())?;
    // A single letter is a unit only as the last word: the n in `P/N` is not.
    let is_last = at + 1 == words.len();
    let is_part_number = at > 0 && words.get(at - 1).is_some_and(|before| before == "p");
    if is_part_number || (!is_last && words.get(at).is_some_and(|word| word.len() < 2)) {
        return None;
    }
    let found = unit(words.get(at)?);
    words.remove(at);
    found
}

/// Removes the part of an axis from the words of a heading.
fn take_part(words: &mut Vec<String>) -> Option<Part> {
    let has =
        |words: &[String], list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let tolerance = has(words, TOLERANCE);
    let (plus, minus) = (has(words, PLUS), has(words, MINUS));
    let (least, most) = (has(words, LEAST), has(words, MOST));
    let nominal = has(words, NOMINAL);
    let part = match (
        tolerance,
        plus || (tolerance && most),
        minus || (tolerance && least),
    ) {
        (_, true, false) => Some(Part::Plus),
        (_, false, true) => Some(Part::Minus),
        (_, true, true) | (true, false, false) => Some(Part::Tolerance),
        (false, false, false) if least && !most => Some(Part::Lower),
        (false, false, false) if most && !least => Some(Part::Upper),
        (false, false, false) => None,
    };
    if part.is_some() || (nominal && !has(words, WIRE)) {
        let lists = [TOLERANCE, PLUS, MINUS, LEAST, MOST, NOMINAL, &["limit"]];
        words.retain(|word| !lists.iter().any(|list| list.contains(&word.as_str())));
    }
    part
}

/// The built-in axis that these words name, if every word belongs to it.
fn built_in(words: &[String]) -> Option<&'static str> {
    let has = |list: &[&str]| words.iter().any(|word| list.contains(&word.as_str()));
    let only = |lists: &[&[&str]]| {
        words
            .iter()
            .all(|word| lists.iter().any(|list| list.contains(&word.as_str())))
    };
    let abbreviated = match words {
        [word] => match word.as_str() {
            "ch" | "cch" => Some("core_crimp_height"),
            "cw" | "ccw" => Some("core_crimp_width"),
            "ich" => Some("insulation_crimp_height"),
            "icw" => Some("insulation_crimp_width"),
            "bellmouth" | "bell" => Some("bellmouth"),
            "cutoff" => Some("cutoff_tab"),
            _ => None,
        },
        _ => None,
    };
    let insulation = has(INSULATION);
    let of_crimp = [INSULATION, HEIGHT, WIDTH, CRIMP];
    let crimp = match (has(HEIGHT), has(WIDTH), only(&of_crimp)) {
        (true, false, true) if insulation => Some("insulation_crimp_height"),
        (true, false, true) => Some("core_crimp_height"),
        (false, true, true) if insulation => Some("insulation_crimp_width"),
        (false, true, true) => Some("core_crimp_width"),
        (_, _, _) => None,
    };
    let others = [
        (STRIP, &["length", "wire", "insulation"][..], "strip_length"),
        (
            &["bellmouth"][..],
            &["length", "rear", "size"][..],
            "bellmouth",
        ),
        (
            &["cutoff"][..],
            &["tab", "length", "carrier"][..],
            "cutoff_tab",
        ),
        (PULL, FORCE, "pull_force"),
    ];
    let other = others
        .into_iter()
        .find(|(needed, more, _)| has(needed) && only(&[needed, more]))
        .map(|(_, _, name)| name);
    abbreviated.or(crimp).or(other)
}

fn wire(words: &[String]) -> Option<Target> {
    let is = |word: &str, list: &[&str]| list.contains(&word);
    let named = words.iter().any(|word| is(word, WIRE));
    let only = words
        .iter()
        .all(|word| is(word, WIRE) || is(word, WIRE_TOO));
    let has = |name: &str| words.iter().any(|word| word == name);
    let unit = match (has("mm2"), has("awg")) {
        (true, false) => Some(WireUnit::Mm2),
        (false, true) => Some(WireUnit::Gauge),
        (_, _) => None,
    };
    (named && only).then_some(Target::Wire(unit))
}

fn terminal(words: &[String]) -> Option<Target> {
    let is = |word: &str, list: &[&str]| list.contains(&word);
    let named = words.iter().any(|word| is(word, TERMINAL)) || *words == ["p", "n"];
    let only = words
        .iter()
        .all(|word| is(word, TERMINAL) || is(word, TERMINAL_TOO));
    (named && only).then_some(Target::Terminal)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meant(heading: &str, left: Option<&str>) -> String {
        let left = left.map(AxisName::new);
        match understand(heading, &Axis::built_in(), left.as_ref()) {
            Some(Heading { target, unit: None }) => target.to_string(),
            Some(Heading {
                target,
                unit: Some(unit),
            }) => format!("{target} in {unit}"),
            None => "?".to_owned(),
        }
    }

    #[test]
    fn headings_of_many_makers_are_understood() {
        for (heading, means) in [
            ("Wire", "wire"),
            ("Conductor size [mm²]", "wire in mm²"),
            ("Cross-section (mm2)", "wire in mm²"),
            ("mm²", "wire in mm²"),
            ("AWG", "wire as a gauge"),
            ("Wire Gauge (AWG)", "wire as a gauge"),
            ("Wire range", "wire"),
            ("Terminal P/N", "terminal"),
            ("Part No.", "terminal"),
            ("Terminal name", "terminal"),
            ("Name", "name of the terminal"),
            ("P/N", "terminal"),
            ("Crimp height", "core_crimp_height"),
            ("CRIMP HEIGHT (mm)", "core_crimp_height in mm"),
            ("Conductor crimp height, in", "core_crimp_height in in"),
            ("C/H mm", "core_crimp_height in mm"),
            ("CCW", "core_crimp_width"),
            ("core_crimp_width", "core_crimp_width"),
            ("height tol", "core_crimp_height, tolerance"),
            ("Height ±", "core_crimp_height, tolerance"),
            (
                "crimp height +/- (mm)",
                "core_crimp_height, tolerance in mm",
            ),
            ("height tol +", "core_crimp_height, plus"),
            ("height tol. -", "core_crimp_height, minus"),
            ("upper tolerance height", "core_crimp_height, plus"),
            ("Crimp height min.", "core_crimp_height, lower"),
            ("Crimp height USL", "core_crimp_height, upper"),
            ("nominal crimp width", "core_crimp_width"),
            ("Insulation crimp height", "insulation_crimp_height"),
            (
                "Ins. crimp width max [mm]",
                "insulation_crimp_width, upper in mm",
            ),
            ("Strip length", "strip_length"),
            ("Bell mouth", "bellmouth"),
            ("Cut-off tab max", "cutoff_tab, upper"),
            ("Pull-out force min (N)", "pull_force, lower in N"),
            ("Tensile strength lbf", "pull_force in lbf"),
            ("Pull test (lbs)", "pull_force in lbf"),
        ] {
            assert_eq!(meant(heading, None), means, "{heading}");
        }
    }

    #[test]
    fn a_bare_part_belongs_to_the_axis_on_its_left() {
        let height = Some("core_crimp_height");
        assert_eq!(meant("Tol.", height), "core_crimp_height, tolerance");
        assert_eq!(
            meant("± (mm)", height),
            "core_crimp_height, tolerance in mm"
        );
        assert_eq!(meant("max", height), "core_crimp_height, upper");
        assert_eq!(meant("+", height), "core_crimp_height, plus");
        assert_eq!(meant("-", height), "core_crimp_height, minus");
        assert_eq!(meant("Tol.", None), "?");
    }

    #[test]
    fn a_heading_with_a_word_that_is_not_understood_is_left_alone() {
        for heading in [
            "",
            "Remarks",
            "Height of housing",
            "Tab width",
            "Insulation diameter",
            "Wire OD (mm)",
            "Crimp height and width",
            "Retention force",
            "mm",
            "Applicator",
            "No.",
            "kg",
        ] {
            assert_eq!(meant(heading, Some("core_crimp_height")), "?", "{heading}");
        }
    }
}
