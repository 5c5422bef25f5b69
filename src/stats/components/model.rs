//! The sources of variation of a plan: factors, nested or crossed, and the interactions of two crossed ones.

use super::solve::Fitted;
use super::{Cell, Source};
use std::collections::{BTreeMap, BTreeSet};

/// A factor of the plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Factor {
    /// Its name.
    pub name: String,
    /// The factor in whose levels those of this one are by name, as nests are in tools.
    pub within: Option<String>,
    /// Number of levels.
    pub levels: usize,
}

/// Two factors that change together: their parts cannot be separated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Together(pub String, pub String);

impl Factor {
    /// A factor with this number of levels.
    pub fn new(name: &str, within: Option<&str>, levels: usize) -> Self {
        Self {
            name: name.to_owned(),
            within: within.map(str::to_owned),
            levels,
        }
    }

    /// The name with that of the factor it is within: `tool/nest`.
    pub fn full_name(&self) -> String {
        match &self.within {
            Some(outer) => format!("{outer}/{}", self.name),
            None => self.name.clone(),
        }
    }
}

/// A source with the level of each cell.
pub(super) struct Term {
    pub(super) name: String,
    /// Numbers of the factors.
    factors: Vec<usize>,
    /// The level of each cell.
    pub(super) of_cells: Vec<usize>,
    /// Number of levels.
    pub(super) levels: usize,
}

impl Term {
    pub(super) fn is_crossed(&self) -> bool {
        self.factors.len() > 1
    }

    fn new(name: String, factors: Vec<usize>, cells: &[Cell]) -> Self {
        let mut known: BTreeMap<Vec<usize>, usize> = BTreeMap::new();
        let of_cells = cells.iter().map(|cell| {
            let key: Vec<usize> = factors
                .iter()
                .filter_map(|factor| cell.levels.get(*factor).copied())
                .collect();
            let next = known.len();
            *known.entry(key).or_insert(next)
        });
        let of_cells: Vec<usize> = of_cells.collect();
        Self {
            name,
            factors,
            levels: known.len(),
            of_cells,
        }
    }
}

/// For each level of factor `inner` the levels of `outer` that it occurs with.
fn beside(cells: &[Cell], inner: usize, outer: usize) -> BTreeMap<usize, BTreeSet<usize>> {
    let mut found: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for cell in cells {
        if let (Some(inner), Some(outer)) = (cell.levels.get(inner), cell.levels.get(outer)) {
            found.entry(*inner).or_default().insert(*outer);
        }
    }
    found
}

/// Whether each level of `inner` occurs with one level of `outer` only.
pub(super) fn is_within(cells: &[Cell], inner: usize, outer: usize) -> bool {
    beside(cells, inner, outer)
        .values()
        .all(|outer| outer.len() == 1)
}

impl Together {
    /// The first two factors of which each level of one occurs with one level of the other, and the other way round.
    pub fn find(cells: &[Cell], factors: &[Factor]) -> Option<Self> {
        for (at, first) in factors.iter().enumerate() {
            for (later, second) in factors.iter().enumerate().skip(at + 1) {
                if is_within(cells, at, later) && is_within(cells, later, at) {
                    return Some(Self(first.full_name(), second.full_name()));
                }
            }
        }
        None
    }
}

/// The sources but for the rest: each factor after those it is nested in, then the interactions.
pub(super) fn terms(cells: &[Cell], factors: &[Factor], crossed: bool) -> Vec<Term> {
    let mut order: Vec<usize> = (0..factors.len()).collect();
    // A factor has as many others around it as it is nested in.
    let depth = |factor: &usize| {
        let outer = (0..factors.len()).filter(|other| other != factor);
        outer
            .filter(|other| is_within(cells, *factor, *other))
            .count()
    };
    order.sort_by_key(depth);
    let name = |at: usize| factors.get(at).map_or_else(String::new, Factor::full_name);
    let mut terms: Vec<Term> = order
        .iter()
        .map(|at| Term::new(name(*at), vec![*at], cells))
        .collect();
    if !crossed {
        return terms;
    }
    for first in 0..factors.len() {
        for second in first + 1..factors.len() {
            let nested = is_within(cells, first, second) || is_within(cells, second, first);
            if !nested {
                let both = format!("{}:{}", name(first), name(second));
                terms.push(Term::new(both, vec![first, second], cells));
            }
        }
    }
    terms
}

/// Whether each cell has the same number of readings, and each level of a factor equally many cells and, of a crossed
/// pair, every combination.
pub(super) fn is_balanced(cells: &[Cell], factors: &[Factor]) -> bool {
    let counts: BTreeSet<u64> = cells.iter().map(|cell| cell.readings.count()).collect();
    let even = |factor: usize| {
        let mut times: BTreeMap<usize, usize> = BTreeMap::new();
        for level in cells.iter().filter_map(|cell| cell.levels.get(factor)) {
            *times.entry(*level).or_default() += 1;
        }
        times.values().collect::<BTreeSet<_>>().len() == 1
    };
    let full = |first: usize, second: usize| {
        let nested = is_within(cells, first, second) || is_within(cells, second, first);
        let met = beside(cells, first, second);
        let all = factors.get(second).map_or(0, |factor| factor.levels);
        nested || met.values().all(|levels| levels.len() == all)
    };
    let pairs = (0..factors.len()).flat_map(|a| (a + 1..factors.len()).map(move |b| (a, b)));
    counts.len() == 1 && (0..factors.len()).all(even) && pairs.into_iter().all(|(a, b)| full(a, b))
}

/// The sources with their mean squares and what these are expected to be.
pub(super) fn sources(
    terms: &[Term],
    fitted: &Fitted,
    square: impl Fn(f64) -> f64,
    count: u64,
) -> Vec<Source> {
    let rest_at = terms.len();
    let solved = weights(fitted, rest_at);
    let sized = terms.iter().zip(&fitted.sources).enumerate();
    let mut sources: Vec<Source> = sized
        .map(|(at, (term, of))| {
            let has = of.freedom > 0.0;
            let expected = terms.iter().zip(&of.expected).skip(at);
            let expected = expected
                .filter(|(_, sum)| has && **sum > 1e-9 * of.freedom)
                .map(|(term, sum)| (term.name.clone(), sum / of.freedom));
            let (own, against) = solved.get(at).cloned().unwrap_or_default();
            Source {
                name: term.name.clone(),
                is_interaction: term.is_crossed(),
                levels: term.levels,
                freedom: of.freedom,
                mean_square: has.then(|| square(of.squares / of.freedom)),
                expected: expected.collect(),
                weights: own,
                against,
            }
        })
        .collect();
    let mut alone = vec![0.0; rest_at];
    alone.push(1.0);
    sources.push(Source {
        name: "rest".to_owned(),
        is_interaction: false,
        levels: usize::try_from(count).unwrap_or(usize::MAX),
        freedom: fitted.rest_freedom,
        mean_square: Some(square(fitted.rest / fitted.rest_freedom)),
        expected: Vec::new(),
        weights: alone,
        against: Vec::new(),
    });
    sources
}

/// For each source the weights of the mean squares in its variance, and in the mean square that it is tested against:
/// the expectations solved from the last source to the first.
fn weights(fitted: &Fitted, rest_at: usize) -> Vec<(Vec<f64>, Vec<f64>)> {
    let unit = |at: usize| {
        let mut weights = vec![0.0; rest_at + 1];
        if let Some(own) = weights.get_mut(at) {
            *own = 1.0;
        }
        weights
    };
    let mut solved: BTreeMap<usize, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
    for (at, of) in fitted.sources.iter().enumerate().rev() {
        if of.freedom <= 0.0 {
            solved.insert(at, (vec![0.0; rest_at + 1], vec![0.0; rest_at + 1]));
            continue;
        }
        let mut against = unit(rest_at);
        for (later, sum) in of.expected.iter().enumerate().skip(at + 1) {
            let share = sum / of.freedom;
            let Some((own, _)) = solved.get(&later) else {
                continue;
            };
            for (into, weight) in against.iter_mut().zip(own) {
                *into += share * weight;
            }
        }
        let factor = of.expected.get(at).map_or(1.0, |sum| sum / of.freedom);
        let own = unit(at);
        let own = own
            .iter()
            .zip(&against)
            .map(|(one, rest)| (one - rest) / factor);
        solved.insert(at, (own.collect(), against));
    }
    solved.into_values().collect()
}
