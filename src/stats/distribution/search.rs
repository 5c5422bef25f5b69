//! Finds the root of an increasing function, and the first whole number that reaches something.
//!
//! Method: Chandrupatla 1997 (from memory), with inverse quadratic steps where they are safe, and halving otherwise.
//! The root always stays between two points where the function differs in sign.

use crate::stats::Undefined;

/// More steps than halving alone would need.
const MOST_STEPS: usize = 200;

/// A point of the function: one of the two ends, or the one before.
#[derive(Clone, Copy)]
struct At {
    x: f64,
    f: f64,
}

/// The root of the increasing function `f` between `low` and `high`, as exact as `f` is.
pub(crate) fn increasing_root(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let at = |x: f64| At { x, f: f(x) };
    let least = (high - low).abs() * 1e-18;
    let (mut new, mut old) = (at(high), at(low));
    let mut share = 0.5;
    for _ in 0..MOST_STEPS {
        let next = at(new.x + share * (old.x - new.x));
        let before = if (next.f < 0.0) == (new.f < 0.0) {
            new
        } else {
            std::mem::replace(&mut old, new)
        };
        new = next;
        let best = if old.f.abs() < new.f.abs() { old } else { new };
        let limit = (2.0 * f64::EPSILON * best.x.abs() + least) / (old.x - new.x).abs();
        if limit > 0.5 || best.f == 0.0 {
            return best.x;
        }
        share = step(new, old, before).clamp(limit, 1.0 - limit);
    }
    new.x
}

/// The next point, as a share of the way from `new` to `old`.
fn step(new: At, old: At, before: At) -> f64 {
    let xi = (new.x - old.x) / (before.x - old.x);
    let phi = (new.f - old.f) / (before.f - old.f);
    let curved = phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi;
    if !curved {
        return 0.5;
    }
    let towards_old = new.f / (old.f - new.f) * before.f / (old.f - before.f);
    let towards_before = (before.x - new.x) / (old.x - new.x) * new.f / (before.f - new.f) * old.f
        / (before.f - old.f);
    towards_old + towards_before
}

/// The smallest whole number from `from` on that `reaches`, which stays true once it is.
///
/// # Errors
///
/// [`Undefined::TooMany`] if no number up to `most` does.
pub(crate) fn first(
    from: u64,
    most: u64,
    reaches: impl Fn(u64) -> Result<bool, Undefined>,
) -> Result<u64, Undefined> {
    let mut enough = from.max(1);
    let mut short = enough - 1;
    while !reaches(enough)? {
        if enough >= most {
            let got = enough.saturating_add(1);
            return Err(Undefined::TooMany { got, most });
        }
        short = enough;
        enough = enough.saturating_mul(2).min(most);
    }
    while enough - short > 1 {
        let middle = short + (enough - short) / 2;
        if reaches(middle)? {
            enough = middle;
        } else {
            short = middle;
        }
    }
    Ok(enough)
}

/// The root above zero, searched upwards and downwards from `start`. The search uses logarithms, so that a small root
/// has as many digits as a large one.
pub(super) fn positive_root(f: impl Fn(f64) -> f64, start: f64) -> f64 {
    let mut high = start;
    while f(high) < 0.0 && high < f64::MAX / 4.0 {
        high *= 2.0;
    }
    let mut low = high.min(start);
    while f(low) > 0.0 && low > f64::MIN_POSITIVE {
        low /= 16.0;
    }
    increasing_root(|u| f(u.exp()), low.ln(), high.ln()).exp()
}

/// The positive value with probability `p` below it, from the smaller of the two tails. The search begins at `start`.
pub(super) fn quantile(
    p: f64,
    below: impl Fn(f64) -> f64,
    above: impl Fn(f64) -> f64,
    start: f64,
) -> f64 {
    let excess = |x| {
        if p < 0.5 {
            below(x) - p
        } else {
            (1.0 - p) - above(x)
        }
    };
    positive_root(excess, start)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_root_is_found_whatever_its_size() {
        for root in [1e-12, 0.3, 7.0, 1e9] {
            let found = positive_root(|x| x - root, 1.0);
            assert!((found / root - 1.0).abs() < 1e-14, "{root}: {found}");
        }
        let below_zero = increasing_root(|x| x.powi(3) + 8.0, -10.0, 10.0);
        assert!((below_zero + 2.0).abs() < 1e-14);
    }
}
