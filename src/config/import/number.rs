//! Reads numbers with a decimal point or comma. The mark of a file is found from numbers that can be read in one way
//! only. It is never guessed.

use crate::quantity::{Decimal, named};
use std::fmt;

named! {
    /// The character between the whole number and its fraction.
    pub enum DecimalMark {
        /// `1.62`
        Point = "point",
        /// `1,62`
        Comma = "comma",
    }
}

impl DecimalMark {
    const fn char(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    const fn other(self) -> Self {
        match self {
            Self::Point => Self::Comma,
            Self::Comma => Self::Point,
        }
    }
}

impl fmt::Display for DecimalMark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// What a number shows about its decimal mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Evidence {
    /// It has no mark.
    Nothing,
    /// It can only be read with this mark.
    Only(DecimalMark),
    /// Two readings are possible: `1,234` may have this decimal mark, or a separator of thousands.
    Either(DecimalMark),
}

/// The parts of a text that look like numbers: digits, with points and commas among them.
pub(super) fn numbers(text: &str) -> impl Iterator<Item = &str> {
    let spaced = text.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == ','));
    spaced
        .flat_map(|run| run.split(".."))
        .map(|run| run.trim_end_matches(['.', ',']))
        .filter(|run| run.contains(|c: char| c.is_ascii_digit()))
}

/// What `number`, one of [`numbers`], shows about its decimal mark.
pub(super) fn evidence(number: &str) -> Evidence {
    let mut marks = number.match_indices(['.', ',']);
    let Some((at, mark)) = marks.next_back() else {
        return Evidence::Nothing;
    };
    let last = if mark == "." {
        DecimalMark::Point
    } else {
        DecimalMark::Comma
    };
    let (whole, fraction) = (
        number.get(..at).unwrap_or(""),
        number.get(at + 1..).unwrap_or(""),
    );
    let is_group = fraction.len() == 3;
    match marks.next_back() {
        None if is_group && (1..=3).contains(&whole.len()) && !whole.starts_with('0') => {
            Evidence::Either(last)
        }
        Some((_, earlier)) if earlier == mark => Evidence::Only(last.other()),
        None | Some(_) => Evidence::Only(last),
    }
}

/// Reads a number with `mark`; `None` if that is not possible. Separators of thousands are accepted only if `grouped`
/// says that the mark is known.
pub(super) fn decimal(number: &str, mark: DecimalMark, grouped: bool) -> Option<Decimal> {
    let (whole, fraction) = match number.split_once(mark.char()) {
        Some((whole, fraction)) => (whole, Some(fraction)),
        None => (number, None),
    };
    let whole = if whole.contains(mark.other().char()) {
        let groups: Vec<_> = whole.split(mark.other().char()).collect();
        let (first, rest) = groups.split_first()?;
        let is_grouped = grouped
            && (1..=3).contains(&first.len())
            && !first.starts_with('0')
            && rest.iter().all(|group| group.len() == 3);
        is_grouped.then(|| groups.concat())?
    } else {
        whole.to_owned()
    };
    match fraction {
        Some(fraction) => format!("{whole}.{fraction}").parse().ok(),
        None => whole.parse().ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_number_shows_its_mark_only_if_it_reads_in_one_way() {
        use DecimalMark::{Comma, Point};
        for (number, said) in [
            ("162", Evidence::Nothing),
            ("1,62", Evidence::Only(Comma)),
            ("1.62", Evidence::Only(Point)),
            ("0,234", Evidence::Only(Comma)),
            (".064", Evidence::Only(Point)),
            ("1,234", Evidence::Either(Comma)),
            ("12.345", Evidence::Either(Point)),
            ("1234.567", Evidence::Only(Point)),
            ("1.0638", Evidence::Only(Point)),
            ("1,234.5", Evidence::Only(Point)),
            ("1.234,567", Evidence::Only(Comma)),
            ("1.234.567", Evidence::Only(Comma)),
        ] {
            assert_eq!(evidence(number), said, "{number}");
        }
    }

    #[test]
    fn a_mark_between_thousands_is_taken_only_when_the_decimal_mark_is_known() {
        let read = |number, mark, grouped| {
            decimal(number, mark, grouped).map(|decimal| decimal.to_string())
        };
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(read("1,234", DecimalMark::Comma, false), some("1.234"));
        assert_eq!(read("1,234", DecimalMark::Point, false), None);
        assert_eq!(read("1,234", DecimalMark::Point, true), some("1234"));
        assert_eq!(read("1.234,5", DecimalMark::Comma, true), some("1234.5"));
        for wrong in [
            "1,62", "0,234", "1,2345", "1,23,456", ",5", "1.2.3", "1.5,234",
        ] {
            assert_eq!(read(wrong, DecimalMark::Point, true), None, "{wrong}");
        }
    }

    #[test]
    fn the_numbers_of_a_cell_are_found() {
        let found = |text| numbers(text).collect::<Vec<_>>();
        assert_eq!(found("1,62 +0,05/-0,03 mm"), ["1,62", "0,05", "0,03"]);
        assert_eq!(found("1.57..1.67 mm, see 2."), ["1.57", "1.67", "2"]);
        assert_eq!(found("AWG 2/0"), ["2", "0"]);
        assert!(found("n.a., -").is_empty());
    }

    proptest! {
        #[test]
        fn every_number_reads_back_whichever_mark_it_is_written_with(
            coefficient in 0i64..1_000_000_000, decimals in 0u8..6, comma in any::<bool>()
        ) {
            let written = Decimal::new(coefficient, decimals);
            let mark = if comma { DecimalMark::Comma } else { DecimalMark::Point };
            let text = written.to_string().replace('.', &mark.char().to_string());
            prop_assert_eq!(decimal(&text, mark, false), Some(written));
            // The evidence never names the wrong mark.
            match evidence(&text) {
                Evidence::Nothing => prop_assert_eq!(decimals, 0),
                Evidence::Only(said) | Evidence::Either(said) => prop_assert_eq!(said, mark),
            }
        }

        #[test]
        fn no_text_is_read_with_both_marks_as_different_numbers_unless_it_says_either(text in "[0-9.,]{1,9}") {
            let read = |mark| decimal(&text, mark, true);
            if let (Some(point), Some(comma)) = (read(DecimalMark::Point), read(DecimalMark::Comma)) {
                prop_assert!(point == comma || matches!(evidence(&text), Evidence::Either(_)), "{}", text);
            }
        }
    }
}
