//! The sentence of an alert: the sign, its axis, the first piece, and what to look at.

use super::{AlertRule, Seen, Sign, Way};
use crate::quantity::Measured;
use crate::spec::{ArmedSpec, AxisName, Limits};

/// The data of an alert's sentence.
#[derive(Debug, Clone, Copy)]
pub struct AlertContext<'a> {
    /// The armed specification of the series.
    pub spec: &'a ArmedSpec,
    /// Its name in the plan, as `core_crimp_height`.
    pub axis: &'a AxisName,
    /// Name of the instrument in the configuration.
    pub instrument: &'a str,
    /// The limits of the axis.
    pub limits: &'a Limits,
    /// The values of the sign, the oldest first.
    pub values: &'a [Measured],
    /// The first piece of the sign: `piece 3`, `piece 3 of series 12`.
    pub since: &'a str,
}

/// The whole sentence.
pub fn sentence(rule: &AlertRule, sign: Sign, context: &AlertContext<'_>) -> String {
    let Seen {
        what,
        values,
        outlook,
    } = (rule.says)(context.values, sign, context.limits);
    let (axis, since) = (context.axis.words(), context.since);
    let advice = look_at(context);
    format!("{axis} {what} since {since} ({values}){outlook}; {advice}")
}

/// The possible causes to look at (common practice, no source).
fn look_at(context: &AlertContext<'_>) -> String {
    if context.spec.subject.crimp().is_none() {
        let instrument = context.instrument;
        return format!("clean the block and the jaws, and zero {instrument}");
    }
    let tool = context.spec.tool.as_ref();
    let tool = match tool.map(|tool| (&tool.id, &tool.nest)) {
        Some((id, Some(nest))) => format!("nest {nest} of {id}"),
        Some((id, None)) => id.clone(),
        None => "the tool and its nest".to_owned(),
    };
    format!(
        "look at {tool} for wear and dirt, at the wire and its strip, and zero {}",
        context.instrument
    )
}

/// `1.60 to 1.66 mm`: the first and the last value.
pub(super) fn range(values: &[Measured]) -> String {
    match (values.first(), values.last()) {
        (Some(first), Some(last)) if first.unit() == last.unit() => {
            format!("{} to {last}", first.digits())
        }
        (Some(first), Some(last)) => format!("{first} to {last}"),
        (None, _) | (_, None) => String::new(),
    }
}

/// `1.66 mm, 1.62 mm, 1.66 mm`.
pub(super) fn list(values: &[Measured]) -> String {
    let values: Vec<_> = values.iter().map(ToString::to_string).collect();
    values.join(", ")
}

/// The forecast at a constant rate: the number of pieces until the limit, if it is near.
pub(super) fn pace(values: &[Measured], way: Way, limits: &Limits) -> String {
    const FAR: i64 = 25;
    let (Some(first), Some(last), Some(limit)) = (values.first(), values.last(), way.limit(limits))
    else {
        return String::new();
    };
    let last = last.quantity().base();
    let shown = limits.shown(limit);
    let left = way.further(last, limit);
    if left < 0 {
        return format!(", past the limit {shown}");
    }
    let gone = way.further(first.quantity().base(), last);
    let steps = i64::try_from(values.len()).unwrap_or(i64::MAX) - 1;
    let pieces = left
        .checked_mul(steps)
        .and_then(|far| far.checked_div(gone))
        .map(|pieces| pieces.saturating_add(1));
    match pieces {
        Some(1) => format!(", and at this pace the next piece is past the limit {shown}"),
        Some(pieces) if pieces <= FAR => {
            format!(", and at this pace it is past the limit {shown} in {pieces} pieces")
        }
        Some(_) | None => String::new(),
    }
}

/// Whether the values move towards a limit or back towards nominal.
pub(super) fn heading(values: &[Measured], way: Way, limits: &Limits) -> String {
    let (Some(last), Some(limit)) = (values.last(), way.limit(limits)) else {
        return String::new();
    };
    let last = last.quantity().base();
    match limits.centre() {
        Some(centre) if way.further(centre, last) < 0 => {
            format!(", back to {}", limits.shown(centre))
        }
        Some(_) | None if way.further(last, limit) < 0 => {
            format!(", past the limit {}", limits.shown(limit))
        }
        Some(_) | None => format!(", towards the limit {}", limits.shown(limit)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(texts: &[&str]) -> Vec<Measured> {
        texts.iter().map(|text| text.parse().unwrap()).collect()
    }

    #[test]
    fn a_row_says_when_it_is_past_the_limit() {
        let limits: Limits = "1.62 ±0.05 mm".parse().unwrap();
        let up = |texts: &[&str]| pace(&values(texts), Way::Up, &limits);
        assert_eq!(
            up(&["1.60 mm", "1.61 mm", "1.62 mm"]),
            ", and at this pace it is past the limit 1.67 mm in 6 pieces"
        );
        assert_eq!(
            up(&["1.65 mm", "1.66 mm", "1.67 mm"]),
            ", and at this pace the next piece is past the limit 1.67 mm"
        );
        assert_eq!(
            up(&["1.66 mm", "1.67 mm", "1.68 mm"]),
            ", past the limit 1.67 mm"
        );
        assert_eq!(up(&["1.600 mm", "1.6005 mm", "1.601 mm"]), "");
    }

    #[test]
    fn a_trend_says_where_it_goes() {
        let limits: Limits = "1.62 ±0.05 mm".parse().unwrap();
        let said = |last: &str, way| heading(&values(&[last]), way, &limits);
        assert_eq!(said("1.63 mm", Way::Up), ", towards the limit 1.67 mm");
        assert_eq!(said("1.60 mm", Way::Up), ", back to 1.62 mm");
        assert_eq!(said("1.68 mm", Way::Up), ", past the limit 1.67 mm");
        assert_eq!(said("1.58 mm", Way::Down), ", towards the limit 1.57 mm");
        let limits: Limits = ">= 180 N".parse().unwrap();
        assert_eq!(
            heading(&values(&["190 N"]), Way::Down, &limits),
            ", towards the limit 180 N"
        );
    }
}
