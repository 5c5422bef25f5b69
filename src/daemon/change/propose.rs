//! Makes the configuration as it would be with a change, and checks it as a whole.

use super::super::reload::{Fixed, cannot_follow, refuse};
use super::write::{digest, may_write};
use super::{NewText, Text};
use crate::config::edit::{self, EditError, List, Which};
use crate::config::import::{Encoding, decode, encode_like};
use crate::config::{self, Diagnostic, Faulty, Files, Source};
use crate::files::{self, Over, read_over};
use crate::message::setup::{
    AxisForm, ChangeMessage, ChangeRequest, DiffMessage, FaultMessage, ReadMessage, SetupEntry,
    SetupFile, SetupMessage, Verb,
};
use crate::message::{ErrorObject, code};
use crate::spec::{Catalog, Limits, Order, Purpose, SizingSystem, ToolClass, WireRequest, wire};
use serde_json::{Map, Value, json};
use similar::{Algorithm, DiffOp, capture_diff_slices};
use std::path::Path;

/// A change after its check.
#[derive(Debug)]
pub(super) struct Checked {
    pub(super) message: ChangeMessage,
    /// The files to write, in this order.
    pub(super) files: Vec<NewText>,
    /// The name of the changed entry.
    pub(super) name: String,
}

fn refused(message: impl Into<String>, remedy: &str) -> ErrorObject {
    ErrorObject::new(code::REFUSED, message, Some(remedy.to_owned()))
}

fn not_edited(error: &EditError) -> ErrorObject {
    refused(error.to_string(), error.remedy())
}

/// A path for people, relative to the folder of the main file.
pub(super) fn shown(main: &Path, path: &Path) -> String {
    let folder = main.parent().unwrap_or(Path::new(""));
    let short = path.strip_prefix(folder).unwrap_or(path);
    short.display().to_string()
}

/// All files of the configuration.
struct OnDisk {
    main: Source,
    files: Files,
}

impl OnDisk {
    fn read(main: &Path) -> Result<Self, ErrorObject> {
        let text = files::read(main).map_err(|cause| {
            refused(
                format!("cannot read {}: {cause}", main.display()),
                "put the file in place again, as the daemon's user can read it",
            )
        })?;
        let main = Source {
            path: main.to_path_buf(),
            text,
        };
        let over = Over::from([(main.path.clone(), main.text.clone())]);
        let (_, files) = read_over(&main.path, &over).map_err(|error| refuse(&error))?;
        Ok(Self { main, files })
    }

    fn holding(&self, list: List) -> &[Source] {
        match list {
            List::Terminal | List::Row => &self.files.sheets,
            List::Plan => &self.files.plans,
            List::Tool => &self.files.tools,
            List::Operator => std::slice::from_ref(&self.main),
            List::Job => &self.files.jobs,
        }
    }

    /// The file of a change; `None` if there is none of its kind yet.
    fn file(&self, change: &ChangeRequest) -> Result<Option<&Source>, ErrorObject> {
        let files = self.holding(change.list);
        let Some(wanted) = &change.file else {
            return match files {
                [] if change.verb == Verb::Add => Ok(None),
                _ => Err(refused(
                    "no file was named",
                    "name the file that is to change",
                )),
            };
        };
        let found = files
            .iter()
            .find(|source| shown(&self.main.path, &source.path) == *wanted);
        found.map(Some).ok_or_else(|| {
            let list = change.list.name();
            refused(
                format!("the configuration has no file {wanted:?} for a {list}"),
                "choose one of its files",
            )
        })
    }
}

/// The configuration for the page.
pub(super) fn listed(main: &Path, catalog: &Catalog) -> Result<SetupMessage, ErrorObject> {
    let disk = OnDisk::read(main)?;
    let mut all = vec![file(main, &disk.main, &[List::Operator])?];
    let groups: [(&[Source], &[List]); 4] = [
        (&disk.files.sheets, &[List::Terminal]),
        (&disk.files.plans, &[List::Plan]),
        (&disk.files.tools, &[List::Tool]),
        (&disk.files.jobs, &[List::Job]),
    ];
    for (sources, lists) in groups {
        for source in sources {
            all.push(file(main, source, lists)?);
        }
    }
    let axes = catalog.axes.iter().map(|axis| AxisForm {
        axis: axis.name.to_string(),
        dimension: match axis.dimension {
            crate::quantity::Dimension::Length => "length",
            crate::quantity::Dimension::Force => "force",
        },
    });
    Ok(SetupMessage {
        files: all,
        axes: axes.collect(),
        purposes: Purpose::ALL.map(Purpose::name).to_vec(),
        orders: Order::ALL.map(Order::name).to_vec(),
        classes: ToolClass::ALL.map(ToolClass::name).to_vec(),
        sizings: SizingSystem::ALL.map(SizingSystem::name).to_vec(),
    })
}

fn file(main: &Path, source: &Source, lists: &[List]) -> Result<SetupFile, ErrorObject> {
    let is_list_of_jobs = lists.contains(&List::Job);
    let mut entries = Vec::new();
    let mut fault = None;
    for list in lists {
        match edit::listed(&source.text, *list) {
            Ok(listed) => {
                let listed = listed.into_iter().enumerate();
                entries.extend(listed.map(|(at, entry)| SetupEntry {
                    list: list.name(),
                    at,
                    values: entry.values,
                    rows: entry.rows,
                }));
            }
            Err(error) => fault = Some(error.to_string()),
        }
    }
    Ok(SetupFile {
        file: shown(main, &source.path),
        digest: digest(&text_of(main, source, is_list_of_jobs)?.bytes),
        holds: lists.iter().map(|list| list.name()).collect(),
        entries,
        fault,
    })
}

/// The text of a file with its present bytes.
fn text_of(main: &Path, source: &Source, is_list_of_jobs: bool) -> Result<Text, ErrorObject> {
    if !is_list_of_jobs {
        return Ok(source.text.clone().into());
    }
    let name = shown(main, &source.path);
    let bytes = files::bytes(&source.path).map_err(|cause| {
        refused(
            format!("cannot read {name}: {cause}"),
            "put the file in place again, as the daemon's user can read it",
        )
    })?;
    let (words, encoding) = decode(&bytes);
    if words != source.text {
        return Err(meanwhile(&name));
    }
    if encode_like(&words, &bytes).as_ref() != Ok(&bytes) {
        return Err(refused(
            format!("{name} has bytes that are no text in {encoding}"),
            SAVE_AS_UTF_8,
        ));
    }
    Ok(Text { words, bytes })
}

/// The remedy for a list whose encoding does not have a character.
const SAVE_AS_UTF_8: &str =
    "save the list as CSV in UTF-8 in a spreadsheet, then repeat the change";

/// A new text in the encoding of the old one.
fn encoded(name: &str, new: String, old: &Text) -> Result<Text, ErrorObject> {
    match encode_like(&new, &old.bytes) {
        Ok(bytes) => Ok(Text { words: new, bytes }),
        Err(sign) => Err(refused(
            format!(
                "{name} is in {}, which has no {sign:?}",
                Encoding::Windows1252
            ),
            SAVE_AS_UTF_8,
        )),
    }
}

fn meanwhile(name: &str) -> ErrorObject {
    refused(
        format!("{name} was changed meanwhile"),
        "load the configuration again, then repeat the change",
    )
}

/// Checks the whole configuration with the change in it.
pub(super) fn check(
    main: &Path,
    change: &ChangeRequest,
    fixed: &Fixed,
) -> Result<Checked, ErrorObject> {
    let disk = OnDisk::read(main)?;
    let files = texts(&disk, change)?;
    for file in &files {
        may_write(main, file)?;
    }
    let over: Over = files
        .iter()
        .map(|file| (file.path.clone(), file.new.words.clone()))
        .collect();
    let edited = files.first();
    let which = which(&disk, change)?;
    let mut message = ChangeMessage {
        reads: reads(change),
        diff: files.iter().flat_map(diff).collect(),
        ..ChangeMessage::default()
    };
    let pointer = |fault: &Diagnostic| {
        let edited =
            edited.filter(|file| file.path == fault.path && change.verb != Verb::Remove)?;
        edit::pointer_at(&edited.new.words, which, fault.span.start)
    };
    let said = |fault: &Diagnostic| {
        let message = FaultMessage::new(fault, shown(main, &fault.path), pointer(fault));
        message.within(main.parent().unwrap_or(Path::new("")))
    };
    match assembled(main, &over)? {
        Ok(config) => {
            if let Some(error) = cannot_follow(&config, fixed) {
                return Err(error);
            }
            message.ok = true;
            let warnings = config.warnings.diagnostics.iter().map(said);
            message.warnings = warnings
                .filter(|warning| warning.pointer.is_some())
                .collect();
        }
        Err(faulty) => {
            message.faults = faulty.diagnostics.iter().map(said).collect();
            mark_old(&mut message.faults, main)?;
        }
    }
    Ok(Checked {
        message: message.with_texts(),
        files,
        name: name(&disk, change),
    })
}

fn assembled(main: &Path, over: &Over) -> Result<Result<config::Config, Faulty>, ErrorObject> {
    let (main_file, files) = read_over(main, over).map_err(|error| refuse(&error))?;
    Ok(config::assemble(main_file, &files))
}

/// Marks the faults that the configuration has without the change.
fn mark_old(faults: &mut [FaultMessage], main: &Path) -> Result<(), ErrorObject> {
    let Err(before) = assembled(main, &Over::new())? else {
        return Ok(());
    };
    for fault in faults.iter_mut().filter(|fault| fault.pointer.is_none()) {
        fault.before = before
            .diagnostics
            .iter()
            .any(|old| old.message == fault.message && shown(main, &old.path) == fault.file);
    }
    Ok(())
}

/// Every text that changes, the one with the entry first.
fn texts(disk: &OnDisk, change: &ChangeRequest) -> Result<Vec<NewText>, ErrorObject> {
    let main = &disk.main;
    let found = disk.file(change)?;
    let stands_in = found.unwrap_or(main);
    let name = shown(&main.path, &stands_in.path);
    let is_list_of_jobs = change.list == List::Job && found.is_some();
    let was = text_of(&main.path, stands_in, is_list_of_jobs)?;
    if digest(&was.bytes) != change.digest {
        return Err(meanwhile(&name));
    }
    let old = found.map_or("", |source| source.text.as_str());
    let new =
        edit::apply(old, change.which(), &change.change()).map_err(|error| not_edited(&error))?;
    let Some(source) = found else {
        return in_new_file(main, change.list, new);
    };
    Ok(vec![NewText {
        path: source.path.clone(),
        new: encoded(&name, new, &was)?,
        shown: name,
        old: Some(was),
    }])
}

/// The first file of its kind, and the main file that names it from now on.
fn in_new_file(main: &Source, list: List, text: String) -> Result<Vec<NewText>, ErrorObject> {
    let (key, name) = match list {
        List::Terminal | List::Row => ("sheets", "sheets.toml"),
        List::Plan => ("plans", "plans.toml"),
        List::Tool => ("tools", "tools.toml"),
        List::Job => ("jobs", "jobs.csv"),
        List::Operator => ("operator", "operators.toml"), // cannot happen: operators are in the main file
    };
    let path = main.path.with_file_name(name);
    if path.symlink_metadata().is_ok() {
        return Err(refused(
            format!("there is a file {name} already, and the configuration does not name it"),
            "look at it; then name it in [daemon], or move it away",
        ));
    }
    let mut values = Map::new();
    values.insert(key.to_owned(), json!([name]));
    let new_main = edit::set_in_table(&main.text, "daemon", &values);
    let new_main = new_main.map_err(|error| not_edited(&error))?;
    Ok(vec![
        NewText {
            path,
            shown: name.to_owned(),
            old: None,
            new: text.into(),
        },
        NewText {
            path: main.path.clone(),
            shown: shown(&main.path, &main.path),
            old: Some(main.text.clone().into()),
            new: new_main.into(),
        },
    ])
}

/// The index of the entry in the new text.
fn which(disk: &OnDisk, change: &ChangeRequest) -> Result<Which, ErrorObject> {
    let mut which = change.which();
    if change.verb != Verb::Add {
        return Ok(which);
    }
    let text = disk.file(change)?.map_or("", |source| source.text.as_str());
    let of = |list| edit::listed(text, list).map_err(|error| not_edited(&error));
    which.at = match change.list {
        List::Row => {
            let terminals = of(List::Terminal)?;
            let terminal = terminals.get(change.terminal);
            terminal.map_or(0, |terminal| terminal.rows.len())
        }
        list @ (List::Terminal | List::Plan | List::Tool | List::Operator | List::Job) => {
            of(list)?.len()
        }
    };
    Ok(which)
}

/// The name of the changed entry: the present one, or that of a new entry.
fn name(disk: &OnDisk, change: &ChangeRequest) -> String {
    let text = disk.file(change).ok().flatten();
    let text = text.map_or("", |source| source.text.as_str());
    let owner = if change.list == List::Row {
        List::Terminal
    } else {
        change.list
    };
    let entries = edit::listed(text, owner).unwrap_or_default();
    let text_of = |values: &Map<String, Value>, key: &str| {
        let text = values.get(key).and_then(Value::as_str);
        text.unwrap_or("?").to_owned()
    };
    let added = (change.verb == Verb::Add).then_some(&change.values);
    if change.list == List::Row {
        let terminal = entries.get(change.terminal);
        let id = terminal.map_or("?".to_owned(), |terminal| text_of(&terminal.values, "id"));
        let row = terminal.and_then(|terminal| terminal.rows.get(change.at));
        let wire = added
            .or(row)
            .map_or("?".to_owned(), |row| text_of(row, "wire"));
        return format!("{id} {wire}");
    }
    let old = entries.get(change.at).map(|entry| &entry.values);
    let values = added.or(old);
    values.map_or("?".to_owned(), |values| {
        text_of(values, change.list.name_key())
    })
}

/// The meaning of the values of a row, and of the wire of a plan.
fn reads(change: &ChangeRequest) -> Vec<ReadMessage> {
    let mut reads = Vec::new();
    let mut read = |pointer: String, values: &Map<String, Value>, is_row: bool| {
        let texts = values.iter();
        for (key, text) in texts.filter_map(|(key, value)| Some((key, value.as_str()?))) {
            let text = match key.as_str() {
                "wire" => in_both_sizes(text, values),
                _ if is_row => text.parse::<Limits>().ok().map(|limits| ends(&limits)),
                _ => None,
            };
            reads.extend(text.map(|text| ReadMessage {
                pointer: format!("{pointer}/{key}"),
                text,
            }));
        }
    };
    match change.list {
        List::Row => read(String::new(), &change.values, true),
        List::Plan => read(String::new(), &change.values, false),
        List::Terminal => {
            let rows = change.values.get("row").and_then(Value::as_array);
            for (number, row) in rows.into_iter().flatten().enumerate() {
                if let Some(row) = row.as_object() {
                    read(format!("/row/{number}"), row, true);
                }
            }
        }
        List::Tool | List::Operator | List::Job => {}
    }
    reads
}

fn in_both_sizes(text: &str, values: &Map<String, Value>) -> Option<String> {
    let sizing = values.get("sizing").and_then(Value::as_str);
    let request = WireRequest {
        text: text.to_owned(),
        sizing: sizing.and_then(SizingSystem::from_name),
    };
    let size = wire::resolve(&request).ok()?;
    let near = wire::nearest_awg(size.area).filter(|_| size.gauge.is_none());
    Some(match near {
        Some(gauge) => format!(
            "{size} ≈ AWG {} ({} mm²)",
            gauge.name,
            wire::three_digits(gauge.awg_area)
        ),
        None => size.to_string(),
    })
}

/// Both limits in full, so that a person can compare them with a sheet.
fn ends(limits: &Limits) -> String {
    match (limits.lower(), limits.upper()) {
        (Some(lower), Some(upper)) => format!("{lower} – {upper}"),
        (Some(lower), None) => format!("≥ {lower}"),
        (None, Some(upper)) => format!("≤ {upper}"),
        (None, None) => String::new(),
    }
}

/// The lines of a file that differ.
fn diff(file: &NewText) -> Vec<DiffMessage> {
    let old = file.old.as_ref().map_or("", |old| old.words.as_str());
    let old: Vec<&str> = old.lines().collect();
    let new: Vec<&str> = file.new.words.lines().collect();
    let line = |sign, lines: &[&str], at: usize| DiffMessage {
        file: file.shown.clone(),
        sign,
        line: at + 1,
        text: lines.get(at).copied().unwrap_or("").to_owned(),
    };
    let mut said = Vec::new();
    for change in capture_diff_slices(Algorithm::Myers, &old, &new) {
        let (before, after) = match change {
            DiffOp::Equal { .. } => continue,
            DiffOp::Delete { .. } | DiffOp::Insert { .. } | DiffOp::Replace { .. } => {
                (change.old_range(), change.new_range())
            }
        };
        said.extend(before.map(|at| line("-", &old, at)));
        said.extend(after.map(|at| line("+", &new, at)));
    }
    said
}
