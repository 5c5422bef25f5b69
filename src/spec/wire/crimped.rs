//! The area of a crimp's cross-section, and how much of the conductor's area is left in it.
//!
//! In: outside dimensions and a form factor, or areas that were measured in a cross-section. Out: areas, and shares in
//! thousandths. All of it is common practice, no source; no verdict depends on it.

use crate::quantity::{Area, Decimal, Length};

/// The height and the width of a crimp.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outside {
    /// Its height.
    pub height: Length,
    /// Its width.
    pub width: Length,
}

impl Outside {
    /// Height times width in square nanometres; `None` unless both are above zero.
    fn rectangle(self) -> Option<i128> {
        let (height, width) = (self.height.nanometres(), self.width.nanometres());
        (height > 0 && width > 0).then(|| i128::from(height) * i128::from(width))
    }

    /// The area of the cross-section: `form factor · height · width`, to the nearest square micrometre.
    ///
    /// `None` if a dimension is not above zero, the form factor is not above 0 and at most 1, or the area is too large.
    pub fn section(self, form_factor: Decimal) -> Option<Area> {
        let one = 10_i128.checked_pow(u32::from(form_factor.decimals()))?;
        let factor = i128::from(form_factor.coefficient());
        let divisor = one.checked_mul(1_000_000)?;
        if !(1..=one).contains(&factor) {
            return None;
        }
        let scaled = self.rectangle()?.checked_mul(factor)?;
        let rounded = scaled.checked_add(divisor / 2)? / divisor;
        let rounded = u64::try_from(rounded).ok()?;
        (rounded > 0).then(|| Area::from_square_micrometres(rounded))
    }

    /// The form factor of a cross-section whose area was measured, in thousandths: `area / (height · width)`.
    ///
    /// `None` if a dimension is not above zero, or the area is larger than the rectangle.
    pub fn form_factor_permille(self, section: Area) -> Option<u64> {
        let rectangle = self.rectangle()?;
        let area = i128::from(section.square_micrometres()) * 1_000_000;
        let permille = (area * 1_000 + rectangle / 2) / rectangle;
        (area <= rectangle).then(|| u64::try_from(permille).ok())?
    }
}

/// A share in thousandths, rounded; `None` if the whole is zero.
pub fn permille(part: Area, whole: Area) -> Option<u64> {
    let (part, whole) = (
        u128::from(part.square_micrometres()),
        u128::from(whole.square_micrometres()),
    );
    u64::try_from((part * 1_000 + whole / 2).checked_div(whole)?).ok()
}

/// What is left of an area without a part of it; `None` if nothing is.
pub fn without(area: Area, part: Area) -> Option<Area> {
    let left = area
        .square_micrometres()
        .checked_sub(part.square_micrometres())?;
    (left > 0).then(|| Area::from_square_micrometres(left))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn outside(height: i64, width: i64) -> Outside {
        Outside {
            height: Length::from_nanometres(height),
            width: Length::from_nanometres(width),
        }
    }

    fn area(text: &str) -> Area {
        text.parse().unwrap()
    }

    #[test]
    fn the_section_is_form_factor_times_height_times_width_and_gives_the_form_factor_back() {
        let crimp = outside(1_620_000, 2_400_000);
        let section = crimp.section("0.85".parse().unwrap()).unwrap();
        assert_eq!(section, area("3.3048 mm²"));
        assert_eq!(crimp.form_factor_permille(section), Some(850));
        assert_eq!(crimp.section("1".parse().unwrap()), Some(area("3.888 mm²")));
        for factor in ["0", "1.01", "-0.5"] {
            assert_eq!(crimp.section(factor.parse().unwrap()), None, "{factor}");
        }
        assert_eq!(outside(0, 1).section("0.85".parse().unwrap()), None);
        assert_eq!(crimp.form_factor_permille(area("3.889 mm²")), None);
        let largest = outside(i64::MAX, i64::MAX);
        assert_eq!(largest.section("0.999999999999".parse().unwrap()), None);
    }

    #[test]
    fn a_share_is_of_what_there_was_and_nothing_is_left_of_a_smaller_area() {
        assert_eq!(permille(area("1.7 mm²"), area("2.042899 mm²")), Some(832));
        let none = Area::from_square_micrometres(0);
        assert_eq!(permille(none, none), None);
        assert_eq!(
            without(area("3.3 mm²"), area("1.6 mm²")),
            Some(area("1.7 mm²"))
        );
        assert_eq!(without(area("1.6 mm²"), area("1.6 mm²")), None);
    }
}
