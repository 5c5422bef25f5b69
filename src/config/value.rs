//! Reads the text forms of configuration values: names, quantities, durations, percentages, factors.

use super::faults::{At, Fault, Faults, Place, quoted};
use super::table::{Table, comma_help};
use crate::quantity::{Decimal, Dimension, Measured, Quantity};
use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;
use std::time::Duration;

/// The largest length (100 m) or force (100 MN) that is accepted, in base units. Sums of a few such values stay far
/// from the limits of 64 bits.
const LARGEST_BASE: i64 = 100_000_000_000;

/// A name or id: letters, digits, `-`, `_` and `.`, at most 64, starting with a letter or digit.
pub fn is_name(text: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    text.len() <= 64
        && text.starts_with(|c: char| c.is_ascii_alphanumeric())
        && text.chars().all(allowed)
}

const NAME: &str = "letters, digits, - _ and ., at most 64, a letter or digit first";

/// Reports a text that is not a valid name.
fn checked_name(faults: &mut Faults, key: &str, name: At<String>) -> Option<At<String>> {
    if is_name(&name.value) {
        return Some(name);
    }
    let got = format!("{key} {} is not a name", quoted(&name.value));
    faults.add(&name.place, Fault::new(got, format!("want {NAME}")));
    None
}

impl Table<'_> {
    /// Reads a text that is required; `want` is an example for the message.
    pub(super) fn required_text(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        want: &str,
    ) -> Option<At<String>> {
        if !self.has(key) {
            self.missing(faults, key, want);
        }
        self.text(faults, key)
    }

    /// Reads a text and parses it as `T`.
    pub(super) fn parsed<T: FromStr<Err: fmt::Display>>(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        want: &str,
    ) -> Option<At<T>> {
        let text = self.text(faults, key)?;
        match text.value.parse::<T>() {
            Ok(value) => Some(At {
                value,
                place: text.place,
            }),
            Err(error) => {
                let fault = Fault::new(format!("{key}: {error}"), format!("want {want}"));
                faults.add(&text.place, fault.help_of(comma_help(&text.value)));
                None
            }
        }
    }

    pub(super) fn name(&mut self, faults: &mut Faults, key: &'static str) -> Option<At<String>> {
        let name = self.text(faults, key)?;
        checked_name(faults, key, name)
    }

    /// Reads a name that is required; `want` is an example for the message.
    pub(super) fn required_name(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        want: &str,
    ) -> Option<At<String>> {
        let name = self.required_text(faults, key, want)?;
        checked_name(faults, key, name)
    }

    /// Reads a list of names, without duplicates.
    pub(super) fn names(&mut self, faults: &mut Faults, key: &'static str) -> Vec<At<String>> {
        let names: Vec<_> = self
            .texts(faults, key)
            .into_iter()
            .filter_map(|name| checked_name(faults, key, name))
            .collect();
        unique(faults, key, names, |name| &name.value)
    }

    /// Reads a quantity of `dimension` that is at least `lowest` base units.
    pub(super) fn quantity(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        dimension: Dimension,
        lowest: i64,
    ) -> Option<Quantity> {
        let example = example(dimension);
        let measured =
            self.parsed::<Measured>(faults, key, &format!("a {dimension} such as {example:?}"))?;
        let quantity = measured.value.quantity();
        let fault = if quantity.dimension() != dimension {
            let got = format!("{key} is {}, a {}", measured.value, quantity.dimension());
            Some(Fault::new(
                got,
                format!("want a {dimension} such as {example:?}"),
            ))
        } else if quantity.base() < lowest {
            let want = if lowest > 0 {
                "want more than 0"
            } else {
                "want 0 or more"
            };
            Some(Fault::new(format!("{key} is {}", measured.value), want))
        } else {
            too_large(key, quantity)
        };
        match fault {
            Some(fault) => {
                faults.add(&measured.place, fault);
                None
            }
            None => Some(quantity),
        }
    }

    /// Reads a duration such as `150 ms`.
    pub(super) fn duration(
        &mut self,
        faults: &mut Faults,
        key: &'static str,
        most: Duration,
    ) -> Option<Duration> {
        let text = self.text(faults, key)?;
        let duration = duration(&text.value).filter(|duration| *duration <= most);
        if duration.is_none() {
            let got = format!("{key} is {}", quoted(&text.value));
            let (example, most) = match most.as_secs() {
                hours if hours > 3600 && hours % 3600 == 0 => {
                    ("30 min", format!("{} h", hours / 3600))
                }
                seconds => ("150 ms", format!("{seconds} s")),
            };
            let want = format!("want a time such as \"{example}\", at most {most}");
            faults.add(&text.place, Fault::new(got, want));
        }
        duration
    }
}

fn example(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Length => "0.01 mm",
        Dimension::Force => "0.5 N",
    }
}

/// A fault if the quantity is larger than any that is accepted.
pub(super) fn too_large(key: &str, quantity: Quantity) -> Option<Fault> {
    let sane = (-LARGEST_BASE..=LARGEST_BASE).contains(&quantity.base());
    let most = Quantity::from_base(quantity.dimension(), LARGEST_BASE);
    (!sane).then(|| {
        Fault::new(
            format!("{key} is {quantity}"),
            format!("want at most {most}"),
        )
    })
}

/// `150 ms`, `2 s`, `30 min`, `24 h`.
fn duration(text: &str) -> Option<Duration> {
    let digits = text.trim_end_matches(|c: char| c.is_ascii_alphabetic());
    let unit = text.strip_prefix(digits)?;
    let number: u64 = digits.trim().parse().ok()?;
    match unit {
        "ms" => Some(Duration::from_millis(number)),
        "s" => Some(Duration::from_secs(number)),
        "min" => number.checked_mul(60).map(Duration::from_secs),
        "h" => number.checked_mul(60 * 60).map(Duration::from_secs),
        _ => None,
    }
}

/// `20 %` → 20.
pub(super) fn percent(text: &str) -> Option<u16> {
    let number = text.strip_suffix('%')?.trim();
    let percent: u16 = number.parse().ok()?;
    (1..=1000).contains(&percent).then_some(percent)
}

/// `1.645` → 1645; no more than three digits after the point, more than 0 and at most 10.
pub(super) fn factor_milli(text: &str) -> Option<u32> {
    milli(text, 10_000)
}

/// A number in thousandths, above 0 and at most `most`; no more than three digits after the point.
pub(super) fn milli(text: &str, most: u32) -> Option<u32> {
    let factor: Decimal = text.parse().ok()?;
    let up = 3_u32.checked_sub(u32::from(factor.decimals()))?;
    let milli = factor.coefficient().checked_mul(10_i64.pow(up))?;
    u32::try_from(milli)
        .ok()
        .filter(|milli| (1..=most).contains(milli))
}

/// Reports each item whose key occurred before, and leaves it out.
pub(super) fn unique<T>(
    faults: &mut Faults,
    what: &str,
    items: Vec<At<T>>,
    key_of: impl Fn(&At<T>) -> &str,
) -> Vec<At<T>> {
    let mut first: BTreeMap<String, Place> = BTreeMap::new();
    let mut kept = Vec::new();
    for item in items {
        let key = key_of(&item).to_owned();
        if let Some(earlier) = first.get(&key) {
            let got = format!("{what} {} appears twice", quoted(&key));
            let want = format!(
                "want another name; the first is at {}",
                faults.line_of(earlier)
            );
            faults.add(&item.place, Fault::new(got, want));
        } else {
            first.insert(key, item.place.clone());
            kept.push(item);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_can_stand_in_a_path_a_card_and_a_message() {
        for name in ["bench-1", "QF-250-F", "2.0", "a", "T_07"] {
            assert!(is_name(name), "{name}");
        }
        let long = "a".repeat(65);
        for name in [
            "", ".", "..", "-a", "a b", "a/b", "ä", "a\n", "a\u{1b}", &long,
        ] {
            assert!(!is_name(name), "{name:?}");
        }
    }

    #[test]
    fn durations_shares_and_factors_read_exactly() {
        assert_eq!(duration("150 ms"), Some(Duration::from_millis(150)));
        assert_eq!(duration("2s"), Some(Duration::from_secs(2)));
        assert_eq!(duration("30 min"), Some(Duration::from_secs(1800)));
        assert_eq!(duration("24 h"), Some(Duration::from_secs(86_400)));
        for text in [
            "150",
            "ms",
            "1.5 s",
            "-1 s",
            "1 d",
            "18446744073709551615 min",
            "18446744073709551615 h",
        ] {
            assert_eq!(duration(text), None, "{text}");
        }
        assert_eq!(percent("20 %"), Some(20));
        assert_eq!(percent("20%"), Some(20));
        for text in ["20", "0 %", "1001 %", "-5 %", "2.5 %"] {
            assert_eq!(percent(text), None, "{text}");
        }
        assert_eq!(factor_milli("1.645"), Some(1645));
        assert_eq!(factor_milli("2"), Some(2000));
        assert_eq!(factor_milli("0.5"), Some(500));
        for text in ["0", "-1", "1.6449", "10.001", "1e3", "inf", "nan"] {
            assert_eq!(factor_milli(text), None, "{text}");
        }
    }
}
