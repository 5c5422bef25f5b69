//! A trend by the test of Mann and Kendall over the last values, at most 25.
//!
//! S is the number of pairs whose later value is larger, minus the number of pairs whose later value is smaller. A tie
//! counts for neither, so values rounded to a coarse resolution make S smaller and the test more conservative. S is
//! significant if at most one in 200 of all orders of that many different values has an S as large (one-sided 0.5 %).
//! The orders are counted exactly.

use super::sentence::{heading, range};
use super::{AlertRule, MOST_VALUES, Seen, Sign, Way};
use crate::quantity::Measured;
use crate::spec::Limits;

/// The smallest significant S of 6, 7, … 25 values; fewer values cannot show a trend so surely.
///
/// Counted from the numbers of orders by inversions: `least_s_of_exact_counts` in the
/// tests of this file counts them again.
const SMALLEST_SIGNIFICANT_S: [i32; MOST_VALUES - FEWEST + 1] = [
    15, 19, 22, 26, 29, 33, 38, 44, 47, 53, 58, 64, 69, 75, 80, 86, 91, 99, 104, 110,
];
const FEWEST: usize = 6;

pub(super) const RULE: AlertRule = AlertRule {
    name: "trend",
    words: "a trend by the Mann-Kendall test, one-sided 0.5 %, exact",
    source: "H. B. Mann, Econometrica 13 (1945); M. G. Kendall, Rank Correlation Methods (1948); from memory; the critical values are our own",
    by_default: true,
    holds,
    says,
};

fn holds(values: &[i64], limits: &Limits) -> Option<Sign> {
    let from = values.len().saturating_sub(MOST_VALUES);
    let latest = values.get(from..)?;
    let least = *SMALLEST_SIGNIFICANT_S.get(latest.len().checked_sub(FEWEST)?)?;
    let s = s_of(latest);
    let way = if s > 0 { Way::Up } else { Way::Down };
    let holds = s.abs() >= least && way.leads_to_a_limit(limits);
    holds.then_some(Sign {
        values: latest.len(),
        way,
    })
}

/// S of Mann and Kendall of at most [`MOST_VALUES`]: rising pairs minus falling pairs.
///
/// It is counted at each reading. So where the values lie within 32 bits of each other, each is compared with as many
/// behind it, of which a processor does several at once; the room behind the last value holds what is smaller than any.
fn s_of(values: &[i64]) -> i32 {
    let first = values.first().copied().unwrap_or_default();
    let mut near = [i32::MIN; 2 * MOST_VALUES];
    for (near, value) in near.iter_mut().zip(values) {
        let off = value.checked_sub(first).and_then(|off| off.try_into().ok());
        let Some(off) = off.filter(|off| *off > i32::MIN) else {
            return values_s(values);
        };
        *near = off;
    }
    let windows = near.windows(MOST_VALUES).filter_map(<[i32]>::split_first);
    let with_room: i32 = windows.take(values.len()).map(one_s).sum();
    let most = values.len().min(MOST_VALUES);
    let room: usize = (0..most).map(|at| MOST_VALUES - most + at).sum();
    with_room + i32::try_from(room).unwrap_or_default()
}

fn values_s(values: &[i64]) -> i32 {
    let rests = (0..values.len()).filter_map(|at| values.get(at..)?.split_first());
    rests.map(one_s).sum()
}

/// The part of S of one value and those behind it.
fn one_s<T: Ord>((value, later): (&T, &[T])) -> i32 {
    let later = later.iter();
    let pairs = later.map(|later| i32::from(later > value) - i32::from(later < value));
    pairs.sum()
}

fn says(values: &[Measured], sign: Sign, limits: &Limits) -> Seen {
    let (way, word) = match sign.way {
        Way::Up => ("upward", "higher"),
        Way::Down => ("downward", "lower"),
    };
    let bases: Vec<i64> = values.iter().map(|value| value.quantity().base()).collect();
    let (mut agree, mut pairs) = (0_u32, 0_u32);
    for (at, later) in bases.iter().enumerate() {
        for earlier in bases.iter().take(at) {
            pairs += 1;
            agree += u32::from(sign.way.further(*earlier, *later) > 0);
        }
    }
    let range = range(values);
    Seen {
        what: format!("tends {way} over the last {} pieces,", sign.values),
        values: format!("{range}, the later one {word} in {agree} of {pairs} pairs"),
        outlook: heading(values, sign.way, limits),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The number of orders of `n` different values with 0, 1, 2, … inversions.
    fn orders(n: usize) -> Vec<u128> {
        let mut counts = vec![1_u128];
        for size in 2..=n {
            let mut next = vec![0_u128; counts.len() + size - 1];
            for (inversions, count) in counts.iter().enumerate() {
                for more in 0..size {
                    next[inversions + more] += count;
                }
            }
            counts = next;
        }
        counts
    }

    #[test]
    fn least_s_of_exact_counts() {
        for n in 2..=MOST_VALUES {
            let counts = orders(n);
            let all: u128 = counts.iter().sum();
            let pairs = i32::try_from(n * (n - 1) / 2).unwrap();
            let mut so_far = 0;
            let significant = counts.iter().take_while(|count| {
                so_far += *count;
                so_far * 200 <= all
            });
            let most_inversions = i32::try_from(significant.count()).unwrap() - 1;
            let least = (most_inversions >= 0).then_some(pairs - 2 * most_inversions);
            let ours = n.checked_sub(FEWEST).map(|at| SMALLEST_SIGNIFICANT_S[at]);
            assert_eq!(ours, least, "{n} values");
        }
    }

    #[test]
    fn values_near_each_other_and_far_apart_give_the_same() {
        let values = [3, 1, 2, 2, 5, 4, 6, 0].repeat(4);
        for values in (0..=MOST_VALUES).filter_map(|len| values.get(..len)) {
            let s = values_s(values);
            assert_eq!(s_of(values), s, "{values:?}");
            for by in [i64::from(i32::MAX), i64::MAX / 8] {
                let far: Vec<i64> = values.iter().map(|value| (value - 3) * by).collect();
                assert_eq!(s_of(&far), s, "{far:?}");
            }
        }
        assert_eq!(s_of(&[0, i64::from(i32::MIN), 0]), 0);
        assert_eq!(s_of(&[i64::MIN, i64::MAX]), 1);
    }

    #[test]
    fn counts_of_orders_are_those_of_all_permutations() {
        // Compares the rule with the counts for every order of seven values.
        let limits: Limits = "1.57..1.67 mm".parse().unwrap();
        let mut found = [0_u128; 2];
        permute(&mut [0, 1, 2, 3, 4, 5, 6], 0, &mut |order| {
            if let Some(sign) = holds(order, &limits) {
                found[usize::from(sign.way == Way::Up)] += 1;
            }
        });
        let counts = orders(7);
        let want: u128 = counts.iter().take(2).sum(); // S = 21 or 19
        assert_eq!(found, [want, want]);
        assert_eq!(counts.iter().sum::<u128>(), 5040);
    }

    fn permute(values: &mut [i64; 7], from: usize, take: &mut impl FnMut(&[i64])) {
        if from == values.len() {
            take(values);
        }
        for at in from..values.len() {
            values.swap(from, at);
            permute(values, from + 1, take);
            values.swap(from, at);
        }
    }

    #[test]
    fn a_slow_rise_with_ties_is_a_trend_and_a_scatter_is_none() {
        let limits: Limits = "1.57..1.67 mm".parse().unwrap();
        let slow = [0, 0, 1, 0, 1, 1, 2, 1, 2, 2, 3, 2];
        let sign = holds(&slow, &limits).unwrap();
        assert_eq!((sign.values, sign.way), (12, Way::Up));
        assert_eq!(holds(&[0, 2, 1, 0, 2, 1, 0, 2, 1, 0, 2, 1], &limits), None);
        assert_eq!(holds(&[1; 25], &limits), None);
        let falling: Vec<i64> = slow.iter().map(|value| -value).collect();
        let one_sided: Limits = "<= 0.3 mm".parse().unwrap();
        assert!(holds(&slow, &one_sided).is_some());
        assert_eq!(holds(&falling, &one_sided), None);
    }
}
