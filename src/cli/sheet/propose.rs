//! `tallyjaw sheet propose`: exit 0 if a row was proposed, 1 if the pieces do not allow it, 2 for wrong use.

use crate::cli::columns::Columns;
use crate::cli::pieces::{FactoryPieces, OfAxis};
use crate::cli::query::{Query, Search};
use crate::cli::{Context, Exit, Failure, configured};
use crate::config::import;
use crate::entry::Seq;
use crate::quantity::{Dimension, Measured, Quantity, Unit};
use crate::spec::sheet::NOT_MAKERS;
use crate::spec::{Axis, AxisName, Crimp, Limits, SizingSystem, Tolerance};
use crate::stats::proposal::{Proposal, propose};
use crate::stats::text::fixed;
use serde_json::{Value, json};
use std::io::Write;

/// Propose a row of a sheet from measured factory pieces, if the maker's sheet is not available
///
/// The nominal is the mean of the pieces, rounded to the resolution. The limits are a customary tolerance around it
/// (--tolerance), or the interval that holds 95 % of all such pieces with 95 % confidence (--interval). Both are shown.
/// A row like this says in every series, outcome and report that it is not a maker's sheet.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  tallyjaw sheet propose 37 --tolerance \"core_crimp_height=±0.05 mm\"\n  tallyjaw sheet propose 37 41 --interval"
)]
pub(super) struct Propose {
    /// The series of factory pieces: plans with purpose = "reference"
    #[arg(required = true)]
    series: Vec<u64>,
    /// A customary tolerance (common practice, no source), such as `core_crimp_height=±0.05 mm`
    #[arg(
        long = "tolerance",
        value_name = "AXIS=TOLERANCE",
        conflicts_with = "interval"
    )]
    tolerances: Vec<String>,
    /// Take the interval that holds 95 % of all such pieces with 95 % confidence as limits
    #[arg(long)]
    interval: bool,
}

/// One axis with its proposal.
struct Proposed {
    axis: AxisName,
    unit: Unit,
    proposal: Proposal,
    nominal: Measured,
    interval: Limits,
    customary: Option<Limits>,
}

impl Propose {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let config = context.load().ok().map(|(_, config)| config);
        let axes = config.map_or_else(Axis::built_in, |config| config.catalog.axes.clone());
        let tolerances = self.tolerances.iter();
        let tolerances = tolerances.map(|text| import::tolerance(text, &axes));
        let tolerances = tolerances
            .collect::<Result<Vec<_>, _>>()
            .map_err(Failure::usage)?;
        let daemon = configured::daemon_of(context)?;
        let query = Query::of_series(self.series.clone());
        let mut pieces = FactoryPieces::default();
        Search::run(&daemon, query.filter()?, &mut pieces)?;
        let (proposed, crimp) = match self.proposed(&pieces, &tolerances) {
            Ok(proposed) => proposed,
            Err(why) => {
                if context.json {
                    writeln!(out, "{}", json!({"kind": "refused", "why": why}))?;
                } else {
                    writeln!(out, "no row can be proposed: {why}")?;
                }
                return Ok(Exit::No);
            }
        };
        let row = self.row(&crimp, &pieces.series, &proposed);
        if context.json {
            writeln!(out, "{}", object(&crimp, &pieces.series, &proposed, &row))?;
            return Ok(Exit::Yes);
        }
        show(&proposed, out)?;
        writeln!(out, "\n{row}")?;
        Ok(Exit::Yes)
    }

    /// The proposal for each axis; or why none can be made.
    fn proposed(
        &self,
        pieces: &FactoryPieces,
        tolerances: &[(AxisName, Tolerance)],
    ) -> Result<(Vec<Proposed>, Crimp), String> {
        let crimp = pieces.crimp()?;
        let proposed = pieces.axes.iter().map(|of| propose_for(of, tolerances));
        let proposed = proposed.collect::<Result<Vec<_>, _>>()?;
        let without = proposed.iter().find(|one| one.customary.is_none());
        if let (Some(without), false) = (without, self.interval) {
            return Err(format!(
                "there is no tolerance for {}: add --tolerance \"{}=±0.05 mm\" with that of your trade, or --interval for all",
                without.axis.words(),
                without.axis
            ));
        }
        Ok((proposed, crimp.clone()))
    }

    /// The row in the form of a sheet.
    fn row(&self, crimp: &Crimp, series: &[Seq], proposed: &[Proposed]) -> String {
        let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
        let ids: Vec<_> = series.iter().map(ToString::to_string).collect();
        let source = format!("factory pieces, series {}: {NOT_MAKERS}", ids.join(", "));
        let wire = &crimp.wire;
        let size = wire
            .gauge
            .as_ref()
            .map_or_else(|| wire.area.to_string(), |gauge| format!("{gauge} ga"));
        let mut lines = vec![
            "[[terminal]]".to_owned(),
            format!("id = {}", quoted(&crimp.terminal)),
            format!("source = {}", quoted(&source)),
            String::new(),
            "[[terminal.row]]".to_owned(),
            format!("wire = {}", quoted(&size)),
        ];
        if wire.sizing != SizingSystem::IsoMm2 {
            lines.push(format!("sizing = {}", quoted(wire.sizing.name())));
        }
        for one in proposed {
            let limits = match &one.customary {
                Some(customary) if !self.interval => customary,
                Some(_) | None => &one.interval,
            };
            lines.push(format!("{} = {}", one.axis, quoted(&limits.to_string())));
        }
        lines.join("\n")
    }
}

/// The proposal for an axis; or why none can be made.
fn propose_for(of: &OfAxis, tolerances: &[(AxisName, Tolerance)]) -> Result<Proposed, String> {
    let words = of.axis.words();
    let said = |why: &dyn std::fmt::Display| format!("{words}: {why}");
    let dimension = of.unit.dimension();
    if dimension != Dimension::Length {
        return Err(said(
            &"a minimum force is no mean of pieces: take it from a published table, pull_force_table",
        ));
    }
    let sample = of.sample().map_err(|why| said(&why))?;
    let proposal = propose(sample.summary()).map_err(|why| said(&why))?;
    let quantity = |base| Quantity::from_base(dimension, base);
    let centre = quantity(proposal.nominal);
    let digits = centre.shortest_in(of.unit, 2);
    let nominal = digits.and_then(|digits| Measured::new(digits, of.unit));
    let nominal = nominal.ok_or_else(|| said(&"its nominal cannot be written"))?;
    let (low, high) = proposal.ends;
    let ends = (Some(quantity(low)), Some(quantity(high)));
    let interval = Limits::new(Some(centre), ends.0, ends.1, of.unit);
    let interval = interval.map_err(|why| said(&why))?;
    let mut customary = tolerances.iter().filter(|(axis, _)| *axis == of.axis);
    let customary = customary.next().map(|(_, tolerance)| tolerance.of(nominal));
    Ok(Proposed {
        axis: of.axis.clone(),
        unit: of.unit,
        proposal,
        nominal,
        interval,
        customary: customary.transpose().map_err(|why| said(&why))?,
    })
}

fn show(proposed: &[Proposed], out: &mut dyn Write) -> Result<(), Failure> {
    let heads = [
        "axis",
        "pieces",
        "mean",
        "standard deviation",
        "nominal",
        "95 % of all pieces",
        "customary",
    ];
    let mut columns = Columns::new(&heads);
    for one in proposed {
        let of_resolution = if one.proposal.is_of_resolution {
            " (of the resolution)"
        } else {
            ""
        };
        let customary = one.customary.as_ref().map(ToString::to_string);
        columns.row(vec![
            one.axis.words(),
            one.proposal.count.to_string(),
            format!("{} {}", fixed(one.proposal.mean, 4), one.unit),
            format!("{} {}{of_resolution}", fixed(one.proposal.sd, 4), one.unit),
            one.nominal.to_string(),
            one.interval.to_string(),
            customary.unwrap_or_default(),
        ]);
    }
    columns.write(out)?;
    writeln!(
        out,
        "\n95 % of all such pieces lie in these limits with 95 % confidence, if they are normally distributed."
    )?;
    for one in proposed {
        if let Some(customary) = &one.customary
            && is_beyond(&one.interval, customary)
        {
            writeln!(
                out,
                "{}: these pieces may need more than the customary {customary}; measure more of them",
                one.axis.words()
            )?;
        }
    }
    writeln!(
        out,
        "A customary tolerance is common practice, no source. The maker's sheet decides wherever it can be had."
    )?;
    Ok(())
}

/// Whether an interval reaches beyond limits.
fn is_beyond(interval: &Limits, limits: &Limits) -> bool {
    interval.lower().map(Quantity::base) < limits.lower().map(Quantity::base)
        || interval.upper().map(Quantity::base) > limits.upper().map(Quantity::base)
}

fn object(crimp: &Crimp, series: &[Seq], proposed: &[Proposed], row: &str) -> Value {
    let axes = proposed.iter().map(|one| {
        let proposal = &one.proposal;
        json!({
            "axis": one.axis.as_str(),
            "unit": one.unit.name(),
            "n": proposal.count,
            "mean": proposal.mean,
            "mean_bounds": proposal.mean_bounds,
            "sd": proposal.sd,
            "sd_is_of_resolution": proposal.is_of_resolution,
            "factor": proposal.factor,
            "nominal_nm": proposal.nominal,
            "interval": super::limits_json(&one.interval),
            "customary": one.customary.as_ref().map(super::limits_json),
        })
    });
    json!({
        "kind": "proposal",
        "terminal": crimp.terminal,
        "wire": crimp.wire.to_string(),
        "series": series.iter().map(|id| id.0).collect::<Vec<_>>(),
        "axes": axes.collect::<Vec<_>>(),
        "row": row,
    })
}
