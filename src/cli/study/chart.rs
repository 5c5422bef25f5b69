//! `tallyjaw study chart`.

use super::alarms::{self, Lengths};
use super::readings::Readings;
use super::select::{Select, percent, quantity, value};
use super::show::{self, Digits};
use crate::cli::{Context, Exit, Failure};
use crate::quantity::{Quantity, Unit, did_you_mean};
use crate::stats::chart::{Baseline, CHARTS, ChartKind, Groups, Input, Memory, Panel, RULES, Rule};
use crate::stats::picture::{chart_svg, chart_text};
use crate::stats::{Summary, Undefined, chart};
use serde_json::{Map, Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// Shifts of the mean, in standard deviations of a reading, for the average run length.
const SHIFTS: [f64; 6] = [0.0, 0.5, 1.0, 1.5, 2.0, 3.0];
/// Number of simulated runs for each.
const RUNS: usize = 1_000;
/// The same for a panel alone.
const PANEL_RUNS: usize = 300;

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
    /// The centre line is given, with --sigma, and not computed from readings: control limits of a later phase
    #[arg(long, value_name = "VALUE", value_parser = value, requires = "sigma", allow_hyphen_values = true, conflicts_with_all = ["baseline", "limits"])]
    center: Option<Quantity>,
    /// The standard deviation of single readings is given, with --center
    #[arg(long, value_name = "SIZE", value_parser = quantity, requires = "center")]
    sigma: Option<Quantity>,
    /// Control limits on the specification: a point beyond them shows that more than this percentage of the pieces is outside
    /// a limit of it
    #[arg(long, value_name = "PERCENT", value_parser = percent, conflicts_with = "run_length")]
    tolerated: Option<f64>,
    /// Also simulate the average run length: how many points the chart goes on until one of its rules signals, without a
    /// change and after a shift
    #[arg(long)]
    run_length: bool,
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
        let usual = if self.is_of_subgroups() {
            "mean_s"
        } else {
            "individuals"
        };
        let kind = match self.kind {
            Some(kind) => kind,
            None => self::kind(usual).map_err(Failure::usage)?,
        };
        let input = Input {
            groups: &groups,
            baseline: self.baseline,
            kept: match self.given(&all, &groups)? {
                Some(given) => Some(given),
                None => self.kept(&readings)?,
            },
            memory: Memory {
                weight: self.weight,
                width: self.width,
                allowance: self.allowance,
                decision: self.decision,
                target: None,
            },
        };
        let mut chart = chart::draw(kind, &input).map_err(cannot_be_drawn)?;
        if let Some(share) = self.tolerated {
            let limits = readings.limits_needed()?;
            let ends = (limits.lower_of(&all).ok(), limits.upper_of(&all).ok());
            chart = chart::on_specification(chart, ends, share).map_err(|reason| {
                Failure::usage(format!("no control limits on the specification: {reason}"))
            })?;
        }
        if let Some(path) = &self.save {
            save(path, &readings, &chart.baseline)?;
        }
        let rules = self.rules();
        let places = Digits::of(&all).places;
        show::picture(self.svg.as_deref(), || {
            chart_svg(
                &readings.heading(),
                &chart,
                &rules,
                (places, readings.unit()),
            )
        })?;
        let exit = show::gate(self.gate, || chart.signals(&rules) == 0 && chart.judges());
        let lengths = self.run_lengths(kind, &input, &chart);
        let write =
            |out: &mut dyn Write| json_line(out, &readings, (kind, &chart), &rules, &lengths);
        if show::for_programs(context, out, write)? {
            return Ok(exit);
        }
        show::heading(out, &readings)?;
        if groups.left() > 0 {
            writeln!(
                out,
                "not charted: the last {}, too few for a subgroup\n",
                groups.left()
            )?;
        }
        let each = chart.each();
        for panel in &chart.panels {
            text(out, panel, &rules, (places, readings.unit()), &each)?;
        }
        writeln!(out, "{}", chart.sentence(&rules))?;
        alarms::write_lengths(out, &lengths, &chart)?;
        Ok(exit)
    }

    /// The average run lengths, if they were requested: of the chart, and of each of several panels alone.
    fn run_lengths(
        &self,
        kind: &ChartKind,
        input: &Input<'_>,
        chart: &chart::Chart<'_>,
    ) -> Vec<Lengths> {
        if !self.run_length {
            return Vec::new();
        }
        let rules = self.rules();
        let of = |panel: Option<usize>, runs: usize| {
            let each = SHIFTS.iter().map(|shift| {
                chart::run_length(kind, (input, chart), &rules, panel, (*shift, runs))
            });
            each.collect()
        };
        let whole = Lengths {
            panel: None,
            each: of(None, RUNS),
        };
        let panels = chart.panels.iter().enumerate();
        let panels = panels
            .filter(|_| chart.panels.len() > 1)
            .map(|(at, panel)| Lengths {
                panel: Some((panel.name, panel.words)),
                each: of(Some(at), PANEL_RUNS),
            });
        std::iter::once(whole).chain(panels).collect()
    }

    /// The centre and standard deviation that were given.
    fn given(&self, all: &Summary, groups: &Groups) -> Result<Option<Baseline>, Failure> {
        let Some((center, sigma)) = self.center.zip(self.sigma) else {
            return Ok(None);
        };
        let in_unit = |value| {
            all.quantity_in_unit(value).map_err(|_| {
                Failure::usage("--center and --sigma are of another dimension than the readings")
            })
        };
        Ok(Some(Baseline {
            center: in_unit(center)?,
            sigma: in_unit(sigma)?,
            size: groups.size_or_several(),
            points: 0,
            given: true,
        }))
    }

    fn rules(&self) -> Vec<&'static Rule> {
        if self.rules.is_empty() {
            chart::usual_rules()
        } else {
            self.rules.clone()
        }
    }

    fn is_of_subgroups(&self) -> bool {
        self.subgroup.is_some() || self.size.is_some_and(|size| size > 1)
    }

    /// The readings, their statistics, and what the points are of. A reading takes about a byte; in subgroups by a column,
    /// which are complete only at the end, eight.
    fn readings(&self, context: &Context) -> Result<(Readings, Summary, Groups), Failure> {
        let Some(key) = &self.subgroup else {
            let (readings, all) = self.select.in_order(context)?;
            readings.of_one_nominal()?;
            let summary = all.summary(&readings)?;
            let size = self.size.unwrap_or(1);
            let groups = Groups::new(all.bases, size, readings.scale, readings.step);
            return Ok((readings, summary, groups));
        };
        let (readings, all, groups) = self.select.groups(context, key)?;
        readings.of_one_nominal()?;
        let lists = groups.iter().map(|group| &group.bases[..]);
        let groups =
            Groups::of_lists(lists, readings.scale, readings.step).map_err(cannot_be_drawn)?;
        let summary = all.summary(&readings)?;
        Ok((readings, summary, groups))
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
            given: false,
        }))
    }
}

fn cannot_be_drawn(reason: Undefined) -> Failure {
    Failure::usage(format!("this chart cannot be drawn: {reason}"))
        .with_remedy("subgroups: --size N or --subgroup COLUMN; single readings: neither")
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
    panel: &Panel<'_>,
    rules: &[&'static Rule],
    digits: (usize, Unit),
    each: &str,
) -> Result<(), Failure> {
    writeln!(out, "{}, in {}", panel.words, digits.1)?;
    for line in chart_text(panel, rules, digits, each) {
        writeln!(out, "  {line}")?;
    }
    alarms::write(out, panel, rules)?;
    writeln!(out)?;
    Ok(())
}

/// Writes the chart for programs. Lists are written while they are computed, since they are as long as the chart.
fn json_line(
    out: &mut dyn Write,
    readings: &Readings,
    (kind, chart): (&ChartKind, &chart::Chart<'_>),
    rules: &[&'static Rule],
    lengths: &[Lengths],
) -> Result<(), Failure> {
    let mut object = show::head("chart", readings);
    object.insert("n".to_owned(), json!(readings.count));
    object.insert("judged".to_owned(), json!(chart.judges()));
    if let Some(rate) = chart.chance.rate(rules) {
        let charts = chart.chance.charts();
        object.insert(
            "false_alarms".to_owned(),
            json!({"rate": rate, "charts": charts}),
        );
    }
    object.insert("alarms".to_owned(), alarms::json(chart, rules));
    alarms::put_lengths(&mut object, lengths, chart);
    object.insert("sentence".to_owned(), json!(chart.sentence(rules)));
    write!(out, "{{")?;
    fields(out, &object)?;
    write!(out, "\"chart\":{{")?;
    fields(out, &parameters(kind, chart))?;
    write!(out, "\"panels\":[")?;
    for (nth, panel) in chart.panels.iter().enumerate() {
        let comma = if nth == 0 { "" } else { "," };
        write!(out, "{comma}{{")?;
        write_panel(out, panel)?;
        write!(out, "}}")?;
    }
    write!(out, "]}},\"signals\":")?;
    let signals = chart.panels.iter().flat_map(|panel| {
        panel
            .signals(rules)
            .map(move |signal| json!({"panel": panel.name, "rule": signal.rule, "at": signal.at}))
    });
    list(out, signals)?;
    writeln!(out, "}}")?;
    Ok(())
}

/// What the control limits are computed from, and those of the last point of the main panel.
fn parameters(kind: &ChartKind, chart: &chart::Chart<'_>) -> Map<String, Value> {
    let mut fields = Map::new();
    fields.insert("kind".to_owned(), json!(kind.name));
    let main = chart.panels.first();
    if let Some(last) = main.and_then(|panel| panel.points().last()) {
        fields.insert("center".to_owned(), json!(last.center));
        if let Some(lower) = last.lower {
            fields.insert("lower".to_owned(), json!(lower));
        }
        if let Some(upper) = last.upper {
            fields.insert("upper".to_owned(), json!(upper));
        }
    }
    fields.insert("sigma".to_owned(), json!(chart.baseline.sigma));
    fields.insert("size".to_owned(), json!(chart.baseline.size));
    if chart.baseline.given {
        fields.insert("given".to_owned(), json!(true));
    } else {
        fields.insert("baseline_points".to_owned(), json!(chart.baseline.points));
    }
    fields
}

fn write_panel(out: &mut dyn Write, panel: &Panel<'_>) -> Result<(), Failure> {
    let last = panel.points().last();
    let mut head = Map::new();
    head.insert("name".to_owned(), json!(panel.name));
    head.insert("first".to_owned(), json!(panel.first));
    if let Some(last) = last {
        head.insert("center".to_owned(), json!(last.center));
    }
    fields(out, &head)?;
    if last.is_some_and(|last| last.lower.is_some()) {
        write!(out, "\"lower\":")?;
        let lower = panel.points().filter_map(|point| point.lower);
        list(out, lower.map(Value::from))?;
        write!(out, ",")?;
    }
    if last.is_some_and(|last| last.upper.is_some()) {
        write!(out, "\"upper\":")?;
        let upper = panel.points().filter_map(|point| point.upper);
        list(out, upper.map(Value::from))?;
        write!(out, ",")?;
    }
    write!(out, "\"points\":")?;
    list(out, panel.points().map(|point| json!(point.value)))
}

/// Writes fields of an object, each with the comma after it.
fn fields(out: &mut dyn Write, object: &Map<String, Value>) -> Result<(), Failure> {
    for (name, value) in object {
        write!(out, "{}:{value},", json!(name))?;
    }
    Ok(())
}

fn list(out: &mut dyn Write, items: impl Iterator<Item = Value>) -> Result<(), Failure> {
    write!(out, "[")?;
    for (nth, item) in items.enumerate() {
        let comma = if nth == 0 { "" } else { "," };
        write!(out, "{comma}{item}")?;
    }
    write!(out, "]")?;
    Ok(())
}
