//! `tallyjaw sheet import`: makers' sheets of many forms through the built program, and `check` on the result.

use crate::golden;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

struct Ran {
    code: Option<i32>,
    out: String,
    err: String,
}

fn tallyjaw(folder: &Path, arguments: &[&str]) -> Ran {
    let output = Command::new(crate::harness::program())
        .args(arguments)
        .current_dir(folder)
        .env_remove("TALLYJAW_CONFIG")
        .env_remove("XDG_CONFIG_HOME")
        .env("HOME", folder)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    Ran {
        code: output.status.code(),
        out: text(output.stdout),
        err: text(output.stderr),
    }
}

fn import(folder: &Path, file: &str, options: &str) -> Ran {
    let mut arguments = vec!["sheet", "import", file];
    arguments.extend(options.split_whitespace());
    tallyjaw(folder, &arguments)
}

/// A folder with one file of cells.
fn folder_with(cells: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("maker.csv"), cells).unwrap();
    folder
}

#[test]
fn every_kept_file_is_shown_as_it_was_understood_or_refused_with_its_places() {
    let folder = golden::folder().join("import");
    let mut files: Vec<PathBuf> = fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "csv"))
        .collect();
    files.sort();
    assert!(files.len() > 9, "the kept files were not found");
    for path in files {
        let file = path.file_name().unwrap().to_str().unwrap();
        let options = fs::read_to_string(path.with_extension("args")).unwrap_or_default();
        let ran = import(&folder, file, &options);
        let mut shown = format!("$ tallyjaw sheet import {file} {options}\n");
        let _ = writeln!(shown, "{}{}exit {}", ran.out, ran.err, ran.code.unwrap());
        let expected = path.with_extension("txt");
        let expected = expected.file_name().unwrap().to_str().unwrap();
        golden::assert_same(&format!("import/{expected}"), &shown);
    }
}

#[test]
fn what_can_be_read_in_two_ways_is_refused_with_the_option_that_decides_it() {
    let unit = "wire (mm2);height;tol\n2;1.62;0.05\n";
    let force = "wire (mm2);pull force\n2;180\n";
    let wire = "wire;height (mm);tol\n14;1.62;0.05\n";
    let gauge = "AWG;height (mm);tol\n14;1.62;0.05\n";
    let mark = "wire (mm2);height (um);tol\n2;1,620;50\n";
    let heading = "Cu;H nom;H tol\n2.0 mm²;1.62 mm;0.05\n";
    for (cells, asks, option) in [
        (unit, "--unit mm", "--unit mm"),
        (force, "--force-unit N", "--force-unit N"),
        (
            wire,
            "--wire-unit mm2 or --wire-unit awg",
            "--wire-unit mm2",
        ),
        (
            gauge,
            "--sizing sae_metric or --sizing awg_area",
            "--sizing awg_area",
        ),
        (
            mark,
            "--decimal comma if it is 1.620, --decimal point if it is 1620",
            "--decimal point",
        ),
        (heading, "--column", "--column Cu=wire"),
    ] {
        let folder = folder_with(cells);
        let asked = import(folder.path(), "maker.csv", "");
        assert_eq!((asked.code, asked.out.as_str()), (Some(2), ""), "{cells}");
        assert!(asked.err.contains(asks), "{cells}: {}", asked.err);
        let told = import(folder.path(), "maker.csv", option);
        assert_eq!(
            (told.code, told.err.as_str()),
            (Some(0), ""),
            "{cells} {option}: {}",
            told.err
        );
    }
}

#[test]
fn a_decimal_comma_and_a_decimal_point_give_the_same_sheet() {
    let point =
        "wire (mm2);height (mm);tol;pull force min (N)\n0.5;1.00;0.03;60\n1;1.18;0.03;100\n";
    let rows = |cells: &str| {
        let folder = folder_with(cells);
        let ran = import(folder.path(), "maker.csv", "--json");
        assert_eq!(ran.code, Some(0), "{}", ran.err);
        let rows: Vec<_> = ran.out.lines().skip(1).map(str::to_owned).collect();
        assert_eq!(rows.len(), 2);
        rows
    };
    let of_point = rows(point);
    assert_eq!(of_point, rows(&point.replace('.', ",")));
    assert_eq!(of_point, rows(&point.replace(';', ",")));
    assert_eq!(of_point, rows(&point.replace(';', "\t").replace('.', ",")));
    assert_eq!(
        of_point,
        rows(&format!("\u{feff}{}", point.replace('\n', "\r\n")))
    );
}

/// The example configuration, in a folder of its own, and a maker's sheet beside it.
fn shop() -> tempfile::TempDir {
    let folder = folder_with(
        "wire (mm²);height (mm);tol;width (mm);tol\n0,5;1,00;0,05;1,40;0,1\n1;1,20;0,05;1,6;0,1\n",
    );
    let example = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("config");
    for name in ["tallyjaw.toml", "tools.toml", "logo.svg"] {
        fs::copy(example.join(name), folder.path().join(name)).unwrap();
    }
    for part in ["sheets", "plans", "jobs"] {
        fs::create_dir(folder.path().join(part)).unwrap();
        for entry in fs::read_dir(example.join(part)).unwrap() {
            let entry = entry.unwrap();
            fs::copy(
                entry.path(),
                folder.path().join(part).join(entry.file_name()),
            )
            .unwrap();
        }
    }
    folder
}

#[test]
fn what_is_written_passes_check_and_is_found_by_looking_up() {
    let shop = shop();
    let ran = import(
        shop.path(),
        "maker.csv",
        "--terminal QF-187-M --source rev_D --out sheets/new.toml",
    );
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""), "{}", ran.err);
    assert!(
        ran.out.ends_with(
            "2 rows of 1 terminal written to sheets/new.toml\n\
             the configuration has it, without errors; compare it with the maker's sheet\n"
        ),
        "{}",
        ran.out
    );
    assert_eq!(
        fs::read_to_string(shop.path().join("sheets/new.toml")).unwrap(),
        "# Read from maker.csv by tallyjaw sheet import. Compare it with the maker's sheet before you measure by it.\n\
         \n[[terminal]]\nid = \"QF-187-M\"\nsource = \"rev_D\"\n\
         \n[[terminal.row]]\nwire = \"0.5 mm²\"\n\
         core_crimp_height = \"1.00 ±0.05 mm\"\ncore_crimp_width = \"1.40 ±0.10 mm\"\n\
         \n[[terminal.row]]\nwire = \"1.0 mm²\"\n\
         core_crimp_height = \"1.20 ±0.05 mm\"\ncore_crimp_width = \"1.60 ±0.10 mm\"\n"
    );
    let checked = tallyjaw(shop.path(), &["check"]);
    assert_eq!(checked.code, Some(0), "{}", checked.out);
    assert!(
        checked.out.contains("4 terminals with 9 rows"),
        "{}",
        checked.out
    );
    let found = tallyjaw(
        shop.path(),
        &["sheet", "QF-187-M", "16", "ga", "--sizing", "sae_metric"],
    );
    assert!(found.out.contains("1.20 ±0.05 mm"), "{}", found.out);
}

#[test]
fn nothing_is_written_without_being_told_and_nothing_is_replaced() {
    let shop = shop();
    let files = || {
        let found = fs::read_dir(shop.path().join("sheets")).unwrap();
        let mut names: Vec<_> = found.map(|entry| entry.unwrap().file_name()).collect();
        names.sort();
        names
    };
    let before = files();
    let shown = import(shop.path(), "maker.csv", "--terminal QF-187-M");
    assert_eq!(shown.code, Some(0));
    assert!(
        shown.out.ends_with("then add --out FILE\n"),
        "{}",
        shown.out
    );
    let nameless = import(shop.path(), "maker.csv", "--out sheets/new.toml");
    assert_eq!(nameless.code, Some(2));
    assert!(
        nameless.err.ends_with("help: name it: --terminal ID\n"),
        "{}",
        nameless.err
    );
    let double = import(
        shop.path(),
        "maker.csv",
        "--terminal QF-250-F --out sheets/new.toml",
    );
    assert_eq!(double.code, Some(2));
    assert!(
        double
            .err
            .contains("is already in a sheet of the configuration"),
        "{}",
        double.err
    );
    let pump = fs::read(shop.path().join("sheets/pump.toml")).unwrap();
    let over = import(
        shop.path(),
        "maker.csv",
        "--terminal QF-187-M --out sheets/pump.toml",
    );
    assert_eq!(over.code, Some(2));
    assert!(
        over.err.contains("is there already; nothing was written"),
        "{}",
        over.err
    );
    assert!(
        over.err.contains("help: name another file, or add --force"),
        "{}",
        over.err
    );
    assert_eq!(
        fs::read(shop.path().join("sheets/pump.toml")).unwrap(),
        pump
    );
    assert_eq!(files(), before);

    let told = import(
        shop.path(),
        "maker.csv",
        "--terminal QF-187-M --out sheets/new.toml",
    );
    assert_eq!(told.code, Some(0), "{}", told.err);
    let again = import(
        shop.path(),
        "maker.csv",
        "--terminal QF-187-M --out sheets/new.toml --force",
    );
    assert_eq!((again.code, again.err.as_str()), (Some(0), ""));
    assert_eq!(files().len(), before.len() + 1);
}

#[test]
fn what_is_no_file_of_cells_is_refused_by_its_kind() {
    let folder = folder_with("");
    let path = |name: &str| folder.path().join(name);
    fs::write(path("book.xlsx"), b"PK\x03\x04rest").unwrap();
    fs::write(path("large.csv"), vec![b'1'; (1 << 20) + 1]).unwrap();
    for (file, said) in [
        ("maker.csv", "this file is empty"),
        ("book.xlsx", "is a workbook or a PDF, want a CSV file"),
        ("large.csv", "is larger than 1 MiB"),
        (".", "is no plain file"),
        ("none.csv", "cannot read none.csv"),
    ] {
        let ran = import(folder.path(), file, "");
        assert_eq!((ran.code, ran.out.as_str()), (Some(2), ""), "{file}");
        assert!(ran.err.contains(said), "{file}: {}", ran.err);
    }
    for (options, said) in [
        ("--column x", "want \"HEADING=WHAT\""),
        (
            "--column x=core_crimp_hight",
            "did you mean \"core_crimp_height\"?",
        ),
        (
            "--column x=pull_force.least",
            "want one of nominal, tolerance",
        ),
        ("--unit N", "want mm, cm, um, in"),
        ("--separator dot", "want semicolon, tab, comma"),
        ("--force", "--out <FILE>"),
    ] {
        let ran = import(folder.path(), "maker.csv", options);
        assert_eq!(ran.code, Some(2), "{options}");
        assert!(ran.err.contains(said), "{options}: {}", ran.err);
    }
}

#[test]
fn the_help_reads_as_it_was_written() {
    let mut shown = String::new();
    for arguments in [&["sheet", "--help"][..], &["sheet", "import", "--help"]] {
        let ran = tallyjaw(&golden::folder(), arguments);
        assert_eq!(ran.code, Some(0));
        let _ = writeln!(shown, "$ tallyjaw {}\n{}", arguments.join(" "), ran.out);
    }
    golden::assert_same("help/sheet.txt", &shown);
}

#[test]
fn what_is_unlikely_in_a_sheet_is_warned_of_with_its_place_and_is_no_error() {
    let folder = golden::folder().join("check/unlikely");
    let ran = tallyjaw(&folder, &["check"]);
    assert_eq!((ran.code, ran.err.as_str()), (Some(0), ""));
    golden::assert_same("check/unlikely.txt", &ran.out);
    let json = tallyjaw(&folder, &["check", "--json"]);
    assert_eq!(json.code, Some(0));
    let warnings = json
        .out
        .lines()
        .filter(|line| line.contains("\"kind\":\"warning\""));
    assert_eq!(warnings.count(), ran.out.matches("warning: ").count());
}

#[test]
fn the_name_of_a_terminal_stands_in_the_sheet_that_is_written() {
    let cells = "P/N;Name;mm²;C/H mm\nRT-060-R;ring tongue 6;1.0..1.5;1.52 ±0.05\nRT-060-R;;2.5;1.90 ±0.05\n";
    let folder = folder_with(cells);
    let ran = import(folder.path(), "maker.csv", "--out sheet.toml");
    assert_eq!(ran.code, Some(0), "{}", ran.err);
    let sheet = fs::read_to_string(folder.path().join("sheet.toml")).unwrap();
    assert!(
        sheet.contains("id = \"RT-060-R\"\nname = \"ring tongue 6\"\n"),
        "{sheet}"
    );
}

#[test]
fn nominals_without_a_tolerance_in_each_row_are_one_error() {
    let folder = folder_with("mm²;C/H mm\n1.0;1.40\n1.5;1.52\n2.5;1.90\n");
    let ran = import(folder.path(), "maker.csv", "--terminal RT-060-R");
    assert_eq!(ran.code, Some(2));
    assert!(ran.err.contains("say it: --tolerance"), "{}", ran.err);
    assert!(
        ran.err.contains("error: 1 error in maker.csv"),
        "{}",
        ran.err
    );
}
