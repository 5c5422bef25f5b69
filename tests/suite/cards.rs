//! `tallyjaw cards`: a scanner reads from the printed sheet what the station understands.
//!
//! The codes are drawn from the rectangles in the file, and read by a decoder that shares no code with the encoder.

use crate::golden;
use crate::harness::{Shop, cases};
use proptest::prelude::*;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tallyjaw::spec::question::LOOKS;
use tallyjaw::station::card::{Card, LONGEST_CARD};

fn cards(folder: &Path, arguments: &[&str]) -> Output {
    let config = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("config/tallyjaw.toml");
    Command::new(crate::harness::program())
        .arg("cards")
        .arg("--config")
        .arg(config)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap()
}

/// Exit code, standard output, standard error.
fn run(folder: &Path, arguments: &[&str]) -> (Option<i32>, String, String) {
    let output = cards(folder, arguments);
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// The texts between each `from` and the next `to`.
fn all_between<'t>(text: &'t str, from: &str, to: &str) -> Vec<&'t str> {
    let parts = text.split(from).skip(1);
    parts.map(|part| part.split_once(to).unwrap().0).collect()
}

fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

/// A code of the file: its modules with the quiet zone, and the width of one as printed.
struct Code {
    side: usize,
    dark: Vec<bool>,
    module_micrometres: usize,
}

impl Code {
    /// Parses the inside of an `<svg …>…`.
    fn new(svg: &str) -> Self {
        let attribute = |name: &str| all_between(svg, &format!(" {name}=\""), "\"")[0].to_owned();
        let side: usize = attribute("viewBox")
            .strip_prefix("0 0 ")
            .unwrap()
            .split_once(' ')
            .unwrap()
            .0
            .parse()
            .unwrap();
        // `23.200mm`, always with three digits after the point.
        let printed = attribute("width").replace(['.', 'm'], "");
        let printed: usize = printed.parse().unwrap();
        let mut dark = vec![false; side * side];
        for run in attribute("d").split_terminator('z') {
            let (from, rest) = run.strip_prefix('M').unwrap().split_once('h').unwrap();
            let (x, y) = from.split_once(' ').unwrap();
            let (x, y): (usize, usize) = (x.parse().unwrap(), y.parse().unwrap());
            let (long, back) = rest.split_once("v1h-").unwrap();
            assert_eq!(long, back, "a closed rectangle");
            let long: usize = long.parse().unwrap();
            dark[y * side + x..y * side + x + long].fill(true);
        }
        Self {
            side,
            dark,
            module_micrometres: printed / side,
        }
    }

    fn has_quiet_zone(&self) -> bool {
        let inner = 4..self.side - 4;
        let dark = self.dark.iter().enumerate().filter(|(_, dark)| **dark);
        dark.map(|(at, _)| (at % self.side, at / self.side))
            .all(|(x, y)| inner.contains(&x) && inner.contains(&y))
    }

    /// The decoded text, and whether its error level is M.
    fn read(&self) -> (String, bool) {
        const DOTS: usize = 4;
        let dots = self.side * DOTS;
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(dots, dots, |x, y| {
            let dark = self.dark[y / DOTS * self.side + x / DOTS];
            if dark { 0 } else { 255 }
        });
        let grids = image.detect_grids();
        assert_eq!(grids.len(), 1, "one code");
        let mut bytes = Vec::new();
        let about = grids[0].decode_to(&mut bytes).unwrap();
        (String::from_utf8(bytes).unwrap(), about.ecc_level == 0)
    }
}

/// The text of every code, and the printed text beside it.
fn read_sheet(page: &str) -> (Vec<String>, Vec<String>) {
    let codes = all_between(page, "<div class=\"top\"><svg", "</svg>");
    let codes = codes.into_iter().map(|svg| {
        let code = Code::new(svg);
        assert!(code.has_quiet_zone());
        assert!(code.module_micrometres >= 500);
        let (text, is_level_m) = code.read();
        assert!(is_level_m);
        text
    });
    let letters = all_between(page, "<code>", "</code>");
    (
        codes.collect(),
        letters.into_iter().map(unescaped).collect(),
    )
}

#[test]
fn every_code_on_the_sheet_says_what_stands_beside_it_in_letters() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = [
        "--operator",
        "mara",
        "--operator",
        "Jürgen O'Neil <b>",
        "--note",
        "strands nicked, stripped again",
        "--terminal-lot",
        "R-2031",
        "--wire-lot",
        "88/1407",
        "--note",
        "a/b \"quoted\" & <script>alert(1)</script>",
    ];
    let (code, out, err) = run(folder.path(), &arguments);
    assert_eq!(code, Some(0), "{err}");
    let file = folder.path().join("cards.html");
    assert!(
        out.contains(&format!("30 cards in {}", file.display())),
        "{out}"
    );
    assert!(err.contains("plain ASCII"), "{err}");
    let page = fs::read_to_string(&file).unwrap();
    let (codes, letters) = read_sheet(&page);
    assert_eq!(codes, letters);

    let (code, listed, _) = run(folder.path(), &[&arguments[..], &["--text"]].concat());
    assert_eq!(code, Some(0));
    assert_eq!(codes, listed.lines().collect::<Vec<_>>());
    for text in &codes {
        assert_eq!(Card::read(text).unwrap().text().as_ref(), Ok(text));
    }

    let mut shown = page.clone();
    for (svg, text) in all_between(&page, "<svg", "</svg>").iter().zip(&letters) {
        shown = shown.replacen(&format!("<svg{svg}</svg>"), &format!("[{text}]"), 1);
    }
    golden::assert_same("cards/example.html", &shown);
}

#[test]
fn in_german_and_spanish_the_words_are_of_the_language_and_every_code_is_read() {
    let folder = tempfile::tempdir().unwrap();
    let english = {
        run(folder.path(), &[]);
        fs::read_to_string(folder.path().join("cards.html")).unwrap()
    };
    for (language, words) in [
        ("de", ["Befehle", "Leitercrimphöhe", "Gesenk", "Erststück"]),
        (
            "es",
            ["Órdenes", "altura de crimpado", "nido", "primera pieza"],
        ),
    ] {
        let (code, _, err) = run(folder.path(), &["--language", language]);
        assert_eq!(
            (code, err.as_str()),
            (Some(0), ""),
            "every card is plain ASCII"
        );
        let page = fs::read_to_string(folder.path().join("cards.html")).unwrap();
        assert!(page.contains(&format!("<html lang=\"{language}\">")));
        for word in words {
            assert!(page.contains(word), "{word}");
        }
        for word in [
            "Print at", "measures", ">pieces<", ">class<", ">wires<", "the next", "card.",
        ] {
            assert!(
                !all_between(&page, "<body>", "</body>")[0]
                    .replace("tj/", "")
                    .contains(word),
                "{word}"
            );
        }
        let (codes, letters) = read_sheet(&page);
        assert_eq!(codes, letters);
        assert_eq!(codes.len(), read_sheet(&english).0.len());
        for text in &codes {
            assert_eq!(Card::read(text).unwrap().text().as_ref(), Ok(text));
        }
    }
    let (code, _, err) = run(folder.path(), &["--language", "fr"]);
    assert_eq!(code, Some(2));
    assert!(err.contains("want en, de, es"), "{err}");
}

#[test]
fn the_sheet_needs_nothing_from_outside_and_names_the_paper_that_was_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let page = |arguments: &[&str]| {
        let (code, _, err) = run(folder.path(), arguments);
        assert_eq!((code, err.as_str()), (Some(0), ""));
        fs::read_to_string(folder.path().join("cards.html")).unwrap()
    };
    let any = page(&[]);
    for foreign in ["://", "<script", "src=", "href", "url(", "@import", "<link"] {
        assert!(!any.contains(foreign), "{foreign}");
    }
    assert!(any.contains("@page{margin:"));
    assert!(page(&["--paper", "a4"]).contains("@page{size:A4 portrait;"));
    assert!(page(&["--paper", "letter"]).contains("@page{size:letter portrait;"));
}

/// A shop whose plans ask all customary visual checks, one of their own, and how a pull failed.
fn asking_shop() -> Shop {
    let shop = Shop::new();
    let plan = |id: &str, more: &str| {
        format!(
            "[[plan]]\nid = \"{id}\"\nterminal = \"QF-250-F\"\nwire = \"2.0 mm²\"\naxes = [\"core_crimp_height\"]\npieces = 3\npurpose = \"first_off\"\n{more}\n"
        )
    };
    let names: Vec<_> = LOOKS
        .iter()
        .map(|look| format!("{:?}", look.name))
        .collect();
    let looks = format!("looks = [{}]", names.join(", "));
    let plans = plan("all", &looks) + &plan("own", "looks = [\"Is the <label> on the lead?\"]");
    shop.write("plans.toml", &plans);
    shop
}

#[test]
fn visual_checks_have_two_cards_each_with_question_and_drawing() {
    let shop = asking_shop();
    let page = |arguments: &[&str]| {
        let file = shop.path("cards.html");
        let output = shop.run(&[&["cards", "-o", file.to_str().unwrap()], arguments].concat());
        assert!(output.status.success(), "{output:?}");
        fs::read_to_string(file).unwrap()
    };
    let drawn = |page: &str| {
        let drawings = all_between(page, "<svg class=\"drawing\"", "</section>");
        let drawings: Vec<String> = drawings.into_iter().map(str::to_owned).collect();
        drawings
    };
    for (language, good, question) in [
        ("en", "Check 4: Good", "Are all strands in the core crimp?"),
        (
            "de",
            "Prüfung 4: Gut",
            "Sind alle Einzeldrähte im Leitercrimp?",
        ),
        (
            "es",
            "Inspección 4: Bien",
            "¿Están todos los hilos dentro del crimpado?",
        ),
    ] {
        let page = page(&["all", "--language", language]);
        let (codes, letters) = read_sheet(&page);
        assert_eq!(codes, letters);
        let want = (1..=LOOKS.len())
            .flat_map(|number| ["good", "bad"].map(|said| format!("tj/look/{number}/{said}")));
        let want: Vec<String> = std::iter::once("tj/arm/all".to_owned())
            .chain(want)
            .collect();
        assert_eq!(codes, want);
        assert!(page.contains(good) && page.contains(question), "{language}");
        // Each of its own, with a name for who does not see it.
        let drawings = drawn(&page);
        let different: BTreeSet<_> = drawings.iter().collect();
        assert_eq!((drawings.len(), different.len()), (20, 20));
        assert!(
            drawings
                .iter()
                .all(|one| one.contains(" role=\"img\" aria-label=\""))
        );
    }
    // Where plans ask something else under a number, its card says which plan asks what, and shows neither.
    let page = page(&[]);
    assert_eq!(drawn(&page).len(), 18);
    let first = page.split("Check 1: Good").nth(1).unwrap();
    let first = first.split("</section>").next().unwrap();
    for want in [
        "<dt>all</dt>",
        "Is the contact straight, neither bent nor twisted?",
        "<dt>own</dt>",
        "Is the &lt;label&gt; on the lead?",
    ] {
        assert!(first.contains(want), "{want}: {first}");
    }
    assert!(!page.contains("tj/pulled/"), "no plan asks it");
}

#[test]
fn where_it_is_asked_how_a_pull_failed_each_way_has_a_card() {
    let shop = Shop::new();
    let sheet = fs::read_to_string(shop.path("sheet.toml")).unwrap();
    shop.write(
        "sheet.toml",
        &sheet.replacen(
            "core_crimp_height =",
            "pull_force = \">= 180 N\"\ncore_crimp_height =",
            1,
        ),
    );
    shop.write("plans.toml", "[[plan]]\nid = \"pull\"\nterminal = \"QF-250-F\"\nwire = \"2.0 mm²\"\naxes = [\"pull_force\"]\npieces = 3\npurpose = \"first_off\"\npull_mode = true\n");
    let gauge = "\n[[instrument]]\nname = \"gauge\"\nstation = \"bench-1\"\nkind = \"force\"\nport = \"/dev/null\"\nformat = \"decimal-line\"\nunit = \"N\"\nresolution = \"0.5 N\"\nmax_error = \"2 N\"\nrange = \"0..1000 N\"\n";
    shop.write("tallyjaw.toml", &(shop.configuration() + gauge));
    let output = shop.run(&["cards", "--text", "pull"]);
    let said = String::from_utf8(output.stdout).unwrap();
    let want = "tj/arm/pull\ntj/pulled/pulled_out\ntj/pulled/broke_at_crimp\ntj/pulled/broke_in_wire\ntj/pulled/other\n";
    assert_eq!(said, want, "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn named_plans_give_their_cards_alone() {
    let folder = tempfile::tempdir().unwrap();
    let arguments = [
        "valve-own",
        "pump-own",
        "valve-own",
        "--operator",
        " mara ",
        "--text",
    ];
    let (code, out, err) = run(folder.path(), &arguments);
    assert_eq!(code, Some(0));
    assert_eq!(out, "tj/arm/pump-own\ntj/arm/valve-own\ntj/operator/mara\n");
    assert_eq!(
        err,
        "note: \"tj/arm/valve-own\" was given more than once; the sheet has it once\n"
    );
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0, "no file");
}

#[test]
fn programs_get_a_line_a_card_and_where_the_file_is() {
    let folder = tempfile::tempdir().unwrap();
    let (_, out, _) = run(folder.path(), &["valve-own", "--json", "--out", "two.html"]);
    let lines: Vec<Value> = out
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let file = folder.path().join("two.html");
    assert_eq!(
        lines,
        [
            serde_json::json!({"kind": "card", "card": "tj/arm/valve-own", "group": "Start: RB-090-M", "title": "valve-own"}),
            serde_json::json!({"kind": "file", "file": file, "cards": 1}),
        ]
    );
    assert_eq!(
        read_sheet(&fs::read_to_string(file).unwrap()).0,
        ["tj/arm/valve-own"]
    );
}

#[test]
fn what_no_card_can_carry_is_told_all_at_once_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let long = "x".repeat(LONGEST_CARD);
    let (code, out, err) = run(
        folder.path(),
        &["--note", "two\nlines", "--note", &long, "--operator", " "],
    );
    assert_eq!((code, out.as_str()), (Some(2), ""));
    for told in [
        "tj/note/two\\nlines",
        "520 bytes on the card",
        "tj/operator/",
        "help: ",
    ] {
        assert!(err.contains(told), "{told}: {err}");
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    let (code, _, err) = run(folder.path(), &["pump-owm"]);
    assert_eq!(code, Some(2));
    assert!(
        err.contains("no plan \"pump-owm\"") && err.contains("did you mean \"pump-own\"?"),
        "{err}"
    );
}

#[test]
fn a_file_that_is_no_sheet_of_cards_is_left_alone_and_an_old_sheet_is_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("cards.html");
    fs::write(&file, "my thesis").unwrap();
    let (code, _, err) = run(folder.path(), &[]);
    assert_eq!(code, Some(2));
    assert!(
        err.contains("not a sheet of cards") && err.contains("--out"),
        "{err}"
    );
    assert_eq!(fs::read_to_string(&file).unwrap(), "my thesis");
    fs::remove_file(&file).unwrap();
    for (arguments, cards) in [(&[][..], 24), (&["valve-own"][..], 1)] {
        assert_eq!(run(folder.path(), arguments).0, Some(0));
        let page = fs::read_to_string(&file).unwrap();
        assert_eq!(read_sheet(&page).0.len(), cards);
    }
    let (code, _, err) = run(folder.path(), &["--out", "none/cards.html"]);
    assert_eq!(code, Some(4));
    assert!(err.contains("cannot write none/cards.html"), "{err}");
    let (code, _, err) = run(folder.path(), &["--out", "."]);
    assert_eq!(code, Some(2), "{err}");
    assert_eq!(
        fs::read_dir(folder.path()).unwrap().count(),
        1,
        "nothing beside it"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(cases(6)))]

    /// A note in any characters: the decoder gives the same bytes.
    #[test]
    fn whatever_a_card_can_carry_is_read_from_its_code(
        notes in prop::collection::btree_set(
            prop_oneof!["\\PC{1,60}", "[ぁ-んァ-ヶ一-龠]{1,80}", "[A-Z0-9 $%*+./:-]{1,480}", "[0-9]{1,500}"]
                .prop_map(|note| note.trim().to_owned())
                .prop_filter("carried", |note| Card::Note(note.clone()).text().is_ok()),
            1..10,
        )
    ) {
        let folder = tempfile::tempdir().unwrap();
        let options: Vec<_> = notes.iter().map(|note| format!("--note={note}")).collect();
        let mut arguments = vec!["valve-own"];
        arguments.extend(options.iter().map(String::as_str));
        let (code, _, err) = run(folder.path(), &arguments);
        prop_assert_eq!(code, Some(0), "{}", err);
        let page = fs::read_to_string(folder.path().join("cards.html")).unwrap();
        let (codes, letters) = read_sheet(&page);
        let wanted: Vec<_> = notes.iter().map(|note| format!("tj/note/{note}")).collect();
        prop_assert_eq!(&codes[1..], &wanted[..]);
        prop_assert_eq!(&letters[1..], &wanted[..]);
    }
}
