//! The three files of a new configuration: those of `config/start`, with the answers instead of the example.
//!
//! In: answers. Out: texts, checked by the code that will read them, and the written files. No file is replaced. The
//! main file is written last, because a configuration exists only with it.

use super::toml_text;
use crate::cli::Failure;
use crate::config::{self, Faulty, Files, Source};
use crate::durable::{Access, WholeFile, make_folder};
use std::io::{ErrorKind, Write as _};
use std::path::{Path, PathBuf};

const MAIN: &str = include_str!("../../../../config/start/tallyjaw.toml");
const SHEETS: &str = include_str!("../../../../config/start/sheets.toml");
const PLANS: &str = include_str!("../../../../config/start/plans.toml");

/// Id of the plan in `config/start`.
const EXAMPLE_PLAN: &str = "pump-own";
/// Beginning of the comment that marks the row of `config/start` as invented.
const EXAMPLE_COMMENT: &str = "# This row is an invented example";

/// Names of the files, with the main one last.
pub(super) const NAMES: [&str; 3] = ["sheets.toml", "plans.toml", "tallyjaw.toml"];

/// Everything that a new configuration contains.
#[derive(Debug, Clone)]
pub(super) struct Answers {
    pub(super) station: String,
    /// A row of a sheet; `None` keeps the invented example.
    pub(super) row: Option<Row>,
    pub(super) plan: String,
    pub(super) pieces: String,
    /// The `[[instrument]]` block of the caliper that was found.
    pub(super) instrument: Option<String>,
}

/// A row of a maker's sheet, as typed.
#[derive(Debug, Clone, Default)]
pub(super) struct Row {
    pub(super) terminal: String,
    pub(super) source: String,
    pub(super) wire: String,
    pub(super) sizing: Option<String>,
    pub(super) height: String,
    pub(super) width: Option<String>,
}

impl Answers {
    /// The answers if nothing else is given.
    pub(super) fn example() -> Self {
        Self {
            station: "bench-1".to_owned(),
            row: None,
            plan: EXAMPLE_PLAN.to_owned(),
            pieces: "5".to_owned(),
            instrument: None,
        }
    }

    /// The files for `folder`, in the order of [`NAMES`].
    pub(super) fn sources(&self, folder: &Path) -> [Source; 3] {
        let [sheets, plans, main] = NAMES;
        let source = |name: &str, text: String| Source {
            path: folder.join(name),
            text,
        };
        [
            source(sheets, self.sheets()),
            source(plans, self.plans()),
            source(main, self.main()),
        ]
    }

    /// Checks the files.
    pub(super) fn check(&self, folder: &Path) -> Result<(), Faulty> {
        let [sheets, plans, main] = self.sources(folder);
        let files = Files {
            sheets: vec![sheets],
            plans: vec![plans],
            tools: Vec::new(),
            jobs: Vec::new(),
        };
        config::assemble(config::main_file(&main), &files).map(drop)
    }

    /// The first error, for the person who has just typed an answer.
    pub(super) fn fault(&self) -> Option<String> {
        let faulty = self.check(Path::new("")).err()?;
        let fault = faulty.diagnostics.first()?;
        let help = fault.help.as_ref();
        let help = help.map_or_else(String::new, |help| format!("\n  help: {help}"));
        Some(format!("{}; {}{help}", fault.message, fault.label))
    }

    fn sheets(&self) -> String {
        let Some(row) = &self.row else {
            return SHEETS.to_owned();
        };
        let text = without(SHEETS, EXAMPLE_COMMENT);
        let text = with(&text, "id", &toml_text(&row.terminal));
        let text = with(&text, "source", &toml_text(&row.source));
        let text = with(&text, "wire", &row.size());
        let text = with(&text, "core_crimp_height", &toml_text(&row.height));
        match &row.width {
            Some(width) => with(&text, "core_crimp_width", &toml_text(width)),
            None => without(&text, "core_crimp_width ="),
        }
    }

    fn plans(&self) -> String {
        let text = PLANS.replace(
            &format!("arm {EXAMPLE_PLAN}`"),
            &format!("arm {}`", self.plan),
        );
        let text = with(&text, "id", &toml_text(&self.plan));
        let pieces = match self.pieces.parse::<u32>() {
            Ok(number) => number.to_string(),
            Err(_) => toml_text(&self.pieces), // The checker will report what is wrong with it.
        };
        let text = with(&text, "pieces", &pieces);
        let Some(row) = &self.row else {
            return text;
        };
        let text = with(&text, "terminal", &toml_text(&row.terminal));
        let text = with(&without(&text, "sizing ="), "wire", &row.size());
        if row.width.is_some() {
            return text;
        }
        with(
            &without(&text, "# All heights"),
            "axes",
            "[\"core_crimp_height\"]",
        )
    }

    fn main(&self) -> String {
        let text = with(MAIN, "name", &toml_text(&self.station));
        match &self.instrument {
            Some(block) => format!("{text}\n{block}"),
            None => text,
        }
    }
}

impl Row {
    /// The value of `wire`, and the line of its `sizing`.
    fn size(&self) -> String {
        let wire = toml_text(&self.wire);
        match &self.sizing {
            Some(sizing) => format!("{wire}\nsizing = {}", toml_text(sizing)),
            None => wire,
        }
    }
}

/// Replaces the value of this key.
fn with(text: &str, key: &str, value: &str) -> String {
    let is_key = |line: &str| {
        let rest = line.strip_prefix(key);
        rest.is_some_and(|rest| rest.starts_with(" ="))
    };
    lines(text, |line| {
        Some(if is_key(line) {
            format!("{key} = {value}\n")
        } else {
            line.to_owned()
        })
    })
}

/// Removes the lines with this beginning.
fn without(text: &str, start: &str) -> String {
    lines(text, |line| {
        (!line.starts_with(start)).then(|| line.to_owned())
    })
}

fn lines(text: &str, becomes: impl Fn(&str) -> Option<String>) -> String {
    text.split_inclusive('\n').filter_map(becomes).collect()
}

/// The files of [`NAMES`] that exist in `folder`.
pub(super) fn in_the_way(folder: &Path) -> Vec<PathBuf> {
    let paths = NAMES.iter().map(|name| folder.join(name));
    paths
        .filter(|path| path.symlink_metadata().is_ok())
        .collect()
}

/// Writes all files, or none.
pub(super) fn write(folder: &Path, sources: &[Source]) -> Result<(), Failure> {
    make_folder(folder, 0o777).map_err(|error| {
        Failure::io(format!("the folder {} cannot be made", folder.display()))
            .because(&error)
            .with_remedy("name a folder that this user may write to: tallyjaw init DIR")
    })?;
    // Every file is on disk before the first gets its name.
    let mut whole = Vec::new();
    for source in sources {
        let failed = |error| failed(&source.path, &error);
        let mut file = WholeFile::create(&source.path, false, Access::Usual).map_err(failed)?;
        file.write_all(source.text.as_bytes()).map_err(failed)?;
        whole.push((&source.path, file));
    }
    for (path, file) in whole {
        file.commit().map_err(|error| failed(path, &error))?;
    }
    Ok(())
}

fn failed(path: &Path, error: &std::io::Error) -> Failure {
    let failure = Failure::io(format!("{} cannot be written", path.display())).because(error);
    if error.kind() == ErrorKind::AlreadyExists {
        return failure.with_remedy("another program has just made it; look what is in it");
    }
    failure.with_remedy("name a folder that this user may write to: tallyjaw init DIR")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_example_is_what_stands_in_config_start() {
        let sources = Answers::example().sources(Path::new("bench"));
        let texts = sources.map(|source| source.text);
        assert_eq!(texts, [SHEETS, PLANS, MAIN]);
        assert!(SHEETS.contains("never to be used for work"));
        assert!(SHEETS.contains("source = \"invented example"));
    }

    #[test]
    fn every_answer_stands_where_the_example_stood_and_passes_the_checker() {
        let answers = Answers {
            station: "bench-7".to_owned(),
            row: Some(Row {
                terminal: "KX-1".to_owned(),
                source: "sheet 12".to_owned(),
                wire: "16 ga".to_owned(),
                sizing: Some("sae_metric".to_owned()),
                height: "1.10 ±0.05 mm".to_owned(),
                width: Some("1.90 ±0.10 mm".to_owned()),
            }),
            plan: "door".to_owned(),
            pieces: "7".to_owned(),
            instrument: None,
        };
        answers.check(Path::new("")).unwrap();
        let [sheets, plans, main] = answers.sources(Path::new("")).map(|source| source.text);
        for value in [
            "KX-1",
            "sheet 12",
            "16 ga",
            "sae_metric",
            "1.10 ±0.05",
            "1.90 ±0.10",
        ] {
            assert!(sheets.contains(value), "no {value} in {sheets}");
        }
        for value in ["arm door`", "\"door\"", "KX-1", "16 ga", "pieces = 7"] {
            assert!(plans.contains(value), "no {value} in {plans}");
        }
        assert!(main.contains("name = \"bench-7\""));
        let all = [sheets, plans, main].concat();
        for rest in ["invented", "QF-250-F", EXAMPLE_PLAN, "14 ga\"", "1.62"] {
            assert!(!all.contains(rest), "{rest} is left in {all}");
        }
    }

    #[test]
    fn a_row_without_a_width_asks_for_none() {
        let mut answers = Answers::example();
        answers.row = Some(Row {
            terminal: "KX-1".to_owned(),
            source: "sheet 12".to_owned(),
            wire: "0.5 mm²".to_owned(),
            height: "0.95 ±0.05 mm".to_owned(),
            ..Row::default()
        });
        answers.check(Path::new("")).unwrap();
        let [sheets, plans, _] = answers.sources(Path::new("")).map(|source| source.text);
        assert!(![sheets, plans].concat().contains("width"));
    }

    #[test]
    fn what_is_wrong_with_an_answer_is_what_the_checker_says() {
        let mut answers = Answers::example();
        answers.pieces = "many".to_owned();
        let fault = answers.fault().unwrap();
        assert!(fault.contains("pieces"), "{fault}");
    }
}
