//! `tallyjaw study chart`.

use super::readings::Readings;
use super::select::Select;
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::Unit;
use crate::quantity::did_you_mean;
use crate::stats::chart::{Baseline, CHARTS, ChartKind, Groups, Input, Memory, RULES, Rule};
use crate::stats::picture::{chart_svg, chart_text};
use crate::stats::{Sample, chart};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Control charts: is a process stable
///
/// Control limits are computed from all points, from the first ones (--baseline), or read from a file
/// (--save, --limits).
#[derive(Debug, clap::Args)]
pub(super) struct Chart {
    #[command(flatten)]
    select: Select,
    /// individuals, `mean_range`, `mean_s`, ewma, cusum [default: individuals, or `mean_s` of subgroups]
    #[arg(long, value_name = "NAME", value_parser = kind)]
    kind: Option<&'static ChartKind>,
    /// Subgroups are the values of this column of the file, or of a column of the journal
    #[arg(long, value_name = "COLUMN", conflicts_with = "size")]
    subgroup: Option<String>,
    /// Subgroups are N readings in a row
    #[arg(long, value_name = "N")]
    size: Option<usize>,
    /// Compute the control limits from the first N points
    #[arg(long, value_name = "N")]
    baseline: Option<usize>,
    /// Save centre and standard deviation of the control limits to this file
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Use the control limits of this file
    #[arg(long, value_name = "FILE", conflicts_with = "baseline")]
    limits: Option<PathBuf>,
    /// Use this run rule; repeat for several [default: those marked *]
    #[arg(long = "rule", value_name = "NAME", value_parser = rule, long_help = rules_help())]
    rules: Vec<&'static Rule>,
    /// EWMA: the weight of the newest point
    #[arg(long, default_value_t = 0.2)]
    weight: f64,
    /// EWMA: control limits at this many standard deviations
    #[arg(long, default_value_t = 3.0)]
    width: f64,
    /// CUSUM: what is not summed, in standard deviations
    #[arg(long, default_value_t = 0.5)]
    allowance: f64,
    /// CUSUM: the sum that is a signal, in standard deviations
    #[arg(long, default_value_t = 5.0)]
    decision: f64,
    /// Exit with 1 if there is a signal, or if there are too few points
    #[arg(long)]
    gate: bool,
    /// Draw the chart into this file
    #[arg(long, value_name = "FILE")]
    svg: Option<PathBuf>,
}

fn kind(name: &str) -> Result<&'static ChartKind, String> {
    CHARTS.iter().find(|kind| kind.name == name).ok_or_else(|| {
        let names: Vec<&str> = CHARTS.iter().map(|kind| kind.name).collect();
        format!("want {}", names.join(", "))
    })
}

fn rule(name: &str) -> Result<&'static Rule, String> {
    chart::rule(name).ok_or_else(|| {
        let names: Vec<&str> = RULES.iter().map(|rule| rule.name).collect();
        did_you_mean(name, &names)
    })
}

fn rules_help() -> String {
    let rows = RULES.iter().map(|rule| {
        let mark = if rule.usual { "*" } else { " " };
        format!("{mark} {}: {}", rule.name, rule.words)
    });
    let rows: Vec<String> = rows.collect();
    format!(
        "Use this run rule; repeat for several [default: those marked *]:\n{}",
        rows.join("\n")
    )
}

impl Chart {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let (readings, all, groups) = self.readings(context)?;
        let left = match &groups {
            Some(groups) if self.subgroup.is_none() => all.count() % size_of(groups),
            Some(_) | None => 0,
        };
        let of_subgroups = groups.is_some();
        let usual = if of_subgroups {
            "mean_s"
        } else {
            "individuals"
        };
        let kind = match self.kind {
            Some(kind) => kind,
            None => self::kind(usual).map_err(Failure::usage)?,
        };
        let input = Input {
            groups: match &groups {
                Some(groups) => Groups::Subgroups(groups),
                None => Groups::Singles(&all),
            },
            baseline: self.baseline,
            kept: self.kept(&readings)?,
            memory: Memory {
                weight: self.weight,
                width: self.width,
                allowance: self.allowance,
                decision: self.decision,
                target: None,
            },
        };
        let chart = chart::draw(kind, &input).map_err(|reason| {
            Failure::usage(format!("this chart cannot be drawn: {reason}"))
                .with_remedy("subgroups: --size N or --subgroup COLUMN; single readings: neither")
        })?;
        if let Some(path) = &self.save {
            save(path, &readings, &chart.baseline)?;
        }
        let rules = self.rules();
        let places = Digits::of(all.summary()).places;
        show::picture(self.svg.as_deref(), || {
            chart_svg(
                &readings.heading(),
                &chart,
                &rules,
                (places, readings.unit()),
            )
        })?;
        let exit = if self.gate && (chart.signals(&rules) > 0 || !chart.judges()) {
            Exit::No
        } else {
            Exit::Yes
        };
        if show::as_json(context, out, || object(&readings, kind, &chart, &rules))? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        if left > 0 {
            writeln!(
                out,
                "not charted: the last {left}, too few for a subgroup\n"
            )?;
        }
        let each = chart.each();
        for panel in &chart.panels {
            text(out, panel, &rules, (places, readings.unit()), &each)?;
        }
        writeln!(out, "{}", chart.sentence(&rules))?;
        Ok(exit)
    }

    fn rules(&self) -> Vec<&'static Rule> {
        if self.rules.is_empty() {
            chart::usual_rules()
        } else {
            self.rules.clone()
        }
    }

    /// The readings, and their subgroups if they have any. Of single readings only the values are kept.
    fn readings(
        &self,
        context: &Context,
    ) -> Result<(Readings, Sample, Option<Vec<Sample>>), Failure> {
        if let Some(key) = &self.subgroup {
            let readings = self.select.readings(context, &[key])?;
            readings.of_one_nominal()?;
            let all = readings.sample()?;
            let groups = readings.groups(0)?.into_iter().map(|(_, group)| group);
            return Ok((readings, all, Some(groups.collect())));
        }
        let (readings, bases) = self.select.bases(context)?;
        readings.of_one_nominal()?;
        let size = self.size.unwrap_or(1);
        let groups = (size > 1).then(|| {
            let chunks = bases.chunks_exact(size);
            let groups = chunks.map(|chunk| readings.sample_of_bases(chunk.to_vec()));
            groups.collect::<Result<_, _>>()
        });
        let groups = groups.transpose()?;
        let all = readings.sample_of_bases(bases)?;
        Ok((readings, all, groups))
    }

    fn kept(&self, readings: &Readings) -> Result<Option<Baseline>, Failure> {
        let Some(path) = &self.limits else {
            return Ok(None);
        };
        let shown = path.display();
        let text = std::fs::read_to_string(path)
            .map_err(|error| Failure::io(format!("{shown} cannot be read")).because(&error))?;
        let kept: Kept = serde_json::from_str(&text).map_err(|error| {
            Failure::usage(format!("{shown} has no control limits"))
                .because(&error)
                .with_remedy("write it with --save")
        })?;
        if kept.unit != readings.unit().name() {
            return Err(Failure::usage(format!(
                "{shown} is in {}, the readings are in {}",
                kept.unit,
                readings.unit().name()
            )));
        }
        Ok(Some(Baseline {
            center: kept.center,
            sigma: kept.sigma,
            size: kept.size,
            points: kept.points,
        }))
    }
}

/// Number of readings in a subgroup.
fn size_of(groups: &[Sample]) -> u64 {
    groups.first().map_or(u64::MAX, Sample::count)
}

/// The basis of control limits, as stored in a file.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Kept {
    unit: String,
    center: f64,
    sigma: f64,
    size: usize,
    points: usize,
}

fn save(path: &Path, readings: &Readings, baseline: &Baseline) -> Result<(), Failure> {
    let kept = json!({
        "unit": readings.unit().name(),
        "center": baseline.center,
        "sigma": baseline.sigma,
        "size": baseline.size,
        "points": baseline.points,
    });
    std::fs::write(path, format!("{kept}\n")).map_err(|error| {
        Failure::io(format!("{} cannot be written", path.display())).because(&error)
    })
}

fn text(
    out: &mut dyn Write,
    panel: &chart::Panel,
    rules: &[&'static Rule],
    digits: (usize, Unit),
    each: &str,
) -> Result<(), Failure> {
    let signals = panel.signals(rules);
    writeln!(out, "{}, in {}", panel.words, digits.1)?;
    for line in chart_text(panel, &signals, digits, each) {
        writeln!(out, "  {line}")?;
    }
    for signal in &signals {
        let words = chart::rule(signal.rule).map_or(signal.rule, |rule| rule.words);
        writeln!(out, "  ✕ point {}: {words}", signal.at)?;
    }
    writeln!(out)?;
    Ok(())
}

fn object(
    readings: &Readings,
    kind: &ChartKind,
    chart: &chart::Chart,
    rules: &[&'static Rule],
) -> Map<String, Value> {
    let panels = chart.panels.iter().map(|panel| {
        let points = panel.points.iter();
        let last = panel.points.last();
        let mut fields = Map::new();
        fields.insert("name".to_owned(), json!(panel.name));
        fields.insert("first".to_owned(), json!(panel.first));
        if let Some(last) = last {
            fields.insert("center".to_owned(), json!(last.center));
        }
        let lower: Vec<f64> = points.clone().filter_map(|point| point.lower).collect();
        if !lower.is_empty() {
            fields.insert("lower".to_owned(), json!(lower));
        }
        fields.insert(
            "upper".to_owned(),
            points.clone().map(|point| point.upper).collect(),
        );
        fields.insert(
            "points".to_owned(),
            points.map(|point| point.value).collect(),
        );
        Value::Object(fields)
    });
    let signals = chart.panels.iter().flat_map(|panel| {
        let name = panel.name;
        panel
            .signals(rules)
            .into_iter()
            .map(move |signal| json!({"panel": name, "rule": signal.rule, "at": signal.at}))
    });
    let mut object = show::head("chart", readings);
    object.insert("n".to_owned(), json!(readings.count));
    let mut fields = Map::new();
    fields.insert("kind".to_owned(), json!(kind.name));
    if let Some(last) = chart.panels.first().and_then(|panel| panel.points.last()) {
        fields.insert("center".to_owned(), json!(last.center));
        if let Some(lower) = last.lower {
            fields.insert("lower".to_owned(), json!(lower));
        }
        fields.insert("upper".to_owned(), json!(last.upper));
    }
    fields.insert("sigma".to_owned(), json!(chart.baseline.sigma));
    fields.insert("size".to_owned(), json!(chart.baseline.size));
    fields.insert("baseline_points".to_owned(), json!(chart.baseline.points));
    fields.insert("panels".to_owned(), panels.collect());
    object.insert("chart".to_owned(), Value::Object(fields));
    object.insert("signals".to_owned(), signals.collect());
    object.insert("judged".to_owned(), json!(chart.judges()));
    if let Some(rate) = chart.chance.rate(rules) {
        let charts = chart.chance.charts();
        object.insert(
            "false_alarms".to_owned(),
            json!({"rate": rate, "charts": charts}),
        );
    }
    object.insert("sentence".to_owned(), json!(chart.sentence(rules)));
    object
}
