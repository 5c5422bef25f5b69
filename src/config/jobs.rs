//! The shop's list of jobs: a table of cells, as a spreadsheet saves it.
//!
//! In: the text of the file. Out: its jobs, and every fault with its cell.
//!
//! - Columns may have any order; unknown ones are ignored. The separator is the one by which the first row
//!   has the most known headings.

use super::diagnostic::Source;
use super::faults::{At, Fault, Faults, FileId, Place, Role, quoted};
use super::import::grid::{GridRow, PlainRow, Separator, plain_rows, rows};
use super::plan::RawPlan;
use crate::quantity::{did_you_mean, nearest};
use crate::spec::job::{LONGEST_WORDS, job_id, words};
use crate::spec::{Job, KnownJob};

/// A job of a list.
#[derive(Debug)]
pub(super) struct RawJob {
    pub(super) job: KnownJob,
    place: Place,
    plans: Vec<At<String>>,
}

/// The known headings.
pub(super) const HEADINGS: [&str; 5] = ["job", "customer", "item", "reference", "plans"];

/// For each heading its column, from 0.
struct Columns([Option<usize>; HEADINGS.len()]);

pub(super) fn read(source: &Source, faults: &mut Faults) -> Vec<RawJob> {
    let file = faults.add_file(Role::Jobs, source);
    let mut rows = rows(&source.text, file, separator(&source.text)).into_iter();
    let Some(head) = rows.next() else {
        let fault = Fault::new(
            "no row at all",
            format!("want a row of headings: {}", HEADINGS.join(", ")),
        );
        faults.add(&file.place(0..0), fault);
        return Vec::new();
    };
    let Some(columns) = columns(&head, file, faults) else {
        return Vec::new();
    };
    rows.filter_map(|row| job(&row, &head, &columns, faults))
        .collect()
}

/// The heading in a cell.
fn heading(cell: &str) -> Option<usize> {
    let cell = cell.to_lowercase();
    HEADINGS.iter().position(|known| *known == cell)
}

/// The separator by which the first row has the most known headings.
fn separator(text: &str) -> Separator {
    let known = |separator: &Separator| {
        let rows = plain_rows(text, *separator);
        let head = rows.first().into_iter().flat_map(|row| &row.cells);
        head.filter(|(cell, _)| heading(cell).is_some()).count()
    };
    let best = Separator::ALL.into_iter().max_by_key(known);
    best.unwrap_or(Separator::Comma)
}

/// Whether a character stands between two plans of a cell.
pub(super) fn is_plan_separator(sign: char) -> bool {
    matches!(sign, ',' | ';' | ' ' | '|' | '\n')
}

/// The rows of a list with their byte ranges, for editing.
pub(super) struct JobList {
    pub(super) separator: Separator,
    /// The headings; `None` if the file has no row.
    pub(super) head: Option<Vec<String>>,
    /// The rows below them.
    pub(super) rows: Vec<PlainRow>,
}

impl JobList {
    pub(super) fn of(text: &str) -> Self {
        let separator = separator(text);
        let mut rows = plain_rows(text, separator).into_iter();
        let head = rows.next().map(|head| {
            let cells = head.cells.into_iter();
            cells.map(|(cell, _)| cell).collect()
        });
        Self {
            separator,
            head,
            rows: rows.collect(),
        }
    }

    /// The column of a known heading, from 0.
    pub(super) fn column(&self, wanted: &str) -> Option<usize> {
        let known = HEADINGS.iter().position(|known| *known == wanted)?;
        let mut head = self.head.iter().flatten();
        head.position(|cell| heading(cell) == Some(known))
    }

    /// The text of a cell; `None` where the row has none.
    pub(super) fn cell(&self, row: usize, wanted: &str) -> Option<&str> {
        let cell = self.rows.get(row)?.cells.get(self.column(wanted)?);
        cell.map(|(text, _)| text.as_str())
    }
}

/// The line end that a text uses.
pub(super) fn end_of_line(text: &str) -> &'static str {
    if text.contains("\r\n") {
        "\r\n"
    } else if text.contains('\r') && !text.contains('\n') {
        "\r"
    } else {
        "\n"
    }
}

fn columns(head: &GridRow, file: FileId, faults: &mut Faults) -> Option<Columns> {
    let mut columns = Columns([None; HEADINGS.len()]);
    for (at, cell) in head.cells.iter().enumerate() {
        let Some(known) = heading(&cell.value) else {
            let small = cell.value.to_lowercase();
            if let Some(near) = nearest(&small, HEADINGS) {
                let got = format!("column {} is not used", quoted(&cell.value));
                let fault = Fault::new(got, format!("want {}", HEADINGS.join(", ")));
                faults.warn(&cell.place, fault.help(format!("did you mean {near}?")));
            }
            continue;
        };
        let Some(column) = columns.0.get_mut(known) else {
            continue;
        };
        if column.is_some() {
            let got = format!("a second column {}", quoted(&cell.value));
            faults.add(&cell.place, Fault::new(got, "want each heading once"));
            continue;
        }
        *column = Some(at);
    }
    if columns.0.first().copied().flatten().is_none() {
        let place = head
            .cells
            .first()
            .map_or_else(|| file.place(0..0), |cell| cell.place.clone());
        let fault = Fault::new(
            "no column \"job\"",
            "want it in the first row, among the headings",
        );
        let help = "save the list with a first row such as job;customer;item;reference;plans";
        faults.add(&place, fault.help(help));
        return None;
    }
    Some(columns)
}

fn job(row: &GridRow, head: &GridRow, columns: &Columns, faults: &mut Faults) -> Option<RawJob> {
    let [id, customer, item, reference, plans] = columns.0.map(|at| row.cells.get(at?));
    let first = row.cells.first()?;
    if let Some(more) = row
        .cells
        .get(head.cells.len())
        .filter(|cell| !cell.value.is_empty())
    {
        let got = format!(
            "{} cells in a row under {} headings",
            row.cells.len(),
            head.cells.len()
        );
        let fault = Fault::new(got, "want at most one for each heading");
        faults.add(
            &more.place,
            fault.help("put a text with the separator in it between quotes"),
        );
    }
    let mut about = |cell: Option<&At<String>>, what: &str| {
        let cell = cell.filter(|cell| !cell.value.is_empty())?;
        match words(&cell.value, LONGEST_WORDS) {
            Ok(words) => Some(words),
            Err(why) => {
                let got = format!("{what} is {}", quoted(&cell.value));
                faults.add(&cell.place, Fault::new(got, why.to_string()));
                None
            }
        }
    };
    let (customer, item, reference) = (
        about(customer, "customer"),
        about(item, "item"),
        about(reference, "reference"),
    );
    let cell = id.unwrap_or(first);
    let id = match job_id(id.map_or("", |cell| &cell.value)) {
        Ok(id) => id,
        Err(why) => {
            let got = format!("job is {}", quoted(id.map_or("", |cell| &cell.value)));
            faults.add(&cell.place, Fault::new(got, why.to_string()));
            return None;
        }
    };
    let plans = plans.into_iter().flat_map(|cell| {
        let names = cell.value.split(is_plan_separator);
        let names = names.map(str::trim).filter(|name| !name.is_empty());
        names.map(|name| At {
            value: name.to_owned(),
            place: cell.place.clone(),
        })
    });
    let plans: Vec<At<String>> = plans.collect();
    Some(RawJob {
        job: KnownJob {
            job: Job {
                id,
                customer,
                item,
                serial: None,
                reference,
            },
            plans: plans.iter().map(|plan| plan.value.clone()).collect(),
        },
        place: cell.place.clone(),
        plans,
    })
}

/// Reports jobs that occur twice, and plans that do not exist.
pub(super) fn references(jobs: &[RawJob], plans: &[RawPlan], faults: &mut Faults) {
    let mut seen: std::collections::BTreeMap<&str, &Place> = std::collections::BTreeMap::new();
    for raw in jobs {
        match seen.get(raw.job.job.id.as_str()) {
            Some(first) => {
                let got = format!("job {} appears twice", quoted(&raw.job.job.id));
                let fault = Fault::new(got, "want each job once");
                let first = faults.line_of(first);
                faults.add(&raw.place, fault.help(format!("the first is at {first}")));
            }
            None => {
                seen.insert(&raw.job.job.id, &raw.place);
            }
        }
    }
    if faults.is_incomplete(Role::Plans) {
        return;
    }
    let known: Vec<&str> = plans.iter().map(|plan| plan.id.value.as_str()).collect();
    for plan in jobs.iter().flat_map(|raw| &raw.plans) {
        if !known.contains(&plan.value.as_str()) {
            let got = format!("no plan {}", quoted(&plan.value));
            let fault = Fault::new(got, "want the ids of plans, with a blank between two");
            faults.add(&plan.place, fault.help(did_you_mean(&plan.value, &known)));
        }
    }
}
