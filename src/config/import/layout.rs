//! Finds the row of headings, the separator, the contents of each column, and the decimal mark. If a file can be read
//! in two ways, that is a fault whose remedy names the option that decides it.

use super::grid::{GridRow, Separator, rows};
use super::heading::{Heading, Target, WireUnit, understand, unit};
use super::number::{DecimalMark, Evidence, evidence, numbers};
use super::{Ask, ColumnRule};
use crate::config::faults::{At, Fault, Faults, FileId, quoted};
use crate::spec::Axis;

/// The headings must be within this number of rows.
const ROWS_BEFORE_HEADINGS: usize = 40;

/// The layout of the file.
#[derive(Debug)]
pub(super) struct Layout {
    pub(super) separator: Separator,
    pub(super) headings: GridRow,
    /// The heading of each column; `None` if it is not understood.
    pub(super) columns: Vec<Option<Heading>>,
    /// The rows after the headings.
    pub(super) rows: Vec<GridRow>,
}

/// Rank of a row as headings: the number understood if a wire and an axis are among them, else 0; then the number
/// understood in any case.
type Score = (usize, usize);

/// A possible layout of the file.
struct Candidate {
    separator: Separator,
    rows: Vec<GridRow>,
    header: usize,
    columns: Vec<Option<Heading>>,
    score: Score,
}

/// Finds the layout; `None` after a fault.
pub(super) fn find(
    text: &str,
    file: FileId,
    ask: &Ask,
    axes: &[Axis],
    faults: &mut Faults,
) -> Option<Layout> {
    let separators: Vec<_> = match ask.separator {
        Some(separator) => vec![separator],
        None => Separator::ALL.to_vec(),
    };
    let mut candidates: Vec<Candidate> = separators
        .into_iter()
        .filter_map(|separator| candidate(text, file, separator, ask, axes, faults))
        .collect();
    candidates.sort_by_key(|candidate| std::cmp::Reverse(candidate.score));
    if let [best, second, ..] = candidates.as_slice()
        && best.score == second.score
        && best.score.0 > 0
    {
        let first = best
            .rows
            .get(best.header)
            .and_then(|row| row.cells.first())?;
        let got = format!(
            "the headings can be read with separator {} and with separator {}",
            best.separator, second.separator
        );
        let fault = Fault::new(got, "want one separator");
        let help = format!(
            "choose one: --separator {} or {}",
            best.separator, second.separator
        );
        faults.add(&first.place, fault.help(help));
        return None;
    }
    let Some(best) = candidates.into_iter().next() else {
        let fault = Fault::new("this file is empty", "want headings and rows");
        faults.add(&file.place(0..0), fault);
        return None;
    };
    laid_out(best, ask, faults)
}

/// The best row of headings with this separator; `None` only if there is no row at all.
fn candidate(
    text: &str,
    file: FileId,
    separator: Separator,
    ask: &Ask,
    axes: &[Axis],
    faults: &Faults,
) -> Option<Candidate> {
    let rows = rows(text, file, separator);
    let mut best: Option<(usize, Score, Vec<Option<Heading>>)> = None;
    for (at, row) in rows.iter().take(ROWS_BEFORE_HEADINGS).enumerate() {
        let first = row.cells.first();
        let line = first.map(|cell| faults.line_number(&cell.place));
        if ask.header_line.is_some() && ask.header_line != line {
            continue;
        }
        let columns = columns(row, &ask.columns, axes);
        let score = score(&columns);
        if best.as_ref().is_none_or(|(_, known, _)| score > *known) {
            best = Some((at, score, columns));
        }
    }
    let (header, score, columns) = best?;
    Some(Candidate {
        separator,
        rows,
        header,
        columns,
        score,
    })
}

/// The rank of a row as headings. A row with a wire and an axis comes before one that only has some known words.
fn score(columns: &[Option<Heading>]) -> Score {
    let targets = || columns.iter().flatten().map(|heading| &heading.target);
    let has_wire = targets().any(|target| matches!(target, Target::Wire(_)));
    let has_axis = targets().any(|target| matches!(target, Target::Axis(..)));
    let count = targets().count();
    (if has_wire && has_axis { count } else { 0 }, count)
}

/// The meaning of each heading: given by `--column`, otherwise found from its words.
fn columns(row: &GridRow, rules: &[ColumnRule], axes: &[Axis]) -> Vec<Option<Heading>> {
    let mut left = None;
    let mut columns = Vec::new();
    for (at, cell) in row.cells.iter().enumerate() {
        let understood = understand(&cell.value, axes, left.as_ref());
        let rule = rules.iter().find(|rule| rule.is_for(at, &cell.value));
        let heading = match rule {
            Some(rule) => Some(Heading {
                target: rule.target.clone(),
                unit: super::heading::unit_of(&cell.value),
            }),
            None => understood,
        };
        left = match &heading {
            Some(Heading {
                target: Target::Axis(name, _),
                ..
            }) => Some(name.clone()),
            Some(_) | None => None,
        };
        columns.push(heading);
    }
    columns
}

fn laid_out(best: Candidate, ask: &Ask, faults: &mut Faults) -> Option<Layout> {
    let mut rows = best.rows.into_iter().skip(best.header);
    let headings = rows.next()?;
    let mut layout = Layout {
        separator: best.separator,
        headings,
        columns: best.columns,
        rows: rows.collect(),
    };
    if best.score.0 == 0 {
        faults.add(&layout.headings.cells.first()?.place, no_headings(&layout));
        return None;
    }
    layout.take_unit_row();
    let rules = rules_fit(&layout, ask, faults);
    (each_once(&layout, faults) && rules).then_some(layout)
}

fn no_headings(layout: &Layout) -> Fault {
    let understood: Vec<_> = layout
        .columns
        .iter()
        .zip(&layout.headings.cells)
        .filter_map(|(heading, cell)| {
            let target = &heading.as_ref()?.target;
            Some(format!("{} is {target}", quoted(&cell.value)))
        })
        .collect();
    let got = if understood.is_empty() {
        "no row has known headings".to_owned()
    } else {
        format!("of these headings only {} are known", understood.join(", "))
    };
    Fault::new(got, "want headings for the wire and for an axis").help(
        "name the columns: --column \"HEADING=wire\" --column \"HEADING=core_crimp_height\"; \
         the line of the headings with --header-line; what parts the cells with --separator",
    )
}

impl Layout {
    /// Moves a row that holds nothing but units from the data to the headings.
    fn take_unit_row(&mut self) {
        let Some(row) = self.rows.first() else {
            return;
        };
        let word = |cell: &At<String>| {
            let trimmed = cell.value.trim_matches(['[', ']', '(', ')']).to_lowercase();
            trimmed.trim().to_owned()
        };
        let wire_unit = |word: &str| match word {
            "mm²" | "mm2" | "mm^2" => Some(WireUnit::Mm2),
            "awg" | "ga" => Some(WireUnit::Gauge),
            _ => None,
        };
        let is_unit = |cell: &At<String>| {
            let word = word(cell);
            word.is_empty() || word == "-" || unit(&word).is_some() || wire_unit(&word).is_some()
        };
        let some = row.cells.iter().any(|cell| unit(&word(cell)).is_some());
        if !some || !row.cells.iter().all(is_unit) {
            return;
        }
        let row = self.rows.remove(0);
        for (heading, cell) in self.columns.iter_mut().zip(&row.cells) {
            let Some(heading) = heading else { continue };
            let word = word(cell);
            match &mut heading.target {
                Target::Wire(unit) => *unit = unit.or(wire_unit(&word)),
                Target::Axis(..) => heading.unit = heading.unit.or(unit(&word)),
                Target::Terminal | Target::Name | Target::Ignored => {}
            }
        }
    }

    /// The columns whose headings are understood.
    pub(super) fn meanings(&self) -> impl Iterator<Item = (usize, &At<String>, &Heading)> {
        let columns = self.columns.iter().zip(&self.headings.cells).enumerate();
        columns.filter_map(|(at, (heading, cell))| Some((at, cell, heading.as_ref()?)))
    }

    /// The columns with wire sizes: the one that is used, and one that only repeats it in another form.
    pub(super) fn wires(&self) -> (Option<usize>, Option<usize>) {
        let of = |wanted: fn(Option<WireUnit>) -> bool| {
            self.meanings()
                .find_map(|(at, _, heading)| match heading.target {
                    Target::Wire(unit) if wanted(unit) => Some(at),
                    Target::Wire(_)
                    | Target::Terminal
                    | Target::Name
                    | Target::Axis(..)
                    | Target::Ignored => None,
                })
        };
        let gauge = of(|unit| unit == Some(WireUnit::Gauge));
        let area = of(|unit| unit != Some(WireUnit::Gauge));
        match area {
            Some(_) => (area, gauge),
            None => (gauge, None),
        }
    }
}

/// Reports each rule of the user that fits no column.
fn rules_fit(layout: &Layout, ask: &Ask, faults: &mut Faults) -> bool {
    let cells = &layout.headings.cells;
    let mut fit = true;
    for rule in &ask.columns {
        let found = cells.iter().enumerate();
        if found.clone().any(|(at, cell)| rule.is_for(at, &cell.value)) {
            continue;
        }
        fit = false;
        let listed: Vec<_> = cells.iter().map(|cell| quoted(&cell.value)).collect();
        let got = format!("no column {} for --column", quoted(&rule.heading));
        let fault = Fault::new(got, "want one of these headings, or its number from 1");
        if let Some(first) = cells.first() {
            let help = format!("the headings are {}", listed.join(", "));
            faults.add(&first.place, fault.help(help));
        }
    }
    fit
}

/// Reports two columns with the same contents. A column in mm² and one of gauges may both exist.
fn each_once(layout: &Layout, faults: &mut Faults) -> bool {
    let mut seen: Vec<(&Target, &At<String>)> = Vec::new();
    let mut fit = true;
    for (_, cell, heading) in layout.meanings() {
        let target = &heading.target;
        let same = |other: &Target| match (target, other) {
            (Target::Ignored, _) => false,
            (Target::Wire(one), Target::Wire(other)) => !matches!(
                (one, other),
                (Some(WireUnit::Mm2), Some(WireUnit::Gauge))
                    | (Some(WireUnit::Gauge), Some(WireUnit::Mm2))
            ),
            (_, _) => target == other,
        };
        match seen.iter().find(|(other, _)| same(other)) {
            Some((_, earlier)) => {
                fit = false;
                let (text, before) = (quoted(&cell.value), quoted(&earlier.value));
                let got = format!("{text} and {before} both mean {target}");
                let help = format!(
                    "name each of them, or leave one out: --column \"{}=ignore\"",
                    cell.value
                );
                let fault = Fault::new(got, "want one column for it").help(help);
                faults.add(&cell.place, fault);
            }
            None => seen.push((target, cell)),
        }
    }
    fit
}

/// The decimal mark of all numbers that are used, from `--decimal` or from the numbers themselves. `None` after a
/// fault; `Some(None)` if no number has a mark.
#[expect(
    clippy::option_option,
    reason = "faulty, not needed and found are three things"
)]
pub(super) fn mark(layout: &Layout, ask: &Ask, faults: &mut Faults) -> Option<Option<DecimalMark>> {
    if ask.decimal.is_some() {
        return Some(ask.decimal);
    }
    let mut sure: Option<(DecimalMark, &At<String>)> = None;
    let mut unsure = Vec::new();
    for (cell, number) in counting_numbers(layout) {
        match (evidence(number), sure) {
            (Evidence::Nothing, _) => {}
            (Evidence::Only(mark), Some((known, first))) if mark != known => {
                let at = faults.line_number(&first.place);
                let got = format!(
                    "{} has a decimal {mark}, and {} in line {at} a decimal {known}",
                    quoted(&cell.value),
                    quoted(&first.value)
                );
                let fault = Fault::new(got, "want one decimal mark in the whole file");
                let help = "correct the file; with --decimal point or --decimal comma the wrong one is shown";
                faults.add(&cell.place, fault.help(help));
                return None;
            }
            (Evidence::Only(mark), _) => sure = sure.or(Some((mark, cell))),
            (Evidence::Either(mark), _) => unsure.push((mark, cell, number)),
        }
    }
    let doubtful = unsure
        .into_iter()
        .find(|(mark, ..)| sure.is_none_or(|(known, _)| known != *mark));
    if let Some((_, cell, number)) = doubtful {
        let digits = number.replace([',', '.'], "");
        let point = number.replace(',', ".");
        let got = format!("{} can mean {point} or {digits}", quoted(number));
        let fault = Fault::new(got, "want a number with one meaning");
        let (mark, other) = if number.contains(',') {
            (DecimalMark::Comma, DecimalMark::Point)
        } else {
            (DecimalMark::Point, DecimalMark::Comma)
        };
        let help =
            format!("add --decimal {mark} if it is {point}, --decimal {other} if it is {digits}");
        faults.add(&cell.place, fault.help(help));
        return None;
    }
    Some(sure.map(|(mark, _)| mark))
}

/// The numbers of the columns that are used, with their cells.
fn counting_numbers(layout: &Layout) -> impl Iterator<Item = (&At<String>, &str)> {
    let (wire, _) = layout.wires();
    let counts = move |at: usize, heading: &Heading| {
        matches!(heading.target, Target::Axis(..)) || Some(at) == wire
    };
    let used: Vec<usize> = layout
        .meanings()
        .filter(|(at, _, heading)| counts(*at, heading))
        .map(|(at, ..)| at)
        .collect();
    layout.rows.iter().flat_map(move |row| {
        let cells: Vec<_> = used.iter().filter_map(|at| row.cells.get(*at)).collect();
        cells
            .into_iter()
            .flat_map(|cell| numbers(&cell.value).map(move |number| (cell, number)))
    })
}
