//! Configurations as people write them: shipped, faulty and hostile ones.

use std::fs;
use std::path::{Path, PathBuf};
use tallyjaw::config::{self, Config, Diagnostic, Faulty, Files, PortSelector, Source};
use tallyjaw::files::{self, LoadError};
use tallyjaw::quantity::Dimension;
use tallyjaw::spec::{AxisName, Decision, Order, Subject, ZeroPolicy, wire};

pub(crate) mod budgets;
mod care;
mod hostile;
mod logos;
mod makers;
mod mistakes;
mod production_runs;
mod qualification;
mod sinks;

fn repository() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The texts of a configuration.
#[derive(Debug, Clone)]
struct Texts {
    main: String,
    sheet: String,
    tools: String,
    plans: String,
}

impl Texts {
    /// A small configuration without errors.
    fn good() -> Self {
        Self {
            main: "[daemon]
[[station]]
name = \"bench-1\"
[[instrument]]
name = \"caliper-1\"
station = \"bench-1\"
kind = \"caliper\"
port = \"/dev/ttyUSB0\"
line = \"9600 8N1\"
format = \"decimal-line\"
resolution = \"0.01 mm\"
"
            .to_owned(),
            sheet: "[[terminal]]
id = \"QF-250-F\"
[[terminal.row]]
wire = \"2.0 mm²\"
core_crimp_height = \"1.62 ±0.05 mm\"
core_crimp_width = \"2.40 ±0.10 mm\"
[[terminal.row]]
wire = \"5.0 mm²\"
core_crimp_height = \"2.30 ±0.05 mm\"
"
            .to_owned(),
            tools: "[[tool]]
id = \"T-07\"
class = \"production\"
terminals = [\"QF-250-F\"]
[[tool.nest]]
id = \"2.0\"
wires = [\"2.0 mm²\"]
[[tool.nest]]
id = \"5.0\"
wires = [\"5.0 mm²\"]
"
            .to_owned(),
            plans: "[[plan]]
id = \"pump-own\"
terminal = \"QF-250-F\"
wire = \"2.0 mm²\"
axes = [\"core_crimp_height\", \"core_crimp_width\"]
pieces = 5
purpose = \"first_off\"
tool = \"T-07\"
nest = \"2.0\"
"
            .to_owned(),
        }
    }

    fn assemble(&self) -> Result<Config, Faulty> {
        let source = |path: &str, text: &str| Source {
            path: path.into(),
            text: text.to_owned(),
        };
        let main = config::main_file(&source("tallyjaw.toml", &self.main));
        let files = Files {
            sheets: vec![source("sheet.toml", &self.sheet)],
            plans: vec![source("plans.toml", &self.plans)],
            tools: vec![source("tools.toml", &self.tools)],
            jobs: Vec::new(),
        };
        config::assemble(main, &files)
    }

    fn faults(&self) -> Vec<Diagnostic> {
        self.assemble().expect_err("a fault").diagnostics
    }
}

#[test]
fn the_commented_example_is_clean_and_says_what_its_comments_say() {
    let config = loaded(&repository().join("config/tallyjaw.toml"));
    assert_eq!(config.catalog.stations, ["bench-1", "bench-2"]);
    assert_eq!(config.daemon.state_dir, repository().join("config/state"));
    assert_eq!(config.daemon.runtime_dir, repository().join("config/run"));
    assert_eq!(config.daemon.socket_mode, 0o660);
    assert_eq!(config.daemon.socket_group, None);
    let ports: Vec<_> = config
        .ports
        .iter()
        .take(3)
        .map(|port| {
            (
                port.instrument.as_str(),
                port.selector.clone(),
                port.line.to_string(),
            )
        })
        .collect();
    assert_eq!(
        ports,
        [
            (
                "caliper-1",
                PortSelector::Path("/dev/ttyS0".into()),
                "9600 8N1".to_owned()
            ),
            (
                "caliper-2",
                PortSelector::UsbSerial("A50285BI".into()),
                "4800 7E2".to_owned()
            ),
            (
                "pull-1",
                PortSelector::UsbId {
                    vendor: 0x0403,
                    product: 0x6001
                },
                "9600 8N1".to_owned()
            ),
        ]
    );
    assert_eq!(
        (config.ports[0].dtr, config.ports[0].rts),
        (Some(true), Some(false))
    );
    assert_eq!((config.ports[1].dtr, config.ports[1].rts), (None, None));
    let inch = config.catalog.instrument("caliper-2").unwrap();
    assert_eq!(inch.resolution.base(), 12_700); // 0.0005 in of 25.4 mm each
    let plan = config.catalog.plan("pump-own").unwrap();
    assert_eq!(
        plan.decision,
        Decision::Guarded {
            factor_milli: 1_645
        }
    );
    assert_eq!(plan.zero.every_pieces, Some(5));
    let pull = config.catalog.plan("pump-pull").unwrap();
    assert_eq!(pull.zero, ZeroPolicy::default(), "the unloaded gauge");
    let axis = |name| config.catalog.axis(&AxisName::new(name)).unwrap();
    assert_eq!(axis("latch_height").plausible_percent, 15);
    assert_eq!(axis("bellmouth").plausible_percent, 60);
    assert_eq!(axis("core_crimp_height").plausible_percent, 20);
    assert_eq!(axis("pull_force").dimension, Dimension::Force);
    assert_eq!(axis("pull_force").plausible_of_lower, None);
}

#[test]
fn what_a_plan_leaves_out_is_as_the_comments_of_the_example_say() {
    let config = Texts::good().assemble().unwrap();
    let plan = config.catalog.plan("pump-own").unwrap();
    assert_eq!(plan.order, Order::ByAxis);
    assert_eq!(plan.decision, Decision::Simple);
    assert_eq!(plan.zero, ZeroPolicy::default());
    assert!(!plan.repeat);
    assert_eq!(config.daemon.state_dir, Path::new("state"));
    assert_eq!(config.daemon.socket_mode, 0o600);
}

/// Every key that the readers know is in the example, in use or commented out.
#[test]
fn the_commented_example_has_every_key() {
    let mut shipped = String::new();
    for path in toml_files(&repository().join("config")) {
        shipped.push_str(&fs::read_to_string(path).unwrap());
    }
    let mut keys = 0;
    for path in rust_files(&repository().join("src/config")) {
        for call in fs::read_to_string(&path)
            .unwrap()
            .split("(faults, \"")
            .skip(1)
        {
            let key = call.split('"').next().unwrap();
            let stands = ["\n", "\n# ", "{ ", ", "]
                .iter()
                .any(|before| shipped.contains(&format!("{before}{key} =")));
            let is_header = shipped.contains(&format!("[[{key}]]"))
                || shipped.contains(&format!(".{key}]]"))
                || shipped.contains(&format!("[{key}]"));
            assert!(
                stands || is_header,
                "{key} of {} is not in config/",
                path.display()
            );
            keys += 1;
        }
    }
    assert!(keys > 40, "found only {keys} keys in the reader");
}

#[test]
fn every_shipped_file_is_part_of_a_configuration_that_checks_clean() {
    let mut mains = Vec::new();
    let mut parts = 0;
    for path in toml_files(&repository().join("config")) {
        if path.ends_with("tallyjaw.toml") {
            mains.push(path);
        } else {
            parts += 1;
        }
    }
    assert_eq!(mains.len(), 4, "{mains:?}");
    let mut named = 0;
    for main in &mains {
        with_ports(main);
        let folder = main.parent().unwrap();
        let beside = |part: &str| toml_files(&folder.join(part)).len();
        let alone =
            ["sheets.toml", "plans.toml", "tools.toml"].map(|part| folder.join(part).is_file());
        named += beside("sheets") + beside("plans") + alone.map(usize::from).iter().sum::<usize>();
    }
    assert_eq!(parts, named, "a shipped file that no configuration names");
}

/// The configuration with device paths in place of `@caliper-1@`, as the demo puts them.
pub(crate) fn with_ports(main: &Path) -> Config {
    with_more(main, "")
}

/// As [`with_ports`], with more text after the main file.
pub(crate) fn with_more(main: &Path, more: &str) -> Config {
    let source = |path: &Path| Source {
        path: path.to_path_buf(),
        text: fs::read_to_string(path)
            .unwrap()
            .replace("@caliper-", "/dev/caliper-")
            .replace("@\"", "\""),
    };
    let folder = main.parent().unwrap();
    let sources = |part: &str| {
        let files = toml_files(&folder.join(part));
        files.iter().map(|path| source(path)).collect()
    };
    let files = Files {
        sheets: sources("sheets"),
        plans: sources("plans"),
        jobs: Some(folder.join("jobs/jobs.csv"))
            .filter(|jobs| jobs.is_file())
            .map(|jobs| source(&jobs))
            .into_iter()
            .collect(),
        tools: Some(folder.join("tools.toml"))
            .filter(|tools| tools.is_file())
            .map(|tools| source(&tools))
            .into_iter()
            .collect(),
    };
    let mut main = source(main);
    main.text.push_str(more);
    config::assemble(config::main_file(&main), &files)
        .unwrap_or_else(|faulty| panic!("{}", faulty.rendered(false).join("\n")))
}

#[test]
fn the_demo_shop_has_two_stations_three_sizes_both_classes_of_tool_and_both_rules() {
    let config = with_ports(&repository().join("config/demo/tallyjaw.toml"));
    let catalog = &config.catalog;
    assert_eq!(catalog.stations, ["bench-1", "bench-2"]);
    assert_eq!(config.ports.len(), 2);
    let mut wires: Vec<_> = catalog
        .plans
        .iter()
        .filter_map(|plan| match &plan.subject {
            Subject::Crimps { wire, .. } => Some(wire::resolve(wire).unwrap().area),
            Subject::Blocks { .. } => None,
        })
        .collect();
    wires.sort_unstable();
    wires.dedup();
    assert!(wires.len() >= 3, "{wires:?}");
    let classes: Vec<_> = catalog.tools.iter().map(|tool| tool.class.name()).collect();
    assert_eq!(classes, ["production", "repair"]);
    let rules: Vec<_> = catalog
        .plans
        .iter()
        .map(|plan| plan.decision.name())
        .collect();
    assert!(rules.contains(&"simple") && rules.contains(&"guarded"));
    for purpose in ["reference", "first_off", "qualification"] {
        let plans = &catalog.plans;
        assert!(
            plans.iter().any(|plan| plan.purpose.name() == purpose),
            "{purpose}"
        );
    }
}

#[test]
fn the_digest_changes_with_any_text_and_not_with_the_place_of_the_files() {
    let good = Texts::good();
    let digest = good.assemble().unwrap().digest;
    assert_eq!(digest.len(), 64);
    assert_eq!(Texts::good().assemble().unwrap().digest, digest);
    for change in [
        |texts: &mut Texts| texts.main.push('\n'),
        |texts: &mut Texts| texts.sheet.push('\n'),
        |texts: &mut Texts| texts.tools.push('\n'),
        |texts: &mut Texts| texts.plans.push('\n'),
    ] {
        let mut changed = Texts::good();
        change(&mut changed);
        assert_ne!(changed.assemble().unwrap().digest, digest);
    }
}

#[test]
fn a_file_that_is_named_and_not_there_is_an_error_where_it_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let main = folder.path().join("tallyjaw.toml");
    let text = "[daemon]\nsheets = [\"sheets/*.toml\", \"more.toml\"]\ntools = \"tools.toml\"\n[[station]]\nname = \"bench-1\"\n";
    fs::write(&main, text).unwrap();
    fs::create_dir(folder.path().join("tools.toml")).unwrap();
    let Err(LoadError::Faulty(faulty)) = files::load(&main) else {
        panic!("a faulty configuration")
    };
    let found: Vec<_> = faulty
        .diagnostics
        .iter()
        .map(|fault| {
            let here = format!("{}/", folder.path().display());
            (fault.line, fault.column, fault.message.replace(&here, ""))
        })
        .collect();
    assert_eq!(
        found,
        [
            (2, 11, "no file matches sheets/*.toml".to_owned()),
            (2, 28, "no file more.toml".to_owned()),
            (3, 9, "cannot read tools.toml: not a plain file".to_owned()),
        ]
    );
}

#[test]
fn a_folder_with_characters_of_a_pattern_in_its_name_stands_for_itself() {
    let folder = tempfile::tempdir().unwrap();
    let shop = folder.path().join("shop [a] *");
    fs::create_dir_all(shop.join("sheets")).unwrap();
    fs::write(shop.join("sheets/pump.toml"), Texts::good().sheet).unwrap();
    let text = format!(
        "{}\n",
        Texts::good()
            .main
            .replace("[daemon]", "[daemon]\nsheets = \"sheets/*.toml\"")
    );
    fs::write(shop.join("tallyjaw.toml"), text).unwrap();
    let config = files::load(&shop.join("tallyjaw.toml")).unwrap();
    assert_eq!(config.catalog.terminals.len(), 1);
}

#[test]
fn a_main_file_that_cannot_be_read_says_which_and_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let missing = files::load(&folder.path().join("none.toml")).unwrap_err();
    assert!(
        missing.to_string().contains("none.toml: No such file"),
        "{missing}"
    );
    assert!(missing.remedy().contains("--config"));
    let latin = folder.path().join("latin.toml");
    fs::write(&latin, b"[daemon]\nx = \"mm\xb2\"\n").unwrap();
    let error = files::load(&latin).unwrap_err().to_string();
    assert!(error.ends_with("not UTF-8 at line 2"), "{error}");
    let large = folder.path().join("large.toml");
    fs::write(&large, vec![b'#'; (1 << 20) + 1]).unwrap();
    let error = files::load(&large).unwrap_err().to_string();
    assert!(error.ends_with("larger than 1048576 bytes"), "{error}");
}

fn loaded(main: &Path) -> Config {
    files::load(main)
        .unwrap_or_else(|error| panic!("{error}\n{}", error.rendered(false).join("\n")))
}

/// Empty if there is no such folder, because the service's configuration comes without sheets.
pub(crate) fn toml_files(folder: &Path) -> Vec<PathBuf> {
    if !folder.is_dir() {
        return Vec::new();
    }
    files_in(folder, "toml")
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    files_in(folder, "rs")
}

fn files_in(folder: &Path, extension: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(files_in(&path, extension));
        } else if path.extension().is_some_and(|end| end == extension) {
            found.push(path);
        }
    }
    found.sort();
    found
}
