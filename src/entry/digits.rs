//! A decimal number in JSON that keeps the digits shown: `1.60`, never `1.6`.

use crate::quantity::Decimal;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use std::fmt;

/// A JSON number as text. It is never converted to a float.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Digits(Box<RawValue>);

impl schemars::JsonSchema for Digits {
    fn inline_schema() -> bool {
        true
    }

    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Digits".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({"type": "number"})
    }
}

impl From<Decimal> for Digits {
    fn from(decimal: Decimal) -> Self {
        // The text of a decimal is always a JSON number.
        let raw = RawValue::from_string(decimal.to_string());
        Self(raw.unwrap_or_else(|_| RawValue::NULL.to_owned()))
    }
}

impl Digits {
    /// The number as written.
    pub fn text(&self) -> &str {
        self.0.get()
    }
}

impl fmt::Display for Digits {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.text())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_are_a_number_with_the_zeros_it_was_shown_with() {
        for text in ["1.60", "-0.02", "0", "0.0638"] {
            let digits = Digits::from(text.parse::<Decimal>().unwrap());
            let json = serde_json::to_string(&digits).unwrap();
            assert_eq!(json, text);
            let back: Digits = serde_json::from_str(&json).unwrap();
            assert_eq!(back.to_string(), text);
        }
    }
}
