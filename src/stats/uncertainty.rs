//! Measurement uncertainty: the budget of one reading, by the law of propagation and by simulation.
//!
//! In: the standard uncertainty of each contribution, its degrees of freedom, and how its values are distributed. Out:
//! combined and expanded uncertainty, and the same from simulated errors as a check.
//!
//! - The model is a sum: every sensitivity is 1, so the law of propagation has no further terms.
//! - The seed is fixed, so the simulation gives the same figures each time.

use super::distribution::{StudentT, quantile};
use super::figures::row;
use super::random::Random;
use super::sample::{base_in, float, float_of, nearest};
use super::{Figure, FigureKind, Undefined};
use crate::quantity::Unit;

/// Seed of the simulation.
const SEED: u64 = 101;
/// The usual number of simulated errors: 10⁴ times 1/(1 - p) at 95 %, and five times that.
pub const TRIALS: usize = 1_000_000;
/// Fewer simulated errors show nothing.
const FEWEST_TRIALS: usize = 1_000;

/// How the values of a contribution are distributed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Law {
    /// Equally likely between two ends.
    Rectangular,
    /// The difference of two equal rectangular ones.
    Triangular,
    /// As the sine of a uniform angle.
    UShaped,
    /// Normal; with a finite number of degrees of freedom as Student's t, times the standard uncertainty.
    Normal,
}

/// One contribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Contribution {
    /// Its standard uncertainty.
    pub u: f64,
    /// Its degrees of freedom; `None` is infinitely many.
    pub degrees: Option<u32>,
    /// How its values are distributed.
    pub law: Law,
}

/// A budget, with its simulation.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    parts: Vec<Contribution>,
    confidence: f64,
    simulated: Result<Simulated, Undefined>,
}

/// What the simulated errors say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Simulated {
    /// Their standard deviation.
    pub u: Result<f64, Undefined>,
    /// The lower end of the interval that contains the share `confidence` of them, as many beyond each end.
    pub low: f64,
    /// The upper end.
    pub high: f64,
}

/// The figures of `study uncertainty`.
pub const FIGURES: &[Figure<Budget>] = &[
    row(
        "u",
        "combined standard uncertainty u",
        FigureKind::Reading,
        Budget::combined,
    ),
    row(
        "degrees_of_freedom",
        "effective degrees of freedom",
        FigureKind::Ratio,
        Budget::degrees,
    ),
    row(
        "coverage",
        "coverage factor k",
        FigureKind::Ratio,
        Budget::coverage,
    ),
    row(
        "expanded",
        "expanded uncertainty U = k u",
        FigureKind::Reading,
        Budget::expanded,
    ),
    row(
        "simulated_u",
        "standard uncertainty, simulated",
        FigureKind::Reading,
        |of| of.simulated?.u,
    ),
    row(
        "simulated_from",
        "coverage interval, simulated, lower end",
        FigureKind::Reading,
        |of| Ok(of.simulated?.low),
    ),
    row(
        "simulated_to",
        "coverage interval, simulated, upper end",
        FigureKind::Reading,
        |of| Ok(of.simulated?.high),
    ),
];

/// The standard uncertainty of which twelve times the square is known, in squared thousandths of a base unit: in `unit`.
pub fn of_twelfths(twelfths: u128, unit: Unit) -> f64 {
    let twelfths = i128::try_from(twelfths).unwrap_or(i128::MAX);
    base_in(unit.into(), (float(twelfths) / 12.0).sqrt() / 1_000.0)
}

impl Budget {
    /// A budget for a coverage of `confidence`, with as many simulated errors as `trials` says ([`TRIALS`]).
    ///
    /// # Errors
    ///
    /// [`Undefined::OutOfRange`] without contributions, unless every standard uncertainty is positive and finite, and
    /// unless `confidence` is between 0 and 1.
    pub fn new(
        parts: Vec<Contribution>,
        confidence: f64,
        trials: usize,
    ) -> Result<Self, Undefined> {
        quantile(confidence)?;
        let fits = |part: &Contribution| part.u > 0.0 && part.u.is_finite();
        if parts.is_empty() || !parts.iter().all(fits) {
            return Err(Undefined::OutOfRange {
                what: "a standard uncertainty",
            });
        }
        let simulated = simulate(&parts, confidence, trials);
        Ok(Self {
            parts,
            confidence,
            simulated,
        })
    }

    /// The contributions.
    pub fn parts(&self) -> &[Contribution] {
        &self.parts
    }

    /// What the simulated errors say.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFew`] below 1,000 simulated errors.
    pub fn simulated(&self) -> Result<Simulated, Undefined> {
        self.simulated
    }

    /// The combined standard uncertainty.
    ///
    /// ```text
    /// u = √( Σ uᵢ² )
    /// ```
    ///
    /// For independent contributions with a sensitivity of 1. Source: JCGM 100, 5.1.2, from memory.
    ///
    /// # Examples
    ///
    /// ```
    /// use tallyjaw::stats::uncertainty::{Budget, Contribution, Law};
    /// let part = |u, degrees| Contribution { u, degrees, law: Law::Normal };
    /// // The end gauge of JCGM 100, annex H.1, in nanometres.
    /// let parts = vec![part(25.0, Some(18)), part(9.7, Some(25)), part(2.9, Some(50)), part(16.6, Some(2))];
    /// let budget = Budget::new(parts, 0.99, 10_000)?;
    /// assert_eq!(budget.combined()?.round(), 32.0);
    /// assert_eq!(budget.degrees()?.floor(), 16.0);
    /// assert_eq!(budget.expanded()?.round(), 93.0);
    /// # Ok::<_, tallyjaw::stats::Undefined>(())
    /// ```
    pub fn combined(&self) -> Result<f64, Undefined> {
        let squares = self.parts.iter().map(|part| part.u * part.u);
        Ok(squares.sum::<f64>().sqrt())
    }

    /// The effective degrees of freedom, by the formula of Welch and Satterthwaite.
    ///
    /// ```text
    /// ν = u⁴ / Σ ( uᵢ⁴ / νᵢ )
    /// ```
    ///
    /// Source: JCGM 100, G.4.1, from memory.
    ///
    /// # Errors
    ///
    /// [`Undefined::NotApplicable`] if every contribution has infinitely many.
    pub fn degrees(&self) -> Result<f64, Undefined> {
        let terms = self.parts.iter().filter_map(|part| {
            let degrees = part.degrees.filter(|degrees| *degrees > 0)?;
            Some(part.u.powi(4) / f64::from(degrees))
        });
        let sum: f64 = terms.sum();
        if sum <= 0.0 {
            return Err(Undefined::NotApplicable {
                why: "every contribution has infinitely many degrees of freedom",
            });
        }
        Ok(self.combined()?.powi(4) / sum)
    }

    /// The coverage factor k.
    ///
    /// ```text
    /// k = t((1+p)/2; ⌊ν⌋),   z((1+p)/2) with infinitely many degrees of freedom
    /// ```
    ///
    /// The degrees of freedom are rounded down. It takes the sum of the errors as normal, which the simulation checks.
    /// Source: JCGM 100, G.3.2 and G.4.1, from memory.
    pub fn coverage(&self) -> Result<f64, Undefined> {
        let p = 0.5 + self.confidence / 2.0;
        match self.degrees() {
            Ok(_) => StudentT::new(self.whole_degrees()?)?.quantile(p),
            Err(_) => quantile(p),
        }
    }

    /// [`Self::degrees`] rounded down; a whole number that a float misses by its last digits stays.
    pub fn whole_degrees(&self) -> Result<f64, Undefined> {
        Ok((self.degrees()? * (1.0 + 1e-9)).floor().max(1.0))
    }

    /// The expanded uncertainty: [`Self::coverage`] times [`Self::combined`]. Source: JCGM 100, 6.2.1, from memory.
    pub fn expanded(&self) -> Result<f64, Undefined> {
        Ok(self.coverage()? * self.combined()?)
    }

    /// The share of each contribution in u², in percent.
    pub fn shares(&self) -> Result<Vec<f64>, Undefined> {
        let all = self.combined()?.powi(2);
        let parts = self.parts.iter();
        Ok(parts.map(|part| 100.0 * part.u * part.u / all).collect())
    }

    /// The size of which figures have three digits: a tenth of u.
    pub fn finest(&self) -> Result<f64, Undefined> {
        Ok(self.combined()? / 10.0)
    }

    /// Whether the simulation takes as exact what the formula does not: a half-width with degrees of freedom of its own. Its
    /// interval is then too narrow to be taken instead.
    pub fn simulates_less(&self) -> bool {
        let is_exact = |part: &Contribution| part.law != Law::Normal && part.degrees.is_some();
        self.parts.iter().any(is_exact)
    }

    /// The number of significant digits of u, 2 or 1, to which both ends of the simulated interval agree with ±U; `None` if
    /// they differ already by the first one.
    ///
    /// ```text
    /// u = c · 10ˡ with c of that many digits;   | ±U - end | ≤ 10ˡ / 2
    /// ```
    ///
    /// Source: JCGM 101, 7.9.2 and 8.1, from memory.
    pub fn agrees_to(&self) -> Result<Option<u8>, Undefined> {
        let (simulated, expanded, u) = (self.simulated?, self.expanded()?, self.combined()?);
        let off = (simulated.high - expanded)
            .abs()
            .max((simulated.low + expanded).abs());
        let first = u.log10().floor();
        let fits = |digits: f64| off <= 0.5 * 10.0_f64.powf(first + 1.0 - digits);
        Ok(if fits(2.0) {
            Some(2)
        } else if fits(1.0) {
            Some(1)
        } else {
            None
        })
    }
}

/// Simulated errors: one value of each contribution, added, `trials` times.
///
/// Ends by JCGM 101, 7.7 (from memory): of M sorted errors the r-th and the (r+q)-th, with q = ⌊p M + ½⌋ and r = (M - q)/2.
/// A half-width is taken as exact: its degrees of freedom enter [`Budget::degrees`] alone.
fn simulate(
    parts: &[Contribution],
    confidence: f64,
    trials: usize,
) -> Result<Simulated, Undefined> {
    let count = |trials: usize| u64::try_from(trials).unwrap_or(u64::MAX);
    Undefined::unless(count(trials), count(FEWEST_TRIALS))?;
    let mut random = Random::new(SEED);
    let mut errors = Vec::with_capacity(trials);
    let (mut sum, mut squares) = (0.0, 0.0);
    for _ in 0..trials {
        let error: f64 = parts.iter().map(|part| drawn(*part, &mut random)).sum();
        sum += error;
        squares += error * error;
        errors.push(error);
    }
    let m = float_of(trials);
    let within = usize::try_from(nearest(confidence * m)).unwrap_or(0);
    let below = trials.saturating_sub(within) / 2;
    let mut end = |rank: usize| {
        let rank = rank.clamp(1, trials) - 1;
        *errors.select_nth_unstable_by(rank, f64::total_cmp).1
    };
    let infinite = |part: &Contribution| {
        part.law == Law::Normal && part.degrees.is_some_and(|degrees| degrees < 3)
    };
    let u = if parts.iter().any(infinite) {
        Err(Undefined::NotApplicable {
            why: "Student's t with fewer than 3 degrees of freedom has no standard deviation",
        })
    } else {
        Ok(((squares - sum * sum / m) / (m - 1.0)).sqrt())
    };
    let (low, high) = (end(below), end(below + within));
    Ok(Simulated { u, low, high })
}

/// One value of a contribution. Source: JCGM 101, 6.4, from memory.
fn drawn(part: Contribution, random: &mut Random) -> f64 {
    match (part.law, part.degrees) {
        (Law::Rectangular, _) => part.u * 3.0_f64.sqrt() * (2.0 * random.next_share() - 1.0),
        (Law::Triangular, _) => {
            part.u * 6.0_f64.sqrt() * (random.next_share() + random.next_share() - 1.0)
        }
        (Law::UShaped, _) => {
            part.u * 2.0_f64.sqrt() * (std::f64::consts::TAU * random.next_share()).sin()
        }
        (Law::Normal, None) => part.u * random.next_normal(),
        (Law::Normal, Some(degrees)) => {
            let degrees = float(degrees.max(1).into());
            let square = 2.0 * random.next_gamma(degrees / 2.0);
            part.u * random.next_normal() / (square / degrees).sqrt()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stats::text::fixed;

    fn part(u: f64, degrees: Option<u32>, law: Law) -> Contribution {
        Contribution { u, degrees, law }
    }

    #[test]
    fn the_end_gauge_of_jcgm_100_annex_h_1_to_its_printed_digits() {
        // JCGM 100:2008, H.1 (from memory), in nanometres: u(lS) = 25 with 18 degrees of freedom; u(d) = 9.7 with 25.6,
        // from 5.8 (24), 3.9 (5) and 6.7 (8); 2.9 (50) and 16.6 (2) of the temperature. Printed: u = 32, 16, U99 = 93.
        let of_difference =
            [(5.8, 24), (3.9, 5), (6.7, 8)].map(|(u, degrees)| part(u, Some(degrees), Law::Normal));
        let difference = Budget::new(of_difference.to_vec(), 0.99, 1_000).unwrap();
        assert_eq!(fixed(difference.combined().unwrap(), 1), "9.7");
        // Printed 25.6, from the rounded 9.7; 25.4 without rounding.
        assert_eq!(fixed(difference.degrees().unwrap(), 1), "25.4");
        // As printed, each rounded.
        let parts = [(25.0, 18), (9.7, 25), (2.9, 50), (16.6, 2)];
        let parts = parts.map(|(u, n)| part(u, Some(n), Law::Normal)).to_vec();
        let budget = Budget::new(parts, 0.99, 1_000).unwrap();
        assert_eq!(fixed(budget.combined().unwrap(), 0), "32");
        assert_eq!(budget.whole_degrees(), Ok(16.0));
        assert_eq!(fixed(budget.coverage().unwrap(), 2), "2.92");
        assert_eq!(fixed(budget.expanded().unwrap(), 0), "93");
    }

    #[test]
    fn four_rectangular_contributions_of_jcgm_101_clause_9_2_3() {
        // JCGM 101:2008, 9.2.3 (from memory): four rectangular ones with u = 1. The law of propagation gives u = 2 and ±3.92;
        // the printed simulation, and the analytical interval, ±3.88.
        let parts = vec![part(1.0, None, Law::Rectangular); 4];
        let budget = Budget::new(parts, 0.95, 200_000).unwrap();
        let simulated = budget.simulated().unwrap();
        assert_eq!(fixed(budget.expanded().unwrap(), 2), "3.92");
        assert!((simulated.u.unwrap() - 2.0).abs() < 0.01, "{simulated:?}");
        assert!((simulated.high - 3.88).abs() < 0.04, "{simulated:?}");
        assert!((simulated.low + 3.88).abs() < 0.04, "{simulated:?}");
        // 0.04 apart, and the simulation adds 0.02; the first digit of u = 2 allows 0.5.
        assert!(matches!(budget.agrees_to(), Ok(Some(_))));
    }

    #[test]
    fn one_large_rectangular_contribution_is_where_both_differ() {
        // JCGM 101, 9.2.4 (from memory): three with u = 1 and one with u = 10. ±20.3 by propagation, ±17.0 simulated.
        let mut parts = vec![part(1.0, None, Law::Rectangular); 3];
        parts.push(part(10.0, None, Law::Rectangular));
        let budget = Budget::new(parts, 0.95, 200_000).unwrap();
        assert_eq!(fixed(budget.combined().unwrap(), 1), "10.1");
        // printed: 19.9, with 1.96; k u = 19.89
        assert_eq!(fixed(budget.expanded().unwrap(), 1), "19.9");
        let high = budget.simulated().unwrap().high;
        assert!((high - 17.0).abs() < 0.1, "{high}");
        assert_eq!(budget.agrees_to(), Ok(Some(1)));
    }

    #[test]
    fn each_law_has_the_standard_deviation_that_it_is_given() {
        let laws = [Law::Rectangular, Law::Triangular, Law::UShaped, Law::Normal];
        for law in laws {
            let budget = Budget::new(vec![part(2.0, None, law)], 0.95, 50_000).unwrap();
            let u = budget.simulated().unwrap().u.unwrap();
            assert!((u - 2.0).abs() < 0.03, "{law:?}: {u}");
        }
        // Student's t with 10 degrees of freedom: ±2.228 u, and √(10/8) u
        let budget = Budget::new(vec![part(1.0, Some(10), Law::Normal)], 0.95, 100_000).unwrap();
        let simulated = budget.simulated().unwrap();
        assert!((simulated.high - 2.228).abs() < 0.05, "{simulated:?}");
        assert!((simulated.u.unwrap() - 1.118).abs() < 0.02, "{simulated:?}");
        assert_eq!(budget.degrees(), Ok(10.0));
    }

    #[test]
    fn what_has_no_value_says_why() {
        let of = |parts: Vec<Contribution>, confidence| Budget::new(parts, confidence, 1_000);
        let out = |what| Undefined::OutOfRange { what };
        assert_eq!(of(Vec::new(), 0.95), Err(out("a standard uncertainty")));
        let one = part(1.0, None, Law::Normal);
        assert_eq!(of(vec![one], 1.0), Err(out("a probability")));
        let budget = of(vec![one], 0.95).unwrap();
        assert!(matches!(
            budget.degrees(),
            Err(Undefined::NotApplicable { .. })
        ));
        assert_eq!(fixed(budget.coverage().unwrap(), 3), "1.960");
        let few = Budget::new(vec![one], 0.95, 999).unwrap();
        assert!(matches!(few.simulated(), Err(Undefined::TooFew { .. })));
        assert_eq!(few.combined(), Ok(1.0));
        let two = of(vec![part(1.0, Some(2), Law::Normal)], 0.95).unwrap();
        assert!(two.simulated().unwrap().u.is_err());
    }
}
