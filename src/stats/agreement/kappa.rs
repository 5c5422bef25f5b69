//! Kappa: agreement beyond what chance alone would give.
//!
//! ```text
//! κ = (Po - Pe) / (1 - Pe)
//! ```
//!
//! 1 is perfect agreement, 0 what chance alone would give. Its interval is by the jackknife over items on the scale
//! `z = artanh κ`, with Student's t of `n - 1` degrees of freedom.

use crate::stats::Undefined;
use crate::stats::distribution::StudentT;
use crate::stats::sample::float_of;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// With fewer items the interval holds the truth far less often than it says: docs/coverage.md.
pub const FEWEST_ITEMS: u64 = 30;
/// Of an answer that two gave to fewer items, too little is seen: the upper end of the interval is then too low.
const FEWEST_SHARED: usize = 2;
/// A kappa of one is taken as this for its interval, where the scale is endless.
const NEARLY_ONE: f64 = 0.999;

const ONE_ANSWER: Undefined = Undefined::NotApplicable {
    why: "all answers are the same, so chance alone would give the same agreement",
};

/// A kappa with the shares that it is computed from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Kappa {
    /// The value.
    pub value: f64,
    /// The share of agreement that was observed.
    pub observed: f64,
    /// The share of agreement that is expected by chance.
    pub expected: f64,
    /// The confidence interval, or why there is none.
    pub bounds: Result<(f64, f64), Undefined>,
    /// Whether an answer was given to fewer than two items by two at once: the upper end then holds too seldom.
    pub is_rare: bool,
}

/// Sums over items, from which kappa is computed; those without one item follow from them.
#[derive(Debug, Clone)]
struct Sums {
    looks: f64,
    agreement: f64,
    /// For each answer: how often the first, and how often the second gave it; for Fleiss' kappa both are all.
    given: Vec<(f64, f64)>,
}

impl Sums {
    fn kappa(&self) -> Result<(f64, f64, f64), Undefined> {
        let observed = self.agreement / self.looks;
        let whole = |of: fn(&(f64, f64)) -> f64| self.given.iter().map(of).sum::<f64>();
        let (first, second) = (whole(|of| of.0), whole(|of| of.1));
        let expected: f64 = self.given.iter().map(|(a, b)| a * b).sum::<f64>() / (first * second);
        if expected >= 1.0 - 1e-12 {
            return Err(ONE_ANSWER);
        }
        Ok(((observed - expected) / (1.0 - expected), observed, expected))
    }

    fn without(&self, item: &Item) -> Self {
        let given = self.given.iter().enumerate().map(|(answer, (a, b))| {
            let (first, second) = item.given.get(answer).copied().unwrap_or_default();
            (a - first, b - second)
        });
        Self {
            looks: self.looks - item.looks,
            agreement: self.agreement - item.agreement,
            given: given.collect(),
        }
    }
}

impl Item {
    /// Adds what another item of the same piece adds.
    fn add(&mut self, other: &Self) {
        self.looks += other.looks;
        self.agreement += other.agreement;
        for (into, own) in self.given.iter_mut().zip(&other.given) {
            into.0 += own.0;
            into.1 += own.1;
        }
        for (into, own) in self.shared.iter_mut().zip(&other.shared) {
            *into |= own;
        }
    }
}

/// What an item adds to the sums.
#[derive(Debug, Clone)]
struct Item {
    /// How many looks it has: pairs of answers, or for Fleiss' kappa one.
    looks: f64,
    agreement: f64,
    given: Vec<(f64, f64)>,
    /// For each answer, whether two gave it to this item.
    shared: Vec<bool>,
}

fn of(items: &[Item], answers: usize, confidence: f64) -> Result<Kappa, Undefined> {
    let count = u64::try_from(items.len()).unwrap_or(u64::MAX);
    Undefined::unless(count, 2)?;
    let mut sums = Sums {
        looks: 0.0,
        agreement: 0.0,
        given: vec![(0.0, 0.0); answers],
    };
    for item in items {
        sums.looks += item.looks;
        sums.agreement += item.agreement;
        for (into, own) in sums.given.iter_mut().zip(&item.given) {
            into.0 += own.0;
            into.1 += own.1;
        }
    }
    let (value, observed, expected) = sums.kappa()?;
    Ok(Kappa {
        value,
        observed,
        expected,
        bounds: bounds(items, &sums, value, confidence),
        is_rare: is_rare(items, &sums),
    })
}

fn is_rare(items: &[Item], sums: &Sums) -> bool {
    let given = sums.given.iter().enumerate();
    let mut given = given.filter(|(_, (first, second))| first + second > 0.0);
    given.any(|(answer, _)| {
        let shared = items
            .iter()
            .filter(|item| item.shared.get(answer) == Some(&true));
        shared.count() < FEWEST_SHARED
    })
}

/// The interval by the jackknife.
fn bounds(
    items: &[Item],
    sums: &Sums,
    value: f64,
    confidence: f64,
) -> Result<(f64, f64), Undefined> {
    let n = float_of(items.len());
    if value >= 1.0 - 1e-12 {
        return Err(Undefined::NotApplicable {
            why: "all agree, so how much kappa varies is not seen; the share of agreement has an interval",
        });
    }
    let count = u64::try_from(items.len()).unwrap_or(u64::MAX);
    Undefined::unless(count, FEWEST_ITEMS)?;
    let scaled = |kappa: f64| kappa.clamp(-NEARLY_ONE, NEARLY_ONE).atanh();
    let whole = scaled(value);
    let pseudo = items.iter().map(|item| {
        let (without, _, _) = sums.without(item).kappa()?;
        Ok(n * whole - (n - 1.0) * scaled(without))
    });
    let pseudo = pseudo.collect::<Result<Vec<f64>, Undefined>>()?;
    let mean = pseudo.iter().sum::<f64>() / n;
    let squares: f64 = pseudo.iter().map(|one| (one - mean).powi(2)).sum();
    let error = (squares / (n - 1.0) / n).sqrt();
    let reach = StudentT::new(n - 1.0)?.quantile(0.5 + confidence / 2.0)? * error;
    Ok(((mean - reach).tanh(), (mean + reach).tanh()))
}

/// Cohen's kappa of two appraisers: `pairs` has their answers about each item, as numbers below `answers`.
///
/// ```text
/// Po = share of items with equal answers,   Pe = Σ over answers of p₁ p₂
/// ```
///
/// Source: Cohen 1960, from memory; checked against an independent computation.
///
/// # Errors
///
/// [`Undefined::TooFew`] below 2 items, [`Undefined::NotApplicable`] if all answers are the same.
///
/// # Examples
///
/// ```
/// use tallyjaw::stats::agreement::cohen;
/// // 20 items both call good, 5 only the first, 10 only the second, 15 neither
/// let times = |pair, count| std::iter::repeat_n(pair, count);
/// let pairs: Vec<(usize, usize)> = times((0, 0), 20).chain(times((0, 1), 5))
///     .chain(times((1, 0), 10)).chain(times((1, 1), 15)).collect();
/// let kappa = cohen(&pairs, 2, 0.95)?;
/// assert!((kappa.value - 0.4).abs() < 1e-12);
/// # Ok::<_, tallyjaw::stats::Undefined>(())
/// ```
pub fn cohen(
    pairs: &[(usize, usize)],
    answers: usize,
    confidence: f64,
) -> Result<Kappa, Undefined> {
    let items: Vec<Vec<(usize, usize)>> = pairs.iter().map(|pair| vec![*pair]).collect();
    cohen_of_items(&items, answers, confidence)
}

/// As [`cohen`], of items (or pieces) that were looked at several times: `items` has for each the pairs of answers. All looks of
/// an item are left out together for the interval, since they say less than as many items.
///
/// # Errors
///
/// As [`cohen`].
pub fn cohen_of_items(
    items: &[Vec<(usize, usize)>],
    answers: usize,
    confidence: f64,
) -> Result<Kappa, Undefined> {
    let times = |pairs: &[(usize, usize)], is: &dyn Fn(&(usize, usize)) -> bool| {
        float_of(pairs.iter().filter(|pair| is(pair)).count())
    };
    let items = items.iter().map(|pairs| Item {
        looks: float_of(pairs.len()),
        agreement: times(pairs, &|(first, second)| first == second),
        given: (0..answers)
            .map(|answer| {
                let first = times(pairs, &|(first, _)| *first == answer);
                (first, times(pairs, &|(_, second)| *second == answer))
            })
            .collect(),
        shared: (0..answers)
            .map(|answer| pairs.contains(&(answer, answer)))
            .collect(),
    });
    of(&items.collect::<Vec<_>>(), answers, confidence)
}

/// Fleiss' kappa: `counts` has for each item how often each answer was given; every item has the same number of answers.
///
/// ```text
/// Po = mean over items of Σ nᵢⱼ (nᵢⱼ - 1)/(r (r - 1)),   Pe = Σ pⱼ²,   pⱼ = share of answer j
/// ```
///
/// Source: Fleiss 1971, from memory; checked against its example.
///
/// # Errors
///
/// As [`cohen`]; [`Undefined::Unequal`] if the numbers of answers differ, [`Undefined::TooFewGroups`] if there is one for
/// each item.
pub fn fleiss(counts: &[Vec<u32>], confidence: f64) -> Result<Kappa, Undefined> {
    let each: Vec<usize> = (0..counts.len()).collect();
    fleiss_of_pieces(counts, &each, confidence)
}

/// As [`fleiss`], of items of which several may be of one piece: `pieces` has for each item the number of its piece. All items of
/// a piece are left out together for the interval, since they say less than as many pieces.
///
/// # Errors
///
/// As [`fleiss`].
pub fn fleiss_of_pieces(
    counts: &[Vec<u32>],
    pieces: &[usize],
    confidence: f64,
) -> Result<Kappa, Undefined> {
    let sizes = || counts.iter().map(|item| item.iter().sum::<u32>());
    let (least, most) = (sizes().min().unwrap_or(0), sizes().max().unwrap_or(0));
    if least != most {
        return Err(Undefined::Unequal {
            fewest: least.into(),
            most: most.into(),
        });
    }
    if most < 2 {
        return Err(Undefined::TooFewGroups {
            got: most.into(),
            want: 2,
        });
    }
    let r = f64::from(most);
    let items = counts.iter().map(|item| {
        let equal = item.iter().map(|n| f64::from(*n) * (f64::from(*n) - 1.0));
        Item {
            looks: 1.0,
            agreement: equal.sum::<f64>() / (r * (r - 1.0)),
            given: item
                .iter()
                .map(|n| (f64::from(*n), f64::from(*n)))
                .collect(),
            shared: item.iter().map(|n| *n > 1).collect(),
        }
    });
    let mut merged: BTreeMap<usize, Item> = BTreeMap::new();
    for (item, piece) in items.zip(pieces) {
        match merged.entry(*piece) {
            Entry::Occupied(mut known) => known.get_mut().add(&item),
            Entry::Vacant(free) => {
                free.insert(item);
            }
        }
    }
    let answers = counts.iter().map(Vec::len).max().unwrap_or(0);
    of(
        &merged.into_values().collect::<Vec<_>>(),
        answers,
        confidence,
    )
}
