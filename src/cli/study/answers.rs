//! Reads answers of visual checks from the journal, or of any kind from a file.

use super::agreement::Agreement;
use super::cells::{Cells, Columns};
use super::file;
use super::select::has_room;
use crate::cli::query::{self, Rest, Search};
use crate::cli::{Context, Failure, configured};
use crate::entry::glance::Glance;
use crate::entry::ledger::Series;
use crate::stats::agreement::Answers;
use std::path::Path;

/// The title of the answers, and the answers.
pub(super) fn read(of: &Agreement, context: &Context) -> Result<(String, Answers), Failure> {
    match (&of.from, &of.column) {
        (Some(path), Some(column)) => of_file(of, path, column),
        (None, _) | (_, None) => of_journal(of, context),
    }
}

fn of_file(of: &Agreement, path: &Path, column: &str) -> Result<(String, Answers), Failure> {
    let shown = path.display().to_string();
    let mut source = file::open(path)?;
    let part = of.part.as_deref().unwrap_or("part");
    let appraiser = of.appraiser.as_deref().unwrap_or("appraiser");
    let keys: Vec<&str> = [part, appraiser]
        .into_iter()
        .chain(of.reference.as_deref())
        .collect();
    let columns = Columns::find(&mut source, &shown, column, &keys)?;
    let mut cells = Cells::new(&mut source, &columns, &shown)?;
    let mut answers = Answers::default();
    let mut count = 0;
    while let Some(line) = cells.next()? {
        let [item, appraiser, ..] = &line.keys[..] else {
            continue;
        };
        if line.value.is_empty() {
            continue;
        }
        has_room(count, "answers")?;
        count += 1;
        answers.push(item, appraiser, &line.value);
        let differs = line.keys.get(2).and_then(|truth| {
            let known = answers.refer(item, truth)?;
            Some((truth, known))
        });
        if let Some((truth, known)) = differs {
            return Err(Failure::usage(format!(
                "{shown}:{}: the reference of item {item} is {truth:?}, and {known:?} in a line before",
                line.number
            ))
            .with_remedy("give each item one right answer"));
        }
    }
    if answers.is_empty() {
        return Err(Failure::usage(format!(
            "{shown} has no answers in column {column:?}"
        )));
    }
    Ok((format!("{column} of {shown}"), answers))
}

/// The answers of the series so far.
#[derive(Default)]
struct OfSeries {
    answers: Answers,
    count: usize,
    ids: Vec<String>,
}

impl query::Take for OfSeries {
    type Kept = ();

    fn keep(&mut self, _: &Series<()>, _: &Glance<'_>, _: Rest<'_>) -> Result<Option<()>, Failure> {
        Ok(Some(()))
    }

    fn tell(&mut self, series: Series<()>) -> Result<(), Failure> {
        let operators = series.operators();
        let mut has = false;
        for (piece, _, look, answer) in series.counted_looks() {
            let [operator] = operators[..] else {
                return Err(Failure::usage(format!(
                    "series {} has the answers of {} operators, and does not say whose each is",
                    series.id,
                    operators.len()
                ))
                .with_remedy("choose series with one operator each"));
            };
            let item = match piece {
                Some(piece) => format!("{}, piece {piece}", look.question),
                None => look.question.clone(),
            };
            if let Some(piece) = piece {
                self.answers.of_piece(&item, &piece.to_string());
            }
            has_room(self.count, "answers")?;
            self.count += 1;
            self.answers.push(&item, operator, answer.name());
            has = true;
        }
        if has {
            self.ids.push(series.id.to_string());
        }
        Ok(())
    }
}

fn of_journal(of: &Agreement, context: &Context) -> Result<(String, Answers), Failure> {
    let daemon = configured::daemon_of(context)?;
    let mut taken = OfSeries::default();
    Search::run(&daemon, of.query.filter()?, &mut taken)?;
    if taken.answers.is_empty() {
        return Err(Failure::usage(
            "no answered visual check in the journal matches these options",
        )
        .with_remedy("name the series that each person answered: tallyjaw study agreement 41 42"));
    }
    let title = match taken.ids.len() {
        1..=4 => format!("visual checks of series {}", taken.ids.join(", ")),
        many => format!("visual checks of {many} series"),
    };
    Ok((title, taken.answers))
}
