//! The make-up of a wire against the size that is said of it: a cross-check, never a choice of size.

use super::strands::{Near, Strands, difference_permille, near, percent, two_decimals};
use super::{SizingSystem, WireSize};
use crate::quantity::Area;
use std::cmp::Ordering;
use std::fmt;

/// Why a make-up is not surely that of a size.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubt {
    /// Another size is nearer.
    Nearer {
        /// The make-up.
        strands: Strands,
        /// The nearer size.
        to: Near,
        /// The size that was said.
        than: Near,
    },
    /// No size is nearer, and yet it is far off.
    Far {
        /// The make-up.
        strands: Strands,
        /// The size that was said.
        from: Near,
    },
    /// The rounding of the diameter leaves two sizes possible.
    Either {
        /// The make-up.
        strands: Strands,
        /// The size that was said.
        said: Near,
        /// The other one.
        or: Near,
    },
}

impl Doubt {
    /// What a person can do; printed on a line of its own, never part of the message.
    pub const fn remedy(&self) -> &'static str {
        match self {
            Self::Nearer { .. } | Self::Far { .. } => {
                "count the strands and measure one, then compare wire, sizing and strands with the print on the reel"
            }
            Self::Either { .. } => {
                "the print on the reel decides; take the strands out once it is clear"
            }
        }
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let by = |near: &Near| percent(near.difference_permille);
        match self {
            Self::Nearer { strands, to, than } => write!(
                f,
                "{strands} is {}: this is nearer to {} ({}) than to {} ({})",
                two_decimals(strands.area()),
                to.name,
                by(to),
                than.name,
                by(than)
            ),
            Self::Far { strands, from } => write!(
                f,
                "{strands} is {}: this is far from {} ({})",
                two_decimals(strands.area()),
                from.name,
                by(from)
            ),
            Self::Either { strands, said, or } => write!(
                f,
                "{strands} is {}: this may be {} ({}) as well as {} ({})",
                two_decimals(strands.area()),
                or.name,
                by(or),
                said.name,
                by(said)
            ),
        }
    }
}

/// A nominal size may differ by this much from the area of its strands without a word, in thousandths (common practice,
/// no source).
const FAR_PERMILLE: i64 = 100;

impl Strands {
    /// Why this is not surely a wire of that size; `None` if it is the nearest size and no other is possible.
    pub fn doubt(self, wire: &WireSize) -> Option<Doubt> {
        let area = self.area();
        let said = Near {
            name: match &wire.gauge {
                Some(gauge) if wire.sizing == SizingSystem::AwgArea => {
                    format!("{gauge} AWG, {}", two_decimals(wire.area))
                }
                Some(gauge) => format!("{gauge} ga, {}", wire.area),
                None => wire.area.to_string(),
            },
            area: wire.area,
            difference_permille: difference_permille(area, wire.area),
        };
        let others = near(area).into_iter().filter(|near| near.area != wire.area);
        let other = others.min_by(|one, other| further(area, one.area, other.area));
        let (least, most) = self.possible();
        let is_possible = |near: &Near| (least..=most).contains(&near.area);
        let other = other.map(|near| Near {
            name: match near.name.strip_suffix(" AWG") {
                Some(_) => format!("{}, {}", near.name, two_decimals(near.area)),
                None => near.name,
            },
            ..near
        });
        match other {
            Some(or) if is_possible(&or) && is_possible(&said) => Some(Doubt::Either {
                strands: self,
                said,
                or,
            }),
            Some(to)
                if !is_possible(&said) && further(area, to.area, wire.area) == Ordering::Less =>
            {
                Some(Doubt::Nearer {
                    strands: self,
                    to,
                    than: said,
                })
            }
            Some(_) | None => {
                let is_far = said.difference_permille.abs() > FAR_PERMILLE;
                is_far.then_some(Doubt::Far {
                    strands: self,
                    from: said,
                })
            }
        }
    }
}

/// Which of two sizes an area is further from, as a share of the size.
fn further(area: Area, one: Area, other: Area) -> Ordering {
    let off = |size: Area| {
        let (area, size) = (area.square_micrometres(), size.square_micrometres());
        u128::from(area.abs_diff(size))
    };
    let size = |size: Area| u128::from(size.square_micrometres());
    (off(one) * size(other)).cmp(&(off(other) * size(one)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_that_the_strands_are_not_is_doubted_and_one_that_they_may_be_too() {
        let said = |strands: &str, wire: &str, sizing| {
            let text = wire.to_owned();
            let wire = super::super::resolve(&crate::spec::WireRequest { text, sizing }).unwrap();
            let doubt = strands.parse::<Strands>().unwrap().doubt(&wire);
            doubt.map(|doubt| doubt.to_string())
        };
        let awg = Some(crate::spec::SizingSystem::AwgArea);
        let metric = Some(crate::spec::SizingSystem::SaeMetric);
        for (strands, wire, sizing, want) in [
            ("30x0.25", "1.5 mm²", None, None),
            ("84x0.30", "6.0 mm²", None, None),
            (
                "19x0.40",
                "2.0 mm²",
                None,
                Some(
                    "19 × 0.40 mm is 2.39 mm²: this is nearer to 2.5 mm² (−4.5 %) than to 2.0 mm² (+19.4 %)",
                ),
            ),
            (
                "19x0.37",
                "14 ga",
                awg,
                Some(
                    "19 × 0.37 mm is 2.04 mm²: this may be 2.0 mm² (+2.1 %) as well as 14 AWG, 2.08 mm² (−1.8 %)",
                ),
            ),
            (
                "19x0.370",
                "14 ga",
                metric,
                Some(
                    "19 × 0.370 mm is 2.04 mm²: this is nearer to 14 AWG, 2.08 mm² (−1.8 %) than to 14 ga, 2.0 mm² (+2.1 %)",
                ),
            ),
            (
                "400x0.7",
                "120 mm²",
                None,
                Some("400 × 0.7 mm is 153.94 mm²: this is far from 120.0 mm² (+28.3 %)"),
            ),
        ] {
            assert_eq!(
                said(strands, wire, sizing).as_deref(),
                want,
                "{strands} {wire}"
            );
        }
    }
}
