//! The plans for each severity, and whether a sample accepts its lot.

use super::{Attributes, Judged, Points, Severity, Variables};
use crate::stats::figures::row;
use crate::stats::figures::whole;
use crate::stats::picture::{Curve, Mark};
use crate::stats::sample::counted;
use crate::stats::text::{fixed, percent};
use crate::stats::{
    Figure, FigureKind, Limits, Sample, Undefined, capability, describe, normality, proportion,
};

/// Significance level of the normality of a lot: one good lot in a thousand is not judged by variables.
const NOT_NORMAL: f64 = 0.001;

/// The sample of reduced inspection, as a share of the normal one (the ratio of the sample sizes of ISO 2859-1, from
/// memory).
const REDUCED: f64 = 0.4;
/// What an accepted lot adds to the switching score: with an acceptance number of 0 or 1, and otherwise if it would have
/// been accepted with the next tighter acceptance quality limit (ISO 2859-1:1999, 9.3.3, from memory).
const SCORES: (u32, u32) = (2, 3);

/// A single sampling plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Plan {
    /// By counting nonconforming pieces.
    Attributes(Attributes),
    /// By the distance of the mean from the limit.
    Variables(Variables),
}

impl Plan {
    /// Number of pieces of the sample.
    pub fn pieces(&self) -> u64 {
        match self {
            Self::Attributes(plan) => plan.pieces,
            Self::Variables(plan) => plan.pieces,
        }
    }

    /// The probability that a lot with this share of nonconforming pieces is accepted.
    pub fn accepts(&self, share: f64) -> Result<f64, Undefined> {
        match self {
            Self::Attributes(plan) => plan.accepts(share),
            Self::Variables(plan) => plan.accepts(share),
        }
    }

    /// The plan in words.
    pub fn words(&self) -> String {
        match self {
            Self::Attributes(plan) => format!(
                "{} pieces, accepted if at most {} nonconforming",
                plan.pieces, plan.accept
            ),
            Self::Variables(plan) => format!(
                "{} normally distributed pieces, accepted if their mean is at least {} standard deviations{} from each limit",
                plan.pieces,
                fixed(plan.constant, 3),
                if plan.is_sigma_known { " (known)" } else { "" }
            ),
        }
    }
}

/// The plans of all severities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scheme {
    /// Normal inspection.
    pub normal: Plan,
    /// Tightened inspection.
    pub tightened: Plan,
    /// Reduced inspection.
    pub reduced: Plan,
    points: Points,
    /// The standard deviation, where it is known.
    sigma: Option<f64>,
    /// Whether the share beyond both limits together counts, of plans by variables.
    is_combined: bool,
}

/// What a sample says of its lot.
#[derive(Debug, Clone, PartialEq)]
pub struct Inspected {
    /// What became of the lot.
    pub judged: Judged,
    /// The result in words.
    pub words: String,
}

impl Scheme {
    /// Plans by attributes: the normal one by both points; the tightened one with the next tighter acceptance quality
    /// limit and the same sample, or where its acceptance number is 0 already, the sample of the tighter points; the
    /// reduced one with 0.4 of the sample and the producer's risk kept.
    pub fn by_attributes(points: &Points, lot: Option<u64>) -> Result<Self, Undefined> {
        let normal = Attributes::of_points(points, lot)?;
        let tighter = points.tighter();
        let same = Attributes::of_producer(normal.pieces, tighter.aql, points.producer, lot)?;
        let tightened = if same.accept < normal.accept {
            same
        } else if normal.accept > 0 {
            Attributes {
                accept: normal.accept - 1,
                ..normal
            }
        } else {
            let stricter = Points {
                limiting: points.limiting / super::STEP,
                ..tighter
            };
            Attributes::of_points(&stricter, lot)?
        };
        let pieces = reduced(normal.pieces, 1);
        let reduced = Attributes::of_producer(pieces, points.aql, points.producer, lot)?;
        Ok(Self {
            normal: Plan::Attributes(normal),
            tightened: Plan::Attributes(tightened),
            reduced: Plan::Attributes(reduced),
            points: *points,
            sigma: None,
            is_combined: false,
        })
    }

    /// Plans by variables, as [`Self::by_attributes`], with the known standard deviation if there is one.
    pub fn by_variables(points: &Points, sigma: Option<f64>) -> Result<Self, Undefined> {
        let is_known = sigma.is_some();
        let normal = Variables::of_points(points, is_known)?;
        let of = |pieces: u64, aql: f64| {
            Variables::of_producer(pieces, aql, points.producer, is_known).map(Plan::Variables)
        };
        Ok(Self {
            normal: Plan::Variables(normal),
            tightened: of(normal.pieces, points.tighter().aql)?,
            reduced: of(reduced(normal.pieces, 3), points.aql)?,
            points: *points,
            sigma,
            is_combined: false,
        })
    }

    /// The same plans by variables with combined control: of two limits the estimated share beyond both together counts.
    #[must_use]
    pub fn combined(self) -> Self {
        Self {
            is_combined: true,
            ..self
        }
    }

    /// Whether the share beyond both limits together counts.
    pub fn is_combined(&self) -> bool {
        self.is_combined
    }

    /// The plan of this severity; `None` where no lot is inspected.
    pub fn plan(&self, severity: Severity) -> Option<&Plan> {
        match severity {
            Severity::Normal => Some(&self.normal),
            Severity::Tightened => Some(&self.tightened),
            Severity::Reduced => Some(&self.reduced),
            Severity::Discontinued => None,
        }
    }

    /// The operating characteristic of normal inspection; `None` if it has no value.
    pub fn curve(&self, points: u32) -> Option<Curve> {
        let last = f64::from(points.max(2) - 1);
        let to = (1.25 * self.points.limiting).min(1.0);
        let shares = (0..points.max(2)).map(|nth| to * f64::from(nth) / last);
        let points = shares.map(|share| Some((100.0 * share, self.normal.accepts(share).ok()?)));
        let mark = |name: &str, share: f64| Mark {
            at: 100.0 * share,
            name: name.to_owned(),
        };
        Some(Curve {
            across: "nonconforming, percent".to_owned(),
            up: "probability that the lot is accepted".to_owned(),
            points: points.collect::<Option<_>>()?,
            marks: vec![
                mark("AQL", self.points.aql),
                mark("limiting", self.points.limiting),
            ],
            required: None,
        })
    }

    /// What the first pieces of a lot say, as many as the plan of this severity takes.
    ///
    /// # Errors
    ///
    /// [`Undefined::TooFew`] if the lot has fewer readings than the plan takes, [`Undefined::NoLimits`] without limits,
    /// [`Undefined::NotApplicable`] if inspection is discontinued, or by variables if the readings are not normal.
    pub fn inspect(
        &self,
        severity: Severity,
        lot: &Sample,
        limits: &Limits,
    ) -> Result<Inspected, Undefined> {
        let plan = self.plan(severity).ok_or(Undefined::NotApplicable {
            why: "inspection is discontinued: the supplier improves the process first",
        })?;
        let taken = first_of(lot, plan.pieces())?;
        let (is_accepted, words) = self.judge(plan, &taken, limits)?;
        let score = match self.normal {
            Plan::Attributes(normal) if normal.accept < 2 => SCORES.0,
            Plan::Attributes(_) | Plan::Variables(_) => {
                // Both plans take the same sample.
                let tighter = first_of(lot, self.tightened.pieces())
                    .and_then(|taken| self.judge(&self.tightened, &taken, limits));
                if tighter.is_ok_and(|(is_accepted, _)| is_accepted) {
                    SCORES.1
                } else {
                    0
                }
            }
        };
        Ok(Inspected {
            judged: Judged { is_accepted, score },
            words,
        })
    }

    fn judge(
        &self,
        plan: &Plan,
        taken: &Sample,
        limits: &Limits,
    ) -> Result<(bool, String), Undefined> {
        let all = taken.summary();
        match plan {
            Plan::Attributes(plan) => {
                let outside = proportion::outside(all, limits)?;
                let words = format!("{outside} of {} nonconforming", plan.pieces);
                Ok((outside <= plan.accept, words))
            }
            Plan::Variables(plan) => {
                if normality::normality_p(all).is_ok_and(|p| p < NOT_NORMAL) {
                    return Err(Undefined::NotApplicable {
                        why: "these readings are not normally distributed (p under 0.001), which a plan by variables supposes: judge the lot by attributes",
                    });
                }
                let sd = match self.sigma {
                    Some(sigma) => sigma,
                    None => describe::positive_sd(all)?,
                };
                let end = |end: Result<f64, Undefined>| match end {
                    Ok(end) => Ok(Some(end)),
                    Err(Undefined::Mixed) => Err(Undefined::Mixed),
                    Err(_) => Ok(None),
                };
                let (lower, upper) = (end(limits.lower_of(all))?, end(limits.upper_of(all))?);
                if lower.is_none() && upper.is_none() {
                    return Err(Undefined::NoLimits);
                }
                let mean = describe::mean(all)?;
                if let (true, Some(lower), Some(upper)) = (self.is_combined, lower, upper) {
                    let (lower, upper) = ((mean - lower) / sd, (upper - mean) / sd);
                    let (share, most) = plan.share_beyond_both(lower, upper)?;
                    let words = format!(
                        "{} of the pieces are estimated to lie beyond both limits together, at most {} are accepted",
                        percent(share),
                        percent(most)
                    );
                    return Ok((share <= most, words));
                }
                let quality = 3.0 * capability::index::centered(lower, upper, mean, sd)?;
                let words = format!(
                    "the mean is {} standard deviations from the limit",
                    fixed(quality, 3)
                );
                Ok((plan.is_accepted(quality), words))
            }
        }
    }
}

fn reduced(pieces: u64, fewest: u64) -> u64 {
    let share = whole((counted(pieces) * REDUCED).ceil());
    u64::try_from(share).unwrap_or(fewest).max(fewest)
}

/// A sample of the first readings.
fn first_of(lot: &Sample, pieces: u64) -> Result<Sample, Undefined> {
    Undefined::unless(lot.count(), pieces)?;
    let taken = usize::try_from(pieces).ok();
    let taken = taken.and_then(|taken| lot.bases().get(..taken));
    lot.part(taken.unwrap_or_default())
}

impl Plan {
    fn accept(&self) -> Result<f64, Undefined> {
        match self {
            Self::Attributes(plan) => Ok(counted(plan.accept)),
            Self::Variables(_) => Err(Undefined::NotApplicable {
                why: "the plan is by variables",
            }),
        }
    }

    fn constant(&self) -> Result<f64, Undefined> {
        match self {
            Self::Variables(plan) => Ok(plan.constant),
            Self::Attributes(_) => Err(Undefined::NotApplicable {
                why: "the plan is by attributes",
            }),
        }
    }
}

/// The figures of sampling plans.
pub const FIGURES: &[Figure<Scheme>] = &[
    row("normal_pieces", "normal: pieces", FigureKind::Count, |of| {
        Ok(counted(of.normal.pieces()))
    }),
    row(
        "normal_accept",
        "normal: acceptance number",
        FigureKind::Count,
        |of| of.normal.accept(),
    ),
    row(
        "normal_k",
        "normal: acceptability constant k",
        FigureKind::Ratio,
        |of| of.normal.constant(),
    ),
    row(
        "tightened_pieces",
        "tightened: pieces",
        FigureKind::Count,
        |of| Ok(counted(of.tightened.pieces())),
    ),
    row(
        "tightened_accept",
        "tightened: acceptance number",
        FigureKind::Count,
        |of| of.tightened.accept(),
    ),
    row(
        "tightened_k",
        "tightened: acceptability constant k",
        FigureKind::Ratio,
        |of| of.tightened.constant(),
    ),
    row(
        "reduced_pieces",
        "reduced: pieces",
        FigureKind::Count,
        |of| Ok(counted(of.reduced.pieces())),
    ),
    row(
        "reduced_accept",
        "reduced: acceptance number",
        FigureKind::Count,
        |of| of.reduced.accept(),
    ),
    row(
        "reduced_k",
        "reduced: acceptability constant k",
        FigureKind::Ratio,
        |of| of.reduced.constant(),
    ),
    row(
        "aql_accepted",
        "normal: lots at the acceptance quality limit that are accepted",
        FigureKind::Percent,
        |of| Ok(100.0 * of.normal.accepts(of.points.aql)?),
    ),
    row(
        "limiting_accepted",
        "normal: lots at the limiting quality that are accepted",
        FigureKind::Percent,
        |of| Ok(100.0 * of.normal.accepts(of.points.limiting)?),
    ),
];
