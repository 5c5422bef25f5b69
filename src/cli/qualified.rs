//! `tallyjaw qualified`: exit 0; 1 with --gate if a combination is not shown; 2 if the configuration cannot be used; 4 if
//! the journal cannot be read.

use super::columns::Columns;
use super::entries::EntryStyle;
use super::query::{self, lines};
use super::{Context, Exit, Failure, card, journal_state, pager};
use crate::clock;
use crate::config::DaemonConfig;
use crate::entry::qualifying::Qualifying;
use crate::entry::{State, reservation};
use crate::message::qualified::{QualifiedMessage, RuleMessage};
use crate::qualification::{Cell, Found, Frame, Matrix, SeriesName, Standing};
use crate::quantity::{Decimal, WallMicros};
use crate::spec::{QualificationRule, WireSize};
use anstyle::Style;
use std::io::Write;
use std::path::PathBuf;

/// List which terminals, wires, tools and nests qualification series have shown, and what is missing
///
/// Rows are terminals on wires, columns are tools with their nests. A combination is shown if its newest qualification
/// series (plans with purpose = "qualification") of every axis that the sheet limits was accepted by the limits that
/// the sheet has now, has enough pieces, and demonstrates the required Ppk; and if the pull tests are there. The rule is
/// [qualification] in the configuration. No daemon is needed. With the journals of other benches the newest series counts,
/// wherever it was measured; verify each of them first, with `tallyjaw verify`.
#[derive(Debug, clap::Args)]
#[command(after_help = "\
Examples:
  tallyjaw qualified
  tallyjaw qualified --terminal QF-250-F --tool T-07
  tallyjaw qualified --on 2027-03-01                 what will have lapsed by then
  tallyjaw qualified --terminal QF-250-F --gate      exit 1 unless all of it is shown
  tallyjaw qualified --also /mnt/backup/bench-2      with what another bench has shown
  tallyjaw qualified --json

Exit codes: 0 listed, 1 with --gate if a combination is not shown, 2 wrong use or configuration, 4 the journal cannot be read.")]
pub(super) struct Qualified {
    /// Only this terminal
    #[arg(long)]
    terminal: Option<String>,
    /// Only this crimp tool
    #[arg(long)]
    tool: Option<String>,
    /// With the journal of another bench: its state folder or archive; may be given several times
    #[arg(long, value_name = "STATE_DIR")]
    also: Vec<PathBuf>,
    /// As it stands on this day [default: today]
    #[arg(long, value_name = "DAY", value_parser = query::time)]
    on: Option<WallMicros>,
    /// Exit with 1 unless every combination of the list is shown
    #[arg(long)]
    gate: bool,
}

impl Qualified {
    pub(super) fn run(self, context: &Context, out: &mut dyn Write) -> Result<Exit, Failure> {
        let config = context.load()?.1;
        let state = self.known(&config.daemon)?;
        let configured = config.catalog.qualification;
        let rule = configured.unwrap_or_default();
        let frame = Frame::of(&config.catalog, &state.qualifying, rule);
        let now = self.on.unwrap_or_else(clock::wall);
        let matrix = Matrix::of(&frame, &state, now);
        let matrix = self.chosen(matrix);
        if context.json {
            let rule = RuleMessage::new(&rule, configured.is_some());
            out.write_all(&crate::message::line(&rule))?;
            for cell in matrix.cells() {
                out.write_all(&crate::message::line(&QualifiedMessage::from(cell)))?;
            }
        } else {
            let mut text = Vec::new();
            show(&matrix, &rule, configured.is_some(), &mut text)?;
            pager::show(&text, out)?;
        }
        let mut cells = matrix.cells();
        let all = cells.all(|cell| cell.found.standing == Standing::Shown);
        Ok(if self.gate && !all {
            Exit::No
        } else {
            Exit::Yes
        })
    }

    /// The state of this journal, combined with those of other benches.
    fn known(&self, daemon: &DaemonConfig) -> Result<State, Failure> {
        let mut state = journal_state::read(daemon)?;
        if self.also.is_empty() {
            return Ok(state);
        }
        let mut known = Vec::new();
        if state.last.is_some() {
            known.push((
                lines::journal(daemon)?,
                std::mem::take(&mut state.qualifying),
            ));
        }
        for folder in &self.also {
            let other = DaemonConfig::of_folder(folder.clone());
            let journal = lines::journal(&other)?;
            if known.iter().any(|(known, _)| *known == journal) {
                let folder = folder.display();
                return Err(Failure::usage(format!(
                    "{folder} holds journal {journal}, which is read already"
                ))
                .with_remedy("name each bench once: its state folder, or its archive"));
            }
            let of_other = journal_state::read(&other)?;
            for (tool, counted) in of_other.tools {
                state.tools.entry(tool).or_default().crimps += counted.crimps;
            }
            known.push((journal, of_other.qualifying));
        }
        let known = known.iter().map(|(journal, one)| (journal.0.as_str(), one));
        state.qualifying = Qualifying::of_all(known);
        Ok(state)
    }

    /// The requested rows and columns.
    fn chosen(&self, matrix: Matrix) -> Matrix {
        let is_wanted = |wanted: &Option<String>, name: &str| {
            wanted.as_ref().is_none_or(|wanted| wanted == name)
        };
        let keeps: Vec<bool> = matrix
            .columns
            .iter()
            .map(|(tool, _)| is_wanted(&self.tool, tool))
            .collect();
        let mut rows = matrix.rows;
        rows.retain(|row| is_wanted(&self.terminal, &row.terminal));
        for row in &mut rows {
            row.cells = kept(&mut row.cells, &keeps);
        }
        let mut columns = matrix.columns;
        Matrix {
            columns: kept(&mut columns, &keeps),
            rows,
        }
    }
}

fn kept<T>(all: &mut Vec<T>, keeps: &[bool]) -> Vec<T> {
    let all = all.drain(..).zip(keeps);
    all.filter(|(_, keeps)| **keeps)
        .map(|(one, _)| one)
        .collect()
}

fn show(
    matrix: &Matrix,
    rule: &QualificationRule,
    is_configured: bool,
    out: &mut dyn Write,
) -> Result<(), Failure> {
    writeln!(out, "{}", in_words(rule, is_configured))?;
    if matrix.cells().next().is_none() {
        writeln!(
            out,
            "no combination: sheets, plans and tools of the configuration make the rows and columns"
        )?;
        return Ok(());
    }
    writeln!(out)?;
    let columns = matrix.columns.iter();
    let names = columns.map(|(tool, nest)| holder(tool, nest.as_deref()));
    let heads: Vec<String> = ["terminal".to_owned(), "wire".to_owned()]
        .into_iter()
        .chain(names)
        .collect();
    let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
    let mut table = Columns::new(&heads);
    for row in &matrix.rows {
        let cells = row.cells.iter().map(|cell| match cell {
            None => (String::new(), Style::new()),
            Some(found) => (found.standing.words().to_owned(), style(found.standing)),
        });
        let names = [row.terminal.clone(), wire(&row.wire)];
        let names = names.map(|name| (name, Style::new()));
        table.styled(names.into_iter().chain(cells).collect());
    }
    table.write(out)?;
    let form = EntryStyle::of_system();
    for cell in matrix.cells() {
        if cell.found.standing != Standing::NeverTried {
            one(&cell, &form, out)?;
        }
    }
    Ok(())
}

/// The rule in one sentence.
fn in_words(rule: &QualificationRule, is_configured: bool) -> String {
    let ppk = Decimal::new(rule.ppk_hundredths.into(), 2);
    let pull = if rule.pull {
        "with pull tests"
    } else {
        "without pull tests"
    };
    let whose = if is_configured {
        "the rule of [qualification]"
    } else {
        "the default rule, because the configuration has no [qualification]"
    };
    format!(
        "shown: {} pieces, lower 95 % confidence bound of Ppk at least {ppk}, {pull}, for {} months ({whose})",
        rule.pieces, rule.months
    )
}

fn holder(tool: &str, nest: Option<&str>) -> String {
    nest.map_or_else(|| tool.to_owned(), |nest| format!("{tool} {nest}"))
}

fn wire(wire: &WireSize) -> String {
    match &wire.gauge {
        None => wire.area.to_string(),
        Some(gauge) => format!("{} ({gauge} ga)", wire.area),
    }
}

fn style(standing: Standing) -> Style {
    match standing {
        Standing::Shown => card::GOOD,
        Standing::NotShown => card::BAD,
        Standing::Lapsed => card::ODD,
        Standing::NeverTried => Style::new(),
    }
}

fn one(cell: &Cell<'_>, form: &EntryStyle, out: &mut dyn Write) -> Result<(), Failure> {
    let (found, style) = (cell.found, style(cell.found.standing));
    let name = crate::entry::words::safe(&format!(
        "{} on {}, {}",
        cell.terminal,
        wire(cell.wire),
        holder(cell.tool, cell.nest)
    ));
    writeln!(out, "\n{name}: {style}{}{style:#}", found.standing.words())?;
    for missing in &found.missing {
        card::row(out, form, "missing", &missing.to_string())?;
    }
    for lapse in &found.lapses {
        card::row(out, form, "lapsed", &lapse.to_string())?;
    }
    for line in figures(found) {
        card::row(out, form, "", &line)?;
    }
    Ok(())
}

/// The evidence, one line for each axis, and its last day.
fn figures(found: &Found) -> Vec<String> {
    let mut lines: Vec<String> = found
        .axes
        .iter()
        .map(|of| {
            let SeriesName { .. } = &of.series;
            let figure = match (of.ppk_least_milli, of.lowest, of.limits.lower()) {
                (Some(bound), _, _) => {
                    format!("Ppk at least {} (95 % confidence)", Decimal::new(bound, 3))
                }
                (None, Some(lowest), Some(minimum)) => {
                    format!("lowest {lowest}, minimum {minimum}")
                }
                (None, Some(lowest), None) => format!("lowest {lowest}"),
                (None, None, _) => "no Ppk".to_owned(),
            };
            let on = of.on.map_or_else(String::new, |on| format!(" of {on}"));
            format!(
                "{}: {figure}, n = {}, series {}{on}",
                of.axis.words(),
                of.pieces,
                of.series
            )
        })
        .collect();
    if let Some(until) = found.until {
        lines.push(format!("counts until {until}"));
    }
    if !found.reservations.is_empty() {
        let words = reservation::words(&found.reservations);
        lines.push(format!("reservations: {words}"));
    }
    lines
}
