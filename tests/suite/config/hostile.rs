//! Hostile texts: the reader never panics, and what it accepts is consistent.

use super::{Texts, repository};
use crate::harness::cases;
use proptest::prelude::*;
use std::fs;
use tallyjaw::config::{self, Config, Files, Source};
use tallyjaw::spec::{GaugeBlock, Subject};

/// Whatever is accepted as a configuration has no dangling reference.
fn assert_consistent(config: &Config) {
    let catalog = &config.catalog;
    assert!(!catalog.stations.is_empty());
    let measuring = catalog.instruments.iter().map(|known| &known.name);
    let mut names: Vec<_> = measuring
        .chain(catalog.signals.iter().map(|known| &known.name))
        .collect();
    let mut ports: Vec<_> = config.ports.iter().map(|port| &port.instrument).collect();
    names.sort();
    ports.sort();
    assert_eq!(ports, names, "a port for each");
    for signal in &catalog.signals {
        assert!(catalog.stations.contains(&signal.station));
    }
    for instrument in &catalog.instruments {
        assert!(catalog.stations.contains(&instrument.station));
        assert!(instrument.resolution.base() > 0);
        assert_eq!(
            Some(instrument.resolution.dimension()),
            instrument.kind.dimension()
        );
        assert_eq!(
            Some(instrument.unit.dimension()),
            instrument.kind.dimension()
        );
    }
    for plan in &catalog.plans {
        let (terminal, wire) = match &plan.subject {
            Subject::Crimps { terminal, wire } => (terminal, wire),
            Subject::Blocks { instrument, blocks } => {
                let verified = catalog.instrument(instrument).expect("its instrument");
                assert!(verified.max_error.is_some());
                let axes: Vec<_> = blocks.iter().map(GaugeBlock::axis).collect();
                assert_eq!(plan.axes, axes);
                assert!(!blocks.is_empty() && (1..=100).contains(&plan.pieces));
                continue;
            }
        };
        let terminal = catalog.terminal(terminal).expect("its terminal");
        let wire = tallyjaw::spec::wire::resolve(wire).expect("its wire");
        let row = terminal.row(wire.area).expect("its row");
        assert!(!plan.axes.is_empty() && (1..=10_000).contains(&plan.pieces));
        for axis in &plan.axes {
            let limits = row.limits_of(axis).expect("its limits");
            assert_eq!(
                limits.dimension(),
                catalog.axis(axis).expect("its axis").dimension
            );
        }
        if let Some(tool) = &plan.tool {
            let tool = catalog.tool(tool).expect("its tool");
            let nests = tool.nests.iter();
            let mut fitting =
                nests.filter(|nest| plan.nest.as_ref().is_none_or(|id| *id == nest.id));
            assert!(tool.nests.is_empty() || fitting.any(|nest| nest.wires.contains(&wire.area)));
        }
    }
}

fn check(texts: &Texts) {
    match texts.assemble() {
        Ok(config) => assert_consistent(&config),
        Err(faulty) => {
            assert!(!faulty.diagnostics.is_empty());
            for (fault, shown) in faulty.diagnostics.iter().zip(faulty.rendered(false)) {
                let source = faulty
                    .sources
                    .iter()
                    .find(|source| source.path == fault.path);
                let text = &source.expect("its file").text;
                assert!(text.get(fault.span.clone()).is_some(), "{fault:?}");
                assert!(fault.line >= 1 && fault.column >= 1);
                let place = format!("{}:{}:", fault.path.display(), fault.line);
                assert!(shown.contains(&place), "{shown}");
                let steers = |c: char| c.is_control() && c != '\n';
                assert!(!shown.contains(steers), "{shown:?}");
            }
        }
    }
}

fn example() -> Texts {
    let read = |path: &str| fs::read_to_string(repository().join("config").join(path)).unwrap();
    Texts {
        main: read("tallyjaw.toml").replace("sheets =", "# sheets ="),
        sheet: read("sheets/pump.toml"),
        tools: read("tools.toml"),
        plans: read("plans/pump.toml"),
    }
}

/// A change to a text: a piece removed, doubled, or replaced.
#[derive(Debug, Clone)]
struct Change {
    file: usize,
    at: prop::sample::Index,
    cut: usize,
    insert: String,
}

fn change() -> impl Strategy<Value = Change> {
    let pieces = prop_oneof![
        Just(String::new()),
        "[ -~]{0,8}",
        "[=\\[\\]{}.,\"'#\\n\\r]{1,4}",
        any::<char>().prop_map(String::from),
        Just("\n[[plan]]\n".to_owned()),
        Just("\u{1b}[2J".to_owned()),
        Just("\0".to_owned()),
        Just("99999999999999999999".to_owned()),
        Just("-".to_owned()),
        Just("²".to_owned()),
    ];
    (
        0..4_usize,
        any::<prop::sample::Index>(),
        0..40_usize,
        pieces,
    )
        .prop_map(|(file, at, cut, insert)| Change {
            file,
            at,
            cut,
            insert,
        })
}

fn changed(texts: &mut Texts, change: &Change) {
    let text = match change.file {
        0 => &mut texts.main,
        1 => &mut texts.sheet,
        2 => &mut texts.tools,
        _ => &mut texts.plans,
    };
    let boundary = |mut at: usize, text: &str| {
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let start = boundary(change.at.index(text.len() + 1), text);
    let end = boundary((start + change.cut).min(text.len()), text).max(start);
    text.replace_range(start..end, &change.insert);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(400)))]

    #[test]
    fn any_change_to_the_example_is_refused_or_gives_what_holds_together(changes in prop::collection::vec(change(), 1..4)) {
        let mut texts = example();
        for change in &changes {
            changed(&mut texts, change);
        }
        check(&texts);
    }

    #[test]
    fn any_text_at_all_is_refused_or_gives_what_holds_together(main in "\\PC{0,200}", sheet in "(?s).{0,200}") {
        check(&Texts { main, sheet, ..Texts::good() });
    }
}

#[test]
fn the_unchanged_example_is_accepted_by_the_test_of_changes() {
    assert_consistent(&example().assemble().unwrap());
}

#[test]
fn a_byte_order_mark_and_lines_ended_as_on_windows_change_nothing() {
    let mut texts = Texts::good();
    for text in [
        &mut texts.main,
        &mut texts.sheet,
        &mut texts.tools,
        &mut texts.plans,
    ] {
        *text = format!("\u{feff}{}", text.replace('\n', "\r\n"));
    }
    assert_consistent(&texts.assemble().unwrap());
    texts.main = texts.main.replace("[daemon]", "[deamon]");
    texts.plans = texts.plans.replace("pieces = 5", "pieces = 0");
    let places: Vec<_> = texts
        .faults()
        .iter()
        .map(|fault| (fault.line, fault.column))
        .collect();
    assert_eq!(places, [(1, 2), (6, 10)]);
}

#[test]
fn nesting_beyond_all_measure_is_refused_and_overflows_no_stack() {
    let dotted = "a.".repeat(79);
    let braces = format!("{dotted}b = {{ ").repeat(79);
    let texts = [
        "[".repeat(500_000),
        format!("x = {}", "[".repeat(500_000)),
        format!("x = {}", "{ a = ".repeat(200_000)),
        format!("{dotted}{dotted}{dotted}b = 1"),
        format!("{braces}c = 1{}", " }".repeat(79)),
        format!("[{}b]\n", "a.".repeat(100_000)),
    ];
    for text in texts {
        let run = move || {
            let main = Texts {
                main: text,
                ..Texts::good()
            };
            assert!(!main.faults().is_empty());
        };
        // A fifth of the stack of a program's first thread.
        let thread = std::thread::Builder::new().stack_size(1_600_000);
        thread.spawn(run).unwrap().join().unwrap();
    }
}

#[test]
fn a_file_full_of_faults_is_told_quickly_and_in_bounds() {
    let one_line = format!("x = [{}]", "'a', ".repeat(100_000));
    let many_lines: Vec<String> = (0..50_000).map(|at| format!("key{at} = 1")).collect();
    let many_lines = many_lines.join("\n");
    let many_plans = "[[plan]]\nid = \"a\"\nwire = \"9 ga\"\n".repeat(5_000);
    for plans in [one_line, many_lines, many_plans] {
        let texts = Texts {
            plans,
            ..Texts::good()
        };
        let faulty = texts.assemble().unwrap_err();
        assert!(faulty.diagnostics.len() <= 200);
        let shown: usize = faulty.rendered(false).iter().map(String::len).sum();
        assert!(shown < 200_000, "{shown} bytes of text");
    }
}

#[test]
fn a_sheet_that_is_given_twice_is_reported_and_not_merged() {
    let good = Texts::good();
    let source = |path: &str, text: &str| Source {
        path: path.into(),
        text: text.to_owned(),
    };
    let main = config::main_file(&source("tallyjaw.toml", &good.main));
    let sheets = ["a.toml", "b.toml"]
        .map(|path| source(path, &good.sheet))
        .to_vec();
    let files = Files {
        sheets,
        ..Files::default()
    };
    let faulty = config::assemble(main, &files).unwrap_err();
    let fault = &faulty.diagnostics[0];
    assert_eq!(faulty.diagnostics.len(), 1);
    assert_eq!(fault.path.to_str(), Some("b.toml"));
    assert_eq!(fault.message, "terminal \"QF-250-F\" appears twice");
    assert_eq!(fault.label, "want another name; the first is at a.toml:2");
}
