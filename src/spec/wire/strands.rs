//! A wire by its make-up: strands and their diameter, and what area that is.
//!
//! The area is exact to a square micrometre. It is never turned into a size: what sizes are near to it is said, with the
//! difference from each.

use super::{Gauge, table};
use crate::quantity::{Area, Decimal, Dimension, Length, Measured, Quantity};
use std::fmt;
use std::str::FromStr;

/// Most strands of a conductor.
const MOST: u32 = 10_000;
/// The thinnest and the thickest strand, in nanometres: 0.01 mm and 10 mm.
const DIAMETERS: std::ops::RangeInclusive<i64> = 10_000..=10_000_000;
/// π·10¹⁸, rounded.
const PI_E18: u128 = 3_141_592_653_589_793_238;

/// Nominal sizes of conductors in mm², in square micrometres: those of IEC 60228 and of ISO 6722-1 (from memory).
const NOMINAL: &[u64] = &[
    130_000,
    220_000,
    350_000,
    500_000,
    750_000,
    1_000_000,
    1_250_000,
    1_500_000,
    2_000_000,
    2_500_000,
    3_000_000,
    4_000_000,
    5_000_000,
    6_000_000,
    8_000_000,
    10_000_000,
    12_000_000,
    16_000_000,
    20_000_000,
    25_000_000,
    35_000_000,
    50_000_000,
    70_000_000,
    95_000_000,
    120_000_000,
];

/// The make-up of a conductor: `19 × 0.37 mm`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Strands {
    count: u32,
    /// With the digits that were written.
    diameter: Measured,
}

/// Why a text is no make-up.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum StrandsError {
    /// Not a number of strands and a diameter.
    #[error("got {got:?}, want strands and their diameter such as \"19x0.37\" or \"19 × 0.37 mm\"")]
    NotStrands {
        /// The text.
        got: String,
    },
    /// No strands, or more than any conductor has.
    #[error("got {got} strands, want 1 to {MOST}")]
    Count {
        /// Their number.
        got: u64,
    },
    /// A diameter that no strand has.
    #[error("got a strand of {got}, want 0.01 mm to 10 mm")]
    Diameter {
        /// Its diameter.
        got: Measured,
    },
}

/// A size that an area is near to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Near {
    /// The size as one writes it: `2.0 mm²`, `14 AWG`.
    pub name: String,
    /// Its area.
    pub area: Area,
    /// How much larger the area in question is, in thousandths of the size, rounded.
    pub difference_permille: i64,
}

impl Strands {
    /// Number of strands.
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// Diameter of a strand.
    pub fn diameter(&self) -> Length {
        match self.diameter.quantity() {
            Quantity::Length(length) => length,
            Quantity::Force(_) => Length::from_nanometres(0),
        }
    }

    /// The sum of the areas of its strands: count · π/4 · d², to the nearest square micrometre.
    pub fn area(&self) -> Area {
        self.area_at(self.diameter().nanometres().unsigned_abs() * 2)
    }

    /// The areas that the rounding of the diameter to its last digit leaves possible.
    pub fn possible(&self) -> (Area, Area) {
        let twice = self.diameter().nanometres().unsigned_abs() * 2;
        let step = Quantity::of(
            Decimal::new(1, self.diameter.digits().decimals()),
            self.diameter.unit(),
        );
        let half_twice = step.map_or(0, |step| step.base().unsigned_abs());
        (
            self.area_at(twice.saturating_sub(half_twice)),
            self.area_at(twice.saturating_add(half_twice)),
        )
    }

    /// The area with strands of half of this diameter in nanometres.
    fn area_at(&self, twice_nanometres: u64) -> Area {
        // count·π/4·(t/2)² nm² with π in units of 10⁻¹⁸, and 10⁶ nm² in a µm²; at most 2·10³⁷, which 128 bits hold.
        const DIVISOR: u128 = 16 * 1_000_000 * 1_000_000_000_000_000_000;
        let squared = u128::from(twice_nanometres) * u128::from(twice_nanometres);
        let scaled = (squared * u128::from(self.count)).saturating_mul(PI_E18);
        let rounded = scaled.saturating_add(DIVISOR / 2) / DIVISOR;
        Area::from_square_micrometres(u64::try_from(rounded).unwrap_or(u64::MAX))
    }
}

impl FromStr for Strands {
    type Err = StrandsError;

    fn from_str(text: &str) -> Result<Self, StrandsError> {
        let trimmed = text.trim();
        let not_strands = || StrandsError::NotStrands {
            got: trimmed.to_owned(),
        };
        let (count, diameter) = trimmed
            .split_once(['x', 'X', '×', '*'])
            .ok_or_else(not_strands)?;
        let got: u64 = count.trim().parse().map_err(|_| not_strands())?;
        let diameter = diameter.trim();
        let with_unit = if diameter.ends_with(|c: char| c.is_ascii_digit()) {
            format!("{diameter} mm")
        } else {
            diameter.to_owned()
        };
        let diameter: Measured = with_unit.parse().map_err(|_| not_strands())?;
        if diameter.quantity().dimension() != Dimension::Length {
            return Err(not_strands());
        }
        let count = u32::try_from(got).ok();
        let count = count.filter(|count| (1..=MOST).contains(count));
        let count = count.ok_or(StrandsError::Count { got })?;
        if !DIAMETERS.contains(&diameter.quantity().base()) {
            return Err(StrandsError::Diameter { got: diameter });
        }
        Ok(Self { count, diameter })
    }
}

impl fmt::Display for Strands {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} × {}", self.count, self.diameter)
    }
}

/// The sizes next to an area: the two nominal ones in mm² and the two gauges, nearest first in each; fewer at the ends
/// of the tables.
pub fn near(area: Area) -> Vec<Near> {
    let nominal = NOMINAL.iter().map(|um2| {
        let size = Area::from_square_micrometres(*um2);
        (size.to_string(), size)
    });
    let gauges = table()
        .iter()
        .map(|gauge: &Gauge| (format!("{} AWG", gauge.name), gauge.awg_area));
    let mut found = beside(area, nominal);
    found.extend(beside(area, gauges));
    found
}

/// The largest size not above an area and the smallest above it, nearest first.
fn beside(area: Area, sizes: impl Iterator<Item = (String, Area)>) -> Vec<Near> {
    let sizes: Vec<_> = sizes.collect();
    let below = sizes.iter().filter(|(_, size)| *size <= area);
    let above = sizes.iter().filter(|(_, size)| *size > area);
    let ends = [
        below.max_by_key(|(_, size)| *size),
        above.min_by_key(|(_, size)| *size),
    ];
    let ends = ends.into_iter().flatten();
    let mut near: Vec<_> = ends
        .map(|(name, size)| Near {
            name: name.clone(),
            area: *size,
            difference_permille: difference_permille(area, *size),
        })
        .collect();
    near.sort_by_key(|near| near.difference_permille.abs());
    near
}

/// How much larger an area is than a size, in thousandths of the size, rounded.
pub fn difference_permille(area: Area, size: Area) -> i64 {
    let (area, size) = (
        i128::from(area.square_micrometres()),
        i128::from(size.square_micrometres()),
    );
    if size == 0 {
        return 0;
    }
    let scaled = (area - size) * 1_000;
    let half = if scaled < 0 { -size / 2 } else { size / 2 };
    i64::try_from((scaled + half) / size).unwrap_or(i64::MAX)
}

/// `+2.1 %` of 21 thousandths.
pub fn percent(permille: i64) -> String {
    let sign = if permille < 0 { "−" } else { "+" };
    let size = permille.unsigned_abs();
    format!("{sign}{}.{} %", size / 10, size % 10)
}

/// An area in mm² with two digits after the point, for showing only.
pub fn two_decimals(area: Area) -> String {
    let hundredths = (area.square_micrometres() + 5_000) / 10_000;
    format!("{}.{:02} mm²", hundredths / 100, hundredths % 100)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn strands(text: &str) -> Strands {
        text.parse().unwrap()
    }

    #[test]
    fn the_area_is_the_sum_of_its_strands() {
        // Computed apart, with fifty digits of π.
        for (text, um2) in [
            ("19x0.37", 2_042_899),
            ("7x0.32", 562_973),
            ("30x0.25", 1_472_622),
            ("1x1.6277", 2_080_840),
            ("10000x10", 785_398_163_397),
            ("1x0.01", 79),
        ] {
            assert_eq!(strands(text).area().square_micrometres(), um2, "{text}");
        }
    }

    #[test]
    fn it_reads_as_it_is_printed_on_a_reel() {
        for text in [
            "19x0.37",
            "19 x 0.37 mm",
            "19 × 0.37",
            "19X0.37mm",
            "19*0.37",
        ] {
            assert_eq!(strands(text).to_string(), "19 × 0.37 mm", "{text}");
        }
        assert_eq!(strands("7x0.0126 in").to_string(), "7 × 0.0126 in");
        for text in [
            "",
            "19",
            "x0.37",
            "19x",
            "19x0,37",
            "19x-0.37",
            "0.37x19 x",
            "19x1 N",
        ] {
            assert!(text.parse::<Strands>().is_err(), "{text}");
        }
        for (text, why) in [
            ("0x0.37", "got 0 strands, want 1 to 10000"),
            ("19x37", "got a strand of 37 mm, want 0.01 mm to 10 mm"),
        ] {
            assert_eq!(text.parse::<Strands>().unwrap_err().to_string(), why);
        }
    }

    #[test]
    fn the_sizes_beside_it_are_named_with_their_difference() {
        let near: Vec<_> = near(strands("19x0.37").area())
            .into_iter()
            .map(|near| format!("{} {}", near.name, percent(near.difference_permille)))
            .collect();
        assert_eq!(
            near,
            [
                "2.0 mm² +2.1 %",
                "2.5 mm² −18.3 %",
                "14 AWG −1.8 %",
                "15 AWG +23.8 %"
            ]
        );
    }

    proptest! {
        #[test]
        fn the_area_lies_within_what_its_rounding_leaves_possible(
            count in 1_u32..10_000, hundredths in 1_u32..1_000
        ) {
            let strands = strands(&format!("{count}x{}.{:02}", hundredths / 100, hundredths % 100));
            let (least, most) = strands.possible();
            prop_assert!(least <= strands.area() && strands.area() <= most);
        }
    }
}
