//! `tallyjaw study plan`: how many pieces a claim needs, before anything is measured.

use super::plan_sd::{Sd, Upper};
use super::sampling::Sampling;
use super::select::{index, percent, quantity};
use super::show;
use crate::cli::{Context, Exit, Failure};
use crate::quantity::{Dimension, Quantity, Unit};
use crate::spec::AxisName;
use crate::stats::capability::USUAL_ASKED;
use crate::stats::picture::Curve;
use crate::stats::planning::{
    Difference, Equivalence, FIGURES, Gauge, Index, MOST_PIECES, Planned, Question, Share,
};
use crate::stats::sample::Scale;
use crate::stats::text::Digits;
use serde_json::{Map, json};
use std::io::Write;
use std::path::PathBuf;

/// Points of the operating characteristic: as lines, and in the picture.
pub(super) const LINES: u32 = 9;
pub(super) const CURVE: u32 = 65;

/// Plans: how many pieces a claim needs, with the operating characteristic
///
/// No reading is needed. The study that is planned is the one that decides later; its preconditions are not in the
/// probabilities.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw study plan capability --index 1.67 --asked 1.33
  tallyjaw study plan capability --index 1.67 --axis pull_force --most 30
  tallyjaw study plan comparison --difference \"0.02 mm\" --sd \"0.015 mm\"
  tallyjaw study plan comparison --difference \"0.02 mm\" --sd-of 37,38 --axis core_crimp_height
  tallyjaw study plan equivalence --margin \"0.02 mm\" --sd \"0.01 mm\" --svg margin.svg
  tallyjaw study plan gauge --grr 15 --share 30 --appraisers 3 --trials 3
  tallyjaw study plan proportion --share 2 --truth 0.1
  tallyjaw study plan sampling --aql 1 --limiting 6.5 --kind variables")]
pub(super) struct Plan {
    #[command(subcommand)]
    claim: ClaimArgs,
}

#[derive(Debug, clap::Subcommand)]
enum ClaimArgs {
    Capability(CapabilityPlan),
    Comparison(ComparisonPlan),
    Equivalence(EquivalencePlan),
    Gauge(GaugePlan),
    Proportion(ProportionPlan),
    Sampling(SamplingPlan),
}

/// What every plan has.
#[derive(Debug, clap::Args)]
struct Common {
    /// The confidence of the claim
    #[arg(long, value_name = "PERCENT", default_value = "95", value_parser = percent)]
    confidence: f64,
    /// The probability with which the study is to demonstrate the claim, if it is true as supposed
    #[arg(long, value_name = "PERCENT", default_value = "80", value_parser = percent)]
    power: f64,
    /// No more pieces than this
    #[arg(long, value_name = "N", default_value_t = MOST_PIECES)]
    most: u64,
    /// The axis that is measured; `pull_force` destroys the pieces, which are counted
    #[arg(long, value_name = "AXIS")]
    axis: Option<String>,
    /// Draw the operating characteristic into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

/// Pieces for the claim that an index is at least the required one
#[derive(Debug, clap::Args)]
struct CapabilityPlan {
    /// The Ppk that is required
    #[arg(long, value_name = "INDEX", default_value_t = USUAL_ASKED, value_parser = index)]
    asked: f64,
    /// The Ppk that is supposed to be true
    #[arg(long, value_name = "INDEX", value_parser = index)]
    index: f64,
    /// The axis has one limit, as `pull_force` has
    #[arg(long)]
    one_sided: bool,
    #[command(flatten)]
    common: Common,
}

/// Pieces to find that the means of two groups differ
#[derive(Debug, clap::Args)]
struct ComparisonPlan {
    /// The difference that is to be found: "0.02 mm"
    #[arg(long, value_parser = quantity)]
    difference: Quantity,
    #[command(flatten)]
    sd: Sd,
    #[command(flatten)]
    common: Common,
}

/// Pieces for the claim that the means of two groups are equivalent
#[derive(Debug, clap::Args)]
struct EquivalencePlan {
    /// The margin: "0.02 mm"
    #[arg(long, value_parser = quantity)]
    margin: Quantity,
    #[command(flatten)]
    sd: Sd,
    /// The difference that is supposed to be true [default: none]
    #[arg(long, value_parser = quantity)]
    difference: Option<Quantity>,
    #[command(flatten)]
    common: Common,
}

/// Parts for the claim that the measurement takes little of the tolerance
#[derive(Debug, clap::Args)]
struct GaugePlan {
    /// The share of the tolerance that GRR may take
    #[arg(long, value_name = "PERCENT", default_value = "30", value_parser = percent)]
    share: f64,
    /// The share that is supposed to be true
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    grr: f64,
    /// The share of the appraisers in the variance of GRR
    #[arg(long = "of-appraisers", value_name = "PERCENT", default_value = "10", value_parser = percent)]
    of_appraisers: f64,
    /// Number of appraisers
    #[arg(long, value_name = "N", default_value_t = 3)]
    appraisers: u64,
    /// Number of times that each measures each part
    #[arg(long, value_name = "N", default_value_t = 3)]
    trials: u64,
    #[command(flatten)]
    common: Common,
}

/// Pieces for the claim that at most a share of them has a property, such as a bad visual check
#[derive(Debug, clap::Args)]
struct ProportionPlan {
    /// The share that is required at most
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    share: f64,
    /// The share that is supposed to be true [default: 0]
    #[arg(long, value_name = "PERCENT", value_parser = percent)]
    truth: Option<f64>,
    #[command(flatten)]
    common: Common,
}

/// Acceptance sampling of lots: single plans by attributes or by variables
///
/// The plans are computed from two points of the operating characteristic. The master tables of ISO 2859-1 and ISO 3951-1
/// are not reproduced.
#[derive(Debug, clap::Args)]
struct SamplingPlan {
    #[command(flatten)]
    sampling: Sampling,
    /// Draw the operating characteristic into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Plan {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (question, common): (Box<dyn Question>, Common) = match self.claim {
            ClaimArgs::Capability(of) => {
                let is_one_sided = of.one_sided || of.common.destroys();
                let index = Index {
                    required: of.asked,
                    truth: of.index,
                    limits: if is_one_sided { 1 } else { 2 },
                    confidence: of.common.confidence,
                };
                (Box::new(index), of.common)
            }
            ClaimArgs::Comparison(of) => return of.tell(context, out),
            ClaimArgs::Equivalence(of) => return of.tell(context, out),
            ClaimArgs::Gauge(of) => {
                let gauge = Gauge {
                    required: of.share,
                    truth: of.grr,
                    of_appraisers: of.of_appraisers,
                    appraisers: of.appraisers,
                    trials: of.trials,
                    confidence: of.common.confidence,
                };
                (Box::new(gauge), of.common)
            }
            ClaimArgs::Sampling(of) => return of.sampling.tell(of.svg.as_deref(), context, out),
            ClaimArgs::Proportion(of) => {
                let share = Share {
                    required: of.share,
                    truth: of.truth.unwrap_or(0.0),
                    confidence: of.common.confidence,
                };
                (Box::new(share), of.common)
            }
        };
        common.tell(question, None, context, out)
    }
}

impl ComparisonPlan {
    fn tell(&self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let sd = self.sd.sd.map(|sd| ("--sd", sd));
        let unit = unit([("--difference", self.difference)].into_iter().chain(sd))?;
        let question = |sd: f64| -> Box<dyn Question> {
            Box::new(Difference {
                truth: in_unit(self.difference, unit),
                sd,
                unit,
                confidence: self.common.confidence,
            })
        };
        self.common
            .tell_by_sd(&self.sd, unit, question, context, out)
    }
}

impl EquivalencePlan {
    fn tell(&self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let more = [("--sd", self.sd.sd), ("--difference", self.difference)];
        let more = more.into_iter().filter_map(|(name, of)| Some((name, of?)));
        let unit = unit([("--margin", self.margin)].into_iter().chain(more))?;
        let question = |sd: f64| -> Box<dyn Question> {
            Box::new(Equivalence {
                margin: in_unit(self.margin, unit),
                truth: self.difference.map_or(0.0, |truth| in_unit(truth, unit)),
                sd,
                unit,
                confidence: self.common.confidence,
            })
        };
        self.common
            .tell_by_sd(&self.sd, unit, question, context, out)
    }
}

/// The unit of figures for these options, which must be of one dimension.
fn unit<'g>(given: impl Iterator<Item = (&'g str, Quantity)>) -> Result<Unit, Failure> {
    let mut given = given.map(|(name, quantity)| (name, quantity.dimension()));
    let first = given.next().map_or(Dimension::Length, |(_, first)| first);
    if let Some((name, got)) = given.find(|(_, other)| *other != first) {
        return Err(Failure::usage(format!("{name} is a {got}, want a {first}"))
            .with_remedy("give all of them in mm, or all in N"));
    }
    Ok(match first {
        Dimension::Length => Unit::Millimetre,
        Dimension::Force => Unit::Newton,
    })
}

pub(super) fn in_unit(quantity: Quantity, unit: Unit) -> f64 {
    Scale::from(unit).in_unit(quantity.base())
}

impl Common {
    /// Whether measuring destroys the pieces.
    fn destroys(&self) -> bool {
        let axis = self.axis.as_deref().map(AxisName::new);
        axis.is_some_and(|axis| axis.is_destructive())
    }

    /// Tells a plan whose question rests on a standard deviation.
    fn tell_by_sd(
        &self,
        sd: &Sd,
        unit: Unit,
        question: impl Fn(f64) -> Box<dyn Question>,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<Exit, Failure> {
        let (sd, shown) = sd.find(context, unit, self.axis.as_deref())?;
        let upper = shown.map(|shown| shown.with(&question));
        self.tell(question(sd), upper.as_ref(), context, out)
    }

    fn tell(
        &self,
        question: Box<dyn Question>,
        upper: Option<&Upper>,
        context: &Context,
        out: &mut dyn Write,
    ) -> Result<Exit, Failure> {
        let planned = Planned::new(question, self.power, self.most, self.destroys())
            .map_err(|reason| Failure::usage(format!("no number of pieces: {reason}")))?;
        let lines = planned.curve(LINES);
        show::picture(self.svg.as_deref(), || {
            let title = format!("operating characteristic: {}", planned.question().claim());
            let curve = planned.curve(CURVE);
            curve.map(|curve| curve.svg(&title)).unwrap_or_default()
        })?;
        let figures = show::all(FIGURES, &planned);
        let more = upper.map(|upper| upper.words(self.power));
        let said: Vec<String> = [Some(planned.sentence()), more]
            .into_iter()
            .flatten()
            .collect();
        let said = said.join("; ");
        let object = || {
            let mut object = Map::new();
            object.insert("kind".to_owned(), json!("study"));
            object.insert("study".to_owned(), json!("plan"));
            object.insert("claim".to_owned(), json!(planned.question().name()));
            show::object(&mut object, &figures);
            object.insert("in_reach".to_owned(), json!(planned.is_in_reach()));
            if let Some(upper) = upper {
                object.insert("sd".to_owned(), upper.json(self.power));
            }
            object.insert("sentence".to_owned(), json!(said));
            let points = lines.iter().flat_map(|curve| &curve.points);
            let points = points
                .map(|(truth, probability)| json!({"truth": truth, "probability": probability}));
            object.insert("operating_characteristic".to_owned(), points.collect());
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(Exit::Yes);
        }
        show::statements(out, said.split("; "))?;
        writeln!(out)?;
        show::table(out, &figures, Digits::OF_NO_READINGS)?;
        for line in lines.iter().flat_map(Curve::text) {
            writeln!(out, "  {line}")?;
        }
        Ok(Exit::Yes)
    }
}
