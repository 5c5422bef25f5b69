//! Every kind of mistake: its place, its message and its remedy.

use super::Texts;
use crate::golden;
use std::fmt::Write as _;

/// A change to the good configuration: file, text to replace, and replacement.
type Mistake = (&'static str, &'static str, &'static str);

/// Chooses the text in which a mistake is made.
type TextOf = fn(&mut Texts) -> &mut String;

const MAIN: &[Mistake] = &[
    (
        "a key of the file misspelled",
        "[[instrument]]",
        "[[instrumnet]]",
    ),
    ("a key of an instrument misspelled", "line =", "lien ="),
    (
        "a folder of pictures within the daemon's own",
        "name = \"bench-1\"\n",
        "name = \"bench-1\"\npictures = \"state/pictures\"\n",
    ),
    (
        "one folder of pictures for two stations",
        "name = \"bench-1\"\n",
        "name = \"bench-1\"\npictures = \"camera\"\n[[station]]\nname = \"bench-7\"\npictures = \"./camera\"\n",
    ),
    ("no station", "[[station]]\nname = \"bench-1\"", "# none"),
    (
        "a command line to announce by",
        "[daemon]",
        "[daemon]\nannounce = \"espeak-ng {verdict}\"",
    ),
    (
        "nothing to announce by",
        "[daemon]",
        "[daemon]\nannounce = []",
    ),
    (
        "a word to announce that is not known",
        "[daemon]",
        "[daemon]\nannounce = [\"espeak-ng\", \"{verdit} {value}\"]",
    ),
    (
        "a word to announce without its end",
        "[daemon]",
        "[daemon]\nannounce = [\"espeak-ng\", \"{verdict\"]",
    ),
    (
        "a page at a port alone",
        "[[station]]",
        "[page]\nlisten = 8354\n[[station]]",
    ),
    (
        "a page at a name",
        "[[station]]",
        "[page]\nlisten = \"localhost:8354\"\n[[station]]",
    ),
    (
        "a page at an address without a port",
        "[[station]]",
        "[page]\nlisten = \"127.0.0.1\"\n[[station]]",
    ),
    (
        "a key of the page misspelled",
        "[[station]]",
        "[page]\nlissten = \"127.0.0.1:8354\"\n[[station]]",
    ),
    (
        "a whole address for a host",
        "[[station]]",
        "[page]\nhosts = [\"https://bench-1.shop.example/\"]\n[[station]]",
    ),
    (
        "any host",
        "[[station]]",
        "[page]\nhosts = [\"*.shop.example\"]\n[[station]]",
    ),
    (
        "a host with a port that is none",
        "[[station]]",
        "[page]\nhosts = [\"bench-1:http\"]\n[[station]]",
    ),
    (
        "changes allowed in quotes",
        "[[station]]",
        "[page]\nedit = \"true\"\n[[station]]",
    ),
    (
        "an operator without a name",
        "[[station]]",
        "[[operator]]\n[[station]]",
    ),
    (
        "an operator named twice",
        "[[station]]",
        "[[operator]]\nname = \"mara\"\n[[operator]]\nname = \"mara\"\n[[station]]",
    ),
    (
        "tablets at a port alone",
        "[[station]]",
        "[page]\ntablet = true\ntablet_listen = \":8355\"\n[[station]]",
    ),
    (
        "tablets in words",
        "[[station]]",
        "[page]\ntablet = \"yes\"\n[[station]]",
    ),
    ("one bracket instead of two", "[[station]]", "[station]"),
    (
        "a station twice",
        "[[station]]",
        "[[station]]\nname = \"bench-1\"\n[[station]]",
    ),
    (
        "a name with a blank",
        "name = \"caliper-1\"",
        "name = \"caliper 1\"",
    ),
    (
        "a control character",
        "name = \"caliper-1\"",
        "name = \"caliper\\u001b[2J\"",
    ),
    ("an empty name", "name = \"caliper-1\"", "name = \"\""),
    ("no name", "name = \"caliper-1\"\n", ""),
    (
        "a station that is not there",
        "station = \"bench-1\"",
        "station = \"bnech-1\"",
    ),
    (
        "a sink without a kind",
        "[[station]]",
        "[[sink]]\nname = \"lake\"\nfolder = \"lake\"\n\n[[station]]",
    ),
    (
        "a sink of no known kind",
        "[[station]]",
        "[[sink]]\nname = \"lake\"\nkind = \"parket\"\nfolder = \"lake\"\n\n[[station]]",
    ),
    (
        "a sink that leads nowhere",
        "[[station]]",
        "[[sink]]\nname = \"lake\"\nkind = \"parquet\"\n\n[[station]]",
    ),
    (
        "a sink whose name is a path",
        "[[station]]",
        "[[sink]]\nname = \"../lake\"\nkind = \"parquet\"\nfolder = \"lake\"\n\n[[station]]",
    ),
    (
        "a sink that writes once a week",
        "[[station]]",
        "[[sink]]\nname = \"lake\"\nkind = \"parquet\"\nfolder = \"lake\"\nevery = \"604800 s\"\n\n[[station]]",
    ),
    (
        "two sinks of one name",
        "[[station]]",
        "[[sink]]\nname = \"lake\"\nkind = \"parquet\"\nfolder = \"a\"\n\n[[sink]]\nname = \"lake\"\nkind = \"parquet\"\nfolder = \"b\"\n\n[[station]]",
    ),
    ("a kind that is none", "\"caliper\"", "\"calliper\""),
    ("a kind that is none", "\"caliper\"", "\"camera\""),
    (
        "a port without its folder",
        "\"/dev/ttyUSB0\"",
        "\"ttyUSB0\"",
    ),
    ("a port that is no text", "\"/dev/ttyUSB0\"", "0"),
    ("no port", "port = \"/dev/ttyUSB0\"\n", ""),
    ("a port by nothing", "\"/dev/ttyUSB0\"", "{ }"),
    (
        "a port by two things",
        "\"/dev/ttyUSB0\"",
        "{ usb = \"0403:6001\", usb_serial = \"A1\" }",
    ),
    (
        "a faulty usb identity",
        "\"/dev/ttyUSB0\"",
        "{ usb = \"403:6001\" }",
    ),
    ("line settings in one word", "\"9600 8N1\"", "\"9600\""),
    ("a speed that is none", "\"9600 8N1\"", "\"fast 8N1\""),
    ("a frame that is none", "\"9600 8N1\"", "\"9600 9N1\""),
    (
        "a line that is no boolean",
        "line =",
        "dtr = \"on\"\nline =",
    ),
    ("a format that is none", "decimal-line", "decimal_line"),
    ("no format", "format = \"decimal-line\"\n", ""),
    ("no resolution", "resolution = \"0.01 mm\"\n", ""),
    ("a resolution of nothing", "0.01 mm", "0 mm"),
    ("a resolution without a unit", "0.01 mm", "0.01"),
    ("a resolution with a comma", "0.01 mm", "0,01 mm"),
    ("a force for a caliper", "0.01 mm", "0.5 N"),
    ("a length without end", "0.01 mm", "900000000 mm"),
    (
        "an error below nothing",
        "resolution",
        "max_error = \"-0.02 mm\"\nresolution",
    ),
    (
        "a unit of force for a caliper",
        "resolution",
        "unit = \"N\"\nresolution",
    ),
    (
        "a range with a nominal",
        "resolution",
        "range = \"75 ±75 mm\"\nresolution",
    ),
    (
        "a range the wrong way round",
        "resolution",
        "range = \"150..0 mm\"\nresolution",
    ),
    (
        "a key of another capture",
        "resolution",
        "capture = \"steady\"\nbounce = \"150 ms\"\nresolution",
    ),
    (
        "an ask without its request",
        "resolution",
        "capture = \"ask\"\nresolution",
    ),
    (
        "a contact of a caliper",
        "resolution",
        "contact = \"CTS\"\nresolution",
    ),
    (
        "a pattern without its value",
        "format = \"decimal-line\"",
        "format = \"pattern\"\npattern = '[0-9]+'",
    ),
    (
        "a bounce without a unit",
        "resolution",
        "bounce = \"150\"\nresolution",
    ),
    (
        "a mode that is not octal",
        "[daemon]",
        "[daemon]\nsocket_mode = 660",
    ),
    (
        "a mode that locks the owner out",
        "[daemon]",
        "[daemon]\nsocket_mode = \"0060\"",
    ),
    (
        "a folder that is a number",
        "[daemon]",
        "[daemon]\nstate_dir = 5",
    ),
    (
        "a list of numbers",
        "[daemon]",
        "[daemon]\nsheets = [\"a.toml\", 5]",
    ),
    (
        "an axis without its dimension",
        "[daemon]",
        "[[axis]]\nname = \"latch_height\"\n[daemon]",
    ),
    (
        "a built-in axis of another dimension",
        "[daemon]",
        "[[axis]]\nname = \"pull_force\"\ndimension = \"length\"\n[daemon]",
    ),
    (
        "an axis named as a key",
        "[daemon]",
        "[[axis]]\nname = \"wire\"\ndimension = \"length\"\n[daemon]",
    ),
    (
        "a window that is no share",
        "[daemon]",
        "[[axis]]\nname = \"bellmouth\"\nplausible = \"0.2\"\n[daemon]",
    ),
    (
        "a window that leaves out its limit",
        "[daemon]",
        "[[axis]]\nname = \"pull_force\"\nplausible = \"110 %..300 %\"\n[daemon]",
    ),
    ("text without quotes", "\"bench-1\"\nkind", "bench-1\nkind"),
    ("a text without an end", "\"9600 8N1\"", "\"9600 8N1"),
    ("a key twice", "line =", "kind = \"force\"\nline ="),
    ("a header without an end", "[[instrument]]", "[[instrument]"),
    (
        "a key of too many parts",
        "line =",
        "a.b.c.d.e.f.g.h.i.j.k = 1\nline =",
    ),
];

const SHEET: &[Mistake] = &[
    ("no id", "id = \"QF-250-F\"\n", ""),
    ("no wire", "wire = \"5.0 mm²\"\n", ""),
    ("a wire that is none", "5.0 mm²", "5.0"),
    ("a gauge without a system", "5.0 mm²", "10 ga"),
    (
        "a system without a gauge",
        "wire = \"5.0 mm²\"",
        "wire = \"5.0 mm²\"\nsizing = \"sae_metric\"",
    ),
    (
        "a system that is none",
        "wire = \"5.0 mm²\"",
        "wire = \"10 ga\"\nsizing = \"sae\"",
    ),
    (
        "a gauge that the system lacks",
        "wire = \"5.0 mm²\"",
        "wire = \"13 ga\"\nsizing = \"sae_metric\"",
    ),
    (
        "a gauge that is none",
        "wire = \"5.0 mm²\"",
        "wire = \"41 ga\"\nsizing = \"awg_area\"",
    ),
    ("a size twice", "5.0 mm²", "2.0 mm2"),
    (
        "a range with a size of another row",
        "5.0 mm²",
        "1.5..2.5 mm²",
    ),
    ("a range the wrong way round", "5.0 mm²", "6.0..5.0 mm²"),
    ("a range of one size", "5.0 mm²", "5.0..5.0 mm²"),
    (
        "a range with an end that is none",
        "5.0 mm²",
        "4.0..six mm²",
    ),
    (
        "a tolerance with a nominal in it",
        "id = \"QF-250-F\"\n",
        "id = \"QF-250-F\"\ntolerance = { core_crimp_height = \"1.62 ±0.05 mm\" }\n",
    ),
    (
        "a tolerance of an axis that is none",
        "id = \"QF-250-F\"\n",
        "id = \"QF-250-F\"\ntolerance = { core_crimp_hight = \"±0.05 mm\" }\n",
    ),
    (
        "a tolerance of a pull force",
        "id = \"QF-250-F\"\n",
        "id = \"QF-250-F\"\ntolerance = { pull_force = \"±5 N\" }\n",
    ),
    (
        "a tolerance in another dimension",
        "id = \"QF-250-F\"\n",
        "id = \"QF-250-F\"\ntolerance = { core_crimp_height = \"±5 N\" }\n",
    ),
    (
        "a tolerance that is a text",
        "id = \"QF-250-F\"\n",
        "id = \"QF-250-F\"\ntolerance = \"±0.05 mm\"\n",
    ),
    (
        "an axis that is none",
        "core_crimp_width",
        "core_crimp_widht",
    ),
    (
        "a row without limits",
        "core_crimp_height = \"2.30 ±0.05 mm\"\n",
        "",
    ),
    ("limits without a tolerance", "2.40 ±0.10 mm", "2.40 mm"),
    ("limits the wrong way round", "2.40 ±0.10 mm", "2.5..2.3 mm"),
    ("a force on a length", "2.40 ±0.10 mm", ">= 135 N"),
    ("limits below nothing", "2.40 ±0.10 mm", "0.05 ±0.10 mm"),
    ("limits that are a number", "\"2.40 ±0.10 mm\"", "2.40"),
    (
        "a key of a terminal misspelled",
        "id =",
        "sorce = \"rev C\"\nid =",
    ),
];

const TOOLS: &[Mistake] = &[
    ("no class", "class = \"production\"\n", ""),
    ("a class that is none", "production", "factory"),
    ("a nest twice", "id = \"5.0\"", "id = \"2.0\""),
    ("a nest without wires", "wires = [\"5.0 mm²\"]\n", ""),
    ("a nest for no wire", "\"5.0 mm²\"", "\"3 ga\""),
    ("a tool for another terminal", "QF-250-F", "RB-090-M"),
];

const PLANS: &[Mistake] = &[
    ("no terminal", "terminal = \"QF-250-F\"\n", ""),
    ("a terminal that is not there", "QF-250-F", "QF-205-F"),
    ("a wire without a row", "2.0 mm²", "1.0 mm²"),
    (
        "a gauge whose area has no row",
        "\"2.0 mm²\"",
        "\"14 ga\"\nsizing = \"awg_area\"",
    ),
    (
        "an axis that is none",
        "core_crimp_width",
        "core_crimp_with",
    ),
    (
        "an axis that the row lacks",
        "core_crimp_width",
        "insulation_crimp_width",
    ),
    ("an axis twice", "core_crimp_width", "core_crimp_height"),
    (
        "no axes",
        "axes = [\"core_crimp_height\", \"core_crimp_width\"]\n",
        "",
    ),
    (
        "an empty list of axes",
        "[\"core_crimp_height\", \"core_crimp_width\"]",
        "[]",
    ),
    ("no pieces", "pieces = 5\n", ""),
    ("zero pieces", "pieces = 5", "pieces = 0"),
    ("too many pieces", "pieces = 5", "pieces = 10001"),
    ("half a piece", "pieces = 5", "pieces = 0.5"),
    (
        "pieces beyond all numbers",
        "pieces = 5",
        "pieces = 99999999999999999999999",
    ),
    ("pieces below nothing", "pieces = 5", "pieces = -5"),
    ("a purpose that is none", "first_off", "first-off"),
    (
        "an alert that is none",
        "pieces =",
        "alerts = [\"six_in_row\"]\npieces =",
    ),
    (
        "an alert twice",
        "pieces =",
        "alerts = [\"trend\", \"trend\"]\npieces =",
    ),
    (
        "alerts that are no list",
        "pieces =",
        "alerts = true\npieces =",
    ),
    (
        "a double zero that is neither on nor off",
        "pieces",
        "zero = { double_retracts = \"never\" }\npieces",
    ),
    (
        "an order that is none",
        "pieces",
        "order = \"by_peice\"\npieces",
    ),
    ("a tool that is not there", "T-07", "T-7"),
    ("a nest that is not there", "nest = \"2.0\"", "nest = \"2\""),
    ("the wrong nest", "nest = \"2.0\"", "nest = \"5.0\""),
    ("a nest without a tool", "tool = \"T-07\"\n", ""),
    (
        "a decision that is none",
        "pieces",
        "decision = \"guard\"\npieces",
    ),
    (
        "a factor under the simple rule",
        "pieces",
        "guard_factor = 2\npieces",
    ),
    (
        "a factor that is too fine",
        "pieces",
        "decision = \"guarded\"\nguard_factor = 1.6449\npieces",
    ),
    (
        "a factor that is no number",
        "pieces",
        "decision = \"guarded\"\nguard_factor = true\npieces",
    ),
    (
        "a limit beyond its band",
        "pieces",
        "zero = { band = 2, limit = 3 }\npieces",
    ),
    (
        "an attempt at a zero that is none",
        "pieces",
        "zero = { attempt = \"0 mm\" }\npieces",
    ),
    (
        "an attempt at a zero in newtons",
        "pieces",
        "zero = { attempt = \"2 N\" }\npieces",
    ),
    (
        "a key of zero misspelled",
        "pieces",
        "zero = { before = true }\npieces",
    ),
    ("zero that is no table", "pieces", "zero = true\npieces"),
    (
        "an id twice",
        "[[plan]]",
        "[[plan]]\nid = \"pump-own\"\nterminal = \"QF-250-F\"\nwire = \"2.0 mm²\"\naxes = [\"core_crimp_height\"]\npieces = 1\npurpose = \"first_off\"\n[[plan]]",
    ),
];

#[test]
fn every_kind_of_mistake_is_shown_in_its_place_with_what_to_do() {
    let mut shown = String::new();
    let files: [(&[Mistake], TextOf); 4] = [
        (MAIN, |texts| &mut texts.main),
        (SHEET, |texts| &mut texts.sheet),
        (TOOLS, |texts| &mut texts.tools),
        (PLANS, |texts| &mut texts.plans),
    ];
    for (mistakes, text_of) in files {
        for (name, from, to) in mistakes {
            let mut texts = Texts::good();
            let text = text_of(&mut texts);
            assert!(text.contains(from), "{name}: {from:?} is not in the text");
            *text = text.replacen(from, to, 1);
            let faulty = texts
                .assemble()
                .err()
                .unwrap_or_else(|| panic!("{name}: accepted"));
            let rendered = faulty.rendered(false);
            assert_eq!(rendered.len(), 1, "{name}: {}", rendered.join("\n"));
            let _ = writeln!(shown, "## {name}\n{}\n", rendered.join(""));
        }
    }
    golden::assert_same("config/every_mistake.txt", &shown);
}

#[test]
fn two_instruments_on_one_port_and_of_one_name_are_two_mistakes() {
    let mut texts = Texts::good();
    let instrument = texts
        .main
        .split_once("[[instrument]]")
        .unwrap()
        .1
        .to_owned();
    texts.main = format!("{}\n[[instrument]]{instrument}", texts.main);
    let found: Vec<_> = texts
        .faults()
        .into_iter()
        .map(|fault| (fault.line, fault.column, fault.message, fault.label))
        .collect();
    let want = |text: &str| text.to_owned();
    assert_eq!(
        found,
        [
            (
                14,
                8,
                want("instrument \"caliper-1\" appears twice"),
                want("want another name; the first is at tallyjaw.toml:5")
            ),
            (
                17,
                8,
                want("/dev/ttyUSB0 is the port of caliper-1 already"),
                want("want a port for each instrument")
            ),
        ]
    );
}

#[test]
fn one_mistake_causes_no_second_one() {
    for (file, from, to) in [
        ("sheet", "1.62 ±0.05 mm", "1.62 mm"), // the axis is there, if not its limits
        ("sheet", "\"2.0 mm²\"", "\"2.0\""),   // which row it is cannot be known
        ("sheet", "id = \"QF-250-F\"", "id = QF-250-F"), // nor whose sheet
        ("tools", "wires = [\"2.0 mm²\"]", "wires = [\"2.0\"]"),
        ("tools", "id = \"2.0\"", "id = \"2.0"),
        ("plans", "wire = \"2.0 mm²\"", "wire = \"2.0\""),
    ] {
        let mut texts = Texts::good();
        let text = match file {
            "sheet" => &mut texts.sheet,
            "tools" => &mut texts.tools,
            _ => &mut texts.plans,
        };
        *text = text.replacen(from, to, 1);
        let faults = texts.faults();
        assert_eq!(faults.len(), 1, "{file} {to}: {faults:#?}");
    }
}
