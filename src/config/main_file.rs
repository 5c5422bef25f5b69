//! Reads the main file: daemon, stations, instruments, axes, and the names of the other files.

use super::diagnostic::Source;
use super::faults::{At, Fault, Faults, Role, quoted};
use super::instrument::{self, RawInstrument};
use super::production_run::{self, RawRun};
use super::sink::{self, SinkConfig};
use super::study::{self, RawStudy};
use super::table::Table;
use super::uncertainty::{self, RawBudgets};
use super::value::{percent, unique};
use super::{DaemonConfig, FilePattern, OpcuaConfig, PageConfig, PictureFolder, ShopConfig};
use super::{announce, opcua, page, parse, qualification, shop};
use crate::letterhead::Letterhead;
use crate::quantity::{Dimension, Zone, nearest};
use crate::spec::axis::{AXES, PLAUSIBLE_PERCENT};
use crate::spec::{Axis, AxisName, QualificationRule};
use std::path::{Component, Path, PathBuf};
use std::sync::Arc;

/// The main file after reading. The files that it names are not read yet.
#[derive(Debug)]
pub struct MainFile {
    pub(super) faults: Faults,
    pub(super) text: String,
    pub(super) daemon: DaemonConfig,
    pub(super) page: Option<PageConfig>,
    pub(super) opcua: Option<OpcuaConfig>,
    pub(super) shop: ShopConfig,
    zone: Option<At<String>>,
    logo: Option<At<PathBuf>>,
    pub(super) sinks: Vec<SinkConfig>,
    pub(super) stations: Vec<At<String>>,
    pub(super) pictures: Vec<PictureFolder>,
    pub(super) operators: Vec<String>,
    pub(super) instruments: Vec<RawInstrument>,
    pub(super) axes: Vec<Axis>,
    pub(super) budgets: RawBudgets,
    pub(super) runs: Vec<RawRun>,
    pub(super) studies: Vec<RawStudy>,
    pub(super) qualification: Option<QualificationRule>,
    sheets: Vec<FilePattern>,
    plans: Vec<FilePattern>,
    tools: Vec<FilePattern>,
    jobs: Vec<FilePattern>,
}

impl MainFile {
    /// The files that hold sheets.
    pub fn sheets(&self) -> &[FilePattern] {
        &self.sheets
    }

    /// The files that hold plans.
    pub fn plans(&self) -> &[FilePattern] {
        &self.plans
    }

    /// The files that hold tools.
    pub fn tools(&self) -> &[FilePattern] {
        &self.tools
    }

    /// The name of the time zone for times that people read. The caller looks it up.
    pub fn time_zone(&self) -> Option<&str> {
        Some(self.zone.as_ref()?.value.as_str())
    }

    /// Sets the result of that: the zone, or the known names.
    pub fn found_zone(&mut self, found: Result<Zone, Vec<String>>) {
        let Some(zone) = &self.zone else { return };
        match found {
            Ok(found) => self.shop.zone = Some(found),
            Err(known) => {
                let got = format!("time_zone is {}", super::faults::quoted(&zone.value));
                let known: Vec<&str> = known.iter().map(String::as_str).collect();
                let near = nearest(&zone.value, known.iter().copied());
                let help = near.map(|near| format!("did you mean {near}?"));
                let fault = Fault::new(
                    got,
                    "want a name of the IANA time zones, such as \"Europe/Vienna\"",
                );
                self.faults.add(&zone.place, fault.help_of(help));
            }
        }
    }

    /// The file of the shop's logo. The caller reads it.
    pub fn logo(&self) -> Option<&Path> {
        Some(self.logo.as_ref()?.value.as_path())
    }

    /// Sets the content of that file, or why it could not be read.
    pub fn found_logo(&mut self, bytes: Result<Vec<u8>, String>) {
        let Some(file) = &self.logo else { return };
        let logo = shop::logo(file, bytes, &mut self.faults);
        Arc::make_mut(&mut self.shop.letterhead).logo = logo;
    }

    /// The files that hold lists of jobs.
    pub fn jobs(&self) -> &[FilePattern] {
        &self.jobs
    }

    /// Adds a fault that the caller found with the files that `pattern` names.
    pub fn report(&mut self, pattern: &FilePattern, got: &str, want: &str, help: Option<String>) {
        self.faults
            .add(&pattern.place, Fault::new(got, want).help_of(help));
    }
}

impl MainFile {
    /// The settings of the daemon, even if other parts have faults.
    pub fn daemon(&self) -> &DaemonConfig {
        &self.daemon
    }

    /// The letterhead, even if other parts have faults.
    pub fn letterhead(&self) -> &Arc<Letterhead> {
        &self.shop.letterhead
    }
}

/// Reads the main file. [`super::assemble`] reports its faults together with those of all other files.
pub fn main_file(source: &Source) -> MainFile {
    let mut faults = Faults::default();
    let file = faults.add_file(Role::Main, source);
    let parsed = parse::parse(source, file, &mut faults);
    let mut root = Table::root(&parsed, file);
    let base = source.path.parent().unwrap_or(Path::new(""));
    let faults_ref = &mut faults;
    let daemon = Daemon::read(&mut root, faults_ref, base);
    let page = page::read(&mut root, faults_ref);
    let opcua = opcua::read(&mut root, faults_ref);
    let shop = shop::read(&mut root, faults_ref, base);
    let (stations, folders) = stations(&mut root, faults_ref, base);
    let pictures = picture_folders(folders, &daemon.config.state_dir, faults_ref);
    let operators = operators(&mut root, faults_ref);
    let instruments: Vec<_> = root
        .tables(faults_ref, "instrument", "[[instrument]]")
        .into_iter()
        .map(|table| instrument::read(table, faults_ref))
        .collect();
    let budgets = uncertainty::read(&mut root, &instruments, faults_ref);
    let axes = axes(&mut root, faults_ref);
    let runs = production_run::read(&mut root, faults_ref);
    let studies = study::read(&mut root, faults_ref);
    let qualification = qualification::read(&mut root, faults_ref);
    let sinks = sink::read(&mut root, faults_ref, base);
    root.finish(faults_ref);
    MainFile {
        faults,
        text: source.text.clone(),
        daemon: daemon.config,
        page,
        opcua,
        shop: shop.config,
        zone: shop.zone,
        logo: shop.logo,
        sinks,
        stations,
        pictures,
        operators,
        instruments,
        axes,
        budgets,
        runs,
        studies,
        qualification,
        sheets: daemon.sheets,
        plans: daemon.plans,
        tools: daemon.tools,
        jobs: daemon.jobs,
    }
}

struct Daemon {
    config: DaemonConfig,
    sheets: Vec<FilePattern>,
    plans: Vec<FilePattern>,
    tools: Vec<FilePattern>,
    jobs: Vec<FilePattern>,
}

impl Daemon {
    fn read(root: &mut Table<'_>, faults: &mut Faults, base: &Path) -> Self {
        let mut daemon = Self {
            config: DaemonConfig {
                state_dir: base.join("state"),
                runtime_dir: base.join("run"),
                socket_mode: 0o600,
                socket_group: None,
                announce: Vec::new(),
            },
            sheets: Vec::new(),
            plans: Vec::new(),
            tools: Vec::new(),
            jobs: Vec::new(),
        };
        let Some(mut table) = root.table(faults, "daemon", "[daemon]") else {
            return daemon;
        };
        let folder = |text: At<String>| base.join(text.value);
        if let Some(path) = table.text(faults, "state_dir").map(folder) {
            daemon.config.state_dir = path;
        }
        if let Some(path) = table.text(faults, "runtime_dir").map(folder) {
            daemon.config.runtime_dir = path;
        }
        daemon.sheets = patterns(&mut table, faults, "sheets", base);
        daemon.plans = patterns(&mut table, faults, "plans", base);
        daemon.tools = patterns(&mut table, faults, "tools", base);
        daemon.jobs = patterns(&mut table, faults, "jobs", base);
        if let Some(mode) = socket_mode(&mut table, faults) {
            daemon.config.socket_mode = mode;
        }
        daemon.config.socket_group = table.name(faults, "socket_group").map(|name| name.value);
        daemon.config.announce = announce::read(&mut table, faults);
        table.finish(faults);
        daemon
    }
}

fn patterns(
    table: &mut Table<'_>,
    faults: &mut Faults,
    key: &'static str,
    base: &Path,
) -> Vec<FilePattern> {
    table
        .texts(faults, key)
        .into_iter()
        .map(|text| FilePattern {
            base: base.to_path_buf(),
            pattern: PathBuf::from(text.value),
            place: text.place,
        })
        .collect()
}

/// Reads `"0660"` or `0o660`. A decimal 660 is a different number, and never what the user wants.
fn socket_mode(table: &mut Table<'_>, faults: &mut Faults) -> Option<u32> {
    let mode = table.octal(faults, "socket_mode")?;
    let (digits, radix) = &mode.value;
    let number = u32::from_str_radix(digits, 8).ok().filter(|mode| {
        let owner_can_use = mode & 0o600 == 0o600;
        *radix == 8 && *mode <= 0o777 && owner_can_use
    });
    if number.is_none() {
        let fault = Fault::new(
            format!("socket_mode is {digits}"),
            "want an octal mode with reading and writing for the owner, such as \"0660\"",
        );
        faults.add(&mode.place, fault);
    }
    number
}

/// The names of the stations, and the folders of pictures as they are written.
fn stations(
    root: &mut Table<'_>,
    faults: &mut Faults,
    base: &Path,
) -> (Vec<At<String>>, Vec<At<PictureFolder>>) {
    if !root.has("station") {
        root.missing(
            faults,
            "[[station]]",
            "at least one, with name = \"bench-1\"",
        );
    }
    let mut names = Vec::new();
    let mut folders = Vec::new();
    for mut table in root.tables(faults, "station", "[[station]]") {
        let name = table.required_name(faults, "name", "\"bench-1\"");
        let folder = table.text(faults, "pictures");
        if let Some((name, folder)) = name.as_ref().zip(folder) {
            let value = PictureFolder {
                station: name.value.clone(),
                folder: plain(&base.join(folder.value)),
            };
            let place = folder.place;
            folders.push(At { value, place });
        }
        names.extend(name);
        table.finish(faults);
    }
    let names = unique(faults, "station", names, |name| &name.value);
    (names, folders)
}

/// The path without `.` components.
fn plain(path: &Path) -> PathBuf {
    let parts = path.components();
    parts.filter(|part| *part != Component::CurDir).collect()
}

/// Checks that no folder is used for two stations, and that none is in the daemon's own folder, whose files would be
/// taken in again.
fn picture_folders(
    folders: Vec<At<PictureFolder>>,
    state_dir: &Path,
    faults: &mut Faults,
) -> Vec<PictureFolder> {
    let mut known: Vec<PictureFolder> = Vec::new();
    for At { value, place } in folders {
        let shown = quoted(&value.folder.display().to_string());
        let same = known.iter().find(|one| one.folder == value.folder);
        if let Some(same) = same {
            let got = format!("pictures is {shown}, as at {}", same.station);
            let fault = Fault::new(got, "want a folder of its own for each station");
            faults.add(&place, fault);
        } else if value.folder.starts_with(plain(state_dir)) {
            let got = format!("pictures is {shown}, within state_dir");
            let want = "want a folder in which the camera's program alone writes";
            faults.add(&place, Fault::new(got, want));
        } else {
            known.push(value);
        }
    }
    known
}

/// The operators to choose from. A name may be any text that can be seen.
fn operators(root: &mut Table<'_>, faults: &mut Faults) -> Vec<String> {
    let mut names = Vec::new();
    for mut table in root.tables(faults, "operator", "[[operator]]") {
        let name = table.required_text(faults, "name", "\"mara\"");
        table.finish(faults);
        names.extend(name.and_then(|name| operator(name, faults)));
    }
    let names = unique(faults, "operator", names, |name| &name.value);
    names.into_iter().map(|name| name.value).collect()
}

fn operator(name: At<String>, faults: &mut Faults) -> Option<At<String>> {
    let count = name.value.chars().count();
    let got = if count > LONGEST_OPERATOR {
        format!("name has {count} characters")
    } else if name.value.trim() != name.value {
        format!("name is {}, with blanks around it", quoted(&name.value))
    } else {
        return Some(name);
    };
    let want = format!("want a name or initials, at most {LONGEST_OPERATOR} characters");
    faults.add(&name.place, Fault::new(got, want));
    None
}

/// The limit for names at the bench.
const LONGEST_OPERATOR: usize = 100;

/// Keys of a sheet's row that are not axes.
const RESERVED: [&str; 2] = ["wire", "sizing"];

fn axes(root: &mut Table<'_>, faults: &mut Faults) -> Vec<Axis> {
    let mut declared = Vec::new();
    for mut table in root.tables(faults, "axis", "[[axis]]") {
        declared.extend(axis(&mut table, faults));
        table.finish(faults);
    }
    let declared = unique(faults, "axis", declared, |axis| axis.value.name.as_str());
    let mut axes = Axis::built_in();
    for At { value: axis, .. } in declared {
        match axes.iter_mut().find(|known| known.name == axis.name) {
            Some(known) => *known = axis,
            None => axes.push(axis),
        }
    }
    axes
}

fn axis(table: &mut Table<'_>, faults: &mut Faults) -> Option<At<Axis>> {
    let name = table.required_name(faults, "name", "\"latch_height\"");
    let built_in = name
        .as_ref()
        .and_then(|name| AXES.iter().find(|axis| axis.name == name.value));
    if built_in.is_none() && !table.has("dimension") {
        table.missing(faults, "dimension", "\"length\" or \"force\"");
    }
    let dimension = table.one_of(
        faults,
        "dimension",
        &["length", "force"],
        |name| match name {
            "length" => Some(Dimension::Length),
            "force" => Some(Dimension::Force),
            _ => None,
        },
    );
    if let (Some(built_in), Some(dimension)) = (built_in, &dimension)
        && built_in.dimension != dimension.value
    {
        let got = format!("{} is a {}", built_in.name, built_in.dimension);
        let fault = Fault::new(got, "want its dimension, or leave the key out");
        faults.add(
            &dimension.place,
            fault.help("give your own axis another name"),
        );
    }
    let (of_nominal, of_lower) = plausible(table, faults);
    let name = name?;
    if RESERVED.contains(&name.value.as_str()) {
        let got = format!("{} cannot be an axis", name.value);
        let fault = Fault::new(got, "want another name: this one is a key of a row");
        faults.add(&name.place, fault);
        return None;
    }
    let dimension = built_in
        .map(|axis| axis.dimension)
        .or(dimension.map(|dimension| dimension.value))?;
    Some(At {
        value: Axis {
            name: AxisName::new(name.value),
            dimension,
            plausible_percent: of_nominal.unwrap_or(PLAUSIBLE_PERCENT),
            plausible_of_lower: of_lower,
        },
        place: name.place,
    })
}

/// The share of nominal, and the range in shares of the lower limit, for `plausible`.
fn plausible(table: &mut Table<'_>, faults: &mut Faults) -> (Option<u16>, Option<(u16, u16)>) {
    let Some(text) = table.text(faults, "plausible") else {
        return (None, None);
    };
    let of_nominal = percent(&text.value);
    let of_lower = text.value.split_once("..").and_then(|(from, to)| {
        let (from, to) = (percent(from.trim())?, percent(to.trim())?);
        (from < 100 && to > 100).then_some((from, to))
    });
    if of_nominal.is_none() && of_lower.is_none() {
        let got = format!("plausible is {}", super::faults::quoted(&text.value));
        let want =
            "want \"1 %\" to \"1000 %\" of nominal, or as \"30 %..500 %\" of the lower limit";
        faults.add(&text.place, Fault::new(got, want));
    }
    (of_nominal, of_lower)
}
