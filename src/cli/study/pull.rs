//! `tallyjaw study pull`.

use super::readings::{Reading, Readings, SourcePosition};
use super::select::{Select, index};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::report::pulls::{ByMode, INTERVALS};
use crate::spec::PullMode;
use crate::stats::capability::{Capability, PULL_FIGURES, USUAL_ASKED};
use crate::stats::picture::Histogram;
use crate::stats::proportion::Share;
use crate::stats::{FigureKind, describe};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::PathBuf;

/// The property of a reading that says how its pull failed.
const MODE: &str = "pull_mode";

/// A cell of a pull of which nobody said how it failed.
const NOT_SAID: &str = "-";

/// Pull tests: the minimum of the forces against the lower limit, and how the pulls failed
#[derive(Debug, clap::Args)]
pub(super) struct Pull {
    #[command(flatten)]
    select: Select,
    /// The Ppk that is required
    #[arg(long, value_name = "INDEX", default_value_t = USUAL_ASKED, value_parser = index)]
    asked: f64,
    /// Exit with 1 if a force is below the lower limit
    #[arg(long)]
    gate: bool,
    /// The column that says how each pull failed: `pulled_out`, `broke_at_crimp`, `broke_in_wire`, `other`; `-` is not
    /// said
    #[arg(long = "pull-mode", value_name = "COLUMN", requires = "from")]
    column_of_modes: Option<String>,
    /// Draw the histogram into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

impl Pull {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        // In the journal each pull has what the operator answered.
        let keys: Vec<&str> = match &self.column_of_modes {
            Some(column) => vec![column],
            None if self.select.from.is_none() => vec![MODE],
            None => Vec::new(),
        };
        let readings = self.select.readings(context, &keys)?;
        readings.of_one_nominal()?;
        let limits = readings.limits_needed()?;
        let sample = readings.sample()?;
        let all = sample.summary();
        let (Ok(minimum), Ok(lowest)) = (limits.lower_of(all), describe::min(all)) else {
            return Err(Failure::usage("a pull test needs a lower limit")
                .with_remedy("give it: --spec \">= 135 N\""));
        };
        let of = Capability::of_singles(&sample, limits).asking(self.asked);
        let histogram = Histogram::new(all, &limits);
        show::histogram_file(self.svg.as_deref(), histogram.as_ref(), &readings)?;
        let figures = show::all(PULL_FIGURES, &of);
        let by_mode = by_mode(&readings)?;
        let claim = of.claim();
        let kept = lowest >= minimum;
        let sentence = format!(
            "the minimum of {} pieces is {lowest} {unit}: {} the lower limit of {minimum} {unit}",
            sample.count(),
            if kept { "not below" } else { "BELOW" },
            unit = readings.unit()
        );
        let exit = show::gate(self.gate, || kept);
        let object = || {
            let mut object = show::head("pull", &readings);
            show::object(&mut object, &figures);
            object.insert("kept".to_owned(), json!(kept));
            object.insert(
                "sentence".to_owned(),
                json!(format!("{sentence}; {}", claim.sentence)),
            );
            object.insert("shown".to_owned(), json!(claim.shown));
            object.insert("grounds".to_owned(), show::grounds_json(&claim.grounds));
            if let Some(by_mode) = &by_mode {
                put_modes(&mut object, by_mode, &readings);
            }
            object
        };
        if show::as_json(context, out, object)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        show::histogram(out, histogram.as_ref())?;
        writeln!(out, "\n{sentence}\n{}\n", claim.sentence)?;
        show::grounds(out, claim.worth_stating())?;
        show::table(out, &figures, Digits::of(all))?;
        if let Some(by_mode) = &by_mode {
            list_modes(out, by_mode, &readings, Digits::of(all))?;
        }
        Ok(exit)
    }
}

/// The forces by how the pulls failed; `None` if that was never said.
fn by_mode(readings: &Readings) -> Result<Option<ByMode<SourcePosition>>, Failure> {
    let mode = |row: &Reading| match row.cells.first().map_or("", String::as_str) {
        "" | NOT_SAID => Ok(None),
        word => PullMode::from_name(word).map(Some).ok_or_else(|| {
            let known = PullMode::ALL.map(PullMode::name);
            Failure::usage(format!(
                "{}: got {word:?}, want {}, or {NOT_SAID} where it was not said",
                row.place,
                known.join(", ")
            ))
        }),
    };
    let rows = readings.rows.iter();
    let forces = rows.map(|row| Ok((mode(row)?, row.base, row.place)));
    let forces = forces.collect::<Result<Vec<_>, Failure>>()?;
    let lower = readings.limits_needed()?.lower;
    let lower = lower.map(|lower| readings.scale.limit(lower));
    Ok(ByMode::of(forces, lower))
}

fn put_modes(
    object: &mut Map<String, Value>,
    by_mode: &ByMode<SourcePosition>,
    readings: &Readings,
) {
    let modes = by_mode.modes.iter().map(|of| {
        let mut mode = json!({
            "mode": of.mode.name(),
            "count": of.count,
            "below": of.below,
            "min": readings.scale.in_unit(of.base),
        });
        of.place.put(&mut mode);
        if let Some(Share { share, low, high }) = of.share() {
            let shares = [("share", share), ("share_low", low), ("share_high", high)];
            let shares = shares.map(|(name, share)| (name.to_owned(), json!(share)));
            if let Value::Object(mode) = &mut mode {
                mode.extend(shares);
            }
        }
        mode
    });
    object.insert("modes".to_owned(), modes.collect());
    let unanswered = json!(by_mode.unanswered);
    object.insert("modes_unanswered".to_owned(), unanswered);
    let sentence = json!(by_mode.sentence());
    object.insert("modes_sentence".to_owned(), sentence);
}

/// A line for each mode: number, share with its interval, minimum and where it is.
fn list_modes(
    out: &mut dyn Write,
    by_mode: &ByMode<SourcePosition>,
    readings: &Readings,
    digits: Digits<'_>,
) -> Result<(), Failure> {
    let answered = by_mode.answered;
    writeln!(out, "\nhow the pulls failed: {}", by_mode.sentence())?;
    let words = by_mode.modes.iter().map(|of| of.mode.words().len());
    let width = words.max().unwrap_or(0);
    for of in &by_mode.modes {
        let (share, interval) = of.share_words().unwrap_or_default();
        let min = digits.text(FigureKind::Reading, readings.scale.in_unit(of.base));
        let below = match of.below {
            Some(below @ 1..) => format!(", {below} BELOW the lower limit"),
            Some(0) | None => String::new(),
        };
        writeln!(
            out,
            "  {:<width$}  {} of {answered}  {share} ({interval})  minimum {min}, {}{below}",
            of.mode.words(),
            of.count,
            of.place
        )?;
    }
    writeln!(out, "  {INTERVALS}")?;
    Ok(())
}
