//! What the checks show, in words.

use super::Stability;
use crate::stats::FigureKind;
use crate::stats::text::{Digits, chance, fixed};

impl Stability {
    /// What the checks show, in words.
    pub fn sentences(&self, digits: Digits<'_>) -> Vec<String> {
        let mut said = vec![self.drift_in_words(digits)];
        let outside: u64 = self.months().iter().map(|month| month.outside).sum();
        if outside > 0 {
            said.push(format!(
                "{outside} of {} errors are outside the limits",
                self.errors.count()
            ));
        }
        if !self.partial.is_empty() {
            let unit = self.errors.unit();
            let sizes = self.partial.iter().map(|size| format!("{size} {unit}"));
            said.push(format!(
                "not every verification series has {}, which is left out",
                sizes.collect::<Vec<_>>().join(", ")
            ));
        }
        said.push("this supposes that the gauge blocks kept their size".to_owned());
        said
    }

    fn drift_in_words(&self, digits: Digits<'_>) -> String {
        let (slope, (low, high)) = match (self.slope(), self.slope_bounds()) {
            (Ok(slope), Ok(bounds)) => (slope, bounds),
            (Err(reason), _) | (_, Err(reason)) => {
                return format!("a drift cannot be tested: {}", reason.alone());
            }
        };
        if self.drift.is_no_line() {
            return "a straight line does not describe these errors: neighbouring verification series have errors near each other, as after a step or in a wandering instrument, so no drift per month is claimed; look at the months".to_owned();
        }
        let text = |value: f64| digits.text(FigureKind::Slope, value);
        let rounding = match self.may_be_off() {
            Ok(off) if off > 0.0 => ", rounding allowed for",
            Ok(_) | Err(_) => "",
        };
        let p = self.slope_p().map(|p| format!(", p = {}", chance(p)));
        let bounds = format!(
            "95 % confidence interval{rounding}: {} to {}{}",
            digits.slope(low),
            digits.slope(high),
            p.unwrap_or_default()
        );
        if low > 0.0 || high < 0.0 {
            return format!("a drift is shown: {} ({bounds})", text(slope));
        }
        let most = low.abs().max(high.abs()) * self.span();
        format!(
            "no drift is shown: {} ({bounds}); up to {} over these {} months is not excluded",
            text(slope),
            digits.text(FigureKind::Reading, most),
            fixed(self.span(), 1)
        )
    }
}
