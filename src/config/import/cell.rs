//! Reads one cell as a statement about an axis, and joins all cells of an axis into its limits.

use super::heading::{Part, unit};
use super::number::{DecimalMark, decimal};
use crate::quantity::{Decimal, Measured, Quantity, Unit};
use crate::spec::{Limits, limits::LimitsError};

/// A number with the unit after it or after the other numbers of its cell.
pub(super) type Amount = (Decimal, Option<Unit>);

/// What the cells of one axis say. Each part may be given once.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Parts {
    pub(super) nominal: Option<Amount>,
    pub(super) plus: Option<Amount>,
    pub(super) minus: Option<Amount>,
    pub(super) lower: Option<Amount>,
    pub(super) upper: Option<Amount>,
}

/// Why a cell could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum CellError {
    /// Part of the cell is unknown.
    Token(String),
    /// Two units in one cell.
    Units,
    /// The parts are in an unknown order.
    Form,
    /// The form is not allowed in a column of this part.
    NotThisPart(&'static str),
}

/// The smallest unit of a cell's text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Token {
    Number(Decimal),
    Plus,
    Minus,
    Either,
    Slash,
    To,
    Least,
    Most,
}

/// Whether the cell says that there is no value.
pub(super) fn is_nothing(text: &str) -> bool {
    matches!(
        text.to_lowercase().as_str(),
        "" | "-" | "–" | "—" | "n/a" | "na" | "n.a." | "none"
    )
}

/// How the numbers of the file are read.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reading {
    pub(super) mark: DecimalMark,
    pub(super) grouped: bool,
}

/// Reads a cell in a column of `part`. A unit after any number applies to all of them.
pub(super) fn parts(text: &str, part: Part, reading: Reading) -> Result<Parts, CellError> {
    let (tokens, unit) = tokens(text, reading)?;
    let amount = |decimal: Decimal| Some((decimal, unit));
    let form = form(&tokens, amount).ok_or(CellError::Form)?;
    only_for(form, part)
}

/// What the tokens say, without regard to the column.
fn form(tokens: &[Token], amount: impl Fn(Decimal) -> Option<Amount>) -> Option<Parts> {
    use Token::{Either, Least, Minus, Most, Number, Plus, Slash, To};
    let deviations =
        |nominal: Option<Decimal>, plus: Option<Decimal>, minus: Option<Decimal>| Parts {
            nominal: nominal.and_then(&amount),
            plus: plus.and_then(&amount),
            minus: minus.and_then(&amount),
            ..Parts::default()
        };
    let limits = |lower: Option<Decimal>, upper: Option<Decimal>| Parts {
        lower: lower.and_then(&amount),
        upper: upper.and_then(&amount),
        ..Parts::default()
    };
    let (nominal, rest) = match *tokens {
        [Number(nominal), Either | Plus | Minus, ..] => (Some(nominal), tokens.get(1..)?),
        _ => (None, tokens),
    };
    Some(match *rest {
        [Number(nominal)] => deviations(Some(nominal), None, None),
        [Either, Number(by)] => deviations(nominal, Some(by), Some(by)),
        [Plus, Number(plus), Minus, Number(minus)]
        | [Plus, Number(plus), Slash, Minus, Number(minus)]
        | [Minus, Number(minus), Plus, Number(plus)]
        | [Minus, Number(minus), Slash, Plus, Number(plus)] => {
            deviations(nominal, Some(plus), Some(minus))
        }
        [Minus, Number(upper)] if nominal.is_some() => limits(nominal, Some(upper)),
        [Plus, Number(plus)] if nominal.is_none() => deviations(None, Some(plus), None),
        [Minus, Number(minus)] => deviations(None, None, Some(minus)),
        [Number(lower), To, Number(upper)] => limits(Some(lower), Some(upper)),
        [Least, Number(lower)] | [Number(lower), Least] => limits(Some(lower), None),
        [Most, Number(upper)] | [Number(upper), Most] => limits(None, Some(upper)),
        _ => return None,
    })
}

/// What a form says in a column of `part`.
fn only_for(form: Parts, part: Part) -> Result<Parts, CellError> {
    let Parts {
        nominal,
        plus,
        minus,
        lower,
        upper,
    } = form;
    let empty = Parts::default;
    let one = |allowed: bool, want: &'static str| {
        if allowed {
            Ok(())
        } else {
            Err(CellError::NotThisPart(want))
        }
    };
    let none = |amounts: &[Option<Amount>]| amounts.iter().all(Option::is_none);
    match part {
        Part::Whole => Ok(form),
        Part::Tolerance => {
            one(
                none(&[lower, upper]),
                "a deviation such as 0.05 or +0.05/-0.03",
            )?;
            match (nominal, plus, minus) {
                (Some(by), None, None) => Ok(Parts {
                    plus: Some(by),
                    minus: Some(by),
                    ..empty()
                }),
                (None, plus, minus) => Ok(Parts {
                    plus,
                    minus,
                    ..empty()
                }),
                (Some(_), _, _) => Err(CellError::NotThisPart("a deviation without a nominal")),
            }
        }
        Part::Plus => {
            one(none(&[lower, upper, minus]), "an upper deviation")?;
            let plus = nominal.or(plus);
            Ok(Parts { plus, ..empty() })
        }
        Part::Minus => {
            one(none(&[lower, upper, plus]), "a lower deviation")?;
            let minus = nominal.or(minus);
            Ok(Parts { minus, ..empty() })
        }
        Part::Lower => {
            one(none(&[upper, plus, minus]), "the lower limit")?;
            let lower = nominal.or(lower);
            Ok(Parts { lower, ..empty() })
        }
        Part::Upper => {
            one(none(&[lower, plus, minus]), "the upper limit")?;
            let upper = nominal.or(upper);
            Ok(Parts { upper, ..empty() })
        }
    }
}

fn tokens(text: &str, reading: Reading) -> Result<(Vec<Token>, Option<Unit>), CellError> {
    let mut found = Vec::new();
    let mut units: Option<Unit> = None;
    let spelled = text
        .replace("+/-", "±")
        .replace("+-", "±")
        .replace("..", "…")
        .replace("….", "…")
        .replace(">=", "≥")
        .replace("<=", "≤");
    let mut rest = spelled.as_str();
    while let Some(first) = rest.chars().next() {
        let length = piece_length(rest, first);
        let (token, after) = rest.split_at(length);
        rest = after;
        match token {
            "+" => found.push(Token::Plus),
            "-" | "−" | "–" => found.push(Token::Minus),
            "±" => found.push(Token::Either),
            "/" => found.push(Token::Slash),
            "…" => found.push(Token::To),
            "≥" => found.push(Token::Least),
            "≤" => found.push(Token::Most),
            token if first.is_whitespace() || token == "." => {}
            token if first.is_ascii_digit() || matches!(first, '.' | ',') => {
                let number = decimal(token, reading.mark, reading.grouped);
                let wrong = || CellError::Token(token.to_owned());
                found.push(Token::Number(number.ok_or_else(wrong)?));
            }
            word => match word.to_lowercase().as_str() {
                "to" => found.push(Token::To),
                "min" | "minimum" => found.push(Token::Least),
                "max" | "maximum" => found.push(Token::Most),
                lower => {
                    let wrong = || CellError::Token(word.to_owned());
                    let named = unit(lower).ok_or_else(wrong)?;
                    if units.is_some_and(|earlier| earlier != named) {
                        return Err(CellError::Units);
                    }
                    units = Some(named);
                }
            },
        }
    }
    Ok((found, units))
}

/// Length of the next token in bytes: a run of digits and marks, a run of letters, or one sign.
fn piece_length(rest: &str, first: char) -> usize {
    let run = |belongs: fn(char) -> bool| rest.find(|c: char| !belongs(c)).unwrap_or(rest.len());
    if first.is_ascii_digit() || matches!(first, '.' | ',') {
        let run = run(|c| c.is_ascii_digit() || matches!(c, '.' | ','));
        let number = rest.get(..run).unwrap_or(rest);
        // A point after a number ends the sentence and does not belong to the number.
        let trimmed = number.trim_end_matches('.').len();
        if trimmed == 0 { 1 } else { trimmed }
    } else if first.is_alphabetic() {
        run(char::is_alphabetic)
    } else {
        first.len_utf8()
    }
}

impl Parts {
    /// Adds what another cell of the axis says. The error names a part that both give.
    pub(super) fn join(&mut self, other: Self) -> Result<(), &'static str> {
        let pairs = [
            (&mut self.nominal, other.nominal, "nominal"),
            (&mut self.plus, other.plus, "upper deviation"),
            (&mut self.minus, other.minus, "lower deviation"),
            (&mut self.lower, other.lower, "lower limit"),
            (&mut self.upper, other.upper, "upper limit"),
        ];
        for (mine, theirs, name) in pairs {
            match (&mine, theirs) {
                (Some(_), Some(_)) => return Err(name),
                (None, Some(_)) => *mine = theirs,
                (_, None) => {}
            }
        }
        Ok(())
    }

    /// Gives `unit` to every amount without a unit.
    pub(super) fn fill(self, unit: Option<Unit>) -> Self {
        let given = |amount: Option<Amount>| amount.map(|(decimal, own)| (decimal, own.or(unit)));
        Self {
            nominal: given(self.nominal),
            plus: given(self.plus),
            minus: given(self.minus),
            lower: given(self.lower),
            upper: given(self.upper),
        }
    }

    /// The nominal, if it is all that the cells say and has a unit.
    pub(super) fn nominal_alone(&self) -> Option<Measured> {
        let rest = [self.plus, self.minus, self.lower, self.upper];
        let (decimal, unit) = self.nominal.filter(|_| rest.iter().all(Option::is_none))?;
        Measured::new(decimal, unit?)
    }

    fn amounts(&self) -> impl Iterator<Item = Amount> {
        let all = [self.nominal, self.lower, self.upper, self.plus, self.minus];
        all.into_iter().flatten()
    }

    /// The first unit in it.
    pub(super) fn unit(&self) -> Option<Unit> {
        self.amounts().find_map(|(_, unit)| unit)
    }

    /// Whether some amount has no unit.
    pub(super) fn lacks_unit(&self) -> bool {
        self.amounts().any(|(_, unit)| unit.is_none())
    }

    /// The limits of the axis. Every amount must have its unit.
    pub(super) fn limits(&self, bare_is_minimum: bool) -> Result<Limits, LimitsError> {
        let value = |amount: Option<Amount>| {
            amount.and_then(|(decimal, unit)| Quantity::of(decimal, unit?))
        };
        let unit = self.unit().ok_or(LimitsError::NoLimit)?;
        let (nominal, lower, upper) = (value(self.nominal), value(self.lower), value(self.upper));
        let (plus, minus) = (value(self.plus), value(self.minus));
        match (nominal, plus, minus) {
            (Some(centre), Some(plus), Some(minus)) if lower.is_none() && upper.is_none() => {
                if [plus, minus]
                    .iter()
                    .any(|by| by.dimension() != centre.dimension())
                {
                    return Err(LimitsError::MixedDimensions);
                }
                let at = |base: i64| Some(Quantity::from_base(centre.dimension(), base));
                let upper = at(centre.base().saturating_add(plus.base()));
                let lower = at(centre.base().saturating_sub(minus.base()));
                Limits::new(nominal, lower, upper, unit)
            }
            (Some(_), None, None) if lower.is_none() && upper.is_none() && bare_is_minimum => {
                Limits::new(None, nominal, None, unit)
            }
            (_, None, None) => Limits::new(nominal, lower, upper, unit),
            (_, _, _) => Err(LimitsError::NoLimit),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const POINT: Reading = Reading {
        mark: DecimalMark::Point,
        grouped: false,
    };
    const COMMA: Reading = Reading {
        mark: DecimalMark::Comma,
        grouped: false,
    };

    fn limits(text: &str, reading: Reading) -> String {
        let said = parts(text, Part::Whole, reading)
            .map(|parts| parts.fill(Some(Unit::Millimetre)).limits(false));
        match said {
            Ok(Ok(limits)) => limits.to_string(),
            Ok(Err(error)) => error.to_string(),
            Err(error) => format!("{error:?}"),
        }
    }

    #[test]
    fn every_form_of_a_cell_gives_its_limits() {
        for (text, reading, want) in [
            ("1.62 ±0.05", POINT, "1.62 ±0.05 mm"),
            ("1,62±0,05 mm", COMMA, "1.62 ±0.05 mm"),
            ("1.62 +/- 0.05", POINT, "1.62 ±0.05 mm"),
            ("1,62 +0,05/-0,03", COMMA, "1.62 +0.05/-0.03 mm"),
            ("1.62 +0.05 −0.03", POINT, "1.62 +0.05/-0.03 mm"),
            ("1.62 -0.03/+0.05", POINT, "1.62 +0.05/-0.03 mm"),
            ("1.57-1.67", POINT, "1.57..1.67 mm"),
            ("1,57 – 1,67", COMMA, "1.57..1.67 mm"),
            ("1.57 … 1.67", POINT, "1.57..1.67 mm"),
            ("1.57..1.67", POINT, "1.57..1.67 mm"),
            ("1.57 to 1.67 mm", POINT, "1.57..1.67 mm"),
            ("max. 0.5", POINT, "<= 0.50 mm"),
            ("0,5 max", COMMA, "<= 0.50 mm"),
            (">= 90 N", POINT, ">= 90 N"),
            ("min 30 lbs", POINT, ">= 30 lbf"),
            (".0638 ±.002\"", POINT, "0.0638 ±0.002 in"),
            ("1620 ±50 µm", POINT, "1620 ±50 um"),
            (
                "1.67-1.57",
                POINT,
                "limits are crossed: lower 1.67 mm, upper 1.57 mm",
            ),
            (
                "1.62",
                POINT,
                "no limit at all, want a lower one, an upper one or both",
            ),
            ("1,62 ±0.05", COMMA, "Token(\"0.05\")"),
            ("about 1.62", POINT, "Token(\"about\")"),
            ("1.62 mm ±0.002 in", POINT, "Units"),
            ("1.62 1.64", POINT, "Form"),
        ] {
            assert_eq!(limits(text, reading), want, "{text}");
        }
    }

    #[test]
    fn cells_of_one_axis_are_joined_and_a_part_given_twice_is_refused() {
        let mut height = parts("1.62", Part::Whole, POINT).unwrap();
        height
            .join(parts("0.05", Part::Plus, POINT).unwrap())
            .unwrap();
        height
            .join(parts("-0.03", Part::Minus, POINT).unwrap())
            .unwrap();
        let limits = height.fill(Some(Unit::Millimetre));
        assert_eq!(
            limits.limits(false).unwrap().to_string(),
            "1.62 +0.05/-0.03 mm"
        );
        let again = parts("1.63", Part::Whole, POINT).unwrap();
        assert_eq!(height.join(again), Err("nominal"));
        assert_eq!(
            parts("1.62 ±0.05", Part::Tolerance, POINT),
            Err(CellError::NotThisPart("a deviation without a nominal"))
        );
        // The tolerance is in another unit than its nominal.
        let mut height = parts("1.62 mm", Part::Whole, POINT).unwrap();
        height
            .join(parts("±50 um", Part::Tolerance, POINT).unwrap())
            .unwrap();
        assert_eq!(height.limits(false).unwrap().to_string(), "1.62 ±0.05 mm");
    }

    proptest! {
        #[test]
        fn limits_come_out_of_a_cell_as_they_were_written(
            nominal in 100i64..9_999, plus in 1i64..99, minus in 1i64..99, comma in any::<bool>(), form in 0u8..3
        ) {
            let decimal = |hundredths: i64| {
                let text = Decimal::new(hundredths, 2).to_string();
                if comma { text.replace('.', ",") } else { text }
            };
            let (low, high) = (decimal(nominal - minus), decimal(nominal + plus));
            let (centre, plus, minus) = (decimal(nominal), decimal(plus), decimal(minus));
            let cell = match form {
                0 => format!("{centre} +{plus}/-{minus}"),
                1 => format!("{centre}+{plus} -{minus} mm"),
                _ => format!("{low}-{high}"),
            };
            let want = match form {
                0 | 1 => format!("{centre} +{plus}/-{minus} mm"),
                _ => format!("{low}..{high} mm"),
            };
            let want: Limits = want.replace(',', ".").parse().unwrap();
            let got = parts(&cell, Part::Whole, if comma { COMMA } else { POINT }).unwrap();
            prop_assert_eq!(got.fill(Some(Unit::Millimetre)).limits(false).unwrap(), want);
        }

        #[test]
        fn any_text_is_parts_or_an_error(text in "\\PC{0,20}") {
            for part in Part::ALL {
                let _ = parts(&text, part, COMMA);
            }
        }
    }
}
