//! The text and JSON of a ranking of nests.

use super::{Found, Judged};
use crate::cli::Failure;
use crate::cli::columns::Columns;
use crate::cli::pieces::{Holder, OfAxis};
use crate::entry::words::safe;
use crate::message::nests::{
    MeanOfPieces, NestNotRanked, NestOnAxis, NestRanking, NestStanding, RankedNest, SeriesLeftOut,
};
use crate::quantity::Unit;
use crate::stats;
use crate::stats::figures::decimals;
use crate::stats::nests::{Against, Mean, Ranked, Standing};
use crate::stats::text::fixed;
use std::io::Write;

/// A longer list of series is shortened to a count.
const LISTED: usize = 8;

const NOTE: &str = "The interval of each difference has 95 % confidence by itself. Only means are compared: look at the standard deviations too.\nThe maker's sheet decides wherever it can be had.";

/// A tool with its nest: `R-02 nest 2.0`.
pub(super) fn name((tool, nest): &Holder) -> String {
    match nest {
        Some(nest) => format!("{tool} nest {nest}"),
        None => tool.clone(),
    }
}

/// Numbers of series with a remark: `series 57, 61: names no tool`.
pub(super) fn series(ids: &[u64], why: &str) -> String {
    let listed: Vec<_> = ids.iter().take(LISTED).map(u64::to_string).collect();
    let more = ids.len().saturating_sub(LISTED);
    let more = if more > 0 {
        format!(" and {more} more")
    } else {
        String::new()
    };
    format!("series {}{more}: {why}", listed.join(", "))
}

/// Digits and unit of an axis.
struct OnAxis {
    words: String,
    axis: String,
    unit: Unit,
    places: usize,
}

impl OnAxis {
    fn of(of: &OfAxis) -> Self {
        // One decimal more than the readings have.
        let step = of.sample().and_then(|sample| sample.summary().step());
        Self {
            words: of.axis.words(),
            axis: of.axis.to_string(),
            unit: of.unit,
            places: decimals(step.unwrap_or(0.001)) + 1,
        }
    }

    fn digits(&self, value: f64) -> String {
        fixed(value, self.places)
    }

    /// `1.640 ±0.012 mm`; without the uncertainty if it has no value.
    fn mean(&self, mean: &Mean) -> String {
        let value = self.digits(mean.mean);
        match mean.reach() {
            Ok(reach) => format!("{value} ±{} {}", self.digits(reach), self.unit),
            Err(_) => format!("{value} {}", self.unit),
        }
    }

    /// `+0.020 (-0.004 to +0.044) mm`.
    fn difference(&self, of: &Against) -> String {
        let signed = |value: f64| {
            let digits = self.digits(value);
            if digits.starts_with('-') {
                digits
            } else {
                format!("+{digits}")
            }
        };
        let (low, high) = of.bounds;
        let (low, high) = (signed(low), signed(high));
        format!("{} ({low} to {high}) {}", signed(of.difference), self.unit)
    }

    /// A length on this axis in whole nanometres.
    fn nanometres(&self, value: f64) -> i64 {
        stats::sample::Scale::from(self.unit).nearest(value)
    }

    fn pieces(&self, mean: &Mean) -> MeanOfPieces {
        let (low, high) = mean.bounds().unwrap_or((mean.mean, mean.mean));
        MeanOfPieces {
            axis: self.axis.clone(),
            n: mean.count,
            mean_nm: self.nanometres(mean.mean),
            mean_low_nm: self.nanometres(low),
            mean_high_nm: self.nanometres(high),
            sd_nm: self.nanometres(mean.sd),
            sd_is_of_resolution: mean.is_of_resolution,
        }
    }

    fn on_axis(&self, of: &Against) -> NestOnAxis {
        NestOnAxis {
            pieces: self.pieces(&of.mean),
            difference_nm: self.nanometres(of.difference),
            difference_low_nm: self.nanometres(of.bounds.0),
            difference_high_nm: self.nanometres(of.bounds.1),
            may_be_nearest: of.may_be_nearest,
        }
    }
}

impl Found {
    fn scales(&self) -> Vec<OnAxis> {
        self.factory.axes().map(OnAxis::of).collect()
    }

    /// The nests that can be ranked, nearest first.
    fn in_order(&self) -> impl Iterator<Item = (&Ranked, &Judged)> {
        let ranked = self.ranked.iter();
        ranked.filter_map(|ranked| Some((ranked, self.judged.get(ranked.nest)?)))
    }

    pub(super) fn show(&self, out: &mut dyn Write) -> Result<(), Failure> {
        let scales = self.scales();
        let crimp = &self.factory.crimp;
        writeln!(out, "{} on {}\n", safe(&crimp.terminal), crimp.wire)?;
        let heads = [
            "nest",
            "axis",
            "pieces",
            "mean (95 %)",
            "standard deviation",
            "from the factory's (95 %)",
            "is",
        ];
        let mut columns = Columns::new(&heads);
        for (scale, (_, mean)) in scales.iter().zip(&self.factory.axes) {
            columns.row(row("factory pieces", scale, mean, String::new(), ""));
        }
        for (ranked, nest) in self.in_order() {
            for (scale, of) in scales.iter().zip(&ranked.axes) {
                let difference = scale.difference(of);
                let is = if self.judged.len() == 1 {
                    "the only one"
                } else {
                    word(ranked.standing, of.may_be_nearest)
                };
                columns.row(row(&name(&nest.holder), scale, &of.mean, difference, is));
            }
        }
        columns.write(out)?;
        writeln!(out, "\n{}", safe(&self.sentence()))?;
        for (why, nests) in self.reasons() {
            writeln!(out, "not ranked: {}: {why}", safe(&nests.join(", ")))?;
        }
        for (why, ids) in &self.left_out {
            writeln!(out, "left out: {}", series(ids, why))?;
        }
        writeln!(out, "\n{NOTE}")?;
        Ok(())
    }

    /// Each reason why nests are not ranked, with their names.
    fn reasons(&self) -> Vec<(&str, Vec<String>)> {
        let mut reasons: Vec<(&str, Vec<String>)> = Vec::new();
        for (holder, why) in &self.not_ranked {
            match reasons.iter_mut().find(|(known, _)| known == why) {
                Some((_, nests)) => nests.push(name(holder)),
                None => reasons.push((why, vec![name(holder)])),
            }
        }
        reasons
    }

    /// The result of the ranking, in a sentence.
    fn sentence(&self) -> String {
        let scales = self.scales();
        let of = self.judged.len();
        let nearest = self
            .in_order()
            .find(|(ranked, _)| ranked.standing == Standing::Nearest);
        let Some((ranked, nest)) = nearest else {
            return self.no_nearest(&scales);
        };
        let gives = scales.iter().zip(&ranked.axes).zip(&self.factory.axes);
        let gives = gives.map(|((scale, of), (_, factory))| {
            let axis = if scales.len() > 1 {
                format!("{} ", scale.words)
            } else {
                String::new()
            };
            let (mean, factory) = (scale.mean(&of.mean), scale.digits(factory.mean));
            format!(
                "{axis}{mean} where the factory has {factory} {}",
                scale.unit
            )
        });
        let gives = gives.collect::<Vec<_>>().join(", and ");
        let indistinct = self.in_order();
        let indistinct =
            indistinct.filter(|(ranked, _)| ranked.standing == Standing::NotDistinguished);
        let indistinct: Vec<_> = indistinct
            .map(|(ranked, nest)| with_pieces(ranked, nest))
            .collect();
        let which = match (of, indistinct.as_slice()) {
            (1, _) => "the only nest that can be judged".to_owned(),
            (_, []) => format!("the best of {of}"),
            (_, indistinct) => format!(
                "the nearest of {of}; {} cannot be distinguished from it",
                indistinct.join(" and ")
            ),
        };
        let mut sentence = format!("{} gives {gives}: {which}.", name(&nest.holder));
        for (scale, of) in scales.iter().zip(&ranked.axes) {
            if of.differs {
                let (words, by) = (&scale.words, scale.difference(of));
                sentence = format!("{sentence} Its {words} differs from the factory's by {by}.");
            }
        }
        sentence
    }

    /// The sentence if a different nest is the nearest on each axis.
    fn no_nearest(&self, scales: &[OnAxis]) -> String {
        let by_axis = scales.iter().enumerate().map(|(at, scale)| {
            let nests = self.in_order().filter_map(|(ranked, nest)| {
                let may_be = ranked.axes.get(at)?.may_be_nearest;
                may_be.then(|| name(&nest.holder))
            });
            format!(
                "by {} {}",
                scale.words,
                nests.collect::<Vec<_>>().join(" or ")
            )
        });
        format!(
            "No nest is the best on every axis: {}. The limits of these axes decide which matters more.",
            by_axis.collect::<Vec<_>>().join(", ")
        )
    }

    pub(super) fn message(&self) -> NestRanking {
        let scales = self.scales();
        let crimp = &self.factory.crimp;
        let factory = scales.iter().zip(&self.factory.axes);
        let ranked = self.in_order().map(|(ranked, nest)| {
            let (tool, nest_id) = nest.holder.clone();
            let axes = scales.iter().zip(&ranked.axes);
            RankedNest {
                tool,
                nest: nest_id,
                standing: match ranked.standing {
                    Standing::Nearest => NestStanding::Nearest,
                    Standing::NotDistinguished => NestStanding::NotDistinguished,
                    Standing::Farther => NestStanding::Farther,
                },
                series: nest.series.clone(),
                axes: axes.map(|(scale, of)| scale.on_axis(of)).collect(),
            }
        });
        let not_ranked = self
            .not_ranked
            .iter()
            .map(|((tool, nest), why)| NestNotRanked {
                tool: tool.clone(),
                nest: nest.clone(),
                why: why.clone(),
            });
        let left_out = self.left_out.iter().map(|(why, series)| SeriesLeftOut {
            series: series.clone(),
            why: (*why).to_owned(),
        });
        NestRanking {
            terminal: crimp.terminal.clone(),
            wire: crimp.wire.to_string(),
            series: self.factory.pieces.series.iter().map(|id| id.0).collect(),
            factory: factory
                .map(|(scale, (_, mean))| scale.pieces(mean))
                .collect(),
            ranked: ranked.collect(),
            not_ranked: not_ranked.collect(),
            left_out: left_out.collect(),
            says: self.sentence(),
        }
    }
}

/// A nest with the number of its pieces: `R-02 nest 3 with 5 pieces`.
fn with_pieces(ranked: &Ranked, nest: &Judged) -> String {
    let pieces = ranked.axes.iter().map(|of| of.mean.count).min();
    format!("{} with {} pieces", name(&nest.holder), pieces.unwrap_or(0))
}

fn word(standing: Standing, may_be_nearest: bool) -> &'static str {
    match (standing, may_be_nearest) {
        (_, false) => "farther",
        (Standing::Nearest, true) => "the nearest",
        (Standing::NotDistinguished, true) => "not distinguished from it",
        (Standing::Farther, true) => "near on this axis",
    }
}

fn row(name: &str, scale: &OnAxis, mean: &Mean, difference: String, is: &str) -> Vec<String> {
    let of_resolution = if mean.is_of_resolution {
        " (of the resolution)"
    } else {
        ""
    };
    let sd = scale.digits(mean.sd);
    vec![
        name.to_owned(),
        scale.words.clone(),
        mean.count.to_string(),
        scale.mean(mean),
        format!("{sd} {}{of_resolution}", scale.unit),
        difference,
        is.to_owned(),
    ]
}
